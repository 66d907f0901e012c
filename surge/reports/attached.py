"""What non-return valves, relief valves, surge drums and open vessels do, in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.transient.result import (
    DrumResult,
    NonReturnResult,
    ReliefResult,
    ScenarioResult,
    TripResult,
    VesselResult,
)

LATER, LEAST_LATER = 0.01, 1e-3  # of what was spilled; [m3]: less that comes later is not worth a word
DIGITS = 2  # of a volume: more would not be true
Thing = TypeVar("Thing", TripResult, NonReturnResult, ReliefResult, DrumResult, VesselResult)
Pair = tuple[ScenarioResult, Thing]


def volume_up(volume: float) -> str:
    """Return a volume [m3] with its unit, rounded up."""
    return _volume(volume, math.ceil)


def volume_down(volume: float) -> str:
    """Return a volume [m3] with its unit, rounded down."""
    return _volume(volume, math.floor)


def volume_with_error(volume: float, error: float) -> str:
    """Return a volume [m3] with its unit and its numerical error, to a digit of the error at most."""
    if volume <= 0.0 and error <= 0.0:
        return "0 m3"
    size = max(error, 10.0 ** (DIGITS - 5) * volume)
    step = 10.0 ** math.floor(math.log10(size))
    places = max(0, -round(math.log10(step)))
    return f"{round(volume / step) * step:.{places}f} m3 ±{math.ceil(size / step - 1e-9) * step:.{places}f}"


def _volume(volume: float, way: Callable[[float], int]) -> str:
    if volume <= 0.0:
        return "0 m3"
    step = 10.0 ** (math.floor(math.log10(volume)) - DIGITS + 1)
    steps = volume / step
    near = round(steps)
    whole = near if abs(steps - near) < 1e-9 * steps else way(steps)
    return f"{whole * step:.{max(0, -round(math.log10(step)))}f} m3"


def attached_lines(run: ScenarioResult, display: Display) -> Iterator[str]:
    """Yield what each thing that hangs on a point does in a scenario, as a sentence without its stop."""
    for trip in run.trips:
        said = f'pump "{trip.name}" trips at {display.time(trip.at)} s'
        if trip.again is not None:
            yield f"{said} and is started again at {display.time(trip.again)} s"
        else:
            yield f"{said}; {trip.speed * 100:.0f} % of its full speed is left at the end"
    for valve in run.non_return_valves:
        yield _non_return_line(valve, display)
    for relief in run.relief_valves:
        yield _relief_line(relief, run.method.ahead, display)
    for drum in run.surge_drums:
        yield (
            f'surge drum "{drum.name}": {volume_down(drum.gas)} of gas at first, at least '
            f"{volume_with_error(drum.least, drum.least_error)} and at most "
            f"{volume_with_error(drum.most, drum.most_error)} of {drum.volume:g} m3"
        )
    for vessel in run.open_vessels:
        low, high = display.length(vessel.lowest), display.length(vessel.highest)
        error = max(vessel.lowest_error, vessel.highest_error)
        yield (
            f'open vessel "{vessel.name}": its level lies between {low} and {high} '
            f"(error up to {display.length(math.ceil(10.0 * error) / 10.0)})"
        )


def _non_return_line(valve: NonReturnResult, display: Display) -> str:
    if valve.closed is None:
        return f'non-return valve "{valve.name}" stays open'
    if valve.closed == 0.0:
        return f'non-return valve "{valve.name}" is shut at first'
    shut = f'non-return valve "{valve.name}" is shut at {display.time(valve.closed)} s'
    back = f"; {display.flow_up(valve.reverse)} flow back at most" if valve.reverse > valve.stopped else ""
    if valve.stopped <= 0.0:
        return f"{shut}, and stops no reverse flow at once{back}"
    return (
        f"{shut}; it stops {display.flow_up(valve.stopped)} of reverse flow at once, a slam of "
        f"{display.difference(valve.slam)} {display.error(valve.slam_error)} (wave resistance behind it "
        f"times that flow){back}"
    )


def _relief_line(relief: ReliefResult, ahead: float, display: Display) -> str:
    if relief.opened is None:
        return f'relief valve "{relief.name}" stays shut'
    return (
        f'relief valve "{relief.name}" opens at {display.time(relief.opened)} s, lifts to '
        f"{relief.lift * 100:.1f} % ±{max(math.ceil(relief.lift_error * 1e3) / 10, 0.1):.1f} and spills "
        f"{volume_with_error(relief.passed, relief.passed_error)}{_goes_on(relief, ahead, display)}"
    )


def _goes_on(relief: ReliefResult, ahead: float, display: Display) -> str:
    """That a relief valve spills on after the end of the run, where it does so by as much as can be told."""
    if relief.later <= max(LATER * relief.passed, LEAST_LATER):
        return ""
    return f" by the end of the run; it goes on, {volume_up(relief.later)} more by {display.time(ahead)} s"


def attached_sentences(assessment: Assessment, display: Display) -> list[str]:
    """Return one sentence for each thing that hangs on a point: where it stands, and the most that it does.

    Parameters
    ----------
    assessment : Assessment
    display : Display
        Units of the output.
    """
    runs = assessment.scenarios
    said = [_trips(pairs) for pairs in _by_name(runs, lambda run: run.trips)]
    said += [_slam(pairs, display) for pairs in _by_name(runs, lambda run: run.non_return_valves)]
    said += [_relief(pairs, display) for pairs in _by_name(runs, lambda run: run.relief_valves)]
    said += [_drum(pairs) for pairs in _by_name(runs, lambda run: run.surge_drums)]
    return said + [_vessel(pairs, display) for pairs in _by_name(runs, lambda run: run.open_vessels)]


def _by_name(
    runs: Iterable[ScenarioResult], things: Callable[[ScenarioResult], tuple[Thing, ...]]
) -> list[list[Pair[Thing]]]:
    """Things of one kind by their name, each with the runs that they are of."""
    found: dict[str, list[Pair[Thing]]] = {}
    for run in runs:
        for thing in things(run):
            found.setdefault(thing.name, []).append((run, thing))
    return list(found.values())


def _trips(pairs: list[Pair[TripResult]]) -> str:
    left_alone = [pair for pair in pairs if pair[1].again is None]
    if not left_alone:
        run, one = pairs[0]
        return f'Pump "{one.name}" trips, runs down by its inertia, and is started again ("{run.name}").'
    run, most = max(left_alone, key=lambda pair: pair[1].speed)
    left = f"{most.speed * 100:.0f} % of its full speed is left at the end"
    return f'Pump "{most.name}" trips and runs down by its inertia: {left} ("{run.name}").'


def _slam(pairs: list[Pair[NonReturnResult]], display: Display) -> str:
    run, worst = max(pairs, key=lambda pair: pair[1].slam)
    if worst.stopped <= 0.0:
        return f'Non-return valve "{worst.name}": no slam in any scenario.'
    return (
        f'Non-return valve "{worst.name}" slams: it stops at most {display.flow_up(worst.stopped)} of '
        f'reverse flow at once ("{run.name}"), which is {display.difference(worst.slam)} '
        f"{display.error(worst.slam_error)}."
    )


def _relief(pairs: list[Pair[ReliefResult]], display: Display) -> str:
    one = pairs[0][1]
    opened = [(run, relief) for run, relief in pairs if relief.opened is not None]
    first = display.pressure(one.set_pressure, unit=True)
    place = f'Relief valve "{one.name}" at {one.point}, set at {first}'
    if not opened:
        return f"{place}, stays shut in every scenario."
    run, most = max(opened, key=lambda pair: pair[1].passed + pair[1].passed_error + pair[1].later)
    lift = max(relief.lift for _, relief in opened)
    spilled = volume_up(most.passed + most.passed_error)
    on = _goes_on(most, run.method.ahead, display)
    return (
        f'{place}, lifts to {lift * 100:.0f} % and spills at most {spilled}{on} ("{run.name}"). '
        "What is kept is kept because it opens: its vessel must take that, and the valve must be fit and "
        "tested."
    )


def _drum(pairs: list[Pair[DrumResult]]) -> str:
    run, least = min(pairs, key=lambda pair: pair[1].least - pair[1].least_error)
    other, most = max(pairs, key=lambda pair: pair[1].most + pair[1].most_error)
    low, high = volume_down(least.least - least.least_error), volume_up(most.most + most.most_error)
    where = f'("{run.name}")' if run.name == other.name else f'("{run.name}", and "{other.name}")'
    return (
        f'Surge drum "{least.name}" at {least.point}: of {least.volume:g} m3 at least {low} and at most '
        f"{high} are gas {where}. What is kept is kept because of that gas: look at its charge before "
        "loading."
    )


def _vessel(pairs: list[Pair[VesselResult]], display: Display) -> str:
    low = min(vessel.lowest for _, vessel in pairs)
    high = max(vessel.highest for _, vessel in pairs)
    one = pairs[0][1]
    return (
        f'Open vessel "{one.name}" at {one.point}: its level lies between {display.length(low)} and '
        f"{display.length(high)}."
    )

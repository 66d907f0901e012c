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

DIGITS = 2  # of a volume: more would not be true
Thing = TypeVar("Thing", TripResult, NonReturnResult, ReliefResult, DrumResult, VesselResult)
Pair = tuple[ScenarioResult, Thing]


def volume_up(volume: float) -> str:
    """Return a volume [m3] with its unit, rounded up."""
    return _volume(volume, math.ceil)


def volume_down(volume: float) -> str:
    """Return a volume [m3] with its unit, rounded down."""
    return _volume(volume, math.floor)


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
        yield (
            f'pump "{trip.name}" trips at {display.time(trip.at)} s; {trip.speed * 100:.0f} % of its full '
            "speed is left at the end"
        )
    for valve in run.non_return_valves:
        yield _non_return_line(valve, display)
    for relief in run.relief_valves:
        yield _relief_line(relief, display)
    for drum in run.surge_drums:
        yield (
            f'surge drum "{drum.name}": {volume_down(drum.gas)} of gas at first, at least '
            f"{volume_down(drum.least)} and at most {volume_up(drum.most)} of {drum.volume:g} m3"
        )
    for vessel in run.open_vessels:
        low, high = display.length(vessel.lowest), display.length(vessel.highest)
        yield f'open vessel "{vessel.name}": its level lies between {low} and {high}'


def _non_return_line(valve: NonReturnResult, display: Display) -> str:
    if valve.closed is None:
        return f'non-return valve "{valve.name}" stays open'
    if valve.closed == 0.0:
        return f'non-return valve "{valve.name}" is shut at first'
    shut = f'non-return valve "{valve.name}" is shut at {display.time(valve.closed)} s'
    if valve.stopped <= 0.0:
        return f"{shut}, and stops no reverse flow at once"
    return (
        f"{shut}; it stops {display.flow_up(valve.stopped)} of reverse flow at once, a slam of "
        f"{display.difference(valve.slam)} (wave resistance behind it times that flow)"
    )


def _relief_line(relief: ReliefResult, display: Display) -> str:
    if relief.opened is None:
        return f'relief valve "{relief.name}" stays shut'
    return (
        f'relief valve "{relief.name}" opens at {display.time(relief.opened)} s, lifts to '
        f"{relief.lift * 100:.0f} % and spills {volume_up(relief.passed)}"
    )


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
    run, most = max(pairs, key=lambda pair: pair[1].speed)
    left = f"{most.speed * 100:.0f} % of its full speed is left at the end"
    return f'Pump "{most.name}" trips and runs down by its inertia: {left} ("{run.name}").'


def _slam(pairs: list[Pair[NonReturnResult]], display: Display) -> str:
    run, worst = max(pairs, key=lambda pair: pair[1].slam)
    if worst.stopped <= 0.0:
        return f'Non-return valve "{worst.name}": no slam in any scenario.'
    return (
        f'Non-return valve "{worst.name}" slams: it stops at most {display.flow_up(worst.stopped)} of '
        f'reverse flow at once ("{run.name}"), which is {display.difference(worst.slam)}.'
    )


def _relief(pairs: list[Pair[ReliefResult]], display: Display) -> str:
    one = pairs[0][1]
    opened = [(run, relief) for run, relief in pairs if relief.opened is not None]
    first = display.pressure(one.set_pressure, unit=True)
    place = f'Relief valve "{one.name}" at {one.point}, set at {first}'
    if not opened:
        return f"{place}, stays shut in every scenario."
    run, most = max(opened, key=lambda pair: pair[1].passed)
    lift = max(relief.lift for _, relief in opened)
    return (
        f'{place}, lifts to {lift * 100:.0f} % and spills at most {volume_up(most.passed)} ("{run.name}"). '
        "What is kept is kept because it opens: its vessel must take that, and the valve must be fit and "
        "tested."
    )


def _drum(pairs: list[Pair[DrumResult]]) -> str:
    run, least = min(pairs, key=lambda pair: pair[1].least)
    other, most = max(pairs, key=lambda pair: pair[1].most)
    return (
        f'Surge drum "{least.name}" at {least.point}: of {least.volume:g} m3 at least '
        f'{volume_down(least.least)} stay gas ("{run.name}"), at most {volume_up(most.most)} become it '
        f'("{other.name}"). What is kept is kept because of that gas: look at its charge before loading.'
    )


def _vessel(pairs: list[Pair[VesselResult]], display: Display) -> str:
    low = min(vessel.lowest for _, vessel in pairs)
    high = max(vessel.highest for _, vessel in pairs)
    one = pairs[0][1]
    return (
        f'Open vessel "{one.name}" at {one.point}: its level lies between {display.length(low)} and '
        f"{display.length(high)}."
    )

"""What must hold of the scenarios of a line-up: what moves exists, and can move in that way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from surge.errors import Fault, Origin
from surge.model.gauge import GaugeReading
from surge.model.lineup import LineUp, PumpMove, Scenario, ValveMove
from surge.model.stroke import join, moves_so
from surge.model.topology import sides
from surge.model.validation_fields import (
    FLOW,
    LEVEL,
    OPENING,
    ROUNDING,
    SHARE,
    Bounds,
    outlet_faults,
    pressure_bounds,
    unknown_name,
)

LONGEST_MOVEMENT = 3600.0  # [s] what happens later than this is another scenario; our own bound
TIME = Bounds(0.0, LONGEST_MOVEMENT, "give the time from the beginning of the scenario", "s")
SHORTEST_MOVEMENT = 1e-3  # [s] a movement shorter than this is a step
DURATION = Bounds(0.0, LONGEST_MOVEMENT, "give the time from the beginning of the movement", "s")


def scenario_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of all scenarios of a line-up."""
    yield from _stage_faults(lineup)
    told: set[Origin] = set()
    for scenario in lineup.scenarios:
        if scenario.repeats:
            yield from _repeated_faults(lineup, scenario, told)
            continue
        own = _without_stage(lineup, scenario)
        yield from _state_faults(lineup, own)
        yield from level_faults(lineup, own)
        wrong = list(_valve_faults(lineup, scenario))
        told |= {fault.path for fault in wrong}
        yield from wrong
        yield from _pump_faults(lineup, scenario)
        yield from _side_faults(lineup, scenario)
        for term, seconds in scenario.timing:
            yield from DURATION.faults((*scenario.origin, "shutdown", term), seconds)
        if not scenario.moves and not scenario.pump_moves and not scenario.trips:
            yield Fault(
                path=(*scenario.origin, "event"),
                found="a scenario in which nothing happens",
                expected="an event or a step of a shutdown",
                remedy="add [[scenario.event]] with at and one of close, open, move, stop, start",
            )
        elif not wrong:
            yield from _idle_faults(lineup, scenario)


def _idle_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    """Yield a fault where every valve that is to move stands already where it would end, and no pump moves.

    A shutdown may well close a valve that is shut; a scenario in which nothing else happens shows nothing.
    """
    if not scenario.moves or scenario.pump_moves or scenario.trips:
        return
    openings = lineup.openings(scenario)
    if not all(_stays(move, openings.get(move.valve)) for move in scenario.moves):
        return
    first = scenario.moves[0]
    shut = openings[first.valve] == 0.0
    stands = "is shut" if shut else "stands there"
    yield Fault(
        path=first.origin,
        found=f'"{first.valve}" {stands} already: nothing moves in this scenario',
        expected="a movement from where the valve stands before it",
        remedy=f'write open, or take "{first.valve}" out of shut_at_start and openings'
        if shut
        else f'write close, or put "{first.valve}" into shut_at_start',
    )


def _stays(move: ValveMove, opening: float | None) -> bool:
    """Whether a valve stands already where its movement leads it."""
    law = None if opening is None else join(move.law, opening)
    return law is not None and all(abs(x - law[0][1]) <= ROUNDING for _, x in law)


def time_line_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    """Yield the faults of how everything stands at first, and of what moves."""
    own = _without_stage(lineup, scenario)
    yield from _state_faults(lineup, own)
    yield from level_faults(lineup, own)
    yield from _valve_faults(lineup, scenario)
    yield from _pump_faults(lineup, scenario)


def _stage_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of stages that the case describes by themselves."""
    first: dict[str, Origin] = {}
    for stage in lineup.stages:
        as_scenario = Scenario(
            name=stage.name,
            rate=stage.rate,
            levels=stage.levels,
            openings=stage.openings,
            origin=stage.origin,
        )
        yield from _state_faults(lineup, as_scenario)
        yield from level_faults(lineup, as_scenario)
        if stage.name in first:
            yield Fault(
                path=(*stage.origin, "name"),
                found=f'"{stage.name}" for a second time',
                expected="each stage once",
                remedy="write the other state as a scenario with its own rate, levels and openings",
            )
        first.setdefault(stage.name, stage.origin)


def _without_stage(lineup: LineUp, scenario: Scenario) -> Scenario:
    """A scenario without what it has from the stage that it names: that is held once, where it stands."""
    stage = next((s for s in lineup.stages if s.name == scenario.stage), None)
    if stage is None:
        return scenario
    return replace(
        scenario,
        rate=None if scenario.rate == stage.rate else scenario.rate,
        levels=tuple(pair for pair in scenario.levels if pair not in stage.levels),
        openings=tuple(pair for pair in scenario.openings if pair not in stage.openings),
    )


def _repeated_faults(lineup: LineUp, scenario: Scenario, told: set[Origin]) -> Iterator[Fault]:
    """Yield what is wrong with the movements of a shutdown only at another stage than its own."""
    for fault in _valve_faults(lineup, scenario):
        if fault.path not in told:
            told.add(fault.path)
            why = f"or leave the stage out with not_at and the reason ({fault.remedy})"
            law = 'write a law that begins fully open, as law = "linear" does'
            yield replace(fault, found=f'{fault.found}, in "{scenario.name}"', remedy=f"{law}, {why}")


def group_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of groups of valves: one that never closes, one that is alone in its group."""
    closing = {m.valve for s in lineup.scenarios for m in s.moves if m.law and moves_so(m, opens=False)}
    groups = [v.group for v in lineup.valves]
    for valve in lineup.valves:
        path = (*valve.origin, "group")
        if valve.group and valve.name not in closing:
            yield Fault(
                path=path,
                found=f'"{valve.name}" closes in no scenario',
                expected="a valve that closes: a group takes one stroke",
                remedy="add an event that closes it, or take out its group",
            )
        elif valve.group and groups.count(valve.group) == 1:
            yield Fault(
                path=path,
                found=f'no other valve has group = "{valve.group}"',
                expected="a group of two valves or more",
                remedy="give the other valves of the group the same name, or take it out",
            )


def _state_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    origin, valves = scenario.origin, [valve.name for valve in lineup.valves]
    if scenario.rate is not None:
        yield from FLOW.faults((*origin, "rate"), scenario.rate)
        if lineup.rate is None:
            yield Fault(
                path=(*origin, "rate"),
                found=f"{FLOW.show(scenario.rate)}, but the case has no [rate]",
                expected="a [rate] that says by which means a rate is reached",
                remedy="add [rate] with agreed, means and at, or leave the rate of the scenario out",
            )
    yield from opening_faults(lineup, scenario)
    for k, name in enumerate(scenario.shut_at_start):
        if name not in valves:
            yield unknown_name((*origin, "shut_at_start", k), name, kind="valve", known=valves)
    bounds = pressure_bounds("give the pressure shut in at this point", above=-lineup.atmosphere)
    for name, pressure in scenario.trapped:
        path = (*origin, "trapped_pressure", name)
        yield from bounds.faults(path, pressure)
        if name not in lineup.points_by_name:
            yield unknown_name(path, name, kind="point", known=lineup.points_by_name)


def opening_faults(lineup: LineUp, state: Scenario | GaugeReading) -> Iterator[Fault]:
    """Yield the faults of openings that are other ones than those of the line-up."""
    valves = [valve.name for valve in lineup.valves]
    for name, opening in state.openings:
        path = (*state.origin, "openings", name)
        yield from OPENING.faults(path, opening)
        if name not in valves:
            yield unknown_name(path, name, kind="valve", known=valves)


def level_faults(lineup: LineUp, state: Scenario | GaugeReading) -> Iterator[Fault]:
    """Yield the faults of levels that are other ones than those of the line-up."""
    tanks = {tank.name: tank for tank in lineup.tanks}
    for name, level in state.levels:
        path = (*state.origin, "levels", name)
        yield from LEVEL.faults(path, level)
        if name in tanks:
            yield from outlet_faults(lineup, tanks[name], level=level, path=path)
        else:
            yield unknown_name(path, name, kind="tank", known=tanks)


def _law_faults(move: ValveMove | PumpMove) -> Iterator[Fault]:
    """Yield the faults of the law itself; its table stands under ``table`` in a path."""
    path, law = (*move.origin, "table"), move.law
    bounds = OPENING if isinstance(move, ValveMove) else SHARE
    if len(law) < 2 or law[0][0] != 0.0:
        yield Fault(
            path=path,
            found="a table of less than two points" if len(law) < 2 else f"a first time of {law[0][0]:g} s",
            expected="two points or more, the first at 0 s",
            remedy="count the times from the beginning of the movement",
        )
    for k, (time, value) in enumerate(law):
        yield from DURATION.faults((*path, k, 0), time)
        yield from bounds.faults((*path, k, 1), value)
    for k, ((before, _), (time, _)) in enumerate(pairwise(law), start=1):
        # With room for rounding: 0.009 - 0.008 is a bit less than 0.001.
        if time < before or 0.0 < time - before < SHORTEST_MOVEMENT * (1 - 1e-6):
            yield Fault(
                path=(*path, k, 0),
                found=f"{time:g} s after {before:g} s",
                expected=f"times rising by {SHORTEST_MOVEMENT:g} s at least; the same time twice is a step",
                remedy="put the points in order of time",
            )


def _overlap_fault(move: ValveMove | PumpMove, *, name: str, end: float) -> Fault:
    return Fault(
        path=(*move.origin, "at"),
        found=f'"{name}" is to move again at {move.start:g} s',
        expected=f"not before {end:g} s, when its movement before has ended",
        remedy="start this movement later, or write both as one table",
    )


def _valve_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    known = [valve.name for valve in lineup.valves]
    openings = lineup.openings(scenario)
    ends: dict[str, float] = {}
    for move in sorted(scenario.moves, key=lambda m: m.start):
        if move.valve not in known:
            yield unknown_name((*move.origin, "valve"), move.valve, kind="valve", known=known)
            continue
        wrong = [*TIME.faults((*move.origin, "at"), move.start), *_law_faults(move)]
        yield from wrong
        if wrong:
            continue
        if move.start < ends.get(move.valve, 0.0) - ROUNDING:
            yield _overlap_fault(move, name=move.valve, end=ends[move.valve])
        opening = openings[move.valve]
        if opening is None or OPENING.allows(opening):
            yield from _join_faults(move, opening=opening)
        joined = move.law if opening is None else join(move.law, opening) or move.law
        ends[move.valve] = move.start + joined[-1][0]
        openings[move.valve] = move.law[-1][1]


def _join_faults(move: ValveMove, *, opening: float | None) -> Iterator[Fault]:
    """Yield a fault when the valve cannot join the law from the opening that it has."""
    values = [x for _, x in move.law]
    if values in (sorted(values), sorted(values, reverse=True)):
        if opening is None or min(values) - ROUNDING <= opening <= max(values) + ROUNDING:
            return
        expected = "a law that passes the opening which the valve has"
    elif opening is not None and abs(values[0] - opening) <= ROUNDING:
        return
    else:
        expected = "a law that starts at the opening which the valve has, since it both opens and closes"
    has = "an opening that the rate decides" if opening is None else f"an opening of {opening:g}"
    yield Fault(
        path=(*move.origin, "table"),
        found=f'a law from {values[0]:g} to {values[-1]:g} for "{move.valve}", which then has {has}',
        expected=expected,
        remedy="begin the table at that opening"
        if opening is not None
        else "write a law that only closes or opens",
    )


def _side_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    """Yield steps of a shutdown that stand on the other side than they are said to."""
    steps = [(m.valve, m.side, m.origin) for m in scenario.moves if m.side]
    steps += [(m.pump, m.side, m.origin) for m in scenario.pump_moves if m.side]
    steps += [(t.pump, t.side, t.origin) for t in scenario.trips if t.side]
    if not steps:
        return
    known = {e.start for e in lineup.elements} | {e.end for e in lineup.elements}
    if not known <= set(lineup.points_by_name):
        return  # a fault of its own
    true = sides(lineup)
    for name, side, origin in steps:
        if true.get(name, "") not in ("", side):
            yield Fault(
                path=(*origin, "side"),
                found=f'"{side}", but "{name}" stands on the {true[name]}\'s side of the hose or arm',
                expected=f'side = "{true[name]}"',
                remedy=f'write side = "{true[name]}", or check from and to of the elements',
            )


def _trip_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    pumps = {pump.name: pump for pump in lineup.pumps}
    for trip in scenario.trips:
        path = (*trip.origin, "trip")
        if trip.pump not in pumps:
            yield unknown_name(path, trip.pump, kind="pump", known=pumps)
            continue
        yield from TIME.faults((*trip.origin, "at"), trip.start)
        if pumps[trip.pump].turning is None:
            yield Fault(
                path=path,
                found=f'"{trip.pump}", of which the case gives no inertia',
                expected="a pump with inertia_kg_m2, full_speed_rpm, best_efficiency and best_flow",
                remedy="add them from the data sheets of pump and motor, or write stop with a run_down",
            )
        others = [m for m in scenario.pump_moves if m.pump == trip.pump]
        again = len(others) == 1 and others[0].start > trip.start and others[0].law[0][1] == 0.0
        if (others and not again) or sum(t.pump == trip.pump for t in scenario.trips) > 1:
            yield Fault(
                path=path,
                found=f'"{trip.pump}", which moves in this scenario otherwise too',
                expected="a pump that trips once, and may be started once after that",
                remedy="write a scenario of its own for the trip, or start with a later time",
            )


def _pump_faults(lineup: LineUp, scenario: Scenario) -> Iterator[Fault]:
    yield from _trip_faults(lineup, scenario)
    known = [pump.name for pump in lineup.pumps]
    before: dict[str, PumpMove] = {}
    for move in sorted(scenario.pump_moves, key=lambda m: m.start):
        if move.pump not in known:
            yield unknown_name((*move.origin, "pump"), move.pump, kind="pump", known=known)
            continue
        wrong = [*TIME.faults((*move.origin, "at"), move.start), *_law_faults(move)]
        yield from wrong
        if wrong:
            continue
        last = before.get(move.pump)
        if last is not None and move.start < last.start + last.law[-1][0] - ROUNDING:
            yield _overlap_fault(move, name=move.pump, end=last.start + last.law[-1][0])
        if last is not None and abs(last.law[-1][1] - move.law[0][1]) > ROUNDING:
            yield Fault(
                path=(*move.origin, "table"),
                found=f'"{move.pump}" from {move.law[0][1]:g} of its speed, left at {last.law[-1][1]:g}',
                expected="a law that begins where the one before has ended",
                remedy="begin the table at that share of the speed, or check the order of stop and start",
            )
        before[move.pump] = move

"""Rulings on flow: velocities, and the volume that still runs into a tank."""

from __future__ import annotations

import numpy as np

from surge.lineup import LineUp, Pipe, Scenario, Tank
from surge.result import Array, ScenarioResult
from surge.rulebook import Rule
from surge.rulings_ground import (
    Ground,
    Ruling,
    Unknown,
    judged,
    may_apply,
    not_checked,
    passed_over,
    rank,
)
from surge.rulings_times import counted_stop, each_shutdown, still_open

NO_FLOW = 1e-6  # [m3/s] a tank that takes less is not being loaded
FLOW_ERROR = 0.005  # [-] of a flow read from a run, as is allowed for its pressures; our own bound


# Velocities


def velocity(rule: Rule, ground: Ground) -> list[Ruling]:
    """Steady velocity in the fastest pipe, hose or arm of every scenario."""
    unknown: dict[str, Ruling] = {}
    found: list[Ruling] = []
    for scenario in ground.lineup.scenarios:
        of_one = []
        for pipe in ground.lineup.pipes:
            answer = ground.applies(rule, scenario=scenario, element=pipe)
            if isinstance(answer, Unknown):
                unknown.setdefault(answer.reason, may_apply(rule, answer))
            elif answer:
                of_one += _velocity(rule, ground, scenario, pipe)
        if of_one:
            found.append(max(of_one, key=rank))
    return [*found, *unknown.values()] or [passed_over(rule, f"it is for: {rule.applies}")]


def _velocity(rule: Rule, ground: Ground, scenario: Scenario, pipe: Pipe) -> list[Ruling]:
    found = []
    for run in ground.runs.get(scenario.name, []):
        figures = next(e.figures for e in run.elements if e.name == pipe.name)
        if figures is not None:
            clause = (f'In "{scenario.name}" the velocity is greatest in "{pipe.name}", ',)
            value = abs(figures.velocity)
            found.append(
                judged(
                    rule,
                    scenario=scenario.name,
                    subject=pipe.name,
                    value=value,
                    limit=rule.figure,
                    clause=clause,
                )
            )
    return found


def inlet_velocity(rule: Rule, ground: Ground) -> list[Ruling]:
    """Steady velocity at the inlet of every tank of the ship, the fastest of every scenario."""
    unknown: dict[str, Ruling] = {}
    found: list[Ruling] = []
    for scenario in ground.lineup.scenarios:
        answer = ground.applies(rule, scenario=scenario)
        if isinstance(answer, Unknown):
            unknown.setdefault(answer.reason, may_apply(rule, answer))
        elif answer:
            found += _at_inlets(rule, ground, scenario)
    return [*found, *unknown.values()] or [passed_over(rule, f"it is for: {rule.applies}")]


def _at_inlets(rule: Rule, ground: Ground, scenario: Scenario) -> list[Ruling]:
    found = []
    for tank in ship_tanks(ground.lineup):
        pipes = bores_of(ground.lineup, tank.point)
        for run in ground.runs.get(scenario.name, []):
            inflow = abs(float(into_tank(ground.lineup, run, tank)[0]))
            if not pipes and inflow > NO_FLOW:
                reason = f'no pipe leads to the tank "{tank.name}", which would tell the bore of its inlet'
                supply = "write the drop line as a pipe"
                return [not_checked(rule, reason, supply=supply, scenario=scenario.name, subject=tank.name)]
            own = {e.name: e.figures for e in run.elements}
            # One pipe carries all that the tank takes; of several, each tells its own velocity.
            speeds = [abs(f.velocity) for p in pipes if (f := own[p.name]) is not None]
            if len(pipes) == 1:
                speeds = [inflow / pipes[0].area]
            found += [
                judged(
                    rule,
                    scenario=scenario.name,
                    subject=tank.name,
                    value=max(speeds),
                    limit=rule.figure,
                    clause=(f'In "{scenario.name}" the inlet of the tank "{tank.name}" has the most, ',),
                )
            ] * bool(speeds)
    return [max(found, key=rank)] if found else []


# Overfill


def ship_tanks(lineup: LineUp) -> list[Tank]:
    """Tanks of the ship."""
    return [t for t in lineup.tanks if t.side == "ship"]


def into_tank(lineup: LineUp, run: ScenarioResult, tank: Tank) -> Array:
    """Flow into a tank against the time of the history, shape (n,) [m3/s].

    A pipe's flow is that of its start: what enters a drop line is what its tank will take.
    """
    total = np.zeros_like(run.history.time)
    for e in lineup.elements:
        if tank.point in (e.start, e.end):
            total = total + (1.0 if e.end == tank.point else -1.0) * run.history.flow[e.name]
    return total


def greatest_inflow(ground: Ground, tank: Tank) -> tuple[float, float, str]:
    """Greatest flow into a tank in any scenario, its error [m3/s], and the scenario.

    Diverted flow is in it. A flow that stands before anything moves has no numerical error.
    """
    best = (0.0, 0.0, "")
    for name, runs in ground.runs.items():
        for run in runs:
            flow = into_tank(ground.lineup, run, tank)
            most, steady = float(np.max(flow)), float(flow[0])
            if most > best[0]:
                best = (most, 0.0 if most <= steady * (1 + 1e-9) else FLOW_ERROR * most, name)
    return best


def overfill(rule: Rule, ground: Ground) -> list[Ruling]:
    """Time until the flow into a tank has stopped, against the time in which its ullage fills."""
    answer = ground.applies(rule)
    if isinstance(answer, Unknown):
        return [may_apply(rule, answer)]
    if not ground.shutdowns:
        reason = "the case has no emergency shutdown, so the time until the flow has stopped is not known"
        return [not_checked(rule, reason, supply="write a [scenario.shutdown] with its steps")]
    return each_shutdown(rule, ground, _overfill)


def _overfill(rule: Rule, ground: Ground, scenario: Scenario) -> list[Ruling]:
    found = []
    for tank in ship_tanks(ground.lineup):
        rate, error, where = greatest_inflow(ground, tank)
        if rate <= NO_FLOW:
            continue
        whose = f'"{tank.name}"'
        if tank.ullage is None:
            reason = f"the tank {whose} has no ullage"
            supply = f"write ullage for the tank {whose}: the volume from the level of the signal to overflow"
            found.append(not_checked(rule, reason, supply=supply, scenario=scenario.name, subject=tank.name))
            continue
        time = counted_stop(rule, ground, scenario, {tank.point})
        if time is None:
            found.append(still_open(rule, scenario, tank=tank.name))
            continue
        fills = tank.ullage / rate
        found.append(
            judged(
                rule,
                scenario=scenario.name,
                subject=tank.name,
                value=time,
                limit=rule.figure * fills,
                error=rule.figure * fills * error / rate,
                clause=(
                    f'In "{scenario.name}" the flow into the tank {whose} is stopped within ',
                    f"; its ullage of {tank.ullage:.4g} m3 fills in {fills:.4g} s at ",
                    ("flow", rate),
                    f', the greatest flow into it (in "{where}")',
                ),
            )
        )
    return found


def bores_of(lineup: LineUp, point: str) -> list[Pipe]:
    """Pipes that a point touches, past valves and passages without a length.

    Used to turn the flow into a tank into a velocity where a valve or a cargo pump stands at the tank.
    """
    seen: set[str] = set()
    stack = [point]
    found: list[Pipe] = []
    while stack:
        here = stack.pop()
        if here in seen:
            continue
        seen.add(here)
        pipes = [p for p in lineup.pipes if here in (p.start, p.end)]
        found += pipes
        if not pipes:
            stack += [e.end if e.start == here else e.start for e in lineup.links if here in (e.start, e.end)]
    return found

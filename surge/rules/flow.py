"""Rulings on flow: velocities, and the volume that still runs into a tank."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surge.arrays import Array
from surge.model.lineup import LineUp, Pipe, Scenario, Tank
from surge.rules.book import ROUNDING, Rule
from surge.rules.ground import (
    KEPT,
    NOT_DECIDED,
    NOT_KEPT,
    RuledCase,
    Ruling,
    Unknown,
    judged,
    may_apply,
    not_checked,
    passed_over,
    rank,
)
from surge.rules.times import counted_stop, ends_lacking, still_open, stops_at
from surge.transient.cavities import WINDOW
from surge.transient.result import ScenarioResult

NO_FLOW = 1e-6  # [m3/s] a tank that takes less is not being loaded
FLOWS_UNKNOWN = "the liquid boils, and what flows after that is not known"
FLOW_ERROR = 0.005  # [-] of a flow read from a run, as is allowed for its pressures; our own bound


def _error(run: ScenarioResult, tops: list[float], per_pressure: float) -> float:
    """Error of the greatest of what the histories of a run have at most, in the unit of ``tops``.

    Where it was followed with cavities that is as wide as the band of a pressure
    (:mod:`surge.transient.cavities`): ``WINDOW`` times the spread of all marches, and what pulses bring.
    ``per_pressure`` is what comes with a pulse of 1 Pa: 1/(rho a) of a velocity [m/s/Pa], A/(rho a) of a flow
    [m3/s/Pa].
    """
    pulses = run.cavities.pulses if run.cavities is not None else 0.0
    return FLOW_ERROR * max(tops) + WINDOW * (max(tops) - min(tops)) + pulses * per_pressure


def _unsure(run: ScenarioResult) -> str:
    """Why no rule is kept by the flows of a run that boils; "" where one may be."""
    if run.vapour is not None and not run.followed:
        return FLOWS_UNKNOWN
    if run.cavities is not None and run.cavities.ranges:
        return "the liquid boils, and figures are ranges"
    return ""


# Velocities: of the flow at the start of a pipe, of which the runs keep the history


def velocity(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Greatest velocity over the run, in the fastest pipe, hose or arm of every scenario."""
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


def _velocity(rule: Rule, ground: RuledCase, scenario: Scenario, pipe: Pipe) -> list[Ruling]:
    before = f'In "{scenario.name}" the velocity is greatest in "{pipe.name}", '
    return [
        _fastest(rule, ground, run, pipe, pipe.name, [h.flow[pipe.name] for h in run.histories], before)
        for run in ground.runs.get(scenario.name, [])
    ]


def _fastest(
    rule: Rule,
    ground: RuledCase,
    run: ScenarioResult,
    pipe: Pipe,
    subject: str,
    flows: list[Array],
    before: str,
) -> Ruling:
    """Hold the greatest velocity of a pipe's flows (n,) [m3/s], one for each of a run's histories, to a rule.

    Flow that another branch sheds raises a velocity above the steady one. What stands before anything moves
    has no numerical error. After the liquid has boiled the flow is not known without marches with cavities:
    no rule is kept then.
    """
    cut = run.vapour is not None and not run.followed
    times = [h.time for h in run.histories]
    speeds = [np.abs(flow) / ground.area(run, pipe) for flow in flows]
    if cut and run.vapour is not None:
        speeds = [v[t <= run.vapour.time] for v, t in zip(speeds, times, strict=True)]
    tops = [float(np.max(v)) for v in speeds]
    which = int(np.argmax(tops))
    at = int(np.argmax(speeds[which]))
    value, steady = tops[which], float(speeds[0][0])
    rises = value > steady * (1.0 + ROUNDING)
    density = ground.lineup.liquid.density
    made = judged(
        rule,
        scenario=run.name,
        subject=subject,
        value=value,
        limit=rule.figure,
        error=_error(run, tops, 1.0 / (density * pipe.wave_speed)) if rises else 0.0,
        clause=(
            before,
            f" at {times[which][at]:.3g} s, after {steady:.3g} m/s at the start" if rises else "",
        ),
    )
    why = _unsure(run)
    if made.outcome == NOT_KEPT or not why:
        return made
    words = f"{value:.3g} m/s{' until' if cut else ';'} {why}: {NOT_DECIDED}."
    return replace(made, outcome=NOT_DECIDED, phrase=(before, words))


def inlet_velocity(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Greatest velocity over the run at the inlets of the ship's tanks, the fastest of every scenario."""
    unknown: dict[str, Ruling] = {}
    found: list[Ruling] = []
    for scenario in ground.lineup.scenarios:
        answer = ground.applies(rule, scenario=scenario)
        if isinstance(answer, Unknown):
            unknown.setdefault(answer.reason, may_apply(rule, answer))
        elif answer:
            found += _at_inlets(rule, ground, scenario)
    return [*found, *unknown.values()] or [passed_over(rule, f"it is for: {rule.applies}")]


def _at_inlets(rule: Rule, ground: RuledCase, scenario: Scenario) -> list[Ruling]:
    found = []
    if (lacking := ends_lacking(ground.lineup)) is not None:
        return [not_checked(rule, lacking.reason, supply=lacking.supply, scenario=scenario.name)]
    for tank in ground.lineup.receiving:
        pipes = bores_of(ground.lineup, tank.point)
        before = f'In "{scenario.name}" the inlet of the tank "{tank.name}" has the most, '
        for run in ground.runs.get(scenario.name, []):
            inflow = into_tank(ground.lineup, run, tank)
            if not pipes and max(np.max(np.abs(flow)) for flow in inflow) > NO_FLOW:
                reason = f'no pipe leads to the tank "{tank.name}", which would tell the bore of its inlet'
                supply = "write the drop line as a pipe"
                return [not_checked(rule, reason, supply=supply, scenario=scenario.name, subject=tank.name)]
            # One pipe carries all that the tank takes; of several, each tells its own velocity.
            own = [[h.flow[p.name] for h in run.histories] for p in pipes]
            flows = [inflow] if len(pipes) == 1 else own
            found += [
                _fastest(rule, ground, run, p, tank.name, flow, before)
                for p, flow in zip(pipes, flows, strict=True)
            ]
    return [max(found, key=rank)] if found else []


# Overfill


def into_tank(lineup: LineUp, run: ScenarioResult, tank: Tank) -> list[Array]:
    """Flow into a tank against the time of every history that counts, each (n,) [m3/s].

    A pipe's flow is that of its start: what enters a drop line is what its tank will take.
    """
    totals = []
    for history in run.histories:
        total = np.zeros_like(history.time)
        for e in lineup.elements:
            if tank.point in (e.start, e.end):
                total = total + (1.0 if e.end == tank.point else -1.0) * history.flow[e.name]
        totals.append(total)
    return totals


def most_into_tank(lineup: LineUp, run: ScenarioResult, tank: Tank) -> float:
    """Greatest flow into a tank [m3/s]."""
    return max(float(np.max(flow)) for flow in into_tank(lineup, run, tank))


def greatest_inflow(ground: RuledCase, tank: Tank) -> tuple[float, float, str]:
    """Greatest flow into a tank in any scenario, its error [m3/s], and the scenario.

    Diverted flow is in it. A flow that stands before anything moves has no numerical error.
    """
    return ground.once(("greatest inflow", tank.name), lambda: _greatest_inflow(ground, tank))


def _greatest_inflow(ground: RuledCase, tank: Tank) -> tuple[float, float, str]:
    best = (0.0, 0.0, "")
    lineup = ground.lineup
    bores = bores_of(lineup, tank.point)
    per_pressure = sum(p.area / p.wave_speed for p in bores) / lineup.liquid.density
    for name, runs in ground.runs.items():
        for run in runs:
            flow = into_tank(lineup, run, tank)
            tops = [float(np.max(one)) for one in flow]
            most, steady = max(tops), float(flow[0][0])
            error = 0.0 if most <= steady * (1 + 1e-9) else _error(run, tops, per_pressure)
            error += run.elsewhere.inflow.get(tank.name, 0.0)
            if most + error > best[0] + best[1]:
                best = (most, error, name)
    return best


def overfill(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Time until the flow into a tank has stopped, against the time in which its ullage fills."""
    answer = ground.applies(rule)
    if isinstance(answer, Unknown):
        return [may_apply(rule, answer)]
    if not answer:
        return [passed_over(rule, f"it is for: {rule.applies}")]
    if not ground.shutdowns:
        reason = "the case has no emergency shutdown, so the time until the flow has stopped is not known"
        return [not_checked(rule, reason, supply="write a [scenario.shutdown] with its steps")]
    if (lacking := ends_lacking(ground.lineup)) is not None:
        return [not_checked(rule, lacking.reason, supply=lacking.supply)]
    found = [r for tank in ground.lineup.receiving for r in _overfill(rule, ground, tank)]
    return found or [passed_over(rule, "no tank is filled in this case")]


def _overfill(rule: Rule, ground: RuledCase, tank: Tank) -> list[Ruling]:
    """Rulings on one tank: only a shutdown that stops a flow into it tells how long that takes."""
    rate = greatest_inflow(ground, tank)[0]
    whose = f'the tank "{tank.name}"'
    if tank.ullage is None:
        supply = f"write ullage for {whose}: the volume from the level of the signal to overflow"
        lacking = not_checked(rule, f"{whose} has no ullage", supply=supply, subject=tank.name)
        return [lacking] * (rate > NO_FLOW)
    found = [
        _filling(rule, ground, scenario, tank)
        for scenario in ground.shutdowns
        if ground.applies(rule, scenario=scenario) is True and loads(ground, scenario, tank)
    ]
    if found:
        return found
    reason = f"{whose} has an ullage, and no emergency shutdown of the case stops a flow into it"
    supply = f"write a scenario with a [scenario.shutdown] that is ordered while {whose} is being filled"
    if rate <= NO_FLOW:
        supply += ", or take out its ullage: nothing in the case fills it"
    return [not_checked(rule, reason, supply=supply, subject=tank.name)]


def loads(ground: RuledCase, scenario: Scenario, tank: Tank) -> bool:
    """Whether liquid runs into a tank in a scenario, and it is not parted from the shore by the order."""
    assert scenario.ordered is not None
    for run in ground.runs.get(scenario.name, []):
        stop = stops_at(ground, scenario, run, {tank.point})
        runs_in = most_into_tank(ground.lineup, run, tank) > NO_FLOW
        if runs_in and (stop is None or stop > scenario.ordered):
            return True
    return False


def _filling(rule: Rule, ground: RuledCase, scenario: Scenario, tank: Tank) -> Ruling:
    assert tank.ullage is not None
    rate, error, where = greatest_inflow(ground, tank)
    time = counted_stop(rule, ground, scenario, {tank.point})
    if time is None:
        return still_open(rule, scenario, tank=tank.name)
    fills = tank.ullage / rate
    made = judged(
        rule,
        scenario=scenario.name,
        subject=tank.name,
        value=time,
        limit=rule.figure * fills,
        error=rule.figure * fills * error / rate,
        clause=(
            f'In "{scenario.name}" the flow into the tank "{tank.name}" is stopped within ',
            f"; its ullage of {tank.ullage:.4g} m3 fills in {fills:.4g} s at ",
            ("flow", rate),
            f', the greatest flow into it (in "{where}")',
        ),
    )
    why = next((w for w in map(_unsure, ground.runs.get(scenario.name, [])) if w), "")
    if made.outcome != KEPT or not why:
        return made
    words = f" But {why}: {NOT_DECIDED}."
    return replace(made, outcome=NOT_DECIDED, phrase=(*made.phrase, words))


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

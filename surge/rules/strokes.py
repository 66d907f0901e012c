"""Rulings on how gentle a closure is: whole strokes, rules of thumb, and the effective closing time."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from surge.model.lineup import Valve
from surge.rules.book import Rule
from surge.rules.ground import Ground, Ruling, judged, not_checked, passed_over, rank
from surge.rules.times import closes
from surge.transient.result import ScenarioResult

INCH = 0.0254  # [m]
MILLIMETRE = 1e-3  # [m]


def stroke_time(rule: Rule, ground: Ground) -> list[Ruling]:
    """Whole stroke of every valve that shuts."""
    return _strokes(rule, ground, lambda _: 1.0, "")


def stroke_per_inch(rule: Rule, ground: Ground) -> list[Ruling]:
    """Whole stroke of every valve that shuts, for every inch of its bore."""
    return _strokes(rule, ground, lambda v: _bore(ground, v, INCH), " for every inch of bore")


def stroke_per_millimetre(rule: Rule, ground: Ground) -> list[Ruling]:
    """Whole stroke of every valve that shuts, for every millimetre of its bore."""
    return _strokes(rule, ground, lambda v: _bore(ground, v, MILLIMETRE), " for every millimetre of bore")


def _bore(ground: Ground, valve: Valve, unit: float) -> float | None:
    """Bore of the widest pipe that touches a valve, in ``unit`` [m]; None where none does."""
    ends = {valve.start, valve.end}
    bores = [p.diameter for p in ground.lineup.pipes if {p.start, p.end} & ends]
    return max(bores) / unit if bores else None


def _strokes(rule: Rule, ground: Ground, share: Callable[[Valve], float | None], behind: str) -> list[Ruling]:
    shortest: dict[str, tuple[float, str]] = {}
    for scenario in ground.lineup.scenarios:
        for move in scenario.moves:
            time = closes(move.law)
            if time is not None and time < shortest.get(move.valve, (math.inf, ""))[0]:
                shortest[move.valve] = (time, scenario.name)
    found = []
    for valve in ground.lineup.valves:
        if valve.name not in shortest or ground.applies(rule, element=valve) is not True:
            continue
        time, scenario_name = shortest[valve.name]
        size = share(valve)
        if size is None:
            found.append(
                not_checked(
                    rule,
                    f'no pipe touches "{valve.name}", which would tell its bore',
                    supply="write the line beside that valve as a pipe",
                    scenario=scenario_name,
                    subject=valve.name,
                )
            )
            continue
        found.append(
            judged(
                rule,
                scenario=scenario_name,
                subject=valve.name,
                value=time / size,
                limit=rule.figure,
                clause=(
                    f'"{valve.name}" shuts in {time:.4g} s, which is '
                    if behind
                    else f'"{valve.name}" shuts in ',
                    behind,
                ),
            )
        )
    return found or [passed_over(rule, "no valve shuts in this case")]


# Effective closing time


def effective_closing(rule: Rule, ground: Ground) -> list[Ruling]:
    """Time in which the flow through a valve falls from 95 to 5 %, against its pipeline period."""
    found: list[Ruling] = []
    for scenario in ground.lineup.scenarios:
        if ground.applies(rule, scenario=scenario) is not True:
            continue
        of_one = [r for run in ground.runs.get(scenario.name, []) for r in _effective(rule, run)]
        if of_one:
            found.append(max(of_one, key=rank))
    return found or [passed_over(rule, "no valve stops a flow in this case")]


def _effective(rule: Rule, run: ScenarioResult) -> list[Ruling]:
    # The flow is known at samples: both ends of the effective time may lie up to one of them away.
    spacing = float(np.max(np.diff(run.history.time), initial=0.0))
    found = []
    for closure in run.closures:
        if closure.effective is None or closure.period <= 0.0:
            continue
        start = f'In "{run.name}" "{closure.valve}" stops its flow effectively within '
        found.append(
            judged(
                rule,
                scenario=run.name,
                subject=closure.valve,
                value=closure.effective,
                limit=rule.figure * closure.period,
                error=2.0 * spacing,
                clause=(start, f"; its pipeline period is {closure.period:.3g} s"),
            )
        )
    return found

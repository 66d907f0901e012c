"""Judge a case over its ranges by brute force: many points, one after the other, none left out for a reason.

Independent of :mod:`surge.rules.spread`: it knows the ends of the ranges and how a line-up is made at a point
of them, and asks :func:`surge.transient.run.simulate` what happens there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from surge.errors import CaseError, SolveError
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import Shares, ranges_of
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, WITHIN, findings_of
from surge.transient.result import ElementResult, PlaceResult
from surge.transient.run import simulate

DENSE = 3  # ranges of which every combination is tried


def raster(lineup: LineUp, points: int, seed: int) -> Iterator[Shares]:
    """Points over all ranges: a full raster of few, corners and a Latin hypercube of many."""
    n = len(ranges_of(lineup))
    if n <= DENSE:
        each = max(2, round(points ** (1 / max(n, 1))))
        yield from product(*([i / (each - 1) for i in range(each)],) * n)
        return
    rng = np.random.default_rng(seed)
    for row in rng.integers(0, 2, size=(points // 3, n)):
        yield tuple(float(x) for x in row)
    inside = points - points // 3
    cells = np.stack([rng.permutation(inside) for _ in range(n)], axis=1)
    for row in (cells + rng.random((inside, n))) / inside:
        yield tuple(float(x) for x in row)


@dataclass(frozen=True, kw_only=True)
class Beyond:
    """Where a raster is worse than what was told [Pa]."""

    scenario: str
    what: str
    shares: Shares
    by: float


@dataclass(frozen=True, kw_only=True)
class Compared:
    """How a case compares with its raster.

    Attributes
    ----------
    points, extremes : int
        Looked at.
    outside : list of Beyond
        Extremes beyond the told ones by more than their error.
    wrong : list of Beyond
        Limits told as kept for certain that a full run at a point exceeds for certain.
    """

    points: int
    extremes: int
    outside: list[Beyond]
    wrong: list[Beyond]


def compared(made: Assessment, *, points: int, seed: int, slack: float = 0.0) -> Compared:
    """Hold an answer against a raster; ``slack`` [Pa] is what single quick marches may be off."""
    count, extremes = 0, 0
    outside: list[Beyond] = []
    wrong: list[Beyond] = []
    for scenario in made.lineup.scenarios:
        told = _told(made, scenario)
        worst: dict[tuple[str, str, str], tuple[float, Shares]] = {}
        for shares in raster(made.lineup, points, seed):
            fixed = at_shares(made.lineup, shares)
            try:
                run = simulate(fixed, scenario_at(scenario, made.lineup, fixed), quick=True)
            except (CaseError, SolveError):
                continue
            count += 1
            for key, value in _values([*run.elements, *run.places]).items():
                if key not in worst or value > worst[key][0]:
                    worst[key] = value, shares
        extremes += len(worst)
        for key, (value, shares) in worst.items():
            by = value - told[key] - slack
            if by > 0.0:
                found = Beyond(scenario=scenario.name, what=" ".join(key), shares=shares, by=by)
                outside.append(found)
        wrong += _wrong(made, scenario, {shares for _, shares in worst.values()})
    return Compared(points=count, extremes=extremes, outside=outside, wrong=wrong)


def _values(owners: list[ElementResult | PlaceResult]) -> dict[tuple[str, str, str], float]:
    found = {}
    for one in owners:
        kind = "element" if isinstance(one, ElementResult) else "place"
        found[kind, one.name, "high"] = one.highest.pressure
        found[kind, one.name, "low"] = -one.lowest.pressure
    return found


def _told(made: Assessment, scenario: Scenario) -> dict[tuple[str, str, str], float]:
    """Every extreme with its error, the worst of the runs of a scenario."""
    told: dict[tuple[str, str, str], float] = {}
    for run in made.scenarios:
        if run.name != scenario.name:
            continue
        for kind, owners in (("element", run.elements), ("place", run.places)):
            for one in owners:
                for way, sign, x in (("high", 1.0, one.highest), ("low", -1.0, one.lowest)):
                    value = sign * x.pressure + x.error
                    told[kind, one.name, way] = max(told.get((kind, one.name, way), value), value)
    return told


def _wrong(made: Assessment, scenario: Scenario, points: set[Shares]) -> list[Beyond]:
    """Findings told as kept that a full run at one of the points exceeds."""
    kept = {
        (f.subject, f.name, f.check, f.limit_source)
        for f in made.findings
        if f.scenario == scenario.name and f.verdict == WITHIN
    }
    found = []
    for shares in sorted(points):
        fixed = at_shares(made.lineup, shares)
        one = scenario_at(scenario, made.lineup, fixed)
        quick = findings_of(fixed, simulate(fixed, one, quick=True))
        if not any(f.verdict == EXCEEDED and _key(f) in kept for f in quick):
            continue
        full = findings_of(fixed, simulate(fixed, one))
        found += [
            Beyond(scenario=scenario.name, what=" ".join(_key(f)), shares=shares, by=-(f.margin or 0.0))
            for f in full
            if f.verdict == EXCEEDED and _key(f) in kept
        ]
    return found


def _key(f: object) -> tuple[str, str, str, str]:
    return f.subject, f.name, f.check, f.limit_source  # type: ignore[attr-defined]

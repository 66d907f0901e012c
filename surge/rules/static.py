"""Static pressure with the shore pump running against shut valves, before any transient.

Whatever the stroke, a valve that is shut against a running pump ends with shut-off head behind it. So every
part of the line-up that valves can shut off from all ship's tanks is held against that head, at its lowest
end.

Decisions
---------
* The worst over all positions of valves and pumps: :mod:`surge.rules.heads`.
* What no tank, supply or pump brings a head to (it lies behind the non-return valve of a pump) has no static
  pressure.
* The limit is the rating without any allowance.
* Where the density is a range, the worse of its ends counts: each of these pressures is the greatest of some
  that are straight in the density, so that no density inside is worse than both ends. If one end keeps a
  limit and the other does not, it cannot be decided.
"""

from __future__ import annotations

import math
from dataclasses import replace

from surge.model.lineup import Element, LineUp, Point
from surge.model.ranges import LIQUID, figure, rounded, whose
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, Whose, judge_value, missing, worst_one
from surge.rules.heads import exposed_points, shut_off_heads
from surge.rules.limits import HOSE_STATIC_RULE, STATIC_RULE, place_limits, static_limit

DENSITY_STEPS = 30  # halvings to find the density up to which a limit is kept


def _low_end(lineup: LineUp, element: Element, exposed: set[str], heads: dict[str, float]) -> float | None:
    """Highest static pressure at an exposed end of an element [Pa gauge]."""
    ends = [p for p in (element.start, element.end) if p in exposed]
    return max((lineup.pressure_at(p, heads[p]) for p in ends), default=None)


def static_findings(lineup: LineUp) -> tuple[Finding, ...]:
    """Hold shut-off pressure against every rating and place limit that it can reach.

    Parameters
    ----------
    lineup : LineUp
    """
    heads = shut_off_heads(lineup)
    exposed = {point for point in exposed_points(lineup) if heads[point] > -math.inf}
    found = [
        missing(
            Whose(scenario="", subject="element", name=s.name, check="static"),
            STATIC_RULE,
            reason="no shut_off_pressure given for this supply",
        )
        for s in lineup.supplies
        if s.shut_off is None
    ]
    for element in lineup.elements:
        value = _low_end(lineup, element, exposed, heads)
        limit = static_limit(element)
        if value is not None and limit is not None:
            part = Whose(scenario="", subject="element", name=element.name, check="static")
            # A hose's rating has to be above that pressure, not only as high.
            found.append(judge_value(part, value, limit, inclusive=limit.rule != HOSE_STATIC_RULE))
    for point in lineup.points:
        found += _at_place(lineup, point, exposed, heads)
    return tuple(found)


def static_over_densities(lineup: LineUp) -> tuple[Finding, ...]:
    """Return what :func:`static_findings` finds, each at the worse end of the densities."""
    ends = lineup.liquid.density_range
    if ends is None:
        return static_findings(lineup)
    at_ends = [_static_at(lineup, density) for density in ends]
    found = []
    for i, pair in enumerate(zip(*at_ends, strict=True)):
        worse = worst_one(pair)
        if {f.verdict for f in pair} == {WITHIN, EXCEEDED}:
            worse = replace(worse, verdict=UNDECIDED, reason=_by_density(lineup, i, ends, pair))
        found.append(worse)
    return tuple(found)


def _static_at(lineup: LineUp, density: float) -> tuple[Finding, ...]:
    return static_findings(lineup.with_(liquid=replace(lineup.liquid, density=density)))


def _by_density(lineup: LineUp, i: int, ends: tuple[float, float], pair: tuple[Finding, ...]) -> str:
    """Which densities keep a limit."""
    good, bad = ends if pair[0].verdict == WITHIN else ends[::-1]
    for _ in range(DENSITY_STEPS):
        middle = 0.5 * (good + bad)
        if _static_at(lineup, middle)[i].verdict == WITHIN:
            good = middle
        else:
            bad = middle
    way = "up to" if good < bad else "from"
    turn = figure("density", rounded("density", good, up=good > bad))
    return f"it depends on the {whose(LIQUID, 'density')}: kept {way} {turn}. Find that figure"


def _at_place(lineup: LineUp, point: Point, exposed: set[str], heads: dict[str, float]) -> list[Finding]:
    if point.name not in exposed:
        return []
    value = lineup.pressure_at(point.name, heads[point.name])
    place = Whose(scenario="", subject="place", name=point.name, check="static")
    return [judge_value(place, value, limit) for limit in place_limits(lineup, point)]

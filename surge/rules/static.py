"""Static pressure with the shore pump running against shut valves, before any transient.

Whatever the stroke, a valve that is shut against a running pump ends with shut-off head behind it. So every
part of the line-up that valves can shut off from all ship's tanks is held against that head, at its lowest
end.

Decisions
---------
* All tanks stand at their highest level in any scenario, pumps turn at the speed that the case gives (full
  speed without one).
* Each pump adds its shut-off head once, whatever valve stands beside it. A tank holds its own pressure.
* The limit is the rating without any allowance.
"""

from __future__ import annotations

from dataclasses import replace

from surge.hydraulics.steady import head_of_tank
from surge.kernel.curves import pump_curve
from surge.model.lineup import Element, LineUp, Point, Tank
from surge.model.topology import components
from surge.rules.findings import Finding, Whose, judge_value, missing
from surge.rules.limits import HOSE_STATIC_RULE, STATIC_RULE, place_limits, static_limit


def shut_off_heads(lineup: LineUp, *, speed: dict[str, float] | None = None) -> dict[str, float]:
    """Highest head that can stand at every point with no flow [m].

    Parameters
    ----------
    lineup : LineUp
    speed : dict of str to float, optional
        Speeds of pumps; full speed without it.

    Notes
    -----
    Tanks and supplies hold their heads; each pump adds its shut-off head to what stands before it,
    whether a valve stands beside it or not; pumps behind one another add up, each once.
    """
    rho_g = lineup.liquid.density * lineup.gravity
    source = {t.point: head_of_tank(lineup, _fullest(lineup, t)) for t in lineup.tanks}
    for s in lineup.supplies:
        pressure = s.shut_off if s.shut_off is not None else (s.pressure or 0.0)
        source[s.point] = lineup.points_by_name[s.point].elevation + pressure / rho_g
    lift = {
        p.name: (speed or {}).get(p.name, p.speed) ** 2 * float(pump_curve(p.curve).coef[0, 0])
        for p in lineup.pumps
    }
    parts = components(lineup, without={p.name for p in lineup.pumps} | {v.name for v in lineup.valves})
    part_of = {point: i for i, part in enumerate(parts) for point in part}
    held = [max((source[p] for p in part if p in source), default=None) for part in parts]
    heads = [h if h is not None else float("-inf") for h in held]

    def raise_to(part: int, head: float, used: frozenset[str]) -> None:
        """Bring ``head`` to a part and what valves join to it, and on through pumps not yet used."""
        reached = _through_valves(lineup, part, part_of, held)
        for here in reached:
            if held[here] is None:
                heads[here] = max(heads[here], head)
        for pump in lineup.pumps:
            start, end = part_of[pump.start], part_of[pump.end]
            if start in reached and pump.name not in used:
                before = held[start]
                raise_to(end, (head if before is None else before) + lift[pump.name], used | {pump.name})

    for i, head in enumerate(held):
        if head is not None:
            raise_to(i, head, frozenset())
    return {point: heads[i] for point, i in part_of.items()}


def _through_valves(lineup: LineUp, part: int, part_of: dict[str, int], held: list[float | None]) -> set[int]:
    """Parts that valves join to ``part``; a tank holds its own pressure and what lies beyond it."""
    reached: set[int] = set()
    stack = [part]
    while stack:
        here = stack.pop()
        if here in reached:
            continue
        reached.add(here)
        if held[here] is not None and here != part:
            continue
        for valve in lineup.valves:
            ends = part_of[valve.start], part_of[valve.end]
            if here in ends:
                stack.append(ends[1] if here == ends[0] else ends[0])
    return reached


def _fullest(lineup: LineUp, tank: Tank) -> Tank:
    """The tank at the highest level that any scenario gives it."""
    levels = [level for s in lineup.scenarios for name, level in s.levels if name == tank.name]
    return replace(tank, level=max([tank.level, *levels]))


def exposed_points(lineup: LineUp) -> set[str]:
    """Points that valves can shut off from every ship's tank."""
    open_ended = {t.point for t in lineup.tanks if t.side == "ship"}
    parts = components(lineup, without={v.name for v in lineup.valves})
    return set().union(*(part for part in parts if not part & open_ended))


def _low_end(lineup: LineUp, element: Element, exposed: set[str], heads: dict[str, float]) -> float | None:
    """Highest static pressure at an exposed end of an element [Pa gauge]."""
    rho_g = lineup.liquid.density * lineup.gravity
    ends = [p for p in (element.start, element.end) if p in exposed]
    return max((rho_g * (heads[p] - lineup.points_by_name[p].elevation) for p in ends), default=None)


def static_findings(lineup: LineUp, *, speed: dict[str, float] | None = None) -> tuple[Finding, ...]:
    """Hold shut-off pressure against every rating and place limit that it can reach.

    Parameters
    ----------
    lineup : LineUp
    speed : dict of str to float, optional
        Speeds at which the pumps are set.
    """
    heads, exposed = shut_off_heads(lineup, speed=speed), exposed_points(lineup)
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
            whose = Whose(scenario="", subject="element", name=element.name, check="static")
            # A hose's rating has to be above that pressure, not only as high.
            found.append(judge_value(whose, value, limit, inclusive=limit.rule != HOSE_STATIC_RULE))
    for point in lineup.points:
        found += _at_place(lineup, point, exposed, heads)
    return tuple(found)


def _at_place(lineup: LineUp, point: Point, exposed: set[str], heads: dict[str, float]) -> list[Finding]:
    if point.name not in exposed:
        return []
    value = lineup.liquid.density * lineup.gravity * (heads[point.name] - point.elevation)
    whose = Whose(scenario="", subject="place", name=point.name, check="static")
    return [judge_value(whose, value, limit) for limit in place_limits(lineup, point)]

"""The highest head that can stand at every point without flow, over all positions of valves and pumps.

Every valve may be open or shut, every pump may run at its speed or stand still, each for itself. Heads [m].

Decisions
---------
* A pump that runs adds its shut-off head from suction to discharge. Without a non-return valve it is an open
  passage from discharge to suction as well: what another pump holds behind it stands on its suction side too.
  With one, nothing comes back through it. A non-return valve of its own is taken for one that leaks, where
  that is worse.
* All tanks stand at their highest level in any scenario, pumps turn at the speed that the case gives (full
  speed without one). A tank or supply holds its own head: nothing raises it, and no way leads on through it.
* Pipes and passages take no head: what flows in them is for the runs to tell.
* What was shut in at a higher head before, or warms up while it is shut in, is not looked at.

How it is found. No head exceeds that of some tank or supply plus the shut-off heads of the pumps on a way
from there that touches no place twice: from the point go back, always to where the flow comes from, or
through what stands still. Where every pump stands between valves of its own, that way can be opened alone,
and the head is reached. A pump that nothing parts from the rest leaks, and less may stand in truth than is
told here. Two things more err to the high side. Of a way through valves, only the places that it cannot go
round are kept from being touched again. Beyond ``MOST`` ways, all shut-off heads are added up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf

from surge.hydraulics.steady import head_of_tank
from surge.kernel.curves import pump_curve
from surge.model.lineup import LineUp, NonReturnValve, Pump, Tank, Valve
from surge.model.topology import always_joined

MOST = 3000  # ways through pumps that are followed; berths have fewer than twenty

Blocked = frozenset[int]


@dataclass(frozen=True, kw_only=True)
class _Parts:
    """What is joined by pipes and passages, as one place each, numbered.

    Attributes
    ----------
    of : dict of str to int
        The part of every point.
    held : dict of int to float
        Heads of the parts with a tank or supply [m].
    valves : tuple of set of int
        The parts that valves join to each part.
    pumps : tuple of list of (int, float)
        From each part through a pump: to which part, and how much higher [m].
    """

    of: dict[str, int]
    held: dict[int, float]
    valves: tuple[set[int], ...]
    pumps: tuple[list[tuple[int, float]], ...]


def shut_off_heads(lineup: LineUp) -> dict[str, float]:
    """Highest head that can stand at every point with no flow [m]; minus infinity where nothing brings one.

    Parameters
    ----------
    lineup : LineUp

    Notes
    -----
    Tanks and supplies hold their heads; each pump adds its shut-off head to what stands before it,
    whether a valve stands beside it or not; pumps behind one another add up, each once.
    """
    parts = _parts(lineup)
    heads = [-inf] * len(parts.valves)
    followed: dict[tuple[int, Blocked], float] = {}
    taken = frozenset(parts.held)
    ways = [(part, head, taken) for part, head in parts.held.items()]
    while ways and len(followed) < MOST:
        ways += _go_on(parts, *ways.pop(), followed=followed, heads=heads)
    if ways:
        heads = [max(parts.held.values()) + sum(map(_lift, lineup.pumps))] * len(heads)
    for part, head in parts.held.items():
        heads[part] = head
    return {point: heads[part] for point, part in parts.of.items()}


def _go_on(
    parts: _Parts,
    part: int,
    head: float,
    blocked: Blocked,
    *,
    followed: dict[tuple[int, Blocked], float],
    heads: list[float],
) -> list[tuple[int, float, Blocked]]:
    """Bring a head to a part and to what valves join to it; return the ways on through pumps."""
    if followed.get((part, blocked), -inf) >= head:
        return []
    followed[part, blocked] = head
    ways = []
    before = _through_valves(parts, part, blocked)
    for here in before:
        heads[here] = max(heads[here], head)
        onward = [(there, rise) for there, rise in parts.pumps[here] if there not in blocked]
        if onward:
            passed = blocked | _surely_passed(parts, here, before, blocked)
            ways += [(to, head + rise, passed | {to}) for to, rise in onward if to not in passed]
    return ways


def _through_valves(parts: _Parts, part: int, blocked: Blocked) -> dict[int, int | None]:
    """Parts that valves join to ``part`` past what is blocked, each with the one before it."""
    before: dict[int, int | None] = {part: None}
    stack = [part]
    while stack:
        here = stack.pop()
        for there in parts.valves[here] - blocked:
            if there not in before:
                before[there] = here
                stack.append(there)
    return before


def _surely_passed(parts: _Parts, goal: int, before: Mapping[int, int | None], blocked: Blocked) -> set[int]:
    """Parts that no way through valves to ``goal`` goes round, both its ends among them."""
    way = [goal]
    while (here := before[way[-1]]) is not None:
        way.append(here)
    inside, start = way[1:-1], way[-1]
    needed = {p for p in inside if goal not in _through_valves(parts, start, blocked | {p})}
    return needed | {start, goal}


def _parts(lineup: LineUp) -> _Parts:
    parted = always_joined(lineup)
    of = {point: i for i, part in enumerate(parted) for point in part}
    held: dict[int, float] = {}
    for point, head in _held_heads(lineup):
        held[of[point]] = max(head, held.get(of[point], -inf))
    valves: tuple[set[int], ...] = tuple(set() for _ in parted)
    pumps: tuple[list[tuple[int, float]], ...] = tuple([] for _ in parted)
    # A non-return valve may leak, and may be shut: counted as a valve, which can be either.
    parting: list[Valve | NonReturnValve] = [*lineup.valves, *lineup.non_return_valves]
    for valve in parting:
        start, end = of[valve.start], of[valve.end]
        valves[start].add(end)
        valves[end].add(start)
    for pump in lineup.pumps:
        pumps[of[pump.start]].append((of[pump.end], _lift(pump)))
        if not pump.non_return:
            pumps[of[pump.end]].append((of[pump.start], 0.0))
    return _Parts(of=of, held=held, valves=valves, pumps=pumps)


def _held_heads(lineup: LineUp) -> list[tuple[str, float]]:
    """Heads that tanks and supplies hold without flow, each with its point [m]."""
    rho_g = lineup.liquid.density * lineup.gravity
    held = [(t.point, head_of_tank(lineup, _fullest(lineup, t))) for t in lineup.tanks]
    for s in lineup.supplies:
        pressure = s.shut_off if s.shut_off is not None else (s.pressure or 0.0)
        held.append((s.point, lineup.points_by_name[s.point].elevation + pressure / rho_g))
    return held


def _lift(pump: Pump) -> float:
    """Shut-off head of a pump at its speed [m]."""
    return pump.speed**2 * float(pump_curve(pump.curve).coef[0, 0])


def _fullest(lineup: LineUp, tank: Tank) -> Tank:
    """The tank at the highest level that any scenario gives it."""
    levels = [level for s in lineup.scenarios for name, level in s.levels if name == tank.name]
    return replace(tank, level=max([tank.level, *levels]))


def exposed_points(lineup: LineUp) -> set[str]:
    """Points that valves and pumps can shut off from every ship's tank.

    Pipes and passages keep a point open to a tank, also a pump that liquid runs through to the tank. A pump
    that takes from the tank does not: behind it its own shut-off head can stand, or a non-return valve.
    """
    parts = always_joined(lineup)
    ship = {t.point for t in lineup.tanks if t.side == "ship"}
    open_ended: set[str] = set().union(*(part for part in parts if part & ship))
    grown = True
    while grown:
        before = {p.start for p in lineup.pumps if p.end in open_ended and p.start not in open_ended}
        open_ended |= set().union(*(part for part in parts if part & before))
        grown = bool(before)
    return set(lineup.points_by_name) - open_ended

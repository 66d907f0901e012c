"""Every rule between the fields of a line-up: what must hold before anything is computed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from surge.errors import CaseError, Fault
from surge.model.lineup import Element, LineUp, Origin, Point, Scenario, Supply, Tank
from surge.model.validation_curves import curve_faults
from surge.model.validation_fields import FLOW, choice_faults, field_faults, unknown_name
from surge.model.validation_scenarios import scenario_faults

MEANS = {
    "throttle": "valve or passage",
    "pump speed": "pump",
    "supply pressure": "supply",
}


def checked(lineup: LineUp) -> LineUp:
    """Return the line-up unchanged.

    Raises
    ------
    CaseError
        With all of its faults, when it has any.
    """
    faults = faults_of(lineup)
    if faults:
        raise CaseError(faults)
    return lineup


def faults_of(lineup: LineUp) -> list[Fault]:
    """Return every fault of a line-up, sorted by path (list positions by number)."""
    faults = [
        *field_faults(lineup),
        *curve_faults(lineup),
        *_name_faults(lineup),
        *_place_faults(lineup),
        *_connection_faults(lineup),
        *_end_faults(lineup),
        *_rate_faults(lineup),
        *scenario_faults(lineup),
    ]
    if not faults:
        faults.extend(_lift_faults(lineup))
    return sorted(faults, key=_order)


def _order(fault: Fault) -> tuple[tuple[int, int, str], ...]:
    return tuple((0, part, "") if isinstance(part, int) else (1, 0, part) for part in fault.path)


def _name_faults(lineup: LineUp) -> Iterator[Fault]:
    things: Sequence[Element | Tank | Supply | Point | Scenario]
    for things in ((*lineup.elements, *_fixed(lineup)), lineup.points, lineup.scenarios):
        first: dict[str, Origin] = {}
        for thing in sorted(things, key=lambda t: [str(part).rjust(9) for part in t.origin]):
            if not thing.name.strip():
                yield Fault(
                    path=(*thing.origin, "name"),
                    found="no name",
                    expected="a name",
                    remedy="write a name that people at the berth use",
                )
            elif thing.name in first:
                where = ".".join(map(str, first[thing.name]))
                yield Fault(
                    path=(*thing.origin, "name"),
                    found=f'"{thing.name}" for a second time (first: {where})',
                    expected="a name of its own",
                    remedy="rename one of the two, and say which of them the events and the rate mean",
                )
            first.setdefault(thing.name, thing.origin)


def _fixed(lineup: LineUp) -> tuple[Tank | Supply, ...]:
    return (*lineup.tanks, *lineup.supplies)


def _ends(lineup: LineUp) -> Iterator[tuple[Origin, str]]:
    """Yield every place where something is joined to a point: its path and the point's name."""
    for element in lineup.elements:
        yield (*element.origin, "from"), element.start
        yield (*element.origin, "to"), element.end
    for fixed in _fixed(lineup):
        yield (*fixed.origin, "at"), fixed.point


def _place_faults(lineup: LineUp) -> Iterator[Fault]:
    for path, name in _ends(lineup):
        if name not in lineup.points_by_name:
            yield unknown_name(path, name, kind="point", known=lineup.points_by_name)
    for element in lineup.elements:
        if element.start == element.end:
            yield Fault(
                path=(*element.origin, "to"),
                found=f'"{element.end}", which is also where it starts',
                expected="another point than in from",
                remedy="name the two points that it joins",
            )


def _resolved(lineup: LineUp, name: str) -> str | None:
    """Return the point that a name means, misspelt or not: one slip shall not be reported three times."""
    if name in lineup.points_by_name:
        return name
    near = get_close_matches(name, list(lineup.points_by_name), n=1)
    return near[0] if near else None


def _connection_faults(lineup: LineUp) -> Iterator[Fault]:
    uses = Counter(_resolved(lineup, name) for _, name in _ends(lineup))
    fixed: dict[str | None, list[Tank | Supply]] = {}
    for thing in _fixed(lineup):
        fixed.setdefault(_resolved(lineup, thing.point), []).append(thing)
    for point in lineup.points:
        if point.closed and (uses[point.name] != 1 or point.name in fixed):
            yield Fault(
                path=(*point.origin, "closed"),
                found=f"a closed end at which {uses[point.name]} thing(s) meet",
                expected="one element that ends there, and no tank or supply",
                remedy="leave closed out, or take the other elements (tank, supply) to another point",
            )
        elif not point.closed and uses[point.name] < 2:
            what = "one thing only" if uses[point.name] else "nothing"
            yield Fault(
                path=point.origin,
                found=f'a point, "{point.name}", at which {what} is joined',
                expected="two things or more: elements, a tank, a supply",
                remedy="join the element or the tank that is missing, or write closed = true for a blank end",
            )
    for things in fixed.values():
        for second in things[1:]:
            if second.point in lineup.points_by_name:
                yield Fault(
                    path=(*second.origin, "at"),
                    found=f'"{second.point}", where "{things[0].name}" is already',
                    expected="one tank or supply at a point",
                    remedy="give each of them a point of its own, with the pipe or valve between",
                )
    if None not in uses:
        yield from _island_faults(lineup, fixed=set(fixed))


def _islands(lineup: LineUp) -> list[set[str | None]]:
    """Return sets of points joined with each other when everything is open."""
    islands: list[set[str | None]] = []
    for element in lineup.elements:
        joined = {_resolved(lineup, element.start), _resolved(lineup, element.end)}
        apart = [island for island in islands if not island & joined]
        islands = [*apart, joined.union(*(island for island in islands if island & joined))]
    return islands


def _island_faults(lineup: LineUp, *, fixed: set[str | None]) -> Iterator[Fault]:
    for island in _islands(lineup):
        if not island & fixed:
            inside = [p for p in lineup.points if p.name in island]
            names = ", ".join(f'"{p.name}"' for p in inside)
            yield Fault(
                path=inside[0].origin,
                found=f"a part of the line-up without any pressure: {names}",
                expected="a tank or a supply in every part, with all valves open",
                remedy="join this part to the rest, or give it its tank or supply",
            )


def _end_faults(lineup: LineUp) -> Iterator[Fault]:
    def missing(key: str, what: str, remedy: str) -> Fault:
        return Fault(path=(key,), found=f"no {what}", expected=f"a {what}", remedy=remedy)

    if not lineup.pipes:
        yield missing("pipe", "pipe, hose or arm", "add the pipes, hoses and arms between the points")
    sources = sum(tank.side == "shore" for tank in lineup.tanks) + len(lineup.supplies)
    if not sources:
        remedy = 'add [[tank]] with side = "shore", or [[supply]] with the pressure at the far end'
        yield missing("tank", "shore tank or supply", remedy)
    if all(tank.side == "shore" for tank in lineup.tanks) and sources < 2:
        yield missing("tank", "tank that receives", 'add [[tank]] with side = "ship"')


def _rate_faults(lineup: LineUp) -> Iterator[Fault]:
    rate = lineup.rate
    named = rate.at if rate is not None and rate.means == "supply pressure" else None
    for supply in lineup.supplies:
        if supply.pressure is None and supply.name != named:
            yield Fault(
                path=(*supply.origin, "pressure"),
                found="no pressure",
                expected="the pressure at the agreed rate, since the rate does not decide it",
                remedy=f'add pressure, or write means = "supply pressure" and at = "{supply.name}" in [rate]',
            )
    if rate is None:
        return
    yield from FLOW.faults((*rate.origin, "agreed"), rate.agreed)
    elements = [element.name for element in lineup.elements]
    if rate.through not in elements:
        yield unknown_name(
            (*rate.origin, "through"), rate.through, kind="pipe or other element", known=elements
        )
    yield from choice_faults((*rate.origin, "means"), rate.means, choices=MEANS)
    right = {
        "throttle": [*(v.name for v in lineup.valves), *(p.name for p in lineup.passages)],
        "pump speed": [pump.name for pump in lineup.pumps],
        "supply pressure": [supply.name for supply in lineup.supplies],
    }.get(rate.means)
    if right is not None and rate.at not in right:
        yield unknown_name((*rate.origin, "at"), rate.at, kind=MEANS[rate.means], known=right)


def _lift_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield a fault when no flow at all is possible, however small; the steady state finds the rest."""
    rate, weight = lineup.rate, lineup.liquid.density * lineup.gravity
    ship = [tank for tank in lineup.tanks if tank.side == "ship"]
    if rate is None or rate.means == "supply pressure" or not ship:
        return
    heads = [tank.level + tank.blanket / weight for tank in lineup.tanks if tank.side == "shore"]
    for supply in lineup.supplies:
        pressure = max(p for p in (supply.pressure, supply.shut_off) if p is not None)
        heads.append(lineup.points_by_name[supply.point].elevation + pressure / weight)
    available = max(heads) + sum(pump.curve[0][1] for pump in lineup.pumps)
    needed = min(
        max(tank.level, lineup.points_by_name[tank.point].elevation) + tank.blanket / weight for tank in ship
    )
    if available <= needed:
        yield Fault(
            path=(*rate.origin, "agreed"),
            found=f"{FLOW.show(rate.agreed)}, with at most {available:.1f} m of head above the datum: tank "
            "levels and shut-off heads of all pumps together",
            expected=f"more than {needed:.1f} m, the lowest head at which a ship's tank takes anything",
            remedy="check levels, elevations (one datum for shore and ship) and the pump curve",
        )

"""What must hold between the parts of a line-up before anything is computed.

Names are found once, elements join points that exist, every part has a tank or a supply, the agreed rate has
its means, curves fall or rise as they must. All faults are told at once, each with what to write instead.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise

from surge.errors import CaseError, Fault, Origin, meant
from surge.kernel.curves import rising_from
from surge.model.attached import Attached
from surge.model.lineup import Element, LineUp, Point, Pump, Scenario, Supply, Table, Tank, Valve
from surge.model.validation_attached import attached_faults
from surge.model.validation_fields import (
    FLOW,
    PER_HOUR,
    Bounds,
    choice_faults,
    field_faults,
    unknown_name,
)
from surge.model.validation_fillings import fillings_faults, way_faults
from surge.model.validation_readings import reading_faults
from surge.model.validation_scenarios import group_faults, scenario_faults

MEANS = {
    "throttle": "valve or passage",
    "pump speed": "pump",
    "supply pressure": "supply",
}
SPACING = 1e-4  # [-] part of the whole width below which two points of a curve are one, or a slip
PUMP_FLOW = Bounds(0.0, FLOW.high, "give a flow of the pump's test curve", "m3/h", PER_HOUR)
PUMP_HEAD = Bounds(0.0, 5000.0, "give the head as a height of the liquid", "m")


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
        *attached_faults(lineup),
        *curve_faults(lineup),
        *_name_faults(lineup),
        *_place_faults(lineup),
        *_connection_faults(lineup),
        *_end_faults(lineup),
        *_rate_faults(lineup),
        *scenario_faults(lineup),
        *group_faults(lineup),
        *reading_faults(lineup),
        *fillings_faults(lineup),
    ]
    if not faults:
        faults.extend(_lift_faults(lineup))
        faults.extend(way_faults(lineup))
    return sorted(faults, key=_order)


def _order(fault: Fault) -> tuple[tuple[int, int, str], ...]:
    return tuple((0, part, "") if isinstance(part, int) else (1, 0, part) for part in fault.path)


def _name_faults(lineup: LineUp) -> Iterator[Fault]:
    things: Sequence[Element | Tank | Supply | Attached | Point | Scenario]
    for things in ((*lineup.elements, *_fixed(lineup), *lineup.attached), lineup.points, lineup.scenarios):
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
    for thing in (*_fixed(lineup), *lineup.attached):
        yield (*thing.origin, "at"), thing.point


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
    return name if name in lineup.points_by_name else meant(name, lineup.points_by_name)


def _connection_faults(lineup: LineUp) -> Iterator[Fault]:
    uses = Counter(_resolved(lineup, name) for _, name in _ends(lineup))
    hang = Counter(_resolved(lineup, thing.point) for thing in lineup.attached)
    fixed: dict[str | None, list[Tank | Supply]] = {}
    for thing in _fixed(lineup):
        fixed.setdefault(_resolved(lineup, thing.point), []).append(thing)
    for point in lineup.points:
        if point.closed and (uses[point.name] - hang[point.name] != 1 or point.name in fixed):
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
    if lineup.discharges:
        if not lineup.giving:
            yield missing("tank", "tank of the ship that is discharged", 'add [[tank]] with side = "ship"')
        if not lineup.receiving and not lineup.supplies:
            remedy = 'add [[tank]] with side = "shore", or [[supply]] with the pressure at the far end'
            yield missing("tank", "shore tank that receives", remedy)
        return
    if not lineup.sources:
        remedy = 'add [[tank]] with side = "shore", or [[supply]] with the pressure at the far end'
        yield missing("tank", "shore tank or supply", remedy)
    if not lineup.receiving and len(lineup.sources) < 2:
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
    if rate is None or rate.means == "supply pressure":
        return
    gives = [tank.level + tank.blanket / weight for tank in lineup.giving]
    takes = [
        max(tank.level, lineup.points_by_name[tank.point].elevation) + tank.blanket / weight
        for tank in lineup.receiving
    ]
    for supply in lineup.supplies:
        known = [p for p in (supply.pressure, supply.shut_off) if p is not None]
        pressure = min(known) if lineup.discharges else max(known)
        stands = lineup.points_by_name[supply.point].elevation + pressure / weight
        (takes if lineup.discharges else gives).append(stands)
    if not gives or not takes:
        return
    available = max(gives) + sum(pump.curve[0][1] for pump in lineup.pumps)
    needed = min(takes)
    if available <= needed:
        whose = "the shore" if lineup.discharges else "a ship's tank"
        yield Fault(
            path=(*rate.origin, "agreed"),
            found=f"{FLOW.show(rate.agreed)}, with at most {available:.1f} m of head above the datum: tank "
            "levels and shut-off heads of all pumps together",
            expected=f"more than {needed:.1f} m, the lowest head at which {whose} takes anything",
            remedy="check levels, elevations (one datum for shore and ship) and the pump curve",
        )


def curve_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of all valve characteristics and pump curves."""
    for valve in lineup.valves:
        yield from _characteristic_faults(valve)
    for pump in lineup.pumps:
        yield from _pump_faults(pump)


def _characteristic_faults(valve: Valve) -> Iterator[Fault]:
    table = valve.characteristic

    def fault(k: int, expected: str) -> Fault:
        return Fault(
            path=(*valve.origin, "characteristic", *((k,) if table else ())),
            found=f"[{table[k][0]:g}, {table[k][1]:g}]" if table else "no points",
            expected=expected,
            remedy="write pairs [opening, Kv/Kv100] from [0, 0] to [1, 1], rising",
        )

    if len(table) < 2 or table[0] != (0.0, 0.0):
        yield fault(0, "[0, 0], the shut valve, as the first of two points or more")
    if len(table) > 1 and table[-1] != (1.0, 1.0):
        yield fault(len(table) - 1, "[1, 1], the open valve, as the last point")
    for k, (opening, ratio) in enumerate(table):
        if not (0.0 <= opening <= 1.0 and 0.0 <= ratio <= 1.0):
            yield fault(k, "an opening and a ratio from 0 to 1")
    for k, (before, point) in enumerate(pairwise(table), start=1):
        if point[0] < before[0] + SPACING:
            yield fault(k, f"an opening above {before[0]:g}, the one before (by {SPACING:g} at least)")
        if point[1] < before[1]:
            yield fault(k, f"a ratio not below {before[1]:g}, the one before: a wider opening passes more")


def _pump_faults(pump: Pump) -> Iterator[Fault]:
    path, curve = (*pump.origin, "curve"), pump.curve
    if len(curve) < 2:
        yield Fault(
            path=path,
            found=f"{len(curve)} point(s)",
            expected="two points or more, the first at no flow",
            remedy='write [["0 m3/h", "85 m"], ["600 m3/h", "62 m"]] or more from the pump\'s test curve',
        )
        return
    wrong = list(_point_faults(curve, path=path)) or list(_order_faults(curve, path=path))
    yield from wrong
    flow = None if wrong else rising_from(curve)
    if flow is not None:
        yield _rising_fault(curve, path=path, flow=flow)


def _point_faults(curve: Table, *, path: Origin) -> Iterator[Fault]:
    for k, (flow, head) in enumerate(curve):
        yield from PUMP_FLOW.faults((*path, k, 0), flow)
        yield from PUMP_HEAD.faults((*path, k, 1), head)


def _order_faults(curve: Table, *, path: Origin) -> Iterator[Fault]:
    if curve[0][0] != 0.0:
        yield Fault(
            path=(*path, 0),
            found=f"a first point at {PUMP_FLOW.show(curve[0][0])}",
            expected="a first point at no flow: it decides the pressure against a shut valve",
            remedy="add the shut-off head from the pump's test curve as the first point",
        )
    for k, ((flow0, head0), (flow1, head1)) in enumerate(pairwise(curve), start=1):
        if flow1 < flow0 + max(SPACING * curve[-1][0], FLOW.low):
            yield Fault(
                path=(*path, k),
                found=f"{PUMP_FLOW.show(flow1)} after {PUMP_FLOW.show(flow0)}",
                expected=f"flows that rise from point to point, by {SPACING:g} of the last at least",
                remedy="put the points in order of flow, one for each flow",
            )
        elif head1 > head0:
            yield Fault(
                path=(*path, k),
                found=f"{head1:g} m at {PUMP_FLOW.show(flow1)}, after {head0:g} m at {PUMP_FLOW.show(flow0)}",
                expected="heads that never rise with the flow: else there is more than one working point",
                remedy="check the two heads; a curve that does rise at low flow cannot be used here",
            )


def _rising_fault(curve: Table, *, path: Origin, flow: float) -> Fault:
    if len(curve) == 2:
        found, remedy = "a head that does not fall", "give a second point with a lower head"
    elif len(curve) == 3:
        found = f"three points whose parabola does not fall everywhere: not at {PUMP_FLOW.show(flow)}"
        remedy = "give four points or more (a curve that never rises is drawn through them), or only two"
    else:
        found = f"a curve that goes on level from its last point, {PUMP_FLOW.show(flow)}"
        remedy = "add a point at a greater flow, where the head falls, or leave out the last one"
    return Fault(
        path=path,
        found=found,
        expected="a head that falls with the flow everywhere: else there is more than one working point",
        remedy=remedy,
    )

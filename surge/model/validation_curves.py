"""Rules for the two curves of a line-up: the characteristic of a valve and the head of a pump."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from surge.errors import Fault
from surge.kernel.curves import rising_from
from surge.model.lineup import LineUp, Origin, Pump, Table, Valve
from surge.model.validation_fields import FLOW, PER_HOUR, Range

SPACING = 1e-4  # [-] part of the whole width below which two points of a curve are one, or a slip

PUMP_FLOW = Range(0.0, FLOW.high, "give a flow of the pump's test curve", "m3/h", PER_HOUR)
PUMP_HEAD = Range(0.0, 5000.0, "give the head as a height of the liquid", "m")


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

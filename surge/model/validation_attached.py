"""What must hold of things that hang on one point: relief valves, surge drums, open vessels."""

from __future__ import annotations

import math
from collections.abc import Iterator

from surge.errors import Fault
from surge.model.attached import Attached, OpenVessel, ReliefValve, SurgeDrum
from surge.model.lineup import LineUp
from surge.model.topology import fixed_head_points
from surge.model.validation_fields import BAR, ELEVATION, KV, Bounds, pressure_bounds

MOST_TIME = 600.0  # [s]
SET = "give the pressure at which it begins to open, from its nameplate"
FULL = "give the pressure at which it is open fully; makers give the overpressure, often 10 to 25 %"
BACK = "give the pressure in the vessel that it opens to"
TIME = "give the time of a whole lift from the maker; 0 s only where it follows the pressure at once"


def attached_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of everything that hangs on a point."""
    held = fixed_head_points(lineup)
    for thing in lineup.attached:
        if thing.point in held:
            yield Fault(
                path=(*thing.origin, "at"),
                found=f'"{thing.point}", where "{held[thing.point]}" holds the pressure',
                expected="a point between elements",
                remedy="name the point at which it joins the line",
            )
    for relief in lineup.relief_valves:
        yield from _relief_faults(relief, atmosphere=lineup.atmosphere)
    for drum in lineup.surge_drums:
        yield from _drum_faults(drum, atmosphere=lineup.atmosphere)
    for vessel in lineup.open_vessels:
        yield from _vessel_faults(lineup, vessel)
    yield from _crowded(lineup)


def _relief_faults(relief: ReliefValve, *, atmosphere: float) -> Iterator[Fault]:
    def level(remedy: str) -> Bounds:
        return pressure_bounds(remedy, above=-atmosphere)

    wrong = [
        *level(BACK).faults((*relief.origin, "back_pressure"), relief.back_pressure),
        *level(SET).faults((*relief.origin, "set_pressure"), relief.set_pressure),
        *level(FULL).faults((*relief.origin, "full_lift_pressure"), relief.full_pressure),
        *KV.faults((*relief.origin, "kv"), relief.kv),
        *Bounds(0.0, MOST_TIME, TIME, "s").faults((*relief.origin, "opening_time"), relief.opening_time),
    ]
    yield from wrong
    if wrong:
        return
    low, high = relief.set_range or (relief.set_pressure, relief.set_pressure)
    if low <= relief.back_pressure:
        yield Fault(
            path=(*relief.origin, "set_pressure"),
            found=_shown(low),
            expected=f"above the pressure that it opens to, {_shown(relief.back_pressure)}",
            remedy=SET,
        )
    if relief.full_pressure <= high:
        yield Fault(
            path=(*relief.origin, "full_lift_pressure"),
            found=_shown(relief.full_pressure),
            expected=f"above the set pressure, {_shown(high)}",
            remedy=FULL,
        )


def _drum_faults(drum: SurgeDrum, *, atmosphere: float) -> Iterator[Fault]:
    wrong = [
        *Bounds(0.0, 1e9, "give the volume of the vessel", "m3", above=True).faults(
            (*drum.origin, "volume"), drum.volume
        ),
        *Bounds(0.0, 1e9, "give the gas that stands over the liquid", "m3", above=True).faults(
            (*drum.origin, "gas_volume"), drum.gas_volume
        ),
        *Bounds(
            1.0, 1.67, "write 1 where the gas changes slowly, 1.4 for air where it does so quickly"
        ).faults((*drum.origin, "gas_exponent"), drum.exponent),
    ]
    if not math.isinf(drum.neck_kv):
        wrong += KV.faults((*drum.origin, "neck_kv"), drum.neck_kv)
    if drum.charge is not None:
        charge = pressure_bounds("give the pressure to which it was charged", above=-atmosphere)
        wrong += charge.faults((*drum.origin, "charge_pressure"), drum.charge)
    yield from wrong
    most = drum.gas_range[1] if drum.gas_range else drum.gas_volume
    if not wrong and most > drum.volume:
        yield Fault(
            path=(*drum.origin, "gas_volume"),
            found=f"{most:g} m3",
            expected=f"not more than the vessel holds, {drum.volume:g} m3",
            remedy="give the volume of the gas alone, not that of the vessel",
        )


def _vessel_faults(lineup: LineUp, vessel: OpenVessel) -> Iterator[Fault]:
    bounds = Bounds(0.0, 1e9, "give the inside diameter of the vessel", "m2", above=True)
    yield from bounds.faults((*vessel.origin, "inside_diameter"), vessel.area)
    yield from ELEVATION.faults((*vessel.origin, "rim"), vessel.rim)
    foot = lineup.points_by_name.get(vessel.point)
    if foot is not None and ELEVATION.allows(vessel.rim) and vessel.rim <= foot.elevation:
        yield Fault(
            path=(*vessel.origin, "rim"),
            found=f"{vessel.rim:g} m, at or below its foot at {foot.elevation:g} m",
            expected="an elevation above its foot",
            remedy="give the height of the rim above the datum of the case",
        )


def _crowded(lineup: LineUp) -> Iterator[Fault]:
    """Drums and vessels stand alone: two gas cushions on one point would be one."""
    first: dict[str, str] = {}
    hung: tuple[Attached, ...] = (*lineup.surge_drums, *lineup.open_vessels)
    for thing in hung:
        if thing.point in first:
            yield Fault(
                path=(*thing.origin, "at"),
                found=f'"{thing.point}", where "{first[thing.point]}" hangs already',
                expected="one drum or open vessel at a point",
                remedy="give each a point of its own, or write them as one",
            )
        first.setdefault(thing.point, thing.name)


def _shown(pressure: float) -> str:
    return f"{pressure / BAR:g} bar(g)"

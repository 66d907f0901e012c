"""What must hold of things that hang on one point: relief valves."""

from __future__ import annotations

from collections.abc import Iterator

from surge.errors import Fault
from surge.model.attached import ReliefValve
from surge.model.lineup import LineUp
from surge.model.topology import fixed_head_points
from surge.model.validation_fields import BAR, KV, Bounds, pressure_bounds

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
    if relief.set_pressure <= relief.back_pressure:
        yield Fault(
            path=(*relief.origin, "set_pressure"),
            found=_shown(relief.set_pressure),
            expected=f"above the pressure that it opens to, {_shown(relief.back_pressure)}",
            remedy=SET,
        )
    if relief.full_pressure <= relief.set_pressure:
        yield Fault(
            path=(*relief.origin, "full_lift_pressure"),
            found=_shown(relief.full_pressure),
            expected=f"above the set pressure, {_shown(relief.set_pressure)}",
            remedy=FULL,
        )


def _shown(pressure: float) -> str:
    return f"{pressure / BAR:g} bar(g)"

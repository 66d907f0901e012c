"""What must hold of the fillings of a line-up."""

from __future__ import annotations

from collections.abc import Iterator

from surge.errors import Fault
from surge.model.column import filling_faults
from surge.model.filling import HOLE, OPEN, SHUT, Filling
from surge.model.lineup import LineUp
from surge.model.validation_fields import Bounds, choice_faults, pressure_bounds, unknown_name
from surge.model.validation_scenarios import time_line_faults

FRONT = Bounds(0.0, 5e5, "give how far beyond from the liquid stands", "m")
EXPONENT = Bounds(
    1.0, 1.67, "give n of p V^n: 1.0 where the gas keeps its temperature, 1.4 where it is quick", ""
)
COEFFICIENT = Bounds(0.0, 1.0, "give a share of what would flow without losses, such as 0.8", "", above=True)
NO_GAS = -0.99e5  # [Pa gauge] gas of less pressure is none


def fillings_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of all fillings of a line-up, but for those of their ways."""
    names = {s.name for s in lineup.scenarios}
    for filling in lineup.fillings:
        if filling.name in names:
            yield Fault(
                path=(*filling.origin, "name"),
                found=f'"{filling.name}" for a second time',
                expected="a name that no scenario and no other filling has",
                remedy="rename one of the two",
            )
        names.add(filling.name)
        yield from _own_faults(lineup, filling)
        yield from time_line_faults(lineup, filling.scenario)
        yield from _rate_faults(lineup, filling)
        for trip in filling.scenario.trips:
            yield Fault(
                path=trip.origin,
                found=f'"{trip.pump}" trips while the line fills',
                expected="valves that move, and pumps that start or stop by a law",
                remedy="write stop with a run_down in place of trip",
            )


def way_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of the ways of all fillings; everything else of the line-up is right."""
    for filling in lineup.fillings:
        yield from filling_faults(lineup, filling)


def _own_faults(lineup: LineUp, filling: Filling) -> Iterator[Fault]:
    origin = filling.origin
    for key, point in (("from", filling.start), ("to", filling.end)):
        if point not in lineup.points_by_name:
            yield unknown_name((*origin, key), point, kind="point", known=lineup.points_by_name)
    yield from FRONT.faults((*origin, "front"), filling.front)
    yield from EXPONENT.faults((*origin, "exponent"), filling.exponent)
    yield from choice_faults((*origin, "vent"), filling.vent, choices=(OPEN, SHUT, HOLE))
    bounds = pressure_bounds("give the pressure of the gas before it fills", above=NO_GAS)
    yield from bounds.faults((*origin, "gas_pressure"), filling.gas_pressure)
    if filling.vent != HOLE:
        return
    yield from COEFFICIENT.faults((*origin, "vent_coefficient"), filling.vent_coefficient)
    least = min((p.diameter for p in lineup.pipes), default=0.0)
    if not 0.0 < filling.vent_diameter < least:
        yield Fault(
            path=(*origin, "vent_diameter"),
            found=f"{filling.vent_diameter * 1e3:g} mm",
            expected=f"more than 0 mm, and less than the smallest bore, {least * 1e3:.4g} mm",
            remedy='give the bore of the opening, or write vent = "open"',
        )


def _rate_faults(lineup: LineUp, filling: Filling) -> Iterator[Fault]:
    if lineup.rate is None or filling.scenario.rate is not None:
        return
    yield Fault(
        path=(*filling.origin, "rate"),
        found="no key rate",
        expected=f'the rate at which "{lineup.rate.at}" is set while the line fills',
        remedy="add the key rate, such as that of the start: the full line would flow at it",
    )

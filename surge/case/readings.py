"""From the gauge readings of a case file to those of the line-up.

Decisions
---------
* Where the case does not say how far a gauge may be off, it is a tenth of what was read: gauges of transfer
  systems must be within 10 % of the pressure (33 CFR 156.170(c)(3); read). It is never less than 0.1 bar,
  since nobody reads a dial any closer (common practice, no source).
* The cargo may have been colder or warmer then: where it comes from the program's table, it is looked up at
  that temperature; figures that the case gives stay as they are.
"""

from __future__ import annotations

from dataclasses import replace

from surge.case import schema as spec
from surge.case.liquid import liquid_of
from surge.case.notes import Notes
from surge.errors import Origin
from surge.model.gauge import GaugeReading
from surge.model.lineup import Liquid

SHARE = 0.10  # [-] of the pressure
LEAST = 1e4  # [Pa]
BY_RULE = "gauges within 10 %: 33 CFR 156.170(c)(3), read; not less than 0.1 bar: common practice, no source"


def reading_of(
    table: spec.ReadingTable, origin: Origin, notes: Notes, *, cargo: spec.LiquidTable
) -> GaugeReading:
    """Return one reading of the line-up; its faults go to ``notes``."""
    pressure = notes.pressure(table.pressure, (*origin, "pressure")) or 0.0
    given = table.tolerance.value if table.tolerance is not None else None
    return GaugeReading(
        point=table.at,
        pressure=pressure,
        rate=notes.flow(table.rate),
        by_mass=table.rate.kind == "mass flow",
        tolerance=max(SHARE * abs(pressure), LEAST) if given is None else given,
        tolerance_source=BY_RULE if given is None else "given in the case",
        liquid=_liquid(table, origin, notes, cargo=cargo),
        levels=tuple((name, level.value) for name, level in table.levels.items()),
        openings=tuple(table.openings.items()),
        day=table.day,
        note=table.note,
        origin=origin,
    )


def _liquid(
    table: spec.ReadingTable, origin: Origin, notes: Notes, *, cargo: spec.LiquidTable
) -> Liquid | None:
    """The cargo as it was then; None where the case has no other figures for it."""
    then = table.temperature
    if then is None or cargo.cargo is None or then.value == notes.temperature:
        return None
    aside = Notes(pick=notes.pick, atmosphere=notes.atmosphere)
    found = liquid_of(cargo.model_copy(update={"temperature": then}), aside)
    for fault in aside.faults:
        if fault.path == ("liquid", "temperature"):
            remedy = "check the temperature, or leave it out: then the cargo is taken as in [liquid]"
            notes.faults.append(replace(fault, path=(*origin, "temperature"), remedy=remedy))
    return found

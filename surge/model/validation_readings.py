"""What must hold of gauge readings: they belong to the line-up, at a rate that it can be set to."""

from __future__ import annotations

from collections.abc import Iterator

from surge.errors import Fault
from surge.model.lineup import LineUp
from surge.model.validation_fields import FLOW, pressure_bounds, unknown_name
from surge.model.validation_scenarios import level_faults, opening_faults


def reading_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of all gauge readings of a line-up."""
    bounds = pressure_bounds("give the pressure as the gauge showed it", above=-lineup.atmosphere)
    for reading in lineup.readings:
        yield from bounds.faults((*reading.origin, "pressure"), reading.pressure)
        yield from FLOW.faults((*reading.origin, "rate"), reading.rate)
        if reading.point not in lineup.points_by_name:
            path = (*reading.origin, "at")
            yield unknown_name(path, reading.point, kind="point", known=lineup.points_by_name)
        if lineup.rate is None:
            yield Fault(
                path=(*reading.origin, "rate"),
                found=f"{FLOW.show(reading.rate)}, but the case has no [rate]",
                expected="a [rate] that says by which means a rate is reached",
                remedy="add [rate] with agreed, means and at; or take the reading out",
            )
        yield from level_faults(lineup, reading)
        yield from opening_faults(lineup, reading)

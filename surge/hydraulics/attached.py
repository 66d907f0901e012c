"""What hangs on a point must fit the pressure there while the line-up flows steadily."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp
from surge.model.validation_fields import BAR


def refuse_misfits(lineup: LineUp, heads: Mapping[str, float]) -> None:
    """Refuse what would not be at rest before anything moves.

    Relief valves that would be open, drums whose gas would fill them, open vessels that would overflow or
    draw air.

    Parameters
    ----------
    lineup : LineUp
    heads : mapping of str to float
        By point, in the steady flow [m].

    Raises
    ------
    CaseError
        With all of them.
    """
    faults = [*_open_valves(lineup, heads), *_empty_drums(lineup, heads), *_vessels(lineup, heads)]
    if faults:
        raise CaseError(faults)


def _open_valves(lineup: LineUp, heads: Mapping[str, float]) -> Iterator[Fault]:
    for relief in lineup.relief_valves:
        pressure = lineup.pressure_at(relief.point, heads[relief.point])
        if pressure >= relief.set_pressure:
            yield Fault(
                path=(*relief.origin, "set_pressure"),
                found=f"{relief.set_pressure / BAR:g} bar(g), where {pressure / BAR:.2f} bar(g) stand before "
                "anything moves",
                expected="a set pressure above the working pressure: it would spill all the while",
                remedy="check the set pressure, and the level, the pump and the rate that make the pressure",
            )


def _empty_drums(lineup: LineUp, heads: Mapping[str, float]) -> Iterator[Fault]:
    for drum in lineup.surge_drums:
        pressure = lineup.pressure_at(drum.point, heads[drum.point])
        gas = drum.gas_at(pressure, atmosphere=lineup.atmosphere) if pressure > -lineup.atmosphere else 0.0
        if not 0.0 < gas < drum.volume:
            yield Fault(
                path=(*drum.origin, "charge_pressure" if drum.charge is not None else "gas_volume"),
                found=f"{gas:.3g} m3 of gas at the working pressure of {pressure / BAR:.2f} bar(g)",
                expected=f"less than the drum holds, {drum.volume:g} m3, so that there is liquid in it",
                remedy="charge it to less than the working pressure, or give the gas volume that it has then",
            )


def _vessels(lineup: LineUp, heads: Mapping[str, float]) -> Iterator[Fault]:
    for vessel in lineup.open_vessels:
        level, foot = heads[vessel.point], lineup.points_by_name[vessel.point].elevation
        if not foot < level < vessel.rim:
            yield Fault(
                path=(*vessel.origin, "rim"),
                found=f"liquid at {level:.2f} m before anything moves, in a vessel from {foot:g} m to "
                f"{vessel.rim:g} m",
                expected="a level between the foot of the vessel and its rim",
                remedy="check both elevations, and the pressure at that point; it may need a closed drum",
            )

"""What hangs on a point must not pass anything while the line-up flows steadily."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp

BAR = 1e5  # [Pa]


def refuse_open(lineup: LineUp, heads: Mapping[str, float]) -> None:
    """Refuse relief valves that would be open before anything moves.

    Parameters
    ----------
    lineup : LineUp
    heads : mapping of str to float
        By point, in the steady flow [m].

    Raises
    ------
    CaseError
        A relief valve is set at or below the working pressure.
    """
    faults = list(_open_valves(lineup, heads))
    if faults:
        raise CaseError(faults)


def _open_valves(lineup: LineUp, heads: Mapping[str, float]) -> Iterator[Fault]:
    rho_g = lineup.liquid.density * lineup.gravity
    for relief in lineup.relief_valves:
        pressure = rho_g * (heads[relief.point] - lineup.points_by_name[relief.point].elevation)
        if pressure >= relief.set_pressure:
            yield Fault(
                path=(*relief.origin, "set_pressure"),
                found=f"{relief.set_pressure / BAR:g} bar(g), where {pressure / BAR:.2f} bar(g) stand before "
                "anything moves",
                expected="a set pressure above the working pressure: it would spill all the while",
                remedy="check the set pressure, and the level, the pump and the rate that make the pressure",
            )

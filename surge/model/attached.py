"""What hangs on one point of a line-up and passes nothing while it flows steadily.

Relief valves, surge drums and vessels open to the air.

Units as in :mod:`surge.model.lineup`: pressures [Pa gauge], times [s], volumes [m3].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from surge.errors import Origin


@dataclass(frozen=True, kw_only=True)
class ReliefValve:
    """A relief valve: it opens to the pressure at its point, and lets flow out to a vessel.

    Attributes
    ----------
    point : str
    set_pressure, full_pressure : float
        At which it begins to open, and is open fully; between them the lift rises in proportion [Pa gauge].
    kv : float
        Flow in m3/h of water at 1 bar, at full lift.
    opening_time : float
        Of a whole lift, opening or shutting, at the fastest; 0: it follows at once [s].
    back_pressure : float
        In the vessel that it opens to, at the height of its point [Pa gauge].
    set_range, kv_range : (float, float) or None
        Where the set pressure, or the Kv, is known as a range only: judged over the whole of it.
    """

    name: str
    point: str
    set_pressure: float
    full_pressure: float
    kv: float
    opening_time: float = 0.0
    back_pressure: float = 0.0
    set_range: tuple[float, float] | None = None
    kv_range: tuple[float, float] | None = None
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class SurgeDrum:
    """A closed vessel with gas over the liquid, joined to its point by a neck.

    Attributes
    ----------
    volume : float
        Of the vessel [m3].
    gas_volume : float
        At the working pressure, before anything moves; or at ``charge`` [m3].
    exponent : float
        n of p V**n constant, p absolute [-].
    neck_kv : float
        Of the neck, in both directions: m3/h of water at 1 bar; infinite: no loss.
    charge : float or None
        Pressure at which ``gas_volume`` was measured [Pa gauge]: from there it changes slowly, p V constant,
        to the working pressure.
    gas_range, exponent_range : (float, float) or None
        Where the gas volume [m3], or the exponent, is known as a range only: judged over the whole of it.
    """

    name: str
    point: str
    volume: float
    gas_volume: float
    exponent: float
    neck_kv: float = math.inf
    charge: float | None = None
    gas_range: tuple[float, float] | None = None
    exponent_range: tuple[float, float] | None = None
    origin: Origin = ()

    def gas_at(self, pressure: float, *, atmosphere: float) -> float:
        """Return the gas volume [m3] at a working pressure [Pa gauge]; ``atmosphere`` [Pa]."""
        if self.charge is None:
            return self.gas_volume
        return self.gas_volume * (self.charge + atmosphere) / (pressure + atmosphere)


@dataclass(frozen=True, kw_only=True)
class OpenVessel:
    """A vessel open to the air, whose liquid stands on its point without a loss.

    Attributes
    ----------
    area : float
        Of its surface [m2].
    rim : float
        Elevation at which it overflows [m].
    """

    name: str
    point: str
    area: float
    rim: float
    origin: Origin = ()


Attached = ReliefValve | SurgeDrum | OpenVessel

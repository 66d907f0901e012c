"""What hangs on one point of a line-up and passes nothing while it flows steadily: relief valves.

Units as in :mod:`surge.model.lineup`: pressures [Pa gauge], times [s], volumes [m3].
"""

from __future__ import annotations

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
    """

    name: str
    point: str
    set_pressure: float
    full_pressure: float
    kv: float
    opening_time: float = 0.0
    back_pressure: float = 0.0
    origin: Origin = ()


Attached = ReliefValve

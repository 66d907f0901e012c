"""What flows through an opening: Q = c sqrt(dH), alone and between two sources.

Heads [m], flows [m3/s], c2 = c*c [m5/s2].
"""

from __future__ import annotations

import math

from surge.kernel.compiled import inlined

_ROOT_HEAD = 1e-3  # [m0.5] of the head that keeps an orifice's slope off zero; not in the solution


@inlined
def orifice_flow(drive, impedance, c2):
    """Return the flow through an orifice [m3/s] between two sources ``drive`` [m] apart.

    Solves ``impedance*Q + Q|Q|/c2 = drive`` in the form that stays exact for a nearly shut valve.
    ``impedance`` [s/m2] is that of both sources, ``c2`` = c*c [m5/s2], 0 for a shut valve. Floats only.
    """
    if c2 <= 0.0:
        return 0.0
    size = abs(drive)
    zc = impedance * c2
    bottom = zc + math.sqrt(zc * zc + 4.0 * size * c2)
    if bottom <= 0.0:
        return 0.0
    flow = 2.0 * size * c2 / bottom
    return flow if drive >= 0.0 else -flow


@inlined
def orifice_law(q, c2):
    """Return the head lost [m] at flow ``q`` [m3/s] through an orifice that is not shut, and the slope
    [s/m2].

    ``c2`` = c*c [m5/s2], above 0. Floats only.
    """
    return q * abs(q) / c2, 2.0 * (abs(q) / c2 + _ROOT_HEAD / math.sqrt(c2))

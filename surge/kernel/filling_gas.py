"""The gas before a front: its pressure, and what leaves through an opening.

Volumes [m3], pressures [Pa absolute].
"""

from __future__ import annotations

import math

from surge.kernel.compiled import inlined, jit
from surge.kernel.filling_columns import (
    G_BACK,
    G_EXPONENT,
    G_MODE,
    G_RATE,
    G_RATIO,
    G_START,
    G_VOLUME,
    OPEN,
    SHUT,
)

ROUNDS = 100
SOFT = 500.0  # [Pa] a root has no slope at nought: below so much the flow of gas goes in proportion


@inlined
def nozzle(ratio, gamma):
    """Flow of mass through a nozzle over p A / sqrt(R T) [-].

    ``ratio`` is the pressure behind it over that before it, at most 1; ``gamma`` that of heat capacities,
    above 1. Sonic below the critical ratio.
    """
    critical = (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    r = max(ratio, critical)
    inside = 2.0 * gamma / (gamma - 1.0) * (r ** (2.0 / gamma) - r ** ((gamma + 1.0) / gamma))
    return math.sqrt(max(inside, 0.0))


@inlined
def leaves(p, gas):
    """Share of the gas at the beginning that leaves in a second [1/s] at ``p`` [Pa absolute]; comes in: < 0.

    In proportion to the difference of pressure where that is below ``SOFT``. gas (G_FLOATS,).
    """
    start = gas[G_START]
    back = gas[G_BACK]
    gamma = gas[G_RATIO]
    over = p - back
    part = min(abs(over) / SOFT, 1.0)
    if over >= 0.0:
        high = max(p, back + SOFT)
        n = gas[G_EXPONENT]
        warm = (high / start) ** (0.5 * (n - 1.0) / n)  # root of the temperature over that at the beginning
        return part * gas[G_RATE] * high / start / warm * nozzle(back / high, gamma)
    low = min(p, back - SOFT)
    return -part * gas[G_RATE] * back / start * nozzle(low / back, gamma)


@jit
def gas_pressure(volume, mass, dt, gas):
    """Pressure of the gas [Pa absolute] after a step of ``dt`` [s] in which it comes to ``volume`` [m3].

    ``mass`` is what there is of it before the step, as a share of what there was [-]; gas (G_FLOATS,).
    """
    start = gas[G_START]
    mode = int(gas[G_MODE])
    if mode == OPEN:
        return start
    n = gas[G_EXPONENT]
    room = gas[G_VOLUME] / volume
    held = start * (mass * room) ** n
    if mode == SHUT or gas[G_RATE] <= 0.0:
        return held
    low = min(held, gas[G_BACK])
    high = max(held, gas[G_BACK])
    f_low = start * (max(mass - dt * leaves(low, gas), 0.0) * room) ** n - low
    f_high = start * (max(mass - dt * leaves(high, gas), 0.0) * room) ** n - high
    if f_low <= 0.0:
        return low
    if f_high >= 0.0:
        return high
    p = low
    for _ in range(ROUNDS):
        p = low + (high - low) * f_low / (f_low - f_high)
        f = start * (max(mass - dt * leaves(p, gas), 0.0) * room) ** n - p
        if f > 0.0:
            if p - low < 1e-13 * p:
                break
            low = p
            f_low = f
            f_high *= 0.5
        else:
            if high - p < 1e-13 * p:
                break
            high = p
            f_high = f
            f_low *= 0.5
        if high - low < 1e-13 * high:
            break
    return p

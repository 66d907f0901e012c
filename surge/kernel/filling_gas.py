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
    root = r ** (1.0 / gamma)
    return math.sqrt(max(2.0 * gamma / (gamma - 1.0) * root * (root - r), 0.0))


@inlined
def leaves(p, start, back, exponent, rate, gamma):
    """Share of the gas at the beginning that leaves in a second [1/s] at ``p`` [Pa absolute]; comes in: < 0.

    Nozzle flow without friction, sonic from the critical ratio on, in proportion to the difference of
    pressure where that is below ``SOFT``. ``start``, ``back`` [Pa absolute]: at the beginning, outside;
    ``exponent`` [-]; ``rate`` [1/s] coefficient x area x sqrt(R T) / volume at the beginning; ``gamma`` [-].
    """
    over = p - back
    part = min(abs(over) / SOFT, 1.0)
    if over >= 0.0:
        high = max(p, back + SOFT)
        warm = (high / start) ** (0.5 * (exponent - 1.0) / exponent)  # root of its temperature over the first
        return part * rate * high / start / warm * nozzle(back / high, gamma)
    low = min(p, back - SOFT)
    return -part * rate * back / start * nozzle(low / back, gamma)


@inlined
def after_step(p, room, mass, dt, gas):
    """Pressure [Pa absolute] that the gas comes to if it has ``p`` [Pa absolute] while some leaves in a step.

    ``room`` is its volume at first over that now, ``mass`` its share that is left [-]; ``dt`` [s]; gas
    (G_FLOATS,).
    """
    out = dt * leaves(p, gas[G_START], gas[G_BACK], gas[G_EXPONENT], gas[G_RATE], gas[G_RATIO])
    return gas[G_START] * (max(mass - out, 0.0) * room) ** gas[G_EXPONENT]


@jit
def gas_pressure(volume, mass, dt, gas):
    """Pressure of the gas [Pa absolute] after a step of ``dt`` [s] in which it comes to ``volume`` [m3].

    ``mass`` is what there is of it before the step, as a share of what there was [-]; gas (G_FLOATS,).
    """
    start = gas[G_START]
    back = gas[G_BACK]
    if int(gas[G_MODE]) == OPEN:
        return start
    room = gas[G_VOLUME] / volume
    held = start * (mass * room) ** gas[G_EXPONENT]
    if int(gas[G_MODE]) == SHUT or gas[G_RATE] <= 0.0 or held == back:
        return held
    # The higher it is the more leaves: it lies between that without any flow, and that with all that would
    # flow then. Neither goes beyond the pressure outside, at which nothing flows.
    most = after_step(held, room, mass, dt, gas)
    if held > back:
        low = max(most, back)
        high = held
        f_high = most - held
        f_low = after_step(low, room, mass, dt, gas) - low
    else:
        low = held
        high = min(most, back)
        f_low = most - held
        f_high = after_step(high, room, mass, dt, gas) - high
    if f_low <= 0.0:
        return low
    if f_high >= 0.0:
        return high
    p = high
    for _ in range(ROUNDS):
        p = low + (high - low) * f_low / (f_low - f_high)
        f = after_step(p, room, mass, dt, gas) - p
        if abs(f) <= 1e-13 * p or high - low <= 1e-13 * p:
            break
        if f > 0.0:
            low = p
            f_low = f
            f_high *= 0.5
        else:
            high = p
            f_high = f
            f_low *= 0.5
    return p

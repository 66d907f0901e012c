"""A line that fills, by delays: waves as functions of time, with no grid and nothing of the program.

Without friction the wave that leaves the tank at t meets the front when it has travelled the distance to it,
and what the front sends back comes to the tank after the same way. Heads over the tank's outlet are pressures
here [Pa]; one level bore.
"""

from __future__ import annotations

import math

import numpy as np


def pocket_peak(
    *,
    length: float,
    front: float,
    wave_speed: float,
    density: float,
    supply: float,
    gas: float,
    exponent: float,
    until: float,
    dt: float,
) -> float:
    """Return the highest absolute pressure of a trapped pocket [Pa].

    Parameters
    ----------
    length, front : float
        Of the whole line, and of the liquid at first [m].
    supply, gas : float
        Of the tank, and of the gas at first [Pa absolute].
    until, dt : float
        [s]
    """
    z = density * wave_speed
    n = int(until / dt)
    sent = np.empty(n + 1)  # p + z v of what leaves the tank at each step
    back = []  # (instant at which it comes to the tank, p - z v)
    x, top = front, gas
    arrivals, waves = np.empty(n + 1), np.empty(n + 1)
    for i in range(n + 1):
        t = i * dt
        p = gas * ((length - front) / (length - x)) ** exponent
        top = max(top, p)
        # At the tank: what the front sent, or what stood in the line at first (falling evenly to the gas).
        if wave_speed * t <= front and (not back or t < arrivals[0]):
            inward = supply + (gas - supply) * wave_speed * t / front
        else:
            inward = float(np.interp(t, arrivals[:i], waves[:i]))
        sent[i] = 2.0 * supply - inward
        # At the front.
        left = t - x / wave_speed
        if left >= 0.0:
            at = left / dt
            k = min(int(at), i)
            outward = sent[k] + (at - k) * (sent[min(k + 1, i)] - sent[k])
        else:
            outward = supply + (gas - supply) * (x - wave_speed * t) / front
        v = (outward - p) / z
        arrivals[i], waves[i] = t + x / wave_speed, 2.0 * p - outward
        back.append(i)
        x += v * dt
        if not math.isfinite(x):
            raise FloatingPointError("the march by delays went astray")
    return top

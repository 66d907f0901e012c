"""A laminar line that stops at once, by Laplace transform: exact, without grid or weight.

Plug flow with the friction of a laminar flow in a round pipe: rise of pressure at the valve over rho a V is
sqrt(I0(z)/I2(z)) tanh(G L)/s with G = s/a sqrt(I0(z)/I2(z)), z = D/2 sqrt(s/nu) (derived from the momentum
equation of a round pipe; its inverse is the series of Fourier with a damped line).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ive

TERMS = 60_000


def rise_at(time: float, *, length: float, wave_speed: float, bore: float, viscosity: float) -> float:
    """Rise of pressure at the valve over rho a V, at a time after the stop [s]."""
    half = 8.0 * time  # of the period of the series: what it folds back is damped by its line
    line = np.log(1e8) / (2.0 * half)
    s = line + 1j * np.pi * np.arange(TERMS) / half
    z = 0.5 * bore * np.sqrt(s / viscosity)
    ratio = np.sqrt(ive(0, z) / ive(2, z))
    g = s / wave_speed * ratio * length
    transform = ratio * np.tanh(g) / s
    terms = np.real(transform * np.exp(1j * np.imag(s) * time))
    terms[0] *= 0.5
    # The sum goes on with jumps: its Cesaro means do not ring.
    means = np.cumsum(terms)
    return float(np.exp(line * time) / half * means[TERMS // 2 :].mean())

"""Weights of unsteady friction: what changes of flow in the past still add to friction now.

Friction of a flow that changes is that of a steady flow, and more: per length
16 mu/D^2 times the sum over all past changes of velocity, each times W(tau) of the time since,
tau = 4 nu t/D^2 (W. Zielke, J. Basic Eng. 90, 1968; from memory).

Decisions
---------
* Laminar (Reynolds numbers up to 2000, and pipes at rest): the exact weight, W = sum of exp(-n tau), n the
  squares of the zeros of the Bessel function J2; by its series below ``EARLY``.
* Turbulent: W = exp(-tau/C)/(2 sqrt(pi tau)), C = 12.86/Re**k, k = log10(15.29/Re**0.0567), for smooth walls
  (A. E. Vardy and J. M. B. Brown, J. Sound Vib. 259, 2003; from memory). Re is that of the flow before
  anything moves, throughout. An earlier form of theirs (7.41 and 14.3/Re**0.05) has half of that C.
* In the march a weight is a sum of exponentials, so that the past is kept in a few numbers for each node. It
  is averaged over each step; sizes are found by least squares with none below nought, so that no
  friction gives more energy than it has taken. The greatest error of the averages, from the first
  step on to where what is left of the weight is next to nothing, is kept and told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from surge.arrays import Array

LAMINAR_REYNOLDS = 2000.0  # up to here friction is laminar, as in the steady flow
EARLY = 2e-3  # tau below which the series of the laminar weight is exact to 2e-7 of it
ZEROS = 60  # of J2: at EARLY the last of them adds nothing
# The series' factors and powers of tau (from memory; a test holds it against the zeros).
_ROOT = np.sqrt(np.pi)
SERIES = (
    (0.5 / _ROOT, -0.5),
    (-1.25, 0.0),
    (1.875 / _ROOT, 0.5),
    (0.9375, 1.0),
    (0.703125 / _ROOT, 1.5),
    (-0.3515625, 2.0),
)
RATIO = 3.0  # between the rates of two exponentials: the error is then below 1 %
FASTEST = 20.0  # greatest rate, times the step
NEXT_TO_LAST = 0.1  # of 1/C: by how much the slowest but one of the turbulent weight is faster
LAST_LAMINAR = 0.3  # tau beyond which the laminar weight is next to nothing: 4e-4
LAST_TURBULENT = 4.0  # times C: 0.5 % of the weight is left then
SAMPLES, LOOKED_AT = 90, 400  # steps at which a fit is made, and held against the weight
Integral = Callable[[Array], Array]


@dataclass(frozen=True, kw_only=True, eq=False)
class Weight:
    """A weight as a sum of size * exp(-rate * tau), for one step of tau.

    Attributes
    ----------
    rate, size : ndarray, shape (terms,)
        [-], neither below nought.
    error : float
        Greatest error of an average over a step, as a share of it [-].
    """

    rate: Array
    size: Array
    error: float


@cache
def laminar_rates() -> Array:
    """Return the squares of the first zeros of J2, shape (ZEROS,) [-]."""
    from scipy.special import jn_zeros

    found: Array = jn_zeros(2, ZEROS) ** 2
    return found


def laminar_weight(tau: Array) -> Array:
    """Return the exact laminar weight [-].

    Parameters
    ----------
    tau : ndarray
        4 nu t/D^2, above nought [-].
    """
    tau = np.asarray(tau, dtype=float)
    early = np.minimum(tau, EARLY)
    late = np.maximum(tau, EARLY)
    series = sum(factor * early**power for factor, power in SERIES)
    return np.where(tau < EARLY, series, np.exp(-late[..., None] * laminar_rates()).sum(axis=-1))


def laminar_integral(tau: Array) -> Array:
    """Return the integral of :func:`laminar_weight` from nought to ``tau`` [-]."""
    tau = np.asarray(tau, dtype=float)
    early = np.minimum(tau, EARLY)
    late = np.maximum(tau, EARLY)[..., None]
    rates = laminar_rates()
    series = sum(factor * early ** (power + 1.0) / (power + 1.0) for factor, power in SERIES)
    rest = (np.exp(-EARLY * rates) - np.exp(-late * rates)) / rates
    return np.asarray(series + rest.sum(axis=-1))


def shear_decay(reynolds: float) -> float:
    """Return C of the turbulent weight [-], for smooth walls.

    Parameters
    ----------
    reynolds : float
        Above ``LAMINAR_REYNOLDS`` [-].
    """
    return float(12.86 / reynolds ** np.log10(15.29 / reynolds**0.0567))


def turbulent_weight(tau: Array, decay: float) -> Array:
    """Return the turbulent weight [-].

    Parameters
    ----------
    tau : ndarray
        4 nu t/D^2, above nought [-].
    decay : float
        C of :func:`shear_decay` [-].
    """
    return np.asarray(np.exp(-np.asarray(tau) / decay) / (2.0 * _ROOT * np.sqrt(tau)))


def turbulent_integral(tau: Array, decay: float) -> Array:
    """Return the integral of :func:`turbulent_weight` from nought to ``tau`` [-]."""
    from scipy.special import erf

    return np.asarray(0.5 * np.sqrt(decay) * erf(np.sqrt(np.asarray(tau) / decay)))


@lru_cache(maxsize=256)
def fitted(step: float, reynolds: float) -> Weight:
    """Return the weight for flow at a Reynolds number as exponentials, averaged over steps of tau.

    Parameters
    ----------
    step : float
        4 nu dt/D^2, above nought [-].
    reynolds : float
        Of the flow before anything moves [-].
    """
    if reynolds <= LAMINAR_REYNOLDS:
        slowest = float(laminar_rates()[0])
        rates = slowest * RATIO ** np.arange(0.0, _terms(FASTEST / step / slowest))
        return _fit(laminar_integral, rates, step, LAST_LAMINAR)
    decay = shear_decay(reynolds)
    beyond = NEXT_TO_LAST * RATIO ** np.arange(0.0, _terms(FASTEST / step * decay / NEXT_TO_LAST))
    return _fit(
        lambda tau: turbulent_integral(tau, decay), (1.0 + beyond) / decay, step, LAST_TURBULENT * decay
    )


def _terms(span: float) -> int:
    """How many rates reach over ``span`` times the slowest."""
    return 2 + max(0, int(np.ceil(np.log(span) / np.log(RATIO))))


def averages(rate: Array, step: float) -> Array:
    """Return exp(-rate tau) averaged over the first step [-], shape (terms,)."""
    return np.asarray(-np.expm1(-rate * step) / (rate * step))


def _fit(integral: Integral, rates: Array, step: float, last: float) -> Weight:
    from scipy.optimize import nnls

    def at(count: int) -> tuple[Array, Array]:
        """Averages of each exponential and of the weight, at so many steps, evenly in their logarithm."""
        k = np.unique(np.rint(np.geomspace(1.0, last / step + 1.0, count))) - 1.0
        exact = (integral((k + 1.0) * step) - integral(k * step)) / step
        return np.exp(-np.outer(k * step, rates)) * averages(rates, step), exact

    terms, exact = at(SAMPLES)
    size, _ = nnls(terms / exact[:, None], np.ones(exact.size))
    terms, exact = at(LOOKED_AT)
    kept = size > 0.0
    return Weight(rate=rates[kept], size=size[kept], error=float(np.abs(terms @ size / exact - 1.0).max()))

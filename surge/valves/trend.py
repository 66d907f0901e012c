"""Robust lines and monotone curves through measured figures; the statistics library is imported only here.

Numbers in, numbers out: what x and y are, and their units, is the caller's business.

Decisions
---------
* A trend is a Theil-Sen line. A band is told only where the exact test could be significant at all: five
  dates.
* scipy is imported inside the functions that use it: it takes longer to start than all the rest.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array

LEAST_TIMES = 3  # our own: different x; through two there is always a line, and it says nothing about scatter
CONFIDENCE = 0.95  # of a band: the usual one, our own choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A line through the median point, with the median of all slopes between pairs.

    Attributes
    ----------
    slope : float or None
        [y per x]; None where there is none to tell, and ``reason`` says why.
    low, high : float or None
        Ends of the confidence band of the slope [y per x]; None where the figures allow none.
    at, level : float
        x and y of the median point, through which the line goes.
    count, times : int
        Figures, and different x (dates) among them.
    reason : str
        Why there is no slope, or no band; "" when there are both.
    """

    slope: float | None
    low: float | None
    high: float | None
    at: float
    level: float
    count: int
    times: int
    reason: str = ""

    def value(self, x: float) -> float:
        """Return the height of the line at ``x`` [the unit of y]; level where there is no slope."""
        return self.level + (self.slope or 0.0) * (x - self.at)

    @property
    def sure(self) -> bool:
        """The band leaves out zero: a drift that scatter alone does not explain."""
        return self.low is not None and self.high is not None and (self.low > 0.0 or self.high < 0.0)


def robust_trend(x: Sequence[float], y: Sequence[float], *, confidence: float = CONFIDENCE) -> Trend:
    """Return the Theil-Sen line of some figures and the confidence band of its slope.

    Parameters
    ----------
    x, y : sequence of float, shape (n,)
        At least one pair; equal x are allowed (they make no slope with one another).
    confidence : float
        Of the band, two-sided [-].

    Returns
    -------
    Trend

    Raises
    ------
    ValueError
        For no figures, unequal lengths, or figures that are not finite.

    Notes
    -----
    Slope and band by ``scipy.stats.theilslopes`` (P. K. Sen, "Estimates of the regression coefficient based
    on Kendall's tau", J. Am. Stat. Assoc. 63, 1968: citation from memory). The library gives a band for any
    number of figures, although with few of them not even the widest one, from the least slope of all to the
    greatest, holds the confidence asked for. Without drift all pairs agree in sign with the chance
    2 u1! u2! ... / n! (u: figures at the same x); where that is above 1 - confidence no band is given. At
    95 % and different x that takes five figures.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.shape != ys.shape or xs.size == 0 or not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        message = "a trend needs pairs of finite figures"
        raise ValueError(message)
    counts = Counter(xs.tolist())
    at, level = float(np.median(xs)), float(np.median(ys))
    slope = low = high = None
    reason = ""
    if len(counts) < LEAST_TIMES:
        reason = f"{_times(len(counts))}: no trend can be told from fewer than {LEAST_TIMES}"
    else:
        from scipy.stats import theilslopes

        # Where ties of x and y are very many, the library's variance is negative and its band not a number.
        with np.errstate(invalid="ignore"):
            found = theilslopes(ys, xs, alpha=confidence)
        slope = float(found.slope)
        if math.isnan(found.low_slope):
            reason = "too many equal figures for a band"
        elif _chance(counts.values()) > 1.0 - confidence:
            reason = f"{_times(len(counts))} are too few for a band of {100 * confidence:g} %"
        else:
            low, high = float(found.low_slope), float(found.high_slope)
    return Trend(
        slope=slope, low=low, high=high, at=at, level=level, count=xs.size, times=len(counts), reason=reason
    )


def _times(count: int) -> str:
    return "one date" if count == 1 else f"{count} different dates"


def _chance(ties: Iterable[int]) -> float:
    """Chance that all pairs agree in sign without any drift [-]; by logarithms, since n! is large."""
    sizes = tuple(ties)
    orders = math.lgamma(sum(sizes) + 1) - sum(math.lgamma(u + 1) for u in sizes)
    return min(1.0, 2.0 * math.exp(-orders))


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where a line meets a limit.

    Attributes
    ----------
    expected : float or None
        x at which the line itself reaches the limit; None when it never does.
    earliest : float or None
        x at which it would be reached at the steepest slope of the band, from the nearer of the line and the
        last figure; None when it never is, or when there is no band.
    """

    expected: float | None
    earliest: float | None


def crossing(trend: Trend, *, limit: float, upper: bool, now: float, last: float) -> Crossing:
    """Tell where a trend reaches a limit.

    Parameters
    ----------
    trend : Trend
    limit : float
        [the unit of y]
    upper : bool
        Whether figures must stay below the limit; else they must stay above it.
    now : float
        x of the last figure. A limit that is passed there already counts as reached at ``now``.
    last : float
        The last figure itself [the unit of y].

    Returns
    -------
    Crossing
    """
    sign = 1.0 if upper else -1.0
    left = sign * (limit - trend.value(now))
    nearest = min(left, sign * (limit - last))
    steepest = trend.high if upper else trend.low
    return Crossing(
        expected=None if trend.slope is None else _reached(now, left, sign * trend.slope),
        earliest=None if steepest is None else _reached(now, nearest, sign * steepest),
    )


def _reached(now: float, left: float, speed: float) -> float | None:
    if left <= 0.0:
        return now
    return now + left / speed if speed > 0.0 and math.isfinite(left / speed) else None


def monotone(y: Sequence[float] | Array, *, rising: bool) -> Array:
    """Return the monotone curve nearest to some figures, by least squares.

    Parameters
    ----------
    y : sequence of float, shape (n,)
        In order, equally weighted; any unit.
    rising : bool
        Whether the curve is to rise; else it falls.

    Returns
    -------
    ndarray of shape (n,)
        [the unit of y]

    Notes
    -----
    ``scipy.optimize.isotonic_regression``. Figures that are monotone already come back as they are, so that
    nothing steep is smoothed away; where they go back and forth, each such stretch becomes level, and the
    step to the next one is as steep as the samples are near.
    """
    from scipy.optimize import isotonic_regression

    return np.asarray(isotonic_regression(np.asarray(y, dtype=float), increasing=rising).x, dtype=float)

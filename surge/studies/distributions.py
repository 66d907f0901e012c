"""Distributions of uncertain figures: from a share between 0 and 1 to a value, and the ends that it reaches.

Values are in whatever unit the study file writes them.

Decisions
---------
* A share is never 0 or 1: the least is ``LEAST``, the step of a random number of 53 bits, and the greatest 1
  less that. So every distribution has two ends, which are told and held against what the key of the case may
  be. A normal one reaches 8.2 standard deviations: where that is impossible it has to be truncated.
* ``low`` and ``high`` truncate: the distribution between them keeps its shape. Nothing is moved to the end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array

LOG = "log_standard_deviation"  # a plain number whatever the key takes
KINDS = ("uniform", "triangular", "normal", "lognormal")
# What each has to say, and what it may.
NEEDED: Mapping[str, tuple[str, ...]] = {
    "uniform": ("low", "high"),
    "triangular": ("low", "mode", "high"),
    "normal": ("mean", "standard_deviation"),
    "lognormal": ("median", LOG),
}
ALLOWED: Mapping[str, tuple[str, ...]] = {
    "uniform": (),
    "triangular": (),
    "normal": ("low", "high"),
    "lognormal": ("low", "high"),
}
PARAMETERS = ("low", "high", "mode", "mean", "median", "standard_deviation", LOG)
LEAST = 2.0**-53  # share that is taken for 0
MOST_CUT = 0.999  # of a distribution that its truncation may cut off


@dataclass(frozen=True, kw_only=True)
class Distribution:
    """One distribution.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    values : mapping of str to float
        Its parameters, by the keys of the study file.
    """

    kind: str
    values: Mapping[str, float]

    def at(self, share: Array) -> Array:
        """Return the values below which shares of all lie, an array of the shape of ``share`` [-]."""
        u = np.clip(np.asarray(share, dtype=float), LEAST, 1.0 - LEAST)
        v = self.values
        if self.kind == "uniform":
            return np.asarray(v["low"] + u * (v["high"] - v["low"]))
        if self.kind == "triangular":
            return _triangular(u, v["low"], v["mode"], v["high"])
        return self._by_scores(u)

    def _by_scores(self, u: Array) -> Array:
        from scipy.special import ndtri

        below, above = self.cut
        # From the nearer side, so that no digits of a small share above are lost.
        from_below = below + u * (above - below)
        from_above = (1.0 - above) + (1.0 - u) * (above - below)
        score = np.where(
            from_below <= 0.5, ndtri(np.minimum(from_below, 0.5)), -ndtri(np.minimum(from_above, 0.5))
        )
        found = self._of_score(np.asarray(score))
        low, high = self.values.get("low", -np.inf), self.values.get("high", np.inf)
        return np.asarray(np.clip(found, low, high))  # of rounding only

    def _of_score(self, score: Array) -> Array:
        v = self.values
        if self.kind == "normal":
            return np.asarray(v["mean"] + v["standard_deviation"] * score)
        return np.asarray(v["median"] * np.exp(v[LOG] * score))

    def _score(self, value: float) -> float:
        v = self.values
        if self.kind == "normal":
            return (value - v["mean"]) / v["standard_deviation"]
        return float(np.log(value / v["median"]) / v[LOG]) if value > 0.0 else -np.inf

    @property
    def cut(self) -> tuple[float, float]:
        """Shares of the untruncated distribution below its low and below its high end [-]."""
        from scipy.special import ndtr

        low, high = self.values.get("low"), self.values.get("high")
        below = 0.0 if low is None else float(ndtr(self._score(low)))
        above = 1.0 if high is None else float(ndtr(self._score(high)))
        return below, above

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the greatest value that it may give."""
        low, high = self.at(np.array([0.0, 1.0]))
        return float(low), float(high)

    @property
    def middle(self) -> float:
        """The value in the middle: half of all lie below it."""
        return float(self.at(np.array([0.5]))[0])


def _triangular(u: Array, low: float, mode: float, high: float) -> Array:
    width = high - low
    rising = low + np.sqrt(u * width * (mode - low))
    falling = high - np.sqrt((1.0 - u) * width * (high - mode))
    return np.asarray(np.where(u * width <= mode - low, rising, falling))

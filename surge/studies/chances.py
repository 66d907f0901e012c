"""Probabilities from counted runs, with what is not known of them.

Decisions
---------
* What cannot be decided counts as not kept: a probability of "not kept" is never too small for want of an
  answer.
* Of independent samples the interval is that of Clopper and Pearson (Biometrika 26, 1934, 404-413), which is
  exact: it holds at small counts and at none, and covers at least ``LEVEL`` whatever the probability.
* Samples of a Latin hypercube, and of one Sobol sequence, are not independent: no interval is told, since
  none is right. Of replicates of a Sobol sequence it is Student's t over the replicates' shares; where no
  replicate has a run that is not kept, or all have only such, they differ by nothing, and none is told.
* Intervals tell what counting leaves open, and nothing of whether the distributions are right.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from surge.studies.designs import INDEPENDENT, SOBOL, Design

LEVEL = 0.95


@dataclass(frozen=True, kw_only=True)
class Chance:
    """A probability that limits are not kept.

    Attributes
    ----------
    unsafe, runs : int
        What was counted.
    low, high : float or None
        Interval of ``LEVEL`` [-]; None where the design gives none.
    why : str
        By what the interval is right, or why there is none.
    """

    unsafe: int
    runs: int
    low: float | None
    high: float | None
    why: str

    @property
    def share(self) -> float:
        """The share that was counted [-]."""
        return self.unsafe / self.runs


def clopper_pearson(unsafe: int, runs: int, level: float = LEVEL) -> tuple[float, float]:
    """Return the exact interval of a probability [-].

    Parameters
    ----------
    unsafe, runs : int
        So many of so many independent runs.
    level : float
        Confidence [-], both sides together.
    """
    from scipy.special import betaincinv

    tail = 0.5 * (1.0 - level)
    low = 0.0 if unsafe == 0 else float(betaincinv(unsafe, runs - unsafe + 1, tail))
    high = 1.0 if unsafe == runs else float(betaincinv(unsafe + 1, runs - unsafe, 1.0 - tail))
    return low, high


def by_replicates(shares: Sequence[float], level: float = LEVEL) -> tuple[float, float] | None:
    """Return the interval of a probability from independent estimates of it [-]; None where they are one."""
    from scipy.special import stdtrit

    n = len(shares)
    mean = sum(shares) / n
    spread = math.sqrt(sum((s - mean) ** 2 for s in shares) / (n - 1)) if n > 1 else 0.0
    if spread == 0.0:
        return None
    half = float(stdtrit(n - 1, 0.5 * (1.0 + level))) * spread / math.sqrt(n)
    return max(0.0, mean - half), min(1.0, mean + half)


def chance_of(unsafe: Sequence[int], runs: Sequence[int], design: Design) -> Chance:
    """Return a probability with its interval.

    Parameters
    ----------
    unsafe, runs : sequence of int
        Of each replicate; of other designs one.
    design : Design
    """
    total, count = sum(unsafe), sum(runs)
    if design.kind == INDEPENDENT:
        low, high = clopper_pearson(total, count)
        return Chance(unsafe=total, runs=count, low=low, high=high, why="exact for independent samples")
    none = "the samples are not independent: no interval; draw independent ones for it"
    if design.kind == SOBOL and design.replicates > 1:
        found = by_replicates([u / n for u, n in zip(unsafe, runs, strict=True) if n])
        if found is not None:
            why = f"from {design.replicates} replicates"
            return Chance(unsafe=total, runs=count, low=found[0], high=found[1], why=why)
        none = "the replicates do not differ: no interval; draw independent samples for it"
    return Chance(unsafe=total, runs=count, low=None, high=None, why=none)

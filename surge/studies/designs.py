"""Samples of the unit cube: which designs there are, and how each is drawn a piece at a time.

Decisions
---------
* "independent": every sample for itself. Only of these are confidence intervals of a probability exact
  (:mod:`surge.studies.chances`).
* "latin hypercube": each figure is spread evenly, so that means are better; held whole while it is drawn, and
  so no more than ``MOST_HELD`` samples of it.
* "sobol": a scrambled Sobol sequence of a power of two of samples, so that it is balanced. Replicates are
  scrambled independently; what they differ by tells the error.
* "saltelli": the design for Sobol indices; ``count`` samples of two matrices, and ``figures + 2`` runs of
  each (Saltelli et al. 2010, Computer Physics Communications 181, 259-270; drawn by SALib).
* A piece of the samples is the same whether those before it were drawn or not: random numbers of the
  independent design begin anew every ``PIECE`` samples.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from surge.arrays import Array

INDEPENDENT, LATIN, SOBOL, SALTELLI = "independent", "latin hypercube", "sobol", "saltelli"
DESIGNS = (INDEPENDENT, LATIN, SOBOL, SALTELLI)
MOST_SAMPLES = 10_000_000
MOST_HELD = 200_000
PIECE = 1024


@dataclass(frozen=True, kw_only=True)
class Design:
    """How samples are drawn.

    Attributes
    ----------
    kind : str
        One of ``DESIGNS``.
    count : int
        As the study file says it.
    seed : int
    replicates : int
        Of a Sobol sequence; 1 otherwise.
    figures : int
        Uncertain figures: columns.
    """

    kind: str
    count: int
    seed: int
    replicates: int
    figures: int

    @property
    def size(self) -> int:
        """Samples in all."""
        if self.kind == SALTELLI:
            return self.count * (self.figures + 2)
        return self.count * self.replicates

    def replicate_of(self, sample: int) -> int:
        """Return which replicate a sample belongs to, from 0."""
        return sample // self.count if self.kind == SOBOL else 0

    def pieces(self) -> Iterator[Array]:
        """Yield all samples in their order, some at a time: arrays of shape (some, figures) [-]."""
        if self.kind == INDEPENDENT:
            for k, first in enumerate(range(0, self.count, PIECE)):
                made = np.random.default_rng([self.seed, k]).random((PIECE, self.figures))
                yield made[: self.count - first]
        elif self.kind == SOBOL:
            for k in range(self.replicates):
                engine = _sobol(self.figures, np.random.default_rng([self.seed, k]))
                for first in range(0, self.count, PIECE):
                    yield np.asarray(engine.random(min(PIECE, self.count - first)))
        else:
            whole = self._saltelli() if self.kind == SALTELLI else self._latin()
            for first in range(0, len(whole), PIECE):
                yield whole[first : first + PIECE]

    def _latin(self) -> Array:
        from scipy.stats import qmc

        rng: Any = np.random.default_rng(self.seed)
        return np.asarray(qmc.LatinHypercube(self.figures, seed=rng).random(self.count))

    def _saltelli(self) -> Array:
        from surge.studies.indices import sampled

        return sampled(self.figures, self.count, seed=self.seed)


def _sobol(figures: int, rng: Any) -> Any:
    from scipy.stats import qmc

    return qmc.Sobol(figures, scramble=True, seed=rng)


class Samples:
    """Rows of a design in order, piece by piece: memory does not grow with their number.

    Parameters
    ----------
    design : Design
    """

    def __init__(self, design: Design) -> None:
        self._pieces = design.pieces()
        self._held = np.zeros((0, design.figures))
        self._first = 0

    def rows(self, first: int, count: int) -> Array:
        """Return some samples, shape (count, figures) [-]; never any before those asked for last."""
        drop = first - self._first
        while drop >= len(self._held):
            drop -= len(self._held)
            self._first += len(self._held)
            self._held = next(self._pieces)
        self._held, self._first = self._held[drop:], first
        while len(self._held) < count:
            self._held = np.vstack([self._held, next(self._pieces)])
        return self._held[:count].copy()

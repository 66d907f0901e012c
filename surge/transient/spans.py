"""Highest and lowest heads of points in spans of time of one length.

Two marches of one run may agree on the highest head of all, and not on one that comes later and is nearly as
high: at a finer step that one may be the highest. So every span has its extremes, and its own error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from surge.arrays import Array
from surge.kernel.tally import Spread, spread

# Steps by which a span is widened on both sides, for a head that another march has in it: a front may pass a
# step or two earlier there. Our own choice.
WIDER = 4


@dataclass(frozen=True, kw_only=True)
class SpanExtremes:
    """Heads of points [m], shape (spans, points): highest and lowest, in each span, and in it widened."""

    high: Array
    low: Array
    wide_high: Array
    wide_low: Array


@dataclass(kw_only=True)
class Spans:
    """What a march keeps of every span.

    Attributes
    ----------
    steps : float
        Of one span; the first begins at the start of the march.
    start : ndarray, shape (points,)
        Heads before the first step [m].
    """

    steps: float
    start: Array
    rows: Array = field(init=False)

    def __post_init__(self) -> None:
        self.rows = np.empty((0, 4, self.start.size))
        self.look(-1, self.start[None])

    def _until(self, span: int) -> None:
        """Room for spans up to this one: highest, lowest, and the same widened."""
        more = span + 1 - self.rows.shape[0]
        if more > 0:
            new = np.empty((more, 4, self.start.size))
            new[:, 0::2], new[:, 1::2] = -np.inf, np.inf
            self.rows = np.concatenate([self.rows, new])

    def _edge(self, span: int) -> int:
        return int(np.ceil(span * self.steps))

    def look(self, done: int, heads: Array) -> None:
        """Take in the steps after ``done``; heads (steps, points) [m], contiguous."""
        last = done + heads.shape[0]
        first = end = max(int((done + 1 - WIDER) / self.steps) - 1, 0)
        while self._edge(end) - WIDER <= last:
            end += 1
        self._until(end - 1)
        edges = np.array([self._edge(span) - done - 1 for span in range(first, end + 1)])
        spread(Spread(self.rows[first:end], edges[:-1], edges[1:]), heads, WIDER)

    def extremes(self, points: Sequence[int]) -> SpanExtremes:
        """Return what those of these points are now; a span of which no step was made has no row."""
        rows = self.rows[np.isfinite(self.rows[:, 0, 0])][:, :, points]
        return SpanExtremes(high=rows[:, 0], low=rows[:, 1], wide_high=rows[:, 2], wide_low=rows[:, 3])

"""Highest and lowest heads of points in spans of time of one length.

Two marches of one run may agree on the highest head of all, and not on one that comes later and is nearly as
high: at a finer step that one may be the highest. So every span has its extremes, and its own error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from surge.arrays import Array, down

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
    rows: list[Array] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        self.look(-1, self.start[None])

    def _until(self, span: int) -> None:
        """Room for spans up to this one: highest, lowest, and the same widened."""
        while len(self.rows) <= span:
            row = np.empty((4, self.start.size))
            row[0::2] = -np.inf
            row[1::2] = np.inf
            self.rows.append(row)

    def _edge(self, span: int) -> int:
        return int(np.ceil(span * self.steps))

    def look(self, done: int, heads: Array) -> None:
        """Take in the steps after ``done``; heads (steps, points) [m]."""
        last = done + heads.shape[0]
        span = max(int((done + 1 - WIDER) / self.steps) - 1, 0)
        while self._edge(span) - WIDER <= last:
            first, end = self._edge(span), self._edge(span + 1)
            self._until(span)
            row = self.rows[span]
            # Highest and lowest of the span itself, then of what widens it on both sides.
            for begin, stop, columns in (
                (first, end, (0, 2)),
                (first - WIDER, first, (2,)),
                (end, end + WIDER, (2,)),
            ):
                part = heads[max(begin - done - 1, 0) : max(stop - done - 1, 0)]
                if part.shape[0]:
                    high, low = down(np.maximum, part), down(np.minimum, part)
                    for k in columns:
                        np.maximum(row[k], high, out=row[k])
                        np.minimum(row[k + 1], low, out=row[k + 1])
            span += 1

    def extremes(self, points: Sequence[int]) -> SpanExtremes:
        """Return what those of these points are now; a span of which no step was made has no row."""
        rows = np.array([row for row in self.rows if np.isfinite(row[0, 0])])[:, :, points]
        return SpanExtremes(high=rows[:, 0], low=rows[:, 1], wide_high=rows[:, 2], wide_low=rows[:, 3])

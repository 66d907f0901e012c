"""The smallest value from which on everything is safe, found from above; it knows nothing of pipes.

Peak pressure is not a monotone function of stroke time: a stroke can be safe, a longer one unsafe. So the
search goes down from the greatest value in steps of ``FALL``, looks between its samples wherever the steepest
slope seen near them, times ``TRUST``, or a wave that returns could hide an unsafe one, and refines the last
unsafe gap.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

Evaluate = Callable[[Sequence[float]], Sequence[float]]

FALL = 1.18  # ratio of neighbouring samples of the first look; gaps in doubt are looked into afterwards
BLOCK = 64  # samples looked at together: as many as two threads of a batch take at once
ROUNDS = 20  # of refinement
FINER = 4.0  # gaps in doubt are looked into down to this part of the resolution
TRUST = 1.5  # how much steeper than seen it may be between two samples


@dataclass(kw_only=True)
class Samples:
    """Values looked at, and the margin of each [Pa]."""

    margins: dict[float, float] = field(default_factory=dict)

    def look(self, evaluate: Evaluate, values: Iterable[float]) -> None:
        """Evaluate the values that are new."""
        new = [v for v in dict.fromkeys(values) if v not in self.margins]
        if new:
            self.margins.update(zip(new, evaluate(new), strict=True))

    def safe_from(self, need: float) -> float | None:
        """The smallest sample from which on all samples keep ``need``; None when the greatest does not."""
        found = None
        for value in sorted(self.margins, reverse=True):
            if not self.margins[value] >= need:  # not a number is not safe
                break
            found = value
        return found


def first_look(longest: float, shortest: float, *, fall: float = FALL) -> list[float]:
    """Values from ``longest`` down to ``shortest``, each about the one before divided by ``fall``."""
    count = max(1, math.ceil(math.log(longest / shortest) / math.log(fall)))
    return [longest * (shortest / longest) ** (k / count) for k in range(count)] + [shortest]


def smallest_safe(
    evaluate: Evaluate,
    values: Sequence[float],
    *,
    need: float,
    resolution: Callable[[float], float],
    spacing: float,
    hidden: Callable[[float], float],
    samples: Samples | None = None,
) -> float | None:
    """Return the smallest value for which it and every greater one up to the first of ``values`` is safe.

    Parameters
    ----------
    evaluate : callable
        Values -> margins [Pa], many at a time.
    values : sequence of float
        Falling; the first look.
    need : float
        Margin that must be kept [Pa].
    resolution : callable
        Value -> how finely it is to be told.
    spacing : float
        So far apart neighbours may be and still show the waves of the margin.
    hidden : callable
        Value -> how far the margin may dip unseen between neighbours farther apart than that [Pa].
    samples : Samples, optional
        What has been looked at before, and is afterwards.

    Returns
    -------
    float or None
        None when the greatest value is not safe.
    """
    seen = samples if samples is not None else Samples()
    for first in range(0, len(values), BLOCK):
        seen.look(evaluate, values[first : first + BLOCK])
        if any(not seen.margins[v] >= need for v in values[first : first + BLOCK]):
            break
    gaps = _Gaps(seen, need, resolution, spacing, hidden)
    for _ in range(ROUNDS):
        wanted = gaps.doubtful()
        if not wanted:
            break
        seen.look(evaluate, wanted)
    return gaps.proven_from()


@dataclass(frozen=True, kw_only=True)
class _Gap:
    low: float
    high: float
    proven: bool


class _Gaps:
    """What lies between the samples: proven safe, or in doubt."""

    def __init__(
        self,
        seen: Samples,
        need: float,
        resolution: Callable[[float], float],
        spacing: float,
        hidden: Callable[[float], float],
    ) -> None:
        self.seen, self.need = seen, need
        self.resolution, self.spacing, self.hidden = resolution, spacing, hidden

    def above(self, start: float) -> list[_Gap]:
        """Every gap between neighbours from ``start`` upwards."""
        order = sorted(self.seen.margins)
        slopes = [_slope(self.seen, order, j) for j in range(len(order) - 1)]
        gaps = []
        for i in range(order.index(start), len(order) - 1):
            low, high = order[i], order[i + 1]
            dip = TRUST * max(slopes[max(i - 1, 0) : i + 2]) * (high - low) / 2
            if high - low > self.spacing:
                dip = max(dip, self.hidden(low))
            spare = min(self.seen.margins[low], self.seen.margins[high]) - self.need
            gaps.append(_Gap(low=low, high=high, proven=spare > dip))
        return gaps

    def doubtful(self) -> list[float]:
        """Values to look at next: in gaps in doubt, and in the gap above the last unsafe sample."""
        start = self.seen.safe_from(self.need)
        if start is None:
            return []
        wanted = []
        unsafe = [v for v in self.seen.margins if v < start]
        if unsafe and start - max(unsafe) > self.resolution(start) / FINER:
            # Several at once, since a batch costs the same.
            wanted += [max(unsafe) + (start - max(unsafe)) * k / 8 for k in range(1, 8)]
        for gap in self.above(start):
            if not gap.proven and gap.high - gap.low > self.resolution(gap.low) / FINER:
                wanted.append(0.5 * (gap.low + gap.high))
        return wanted

    def proven_from(self) -> float | None:
        """The smallest sample above which no gap is in doubt; None when the greatest is not safe."""
        start = self.seen.safe_from(self.need)
        if start is None:
            return None
        return max((gap.high for gap in self.above(start) if not gap.proven), default=start)


def _slope(seen: Samples, order: Sequence[float], i: int) -> float:
    low, high = order[i], order[i + 1]
    slope = abs(seen.margins[high] - seen.margins[low]) / (high - low)
    return slope if math.isfinite(slope) else math.inf

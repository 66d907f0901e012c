"""Measured curves for tests: a shape sampled with noise, offset, overshoot, gaps."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Collection

from surge.strokecurve import Curve, Sample


def sampled(
    shape: Callable[[float], float],
    time: float,
    *,
    step: float = 0.05,
    noise: float = 0.0,
    rest: float = 0.0,
    over: float = 0.0,
    lead: float = 2.0,
    tail: float = 3.0,
    drop: Collection[int] = (),
    seed: int = 1,
) -> Curve:
    """Sample ``shape`` of the share of the stroke time; ``rest`` is what the indicator reads when shut."""
    draws = random.Random(seed)
    found = []
    for k in range(round((time + lead + tail) / step) + 1):
        after = k * step - lead - time
        x = shape(min(max((k * step - lead) / time, 0.0), 1.0))
        if after > 0.0:
            x -= over * math.exp(-after / 0.3)
        x = x * (1.0 - rest) + rest + (draws.gauss(0.0, noise) if noise else 0.0)
        if k not in drop:
            found.append(Sample(row=k + 2, time=k * step, position=x))
    return Curve(samples=tuple(found))

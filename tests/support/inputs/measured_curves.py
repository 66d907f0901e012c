"""Measured curves for tests, and the maker of the demo: sampled with noise, offset, overshoot, gaps."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Collection

from surge.records.curve_file import MeasuredCurve, Sample


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
) -> MeasuredCurve:
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
    return MeasuredCurve(samples=tuple(found), filename="a.csv", sha256="0" * 64)


def demo_text() -> str:
    """The demo: even down to 22 %, then shut in a twelfth of the time, as if the last throttle were lost."""
    draws = random.Random(4)
    step, lead, time, noise, rest, over = 0.1, 1.5, 14.6, 0.0005, 0.004, 0.006
    rows = [
        "Manifold valve, stroke measured alongside at full rate;",
        "Recorder channel 3: position transmitter;",
    ]
    rows.append("time [s];position [%];hydraulic pressure [bar]")
    for k in range(int((time + 5.0) / step) + 1):
        t = k * step
        u = min(max((t - lead) / time, 0.0), 1.0)
        x = 1.0 - 0.78 * u / 0.92 if u < 0.92 else 0.22 * (1.0 - (u - 0.92) / 0.08)
        if u >= 1.0:
            late = t - lead - time
            x = -over * math.exp(-late / 0.25) * math.cos(6.0 * late)
        x = x * (1.0 - rest) + rest + draws.gauss(0.0, noise)
        position = "" if k in (61, 62, 63) else f"{100.0 * x:.1f}".replace(".", ",")
        pressure = 121.0 - 6.0 * (0.0 < u < 1.0) + draws.gauss(0.0, 0.4)
        rows.append(f"{t:.1f};".replace(".", ",") + f"{position};{pressure:.0f}")
    return "\n".join(rows) + "\n"

"""Extremes of a default run against better figures, and how far these differ, as a table. Pressures [Pa]."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

SHARE = 0.01  # of the rise: no peak may be further below the better figure
LEAST = 2000.0  # [Pa] or than the accuracy that the program aims at for small rises, where that is more
COVERED = 0.999  # share of the extremes that must lie within their reported error


@dataclass(frozen=True, kw_only=True)
class Missed:
    """One extreme against a better figure.

    Attributes
    ----------
    unsafe : float
        By how much the reported figure is on the unsafe side; negative on the safe side.
    error : float
        What the run reports as its numerical error.
    slack : float
        Error of the better figure itself, as far as it is known (0 for other marches).
    rise : float
        Greatest rise of the line-up.
    """

    seed: int
    kind: str
    against: str
    what: str
    high: bool
    unsafe: float
    error: float
    slack: float
    parts: tuple[float, float, float]
    rise: float
    settled: bool
    sudden: bool
    time: float

    @property
    def outside(self) -> bool:
        return abs(self.unsafe) > self.error + self.slack

    @property
    def share(self) -> float:
        """What is certainly missed on the unsafe side, of the rise."""
        return (self.unsafe - self.slack) / self.rise

    @property
    def breach(self) -> bool:
        """A peak too low by more than the stated share of the rise, and by more than the least accuracy."""
        return self.high and self.share > SHARE and self.unsafe - self.slack > LEAST

    @property
    def of_error(self) -> float:
        """Difference over the reported error."""
        return max(abs(self.unsafe) - self.slack, 0.0) / self.error


def table_of(found: Iterable[Missed]) -> list[str]:
    """Quantiles of what was found, group by group, as lines."""
    found = list(found)
    head = (
        f"{'group':34s} {'line-ups':>8s} {'extremes':>8s} {'covered':>8s} {'breaches':>8s}   "
        "peak too low, % of rise: 50 / 99 / max      difference / error: 50 / 99 / 99.9 / max      "
        "error, % of rise: 50 / 90"
    )
    lines = [head]
    for name, group in _groups(found):
        if not group:
            continue
        share = 100 * np.array([m.share for m in group if m.high])
        ratio = np.array([m.of_error for m in group])
        error = 100 * np.array([m.error / m.rise for m in group])
        lines.append(
            f"{name:34s} {len({m.seed for m in group}):8d} {len(group):8d} "
            f"{100 * covered(group):7.2f}% {sum(m.breach for m in group):8d}   "
            + " / ".join(f"{v:8.4f}" for v in np.percentile(share, (50, 99, 100)))
            + "     "
            + " / ".join(f"{v:6.3f}" for v in np.percentile(ratio, (50, 99, 99.9, 100)))
            + "     "
            + " / ".join(f"{v:7.3f}" for v in np.percentile(error, (50, 90)))
        )
    return lines


def _groups(found: list[Missed]) -> list[tuple[str, list[Missed]]]:
    groups = []
    for against in ("step", "long", "slow"):
        mine = [m for m in found if m.against.startswith(against)]
        groups.append((f"{against}: all", mine))
        groups += [
            (w, [m for m in mine if m.against == w])
            for w in ("step/8", "step/4", "step/2", "long/1", "long/2")
        ]
        for sudden in (False, True):
            for settled in (True, False):
                words = ("sudden" if sudden else "gradual") + (", settled" if settled else ", not settled")
                part = [m for m in mine if m.sudden == sudden and m.settled == settled]
                groups.append((f"{against}: {words}", part))
        groups += [
            (f"{against}: {kind}", [m for m in mine if m.kind == kind])
            for kind in sorted({m.kind for m in mine})
        ]
    return groups


def line_of(m: Missed) -> str:
    """One extreme in words."""
    step, lump = m.parts
    return (
        f"  seed {m.seed:6d} {m.kind:10s} {m.against:5s} {m.what:30s} at {m.time:7.3f} s: "
        f"{100 * m.share:8.4f} % of rise {m.rise / 1e5:7.3f} bar unsafe; {m.unsafe:10.1f} Pa, "
        f"error {m.error:9.1f} (step {step:.1f}, lump {lump:.1f})"
        f"{f', own error {m.slack:.1f}' if m.slack else ''}{'' if m.settled else ', not settled'}"
        f"{', sudden' if m.sudden else ''}"
    )


def covered(found: list[Missed]) -> float:
    """Share of the extremes that lie within their error."""
    return sum(not m.outside for m in found) / len(found) if found else math.nan

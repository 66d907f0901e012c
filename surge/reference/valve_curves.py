"""Inherent characteristics of valves: how much of its full Kv a valve has at each opening.

The curves of gate, globe, ball and butterfly valves are made from loss factors K of partly open valves, since
Kv goes as 1/sqrt(K). The table that they were read in stops at 60 degrees, or at a quarter of the lift: from
there to shut the curve is a straight line, and nothing is known of how the last of the flow is stopped. A
curve from the maker is better than any of these; a closure is decided in that last part of the stroke.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from surge.model.lineup import Table


@dataclass(frozen=True, kw_only=True)
class ValveCurve:
    """An inherent characteristic.

    Attributes
    ----------
    table : tuple of (opening, ratio)
        Share of the whole travel from shut [-] against Kv/Kv100 [-], straight between the points.
    source : str
        Where the figures come from, and how they were mapped.
    status : str
        "read", "from memory" or "definition".
    """

    name: str
    table: Table
    source: str
    status: str


_LOSS_TABLE = (
    "ratio = sqrt(K open/K) of loss factors K read in a handbook-style table of fittings and valves "
    "(attribution to Perry's Chemical Engineers' Handbook from memory)"
)


_QUARTER_TURN = (
    "; opening = 1 - angle/90 with the angle from fully open; the smallest angle of the table, 5 degrees, "
    "counts as fully open, and there is no figure between 60 degrees and shut (straight line)"
)


_LIFT = "; opening = share of full travel; there is no figure between 1/4 open and shut (straight line)"


def _from_losses(losses: tuple[tuple[float, float], ...]) -> Table:
    """Table from (opening, K) pairs, the widest opening last and taken as fully open."""
    wide = losses[-1][1]
    points = [(0.0, 0.0), *((x, math.sqrt(wide / k)) for x, k in losses)]
    if points[-1][0] < 1.0:
        points.append((1.0, 1.0))
    return tuple(points)


def _angles(losses: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Return (opening, K) pairs in rising order from (degrees off fully open, K)."""
    return tuple(sorted((1.0 - angle / 90.0, k) for angle, k in losses))


def _curve(name: str, table: Table, source: str, status: str = "read") -> tuple[str, ValveCurve]:
    return name, ValveCurve(name=name, table=table, source=source, status=status)


RANGEABILITY = 50.0  # [-] of the equal-percentage characteristic; from memory, 30 to 50 are usual


VALVE_CURVES: Mapping[str, ValveCurve] = MappingProxyType(
    dict(
        (
            _curve(
                "gate",
                _from_losses(((0.25, 24.0), (0.5, 4.5), (0.75, 0.9), (1.0, 0.17))),
                _LOSS_TABLE + _LIFT,
            ),
            _curve(
                "globe",
                _from_losses(((0.25, 112.0), (0.5, 36.0), (0.75, 13.0), (1.0, 9.0))),
                _LOSS_TABLE + ", plug disc" + _LIFT,
            ),
            _curve(
                "ball",
                _from_losses(_angles(((5.0, 0.05), (10.0, 0.29), (20.0, 1.56), (40.0, 17.3), (60.0, 206.0)))),
                _LOSS_TABLE + ", plug cock standing in for a full-bore ball" + _QUARTER_TURN,
            ),
            _curve(
                "butterfly",
                _from_losses(_angles(((5.0, 0.24), (10.0, 0.52), (20.0, 1.54), (40.0, 10.8), (60.0, 118.0)))),
                _LOSS_TABLE + _QUARTER_TURN,
            ),
            _curve("linear", ((0.0, 0.0), (1.0, 1.0)), "ratio = opening", "definition"),
            _curve(
                "equal percentage",
                ((0.0, 0.0), *((k / 10.0, RANGEABILITY ** (k / 10.0 - 1.0)) for k in range(1, 11))),
                "ratio = 50**(opening - 1) at every tenth, 0 when shut; a rangeability of 50 is from memory "
                "(30 to 50 are usual)",
                "from memory",
            ),
        )
    )
)

"""Reference values with their sources: valve characteristics, wall materials, pipe restraints.

Every value says where it comes from, and the output repeats it.
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


@dataclass(frozen=True, kw_only=True)
class Material:
    """A pipe wall.

    Attributes
    ----------
    modulus : float
        Young's modulus [Pa]; where handbooks give a range, its upper end: the higher wave speed.
    poisson : float
        Poisson's ratio [-]
    brittle : bool
        No allowance above the rating.
    """

    name: str
    modulus: float
    poisson: float
    brittle: bool
    source: str
    note: str = ""


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

_MEMORY = "handbook value, from memory"


def _material(name: str, gpa: float, poisson: float, *, brittle: bool, note: str) -> tuple[str, Material]:
    return name, Material(
        name=name, modulus=gpa * 1e9, poisson=poisson, brittle=brittle, source=_MEMORY, note=note
    )


MATERIALS: Mapping[str, Material] = MappingProxyType(
    dict(
        (
            _material("steel", 207.0, 0.30, brittle=False, note="carbon steel; handbooks 200 to 212 GPa"),
            _material("stainless steel 316L", 200.0, 0.30, brittle=False, note="handbooks 193 to 200 GPa"),
            _material(
                "ductile iron",
                172.0,
                0.28,
                brittle=False,
                note="handbooks 165 to 172 GPa; where its maker allows no excess, write brittle = true",
            ),
            _material("cast iron", 145.0, 0.26, brittle=True, note="grey iron; handbooks 80 to 145 GPa"),
            _material("GRP", 25.0, 0.30, brittle=True, note="hoop direction; handbooks 10 to 25 GPa"),
        )
    )
)

RESTRAINTS: Mapping[str, str] = MappingProxyType(
    {
        "anchored at one end": "held at its upstream end only, c1 = 1 - nu/2",
        "anchored throughout": "cannot move lengthwise, c1 = 1 - nu**2",
        "expansion joints": "free to move lengthwise all along, c1 = 1",
    }
)

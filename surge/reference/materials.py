"""What pipes are made of and how they are held: both go into the wave speed.

A material that is named has one modulus, the stiff end of what handbooks say: a stiffer wall carries waves
faster, and the instant-stop rise is higher. Where the material is not named, its modulus is a range
(:mod:`surge.case.waves`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


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

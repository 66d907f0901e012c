"""Standard sizes of steel pipe: outside diameter and nominal wall by size and schedule.

The walls are nominal, which is the side that makes surge higher: a wall thinner than nominal lowers the wave
speed and, at a given rate, the velocity. The mill may deliver a wall 12.5 % thinner (seamless; from memory,
ASTM A106) and rust takes more, which LOWERS what the pipe may bear: a rating worked out from the nominal
wall is too high. Some pipe is delivered heavier than nominal (up to 10 % by mass; from memory): on 12 inch
standard pipe that raises the wave speed by 1 % and the velocity by 1 %. A measured wall is better than any
table.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from surge.errors import UnknownNameError
from surge.reference.rows import look_up, matching


@dataclass(frozen=True, kw_only=True)
class PipeSize:
    """One size and schedule of steel pipe.

    Attributes
    ----------
    size : str
        "12 inch": nominal pipe size.
    dn : int
        The same size as DN.
    schedule : str
        "standard", "extra strong", "schedule 40", "schedule 10S".
    outside, wall : float
        Outside diameter and nominal wall [m].
    """

    size: str
    dn: int
    schedule: str
    outside: float
    wall: float
    source: str
    status: str = "from memory"
    validity: str = "nominal wall; seamless pipe may be 12.5 % thinner as delivered, which lowers its rating"

    @property
    def inside(self) -> float:
        """Inside diameter at the nominal wall [m]."""
        return self.outside - 2.0 * self.wall

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"{self.size} DN {self.dn} {self.schedule} {self.source}"


_NPS = (2, 2.5, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30, 32, 34, 36)
_DN = {2.5: 65, 3: 80}  # all others are 25 times the size in inches
# [mm]; B36.19M prints the tenth differently for two sizes
_OUTSIDE: Mapping[float, float] = dict(
    zip(
        _NPS,
        (60.3, 73.0, 88.9, 114.3, 141.3, 168.3, 219.1, 273.0, 323.8, 355.6, 406.4, 457.0, 508.0, 559.0)
        + (610.0, 660.0, 711.0, 762.0, 813.0, 864.0, 914.0),
        strict=True,
    )
)
_OUTSIDE_STAINLESS: Mapping[float, float] = {**_OUTSIDE, 10: 273.1, 12: 323.9}

_CHECKED = ", metric values of the 2004 edition, agreeing with the open library `fluids`"
_CARBON = "ASME B36.10M" + _CHECKED
_STAINLESS = "ASME B36.19M" + _CHECKED

# Nominal walls [mm] in the order of the sizes, "-" where the standard has none.
_WALLS: Mapping[str, str] = {
    "standard": "3.91 5.16 5.49 6.02 6.55 7.11 8.18 9.27" + 13 * " 9.53",
    "extra strong": "5.54 7.01 7.62 8.56 9.53 10.97" + 15 * " 12.70",
    "schedule 10": "2.77 3.05 3.05 3.05 3.40 3.40 3.76 4.19 4.57" + 6 * " 6.35" + 6 * " 7.92",
    "schedule 20": "- - - - - - 6.35 6.35 6.35 7.92 7.92 7.92 9.53 9.53 9.53" + 6 * " 12.70",
    "schedule 30": "3.18 4.78 4.78 4.78 - - 7.04 7.80 8.38 9.53 9.53 11.13 12.70 12.70 14.27 -"
    + 5 * " 15.88",
    "schedule 40": "3.91 5.16 5.49 6.02 6.55 7.11 8.18 9.27 10.31 11.13 12.70 14.27 15.09 - 17.48 - - -"
    " 17.48 17.48 19.05",
    "schedule 60": "- - - - - - 10.31 12.70 14.27 15.09 16.66 19.05 20.62 22.23 24.61" + 6 * " -",
    "schedule 80": "5.54 7.01 7.62 8.56 9.53 10.97 12.70 15.09 17.48 19.05 21.44 23.83 26.19 28.58 30.96"
    + 6 * " -",
    "schedule 5S": "1.65 2.11 2.11 2.11 2.77 2.77 2.77 3.40 3.96 3.96 4.19 4.19 4.78 4.78 5.54 - - 6.35"
    " - - -",
    "schedule 10S": "2.77 3.05 3.05 3.05 3.40 3.40 3.76 4.19 4.57 4.78 4.78 4.78 5.54 5.54 6.35 - - 7.92"
    " - - -",
    "schedule 40S": "3.91 5.16 5.49 6.02 6.55 7.11 8.18 9.27" + 5 * " 9.53" + " - 9.53" + 6 * " -",
    "schedule 80S": "5.54 7.01 7.62 8.56 9.53 10.97" + 7 * " 12.70" + " - 12.70" + 6 * " -",
}


def _rows() -> Iterable[tuple[tuple[float, str], PipeSize]]:
    for schedule, walls in _WALLS.items():
        stainless = schedule.endswith("S")
        outside = _OUTSIDE_STAINLESS if stainless else _OUTSIDE
        for nps, wall in zip(_NPS, walls.split(), strict=True):
            if wall != "-":
                yield (
                    (nps, schedule),
                    PipeSize(
                        size=f"{nps:g} inch",
                        dn=_DN.get(nps, round(25 * nps)),
                        schedule=schedule,
                        outside=outside[nps] / 1e3,
                        wall=float(wall) / 1e3,
                        source=_STAINLESS if stainless else _CARBON,
                    ),
                )


_TABLE: Mapping[tuple[float, str], PipeSize] = MappingProxyType(dict(_rows()))
PIPE_SIZES: tuple[PipeSize, ...] = tuple(_TABLE.values())
SIZES: tuple[str, ...] = tuple(f"{nps:g} inch" for nps in _NPS)

_INCHES = re.compile(r'(nps\s*)?(\d+(?:\.\d+)?|\d+ 1/2)\s*(inch(?:es)?|in|")?')
_METRIC = re.compile(r"dn\s*(\d+)")
_SHORT = {"std": "standard", "xs": "extra strong"}


def nominal_inches(size: str) -> float:
    """Return the nominal size [inch] that a text stands for.

    Parameters
    ----------
    size : str
        "12 inch", "12 in", "NPS 12", "2 1/2 inch" or "DN 300". A bare number is refused: 300 may be either.

    Raises
    ------
    UnknownNameError
        With the sizes that there are.
    """
    text = " ".join(size.lower().split())
    metric = _METRIC.fullmatch(text)
    found: float | None = None
    if metric:
        found = next((nps for nps in _NPS if _DN.get(nps, 25 * nps) == int(metric[1])), None)
    elif (inches := _INCHES.fullmatch(text)) and (inches[1] or inches[3]):
        found = float(inches[2].replace(" 1/2", ".5"))
    if found not in _NPS:
        raise UnknownNameError("pipe size", given=size, known=SIZES)
    return found


def schedules_of(size: str) -> tuple[str, ...]:
    """Return the schedules that exist in a size; see :func:`nominal_inches` for how it is written."""
    nps = nominal_inches(size)
    return tuple(schedule for known, schedule in _TABLE if known == nps)


def pipe_size(size: str, *, schedule: str) -> PipeSize:
    """Return outside diameter, wall and inside diameter of a standard steel pipe.

    Parameters
    ----------
    size : str
        "12 inch", "NPS 12" or "DN 300".
    schedule : str
        "standard" (or "STD"), "extra strong" ("XS"), "schedule 40" ("40", "sch 40"), "10S" (stainless).

    Returns
    -------
    PipeSize
        Diameters and wall [m].

    Raises
    ------
    UnknownNameError
        For a size that is not in the table, or a schedule that does not exist in that size; with what exists.

    Examples
    --------
    ASME B36.10M has 323.8 mm outside and a wall of 9.53 mm; 323.8 - 2 * 9.53 = 304.74.

    >>> round(1000.0 * pipe_size("12 inch", schedule="standard").inside, 2)
    304.74
    """
    nps = nominal_inches(size)
    text = " ".join(schedule.lower().split())
    number = re.fullmatch(r"(?:sch(?:edule)?\.?\s*)?(\d+)(s?)", text)
    name = f"schedule {number[1]}{number[2].upper()}" if number else _SHORT.get(text, text)
    row = _TABLE.get((nps, name))
    if row is None:
        raise UnknownNameError(f"schedule of {nps:g} inch pipe", given=schedule, known=schedules_of(size))
    return row


def search(text: str) -> list[PipeSize]:
    """Return the pipes whose size, DN, schedule or standard has every word of ``text``."""
    return matching(PIPE_SIZES, text)


@dataclass(frozen=True, kw_only=True)
class Roughness:
    """Absolute roughness of one kind of wall.

    Attributes
    ----------
    low, high : float
        Ends of the usual band [m].
    note : str
    """

    name: str
    low: float
    high: float
    source: str
    status: str
    note: str = ""

    @property
    def validity(self) -> str:
        """The band, in words."""
        return f"{self.low * 1e3:g} to {self.high * 1e3:g} mm; for clean liquids in turbulent flow"

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"roughness {self.name} {self.note}"


_HANDBOOKS = "handbooks of pipe friction"


def _wall(
    name: str, low: float, high: float, note: str = "", source: str = _HANDBOOKS
) -> tuple[str, Roughness]:
    return name, Roughness(
        name=name, low=low / 1e3, high=high / 1e3, source=source, status="from memory", note=note
    )


ROUGHNESS: Mapping[str, Roughness] = MappingProxyType(
    dict(
        (
            _wall("new steel", 0.02, 0.1, "the usual single figure is 0.045 mm"),
            _wall("stainless steel", 0.015, 0.03),
            _wall("coated steel", 0.005, 0.03, "smooth lining, such as epoxy"),
            _wall("slightly rusted steel", 0.15, 0.3),
            _wall("old steel", 0.5, 1.0, "rusted throughout or with deposits"),
            _wall("galvanised steel", 0.1, 0.15),
            _wall("cast iron", 0.2, 0.5, "uncoated; old and rusted cast iron is like old steel or worse"),
            _wall("GRP", 0.005, 0.03),
            _wall("smooth hose", 0.01, 0.06, "smooth-bore rubber or lined hose"),
            _wall(
                "rough-bore hose",
                0.3,
                2.0,
                "inner wire helix or corrugated bore, composite hoses among them",
                "chosen so that a 200 to 300 mm bore loses 1.5 to over 2 times as much as a smooth one, "
                "which is the handbooks' figure",
            ),
        )
    )
)


def roughness(condition: str) -> Roughness:
    """Return the roughness band of a wall.

    Parameters
    ----------
    condition : str
        A key of ``ROUGHNESS``.

    Returns
    -------
    Roughness
        Its ends in [m].

    Raises
    ------
    UnknownNameError
        With the conditions that there are.
    """
    return look_up(ROUGHNESS, condition, kind="wall condition")

"""Pressure ratings of class-150 flanges against temperature.

A flange is seldom what limits a cargo system: the system as a whole is commonly rated 10 bar only (sometimes
7, 12, 15 or 16) in spite of its 19.6 bar flanges; common practice, from memory. A rating taken from here must
therefore not stand in for the rating of the system, and the output has to say so: ``SYSTEM_NOTE``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from surge.errors import SurgeError
from surge.model.lineup import Table
from surge.reference.rows import look_up, matching
from surge.units import ZERO_CELSIUS

SYSTEM_NOTE = (
    "the system is commonly rated only 10 bar (sometimes 7, 12, 15 or 16) in spite of its class 150 flanges "
    "(common practice, from memory): take the rating of the system where it is lower"
)


class OutsideTableError(SurgeError):
    """A temperature for which a table has no rating.

    Parameters
    ----------
    name : str
        Of the table.
    temperature, lowest, highest : float
        [K]
    """

    def __init__(self, name: str, *, temperature: float, lowest: float, highest: float) -> None:
        self.temperature, self.lowest, self.highest = temperature, lowest, highest
        super().__init__(
            f"{name}: no rating at {temperature - ZERO_CELSIUS:.4g} C, only from "
            f"{lowest - ZERO_CELSIUS:.4g} to {highest - ZERO_CELSIUS:.4g} C"
        )


@dataclass(frozen=True, kw_only=True)
class FlangeRating:
    """Rating of one material against temperature.

    Attributes
    ----------
    table : tuple of (temperature, rating)
        [K], [Pa gauge], in rising order of temperature, straight between the points.
    note : str
        What to know before it is used.
    """

    name: str
    material: str
    table: Table
    source: str
    status: str
    note: str = SYSTEM_NOTE

    @property
    def lowest(self) -> float:
        """Lowest temperature of the table [K]."""
        return self.table[0][0]

    @property
    def highest(self) -> float:
        """Highest temperature of the table [K]."""
        return self.table[-1][0]

    @property
    def validity(self) -> str:
        """Temperatures for which there is a rating, in words."""
        return f"{self.lowest - ZERO_CELSIUS:.4g} to {self.highest - ZERO_CELSIUS:.4g} C"

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"flange {self.name} {self.material} {self.source}"

    def at(self, temperature: float) -> float:
        """Return the rating [Pa gauge] at a temperature [K] within the table.

        Raises
        ------
        OutsideTableError
            Colder or hotter than the table (or no number).
        """
        for (t0, p0), (t1, p1) in pairwise(self.table):
            if t0 <= temperature <= t1:
                # Clipped: rounding must not lift the rating above the point it starts from.
                return min(max(p0 + (p1 - p0) * (temperature - t0) / (t1 - t0), p1), p0)
        raise OutsideTableError(self.name, temperature=temperature, lowest=self.lowest, highest=self.highest)


_CELSIUS = (-29.0, 38.0, 50.0, 100.0, 150.0, 200.0)


def _rating(name: str, material: str, bar: tuple[float, ...], **more: str) -> tuple[str, FlangeRating]:
    table = tuple((t + ZERO_CELSIUS, p * 1e5) for t, p in zip(_CELSIUS, bar, strict=True))
    return name, FlangeRating(name=name, material=material, table=table, **more)


CLASS_150: Mapping[str, FlangeRating] = MappingProxyType(
    dict(
        (
            _rating(
                "carbon steel",
                "ASTM A105",
                (19.6, 19.6, 19.2, 17.7, 15.8, 13.8),
                source="ASME B16.5 class 150, material group 1.1, as printed in a flange catalogue",
                status="read",
                note=SYSTEM_NOTE
                + "; the point at 200 C was read as 13.8 to 14.0, and the lower one is taken",
            ),
            _rating(
                "stainless steel 316",
                "material group 2.2",
                (19.0, 19.0, 18.4, 16.2, 14.8, 13.7),
                source="ASME B16.5 class 150, material group 2.2",
                status="from memory",
                note=SYSTEM_NOTE
                + "; a table that gives 19.6 bar for this group was seen and is not followed",
            ),
            _rating(
                "stainless steel 316L",
                "material group 2.3",
                (15.9, 15.9, 15.3, 13.3, 12.0, 11.2),
                source="ASME B16.5 class 150, material group 2.3",
                status="from memory",
            ),
        )
    )
)


def class_150_rating(material: str, *, temperature: float) -> float:
    """Return the class-150 rating of a flange [Pa gauge].

    Parameters
    ----------
    material : str
        A key of ``CLASS_150``.
    temperature : float
        Of the cargo [K].

    Returns
    -------
    float
        [Pa gauge]

    Raises
    ------
    UnknownNameError
        With the materials that there are.
    OutsideTableError
        Colder or hotter than the table: never extrapolated.

    Examples
    --------
    ASME B16.5 has 19.2 bar at 50 C and 17.7 at 100 C for carbon steel: half way is 18.45.

    >>> round(class_150_rating("carbon steel", temperature=273.15 + 75.0) / 1e5, 2)
    18.45
    """
    return look_up(CLASS_150, material, kind="flange material").at(temperature)


def search(text: str) -> list[FlangeRating]:
    """Return the flanges whose name, material or source has every word of ``text``."""
    return matching(CLASS_150.values(), text)

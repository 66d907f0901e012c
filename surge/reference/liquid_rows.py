"""The form of a row of the liquid catalogue, and the sources that several rows share.

The rows themselves stand in ``cargo_table_petroleum`` and ``cargo_table_chemicals``. A table is read down
against temperature: ``(temperature [C], density [kg/m3], sound speed [m/s], dynamic viscosity [mPa s], true
vapour pressure [Pa absolute])``, each figure one number or the lowest and the highest that is sold under the
name. These are units to proof-read in; :mod:`surge.reference.liquids` turns them into SI.

Density and sound speed are at one atmosphere, or at the vapour pressure where that is higher. Pressure
adds 0.4 to 0.5 m/s per bar to the sound speed of organic liquids and 0.17 m/s to that of water.
"""

from __future__ import annotations

from typing import NamedTuple

Figure = float | tuple[float, float]
Line = tuple[float, Figure, Figure, Figure, Figure]


class Said(NamedTuple):
    """Where the figures of one property come from: source, status and confidence."""

    source: str
    status: str
    confidence: str


class Row(NamedTuple):
    """One liquid; the fields are those of :class:`surge.reference.liquids.Cargo`."""

    name: str
    aliases: tuple[str, ...]
    family: str
    kind: str
    density: Said
    sound_speed: Said
    viscosity: Said
    vapour_pressure: Said
    static: tuple[bool | None, str]
    table: tuple[Line, ...]
    note: str = ""
    density_15: tuple[float, float] | None = None
    expansion: str = ""
    relation: bool = False


SUBSTANCE = "substance"
RANGE = "range of products"


def equation(of: str, confidence: str = "high") -> Said:
    """Figures of a published reference equation of state or correlation."""
    return Said(f"{of}; evaluated with CoolProp 8.0.0", "computed", confidence)


def perry(table: str, confidence: str = "medium") -> Said:
    """Figures of a correlation of Perry's handbook."""
    return Said(
        f"Perry's Chemical Engineers' Handbook, 8th edition (2008), {table}, evaluated with the coefficients "
        "as the open data of the Python library chemicals 1.5.2 has them",
        "computed",
        confidence,
    )


def memory(what: str, confidence: str) -> Said:
    """Figures from memory."""
    return Said(f"{what}, from memory", "from memory", confidence)


PERRY_DENSITY = perry("Table 2-32")
PERRY_VISCOSITY = perry("Table 2-313")
PERRY_VAPOUR = perry("Table 2-8")

_GUIDE = "as the international tanker safety guide and NFPA 77 sort liquids (50 pS/m), from memory"
STATIC: tuple[bool | None, str] = (True, f"accumulator: {_GUIDE}")
NOT_STATIC: tuple[bool | None, str] = (False, f"no accumulator: {_GUIDE}")
STATIC_UNKNOWN: tuple[bool | None, str] = (
    None,
    "not sure: conductivity differs by maker and additive; have it measured, or treat it as an accumulator",
)

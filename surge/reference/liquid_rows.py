"""Rows of the catalogue of liquids as its tables write them: read from TOML, checked, figures as numbers.

A table of ``surge/reference/tables`` has one ``[[liquid]]`` for each liquid. Its keys are the fields of
:class:`LiquidRow`, and a key that is not among them is refused: a misspelt ``relation`` must not drop the
relation in silence. Units are those to proof-read in; :mod:`surge.reference.liquids` turns them into SI.

The figures stand in a block of text and not in nested lists: so they can be read down against temperature,
and one text is parsed in a third of the time that some hundred lists take.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

FILES = ("liquids-petroleum.toml", "liquids-chemicals.toml", "liquids-vegetable.toml")  # as they are listed
PROPERTIES = ("density", "sound_speed", "viscosity", "vapour_pressure")  # columns of a table after the first
SUBSTANCE = "substance"
RANGE = "range of products"
KINDS = (SUBSTANCE, RANGE)
STATUSES = ("read", "computed", "read in part", "from memory")  # from the strongest to the weakest
CONFIDENCES = ("high", "medium", "low")
_GUIDE = "as the international tanker safety guide and NFPA 77 sort liquids (50 pS/m), from memory"
STATIC: Mapping[str, tuple[bool | None, str]] = MappingProxyType(
    {
        "accumulator": (True, f"accumulator: {_GUIDE}"),
        "no accumulator": (False, f"no accumulator: {_GUIDE}"),
        "not sure": (
            None,
            "not sure: conductivity differs by maker and additive; have it measured, or treat it as an "
            "accumulator",
        ),
    }
)


class Provenance(NamedTuple):
    """Where the figures of one property come from.

    Attributes
    ----------
    source : str
    status : str
        One of :data:`STATUSES`.
    confidence : str
        One of :data:`CONFIDENCES`; :data:`surge.reference.liquids.DOUBTS` says what each stands for.
    """

    source: str
    status: str
    confidence: str


class PropertyColumn(NamedTuple):
    """One property against temperature, in the unit of the table.

    Attributes
    ----------
    low, high : tuple of float, shape (n,)
        Lowest and highest that is sold under the name; equal for a substance.
    provenance : Provenance
    """

    low: tuple[float, ...]
    high: tuple[float, ...]
    provenance: Provenance


class LiquidRow(NamedTuple):
    """One liquid; the fields that are not told here are those of :class:`surge.reference.liquids.Cargo`.

    Attributes
    ----------
    static : str
        A key of :data:`STATIC`.
    temperatures : tuple of float, shape (n,)
        [C], rising.
    density, sound_speed, viscosity, vapour_pressure : PropertyColumn
        [kg/m3], [m/s], dynamic [mPa s], true [Pa absolute].
    """

    name: str
    aliases: tuple[str, ...]
    family: str
    kind: str
    static: str
    temperatures: tuple[float, ...]
    density: PropertyColumn
    sound_speed: PropertyColumn
    viscosity: PropertyColumn
    vapour_pressure: PropertyColumn
    note: str = ""
    density_15: tuple[float, float] | None = None
    expansion: str = ""
    relation: bool = False


class LiquidFile(NamedTuple):
    """A table as it was read.

    Attributes
    ----------
    rows : tuple of LiquidRow
    sources : mapping of str to Provenance
        What several of its rows share, by name.
    """

    rows: tuple[LiquidRow, ...]
    sources: Mapping[str, Provenance]


@cache
def table(file: str) -> LiquidFile:
    """Return one of :data:`FILES`; it is read once."""
    path = Path(__file__).with_name("tables") / file
    return read(path.read_text(encoding="utf-8"), where=file)


def read(text: str, *, where: str) -> LiquidFile:
    """Return a table from its text.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        Name of the file, for the message.

    Raises
    ------
    ValueError
        A row lacks a key, has one that is unknown, or its figures, status, confidence or kind are none that
        the catalogue knows: the program's own table is damaged, and nothing may be computed from it.
    """
    data = tomllib.loads(text)
    row = "[sources]"
    try:
        shared = {name: _provenance(given) for name, given in data.get("sources", {}).items()}
        rows = []
        for given in data["liquid"]:
            row = given.get("name", "a liquid without a name")
            rows.append(_row(given, shared))
    except (KeyError, TypeError, ValueError) as error:
        message = f"{where}: {row}: {error}"
        raise ValueError(message) from error
    return LiquidFile(tuple(rows), MappingProxyType(shared))


def _row(given: Mapping[str, Any], shared: Mapping[str, Provenance]) -> LiquidRow:
    fields = dict(given)
    kind, static = fields["kind"], fields["static"]
    _known("kind", kind, KINDS)
    _known("static", static, tuple(STATIC))
    temperatures, *ends = _figures(fields.pop("table"), pairs=kind == RANGE)
    for name, (low, high) in zip(PROPERTIES, ends, strict=True):
        said = fields[name]
        fields[name] = PropertyColumn(low, high, shared[said] if isinstance(said, str) else _provenance(said))
    fields["aliases"] = tuple(fields["aliases"])
    if "density_15" in fields:
        light, heavy = map(float, fields["density_15"])
        fields["density_15"] = (light, heavy)
    return LiquidRow(temperatures=temperatures[0], **fields)


def _figures(block: str, *, pairs: bool) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Return low and high of every column of a block, the temperatures first and twice."""
    lines = [tuple(map(float, line.split())) for line in block.splitlines()]
    width = 1 + len(PROPERTIES) * (2 if pairs else 1)
    if len(lines) < 2 or any(len(line) != width for line in lines):
        raise ValueError(f"a table has two lines or more of {width} figures each")
    if not all(cold[0] < warm[0] for cold, warm in pairwise(lines)):
        raise ValueError("the temperatures of a table rise")
    columns = list(zip(*lines, strict=True))
    lows, highs = (columns[1::2], columns[2::2]) if pairs else (columns[1:], columns[1:])
    return [(columns[0], columns[0]), *zip(lows, highs, strict=True)]


def _provenance(given: Mapping[str, str]) -> Provenance:
    provenance = Provenance(**given)
    if not provenance.source:
        raise ValueError("a source is not empty")
    _known("status", provenance.status, STATUSES)
    _known("confidence", provenance.confidence, CONFIDENCES)
    return provenance


def _known(what: str, given: str, known: tuple[str, ...]) -> None:
    if given not in known:
        raise ValueError(f"{what} {given!r} is not one of {'; '.join(known)}")

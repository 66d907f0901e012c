"""What the program knows by name: liquids, pipes, hoses, valves, rules of the trade; with sources."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from surge import __version__
from surge.api.answers import Answer, Json, data
from surge.arguments import Measure, Number, checked, si
from surge.choices import KnownKind
from surge.reports.table_rows import Section
from surge.reports.tables import list_document, list_lines, searched, sections_of
from surge.rules.reading import built_in, load_rules

STANDARD = 288.15  # [K] 15 degrees Celsius, at which cargoes are traded
CARRIED = Measure(  # [K] at which a cargo can be carried at all
    dimension="temperature",
    least=73.15,
    most=573.15,
    wanted="no cargo is carried at that; write one from -200 to 300 degC",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Known(Answer):
    """Rows of the tables that the program has.

    Attributes
    ----------
    kind : str
        What was listed: "liquids", "pipes" ...
    words : tuple of str
        The words that were searched for; every row listed has all of them.
    sections : tuple of Section
        The tables, with the rows that were found; empty where there are none.
    """

    kind: str
    words: tuple[str, ...]
    sections: tuple[Section, ...]

    def text(self) -> str:
        """Return the tables as text, with the source of every row."""
        return "\n".join(list_lines(self.sections))

    def document(self) -> Json:
        """Return the rows as plain data (``surge schema list``)."""
        return data(list_document(self.sections, kind=self.kind, words=self.words, version=__version__))


@checked
def list_known(
    kind: KnownKind,
    words: Sequence[str] = (),
    *,
    temperature: Annotated[Number, CARRIED] = STANDARD,
    rules: str | Path | None = None,
) -> Known:
    """List what the program knows by name, with sources, as ``surge list`` does.

    Parameters
    ----------
    kind : {"liquids", "pipes", "hoses", "valves", "rules"}
        What to list. "pipes" are sizes, materials, restraints, roughness, flanges and fittings.
    words : sequence of str
        List only rows that have all of these words; by default every row.
    temperature : number
        Temperature of the liquids [K]; a liquid that is not known there is listed at the nearest one that is.
    rules : str or Path, optional
        A file of rules, to be listed with the program's own.

    Returns
    -------
    Known
        ``sections`` are tables; a row has ``cells`` as printed, and ``record`` in SI with source, status and
        range.

    Raises
    ------
    CaseError
        The file of rules has faults.
    ArgumentError
        An argument that is not what it should be: no such kind; a temperature at which no cargo is carried.

    Examples
    --------
    >>> import surge
    >>> found = surge.list_known("liquids", ["benzene"], temperature=293.15)
    >>> [row.record.name for section in found.sections for row in section.rows]
    ['benzene']
    >>> row = found.sections[0].rows[0].record
    >>> round(row.density_kg_per_m3.typical), round(row.sound_speed_m_per_s.typical)
    (879, 1326)
    """
    kelvin = si("temperature", temperature, dimension="temperature")
    book = built_in() if rules is None else load_rules(rules)
    found = searched(sections_of(kind, book=book, temperature=kelvin), " ".join(words))
    return Known(kind=kind, words=tuple(words), sections=tuple(found))

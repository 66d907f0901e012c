"""What the program knows by name: liquids, pipes, hoses, valves, rules of the trade; with sources."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from surge import __version__
from surge.api.answers import Answer, Json, data
from surge.api.inputs import of_file, si
from surge.reports.table_rows import Section
from surge.reports.tables import list_document, list_lines, searched, sections_of
from surge.rules.reading import built_in, load_rules

if TYPE_CHECKING:
    from surge.api.inputs import Number

STANDARD = 288.15  # [K] 15 degrees Celsius, at which cargoes are traded
TEMPERATURES = (73.15, 573.15)  # [K] at which a cargo can be carried at all


@dataclass(frozen=True, kw_only=True, eq=False)
class Known(Answer):
    """Rows that the program knows.

    Attributes
    ----------
    kind : str
    words : tuple of str
        Only rows with all of them.
    sections : tuple of Section
        Tables; empty where no row has the words.
    """

    kind: str
    words: tuple[str, ...]
    sections: tuple[Section, ...]

    def text(self) -> str:
        """Return the tables to read."""
        return "\n".join(list_lines(self.sections))

    def document(self) -> Json:
        """Return the rows as plain data (``surge schema list``)."""
        return data(list_document(self.sections, kind=self.kind, words=self.words, version=__version__))


def temperature_fits(kelvin: float) -> bool:
    """Whether a cargo can be carried at a temperature [K]."""
    return TEMPERATURES[0] <= kelvin <= TEMPERATURES[1]


def list_known(
    kind: Literal["liquids", "pipes", "hoses", "valves", "rules"],
    words: Sequence[str] = (),
    *,
    temperature: Number = STANDARD,
    rules: str | Path | None = None,
) -> Known:
    """List what the program knows by name, with sources, as ``surge list`` does.

    Parameters
    ----------
    kind : {"liquids", "pipes", "hoses", "valves", "rules"}
        Pipes with their sizes, walls, roughness, flanges and fittings.
    words : sequence of str
        Only rows that have all of them.
    temperature : number
        At which liquids are shown [K].
    rules : str or Path, optional
        A file of rules to list with the program's.

    Raises
    ------
    CaseError
        Faults of the file of rules.
    ValueError
        A temperature at which no cargo is carried.

    Examples
    --------
    >>> import surge
    >>> [section.rows[0].cells[0] for section in surge.list_known("liquids", ["benzene"]).sections]
    ['benzene']
    """
    kelvin = si("temperature", temperature, dimension="temperature")
    if not temperature_fits(kelvin):
        raise ValueError(
            f"temperature {kelvin:g} K: no cargo is carried at that; write one from -200 to 300 degC"
        )
    if rules is None:
        book = built_in()
    else:
        with of_file(rules):
            book = load_rules(rules)
    found = searched(sections_of(kind, book=book, temperature=kelvin), " ".join(words))
    return Known(kind=kind, words=tuple(words), sections=tuple(found))

"""The tables of ``surge list``: chosen by kind, searched for words, as text and as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from surge.reference.rows import matching
from surge.reports.document import Program
from surge.reports.layout import LINE, paragraph, table
from surge.reports.table_pipes import pipe_sections
from surge.reports.table_rows import (
    Section,
    hose_sections,
    liquid_sections,
    rule_sections,
    valve_sections,
)
from surge.reports.tables_json import ListDocument
from surge.rules.book import RuleBook

WIDEST = LINE + 20  # columns: these tables have many


def sections_of(kind: str, *, book: RuleBook, temperature: float) -> list[Section]:
    """Return everything of one kind.

    Parameters
    ----------
    kind : str
        One of :data:`surge.reports.tables_json.KINDS`.
    book : RuleBook
        The rules to list.
    temperature : float
        At which liquids are shown [K]; nearest to it in their range.
    """
    make: Mapping[str, Callable[[], list[Section]]] = {
        "liquids": lambda: liquid_sections(temperature),
        "pipes": pipe_sections,
        "hoses": hose_sections,
        "valves": valve_sections,
        "rules": lambda: rule_sections(book),
    }
    return make[kind]()


def searched(sections: Iterable[Section], text: str) -> list[Section]:
    """Return the rows in which every word of ``text`` stands somewhere; sections without one are left out."""
    if not text.strip():
        return list(sections)
    found = []
    for section in sections:
        named = {
            id(row): replace(row, words=" ".join((*row.cells, row.words, row.source, row.validity)))
            for row in section.rows
        }
        kept = {id(seen) for seen in matching(named.values(), text)}
        rows = tuple(row for row in section.rows if id(named[id(row)]) in kept)
        if rows:
            found.append(replace(section, rows=rows))
    return found


def list_lines(sections: Iterable[Section]) -> list[str]:
    """Return the tables as text; a number in each row leads to its source below the table."""
    out: list[str] = []
    for section in sections:
        sources = list(dict.fromkeys((r.source, r.status, r.validity, r.more) for r in section.rows))
        rows = []
        for row in section.rows:
            number = sources.index((row.source, row.status, row.validity, row.more)) + 1
            rows.append((*row.cells, f"[{number}]"))
        out += [*([""] if out else []), paragraph(section.title), ""]
        out += table((*section.head, "source"), rows, left=section.left, widest=WIDEST)
        for k, (source, status, validity, more) in enumerate(sources, start=1):
            words = source if status in source else f"{source} ({status})"
            text = f"{more} [{words}]" if more else f"{words}; holds for: {validity}"
            out.append(paragraph(text, indent="      ", first=f"  [{k}] "))
    return out


def list_document(
    sections: Iterable[Section], *, kind: str, words: Sequence[str], version: str
) -> ListDocument:
    """Return the tables as a document.

    Parameters
    ----------
    sections : iterable of Section
    kind : str
        One of :data:`surge.reports.tables_json.KINDS`.
    words : sequence of str
        What was searched for.
    version : str
        Of the program.
    """
    return ListDocument(
        program=Program(version=version),
        kind=kind,
        words=tuple(words),
        sections=tuple(section.as_listed() for section in sections),
    )

"""The program's tables as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from surge.reports.catalogue import Section
from surge.reports.text import table
from surge.reports.words import LINE, paragraph

SCHEMA_VERSION = 1
WIDEST = LINE + 20  # columns: these tables have many


def list_lines(sections: Iterable[Section]) -> list[str]:
    """Tables, each with the sources of its rows below; a number tells which row has which."""
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
) -> dict[str, Any]:
    """Return the tables as plain lists and dicts.

    Parameters
    ----------
    sections : iterable of Section
    kind : str
        "liquids", "pipes", "hoses", "valves" or "rules".
    words : sequence of str
        What was searched for.
    version : str
        Of the program.
    """
    return {
        "schema_version": SCHEMA_VERSION,
        "program": {"name": "surge", "version": version},
        "kind": kind,
        "words": list(words),
        "sections": [
            {
                "name": section.name,
                "title": section.title,
                "rows": [
                    r.record | {"source": r.source, "status": r.status, "validity": r.validity}
                    for r in section.rows
                ],
            }
            for section in sections
        ],
    }

"""Names that a field of a case may take from the program's tables, each with what it means and its source."""

from __future__ import annotations

from functools import cache
from typing import Any

from surge.api.known import list_known
from surge.choices import KnownKind

# Table of the program -> field of its rows -> which key of which table of a case takes it.
_TAKEN: tuple[tuple[KnownKind, str, str, tuple[str, ...]], ...] = (
    ("liquids", "Liquids", "name", ("liquid.cargo",)),
    ("pipes", "Sizes", "size", ("pipe.size", "arm.size")),
    ("pipes", "Sizes", "schedule", ("pipe.schedule", "arm.schedule")),
    ("pipes", "Conditions", "name", ("pipe.condition", "arm.condition", "hose.condition")),
    ("pipes", "Flanges", "name", ("pipe.flange", "arm.flange")),
    ("hoses", "Hoses", "name", ("hose.type",)),
    ("valves", "Kvs", "type", ("valve.type",)),
    ("valves", "Kvs", "size", ("valve.size",)),
)
LONGEST = 160  # characters of a source that a page shows beside a name


@cache
def names_of_fields() -> dict[str, list[dict[str, str]]]:
    """Return for each field, such as "liquid.cargo", its names: ``value``, ``hint`` and ``source``."""
    found: dict[str, list[dict[str, str]]] = {}
    for kind, table, field, keys in _TAKEN:
        for section in list_known(kind).sections:
            if section.listed.__name__ != table:
                continue
            listed: dict[str, dict[str, str]] = {}
            for row in section.rows:
                record: Any = row.record
                value = str(getattr(record, field))
                told = [f"{h} {c}" for h, c in zip(section.head[1:5], row.cells[1:5], strict=False) if c]
                hint = "; ".join(told) if field == "name" else ""
                source = f"{record.source} ({record.status})"
                shown = source if len(source) <= LONGEST else f"{source[:LONGEST]}..."
                listed.setdefault(value, {"value": value, "hint": hint, "source": shown})
            for key in keys:
                found[key] = list(listed.values())
    return found

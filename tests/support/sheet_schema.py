"""The schema of the sheet's JSON, made from its dataclasses; ``python tests/sheet_schema.py`` writes it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from surge.sheet.data import Sheet

PATH = Path(__file__).parents[2] / "surge" / "schema" / "sheet.schema.json"
HEAD = {
    "schema_version": {"const": 1},
    "kind": {"const": "sheet"},
    "program": {
        "type": "object",
        "required": ["name", "version"],
        "properties": {"name": {"const": "surge"}, "version": {"type": "string"}},
        "additionalProperties": False,
    },
    "case": {
        "type": "object",
        "required": ["file", "sha256"],
        "properties": {"file": {"type": "string"}, "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"}},
        "additionalProperties": False,
    },
}


def made() -> dict[str, Any]:
    """Return the schema: the dataclass, with program and case in the head as in every answer."""
    schema = TypeAdapter(Sheet).json_schema()
    own = {k: v for k, v in schema["properties"].items() if k not in ("version", "case_file", "sha256")}
    own["verdict"] = {"enum": ["limit kept", "limit exceeded", "cannot be decided"]}
    own["exit_code"] = {"enum": [0, 3, 4]}
    # A refused case and one that gives no answer print the documents of `surge schema result`.
    return _strict(
        {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": "surge sheet, schema 1",
            "description": "Figures as printed, with SI values beside them; keys carry unit and reference.",
            "type": "object",
            "properties": HEAD | own,
            "required": [*HEAD, *own],
            "$defs": schema["$defs"],
        }
    )


def _strict(item: Any) -> Any:
    """Drop titles, descriptions of classes and defaults; nothing beside what is listed, and all of it."""
    if isinstance(item, list):
        return [_strict(child) for child in item]
    if not isinstance(item, dict):
        return item
    kept = {
        k: _strict(v)
        for k, v in item.items()
        if not (k == "title" and isinstance(v, str) and "properties" not in v and not v.startswith("surge"))
        and not (k == "description" and isinstance(v, str) and not v.startswith("Figures"))
        and k != "default"
    }
    if "properties" in kept:
        kept["additionalProperties"] = False
        kept["required"] = list(kept["properties"])
    return kept


def text() -> str:
    """The schema as it stands in the file."""
    return json.dumps(made(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8")

"""The JSON Schemas of files and answers, made from the types that the program itself uses.

``python -m surge.schemas`` writes the files of ``surge/schema``; with a name, such as ``sheet``, it prints
one. A test compares every file with what is made here.

How a type becomes a schema
---------------------------
* An answer is a frozen dataclass of :class:`surge.reports.document.JsonObject`; so is every object in it.
  Its fields are the keys, in their order. ``tuple[X, ...]`` and ``Sequence[X]`` are arrays,
  ``Mapping[str, X]`` is an object with free keys, ``X | None`` may be null.
* The first paragraph of a class's docstring describes the object. A docstring below a field describes the
  key; it is not read for fields that a class inherits.
* All keys are required and no others allowed. A key may be missing where the default of its field is None:
  :func:`surge.reports.document.as_json` then leaves it out, so that it is never null.
* Words that are always the same are ``Literal``. Words that the model has as constants, patterns and bounds
  are stated by ``Annotated[X, Demand(enum=...)]``, see :class:`surge.reports.document.Demand`.
* A command with several documents (an answer, a refused case, no answer) has a union: exactly one fits.
* The type goes into ``ANSWERS`` below, with the title and the description of the whole. Files that are read
  (``FILES``) have schemas from the pydantic models that read them.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from surge.case.file import case_schema
from surge.records.limits_schema import limits_schema
from surge.reports.chart_json import ChartDocument
from surge.reports.check_json import CheckDocument
from surge.reports.compare_json import CompareDocument
from surge.reports.document import NoAnswer, RefusedCase
from surge.reports.fillings_json import FillingDocument
from surge.reports.fit_json import FitDocument, TraceRefused
from surge.reports.forces_json import ForcesDocument
from surge.reports.measured_json import CurveRefused, MeasuredDocument
from surge.reports.proof_json import VerifyDocument
from surge.reports.records_json import RecordsDocument, RecordsRefused
from surge.reports.study_json import StudyDocument
from surge.reports.tables_json import ListDocument
from surge.reports.window_json import WindowDocument
from surge.rules.schema import rules_schema
from surge.sheet.data import Sheet
from surge.studies.schema import study_schema

FOLDER = Path(__file__).parent / "schema"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
SI = "SI units throughout; every key carries its unit and reference. Pressures are gauge."
FILES: dict[str, Callable[[], dict[str, Any]]] = {
    "case": case_schema,
    "rules": rules_schema,
    "limits": limits_schema,
    "study": study_schema,
}
ANSWERS: dict[str, tuple[str, str, Any]] = {
    "result": ("Result of surge check --json, schema 1", SI, CheckDocument | RefusedCase | NoAnswer),
    "window": ("surge window, answer 1", SI, WindowDocument | RefusedCase | NoAnswer),
    "chart": ("Result of surge chart --json, schema 1", SI, ChartDocument | RefusedCase | NoAnswer),
    "compare": ("Result of surge compare --json, schema 1", SI, CompareDocument | RefusedCase | NoAnswer),
    "forces": ("surge forces, answer 1", SI, ForcesDocument | RefusedCase | NoAnswer),
    "filling": ("surge filling, answer 1", SI, FillingDocument | RefusedCase | NoAnswer),
    "fit": ("surge fit, answer 1", SI, FitDocument | TraceRefused | RefusedCase | NoAnswer),
    "study-result": ("surge study, answer 1", SI, StudyDocument | RefusedCase | NoAnswer),
    "sheet": (
        "surge sheet, schema 1",
        "Figures as printed, with SI values beside them; keys carry unit and reference.",
        Sheet | RecordsRefused | RefusedCase | NoAnswer,
    ),
    "list": (
        "surge list, answer 1",
        "Tables of what the program knows by name; keys carry unit and reference.",
        ListDocument | RefusedCase,
    ),
    "records": (
        "surge records, answer 1",
        "Stroke-time tests held against limits; times in seconds, days and times of day local.",
        RecordsDocument | RecordsRefused | RefusedCase | NoAnswer,
    ),
    "measured": (
        "surge records --curve, answer 1",
        SI,
        MeasuredDocument | CurveRefused | RefusedCase | NoAnswer,
    ),
    "verify": (
        "surge verify, answer 1",
        "Checks of the program against figures from outside it.",
        VerifyDocument,
    ),
}
NAMES = (*FILES, *ANSWERS)


def schema_of(name: str) -> dict[str, Any]:
    """Return a schema: of the files, or of the answer, of that name."""
    if name in FILES:
        return FILES[name]()
    title, description, kind = ANSWERS[name]
    made = schema_of_type(kind)
    made.pop("description", "")
    return {"$schema": DIALECT, "title": title, "description": description} | made


def schema_of_type(kind: Any) -> dict[str, Any]:
    """Return the schema of one type, or of a union of documents of which exactly one fits."""
    made = _strict(TypeAdapter(kind).json_schema(mode="serialization"))
    if "anyOf" in made:
        made = {"oneOf": made.pop("anyOf")} | made
    return _named(made)


def _named(schema: dict[str, Any]) -> dict[str, Any]:
    """Name the parts without the "Json" by which their classes are told from those of the model."""
    names = {name: name.removesuffix("Json") for name in schema.get("$defs", ())}
    if len(set(names.values())) < len(names):
        raise ValueError(f"two parts of one name: {', '.join(sorted(names))}")

    def renamed(item: Any) -> Any:
        if isinstance(item, list):
            return [renamed(child) for child in item]
        if not isinstance(item, dict):
            return item
        return {
            key: f"#/$defs/{names[child.removeprefix('#/$defs/')]}" if key == "$ref" else renamed(child)
            for key, child in item.items()
        }

    made: dict[str, Any] = renamed(schema)
    if names:
        made["$defs"] = {names[name]: part for name, part in made["$defs"].items()}
    return made


def _strict(item: Any) -> Any:
    """Demand all keys of every object and no others; drop titles that only repeat a name, and defaults."""
    if isinstance(item, list):
        return [_strict(child) for child in item]
    if not isinstance(item, dict):
        return item
    made = {
        key: _strict(child) for key, child in item.items() if key not in ("title", "default", "properties")
    }
    if isinstance(item.get("description"), str):
        made["description"] = _first_paragraph(item["description"])
    if "properties" not in item:
        return made
    keys = item["properties"]
    missing = {name for name, key in keys.items() if key.get("default", "") is None}
    made["properties"] = {n: _strict(_never_null(key) if n in missing else key) for n, key in keys.items()}
    made["required"] = [name for name in keys if name not in missing]
    made["additionalProperties"] = False
    first = ("type", "description", "properties", "required", "additionalProperties")
    return {key: made[key] for key in first if key in made} | made


def _never_null(key: dict[str, Any]) -> dict[str, Any]:
    """A key that is left out instead of being null."""
    kinds = [kind for kind in key["anyOf"] if kind != {"type": "null"}]
    rest = {k: v for k, v in key.items() if k != "anyOf"}
    return rest | (kinds[0] if len(kinds) == 1 else {"anyOf": kinds})


def _first_paragraph(docstring: str) -> str:
    return " ".join(docstring.split("\n\n")[0].split()).replace("``", '"')


def text_of(name: str) -> str:
    """Return a schema as it stands in its file."""
    return json.dumps(schema_of(name), indent=1, ensure_ascii=False) + "\n"


def path_of(name: str) -> Path:
    """Return where a schema stands."""
    return FOLDER / f"{name}.schema.json"


if __name__ == "__main__":
    if wanted := sys.argv[1:]:
        sys.stdout.write("".join(text_of(name) for name in wanted))
    else:
        for name in NAMES:
            path_of(name).write_text(text_of(name), encoding="utf-8")

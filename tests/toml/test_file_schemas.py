"""Schemas of files of rules and limits: an editor that knows them marks what the program would refuse."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support.inputs.fuzzing import LIMITED, made

from surge.errors import CaseError
from surge.records.limits_file import read_limits
from surge.records.limits_schema import limits_schema
from surge.rules.reading import BUILT_IN, built_in, read_rules, rules_in
from surge.rules.schema import rules_schema

CASES = Path(__file__).parents[2] / "cases"
BERTH = (CASES / "rules" / "product-berth.toml").read_text(encoding="utf-8")
LIMITS = (CASES / "records" / "limits.toml").read_text(encoding="utf-8")
BOOK = BUILT_IN.read_text(encoding="utf-8")
SCHEMAS = {"rules": rules_schema(), "limits": limits_schema()}
READERS: dict[str, Any] = {"rules": read_rules, "limits": lambda text: read_limits(text, filename="x.toml")}


def faults(kind: str, text: str) -> list[Any]:
    return list(jsonschema.Draft202012Validator(SCHEMAS[kind]).iter_errors(tomllib.loads(text)))


@pytest.mark.parametrize(
    ("kind", "text"),
    [("rules", BERTH), ("rules", BOOK), ("rules", ""), ("limits", LIMITS), ("limits", LIMITED.decode())],
    ids=["berth", "built-in", "empty", "demo", "bounds"],
)
def test_sound_files_keep_their_schema(kind: str, text: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[kind])
    assert faults(kind, text) == []


@pytest.mark.parametrize(
    ("kind", "old", "new"),
    [
        ("rules", "[[rule]]", "[[rules]]"),
        ("rules", 'figure = "70 s"', 'figure = "70 bar"'),
        ("rules", 'figure = "70 s"', "figure = 70"),
        ("rules", 'figure = "70 s"', ""),
        ("rules", 'compare = "at most"', 'compare = "<="'),
        ("rules", 'requirement = "required"', 'requirement = "mandatory"'),
        ("rules", "authority = ", "autority = "),
        ("rules", 'status = "read"', ""),
        ("rules", 'status = "read"', 'status = "read"\nreason = "why"'),
        ("rules", '"signal", ', '"signl", '),
        ("rules", "counts = [", "conditions = ["),
        ("rules", 'applies = "a shutdown is in the case"', 'applies = "hoses"'),
        ("rules", 'measure = "total shutdown time"', 'measure = "velocity"'),
        ("rules", 'id = "berth-shutdown-time"', 'id = "Our rule!"'),
        ("rules", "reason = ", "figure = 1\nreason = "),
        ("rules", 'requirement = "off"', ""),
        ("rules", 'id = "total-shutdown-time"', ""),
        ("limits", "schema = 1", ""),
        ("limits", "schema = 1", "schema = 2"),
        ("limits", "[[valve]]", "[[valves]]"),
        ("limits", 'tags = ["X1", "X2"]', 'tags = "X1"'),
        ("limits", 'tags = ["X1", "X2"]', "tags = []"),
        ("limits", 'tags = ["X1", "X2"]', ""),
        ("limits", 'slowest_closing = "40 s"', 'slowest_closing = "40 bar"'),
        ("limits", 'slowest_closing = "40 s"', 'slowest_closng = "40 s"'),
        ("limits", 'slowest_closing = "40 s"', "slowest_closing = 40"),
        ("limits", "source = ", "note = "),
        ("limits", '"order to indicator"', '"order"'),
        ("limits", "shares_power = true", 'shares_power = "yes"'),
        ("limits", '"12 months"', '"half a year"'),
        ("limits", '["15 degC", "50 degC"]', '["15 degC"]'),
        ("limits", '["15 degC", "50 degC"]', '["15", "50"]'),
    ],
)
def test_damaged_files_do_not(kind: str, old: str, new: str) -> None:
    text = {"rules": BERTH, "limits": LIMITS}[kind]
    assert old in text
    damaged = text.replace(old, new)
    assert faults(kind, damaged)
    with pytest.raises(CaseError):
        READERS[kind](damaged)


def test_what_the_reader_takes_the_schema_takes() -> None:
    taken = {"rules": 0, "limits": 0}
    for number in range(800):
        kind, content = made(31, number, ("rules", "limits"))
        try:
            text = content.decode("utf-8").removeprefix("\ufeff")
            READERS[kind](text)
        except (CaseError, UnicodeDecodeError):
            continue
        taken[kind] += 1
        assert faults(kind, text) == [], number
    assert min(taken.values()) > 20


def test_the_built_in_rules_are_what_the_models_read() -> None:
    """The program makes rules of its own table without the models, which take their time to load."""
    rules, found = rules_in(tomllib.loads(BOOK), base=None)
    assert found == []
    assert rules == built_in().rules

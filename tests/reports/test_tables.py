"""`surge list`: everything that the program knows by name, with its source."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from support.documents import hold_to_schema

from surge.cli.main import main
from surge.reports.tables import list_document, sections_of
from surge.reports.tables_json import KINDS
from surge.rules.reading import built_in

ROOT = Path(__file__).parents[1].parent
SCHEMA = json.loads((ROOT / "surge" / "schema" / "list.schema.json").read_text(encoding="utf-8"))


def run(*args: str) -> Result:
    return CliRunner().invoke(main, ["list", *args])


def document(*args: str) -> dict[str, Any]:
    got = run(*args, "--json")
    assert got.exit_code == 0, got.output
    made: dict[str, Any] = json.loads(got.stdout)
    jsonschema.validate(made, SCHEMA)
    return made


@pytest.mark.parametrize("kind", KINDS)
def test_every_row_has_a_source_a_status_and_a_range(kind: str) -> None:
    sections = sections_of(kind, book=built_in(), temperature=288.15)
    rows = [row for section in sections for row in section.rows]
    assert rows
    for row in rows:
        assert row.source.strip(), row.cells
        assert row.status.strip(), row.cells
        assert row.validity.strip(), row.cells
    for section in sections:
        assert all(len(row.cells) == len(section.head) for row in section.rows)


@pytest.mark.parametrize("kind", KINDS)
def test_json_keeps_to_its_schema_and_text_tells_the_same_rows(kind: str) -> None:
    made = document(kind)
    assert made["kind"] == kind
    text = run(kind).stdout
    for section in made["sections"]:
        assert section["rows"]
    assert max(len(line) for line in text.split("\n")) <= 120
    assert "[1]" in text


@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_answer_is_refused(kind: str) -> None:
    sections = sections_of(kind, book=built_in(), temperature=288.15)
    hold_to_schema(list_document(sections, kind=kind, words=("a", "b"), version="1"), "list")


def test_there_are_forty_cargoes_and_more() -> None:
    (section,) = document("liquids")["sections"]
    assert len(section["rows"]) >= 40


def test_all_words_have_to_be_there() -> None:
    (section,) = document("liquids", "alcohol")["sections"]
    names = [row["name"] for row in section["rows"]]
    assert "methanol" in names
    assert "water" not in names
    (section,) = document("valves", "butterfly", "10 inch")["sections"]
    assert {row["type"] for row in section["rows"]} == {"butterfly"}
    (section,) = document("rules", "shutdown", "total", "IGC")["sections"]
    assert [row["id"] for row in section["rows"]] == ["total-shutdown-time"]


def test_nothing_found_is_said_and_is_no_fault() -> None:
    got = run("liquids", "unobtainium")
    assert (got.exit_code, got.stdout) == (0, "")
    assert "unobtainium" in got.stderr
    assert document("liquids", "unobtainium")["sections"] == []


def test_liquids_at_another_temperature() -> None:
    def sound(*args: str) -> float:
        (section,) = document("liquids", "methanol", *args)["sections"]
        row = next(r for r in section["rows"] if r["name"] == "methanol")
        return float(row["sound_speed_m_per_s"]["typical"])

    assert sound("--temperature", "30 degC") < sound() < sound("--temperature", "0 degC")


def test_a_temperature_beyond_the_range_is_shown_at_its_end() -> None:
    (section,) = document("liquids", "bitumen")["sections"]
    row = section["rows"][0]
    assert row["temperature_k"] == row["temperature_range_k"][0] > 300.0


@pytest.mark.parametrize("text", ["30", "30 bar", "thirty"])
def test_a_bad_temperature_is_refused(text: str) -> None:
    got = run("liquids", "--temperature", text)
    assert got.exit_code == 2
    assert "temperature" in got.stderr


def test_rules_of_a_file_stand_beside_the_programs() -> None:
    path = str(ROOT / "cases" / "rules" / "product-berth.toml")
    (section,) = document("rules", "--rules", path)["sections"]
    rows = {row["id"]: row for row in section["rows"]}
    assert rows["total-shutdown-time"]["requirement"] == "off"
    assert "gas carriers" in rows["total-shutdown-time"]["reason"]
    assert rows["berth-shutdown-time"]["figure"] == "70 s"


def test_a_bad_file_of_rules_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text('[[rule]]\nid = "total-shutdown-time"\nrequirement = "of"\n', encoding="utf-8")
    got = run("rules", "--rules", str(path))
    assert got.exit_code == 2
    assert "own.toml" in got.stderr
    assert "requirement" in got.stderr
    assert "Traceback" not in got.output


def test_unknown_kind() -> None:
    assert run("ropes").exit_code == 2

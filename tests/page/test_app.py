"""What the server answers on cases and their texts; hostile and bad input in every field."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

import surge
from surge.case.file import load_case
from surge.page.folder import Folder

NAME = "berth.toml"
TEXT = surge.new_case(arms=2, tanks=2)
HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "${alert(1)}",
    "' or 1=1 --",
    "a\u202eb",
    "=cmd|'/c'!A1",
]


def ask(client: TestClient, what: str, status: int = 200, **given: Any) -> Any:
    answer = client.post(f"/api/{what}", json=given)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_the_start_says_what_there_is(client: TestClient, folder: Folder) -> None:
    found = ask(client, "start")
    assert found["cases"] == [NAME]
    assert found["case"] == NAME
    assert found["folder"] == str(folder.path)
    assert "length" in found["schema"]["$defs"]["Pipe"]["properties"]
    cargo = {row["value"]: row for row in found["known"]["liquid.cargo"]}
    assert "gas oil" in cargo
    assert all(row["source"] for rows in found["known"].values() for row in rows)
    fields = {f"{kind}.{key}" for kind in found["known"] for kind, key in [kind.split(".")]}
    assert fields == set(found["known"])


def test_every_field_with_names_is_a_key_of_its_table(client: TestClient) -> None:
    found = ask(client, "start")
    tables = {"arm": "Pipe", "pipe": "Pipe", "hose": "Hose", "valve": "Valve", "liquid": "Liquid"}
    for field, rows in found["known"].items():
        kind, key = field.split(".")
        assert key in found["schema"]["$defs"][tables[kind]]["properties"]
        assert rows


def test_a_case_is_opened_changed_saved_and_read_back(client: TestClient, folder: Folder) -> None:
    opened = ask(client, "open", name=NAME)
    assert opened == {"name": NAME, "text": TEXT, "sha256": opened["sha256"], "drafts": []}
    change = {"do": "set", "path": ["rate", "agreed"], "value": "500 m3/h"}
    seen = ask(client, "edit", name=NAME, text=TEXT, changes=[change])
    assert seen["faults"] == []
    assert seen["data"]["rate"]["agreed"] == "500 m3/h"
    for tab in ("a", "b"):
        ask(client, "draft", name=NAME, tab=tab, text=seen["text"], over=opened["sha256"])
    drafts = ask(client, "open", name=NAME)["drafts"]
    assert {(d["tab"], d["text"], d["over"]) for d in drafts} == {
        (tab, seen["text"], opened["sha256"]) for tab in ("a", "b")
    }
    saved = ask(client, "save", name=NAME, tab="a", text=seen["text"], over=opened["sha256"])
    assert ask(client, "seen", name=NAME)["sha256"] == saved["sha256"]
    again = ask(client, "open", name=NAME)
    assert again["text"] == seen["text"]
    assert [d["tab"] for d in again["drafts"]] == ["b"]  # what is another tab's stays
    assert load_case(folder.path / NAME).lineup.rate.agreed == pytest.approx(500 / 3600)


def test_work_outlives_the_server(client: TestClient) -> None:
    ask(client, "draft", name="new.toml", tab="t", text="half a case", over="")
    kept = ask(client, "open", name="new.toml")
    assert kept["text"] == ""
    assert [d["text"] for d in kept["drafts"]] == ["half a case"]
    assert ask(client, "start")["cases"] == [NAME, "new.toml"]
    ask(client, "draft", name="new.toml", tab="t", text=None)
    assert ask(client, "start")["cases"] == [NAME]
    assert "cannot be opened" in ask(client, "open", 400, name="new.toml")["error"]


def test_two_tabs_on_one_file(client: TestClient) -> None:
    first = ask(client, "open", name=NAME)
    ask(client, "save", name=NAME, tab="one", text=TEXT + "# one\n", over=first["sha256"])
    refused = ask(client, "save", 409, name=NAME, tab="two", text=TEXT + "# two\n", over=first["sha256"])
    assert refused["there"]["text"] == TEXT + "# one\n"
    ask(client, "save", name=NAME, tab="two", text=TEXT + "# two\n", over=refused["there"]["sha256"])


def test_a_new_case_is_that_of_surge_new(client: TestClient) -> None:
    assert ask(client, "new", arms=2, tanks=3, through="pumps", cargo="gas oil")["text"] == surge.new_case(
        arms=2, tanks=3, through="pumps", cargo="gas oil"
    )
    assert ask(client, "new")["text"] == surge.new_case()
    assert "arms" in ask(client, "new", 400, arms=99)["error"]
    assert "cargo" in ask(client, "new", 400, cargo="soup")["error"]
    assert ask(client, "new", 400, arms="two")["error"]
    assert ask(client, "new", 400, arms=True)["error"]


@pytest.mark.parametrize("what", ["open", "read", "edit", "save", "draft", "seen", "ask", "stop"])
@pytest.mark.parametrize("body", [b"", b"[]", b"{", b"\xff", b'{"name": 3, "text": {}}', b"[" * 5000])
def test_what_is_no_request_is_refused(client: TestClient, what: str, body: bytes) -> None:
    assert client.post(f"/api/{what}", content=body).status_code == 400


@pytest.mark.parametrize("what", ["open", "save", "draft"])
@pytest.mark.parametrize("name", ["../secret.toml", "/etc/passwd", "a.txt", ""])
def test_no_file_outside_the_folder(client: TestClient, folder: Folder, what: str, name: str) -> None:
    before = sorted(p.name for p in folder.path.parent.rglob("*"))
    answer = ask(client, what, 400, name=name, tab="t", text="x", over="")
    assert "name" in answer["error"] or "folder" in answer["error"]
    assert sorted(p.name for p in folder.path.parent.rglob("*")) == before


# --- bad input, field by field --------------------------------------------------------------------------

FIELDS = [
    (["rate", "agreed"], "m3/h"),
    (["liquid", "temperature"], "degC"),
    (["liquid", "density_15"], "kg/m3"),
    (["points", "berth"], None),
    (["tank", 1, "level"], "m"),
    (["tank", 1, "blanket"], "bar(g)"),
    (["tank", 1, "ullage"], "m3"),
    (["pump", 0, "speed"], None),
    (["valve", 0, "kv"], "m3/h"),
    (["valve", 0, "opening"], None),
    (["valve", 0, "rating"], "bar(g)"),
    (["pipe", 0, "length"], "m"),
    (["pipe", 0, "roughness"], "mm"),
    (["pipe", 0, "minor_loss"], None),
    (["arm", 0, "test_pressure"], "bar(g)"),
    (["arm", 0, "tested"], None),
    (["scenario", 0, "shutdown", "detection"], "s"),
    (["scenario", 0, "shutdown", "step", 1, "stroke"], "s"),
    (["scenario", 1, "rate"], "m3/h"),
    (["scenario", 2, "event", 0, "at"], "s"),
]
BAD = ["", " ", "12", "12 furlongs", "1,5 {unit}", "-9e9 {unit}", "9e99 {unit}", "nan {unit}", HOSTILE[0]]


@pytest.mark.parametrize(
    ("path", "unit"), FIELDS, ids=lambda x: ".".join(map(str, x)) if isinstance(x, list) else ""
)
def test_bad_input_is_told_at_its_field_in_the_words_of_the_command_line(
    client: TestClient, path: list[Any], unit: str | None
) -> None:
    for bad in BAD:
        value = bad.format(unit=unit or "m") if "{unit}" in bad else bad
        seen = ask(
            client, "edit", name=NAME, text=TEXT, changes=[{"do": "set", "path": path, "value": value}]
        )
        at_field = [f for f in seen["faults"] if f["path"][: len(path)] == path]
        assert at_field, (value, seen["faults"])
        with pytest.raises(surge.CaseError) as told:
            surge.read_case(seen["text"], filename=NAME)
        faults = {(f.found, f.expected, f.remedy) for f in told.value.faults}
        assert {(f["found"], f["expected"], f["remedy"]) for f in seen["faults"]} == faults
        assert all(f["remedy"] for f in at_field)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_text(client: TestClient, name: str) -> None:
    seen = ask(
        client, "edit", name=NAME, text=TEXT, changes=[{"do": "rename", "path": ["arm", 0], "new": name},
                                                      {"do": "set", "path": ["title"], "value": name}]
    )  # fmt: skip
    assert seen["data"]["arm"][0]["name"] == name
    answer = client.post("/api/read", json={"name": NAME, "text": seen["text"]})
    assert answer.headers["content-type"] == "application/json"


def test_a_day_and_a_huge_number_travel(client: TestClient) -> None:
    seen = ask(
        client, "read", name=NAME, text=TEXT + "\n[odd]\na = 99999999999999999999\nb = inf\nc = 2026-01-02\n"
    )
    assert seen["data"]["odd"] == {"a": "99999999999999999999", "b": "inf", "c": {"day": "2026-01-02"}}
    assert seen["data"]["berth"]["transfer"] == {"day": "2026-06-01"}
    change = {"do": "set", "path": ["berth", "transfer"], "value": {"day": "2026-07-01"}}
    assert ask(client, "edit", name=NAME, text=TEXT, changes=[change])["faults"] == []


def test_a_change_that_cannot_be_made_is_told(client: TestClient) -> None:
    change = {"do": "remove", "path": ["pipe", 99]}
    assert "no such place" in ask(client, "edit", 400, name=NAME, text=TEXT, changes=[change])["error"]


# --- files of the page ----------------------------------------------------------------------------------

STATIC = Path(surge.__file__).parent / "page" / "static"


def test_the_page_asks_nothing_of_others_and_has_no_script_of_its_own() -> None:
    page = (STATIC / "index.html").read_text(encoding="utf-8")
    assert "http" not in page.replace("http://www.w3.org", "")
    assert " style=" not in page
    assert "<style" not in page
    assert "onclick" not in page
    assert all(part.startswith(" ") and "src=" in part.split(">")[0] for part in page.split("<script")[1:])
    for file in STATIC.glob("*.js"):
        code = file.read_text(encoding="utf-8")
        for word in (
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "new Function",
        ):
            assert word not in code, (file.name, word)


def test_vendored_files_have_their_licence_beside_them() -> None:
    vendored = STATIC / "vendor"
    kinds = {p.stem.split(".")[0].lower() for p in vendored.iterdir() if p.suffix in (".js", ".css")}
    for kind in kinds:
        assert "MIT License" in (vendored / f"{kind}-LICENSE.txt").read_text(encoding="utf-8").replace(
            "The MIT", "MIT"
        )

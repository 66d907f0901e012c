"""What the page is told is what the command line tells: the same documents, words and refusals."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner
from support.demos import CASES, VERDICTS
from support.inputs.berth import shutdown_alone

import surge
from surge.case.file import read_case
from surge.cli.main import main
from surge.page.answers import Memory, answer
from surge.page.worker import serve


def ask(do: str, name: str = "gas-oil-release-coupling", memory: Memory | None = None, **more: Any) -> Any:
    text = more.pop("text", None) or (CASES / f"{name}.toml").read_text(encoding="utf-8")
    request = {"do": do, "name": f"{name}.toml", "text": text, **more}
    found = answer(request, memory or Memory(), lambda _: None)
    return json.loads(json.dumps(found, allow_nan=False))  # it travels


def printed(*words: str) -> Any:
    done = CliRunner().invoke(main, [*words, "--json"])
    assert done.exit_code in (0, 2, 3, 4), done.output
    return json.loads(done.stdout)


@pytest.fixture
def in_cases(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command line names the file as the page does."""
    monkeypatch.chdir(CASES)


@pytest.mark.parametrize("name", VERDICTS)
def test_the_answer_is_that_of_surge_check(name: str, in_cases: None) -> None:
    found = ask("check", name)
    assert found["document"] == printed("check", f"{name}.toml", "--no-remedies")
    assert found["summary"]["verdict"] == found["document"]["verdict"] == VERDICTS[name]
    assert found["summary"]["sentence"].split(":")[0] in found["text"].replace("\n", " ")
    assert found["scenarios"] == [s["name"] for s in found["document"]["scenarios"]]


def test_with_remedies_it_is_that_of_surge_check_too(in_cases: None) -> None:
    memory = Memory()
    ask("check", memory=memory)
    found = ask("check", memory=memory, remedies=True)
    assert found["document"] == printed("check", "gas-oil-release-coupling.toml")
    assert found["document"]["remedies"]["found"]
    told = found["summary"]
    assert [step for step in told["steps"] if step in told["remedies"]] == told["remedies"]
    assert len(told["remedies"]) == len(found["document"]["remedies"]["found"]) == 2
    assert "8.6 s" in told["remedies"][0]


def test_a_chart_is_that_of_the_command_line(in_cases: None) -> None:
    chart = ask("chart", points=3)
    assert chart["document"] == printed("chart", "gas-oil-release-coupling.toml", "--points", "3")
    assert len(chart["rates"]) == 3
    assert chart["flow_unit"] == "m3/h"


@pytest.mark.parametrize("do", ["check", "histories", "film", "look", "windows", "chart", "sheet"])
def test_faults_are_told_in_the_words_of_the_command_line(
    do: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = surge.new_case().replace('law = "linear"', 'law = "liner"')
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")
    refused = ask(do, "x", text=text)["refused"]
    done = CliRunner().invoke(main, ["check", "x.toml", "--json"])
    assert refused["text"] in done.stderr
    assert refused["document"] == json.loads(done.stdout)
    assert refused["exit_code"] == done.exit_code == 2


def test_a_rate_that_the_line_does_not_give_is_refused() -> None:
    text = surge.new_case(arms=1, tanks=1).replace('agreed = "300 m3/h"', 'agreed = "3000 m3/h"')
    refused = ask("check", "x", text=text)["refused"]
    assert refused["exit_code"] == 2
    assert "3000 m3/h cannot be reached" in refused["text"]


def test_where_a_rule_makes_the_verdict_it_is_told_first_as_on_the_command_line() -> None:
    text = (CASES / "gasoline-drop-lines.toml").read_text(encoding="utf-8")
    slow = re.sub(r'stroke = "[0-9.]+ s"', 'stroke = "90 s"', text)
    found = ask("check", "x", text=slow)
    assert (found["summary"]["verdict"], found["document"]["exit_code"]) == ("limit exceeded", 3)
    sentence = found["summary"]["sentence"]
    assert "Of the pressures, weakest is" in sentence
    assert not sentence.startswith("Of the pressures")
    assert sentence in " ".join(found["text"].split())


def test_work_of_minutes_is_refused_unless_somebody_is_patient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surge.page.answers.PATIENCE", 1e6)
    refused = ask("check")["refused"]
    assert refused["exit_code"] == 4
    assert "patient" in refused["text"]
    assert "refused" not in ask("check", patient=True)


def floats(packed: str) -> Any:
    return np.frombuffer(base64.b64decode(packed), "<f4")


def test_histories_and_film_hold_the_peak_that_the_check_tells() -> None:
    memory = Memory()
    checked = ask("check", "gasoline-drop-lines", memory)
    worst = next(p for p in checked["summary"]["parts"] if p["check"] == "peak")
    found = ask(
        "histories", "gasoline-drop-lines", memory, scenario=worst["scenario"], places=[worst["name"]]
    )
    trace = next(t for t in found["traces"] if t["name"] == worst["name"])
    assert floats(trace["pressure"]).size == floats(found["time"]).size <= 2500
    assert floats(trace["pressure"]).max() == pytest.approx(float(worst["pressure"]), abs=0.02)
    assert f"{trace['upper']:.2f}" == worst["limit"]
    film = ask("film", "gasoline-drop-lines", memory, scenario=worst["scenario"])
    shape = film["frames"], film["columns"]
    assert floats(film["pressure"]).size == floats(film["highest"]).size == shape[0] * shape[1]
    assert floats(film["highest"]).reshape(shape)[-1].max() >= floats(film["pressure"]).max()
    assert floats(film["x"]).size == len(film["part"]) == shape[1]
    assert all(len(m["at"]) == shape[0] for m in film["moves"].values())
    assert len(memory.checked) == 1
    assert film["ends"] == ["shore", "ship"]


def test_the_film_of_a_discharge_begins_at_the_ship() -> None:
    film = ask("film", "gas-oil-discharge-two-pumps")
    assert film["ends"] == ["ship", "shore"]
    assert film["parts"][0]["name"] == "suction line"  # of the ship's tank


def test_a_curve_says_whether_it_was_followed_with_cavities() -> None:
    memory = Memory()
    found = ask("histories", memory=memory)
    picture = next(iter(memory.checked.values())).figures()
    assert found["boils"] == picture.subject.valid_until
    assert found["boils"] is not None
    assert found["cavities"] is picture.cavities


def test_pressures_come_in_the_unit_of_the_case() -> None:
    text = (CASES / "restart-into-a-shut-deck-line.toml").read_text(encoding="utf-8")
    psi = surge.read_case(text, filename="x").show.pressure.replace("bar", "psi")
    in_psi = (
        text.replace("[liquid]", f'[show]\npressure = "{psi}"\n\n[liquid]') if "[show]" not in text else text
    )
    one, other = (
        floats(ask("look", "restart-into-a-shut-deck-line", text=t)["pressure"]) for t in (text, in_psi)
    )
    assert other.max() == pytest.approx(one.max() * 14.5038, rel=1e-4)


def test_a_sheet_is_a_file_to_print() -> None:
    found = ask("sheet", window=False)
    assert base64.b64decode(found["content"]).startswith(b"%PDF-")
    assert found["exit_code"] in (3, 4)
    assert b"<html" in base64.b64decode(ask("sheet", window=False, kind="html")["content"])[:400]


@pytest.mark.parametrize("request_", [{}, {"do": "rm"}, {"do": "check"}, {"do": "records"}])
def test_what_no_page_asks_is_refused(request_: dict[str, Any]) -> None:
    assert answer(request_, Memory(), lambda _: None)["refused"]["exit_code"] == 2


# --- records --------------------------------------------------------------------------------------------

CSV = (CASES / "records" / "stroke-tests.csv").read_bytes()


def records(content: bytes, file: str, **more: Any) -> Any:
    request = {"do": "records", "file": file, "content": base64.b64encode(content).decode(), **more}
    return answer(request, Memory(), lambda _: None)


@pytest.fixture(scope="module")
def judged() -> Any:
    """What the page is told of the table."""
    return records(CSV, "stroke-tests.csv")


def test_a_table_is_judged_as_on_the_command_line(judged: Any) -> None:
    found = judged
    expected = surge.judge_records(CASES / "records" / "stroke-tests.csv")
    assert found["exit_code"] == expected.exit_code
    wanted = expected.text().replace(str(CASES / "records" / "stroke-tests.csv"), "stroke-tests.csv")
    assert found["text"] == wanted
    assert found["pictures"]


def test_a_workbook_is_read_as_its_table(judged: Any) -> None:
    """Days and figures as a spreadsheet keeps them, not as text."""
    book = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(CSV.decode("utf-8-sig")), delimiter=";"):
        book.active.append([_cell(text) for text in row])
    out = io.BytesIO()
    book.save(out)
    found = records(out.getvalue(), "stroke-tests.xlsx")
    assert found["exit_code"] == judged["exit_code"]
    assert _verdicts(found["text"]) == _verdicts(judged["text"])


def _cell(text: str) -> Any:
    if day := re.fullmatch(r"(\d\d)[.](\d\d)[.](\d{4})", text):
        return datetime(int(day[3]), int(day[2]), int(day[1]))
    return float(text.replace(",", ".")) if re.fullmatch(r"\d+(,\d+)?", text) else text


def _verdicts(text: str) -> list[str]:
    return [line for line in text.splitlines() if "sha256" not in line and "stroke-tests" not in line]


@pytest.mark.parametrize("file", ["a.csv", "a.xlsx", "../../etc/x.csv", "\0.csv", "", "x" * 400 + ".csv"])
def test_a_table_that_is_none_is_refused(file: str) -> None:
    refused = records(b"PK\x03\x04 no table", file)["refused"]
    assert refused["exit_code"] == 2
    assert refused["text"]


def _workbook(rows: list[list[Any]]) -> dict[str, bytes]:
    book, out = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(out)
    with zipfile.ZipFile(out) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def _packed_as(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return out.getvalue()


PARTS = _workbook([["Valve", "Date", "Closing time [s]"], ["M1", "2024-01-02", 13.4]])


@pytest.mark.parametrize("name", sorted(PARTS))
def test_a_damaged_workbook_is_refused_or_read_and_ends_no_process(name: str) -> None:
    whole = PARTS[name]
    for damaged in (
        b"",
        b"<",
        whole[: len(whole) // 2],
        whole.replace(b"<", b"&", 3),
        whole.replace(b'"1"', b'"x"'),
    ):
        content = _packed_as({**PARTS, name: damaged})
        assert records(content, "a.xlsx")  # an answer, whatever it is
    without = _packed_as({part: content for part, content in PARTS.items() if part != name})
    assert records(without, "a.xlsx")
    packed = bytearray(_packed_as(PARTS))
    packed[len(packed) // 2 : len(packed) // 2 + 8] = b"\xff" * 8
    assert records(bytes(packed), "a.xlsx")["refused"]["text"]


def test_a_sheet_that_claims_millions_of_cells_is_refused() -> None:
    sheet = "xl/worksheets/sheet1.xml"
    wide = re.sub(rb'ref="A1:C2"', b'ref="A1:XFD1048576"', PARTS[sheet])
    assert wide != PARTS[sheet]
    cell = b'<row r="1000000"><c r="XFD1000000" t="n"><v>1</v></c></row></sheetData>'
    content = _packed_as({**PARTS, sheet: wide.replace(b"</sheetData>", cell)})
    assert "more than" in records(content, "a.xlsx")["refused"]["text"]


def test_columns_are_told_with_what_they_were_taken_for(judged: Any) -> None:
    found = {c["title"]: c["meaning"] for c in judged["columns"]}
    assert (found["No."], found["Valve"], found["Time"]) == ("", "tag", "time of day")
    assert found["Stroke time [s]"] == "time"


# --- beside the case before, and forces -----------------------------------------------------------------


def test_a_case_is_held_beside_the_one_before_and_its_forces_are_told() -> None:
    after = shutdown_alone(more=1)
    before = after.replace('stroke = "26 s"', 'stroke = "3 s"')
    memory = Memory()
    asked = {"name": "berth.toml", "text": after}
    found = answer({"do": "compare", "before": before, **asked}, memory, lambda _: None)
    assert found["verdicts"] == ["Limit exceeded", "Limits kept"]
    assert any("3.00 s before, 26.00 s after" in words for words in found["differences"])
    assert base64.b64decode(found["picture"]).startswith(b"\x89PNG")
    forces = answer({"do": "forces", **asked}, memory, lambda _: None)
    expected = surge.find_forces(read_case(after, filename="berth.toml"))
    assert forces["text"] == expected.text()
    assert forces["details"] == expected.text(details=True)  # of both scenarios
    assert base64.b64decode(forces["histories"]).count(b"\n") > 100
    broken = answer({"do": "compare", "before": "x", **asked}, memory, lambda _: None)
    assert broken["refused"]["exit_code"] == 2


@pytest.mark.slow
def test_a_filling_has_its_picture_its_film_and_its_histories() -> None:
    text = (CASES / "gas-oil-first-fill.toml").read_text(encoding="utf-8")
    found = answer({"do": "fillings", "name": "berth.toml", "text": text}, Memory(), lambda _: None)
    assert "VERDICT of the fillings: LIMITS KEPT" in found["text"]
    begins = {kind: base64.b64decode(found[kind])[:4] for kind in ("png", "gif", "csv")}
    assert begins == {"png": b"\x89PNG", "gif": b"GIF8", "csv": b'\xef\xbb\xbf"'}


def test_a_case_without_a_filling_has_none_to_draw() -> None:
    text = (CASES / "crude-sea-line.toml").read_text(encoding="utf-8")
    found = answer({"do": "fillings", "name": "berth.toml", "text": text}, Memory(), lambda _: None)
    assert "no filling" in found["refused"]["text"]


# --- the process ----------------------------------------------------------------------------------------


def test_a_process_answers_line_by_line() -> None:
    text = (CASES / "restart-into-a-shut-deck-line.toml").read_text(encoding="utf-8")
    asked = [{"do": "check", "name": "a.toml", "text": text}, {"do": "look", "name": "a.toml", "text": "x"}]
    out = io.StringIO()
    serve(io.StringIO("".join(json.dumps(a) + "\n" for a in asked)), out)
    said = [json.loads(line) for line in out.getvalue().splitlines()]
    answers = [s["answer"] for s in said if "answer" in s]
    assert answers[0]["document"]["verdict"] == "limit kept"
    assert answers[1]["refused"]["exit_code"] == 2
    assert all(set(s) in ({"answer"}, {"progress"}) for s in said)

"""`surge records` as a superintendent meets it: the page, JSON, CSV, files, exit codes; and the demo."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from support.inputs import records_demo

from surge.cli.main import main
from surge.reports.layout import LINE
from surge.reports.records_data import COLUMNS
from surge.reports.records_words import seconds
from surge.reports.spreadsheet import EXECUTED

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "cases" / "records"
SCHEMA = json.loads((ROOT / "surge" / "schema" / "records.schema.json").read_text(encoding="utf-8"))
ON = ("--today", "2026-02-20")
LIMITS = """
schema = 1
[[valve]]
tags = ["M*"]
source = "manual"
fastest_closing = "20 s"
slowest_closing = "30 s"
slowest_counts = "spindle movement"
shares_power = false
"""
HEAD = "tag;date;direction;time [s];timed\n"
KEPT = "M1;2026-02-10;closing;25;movement\n"
FAST = "M2;2026-02-10;closing;19.9;movement\n"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["records", *(str(a) for a in arguments)])


@pytest.fixture
def files(tmp_path: Path) -> Any:
    """Write records and limits; give the arguments for them."""

    def write(rows: str, limits: str = LIMITS) -> tuple[str | Path, ...]:
        path, other = tmp_path / "tests.csv", tmp_path / "limits.toml"
        path.write_text(HEAD + rows, encoding="utf-8")
        other.write_text(limits, encoding="utf-8")
        return (path, "--limits", other, *ON)

    return write


def document(*arguments: str | Path) -> dict[str, Any]:
    got = run(*arguments, "--json")
    made: dict[str, Any] = json.loads(got.stdout)
    jsonschema.validate(made, SCHEMA)
    assert made["exit_code"] == got.exit_code
    if "rows" in made:
        rows = made["rows"]
        assert rows["rows"] == rows["judged"] + rows["shown"] + rows["refused"] + rows["blank"]
    return made


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("rows", "code", "words"),
    [
        (KEPT, 0, "Every limit is kept. Nearest is"),
        (KEPT + FAST, 3, 'Adjust first: "M2", closing.'),
        (KEPT + "M1;2026-02-11;closing;x;movement\n", 4, "1 row refused"),
        (FAST + "M1;2026-02-11;closing;x;movement\n", 3, "Adjust first"),
        ("M1;2026-02-10;closing;25;\n", 4, "not recorded what was timed"),
        ("M1;2024-02-10;closing;25;movement\n", 4, "overdue"),
        ("M1;2026-02-10;opening;25;movement\n", 4, 'Look first at "M1", closing: never tested.'),
    ],
)
def test_exit_codes_and_first_words(files: Any, rows: str, code: int, words: str) -> None:
    got = run(*files(rows))
    assert got.exit_code == code, got.output
    assert words in flat(got.stdout)
    document(*files(rows))


def test_a_named_valve_that_was_never_tested(files: Any) -> None:
    got = run(*files(KEPT, LIMITS.replace('["M*"]', '["M1", "M7"]')))
    assert got.exit_code == 4
    assert 'Look first at "M7", closing: never tested.' in flat(got.stdout)


def test_the_boundary_of_30_s_is_inclusive_to_the_end(files: Any) -> None:
    text = LIMITS.replace('slowest_counts = "spindle movement"', 'signal_delay = "1.1 s"')
    assert run(*files(KEPT.replace("25", "28.9"), text)).exit_code == 0  # 28.9 + 1.1 is 30
    assert run(*files(KEPT.replace("25", "28.91"), text)).exit_code == 3


def test_no_limits_at_all(files: Any) -> None:
    path = files(KEPT)[0]
    got = run(path, *ON)
    assert got.exit_code == 4
    assert "nothing could be judged: add --limits" in flat(got.stdout)
    document(path, *ON)


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        (("--dates", "sometimes"), 2, "day-first"),
        (("--interval", "often"), 2, "12 months"),
        (("--today", "yesterday"), 2, "--today yesterday"),
        (("--column", "colour=red"), 2, "MEANING=TITLE"),
        (("--output", "findings.xls"), 2, "end the name with one of"),
        (("--limits", "no-such-file.toml"), 2, "cannot be opened"),
        (("--case", "no-such-file.toml"), 2, "cannot be opened"),
        (("--pictures", "page.gif"), 2, "end the name with one of"),
    ],
)
def test_bad_usage(files: Any, change: tuple[str, ...], code: int, words: str) -> None:
    got = run(*files(KEPT), *change)
    assert got.exit_code == code
    assert words in got.stderr
    assert got.stdout == ""


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(b"PK\x03\x04......")
    got = run(path, *ON)
    assert (got.exit_code, got.stdout) == (2, "")
    assert "workbook" in got.stderr
    assert "remedy: save the sheet as CSV" in flat(got.stderr)
    assert document(path, *ON)["verdict"] == "refused"


def test_what_the_options_say(files: Any) -> None:
    shared = LIMITS.replace("shares_power = false", "shares_power = true")
    arguments = files("M1;2026-02-10;closing;25;\n", shared)
    assert run(*arguments).exit_code == 4
    made = document(*arguments, "--timed", "movement", "--tested", "alone")
    assert {s["side"]: s["verdict"] for s in made["valves"][0]["sides"]} == {
        "fastest": "limit kept",
        "slowest": "cannot be decided",
    }
    old = files("M1;2025-02-10;closing;25;movement\n")
    assert run(*old).exit_code == 4
    assert run(*old, "--interval", "24 months").exit_code == 0


def test_faults_that_are_alike_are_told_together(files: Any) -> None:
    rows = "".join(f"M1;01/0{k}/2025;closing;2{k};movement\n" for k in range(2, 10))
    rows += "".join(f"M1;02/0{k}/2025;closing;2{k};movement\n" for k in range(3, 10))
    got = flat(run(*files(KEPT + rows), "--details").stdout)
    assert "rows 3, 4, 5, 6, 7, 8, 9, 10 and 7 more, column" in got
    assert got.count("--dates day-first") == 1


def test_pages_fit_the_terminal(files: Any) -> None:
    got = run(DEMO / "stroke-tests.csv", "--limits", DEMO / "limits.toml", *ON, "--details")
    assert max(len(line) for line in got.stdout.splitlines() if not line.startswith("surge ")) <= LINE + 20


def test_a_long_table_is_cut_and_says_so(files: Any) -> None:
    rows = "".join(f"M{k};2026-02-10;closing;{10 + k / 100};movement\n" for k in range(50))
    text = run(*files(rows)).stdout
    (left,) = re.findall(r"\.\.\. and (\d+) valves more, less urgent \(--details\)", text)
    assert text.count("TOO FAST") + int(left) == 50
    assert run(*files(rows), "--details").stdout.count("TOO FAST") == 50


# --- files ---


def test_files_are_written_and_never_over_others_without_force(files: Any, tmp_path: Path) -> None:
    table, data = tmp_path / "findings.csv", tmp_path / "findings.json"
    assert run(*files(KEPT), "--output", table, "--output", data).exit_code == 0
    rows = list(csv.reader(io.StringIO(table.read_text(encoding="utf-8-sig"))))
    assert tuple(rows[0]) == COLUMNS
    assert rows[1][1:5] == ["M1", "closing", "IN ORDER", "limit kept"]
    jsonschema.validate(json.loads(data.read_text()), SCHEMA)
    assert run(*files(KEPT), "--output", table).exit_code == 2
    assert run(*files(KEPT), "--output", table, "--force").exit_code == 0


def test_pictures(files: Any, tmp_path: Path) -> None:
    page = tmp_path / "page.png"
    assert run(*files(KEPT + FAST), "--pictures", page).exit_code == 3
    assert page.read_bytes().startswith(b"\x89PNG")


def test_nothing_in_the_csv_is_executed_and_figures_stay_figures(files: Any, tmp_path: Path) -> None:
    limits = LIMITS.replace('["M*"]', '["*"]').replace('"manual"', '"=HYPERLINK(1)"')
    rows = "".join(
        f"{tag};2026-02-10;closing;15;movement\n" for tag in ("=1+1", "-M2", "+cmd|x", "@a", "＝1")
    )
    out = tmp_path / "findings.csv"
    assert run(*files(rows, limits), "--output", out).exit_code == 3
    made = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8-sig"))))
    assert {r["valve"] for r in made} == {"'=1+1", "'-M2", "'+cmd|x", "'@a", "'＝1"}
    for row in made:
        assert row["limit_source"] == "'=HYPERLINK(1)"
        assert float(row["margin_s"]) == -5.0  # a number, and not a text with an apostrophe
        for key, cell in row.items():
            assert key == "margin_s" or not cell.startswith(tuple(EXECUTED))


@pytest.mark.parametrize(
    ("value", "up", "text"),
    [
        (22.3, None, "22.3"),
        (23.4 - 1.1, False, "22.3"),
        (23.4 - 1.1, True, "22.3"),
        (12.204, True, "12.21"),
        (12.204, False, "12.2"),
        (-0.001, False, "-0.01"),
        (30.0, None, "30.0"),
        (float("inf"), None, "-"),
    ],
)
def test_times_are_rounded_to_the_unsafe_side(value: float, up: bool | None, text: str) -> None:
    assert seconds(value, up=up) == text


# --- the demo ---


def test_the_demo_is_what_its_maker_makes() -> None:
    assert records_demo.CSV.read_bytes() == records_demo.text().encode("utf-8")


def test_the_demo_tells_which_valve_to_adjust_first_and_why() -> None:
    arguments = (DEMO / "stroke-tests.csv", "--limits", DEMO / "limits.toml")
    case = ("--case", ROOT / "cases" / "gasoline-drop-lines.toml")
    got = run(*arguments, *case, *ON)
    text = flat(got.stdout)
    assert got.exit_code == 3
    first = text.index('Adjust first: "M2P", closing. It took 11.3 s (movement, alone;')
    assert first < text.index("window of") < text.index("0.4 s too fast")
    states = [
        (line.split()[0], *line.split("  ")[1:3]) for line in got.stdout.splitlines() if "close  " in line
    ]
    assert [s[0] for s in states[:3]] == ["M2P", "T4S", "X2"]
    for words in ("TOO FAST", "LIMIT NEAR", "NOT TESTED"):
        assert words in got.stdout
    assert "Rows: 978 = 596 judged + 368 shown without counting as proof + 2 refused + 12 blank." in text


def test_json_of_the_demo_keeps_to_the_schema() -> None:
    made = document(DEMO / "stroke-tests.csv", "--limits", DEMO / "limits.toml", *ON)
    assert made["exit_code"] == 4
    assert len({v["tag"] for v in made["valves"]}) == 24
    assert len(made["tests"]) == 964
    never = next(v for v in made["valves"] if v["tag"] == records_demo.NEVER)
    assert never["states"] == ["NOT TESTED"]
    slow = next(v for v in made["valves"] if v["tag"] == records_demo.SLOW and v["direction"] == "closing")
    assert slow["states"][0] == "LIMIT NEAR"


WORDS = {
    "tag": ["M1", "M2", "=3", "X1"],
    "date": ["2025-06-01", "2026-02-10", "2022-01-01", "2025-06-31", ""],
    "direction": ["closing", "opening", "?"],
    "time [s]": ["0.001", "12", "25", "30", "31,5", "3600", "x"],
    "timed": ["order", "movement", ""],
    "signal delay [s]": ["", "0", "2", "40"],
    "together": ["yes", "no", ""],
    "temperature [C]": ["", "5", "30"],
}


@given(rows=st.lists(st.tuples(*(st.sampled_from(w) for w in WORDS.values())), max_size=25))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_whatever_the_records_say_there_is_an_answer_that_adds_up(rows: list[tuple[str, ...]]) -> None:
    text = "\n".join(";".join(r) for r in [tuple(WORDS), *rows])
    limits = LIMITS.replace("shares_power = false", 'normal_temperature = ["15 degC", "40 degC"]')
    limits += '[[valve]]\ntags = ["M1", "M7"]\nsignal_delay = "1 s"\nshares_power = false\nsisters = "m"\n'
    with TemporaryDirectory() as folder:
        table, other, out = (Path(folder) / name for name in ("t.csv", "l.toml", "f.csv"))
        table.write_text(text)
        other.write_text(limits)
        made = document(table, "--limits", other, *ON, "--output", out)
        told = run(table, "--limits", other, *ON, "--details")
    assert made["rows"]["rows"] == len(rows)
    assert told.exit_code == made["exit_code"] != 0  # M7 was never tested
    beyond = any(s["verdict"] == "limit exceeded" for v in made["valves"] for s in v["sides"])
    assert (made["exit_code"] == 3) is beyond


# --- what is said on the page about what was refused, and what would decide the rest ---


def test_a_refused_newest_row_is_never_every_limit_kept(files: Any) -> None:
    got = run(*files(KEPT + "M1;2026-02-11;closing;about 12;movement\n" + KEPT.replace("M1", "M3")))
    text = flat(got.stdout)
    assert got.exit_code == 4
    assert "Every limit is kept" not in text
    assert 'Look first at "M1", closing: row 3 of this valve was refused' in text
    assert "Nothing to do: 1 closing with every limit kept." in text
    older = flat(run(*files(KEPT + "M1;2026-01-11;closing;about 12;movement\n")).stdout)
    assert "Every limit is kept by the rows that could be read, but 1 row was refused" in older


@pytest.mark.parametrize(
    ("head", "row", "action"),
    [
        ("", "", "--tested alone (or together)"),
        (";together", ";alone", "Time it together with the others"),
        (";together", ";together", "Time it alone as well"),
    ],
)
def test_what_would_decide_it_is_told(tmp_path: Path, head: str, row: str, action: str) -> None:
    path, other = tmp_path / "tests.csv", tmp_path / "limits.toml"
    text = f"tag;date;direction;time [s];timed{head}\nM1;2026-02-10;closing;25;movement{row}\n"
    path.write_text(text, encoding="utf-8")
    other.write_text(LIMITS.replace("shares_power = false", "shares_power = true"), encoding="utf-8")
    text = flat(run(path, "--limits", other, *ON).stdout)
    assert "What would decide the limits left open" in text
    assert action in text[: text.index("Rows:")]


def test_a_case_that_was_forgotten_is_told(files: Any) -> None:
    more = LIMITS + '[[valve]]\ntags = ["M1"]\nin_case = "manifold valve"\n'
    got = run(*files(KEPT, more))
    assert got.exit_code == 4
    assert "Add --case" in flat(got.stdout)


@pytest.mark.parametrize("text", ["M1", "time=furlong", "mass=s", "time="])
def test_units_that_are_not_known(files: Any, text: str) -> None:
    got = run(*files(KEPT), "--unit", text)
    assert got.exit_code == 2
    assert "time=h:min:s" in got.stderr


def test_further_pages_never_overwrite_without_force(files: Any, tmp_path: Path) -> None:
    rows = "".join(KEPT.replace("M1", f"M{k}") for k in range(70))
    second = tmp_path / "page-2.png"
    second.write_text("mine", encoding="utf-8")
    got = run(*files(rows), "--pictures", tmp_path / "page.png")
    assert got.exit_code == 2
    assert "page-2.png" in got.stderr
    assert second.read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "page.png").exists()

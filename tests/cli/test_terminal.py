"""What is printed on whatever terminal: nothing moves the cursor, nothing is lost."""

from __future__ import annotations

import contextvars
import subprocess
import sys
import textwrap
import unicodedata
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.demos import CASES

from surge.cli.main import main
from surge.cli.shared import ProgressLine
from surge.cli.streams import seen
from surge.records.stroke_tests import Interval
from surge.reports.layout import LINE, fit, paragraph, table
from surge.units import DAYS, day

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="signals, /dev/full")
CASE = CASES / "gas-oil-release-coupling.toml"
RECORDS = CASES / "records" / "stroke-tests.csv"
CODE = "from surge.__main__ import entry; entry()"


ODD = "\x1b[2J31m\x07\u202e\u2066\u200d\n\tab"
HIDDEN = ("Cc", "Cf", "Zl", "Zp")


@given(st.text(st.one_of(st.sampled_from(ODD), st.characters()), max_size=30))
@settings(max_examples=100, deadline=None)
@example("\x1b[31m red \x1b[0m\r\x9b2J")
def test_nothing_printed_moves_the_cursor_or_turns_the_writing(text: str) -> None:
    shown = seen(text)
    assert not [c for c in shown if unicodedata.category(c) in HIDDEN and c not in "\n\t\u200c\u200d"]
    assert seen(shown) == shown
    if text.isprintable():
        assert shown == text


def test_only_our_colours_are_left() -> None:
    assert seen("\x1b[33m\x1b[1mbad\x1b[0m \x1b[2J", coloured=True) == "\x1b[33m\x1b[1mbad\x1b[0m \\x1b[2J"


@LINUX
@pytest.mark.parametrize("words", [["check", "IN"], ["records", "IN"], ["new", "IN"]])
def test_escapes_in_names_of_files_are_shown(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    name = "a\x1b[2J\x07\u202eb.toml"
    got = CliRunner().invoke(main, [name if w == "IN" else w for w in words], color=True)
    assert got.exit_code in (0, 2)
    assert "\\x1b[2J" in got.output
    assert not [c for c in got.output if c in "\x1b\x07\u202e"]


@LINUX
@pytest.mark.parametrize(
    ("words", "code"), [(["check", "no.toml"], 2), (["list", "rules", "--nope"], 2), (["list", "rules"], 0)]
)
def test_a_full_standard_error_changes_no_exit_code(words: list[str], code: int) -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        got = subprocess.run([sys.executable, "-c", CODE, *words], stdout=-1, stderr=full, check=False)
        assert got.returncode == code
        both = subprocess.run([sys.executable, "-c", CODE, *words], stdout=full, stderr=full, check=False)
    assert both.returncode == 2


LOADING = """
import os, signal, sys
import surge.__main__ as start
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell in the background has it ignored
class Interrupted:
    def find_spec(self, name, *_):
        if name == "surge.cli.main":
            os.kill(os.getpid(), signal.SIGINT)
            signal.pause()
sys.meta_path.insert(0, Interrupted())
start.entry()
"""


@LINUX
def test_an_interrupt_while_the_program_loads_is_one_line() -> None:
    got = subprocess.run([sys.executable, "-c", LOADING], capture_output=True, check=False)
    assert (got.returncode, got.stdout, got.stderr) == (1, b"", b"Aborted!\n")


# Days


@pytest.mark.parametrize("today", ["0001-01-01", "1899-12-31", "2200-01-01", "9999-12-01", "9999-12-31"])
def test_a_day_that_is_a_slip_is_refused(today: str) -> None:
    for words in (
        ["records", str(RECORDS)],
        ["sheet", str(CASE), "--json"],
    ):
        got = CliRunner().invoke(main, [*words, "--today", today])
        assert got.exit_code == 2
        assert got.stderr.endswith("write a day from 1900-01-01 to 2199-12-31, such as 2026-02-20\n")
    with pytest.raises(ValueError, match="write a day from"):
        day("today", date.fromisoformat(today))


@pytest.mark.parametrize("today", DAYS)
def test_the_first_and_last_day_are_answered(today: date) -> None:
    got = CliRunner().invoke(
        main, ["records", str(RECORDS), "--today", today.isoformat(), "--interval", "10 years"]
    )
    assert got.exit_code == 4, got.output
    assert Interval(months=120, days=3720).after(today) > today


# Narrow and simple terminals


def test_a_narrow_terminal_gets_narrow_lines() -> None:
    words = "the pressure peaks at 15.92 bar(g) at 8.41 s " * 4

    def narrow() -> list[str]:
        fit(40)
        rows = [("manifold valve of the berth", words), ("drop line", words)]
        return [*paragraph(words).split("\n"), *table(("place", "why"), rows)]

    lines = contextvars.copy_context().run(narrow)
    assert max(map(len, lines)) <= 40
    joined = " ".join(" ".join(lines).split())
    assert joined.startswith(" ".join(words.split()))
    assert paragraph(words) == textwrap.fill(words, LINE, break_on_hyphens=False)  # elsewhere as ever


def test_progress_fits_the_terminal_and_needs_one_that_can_go_back(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    line = ProgressLine(after=0.0)
    line("word " * 30)
    assert 20 < len(capsys.readouterr().err.strip("\r")) < 40
    monkeypatch.setenv("TERM", "dumb")
    ProgressLine(after=0.0)("word")
    assert capsys.readouterr().err == ""

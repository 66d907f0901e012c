"""Every input is opened once: a pipe gives the same answer as a file, and what is signed is what was used."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from support.inputs.case_text import STARTER, changed, line_of

import surge.toml.text
from surge.api.inputs import rules_of_case
from surge.case.file import load_case
from surge.cli.main import main
from surge.inputs import InputFile, input_of, read_input

RULES = """
[[rule]]
id = "total-shutdown-time"
requirement = "off"
reason = "this berth has a rule of its own"
"""
LIMITS = 'schema = 1\n[[valve]]\ntags = ["M1"]\nfastest_closing = "10 s"\nsource = "manual"\n'
RECORDS = "tag,date,direction,time [s],timed\nM1,2026-02-05,closing,20,movement\n"
CURVE = "time [s],position [%]\n" + "".join(f"{t},{max(0, 100 - 4 * t)}\n" for t in range(-2, 30))
TODAY = ("--today", "2026-02-20")


def with_rules(name: str, text: str = STARTER) -> str:
    return f'{text}\n[rules]\nfile = "{name}"\n'


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words), catch_exceptions=False)


@pytest.fixture
def piped() -> Iterator[Callable[[str], str]]:
    """A text as the shell's <(...) hands it over: a name that can be read once, and is empty after that."""
    ends = []

    def name_of(text: str) -> str:
        reads, writes = os.pipe()
        ends.append(reads)
        with os.fdopen(writes, "w") as pipe:
            pipe.write(text)
        return f"/dev/fd/{reads}"

    yield name_of
    for reads in ends:
        os.close(reads)


# --- pipes ---


def test_a_case_through_a_pipe_has_the_answer_of_the_file(
    piped: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # a long name would be shortened in the answer
    Path("case.toml").write_text(STARTER, encoding="utf-8")
    name = piped(STARTER)
    assert run("check", name).stdout == run("check", "case.toml").stdout.replace("case.toml", name)


def test_a_refused_case_through_a_pipe_shows_its_lines_and_its_hash(piped: Any) -> None:
    text = changed(('level = "14 m"', 'level = "14,5 m"'))
    line = line_of(text, "14,5 m")
    told = run("check", piped(text), "--json")
    assert told.exit_code == 2
    assert f'{line} | level = "14,5 m"' in told.stderr
    document = json.loads(told.stdout)
    assert document["case"]["sha256"] == sha256(text)
    assert [(f["line"], f["source"]) for f in document["faults"]] == [(line, 'level = "14,5 m"')]


def test_a_fault_that_is_found_after_reading_shows_its_line_too(piped: Any) -> None:
    """The search for windows refuses a valve that the case does not have; the case was read long before."""
    told = run("window", piped(STARTER), "--valve", "nonesuch", "--json")
    assert told.exit_code == 2
    assert "nonesuch" in told.stderr
    assert json.loads(told.stdout)["case"]["sha256"] == sha256(STARTER)


def test_what_cannot_be_decided_names_the_hash_of_the_case_that_was_read(
    piped: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from surge.errors import GridError

    def give_up(*_: Any, **__: Any) -> None:
        raise GridError("no grid")

    monkeypatch.setattr("surge.api.check.assess", give_up)
    told = run("check", piped(STARTER), "--json")
    assert told.exit_code == 4
    assert json.loads(told.stdout)["case"]["sha256"] == sha256(STARTER)


def test_rules_through_a_pipe(piped: Any, tmp_path: Path) -> None:
    """On the command line only: a case may name no more than a file beside or below it."""
    told = run("list", "rules", "--rules", piped(RULES), "shutdown", "off")
    assert "this berth has a rule of its own" in told.stdout
    path = tmp_path / "case.toml"
    path.write_text(with_rules(piped(RULES)), encoding="utf-8")
    told = run("check", str(path))
    assert told.exit_code == 2
    assert "a rule of its own" not in told.stdout + told.stderr


def test_refused_rules_through_a_pipe_show_their_lines(piped: Any) -> None:
    name = piped(RULES.replace("total-shutdown-time", "total-shut-time"))
    told = run("list", "rules", "--rules", name)
    assert told.exit_code == 2
    assert f"{name}:3:6" in told.stderr
    assert '3 | id = "total-shut-time"' in told.stderr


def test_records_and_limits_through_pipes(piped: Any, tmp_path: Path) -> None:
    records, limits = tmp_path / "tests.csv", tmp_path / "limits.toml"
    records.write_text(RECORDS, encoding="utf-8")
    limits.write_text(LIMITS, encoding="utf-8")
    names = piped(RECORDS), piped(LIMITS)
    of_pipes = run("records", names[0], "--limits", names[1], *TODAY).stdout
    of_files = run("records", str(records), "--limits", str(limits), *TODAY).stdout
    for name, path in zip(names, (records, limits), strict=True):
        of_files = of_files.replace(str(path), name)
    # The way to a file is longer than that to a pipe, so that lines break elsewhere.
    assert of_pipes.split() == of_files.split()
    assert sha256(LIMITS)[:16] in of_pipes


def test_refused_limits_through_a_pipe_show_their_lines(piped: Any, tmp_path: Path) -> None:
    records = tmp_path / "tests.csv"
    records.write_text(RECORDS, encoding="utf-8")
    text = LIMITS.replace('"10 s"', '"10"')
    told = run("records", str(records), "--limits", piped(text), *TODAY, "--json")
    assert told.exit_code == 2
    assert '4 | fastest_closing = "10"' in told.stderr
    assert json.loads(told.stdout)["case"]["sha256"] == sha256(text)


def test_a_case_from_standard_input_is_refused_with_its_lines() -> None:
    text = changed(('level = "14 m"', 'level = "14,5 m"'))
    command = [sys.executable, "-m", "surge", "check", "/dev/stdin"]
    told = subprocess.run(command, input=text, capture_output=True, text=True, check=False, timeout=300)
    assert told.returncode == 2
    assert f"/dev/stdin:{line_of(text, '14,5 m')}:9" in told.stderr
    assert '"14.5 m"' in told.stderr


# --- files that somebody overwrites ---


def test_a_file_that_is_overwritten_meanwhile_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As soon as a text has been read, something else stands in its place."""

    def read_then_overwrite(path: str | Path, *, most: int) -> InputFile:
        file = read_input(path, most=most)
        Path(path).write_text("something else = 1\n", encoding="utf-8")
        return file

    monkeypatch.setattr(surge.toml.text, "read_input", read_then_overwrite)
    case, rules = tmp_path / "case.toml", tmp_path / "ours.toml"
    case.write_text(with_rules("ours.toml"), encoding="utf-8")
    rules.write_text(RULES, encoding="utf-8")
    told = run("sheet", str(case), "--no-window", "--json")
    assert told.exit_code == 0
    document = json.loads(told.stdout)
    assert document["case"]["sha256"] == sha256(with_rules("ours.toml"))
    assert document["rules_sha256"] == sha256(RULES)
    assert rules.read_text(encoding="utf-8") != RULES

    case.write_text(with_rules("ours.toml"), encoding="utf-8")
    rules.write_text(RULES.replace("off", "of"), encoding="utf-8")
    told = run("check", str(case))
    assert told.exit_code == 2
    assert "ours.toml:4:" in told.stderr  # where it is, and nothing of what stands there
    assert 'requirement = "of"' not in told.stderr


def test_a_case_and_its_rules_carry_what_was_read(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_bytes(b"\xef\xbb\xbf" + with_rules("ours.toml").replace("\n", "\r\n").encode())
    (tmp_path / "ours.toml").write_text(RULES, encoding="utf-8")
    loaded = load_case(case)
    assert loaded.file == input_of(case.read_bytes(), filename=str(case))
    assert loaded.sha256 == hashlib.sha256(case.read_bytes()).hexdigest()
    book = rules_of_case(loaded)
    assert book.file is not None
    assert (book.file.filename, book.file.text) == (str(tmp_path / "ours.toml"), RULES)


# --- how often every file is opened ---

COUNTED = """
import json, sys
from collections import Counter
from click.testing import CliRunner
from surge.cli.main import main
opened = Counter()
sys.addaudithook(lambda event, args: opened.update([str(args[0])]) if event == "open" else None)
found = []
for words in json.loads(sys.argv[1]):
    opened.clear()
    code = CliRunner().invoke(main, words).exit_code
    found.append([code, dict(opened)])
print(json.dumps(found))
"""
CASE, OTHER, BAD, OWN = "case.toml", "other.toml", "bad.toml", "ours.toml"
COMMANDS: list[tuple[int, list[str], list[str]]] = [
    # exit code, words, inputs
    (0, ["check", CASE], [CASE, OWN]),
    (0, ["check", CASE, "--json"], [CASE, OWN]),
    (2, ["check", BAD, "--json"], [BAD]),
    (2, ["check", "bad-rules.toml", "--json"], ["bad-rules.toml", "bad-ours.toml"]),
    (0, ["sheet", CASE, "--no-window", "-o", "sheet.html"], [CASE, OWN]),
    (
        4,
        ["sheet", CASE, "--no-window", "--records", "tests.csv", "--limits", "limits.toml", *TODAY, "--json"],
        [CASE, OWN, "tests.csv", "limits.toml"],
    ),
    (4, ["records", "tests.csv", "--limits", "limits.toml", *TODAY], ["tests.csv", "limits.toml"]),
    (2, ["records", "tests.csv", "--limits", BAD, *TODAY, "--json"], [BAD]),
    (2, ["records", BAD, *TODAY, "--json"], [BAD]),
    (3, ["records", "curve.csv", "--case", CASE, "--curve", "manifold valve"], [CASE, OWN, "curve.csv"]),
    (0, ["compare", CASE, OTHER], [CASE, OTHER, OWN]),
    (0, ["compare", CASE, CASE, "--json"], [CASE, OWN]),
    (0, ["window", CASE, "--valve", "manifold valve", "--longest", "30 s"], [CASE, OWN]),
    (0, ["picture", CASE, "--of", "line", "-o", "line.svg"], [CASE, OWN]),
    (0, ["list", "rules", "--rules", OWN], [OWN]),
    (2, ["list", "rules", "--rules", "bad-ours.toml"], ["bad-ours.toml"]),
]


def test_every_command_opens_every_input_once(tmp_path: Path) -> None:
    texts = {
        CASE: with_rules(OWN),
        OTHER: with_rules(OWN, changed(('level = "14 m"', 'level = "13 m"'))),
        BAD: STARTER.replace('"14 m"', '"14,5 m"'),
        "bad-rules.toml": with_rules("bad-ours.toml"),
        OWN: RULES,
        "bad-ours.toml": RULES.replace("off", "of"),
        "tests.csv": RECORDS,
        "limits.toml": LIMITS.replace("source", 'in_case = "manifold valve"\nsource'),
        "curve.csv": CURVE,
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    command = [sys.executable, "-c", COUNTED, json.dumps([words for _, words, _ in COMMANDS])]
    told = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=600)
    for (code, words, inputs), (got, opened) in zip(COMMANDS, json.loads(told.stdout), strict=True):
        assert {name: n for name, n in opened.items() if name in texts} == dict.fromkeys(inputs, 1), words
        assert got == code, words

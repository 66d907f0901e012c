"""Files to write: inputs are never written over, and nothing but files is written, --force or not."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from support.demos import CASES
from support.inputs.case_text import STARTER

from surge.cli.files import write_file
from surge.cli.main import main
from surge.inputs import read_input, start_reading

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and sockets as files")
RECORDS, LIMITS = CASES / "records" / "stroke-tests.csv", CASES / "records" / "limits.toml"
# Every command that writes: its words, of which IN is an input and OUT the file to write.
WRITERS = (
    ("new", "OUT.toml"),
    ("verify", "--page", "OUT.md"),
    ("picture", "IN", "-o", "OUT.png"),
    ("picture", "IN", "-o", "other.svg", "-o", "OUT.png"),
    ("animate", "IN", "-o", "OUT.html"),
    ("chart", "IN", "-o", "OUT.csv"),
    ("filling", "IN", "-o", "OUT.gif"),
    ("forces", "IN", "-o", "OUT.csv"),
    ("fit", "IN", "records.csv", "-o", "OUT.toml"),
    ("fit", "case.toml", "IN", "-o", "OUT.csv"),
    ("sheet", "IN", "-o", "OUT.pdf"),
    ("sheet", "case.toml", "--records", "IN", "-o", "OUT.html"),
    ("sheet", "case.toml", "--records", "records.csv", "--limits", "IN", "-o", "OUT.html"),
    ("compare", "IN", "case.toml", "-o", "OUT.png"),
    ("compare", "case.toml", "IN", "-o", "OUT.png"),
    ("records", "IN", "-o", "OUT.csv"),
    ("records", "IN", "--pictures", "OUT.pdf"),
    ("records", "records.csv", "--case", "IN", "-o", "OUT.json"),
    ("records", "records.csv", "--limits", "IN", "-o", "OUT.json"),
    ("records", "IN", "--case", "case.toml", "--curve", "manifold valve", "--pictures", "OUT.png"),
)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "case.toml").write_text(STARTER, encoding="utf-8")
    (tmp_path / "records.csv").write_bytes(RECORDS.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(words: tuple[str, ...], source: str, target: Callable[[str], str]) -> tuple[Result, str]:
    """Run a command with an input, and an output that is made of the name it has in the table above."""
    name = next(target(w.removeprefix("OUT")) for w in words if w.startswith("OUT"))
    filled = [source if w == "IN" else name if w.startswith("OUT") else w for w in words]
    return CliRunner().invoke(main, [*filled, "--force"]), name


def refused(got: Result, words: str) -> None:
    assert got.exit_code == 2, got.output
    assert isinstance(got.exception, SystemExit), got.exception
    assert words in got.stderr
    assert got.stderr.count("\n") == 1
    assert got.stdout == ""


def linked(kind: str, source: Path, name: str) -> str:
    if kind == "itself":
        return str(source)
    if kind == "other spelling":
        return str(source.parent / "." / ".." / source.parent.name / source.name)
    if kind == "link":
        Path(name).symlink_to(source)
    elif kind == "link to a link":
        Path("between").symlink_to(source)
        Path(name).symlink_to("between")
    elif kind == "other name":
        os.link(source, name)
    return name


@POSIX
@pytest.mark.parametrize("kind", ["itself", "other spelling", "link", "link to a link", "other name"])
@pytest.mark.parametrize("words", [w for w in WRITERS if "IN" in w], ids=" ".join)
def test_an_input_is_not_written_over(words: tuple[str, ...], kind: str, folder: Path) -> None:
    ending = next(w for w in words if w.startswith("OUT")).removeprefix("OUT")
    text = LIMITS.read_bytes() if "--limits" in words else (folder / "case.toml").read_bytes()
    source = folder / f"source{ending}"
    source.write_bytes(text)
    got, _ = run(words, str(source), lambda e: linked(kind, source, f"out{e}"))
    refused(got, "which this command reads: name another file")
    assert source.read_bytes() == text
    assert not Path("other.svg").exists()


@POSIX
@pytest.mark.parametrize("kind", ["folder", "pipe", "device", "socket", "loop of links", "null"])
@pytest.mark.parametrize("words", WRITERS, ids=" ".join)
def test_only_files_are_written(words: tuple[str, ...], kind: str, folder: Path) -> None:
    held = []
    terminal = os.openpty()

    def target(ending: str) -> str:
        path = Path(f"out{ending}")
        if kind == "folder":
            path.mkdir()
        elif kind == "pipe":
            os.mkfifo(path)
        elif kind == "device":
            path.symlink_to(os.ttyname(terminal[1]))  # one of our own: a fault would replace it
        elif kind == "socket":
            held.append(socket.socket(socket.AF_UNIX))
            held[0].bind(str(path))
        elif kind == "loop of links":
            path.symlink_to("round")
            Path("round").symlink_to(path)
        return f"o\0{ending}" if kind == "null" else str(path)

    source = {"--records": "records.csv", "records": "records.csv"}.get(
        words[words.index("IN") - 1] if "IN" in words else "", "case.toml"
    )
    got, _ = run(words, source, target)
    for each in held:
        each.close()
    for number in terminal:
        os.close(number)
    assert got.exit_code == 2
    assert isinstance(got.exception, SystemExit), got.exception
    assert "cannot be written" in got.stderr
    assert not list(folder.glob(".surge-*"))


def test_two_cases_side_by_side_have_no_table(folder: Path) -> None:
    got = CliRunner().invoke(main, ["compare", "case.toml", "case.toml", "-o", str(folder / "out.csv")])
    refused(got, "end the name with one of .png, .svg, .pdf")


def test_what_was_read_on_the_way_is_not_written_over(folder: Path) -> None:
    """A file of rules is named by the case, so that it is known only after the case was read."""
    start_reading()
    read_input("records.csv", most=10)
    with pytest.raises(SystemExit):
        write_file(Path("records.csv"), "lost")
    assert Path("records.csv").read_bytes() == RECORDS.read_bytes()
    start_reading()
    write_file(Path("records.csv"), "another command")
    assert Path("records.csv").read_text(encoding="utf-8") == "another command"


def test_a_link_that_leads_nowhere_is_filled(folder: Path) -> None:
    if sys.platform != "win32":
        Path("out.toml").symlink_to("new.toml")
        assert CliRunner().invoke(main, ["new", "out.toml"]).exit_code == 0
        assert Path("new.toml").read_text(encoding="utf-8") == STARTER

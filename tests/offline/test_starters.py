"""The texts that start the program by double click; what breaks on Windows is looked for in their letters."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from surge.offline.starters import install_line, read_me, starter
from surge.offline.wheels import Target

WINDOWS, LINUX = Target(system="windows", python="3.11"), Target(system="linux", python="3.11")
BATCH = starter(WINDOWS, "0.2.0")
LINES = BATCH.decode("ascii").split("\r\n")


@pytest.mark.parametrize("content", [BATCH, read_me(WINDOWS, "0.2.0")])
def test_a_text_for_windows_has_its_line_ends_and_plain_letters(content: bytes) -> None:
    content.decode("ascii")  # no mark at the beginning, nothing that goes by a code page
    assert content.count(b"\r\n") == content.count(b"\n") == content.count(b"\r")
    assert content.endswith(b"\r\n")
    assert b"@" not in content.removeprefix(b"@echo off").replace(b"@echo", b"")
    assert b"\t" not in content


def test_every_jump_of_the_batch_file_has_its_label() -> None:
    labels = {line.removeprefix(":") for line in LINES if line.startswith(":")}
    jumps = {m[1] for line in LINES if (m := re.search(r"\bgoto (\w+)", line))}
    assert jumps <= labels
    # A label is jumped to, or what stands before it runs into it.
    assert labels - jumps == set()


def test_names_of_folders_are_quoted_and_no_block_stands_in_brackets() -> None:
    assert LINES[0] == "@echo off"
    assert "setlocal DisableDelayedExpansion" in LINES  # else a ! in a name would vanish
    for line in LINES:
        assert line.count('"') % 2 == 0, line
        outside = re.sub(r'"[^"]*"', "", line)
        assert not re.search(r"%(here|environment|~dp0)", outside), line
        if not line.startswith(("echo ", "rem ")):
            assert "(" not in outside, line  # a block: a bracket in a name would end it
            assert ")" not in outside, line
        assert len(line) < 8000  # of a command line on Windows


def test_what_the_batch_file_runs() -> None:
    text = "\n".join(LINES)
    assert (
        '-m pip --isolated install --quiet --disable-pip-version-check --no-index --find-links "%here%wheels"'
        in text
    )
    assert '"surge[page]==0.2.0"' in text
    assert "sys.version_info[:2] != (3, 11)" in text
    assert text.count("exit /b") == text.count("pause") + 2  # who double clicks sees why it ended
    # A digit before > would be the number of a stream.
    assert not re.search(r"\d>", text.replace("2>nul", ""))
    installs, marks = text.index("--no-index"), text.index('> "%environment%\\installed')
    assert installs < text.index("goto failed") < marks


def test_the_line_by_hand() -> None:
    assert install_line("0.2.0") == "pip install --no-index --find-links wheels surge[page]==0.2.0"
    assert install_line("0.2.0").encode() in read_me(LINUX, "0.2.0")


# The text for Linux is run.

SH = shutil.which("sh")


def ship(folder: Path, *, installed: bool) -> Path:
    folder.mkdir()
    (folder / "surge.sh").write_bytes(starter(LINUX, "0.2.0"))
    if installed:
        binaries = folder / "environment" / "bin"
        binaries.mkdir(parents=True)
        (folder / "environment" / "installed-0.2.0.txt").touch()
        python = binaries / "python"
        python.write_text('#!/bin/sh\nfor word in "$@"; do echo "<$word>"; done\nexit 3\n', encoding="ascii")
        python.chmod(0o755)
    return folder / "surge.sh"


@pytest.mark.skipif(SH is None or os.name == "nt", reason="there is no sh here")
@pytest.mark.parametrize("name", ["ship", "a ship (2) & more's"])
def test_the_shell_text_starts_the_page_or_hands_words_on(tmp_path: Path, name: str) -> None:
    script = ship(tmp_path / name, installed=True)
    assert SH is not None
    for words, expected in (((), ["<page>"]), (("check", "my berth.toml"), ["<check>", "<my berth.toml>"])):
        done = subprocess.run([SH, str(script), *words], capture_output=True, text=True, check=False)
        assert done.stdout.split("\n")[:-1] == ["<-m>", "<surge>", *expected]
        assert done.returncode == 3


@pytest.mark.skipif(SH is None or os.name == "nt", reason="there is no sh here")
def test_the_shell_text_without_python_says_so(tmp_path: Path) -> None:
    script = ship(tmp_path / "ship", installed=False)
    assert SH is not None
    (tmp_path / "bin").mkdir()
    for tool in ("dirname",):
        (tmp_path / "bin" / tool).symlink_to(str(shutil.which(tool)))
    done = subprocess.run(
        [SH, str(script)], capture_output=True, text=True, check=False, env={"PATH": str(tmp_path / "bin")}
    )
    assert done.returncode == 1
    assert "Python 3.11 (64 bit) is not there" in done.stderr
    assert not (script.parent / "environment").exists()

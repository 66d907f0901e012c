"""The folder: whole or not at all; what pip leaves out is asked for."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner

import surge
from surge.cli.main import main
from surge.errors import ArgumentError, RequestError
from surge.offline import collect as module
from surge.offline.collect import by_pip, collect
from surge.offline.wheels import Target, missing, wheels_in

WINDOWS = Target(system="windows", python="3.11")


def put(folder: Path, name: str, version: str, *needs: str) -> None:
    with zipfile.ZipFile(folder / f"{name}-{version}-py3-none-any.whl", "w") as packed:
        lines = [f"Name: {name}", f"Version: {version}", *(f"Requires-Dist: {need}" for need in needs), ""]
        packed.writestr(f"{name}-{version}.dist-info/METADATA", "\n".join(lines))


class Index:
    """Stands for pip: brings all that the program needs, but judges conditions as Linux."""

    def __init__(self) -> None:
        self.asked: list[list[str]] = []

    def __call__(self, needed: Sequence[str], folder: Path) -> None:
        self.asked.append(list(needed))
        for need in missing(wheels_in(folder), Target(system="linux", python="3.11")):
            name = need.split(">")[0].split("<")[0]
            extra = ('colorama; platform_system == "Windows"',) if name == "click" else ()
            put(folder, name, "0.15.5" if name == "typst" else "99.0", *extra)
        if "colorama" in needed:
            put(folder, "colorama", "0.4")


def test_a_folder_is_made_whole_with_what_only_windows_needs(tmp_path: Path) -> None:
    index = Index()
    made = collect(tmp_path / "ship", WINDOWS, download=index)
    assert len(index.asked) == 2
    assert index.asked[0][0].endswith(f"surge-{surge.__version__}-py3-none-any.whl[page]")
    assert index.asked[1][1:] == ["colorama"]
    assert "colorama-0.4-py3-none-any.whl" in made.wheels
    assert sorted(p.name for p in (tmp_path / "ship").iterdir()) == [
        "READ-ME-FIRST.txt",
        "surge.bat",
        "wheels",
    ]
    assert [p.name for p in tmp_path.iterdir()] == ["ship"]
    assert made.size == sum(p.stat().st_size for p in (tmp_path / "ship" / "wheels").iterdir())


def test_nothing_is_left_where_wheels_cannot_be_had(tmp_path: Path) -> None:
    def nothing(needed: Sequence[str], folder: Path) -> None:
        del needed, folder

    def broken(needed: Sequence[str], folder: Path) -> None:
        raise RequestError("no index")

    for download, said in ((nothing, "does not fit"), (broken, "no index")):
        with pytest.raises(RequestError, match=said):
            collect(tmp_path / "ship", WINDOWS, download=download)
        assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_in_use_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "mine.txt").touch()
    (tmp_path / "file").touch()
    for name, said in (("used", "not empty"), ("file", "no folder"), ("no/where", "there is no folder")):
        with pytest.raises(RequestError, match=said):
            collect(tmp_path / name, WINDOWS, download=Index())
    assert [p.name for p in (tmp_path / "used").iterdir()] == ["mine.txt"]


def test_pip_is_asked_for_wheels_of_the_other_system_and_its_words_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[list[str]] = []

    def run(command: list[str], **more: object) -> subprocess.CompletedProcess[str]:
        del more
        seen.append(command)
        return subprocess.CompletedProcess(command, 1, "", "one\n\nERROR: No matching distribution\n")

    monkeypatch.setattr(module.subprocess, "run", run)
    with pytest.raises(RequestError, match=r"No matching distribution.*package index"):
        by_pip(WINDOWS)(["x"], tmp_path)
    (command,) = seen
    assert command[:4] == [sys.executable, "-m", "pip", "download"]
    assert command[command.index("--platform") + 1] == "win_amd64"
    assert "--only-binary=:all:" in command


def test_what_is_asked_wrongly() -> None:
    with pytest.raises(ArgumentError, match=r"3\.11 on"):
        surge.pack_offline("ship", system="windows", python="2.7")
    result = CliRunner().invoke(main, ["offline", "ship", "--system", "mac"])
    assert result.exit_code == 2
    assert "windows, linux" in result.stderr

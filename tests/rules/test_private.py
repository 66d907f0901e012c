"""A file of rules that a case names: where it may be, and that a refusal shows nothing of its contents."""

from __future__ import annotations

import json
import os
import random
import sys
from dataclasses import asdict
from pathlib import Path

import pytest
from support.demos import CASES
from support.inputs.case_text import STARTER

from surge.api.inputs import rules_of_case
from surge.case.file import load_case
from surge.errors import CaseError
from surge.rules.reading import load_rules
from surge.toml.faults import describe, format_faults
from surge.toml.text import FileError

RULES = (CASES / "rules" / "product-berth.toml").read_text(encoding="utf-8")
SECRET = "zq9x7"  # stands nowhere else


def with_rules(folder: Path, name: str) -> Path:
    path = folder / "case.toml"
    path.write_text(f"{STARTER}\n[rules]\nfile = '{name}'\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("name", ["rules.toml", "below/rules.toml", "./below/../below/rules.toml"])
def test_beside_the_case_or_below(name: str, tmp_path: Path) -> None:
    (tmp_path / "below").mkdir()
    for place in ("rules.toml", "below/rules.toml"):
        (tmp_path / place).write_text(RULES, encoding="utf-8")
    if ".." in name:
        with pytest.raises(CaseError):
            load_case(with_rules(tmp_path, name))
    else:
        assert rules_of_case(load_case(with_rules(tmp_path, name))).rules


@pytest.mark.parametrize(
    "name",
    ["/etc/passwd", "../rules.toml", "C:/rules.toml", "C:rules.toml", "\\\\server\\rules.toml", "..\\x"],
)
def test_another_folder_is_refused_by_name(name: str, tmp_path: Path) -> None:
    with pytest.raises(FileError) as caught:
        load_case(with_rules(tmp_path, name))
    (fault,) = caught.value.faults
    assert fault.path == ("rules", "file")


@pytest.mark.skipif(sys.platform == "win32", reason="links and pipes as files")
@pytest.mark.parametrize("kind", ["folder", "pipe", "device", "link", "link of a folder"])
def test_what_is_no_file_below_is_never_opened(kind: str, tmp_path: Path) -> None:
    """A pipe that nobody writes to would wait for ever; a device has no end."""
    home, away = tmp_path / "home", tmp_path / "away"
    for folder in (home, away):
        folder.mkdir()
    (away / "rules.toml").write_text(RULES, encoding="utf-8")
    name, path = "rules.toml", home / "rules.toml"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "link":
        path.symlink_to(away / "rules.toml")
    else:
        (home / "below").symlink_to(away)
        name = "below/rules.toml"
    case = load_case(with_rules(home, name))
    with pytest.raises(FileError) as caught:
        rules_of_case(case)
    assert caught.value.file.filename == case.filename
    (fault,) = caught.value.faults
    assert fault.path == ("rules", "file")


def _spoilt(dice: random.Random) -> str:
    """The rules with secrets in the place of values, lines and parts of lines."""
    lines = RULES.split("\n")
    for _ in range(dice.choice([1, 2, 5, 30])):
        k = dice.randrange(len(lines))
        key, equals, _ = lines[k].partition("=")
        spoilt = [f"{SECRET}:x:0:0:{SECRET}", f"# {SECRET}", f"[[{SECRET}", f"2026-02-31 {SECRET}", "\x00"]
        if equals:
            values = (
                SECRET,
                f'"{SECRET}"',
                f'["{SECRET}"]',
                f'"9 {SECRET}"',
                f'"{SECRET}',
                f"9 {SECRET}",
                "1e-400",
            )
            spoilt += [f"{key}= {value}" for value in values] * 3
        lines[k] = dice.choice(spoilt)
    return "\n".join(lines)


def test_a_refusal_shows_nothing_of_the_file(tmp_path: Path) -> None:
    """Seeded: 150 files with secrets in them; the same files are shown where the user names them."""
    path, shown = tmp_path / "rules.toml", 0
    for seed in range(150):
        path.write_text(_spoilt(random.Random(seed)), encoding="utf-8")
        try:
            load_rules(path)
        except FileError as error:
            shown += SECRET in format_faults(error)
        else:
            continue
        with pytest.raises(FileError) as caught:
            load_rules(path, private=True)
        error = caught.value
        told = format_faults(error) + json.dumps([asdict(r) for r in describe(error)]) + str(error)
        assert SECRET not in told, seed
        assert all(record.line >= 1 and not record.source for record in describe(error))
    assert shown > 100

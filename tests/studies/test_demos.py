"""The studies of ``cases/studies`` are sound, their page names every key, and they show what they say."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from support.studies import no_rules

from surge.api.study import run_study
from surge.case.file import load_case
from surge.studies.file import load_study
from surge.studies.schema import study_schema

FOLDER = Path(__file__).parents[2] / "cases" / "studies"
BERTHS = ("berth-north", "berth-south")
STUDIES = {
    "how-sure-is-21-s": (3, 120),
    "which-figure-matters": (1, 384),
    "windows-of-two-berths": (4, 4),
}
PAGE = (FOLDER / "README.md").read_text(encoding="utf-8")


def test_every_file_is_known() -> None:
    assert sorted(p.stem for p in FOLDER.glob("*.toml")) == sorted((*BERTHS, *STUDIES))
    assert all(f"`{name}.toml`" in PAGE for name in (*BERTHS, *STUDIES))


@pytest.mark.parametrize("name", BERTHS)
def test_the_berths_are_cases(name: str) -> None:
    assert load_case(FOLDER / f"{name}.toml").lineup.scenarios


@pytest.mark.parametrize("name", STUDIES)
def test_the_studies_are_sound(name: str) -> None:
    study = load_study(FOLDER / f"{name}.toml", rules_of=no_rules)
    assert (study.cells, study.runs) == STUDIES[name]


def keys(schema: dict[str, Any]) -> set[str]:
    found = set(schema["properties"])
    for part in schema["$defs"].values():
        found |= set(part["properties"])
    return found


def test_the_page_names_every_key() -> None:
    named = set(re.findall(r"`(?:\[+(?:\w+\.)*)?(\w+)\]*`", PAGE))
    assert sorted(keys(study_schema()) - named) == []


def changed(folder: Path, *changes: tuple[str, str]) -> Path:
    """The study of 21 s with texts replaced, with its case beside it."""
    shutil.copy(FOLDER / "berth-north.toml", folder)
    text = (FOLDER / "how-sure-is-21-s.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


STROKES = 'values = ["17 s", "21 s", "25 s"]'


@pytest.mark.slow
def test_21_s_is_sure_as_far_as_40_runs_can_tell(tmp_path: Path) -> None:
    answer = run_study(changed(tmp_path, (STROKES, 'values = ["21 s"]')))
    (middle,) = answer.summary.cells
    assert middle.count.kept == 40
    assert middle.chance is not None
    assert middle.chance.high == pytest.approx(1.0 - 0.025 ** (1 / 40))  # the closed form at no failure
    assert "in 91.1 % or more" in " ".join(answer.text().split())
    assert "8.9 %" in (FOLDER / "how-sure-is-21-s.toml").read_text(encoding="utf-8")
    assert answer.exit_code == 0


@pytest.mark.slow
def test_17_s_is_too_short_now_and_then_and_25_s_is_not(tmp_path: Path) -> None:
    """Ten runs of each show it: the verdicts of both kinds, and none but kept."""
    only = STROKES, 'values = ["17 s", "25 s"]'
    answer = run_study(changed(tmp_path, only, ("count = 40", "count = 10")))
    short, long = answer.summary.cells
    assert short.count.exceeded > 0
    assert short.count.kept > 0
    assert long.count.kept == 10
    assert answer.exit_code == 3


@pytest.mark.slow
def test_stroke_and_kv_matter_and_roughness_does_not(tmp_path: Path) -> None:
    answer = run_study(FOLDER / "which-figure-matters.toml", into=tmp_path)
    total = {i.name: i.total for i in answer.summary.matters[0].indices}
    assert total["stroke"] > total["Kv of the manifold valve"] > 0.1
    assert max(total["rate"], total["roughness"]) < 0.05
    assert answer.exit_code == 4

"""What scripts and notebooks call gives what the commands give."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.demos import Demos

import surge
from surge.cli.main import main

ROOT = Path(__file__).parents[1]
CASE = ROOT / "cases" / "restart-into-a-shut-deck-line.toml"
CLOSING = ROOT / "cases" / "gas-oil-release-coupling.toml"
RECORDS, LIMITS = ROOT / "cases" / "records" / "stroke-tests.csv", ROOT / "cases" / "records" / "limits.toml"


@pytest.fixture(scope="module")
def case(demos: Demos) -> surge.Case:
    return demos[CASE.stem].case


@pytest.fixture(scope="module")
def checked(demos: Demos) -> surge.Assessment:
    return demos[CASE.stem].answer


def printed(*arguments: object) -> str:
    return CliRunner().invoke(main, [str(a) for a in arguments]).stdout


def test_a_check_in_words(case: surge.Case, checked: surge.Assessment) -> None:
    assert surge.report(checked, case) + "\n" == printed("check", CASE)
    assert surge.report(checked, case, details=True) + "\n" == printed("check", CASE, "--details")
    assert surge.report(checked) == checked.text()
    with pytest.raises(ValueError, match="this answer was made from"):
        surge.report(checked, surge.load_case(CLOSING))


@pytest.mark.parametrize("of", ["time", "line", "map"])
def test_pictures(case: surge.Case, checked: surge.Assessment, of: str, tmp_path: Path) -> None:
    picture = surge.draw(checked, case, of=of, kind="svg")
    picture.save(tmp_path / "library.svg")
    printed("picture", CASE, "--of", of, "-o", tmp_path / "command.svg")
    assert (tmp_path / "library.svg").read_bytes() == (tmp_path / "command.svg").read_bytes()
    assert picture._repr_svg_() == picture.content.decode()
    assert picture._repr_png_() is None


def test_a_picture_of_what_is_not_there_is_refused(case: surge.Case, checked: surge.Assessment) -> None:
    with pytest.raises(surge.SurgeError, match="no such scenario"):
        surge.draw(checked, case, scenario="there is none")


@pytest.mark.slow
def test_windows_and_chart(tmp_path: Path) -> None:
    one, _, reduced = CLOSING.read_text(encoding="utf-8").rpartition("[[scenario]]\nname")
    assert "release at reduced rate" in reduced
    path = tmp_path / "closing.toml"
    path.write_text(one, encoding="utf-8")
    case = surge.load_case(path)
    windows = surge.find_windows(case, shortest=4.0, longest=20.0)
    text = printed("window", path, "--shortest", "4 s", "--longest", "20 s")
    assert surge.report(windows, case) + "\n" == text
    chart = surge.survey(case, points=3)
    file = tmp_path / "chart.png"
    assert surge.report(chart, case) + "\n" == printed("chart", path, "--points", 3, "--output", file)
    assert surge.draw_chart(chart, case)._repr_png_() == file.read_bytes()


def test_records(tmp_path: Path) -> None:
    answer = surge.judge_records(RECORDS, limits=LIMITS, today=date(2026, 2, 20))
    text = printed("records", RECORDS, "--limits", LIMITS, "--today", "2026-02-20")
    assert text == surge.report(answer) + "\n"
    (page,) = surge.draw_records(answer)
    assert page.content.startswith(b"\x89PNG")


def test_a_start_of_the_library_loads_nothing_heavy() -> None:
    script = "import surge, sys; surge.__all__\n"
    script += "print([m for m in ('numpy', 'numba', 'matplotlib', 'scipy', 'pydantic') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"

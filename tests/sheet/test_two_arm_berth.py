"""An ordinary berth of our own invention: a tanker of 30 000 t with two arms and four drop lines.

Every figure is the case's own and every limit is kept at all three stages, so that its sheet can be signed.
What its pages hold is measured in the PDF: no word lies over another, none runs off the page.
"""

from __future__ import annotations

import itertools
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from support.sheets import html_of, sheet

import surge
from surge.case.file import Case, load_case
from surge.rules.assess import Assessment
from surge.rules.findings import WITHIN
from surge.search.movers import closing_valves, held_beside, moved_together
from surge.search.rates import RateLimit
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows
from surge.sheet.data import TO_SIGN, Sheet
from surge.sheet.sketch import sketch
from surge.sheet.typeset import sheet_pdf

BERTH = Path(__file__).parents[1] / "support" / "inputs" / "two_arm_berth.toml"
PDFTOTEXT = shutil.which("pdftotext")
WORD = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>')
PAGE = re.compile(r'width="([\d.]+)" height="([\d.]+)"')
Box = tuple[float, float, float, float, str]


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(BERTH)


@pytest.fixture(scope="module")
def checked(case: Case) -> Assessment:
    return surge.check(case, remedies=False)


@pytest.fixture(scope="module")
def signed(case: Case, checked: Assessment) -> Sheet:
    return sheet(case, windows(case, checked), assessment=checked)


def windows(case: Case, checked: Assessment) -> Windows:
    """Windows as `surge window` told them once, which takes minutes: here they only fill the sheet."""
    lineup = case.lineup
    among = ["jetty ESD valve", "manifold valve 1", "manifold valve 2"]
    by_valve: dict[str, list[StrokeLimits]] = {name: [] for name in among}
    for scenario in lineup.scenarios:
        for valve, stroke in closing_valves(lineup, scenario).items():
            if valve not in among:
                continue
            together = moved_together(lineup, scenario, valve, among)
            mistake = scenario.ordered is None
            by_valve[valve].append(
                StrokeLimits(
                    valve=valve,
                    scenario=scenario.name,
                    period=2.0,
                    stroke=stroke,
                    shortest=14.4 if mistake else 6.7,
                    from_=1.0,
                    to=120.0,
                    governs=checked.weakest,
                    run=next(r for r in checked.scenarios if r.name == scenario.name),
                    looked=(),
                    longest=None if mistake else 29.0,
                    slow_rule=None,
                    reason="",
                    verdict=WITHIN,
                    together=together,
                    held=held_beside(lineup, scenario, together),
                )
            )
    rates = [
        RateLimit(scenario=s.name, agreed=1400 / 3600, greatest=2186 / 3600, to=0.78, governs=None)
        for s in lineup.scenarios[:1]
    ]
    return Windows(by_valve={v: tuple(parts) for v, parts in by_valve.items()}, rates=tuple(rates))


def test_every_limit_is_kept_at_every_stage(checked: Assessment) -> None:
    assert checked.verdict == WITHIN
    names = {s.name for s in checked.lineup.scenarios}
    assert {"emergency shutdown, at the start", "emergency shutdown, while topping off"} <= names
    assert len([e for e in checked.lineup.elements if e.name.startswith(("branch", "drop", "deck"))]) == 14


def test_its_sheet_can_be_signed(case: Case, signed: Sheet) -> None:
    assert (signed.signable, signed.standing) == (True, TO_SIGN)
    assert (signed.parcel, signed.ship) == ("30000 t", "Tanker of the example")
    web = html_of(case, signed)
    assert "For the ship" in web
    assert "manifold valve 1, manifold valve 2" in web  # told once, where they are bounded alike
    assert any("both with one stroke, in all scenarios" in note for note in signed.window_notes)


@pytest.mark.skipif(PDFTOTEXT is None, reason="needs the program pdftotext, which does not come with surge")
def test_no_word_lies_over_another_or_off_the_page(case: Case, signed: Sheet, tmp_path: Path) -> None:
    assert PDFTOTEXT is not None
    file = tmp_path / "sheet.pdf"
    file.write_bytes(sheet_pdf(signed.document(), sketch(case.lineup, words=signed.line_up)))
    told = subprocess.run([PDFTOTEXT, "-bbox", file, "-"], capture_output=True, text=True, check=True).stdout
    pages = told.split("<page ")[1:]
    assert len(pages) <= 4
    for page in pages:
        size = PAGE.match(page)
        assert size
        width, height = map(float, size.groups())
        words: list[Box] = [(*map(float, w[:4]), w[4]) for w in WORD.findall(page)]  # type: ignore[misc]
        assert len(words) > 100
        assert all(w[0] > 0 and w[2] < width and w[1] > 0 and w[3] < height for w in words)
        assert [(a[4], b[4]) for a, b in itertools.combinations(words, 2) if over(a, b)] == []
    first = " ".join(w[4] for w in WORD.findall(pages[0]))
    for said in ("Shutdown chain", "For the ship", "For the terminal", "each closes", "Parcel 30000 t"):
        assert said in first


def over(a: Box, b: Box) -> bool:
    """Whether two words lie over one another by more than what lines of a text share in height."""
    wide, high = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    return wide > 0.5 and high > 0.35 * min(a[3] - a[1], b[3] - b[1])


def test_words_over_one_another_are_found() -> None:
    word: Box = (10.0, 10.0, 30.0, 18.0, "word")
    assert over(word, (28.0, 11.0, 50.0, 19.0, "over"))
    assert not over(word, (31.0, 10.0, 50.0, 18.0, "beside"))
    assert not over(word, (10.0, 17.0, 30.0, 25.0, "below"))

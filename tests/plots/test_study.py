"""Pictures of studies: what is drawn is what was counted, and words say all of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.drawn import caught, words_in
from support.studies import HEAD, RATE, SAMPLES, SPEED, written

from surge.api.study import StudyAnswer, run_study
from surge.errors import RequestError
from surge.plots.study import study_files
from surge.reports.words import Display
from surge.studies.summary import Count, Searched, Summary
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=1000.0)


@pytest.fixture(scope="module")
def looks(tmp_path_factory: pytest.TempPathFactory) -> StudyAnswer:
    text = (HEAD + SAMPLES + RATE + SPEED).replace('"300 m3/h"]', '"330 m3/h"]')
    return run_study(written(tmp_path_factory.mktemp("looks"), text))


def drawn(
    answer: StudyAnswer, of: Any, patch: pytest.MonkeyPatch, made: Summary | None = None
) -> tuple[Any, str]:
    """The page of a picture with all of its words."""
    with caught(patch) as pages:
        study_files(of, made or answer.summary, DISPLAY, answer.signature, kinds=("png",))
    return pages[0], "\n".join(words_in(pages[0]))


def test_a_study_offers_what_it_has(looks: StudyAnswer) -> None:
    assert looks.pictures == ("table", "peaks")
    with pytest.raises(RequestError, match="it has table, peaks"):
        looks.draw("matters")


def test_the_table_has_every_line_up_with_its_counts(
    looks: StudyAnswer, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, words = drawn(looks, "table", monkeypatch)
    for cell in looks.summary.cells:
        assert cell.options[-1] in words
        assert f"{cell.count.kept} of 12 within" in words
    assert looks.summary.cells[1].count.exceeded > 0
    assert f"{looks.summary.cells[1].count.exceeded} BEYOND" in words
    assert "QUICK LOOKS, NO VERDICT" in words
    assert "Quick looks are no verdicts" in words
    assert looks.signature in words


def test_a_page_is_as_high_as_its_table(looks: StudyAnswer, monkeypatch: pytest.MonkeyPatch) -> None:
    """One row takes a low page, on which words and cells are as large as on a full one, and none are cut."""
    page, _ = drawn(looks, "table", monkeypatch)
    whole, _ = drawn(looks, "peaks", monkeypatch)
    low, usual = page.figure.get_size_inches(), whole.figure.get_size_inches()
    assert low[0] == usual[0]
    assert low[1] < 0.6 * usual[1]
    dots = page.figure.dpi
    titles = [each.figure.texts[0].get_window_extent() for each in (page, whole)]
    assert titles[0].height == pytest.approx(titles[1].height)
    assert dots * low[1] - titles[0].y1 == pytest.approx(dots * usual[1] - titles[1].y1)
    axes = page.figure.axes[0]
    room = axes.get_window_extent()
    assert 0.15 * usual[1] < room.height / dots < 0.25 * usual[1]
    for words in (t.get_window_extent() for t in axes.texts):
        assert room.y0 <= words.y0 < words.y1 <= room.y1


def test_the_histogram_holds_every_run_and_the_limit(
    looks: StudyAnswer, monkeypatch: pytest.MonkeyPatch
) -> None:
    page, words = drawn(looks, "peaks", monkeypatch)
    strips = page.figure.axes
    assert len(strips) == 2
    for axes, cell in zip(strips, looks.summary.cells, strict=True):
        assert sum(p.get_height() for p in axes.patches) == cell.count.runs == 12
        limit = next(line for line in axes.get_lines() if len(set(line.get_xdata())) == 1)
        assert float(limit.get_xdata()[0]) == pytest.approx(15.0)
        beyond = sum(p.get_height() for p in axes.patches if p.get_x() >= 15.0)
        assert beyond <= cell.count.exceeded
        assert f"not within limits: {cell.count.unsafe} of 12" in words
    assert "limit 15.00 bar(g)" in words


def test_indices_are_drawn_as_they_are(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    more = SPEED.replace('"wave speed"', '"of the spool"').replace('pipe "line"', 'pipe "spool"')
    text = HEAD + SAMPLES.replace("independent", "saltelli").replace("12", "8") + SPEED + more
    answer = run_study(written(tmp_path, text))
    page, words = drawn(answer, "matters", monkeypatch)
    widths = [p.get_width() for p in page.figure.axes[0].patches]
    shown = sorted(answer.summary.matters[0].indices, key=lambda i: -i.total)
    assert widths == pytest.approx([max(i.total, 0.0) for i in shown] + [max(i.first, 0.0) for i in shown])
    assert f'depends most on "{shown[0].name}"' in words
    assert shown[0].name == "wave speed"


def test_windows_are_told_in_their_cells(looks: StudyAnswer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Open, without an upper end, and empty; an empty one is hatched, and says so."""

    def one(
        k: int, verdict: str, shortest: float | None, longest: float | None, *, is_open: bool
    ) -> Searched:
        window = {
            "valve": "throttle",
            "shortest_s": shortest,
            "longest_s": longest,
            "looked_at_to_s": 120.0,
            "open": is_open,
        }
        rate = {"scenario": "stop", "agreed_m3_s": 0.1, "greatest_m3_s": 0.1234, "looked_at_to_m3_s": 0.2}
        return Searched(
            run=k,
            name=f"rate {k}",
            options=looks.summary.cells[k].options,
            verdict=verdict,
            reason="",
            windows=(window,),
            rates=(rate,),
        )

    found = (
        one(0, "limit kept", 8.5, None, is_open=True),
        one(1, "limit exceeded", 30.0, 20.0, is_open=False),
    )
    study = replace(looks.study, run="window")
    made = replace(looks.summary, study=study, searched=found, count=Count(kept=1, exceeded=1))
    page, words = drawn(looks, "table", monkeypatch, made)
    assert "8.5 s or more" in words
    assert "EMPTY" in words
    assert "up to 444.2 m3/h" in words  # 444.24, rounded down
    assert 'Windows of closing strokes of "throttle"' in words
    assert [bool(p.get_hatch()) for p in page.figure.axes[0].patches] == [False, True]


def test_no_words_lie_on_others_in_a_full_table(looks: StudyAnswer, monkeypatch: pytest.MonkeyPatch) -> None:
    long = "an option of a name that is so long that it can only be cut"
    axis = looks.study.axes[0]
    axes = tuple(
        replace(
            axis,
            name=f"axis {k}",
            options=tuple(replace(axis.options[0], name=f"{j} {long}"[:60]) for j in range(n)),
        )
        for k, n in enumerate((12, 8))
    )
    study = replace(looks.study, axes=axes)
    cell = looks.summary.cells[1]
    cells = tuple(
        replace(cell, cell=c, name=study.name_of(c), options=tuple(o.name for o in study.options(c)))
        for c in range(96)
    )
    page, words = drawn(looks, "table", monkeypatch, replace(looks.summary, study=study, cells=cells))
    assert "2 more rows and 2 more columns" in " ".join(words.split())
    texts = page.figure.axes[0].texts
    boxes = [t.get_window_extent() for t in texts]
    area = np.array([[b.x0, b.y0, b.x1, b.y1] for b in boxes])
    for i in range(len(area)):
        over = (
            (area[:, 0] < area[i, 2] - 1)
            & (area[i, 0] < area[:, 2] - 1)
            & (area[:, 1] < area[i, 3] - 2)
            & (area[i, 1] < area[:, 3] - 2)
        )
        assert [texts[j].get_text() for j in np.flatnonzero(over) if j != i] == [], texts[i].get_text()


def test_the_same_study_gives_the_same_picture(looks: StudyAnswer) -> None:
    for kind in ("png", "svg", "pdf"):
        assert looks.draw("peaks", kind=kind).content == looks.draw("peaks", kind=kind).content

"""Searches where the numerical error of one stroke is more than any stroke has of margin."""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import pytest

from surge.rules.book import RuleBook
from surge.search import strokes
from surge.search.strokes import _Search


class Family:
    """A scenario whose margin hardly follows the stroke, and whose error is great below ``calm`` [s]."""

    opens, period, rise = False, 0.5, 1e5
    lineup = scenario = None
    valves, lineups, minded = ("valve",), (None,), dict[float, Any]()

    def __init__(self, least: float, flat: float, calm: float, error: float) -> None:
        self.least, self.flat, self.calm, self.error = least, flat, calm, error
        self.bench = SimpleNamespace(show_each=lambda least: [self.judge(s) for s in least])

    def with_stroke(self, stroke: float) -> float:
        return stroke

    def hidden(self, stroke: float) -> float:
        return 0.0

    def margins(self, values: Sequence[float]) -> list[float]:
        return [self.flat if stroke >= self.least else -1e4 for stroke in values]

    def margin(self, stroke: float) -> float:
        return self.judge(stroke).margin  # a scan that promises nothing too much

    def judge(self, stroke: float) -> Any:
        margin = self.margins([stroke])[0] - (self.error if stroke < self.calm else 0.0)
        kept = margin >= 0.0
        finding = SimpleNamespace(verdict="limit kept" if kept else "cannot be decided")
        return SimpleNamespace(
            findings=(finding,), kept=kept, kept_by_surge=kept, lacking=-margin, hopeless=False,
            broken_rule=None, run=None, margin=margin,
        )  # fmt: skip


@pytest.mark.parametrize("error", [8e3, 12e3])
def test_an_error_above_every_margin_does_not_hide_the_strokes_behind_it(
    error: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(strokes, "longest_allowed", lambda *a, **k: (None, None))
    family: Any = Family(least=5.0, flat=6e3, calm=8.0, error=error)
    judged, told = _Search(family, 1.0, 120.0, RuleBook(rules=())).confirmed()
    assert judged.kept
    assert told is not None
    assert 8.0 <= told <= 8.0 * strokes.LONGER**2


def test_where_no_stroke_is_kept_none_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(strokes, "longest_allowed", lambda *a, **k: (None, None))
    family: Any = Family(least=5.0, flat=6e3, calm=1e9, error=8e3)
    judged, told = _Search(family, 1.0, 120.0, RuleBook(rules=())).confirmed()
    assert told is None
    assert not judged.kept

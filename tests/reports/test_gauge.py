"""Figures that would explain a reading, in words."""

from __future__ import annotations

import pytest

from surge.reports.gauge import explained
from surge.reports.words import Display
from surge.rules.suspects import Explanation
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=800.0)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.25, 0.75, "higher than in the case by 0.2 m to 0.8 m"),
        (-0.75, -0.25, "lower than in the case by 0.2 m to 0.8 m"),
        (-0.5, -0.5, "lower than in the case by 0.5 m"),
    ],
)
def test_a_level_is_told_as_higher_or_lower(low: float, high: float, words: str) -> None:
    one = Explanation(subjects=("no. 2 port",), quantity="level", low=low, high=high, given=0.0)
    assert explained(one, DISPLAY) == f'the level in "no. 2 port" {words}'

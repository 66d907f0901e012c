"""Robust lines against hand-worked figures, a plain second solution and the library's own numbers."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kendalltau, theilslopes

from surge.valves.trend import crossing, monotone, robust_trend


def test_worked_by_hand() -> None:
    # Slopes of the six pairs: 1, 2, 10/3, 3, 4.5, 6; their median (3 + 10/3) / 2.
    found = robust_trend([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 4.0, 10.0])
    assert found.slope == pytest.approx(19 / 6, rel=1e-15)
    assert (found.at, found.level) == (1.5, 2.5)
    assert found.value(1.5) == 2.5


def test_one_wild_figure_hardly_moves_it() -> None:
    x = [float(k) for k in range(9)]
    y = [20.0 - 0.5 * k for k in x]
    y[4] = 60.0
    found = robust_trend(x, y)
    assert found.slope == pytest.approx(-0.5)
    assert float(np.polyfit(x, y, 1)[0]) == pytest.approx(-0.5)  # the middle: a least-squares slope keeps too
    y[4], y[8] = 18.0, 60.0
    assert robust_trend(x, y).slope == pytest.approx(-0.5)
    assert float(np.polyfit(x, y, 1)[0]) > 2.0


def test_example_of_a_textbook() -> None:
    """Hollander and Wolfe, Nonparametric Statistical Methods, cloud seeding; figures and -0.056 from memory.

    Slopes of the ten pairs, by hand: -0.15, -0.13, -0.08, -0.07, -0.0575, -0.055, -0.045, -0.0333, 0.01
    and 0.04. With five figures the band at 95 % reaches over all of them.
    """
    found = robust_trend([1.0, 2.0, 3.0, 4.0, 5.0], [1.26, 1.27, 1.12, 1.16, 1.03])
    assert found.slope == pytest.approx(-0.05625, rel=1e-12)
    assert found.slope == pytest.approx(-0.056, abs=0.0005)
    assert (found.low, found.high) == (pytest.approx(-0.15), pytest.approx(0.04))
    assert not found.sure


figures = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 400)), min_size=1, max_size=14).map(
    lambda pairs: ([float(x) for x, _ in pairs], [y / 10 for _, y in pairs])
)


@given(figures)
@settings(deadline=None)
def test_slope_is_the_median_of_all_pairs(data: tuple[list[float], list[float]]) -> None:
    x, y = data
    found = robust_trend(x, y)
    pairs = itertools.combinations(range(len(x)), 2)
    slopes = [(y[j] - y[i]) / (x[j] - x[i]) for i, j in pairs if x[i] != x[j]]
    if len(set(x)) < 3:
        assert found.slope is None
        assert found.reason
        return
    assert found.slope == pytest.approx(float(np.median(slopes)), abs=1e-9)
    if found.low is None:
        assert found.high is None
        assert "too few" in found.reason or "too many equal" in found.reason
    else:
        assert found.high is not None
        assert found.low <= found.slope <= found.high
        assert (found.low, found.high) == tuple(theilslopes(y, x, alpha=0.95))[2:]


@pytest.mark.parametrize(("n", "banded"), [(3, False), (4, False), (5, True), (6, True)])
def test_a_band_only_where_the_exact_test_could_be_significant(n: int, banded: bool) -> None:
    x, y = [float(k) for k in range(n)], [float(k * k) for k in range(n)]
    assert (robust_trend(x, y).low is not None) is banded
    assert bool(kendalltau(x, y, method="exact").pvalue <= 0.05) is banded


def test_repeats_at_few_dates() -> None:
    # 2 * (2! 2! 2!) / 6! = 0.022: three dates with two figures each allow a band.
    x = [0.0, 0.0, 1.0, 1.0, 2.0, 2.0]
    found = robust_trend(x, [1.0, 1.1, 2.0, 2.2, 3.0, 3.3])
    assert found.times == 3
    assert found.low is not None
    assert robust_trend(x[:5], [1.0, 1.1, 2.0, 2.2, 3.0]).low is None  # 2 * 4 / 120 = 0.067


@pytest.mark.parametrize("x", [[5.0], [5.0] * 6, [1.0, 2.0], [1.0, 2.0, 1.0, 2.0]])
def test_too_few_dates_say_so(x: list[float]) -> None:
    found = robust_trend(x, [20.0 + k for k in range(len(x))])
    assert found.slope is found.low is found.high is None
    assert "no trend" in found.reason
    assert found.value(100.0) == found.level
    assert crossing(found, limit=99.0, upper=True, now=5.0, last=20.0).expected is None


@pytest.mark.parametrize("bad", [([], []), ([1.0], [1.0, 2.0]), ([1.0], [math.nan]), ([math.inf], [1.0])])
def test_what_is_no_figure_is_refused(bad: tuple[list[float], list[float]]) -> None:
    with pytest.raises(ValueError, match="finite"):
        robust_trend(*bad)


def test_crossing_by_hand() -> None:
    x, y = [0.0, 1.0, 2.0, 3.0, 4.0], [20.0, 19.0, 18.0, 17.0, 16.0]
    found = robust_trend(x, y)
    down = crossing(found, limit=10.0, upper=False, now=4.0, last=16.0)
    assert (down.expected, down.earliest) == (10.0, 10.0)
    assert crossing(found, limit=30.0, upper=True, now=4.0, last=16.0).expected is None
    # The last figure already nearer than the line: the earliest date goes by it, the expected by the line.
    near = crossing(found, limit=10.0, upper=False, now=4.0, last=12.0)
    assert (near.expected, near.earliest) == (10.0, 6.0)
    assert crossing(found, limit=16.0, upper=False, now=4.0, last=16.0).expected == 4.0
    assert crossing(found, limit=18.0, upper=False, now=4.0, last=18.5).earliest == 4.0


@given(figures, st.floats(0.5, 60.0), st.booleans())
@settings(deadline=None)
def test_earliest_is_never_later_than_expected(
    data: tuple[list[float], list[float]], limit: float, upper: bool
) -> None:
    x, y = data
    found = robust_trend(x, y)
    met = crossing(found, limit=limit, upper=upper, now=max(x), last=y[x.index(max(x))])
    if found.low is not None and met.expected is not None:
        assert met.earliest is not None
        assert max(x) <= met.earliest <= met.expected + 1e-9 * abs(met.expected)


@given(st.lists(st.integers(-50, 150), min_size=1, max_size=20))
@settings(deadline=None)
def test_monotone_against_the_minimax_formula(figures: list[int]) -> None:
    y = np.array(figures, dtype=float)
    n = y.size
    # fit[i] = max over a <= i of min over b >= i of the mean of y[a..b]
    plain = [
        max(min(float(np.mean(y[a : b + 1])) for b in range(i, n)) for a in range(i + 1)) for i in range(n)
    ]
    assert monotone(y, rising=True) == pytest.approx(plain, abs=1e-9)
    assert monotone(-y, rising=False) == pytest.approx([-v for v in plain], abs=1e-9)


def test_what_is_monotone_stays_as_it_is() -> None:
    y = [1.0, 1.0, 0.7, 0.2, 0.2, 0.0]
    assert monotone(y, rising=False).tolist() == y

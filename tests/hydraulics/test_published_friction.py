"""Transients with friction where more than the checks of ``surge verify`` is asked (``test_proof.py``)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import i0, i1

from surge.proof.checks import bessel_i0, bessel_i1
from surge.proof.packing import (
    CLOSING,
    RATE,
    SERIES,
    J,
    laminar,
    parabolic,
    rough_line,
    series_line,
    single_line,
)


def packed(rt: np.ndarray) -> np.ndarray:
    """Rise at the valve over J, linear friction, sudden closure, nothing come back yet."""
    return np.exp(-rt / 2) * ((1 + rt) * i0(rt / 2) + rt * i1(rt / 2))


def test_the_series_of_the_workings_are_bessels_functions() -> None:
    for x in (0.0, 1e-3, 0.25, 1.0, 7.0):
        assert bessel_i0(x) == pytest.approx(float(i0(x)), rel=1e-14)
        assert bessel_i1(x) == pytest.approx(float(i1(x)), rel=1e-14, abs=1e-300)


def test_line_packing_with_linear_friction_converges() -> None:
    """The front itself still carries half a reach's friction, which shows at every second step: at most
    R*dt/2 of J, first order and on the high side. The steps between follow the closed form to second
    order: 1e-5 at N = 50, and four times less at twice N."""
    worst = []
    for n in (50, 100, 200):
        rt, rise = laminar(n)
        excess = rise - packed(rt)
        assert excess.min() > -1e-5
        assert excess.max() < RATE * (5.0 / n) / 2
        worst.append(np.abs(excess[1::2]).max())
    assert worst[0] < 1e-5
    assert np.log2(worst[0] / worst[1]) == pytest.approx(2, abs=0.1)
    assert np.log2(worst[1] / worst[2]) == pytest.approx(2, abs=0.1)


@pytest.mark.parametrize("n", [100, 200])
def test_line_packing_with_quadratic_friction_on_fewer_reaches(n: int) -> None:
    made = rough_line(n, mid=600.0)
    k = 2 * n
    rise = made.head("before") - made.head("before")[0]
    assert rise[k] + (rise[k] - rise[k - 2]) / 2 == pytest.approx(484.37, rel=2e-4)
    assert rise[k] > 1.57 * J


@pytest.mark.parametrize("n", [10, 50])
def test_the_textbook_single_pipe_on_fewer_reaches(n: int) -> None:
    """0.2 % from ten reaches on; a step in time."""
    made, dt = single_line(n), 0.5 / n
    h = made.head("before")
    assert h.max() == pytest.approx(285.245, rel=2e-3 if n == 10 else 2e-4)
    assert made.time[int(h.argmax())] == pytest.approx(1.086, abs=max(dt, 0.01))
    assert h.min() == pytest.approx(92.85, rel=2e-3)
    assert made.time[int(h.argmin())] == pytest.approx(2.63, abs=max(dt, 0.01))


def test_parabolic_law_passes_its_points() -> None:
    assert [parabolic(float(k)) for k in range(7)] == pytest.approx(CLOSING, abs=1e-12)


def test_the_textbook_two_pipes_on_two_reaches_each() -> None:
    """0.25 % of the fine figures: better than the first-order calculation there."""
    made = series_line(2)
    for t, value in SERIES.items():
        assert made.at("before", t) == pytest.approx(value, rel=2.5e-3)

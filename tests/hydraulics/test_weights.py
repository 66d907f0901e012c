"""Weights of unsteady friction: exact ones, and their exponentials."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from surge.hydraulics.weights import (
    EARLY,
    fitted,
    laminar_integral,
    laminar_rates,
    laminar_weight,
    shear_decay,
    turbulent_integral,
    turbulent_weight,
)

# 10 exponentials by T. Kagawa and others, Trans. JSME 49, 1983 (from memory): within 0.3 % from 1e-5 to 0.1.
KAGAWA = (
    (26.3744, 72.8033, 187.424, 536.626, 1570.60, 4618.13, 13601.1, 40082.5, 118153.0, 348316.0),
    (1.0, 1.16725, 2.20064, 3.92861, 6.78788, 11.6761, 20.0612, 34.4541, 59.1642, 101.590),
)


def test_squares_of_the_zeros() -> None:
    # Printed sets of the first five (from memory) are 26.3744 70.8493 135.0198 218.9216 322.5544.
    printed = [26.3744, 70.8493, 135.0198, 218.9216, 322.5544]
    assert laminar_rates()[:5] == pytest.approx(printed, rel=2e-5)


def test_series_meets_the_zeros() -> None:
    tau = np.array([EARLY * (1 - 1e-9), EARLY * (1 + 1e-9)])
    early, late = laminar_weight(tau)
    assert early == pytest.approx(late, rel=3e-7)
    assert np.ptp(laminar_integral(tau)) < 1e-9


def test_laminar_weight_against_ten_exponentials() -> None:
    tau = np.geomspace(1e-5, 0.1, 200)
    rate, size = (np.array(row) for row in KAGAWA)
    by_ten = np.exp(-np.outer(tau, rate)) @ size
    assert np.abs(by_ten / laminar_weight(tau) - 1).max() < 3.5e-3


@pytest.mark.parametrize(
    ("weight", "integral"),
    [
        (laminar_weight, laminar_integral),
        (partial(turbulent_weight, decay=4e-4), partial(turbulent_integral, decay=4e-4)),
    ],
    ids=["laminar", "turbulent"],
)
def test_integrals(weight, integral) -> None:  # type: ignore[no-untyped-def]
    # With the root of tau for the variable what is integrated is smooth.
    for tau in (1e-6, 1e-4, 3e-3, 0.1):
        by_sum, _ = quad(lambda x: float(weight(np.array(x * x))) * 2 * x, 1e-12, tau**0.5, epsabs=1e-12)
        assert float(integral(np.array(tau))) == pytest.approx(by_sum, rel=1e-6)


def test_shear_decay() -> None:
    # Two printed forms (from memory); the earlier one gives less, and the laminar one is 0.00476.
    assert shear_decay(3000.0) == pytest.approx(4.747190e-3, rel=1e-6)
    assert shear_decay(1e7) == pytest.approx(3.950832e-5, rel=1e-6)
    for re in (1e4, 1e6):
        earlier = 7.41 / re ** np.log10(14.3 / re**0.05)
        assert 1.6 < shear_decay(re) / earlier < 2.3


@given(step=st.floats(1e-9, 1.0), reynolds=st.one_of(st.just(0.0), st.floats(1.0, 1e8)))
def test_exponentials_are_the_weight(step: float, reynolds: float) -> None:
    """Averages of the sum over each step are those of the weight, and none gives energy."""
    made = fitted(step, reynolds)
    assert np.all(made.size > 0)
    assert np.all(made.rate > 0)
    assert made.error < 0.01
    laminar = reynolds <= 2000
    last = 0.3 if laminar else 4.0 * shear_decay(reynolds)
    k = np.unique(np.floor(np.geomspace(1.0, last / step + 1.0, 57))) - 1.0
    tau = step * k
    if laminar:
        exact = laminar_integral(tau + step) - laminar_integral(tau)
    else:
        decay = shear_decay(reynolds)
        exact = turbulent_integral(tau + step, decay) - turbulent_integral(tau, decay)
    told = (np.exp(-np.outer(tau, made.rate)) - np.exp(-np.outer(tau + step, made.rate))) @ (
        made.size / made.rate
    )
    assert np.abs(told / exact - 1.0).max() <= 1.05 * made.error + 1e-6


def test_few_exponentials_do() -> None:
    # As few as are marched with at the steps of a berth: the march takes as long as there are many.
    assert fitted(4e-7, 0.0).rate.size <= 15
    assert fitted(4e-7, 1e6).rate.size <= 9

"""What was so many steps ago, and what a flow loses, against numpy's words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surge.kernel.along import ago, losses


@given(
    n=st.integers(1, 30),
    steps=st.one_of(st.floats(-40.0, 40.0), st.integers(-40, 40)),
    seed=st.integers(0, 2**31),
)
def test_so_many_steps_ago(n: int, steps: float, seed: int) -> None:
    values, out = np.random.default_rng(seed).normal(size=n), np.full(n, 99.0)
    ago(values, steps, out)
    at = np.arange(n, dtype=float)
    assert out == pytest.approx(np.interp(at - steps, at, values), rel=1e-12, abs=1e-12)


@given(q=st.lists(st.floats(-3.0, 3.0), min_size=1), step=st.floats(0.01, 1.0))
def test_what_a_flow_loses_has_its_sign_and_goes_straight_on(q: list[float], step: float) -> None:
    row, flow = np.array([0.0, 0.1, 0.5, 1.2]), np.array(q)
    out = np.full(flow.size, 99.0)
    losses(flow, step, row, out)
    size = np.abs(flow) / step
    straight_on = np.where(
        size > 3.0, row[3] + (row[3] - row[2]) * (size - 3.0), np.interp(size, range(4), row)
    )
    assert out == pytest.approx(np.copysign(straight_on, flow), rel=1e-12, abs=1e-12)


def test_no_number_is_looked_up_inside_the_table() -> None:
    out = np.zeros(3)
    losses(np.array([np.nan, np.inf, -np.inf]), 0.1, np.array([0.0, 0.1, 0.5]), out)
    assert np.isnan(out[0])
    assert out[1:].tolist() == [np.inf, -np.inf]

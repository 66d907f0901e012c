"""The gas before a front: its pressure after a step, against scipy's root finder."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from surge.kernel import filling_columns as columns
from surge.kernel.filling_gas import gas_pressure, leaves


@given(
    room=st.floats(0.5, 50.0),
    mass=st.floats(0.02, 1.5),
    exponent=st.floats(1.0, 1.4),
    rate=st.floats(1e-3, 1e3),
    dt=st.floats(1e-5, 1e-2),
    back=st.floats(5e4, 3e5),
)
def test_gas_that_leaves_or_comes_in_has_the_pressure_at_which_both_balance(
    room: float, mass: float, exponent: float, rate: float, dt: float, back: float
) -> None:
    """p (V/V0)^n = p0 (m - dt dm/dt(p))^n; SciPy's brentq, from vacuum to what all of the gas would have."""
    gas = np.zeros(columns.G_FLOATS)
    gas[columns.G_START], gas[columns.G_BACK], gas[columns.G_VOLUME] = 1e5, back, 2.0
    gas[columns.G_EXPONENT], gas[columns.G_RATE], gas[columns.G_RATIO] = exponent, rate, 1.4
    gas[columns.G_MODE] = columns.HOLE

    def left(p: float) -> float:
        out = dt * leaves(p, 1e5, back, exponent, rate, 1.4)
        return float(1e5 * (max(mass - out, 0.0) * room) ** exponent - p)

    held = 1e5 * (mass * room) ** exponent
    expected = brentq(left, 0.99 * min(held, back), 1.01 * max(held, back), rtol=1e-14, xtol=1e-9)
    assert gas_pressure(2.0 / room, mass, dt, gas) == pytest.approx(expected, rel=1e-9)

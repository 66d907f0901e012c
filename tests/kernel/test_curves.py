"""Pump curves: they pass their points, fall everywhere, and follow the affinity laws."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit
from scipy.interpolate import PchipInterpolator

from surge.kernel.curves import head, pump_curve, pump_head, rising_from
from surge.model.lineup import Table

quick = settings(max_examples=100, deadline=None)

TWO: Table = ((0.0, 85.0), (0.2, 60.0))
THREE: Table = ((0.0, 85.0), (0.1, 78.0), (0.2, 62.0))
FIVE: Table = ((0.0, 92.0), (0.05, 91.5), (0.12, 85.0), (0.2, 70.0), (0.25, 52.0))
ALL = (TWO, THREE, FIVE)


@st.composite
def falling(draw: st.DrawFn) -> Table:
    """Draw a curve of four to eight points whose heads never rise."""
    n = draw(st.integers(4, 8))
    steps = draw(st.lists(st.floats(0.01, 0.3), min_size=n - 1, max_size=n - 1))
    drops = draw(st.lists(st.one_of(st.just(0.0), st.floats(0.01, 30.0)), min_size=n - 1, max_size=n - 1))
    flows = np.concatenate(([0.0], np.cumsum(steps)))
    heads = 300.0 - np.concatenate(([0.0], np.cumsum(drops)))
    return tuple(zip(flows.tolist(), heads.tolist(), strict=True))


@pytest.mark.parametrize("points", ALL)
def test_passes_its_points(points: Table) -> None:
    curve = pump_curve(points)
    for flow, expected in points:
        assert head(curve, flow)[0] == pytest.approx(expected, rel=1e-14)


def test_two_points_are_a_parabola_that_goes_on() -> None:
    curve = pump_curve(TWO)
    c = 25.0 / 0.2**2
    for flow in (0.0, 0.1, 0.2, 0.5):
        assert head(curve, flow) == pytest.approx((85.0 - c * flow**2, -2.0 * c * flow), rel=1e-14)


def test_three_points_are_the_parabola_through_them() -> None:
    # by hand: divided differences -70, -160, so H = 85 - 70 Q - 450 Q (Q - 0.1) = 85 - 25 Q - 450 Q**2
    curve = pump_curve(THREE)
    for flow in (0.0, 0.07, 0.2, 0.6):
        expected = (85.0 - 25.0 * flow - 450.0 * flow**2, -25.0 - 900.0 * flow)
        assert head(curve, flow) == pytest.approx(expected, rel=1e-12)


def test_three_points_of_a_pure_parabola_do_not_rise_by_rounding() -> None:
    points = tuple((q, 80.0 - 333.3 * q**2) for q in (0.0, 0.1 / 3, 0.2 / 3))
    curve = pump_curve(points)
    assert curve.coef[0, 1] == 0.0
    assert rising_from(points) is None


@quick
@given(points=falling())
def test_monotone_cubic_is_that_of_scipy(points: Table) -> None:
    flow, heads = np.array(points).T
    oracle, slope = PchipInterpolator(flow, heads), PchipInterpolator(flow, heads).derivative()
    curve = pump_curve(points)
    for q in np.linspace(0.0, flow[-1], 57)[:-1]:
        got = head(curve, float(q))
        assert got[0] == pytest.approx(float(oracle(q)), rel=1e-12)
        assert got[1] == pytest.approx(float(slope(q)), rel=1e-9, abs=1e-9)


@quick
@given(heads=st.lists(st.integers(0, 60), min_size=4, max_size=7), width=st.floats(0.01, 5.0))
def test_a_curve_that_rises_is_drawn_as_scipy_draws_it(heads: list[int], width: float) -> None:
    flow = np.cumsum([0.0, *([1.0, width] * 3)[: len(heads) - 1]])
    curve = pump_curve(tuple((float(q), float(h)) for q, h in zip(flow, heads, strict=True)))
    middle = (flow[:-1] + flow[1:]) / 2
    got = [head(curve, float(q))[0] for q in middle]
    np.testing.assert_allclose(got, PchipInterpolator(flow, heads)(middle), rtol=1e-12, atol=1e-12)


@quick
@given(points=falling(), speed=st.floats(0.0, 1.0))
def test_head_never_rises_with_the_flow(points: Table, speed: float) -> None:
    curve = pump_curve(points)
    flows = np.linspace(-2.0, 2.0, 201) * points[-1][0]
    values = [head(curve, float(q), speed=speed) for q in flows]
    assert max(slope for _, slope in values) <= 1e-9
    assert max(np.diff([h for h, _ in values])) <= 1e-9


@quick
@given(points=falling())
def test_continuation_keeps_value_and_slope(points: Table) -> None:
    curve, last = pump_curve(points), points[-1][0]
    inside, outside = head(curve, last * (1 - 1e-12)), head(curve, last)
    assert inside[0] == pytest.approx(outside[0], rel=1e-9)
    assert inside[1] == pytest.approx(outside[1], rel=1e-6, abs=1e-6)
    beyond = head(curve, 1.5 * last)[0]
    assert beyond == pytest.approx(points[-1][1] + outside[1] * (1.5**2 - 1) * last / 2, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("points", ALL)
@pytest.mark.parametrize("speed", [1.0, 0.6])
def test_reverse_flow(points: Table, speed: float) -> None:
    curve = pump_curve(points)
    shut_off = head(curve, 0.0, speed=speed)[0]
    for flow in (0.03, 0.2, 0.7):
        forward, backward = (head(curve, q, speed=speed) for q in (flow, -flow))
        assert backward[0] == pytest.approx(2 * shut_off - forward[0], rel=1e-14)
        assert backward[1] == forward[1]


def test_reverse_flow_of_a_constant_speed_pump_by_hand() -> None:
    # Hp = 90 - 200 Q|Q| at Q = -0.268236 m3/s gives 104.390 m (closed form)
    curve = pump_curve(((0.0, 90.0), (0.3, 72.0)))
    assert head(curve, -0.268236)[0] == pytest.approx(104.390, abs=1e-3)


@pytest.mark.parametrize("points", ALL)
@pytest.mark.parametrize("speed", [0.9, 0.4, 1e-3, 1e-8])
def test_affinity_laws(points: Table, speed: float) -> None:
    curve = pump_curve(points)
    for flow in (0.0, 0.02, 0.11, 0.3):
        full = head(curve, flow / speed)
        expected = (speed**2 * full[0], speed * full[1])
        assert head(curve, flow, speed=speed) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("points", ALL)
def test_standstill_is_a_plain_loss(points: Table) -> None:
    curve = pump_curve(points)
    for flow in (-0.3, 0.0, 0.3):
        got = head(curve, flow, speed=0.0)
        assert got == pytest.approx((-curve.tail2 * flow * abs(flow), -2.0 * curve.tail2 * abs(flow)))
        assert head(curve, flow, speed=2e-9)[0] == pytest.approx(got[0], abs=1e-6)
    assert curve.tail2 > 0.0


@pytest.mark.parametrize("points", ALL)
def test_slope_is_the_derivative(points: Table) -> None:
    curve, step = pump_curve(points), 1e-6
    for flow in (-0.21, -0.03, 0.03, 0.08, 0.16, 0.4):
        for speed in (1.0, 0.7):
            numeric = (
                head(curve, flow + step, speed=speed)[0] - head(curve, flow - step, speed=speed)[0]
            ) / (2 * step)
            assert head(curve, flow, speed=speed)[1] == pytest.approx(numeric, rel=1e-5)


def test_compiled_gives_the_same() -> None:
    compile_it: Any = njit
    compiled = compile_it(pump_head)
    for points in ALL:
        c = pump_curve(points)
        for flow in (-0.4, -0.1, 0.0, 0.06, 0.25, 0.9):
            for speed in (0.0, 0.5, 1.0):
                arguments = (flow, speed, 0, c.knots.size, c.knots, c.coef, c.tail0, c.tail2)
                assert compiled(*arguments) == pytest.approx(pump_head(*arguments), rel=1e-13)


@pytest.mark.parametrize(
    ("points", "flow"),
    [
        (TWO, None),
        (THREE, None),
        (FIVE, None),
        (((0.0, 85.0), (0.2, 85.0)), 0.0),
        (((0.0, 85.0), (0.1, 84.0), (0.2, 60.0)), 0.0),  # rises at first: slope +105 at no flow
        (((0.0, 85.0), (0.1, 60.0), (0.2, 59.0)), 37 / 240),  # by hand: -370 Q + 1200 Q**2
        (((0.0, 85.0), (0.1, 80.0), (0.2, 75.0)), None),  # straight
        (((0.0, 85.0), (0.1, 60.0), (0.2, 40.0), (0.3, 39.9)), 0.3),  # end slope zero
    ],
)
def test_where_a_curve_does_not_fall(points: Table, flow: float | None) -> None:
    got = rising_from(points)
    assert got == (None if flow is None else pytest.approx(flow, rel=1e-12))


def test_a_rising_parabola_really_rises() -> None:
    curve = pump_curve(((0.0, 85.0), (0.1, 84.0), (0.2, 60.0)))
    assert head(curve, 0.03)[0] > head(curve, 0.0)[0]
    assert math.isinf(curve.knots[-1])

"""Time step, reaches and loss tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.errors import GridError
from surge.hydraulics.losses import TABLE_SIZE, TOP_VELOCITY, loss_tables
from surge.model.lineup import LineUp, Liquid, Pipe, Point
from surge.transient.grid import staggered
from surge.transient.reaches import (
    LEAST_REACHES,
    OWN_MISFIT,
    PERIOD_MISFIT,
    STROKE_MISFIT,
    choose_step,
    divide,
    fits,
    other_rounding,
)

TIMES = st.lists(st.floats(1e-3, 20.0), min_size=1, max_size=8)


@settings(max_examples=100, deadline=None)
@given(times=TIMES, stroke=st.floats(0.5, 60.0))
def test_the_step_keeps_its_rules(times: list[float], stroke: float) -> None:
    t = np.array(times)
    period = 2 * float(t.max())
    dt = choose_step(t, period=period, stroke=stroke)
    slack = min(PERIOD_MISFIT * period, STROKE_MISFIT * stroke)
    reaches = divide(t, dt)
    misfit = np.array(reaches.count) * dt - t
    for n, own, m in zip(reaches.count, t, misfit, strict=True):
        # Rounding of the comparison itself apart.
        assert n == 0 or abs(m) <= max(OWN_MISFIT * own, slack) * (1 + 1e-6)
        assert (n == 0) == (own < dt * (1 - 1e-9))
    assert max(reaches.count) >= LEAST_REACHES
    assert dt <= stroke / LEAST_REACHES * (1 + 1e-9)


@settings(max_examples=50, deadline=None)
@given(times=TIMES)
def test_a_finer_step_is_finer_and_another_rounding_is_allowed(times: list[float]) -> None:
    t = np.array(times)
    period = 2 * float(t.max())
    dt = choose_step(t, period=period, stroke=30.0)
    assert choose_step(t, period=period, stroke=30.0, finest=dt / 2) <= dt / 2 * (1 + 1e-9)
    slack = min(PERIOD_MISFIT * period, STROKE_MISFIT * 30.0)
    other = other_rounding(t, dt, slack=slack)
    assert other < dt
    assert fits(t, other, slack=slack) or other == pytest.approx(0.93 * dt)


def test_too_fine_a_step_is_refused_with_what_to_write() -> None:
    with pytest.raises(GridError, match='law = "step"'):
        choose_step(np.array([300.0]), period=600.0, stroke=0.01)


def test_steps_without_duration_do_not_refine_the_grid() -> None:
    assert choose_step(np.array([1.0]), period=2.0, stroke=float("inf")) == pytest.approx(1 / LEAST_REACHES)


def test_arrays_begin_on_lines_spread_over_the_page() -> None:
    arrays = staggered(480, 480, 480, 1000, 1000)
    starts = [a.ctypes.data for a in arrays]
    assert all(s % 64 == 0 for s in starts)
    assert len({s % 4096 for s in starts}) == len(starts)
    for a in arrays:
        a[:] = 1.0
    assert sum(a.sum() for a in arrays) == sum(a.size for a in arrays)  # none overlaps another


def line(flow_points: int = 1) -> LineUp:
    points = (Point(name="a", elevation=0.0), Point(name="b", elevation=0.0, closed=True))
    liquid = Liquid(name="x", density=800.0, sound_speed=1200.0, viscosity=1e-6, vapour_pressure=0.0)
    pipe = Pipe(name="p", start="a", end="b", length=100.0, diameter=0.2, wave_speed=1000.0, roughness=1e-4)
    return LineUp(title="t", liquid=liquid, points=points, pipes=(pipe,) * flow_points)


@pytest.mark.parametrize("flow", [0.0, 3.5e-18, -1e-9, 1e-5, 0.01, -0.05, 0.6])
def test_a_loss_table_reaches_ten_metres_a_second_whatever_the_steady_flow(flow: float) -> None:
    # A branch that the steady solution leaves at 1e-18 m3/s once got a table that ended there,
    # and the march blew up when the branch filled.
    tables = loss_tables(line(), np.array([flow]))
    area = np.pi / 4 * 0.2**2
    reach = float(tables.step[0]) * TABLE_SIZE
    assert reach >= TOP_VELOCITY * area * 0.66  # the step moves by up to a third to meet the flow
    assert reach >= 2 * abs(flow)
    at = abs(flow) / float(tables.step[0])
    assert at < 0.5 or at == pytest.approx(round(at), abs=1e-9)

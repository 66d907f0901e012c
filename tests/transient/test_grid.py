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
    LOOK_FINER,
    Reaches,
    choose_step,
    divide,
    rounded,
    rounded_otherwise,
)

TIMES = st.lists(st.floats(1e-3, 20.0), min_size=1, max_size=8)


@settings(max_examples=100, deadline=None)
@given(times=TIMES, stroke=st.floats(0.5, 60.0))
def test_the_step_keeps_its_rules_and_lengths_are_exact(times: list[float], stroke: float) -> None:
    t = np.array(times)
    dt = choose_step(t, stroke=stroke)
    reaches = divide(t, dt)
    for n, share, own in zip(reaches.count, reaches.share, t, strict=True):
        assert (n == 0) == (own < dt * (1 - 1e-9))
        assert 0.0 <= share < 1.0
        assert n == 0 or (n + share) * dt == pytest.approx(own, rel=2e-9)
    assert max(reaches.count) >= LEAST_REACHES
    largest = min(float(t.max()) / LEAST_REACHES, stroke / LEAST_REACHES, float(t.min()))
    assert largest / LOOK_FINER / (1 + 1 / LEAST_REACHES) <= dt <= largest * (1 + 1e-9)


def test_what_takes_a_wave_some_time_has_a_reach() -> None:
    """A thousandth of the period, or half a hundredth of the stroke if that is less, may be lumped."""
    t = np.array([1.0, 0.004, 0.0019])
    assert divide(t, choose_step(t, stroke=np.inf, period=2.0)).count[1:] == (1, 0)
    assert divide(t, choose_step(t, stroke=0.3, period=2.0)).count[2] >= 1
    assert divide(t, choose_step(t, stroke=np.inf, period=2.0, ease=4.0)).count[1:] == (0, 0)


def test_of_the_steps_near_the_largest_one_is_taken_that_fits() -> None:
    """1 s and 0.77 s: 100 steps leave none of either."""
    dt = choose_step(np.array([1.0, 0.77]), stroke=np.inf)
    assert dt == pytest.approx(0.01)
    assert divide(np.array([1.0, 0.77]), dt).share == (0.0, 0.0)
    # 1 s and 1/1.07 s: 107 steps do, and 100 leave a fraction of 0.46.
    assert choose_step(np.array([1.0, 1 / 1.07]), stroke=np.inf) == pytest.approx(1 / 107)


@given(ways=st.lists(st.floats(1.0, 300.0), min_size=1, max_size=5))
def test_rounded_lengths_have_no_fraction_and_are_off_by_half_a_step(ways: list[float]) -> None:
    t = np.array(ways)
    made, other = rounded(t, 1.0), rounded_otherwise(t, 1.0)
    assert not any((*made.share, *other.share))
    assert np.abs(np.array(made.count) - t).max() <= 0.5 + 1e-6
    assert np.abs(np.array(other.count) * other.dt - t).max() <= 0.5 * other.dt + 1e-6
    assert 0.8 <= other.dt < 1.0


@given(ways=st.lists(st.floats(1.0, 300.0), min_size=1, max_size=5))
def test_nodes_stand_where_waves_of_both_ways_have_as_far(ways: list[float]) -> None:
    made = divide(np.array(ways), 1.0)
    for k, way in enumerate(ways):
        at = made.places(k) * way
        assert at[0] == 0.0
        assert at[-1] == pytest.approx(way)
        assert np.all(np.diff(at) > 0.0)
        assert np.diff(at)[1:-1] == pytest.approx(1.0)
        assert at[1:-1] + at[1:-1][::-1] == pytest.approx(way)
    assert Reaches(dt=1.0, count=(0,), share=(0.0,)).places(0).tolist() == [0.0, 1.0]


def test_too_fine_a_step_is_refused_with_what_to_write() -> None:
    with pytest.raises(GridError, match='law = "step"'):
        choose_step(np.array([300.0]), stroke=0.01)


def test_steps_without_duration_do_not_refine_the_grid() -> None:
    assert choose_step(np.array([1.0]), stroke=float("inf")) == pytest.approx(1 / LEAST_REACHES)


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

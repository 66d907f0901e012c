"""Effective closing time and greatest fall within a period, against flows written down by hand."""

from __future__ import annotations

import numpy as np
import pytest

from surge.model.lineup import Scenario, ValveMove
from surge.model.topology import PipelinePeriod
from surge.transient.history import History
from surge.transient.summary import closures_of

TIME = np.linspace(0.0, 40.0, 4001)
STEP = TIME[1]


def one(flow, *, period=2.0, start=5.0, law=((0.0, 1.0), (20.0, 0.0))):
    scenario = Scenario(name="s", moves=(ValveMove(valve="v", start=start, law=law),))
    periods = [PipelinePeriod(valve="v", upstream=period, downstream=0.5, reflects_at="tank")]
    return closures_of(scenario, History(time=TIME, pressure={}, flow={"v": flow}), periods)


def test_a_straight_fall():
    (c,) = one(0.2 * np.clip((25.0 - TIME) / 20.0, 0.0, 1.0))
    assert c.effective == pytest.approx(0.9 * 20.0, abs=2 * STEP)
    # 2 s of 20 s, and one sample more
    assert c.greatest_fall == pytest.approx((2.0 + STEP) / 20.0, abs=1e-9)
    assert (c.stroke, c.period) == (20.0, 2.0)


def test_all_of_it_in_the_last_tenth():
    """Two closures of one stroke may differ widely: here the flow stays until 23 s and is gone at 25 s."""
    (c,) = one(0.2 * np.clip((25.0 - TIME) / 2.0, 0.0, 1.0))
    assert c.effective == pytest.approx(1.8, abs=2 * STEP)
    assert c.greatest_fall == pytest.approx(1.0, abs=1e-9)


def test_at_once():
    (c,) = one(np.where(TIME < 5.0, 0.2, 0.0), law=((0.0, 1.0), (0.0, 0.0)), period=0.001)
    assert c.effective == pytest.approx(0.0, abs=2 * STEP)
    assert c.greatest_fall == pytest.approx(1.0, abs=1e-9)


def test_backward_flow_counts_alike():
    (there,), (back,) = (one(s * 0.2 * np.clip((25.0 - TIME) / 20.0, 0.0, 1.0)) for s in (1, -1))
    assert there == back


def test_a_flow_that_goes_on_has_no_effective_time():
    (c,) = one(0.2 * np.clip((25.0 - TIME) / 20.0, 0.5, 1.0))
    assert c.effective is None
    assert c.greatest_fall == pytest.approx((2.0 + STEP) / 20.0, abs=1e-9)


def test_nothing_to_stop():
    assert one(np.where(TIME < 3.0, 0.2, 0.002)) == ()
    assert one(np.zeros_like(TIME)) == ()


def test_a_valve_that_opens_is_no_closure():
    assert one(np.full_like(TIME, 0.2), law=((0.0, 0.0), (20.0, 1.0))) == ()

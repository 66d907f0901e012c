"""The loss of a reach as tangents: what the march keeps of a table between two looks."""

from __future__ import annotations

import numpy as np
import pytest

from surge.hydraulics.losses import SOME_FLOW, of_wave_difference, tangents

B = 250.0  # [s/m2] impedance
STEP = 0.002  # [m3/s] of the tables
Q = STEP * np.arange(1025)


def laminar_then_rough(flow: np.ndarray) -> np.ndarray:
    """Straight up to 0.2 m3/s, then three times as much and as the square: a jump no tangent can follow."""
    return np.where(flow <= 0.2, 0.05 * flow, 0.75 * flow**2)


LOSSES = {
    "rough": 0.5 * Q**2,
    "smooth": 0.4 * Q**1.8,
    "laminar": 0.05 * Q,
    "with a jump": laminar_then_rough(Q),
    "none": 0.0 * Q,
}


@pytest.mark.parametrize("name", LOSSES)
@pytest.mark.parametrize("place", [0, 1, 300])
def test_a_law_meets_its_table_and_never_drives(name: str, place: int) -> None:
    loss, step = of_wave_difference(LOSSES[name], STEP, B, Q[place])
    law = tangents(loss, step, 2 * B * Q[place] + float(LOSSES[name][place]))
    d = step * np.arange(loss.size)
    base, rise = law.T
    assert np.all(law >= 0.0)
    assert d[1:] * (base + rise * d)[1:] == pytest.approx(loss[1:], rel=1e-12, abs=0.0)


def test_between_two_looks_it_is_right_to_second_order() -> None:
    loss, step = of_wave_difference(LOSSES["smooth"], STEP, B, Q[300])
    law = tangents(loss, step, step * 300)
    d = step * np.arange(loss.size)
    for away in (10, 20, 40):
        at = np.arange(200, 600)
        base, rise = law[at].T
        wrong = (base + rise * d[at + away]) * d[at + away] / loss[at + away] - 1.0
        assert np.abs(wrong).max() < 0.2 * (away / 200) ** 2


def test_a_node_at_rest_is_charged_as_if_set_in_motion() -> None:
    """At rest the tangent would be laminar: next to nothing for a front that comes before the next look."""
    loss, step = of_wave_difference(LOSSES["with a jump"], STEP, B, 0.0)
    base, rise = tangents(loss, step, 0.0)[0]
    some = round(SOME_FLOW * 1024)
    assert step * some * (base + rise * step * some) == pytest.approx(loss[some], rel=1e-12)


def test_a_pipe_that_creeps_keeps_its_loss() -> None:
    loss, step = of_wave_difference(LOSSES["smooth"], STEP, B, 0.0)
    creep = 0.3 * step
    base, rise = tangents(loss, step, creep)[0]
    assert creep * (base + rise * creep) == pytest.approx(0.3 * loss[1], rel=1e-12)

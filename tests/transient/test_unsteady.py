"""Marches with unsteady friction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import WATER, KeptMarch, dead_legged, start, step_at
from support.oracles.laminar_stop import rise_at

from surge.errors import SolveError
from surge.hydraulics.weights import laminar_integral
from surge.model.lineup import LineUp, Liquid
from surge.proof.unsteady import BORE, DECAY, LENGTH, NU, A, laminar_stop
from surge.transient.plan import plan
from surge.transient.run import simulate
from surge.transient.unsteady_march import UnsteadyMarch, build_unsteady_grid

THICK = Liquid(name="thick", density=950.0, sound_speed=1480.0, viscosity=4e-4, vapour_pressure=0.0)
DT = 0.01


def stopped(lineup: LineUp, steps: int, *, when: float = 0.5, **more: bool) -> KeptMarch:
    made = start(lineup, DT, ratio={"valve": step_at(when)}, **more)
    made.advance(steps)
    return made


def test_the_sudden_stop_is_that_of_the_laplace_transform() -> None:
    for k in (0, 1, 4, 9):
        time = (k + 0.5) * 2 * LENGTH / A
        exact = rise_at(time, length=LENGTH, wave_speed=A, bore=BORE, viscosity=NU)
        assert exact == pytest.approx(DECAY[k], abs=3e-4)


def test_plateaus_of_a_laminar_line() -> None:
    """Within 1.5 % of the rise at 40 reaches, and nearer at more: first order."""
    off = [np.abs(laminar_stop(n) - DECAY).max() for n in (20, 40, 80)]
    assert off[1] < 0.0075
    assert off[1] < 0.75 * off[0]
    assert off[2] < 0.75 * off[1]


def test_peaks_fall_faster_than_with_steady_friction() -> None:
    own, steady = np.abs(laminar_stop()), np.abs(laminar_stop(unsteady=False))
    assert np.all(own[2:] / own[:-2] < steady[2:] / steady[:-2])
    # The first plateau is J and what packs behind it, and a little more: the wall holds a change back.
    assert steady[0] < own[0] < 1.12


def test_the_past_is_the_whole_convolution() -> None:
    """What exponentials keep at a node is the sum of all its changes, each times the averaged weight."""
    lineup = dead_legged(liquid=THICK)
    made = stopped(lineup, 0, unsteady=True)
    march = made.marched
    net = march.grid.net
    node = march.grid.nodes[0][11]
    flow = []
    for _ in range(160):
        march.advance(1)
        flow.append(net.u_flow[node])
    step = 4.0 * THICK.viscosity * DT / lineup.pipes[0].diameter ** 2
    k = np.arange(len(flow))
    average = (laminar_integral((k + 1) * step) - laminar_integral(k * step)) / step
    changes = np.diff(flow, prepend=flow[0])
    by_sum = 2.0 * step * float(changes[::-1] @ average)
    # What the last flow adds: the past has been taken a step further, which takes its decay away again.
    full = np.divide(
        net.u_feed[:, node],
        1 - net.u_keep[:, node],
        where=net.u_feed[:, node] > 0,
        out=np.zeros(net.u_feed.shape[0]),
    )
    kept = (net.u_kept[:, node] - net.u_feed[:, node] * flow[-1]) / net.u_keep[:, node]
    told = net.u_scale[node] * float((full * flow[-1] - kept).sum())
    assert np.ptp(flow) > 0.5 * abs(flow[0])
    assert told == pytest.approx(by_sum, rel=0.01)


@pytest.mark.parametrize("frozen", [False, True])
def test_without_viscosity_it_is_the_plain_march_to_the_bit(frozen: bool) -> None:
    dry = Liquid(name="dry", density=900.0, sound_speed=1300.0, viscosity=0.0, vapour_pressure=0.0)
    lineup = dead_legged(liquid=dry, frozen_friction=frozen)
    plain, own = (stopped(lineup, 900, unsteady=unsteady) for unsteady in (False, True))
    assert isinstance(own.marched, UnsteadyMarch)
    assert own.heads.tobytes() == plain.heads.tobytes()
    assert own.flows.tobytes() == plain.flows.tobytes()
    for ours, theirs in zip(own.marched.envelope(), plain.marched.envelope(), strict=True):
        assert [a.tobytes() for a in ours] == [a.tobytes() for a in theirs]


@pytest.mark.parametrize("liquid", [WATER, THICK], ids=["water", "thick"])
def test_late_peaks_are_lower(liquid: Liquid) -> None:
    plain, own = (stopped(dead_legged(liquid=liquid), 3000, unsteady=unsteady) for unsteady in (False, True))
    late = slice(1500, None)
    swing = [np.ptp(made.head("manifold")[late]) for made in (plain, own)]
    assert swing[1] < swing[0]
    # Early on it is nearly the same.
    peaks = [made.head("manifold").max() for made in (plain, own)]
    assert peaks[1] == pytest.approx(peaks[0], rel=0.03)


def test_steady_stays_steady() -> None:
    made = start(dead_legged(liquid=THICK), DT, unsteady=True)
    made.advance(2000)
    assert np.ptp(made.heads, axis=0).max() < 1e-8


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), viscosity=st.sampled_from([0.0, 7e-7, 1e-5, 4e-4, 5e-3]))
def test_every_march_is_watched(seed: int, viscosity: float) -> None:
    """Liquid is kept and energy never grows, whatever moves: or the march would end with an error."""
    lineup, scenario = generated(seed)
    liquid = replace(lineup.liquid, viscosity=viscosity)
    work = plan(lineup.with_(liquid=liquid), scenario)
    grid = build_unsteady_grid(
        work.lineup, work.steady, reaches=work.divide(work.step()), laws=work.laws, tables=work.tables
    )
    march = UnsteadyMarch(grid=grid, frozen=work.lineup.frozen_friction, stride=10**9)
    march.advance(3000)
    assert grid.weight_error < 0.01
    assert np.isfinite(march.point_hi).all()


def test_a_past_that_was_not_so_is_found() -> None:
    made = stopped(dead_legged(liquid=THICK), 0, unsteady=True)
    made.marched.grid.net.u_kept[:] *= 1.01
    with pytest.raises(SolveError, match="before anything moves the head"):
        made.advance(200)


def test_energy_from_nowhere_is_found() -> None:
    """A past that grows between two looks would be paid back to the waves."""
    made = stopped(dead_legged(liquid=THICK), 200, unsteady=True)
    made.marched.grid.net.u_kept[:] *= 1.5
    with pytest.raises(SolveError, match="energy comes from nowhere"):
        made.advance(2)


def test_liquid_lost_at_an_end_is_found() -> None:
    made = stopped(dead_legged(liquid=THICK), 100, unsteady=True)
    made.marched.grid.net.u_end[:, 0] *= 1.01
    with pytest.raises(SolveError, match="is lost or made"):
        made.advance(1000)


def test_simulate() -> None:
    lineup, scenario = generated(7)
    plain = simulate(lineup, scenario)
    own = simulate(lineup, scenario, unsteady_friction=True)
    assert [e.name for e in own.elements] == [e.name for e in plain.elements]
    assert own.elements != plain.elements
    assert own.method.worst_error >= 0.0

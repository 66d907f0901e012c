"""Forces along legs: against closed forms, and against the momentum that the march loses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import hosed, line_up, pipe, valve

from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.transient.forces import Leg, forces_along, legs_of
from surge.transient.plan import plan
from surge.transient.profiles import watch

AREA = np.pi / 4 * 0.3**2


def stopped(at: float = 0.5, law: tuple[tuple[float, float], ...] = ((0.0, 1.0), (0.0, 0.0))) -> Scenario:
    return Scenario(name="stop", moves=(ValveMove(valve="valve", start=at, law=law),))


def line(*, friction: float = 0.0, length: float = 600.0, bends: tuple[float, ...] = ()) -> LineUp:
    made = line_up(
        [
            pipe("line", "tank", "before", length, 1000.0, diameter=0.3, friction_factor=friction),
            valve("valve", "before", "out", 0.03),
        ],
        {"tank": 40.0, "out": 0.0},
    )
    (one,) = made.pipes
    return made.with_(pipes=(replace(one, bends=bends),), scenarios=(stopped(),))


def momentum_lost(lineup: LineUp, scenario: Scenario, *, dt: float, times: np.ndarray) -> np.ndarray:
    """What the liquid in the first pipe loses of its momentum, between every two instants [N]."""
    first = lineup.pipes[0]
    seen = watch(lineup, scenario, dt=dt, times=times, shares={first.name: np.linspace(0.0, 1.0, 400)})
    x, flow = seen.distance[first.name], seen.flow[first.name]
    held = lineup.liquid.density * (0.5 * (flow[:, 1:] + flow[:, :-1]) * np.diff(x)).sum(axis=1)
    return -np.diff(held) / np.diff(times)


def test_a_stop_pushes_a_leg_as_long_as_the_front_is_in_it() -> None:
    """Closed form: without friction a leg of l feels density x wave speed x velocity x bore for l / a."""
    lineup = line(bends=(240.0, 300.0))
    scenario = lineup.scenarios[0]
    made = forces_along(lineup, scenario, legs_of(lineup), dt=0.002, until=1.55)
    velocity = plan(lineup, scenario).steady.flow["line"] / AREA
    thrust = lineup.liquid.density * 1000.0 * velocity * AREA
    assert [f.leg for f in made.legs] == [
        Leg(pipe="line", begin=a, end=b) for a, b in ((0.0, 240.0), (240.0, 300.0), (300.0, 600.0))
    ]
    for force in made.legs:
        assert force.highest == pytest.approx(thrust, rel=1e-9)
        # The front leaves the valve at 0.5 s; what comes back from the tank takes the thrust off again.
        begins, ends = (0.5 + (600.0 - x) / 1000.0 for x in (force.leg.end, force.leg.begin))
        inside = (made.time > begins + 0.003) & (made.time < ends - 0.003)
        before = made.time < begins - 0.003
        assert force.force[inside] == pytest.approx(thrust, rel=1e-9)
        assert np.abs(force.force[before]).max() < 1e-6 * thrust


@pytest.mark.parametrize("stroke", [0.0, 1.5])
@pytest.mark.parametrize(("friction", "within"), [(0.0, 1e-9), (0.02, 1e-3), (0.3, 2e-2)])
def test_the_force_is_the_momentum_that_the_liquid_loses(
    friction: float, within: float, stroke: float
) -> None:
    """At each step, as a share of the greatest force; where a front passes an end the two are a step apart.

    A factor of 0.3 takes off half of the wave on its way, fifteen times what a loading line does.
    """
    lineup = line(friction=friction)
    scenario = stopped(law=((0.0, 1.0), (stroke, 0.0)))
    dt = 0.6 / 300
    made = forces_along(lineup, scenario, legs_of(lineup), dt=dt, until=2.4)
    (force,) = made.legs
    steps = np.arange(round(0.4 / dt), round(2.3 / dt))
    lost = momentum_lost(lineup, scenario, dt=dt, times=steps * dt)
    between = 0.5 * (force.force[steps[1:]] + force.force[steps[:-1]])
    away = np.abs(between - lost) / force.most
    jumps = np.abs(np.diff(force.force[steps])) > 0.05 * force.most
    assert np.quantile(away[~jumps], 0.99) < within
    assert jumps.sum() < 12


def test_a_pipe_that_is_not_a_whole_number_of_steps_feels_the_same() -> None:
    lineup = hosed()
    scenario = stopped(law=((0.0, 1.0), (1.0, 0.0)))
    made = forces_along(lineup, scenario, legs_of(lineup), dt=0.0071, until=2.0)
    force = made.legs[0]
    steps = np.arange(50, 250)
    lost = momentum_lost(lineup, scenario, dt=0.0071, times=steps * 0.0071)
    between = 0.5 * (force.force[steps[1:]] + force.force[steps[:-1]])
    assert np.abs(between - lost).max() < 6e-3 * force.most  # of 85 steps through the line


@settings(max_examples=10)
@given(seed=st.integers(0, 10**6))
@example(seed=3)
def test_legs_of_a_pipe_feel_together_what_it_feels_and_nothing_at_rest(seed: int) -> None:
    """Any line-up: forces add up along a pipe, and before anything moves there is none."""
    lineup, scenario = generated(seed, size=0.2)
    work = plan(lineup, scenario)
    dt = max(p.travel_time for p in lineup.pipes) / 40
    whole = legs_of(lineup.with_(pipes=tuple(replace(p, bends=(), kind="pipe") for p in lineup.pipes)))
    cut = [
        Leg(pipe=leg.pipe, begin=a * leg.end, end=b * leg.end)
        for leg in whole
        for a, b in ((0.0, 0.3), (0.3, 1.0))
    ]
    made = forces_along(lineup, scenario, [*whole, *cut], dt=dt, until=100 * dt)
    parts = made.legs[len(whole) :]
    swing = max(f.most for f in made.legs[: len(whole)])
    for k, force in enumerate(made.legs[: len(whole)]):
        together = parts[2 * k].force + parts[2 * k + 1].force
        assert together == pytest.approx(force.force, abs=1e-3 * swing + 1e-6)
        first = min(work.last_event, min((m.start for m in scenario.moves), default=np.inf))
        still = made.time < first - dt
        if still.any() and not scenario.pump_moves:
            assert np.abs(force.force[still]).max() < 1.0  # [N] what rounding of heads leaves on a bore


def test_a_coarse_step_is_told_as_an_error() -> None:
    """A stop, and a leg through which the front takes less than a step."""
    lineup = line(friction=0.02, length=601.0, bends=(300.0, 301.0))
    fine = forces_along(lineup, stopped(), legs_of(lineup), dt=2e-4, until=1.0).legs[1]
    coarse = forces_along(lineup, stopped(), legs_of(lineup), dt=0.004, until=1.0).legs[1]
    assert coarse.highest < 0.9 * fine.highest
    assert coarse.error > fine.highest - coarse.highest
    assert fine.error < 0.1 * fine.highest

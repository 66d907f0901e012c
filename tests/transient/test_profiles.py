"""A march looked at between its extremes: the same march, and waves where they must be."""

from __future__ import annotations

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.lines import THIN, line_up, pipe, valve

from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.transient.profiles import MOST, instants, watch
from surge.transient.run import simulate
from surge.views.subject import as_run

A, LENGTH, WHEN = 1000.0, 600.0, 0.5


def stopped() -> tuple[LineUp, Scenario]:
    """A frictionless pipe whose valve shuts at once after half a second."""
    lineup = line_up(
        [pipe("line", "tank", "end", LENGTH, A), valve("valve", "end", "out", 0.05)],
        {"tank": 40.0, "out": 10.0},
    )
    move = ValveMove(valve="valve", start=WHEN, law=((0.0, 1.0), (0.0, 0.0)))
    return lineup, Scenario(name="stop", moves=(move,))


@pytest.mark.parametrize(
    ("name", "scenario"),
    [
        ("crude-sea-line", "manifold valve shut by mistake"),
        ("methanol-closed-branches", "topping off"),
        ("restart-into-a-shut-deck-line", "wrong order, quick"),
    ],
)
def test_it_is_the_march_that_was_reported(name: str, scenario: str, demos: Demos) -> None:
    """Whatever the instants: envelopes to the last bit, the steady flow at first, histories at the end."""
    run = demos[name].run_of(scenario)
    lineup = as_run(demos[name].answer.lineup, run)
    one = next(s for s in lineup.scenarios if s.name == scenario)
    dt = run.method.dt
    shares = {n: e.distance / e.distance[-1] for n, e in run.envelopes.items()}
    seen = watch(
        lineup, one, dt=dt, times=instants(0.0, run.method.steps * dt, dt=dt, most=37), shares=shares
    )
    for pipe_name, envelope in run.envelopes.items():
        assert np.array_equal(seen.highest[pipe_name][-1], envelope.highest)
        assert np.array_equal(seen.lowest[pipe_name][-1], envelope.lowest)
        assert np.allclose(seen.pressure[pipe_name][0], envelope.steady, atol=1e-3)
        assert np.all(seen.pressure[pipe_name] <= seen.highest[pipe_name] + 1e-6)
        assert np.all(np.diff(seen.highest[pipe_name], axis=0) >= 0.0)
    for place in run.places:
        assert seen.point_highest[place.name][-1] == place.highest.pressure


def test_points_and_flows_are_those_of_the_history(demos: Demos) -> None:
    run = demos["crude-sea-line"].run_of("manifold valve shut by mistake")
    lineup = demos["crude-sea-line"].answer.lineup
    one = next(s for s in lineup.scenarios if s.name == run.name)
    times = run.history.time[::40]
    seen = watch(lineup, one, dt=run.method.dt, times=times, shares={"sea line": np.array([0.0, 1.0])})
    for name, pressure in seen.points.items():
        assert np.allclose(pressure, run.history.pressure[name][::40], atol=1e-6)
    assert np.allclose(seen.links["manifold valve"], run.history.flow["manifold valve"][::40])
    assert np.allclose(seen.flow["sea line"][:, 0], run.history.flow["sea line"][::40], atol=1e-9)
    ends = next(e for e in lineup.pipes if e.name == "sea line")
    assert np.allclose(seen.pressure["sea line"][:, 1], seen.points[ends.end], atol=1e-6)


def test_the_front_arrives_after_distance_over_wave_speed() -> None:
    """An instant stop: a step of rho a v that runs up the pipe at the wave speed, without losing anything."""
    lineup, scenario = stopped()
    run = simulate(lineup, scenario, quick=True)
    dt = run.method.dt
    steps = np.arange(round((WHEN + LENGTH / A) / dt) + 3)
    seen = watch(lineup, scenario, dt=dt, times=steps * dt, shares={"line": np.linspace(0.0, 1.0, 13)})
    before = seen.pressure["line"][0]
    velocity = seen.flow["line"][0, 0] / lineup.pipes[0].area
    rise = THIN.density * A * velocity
    for k, distance in enumerate(seen.distance["line"][1:], start=1):
        column = seen.pressure["line"][:, k]
        first = int(np.argmax(column > before[k] + 0.5 * rise))
        assert seen.time[first] == pytest.approx(WHEN + (LENGTH - distance) / A, abs=1.01 * dt)
        assert column[first] - before[k] == pytest.approx(rise, rel=1e-6)
        assert seen.flow["line"][first, k] == pytest.approx(0.0, abs=1e-9)


def test_instants_are_whole_steps_with_both_ends() -> None:
    times = instants(1.0, 2.0, dt=0.003, most=50)
    assert times.size <= 50
    assert times[0] == pytest.approx(1.0, abs=0.0015)
    assert times[-1] == pytest.approx(2.0, abs=0.0015)
    assert np.allclose(times / 0.003, np.rint(times / 0.003))
    assert instants(0.0, 0.01, dt=0.005, most=100).size == 3
    assert instants(1.0, 1.0, dt=0.1, most=5).size == 2


def test_memory_is_bounded(demos: Demos) -> None:
    lineup = demos["crude-sea-line"].case.lineup
    shares = {"sea line": np.linspace(0.0, 1.0, MOST // 1000)}
    with pytest.raises(ValueError, match="at most"):
        watch(lineup, lineup.scenarios[0], dt=0.01, times=np.arange(2000) * 0.01, shares=shares)

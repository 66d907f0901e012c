"""How long a run lasts, and that every allowed input gets an answer.

``tests/benchmarks/hunt.py`` does the same for hundreds of line-ups.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from support.demos import CASES
from support.lineups.branches import branched
from support.oracles.fine_runs import Default, against_longer
from support.oracles.missed import line_of

from surge.case.file import load_case
from surge.model.lineup import LineUp, Liquid, Pipe, Point, Scenario, Tank, Valve, ValveMove
from surge.model.topology import farthest
from surge.transient.errors import Late, Summary
from surge.transient.first_march import SPANS, begun
from surge.transient.plan import MOST_EFFORT, WAYS_AFTER, Plan, eased, first_duration, moved_otherwise, plan
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate

# Of those of the benchmark that take little work.
SEEDS = (42, 171, 351, 234, 356, 148, 104, 353, 276, 367)


def line(*, main: float = 100.0, branch: float = 2000.0, mouth: bool = False) -> LineUp:
    """A tank, a main with a valve, another tank; a closed branch before the valve, also behind one of its
    own.
    """
    oil = Liquid(name="oil", density=850.0, sound_speed=1300.0, viscosity=5e-6, vapour_pressure=0.0)
    at = "inside" if mouth else "jetty"
    straight = ((0.0, 0.0), (1.0, 1.0))
    valves = [Valve(name="valve", start="jetty", end="deck", kv=900.0, characteristic=straight)]
    if mouth:
        valves.append(Valve(name="mouth", start="jetty", end="inside", kv=900.0, characteristic=straight))
    pipes = (("main", "tank", "jetty", main), ("branch", at, "blank", branch), ("drop", "deck", "ship", 20.0))
    names = ("tank", "jetty", "deck", "ship", "blank", *(("inside",) if mouth else ()))
    return LineUp(
        title="closed branch",
        liquid=oil,
        points=tuple(Point(name=n, elevation=0.0, closed=n == "blank") for n in names),
        pipes=tuple(
            Pipe(name=n, start=a, end=b, length=x, diameter=0.3, wave_speed=1000.0, roughness=5e-5)
            for n, a, b, x in pipes
        ),
        valves=tuple(valves),
        tanks=(
            Tank(name="shore tank", point="tank", side="shore", level=40.0),
            Tank(name="1C", point="ship", side="ship", level=5.0),
        ),
        atmosphere=1e9,
    )


def closing(stroke: float, *, at: float = 1.0, valve: str = "valve") -> Scenario:
    law = ((0.0, 1.0), (stroke, 0.0))
    return Scenario(name="closing", moves=(ValveMove(valve=valve, start=at, law=law),))


def later(seed: int, lineup: LineUp, scenario: Scenario, result: ScenarioResult) -> list[str]:
    """What comes after the run and lies outside its error."""
    found = against_longer(Default(seed=seed, lineup=lineup, scenario=scenario, result=result))
    assert found
    return [line_of(m) for m in found if m.outside]


def test_the_farthest_point_is_reached_by_the_shortest_way() -> None:
    lineup = line(main=100.0, branch=2000.0, mouth=True)
    assert farthest(lineup, "valve") == pytest.approx(2.0)
    assert farthest(lineup, "valve", without={"mouth"}) == pytest.approx(0.1)
    assert farthest(lineup, "mouth") == pytest.approx(2.0)


def test_a_run_waits_for_the_wave_in_a_closed_branch() -> None:
    work = plan(line(branch=8000.0), closing(0.5))
    assert work.period == pytest.approx(0.24)
    assert first_duration(work) == pytest.approx(1.5 + WAYS_AFTER * 8.0)
    # Beside a short branch the pipeline period decides.
    short = plan(line(main=4000.0, branch=50.0), closing(0.5))
    assert first_duration(short) == pytest.approx(1.5 + 6 * 8.04)


def test_a_branch_counts_when_its_valve_lets_a_wave_pass() -> None:
    lineup = line(branch=8000.0, mouth=True)
    scenario = replace(closing(0.5), shut_at_start=("mouth",), trapped=(("inside", 3e5),))
    shut = plan(lineup, scenario)
    assert first_duration(shut) == pytest.approx(1.5 + 10.0)
    opens = ValveMove(valve="mouth", start=20.0, law=((0.0, 0.0), (5.0, 1.0)))
    opened = moved_otherwise(shut, replace(scenario, moves=(*scenario.moves, opens)))
    assert first_duration(opened) == pytest.approx(25.0 + WAYS_AFTER * 8.0)


def test_the_way_to_the_tank_is_not_lumped_beside_a_long_branch() -> None:
    work = plan(line(branch=8000.0), closing(0.0))
    assert work.divide(work.step()).count[0] >= 100


def test_the_end_of_a_long_branch_is_told_as_it_becomes() -> None:
    """Six pipeline periods after the stroke its wave has not arrived."""
    lineup, scenario = line(main=1000.0, branch=14_000.0), closing(1.5)
    result = simulate(lineup, scenario)
    blank = next(p for p in result.places if p.name == "blank")
    assert blank.highest.time > 14.0
    assert blank.lowest.time > 42.0
    assert not later(0, lineup, scenario, result)


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_comes_later_than_was_told(seed: int) -> None:
    lineup, scenario = branched(seed)
    result = simulate(lineup, scenario)
    assert not later(seed, lineup, scenario, result)


def test_a_run_goes_on_to_what_rises_long_after_it() -> None:
    """In the release demo waves of the two sides of a hose meet anew: at 64 s 0.17 bar come on top. (A run
    that boils does not go on: here it does not.)"""
    lineup = load_case(CASES / "gas-oil-release-coupling.toml").lineup
    lineup = lineup.with_(liquid=replace(lineup.liquid, vapour_pressure=-1e6))
    scenario = lineup.scenarios[0]
    result = simulate(lineup, scenario)
    assert result.method.duration > 60.0
    late = next(e for e in result.elements if e.name == "shore pump").highest
    assert late.time > 60.0
    # Not as wide as what first marches leave open.
    assert late.error < 1e4
    assert not later(0, lineup, scenario, result)


def test_what_came_late_counts_everywhere_when_the_march_could_not_go_on() -> None:
    """In one generated line-up an extreme came late by 3.5 times what first marches told of it."""
    near, far = ("place", "near", "high"), ("place", "far", "high")
    late = Late(dt=0.1, rise={near: 4e3, far: 2e4}, until=50.0)
    assert late.part(wanted=False) == pytest.approx({near: 1e4, far: 5e4})
    assert late.part(wanted=True) == pytest.approx({near: 2e4, far: 5e4})


def work_of(work: Plan, duration: float) -> float:
    return work.effort(work.divide(work.step()), duration)


@pytest.mark.parametrize(
    ("main", "branch", "stroke", "at"),
    [
        (60.0, 5.0, 300.0, 1.0),
        (60.0, 5.0, 3600.0, 1.0),
        (1500.0, 30.0, 0.05, 3600.0),
        (1500.0, 30.0, 1e-4, 3600.0),
        (100.0, 40_000.0, 0.05, 1.0),
        (100.0, 40_000.0, 30.0, 3600.0),
        (40_000.0, 5.0, 0.05, 600.0),
        (3.0, 1.0, 3600.0, 3600.0),
    ],
)
def test_every_stroke_on_every_line_is_marched(main: float, branch: float, stroke: float, at: float) -> None:
    work = plan(line(main=main, branch=branch), closing(stroke, at=at))
    duration = first_duration(work)
    made = eased(work, duration)
    assert work_of(made, duration) <= MOST_EFFORT
    assert made.ease == 1.0 or work_of(work, duration) > MOST_EFFORT
    assert made.sudden == math.isinf(made.stroke)


def test_a_slow_stroke_on_a_short_line_is_answered() -> None:
    """The rise is that of a liquid without elasticity: some hundredths of a bar."""
    lineup = line(main=60.0, branch=5.0)
    static = lineup.liquid.density * lineup.gravity * 40.0
    result = simulate(lineup, closing(300.0), quick=True)
    place = next(p for p in result.places if p.name == "jetty")
    assert static + 200.0 < place.highest.pressure < static + 2000.0


@pytest.mark.parametrize("unsteady", [False, True])
def test_what_passes_before_anything_moves_is_not_marched(unsteady: bool) -> None:
    """Two seconds of four; what comes of it is what comes of all steps, instant for instant."""
    work = replace(plan(line(), closing(1.0, at=4.0)), unsteady=unsteady)
    reaches = work.divide(0.01)
    rested = begun(work, reaches, stride=7)
    whole = type(rested)(
        grid=begun(work, reaches, stride=7).grid, frozen=False, stride=7, span=first_duration(work) / SPANS
    )
    steps = rested.done
    assert steps == 400 - 1 - (max(reaches.count) + 2), "a wave passes the longest pipe before the event"
    for one in (rested, whole):
        one.advance_to(9.0)
        assert one.done == 900
    seen, all_of_it = Summary(work.lineup, rested), Summary(work.lineup, whole)
    for key, found in seen.found.items():
        assert found.pressure == pytest.approx(all_of_it.found[key].pressure, abs=1e-3)
    assert np.array_equal(np.concatenate(rested.time), np.concatenate(whole.time))
    assert np.abs(np.vstack(rested.heads) - np.vstack(whole.heads)).max() < 1e-7
    assert np.abs(np.vstack(rested.flows) - np.vstack(whole.flows)).max() < 1e-9
    assert seen.spans is not None
    assert all_of_it.spans is not None
    assert np.abs(seen.spans.high - all_of_it.spans.high).max() < 1e-7
    assert np.abs(seen.spans.wide_low - all_of_it.spans.wide_low).max() < 1e-7


@pytest.mark.parametrize("at", [0.0, 0.05, 2.0])
def test_what_moves_at_once_is_marched_from_the_first_step(at: float) -> None:
    """And so is what moves before a wave has passed the longest pipe, here in two seconds."""
    work = plan(line(), closing(1.0, at=at))
    assert begun(work, work.divide(0.01), stride=1).done == 0

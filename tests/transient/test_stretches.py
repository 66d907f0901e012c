"""One line drawn in few or many pieces: stretches of pipes, their reaches, the same march."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.lines import line_up, pipe, valve

from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.transient.reaches import LEAST_REACHES, choose_step, coarsest, divide
from surge.transient.run import simulate
from surge.transient.stretches import LEAST_PIECES, stretches_of

LENGTH = 3000.0  # [m]


def pieces(n: int, *, wave_speed: float = 1100.0) -> np.ndarray:
    """Lengths of ``n`` unequal pieces of the line [m]."""
    part = 1.0 + 0.3 * np.sin(np.arange(n) * 2.4)
    return LENGTH * part / part.sum()


def line(n: int) -> LineUp:
    """A line in ``n`` pieces, drawn to and fro by turns, a hose and a valve at its end."""
    names = ["tank", *(f"j{k}" for k in range(1, n)), "berth"]
    drawn = []
    for k, length in enumerate(pieces(n)):
        ends = (names[k], names[k + 1]) if k % 2 == 0 else (names[k + 1], names[k])
        drawn.append(pipe(f"line {k}", *ends, float(length), 1100.0, diameter=0.4, friction_factor=0.02))
    hose = pipe("hose", "berth", "rail", 20.0, 400.0, diameter=0.4)
    return line_up([*drawn, hose, valve("valve", "rail", "ship", 0.08)], {"tank": 60.0, "ship": 5.0})


@pytest.mark.parametrize("n", [LEAST_PIECES, 20])
def test_pieces_in_any_direction_are_one_stretch_and_a_hose_is_none_of_it(n: int) -> None:
    assert stretches_of(line(n)) == (tuple(range(n)), (n,))


@pytest.mark.parametrize("n", [1, 2, LEAST_PIECES - 1])
def test_few_pieces_are_fitted_each_by_itself(n: int) -> None:
    assert stretches_of(line(n)) == tuple((k,) for k in range(n + 1))


@pytest.mark.parametrize("what", ["a branch", "a tank", "another bore", "another wave speed", "a valve"])
def test_a_stretch_ends_where_something_may_reflect(what: str) -> None:
    more = {"another bore": {"diameter": 0.3}, "another wave speed": {}}.get(what, {})
    speed = 900.0 if what == "another wave speed" else 1000.0
    names = ["a", *(f"j{k}" for k in range(1, LEAST_PIECES - 1)), "b"]
    elements = [
        *(pipe(f"one {k}", *ends, 100.0, 1000.0) for k, ends in enumerate(pairwise(names))),
        pipe("two", "c" if what == "a valve" else "b", "d", 100.0, speed, **more),
    ]
    if what == "a branch":
        elements.append(pipe("three", "b", "e", 100.0, 1000.0))
    if what == "a valve":
        elements.append(valve("valve", "b", "c", 0.05))
    heads = {"a": 10.0, "d": 5.0} | ({"b": 8.0} if what == "a tank" else {})
    assert all(len(s) == 1 for s in stretches_of(line_up(elements, heads)))
    # Only what is at the joint keeps them apart.
    alike = [*elements[: LEAST_PIECES - 1], pipe("two", "b", "d", 100.0, 1000.0)]
    assert stretches_of(line_up(alike, {"a": 10.0, "d": 5.0})) == (tuple(range(LEAST_PIECES)),)


def test_a_ring_of_pipes_alone_is_a_stretch() -> None:
    n = LEAST_PIECES
    ring = [pipe(f"p{k}", f"j{k}", f"j{(k + 1) % n}", 100.0, 1000.0) for k in range(n)]
    found = stretches_of(line_up(ring, {}))
    assert sorted(found[0]) == list(range(n))
    assert len(found) == 1


@settings(max_examples=60, deadline=None)
@given(times=st.lists(st.floats(1e-3, 2.0), min_size=2, max_size=30), alone=st.floats(0.05, 5.0))
def test_what_does_not_fit_does_not_add_up(times: list[float], alone: float) -> None:
    t = np.array([*times, alone])
    together = (tuple(range(len(times))), (len(times),))
    dt = choose_step(t, stroke=np.inf, stretches=together)
    reaches = divide(t, dt, together)
    count = np.array(reaches.count)
    own = count[:-1] > 0
    kept = t[:-1][own]
    total = float(kept.sum())
    assert (count[:-1].sum() + sum(reaches.share[:-1])) * dt == pytest.approx(total)
    assert np.count_nonzero(reaches.share[:-1]) <= 1
    assert np.all(count[:-1][t[:-1] >= dt] >= 1)
    # Every joint is within a step of its place.
    assert np.abs(np.cumsum(count[:-1][own]) * dt - np.cumsum(kept)).max() <= dt * (1 + 1e-6)
    lumped = float(t[:-1].sum()) - total
    assert lumped <= t[:-1].sum() / LEAST_REACHES
    assert dt <= coarsest(t, together)


def test_one_line_in_many_pieces_has_the_same_peak_at_nearly_the_same_step() -> None:
    """Peaks within a hundredth of a bar. Joints are known to half a step: errors may ask for a finer one."""
    move = ValveMove(valve="valve", start=1.0, law=((0.0, 1.0), (30.0, 0.0)))
    scenario = Scenario(name="shut", moves=(move,))
    runs = {n: simulate(line(n), scenario) for n in (1, 10, 40)}
    peaks = {n: max(p.highest.pressure for p in run.places) for n, run in runs.items()}
    assert peaks[10] == pytest.approx(peaks[1], abs=1e3)
    assert peaks[40] == pytest.approx(peaks[1], abs=1e3)
    steps = {n: run.method.dt for n, run in runs.items()}
    assert steps[10] > steps[1] / 2.1
    assert steps[40] > steps[1] / 4.2

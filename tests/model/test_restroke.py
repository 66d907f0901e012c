"""The same scenario with other stroke times: laws stretched, steps that wait moved along."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.inputs.case_text import case

from surge.model.lineup import Scenario, ValveMove
from surge.model.stroke import join, stretched, with_strokes


def starts(scenario: Scenario) -> dict[str, float]:
    return {m.valve: m.start for m in scenario.moves} | {m.pump: m.start for m in scenario.pump_moves}


def test_the_same_strokes_change_nothing() -> None:
    for scenario in case().lineup.scenarios:
        strokes = {m.valve: m.law[-1][0] for m in scenario.moves}
        assert with_strokes(scenario, strokes) == scenario


def test_what_waits_moves_along() -> None:
    """Closed form: 8 s of signal, 8 s of run-down, then 30 s of the manifold valve."""
    shutdown = case().lineup.scenarios[1]
    got = with_strokes(shutdown, {"manifold valve": 30.0})
    assert starts(got) == {"shore pump": 8.0, "manifold valve": 16.0, "shore control valve": 46.0}
    assert [m.law[-1] for m in got.moves] == [(30.0, 0.0), (8.0, 0.0)]


def test_waiting_time_and_the_other_sides_delay_are_kept() -> None:
    shutdown = case(
        ("linked = true ", 'voice_delay = "20 s"\nlinked = false '),
        ('after = "manifold valve"', 'after = "manifold valve"\nwait = "3 s"'),
    ).lineup.scenarios[1]
    got = with_strokes(shutdown, {"manifold valve": 1.0})
    # the shore acts 20 s later anyway: 28 s, run-down 8 s, stroke 1 s, 3 s more
    assert starts(got) == {"shore pump": 28.0, "manifold valve": 36.0, "shore control valve": 40.0}


def test_openings_keep_their_time_and_steps_become_strokes() -> None:
    scenario = Scenario(
        name="s",
        moves=(
            ValveMove(valve="a", start=1.0, law=((0.0, 0.0), (9.0, 1.0))),
            ValveMove(valve="a", start=20.0, law=((0.0, 1.0), (0.0, 0.0))),
        ),
    )
    opens, shuts = with_strokes(scenario, {"a": 4.0}).moves
    assert opens.law == ((0.0, 0.0), (9.0, 1.0))
    assert shuts.law == ((0.0, 1.0), (4.0, 0.0))


@settings(max_examples=100, deadline=None)
@given(
    times=st.lists(st.floats(0.01, 50.0), min_size=1, max_size=5, unique=True),
    time=st.floats(0.01, 300.0),
)
def test_a_stretched_law_has_the_same_shape(times: list[float], time: float) -> None:
    law = ((0.0, 1.0), *((t, 1.0 - (i + 1) / len(times)) for i, t in enumerate(sorted(times))))
    got = stretched(law, time)
    assert got[-1][0] == pytest.approx(time, rel=1e-12)
    assert [x for _, x in got] == [x for _, x in law]
    back = stretched(got, law[-1][0])
    assert all(a == pytest.approx(b, rel=1e-9) for (a, _), (b, _) in zip(back, law, strict=True))


def test_a_law_that_begins_late_waits() -> None:
    """For the library: a case file cannot hold such a law."""
    assert join(((5.0, 1.0), (9.0, 0.0)), 1.0) == ((0.0, 1.0), (5.0, 1.0), (9.0, 0.0))

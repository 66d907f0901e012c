"""What only has to be kept is run no finer than shows it; what is not shown is judged as ever."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.one_valve import line, rated_line

from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.ranged import Made, over_ranges
from surge.search import judge
from surge.search.judge import NO_RULES, Bench
from surge.transient import run
from surge.transient.run import Enough, simulate_enough

SLAMS, VALVE = "tank valve slams", "3S tank valve"


@pytest.fixture(scope="module")
def slams(demos: Demos) -> tuple[LineUp, Scenario]:
    """Two closed branches, and a valve whose shortest safe stroke is 5.5 s."""
    lineup = demos["methanol-closed-branches"].answer.lineup
    return lineup, next(s for s in lineup.scenarios if s.name == SLAMS)


def at(scenario: Scenario, stroke: float) -> Scenario:
    return with_strokes(scenario, {VALVE: stroke})


def test_a_stroke_that_is_kept_is_shown_by_fewer_marches(slams: tuple[LineUp, Scenario]) -> None:
    """Its margin less the error is less than that of a full run, and no less than was asked for."""
    lineup, scenario = slams
    bench = Bench(lineup, NO_RULES)
    shown, full = bench.show(at(scenario, 6.0), 2e4), bench.judge(at(scenario, 6.0))
    assert shown.kept
    assert full.kept
    assert shown.run.method.runs < full.run.method.runs
    assert 2e4 <= shown.margin <= full.margin


def test_more_margin_than_a_coarse_run_shows_takes_a_full_one(slams: tuple[LineUp, Scenario]) -> None:
    lineup, scenario = slams
    bench = Bench(lineup, NO_RULES)
    full = bench.judge(at(scenario, 6.0))
    assert bench.show(at(scenario, 6.0), full.margin) is full
    assert bench.show(at(scenario, 6.0), 1e9) is full


def test_a_margin_of_less_than_the_error_again_takes_a_full_run(slams: tuple[LineUp, Scenario]) -> None:
    """At 5.5 s a coarse run leaves 3.2 kPa beyond an error of 5.5 kPa."""
    lineup, scenario = slams
    bench = Bench(lineup, NO_RULES)
    assert bench.show(at(scenario, 5.5), 0.0) is bench.judge(at(scenario, 5.5))


def test_where_anything_moves_in_no_time_no_run_ends_early(monkeypatch: pytest.MonkeyPatch) -> None:
    """There a finer step may tell a greater error: fronts meet anew in a closed branch."""
    monkeypatch.setattr(run, "NEARLY", np.inf)
    lineup = line(branch=333.0, roughness=5e-5).with_(atmosphere=1e9)  # it does not boil
    one = lineup.scenarios[0]
    sudden = replace(one, moves=(replace(one.moves[0], law=((0.0, 1.0), (0.0, 0.0))),))
    asked: list[object] = []

    def enough(told: object) -> bool:
        asked.append(told)
        return True

    simulate_enough(lineup, sudden, enough=enough)
    assert not asked


def test_what_is_not_kept_is_judged(slams: tuple[LineUp, Scenario]) -> None:
    lineup, scenario = slams
    bench = Bench(lineup, NO_RULES)
    assert not bench.keeps(at(scenario, 5.0))
    assert bench.show(at(scenario, 5.0), 0.0) is bench.judge(at(scenario, 5.0))


def test_other_points_of_the_ranges_count() -> None:
    """Where a wave speed is a range, what its other values may add is part of the error that is shown."""
    lineup = rated_line(rating=9e5)
    scenario = lineup.scenarios[0]
    wide = lineup.with_(
        pipes=tuple(replace(p, wave_speed_range=(0.8 * p.wave_speed, p.wave_speed)) for p in lineup.pipes)
    )
    wide = wide.with_(scenarios=(scenario,))
    variants = [with_strokes(scenario, {"valve": 3.0 + k}) for k in range(6)]
    bench, other = Bench(wide, NO_RULES), Bench(wide, NO_RULES)
    told = [bench.keeps(one) for one in variants]
    full = [other.judge(one).kept for one in variants]
    assert told == full
    assert True in full
    assert False in full
    assert [bench.judge(one).margin for one in variants] == [other.judge(one).margin for one in variants]


def test_a_case_that_is_judged_later_has_its_full_run(slams: tuple[LineUp, Scenario]) -> None:
    """What was only shown does not stand for what is measured."""
    lineup, scenario = slams
    bench = Bench(lineup, NO_RULES)
    one = at(scenario, 6.0)
    shown = bench.show(one, 0.0)
    assert bench.at_hand.find(one) is None
    assert bench.judge(one).run.method.runs > shown.run.method.runs


def test_one_run_of_several_that_ended_early_is_enough_to_keep_none_as_full(
    slams: tuple[LineUp, Scenario], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Runs at two points of a range: the first ended early, the second did not."""
    lineup, scenario = slams

    def two_runs(*given: Any, enough: Enough, **more: Any) -> list[Made]:
        assert enough(lambda _: (0.0, 0.0))
        assert not enough(lambda _: (0.0, 1e9))
        return over_ranges(*given, **more)

    monkeypatch.setattr(judge, "over_ranges", two_runs)
    bench = Bench(lineup, NO_RULES)
    assert bench.keeps(at(scenario, 6.0))
    assert bench.at_hand.find(at(scenario, 6.0)) is None


def test_far_from_the_error_aimed_at_no_run_ends_early(
    slams: tuple[LineUp, Scenario], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where errors do not fall as they should (a slam, say) a finer step may tell a greater one."""
    lineup, scenario = slams
    monkeypatch.setattr(run, "NEARLY", 0.5)
    bench = Bench(lineup, NO_RULES)
    assert bench.show(at(scenario, 6.0), 0.0) is bench.judge(at(scenario, 6.0))

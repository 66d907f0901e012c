"""What is told as safe is what a check finds kept: strokes, rates, sets, and what lies between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.lineups.one_valve import line, ordered, rated_line
from support.lineups.rated import own_rules
from support.told import told_by, unsafe

from surge.model.lineup import LineUp
from surge.rules.assess import assess
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, WITHIN
from surge.rules.reading import built_in
from surge.rules.rulings import searched_limits
from surge.search.judge import Bench, worst_values
from surge.search.rates import greatest_rate
from surge.search.smallest import Samples
from surge.search.strokes import stroke_limits
from surge.search.window import windows_of


def own(of: str, figure: float, **changes: str) -> RuleBook:
    """One required rule of a terminal, made from a rule of the program, and no other."""
    rule = built_in().rule(of)
    assert rule is not None
    made: Rule = replace(rule, id=f"own-{of}", figure=figure, requirement="required", own=True, **changes)
    return RuleBook(rules=(made,))


def test_a_rule_on_velocity_bounds_the_greatest_rate() -> None:
    """A velocity of 0.8 m/s in a bore of 0.3 m: 0.05655 m3/s, less than any pressure would allow."""
    lineup = rated_line(rating=30e5)
    got = greatest_rate(lineup, lineup.scenarios[0], book=own("bulk-velocity", 0.8, applies="always"))
    assert got is not None
    assert got.greatest is not None
    assert 0.8 * np.pi / 4 * 0.09 * 0.995 <= got.greatest <= 0.8 * np.pi / 4 * 0.09
    assert got.rule is not None
    assert got.rule.rule.id == "own-bulk-velocity"


def test_where_every_rate_breaks_a_rule_none_is_told() -> None:
    lineup = rated_line()
    got = greatest_rate(lineup, lineup.scenarios[0], book=own("bulk-velocity", 1e-3, applies="always"))
    assert got is not None
    assert got.greatest is None
    assert "velocity" in got.reason.lower()


def test_a_stricter_share_of_the_rating_bounds_the_stroke() -> None:
    lineup = line(rating=9e5)
    scenario = lineup.scenarios[0]
    plain = stroke_limits(lineup, scenario, "valve", book=RuleBook(rules=()), longest=20.0)
    book = own("peak-pressure", 0.7)
    strict = stroke_limits(lineup, scenario, "valve", book=book, longest=20.0)
    assert plain.shortest is not None
    assert strict.shortest is not None
    assert strict.shortest > plain.shortest
    assert Bench(lineup, book).judge(scenario).kept is (assess(lineup, book=book).verdict == WITHIN)


def test_rules_on_strokes_bound_the_window_from_below() -> None:
    """A bore of 0.3 m is 11.81 inches: at 1 s an inch 11.9 s, rounded up."""
    lineup = line(rating=30e5)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=own("stroke-per-inch", 1.0), longest=20.0)
    assert got.shortest == 11.9
    assert got.fast_rule is not None
    assert got.fast_rule.id == "own-stroke-per-inch"


def test_a_rule_that_needs_a_run_bounds_the_window_too() -> None:
    lineup = line(rating=30e5)
    book = own("effective-closing-time", 5.0)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=book, longest=20.0)
    assert got.shortest is not None
    assert got.shortest > got.from_
    assert got.fast_rule is not None


def test_an_allowance_without_a_test_pressure_is_not_used() -> None:
    lineup = line(rating=9e5)
    generous = lineup.with_(
        pipes=tuple(replace(p, limits=replace(p.limits, allowance=1.1)) for p in lineup.pipes)
    )
    held = searched_limits(generous, built_in(), generous.scenarios[0])
    assert min(h.limit.value for h in held if h.name == "first" and h.upper) == 9e5


def test_the_ullage_bounds_the_rate() -> None:
    """What runs in while the valve shuts goes with the rate: a hundredth more is too much."""
    lineup = ordered(rated_line(rating=30e5), ullage=0.63)
    (scenario,) = lineup.scenarios
    rule = built_in().rule("overfill-time")
    assert rule is not None
    got = greatest_rate(lineup, scenario, book=RuleBook(rules=(rule,)))
    assert got is not None
    assert got.greatest is not None
    assert got.greatest < 0.99 * got.to
    assert got.rule is not None
    kept = [
        assess(
            lineup.with_(scenarios=(replace(scenario, rate=share * got.greatest),)),
            book=RuleBook(rules=(rule,)),
        ).verdict
        for share in (1.0, 1.01)
    ]
    assert kept == [WITHIN, EXCEEDED]


def test_values_with_the_least_margin_one_for_each_doubling() -> None:
    samples = Samples(margins={10.0: 5.0, 12.0: 3.0, 15.0: 4.0, 22.0: 2.0, 30.0: 9.0, 45.0: 1.0, 90.0: 1.0})
    assert worst_values(samples, 10.0, 60.0, below=8.0) == [45.0, 22.0, 12.0]
    assert worst_values(samples, 10.0, 20.0, below=3.5) == [12.0]


def small_berth(seed: int) -> tuple[LineUp, RuleBook]:
    """One to two valves on a short line, with a rating that matters, a rate, and rules of a terminal."""
    rng = np.random.default_rng(seed)
    lineup = rated_line(
        length=float(rng.uniform(200, 600)),
        velocity=float(rng.uniform(0.9, 2.0)),
        rating=3.2e5 + float(rng.uniform(1e5, 6e5)),
        branch=float(rng.choice([0.0, 40.0, 150.0])),
        second=float(rng.choice([0.0, 0.0, 1.5, 4.0])),
    )
    return lineup, RuleBook(rules=tuple(own_rules(1.0, rng)))


@pytest.mark.parametrize("seed", [0, 1, 3, 4, 5, 6, 9])
def test_all_that_is_told_of_generated_berths_is_kept_by_a_check(seed: int) -> None:
    """With shutdowns, ullages, pumps and several tanks: ``tests/benchmarks/told.py``."""
    lineup, book = small_berth(seed)
    made = windows_of(lineup, book=book, valves=["valve"], longest=12.0)
    rng = np.random.default_rng(seed)
    told = told_by(lineup, made, rng, between=1)
    assert [said for one in told if (said := unsafe(lineup, book, one))] == []

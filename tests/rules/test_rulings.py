"""Every rule of the book speaks on every case, in one plain sentence; what counts and what does not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.lineups.berth import spoilt
from support.rulings import (
    BAR,
    bare,
    built_in_only,
    case,
    changed_book,
    charged,
    halt,
    peak,
    rated,
    rule_all,
    shut,
    shutdown,
    the,
    ullage,
)

from surge.model.lineup import (
    Limits,
    Scenario,
)
from surge.rules.book import CONDITIONS, MEASURES, RuleBook, speaks_of
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.reading import built_in
from surge.rules.rulings import (
    KEPT,
    NOT_APPLICABLE,
    NOT_CHECKED,
    NOT_DECIDED,
    NOT_KEPT,
    rule_on,
    worst,
)

# Every rule speaks


def test_every_rule_gives_a_ruling_in_one_plain_sentence() -> None:
    rulings = rule_all(case(shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))))
    assert {r.rule.id for r in rulings} == {r.id for r in built_in().rules}
    for r in rulings:
        assert r.words.endswith(".")
        assert r.words.isprintable()
        assert r.outcome in (KEPT, NOT_KEPT, NOT_DECIDED, NOT_CHECKED, NOT_APPLICABLE)
        assert bool(r.supply) is bool(r.to_write) is (r.outcome == NOT_CHECKED), r
        assert not (r.binding and not r.rule.required)
        if r.value is not None:
            assert r.limit is not None
            assert r.margin == r.rule.margin(r.value, limit=r.limit)


def test_advisory_rules_never_count() -> None:
    rulings = rule_all(case(shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))))
    broken = [r for r in rulings if r.outcome == NOT_KEPT]
    assert {r.rule.id for r in broken} >= {"closing-about-30-s", "stroke-tenth-of-bore"}
    assert all(r.verdict == WITHIN for r in broken)
    assert worst(rulings) == WITHIN


def test_a_rule_that_is_off_is_listed_with_its_reason() -> None:
    book = changed_book("total-shutdown-time", requirement="off", reason="no such ships here")
    late = case(shutdown(shut("manifold valve", 8.0, 90.0, side="ship")))
    ruling = the(rule_all(late, book=book), "total-shutdown-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_APPLICABLE, WITHIN)
    assert "no such ships here" in ruling.words


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_can_be_held_under_every_condition_that_it_may_have(measure: str) -> None:
    model = next(r for r in built_in().rules if r.measure == measure)
    esd = shutdown(shut("manifold valve", 8.0, 20.0, side="ship"), pumps=(halt(8.0),))
    lineups = (bare(), ullage(charged(rated(case(esd), test_pressure=24 * BAR, burst=64 * BAR), True), 50.0))
    for condition in (c for c in CONDITIONS if speaks_of(measure, c)):
        book = RuleBook(rules=(replace(model, applies=condition, requirement="required"),))
        for lineup in lineups:
            rulings = rule_all(lineup, book=book)
            assert rulings
            assert all(r.words and r.rule.applies == condition for r in rulings)
            if condition == "the cargo is a static accumulator" and lineup is lineups[0]:
                said = {r.outcome for r in rulings}
                assert NOT_APPLICABLE not in said, "silence of the case is never a pass"


# Without a shutdown


def test_a_case_without_a_shutdown_is_not_held_up_by_rules_on_shutdowns() -> None:
    rulings = rule_all(case())
    for rule_id in ("stop-flow-time", "total-shutdown-time", "remote-valve-time", "shore-before-ship"):
        ruling = the(rulings, rule_id)
        assert (ruling.outcome, ruling.binding) == (NOT_CHECKED, False)
        assert "the case has no emergency shutdown" in ruling.words
        assert "[scenario.shutdown]" in ruling.supply
    assert worst(rulings) == WITHIN


def test_a_terminal_can_ask_for_a_shutdown_in_every_case() -> None:
    book = changed_book("total-shutdown-time", applies="always")
    ruling = the(rule_all(case(), book=book), "total-shutdown-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)


def test_scenarios_without_a_shutdown_stand_aside() -> None:
    slow = Scenario(name="topping off", moves=(shut("manifold valve", 5.0, 300.0),))
    fast = shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))
    assert the(rule_all(case(slow, fast)), "total-shutdown-time").scenario == "shutdown"


# Words


@pytest.mark.parametrize("beyond", [1.0, 40.0, 400.0, 999.0, -1.0, -400.0])
def test_pressures_that_differ_are_told_apart(beyond: float) -> None:
    limit = 10 * BAR + 300.0
    lineup = spoilt("pipes", 0, case(), limits=Limits(rating=limit))
    found = peak("shore line", limit + beyond, limit=limit, verdict=EXCEEDED if beyond > 0 else WITHIN)
    rulings = rule_on(lineup, book=built_in_only("peak-pressure"), runs=(), findings=[found])
    words = the(rulings, "peak-pressure").words
    shown, bound = (float(part.split(" bar(g)")[0].split()[-1]) for part in words.split("; limit "))
    assert (shown > bound) is (beyond > 0), words
    assert words.endswith("not met." if beyond > 0 else ": met.")


def test_pressures_that_are_the_same_or_far_apart_are_told_in_the_readers_unit() -> None:
    lineup = spoilt("pipes", 0, case(), limits=Limits(rating=10 * BAR))
    for value in (10 * BAR, 9 * BAR):
        found = peak("shore line", value, limit=10 * BAR)
        rulings = rule_on(lineup, book=built_in_only("peak-pressure"), runs=(), findings=[found])
        phrase = the(rulings, "peak-pressure").phrase
        assert [p for p in phrase if not isinstance(p, str)] == [("pressure", value), ("pressure", 10 * BAR)]


def test_a_margin_in_the_last_digit_of_a_test_pressure() -> None:
    lineup = rated(case(), rating=10 * BAR, test_pressure=15 * BAR - 40.0)
    ruling = the(rule_all(lineup), "hose-test-pressure")
    assert ruling.outcome == NOT_KEPT
    assert "14.9996 bar(g)" in ruling.words
    assert "15.0000 bar(g)" in ruling.words

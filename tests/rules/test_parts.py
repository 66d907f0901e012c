"""What parts are made for, when they were tested, allowances and strokes, held against their rules."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.lineups.berth import berth
from support.rulings import (
    BAR,
    built_in_only,
    case,
    changed_book,
    on_allowance,
    peak,
    quick_run,
    rated,
    rule_all,
    shut,
    the,
)

from surge.model.lineup import (
    Berth,
    Limits,
    LineUp,
    Point,
    Scenario,
    Supply,
    Valve,
    Wall,
)
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.parts import months_between
from surge.rules.reading import built_in
from surge.rules.rulings import (
    KEPT,
    NOT_APPLICABLE,
    NOT_CHECKED,
    NOT_DECIDED,
    NOT_KEPT,
    Ruling,
    rule_on,
    worst,
)
from surge.rules.static import static_findings

# Gentleness: ISGOTT 5th ed. 16.9.1 and 16.10.1


def test_a_closure_within_the_period_is_told_as_fast() -> None:
    run = quick_run()
    (closure,) = run.closures

    def outcome(effective: float | None) -> Ruling:
        got = replace(run, closures=(replace(closure, effective=effective),))
        return the(
            rule_on(rated(berth()), book=built_in(), runs=[got], findings=()), "effective-closing-time"
        )

    spacing = float(np.max(np.diff(run.history.time)))
    assert outcome(0.5 * closure.period).outcome == NOT_KEPT
    assert outcome(3.0 * closure.period).outcome == KEPT
    assert outcome(closure.period + spacing).outcome == NOT_DECIDED
    assert outcome(closure.period).outcome == NOT_DECIDED, (
        "the samples do not tell it apart from a faster one"
    )
    assert outcome(None).outcome == NOT_APPLICABLE
    assert outcome(0.5 * closure.period).verdict == WITHIN, "advisory"


def test_equal_to_the_period_is_fast_when_it_is_told_exactly() -> None:
    run = quick_run()
    (closure,) = run.closures
    got = replace(
        run,
        closures=(replace(closure, effective=closure.period),),
        history=replace(run.history, time=np.zeros(2)),
    )
    rulings = rule_on(rated(berth()), book=built_in_only("effective-closing-time"), runs=[got], findings=())
    assert the(rulings, "effective-closing-time").outcome == NOT_KEPT


def test_rules_of_thumb_for_strokes() -> None:
    # Bore 250 mm: 1 s per inch is 9.84 s, a tenth of the bore 25 s.
    def outcomes(stroke: float) -> list[str]:
        rulings = rule_all(case(Scenario(name="s", moves=(shut("manifold valve", 5.0, stroke),))))
        ids = ("closing-about-30-s", "stroke-per-inch", "stroke-tenth-of-bore")
        return [the(rulings, rule_id).outcome for rule_id in ids]

    assert outcomes(9.8) == [NOT_KEPT, NOT_KEPT, NOT_KEPT]
    assert outcomes(9.9) == [NOT_KEPT, KEPT, NOT_KEPT]
    assert outcomes(25.0) == [NOT_KEPT, KEPT, KEPT]
    assert outcomes(30.0) == [KEPT, KEPT, KEPT]


def test_of_a_wall_that_is_a_range_the_widest_bore_counts_for_strokes() -> None:
    lineup = case(Scenario(name="s", moves=(shut("manifold valve", 5.0, 9.9),)))
    wall = Wall(thickness=0.01, stiffness=None, thickness_range=(0.008, 0.012))
    wide = lineup.with_(pipes=tuple(replace(p, wall=wall) for p in lineup.pipes))
    for told, outcome in ((lineup, KEPT), (wide, NOT_KEPT)):
        assert the(rule_all(told), "stroke-per-inch").outcome == outcome


# Hoses: 33 CFR 154.500 and 156.170, IGC Code 5.7, ISGOTT 5th ed. 18.2


@functools.cache
def hose_static() -> float:
    return next(f.value for f in static_findings(case()) if f.name == "hose" and f.value is not None)


@pytest.mark.parametrize(("above", "outcome"), [(0.0, NOT_KEPT), (1.0, KEPT), (-1.0, NOT_KEPT)])
def test_a_hose_is_rated_above_shut_off_pressure(above: float, outcome: str) -> None:
    ruling = the(rule_all(rated(case(), rating=hose_static() + above)), "hose-static-pressure")
    assert (ruling.outcome, ruling.subject) == (outcome, "hose")
    assert ruling.value == pytest.approx(hose_static())


def test_an_unknown_shut_off_pressure_keeps_nothing() -> None:
    supply = Supply(name="shore", point="tank outlet", pressure=2 * BAR, shut_off=None)
    lineup = case(tanks=berth().tanks[1:], supplies=(supply,))
    ruling = the(rule_all(rated(lineup, burst=100 * BAR)), "hose-static-pressure")
    assert (ruling.outcome, ruling.verdict) == (NOT_DECIDED, UNDECIDED)
    burst = the(rule_all(rated(lineup, burst=100 * BAR)), "hose-burst-static")
    assert (burst.outcome, burst.verdict) == (NOT_CHECKED, UNDECIDED)


@pytest.mark.parametrize(("factor", "outcome"), [(4.0, KEPT), (3.999, NOT_KEPT)])
def test_a_hose_bursts_at_four_times_shut_off_pressure(factor: float, outcome: str) -> None:
    ruling = the(rule_all(rated(case(), burst=factor * hose_static())), "hose-burst-static")
    assert ruling.outcome == outcome
    assert ruling.verdict == (WITHIN if outcome == KEPT else EXCEEDED)


def test_a_hose_that_no_valve_shuts_off_has_no_shut_off_pressure() -> None:
    lineup = case()
    open_ended = lineup.with_(valves=lineup.valves[:1])
    joined = replace(lineup.pipes[1], start="manifold")
    open_ended = open_ended.with_(
        pipes=(lineup.pipes[0], joined, replace(lineup.pipes[2], start="manifold"), lineup.pipes[3]),
        points=tuple(p for p in lineup.points if p.name != "deck"),
        scenarios=(Scenario(name="s", moves=(shut("control valve", 5.0, 20.0),)),),
    )
    ruling = the(rule_all(rated(open_ended, burst=60 * BAR)), "hose-burst-static")
    assert ruling.outcome == NOT_APPLICABLE


def test_tests_and_bursts_of_a_hose_rated_10_bar() -> None:
    def outcomes(test: float | None, burst: float | None) -> dict[str, str]:
        limits = {"rating": 10 * BAR, "test_pressure": test and test * BAR, "burst": burst and burst * BAR}
        rulings = rule_all(rated(case(), **limits))
        ids = ("hose-test-pressure", "hose-test-gas", "hose-burst-gas", "hose-floor-gas", "hose-floor")
        return {rule_id: the(rulings, rule_id).outcome for rule_id in ids}

    assert outcomes(15.0, 50.0) == {
        "hose-test-pressure": KEPT,
        "hose-test-gas": KEPT,
        "hose-burst-gas": KEPT,
        "hose-floor-gas": KEPT,
        "hose-floor": NOT_KEPT,  # 10.34 bar
    }
    assert outcomes(14.9, 49.0)["hose-test-pressure"] == NOT_KEPT
    assert outcomes(14.9, 49.0)["hose-burst-gas"] == NOT_KEPT
    assert outcomes(20.0, 50.0)["hose-test-gas"] == KEPT
    assert outcomes(20.1, 50.0)["hose-test-gas"] == NOT_KEPT
    bare = outcomes(None, None)
    assert {bare[i] for i in ("hose-test-pressure", "hose-test-gas", "hose-burst-gas")} == {NOT_CHECKED}


CERTIFICATE = {
    "hose-test-pressure": "test_pressure",
    "hose-burst-static": "burst_pressure",
    "hose-test-interval": "tested",
}


def test_what_a_certificate_would_say_is_asked_for() -> None:
    assert worst(rule_all(case())) == WITHIN
    rulings = rule_all(rated(case()))
    for rule_id, key in CERTIFICATE.items():
        ruling = the(rulings, rule_id)
        assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
        assert f"write {key}" in ruling.supply
        assert 'for "hose"' in ruling.supply


@pytest.mark.parametrize(
    ("tested", "outcome"),
    [
        (date(2025, 3, 10), KEPT),
        (date(2025, 3, 9), NOT_KEPT),
        (date(2025, 12, 1), KEPT),
        (date(2026, 3, 11), NOT_CHECKED),
    ],
)
def test_a_hose_is_tested_within_12_months(tested: date, outcome: str) -> None:
    lineup = rated(case(berth=Berth(transfer=date(2026, 3, 10))), tested=tested)
    ruling = the(rule_all(lineup), "hose-test-interval")
    assert ruling.outcome == outcome
    assert ruling.verdict == {KEPT: WITHIN, NOT_KEPT: EXCEEDED, NOT_CHECKED: UNDECIDED}[outcome]


@pytest.mark.parametrize(
    ("first", "then", "months"),
    [
        (date(2025, 1, 31), date(2025, 2, 28), 1 - 3 / 31),
        (date(2024, 2, 29), date(2025, 2, 28), 12 - 1 / 31),
        (date(2024, 2, 29), date(2025, 3, 1), 13 - 28 / 31),
        (date(2025, 5, 5), date(2026, 5, 5), 12.0),
    ],
)
def test_months(first: date, then: date, months: float) -> None:
    assert months_between(first, then) == pytest.approx(months)


@given(st.dates(date(1990, 1, 1), date(2060, 1, 1)), st.integers(0, 800), st.integers(0, 800))
def test_later_days_are_never_fewer_months_away(first: date, a: int, b: int) -> None:
    one, other = sorted((a, b))
    days = [date.fromordinal(first.toordinal() + n) for n in (one, other)]
    assert months_between(first, days[0]) <= months_between(first, days[1])


def test_a_test_date_without_the_day_of_the_transfer_cannot_be_decided() -> None:
    lineup = rated(case(berth=Berth()), tested=date(2020, 1, 1))
    ruling = the(rule_all(lineup), "hose-test-interval")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "transfer" in ruling.supply
    assert "[berth]" in ruling.supply
    assert "2020-01-01" in ruling.words


# Arms, ship's lines


def test_an_arm_is_tested_at_1_5_times_its_rating() -> None:
    lineup = rated(case(), test_pressure=23.9 * BAR, rating=16 * BAR)
    arm = lineup.with_(pipes=tuple(replace(p, kind="arm") if p.name == "hose" else p for p in lineup.pipes))
    assert the(rule_all(arm), "arm-test-pressure").outcome == NOT_KEPT
    assert the(rule_all(arm), "hose-test-pressure").outcome == NOT_APPLICABLE
    assert the(rule_all(lineup), "arm-test-pressure").outcome == NOT_APPLICABLE


def with_drop_valve(rating: float) -> LineUp:
    """The berth with a valve at the foot of the drop: the ship's line becomes a dead end when it shuts."""
    lineup = case()
    valve = Valve(name="tank valve", start="drop", end="stack top", kv=900.0, characteristic=((0, 0), (1, 1)))
    return lineup.with_(
        points=(*lineup.points, Point(name="stack top", elevation=10.0)),
        valves=(*lineup.valves, replace(valve, limits=Limits(rating=16 * BAR))),
        passages=(replace(lineup.passages[0], start="stack top"),),
        pipes=tuple(
            replace(p, limits=Limits(rating=rating)) if p.name == "deck line" else p for p in lineup.pipes
        ),
    )


@pytest.mark.parametrize(("rating", "outcome"), [(10 * BAR, KEPT), (5 * BAR, NOT_KEPT)])
def test_an_open_ended_rating_does_not_do_for_a_dead_end(rating: float, outcome: str) -> None:
    # IGC Code 5.4.1: 10 bar, and 5 bar for open-ended lines
    found = {
        (r.rule.id, r.subject): r
        for r in rule_on(
            with_drop_valve(rating),
            book=built_in_only("closed-line-rating", "open-ended-line-rating"),
            runs=(),
            findings=(),
        )
    }
    assert found["closed-line-rating", "deck line"].outcome == outcome
    assert found["closed-line-rating", "deck line"].verdict == WITHIN, "advisory"
    assert found["open-ended-line-rating", ""].outcome == NOT_APPLICABLE
    assert ("closed-line-rating", "shore line") not in found, "not a ship's line"


def test_a_line_that_is_always_open_to_its_tank_may_be_rated_5_bar() -> None:
    lineup = case()
    low = lineup.with_(
        pipes=tuple(
            replace(p, limits=Limits(rating=5 * BAR)) if p.name == "deck line" else p for p in lineup.pipes
        )
    )
    rulings = rule_on(low, book=built_in_only("open-ended-line-rating"), runs=(), findings=())
    assert {(r.subject, r.outcome) for r in rulings} == {("deck line", KEPT), ("branch", KEPT)}


def test_without_hose_or_arm_nobody_knows_whose_line_it_is() -> None:
    lineup = case()
    plain = lineup.with_(pipes=tuple(replace(p, kind="pipe") for p in lineup.pipes))
    (ruling,) = rule_on(plain, book=built_in_only("closed-line-rating"), runs=(), findings=())
    assert ruling.outcome == NOT_CHECKED
    assert "hose or arm" in ruling.supply


# Allowances: ASME B31.3 302.2.4, B31.1 102.2.4


@pytest.mark.parametrize(
    ("allowance", "applied"),
    [
        (0.9, {"allowance-1.00"}),
        (1.0, {"allowance-1.00"}),
        (1.05, {"allowance-1.10-pipeline", "allowance-1.10-us-pipeline", "allowance-1.10-eu"}),
        (1.1, {"allowance-1.10-pipeline", "allowance-1.10-us-pipeline", "allowance-1.10-eu"}),
        (1.15, {"allowance-1.15-power-piping"}),
        (1.2, {"allowance-1.20-power-piping", "allowance-1.20-process-piping"}),
        (1.25, {"allowance-1.33-process-piping"}),
        (1.33, {"allowance-1.33-process-piping"}),
    ],
)
def test_the_allowance_that_is_chosen_names_its_rules(allowance: float, applied: set[str]) -> None:
    lineup = case()
    line = replace(lineup.pipes[0], limits=Limits(rating=10 * BAR, allowance=allowance))
    only = lineup.with_(pipes=(line,), valves=(), passages=(), pumps=())
    book = RuleBook(rules=tuple(r for r in built_in().rules if r.id.startswith("allowance")))
    used = [peak("shore line", 10.5 * BAR, limit=10 * BAR * allowance)]
    rulings = rule_on(only, book=book, runs=(), findings=used)
    got = {r.rule.id: r for r in rulings if r.outcome != NOT_APPLICABLE}
    assert set(got) == applied
    for ruling in got.values():
        assert ruling.outcome == (KEPT if allowance <= 1 else NOT_CHECKED)
        assert ruling.supply.startswith("confirm: ") is (allowance > 1)
        assert ruling.verdict == WITHIN
    # Where no surge goes above the rating the conditions do not matter.
    unused = rule_on(only, book=book, runs=(), findings=[peak("shore line", 9.9 * BAR, limit=10 * BAR)])
    assert {r.outcome for r in unused} == {KEPT, NOT_APPLICABLE}


@pytest.mark.parametrize("allowance", [1.0, 1.05, 1.1, 1.15, 1.2, 1.33])
def test_allowances_of_several_parts_that_no_surge_uses_are_told_as_one(allowance: float) -> None:
    lineup = case()
    limits = Limits(rating=10 * BAR, allowance=allowance)
    parts = tuple(replace(p, kind="pipe", limits=limits) for p in lineup.pipes)
    assert len(parts) > 1
    rulings = rule_on(lineup.with_(pipes=parts), book=built_in(), runs=(), findings=())
    told = [r for r in rulings if r.outcome == KEPT and "is not used" not in r.words]
    assert any(f"parts is {allowance:g} at most" in r.words for r in told)


def test_a_terminal_can_refuse_an_allowance() -> None:
    lineup = case()
    line = replace(lineup.pipes[0], limits=Limits(rating=10 * BAR, allowance=1.2))
    book = changed_book("allowance-1.20-process-piping", figure=1.0, requirement="required")
    rulings = rule_on(lineup.with_(pipes=(line,)), book=book, runs=(), findings=())
    ruling = the(rulings, "allowance-1.20-process-piping")
    assert (ruling.outcome, ruling.verdict) == (NOT_KEPT, EXCEEDED)


def test_the_conditions_of_an_allowance_that_is_used_are_to_be_confirmed() -> None:
    used = peak("shore line", 11 * BAR, limit=12 * BAR)
    rulings = rule_on(
        on_allowance(1.2), book=built_in_only("allowance-1.20-process-piping"), runs=(), findings=[used]
    )
    ruling = the(rulings, "allowance-1.20-process-piping")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, WITHIN), "advisory"
    for words in ("confirm: ", "at most 50 h at a time", "the owner approves"):
        assert words in ruling.supply

"""Findings on pressures and the rules that they belong to; which figure holds at a cargo pump's top."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any

import pytest
from support.lineups.berth import berth, spoilt
from support.rulings import (
    BAR,
    built_in_only,
    case,
    changed_book,
    charged,
    on_allowance,
    peak,
    quick_run,
    rated,
    rule_all,
    run_of,
    shut,
    the,
)

from surge.errors import CaseError
from surge.model.lineup import (
    LineUp,
    Scenario,
)
from surge.rules.assess import assess
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, findings_of, worst_of
from surge.rules.reading import built_in, read_rules
from surge.rules.rulings import (
    KEPT,
    NOT_APPLICABLE,
    NOT_CHECKED,
    NOT_DECIDED,
    NOT_KEPT,
    Ruling,
    counts,
    rule_on,
    with_pump_top,
    worst,
)
from surge.rules.static import static_findings
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate

# Pressures


@functools.cache
def findings() -> tuple[LineUp, ScenarioResult, tuple[Finding, ...]]:
    lineup = rated(berth(), rating=6.9 * BAR, test_pressure=20 * BAR, lowest=-0.5 * BAR)
    lineup = spoilt("points", 5, lineup, pump_top=True, limit=5 * BAR, limit_source="terminal")
    run = simulate(lineup, lineup.scenarios[0])
    return lineup, run, (*static_findings(lineup), *findings_of(lineup, run))


def test_pressure_rulings_say_what_their_worst_finding_says() -> None:
    lineup, run, found = findings()
    rulings = rule_on(lineup, book=built_in(), runs=[run], findings=found)
    names = {KEPT: WITHIN, NOT_KEPT: EXCEEDED, NOT_DECIDED: UNDECIDED, NOT_CHECKED: UNDECIDED}
    order = (WITHIN, UNDECIDED, EXCEEDED)
    for rule_id in {f.rule for f in found}:
        for scenario in {f.scenario for f in found if f.rule == rule_id}:
            mine = [f.verdict for f in found if f.rule == rule_id and f.scenario == scenario]
            (ruling,) = [r for r in rulings if r.rule.id == rule_id and r.scenario == scenario]
            assert order.index(names[ruling.outcome]) >= max(order.index(v) for v in mine), ruling
    assert worst(rulings) == max((f.verdict for f in found), key=order.index)


def test_every_finding_names_a_rule_of_the_book() -> None:
    _, _, found = findings()
    assert {f.rule for f in found} <= {r.id for r in built_in().rules}
    assert all(counts(f, built_in()) for f in found)


def test_a_stricter_rule_of_ones_own_is_held_besides() -> None:
    lineup, run, found = findings()
    base = built_in().rule("peak-pressure")
    assert base is not None
    half = replace(base, id="hose-half", figure=0.5, applies="hoses", own=True)
    book = built_in().merged((half,))
    ruling = the(rule_on(lineup, book=book, runs=[replace(run, vapour=None)], findings=found), "hose-half")
    assert (ruling.subject, ruling.limit) == ("hose", pytest.approx(3.45 * BAR))
    assert (ruling.outcome, ruling.verdict) == (NOT_KEPT, EXCEEDED)


def test_a_stricter_rule_on_static_pressure_is_a_share_of_the_rating() -> None:
    book = changed_book("static-pressure", figure=0.4)
    ruling = the(rule_all(rated(case(), rating=16 * BAR), book=book), "static-pressure")
    assert (ruling.outcome, ruling.limit) == (NOT_KEPT, pytest.approx(6.4 * BAR))
    assert the(rule_all(case()), "static-pressure").outcome == KEPT


def test_the_test_pressure_is_held_for_every_part_that_has_one() -> None:
    lineup = rated(berth(), rating=10 * BAR, test_pressure=15 * BAR)
    for value, outcome in ((15 * BAR, KEPT), (15.1 * BAR, NOT_KEPT), (12 * BAR, KEPT)):
        exceeded = [peak("hose", value, limit=10 * BAR, verdict=EXCEEDED)]
        rulings = rule_on(
            lineup, book=built_in_only("peak-test-pressure", "peak-pressure"), runs=(), findings=exceeded
        )
        assert the(rulings, "peak-test-pressure").outcome == outcome
        assert the(rulings, "peak-pressure").outcome == NOT_KEPT


def test_after_boiling_only_the_findings_own_verdict_is_trusted() -> None:
    lineup, run, _ = findings()
    lineup = rated(lineup, rating=10 * BAR, test_pressure=15 * BAR)
    boiled = replace(quick_run(), name=run.name) if quick_run().vapour is not None else run
    assert boiled.vapour is not None, "the berth's lines boil after its quick closure"
    high = [peak("hose", 12 * BAR, limit=10 * BAR, verdict=EXCEEDED)]
    rulings = rule_on(lineup, book=built_in_only("peak-test-pressure"), runs=[boiled], findings=high)
    assert the(rulings, "peak-test-pressure").outcome == NOT_DECIDED


def test_errors_reach_across_limits() -> None:
    lineup = rated(berth(), rating=10 * BAR)
    near = [peak("hose", 9.99 * BAR, limit=10 * BAR, error=0.02 * BAR, verdict=UNDECIDED)]
    ruling = the(
        rule_on(lineup, book=built_in_only("peak-pressure"), runs=(), findings=near), "peak-pressure"
    )
    assert (ruling.outcome, ruling.verdict) == (NOT_DECIDED, UNDECIDED)
    exact = [peak("hose", 9.98 * BAR, limit=10 * BAR, error=0.02 * BAR)]
    ruling = the(
        rule_on(lineup, book=built_in_only("peak-pressure"), runs=(), findings=exact), "peak-pressure"
    )
    assert ruling.outcome == KEPT


def test_a_part_without_a_rating_is_not_checked_and_counts() -> None:
    lineup = rated(berth(), rating=None)
    run = quick_run()
    found = findings_of(lineup, run)
    ruling = the(rule_on(lineup, book=built_in(), runs=[run], findings=found), "peak-pressure")
    assert (ruling.subject, ruling.verdict) in {("hose", UNDECIDED)}
    assert "rating" in ruling.supply


def test_the_book_sets_the_limit_at_the_pump_top_where_the_case_is_silent() -> None:
    lineup = berth()
    assert with_pump_top(lineup, built_in()) is lineup
    book = changed_book("pump-top", figure=10 * BAR, authority="ship's manual")
    got = with_pump_top(lineup, book)
    assert got.pump_top_limit == 10 * BAR
    assert "ship's manual" in got.pump_top_source
    own = lineup.with_(pump_top_limit=7 * BAR, pump_top_source="given in the case")
    assert with_pump_top(own, book) is own


def test_a_finding_counts_as_its_rule_does() -> None:
    lineup, _, found = findings()
    top = next(f for f in found if f.rule == "pump-top")
    assert counts(top, built_in())
    assert not counts(top, changed_book("pump-top", requirement="off", reason="no loading through pumps"))
    replaced = built_in().merged(
        (replace(built_in().rule("pump-top"), id="ours", replaces="pump-top", requirement="advisory"),)  # type: ignore[type-var]
    )
    assert not counts(top, replaced)
    assert lineup.points_by_name[top.name].pump_top


def test_limits_of_places_and_the_validity_of_a_run_have_rules() -> None:
    lineup, run, found = findings()
    rulings = rule_on(lineup, book=built_in(), runs=[run], findings=found)
    assert {r.subject for r in rulings if r.rule.id in ("pump-top", "place-limit")} == {lineup.points[5].name}
    valid = [r for r in rulings if r.rule.id == "valid-run"]
    assert [r.outcome for r in valid] == ([NOT_DECIDED] if run.undecided else [KEPT])


# Allowances: one that a surge uses needs a test pressure


def of_test(lineup: LineUp, *found: Finding) -> Ruling:
    book = built_in_only("peak-test-pressure")
    return the(rule_on(lineup, book=book, runs=(), findings=found), "peak-test-pressure")


def test_an_allowance_that_is_used_needs_a_test_pressure() -> None:
    used = peak("shore line", 11 * BAR, limit=12 * BAR)
    ruling = of_test(on_allowance(1.2), used)
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "uses the allowance" in ruling.words
    assert ruling.supply == 'write test_pressure for "shore line"'
    kept = of_test(on_allowance(1.2, test=15 * BAR), used)
    assert (kept.outcome, kept.limit) == (KEPT, 15 * BAR)
    near = peak("shore line", 9.99 * BAR, limit=12 * BAR, error=0.02 * BAR)
    assert of_test(on_allowance(1.2), near).outcome == NOT_CHECKED, "the error reaches above the rating"


@pytest.mark.parametrize(
    ("allowance", "value", "verdict"),
    [(1.2, 10 * BAR, WITHIN), (1.2, 9 * BAR, WITHIN), (1.0, 11 * BAR, EXCEEDED), (1.2, 13 * BAR, EXCEEDED)],
)
def test_an_allowance_that_is_not_used_needs_none(allowance: float, value: float, verdict: str) -> None:
    # A peak beyond the allowance breaks another rule already.
    found = peak("shore line", value, limit=10 * BAR * allowance, verdict=verdict)
    assert of_test(on_allowance(allowance), found).outcome == NOT_APPLICABLE


# The top of the cargo pump: of two figures that are given the smaller holds


def at_the_pump(**limits: Any) -> LineUp:
    """The berth with the top of its cargo pump marked."""
    return spoilt("points", 6, case(), pump_top=True).with_(**limits)


def pump_top(value: float, *, lineup: LineUp, verdict: str | None = None) -> Finding:
    limit = lineup.pump_top_limit
    return Finding(
        scenario="topping off",
        subject="place",
        name="drop",
        check="peak",
        value=value,
        error=0.0,
        limit=limit,
        limit_source=f"top of the cargo pump: {lineup.pump_top_source}",
        rule="pump-top",
        margin=limit - value,
        time=1.0,
        distance=None,
        verdict=verdict or (WITHIN if value <= limit else EXCEEDED),
    )


def rule_for_the_top(figure: float, **changes: Any) -> Rule:
    base = built_in().rule("pump-top")
    assert base is not None
    return replace(base, figure=figure, figure_text="as written", own=True, authority="terminal", **changes)


def both_said(lineup: LineUp, book: RuleBook, value: float) -> tuple[str, str]:
    """Verdicts of the finding, if it counts, and of the rulings."""
    lineup = with_pump_top(lineup, book)
    found = pump_top(value, lineup=lineup)
    assert found.verdict == (WITHIN if value <= lineup.pump_top_limit else EXCEEDED)
    rulings = rule_on(lineup, book=book, runs=[run_of(lineup.scenarios[0])], findings=[found])
    mine = [r for r in rulings if r.rule.measure == "pressure at the top of the cargo pump"]
    return found.verdict if counts(found, book) else WITHIN, worst(mine)


GIVEN = {"pump_top_limit": 8 * BAR, "pump_top_source": "given in the case"}


def test_a_stricter_rule_beside_the_built_in_one_has_its_own_figure() -> None:
    book = built_in().merged((rule_for_the_top(6 * BAR, id="our-pump-top"),))
    for lineup in (at_the_pump(), at_the_pump(**GIVEN)):
        assert worst_of(both_said(lineup, book, 7 * BAR)) == EXCEEDED
        assert worst_of(both_said(lineup, book, 6 * BAR)) == WITHIN
        found = pump_top(7 * BAR, lineup=lineup)
        rulings = rule_on(lineup, book=book, runs=[run_of(lineup.scenarios[0])], findings=[found])
        assert (the(rulings, "our-pump-top").limit, the(rulings, "pump-top").limit) == (6 * BAR, 8 * BAR)
    lower = at_the_pump(pump_top_limit=5 * BAR, pump_top_source="given in the case")
    assert worst_of(both_said(lower, book, 5.5 * BAR)) == EXCEEDED


@pytest.mark.parametrize(
    ("given", "rule", "holds"),
    [(None, 6, 6), (None, 10, 10), (8, 6, 6), (8, 10, 8), (10, 6, 6), (5, 6, 5), (12, 10, 10)],
)
def test_a_rule_that_replaces_it_and_a_figure_in_the_case(
    given: float | None, rule: float, holds: float
) -> None:
    own = {} if given is None else {"pump_top_limit": given * BAR, "pump_top_source": "given in the case"}
    for changes in ({"id": "our-top", "replaces": "pump-top"}, {}):
        book = built_in().merged((rule_for_the_top(rule * BAR, **changes),))
        lineup = at_the_pump(**own)
        assert with_pump_top(lineup, book).pump_top_limit == holds * BAR
        assert with_pump_top(with_pump_top(lineup, book), book) == with_pump_top(lineup, book)
        assert both_said(lineup, book, (holds - 0.1) * BAR) == (WITHIN, WITHIN)
        assert both_said(lineup, book, (holds + 0.1) * BAR) == (EXCEEDED, EXCEEDED)


OFF = {"requirement": "off", "reason": "loads through drop lines only"}


@pytest.mark.parametrize("changes", [OFF, {"requirement": "advisory"}])
@pytest.mark.parametrize("figure", [6.0, 12.0])
def test_a_file_may_drop_the_programs_own_figure_and_not_the_one_in_the_case(
    changes: dict[str, str], figure: float
) -> None:
    book = built_in().merged((rule_for_the_top(figure * BAR, **changes),))
    assert both_said(at_the_pump(), book, 30 * BAR) == (WITHIN, WITHIN)
    assert both_said(at_the_pump(**GIVEN), book, 8.1 * BAR) == (EXCEEDED, EXCEEDED)
    assert both_said(at_the_pump(**GIVEN), book, 7.9 * BAR) == (WITHIN, WITHIN)
    # Another figure under the words of the default is given as well.
    assert both_said(at_the_pump(pump_top_limit=5 * BAR), book, 5.1 * BAR) == (EXCEEDED, EXCEEDED)


def test_a_rule_that_does_not_speak_of_this_case_sets_no_figure() -> None:
    book = built_in().merged((rule_for_the_top(12 * BAR, applies="the cargo is a static accumulator"),))
    other = charged(at_the_pump(), False)
    assert with_pump_top(other, book).pump_top_limit == 8 * BAR
    assert both_said(charged(at_the_pump(**GIVEN), False), book, 9 * BAR) == (EXCEEDED, EXCEEDED)
    assert with_pump_top(charged(at_the_pump(), True), book).pump_top_limit == 12 * BAR


def test_a_rule_switched_off_is_still_listed_beside_the_figure_of_the_case() -> None:
    book = built_in().merged((rule_for_the_top(8 * BAR, **OFF),))
    lineup = at_the_pump(**GIVEN)
    found = pump_top(9 * BAR, lineup=lineup)
    rulings = rule_on(lineup, book=book, runs=[run_of(lineup.scenarios[0])], findings=[found])
    off, case_ruling = [r for r in rulings if r.rule.id == "pump-top"]
    assert (off.outcome, off.rule.requirement) == (NOT_APPLICABLE, "off")
    assert (case_ruling.outcome, case_ruling.verdict) == (NOT_KEPT, EXCEEDED)
    assert case_ruling.rule.authority == "the case itself"


def test_the_limit_of_a_place_counts_whatever_a_book_says() -> None:
    found = replace(pump_top(9 * BAR, lineup=at_the_pump()), rule="place-limit", limit_source="terminal")
    assert counts(found, changed_book("place-limit", **OFF))
    with pytest.raises(CaseError):
        read_rules('[[rule]]\nid = "place-limit"\nrequirement = "off"\nreason = "no"\n')


def test_the_verdict_of_a_whole_case_goes_by_the_figure_of_the_case() -> None:
    # A ship's tank that stands high: about 0.9 bar at the pump top, and a gentle closure.
    slow = Scenario(name="topping off", moves=(shut("manifold valve", 5.0, 100.0),))
    lineup = spoilt("tanks", 1, at_the_pump(scenarios=(slow,)), level=20.0)
    off = built_in().merged((rule_for_the_top(9 * BAR, **OFF),))
    low = {"pump_top_limit": 0.5 * BAR, "pump_top_source": "given in the case"}
    assert assess(lineup, book=off).verdict == WITHIN
    assert (
        assess(lineup.with_(**(low | {"pump_top_source": LineUp.pump_top_source})), book=off).verdict
        == EXCEEDED
    )
    made = assess(lineup.with_(**low), book=off)
    assert made.verdict == EXCEEDED
    assert made.weakest is not None
    assert (made.weakest.rule, made.weakest.verdict) == ("pump-top", EXCEEDED)
    assert any(r.rule.id == "pump-top" and r.verdict == EXCEEDED for r in made.rulings)

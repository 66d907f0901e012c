"""What a review of the rulings found: rules that passed in silence, or were held against the wrong figure."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from support.lineups.berth import spoilt
from support.rulings import (
    AREA,
    BAR,
    built_in_only,
    case,
    changed_book,
    charged,
    halt,
    peak,
    rated,
    rule_all,
    run_of,
    shut,
    shutdown,
    the,
    two_drop_lines,
)

from surge.errors import CaseError
from surge.model.lineup import Berth, Limits, LineUp, Pipe, Scenario, Supply, ValveMove
from surge.rules.assess import assess
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, worst_of
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
from surge.transient.result import ScenarioResult, Vapour
from surge.transient.run import simulate

# Overfill: which shutdowns may tell the time


def both_tanks(*scenarios: Scenario, ullages: tuple[float | None, float | None] = (50.0, 50.0)) -> LineUp:
    """Two tanks of the ship, each behind its own valve."""
    lineup = two_drop_lines().with_(scenarios=scenarios)
    lineup = spoilt("tanks", 1, lineup, ullage=ullages[0])
    return spoilt("tanks", 2, lineup, ullage=ullages[1])


def run_with(
    lineup: LineUp, scenario: Scenario, *, first: float, second: float, **opening: float
) -> ScenarioResult:
    """A run with these flows into the two tanks [m3/s]."""
    flows = {e.name: first + second for e in lineup.elements}
    flows |= {"first valve": first, "deck line": first, "stack": first}
    flows |= {"second valve": second, "second drop": second}
    run = run_of(scenario)
    stands = {v.name: 1.0 for v in lineup.valves} | {k.replace("_", " "): x for k, x in opening.items()}
    history = replace(run.history, flow={name: np.full(3, q) for name, q in flows.items()})
    return replace(run, opening=stands, history=history)


def overfill(lineup: LineUp, *runs: ScenarioResult) -> dict[str, Ruling]:
    """The rulings on overfill of every tank, one each."""
    rulings = rule_on(lineup, book=built_in_only("overfill-time"), runs=runs, findings=())
    assert len({r.subject for r in rulings}) == len(rulings)
    return {r.subject: r for r in rulings}


def test_a_shutdown_that_does_not_load_a_tank_tells_nothing_about_it() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    plain = Scenario(name="no. 4 port alone", moves=(shut("second valve", 5.0, 40.0),))
    lineup = both_tanks(esd, plain)
    runs = (
        run_with(lineup, esd, first=0.1, second=0.0, second_valve=0.0),
        run_with(lineup, plain, first=0.0, second=0.1, first_valve=0.0),
    )
    got = overfill(lineup, *runs)
    assert got["no. 3 port"].outcome == KEPT
    assert got["no. 3 port"].value == pytest.approx(30.0)
    missing = got["no. 4 port"]
    assert (missing.outcome, missing.verdict, missing.value) == (NOT_CHECKED, UNDECIDED, None)
    assert '"no. 4 port" has an ullage' in missing.words
    assert "[scenario.shutdown]" in missing.supply
    assert "take out its ullage" not in missing.supply, "it is loaded"


def test_a_tank_that_was_shut_before_the_order_is_not_proved_either() -> None:
    esd = shutdown(shut("second valve", 1.0, 2.0), shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = both_tanks(esd)
    got = overfill(lineup, run_with(lineup, esd, first=0.1, second=0.1))
    assert got["no. 3 port"].outcome == KEPT
    assert (got["no. 4 port"].outcome, got["no. 4 port"].verdict) == (NOT_CHECKED, UNDECIDED)


def test_an_ullage_of_a_tank_that_nothing_loads_can_be_taken_out() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = both_tanks(esd)
    got = overfill(lineup, run_with(lineup, esd, first=0.1, second=0.0, second_valve=0.0))["no. 4 port"]
    assert (got.outcome, got.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "take out its ullage" in got.supply


def test_a_tank_that_is_loaded_without_an_ullage_is_named_once() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    other = replace(esd, name="another shutdown")
    lineup = both_tanks(esd, other, ullages=(None, 5000.0))
    runs = [run_with(lineup, s, first=0.1, second=0.1) for s in (esd, other)]
    rulings = rule_on(lineup, book=built_in_only("overfill-time"), runs=runs, findings=())
    assert [(r.subject, r.outcome) for r in rulings] == [
        ("no. 3 port", NOT_CHECKED),
        ("no. 4 port", KEPT),
        ("no. 4 port", KEPT),
    ]


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


# No tank of the ship, or nowhere that the cargo comes from


def pushed_into_a_supply(lineup: LineUp) -> LineUp:
    receiver = Supply(name="ship", point="tank bottom", pressure=1 * BAR, shut_off=2 * BAR)
    return lineup.with_(tanks=lineup.tanks[:1], supplies=(receiver,))


def test_without_a_tank_of_the_ship_nothing_tells_when_the_flow_has_stopped() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 90.0, side="ship"))
    ashore = case(esd).with_(tanks=tuple(replace(t, side="shore") for t in case(esd).tanks))
    at_sea = case(esd).with_(tanks=tuple(replace(t, side="ship") for t in case(esd).tanks))
    for lineup, lacks in (
        (pushed_into_a_supply(case(esd)), "no tank of the ship"),
        (ashore, "no tank of the ship"),
        (at_sea, "no shore tank and no supply"),
    ):
        ruling = the(rule_all(lineup), "stop-flow-time")
        assert (ruling.outcome, ruling.verdict, ruling.value) == (NOT_CHECKED, UNDECIDED, None)
        assert lacks in ruling.words
        assert "[[tank]]" in ruling.supply


def test_without_a_tank_of_the_ship_the_start_is_not_checked() -> None:
    lineup = charged(case(Scenario(name="start", stage="start")), True)
    ruling = the(rule_all(pushed_into_a_supply(lineup)), "start-velocity")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)


def test_a_terminal_that_asks_for_overfill_always_gets_no_pass_without_a_tank() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 9.0, side="ship"))
    book = changed_book("overfill-time", applies="always")
    ruling = the(rule_all(pushed_into_a_supply(case(esd)), book=book), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)


# Terms are only taken off the time of a valve that waited for them


def stop_time(*moves: ValveMove, book: RuleBook | None = None, **stands: float) -> float | None:
    ruling = the(rule_all(case(shutdown(*moves, pumps=(halt(8.0),))), book=book, **stands), "stop-flow-time")
    return ruling.value


def test_a_valve_that_an_event_shuts_waited_for_no_detection() -> None:
    # Ordered at 5 s: shut at 28 s by an event, 23 s after; the step of the chain comes much later.
    late = shut("manifold valve", 8.0, 80.0, side="ship")
    assert stop_time(shut("control valve", 18.0, 10.0), late) == pytest.approx(23.0)
    assert stop_time(shut("control valve", 18.0, 10.0, side="shore"), late) == pytest.approx(21.0)
    # Both at one instant: nothing is taken off.
    same = shut("manifold valve", 8.0, 20.0, side="ship")
    assert stop_time(shut("control valve", 18.0, 10.0), same) == pytest.approx(23.0)


def test_a_step_of_a_valve_that_an_event_had_shut_already_saves_nothing() -> None:
    # An event shuts the valve at 25 s; its own step of the chain comes when it is shut, at 25 s or later.
    for start in (25.0, 30.0):
        step = shut("manifold valve", start, 10.0, side="ship", law=((0.0, 1.0), (10.0, 0.0)))
        assert stop_time(shut("manifold valve", 15.0, 10.0), step) == pytest.approx(20.0)


def test_what_a_rule_does_not_count_is_only_taken_off_the_chain() -> None:
    book = changed_book("stop-flow-time", counts=("stroke",))
    step = shut("manifold valve", 16.0, 10.0, side="ship")  # signal at 8 s, pump stopped at 16 s
    assert stop_time(step, book=book) == pytest.approx(10.0)
    assert stop_time(shut("manifold valve", 16.0, 10.0), book=book) == pytest.approx(21.0)


# Velocities: the greatest of the run


def diverted(speeds: tuple[float, float, float], *, stage: str = "") -> Ruling:
    scenario = Scenario(name="one tank after the other", stage=stage)
    rule_id = "start-velocity" if stage else "bulk-velocity"
    rulings = rule_all(
        charged(case(scenario), True), inflow=tuple(v * AREA for v in speeds), rate=speeds[0] * AREA
    )
    return the(rulings, rule_id)


@pytest.mark.parametrize(("stage", "limit"), [("", 7.0), ("start", 1.0)])
def test_a_diversion_raises_the_velocity(stage: str, limit: float) -> None:
    low = 0.5 * limit
    broken = diverted((low, 1.2 * limit, low), stage=stage)
    assert (broken.outcome, broken.verdict) == (NOT_KEPT, EXCEEDED)
    assert broken.value == pytest.approx(1.2 * limit)
    assert "at 1 s" in broken.words
    assert diverted((low, 0.99 * limit, low), stage=stage).outcome == KEPT
    assert diverted((low, 0.999 * limit, low), stage=stage).outcome == NOT_DECIDED, "its error: 0.5 %"
    assert diverted((low, 1.001 * limit, low), stage=stage).outcome == NOT_DECIDED
    assert diverted((low, -1.2 * limit, low), stage=stage).outcome == NOT_KEPT, "either way"
    assert diverted((limit, low, low), stage=stage).outcome == KEPT, "a steady flow has no error"


def test_a_branch_that_shuts_drives_the_flow_into_the_other() -> None:
    scenario = Scenario(name="changeover", moves=(shut("second valve", 2.0, 6.0),))
    lineup = charged(two_drop_lines().with_(scenarios=(scenario,)), True)
    run = simulate(lineup, scenario, quick=True)
    assert run.vapour is None
    branches = ("deck line", "second drop")
    before = {e.name: abs(e.figures.velocity) for e in run.elements if e.name in branches and e.figures}
    book = built_in_only("bulk-velocity")
    only = lineup.with_(pipes=tuple(p for p in lineup.pipes if p.name == "deck line"))
    (ruling,) = rule_on(only, book=book, runs=[run], findings=())
    assert ruling.value is not None
    assert ruling.value > 1.2 * before["deck line"]
    flow = float(np.max(np.abs(run.history.flow["deck line"])))
    pipe: Pipe = only.pipes[0]
    assert ruling.value == pytest.approx(flow / pipe.area)


def test_after_boiling_no_velocity_is_kept() -> None:
    scenario = Scenario(name="s")
    lineup = charged(case(scenario), True)

    def outcome(*speeds: float) -> Ruling:
        run = run_of(scenario, inflow=tuple(v * AREA for v in speeds))
        boiled = replace(run, vapour=Vapour(time=1.5, where="hose", distance=None))
        rulings = rule_on(lineup, book=built_in_only("bulk-velocity"), runs=[boiled], findings=())
        return the(rulings, "bulk-velocity")

    assert outcome(2.0, 3.0, 2.0).outcome == NOT_DECIDED
    assert "kept" not in outcome(2.0, 3.0, 2.0).words
    assert outcome(2.0, 3.0, 20.0).outcome == NOT_DECIDED
    assert outcome(2.0, 8.0, 2.0).outcome == NOT_KEPT


# Allowances: one that a surge uses needs a test pressure


def on_allowance(allowance: float, *, test: float | None = None) -> LineUp:
    lineup = case()
    limits = Limits(rating=10 * BAR, allowance=allowance, test_pressure=test)
    return spoilt("pipes", 0, lineup, limits=limits)


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


def test_the_conditions_of_an_allowance_that_is_used_are_to_be_confirmed() -> None:
    used = peak("shore line", 11 * BAR, limit=12 * BAR)
    rulings = rule_on(
        on_allowance(1.2), book=built_in_only("allowance-1.20-process-piping"), runs=(), findings=[used]
    )
    ruling = the(rulings, "allowance-1.20-process-piping")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, WITHIN), "advisory"
    for words in ("confirm: ", "at most 50 h at a time", "the owner approves"):
        assert words in ruling.supply


# Dates


def test_a_test_date_without_the_day_of_the_transfer_cannot_be_decided() -> None:
    ruling = the(rule_all(rated(case(), tested=date(2020, 1, 1))), "hose-test-interval")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "transfer" in ruling.supply
    assert "[berth]" in ruling.supply
    assert "2020-01-01" in ruling.words


def test_a_first_transfer_after_this_one_is_taken_as_not_stated() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 40.0, side="ship"))
    lineup = case(esd, berth=Berth(first_transfer=date(1979, 5, 5), transfer=date(1979, 5, 4)))
    rulings = rule_all(lineup)
    ruling = the(rulings, "stop-flow-time")
    assert (ruling.outcome, ruling.limit) == (NOT_KEPT, 30.0)
    assert "taken as not stated" in ruling.words
    assert the(rulings, "stop-flow-time-old-berth").outcome == NOT_APPLICABLE
    same_day = case(esd, berth=Berth(first_transfer=date(1979, 5, 5), transfer=date(1979, 5, 5)))
    old = the(rule_all(same_day), "stop-flow-time-old-berth")
    assert (old.outcome, old.limit) == (KEPT, 60.0)
    assert "taken as not stated" not in old.words


# Words


@pytest.mark.parametrize("beyond", [1.0, 40.0, 400.0, 999.0, -1.0, -400.0])
def test_pressures_that_differ_are_told_apart(beyond: float) -> None:
    limit = 10 * BAR + 300.0
    lineup = spoilt("pipes", 0, case(), limits=Limits(rating=limit))
    found = peak("shore line", limit + beyond, limit=limit, verdict=EXCEEDED if beyond > 0 else WITHIN)
    rulings = rule_on(lineup, book=built_in_only("peak-pressure"), runs=(), findings=[found])
    words = the(rulings, "peak-pressure").words
    shown, bound = (float(part.split(" bar(g)")[0].split()[-1]) for part in words.split("; at most "))
    assert (shown > bound) is (beyond > 0), words
    assert words.endswith("not kept." if beyond > 0 else ": kept.")


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

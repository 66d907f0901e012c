"""The rules of the trade held against line-ups: what is kept, broken, not checked, and what counts."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.berth import berth, spoilt
from support.rulings import (
    AREA,
    BAR,
    TWO_WAYS,
    _run,
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

from surge.model.lineup import (
    Berth,
    Limits,
    LineUp,
    Point,
    Scenario,
    Supply,
    Valve,
    ValveMove,
)
from surge.rules.book import CONDITIONS, MEASURES, RuleBook, speaks_of
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, findings_of
from surge.rules.parts import months_between
from surge.rules.reading import built_in
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
from surge.rules.times import chain, closes, stopped_at
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate

HOUR = 3600.0


# Every rule speaks


def test_every_rule_gives_a_ruling_in_one_plain_sentence() -> None:
    rulings = rule_all(case(shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))))
    assert {r.rule.id for r in rulings} == {r.id for r in built_in().rules}
    for r in rulings:
        assert r.words.endswith(".")
        assert r.words.isprintable()
        assert r.outcome in (KEPT, NOT_KEPT, NOT_DECIDED, NOT_CHECKED, NOT_APPLICABLE)
        assert bool(r.supply) is (r.outcome == NOT_CHECKED), r
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
    lineups = (case(), ullage(charged(rated(case(esd), test_pressure=24 * BAR, burst=64 * BAR), True), 50.0))
    for condition in (c for c in CONDITIONS if speaks_of(measure, c)):
        book = RuleBook(rules=(replace(model, applies=condition, requirement="required"),))
        for lineup in lineups:
            rulings = rule_all(lineup, book=book)
            assert rulings
            assert all(r.words and r.rule.applies == condition for r in rulings)
            if condition == "the cargo is a static accumulator" and lineup is lineups[0]:
                assert {r.outcome for r in rulings} == {NOT_CHECKED}, "silence of the case is never a pass"


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


# Total shutdown time: IGC Code 5.6.4


@pytest.mark.parametrize(("stroke", "outcome"), [(27.0, KEPT), (27.001, NOT_KEPT), (28.0, NOT_KEPT)])
def test_signal_3_s_and_stroke_27_s_pass_and_28_s_fail(stroke: float, outcome: str) -> None:
    # Detection, 2 s, is before the order and is not counted.
    esd = shutdown(
        shut("manifold valve", 10.0, stroke, side="ship"), timing=(("detection", 2.0), ("signal", 3.0))
    )
    ruling = the(rule_all(case(esd)), "total-shutdown-time")
    assert (ruling.outcome, ruling.subject) == (outcome, "manifold valve")
    assert ruling.value == pytest.approx(3.0 + stroke)
    assert ruling.margin == pytest.approx(27.0 - stroke)
    assert ruling.verdict == (WITHIN if outcome == KEPT else EXCEEDED)


def test_the_last_valve_counts_with_all_that_it_waited_for() -> None:
    # order 5, signal at 8; pump stops 8 to 16; manifold 16 to 26; control valve 26 to 46
    esd = shutdown(
        shut("manifold valve", 16.0, 10.0, side="ship"),
        shut("control valve", 26.0, 20.0, side="shore"),
        pumps=(halt(8.0),),
    )
    rulings = rule_all(case(esd))
    total = the(rulings, "total-shutdown-time")
    assert (total.subject, total.value) == ("control valve", pytest.approx(1.0 + 8.0 + 10.0 + 20.0))
    # From actuation of the valve itself only signal and stroke count (46 CFR 153.284).
    alone = the(rulings, "remote-valve-time")
    assert (alone.subject, alone.value) == ("control valve", pytest.approx(21.0))
    steps = {s.name: s.waits for s in chain(esd)}
    assert steps == {
        "pump 1": {},
        "manifold valve": {"pump stop": 8.0},
        "control valve": {"pump stop": 8.0, "earlier valves": 10.0},
    }


def test_the_call_to_the_other_side_is_operator_response() -> None:
    timing = (*TWO_WAYS, ("voice", 20.0))
    esd = shutdown(
        shut("manifold valve", 8.0, 9.0, side="ship"),
        shut("control valve", 28.0, 9.0, side="shore"),
        timing=timing,
    )
    assert chain(esd)[-1].waits == {"operator response": 20.0}
    rulings = rule_all(case(esd))
    assert the(rulings, "total-shutdown-time").value == pytest.approx(30.0)
    assert the(rulings, "remote-valve-time").value == pytest.approx(10.0)


def test_a_wait_of_unknown_cause_is_always_counted() -> None:
    esd = shutdown(shut("manifold valve", 12.5, 10.0, side="ship"))
    assert chain(esd)[0].waits == {"waiting": 4.5}
    assert the(rule_all(case(esd)), "remote-valve-time").value == pytest.approx(15.5)


def test_the_whole_stroke_counts_although_the_valve_stands_half_open() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 40.0, side="ship"))
    rulings = rule_all(case(esd), manifold_valve=0.5)
    assert the(rulings, "total-shutdown-time").value == pytest.approx(41.0)
    assert the(rulings, "stop-flow-time").value == pytest.approx(21.0)


def test_a_law_is_shut_when_it_reaches_nought_for_good() -> None:
    assert closes(((0.0, 1.0), (10.0, 0.0), (15.0, 0.0))) == 10.0
    assert closes(((0.0, 1.0), (10.0, 0.0), (15.0, 0.2), (20.0, 0.0))) == 20.0
    assert closes(((0.0, 1.0), (10.0, 0.1))) is None
    assert closes(((0.0, 1.0), (0.0, 0.0))) == 0.0


def test_a_shutdown_that_shuts_no_valve_is_required_and_not_checked() -> None:
    rulings = rule_all(case(shutdown(pumps=(halt(8.0),))))
    total = the(rulings, "total-shutdown-time")
    assert (total.outcome, total.verdict) == (NOT_CHECKED, UNDECIDED)
    # 33 CFR 155.780(b): liquid siphons on through the stopped pump.
    flow = the(rulings, "stop-flow-time")
    assert (flow.outcome, flow.verdict, flow.value) == (NOT_KEPT, EXCEEDED, None)
    assert "siphon" in flow.words


# Time to stop the flow: 33 CFR 154.550


@pytest.mark.parametrize(
    ("first", "hazardous", "rule_id", "limit"),
    [
        (None, False, "stop-flow-time", 30.0),
        (date(1980, 11, 1), False, "stop-flow-time-old-berth", 60.0),
        (date(1980, 11, 2), False, "stop-flow-time", 30.0),
        (date(1990, 10, 3), False, "stop-flow-time", 30.0),
        (None, True, "stop-flow-time-hazardous", 30.0),
        (date(1990, 10, 3), True, "stop-flow-time-hazardous-old-berth", 60.0),
        (date(1990, 10, 4), True, "stop-flow-time-hazardous", 30.0),
        (date(1980, 11, 1), True, "stop-flow-time-hazardous-old-berth", 60.0),
    ],
)
def test_the_age_of_the_berth_decides_between_30_and_60_s(
    first: date | None, hazardous: bool, rule_id: str, limit: float
) -> None:
    esd = shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))
    lineup = case(esd, berth=Berth(first_transfer=first, hazardous=hazardous))
    rulings = [r for r in rule_all(lineup) if r.rule.id.startswith("stop-flow-time")]
    (applied,) = [r for r in rulings if r.outcome != NOT_APPLICABLE]
    assert (applied.rule.id, applied.limit, applied.value) == (rule_id, limit, 21.0)
    # Without a shutdown only that one of the four is listed as not checked.
    bare = rule_all(lineup.with_(scenarios=berth().scenarios))
    assert [r.rule.id for r in bare if r.outcome == NOT_CHECKED and "stop-flow" in r.rule.id] == [rule_id]


@pytest.mark.parametrize(("stroke", "outcome"), [(29.0, KEPT), (29.001, NOT_KEPT)])
def test_thirty_seconds_from_the_order_are_allowed(stroke: float, outcome: str) -> None:
    esd = shutdown(shut("manifold valve", 8.0, stroke, side="ship"))
    assert the(rule_all(case(esd)), "stop-flow-time").outcome == outcome


def test_the_flow_stops_with_the_first_valve_that_parts_shore_and_ship() -> None:
    esd = shutdown(
        shut("manifold valve", 8.0, 50.0, side="ship"), shut("control valve", 8.0, 10.0, side="shore")
    )
    rulings = rule_all(case(esd))
    assert the(rulings, "stop-flow-time").value == pytest.approx(11.0)
    assert the(rulings, "total-shutdown-time").value == pytest.approx(51.0)


def test_a_valve_that_opens_again_does_not_stop_the_flow() -> None:
    again = ValveMove(valve="manifold valve", start=60.0, law=((0.0, 0.0), (10.0, 1.0)))
    esd = shutdown(shut("manifold valve", 8.0, 20.0, side="ship"), again)
    assert the(rule_all(case(esd)), "stop-flow-time").outcome == NOT_KEPT


def test_flow_that_was_stopped_before_the_order_takes_no_time() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 90.0, side="ship"))
    ruling = the(rule_all(case(esd), control_valve=0.0), "stop-flow-time")
    assert (ruling.outcome, ruling.value) == (KEPT, 0.0)


def test_of_valves_side_by_side_the_last_one_stops_the_flow() -> None:
    lineup = two_drop_lines()
    laws = {
        "control valve": ((0.0, 1.0),),
        "manifold valve": ((0.0, 1.0),),
        "first valve": ((0.0, 1.0), (10.0, 1.0), (20.0, 0.0)),
        "second valve": ((0.0, 1.0), (5.0, 1.0), (30.0, 0.0)),
    }
    tanks = ("tank bottom", "other bottom")
    assert stopped_at(lineup, laws, tanks) == 30.0
    assert stopped_at(lineup, laws, tanks[:1]) == 20.0
    assert stopped_at(lineup, laws | {"second valve": ((0.0, 1.0),)}, tanks) is None
    assert stopped_at(lineup, laws | {"control valve": ((0.0, 0.0),)}, tanks) == 0.0


def test_a_gap_by_rounding_between_two_shut_valves_lets_nothing_through() -> None:
    laws = {
        "control valve": ((0.0, 0.0), (20.0, 0.0), (30.0, 1.0)),
        "manifold valve": ((0.0, 1.0), (20.0 + 1e-9, 0.0)),
    }
    assert stopped_at(berth(), laws, ("tank bottom",)) == 0.0


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_the_flow_has_stopped_when_a_count_of_ways_says_so(data: st.DataObject) -> None:
    """Against a plain search: at every instant on a grid, is there a way without a shut valve?"""
    lineup = two_drop_lines()
    law = st.lists(st.sampled_from([0.0, 0.0, 0.5, 1.0]), min_size=5, max_size=5)
    laws = {
        v.name: tuple((10.0 * k, x) for k, x in enumerate(data.draw(law, label=v.name)))
        for v in lineup.valves
    }

    def open_at(name: str, t: float) -> bool:
        times, openings = zip(*laws[name], strict=True)
        return bool(np.interp(t, times, openings) > 0.0)

    def flows(t: float) -> bool:
        series = open_at("control valve", t) and open_at("manifold valve", t)
        return series and (open_at("first valve", t) or open_at("second valve", t))

    grid = np.arange(0.25, 60.0, 0.5)
    flowing = [t for t in grid if flows(t)]
    got = stopped_at(lineup, laws, ("tank bottom", "other bottom"))
    if flowing and flowing[-1] > 59:
        assert got is None
    else:
        last = flowing[-1] if flowing else -0.25
        assert got == pytest.approx(last + 0.25)


# Order: IBC Code 15.19.7.3


@pytest.mark.parametrize(
    ("start", "lead", "outcome"), [(16.0, 0.0, KEPT), (18.0, 2.0, KEPT), (15.0, -1.0, NOT_KEPT)]
)
def test_the_shore_has_stopped_before_the_ships_valve_begins(start: float, lead: float, outcome: str) -> None:
    esd = shutdown(shut("manifold valve", start, 9.0, side="ship"), pumps=(halt(8.0),))
    ruling = the(rule_all(case(esd)), "shore-before-ship")
    assert (ruling.outcome, ruling.value) == (outcome, pytest.approx(lead))
    assert ruling.verdict == WITHIN, "advisory"


def test_a_ship_that_shuts_against_a_running_shore_is_not_in_order() -> None:
    ruling = the(rule_all(case(shutdown(shut("manifold valve", 8.0, 9.0, side="ship")))), "shore-before-ship")
    assert ruling.outcome == NOT_KEPT
    assert "nothing stops ashore" in ruling.words


# Overfill: IBC Code 15.19.8, 3600 U / LR


def ullage(lineup: LineUp, volume: float | None) -> LineUp:
    return spoilt("tanks", 1, lineup, ullage=volume)


@pytest.mark.parametrize(("volume", "outcome"), [(5.0, KEPT), (4.999, NOT_KEPT), (5.001, KEPT)])
def test_5_m3_fill_in_30_s_at_600_m3_per_hour(volume: float, outcome: str) -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    ruling = the(rule_all(ullage(case(esd), volume), rate=600 / HOUR), "overfill-time")
    assert (ruling.outcome, ruling.subject) == (outcome, "no. 3 port")
    assert ruling.value == pytest.approx(30.0), "detection 2 s, signal 1 s, stroke 27 s: all terms"
    assert ruling.limit == pytest.approx(3600 * volume / 600)
    assert ruling.verdict == (WITHIN if outcome == KEPT else EXCEEDED)
    assert "600 m3/h" in ruling.words


def test_the_greatest_flow_into_the_tank_counts_and_has_an_error() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))

    def outcome(volume: float) -> tuple[str, float | None]:
        rulings = rule_all(ullage(case(esd), volume), inflow=(300 / HOUR, 600 / HOUR, 0.0))
        return the(rulings, "overfill-time").outcome, the(rulings, "overfill-time").limit

    assert outcome(5.0) == (NOT_DECIDED, pytest.approx(30.0))
    assert outcome(5.1)[0] == KEPT
    assert outcome(4.9)[0] == NOT_KEPT


def test_the_greatest_flow_may_be_in_another_scenario() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    diverted = Scenario(name="changeover", moves=(shut("manifold valve", 5.0, 60.0),))
    lineup = ullage(case(esd, diverted), 5.0)
    runs = [run_of(esd, rate=300 / HOUR), run_of(diverted, rate=900 / HOUR)]
    ruling = the(rule_on(lineup, book=built_in(), runs=runs, findings=()), "overfill-time")
    assert ruling.limit == pytest.approx(20.0)
    assert '"changeover"' in ruling.words


def test_without_an_ullage_overfill_is_listed_and_does_not_count() -> None:
    ruling = the(rule_all(case(shutdown(shut("manifold valve", 8.0, 27.0, side="ship")))), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, WITHIN)
    assert "write ullage for the ship's tanks" in ruling.supply


def test_an_ullage_makes_it_required() -> None:
    # No shutdown: what is asked for cannot be told.
    ruling = the(rule_all(ullage(case(), 5.0)), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "[scenario.shutdown]" in ruling.supply
    # A second tank that is loaded needs one too.
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = ullage(two_drop_lines().with_(scenarios=(esd,)), 50.0)
    runs = [
        replace(
            run_of(esd),
            opening={v.name: 1.0 for v in lineup.valves},
            history=replace(run_of(esd).history, flow={e.name: np.full(3, 0.1) for e in lineup.elements}),
        )
    ]
    rulings = [
        r
        for r in rule_on(lineup, book=built_in_only("overfill-time"), runs=runs, findings=())
        if r.rule.id == "overfill-time"
    ]
    assert [(r.subject, r.outcome, r.verdict) for r in rulings] == [
        ("no. 3 port", KEPT, WITHIN),
        ("no. 4 port", NOT_CHECKED, UNDECIDED),
    ]


def test_a_shutdown_that_leaves_a_way_open_overfills() -> None:
    ruling = the(rule_all(ullage(case(shutdown(pumps=(halt(8.0),))), 500.0)), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_KEPT, EXCEEDED)


# Velocity: ISGOTT 5th ed. 11.1.7 and 18.2.5


@pytest.mark.parametrize(("speed", "outcome"), [(7.0, KEPT), (7.001, NOT_KEPT)])
def test_a_static_accumulator_flows_with_7_m_per_s(speed: float, outcome: str) -> None:
    ruling = the(rule_all(charged(case(), True), rate=speed * AREA), "bulk-velocity")
    assert ruling.outcome == outcome
    assert ruling.value == pytest.approx(speed)
    assert ruling.verdict == (WITHIN if outcome == KEPT else EXCEEDED)


@pytest.mark.parametrize(("answer", "outcome"), [(False, NOT_APPLICABLE), (None, NOT_CHECKED)])
def test_other_cargoes_and_unknown_ones(answer: bool | None, outcome: str) -> None:
    rulings = rule_all(charged(case(), answer), rate=9.0 * AREA)
    for rule_id in ("bulk-velocity", "start-velocity"):
        ruling = the(rulings, rule_id)
        assert (ruling.outcome, ruling.verdict) == (outcome, WITHIN)
        assert ("static_accumulator" in ruling.supply) is (answer is None)


@pytest.mark.parametrize(
    ("stage", "speed", "outcome"),
    [
        ("start", 1.0, KEPT),
        ("start", 1.001, NOT_KEPT),
        ("bulk", 5.0, NOT_APPLICABLE),
        ("topping off", 5.0, NOT_APPLICABLE),
        ("", 0.5, NOT_CHECKED),
    ],
)
def test_at_the_start_1_m_per_s_at_the_inlet(stage: str, speed: float, outcome: str) -> None:
    # The berth's tank stands behind a cargo pump without a bore: the deck line before it counts.
    lineup = charged(case(replace(berth().scenarios[0], stage=stage)), True)
    ruling = the(rule_all(lineup, rate=speed * AREA), "start-velocity")
    assert ruling.outcome == outcome
    assert ruling.verdict == (EXCEEDED if outcome == NOT_KEPT else WITHIN)
    assert ("stage" in ruling.supply) is (stage == "")


@pytest.mark.parametrize(
    ("speed", "twelve", "fifteen"), [(12.0, KEPT, KEPT), (13.0, NOT_KEPT, KEPT), (15.1, NOT_KEPT, NOT_KEPT)]
)
def test_rates_of_hoses(speed: float, twelve: str, fifteen: str) -> None:
    rulings = rule_all(case(), rate=speed * AREA)
    assert the(rulings, "hose-velocity").outcome == twelve
    assert the(rulings, "hose-velocity-upper").outcome == fifteen
    assert the(rulings, "hose-velocity").subject == "hose"


# Gentleness: ISGOTT 5th ed. 16.9.1 and 16.10.1


def test_a_closure_within_the_period_is_told_as_fast() -> None:
    run = _run()
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
    run = _run()
    (closure,) = run.closures
    got = replace(
        run,
        closures=(replace(closure, effective=closure.period),),
        history=replace(run.history, time=np.zeros(2)),
    )
    rulings = rule_on(rated(berth()), book=built_in(), runs=[got], findings=())
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


def test_what_a_certificate_would_say_does_not_hold_up_a_case() -> None:
    rulings = rule_all(case())
    for rule_id in ("hose-test-pressure", "hose-burst-static", "hose-test-interval"):
        ruling = the(rulings, rule_id)
        assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, WITHIN)
        assert "for each hose" in ruling.supply
    assert worst(rulings) == WITHIN


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


def test_a_terminal_can_refuse_an_allowance() -> None:
    lineup = case()
    line = replace(lineup.pipes[0], limits=Limits(rating=10 * BAR, allowance=1.2))
    book = changed_book("allowance-1.20-process-piping", figure=1.0, requirement="required")
    rulings = rule_on(lineup.with_(pipes=(line,)), book=book, runs=(), findings=())
    ruling = the(rulings, "allowance-1.20-process-piping")
    assert (ruling.outcome, ruling.verdict) == (NOT_KEPT, EXCEEDED)


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
    boiled = replace(_run(), name=run.name) if _run().vapour is not None else run
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
    run = _run()
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

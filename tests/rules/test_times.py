"""How long a shutdown takes, when the flow has stopped, who stops first: against the rules on times."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.berth import berth
from support.rulings import (
    TWO_WAYS,
    case,
    changed_book,
    halt,
    pushed_into_a_supply,
    rule_all,
    shut,
    shutdown,
    the,
    two_drop_lines,
)

from surge.model.lineup import (
    Berth,
    ValveMove,
)
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.rulings import (
    KEPT,
    NOT_APPLICABLE,
    NOT_CHECKED,
    NOT_KEPT,
)
from surge.rules.times import chain, closes, open_ways, stopped_at

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
    assert stopped_at(open_ways(lineup, laws), tanks) == 30.0
    assert stopped_at(open_ways(lineup, laws), tanks[:1]) == 20.0
    assert stopped_at(open_ways(lineup, laws | {"second valve": ((0.0, 1.0),)}), tanks) is None
    assert stopped_at(open_ways(lineup, laws | {"control valve": ((0.0, 0.0),)}), tanks) == 0.0


def test_a_gap_by_rounding_between_two_shut_valves_lets_nothing_through() -> None:
    laws = {
        "control valve": ((0.0, 0.0), (20.0, 0.0), (30.0, 1.0)),
        "manifold valve": ((0.0, 1.0), (20.0 + 1e-9, 0.0)),
    }
    assert stopped_at(open_ways(berth(), laws), ("tank bottom",)) == 0.0


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
    got = stopped_at(open_ways(lineup, laws), ("tank bottom", "other bottom"))
    if flowing and flowing[-1] > 59:
        assert got is None
    else:
        last = flowing[-1] if flowing else -0.25
        assert got == pytest.approx(last + 0.25)


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


# No tank of the ship, or nowhere that the cargo comes from


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

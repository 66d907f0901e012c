"""Tests against limits: which end each side has to be sure of, what is no proof, which tests decide."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.records.stroke_tests import (
    EVERY_STROKE_TOO_SLOW,
    NO_STROKE_IS_SAFE,
    Bound,
    Direction,
    Interval,
    LostTest,
    Side,
    Span,
    StrokeTest,
    Timed,
    ValveLimits,
    spans_of,
)
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.valves.findings import NOT_JUDGED, Findings, findings_of_records
from surge.valves.history_types import IN_ORDER, OVERDUE, SCATTERED, TOO_FAST, UNTESTED
from surge.valves.judge import (
    DELAY_LACKS,
    DELAY_WITHIN,
    NEVER,
    NO_LIMIT_STATED,
    NO_TEMPERATURE,
    NOT_SAID_TIMED,
    NOT_SAID_WITH,
    OFF_TEMPERATURE,
    TIMED_ALONE,
    WITH_OTHERS,
    SideState,
    Tried,
    judge,
    try_test,
)

FAST, SLOW = Side.FASTEST, Side.SLOWEST
ORDER, MOVEMENT = Timed.ORDER, Timed.MOVEMENT
TODAY = date(2026, 2, 20)


def timed(time: float, **more: object) -> StrokeTest:
    """A test of M1, closing, its movement timed alone on 10 February 2026 unless said otherwise."""
    usual: dict[str, object] = {
        "row": 2,
        "tag": "M1",
        "direction": Direction.CLOSING,
        "when": datetime(2026, 2, 10, 9),
        "timed": MOVEMENT,
        "together": False,
        "temperature": 303.15,
    }
    return StrokeTest(time=time, **(usual | more))  # type: ignore[arg-type]


def bound(side: Side, value: float, counts: Timed = MOVEMENT, source: str = "manual") -> Bound:
    return Bound(direction=Direction.CLOSING, side=side, value=value, timed=counts, source=source)


def limits(*bounds: Bound, **more: object) -> ValveLimits:
    return ValveLimits(tag="M1", bounds=bounds, **({"shares_power": False} | more))  # type: ignore[arg-type]


def against(test: StrokeTest, stated: ValveLimits, side: Side) -> Tried:
    found = try_test(test, stated, side)
    assert found is not None
    return found


def side_of(tests: list[StrokeTest], stated: ValveLimits, side: Side = FAST) -> SideState:
    (found,) = [s for s in judge(tests, {"M1": stated}, today=TODAY).sides if s.side is side]
    return found


# --- what a recorded time says ---


@pytest.mark.parametrize(
    ("what", "own", "stated", "order", "movement"),
    [
        (ORDER, 1.0, None, (20.0, 20.0), (19.0, 19.0)),
        (ORDER, None, 2.0, (20.0, 20.0), (18.0, 18.0)),
        (ORDER, 1.0, 2.0, (20.0, 20.0), (19.0, 19.0)),  # the record's own delay goes first
        (ORDER, None, None, (20.0, 20.0), (0.0, 20.0)),
        (MOVEMENT, None, 2.0, (22.0, 22.0), (20.0, 20.0)),
        (MOVEMENT, None, None, (20.0, math.inf), (20.0, 20.0)),
        (None, None, 2.0, (20.0, 22.0), (18.0, 20.0)),
        (None, None, None, (20.0, math.inf), (0.0, 20.0)),
    ],
)
def test_what_a_time_says_of_order_and_movement(
    what: Timed | None,
    own: float | None,
    stated: float | None,
    order: tuple[float, float],
    movement: tuple[float, float],
) -> None:
    spans = spans_of(timed(20.0, timed=what, delay=own), stated)
    assert spans == {
        ORDER: Span(least=order[0], most=order[1]),
        MOVEMENT: Span(least=movement[0], most=movement[1]),
    }


# --- limits are inclusive at their boundary ---


@pytest.mark.parametrize(
    ("side", "counts", "limit", "time", "delay", "verdict"),
    [
        (SLOW, MOVEMENT, 30.0, 30.0, None, WITHIN),
        (SLOW, MOVEMENT, 30.0, 30.001, None, EXCEEDED),
        (SLOW, MOVEMENT, 30.0, 0.1 * 300, None, WITHIN),  # 30.000000000000004
        (FAST, MOVEMENT, 12.2, 12.2, None, WITHIN),
        (FAST, MOVEMENT, 12.2, 12.199, None, EXCEEDED),
        (FAST, MOVEMENT, 22.3, 23.4, 1.1, WITHIN),  # from the order; 23.4 - 1.1 is 22.299999999999997
        (SLOW, ORDER, 30.0, 28.9, 1.1, WITHIN),  # signal 1.1 s + stroke 28.9 s
        (SLOW, ORDER, 30.0, 27.0, 3.0, WITHIN),  # IGC Code 5.6.4: signal 3 s + stroke 27 s is 30 s
        (SLOW, ORDER, 30.0, 28.0, 3.0, EXCEEDED),
    ],
)
def test_a_time_that_equals_its_limit_keeps_it(
    side: Side, counts: Timed, limit: float, time: float, delay: float | None, verdict: str
) -> None:
    what = ORDER if side is FAST and delay else MOVEMENT
    assert (
        against(timed(time, timed=what, delay=delay), limits(bound(side, limit, counts)), side).verdict
        == verdict
    )


@given(
    time=st.integers(1, 6000),
    limit=st.integers(1, 6000),
    delay=st.integers(0, 300),
    what=st.sampled_from([ORDER, MOVEMENT, None]),
    known=st.booleans(),
    counts=st.sampled_from([ORDER, MOVEMENT]),
)
@settings(max_examples=300, deadline=None)
def test_whatever_the_record_leaves_open_no_answer_is_wrong(
    time: int, limit: int, delay: int, what: Timed | None, known: bool, counts: Timed
) -> None:
    """Against every movement and every time from the order that may lie behind the figure [0.01 s]."""
    written = timed(time / 100, timed=what, delay=delay / 100 if known else None)
    real = []  # (movement, from the order)
    for d in [delay] if known else [0, 7, time]:
        if what is not ORDER:
            real.append((time, time + d))
        if what is not MOVEMENT:
            real.append((max(time - d, 0), time))
    stated = limits(bound(FAST, limit / 100), bound(SLOW, limit / 100, counts))
    for movement, ordered in real:
        slow_time = movement if counts is MOVEMENT else ordered
        for side, kept in ((FAST, movement >= limit), (SLOW, slow_time <= limit)):
            assert against(written, stated, side).verdict in (UNDECIDED, WITHIN if kept else EXCEEDED)


# --- what proves nothing ---


def test_surge_goes_by_the_movement_alone() -> None:
    stated = limits(bound(FAST, 20.0))
    got = against(timed(25.0, timed=ORDER), stated, FAST)
    assert (got.verdict, got.doubts) == (UNDECIDED, (DELAY_WITHIN,))
    assert against(timed(25.0, timed=ORDER, delay=2.0), stated, FAST).verdict == WITHIN
    assert against(timed(25.0, timed=ORDER), replace(stated, delay=6.0), FAST).verdict == EXCEEDED
    assert against(timed(25.0, timed=None), stated, FAST).doubts == (NOT_SAID_TIMED,)
    # Shorter than the limit even with the delay in it: too fast for certain.
    assert against(timed(19.0, timed=ORDER), stated, FAST).verdict == EXCEEDED


def test_a_shutdown_counts_from_the_order() -> None:
    stated = limits(bound(SLOW, 30.0, ORDER))
    assert against(timed(29.0, timed=ORDER), stated, SLOW).verdict == WITHIN
    assert against(timed(29.0), stated, SLOW).doubts == (DELAY_LACKS,)
    assert against(timed(31.0), stated, SLOW).verdict == EXCEEDED
    assert against(timed(29.0), replace(stated, delay=1.5), SLOW).verdict == EXCEEDED
    # A limit on the movement is kept for certain by a time that holds a delay besides.
    assert against(timed(29.0, timed=ORDER), limits(bound(SLOW, 29.0)), SLOW).verdict == WITHIN


def test_alone_proves_surge_and_together_proves_the_shutdown() -> None:
    stated = limits(bound(FAST, 20.0), bound(SLOW, 30.0), shares_power=None)
    alone, joined, unsaid = (timed(25.0, together=t) for t in (False, True, None))
    assert against(alone, stated, FAST).verdict == WITHIN
    assert against(alone, stated, SLOW).doubts == (TIMED_ALONE,)
    assert against(joined, stated, FAST).doubts == (WITH_OTHERS,)
    assert against(joined, stated, SLOW).verdict == WITHIN
    for side in Side:
        assert against(unsaid, stated, side).doubts == (NOT_SAID_WITH,)
        assert against(unsaid, replace(stated, shares_power=False), side).verdict == WITHIN
    # What is beyond the limit in the kinder way is beyond it in the other.
    assert against(timed(19.0, together=True), stated, FAST).verdict == EXCEEDED
    assert against(timed(31.0, together=False), stated, SLOW).verdict == EXCEEDED


def test_off_normal_temperature_is_shown_and_proves_nothing() -> None:
    stated = limits(bound(FAST, 20.0), normal=(293.15, 313.15))
    for kelvin, doubts in (
        (293.15, ()),
        (313.15, ()),
        (293.05, (OFF_TEMPERATURE,)),
        (313.25, (OFF_TEMPERATURE,)),
        (None, (NO_TEMPERATURE,)),
    ):
        assert against(timed(25.0, temperature=kelvin), stated, FAST).doubts == doubts
    assert against(timed(15.0, temperature=280.0), stated, FAST).verdict == UNDECIDED
    judged = judge([timed(25.0, temperature=280.0)], {"M1": stated}, today=TODAY)
    assert (judged.judged, judged.shown) == (frozenset(), {2: OFF_TEMPERATURE})
    assert judge([timed(25.0)], {}, today=TODAY).shown == {2: NO_LIMIT_STATED}


# --- which tests decide ---


def test_the_last_day_on_which_a_test_counts_decides() -> None:
    stated = limits(bound(FAST, 20.0))
    old = timed(18.0, when=datetime(2025, 8, 1))
    assert side_of([old, timed(21.0)], stated).verdict == WITHIN
    assert side_of([timed(21.0, when=datetime(2025, 8, 1)), timed(18.0)], stated).verdict == EXCEEDED
    same_day = [timed(21.0), timed(19.5), timed(22.0)]
    got = side_of(same_day, stated)
    assert got.decided is not None
    assert (got.verdict, got.decided.time, got.repeats, got.spread) == (EXCEEDED, 19.5, 3, 2.5)


def test_a_later_test_that_counts_for_nothing_but_looks_beyond_the_limit_leaves_it_open() -> None:
    stated = limits(bound(FAST, 20.0), normal=(293.15, 313.15))
    good = timed(21.0, when=datetime(2025, 8, 1))
    assert side_of([good, timed(19.0, temperature=280.0)], stated).verdict == UNDECIDED
    assert side_of([good, timed(20.5, temperature=280.0)], stated).verdict == WITHIN
    assert (
        side_of([timed(21.0), timed(19.0, temperature=280.0, when=datetime(2025, 8, 1))], stated).verdict
        == WITHIN
    )


def test_repeats_that_differ_by_more_than_the_margin_decide_nothing() -> None:
    stated = limits(bound(FAST, 20.0))
    steady = [timed(t) for t in (20.2, 20.9, 21.2)]  # 1.0 s, below a tenth of 20.8 s
    assert side_of(steady, stated).verdict == WITHIN
    loose = [timed(t) for t in (20.2, 21.8, 23.2)]  # 3.0 s, above a tenth, with 0.2 s of margin
    assert (got := side_of(loose, stated)).verdict == UNDECIDED
    assert got.unsteady
    assert "differ by 3.0 s" in got.reason
    far = [timed(t + 5) for t in (20.2, 21.8, 23.2)]  # 5.2 s of margin
    assert side_of(far, stated).verdict == WITHIN
    assert side_of(loose[:2], stated).verdict == WITHIN  # two repeats say nothing about their spread


def test_an_old_test_proves_no_more_that_a_limit_is_kept() -> None:
    stated = limits(bound(FAST, 20.0))
    just, late = datetime(2025, 2, 20), datetime(2025, 2, 19)
    assert side_of([timed(21.0, when=just)], stated).verdict == WITHIN
    assert (got := side_of([timed(21.0, when=late)], stated)).verdict == UNDECIDED
    assert got.overdue
    assert side_of([timed(21.0, when=late)], replace(stated, interval=Interval(months=24))).verdict == WITHIN
    assert side_of([timed(19.0, when=late)], stated).verdict == EXCEEDED


@pytest.mark.parametrize(
    ("interval", "day", "due"),
    [
        (Interval(months=12), date(2024, 2, 29), date(2025, 2, 28)),
        (Interval(months=1), date(2025, 1, 31), date(2025, 2, 28)),
        (Interval(months=12), date(2025, 12, 31), date(2026, 12, 31)),
        (Interval(days=90), date(2025, 1, 1), date(2025, 4, 1)),
    ],
)
def test_intervals_are_calendar_months_and_days(interval: Interval, day: date, due: date) -> None:
    assert interval.after(day) == due


def test_every_limit_holds_and_the_stricter_one_is_named() -> None:
    stated = limits(bound(FAST, 20.0, source="manual"), bound(FAST, 22.0, source="window"))
    got = against(timed(23.0), stated, FAST)
    assert (got.bound.source, got.margin) == ("window", pytest.approx(1.0))
    assert against(timed(21.0), stated, FAST).verdict == EXCEEDED
    # 29 s with a signal of 1 s is stricter than 28.5 s of movement.
    both = limits(bound(SLOW, 28.5, source="window"), bound(SLOW, 29.0, ORDER, source="manual"), delay=1.0)
    assert against(timed(28.2), both, SLOW).bound.source == "manual"


def test_no_stroke_is_safe_and_every_stroke_is_too_slow() -> None:
    assert against(timed(500.0), limits(bound(FAST, NO_STROKE_IS_SAFE)), FAST).verdict == EXCEEDED
    assert against(timed(1.0), limits(bound(SLOW, EVERY_STROKE_TOO_SLOW)), SLOW).verdict == EXCEEDED


def test_a_limit_that_could_not_be_found_cannot_be_decided() -> None:
    stated = limits(missing=((Direction.CLOSING, FAST, "the window cannot be decided"),))
    got = side_of([timed(25.0)], stated)
    assert (got.verdict, got.reason) == (UNDECIDED, "the window cannot be decided")
    both = limits(bound(FAST, 20.0), missing=((Direction.CLOSING, FAST, "no window"),))
    assert side_of([timed(25.0)], both).verdict == UNDECIDED
    assert side_of([timed(19.0)], both).verdict == EXCEEDED


# --- limits and history together ---


def findings(tests: list[StrokeTest], stated: dict[str, ValveLimits], **more: int) -> Findings:
    return findings_of_records(tests, stated, today=TODAY, **more)


def test_exit_codes_and_the_worst_first() -> None:
    stated = {
        tag: replace(limits(bound(FAST, 20.0), required=True), tag=tag) for tag in ("kept", "fast", "never")
    }
    tests = [timed(25.0, tag="kept"), timed(15.0, tag="fast", row=3)]
    found = findings(tests, stated)
    assert [(v.tag, v.state) for v in found.valves] == [
        ("fast", TOO_FAST),
        ("never", UNTESTED),
        ("kept", IN_ORDER),
    ]
    assert found.exit_code == 3
    assert found.valves[1].sides[0].reason == NEVER
    assert findings(tests[:1], {t: stated[t] for t in ("kept", "never")}).exit_code == 4
    assert findings(tests[:1], {"kept": stated["kept"]}).exit_code == 0
    assert findings(tests[:1], {"kept": stated["kept"]}, refused=1).exit_code == 4
    assert findings(tests, {"fast": stated["fast"]}, refused=1).exit_code == 3


def test_without_any_limit_nothing_is_kept() -> None:
    found = findings([timed(25.0)], {})
    assert found.valves[0].verdict == NOT_JUDGED
    assert found.exit_code == 4


def test_a_named_valve_without_limits_still_has_to_be_tested() -> None:
    stated = {"M1": limits(bound(FAST, 20.0)), "M2": ValveLimits(tag="M2", required=True)}
    found = findings([timed(25.0)], stated)
    assert found.exit_code == 4
    assert found.valves[0].tag == "M2"


def test_an_erratic_valve_is_not_taken_as_kept() -> None:
    days = [datetime(2025, 3, 1) + timedelta(days=40 * k) for k in range(9)]
    times = [25.0, 21.5, 28.0, 22.0, 27.5, 21.0, 28.5, 22.5, 21.5]
    tests = [timed(t, when=d, row=k) for k, (d, t) in enumerate(zip(days, times, strict=True), start=2)]
    found = findings(tests, {"M1": limits(bound(FAST, 20.0))})
    assert found.valves[0].state == SCATTERED
    assert found.exit_code == 4
    assert findings(tests, {"M1": limits(bound(FAST, 8.0))}).exit_code == 0  # far from the limit


def test_an_overdue_valve_is_told_and_undecided() -> None:
    found = findings([timed(25.0, when=datetime(2024, 1, 1))], {"M1": limits(bound(FAST, 20.0))})
    assert OVERDUE in found.valves[0].history.states
    assert found.exit_code == 4


# --- rows that were refused ---


def lost(day: int | None, *ways: Direction, tag: str = "M1") -> LostTest:
    return LostTest(row=9, tag=tag, directions=ways, day=day and date(2026, 2, day))


@pytest.mark.parametrize(
    ("row", "verdict"),
    [
        (lost(9, Direction.CLOSING), WITHIN),  # older than the test that decides
        (lost(10, Direction.CLOSING), UNDECIDED),
        (lost(11, Direction.CLOSING), UNDECIDED),
        (lost(None, Direction.CLOSING), UNDECIDED),
        (lost(11), UNDECIDED),
        (lost(11, Direction.OPENING, Direction.CLOSING), UNDECIDED),
        (lost(11, Direction.OPENING), WITHIN),
        (lost(11, Direction.CLOSING, tag="M2"), WITHIN),
    ],
)
def test_an_old_good_test_does_not_stand_while_a_later_row_was_refused(row: LostTest, verdict: str) -> None:
    stated = {"M1": limits(bound(FAST, 20.0), bound(SLOW, 30.0))}
    for side in judge([timed(25.0)], stated, today=TODAY, lost=[row]).sides:
        assert side.verdict == verdict
        assert ("row 9" in side.reason) is (verdict == UNDECIDED)
    # What is broken stays broken, whatever was refused.
    (fast, _) = judge([timed(19.0)], stated, today=TODAY, lost=[row]).sides
    assert fast.verdict == EXCEEDED


def test_a_valve_of_which_every_row_was_refused_is_not_told_as_never_tested() -> None:
    stated = {"M1": limits(bound(FAST, 20.0))}
    (side,) = judge([], stated, today=TODAY, lost=[lost(None)]).sides
    assert (side.verdict, side.reason) == (UNDECIDED, "row 9 of this valve was refused")


def test_a_later_cold_test_looks_beyond_the_limit_by_what_it_would_prove() -> None:
    """From the order 21 s with a delay of 2 s is a movement of 19 s; 29.5 s of movement is 30.6 s from it."""
    stated = limits(bound(FAST, 20.0), normal=(290.0, 320.0), delay=2.0)
    cold: dict[str, object] = {"row": 3, "when": datetime(2026, 2, 11), "temperature": 275.0}
    assert side_of([timed(25.0)], stated).verdict == WITHIN
    found = side_of([timed(25.0), timed(21.0, timed=ORDER, **cold)], stated)
    assert found.verdict == UNDECIDED
    assert "row 3" in found.reason
    assert side_of([timed(25.0), timed(22.0, timed=ORDER, **cold)], stated).verdict == WITHIN
    slow = limits(bound(SLOW, 30.0, ORDER), normal=(290.0, 320.0), delay=1.1)
    assert side_of([timed(25.0), timed(29.5, **cold)], slow, SLOW).verdict == UNDECIDED
    assert side_of([timed(25.0), timed(28.9, **cold)], slow, SLOW).verdict == WITHIN


def test_two_repeats_that_are_far_apart_decide_nothing_either() -> None:
    stated = limits(bound(FAST, 20.0))
    assert side_of([timed(20.1), timed(30.0, row=3)], stated).verdict == UNDECIDED
    assert side_of([timed(20.1), timed(21.0, row=3)], stated).verdict == WITHIN


def test_a_limit_that_the_trend_has_met_since_the_last_test_is_not_kept() -> None:
    """1 s a month less, 20.5 s at the last test on 10 January: it met 20 s late in January."""
    days = [datetime(2025, 9, 10), datetime(2025, 10, 10), datetime(2025, 11, 10), datetime(2025, 12, 10)]
    days.append(datetime(2026, 1, 10))
    tests = [timed(24.5 - k, row=k + 2, when=day) for k, day in enumerate(days)]
    stated = {"M1": limits(bound(FAST, 20.0))}
    (found,) = findings_of_records(tests, stated, today=date(2026, 1, 15)).valves
    assert found.verdict == WITHIN
    (found,) = findings_of_records(tests, stated, today=TODAY).valves
    assert found.verdict == UNDECIDED
    assert "since its last test" in found.sides[0].reason


def test_a_valve_adjusted_on_the_day_of_its_test_counts_from_the_mark_on() -> None:
    stated = limits(bound(FAST, 20.0))
    early, late = timed(18.0), timed(25.0, row=3, when=datetime(2026, 2, 10, 14))
    assert side_of([early, late], stated).verdict == EXCEEDED
    marked = replace(late, remark="flow control reset; new baseline")
    assert side_of([early, marked], stated).verdict == WITHIN
    # Without a time of day nothing says which one was first; and what is marked may be bad itself.
    assert side_of([replace(early, when=marked.when), marked], stated).verdict == EXCEEDED
    assert side_of([early, replace(marked, time=19.0)], stated).verdict == EXCEEDED
    # A mark on a test that counts for nothing takes the old proof away and gives none.
    shared = limits(bound(FAST, 20.0), shares_power=True)
    others = replace(marked, together=True)
    assert side_of([replace(early, time=25.0), others], shared).verdict == UNDECIDED

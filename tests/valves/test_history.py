"""Histories of valves: worked by hand, every rule at its boundary, nothing lost."""

from __future__ import annotations

import time
from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.records.stroke_tests import YEAR, Bound, Direction, Interval, Side, StrokeTest, Timed, ValveLimits
from surge.reports.history import meaning, trend_words, why
from surge.valves.history import histories
from surge.valves.history_types import STATE_RANK, STATES, HistoryGround, ValveHistory

CLOSING, OPENING = Direction.CLOSING, Direction.OPENING
GROUND = HistoryGround(today=date(2026, 7, 1))


def shot(day: str, time: float, tag: str = "CV-1", **more: object) -> StrokeTest:
    settings: dict[str, object] = {"timed": Timed.MOVEMENT, "direction": CLOSING, "row": 2} | more
    when = datetime.fromisoformat(f"{day}T09:00")
    return StrokeTest(tag=tag, when=when, time=time, **settings)  # type: ignore[arg-type]


def bound(side: Side, value: float, timed: Timed = Timed.MOVEMENT, way: Direction = CLOSING) -> Bound:
    return Bound(direction=way, side=side, value=value, timed=timed, source="test")


def limits(
    fast: float | None = 10.0, slow: float | None = 30.0, tag: str = "CV-1", **more: object
) -> ValveLimits:
    bounds = [bound(side, v) for side, v in ((Side.FASTEST, fast), (Side.SLOWEST, slow)) if v is not None]
    return ValveLimits(tag=tag, bounds=tuple(bounds), **more)  # type: ignore[arg-type]


def one(
    tests: list[StrokeTest], stated: ValveLimits | None = None, ground: HistoryGround = GROUND
) -> ValveHistory:
    found = histories(tests, {} if stated is None else {stated.tag: stated}, ground=ground)
    assert len(found) == 1
    return found[0]


def every_100_days(*times: float, first: str = "2025-01-01", **more: object) -> list[StrokeTest]:
    day = date.fromisoformat(first)
    return [shot(str(day + timedelta(days=100 * k)), t, **more) for k, t in enumerate(times)]


def test_worked_by_hand() -> None:
    # One second less every 100 days from 20 s: the fastest time, 12 s, is met 800 days after the first date.
    found = one(every_100_days(20.0, 19.0, 18.0, 17.0, 16.0), limits(fast=12.0))
    assert found.baseline is not None
    assert (found.baseline.time, found.baseline.day, found.last) == (20.0, date(2025, 1, 1), 16.0)
    assert found.change == pytest.approx(-0.20)
    assert found.trend is not None
    assert found.trend.slope == pytest.approx(-0.01)
    fastest, slowest = found.limits
    assert fastest.expected == fastest.earliest == date(2025, 1, 1) + timedelta(days=800)
    assert (slowest.expected, slowest.earliest) == (None, None)
    assert found.due == date(2027, 2, 5)
    assert found.margin == pytest.approx(4 / 12)
    assert found.states == ("IN ORDER",)  # the band of ±20 % holds its end, and 800 days is 2027-03-12
    near = one(every_100_days(20.0, 19.0, 18.0, 17.0, 16.0), limits(fast=12.5))
    assert near.states == ("LIMIT NEAR",)  # 750 days: 2027-01-21, before the next test is due
    assert "12.5 s, on 2027-01-21" in why(near, GROUND)[0]
    assert "throttle" in meaning(near)
    wide = one(every_100_days(20.0, 19.0, 18.5, 17.0, 16.5), limits(fast=12.5))
    assert wide.states == ("WATCH",)


def test_drift_beyond_the_action_band() -> None:
    found = one(every_100_days(20.0, 20.0, 20.0, 20.0, 24.0), limits(slow=60.0))
    assert "DRIFTED" not in found.states
    found = one(every_100_days(20.0, 20.0, 20.0, 20.0, 24.01), limits(slow=60.0))
    assert "DRIFTED" in found.states
    assert "wear" in meaning(found)
    assert "+4.0 s (+20 %)" in " ".join(why(found, GROUND))


@pytest.mark.parametrize(
    ("time", "state"),
    [(10.0, "IN ORDER"), (9.99, "TOO FAST"), (30.0, "IN ORDER"), (30.01, "TOO SLOW")],
)
def test_limits_hold_at_their_boundary(time: float, state: str) -> None:
    found = one([shot("2026-05-01", time)], limits())
    assert found.state == state
    assert ("surge" in meaning(found)) is (state == "TOO FAST")


def test_delay_comes_off_and_a_time_without_it_decides_no_surge() -> None:
    order = {"timed": Timed.ORDER}
    found = one([shot("2026-05-01", 12.3, delay=2.3, **order)], limits())
    assert found.last == 12.3 - 2.3
    assert found.state == "IN ORDER"
    found = one([shot("2026-05-01", 12.3, **order)], limits(delay=2.4))
    assert found.state == "TOO FAST"
    found = one([shot("2026-05-01", 12.3, **order)], limits())
    assert found.states == ("UNDECIDED",)
    assert found.limits == ()
    assert one([shot("2026-05-01", 9.9, **order)], limits()).state == "TOO FAST"  # its movement is no longer


def test_a_limit_from_the_order_is_set_among_movement_times() -> None:
    stated = ValveLimits(tag="CV-1", bounds=(bound(Side.SLOWEST, 30.0, Timed.ORDER),), delay=2.0)
    found = one([shot("2026-05-01", 28.0)], stated)
    assert [h.time for h in found.limits] == [28.0]
    assert found.state == "IN ORDER"
    assert one([shot("2026-05-01", 28.1)], stated).state == "TOO SLOW"


def test_only_like_is_set_against_like() -> None:
    tests = [
        *every_100_days(20.0, 20.0, 20.0, 20.0),
        shot("2025-02-01", 31.0, together=True),
        shot("2025-03-01", 23.0, timed=Timed.ORDER),
        shot("2025-04-01", 11.0, timed=None),
        shot("2025-05-01", 12.0, temperature=280.0),
        shot("2026-08-01", 12.0),
    ]
    found = one(tests, limits(slow=60.0, normal=(290.0, 320.0)))
    assert [p.time for p in found.counted] == [20.0] * 4
    assert {p.apart for p in found.tests} == {
        "",
        "moved together with others",
        "not comparable: order to indicator",
        "not comparable: unknown what it counts",
        "off normal temperature",
        "after the day of this look",
    }
    assert found.change == 0.0


def test_dates_count_in_that_a_valve_is_faster_alone_and_slower_together() -> None:
    # Trend of the tests together: 1 s less every 100 days from 20 s, 16 s on day 400. Alone it took 2 s less.
    tests = every_100_days(20.0, 19.0, 18.0, 17.0, 16.0, together=True)
    alone = shot("2026-02-05", 14.0, together=False)
    plain, shared = (one(t, limits(fast=10.0)) for t in (tests, [*tests, alone]))
    assert [h.offset for h in plain.limits] == [0.0, 0.0]
    assert [h.offset for h in shared.limits] == [-2.0, 0.0]
    assert plain.limits[0].expected == date(2025, 1, 1) + timedelta(days=1000)
    assert shared.limits[0].expected == date(2025, 1, 1) + timedelta(days=800)
    old = one([*tests, shot("2025-02-01", 14.0, together=False)], limits(fast=10.0))
    assert old.limits[0].offset == 0.0  # older than the interval
    up = every_100_days(20.0, 21.0, 22.0, 23.0, 24.0)
    slow = one([*up, shot("2026-02-05", 25.0, together=True)], limits(slow=30.0))
    assert [h.offset for h in slow.limits] == [0.0, 1.0]
    assert slow.limits[1].expected == date(2025, 1, 1) + timedelta(days=900)


def test_normal_temperature_includes_its_ends() -> None:
    for kelvin, counts in ((290.0, True), (320.0, True), (289.9, False), (320.1, False)):
        found = one([shot("2026-05-01", 20.0, temperature=kelvin)], limits(normal=(290.0, 320.0)))
        assert bool(found.counted) is counts
        assert (found.state == "NOT TESTED") is not counts


def test_due_on_the_last_day_and_overdue_on_the_next() -> None:
    assert one([shot("2025-07-01", 20.0)], limits()).state == "IN ORDER"
    late = one([shot("2025-06-30", 20.0)], limits())
    assert (late.states, late.overdue, late.due) == (("OVERDUE",), 1, date(2026, 6, 30))
    assert one([shot("2025-06-30", 20.0)], limits(interval=Interval(months=13))).state == "IN ORDER"
    # A test off temperature or of another kind: the first is no test, the second is.
    tests = [shot("2025-06-30", 20.0), shot("2026-06-01", 20.0, temperature=250.0)]
    assert "OVERDUE" in one(tests, limits(normal=(280.0, 320.0))).states
    assert "OVERDUE" not in one([*tests[:1], shot("2026-06-01", 21.0, together=True)], limits()).states


def test_never_tested_and_required() -> None:
    found = histories([], {"CV-9": ValveLimits(tag="CV-9", required=True)}, ground=GROUND)
    assert [(h.tag, h.direction, h.states) for h in found] == [("CV-9", CLOSING, ("NOT TESTED",))]
    assert trend_words(found[0]) == "no test that counts"
    assert histories([], {"CV-9": ValveLimits(tag="CV-9")}, ground=GROUND) == ()


def test_erratic() -> None:
    assert "ERRATIC" in one(every_100_days(20.0, 26.0, 17.0, 25.0, 16.0, 24.0), limits()).states
    assert "ERRATIC" in one(every_100_days(20.0, 20.1, 20.0, 14.0, 20.1, 20.0), limits()).states
    repeats = [shot("2026-05-01", t) for t in (20.0, 22.0, 24.0)]
    assert "ERRATIC" not in one(repeats, limits()).states  # 4/22 = 18 %
    assert "ERRATIC" in one([*repeats, shot("2026-05-01", 25.0)], limits()).states  # 5/23 = 22 %


def test_any_recent_stroke_of_an_erratic_valve_may_come_again() -> None:
    wild = every_100_days(20.0, 29.0, 9.0, 28.0, 12.0, 20.0)
    assert one(wild, limits()).states[:2] == ("TOO FAST", "ERRATIC")  # 9 s, 300 days before the last
    assert "TOO FAST" not in one(every_100_days(9.0, 28.0, 12.0, 29.0, 20.0, 12.0), limits()).states


def test_a_fast_repeat_counts_for_surge_and_a_slow_one_for_shutdown() -> None:
    tests = [shot("2026-05-01", t) for t in (12.0, 12.0, 9.9)]
    assert one(tests, limits()).state == "TOO FAST"
    tests = [shot("2026-05-01", 29.0), shot("2026-05-01", 29.5), shot("2026-05-02", 30.5, together=True)]
    assert one(tests, limits()).state == "TOO SLOW"


def test_baseline_marked_in_a_remark() -> None:
    tests = every_100_days(20.0, 20.5, 14.0, 14.2)
    marked = [*tests[:2], shot("2025-07-20", 14.0, remark="orifice changed; new baseline"), tests[3]]
    found = one(marked, limits())
    assert found.baseline is not None
    assert (found.baseline.time, found.baseline.rule) == (14.0, "marked in a remark on 2025-07-20")
    assert [p.apart for p in found.tests] == ["before the baseline of 2025-07-20"] * 2 + ["", ""]
    loose = [*tests[:2], shot("2025-07-20", 14.0, remark="baseline not reached"), tests[3]]
    assert one(loose, limits()).baseline == one(tests, limits()).baseline


def test_sisters() -> None:
    tests = [shot("2026-05-01", t, tag=f"CV-{k}") for k, t in enumerate((20.0, 21.0, 19.0, 26.0))]
    stated = {f"CV-{k}": limits(tag=f"CV-{k}", sisters="8 inch") for k in range(4)}
    found = {h.tag: h for h in histories(tests, stated, ground=GROUND)}
    odd = found["CV-3"].sisters
    assert odd is not None
    assert (odd.count, odd.median, odd.ratio) == (3, 20.0, 1.3)
    assert found["CV-3"].state == "UNLIKE SISTERS"
    assert {found[f"CV-{k}"].state for k in range(3)} == {"IN ORDER"}
    few = histories(tests[:2], stated, ground=GROUND)
    assert all(h.sisters is None for h in few)


def test_no_limit_is_not_in_order() -> None:
    assert one([shot("2026-05-01", 20.0)]).states == ("NO LIMIT",)
    unfound = ValveLimits(tag="CV-1", missing=((CLOSING, Side.FASTEST, "no case"),))
    assert one([shot("2026-05-01", 20.0)], unfound).states == ("UNDECIDED",)
    assert one([shot("2026-05-01", 20.0)], limits(fast=float("inf"))).state == "TOO FAST"


def test_worst_first() -> None:
    tests = [shot("2026-05-01", t, tag=tag) for tag, t in (("A", 20.0), ("B", 9.0), ("C", 31.0), ("D", 8.0))]
    tests.append(shot("2024-05-01", 20.0, tag="E"))
    stated = {tag: limits(tag=tag) for tag in "ABCDEF"}
    assert [h.tag for h in histories(tests, stated, ground=GROUND)] == ["D", "B", "C", "F", "E", "A"]


days = st.dates(date(2020, 1, 1), date(2027, 1, 1))
shots = st.builds(
    lambda day, time, tag, way, timed, delay, temperature, together: StrokeTest(
        row=1,
        tag=tag,
        direction=way,
        when=datetime(day.year, day.month, day.day),
        time=time,
        timed=timed,
        delay=delay,
        temperature=temperature,
        together=together,
    ),
    days,
    st.floats(0.1, 200.0),
    st.sampled_from(["A", "B", "C"]),
    st.sampled_from(Direction),
    st.sampled_from([*Timed, None]),
    st.sampled_from([None, 0.0, 2.0]),
    st.sampled_from([None, 250.0, 300.0]),
    st.sampled_from([None, True, False]),
)


@given(st.lists(shots, max_size=25), st.booleans())
@settings(deadline=None, max_examples=60)
def test_no_test_is_lost_and_every_history_says_something(tests: list[StrokeTest], sisters: bool) -> None:
    stated = {
        tag: limits(tag=tag, normal=(290.0, 310.0), sisters="one" if sisters else "", delay=1.0)
        for tag in "AB"
    }
    found = histories(tests, stated, ground=GROUND)
    assert sorted(id(p.test) for h in found for p in h.tests) == sorted(map(id, tests))
    assert [STATE_RANK[h.state] for h in found] == sorted(STATE_RANK[h.state] for h in found)
    for h in found:
        assert h.states
        assert set(h.states) <= set(STATES)
        assert len(why(h, GROUND)) == len(h.states)
        assert all(why(h, GROUND))
        assert trend_words(h)
        meaning(h)
        if "IN ORDER" in h.states:
            assert h.states == ("IN ORDER",)
        proofs = [p for p in h.tests if p.proof]
        if not any(p.apart == "" for p in h.tests):
            assert h.states == ("NOT TESTED",)
        else:
            assert h.due == YEAR.after(max(p.day for p in proofs))


def test_thousands_of_rows_are_quick() -> None:
    tests = [
        shot(str(date(2023, 1, 1) + timedelta(days=5 * k)), 20.0 + k % 7 / 10, tag=f"V{n}")
        for n in range(50)
        for k in range(200)
    ]
    histories(tests[:300], {}, ground=GROUND)
    began = time.process_time()
    assert len(histories(tests, {}, ground=GROUND)) == 50
    assert time.process_time() - began < 5.0

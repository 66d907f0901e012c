"""The limits file, and limits from the window of a case."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.demos import Demos

from surge.case.file import Case
from surge.errors import CaseError
from surge.records.limits_file import LimitFile, load_limits, read_limits, stated_in
from surge.records.read import ReadOptions, Records, read_records
from surge.records.stroke_tests import Bound, Direction, Interval, Side, Timed, ValveLimits, read_interval
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.reading import built_in
from surge.toml.faults import describe
from surge.toml.text import FileError
from surge.valves.sources import closing_in, held_against, with_windows

ROOT = Path(__file__).parents[2]
CASE = ROOT / "cases" / "gasoline-drop-lines.toml"
LIMITS = ROOT / "cases" / "records" / "limits.toml"

WHOLE = """
schema = 1

[[valve]]
tags = ["M*"]
source = "manual"
fastest_closing = "20 s"
slowest_closing = "0.5 min"
fastest_opening = "10 s"
signal_delay = "1.2 s"
normal_temperature = ["15 degC", "50 degC"]
shares_power = false
interval = "6 months"

[[valve]]
tags = ["M1", "Drop  1"]
source = "window of 2025"
fastest_closing = "22 s"
slowest_closing = "29 s"
slowest_counts = "spindle movement"
sisters = "manifold"
in_case = "manifold valve"
"""


def stated(text: str = WHOLE) -> LimitFile:
    return read_limits(text, filename="limits.toml")


def records(*tags: str) -> Records:
    lines = ["tag;date;closing time [s]", *(f"{t};2025-03-1{k};13.0" for k, t in enumerate(tags))]
    return read_records("\n".join(lines).encode(), ReadOptions(today=date(2025, 4, 1)))


def test_a_table_that_names_a_valve_goes_before_patterns() -> None:
    made, name = stated().limits_of("M1")
    assert name == "manifold valve"
    assert made.of(Direction.CLOSING, Side.FASTEST) == (
        Bound(
            direction=Direction.CLOSING,
            side=Side.FASTEST,
            value=22.0,
            timed=Timed.MOVEMENT,
            source="window of 2025",
        ),
    )
    (slow,) = made.of(Direction.CLOSING, Side.SLOWEST)
    assert (slow.value, slow.timed) == (29.0, Timed.MOVEMENT)
    (opening,) = made.of(Direction.OPENING, Side.FASTEST)  # from the pattern
    assert (opening.value, opening.source) == (10.0, "manual")
    assert (made.delay, made.normal, made.shares_power, made.sisters, made.required) == (
        1.2,
        pytest.approx((288.15, 323.15)),
        False,
        "manifold",
        True,
    )
    assert made.interval == Interval(months=6)
    by_pattern, _ = stated().limits_of("m77")
    (slow,) = by_pattern.of(Direction.CLOSING, Side.SLOWEST)
    assert (slow.value, slow.timed, by_pattern.required) == (30.0, Timed.ORDER, False)
    assert not stated().knows("X1")
    assert stated().knows("drop 1")


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("schema = 1", "", "schema", "schema = 1"),
        ("[[valve]]", "[[valves]]", "valves", 'did you mean "valve"?'),
        (WHOLE[WHOLE.index("[[valve]]") :], "", "valve", "add [[valve]]"),
        (WHOLE[WHOLE.index("[[valve]]") :], "valve = []", "valve", "tables [[valve]]"),
        (WHOLE[WHOLE.index("[[valve]]") :], "valve = 3", "valve", "tables [[valve]]"),
        ('"20 s"', '"20"', "valve 1: fastest_closing", "add the unit"),
        ('"20 s"', "20", "valve 1: fastest_closing", "in quotes and with a unit"),
        ('"20 s"', '"2 h"', "valve 1: fastest_closing", "a time from 0.001 s to 3600 s"),
        ('"20 s"', '"40 s"', "valve 1: fastest_closing", "no time can keep both"),
        ("fastest_opening", "fastest_openng", "valve 1: fastest_openng", 'did you mean "fastest_opening"'),
        ('source = "manual"\n', "", "valve 1: source", "where they come from"),
        (
            '["15 degC", "50 degC"]',
            '["50 degC", "15 degC"]',
            "valve 1: normal_temperature",
            "lower one first",
        ),
        ('["15 degC", "50 degC"]', '"30 degC"', "valve 1: normal_temperature", "two temperatures"),
        ("shares_power = false", 'shares_power = "no"', "valve 1: shares_power", "true or false"),
        ('"6 months"', '"half a year"', "valve 1: interval", "12 months"),
        ('"spindle movement"', '"stroke"', "valve 2: slowest_counts", "order to indicator"),
        ('["M*"]', '"M*"', "valve 1: tags", "a list in brackets"),
        ('["M*"]', "[]", "valve 1: tags", "a list in brackets"),
        ('["M*"]', '["M*", 3]', "valve 1: tags, row 2", "write it in quotes"),
        ('"6 months"', "6", "valve 1: interval", '"12 months"'),
        ('"50 degC"]', '"50 bar"]', "valve 1: normal_temperature", "a temperature"),
        ("schema = 1", "schema = 2", "schema", "write 1"),
        ("schema = 1", "schema = true", "schema", "write 1"),
        ('["M*"]', '["m1"]', "valve 2: fastest_closing", "each key of a valve once"),
    ],
)
def test_faults_have_line_key_and_remedy(old: str, new: str, key: str, words: str) -> None:
    text = WHOLE.replace(old, new)
    assert text != WHOLE
    with pytest.raises(FileError) as caught:
        read_limits(text, filename="limits.toml")
    told = describe(caught.value)
    found = next(r for r in told if r.key == key)
    assert words in f"{found.found} {found.expected} {found.remedy}"
    assert found.line >= 1
    assert caught.value.file.filename == "limits.toml"


def test_a_file_that_is_not_there_or_no_toml(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be opened"):
        load_limits(tmp_path / "no.toml")
    path = tmp_path / "bad.toml"
    path.write_text("tags = [")
    with pytest.raises(FileError) as caught:
        load_limits(path)
    assert caught.value.file.filename == str(path)


@given(
    st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=10)),
        lambda x: st.one_of(st.lists(x, max_size=3), st.dictionaries(st.text(max_size=10), x, max_size=3)),
        max_leaves=10,
    ),
    st.sampled_from(
        ["tags", "fastest_closing", "normal_temperature", "interval", "shares_power", "note", "x"]
    ),
)
@settings(max_examples=200, deadline=None)
def test_no_value_makes_it_crash(value: Any, key: str) -> None:
    for data in (
        {"schema": 1, "valve": [{"tags": ["M1"], key: value}]},
        {"schema": value, "valve": value, key: value},
    ):
        found, faults = stated_in(data)
        assert found or faults
        assert all(f.found and f.expected and f.remedy for f in faults)


@pytest.mark.parametrize(
    ("text", "interval"),
    [
        ("12 months", Interval(months=12)),
        ("1 year", Interval(months=12)),
        ("90 days", Interval(days=90)),
        ("2 weeks", Interval(days=14)),
    ],
)
def test_intervals(text: str, interval: Interval) -> None:
    assert read_interval(text) == interval


# --- which tags, which limits ---


def test_tags_are_spelt_as_in_the_limits_and_unknown_ones_are_refused() -> None:
    held = held_against(records("m1", "DROP 1", "M9", "X1", "x1"), stated=stated())
    assert [t.tag for t in held.records.tests] == ["M1", "Drop  1".replace("  ", " "), "M9"]
    assert set(held.limits) == {"M1", "Drop 1", "M9"}
    assert [f.row for f in held.records.faults] == [5, 6]
    assert held.records.refused == {5, 6}
    assert held.records.rows == len(held.records.tests) + len(held.records.refused)
    assert '"X1"' in held.records.faults[0].found


def test_without_any_limits_every_tag_is_taken_and_spelt_as_it_stands_first() -> None:
    held = held_against(records("m1", "M1"))
    assert {t.tag for t in held.records.tests} == {"m1"}
    assert held.limits == {"m1": ValveLimits(tag="m1")}


@pytest.fixture
def case(demos: Demos) -> Case:
    return demos["gasoline-drop-lines"].case


def test_names_of_the_case_that_are_wrong_are_told(case: Case) -> None:
    assert closing_in(case.lineup) >= {"manifold valve", "2P drop line valve"}
    text = WHOLE.replace('"manifold valve"', '"shore control valve"')
    with pytest.raises(FileError) as caught:
        held_against(records("M1"), stated=stated(text), lineup=case.lineup, book=built_in())
    (found,) = describe(caught.value)
    assert found.key == "valve 2: in_case"
    nameless = WHOLE.replace('in_case = "manifold valve"\n', "")
    with pytest.raises(CaseError, match="stands for a valve"):
        held_against(records("M1"), stated=stated(nameless), lineup=case.lineup, book=built_in())


def test_windows_become_limits_of_the_movement() -> None:
    """Parts as the search gives them: a window, none for certain, and none that can be told."""
    rule = SimpleNamespace(name="Total shutdown time")

    def part(**more: Any) -> Any:
        usual = {
            "valve": "V",
            "scenario": "S",
            "longest": None,
            "slow_rule": None,
            "reason": "",
            "verdict": "",
            "held": {},
        }
        return SimpleNamespace(**(usual | more))

    parts = (
        part(shortest=12.2, longest=15.0, slow_rule=rule),
        part(shortest=None, verdict=EXCEEDED, reason="shut-off pressure alone is above a limit"),
        part(shortest=None, verdict=UNDECIDED, reason="no rating given"),
        part(shortest=1.0, longest=0.0, slow_rule=rule),
    )
    alone: Any = {"together": None, "joint_strokes": {}, "apart": {}}
    windows: Any = SimpleNamespace(by_valve={"V": parts}, **alone)
    one, other = with_windows([ValveLimits(tag="M1"), ValveLimits(tag="M2")], windows, named={"M1": "V"})
    assert other == ValveLimits(tag="M2")
    assert all(b.timed is Timed.MOVEMENT and b.direction is Direction.CLOSING for b in one.bounds)
    assert [b.value for b in one.of(Direction.CLOSING, Side.FASTEST)] == [float("inf")]
    assert [b.value for b in one.of(Direction.CLOSING, Side.SLOWEST)] == [0.0]
    usual: Any = SimpleNamespace(
        by_valve={"V": (parts[0], part(shortest=1.0, longest=20.0, slow_rule=rule))}, **alone
    )
    (one,) = with_windows([ValveLimits(tag="M1")], usual, named={"M1": "V"})
    assert [b.value for b in one.bounds] == [12.2, 15.0]
    alone["apart"] = {"V": (part(shortest=14.5, held={"W": 12.2}),)}
    twins: Any = SimpleNamespace(by_valve={"V": parts[:1]}, **alone)
    (one,) = with_windows([ValveLimits(tag="M1")], twins, named={"M1": "V"})
    strictest = one.of(Direction.CLOSING, Side.FASTEST)[0]
    assert (strictest.value, strictest.source) == (14.5, 'window of "V" in "S", with "W" held at 12.2 s')
    (one,) = with_windows([ValveLimits(tag="M1")], windows, named={"M1": "V"})
    assert [(s, w) for _, s, w in one.missing] == [(Side.FASTEST, 'window of "V" in "S": no rating given')]


def test_valves_that_are_not_safe_together_need_longer_strokes_or_stay_open() -> None:
    part = {"scenario": "S", "longest": None, "slow_rule": None, "reason": "", "verdict": WITHIN, "held": {}}
    by_valve = {v: (SimpleNamespace(valve=v, shortest=s, **part),) for v, s in (("V", 10.0), ("W", 12.0))}
    strokes = {"V": 15.0, "W": 18.0}

    def windows(pressures: str) -> Any:
        together = SimpleNamespace(pressures=pressures, verdict=pressures)
        return SimpleNamespace(by_valve=by_valve, together=together, joint_strokes=strokes, apart={})

    (one,) = with_windows([ValveLimits(tag="M1")], windows(WITHIN), named={"M1": "V"})
    strictest = one.of(Direction.CLOSING, Side.FASTEST)[0]
    assert (strictest.value, one.missing) == (15.0, ())
    assert strictest.source == 'window of "V" when "V", "W" close together'
    for pressures in (EXCEEDED, UNDECIDED):
        (one,) = with_windows([ValveLimits(tag="M1")], windows(pressures), named={"M1": "V"})
        ((way, side, why),) = one.missing
        assert (way, side) == (Direction.CLOSING, Side.FASTEST)
        assert pressures in why


def test_a_window_that_was_not_looked_up_leaves_the_valve_open() -> None:
    stated = read_limits('schema = 1\n[[valve]]\ntags = ["M1"]\nin_case = "V"\n', filename="limits.toml")
    text = b"tag;date;direction;time [s]\nM1;2026-02-10;closing;25\n"
    held = held_against(read_records(text, ReadOptions(today=date(2026, 2, 20))), stated=stated)
    assert [(way, side) for way, side, _ in held.limits["M1"].missing] == [
        (Direction.CLOSING, side) for side in Side
    ]
    assert all("add --case" in why for *_, why in held.limits["M1"].missing)


@pytest.mark.parametrize("tag", ["m1p", "M 1P", "M-1P", "M1P"])
def test_a_refused_row_concerns_the_valve_however_its_tag_is_written(tag: str) -> None:
    text = 'schema = 1\n[[valve]]\ntags = ["M1P"]\nfastest_closing = "20 s"\nsource = "manual"\n'
    rows = f"tag;date;direction;time [s]\n{tag};2026-02-10;closing;about 12\n{tag};2026-02-11;closing;12\n"
    records = read_records(rows.encode(), ReadOptions(today=date(2026, 2, 20)))
    held = held_against(records, stated=read_limits(text, filename="limits.toml"))
    same = "M1P" if tag in ("m1p", "M1P") else None
    assert [t.tag for t in held.records.tests] == ([same] if same else [])
    assert {t.tag for t in held.records.lost} == {"M1P"}


@pytest.mark.parametrize(
    ("tables", "found"),
    [
        ({"M1P": 'fastest_closing = "30 s"', "M*": 'slowest_closing = "20 s"'}, "fastest movement of 30 s"),
        (
            {"M1P": 'slowest_closing = "20 s"', "*": 'fastest_closing = "20.5 s"'},
            "fastest movement of 20.5 s",
        ),
        ({"M1P": 'slowest_closing = "20 s"', "*": 'signal_delay = "20 s"'}, "signal delay of 20 s"),
        ({"M*": 'slowest_opening = "20 s"', "*": 'signal_delay = "25 s"'}, "signal delay of 25 s"),
        ({"M*": 'fastest_closing = "19 s"\nslowest_closing = "20 s"\nsignal_delay = "2 s"'}, "delay of 2 s"),
        ({"M*": 'fastest_closing = "19 s"\nslowest_closing = "21 s"\nsignal_delay = "2 s"'}, ""),
        ({"M*": 'fastest_closing = "30 s"', "D*": 'slowest_closing = "20 s"'}, ""),
    ],
)
def test_limits_that_no_test_can_meet_are_refused(tables: dict[str, str], found: str) -> None:
    """Of one valve, from whatever tables: before, every test was outside, without a word on why."""
    text = "schema = 1\n" + "".join(
        f'[[valve]]\ntags = ["{tag}"]\nsource = "x"\n{keys}\n' for tag, keys in tables.items()
    )
    limits = read_limits(text, filename="limits.toml")
    rows = "tag;date;direction;time [s]\nM1P;2025-03-14;closing;19.5\n"
    records = read_records(rows.encode(), ReadOptions(today=date(2026, 2, 20)))
    if not found:
        assert held_against(records, stated=limits).limits
        return
    with pytest.raises(FileError) as caught:
        held_against(records, stated=limits)
    (fault,) = caught.value.faults
    assert found in fault.found
    assert fault.path[0] == "valve"

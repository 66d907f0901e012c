"""What must hold of valve and pump curves, tanks, supplies and the rate; and that no number is a crash."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.berth import assert_fault, berth, scenario, spoilt

from surge.model.lineup import LineUp, Rate, Supply, Table
from surge.model.validation import faults_of

# --- valve characteristics ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "where", "found", "expected"),
    [
        (((0.0, 0.0), (0.5, 0.2), (0.5, 0.4), (1.0, 1.0)), (2,), "[0.5, 0.4]", "an opening above 0.5"),
        (((0.0, 0.0), (0.7, 0.2), (0.5, 0.4), (1.0, 1.0)), (2,), "[0.5, 0.4]", "an opening above 0.7"),
        (((0.0, 0.0), (0.3, 0.5), (0.5, 0.4), (1.0, 1.0)), (2,), "[0.5, 0.4]", "a ratio not below 0.5"),
        (((0.0, 0.1), (1.0, 1.0)), (0,), "[0, 0.1]", "[0, 0], the shut valve"),
        (((0.1, 0.0), (1.0, 1.0)), (0,), "[0.1, 0]", "[0, 0], the shut valve"),
        (((0.0, 0.0), (1.0, 0.9)), (1,), "[1, 0.9]", "[1, 1], the open valve"),
        (((0.0, 0.0), (0.9, 1.0)), (1,), "[0.9, 1]", "[1, 1], the open valve"),
        (((0.0, 0.0),), (0,), "[0, 0]", "two points or more"),
        (((0.0, 0.0), (0.5, math.nan), (1.0, 1.0)), (1,), "[0.5, nan]", "from 0 to 1"),
        ((), (), "no points", "two points or more"),
    ],
)
def test_valve_table(table: Table, where: tuple[int, ...], found: str, expected: str) -> None:
    lineup = spoilt("valves", 1, characteristic=table)
    assert_fault(lineup, ("valve", 1, "characteristic", *where), found, expected, "pairs [opening, Kv/Kv100]")


def test_a_level_part_of_a_valve_table_is_allowed() -> None:
    table = ((0.0, 0.0), (0.2, 0.0), (0.9, 1.0), (1.0, 1.0))
    assert faults_of(spoilt("valves", 1, characteristic=table)) == []


# --- pump curves -------------------------------------------------------------------------------------

H = 1 / 3600


@pytest.mark.parametrize(
    ("curve", "where", "found", "expected", "remedy"),
    [
        ((), (), "0 point(s)", "two points or more", "test curve"),
        (((0.0, 85.0),), (), "1 point(s)", "the first at no flow", "test curve"),
        (((100 * H, 85.0), (500 * H, 60.0)), (0,), "at 100 m3/h", "at no flow", "shut-off head"),
        (((0.0, 85.0), (500 * H, 60.0), (400 * H, 50.0)), (2,), "400 m3/h after 500 m3/h", "rise", "order"),
        (
            ((0.0, 85.0), (0.05 * H, 84.0), (800 * H, 62.0)),
            (1,),
            "0.05 m3/h after 0 m3/h",
            "by 0.0001",
            "order",
        ),
        (((0.0, 85.0), (1e-300, 60.0)), (1,), "after 0 m3/h", "rise", "order"),
        (((0.0, 85.0), (400 * H, 88.0), (800 * H, 60.0)), (1,), "88 m at 400 m3/h", "working point", "heads"),
        (((0.0, 85.0), (math.nan, 60.0)), (1, 0), "nan m3/h", "from 0 m3/h", "flow of the pump"),
        (((0.0, 85.0), (0.2, -1.0)), (1, 1), "-1 m", "from 0 m", "height of the liquid"),
        (((0.0, math.inf), (0.2, 1.0)), (0, 1), "inf m", "5000 m", "height of the liquid"),
        (((0.0, 85.0), (400 * H, 85.0)), (), "does not fall", "more than one working point", "lower head"),
        (
            ((0.0, 85.0), (400 * H, 80.0), (800 * H, 62.0)),  # rises by 0.09 m at first
            (),
            "three points whose parabola does not fall everywhere: not at 0 m3/h",
            "more than one working point",
            "four points or more",
        ),
        (
            ((0.0, 85.0), (0.1, 60.0), (0.2, 59.0)),  # lowest at 37/240 m3/s, and up again
            (),
            "not at 555 m3/h",
            "more than one working point",
            "four points or more",
        ),
        (
            ((0.0, 85.0), (0.1, 60.0), (0.2, 40.0), (0.3, 39.9)),
            (),
            "goes on level from its last point, 1080 m3/h",
            "falls with the flow everywhere",
            "greater flow",
        ),
    ],
)
def test_pump_curve(curve: Table, where: tuple[int, ...], found: str, expected: str, remedy: str) -> None:
    lineup = spoilt("pumps", 0, curve=curve)
    assert_fault(lineup, ("pump", 0, "curve", *where), found, expected, remedy)


def test_a_flat_beginning_of_a_curve_of_many_points_is_allowed() -> None:
    curve = ((0.0, 85.0), (0.05, 85.0), (0.15, 78.0), (0.2, 62.0))
    assert faults_of(spoilt("pumps", 0, curve=curve)) == []


# --- tanks, supplies ---------------------------------------------------------------------------------


def test_a_shore_tank_below_its_outlet() -> None:
    lineup = spoilt("tanks", 0, level=2.0)
    assert_fault(lineup, ("tank", 0, "level"), "2 m, below the outlet", "from 3 m up", "datum")
    lineup = spoilt("tanks", 1, level=-6.0)  # a ship's tank below the pipe end is a free outfall
    assert faults_of(lineup) == []


def supplied(**changes: Any) -> LineUp:
    """Return a berth fed by a supply at the pump's suction in place of the shore tank."""
    values: dict[str, Any] = {"pressure": 6e5, "shut_off": 9e5} | changes
    supply = Supply(name="terminal", point="tank outlet", origin=("supply", 0), **values)
    lineup = berth()
    return lineup.with_(tanks=lineup.tanks[1:], supplies=(supply,))


def second_supply() -> Supply:
    return Supply(name="bunker", point="tank bottom", pressure=1e5, shut_off=1e5, origin=("supply", 1))


def by_supply(lineup: LineUp, at: str = "terminal") -> LineUp:
    rate = Rate(agreed=0.15, means="supply pressure", at=at, through="shore line")
    return lineup.with_(rate=rate)


def test_a_supply_with_and_without_a_pressure() -> None:
    assert faults_of(supplied()) == []
    assert faults_of(supplied(shut_off=None)) == []
    assert faults_of(supplied(shut_off=6e5)) == []
    fed_back = supplied().with_(tanks=(), supplies=(*supplied().supplies, second_supply()))
    assert faults_of(fed_back) == []  # two supplies: one feeds, one receives
    assert faults_of(by_supply(supplied(pressure=None))) == []
    path = ("supply", 0, "pressure")
    assert_fault(supplied(pressure=None), path, "no pressure", "at the agreed rate", 'at = "terminal"')
    lineup = supplied(pressure=None).with_(rate=None)
    assert_fault(lineup, path, "no pressure", "at the agreed rate", 'means = "supply pressure"')


@pytest.mark.parametrize(
    ("changes", "key", "found", "expected"),
    [
        ({"pressure": -2e5}, "pressure", "-2 bar(g)", "above -1.01325 bar(g)"),
        ({"shut_off": math.nan}, "shut_off_pressure", "nan bar(g)", "up to 1000 bar(g)"),
        (
            {"shut_off": 5e5},
            "shut_off_pressure",
            "5 bar(g)",
            "not below the pressure while loading, 6 bar(g)",
        ),
    ],
)
def test_supply_pressures(changes: dict[str, float], key: str, found: str, expected: str) -> None:
    assert_fault(supplied(**changes), ("supply", 0, key), found, expected, "give the pressure")


# --- rate --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("means", "at", "kind", "remedy"),
    [
        ("throttle", "pump 1", "valve or passage", '"stack"'),
        ("throttle", "control valv", "valve or passage", 'did you mean "control valve"?'),
        ("pump speed", "control valve", "pump", 'write one of: "pump 1"'),
        ("supply pressure", "tank 7", "supply", "there is no supply at all"),
    ],
)
def test_the_means_of_the_rate(means: str, at: str, kind: str, remedy: str) -> None:
    lineup = spoilt("rate", means=means, at=at)
    assert_fault(lineup, ("rate", "at"), f'"{at}"', f"the name of a {kind}", remedy)


def test_an_unknown_means_and_place() -> None:
    lineup = spoilt("rate", means="luck")
    assert_fault(lineup, ("rate", "means"), '"luck"', '"throttle", "pump speed", "supply pressure"', "one of")
    lineup = spoilt("rate", through="shore lin")
    assert_fault(lineup, ("rate", "through"), '"shore lin"', "pipe or other element", '"shore line"?')


def test_a_passage_may_throttle_and_a_pump_may_be_slowed() -> None:
    assert faults_of(spoilt("rate", at="stack")) == []
    assert faults_of(spoilt("rate", means="pump speed", at="pump 1")) == []
    assert faults_of(berth().with_(rate=None)) == []


def test_a_rate_against_the_lift() -> None:
    # 14 m level and 85 m at shut-off, together 99 m
    assert faults_of(spoilt("tanks", 1, level=98.9)) == []
    lineup = spoilt("tanks", 1, level=99.0)
    assert_fault(lineup, ("rate", "agreed"), "540 m3/h, with at most 99.0 m", "more than 99.0 m", "one datum")
    lineup = spoilt("tanks", 1, blanket=20e5)
    assert_fault(lineup, ("rate", "agreed"), "99.0 m", "276.6 m", "pump curve")
    lineup = spoilt("tanks", 0, blanket=20e5)  # 275.6 m more
    assert faults_of(spoilt("tanks", 1, lineup, level=370.0)) == []
    lineup = spoilt("tanks", 1, lineup, level=375.0)
    assert_fault(lineup, ("rate", "agreed"), "374.6 m", "375.0 m", "levels")
    lineup = supplied(pressure=-0.5e5, shut_off=None)  # 3 - 6.9 + 85 m
    assert faults_of(lineup) == []
    lineup = supplied(pressure=1e5, shut_off=None)  # 3 + 13.78 + 85 m
    lineup = lineup.with_(tanks=(replace(lineup.tanks[0], level=102.0),))
    assert_fault(lineup, ("rate", "agreed"), "101.8 m", "102.0 m", "levels")
    assert faults_of(by_supply(lineup)) == []  # the pressure rises to what is needed
    assert faults_of(lineup.with_(rate=None)) == []


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_no_name_is_a_crash(data: st.DataObject) -> None:
    lineup = berth()
    names = st.sampled_from(["jetty", "jety", "deck", "blank", "tank outlet", "", "pump 1", "zzz"])
    for group, keys in (
        ("pipes", ("start", "end", "name")),
        ("valves", ("start", "end")),
        ("tanks", ("point",)),
    ):
        for k in range(len(getattr(lineup, group))):
            if data.draw(st.booleans()):
                key = data.draw(st.sampled_from(keys))
                lineup = spoilt(group, k, lineup, **{key: data.draw(names)})
    assert all(fault.remedy and fault.path for fault in faults_of(lineup))


# --- anything goes in, faults come out ---------------------------------------------------------------

wild = st.sampled_from(
    [math.nan, math.inf, -math.inf, 0.0, -0.0, -1.0, 1e-320, 1e-12, 1e308, -1e308, 0.5, 3.0]
)


def numbers(lineup: LineUp) -> list[tuple[str, int | None, str]]:
    """List every place in the line-up that holds a plain number."""
    places: list[tuple[str, int | None, str]] = []
    for group in fields(lineup):
        value = getattr(lineup, group.name)
        things = list(enumerate(value)) if isinstance(value, tuple) else [(None, value)]
        for k, thing in things:
            if is_dataclass(thing):
                places += [
                    (group.name, k, f.name)
                    for f in fields(thing)
                    if isinstance(getattr(thing, f.name), float)
                ]
    return places


PLACES = numbers(scenario(rate=0.1))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), wild), min_size=1, max_size=4))
def test_no_number_is_a_crash(changes: list[tuple[tuple[str, int | None, str], float]]) -> None:
    lineup = scenario(rate=0.1)
    for (group, k, field), value in changes:
        lineup = spoilt(group, k, lineup, **{field: value})
    for fault in faults_of(lineup):
        assert fault.path
        assert fault.found
        assert fault.expected
        assert fault.remedy


pairs = st.lists(
    st.tuples(st.one_of(wild, st.floats(0.0, 1.0)), st.one_of(wild, st.floats(0.0, 100.0))), max_size=5
)


@settings(max_examples=100, deadline=None)
@given(curve=pairs, table=pairs, law=pairs)
def test_no_table_is_a_crash(curve: list[Any], table: list[Any], law: list[Any]) -> None:
    lineup = spoilt("pumps", 0, curve=tuple(curve))
    lineup = spoilt("valves", 0, lineup, characteristic=tuple(table))
    move = replace(lineup.scenarios[0].moves[0], law=tuple(law))
    lineup = scenario(lineup, moves=(move,))
    assert all(fault.remedy for fault in faults_of(lineup))

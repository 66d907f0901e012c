"""All that must hold between the parts of a line-up, a test each: place, words and remedy of a fault."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from support.lineups.berth import HEIGHTS, assert_fault, berth, spoilt

from surge.errors import CaseError
from surge.model.lineup import Limits, Point, Supply, Tank
from surge.model.validation import checked, faults_of


def test_a_good_line_up_passes_unchanged() -> None:
    lineup = berth()
    assert faults_of(lineup) == []
    assert checked(lineup) is lineup


def test_checked_raises_all_faults_in_order() -> None:
    lineup = spoilt("pipes", 0, length=-5.0)
    lineup = spoilt("liquid", None, lineup, density=math.nan, viscosity=-1.0)
    lineup = lineup.with_(pipes=(*lineup.pipes[:2], replace(lineup.pipes[2], diameter=0.0), lineup.pipes[3]))
    with pytest.raises(CaseError) as caught:
        checked(lineup)
    assert [fault.path for fault in caught.value.faults] == [
        ("liquid", "density"),
        ("liquid", "viscosity"),
        ("pipe", 0, "length"),
        ("pipe", 2, "inside_diameter"),
    ]


def test_list_positions_are_sorted_as_numbers() -> None:
    lineup = berth()
    bad = tuple(replace(lineup.pipes[2], name=f"p{k}", origin=("pipe", k), length=0.0) for k in (10, 2))
    paths = [fault.path for fault in faults_of(lineup.with_(pipes=(*lineup.pipes, *bad)))]
    numbers = [path[1] for path in paths if path[0] == "pipe"]
    assert numbers == sorted(numbers)


# --- single numbers ----------------------------------------------------------------------------------

NUMBERS: list[tuple[str, int | None, str, float, tuple[str | int, ...], str, str, str]] = [
    ("liquid", None, "density", 0.0, ("liquid", "density"), "0 kg/m3", "from 200 kg/m3 to 3000", "density"),
    ("liquid", None, "sound_speed", 1.18e6, ("liquid", "sound_speed"), "1.18e+06 m/s", "3000 m/s", "bulk"),
    ("liquid", None, "viscosity", 0.6, ("liquid", "viscosity"), "600000 mm2/s", "100000 mm2/s", "viscosity"),
    ("liquid", None, "viscosity", 1e-300, ("liquid", "viscosity"), "mm2/s", "from 0.01 mm2/s", "viscosity"),
    (
        "liquid",
        None,
        "vapour_pressure",
        -1.0,
        ("liquid", "vapour_pressure"),
        "bar(a)",
        "0 bar(a)",
        "absolute",
    ),
    ("points", 0, "elevation", 3000.0, ("points", "tank outlet", "elevation"), "3000 m", "2000 m", "datum"),
    ("points", 2, "limit", 0.0, ("points", "jetty", "limit"), "0 bar(g)", "above 0 bar(g)", "greatest"),
    ("pipes", 0, "length", -5.0, ("pipe", 0, "length"), "-5 m", "from 0.01 m to 1e+06 m", "along the pipe"),
    ("pipes", 0, "length", math.inf, ("pipe", 0, "length"), "inf m", "1e+06 m", "along the pipe"),
    ("pipes", 0, "diameter", 250.0, ("pipe", 0, "inside_diameter"), "250000 mm", "5000 mm", "diameter"),
    ("pipes", 0, "wave_speed", 10.0, ("pipe", 0, "wave_speed"), "10 m/s", "from 50 m/s", "modulus"),
    ("pipes", 0, "minor_loss", -1.0, ("pipe", 0, "minor_loss"), "-1", "from 0 to 1000", "loss factors"),
    ("pipes", 0, "friction_factor", -0.1, ("pipe", 0, "friction_factor"), "-0.1", "from 0", "Darcy"),
    ("pipes", 0, "roughness", -1e-5, ("pipe", 0, "roughness"), "-0.01 mm", "from 0 mm", "wall itself"),
    ("pipes", 0, "roughness", 0.05, ("pipe", 0, "roughness"), "50 mm", "to 12.5 mm", "0.01 to 1 mm"),
    ("pipes", 0, "roughness", math.nan, ("pipe", 0, "roughness"), "nan mm", "to 12.5 mm", "wall itself"),
    ("valves", 0, "kv", 0.0, ("valve", 0, "kv"), "0 m3/h", "from 0.01 m3/h", "maker"),
    ("valves", 1, "opening", 1.2, ("valve", 1, "opening"), "1.2", "to 1", "full travel"),
    ("passages", 0, "kv", -3.0, ("passage", 0, "kv"), "-3 m3/h", "from 0.01 m3/h", "water at 1 bar"),
    ("pumps", 0, "speed", 0.0, ("pump", 0, "speed"), "0", "from 0.05 to 1", "full speed"),
    ("tanks", 1, "level", -1e4, ("tank", 1, "level"), "-10000 m", "-2000 m", "datum"),
    ("tanks", 0, "blanket", -2e5, ("tank", 0, "blanket"), "-2 bar(g)", "above -1.01325 bar(g)", "above the"),
    ("rate", None, "agreed", 0.0, ("rate", "agreed"), "0 m3/h", "from 0.01 m3/h", "agreed"),
    ("rate", None, "agreed", 600.0, ("rate", "agreed"), "2.16e+06 m3/h", "50000 m3/h", "agreed"),
]


@pytest.mark.parametrize(
    ("field", "k", "key", "value", "path", "found", "expected", "remedy"),
    NUMBERS,
    ids=[f"{row[0]}-{row[2]}-{row[3]:g}" for row in NUMBERS],
)
def test_a_number_out_of_range(
    field: str,
    k: int | None,
    key: str,
    value: float,
    path: tuple[str | int, ...],
    found: str,
    expected: str,
    remedy: str,
) -> None:
    assert_fault(spoilt(field, k, None, **{key: value}), path, found, expected, remedy)


def test_a_liquid_without_viscosity_is_allowed() -> None:
    assert faults_of(spoilt("liquid", viscosity=0.0)) == []


@pytest.mark.parametrize(
    ("changes", "path", "found"),
    [
        ({"atmosphere": 1.0}, ("site", "barometer"), "1e-05 bar(a)"),
        ({"free_gas": 1.0}, ("calculation", "free_gas"), "1"),
        ({"free_gas": 0.0}, ("calculation", "free_gas"), "0"),
        ({"gas_content": 1.0}, ("calculation", "gas_content"), "1"),
        ({"gas_content": -0.01}, ("calculation", "gas_content"), "-0.01"),
        ({"gravity": 0.0}, ("site", "gravity"), "0 m/s2"),
        ({"pump_top_limit": -1e5}, ("limits", "cargo_pump_top"), "-1 bar(g)"),
    ],
)
def test_site_and_limits(changes: dict[str, Any], path: tuple[str, ...], found: str) -> None:
    faults = faults_of(berth().with_(**changes))
    assert (faults[0].path, faults[0].found) == (path, found)


@pytest.mark.parametrize(
    ("ends", "path", "found"),
    [
        ((1500.0, 800.0), ("pipe", 0, "length"), "from 1500 m to 800 m"),
        ((1000.0, 1000.0), ("pipe", 0, "length"), "from 1000 m to 1000 m"),
        ((1300.0, 1500.0), ("pipe", 0, "length"), "from 1300 m to 1500 m"),  # the length itself is 1200 m
        ((800.0, math.nan), ("pipe", 0, "length", 1), "nan m"),
    ],
)
def test_a_range_of_length(ends: tuple[float, float], path: tuple[str | int, ...], found: str) -> None:
    assert_fault(spoilt("pipes", 0, length_range=ends), path, found, "", "length")
    assert faults_of(spoilt("pipes", 0, length_range=(800.0, 1500.0))) == []


def test_a_pipe_shorter_than_its_height() -> None:
    lineup = spoilt("pipes", 3, length=2.0)
    assert_fault(lineup, ("hose", 0, "length"), "2 m, between points 3 m apart", "at least 3 m", "elevations")
    lineup = spoilt("pipes", 3, length_range=(2.0, 20.0))
    assert_fault(lineup, ("hose", 0, "length"), "2 m, between points 3 m apart", "at least 3 m", '"manifold"')
    assert faults_of(spoilt("pipes", 3, length=3.0)) == []  # straight up
    lineup = spoilt("points", 3, elevation=1e9)  # one slip, one fault
    assert_fault(lineup, ("points", "hose inlet", "elevation"), "1e+09 m", "2000 m", "datum")


def test_no_wave_runs_faster_than_sound() -> None:
    path = ("pipe", 0, "wave_speed")
    assert_fault(spoilt("pipes", 0, wave_speed=1250.0), path, "1250 m/s", "1180 m/s", "different liquids")
    assert faults_of(spoilt("pipes", 0, wave_speed=1190.0)) == []  # given: tables differ a little
    computed = spoilt("pipes", 0, wave_speed=1180.0, wave_speed_source="from the wall")
    assert faults_of(computed) == []  # a rigid wall
    lineup = spoilt("liquid", sound_speed=0.0)  # one slip, one fault
    assert_fault(lineup, ("liquid", "sound_speed"), "0 m/s", "from 300 m/s", "bulk modulus")
    lineup = spoilt("pipes", 0, wave_speed=1190.0, wave_speed_source="from the wall")
    assert_fault(lineup, path, "1190 m/s", "not above the speed of sound", "sound speed")


# --- limits ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limits", "key", "found", "expected", "remedy"),
    [
        ({"rating": -1e5}, "rating", "-1 bar(g)", "above 0 bar(g)", "nameplate"),
        ({"rating": 10e5, "test_pressure": 9e5}, "test_pressure", "9 bar(g)", "rating, 10 bar(g)", "tested"),
        ({"test_pressure": math.inf}, "test_pressure", "inf", "1000 bar(g)", "last test"),
        ({"lowest": 0.1e5}, "lowest_pressure", "0.1 bar(g)", "to 0 bar(g)", "no vacuum"),
        ({"lowest": -2e5}, "lowest_pressure", "-2 bar(g)", "from -1.01325 bar(g)", "negative gauge"),
        ({"allowance": 1.5}, "allowance", "1.5", "to 1.33", "code"),
        ({"allowance": 0.1}, "allowance", "0.1", "from 0.5", "1.0"),
        ({"allowance": math.nan}, "allowance", "nan", "from 0.5", "1.0"),
    ],
)
def test_limits_of_an_element(
    limits: dict[str, float], key: str, found: str, expected: str, remedy: str
) -> None:
    for field, k in (("pipes", 0), ("valves", 1), ("passages", 0), ("pumps", 0)):
        lineup = spoilt(field, k, limits=Limits(**limits))  # type: ignore[arg-type]
        path = (*getattr(lineup, field)[k].origin, key)
        assert_fault(lineup, path, found, expected, remedy)


@pytest.mark.parametrize(
    ("k", "changes", "what"),
    [(3, {}, "a hose"), (0, {"kind": "arm"}, "an arm"), (0, {"brittle": True}, "a brittle wall")],
)
def test_no_allowance_above_one_for_some(k: int, changes: dict[str, Any], what: str) -> None:
    lineup = spoilt("pipes", k, limits=Limits(rating=10e5, allowance=1.2), **changes)
    path = (*lineup.pipes[k].origin, "allowance")
    assert_fault(lineup, path, f"1.2 for {what}", "at most 1", "write 1.0")
    assert faults_of(spoilt("pipes", k, limits=Limits(rating=10e5), **changes)) == []


def test_values_at_the_edge_are_allowed() -> None:
    assert faults_of(spoilt("pipes", 0, limits=Limits(rating=10e5, test_pressure=10e5))) == []
    assert faults_of(spoilt("pipes", 0, roughness=0.0)) == []
    assert faults_of(spoilt("pipes", 0, roughness=0.05 * 0.25)) == []
    assert faults_of(spoilt("pipes", 0, length_range=(1200.0, 1500.0))) == []
    assert faults_of(spoilt("tanks", 0, level=3.0)) == []  # a shore tank drawn down to its outlet


def test_an_allowance_for_a_steel_line_is_allowed() -> None:
    assert faults_of(spoilt("pipes", 0, limits=Limits(rating=10e5, allowance=1.33))) == []


# --- names, points, connection -----------------------------------------------------------------------


def test_names_are_unique() -> None:
    lineup = spoilt("tanks", 1, name="shore line")
    assert_fault(lineup, ("tank", 1, "name"), '"shore line" for a second', "of its own", "rename")
    lineup = berth().with_(points=(*berth().points, berth().points[0]))
    assert_fault(lineup, ("points", "tank outlet", "name"), '"tank outlet" for a second', "its own", "rename")
    lineup = spoilt("tanks", 1, name="jetty")  # a point and a tank may share a name
    assert faults_of(lineup) == []
    lineup = spoilt("pipes", 2, name="  ")
    assert_fault(lineup, ("pipe", 2, "name"), "no name", "a name", "write a name")


def test_a_misspelt_point_is_one_fault() -> None:
    lineup = spoilt("pipes", 0, end="jety")
    assert_fault(lineup, ("pipe", 0, "to"), '"jety"', "name of a point", 'did you mean "jetty"?')
    lineup = spoilt("tanks", 0, point="tank outlett")
    assert_fault(
        lineup, ("tank", 0, "at"), '"tank outlett"', "name of a point", 'did you mean "tank outlet"?'
    )


def test_an_unknown_point_lists_those_there_are() -> None:
    faults = faults_of(spoilt("pipes", 2, end="xyzzy"))
    assert faults[0].path == ("pipe", 2, "to")
    assert all(f'"{name}"' in faults[0].remedy for name in HEIGHTS)
    assert [fault.path for fault in faults[1:]] == [("points", "blank", "closed")]


def test_an_element_joins_two_points() -> None:
    faults = faults_of(spoilt("pipes", 2, start="blank"))
    assert faults[0].path == ("pipe", 2, "to")
    assert '"blank", which is also where it starts' in faults[0].found
    assert "two points" in faults[0].remedy


def test_an_unconnected_point() -> None:
    lineup = berth().with_(points=(*berth().points, Point(name="x", elevation=0.0, origin=("points", "x"))))
    assert_fault(lineup, ("points", "x"), "nothing is joined", "two things", "join the element")
    lineup = spoilt("points", 8, closed=False)
    assert_fault(lineup, ("points", "blank"), "one thing only", "two things", "closed = true")


def test_a_closed_end_is_an_end() -> None:
    lineup = spoilt("points", 2, closed=True)
    assert_fault(lineup, ("points", "jetty", "closed"), "2 thing(s)", "one element", "leave closed out")
    tank = Tank(name="slop", point="blank", side="ship", level=10.0, origin=("tank", 2))
    lineup = berth().with_(tanks=(*berth().tanks, tank))
    assert_fault(lineup, ("points", "blank", "closed"), "2 thing(s)", "no tank", "another point")
    unused = Point(name="x", elevation=0.0, closed=True, origin=("points", "x"))
    lineup = berth().with_(points=(*berth().points, unused))
    assert_fault(lineup, ("points", "x", "closed"), "0 thing(s)", "one element", "leave closed out")


def test_one_tank_at_a_point() -> None:
    tank = Tank(name="tank 8", point="tank outlet", side="shore", level=9.0, origin=("tank", 2))
    lineup = berth().with_(tanks=(*berth().tanks, tank))
    assert_fault(lineup, ("tank", 2, "at"), 'where "tank 7" is already', "one tank or supply", "of its own")
    supply = Supply(name="s", point="tank outlet", pressure=5e5, shut_off=7e5, origin=("supply", 0))
    lineup = berth().with_(supplies=(supply,))
    assert_fault(lineup, ("supply", 0, "at"), 'where "tank 7" is already', "one tank or supply", "of its own")


def test_an_island_without_a_pressure() -> None:
    lineup = berth()
    points = [Point(name=n, elevation=0.0, closed=True, origin=("points", n)) for n in ("u", "v")]
    loose = replace(lineup.pipes[2], name="loose", start="u", end="v", origin=("pipe", 9))
    lineup = lineup.with_(points=(*lineup.points, *points), pipes=(*lineup.pipes, loose))
    assert_fault(lineup, ("points", "u"), '"u", "v"', "a tank or a supply in every part", "join this part")


def test_a_shut_valve_makes_no_island_here() -> None:
    lineup = spoilt("valves", 1, opening=0.0)
    opened = replace(lineup.scenarios[0], openings=((lineup.valves[1].name, 1.0),))  # what it closes
    assert faults_of(lineup.with_(scenarios=(opened,))) == []


def test_what_every_line_up_needs() -> None:
    lineup = berth()
    none = [fault.path for fault in faults_of(lineup.with_(pipes=()))]
    assert ("pipe",) in none
    lineup = spoilt("tanks", 0, side="ship")
    assert_fault(lineup, ("tank",), "no shore tank or supply", "a shore tank", 'side = "shore"')
    lineup = berth().with_(tanks=berth().tanks[:1])
    faults = [fault for fault in faults_of(lineup) if fault.path == ("tank",)]
    assert 'side = "ship"' in faults[0].remedy
    tank = Tank(name="tank 8", point="tank bottom", side="shore", level=1.0, origin=("tank", 1))
    assert faults_of(lineup.with_(tanks=(*lineup.tanks, tank))) == []  # from one shore tank into another


@pytest.mark.parametrize(
    ("field", "k", "key", "choice"),
    [
        ("tanks", 1, "side", '"ship"'),
        ("pipes", 2, "kind", '"hose"'),
        ("passages", 0, "kind", '"cargo pump"'),
    ],
)
def test_a_word_out_of_a_list(field: str, k: int, key: str, choice: str) -> None:
    lineup = spoilt(field, k, None, **{key: "boat"})
    fault = next(f for f in faults_of(lineup) if f.path[-1] == key)
    assert fault.found == '"boat"'
    assert choice in fault.expected

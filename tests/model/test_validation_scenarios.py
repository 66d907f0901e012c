"""What must hold of scenarios: everything that moves exists, and can move in that way."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from support.lineups.berth import assert_fault, berth, close, scenario, spoilt, stop

from surge.model.lineup import LineUp, Table
from surge.model.validation import faults_of

EVENT = ("scenario", 0, "event", 0)
OPENING: Table = ((0.0, 0.0), (10.0, 1.0))


def free(**changes: Any) -> LineUp:
    """Return the berth without a throttle, so that every valve's opening is known."""
    return scenario(berth().with_(rate=None), **changes)


@pytest.mark.parametrize(
    ("changes", "path", "found", "expected", "remedy"),
    [
        ({"moves": ()}, ("event",), "nothing happens", "an event", "[[scenario.event]]"),
        ({"rate": -0.1}, ("rate",), "-360 m3/h", "from 0.01 m3/h", "agreed"),
        ({"levels": (("no. 3 prt", 5.0),)}, ("levels", "no. 3 prt"), "", "a tank", '"no. 3 port"?'),
        ({"levels": (("tank 7", 2.0),)}, ("levels", "tank 7"), "2 m, below the outlet", "from 3 m", "datum"),
        ({"levels": (("tank 7", math.nan),)}, ("levels", "tank 7"), "nan m", "2000 m", "surface"),
        (
            {"openings": (("manifold valv", 0.5),)},
            ("openings", "manifold valv"),
            "",
            "a valve",
            "did you mean",
        ),
        ({"openings": (("manifold valve", 5.0),)}, ("openings", "manifold valve"), "5", "to 1", "travel"),
        ({"shut_at_start": ("x",)}, ("shut_at_start", 0), '"x"', "a valve", "write one of"),
        ({"trapped": (("dek", 0.0),)}, ("trapped_pressure", "dek"), '"dek"', "a point", '"deck"?'),
        ({"trapped": (("deck", -2e5),)}, ("trapped_pressure", "deck"), "-2 bar(g)", "above -1.0", "shut in"),
        ({"timing": (("detection", -2.0),)}, ("shutdown", "detection"), "-2 s", "from 0 s", "time"),
    ],
)
def test_the_state_of_a_scenario(
    changes: dict[str, Any], path: tuple[str | int, ...], found: str, expected: str, remedy: str
) -> None:
    assert_fault(scenario(**changes), ("scenario", 0, *path), found, expected, remedy)


def test_a_scenario_that_is_right() -> None:
    lineup = scenario(
        rate=0.1,
        levels=(("no. 3 port", 9.5),),
        openings=(("manifold valve", 0.5),),
        trapped=(("deck", 0.0),),
        pump_moves=(stop(),),
        timing=(("detection", 2.0), ("signal", 1.0)),
    )
    assert faults_of(lineup) == []


@pytest.mark.parametrize(
    ("changes", "found", "remedy"),
    [
        ({"shut_at_start": ("manifold valve",)}, "is shut already: nothing moves", "write open, or take"),
        ({"openings": (("manifold valve", 0.0),)}, "is shut already: nothing moves", "write open, or take"),
        ({"moves": (close("manifold valve", law=OPENING),)}, "stands there already", "write close, or put"),
    ],
)
def test_a_scenario_in_which_all_stands_where_it_would_be_led_shows_nothing(
    changes: dict[str, Any], found: str, remedy: str
) -> None:
    """It was told as kept: nothing had moved."""
    lineup = free(**{"moves": (close("manifold valve"),), **changes})
    assert_fault(lineup, EVENT, found, "from where the valve stands", remedy)
    other = replace(lineup.scenarios[0], pump_moves=(stop(),))
    assert faults_of(lineup.with_(scenarios=(other,))) == []


def test_a_valve_that_is_shut_may_be_closed_beside_what_moves() -> None:
    moves = (close("manifold valve"), close("control valve"))
    lineup = free(moves=moves, shut_at_start=("control valve",))
    assert faults_of(lineup) == []
    assert faults_of(free(moves=moves[::-1], shut_at_start=("control valve",))) == []


def test_a_rate_of_a_scenario_needs_a_means() -> None:
    path = ("scenario", 0, "rate")
    assert_fault(free(rate=0.1), path, "360 m3/h, but the case has no [rate]", "means", "add [rate]")


def test_scenario_names_are_unique() -> None:
    lineup = berth()
    second = replace(lineup.scenarios[0], origin=("scenario", 1))
    lineup = lineup.with_(scenarios=(*lineup.scenarios, second))
    assert_fault(lineup, ("scenario", 1, "name"), '"topping off" for a second', "of its own", "rename")


def test_what_moves_exists() -> None:
    lineup = scenario(moves=(close("manifold vlave"),))
    assert_fault(lineup, (*EVENT, "valve"), '"manifold vlave"', "a valve", 'did you mean "manifold valve"?')
    lineup = scenario(moves=(), pump_moves=(stop(pump="manifold valve"),))
    assert_fault(lineup, (*EVENT, "pump"), '"manifold valve"', "a pump", 'write one of: "pump 1"')


@pytest.mark.parametrize("at", [-1.0, 3601.0, math.nan, math.inf])
def test_times_of_events(at: float) -> None:
    lineup = scenario(moves=(close("manifold valve", at=at),))
    assert_fault(lineup, (*EVENT, "at"), f"{at:g} s", "from 0 s to 3600 s", "beginning of the scenario")
    lineup = scenario(moves=(), pump_moves=(stop(at=at),))
    assert_fault(lineup, (*EVENT, "at"), f"{at:g} s", "from 0 s to 3600 s", "beginning of the scenario")


@pytest.mark.parametrize(
    ("law", "where", "found", "expected", "remedy"),
    [
        ((), (), "less than two points", "two points or more", "beginning of the movement"),
        (((0.0, 1.0),), (), "less than two points", "two points or more", "beginning of the movement"),
        (
            ((1.0, 1.0), (5.0, 0.0)),
            (),
            "a first time of 1 s",
            "the first at 0 s",
            "beginning of the movement",
        ),
        (((0.0, 1.0), (9.0, 0.5), (8.0, 0.0)), (2, 0), "8 s after 9 s", "rising by 0.001 s", "order of time"),
        (((0.0, 1.0), (1e-9, 0.0)), (1, 0), "1e-09 s after 0 s", "twice is a step", "order of time"),
        (((0.0, 1.0), (9000.0, 0.0)), (1, 0), "9000 s", "from 0 s to 3600 s", "time"),
        (((0.0, 1.0), (9.0, -0.1)), (1, 1), "-0.1", "from 0 to 1", ""),
        (((0.0, 1.0), (9.0, math.nan)), (1, 1), "nan", "from 0 to 1", ""),
    ],
)
def test_laws(law: Table, where: tuple[int, ...], found: str, expected: str, remedy: str) -> None:
    lineup = scenario(moves=(close("manifold valve", law=law),))
    assert_fault(lineup, (*EVENT, "table", *where), found, expected, remedy)
    lineup = scenario(moves=(), pump_moves=(stop(law=law),))
    assert_fault(lineup, (*EVENT, "table", *where), found, expected, remedy)


def test_a_step_is_a_law() -> None:
    assert faults_of(scenario(moves=(close("manifold valve", law=((0.0, 1.0), (0.0, 0.0))),))) == []
    short: Table = ((0.0, 1.0), (50.0, 0.5), (50.0005, 0.0))
    lineup = scenario(moves=(close("manifold valve", law=short),))
    assert_fault(
        lineup, (*EVENT, "table", 2, 0), "50.0005 s after 50 s", "rising by 0.001 s", "order of time"
    )


# --- joining -----------------------------------------------------------------------------------------


def test_a_valve_joins_its_law() -> None:
    assert faults_of(spoilt("valves", 1, opening=0.4)) == []  # on the way of a stroke from 1 to 0
    part: Table = ((0.0, 0.8), (10.0, 0.0))
    lineup = scenario(moves=(close("manifold valve", law=part),))
    assert_fault(lineup, (*EVENT, "table"), "from 0.8 to 0", "passes the opening", "begin the table at that")
    assert faults_of(spoilt("valves", 1, lineup, opening=0.8)) == []
    assert faults_of(scenario(lineup, openings=(("manifold valve", 0.7),))) == []


def test_a_law_that_turns_starts_where_the_valve_is() -> None:
    turns: Table = ((0.0, 1.0), (5.0, 0.2), (9.0, 0.6))
    lineup = scenario(moves=(close("manifold valve", law=turns),))
    assert faults_of(lineup) == []
    lineup = spoilt("valves", 1, lineup, opening=0.5)
    assert_fault(lineup, (*EVENT, "table"), "an opening of 0.5", "starts at the opening", "begin the table")


def test_the_throttle_has_the_opening_that_the_rate_gives() -> None:
    assert faults_of(scenario(moves=(close("control valve"),))) == []
    turns = (close("control valve", law=((0.0, 1.0), (5.0, 0.2), (9.0, 0.6))),)
    lineup = scenario(moves=turns)
    assert_fault(lineup, (*EVENT, "table"), "that the rate decides", "starts at the opening", "only closes")
    assert faults_of(free(moves=turns)) == []


def test_a_valve_shut_at_the_start_opens() -> None:
    opens = close("control valve", law=OPENING)
    assert faults_of(scenario(moves=(opens,), shut_at_start=("control valve",))) == []
    part = close("control valve", law=((0.0, 0.5), (10.0, 1.0)))
    lineup = scenario(moves=(part,), shut_at_start=("control valve",))
    assert_fault(lineup, (*EVENT, "table"), "an opening of 0", "passes the opening", "begin the table")


def test_a_valve_moves_once_at_a_time() -> None:
    first = close("manifold valve", k=0, at=5.0)
    late = close("manifold valve", k=1, at=25.0, law=OPENING)
    early = replace(late, start=24.0)
    assert faults_of(scenario(moves=(late, first))) == []
    path = ("scenario", 0, "event", 1, "at")
    for order in ((first, early), (early, first)):
        assert_fault(scenario(moves=order), path, "again at 24 s", "not before 25 s", "later")
    # from half open the stroke of 20 s takes 10 s
    assert (
        faults_of(spoilt("valves", 1, scenario(moves=(first, replace(late, start=15.0))), opening=0.5)) == []
    )
    lineup = spoilt("valves", 1, scenario(moves=(first, replace(late, start=14.0))), opening=0.5)
    assert_fault(lineup, path, "again at 14 s", "not before 15 s", "one table")


def test_a_later_movement_starts_where_the_first_has_ended() -> None:
    half = close("manifold valve", law=((0.0, 1.0), (2.0, 0.9), (4.0, 0.5)))
    soon = close("manifold valve", k=1, at=8.5)
    lineup = scenario(moves=(half, soon))
    assert_fault(lineup, ("scenario", 0, "event", 1, "at"), "again at 8.5 s", "not before 9 s", "later")
    rest = close("manifold valve", k=1, at=20.0, law=((0.0, 0.4), (4.0, 0.0)))
    lineup = scenario(moves=(half, rest))
    assert_fault(
        lineup, ("scenario", 0, "event", 1, "table"), "opening of 0.5", "passes the opening", "begin"
    )


def test_a_pump_moves_once_at_a_time_and_from_where_it_was() -> None:
    start: Table = ((0.0, 0.0), (6.0, 1.0))
    path = ("scenario", 0, "event", 1)
    ok = (stop(), stop(k=1, at=13.0, law=start))
    assert faults_of(scenario(pump_moves=ok)) == []
    half = (stop(law=((0.0, 1.0), (4.0, 0.9), (8.0, 0.5))), stop(k=1, at=13.0, law=((0.0, 0.5), (4.0, 0.0))))
    assert faults_of(scenario(pump_moves=half)) == []
    lineup = scenario(pump_moves=(half[0], replace(half[1], start=12.9)))
    assert_fault(lineup, (*path, "at"), "again at 12.9 s", "not before 13 s", "later")
    lineup = scenario(pump_moves=(stop(), stop(k=1, at=12.0, law=start)))
    assert_fault(lineup, (*path, "at"), '"pump 1" is to move again at 12 s', "not before 13 s", "later")
    lineup = scenario(pump_moves=(stop(), stop(k=1, at=20.0)))
    assert_fault(lineup, (*path, "table"), "from 1 of its speed, left at 0", "where the one before", "order")


def test_a_step_of_a_shutdown_stands_on_its_own_side() -> None:
    def step(side: str) -> LineUp:
        return scenario(berth(), moves=(replace(close("manifold valve"), what="shutdown", side=side),))

    assert not [f for f in faults_of(step("ship")) if f.path[-1] == "side"]
    assert_fault(
        step("shore"), (*close("manifold valve").origin, "side"), '"shore"', 'side = "ship"', "from and to"
    )

"""Valves that one order moves share a stroke; the set of all is searched in its own right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.lineups.one_valve import line

from surge.errors import CaseError
from surge.model.lineup import LineUp, Point, Scenario, Tank, Valve, ValveMove
from surge.model.validation import checked
from surge.reports.window import beside, heads, window_lines
from surge.reports.words import Display
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN
from surge.search.chart import chart_of
from surge.search.joint import SHORTEST, with_all_strokes
from surge.search.movers import held_beside, moved_together
from surge.search.window import windows_of
from surge.units import ShowUnits

NO_RULES = RuleBook(rules=())


def arms(count: int, *, rating: float = 7e5, apart: float = 0.0) -> LineUp:
    """A line that ends in valves side by side, each into a tank of its own; all shut in some 20 s."""
    base = line(rating=rating)
    kv = base.valves[0].kv / count
    points = [Point(name=f"arm {k}", elevation=0.0) for k in range(count)]
    valves = [
        replace(base.valves[0], name=f"valve {k}", end=f"arm {k}", kv=kv, adjustable=True)
        for k in range(count)
    ]
    tanks = [Tank(name=f"ship {k}", point=f"arm {k}", side="ship", level=10.0) for k in range(count)]
    moves = [
        ValveMove(valve=f"valve {k}", start=1.0 + apart * k, law=((0.0, 1.0), (20.0 + k, 0.0)))
        for k in range(count)
    ]
    return base.with_(
        points=(*(p for p in base.points if p.name != "out"), *points),
        valves=tuple(valves),
        tanks=(base.tanks[0], *tanks),
        scenarios=(Scenario(name="closing", moves=tuple(moves)),),
    )


def verdict(lineup: LineUp, strokes: dict[str, float]) -> str:
    return assess(with_all_strokes(lineup, strokes), book=NO_RULES).verdict


@pytest.mark.parametrize("count", [2, 3])
def test_the_common_stroke_against_full_runs(count: int) -> None:
    """Each alone may be far faster while its twins take 20 s: only the common stroke is an agreement."""
    lineup = arms(count)
    names = [v.name for v in lineup.valves]
    got = windows_of(lineup, book=NO_RULES, longest=40.0)
    shortest = {v: got.bounds(v)[0] for v in names}
    (stroke,) = set(shortest.values())
    assert stroke is not None
    assert got.together is not None
    assert (got.verdict, got.together.way) == (WITHIN, SHORTEST)
    raster = np.geomspace(stroke, 40.0, 9)
    assert {verdict(lineup, dict.fromkeys(names, float(s))) for s in raster} == {WITHIN}
    assert verdict(lineup, dict.fromkeys(names, 0.9 * stroke)) != WITHIN
    for valve in names:
        (alone,) = got.apart[valve]
        assert alone.held == {v: stroke for v in names if v != valve}
        assert alone.shortest is not None
        assert alone.shortest <= stroke


def test_which_valves_one_order_moves() -> None:
    together = arms(2)
    scenario = together.scenarios[0]
    names = [v.name for v in together.valves]
    assert moved_together(together, scenario, names[1], names) == tuple(names)
    assert moved_together(together, scenario, names[1], [names[1]]) == (names[1],)
    assert held_beside(together, scenario, [names[1]]) == {names[0]: 20.0}
    later = arms(2, apart=2.0)
    assert moved_together(later, later.scenarios[0], names[0], names) == (names[0],)
    grouped = later.with_(valves=tuple(replace(v, group="arms") for v in later.valves))
    assert moved_together(grouped, later.scenarios[0], names[0], names) == tuple(names)
    sides = tuple(
        replace(m, what="shutdown", side=side)
        for m, side in zip(scenario.moves, ("shore", "ship"), strict=True)
    )
    assert moved_together(together, replace(scenario, moves=sides), names[0], names) == (names[0],)


def test_what_was_held_is_told_in_words_and_figures() -> None:
    lineup = arms(2, apart=3.0)
    got = windows_of(lineup, book=NO_RULES, longest=40.0)
    shown = " ".join(" ".join(window_lines(got, lineup, Display(units=ShowUnits(), density=1000.0))).split())
    assert 'with "valve 1" held at 21 s' in shown
    assert 'with "valve 0" held at 20 s' in shown
    chart = (
        chart_of(lineup.with_(rate=None) if lineup.rate else lineup, book=NO_RULES) if lineup.rate else None
    )
    assert chart is None
    assert beside(("a", "b"), {"c": 3.0}) == ' ("a" and "b", both with one stroke; with "c" held at 3 s)'


def test_twins_stand_once() -> None:
    got = windows_of(arms(2), book=NO_RULES, longest=40.0)
    (head,) = heads(got.by_valve)
    assert head[0] == ("valve 0", "valve 1")


def test_a_set_that_needs_more_is_told_by_its_shortest_direction() -> None:
    """The two shortest are too fast together: the set with the least in all is found."""
    lineup = arms(2, apart=0.4)
    got = windows_of(lineup, book=NO_RULES, longest=40.0)
    shortest = {v: got.bounds(v)[0] or 0.0 for v in got.by_valve}
    assert verdict(lineup, shortest) != WITHIN
    assert got.together is not None
    assert got.together.verdict == WITHIN
    assert got.together.way != SHORTEST
    strokes = got.joint_strokes
    assert verdict(lineup, strokes) == WITHIN
    # No set on a raster of full runs is safe with less in all, by more than the raster's spacing.
    total = sum(strokes.values())
    for a in np.geomspace(shortest["valve 0"], 40.0, 6):
        for b in np.geomspace(shortest["valve 1"], 40.0, 6):
            if a + b < 0.8 * total and (a == b or min(a, b) in shortest.values()):
                assert verdict(lineup, {"valve 0": float(a), "valve 1": float(b)}) != WITHIN


def test_a_group_of_a_valve_that_does_not_move_or_is_alone_is_refused() -> None:
    lineup = arms(2)
    idle = Valve(
        name="idle", start="mid", end="end", kv=500.0, characteristic=((0.0, 0.0), (1.0, 1.0)), group="arms"
    )
    first = replace(lineup.valves[0], group="arms")
    with pytest.raises(CaseError, match="closes in no scenario"):
        checked(lineup.with_(valves=(first, lineup.valves[1], idle)))
    with pytest.raises(CaseError, match="no other valve has group"):
        checked(lineup.with_(valves=(first, lineup.valves[1])))

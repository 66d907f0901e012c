"""How fast a valve may open: against full runs, in words and figures; orders of two valves that open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.one_valve import line
from support.oracles import independent_solver as slow

from surge.errors import CaseError
from surge.model.lineup import LineUp, Point, Scenario, ValveMove
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN
from surge.search.joint import with_all_strokes
from surge.search.orders import order_question
from surge.search.window import windows_of

NO_RULES = RuleBook(rules=())


def opening(*, count: int = 1) -> LineUp:
    """Valves that open into shut pipes at 0 bar(g): what fills them overshoots the static head."""
    lineup = line(velocity=0.5, rating=3.4e5)
    valve, pipe = lineup.valves[0], lineup.pipes[1]
    valves, pipes, points, moves = [], [], [], []
    for k in range(count):
        points += [
            Point(name=f"shut {k}", elevation=0.0),
            Point(name=f"blind {k}", elevation=0.0, closed=True),
        ]
        valves.append(replace(valve, name=f"branch valve {k}", start="mid", end=f"shut {k}"))
        pipes.append(
            replace(pipe, name=f"branch {k}", start=f"shut {k}", end=f"blind {k}", length=200.0 + 50.0 * k)
        )
        moves.append(ValveMove(valve=f"branch valve {k}", start=1.0 + 8.0 * k, law=((0.0, 0.0), (6.0, 1.0))))
    scenario = Scenario(
        name="opening",
        shut_at_start=tuple(v.name for v in valves),
        trapped=tuple((f"shut {k}", 0.0) for k in range(count)),
        moves=tuple(moves),
    )
    return lineup.with_(
        points=(*lineup.points, *points),
        pipes=(*lineup.pipes, *pipes),
        valves=(valve, *valves),
        scenarios=(scenario,),
    )


def verdict(lineup: LineUp, strokes: dict[str, float]) -> str:
    return assess(with_all_strokes(lineup, strokes, opens=True), book=NO_RULES).verdict


def test_the_shortest_opening_stroke_against_full_runs() -> None:
    lineup = opening()
    got = windows_of(lineup, book=NO_RULES, longest=30.0)
    assert got.by_valve == {}
    assert got.verdict == WITHIN
    shortest = got.bounds_to_open("branch valve 0")
    assert shortest is not None
    assert shortest > 1.0
    raster = np.geomspace(shortest, 30.0, 8)
    assert {verdict(lineup, {"branch valve 0": float(s)}) for s in raster} == {WITHIN}
    assert verdict(lineup, {"branch valve 0": 0.85 * shortest}) != WITHIN


def peak_by_the_independent_solver(lineup: LineUp, stroke: float) -> float:
    """Highest pressure anywhere [Pa gauge] where the valve opens from 1 s on in ``stroke`` [s]."""
    branch = ("shut 0", "blind 0")
    plain = lineup.with_(
        pipes=tuple(p for p in lineup.pipes if p.name != "branch 0"),
        valves=lineup.valves[:1],
        points=tuple(p for p in lineup.points if p.name not in branch),
        scenarios=(),
    )
    at_rest = slow.steady(plain)
    at_rest.head.update(dict.fromkeys(branch, 0.0))
    at_rest.flow.update({"branch valve 0": 0.0, "branch 0": 0.0})

    def opening_at(time: float) -> float:
        return float(np.clip((time - 1.0) / stroke, 0.0, 1.0))

    march = slow.March(lineup, at_rest, cells=150, opening={"branch valve 0": opening_at})
    high, _ = march.run(20.0)
    return float(high.max()) * lineup.liquid.density * lineup.gravity  # every point is at level 0


@pytest.mark.slow
def test_the_shortest_opening_stroke_against_the_independent_solver() -> None:
    """It smears by some tenths of a percent of a rise of 3.4 bar; 15 % of the stroke make 1.4 %."""
    lineup = opening()
    shortest = windows_of(lineup, book=NO_RULES, longest=30.0).bounds_to_open("branch valve 0")
    assert shortest is not None
    assert peak_by_the_independent_solver(lineup, shortest) <= 1.002 * 3.4e5
    assert peak_by_the_independent_solver(lineup, 0.85 * shortest) > 3.4e5


def test_two_valves_that_open_are_run_together_and_in_both_orders() -> None:
    lineup = opening(count=2)
    got = windows_of(lineup, book=NO_RULES, longest=30.0)
    assert set(got.to_open) == {"branch valve 0", "branch valve 1"}
    assert got.opened_together is not None
    assert got.opened_together.verdict == verdict(lineup, got.opened_together.strokes)
    asked = order_question(lineup, lineup.scenarios[0])
    assert asked is not None
    assert asked.kind == "opening"
    assert {a.order.name for a in asked.answers} == {"as in the case", "reversed", "all together"}


def test_the_restart_has_its_window(demos: Demos) -> None:
    made = demos["restart-into-a-shut-deck-line"].windows
    assert made.exit_code == 0
    assert '"manifold valve", opening: open no faster than' in made.text(details=True)
    data = made.document()
    (one,) = data["to_open"]
    assert one["valve"] == "manifold valve"
    assert {s["scenario"] for s in one["scenarios"]} == {"wrong order, quick", "right order, slow"}


def test_an_adjustable_valve_that_never_moves_is_named_and_asked_for_refused() -> None:
    lineup = opening(count=2)
    still = replace(lineup.scenarios[0], moves=lineup.scenarios[0].moves[:1])
    marked = tuple(replace(v, adjustable=v.name != "valve") for v in lineup.valves)
    lineup = lineup.with_(scenarios=(still,), valves=marked)
    assert windows_of(lineup, book=NO_RULES, longest=10.0).idle == ("branch valve 1",)
    with pytest.raises(CaseError, match="closes or opens in no scenario"):
        windows_of(lineup, book=NO_RULES, valves=["branch valve 1"])

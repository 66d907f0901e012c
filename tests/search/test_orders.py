"""Orders of shutting: which there are, by closed forms of their times, and what runs of them give."""

from __future__ import annotations

import functools
import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.demos import Demos
from support.inputs.case_text import case as starter
from support.lineups.one_line import closing, line

from surge.model.lineup import Limits, LineUp, PumpMove, Scenario, ValveMove
from surge.model.stroke import with_strokes
from surge.reports.document import as_json
from surge.reports.orders import order_lines
from surge.reports.orders_json import order_document
from surge.reports.words import Display
from surge.rules.findings import EXCEEDED, WITHIN, findings_of, worst_of
from surge.search.orders import MOST_ORDERS, OrderQuestion, order_question, orders_of, total_of
from surge.transient.run import simulate
from surge.units import ShowUnits


def starts(scenario: Scenario) -> dict[str, float]:
    return {m.valve: m.start for m in scenario.moves} | {m.pump: m.start for m in scenario.pump_moves}


def scenario_of(lineup: LineUp, name: str) -> Scenario:
    return next(s for s in lineup.scenarios if s.name == name)


def found(lineup: LineUp, scenario: Scenario) -> dict[str, tuple[dict[str, float], float]]:
    _, orders, _ = orders_of(lineup, scenario)
    return {o.name: (starts(o.scenario), o.total) for o in orders}


# Shutdowns


def test_both_sides_after_the_pump() -> None:
    """Closed form: ordered at 5 s, 3 s of signal, 8 s of run-down, strokes of 13 s (ship) and 8 s (shore)."""
    lineup = starter().lineup
    assert found(lineup, lineup.scenarios[1]) == {
        "as in the case, ship first": (
            {"shore pump": 8.0, "manifold valve": 16.0, "shore control valve": 29.0},
            32.0,
        ),
        "shore first": ({"shore pump": 8.0, "manifold valve": 24.0, "shore control valve": 16.0}, 32.0),
        "both together": ({"shore pump": 8.0, "manifold valve": 16.0, "shore control valve": 16.0}, 24.0),
    }


def test_each_valve_waits_for_its_own_pump_only(demos: Demos) -> None:
    """Closed form: unlinked, the shore hears at 28 s, its pump runs down until 43 s; strokes 20 and 28 s."""
    lineup = demos["kerosene-shutdown-linked-and-not"].case.lineup
    pump = {"shore pump": 28.0}
    assert found(lineup, scenario_of(lineup, "not linked")) == {
        "as in the case, ship first": (pump | {"manifold valve": 8.0, "shore valve": 43.0}, 66.0),
        "shore first": (pump | {"manifold valve": 71.0, "shore valve": 43.0}, 86.0),
        "both together": (pump | {"manifold valve": 43.0, "shore valve": 43.0}, 66.0),
    }


def test_a_chain_keeps_its_waits_and_what_waits_for_it() -> None:
    """Every order is a chain of its own: with the strokes that it has nothing moves, with others it does."""
    lineup = starter(('after = "manifold valve"', 'after = "manifold valve"\nwait = "3 s"')).lineup
    _, orders, _ = orders_of(lineup, lineup.scenarios[1])
    for order in orders:
        strokes = {m.valve: m.law[-1][0] for m in order.scenario.moves}
        assert starts(with_strokes(order.scenario, strokes)) == starts(order.scenario)
    first, shore_first, both = (o.scenario for o in orders)
    assert starts(first)["shore control valve"] == 32.0
    assert starts(shore_first) == {"shore pump": 8.0, "shore control valve": 19.0, "manifold valve": 27.0}
    assert starts(both)["manifold valve"] == starts(both)["shore control valve"] == 19.0
    slower = with_strokes(shore_first, {"shore control valve": 18.0})
    assert starts(slower)["manifold valve"] == 37.0


def test_valves_of_one_side_keep_their_order() -> None:
    def move(valve: str, side: str, k: int, after: str = "", start: float = 0.0) -> ValveMove:
        return ValveMove(
            valve=valve,
            start=start,
            law=((0.0, 1.0), (10.0, 0.0)),
            what="shutdown",
            side=side,
            after=after,
            origin=("scenario", 0, "shutdown", "step", k),
        )

    moves = (move("a", "shore", 0), move("b", "ship", 1, "a", 10.0), move("c", "ship", 2, "b", 20.0))
    scenario = Scenario(name="s", ordered=0.0, moves=moves)
    got = found(starter().lineup, scenario)
    assert got["ship first"] == ({"b": 0.0, "c": 10.0, "a": 20.0}, 30.0)
    assert got["both together"] == ({"a": 0.0, "b": 0.0, "c": 10.0}, 20.0)


def test_an_order_that_waits_for_itself_is_left_out() -> None:
    lineup = starter().lineup
    shutdown = lineup.scenarios[1]
    ship, shore = shutdown.moves
    pump = replace(shutdown.pump_moves[0], after="manifold valve", start=21.0)
    scenario = replace(
        shutdown,
        moves=(replace(ship, after="", start=8.0), replace(shore, after="shore pump", start=29.0)),
        pump_moves=(pump,),
    )
    kind, orders, left_out = orders_of(lineup, scenario)
    assert kind == "shutdown"
    assert orders[0].name == "as in the case, ship first"
    assert [name for name, _ in left_out] == ["shore first", "both together"]


@pytest.mark.parametrize(
    "scenario",
    [
        closing(),
        replace(closing(), moves=(*closing().moves, *closing(name="control valve").moves)),
        replace(closing(), moves=(*closing().moves, replace(closing().moves[0], start=40.0))),
        Scenario(name="pump", pump_moves=(PumpMove(pump="p", start=1.0, law=((0.0, 1.0), (5.0, 0.0))),)),
    ],
    ids=["one valve", "at one time already", "one valve twice", "no valve"],
)
def test_no_question(scenario: Scenario) -> None:
    assert orders_of(line(), scenario) == ("", [], [])
    assert order_question(line(), scenario) is None


# One after another


def sequence(strokes: list[float], pauses: list[float], start: float = 5.0) -> Scenario:
    moves = []
    for k, (stroke, pause) in enumerate(zip(strokes, pauses, strict=True)):
        law = ((0.0, 1.0), (stroke, 0.0))
        moves.append(ValveMove(valve=f"v{k}", start=start, law=law, origin=("scenario", 0, "event", k)))
        start += stroke + pause
    return Scenario(name="topping off", moves=tuple(moves))


def test_drop_line_valves_one_after_another(demos: Demos) -> None:
    lineup = demos["gasoline-drop-lines"].case.lineup
    got = found(lineup, scenario_of(lineup, "topping off"))
    p, s, last = "2P drop line valve", "2S drop line valve", "4P drop line valve"
    assert got == {
        "as in the case": ({p: 5.0, s: 30.0, last: 55.0}, 75.0),
        "reversed": ({p: 55.0, s: 30.0, last: 5.0}, 75.0),
        "all together": ({p: 5.0, s: 5.0, last: 5.0}, 25.0),
        f'"{s}" last': ({p: 5.0, s: 55.0, last: 30.0}, 75.0),
    }


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0.5, 60.0), st.floats(0.0, 30.0)), min_size=2, max_size=9))
def test_orders_of_a_sequence(parts: list[tuple[float, float]]) -> None:
    """Reversed twice is the case; strokes are kept; one after another every order takes the same time."""
    scenario = sequence([s for s, _ in parts], [p for _, p in parts])
    _, orders, _ = orders_of(line(), scenario)
    assert 2 <= len(orders) <= MOST_ORDERS
    by_name = {o.name.split(",")[0]: o.scenario for o in orders}
    again = {o.name: o.scenario for o in orders_of(line(), by_name["reversed"])[1]}
    assert starts(again["reversed"]) == pytest.approx(starts(scenario), abs=1e-9)
    for order in orders:
        assert [m.law for m in order.scenario.moves] == [m.law for m in scenario.moves]
        if "together" not in order.name:
            assert total_of(order.scenario) == pytest.approx(total_of(scenario))
    together = by_name["all together"]
    assert total_of(together) == pytest.approx(max(s for s, _ in parts))


def test_strokes_that_overlap_swap_their_instants() -> None:
    scenario = sequence([20.0, 10.0], [-15.0, 0.0])
    got = found(line(), scenario)
    assert got["reversed"][0] == {"v0": 10.0, "v1": 5.0}


# What runs give


@functools.cache
def shutdown() -> tuple[LineUp, OrderQuestion]:
    lineup = starter().lineup
    question = order_question(lineup, lineup.scenarios[1])
    assert question is not None
    return lineup, question


def test_the_order_of_the_case_gives_the_cases_peaks() -> None:
    lineup, question = shutdown()
    run = simulate(lineup, lineup.scenarios[1])
    first = question.answers[0]
    assert first.order.as_in_case
    got = {(p.subject, p.name): (p.highest, p.lowest) for p in first.pressures}
    want = {("element", e.name): (e.highest, e.lowest) for e in run.elements}
    want |= {("place", p.name): (p.highest, p.lowest) for p in run.places}
    assert got == want
    assert first.verdict == worst_of(f.verdict for f in findings_of(lineup, run)) == WITHIN


def test_what_is_told_as_safe_is_so_by_a_full_run() -> None:
    lineup, question = shutdown()
    assert [a.verdict for a in question.answers] == [WITHIN, EXCEEDED, EXCEEDED]
    for answer in question.answers:
        own = findings_of(lineup, simulate(lineup, answer.order.scenario))
        assert answer.verdict == worst_of(f.verdict for f in own)
        assert answer.governs in answer.findings


def test_orders_in_which_the_liquid_boils_are_not_compared() -> None:
    _, question = shutdown()
    assert [a.boils for a in question.answers] == [False, True, True]
    assert question.kindest("element", "manifold valve") is None


def test_the_kindest_order_differs_from_place_to_place(demos: Demos) -> None:
    """The stroke that is kind to one valve is worse for another; by hand from the table of peaks."""
    lineup = demos["gasoline-drop-lines"].case.lineup
    question = order_question(lineup, scenario_of(lineup, "bulk emergency shutdown"))
    assert question is not None
    for name, best in (("manifold valve", 0), ("shore line", 1)):
        peaks = [p.highest.pressure for a in question.answers for p in a.pressures if p.name == name]
        assert min(peaks) == peaks[best]
        assert question.kindest("element", name) == question.answers[best].order.name


def ranged(rating: float) -> tuple[LineUp, Scenario]:
    both = replace(closing(9.0), moves=(*closing(9.0).moves, *closing(9.0, name="control valve").moves))
    first, second = both.moves
    both = replace(both, moves=(first, replace(second, start=10.0, origin=("scenario", 0, "event", 1))))
    lineup = line(rating=rating)
    pipe = replace(lineup.pipes[0], length_range=(300.0, 900.0), limits=Limits(rating=rating))
    return lineup.with_(pipes=(pipe,), scenarios=(both,)), both


def test_over_a_range_of_lengths() -> None:
    """Safe only when it is at every length; one exceeded length is enough, and it is the worst one."""
    lineup, scenario = ranged(11e5)
    question = order_question(lineup, scenario)
    assert question is not None
    assert {a.verdict for a in question.answers} == {WITHIN}
    assert {len(a.runs) for a in question.answers} == {5}
    lineup, scenario = ranged(6.5e5)
    question = order_question(lineup, scenario)
    assert question is not None
    first = question.answers[0]
    assert (first.verdict, len(first.runs)) == (EXCEEDED, 1)
    longest = lineup.with_(pipes=(replace(lineup.pipes[0], length=900.0, length_range=None),))
    peak = next(e for e in simulate(longest, scenario).elements if e.name == "line").highest
    assert next(p for p in first.pressures if p.name == "line").highest == peak


def test_text_and_json_tell_the_same() -> None:
    lineup, question = shutdown()
    display = Display(units=ShowUnits(), density=lineup.liquid.density)
    text = "\n".join(order_lines(question, display))
    document = json.loads(json.dumps(as_json(order_document(question)), allow_nan=False))
    for order, answer in zip(document["orders"], question.answers, strict=True):
        assert f"{order['total_time_s']:.1f} s in all" in text
        assert order["order"] == answer.order.name
        deck = next(p for p in order["pressures"] if p["name"] == "deck line")
        low = deck["lowest"]["before_vapour_pa_gauge" if order["cargo_boils"] else "pressure_pa_gauge"]
        assert f"/ {display.round_down(low)}{'*' if order['cargo_boils'] else ''}" in text
    assert "before the cargo boils" in text

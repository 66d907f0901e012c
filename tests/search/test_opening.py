"""How fast a valve may open: against full runs, in words and figures; orders of two valves that open."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from support.demos import CASES
from support.lineups.one_valve import line

from surge.cli.main import main
from surge.errors import CaseError
from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN
from surge.search.joint import with_all_strokes
from surge.search.orders import order_question
from surge.search.window import windows_of

NO_RULES = RuleBook(rules=())


def opening(*, stroke: float = 6.0, second: float = 0.0) -> LineUp:
    """A full line at rest whose valve opens: the pressure before it falls, and boils where it opens fast."""
    lineup = line(velocity=1.5, second=second)
    names = [v.name for v in lineup.valves]
    moves = tuple(
        ValveMove(valve=v, start=1.0 + second * k, law=((0.0, 0.0), (stroke, 1.0)))
        for k, v in enumerate(names)
    )
    return lineup.with_(scenarios=(Scenario(name="opening", shut_at_start=tuple(names), moves=moves),))


def verdict(lineup: LineUp, strokes: dict[str, float]) -> str:
    return assess(with_all_strokes(lineup, strokes, opens=True), book=NO_RULES).verdict


def test_the_shortest_opening_stroke_against_full_runs() -> None:
    lineup = opening()
    got = windows_of(lineup, book=NO_RULES, longest=30.0)
    assert got.by_valve == {}
    assert got.verdict == WITHIN
    shortest = got.bounds_to_open("valve")
    assert shortest is not None
    assert shortest > 1.0
    raster = np.geomspace(shortest, 30.0, 8)
    assert {verdict(lineup, {"valve": float(s)}) for s in raster} == {WITHIN}
    assert verdict(lineup, {"valve": 0.85 * shortest}) != WITHIN


def test_two_valves_that_open_are_run_together_and_in_both_orders() -> None:
    lineup = opening(second=2.0)
    got = windows_of(lineup, book=NO_RULES, longest=30.0)
    assert set(got.to_open) == {"valve", "other"}
    assert got.opened_together is not None
    assert got.opened_together.verdict == verdict(lineup, got.opened_together.strokes)
    asked = order_question(lineup, lineup.scenarios[0])
    assert asked is not None
    assert asked.kind == "opening"
    assert {a.order.name for a in asked.answers} == {"as in the case", "reversed", "all together"}


def test_the_restart_has_its_window() -> None:
    path = str(CASES / "restart-into-a-shut-deck-line.toml")
    made = CliRunner().invoke(main, ["window", path])
    assert made.exit_code == 0
    assert '"manifold valve", opening: no faster than' in made.stdout
    data = json.loads(CliRunner().invoke(main, ["window", path, "--json"]).stdout)
    (one,) = data["to_open"]
    assert one["valve"] == "manifold valve"
    assert {s["scenario"] for s in one["scenarios"]} == {"wrong order, quick", "right order, slow"}


def test_an_adjustable_valve_that_never_moves_is_named_and_asked_for_refused() -> None:
    lineup = opening(second=2.0)
    still = replace(lineup.scenarios[0], moves=lineup.scenarios[0].moves[:1])
    marked = tuple(replace(v, adjustable=True) for v in lineup.valves)
    lineup = lineup.with_(scenarios=(still,), valves=marked)
    assert windows_of(lineup, book=NO_RULES, longest=10.0).idle == ("other",)
    with pytest.raises(CaseError, match="closes or opens in no scenario"):
        windows_of(lineup, book=NO_RULES, valves=["other"])

"""A case held against the rules, and short ways to change it."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from support.lineups.berth import berth, spoilt
from surge.model.lineup import (
    Berth,
    Limits,
    LineUp,
    Point,
    PumpMove,
    Scenario,
    Supply,
    Tank,
    Valve,
    ValveMove,
)
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding
from surge.rules.reading import built_in
from surge.rules.rulings import Ruling, rule_on
from surge.rules.static import static_findings
from surge.transient.history import History
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate

BAR = 1e5
HOSE = {"rating": 16e5, "test_pressure": 24e5, "burst": 80e5, "tested": date(2026, 1, 1)}


def shut(valve: str, start: float, stroke: float, *, side: str = "", law: Any = None) -> ValveMove:
    table = law or ((0.0, 1.0), (stroke, 0.0))
    return ValveMove(valve=valve, start=start, law=table, what="shutdown" if side else "event", side=side)


def halt(start: float, run_down: float = 8.0) -> PumpMove:
    return PumpMove(
        pump="pump 1", start=start, law=((0.0, 1.0), (run_down, 0.0)), what="shutdown", side="shore"
    )


def shutdown(*moves: ValveMove, pumps: tuple[PumpMove, ...] = (), **changes: Any) -> Scenario:
    """An emergency shutdown ordered at 5 s: 2 s detection, 1 s signal."""
    fields: dict[str, Any] = {"ordered": 5.0, "timing": TWO_WAYS} | changes
    return Scenario(name="shutdown", moves=moves, pump_moves=pumps, **fields)


def rated(lineup: LineUp, **limits: Any) -> LineUp:
    """Rate every element at 16 bar, and the hose by the keywords."""

    def give(element: Any) -> Any:
        own = limits if element.name == "hose" else {}
        return replace(element, limits=Limits(**({"rating": 16 * BAR} | own)))

    return lineup.with_(
        **{
            field: tuple(give(e) for e in getattr(lineup, field))
            for field in ("pipes", "valves", "passages", "pumps")
        }
    )


def case(*scenarios: Scenario, **changes: Any) -> LineUp:
    """The berth with these scenarios (its own closing where there is none), rated, with every fact."""
    lineup = charged(rated(berth(), **HOSE), False)
    lineup = lineup.with_(berth=Berth(transfer=date(2026, 6, 1)), scenarios=scenarios or lineup.scenarios)
    if any(s.ordered is not None for s in lineup.scenarios):
        lineup = ullage(lineup, 1000.0)
    return lineup.with_(**changes)


def bare(*scenarios: Scenario, **changes: Any) -> LineUp:
    """The same without a fact that only rules on cargo, hoses and ullage need."""
    lineup = ullage(charged(rated(case(*scenarios)), None), None)
    return lineup.with_(berth=Berth()).with_(**changes)


def run_of(scenario: Scenario, *, rate: float = 0.15, inflow: Any = None) -> ScenarioResult:
    """A run as the berth gives it, under another name, with the flow that is asked for [m3/s]."""
    run = quick_run()
    elements = tuple(
        replace(
            e, figures=replace(e.figures, velocity=e.figures.velocity * rate / 0.15) if e.figures else None
        )
        for e in run.elements
    )
    history = History(
        time=np.array([0.0, 1.0, 2.0]),
        pressure={},
        flow={name: np.full(3, rate) if inflow is None else np.array(inflow) for name in run.history.flow},
    )
    return replace(run, name=scenario.name, elements=elements, history=history, closures=(), vapour=None)


def rule_all(lineup: LineUp, *, book: RuleBook | None = None, **run: Any) -> tuple[Ruling, ...]:
    """Rulings without any pressures of a run: static findings only."""
    stands = {v.name: 1.0 for v in lineup.valves}
    stands |= {k.replace("_", " "): run.pop(k) for k in tuple(run) if k.endswith("valve")}
    runs = [replace(run_of(s, **run), opening=stands) for s in lineup.scenarios]
    return rule_on(lineup, book=book or built_in(), runs=runs, findings=static_findings(lineup))


def the(rulings: tuple[Ruling, ...], rule_id: str) -> Ruling:
    """The only ruling of a rule."""
    found = [r for r in rulings if r.rule.id == rule_id]
    assert len(found) == 1, found
    return found[0]


def changed_book(rule_id: str, **changes: Any) -> RuleBook:
    old = built_in().rule(rule_id)
    assert old is not None
    return built_in().merged((replace(old, own=True, **changes),))


def two_drop_lines() -> LineUp:
    """The berth with a second tank behind a valve of its own."""
    lineup = rated(berth())
    branch = Valve(name="second valve", start="deck", end="second", kv=900.0, characteristic=((0, 0), (1, 1)))
    first = Valve(name="first valve", start="deck", end="first", kv=900.0, characteristic=((0, 0), (1, 1)))
    deck = replace(lineup.pipes[1], start="first")
    drop = replace(lineup.pipes[1], name="second drop", start="second", end="other bottom")
    other = Tank(name="no. 4 port", point="other bottom", side="ship", level=1.0)
    return lineup.with_(
        points=(
            *lineup.points,
            *(Point(name=n, elevation=9.0) for n in ("first", "second")),
            Point(name="other bottom", elevation=-4.0),
        ),
        pipes=(lineup.pipes[0], deck, *lineup.pipes[2:], drop),
        valves=(*lineup.valves, first, branch),
        tanks=(*lineup.tanks, other),
    )


def built_in_only(*ids: str) -> RuleBook:
    return RuleBook(rules=tuple(r for r in built_in().rules if r.id in ids))


def charged(lineup: LineUp, answer: bool | None) -> LineUp:
    return lineup.with_(liquid=replace(lineup.liquid, static_accumulator=answer))


AREA = np.pi / 4 * 0.25**2  # [m2] of every pipe of the berth


def peak(name: str, value: float, *, limit: float, verdict: str = WITHIN, error: float = 0.0) -> Finding:
    return Finding(
        scenario="topping off",
        subject="element",
        name=name,
        check="peak",
        value=value,
        error=error,
        limit=limit,
        limit_source="rating",
        rule="peak-pressure",
        margin=limit - value,
        time=1.0,
        distance=0.0,
        verdict=verdict,
    )


TWO_WAYS = (("detection", 2.0), ("signal", 1.0))


@functools.cache
def quick_run() -> ScenarioResult:
    """A first march of the berth's own closing; made once."""
    lineup = rated(berth())
    return simulate(lineup, lineup.scenarios[0], quick=True)


def ullage(lineup: LineUp, volume: float | None) -> LineUp:
    """A line-up whose ship's tank has so much room left [m3]."""
    return spoilt("tanks", 1, lineup, ullage=volume)


def pushed_into_a_supply(lineup: LineUp) -> LineUp:
    """A line-up without a ship's tank: a supply takes the cargo."""
    receiver = Supply(name="ship", point="tank bottom", pressure=1 * BAR, shut_off=2 * BAR)
    return lineup.with_(tanks=lineup.tanks[:1], supplies=(receiver,))


def on_allowance(allowance: float, *, test: float | None = None) -> LineUp:
    """The berth with an allowance on its shore line, which is rated 10 bar."""
    lineup = case()
    limits = Limits(rating=10 * BAR, allowance=allowance, test_pressure=test)
    return spoilt("pipes", 0, lineup, limits=limits)

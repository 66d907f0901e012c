"""Generated berths with ratings that matter, an agreed rate, shutdowns, ullages, and rules of their own."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from surge.model.lineup import Limits, LineUp, Rate, Scenario, ValveMove
from surge.rules.book import Rule, RuleBook
from surge.rules.reading import built_in
from surge.rules.static import static_findings
from surge.transient.run import simulate

from .generated import generated

STEPS_UP = 200  # seeds are taken on until a berth flows and shuts


def rated(seed: int, *, size: float = 1.0) -> tuple[LineUp, RuleBook]:
    """Return the berth of a seed, and the rules that hold at it."""
    for k in range(STEPS_UP):
        lineup, scenario = generated(1000 * seed + k, size=size)
        closing = [m for m in scenario.moves if m.law[-1][1] == 0.0 and m.law[-1][0] > 0.0]
        run = simulate(lineup, scenario, quick=True)
        flow = float(run.history.flow["deck line"][0])
        if closing and not scenario.shut_at_start and flow > 1e-3:
            break
    rng = np.random.default_rng([seed, 13])
    lineup = lineup.with_(liquid=replace(lineup.liquid, static_accumulator=bool(rng.random() < 0.5)))
    if rng.random() < 0.8:
        rate = Rate(
            agreed=float(rng.uniform(0.6, 0.95)) * flow,
            means="throttle",
            at="manifold valve",
            through="deck line",
        )
        lineup = lineup.with_(rate=rate)
        flow = rate.agreed
    lineup = _with_ratings(lineup, scenario, rng)
    if rng.random() < 0.7:
        scenario = _ordered(scenario, rng)
        seconds = float(rng.uniform(15, 90))
        lineup = lineup.with_(
            tanks=tuple(replace(t, ullage=flow * seconds) if t.side == "ship" else t for t in lineup.tanks)
        )
    fastest = max(abs(float(run.history.flow[p.name][0])) / p.area for p in lineup.pipes)
    book = built_in().merged(tuple(own_rules(fastest, rng)))
    return lineup.with_(scenarios=(replace(scenario, stage="bulk"),)), book


def _with_ratings(lineup: LineUp, scenario: Scenario, rng: np.random.Generator) -> LineUp:
    """One rating for all, between what stands and what an untouched stroke makes of it."""
    run = simulate(lineup, scenario, quick=True)
    stands = max(e.steady_high for e in run.elements)
    peak = max(e.highest.pressure for e in run.elements)
    dummy = lineup.with_(pipes=tuple(replace(p, limits=Limits(rating=1e9)) for p in lineup.pipes))
    stands = max([stands, *(f.value or 0.0 for f in static_findings(dummy))])
    rating = 1.02 * stands + 0.3e5 + float(rng.uniform(0.1, 1.1)) * max(peak - stands, 1e5)
    allowance = float(rng.choice([1.0, 1.0, 1.1]))

    def limited(kind: str) -> Limits:
        if kind != "pipe" or allowance == 1.0:
            return Limits(rating=rating)
        test = 1.5 * rating if rng.random() < 0.5 else None
        return Limits(rating=rating, allowance=allowance, test_pressure=test)

    return lineup.with_(pipes=tuple(replace(p, limits=limited(p.kind)) for p in lineup.pipes))


def _ordered(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """The same as an emergency shutdown: the movements are its steps."""
    first = min(m.start for m in (*scenario.moves, *scenario.pump_moves))
    signal = float(rng.uniform(0.0, 0.5)) * first
    return replace(
        scenario,
        ordered=first - signal,
        timing=(("signal", signal),),
        moves=tuple(replace(m, what="shutdown") for m in scenario.moves),
        pump_moves=tuple(replace(m, what="shutdown") for m in scenario.pump_moves),
    )


def own_rules(fastest: float, rng: np.random.Generator) -> list[Rule]:
    """Rules of a terminal: on velocity, on peaks in hoses, on strokes and effective closing times."""
    book = built_in()

    def own(of: str, figure: float, share: float, **changes: str) -> list[Rule]:
        rule = book.rule(of)
        assert rule is not None
        if rng.random() >= share:
            return []
        text = f"{figure:.3g}"
        return [
            replace(
                rule,
                id=f"terminal-{of}",
                name=f"Terminal's own: {rule.name}",
                figure=figure,
                figure_text=text,
                requirement="required",
                own=True,
                **changes,
            )
        ]

    return [
        *own("bulk-velocity", fastest * float(rng.uniform(0.8, 1.6)), 0.4, applies="always"),
        *own("peak-pressure", float(rng.uniform(0.9, 1.0)), 0.3, applies="hoses"),
        *own("stroke-per-inch", float(rng.uniform(0.3, 1.0)), 0.3),
        *own("effective-closing-time", float(rng.uniform(1.0, 3.0)), 0.3),
    ]


def three_moving(seed: int, *, size: float = 1.0) -> tuple[LineUp, RuleBook]:
    """Return a berth in which every valve shuts at about one time; one stroke of three is searched."""
    lineup, book = rated(seed, size=size)
    rng = np.random.default_rng([seed, 3])
    scenario = lineup.scenarios[0]
    known = {m.valve for m in scenario.moves}
    more = tuple(
        ValveMove(
            valve=v.name,
            start=float(rng.uniform(0.5, 4.0)),
            law=((0.0, 1.0), (math.exp(float(rng.uniform(0.5, 3.0))), 0.0)),
            what=scenario.moves[0].what if scenario.moves else "",
        )
        for v in lineup.valves
        if v.name not in known
    )
    return lineup.with_(scenarios=(replace(scenario, moves=(*scenario.moves, *more)),)), book


def at_a_lower_rate_too(lineup: LineUp) -> LineUp:
    """The same with every shutdown at a stage of two fifths of the rate as well, as a case file makes it."""
    if lineup.rate is None:
        return lineup
    again = (
        replace(s, name=f"{s.name}, again", repeats=s.name, rate=0.4 * lineup.rate.agreed)
        for s in lineup.scenarios
        if s.ordered is not None
    )
    return lineup.with_(scenarios=(*lineup.scenarios, *again))

"""What rules alone say of a stroke, without a march; and how strokes are told, rounded against the reader."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import WITHIN
from surge.rules.rulings import NOT_CHECKED, Ruling, rule_on
from surge.search.judge import STROKES, VELOCITIES, Bench, slow_side
from surge.transient.result import ScenarioResult

Minding = TypeVar("Minding", Rule, Ruling)

FINEST, SHARE = 0.1, 0.01  # resolution: the larger of [s] and a share of the stroke
CLOSE = 1e-4  # [s] so near comes what is kept to what is broken; a stroke is told to the tenth


def resolution(stroke: float) -> float:
    """How finely a stroke is told [s]."""
    return max(SHARE * stroke, FINEST)


def rounded_up(stroke: float) -> float:
    """A stroke [s] to the tenth above."""
    return math.ceil(stroke * 10 - 1e-9) / 10


def rounded_down(stroke: float) -> float:
    """A stroke [s] to the tenth below."""
    return math.floor(stroke * 10 + 1e-9) / 10


def shortest_by_rules(
    bench: Bench,
    scenario: Scenario,
    lineups: Sequence[LineUp],
    with_stroke: Callable[[float], Scenario],
    *,
    shortest: float,
    to: float,
) -> tuple[float, Rule | None, Ruling | None]:
    """Return the shortest stroke that rules allow which need no march, and the rule that sets it.

    Parameters
    ----------
    bench : Bench
        Its book holds the rules.
    scenario : Scenario
    lineups : sequence of LineUp
        At figures over what is a range.
    with_stroke : callable
        Stroke [s] -> the scenario with it.
    shortest, to : float
        Strokes looked at [s].

    Returns
    -------
    stroke : float
        [s]; ``shortest`` where no rule sets it.
    rule : Rule or None
        The one that a shorter stroke would break.
    always : Ruling or None
        One that every stroke breaks: then the others say nothing.
    """
    measures = [m for m in (*VELOCITIES, *STROKES) if any(r.measure == m for r in bench.book.rules)]
    if not measures:
        return shortest, None, None
    stands = bench.stands(scenario, lineups)

    def minding(stroke: float) -> Ruling | None:
        found = bench.minding(with_stroke(stroke), stands, measures)
        return next((r for r in found if not slow_side(r.rule)), None)

    if (always := minding(to)) is not None:
        return shortest, None, always
    if (first := minding(shortest)) is None:
        return shortest, None, None
    kept, last = _turning(minding, kept=to, broken=shortest, by=first)
    return _to_the_tenth(kept, minding, rounded_up), last.rule, None


def longest_allowed(
    lineup: LineUp,
    scenario: Scenario,
    valves: Sequence[str],
    *,
    book: RuleBook,
    run: ScenarioResult,
    shortest: float,
    longest: float,
    bench: Bench | None = None,
) -> tuple[float | None, Rule | None]:
    """Return the longest stroke that the binding rules on time allow [s], and the rule beyond it.

    The times of a chain grow with every stroke in it, so that one bound is enough. With a bench, the flow of
    other scenarios into a tank counts for its ullage too. None: no rule bounds it; 0: even the shortest takes
    too long.
    """
    timing = RuleBook(rules=tuple(r for r in book.rules if r.required and slow_side(r)))
    if not timing.rules:
        return None, None
    others = bench.others(scenario) if bench is not None else {}

    def broken(stroke: float) -> Rule | None:
        changed = with_strokes(scenario, dict.fromkeys(valves, stroke))
        beside = tuple(s for s in lineup.scenarios if s.name in others)
        one = lineup.with_(scenarios=(changed, *beside))
        runs = (run, *(r for each in others.values() for r in each))
        rulings = rule_on(one, book=timing, runs=runs, findings=())
        # What lacks data bounds nothing: it is told where the window is confirmed.
        minds = (r for r in rulings if r.scenario in ("", scenario.name) and r.outcome != NOT_CHECKED)
        return next((r.rule for r in minds if r.verdict != WITHIN), None)

    if (rule := broken(longest)) is None:
        return None, None
    if (at_once := broken(shortest)) is not None:
        return 0.0, at_once
    kept, rule = _turning(broken, kept=shortest, broken=longest, by=rule)
    return _to_the_tenth(kept, broken, rounded_down), rule


def _turning(
    minds: Callable[[float], Minding | None], *, kept: float, broken: float, by: Minding
) -> tuple[float, Minding]:
    """The kept stroke nearest to a broken one [s], found by halving, and what minds just beyond it."""
    while abs(broken - kept) > CLOSE:
        middle = 0.5 * (kept + broken)
        if (found := minds(middle)) is None:
            kept = middle
        else:
            broken, by = middle, found
    return kept, by


def _to_the_tenth(
    kept: float, minds: Callable[[float], Minding | None], rounded: Callable[[float], float]
) -> float:
    """A kept stroke as it is told [s]: what meets its limit exactly counts as met."""
    tenth = round(kept, 1)
    return tenth if minds(tenth) is None else rounded(kept)

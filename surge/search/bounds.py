"""What rules alone say of a stroke or a rate, without a march; and how strokes are told: rounded."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import WITHIN
from surge.rules.rulings import NOT_CHECKED, Ruling, rule_on
from surge.search.judge import Bench
from surge.search.judged import STROKES, VELOCITIES, slow_side
from surge.transient.result import ScenarioResult

Minding = TypeVar("Minding", Rule, Ruling)

FINEST, SHARE = 0.1, 0.01  # resolution: the larger of [s] and a share of the stroke
CLOSE = 1.0005  # ratio of rates between which a rule begins to mind: rates are told to a thousandth


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
    return kept, last.rule, None


def up_to_rules(
    look: list[float], minding: Callable[[float], Ruling | None]
) -> tuple[list[float], Ruling | None]:
    """Return the rates up to the one at which a rule is broken by what flows before anything moves.

    Parameters
    ----------
    look : list of float
        Slowness of the rates to look at, the agreed rate over each [-], falling.
    minding : callable
        Slowness -> the ruling that such a rate breaks.

    Returns
    -------
    look : list of float
        Those below that rate, and that rate itself; all where no rule minds, none where the lowest breaks
        one.
    rule : Ruling or None
        What a higher rate breaks.
    """
    last: float | None = None
    for k, v in enumerate(look):
        if (found := minding(v)) is None:
            last = v
            continue
        if last is None:
            return [], found
        safe, unsafe = last, v
        while safe / unsafe > CLOSE:
            middle = math.sqrt(safe * unsafe)
            if (again := minding(middle)) is None:
                safe = middle
            else:
                unsafe, found = middle, again
        return [*look[:k], *([safe] if safe < last else [])], found
    return look, None


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
    return _turning(broken, kept=shortest, broken=longest, by=rule)


def _turning(
    minds: Callable[[float], Minding | None], *, kept: float, broken: float, by: Minding
) -> tuple[float, Minding]:
    """The kept tenth of a second that is nearest to a broken stroke, by halving, and what minds the next.

    Strokes are told in tenths, so none between them is asked for. Where not even the first tenth beyond the
    kept stroke is kept, that stroke itself is told, rounded against the reader.
    """
    longer = broken > kept
    told, first = (rounded_down, rounded_up) if longer else (rounded_up, rounded_down)
    good, bad = round(10 * first(kept)), round(10 * first(broken))
    if good / 10 != kept and (found := minds(good / 10)) is not None:
        return told(kept), found
    while abs(bad - good) > 1:
        middle = (good + bad) // 2
        if (found := minds(middle / 10)) is None:
            good = middle
        else:
            bad, by = middle, found
    return good / 10, by

"""Hold a case against a book of rules: every rule gives a ruling, so that none passes in silence."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from surge.model.lineup import LineUp
from surge.rules.book import MEASURES, Rule, RuleBook
from surge.rules.findings import Finding, worst_of
from surge.rules.flow import inlet_velocity, overfill, velocity
from surge.rules.ground import (
    KEPT,
    NOT_APPLICABLE,
    NOT_CHECKED,
    NOT_DECIDED,
    NOT_KEPT,
    RuledCase,
    Ruling,
    Unknown,
    may_apply,
    passed_over,
)
from surge.rules.parts import (
    allowance,
    effective_closing,
    months,
    outside,
    part,
    stroke_per_inch,
    stroke_per_millimetre,
    stroke_time,
)
from surge.rules.pressure import (
    counts,
    pressure,
    pump_top_of_the_case,
    searched_limits,
    with_pump_top,
)
from surge.rules.times import shore_first, stop_flow, total_shutdown
from surge.transient.result import ScenarioResult

__all__ = [
    "KEPT",
    "NOT_APPLICABLE",
    "NOT_CHECKED",
    "NOT_DECIDED",
    "NOT_KEPT",
    "Ruling",
    "counts",
    "rule_on",
    "searched_limits",
    "with_pump_top",
    "worst",
]

_EVALUATE: dict[str, Callable[[Rule, RuledCase], list[Ruling]]] = {
    **{name: pressure for name, measure in MEASURES.items() if measure.shown == "pressure"},
    "time to stop the flow": stop_flow,
    "total shutdown time": total_shutdown,
    "shutdown time over time to fill the ullage": overfill,
    "time from the shore's stop to the ship's first valve": shore_first,
    "effective closing time over pipeline period": effective_closing,
    "stroke time": stroke_time,
    "stroke time per inch of bore": stroke_per_inch,
    "stroke time per millimetre of bore": stroke_per_millimetre,
    "velocity": velocity,
    "velocity at the inlets of ship's tanks": inlet_velocity,
    "allowance on the rating": allowance,
    "rating": part,
    "test pressure over rating": part,
    "test pressure over burst pressure": part,
    "burst pressure over rating": part,
    "burst pressure over static pressure": part,
    "months since the last pressure test": months,
    "not in the case": outside,
}


def rule_on(
    lineup: LineUp, *, book: RuleBook, runs: Iterable[ScenarioResult], findings: Iterable[Finding]
) -> tuple[Ruling, ...]:
    """Hold a case against every rule of a book.

    Parameters
    ----------
    lineup : LineUp
    book : RuleBook
    runs : iterable of ScenarioResult
        Of every scenario of the line-up, with their histories; several of one where figures are ranges.
    findings : iterable of Finding
        Static ones and those of the runs.

    Returns
    -------
    tuple of Ruling
        In the order of the book; at least one for each rule.

    Notes
    -----
    Pressures: the worst finding of each scenario. Times come from the laws of the valves and from what is
    joined to what: the flow has stopped from the instant on from which shut valves part every source from
    every tank of the ship, each valve from the opening that it has in the scenario; the total shutdown time
    counts whole strokes, since it is to hold under all service conditions.
    """
    ground = RuledCase(lineup, runs, findings)
    found: list[Ruling] = []
    for rule in book.rules:
        if rule.requirement == "off":
            found.append(passed_over(rule, f"switched off, {rule.reason}"))
        else:
            found += _spoken(rule, ground, _EVALUATE[rule.measure](rule, ground))
        found += pump_top_of_the_case(rule, ground)
    return tuple(found)


def _spoken(rule: Rule, ground: RuledCase, found: list[Ruling]) -> list[Ruling]:
    """See to it that a rule of which the case does not say whether it applies is not passed over."""
    answer = ground.says(rule)
    if isinstance(answer, Unknown) and all(r.outcome == NOT_APPLICABLE for r in found):
        return [may_apply(rule, answer)]
    return [_taken_to_apply(rule, ground, r) for r in found] if rule.required else found


def _taken_to_apply(rule: Rule, ground: RuledCase, ruling: Ruling) -> Ruling:
    """Say in a ruling that its rule is held for want of a fact, and what to write."""
    scenario, element = ground.scenario.get(ruling.scenario), ground.element.get(ruling.subject)
    answer = ground.says(rule, scenario=scenario, element=element)
    if not isinstance(answer, Unknown) or ruling.outcome in (NOT_APPLICABLE, NOT_CHECKED):
        return ruling
    supply = "" if ruling.outcome == KEPT else answer.supply
    return replace(ruling, phrase=(*ruling.phrase, f" Taken to apply: {answer.reason}."), supply=supply)


def worst(rulings: Iterable[Ruling]) -> str:
    """What the rules make of the verdict, exceeded before undecided; advisory rules never count."""
    return worst_of(r.verdict for r in rulings)

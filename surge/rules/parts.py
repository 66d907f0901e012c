"""Rulings on what parts are made for and when they were tested, and on allowances."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date

import numpy as np

from surge.model.lineup import Element, Pipe, Valve
from surge.model.ranges import bore_at
from surge.rules.book import Rule
from surge.rules.findings import WITHIN
from surge.rules.ground import (
    KEPT,
    NOT_CHECKED,
    RuledCase,
    Ruling,
    Unknown,
    judged,
    may_apply,
    not_checked,
    passed_over,
    rank,
    stated,
)
from surge.rules.times import closes
from surge.transient.result import ScenarioResult

Figure = Callable[[RuledCase, Element], float | None]
LONGEST_MONTH = 31  # days


def months_between(first: date, then: date) -> float:
    """Calendar months from one day to another: whole on the same day of a month, else a share of 31 days."""
    whole = 12 * (then.year - first.year) + then.month - first.month
    return whole + (then.day - first.day) / LONGEST_MONTH


def _rating(_: RuledCase, element: Element) -> float | None:
    return element.limits.rating


def _test(_: RuledCase, element: Element) -> float | None:
    return element.limits.test_pressure


def _burst(_: RuledCase, element: Element) -> float | None:
    return element.limits.burst


def _static(ground: RuledCase, element: Element) -> float | None:
    """Shut-off pressure in an element; unknown where a supply does not tell its own."""
    return ground.static.get(element.name) if ground.shut_off_known else None


# Measure -> the figure, what the limit is a share of (None: nothing), words for both
_PAIRS: dict[str, tuple[Figure, Figure | None, str, str]] = {
    "rating": (_rating, None, "rating", ""),
    "test pressure over rating": (_test, _rating, "test pressure", "rating"),
    "test pressure over burst pressure": (_test, _burst, "test pressure", "burst pressure"),
    "burst pressure over rating": (_burst, _rating, "burst pressure", "rating"),
    "burst pressure over static pressure": (_burst, _static, "burst pressure", "shut-off pressure"),
}
_TO_WRITE = {
    "rating": 'write rating for "{}"',
    "test pressure": 'write test_pressure for "{}"',
    "burst pressure": 'write burst_pressure for "{}"',
    "shut-off pressure": 'write rating for "{}", and shut_off_pressure for each supply',
}


def part(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """A rating, test or burst pressure of every element to which the rule applies."""
    return _each(rule, ground, _part)


def _part(rule: Rule, ground: RuledCase, element: Element) -> Ruling | None:
    if rule.measure == "burst pressure over static pressure" and not ground.can_be_shut_off(element):
        return None  # no valve brings shut-off pressure to it
    figure, base, words, base_words = _PAIRS[rule.measure]
    value = figure(ground, element)
    share = base(ground, element) if base else 1.0
    name = element.name
    for got, lacking in ((value, words), (share, base_words)):
        if got is None:
            reason = f'"{name}" has no {lacking}'
            return not_checked(rule, reason, supply=_TO_WRITE[lacking].format(name), subject=name)
    assert value is not None
    assert share is not None
    behind = f" ({rule.figure:g} times its {base_words} is the limit)" if base else ""
    clause = (f'The {words} of "{name}" is ', behind)
    return judged(rule, subject=name, value=value, limit=rule.figure * share, clause=clause)


def months(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Months from the last pressure test of every element to the transfer."""
    return _each(rule, ground, _months)


def _months(rule: Rule, ground: RuledCase, element: Element) -> Ruling:
    name, tested, transfer = element.name, element.limits.tested, ground.lineup.berth.transfer
    if tested is None:
        reason = f'"{name}" has no date of its last pressure test'
        return not_checked(
            rule, reason, supply=f'write tested, the day of that test, for "{name}"', subject=name
        )
    if transfer is None:
        reason = f'"{name}" was tested on {tested}, and the case has no date of the transfer'
        supply = "write transfer, the day of this transfer, under [berth]"
        return not_checked(rule, reason, supply=supply, subject=name)
    if transfer < tested:
        reason = f'"{name}" was tested on {tested}, after the transfer on {transfer}'
        return not_checked(rule, reason, supply="check both dates", subject=name)
    clause = (f'"{name}" was tested on {tested}; months to the transfer on {transfer}: ',)
    return judged(
        rule, subject=name, value=months_between(tested, transfer), limit=rule.figure, clause=clause
    )


def _each(
    rule: Rule, ground: RuledCase, rule_one: Callable[[Rule, RuledCase, Element], Ruling | None]
) -> list[Ruling]:
    found: list[Ruling] = []
    unknown: dict[str, Ruling] = {}
    for element in ground.lineup.elements:
        answer = ground.applies(rule, element=element)
        if isinstance(answer, Unknown):
            unknown.setdefault(answer.reason, may_apply(rule, answer, subject=element.name))
        elif answer and (made := rule_one(rule, ground, element)) is not None:
            found.append(made)
    return [*found, *unknown.values()] or [passed_over(rule, f"it is for: {rule.applies}")]


def allowance(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """The allowance of every rated element, and the conditions that it hangs on when a surge uses it."""
    found = []
    for element in ground.lineup.elements:
        if element.limits.rating is None or ground.applies(rule, element=element) is not True:
            continue
        value = element.limits.allowance
        clause = (f'The allowance of "{element.name}" is ',)
        ruling = judged(rule, subject=element.name, value=value, limit=rule.figure, clause=clause)
        if ruling.outcome == KEPT and rule.conditions:
            ruling = _on_conditions(rule, ground, element)
        found.append(ruling)
    if len(found) > 1 and all(r.outcome == KEPT for r in found):
        return [_all_keep(rule, found)]
    return found or [passed_over(rule, f"it is for: {rule.applies}")]


def _all_keep(rule: Rule, found: list[Ruling]) -> Ruling:
    most = max(found, key=lambda r: r.value or 0.0)
    words = f"The allowance of {len(found)} parts is {most.value:g} at most: kept."
    return stated(rule, KEPT, words, limit=rule.figure)


def _on_conditions(rule: Rule, ground: RuledCase, element: Element) -> Ruling:
    """Kept where no surge goes above the rating; else it hangs on what no case tells."""
    rating = element.limits.rating
    assert rating is not None
    peaks = [
        f for f in ground.findings if f.check == "peak" and f.subject == "element" and f.name == element.name
    ]
    if all(f.verdict == WITHIN and f.value is not None and f.value + f.error <= rating for f in peaks):
        words = f'No surge goes above the rating of "{element.name}": its allowance is not used.'
        made = stated(rule, KEPT, words, subject=element.name, limit=rule.figure)
        return replace(made, value=element.limits.allowance)
    words = f'Not checked: a surge uses the allowance of "{element.name}", which hangs on conditions.'
    made = stated(rule, NOT_CHECKED, words, subject=element.name, limit=rule.figure)
    return replace(made, supply="confirm: " + "; ".join(rule.conditions))


def outside(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """A rule on something that no case holds: listed, with what to confirm."""
    answer = ground.applies(rule)
    if isinstance(answer, Unknown):
        return [may_apply(rule, answer)]
    if not answer:
        return [passed_over(rule, f"it is for: {rule.applies}")]
    supply = "confirm: " + " ".join((rule.text, *(f"Where {c}." for c in rule.conditions)))
    return [not_checked(rule, "no case file tells this", supply=supply)]


INCH = 0.0254  # [m]


MILLIMETRE = 1e-3  # [m]


def stroke_time(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Whole stroke of every valve that shuts."""
    return _strokes(rule, ground, lambda _: 1.0, "")


def stroke_per_inch(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Whole stroke of every valve that shuts, for every inch of its bore."""
    return _strokes(rule, ground, lambda v: _bore(rule, ground, v, INCH), " for every inch of bore")


def stroke_per_millimetre(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Whole stroke of every valve that shuts, for every millimetre of its bore."""
    return _strokes(
        rule, ground, lambda v: _bore(rule, ground, v, MILLIMETRE), " for every millimetre of bore"
    )


def _bore(rule: Rule, ground: RuledCase, valve: Valve, unit: float) -> float | None:
    """Bore of the widest pipe that touches a valve, in ``unit`` [m]; None where none does.

    Where a wall is a range, its bore is that at which the rule is harder to keep.
    """
    ends = {valve.start, valve.end}
    bores = [_harder_bore(rule, p) for p in ground.lineup.pipes if {p.start, p.end} & ends]
    return max(bores) / unit if bores else None


def _harder_bore(rule: Rule, pipe: Pipe) -> float:
    walls = pipe.wall.thickness_range if pipe.wall else None
    return bore_at(pipe, walls[1 if rule.upper else 0]) if walls else pipe.diameter


def _strokes(
    rule: Rule, ground: RuledCase, share: Callable[[Valve], float | None], behind: str
) -> list[Ruling]:
    shortest: dict[str, tuple[float, str]] = {}
    for scenario in ground.lineup.scenarios:
        for move in scenario.moves:
            time = closes(move.law)
            if time is not None and time < shortest.get(move.valve, (math.inf, ""))[0]:
                shortest[move.valve] = (time, scenario.name)
    found = []
    for valve in ground.lineup.valves:
        if valve.name not in shortest or ground.applies(rule, element=valve) is not True:
            continue
        time, scenario_name = shortest[valve.name]
        size = share(valve)
        if size is None:
            found.append(
                not_checked(
                    rule,
                    f'no pipe touches "{valve.name}", which would tell its bore',
                    supply="write the line beside that valve as a pipe",
                    scenario=scenario_name,
                    subject=valve.name,
                )
            )
            continue
        found.append(
            judged(
                rule,
                scenario=scenario_name,
                subject=valve.name,
                value=time / size,
                limit=rule.figure,
                clause=(
                    f'"{valve.name}" shuts in {time:.4g} s, which is '
                    if behind
                    else f'"{valve.name}" shuts in ',
                    behind,
                ),
            )
        )
    return found or [passed_over(rule, "no valve shuts in this case")]


def effective_closing(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Time in which the flow through a valve falls from 95 to 5 %, against its pipeline period."""
    found: list[Ruling] = []
    for scenario in ground.lineup.scenarios:
        if ground.applies(rule, scenario=scenario) is not True:
            continue
        of_one = [r for run in ground.runs.get(scenario.name, []) for r in _effective(rule, run)]
        if of_one:
            found.append(max(of_one, key=rank))
    return found or [passed_over(rule, "no valve stops a flow in this case")]


def _effective(rule: Rule, run: ScenarioResult) -> list[Ruling]:
    # The flow is known at samples: both ends of the effective time may lie up to one of them away.
    spacing = max(float(np.max(np.diff(h.time), initial=0.0)) for h in run.histories)
    found = []
    for closure in run.closures:
        if closure.effective is None or closure.period <= 0.0:
            continue
        start = f'In "{run.name}" "{closure.valve}" stops its flow effectively within '
        found.append(
            judged(
                rule,
                scenario=run.name,
                subject=closure.valve,
                value=closure.effective,
                limit=rule.figure * closure.period,
                error=2.0 * spacing,
                clause=(start, f"; its pipeline period is {closure.period:.3g} s"),
            )
        )
    return found

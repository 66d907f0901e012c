"""Rulings on pressures: each finding belongs to a rule, and the worst one of a scenario is its ruling."""

from __future__ import annotations

from dataclasses import replace

from surge.lineup import LineUp
from surge.rulebook import ROUNDING, Rule, RuleBook
from surge.rulings_ground import (
    KEPT,
    NOT_DECIDED,
    NOT_KEPT,
    Answer,
    Ground,
    Ruling,
    Unknown,
    may_apply,
    not_checked,
    passed_over,
    rank,
    stated,
)
from surge.verdict import EXCEEDED, PLACE_RULE, PUMP_TOP_RULE, UNDECIDED, VALID_RULE, Finding

_OF_PLACE = {
    VALID_RULE: "whether the run is valid",
    PUMP_TOP_RULE: "pressure at the top of the cargo pump",
    PLACE_RULE: "pressure over a place's own limit",
}
_CHECK = {
    "static pressure over rating": "static",
    "steady pressure over rating": "steady",
    "peak pressure over rating x allowance": "peak",
    "peak pressure over test pressure": "peak",
    "lowest pressure above the lowest allowed": "lowest",
    "lowest pressure above vapour pressure": "vapour",
}
_EXTREMES = ("peak", "lowest", "vapour")  # checks of what a run gives, with an error, and perhaps boiling
_DISTANCES = ("lowest", "vapour")  # checks whose figure is a distance from the limit, not a share of it
_WORDS = {
    "static": "shut-off pressure",
    "steady": "steady pressure",
    "peak": "highest pressure",
    "lowest": "lowest pressure",
    "vapour": "lowest pressure",
}


def counts(finding: Finding, book: RuleBook) -> bool:
    """Whether a finding counts for the verdict: its rule is in force and required."""
    rule = book.rule(finding.rule)
    return rule is None or rule.required


def with_pump_top(lineup: LineUp, book: RuleBook) -> LineUp:
    """Return the line-up with the book's limit at the top of the cargo pump, where the case gives none.

    Parameters
    ----------
    lineup : LineUp
        Its ``pump_top_source`` is the default where the case gives no limit of its own.
    book : RuleBook
    """
    rule = book.rule(PUMP_TOP_RULE)
    if rule is None or not rule.own or lineup.pump_top_source != LineUp.pump_top_source:
        return lineup
    return lineup.with_(pump_top_limit=rule.figure, pump_top_source=rule.source)


def pressure(rule: Rule, ground: Ground) -> list[Ruling]:
    """The worst finding of every scenario to which the rule applies."""
    worst: dict[str, Ruling] = {}
    unknown: dict[str, Ruling] = {}
    for finding in ground.findings:
        answer = _belongs(rule, ground, finding)
        if isinstance(answer, Unknown):
            unknown.setdefault(answer.reason, may_apply(rule, answer, subject=finding.name))
        if answer is not True:
            continue
        ruling = _ruling(rule, ground, finding)
        old = worst.get(ruling.scenario)
        if old is None or rank(ruling) > rank(old):
            worst[ruling.scenario] = ruling
    if rule.measure == "whether the run is valid" and not worst and ground.applies(rule) is True:
        return [stated(rule, KEPT, "Every run of the case holds: kept.")]
    return [*worst.values(), *unknown.values()] or [
        passed_over(rule, "nothing in the case is held against it")
    ]


def _belongs(rule: Rule, ground: Ground, finding: Finding) -> Answer:
    scenario = ground.scenario.get(finding.scenario)
    if finding.subject != "element":
        return _OF_PLACE[finding.rule] == rule.measure and ground.applies(rule, scenario=scenario)
    if _CHECK.get(rule.measure) != finding.check:
        return False
    element = ground.element.get(finding.name)
    if element is None:  # a supply without a shut-off pressure
        return rule.applies == "always"
    return ground.applies(rule, scenario=scenario, element=element)


def _limit(rule: Rule, ground: Ground, finding: Finding) -> float | None:
    """What the rule holds a finding against [Pa gauge]; None where there is nothing."""
    element = ground.element.get(finding.name)
    if rule.measure == "peak pressure over test pressure":
        test = element.limits.test_pressure if element else None
        return None if test is None else rule.figure * test
    if rule.measure == "peak pressure over rating x allowance" and element is not None:
        rating = element.limits.rating
        return None if rating is None else rule.figure * rating * element.limits.allowance
    if finding.limit is None or rule.measure == "pressure at the top of the cargo pump":
        return finding.limit  # at a pump top the case's own limit goes before the book's
    return finding.limit + rule.figure if finding.check in _DISTANCES else rule.figure * finding.limit


def _outcome(rule: Rule, ground: Ground, finding: Finding, value: float, limit: float) -> str:
    """Outcome of one finding: its own verdict, unless the rule is stricter or has another limit."""
    assert finding.limit is not None
    kept = rule.keeps(value, limit=limit, error=finding.error)
    outcome = NOT_DECIDED if kept is None else KEPT if kept else NOT_KEPT
    if abs(limit - finding.limit) <= ROUNDING * abs(limit):
        if finding.check in _EXTREMES:
            own = {EXCEEDED: NOT_KEPT, UNDECIDED: NOT_DECIDED}
            outcome = own.get(finding.verdict, outcome)
    elif finding.check in _EXTREMES and any(
        run.vapour is not None for run in ground.runs.get(finding.scenario, [])
    ):
        return NOT_DECIDED  # what came before the liquid boiled was held against the finding's limit only
    if finding.check == "static" and outcome == KEPT and not ground.shut_off_known:
        return NOT_DECIDED
    return outcome


def _ruling(rule: Rule, ground: Ground, finding: Finding) -> Ruling:
    limit = _limit(rule, ground, finding)
    if finding.value is None or finding.limit is None or limit is None:
        supply = finding.reason.partition(": ")[2] or finding.reason or "give the limit"
        name = f'"{finding.name}": ' if finding.subject != "scenario" else ""
        made = not_checked(
            rule,
            f"{name}{finding.reason or 'no limit'}",
            supply=supply,
            scenario=finding.scenario,
            subject=finding.name,
        )
        # A run that does not hold lacks nothing that anybody could supply.
        return replace(made, outcome=NOT_DECIDED, supply="") if finding.check == "run" else made
    outcome = _outcome(rule, ground, finding, finding.value, limit)
    where = f' in "{finding.scenario}"' if finding.scenario else ""
    why = f" ({finding.reason})" if outcome == NOT_DECIDED and finding.reason else ""
    made = stated(rule, outcome, "", scenario=finding.scenario, subject=finding.name, limit=limit)
    return replace(
        made,
        value=finding.value,
        margin=rule.margin(finding.value, limit=limit),
        phrase=(
            f'The {_WORDS[finding.check]} of "{finding.name}"{where} is ',
            ("pressure", finding.value),
            f"; {rule.compare} ",
            ("pressure", limit),
            f" is asked: {outcome}{why}.",
        ),
    )

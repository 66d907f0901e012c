"""Rulings on pressures: each finding belongs to a rule, and the worst one of a scenario is its ruling."""

from __future__ import annotations

from dataclasses import replace

from surge.model.lineup import LineUp, Scenario
from surge.rules.book import ROUNDING, Rule, RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding
from surge.rules.ground import (
    KEPT,
    NOT_DECIDED,
    NOT_KEPT,
    Answer,
    RuledCase,
    Ruling,
    Unknown,
    held_to,
    may_apply,
    not_checked,
    passed_over,
    quantities,
    rank,
    stated,
)
from surge.rules.limits import (
    NO_TOP_MARKED,
    PLACE_RULE,
    PUMP_TOP_RULE,
    VALID_RULE,
    Limit,
    LimitedExtreme,
    held_limits,
)

PUMP_TOP = "pressure at the top of the cargo pump"
ALLOWANCE = "allowance on the rating"
_OF_PLACE = {
    VALID_RULE: "whether the run is valid",
    PUMP_TOP_RULE: PUMP_TOP,
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
    """Whether a finding counts for the verdict: its rule is required, or its limit is given.

    A file of rules may set aside a figure of the program's own, never one that stands in the case.
    """
    if finding.rule == PLACE_RULE or (finding.rule == PUMP_TOP_RULE and not _by_default(finding)):
        return True
    rule = book.rule(finding.rule)
    return rule is None or rule.required


def _by_default(finding: Finding) -> bool:
    """Whether a limit at the top of the cargo pump is the program's own: neither case nor file gives it."""
    source = finding.limit_source.partition(NO_TOP_MARKED)[0]
    return (finding.limit, source) == (
        LineUp.pump_top_limit,
        f"top of the cargo pump: {LineUp.pump_top_source}",
    )


def gives_pump_top(lineup: LineUp) -> bool:
    """Whether a limit at the top of the cargo pump is given: the line-up's is not the program's own."""
    own = (LineUp.pump_top_limit, LineUp.pump_top_source)
    return (lineup.pump_top_limit, lineup.pump_top_source) != own


def with_pump_top(lineup: LineUp, book: RuleBook) -> LineUp:
    """Return the line-up with the limit at the top of the cargo pump that a file of rules sets.

    Parameters
    ----------
    lineup : LineUp
    book : RuleBook
        Its rule for the pump top sets aside the program's own figure; of a figure in the case and one in the
        file the smaller holds.
    """
    rule = book.rule(PUMP_TOP_RULE)
    if rule is None or not rule.own or not _in_force(rule, RuledCase(lineup, (), ())):
        return lineup
    given = gives_pump_top(lineup)
    if given and lineup.pump_top_limit <= rule.figure:
        return lineup
    source = rule.source + ", below the figure in the case" * given
    return lineup.with_(pump_top_limit=rule.figure, pump_top_source=source)


def _in_force(rule: Rule, ground: RuledCase) -> bool:
    """Whether a rule is one on the pump top, and the case says that it applies: it may be a higher figure."""
    return rule.measure == PUMP_TOP and rule.required and rule.upper and ground.says(rule) is True


def pump_top_of_the_case(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """Rulings on the figure that the case gives for the pump top, where a file sets the rule on it aside."""
    concerned = PUMP_TOP_RULE in (rule.id, rule.replaces) and gives_pump_top(ground.lineup)
    if not concerned or _in_force(rule, ground):
        return []
    figure = ground.lineup.pump_top_limit
    of_case = replace(
        rule,
        name="Pressure at the top of the cargo pump, as the case gives it",
        text="The pressure at the top of the cargo pump stays within the figure that the case gives.",
        authority="the case itself",
        edition="none",
        clause="none",
        status="common practice, no source",
        measure=PUMP_TOP,
        figure=figure,
        figure_text=f"{figure / 1e5:g} bar(g)",
        compare="at most",
        counts=(),
        requirement="required",
        applies="always",
        reason="",
        note="A file of rules may set aside the program's own figure only.",
        own=False,
    )
    return pressure(of_case, ground)


def searched_limits(lineup: LineUp, book: RuleBook, scenario: Scenario) -> tuple[LimitedExtreme, ...]:
    """Return every limit that a search holds the extremes of a scenario against.

    Parameters
    ----------
    lineup : LineUp
    book : RuleBook
    scenario : Scenario

    Returns
    -------
    tuple of LimitedExtreme
        Those that verdicts hold, and those that required rules of the book set beside them: a stricter share
        of a rating, a distance from boiling, and the rating itself where the allowance may not be used.
    """
    ground = RuledCase(lineup, (), ())
    held = held_limits(lineup)
    found = [
        replace(one, limit=Limit(value=value, source=rule.source, rule=rule.id))
        for rule in book.rules
        if rule.required
        for one in held
        if (value := _ruled_value(rule, ground, one, scenario)) is not None
        and one.margin(value) > ROUNDING * abs(one.limit.value)
    ]
    return (*held, *found)


def _ruled_value(rule: Rule, ground: RuledCase, held: LimitedExtreme, scenario: Scenario) -> float | None:
    """What a rule holds an extreme against [Pa gauge]; None where it holds it against nothing."""
    if rule.upper is not held.upper:
        return None
    element = ground.element.get(held.name) if held.subject == "element" else None
    unused = element is not None and element.limits.allowance > 1.0 and held.check == "peak"
    if unused and element is not None:
        limits = element.limits
        on_conditions = rule.measure == ALLOWANCE and rule.conditions
        untested = rule.measure == "peak pressure over test pressure" and limits.test_pressure is None
        if (on_conditions and ground.applies(rule, scenario=scenario, element=element) is True) or untested:
            return limits.rating
    if rule.measure not in (*_CHECK, *_OF_PLACE.values()):
        return None
    stands = Finding(
        scenario=scenario.name,
        subject=held.subject,
        name=held.name,
        check=held.check,
        value=None,
        error=0.0,
        limit=held.limit.value,
        limit_source=held.limit.source,
        rule=held.limit.rule,
        margin=None,
        time=None,
        distance=None,
        verdict=WITHIN,
    )
    return _limit(rule, ground, stands) if _belongs(rule, ground, stands) is True else None


def pressure(rule: Rule, ground: RuledCase) -> list[Ruling]:
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
        return [stated(rule, KEPT, "Every run of the case holds: met.")]
    return [*worst.values(), *unknown.values()] or [
        passed_over(rule, "nothing in the case is held against it")
    ]


def _belongs(rule: Rule, ground: RuledCase, finding: Finding) -> Answer:
    scenario = ground.scenario.get(finding.scenario)
    if finding.subject != "element":
        return _OF_PLACE[finding.rule] == rule.measure and ground.applies(rule, scenario=scenario)
    if _CHECK.get(rule.measure) != finding.check:
        return False
    element = ground.element.get(finding.name)
    if element is None:  # a supply without a shut-off pressure
        return rule.applies == "always"
    return ground.applies(rule, scenario=scenario, element=element)


def _limit(rule: Rule, ground: RuledCase, finding: Finding) -> float | None:
    """What the rule holds a finding against [Pa gauge]; None where there is nothing."""
    element = ground.element.get(finding.name)
    if rule.measure == "peak pressure over test pressure":
        test = element.limits.test_pressure if element else None
        return None if test is None else rule.figure * test
    if rule.measure == "peak pressure over rating x allowance" and element is not None:
        rating = element.limits.rating
        return None if rating is None else rule.figure * rating * element.limits.allowance
    if finding.limit is None:
        return None
    if rule.measure == PUMP_TOP:
        # The case goes before the program's own figure; of two that are given, the smaller holds.
        if not rule.own:
            return finding.limit
        return rule.figure if _by_default(finding) else min(rule.figure, finding.limit)
    return finding.limit + rule.figure if finding.check in _DISTANCES else rule.figure * finding.limit


def _outcome(rule: Rule, ground: RuledCase, finding: Finding, value: float, limit: float) -> str:
    """Outcome of one finding: its own verdict, unless the rule is stricter or has another limit."""
    assert finding.limit is not None
    kept = rule.keeps(value, limit=limit, error=finding.error)
    outcome = NOT_DECIDED if kept is None else KEPT if kept else NOT_KEPT
    extreme = finding.check in _EXTREMES
    runs = ground.runs.get(finding.scenario, []) if extreme else []
    boiled = [run for run in runs if run.vapour is not None]
    if abs(limit - finding.limit) <= ROUNDING * abs(limit):
        if extreme or finding.verdict == UNDECIDED:
            own = {EXCEEDED: NOT_KEPT, UNDECIDED: NOT_DECIDED}
            # A lowest pressure that boils has no margin: that nothing falls lower is known to the finding.
            own |= {WITHIN: KEPT} if boiled else {}
            outcome = own.get(finding.verdict, outcome)
    elif not all(run.followed for run in boiled):
        return NOT_DECIDED  # what came before the liquid boiled was held against the finding's limit only
    elif outcome == KEPT and any(run.cavities.ranges for run in boiled if run.cavities):
        return NOT_DECIDED
    if finding.check == "static" and outcome == KEPT and not ground.shut_off_known:
        return NOT_DECIDED
    return outcome


def _untested(rule: Rule, ground: RuledCase, finding: Finding) -> Ruling:
    """A peak that may have to stay below a test pressure, which is not given."""
    scenario = ground.scenario.get(finding.scenario)
    users = [
        f'"{e.name}"'
        for e in ground.lineup.elements
        if e.limits.test_pressure is None and ground.uses_allowance(e, scenario)
    ]
    reason = f'"{finding.name}" has no test pressure'
    if f'"{finding.name}"' in users:
        whose = ", ".join(users)
        reason = f'in "{finding.scenario}" a surge uses the allowance of {whose}, without a test pressure'
    listed = ", ".join(users or [f'"{finding.name}"'])
    supply = f"write test_pressure for {listed}"
    return not_checked(rule, reason, supply=supply, scenario=finding.scenario, subject=finding.name)


def _ruling(rule: Rule, ground: RuledCase, finding: Finding) -> Ruling:
    limit = _limit(rule, ground, finding)
    if finding.value is not None and limit is None and rule.measure == "peak pressure over test pressure":
        return _untested(rule, ground, finding)
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
    if outcome == KEPT and finding.boils:
        words = f'The cargo boils in "{finding.name}"{where}; its cavities were followed: met.'
        return replace(made, value=finding.value, phrase=(words,))
    shown, bound = quantities("pressure", finding.value, limit)
    return replace(
        made,
        value=finding.value,
        margin=rule.margin(finding.value, limit=limit),
        phrase=(
            f'The {_WORDS[finding.check]} of "{finding.name}"{where} is ',
            shown,
            *held_to(rule, bound, outcome),
            f"{why}.",
        ),
    )

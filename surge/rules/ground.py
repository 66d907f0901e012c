"""What rulings are made of: the ruling itself, the case that is ruled on, and when a rule applies to it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any, TypeVar

from surge.hydraulics.fixed import at_figures
from surge.model.lineup import Element, LineUp, Pipe, Scenario
from surge.model.topology import sides
from surge.phrases import Phrase, Quantity, told
from surge.rules.book import MEASURES, ROUNDING, WANTED, Rule
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding
from surge.rules.heads import exposed_points
from surge.transient.result import ScenarioResult

KEPT = "kept"
NOT_KEPT = "not kept"
NOT_DECIDED = "not decided"
NOT_CHECKED = "not checked"
NOT_APPLICABLE = "does not apply"
_MET = {KEPT: "met", NOT_KEPT: "not met", NOT_DECIDED: NOT_DECIDED}
_VERDICT = {KEPT: WITHIN, NOT_KEPT: EXCEEDED, NOT_DECIDED: UNDECIDED, NOT_CHECKED: UNDECIDED}

CLOSE = (
    1000.0  # [Pa] pressures nearer than this may show as one figure in the reader's unit: bar, psi, kPa, MPa
)
OLD_OIL_BERTH = date(1980, 11, 1)  # 33 CFR 154.550(c): oil first transferred on or before this day, 60 s
OLD_HAZARDOUS_BERTH = date(1990, 10, 4)  # 33 CFR 154.550(d): hazardous material before this day, 60 s
ALLOWANCE_STEPS = (1.0, 1.1, 1.15, 1.2)  # [-] where one rule on allowances ends and the next begins


@dataclass(frozen=True, kw_only=True)
class Ruling:
    """One rule held against one part of a case.

    Attributes
    ----------
    rule : Rule
    scenario : str
        "" where it holds for the case as a whole.
    subject : str
        The element, tank or place that it is about, "" for none.
    value, limit : float or None
        In SI, of the kind that ``MEASURES[rule.measure].shown`` says; None when there is none.
    margin : float or None
        How far the value stays on the allowed side; negative beyond the limit.
    outcome : str
        "kept", "not kept", "not decided", "not checked" or "does not apply".
    phrase : Phrase
        One plain sentence, pressures in it as quantities; ``words`` is the same in bar.
    supply : str
        What to write so that it can be checked, or so that a rule which is only taken to apply need not be
        held; "" otherwise.
    binding : bool
        Whether it counts: the rule is required, and not known not to apply.
    """

    rule: Rule
    scenario: str
    subject: str
    value: float | None
    limit: float | None
    margin: float | None
    outcome: str
    phrase: Phrase
    supply: str = ""
    binding: bool = False

    @property
    def words(self) -> str:
        """One plain sentence."""
        return told(self.phrase)

    @property
    def to_write(self) -> str:
        """One sentence with what to write in the case, "" for nothing."""
        if not self.supply:
            return ""
        when = "To check it" if self.outcome == NOT_CHECKED else "If the rule does not apply"
        return f"{when}, {self.supply.rstrip('.')}."

    @property
    def verdict(self) -> str:
        """What it adds to the verdict of the case."""
        return _VERDICT.get(self.outcome, WITHIN) if self.binding else WITHIN


@dataclass(frozen=True, kw_only=True)
class Unknown:
    """The case does not say whether a rule applies.

    Attributes
    ----------
    reason, supply : str
        Why, and what to write.
    fact : bool
        It is a fact of cargo, ship or berth: a required rule applies until the case gives it. False: the case
        asks no such question, and the rule has nothing to hold.
    """

    reason: str
    supply: str
    fact: bool = True


Answer = bool | Unknown
T = TypeVar("T")


class RuledCase:
    """The case that is ruled on.

    Parameters
    ----------
    lineup : LineUp
    runs : iterable of ScenarioResult
        Several of one scenario where figures are ranges.
    findings : iterable of Finding
    """

    def __init__(self, lineup: LineUp, runs: Iterable[ScenarioResult], findings: Iterable[Finding]) -> None:
        self.lineup = lineup
        self.findings = tuple(findings)
        self.runs: dict[str, list[ScenarioResult]] = {}
        for run in runs:
            self.runs.setdefault(run.name, []).append(run)
        self.element = {e.name: e for e in lineup.elements}
        self.scenario = {s.name: s for s in lineup.scenarios}
        self._made: dict[Hashable, Any] = {}

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what several rules, or tanks, ask for under a key; it is made when first asked for."""
        if key not in self._made:
            self._made[key] = make()
        made: T = self._made[key]
        return made

    def area(self, run: ScenarioResult, pipe: Pipe) -> float:
        """Bore area of a pipe in a run [m2]: its wall may be a range."""
        if not any((t.subject, t.quantity) == (pipe.name, "wall") for t in run.taken):
            return pipe.area
        return next(p.area for p in at_figures(self.lineup, run.taken).pipes if p.name == pipe.name)

    @cached_property
    def side(self) -> dict[str, str]:
        """Side on which every element stands, as :func:`surge.model.topology.sides`."""
        return sides(self.lineup)

    @cached_property
    def exposed(self) -> set[str]:
        """Points that valves can shut off from every ship's tank."""
        return exposed_points(self.lineup)

    @cached_property
    def static(self) -> dict[str, float]:
        """Greatest static pressure of every element that has one [Pa gauge]."""
        found = [f for f in self.findings if f.check == "static" and f.subject == "element"]
        return {f.name: f.value for f in found if f.value is not None}

    def can_be_shut_off(self, element: Element) -> bool:
        """Whether valves can shut an element off from every ship's tank."""
        return element.start in self.exposed or element.end in self.exposed

    @cached_property
    def shut_off_known(self) -> bool:
        """Whether every supply has a shut-off pressure."""
        return all(s.shut_off is not None for s in self.lineup.supplies)

    @cached_property
    def transfer_before_first(self) -> bool:
        """Whether this transfer is before the first one: then the day of the first is not believed."""
        first, transfer = self.lineup.berth.first_transfer, self.lineup.berth.transfer
        return first is not None and transfer is not None and first > transfer

    def uses_allowance(self, element: Element, scenario: Scenario | None) -> bool:
        """Whether a surge goes above a rating, as the allowance lets it; in any scenario for None."""
        rating = element.limits.rating
        if rating is None or element.limits.allowance <= 1.0:
            return False
        return any(
            (f.subject, f.name, f.check) == ("element", element.name, "peak")
            and (scenario is None or f.scenario == scenario.name)
            and (f.value is not None and f.value + f.error > rating * (1.0 + ROUNDING))
            and f.verdict != EXCEEDED
            for f in self.findings
        )

    @cached_property
    def shutdowns(self) -> tuple[Scenario, ...]:
        """Scenarios with a shutdown chain."""
        return tuple(s for s in self.lineup.scenarios if s.ordered is not None)

    def applies(
        self, rule: Rule, *, scenario: Scenario | None = None, element: Element | None = None
    ) -> Answer:
        """Whether a rule has to be held against the case, a scenario or an element.

        A required rule has to, as long as the case lacks the fact that tells whether it applies.
        """
        answer = self.says(rule, scenario=scenario, element=element)
        taken = rule.required and isinstance(answer, Unknown) and answer.fact
        return True if taken else answer

    def says(self, rule: Rule, *, scenario: Scenario | None = None, element: Element | None = None) -> Answer:
        """Whether the case says that a rule applies to the case, a scenario or an element."""
        return _CONDITIONS[rule.applies](self, scenario, element)


# When a rule applies

Condition = Callable[[RuledCase, Scenario | None, Element | None], Answer]

NO_SHUTDOWN = Unknown(
    reason="the case has no emergency shutdown",
    supply="write a [scenario.shutdown] with its steps",
    fact=False,
)
NO_ULLAGE = Unknown(
    reason="no tank of the ship has an ullage",
    supply="write ullage for the ship's tanks: the volume from the level of the signal to overflow",
)
CHARGE = Unknown(
    reason="the case does not say whether the cargo is a static accumulator",
    supply="write static_accumulator = true or false for the liquid",
)
STAGE = Unknown(
    reason="the scenario does not say at which stage of loading it is",
    supply='write stage = "start", "bulk" or "topping off" in the scenario',
)


def _shutdown(*, hazardous: bool | None = None, old: bool = False) -> Condition:
    def applies(ground: RuledCase, scenario: Scenario | None, _: Element | None) -> Answer:
        berth = ground.lineup.berth
        first = None if ground.transfer_before_first else berth.first_transfer
        before = first is not None and (
            first < OLD_HAZARDOUS_BERTH if berth.hazardous else first <= OLD_OIL_BERTH
        )
        if hazardous is not None and (berth.hazardous is not hazardous or before is not old):
            return False
        if not ground.shutdowns:
            return NO_SHUTDOWN
        return scenario is None or scenario.ordered is not None

    return applies


def _ullage(ground: RuledCase) -> Answer:
    if any(t.ullage is not None for t in ground.lineup.receiving):
        return True
    return NO_ULLAGE if ground.shutdowns else replace(NO_ULLAGE, fact=False)


def _charged(ground: RuledCase) -> Answer:
    charged = ground.lineup.liquid.static_accumulator
    return CHARGE if charged is None else charged


def _charged_at_start(ground: RuledCase, scenario: Scenario | None) -> Answer:
    charged = _charged(ground)
    stages = {s.stage for s in ((scenario,) if scenario else ground.lineup.scenarios)}
    if charged is False or not stages & {"start", ""}:
        return False
    return charged if "start" in stages or charged is not True else STAGE


def _kind(element: Element | None, kind: str) -> bool:
    return isinstance(element, Pipe) and element.kind == kind


def _given(element: Element | None, kind: str, **what: str) -> Answer:
    """Whether an element is of a kind and has the limits that the keywords name."""
    if element is None or not _kind(element, kind):
        return False
    lacking = [key for key in what if getattr(element.limits, key) is None]
    if not lacking:
        return True
    listed = " and ".join(what[key] for key in lacking)
    written = " and ".join(_CASE_KEYS[key] for key in lacking)
    return Unknown(reason=f"a {kind} without {listed}", supply=f"write {written} for each {kind}")


def _shut_off(ground: RuledCase, element: Element | None, *, can: bool) -> Answer:
    """Whether an element is a ship's line that valves can shut off from every tank, or cannot."""
    if not isinstance(element, Pipe) or element.kind != "pipe":
        return False
    side = ground.side[element.name]
    if side == "":
        return Unknown(
            reason="the case does not tell the ship's lines from the shore's",
            supply="write the hose or arm between ship and shore",
        )
    return side == "ship" and ground.can_be_shut_off(element) is can


def _allowance(element: Element | None, low: float, high: float) -> bool:
    return element is not None and low < element.limits.allowance * (1.0 - ROUNDING) <= high


_CASE_KEYS = {"test_pressure": "test_pressure", "burst": "burst_pressure"}
_TEST, _BURST = "test pressure", "burst pressure"
_CONDITIONS: dict[str, Condition] = {
    "always": lambda _g, _s, _e: True,
    "a shutdown is in the case": _shutdown(),
    "a shutdown; oil, first transfer on or before 1980-11-01": _shutdown(hazardous=False, old=True),
    "a shutdown; oil, first transfer later or not stated": _shutdown(hazardous=False),
    "a shutdown; hazardous material, first transfer before 1990-10-04": _shutdown(hazardous=True, old=True),
    "a shutdown; hazardous material, first transfer later or not stated": _shutdown(hazardous=True),
    "a ship's tank has an ullage": lambda g, _s, _e: _ullage(g),
    "the cargo is a static accumulator": lambda g, _s, _e: _charged(g),
    "the cargo is a static accumulator, at the start of loading": lambda g, s, _: _charged_at_start(g, s),
    "hoses": lambda _g, _s, e: _kind(e, "hose"),
    "arms": lambda _g, _s, e: _kind(e, "arm"),
    "a hose whose burst pressure is given": lambda _g, _s, e: _given(e, "hose", burst=_BURST),
    "a hose whose test and burst pressures are given": lambda _g, _s, e: _given(
        e, "hose", test_pressure=_TEST, burst=_BURST
    ),
    "a test pressure is given, or a surge uses an allowance": lambda g, s, e: (
        e is not None and (e.limits.test_pressure is not None or g.uses_allowance(e, s))
    ),
    "a ship's line that a valve can shut off from its tank": lambda g, _s, e: _shut_off(g, e, can=True),
    "a ship's line that is always open to its tank": lambda g, _s, e: _shut_off(g, e, can=False),
    "no allowance is chosen": lambda _g, _s, e: _allowance(e, 0.0, ALLOWANCE_STEPS[0]),
    "an allowance up to 1.10 is chosen": lambda _g, _s, e: _allowance(e, *ALLOWANCE_STEPS[0:2]),
    "an allowance above 1.10, up to 1.15 is chosen": lambda _g, _s, e: _allowance(e, *ALLOWANCE_STEPS[1:3]),
    "an allowance above 1.15, up to 1.20 is chosen": lambda _g, _s, e: _allowance(e, *ALLOWANCE_STEPS[2:4]),
    "an allowance above 1.20 is chosen": lambda _g, _s, e: _allowance(e, ALLOWANCE_STEPS[3], float("inf")),
}


# Rulings


def judged(
    rule: Rule,
    *,
    scenario: str = "",
    subject: str = "",
    value: float,
    limit: float,
    clause: Phrase,
    error: float = 0.0,
) -> Ruling:
    """Hold a value against a limit, in SI; of ``clause``, the first part goes before the value."""
    kept = rule.keeps(value, limit=limit, error=error)
    outcome = NOT_DECIDED if kept is None else KEPT if kept else NOT_KEPT
    kind = MEASURES[rule.measure].shown
    why = " (the error reaches across the limit)" if kept is None else ""
    shown, bound = quantities(kind, value, limit)
    return Ruling(
        rule=rule,
        scenario=scenario,
        subject=subject,
        value=value,
        limit=limit,
        margin=rule.margin(value, limit=limit),
        outcome=outcome,
        phrase=(clause[0], shown, *clause[1:], *held_to(rule, bound, outcome), f"{why}."),
        binding=rule.required,
    )


def held_to(rule: Rule, bound: str | Quantity, outcome: str) -> Phrase:
    """The end of a sentence: to what a rule holds the figure before, and what came of it."""
    return f"; {WANTED[rule.compare]} ", bound, f": {_MET[outcome]}"


def plain(value: float, digits: int) -> str:
    """Return a figure with so many digits, never with a power of ten where it is large."""
    shown = f"{value:.{digits}g}"
    return f"{float(shown):.0f}" if "e+" in shown else shown


def quantities(kind: str, value: float, limit: float) -> tuple[str | Quantity, str | Quantity]:
    """Value and limit as parts of a phrase, with as many digits as tell them apart."""
    if kind == "pressure":
        return _pressures(value, limit)
    unit = {"time": " s", "speed": " m/s"}.get(kind, "")
    for digits in range(3, 9):
        shown, bound = plain(value, digits), plain(limit, digits)
        if shown != bound or abs(value - limit) <= ROUNDING * abs(limit):
            break
    return shown + unit, bound + unit


def _pressures(value: float, limit: float) -> tuple[str | Quantity, str | Quantity]:
    """In the reader's unit; where that may show one figure for both, in bar with more digits."""
    if ROUNDING * abs(limit) < abs(value - limit) < CLOSE:
        for decimals in range(3, 11):
            shown, bound = f"{value / 1e5:.{decimals}f}", f"{limit / 1e5:.{decimals}f}"
            if shown != bound:
                return f"{shown} bar(g)", f"{bound} bar(g)"
    return ("pressure", value), ("pressure", limit)


def not_checked(
    rule: Rule,
    reason: str,
    *,
    supply: str,
    scenario: str = "",
    subject: str = "",
    binding: bool | None = None,
) -> Ruling:
    """A rule that applies, or may apply, and lacks data; ``binding`` is that of the rule by default."""
    made = stated(rule, NOT_CHECKED, f"Not checked: {reason}.", scenario=scenario, subject=subject)
    return replace(made, supply=supply, binding=rule.required if binding is None else binding)


def may_apply(rule: Rule, unknown: Unknown, *, scenario: str = "", subject: str = "") -> Ruling:
    """A rule of which the case does not say whether it applies: listed, and not counted."""
    return not_checked(
        rule, unknown.reason, supply=unknown.supply, scenario=scenario, subject=subject, binding=False
    )


def stated(
    rule: Rule, outcome: str, words: str, *, scenario: str = "", subject: str = "", limit: float | None = None
) -> Ruling:
    """A ruling without a value: something never happens, or the rule does not apply."""
    return Ruling(
        rule=rule,
        scenario=scenario,
        subject=subject,
        value=None,
        limit=limit,
        margin=None,
        outcome=outcome,
        phrase=(words,),
        binding=rule.required and outcome != NOT_APPLICABLE,
    )


def passed_over(rule: Rule, reason: str) -> Ruling:
    """A rule that does not apply to this case."""
    return stated(rule, NOT_APPLICABLE, f"Does not apply: {reason}.")


_RANK = {NOT_KEPT: 4, NOT_CHECKED: 3, NOT_DECIDED: 3, KEPT: 1, NOT_APPLICABLE: 0}


def rank(ruling: Ruling) -> tuple[int, float]:
    """For choosing the worst of several rulings by one rule: greater is worse."""
    if ruling.margin is None or ruling.limit is None:
        return _RANK[ruling.outcome], 0.0
    least = 1e5 if MEASURES[ruling.rule.measure].shown == "pressure" else 1e-9
    return _RANK[ruling.outcome], -ruling.margin / max(abs(ruling.limit), least)

"""A scenario as a check judges it, for a search: what counts, what is in the way, and by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from surge.rules.book import Rule
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, weakest, worst_of
from surge.rules.rulings import NOT_CHECKED, Ruling
from surge.transient.result import ScenarioResult

ULLAGE = "shutdown time over time to fill the ullage"
LEAD = "time from the shore's stop to the ship's first valve"
TIMES = ("time to stop the flow", "total shutdown time", ULLAGE)
EFFECTIVE = "effective closing time over pipeline period"
STROKES = ("stroke time", "stroke time per inch of bore", "stroke time per millimetre of bore")
VELOCITIES = ("velocity", "velocity at the inlets of ship's tanks")
ALLOWANCE, STATIC = "allowance on the rating", "static pressure over rating"
SEVERITY = {WITHIN: 0, UNDECIDED: 1, EXCEEDED: 2}


def slow_side(rule: Rule) -> bool:
    """Whether a rule is broken by strokes that take too long."""
    return rule.measure in (*TIMES, LEAD) or (rule.measure in STROKES and rule.upper)


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """One scenario as a check judges it.

    Attributes
    ----------
    findings : tuple of Finding
        Those that count: static ones and its own.
    broken : tuple of Ruling
        Required rules that it does not keep for certain.
    run : ScenarioResult
        The worst.
    margin : float
        Least margin to a limit of what a search holds, less the numerical error [Pa].
    """

    findings: tuple[Finding, ...]
    broken: tuple[Ruling, ...]
    run: ScenarioResult
    margin: float

    @property
    def verdict(self) -> str:
        """The worst of limits and rules."""
        return worst_of([*(f.verdict for f in self.findings), *(r.verdict for r in self.broken)])

    @property
    def kept(self) -> bool:
        """Whether every limit and every required rule is kept for certain."""
        return self.verdict == WITHIN

    @property
    def kept_by_surge(self) -> bool:
        """Whether all is kept but what a shorter stroke would mend."""
        return self.but_for_time().kept

    def but_for_time(self) -> Judged:
        """The same without rules that a shorter stroke would mend."""
        return replace(self, broken=tuple(r for r in self.broken if not slow_side(r.rule)))

    @property
    def lacking(self) -> float:
        """By how much what is not kept for certain falls short [Pa]; 0 where no margin tells."""
        return max(lacking_margin(self.findings), -self.margin if math.isfinite(self.margin) else 0.0)

    @property
    def hopeless(self) -> bool:
        """Whether something is undecided that no other value would mend: data are missing."""
        lacks = (f for f in self.findings if f.verdict == UNDECIDED and f.margin is None)
        return any(f.check != "run" for f in lacks)

    @property
    def governs(self) -> Finding | None:
        """The nearest limit; of those before any scenario only one that is not kept."""
        own = [f for f in self.findings if f.scenario or f.verdict != WITHIN]
        return weakest(own)

    @property
    def broken_rule(self) -> Ruling | None:
        """A rule that is in the way, where no finding is."""
        if any(f.verdict != WITHIN for f in self.findings):
            return None
        return next(iter(sorted(self.broken, key=lambda r: -SEVERITY[r.verdict])), None)

    @property
    def reason(self) -> str:
        """Why it cannot be told as safe, "" where no more than a pressure is in the way."""
        if (ruling := self.broken_rule) is not None:
            return by_rule(ruling)
        worst = weakest(self.findings)
        return worst.reason if worst is not None else ""


def goes_by_runs(ruling: Ruling) -> bool:
    """Whether a ruling on the case as a whole goes by how things move, or stands before all of it."""
    measure = ruling.rule.measure
    by_case = measure == STATIC or (measure == ALLOWANCE and ruling.outcome == NOT_CHECKED)
    return ruling.scenario == "" and by_case


def by_rule(ruling: Ruling) -> str:
    """A rule that is in the way, in words."""
    return f'the rule "{ruling.rule.name}" [{ruling.rule.source}]: {ruling.words.rstrip(".")}'


def lacking_margin(found: Sequence[Finding]) -> float:
    """By how much what is not kept for certain falls short [Pa]; 0 where no margin tells."""
    short = (f.error - f.margin for f in found if f.margin is not None and f.verdict != WITHIN)
    return max(short, default=0.0)


def beyond(ruling: Ruling) -> float | None:
    """How many times its limit a rule's value is, or the other way round for a lower limit [-]."""
    if ruling.value is None or ruling.limit is None or min(abs(ruling.value), abs(ruling.limit)) <= 0.0:
        return None
    ratio = ruling.value / ruling.limit
    return ratio if ruling.rule.upper else 1.0 / ratio

"""The greatest rate that is safe, with every lower one, at the strokes of a case.

Decisions
---------
* What is told is confirmed as a check would (:mod:`surge.search.judge`): the greatest rate, and lower ones at
  which the margin is least. Rules that go by the flow before anything moves bound the rates that are marched.
* A rate below what flows by itself (a pump that stands still lets more through) cannot be agreed by the speed
  of a pump; :mod:`surge.hydraulics.steady` refuses it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import dropwhile

from surge.errors import CaseError, GridError, SolveError
from surge.hydraulics.formulas import joukowsky
from surge.model.lineup import LineUp, Scenario
from surge.rules.book import RuleBook
from surge.rules.findings import Finding, findings_of, weakest
from surge.rules.rulings import Ruling
from surge.search.bounds import SHARE, up_to_rules
from surge.search.judge import DOUBT, NO_RULES, PROBES, PROBES_RANGED, SURER, Bench, refuted, worst_values
from surge.search.judged import LEAD, STROKES, TIMES, VELOCITIES, Judged, beyond, by_rule
from surge.search.scan import Scanner, plan_at
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.strokes import ATTEMPTS, FIRST_NEED, raised
from surge.transient.run import simulate
from surge.workers import Progress

MORE_RATE = 2.0  # times the agreed rate: as far as a greater one is looked for
LEAST_RATE = 0.05  # of the agreed rate
LOWER = 0.97  # times: the next rate to confirm, where a rule without a figure is in the way
# Where its figure tells: so much below what it asks for, but no farther down at once. Our own choice.
BELOW, LOWEST = 0.995, 0.3
FALL = 1.2  # ratio of neighbouring rates of the first look: the margin falls steadily with the rate


def lower(ruling: Ruling) -> float:
    """Times a rate that breaks a rule: the next to confirm [-], by how far the rule's value is beyond it."""
    return min(LOWER, max(BELOW / (beyond(ruling) or 1.0), LOWEST))


@dataclass(frozen=True, kw_only=True, eq=False)
class RateLimit:
    """The greatest safe rate of a scenario at the strokes of the case.

    Attributes
    ----------
    scenario : str
    agreed : float
        [m3/s]
    greatest : float or None
        [m3/s], rounded down to a thousandth of the agreed rate; None: even the least looked at is unsafe.
    to : float
        Greatest rate looked at [m3/s]: beyond it the line-up may be unable to go.
    governs : Finding or None
        The nearest limit in the run that confirms it.
    unsafe_below : (float, float) or None
        Least and greatest unsafe rate below the agreed one, where that one itself is safe [m3/s].
    rule : Ruling or None
        The rule that a higher rate would break, where one bounds the rates before a pressure does; where none
        is safe, the one that is in the way.
    """

    scenario: str
    agreed: float
    greatest: float | None
    to: float
    governs: Finding | None
    unsafe_below: tuple[float, float] | None = None
    rule: Ruling | None = None

    @property
    def reason(self) -> str:
        """The rule that bounds the rates, in words; "" where a pressure does."""
        return "" if self.rule is None else by_rule(self.rule)


def greatest_rate(
    lineup: LineUp,
    scenario: Scenario,
    *,
    book: RuleBook = NO_RULES,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> RateLimit | None:
    """Search the greatest rate that is safe, with every lower one, at the strokes of the scenario.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    book : RuleBook
        What is told as safe keeps its required rules.
    bench : Bench, optional
        Of this line-up and book: what was run on it is not run again.
    progress : callable, optional

    Returns
    -------
    RateLimit or None
        None where the case has no agreed rate.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    if lineup.rate is None:
        return None
    return _Rates(lineup, scenario, bench or Bench(lineup, book, progress), progress).limit()


class _Rates:
    """One scenario at other rates; what is searched is slowness, the agreed rate over the rate."""

    def __init__(self, lineup: LineUp, scenario: Scenario, bench: Bench, progress: Progress | None) -> None:
        assert lineup.rate is not None
        self.scenario, self.bench = scenario, bench
        self.agreed = scenario.rate or lineup.rate.agreed
        self.tell = progress or (lambda _: None)
        self.lineups = bench.over(scenario)
        limits = bench.limits(scenario)
        self.scanners = [Scanner(one, scenario, limits=limits) for one in self.lineups]
        steady = self.scanners[0].base.steady
        self.rise = max(
            joukowsky(
                density=lineup.liquid.density,
                wave_speed=p.wave_speed,
                velocity=abs(steady.flow[p.name]) / p.area,
            )
            for p in lineup.pipes
        )
        self.samples, self.need = Samples(), FIRST_NEED
        self.minded: dict[float, Ruling] = {}

    def margins(self, slowness: Sequence[float]) -> list[float]:
        """Margins at rates, each at its worst length [Pa]."""
        self.tell(f'"{self.scenario.name}": {len(slowness)} rates')
        rows = [s.at_rates([self.agreed / v for v in slowness]) for s in self.scanners]
        worst = [min(n.margin for n in column) for column in zip(*rows, strict=True)]
        variants = {v: self.at(self.agreed / v) for v in slowness}
        return self.bench.by_march(variants, worst, self.lineups, self.minded)

    def at(self, rate: float) -> Scenario:
        """The scenario at a rate [m3/s]."""
        return replace(self.scenario, rate=rate)

    def judge(self, rate: float) -> Judged:
        """The scenario at a rate, as a check judges it."""
        return self.bench.judge(self.at(rate))

    def limit(self) -> RateLimit | None:
        """The greatest safe rate; None where the line-up can be held to none."""
        # Rates below the least that flows (a pump standing still lets more through) are none to be safe at.
        look = first_look(1 / LEAST_RATE, 1 / MORE_RATE, fall=FALL)
        look = list(dropwhile(lambda v: not self._reached(v), look))
        if not look:
            return None
        made = RateLimit(
            scenario=self.scenario.name,
            agreed=self.agreed,
            greatest=None,
            to=self.agreed * MORE_RATE,
            governs=None,
        )
        look, ruling = up_to_rules(look, self._minding)
        made = replace(made, rule=ruling)
        for _ in range(ATTEMPTS):
            slowness = self._slowness(look) if look else None
            if slowness is None:
                rule = made.rule or self._minded_above(math.inf)
                governs = made.governs or (self._least(look[0]) if look else None)
                return replace(made, rule=rule, governs=governs)
            rate = self._rounded(slowness)
            try:
                judged = self.judge(rate)
            except (CaseError, SolveError):  # the line-up cannot be held to it
                self.samples.margins[self.agreed / rate] = -math.inf
                continue
            except GridError:  # nor does a check tell it
                return made
            made = replace(made, governs=judged.governs)
            if judged.kept:
                if self._others(look, slowness, rate):
                    unsafe = self._unsafe_below(slowness)
                    bound = made.rule if slowness <= look[-1] * (1 + SHARE) else self._minded_above(slowness)
                    return replace(made, greatest=rate, unsafe_below=unsafe, rule=bound)
                continue
            if judged.hopeless:
                return made
            if (found := judged.broken_rule) is not None:
                made = replace(made, rule=found)
                cap = rate * lower(found)
                # What is to be at least so great (a time) does not grow as the rate falls.
                if not found.rule.upper or self.agreed / cap > look[0]:
                    return made
                look = [v for v in look if v > self.agreed / cap] + [self.agreed / cap]
                continue
            self.need = raised(self.need, judged) or 2.0 * self.need
            refuted(self.samples, self.agreed / rate, judged)
        return made

    def _least(self, slowness: float) -> Finding | None:
        """What governs at the least rate looked at, in a single march: nothing rests on it."""
        lineup = self.lineups[0]
        try:
            run = simulate(lineup, self.at(self.agreed / slowness), quick=True)
            return weakest(findings_of(lineup, run))
        except (CaseError, GridError, SolveError):
            return None

    def _minded_above(self, slowness: float) -> Ruling | None:
        """The rule on how a flow stops that is in the way of the least unsafe rate above one."""
        unsafe = (v for v, m in self.samples.margins.items() if v < slowness and not m >= self.need)
        return self.minded.get(max(unsafe, default=0.0))

    def _reached(self, slowness: float) -> bool:
        rate = self.agreed / slowness
        return all(plan_at(one, self.scenario, rate) is not None for one in self.lineups)

    def _rounded(self, slowness: float) -> float:
        return math.floor(1000 / slowness + 1e-9) / 1000 * self.agreed

    def _slowness(self, look: Sequence[float]) -> float | None:
        return smallest_safe(
            self.margins,
            look,
            need=self.need,
            resolution=lambda v: SHARE * v,
            spacing=math.inf,
            hidden=lambda _: 0.0,
            samples=self._samples_from(look[-1]),
        )

    def _samples_from(self, least: float) -> Samples:
        """Samples that may be looked at: none beyond the greatest rate that the rules allow."""
        if any(v < least * (1 - 1e-12) for v in self.samples.margins):
            kept = {v: m for v, m in self.samples.margins.items() if v >= least * (1 - 1e-12)}
            self.samples = Samples(margins=kept)
        return self.samples

    def _minding(self, slowness: float) -> Ruling | None:
        one = self.at(self.agreed / slowness)
        return self.bench.minded_still(one, self.lineups, (*VELOCITIES, *TIMES, LEAD, *STROKES))

    def _others(self, look: Sequence[float], slowness: float, rate: float) -> bool:
        """Confirm lower rates; False where the search has to go on with what they told."""
        if self._grown(self.agreed / rate, self.judge(rate), look, slowness):
            return False
        below = SURER * self.need + DOUBT * self.rise
        most = PROBES if len(self.lineups) == 1 else PROBES_RANGED
        values = worst_values(self.samples, self.agreed / rate, look[0], below=below, most=most)
        others = self.bench.show_each(
            {self.at(self.agreed / v): self.samples.margins[v] - self.need for v in values}
        )
        for v, other in zip(values, others, strict=True):
            if isinstance(other, Exception):
                continue  # a check refuses it too, and tells nothing as kept
            if not other.kept:
                refuted(self.samples, v, other)
                return False
            if self._grown(v, other, look, slowness):
                return False
        return True

    def _grown(self, v: float, judged: Judged, look: Sequence[float], slowness: float) -> bool:
        """Whether the scan was so much off at a rate run in full that what was told does not stand."""
        if v not in self.samples.margins:
            self.samples.look(self.margins, [v])
        promised = self.samples.margins[v] - judged.margin
        if not math.isfinite(promised) or promised <= self.need:
            return False
        self.need = SURER * promised  # so much more than needed that it does not creep up
        return self._slowness(look) != slowness

    def _unsafe_below(self, slowness: float) -> tuple[float, float] | None:
        found = _unsafe_below(self.samples, self.need, self.agreed, slowness)
        try:
            return found if found is None or self.judge(self.agreed).kept else None
        except (CaseError, GridError, SolveError):
            return None


def _unsafe_below(
    samples: Samples, need: float, agreed: float, slowness: float
) -> tuple[float, float] | None:
    """Least and greatest unsafe rate between the greatest safe one and the agreed one, if that is safe."""
    between = [v for v, m in samples.margins.items() if 1.0 < v < slowness and not m >= need]
    near_agreed = min(samples.margins, key=lambda v: abs(v - 1.0))
    if not between or not samples.margins[near_agreed] >= need:
        return None
    return agreed / max(between), agreed / min(between)

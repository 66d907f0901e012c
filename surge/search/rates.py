"""The greatest rate that is safe, with every lower one, at the strokes of a case; what opens a window.

Decisions
---------
* An empty window is opened by a lower rate: at each rate the longest stroke that the rules on time allow, and
  every longer one, must keep the margin.
* A rate below what flows by itself (a pump that stands still lets more through) cannot be agreed by the speed
  of a pump; :mod:`surge.hydraulics.steady` refuses it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import dropwhile

from surge.errors import CaseError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding, findings_of, weakest
from surge.search.scan import Scanner, plan_at
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.strokes import (
    ATTEMPTS,
    CONFIRM_WORK,
    FIRST_NEED,
    SHARE,
    StrokeLimits,
    longest_allowed,
    over_ranges,
    raised,
    rounded_down,
)
from surge.transient.run import simulate
from surge.workers import Progress

MORE_RATE = 2.0  # times the agreed rate: as far as a greater one is looked for
LEAST_RATE = 0.05  # of the agreed rate
FALL = 1.2  # ratio of neighbouring rates of the first look: the margin falls steadily with the rate


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
    """

    scenario: str
    agreed: float
    greatest: float | None
    to: float
    governs: Finding | None
    unsafe_below: tuple[float, float] | None = None


def greatest_rate(
    lineup: LineUp, scenario: Scenario, *, progress: Progress | None = None
) -> RateLimit | None:
    """Search the greatest rate that is safe, with every lower one, at the strokes of the scenario.

    Returns None where the case has no agreed rate.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    if lineup.rate is None:
        return None
    agreed = scenario.rate or lineup.rate.agreed
    tell = progress or (lambda _: None)
    lineups = over_ranges(lineup)
    scanners = [Scanner(one, scenario) for one in lineups]

    def margins(slowness: Sequence[float]) -> list[float]:
        tell(f'"{scenario.name}": {len(slowness)} rates')
        rows = [s.at_rates([agreed / v for v in slowness]) for s in scanners]
        return [min(n.margin for n in column) for column in zip(*rows, strict=True)]

    # Rates below the least that flows (a pump standing still lets more through) are none to be safe at.
    look = first_look(1 / LEAST_RATE, 1 / MORE_RATE, fall=FALL)
    look = list(dropwhile(lambda v: any(plan_at(one, scenario, agreed / v) is None for one in lineups), look))
    if not look:
        return None
    samples = Samples()
    need = FIRST_NEED
    made = RateLimit(
        scenario=scenario.name, agreed=agreed, greatest=None, to=agreed * MORE_RATE, governs=None
    )
    for _ in range(ATTEMPTS):
        slowness = smallest_safe(
            margins,
            look,
            need=need,
            resolution=lambda v: SHARE * v,
            spacing=math.inf,
            hidden=lambda _: 0.0,
            samples=samples,
        )
        if slowness is None:
            return made
        rate = math.floor(1000 / slowness + 1e-9) / 1000 * agreed
        found: list[Finding] = []
        for one in lineups:
            run = simulate(one, replace(scenario, rate=rate), most_work=CONFIRM_WORK, progress=tell)
            found += findings_of(one, run)
        unsafe = _unsafe_below(samples, need, agreed, slowness)
        made = replace(made, governs=weakest(found), unsafe_below=unsafe)
        if all(f.verdict == WITHIN for f in found):
            return replace(made, greatest=rate)
        more = raised(need, found)
        if more is None:
            return made
        need = more
    return made


def _unsafe_below(
    samples: Samples, need: float, agreed: float, slowness: float
) -> tuple[float, float] | None:
    """Least and greatest unsafe rate between the greatest safe one and the agreed one, if that is safe."""
    between = [v for v, m in samples.margins.items() if 1.0 < v < slowness and not m >= need]
    near_agreed = min(samples.margins, key=lambda v: abs(v - 1.0))
    if not between or not samples.margins[near_agreed] >= need:
        return None
    return agreed / max(between), agreed / min(between)


LEAST, MOST = 0.1, 2.0  # of the agreed rate: from there to there rates are looked at (our own bounds)


RATES, STROKES = 1.2, 1.5  # ratio of neighbouring rates of the first look, and of the strokes at each


DENSE = 1.1  # ratio of the strokes that confirm a rate


@dataclass(frozen=True, kw_only=True, eq=False)
class Opening:
    """The greatest rate at which a valve has a window, with every lower one that was looked at.

    Attributes
    ----------
    valve : str
    share : float or None
        Of the agreed rate of every scenario; None: even the least looked at has none.
    rate : float
        The greatest of the scenarios' rates at that share [m3/s].
    stroke : float
        The one stroke that is left at it [s].
    governs : Finding or None
        What stands in the way of a higher rate.
    ends : bool
        Whether higher rates were looked at, and have none.
    """

    valve: str
    share: float | None
    rate: float
    stroke: float
    governs: Finding | None
    ends: bool = True


def opening_rate(
    lineup: LineUp,
    scenarios: Sequence[Scenario],
    parts: Sequence[StrokeLimits],
    *,
    empty: bool,
    book: RuleBook,
    progress: Progress,
) -> Opening | None:
    """Search the greatest rate at which a valve has a window, in all its scenarios at once.

    Parameters
    ----------
    lineup : LineUp
    scenarios : sequence of Scenario
        Those in which the valve closes, and ``parts`` what was found for each.
    empty : bool
        Whether the window is empty at the agreed rate: lower ones are looked at, else higher ones.
    book : RuleBook
    progress : callable

    Returns
    -------
    Opening or None
        None where the case has no agreed rate, or where the rate is not what is in the way.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    if lineup.rate is None or any(p.run is None for p in parts):
        return None
    seek = _Seek(lineup, scenarios, parts, book, progress)
    none = Opening(valve=seek.valve, share=None, rate=0.0, stroke=0.0, governs=None)
    ends = (1 / LEAST, 1.0) if empty else (1.0, 1 / MOST)
    look = [v for v in first_look(*ends, fall=RATES) if seek.reached(1 / v)]
    if not look:
        return None
    samples, need = Samples(), FIRST_NEED
    for _ in range(ATTEMPTS):
        slowness = smallest_safe(
            seek.margins,
            look,
            need=need,
            resolution=lambda v: SHARE * v,
            spacing=math.inf,
            hidden=lambda _: 0.0,
            samples=samples,
        )
        if slowness is None:
            return none
        share = math.floor(1000 / slowness + 1e-9) / 1000
        found, dip = seek.confirm(share), seek.dip(share)
        if dip < 0.0:
            need -= 1.5 * dip  # a longer stroke, between those that were looked at, is not safe
            continue
        if all(f.verdict == WITHIN for f in found):
            rate = max(share * seek.agreed(s) for s in scenarios)
            return Opening(
                valve=seek.valve,
                share=share,
                rate=rate,
                stroke=seek.longest(share),
                governs=weakest(found),
                ends=slowness > look[-1] * (1 + SHARE),
            )
        more = raised(need, found)
        if more is None:
            return none
        need = more
    return none


class _Seek:
    """The scenarios of one valve at shares of their rates."""

    def __init__(
        self,
        lineup: LineUp,
        scenarios: Sequence[Scenario],
        parts: Sequence[StrokeLimits],
        book: RuleBook,
        progress: Progress,
    ) -> None:
        self.lineup, self.scenarios, self.book, self.progress = lineup, scenarios, book, progress
        self.valve = parts[0].valve
        self.from_, self.to = parts[0].from_, max(p.to for p in parts)
        self.lineups = over_ranges(lineup)
        self.allowed: dict[float, float] = {}

    def agreed(self, scenario: Scenario) -> float:
        """The rate of a scenario in the case [m3/s]."""
        assert self.lineup.rate is not None
        return scenario.rate or self.lineup.rate.agreed

    def at(self, scenario: Scenario, share: float) -> Scenario:
        """The scenario at a share of its rate."""
        return replace(scenario, rate=share * self.agreed(scenario))

    def reached(self, share: float) -> bool:
        """Whether every scenario can be held to that share of its rate."""
        return all(
            plan_at(one, s, share * self.agreed(s)) is not None
            for one in self.lineups
            for s in self.scenarios
        )

    def longest(self, share: float) -> float:
        """Longest stroke that the rules on time allow in every scenario [s]; 0: none is short enough.

        Only where there is an ullage to fill does it go by the rate.
        """
        if all(t.ullage is None for t in self.lineup.tanks):
            share = 1.0
        if share not in self.allowed:
            least = self.to
            for scenario in self.scenarios:
                one = self.at(scenario, share)
                slow, _ = longest_allowed(
                    self.lineup,
                    one,
                    self.valve,
                    book=self.book,
                    run=simulate(self.lineups[0], one, quick=True),
                    shortest=self.from_,
                    longest=self.to,
                )
                least = least if slow is None else min(least, slow)
            self.allowed[share] = rounded_down(least)
        return self.allowed[share]

    def margins(self, slowness: Sequence[float]) -> list[float]:
        """Margin of the longest stroke allowed, and of every longer one, at each rate [Pa]."""
        self.progress(f'"{self.valve}": rates at which the window opens')
        return [self._margin(1 / v) for v in slowness]

    def _margin(self, share: float) -> float:
        try:
            stroke = self.longest(share)
            if stroke <= 0.0:
                return -math.inf
            at = self._least_margin(share, [stroke])
            if at < 0.0:
                return at  # the longer ones need not be looked at
            return self._least_margin(share, first_look(max(self.to, 1.01 * stroke), stroke, fall=STROKES))
        except (CaseError, SolveError):
            return -math.inf  # a rate that the line-up cannot be held to

    def dip(self, share: float) -> float:
        """The least margin of all strokes from the longest allowed on, looked at closely [Pa]."""
        stroke = self.longest(share)
        return self._least_margin(share, first_look(max(self.to, 1.01 * stroke), stroke, fall=DENSE))

    def _least_margin(self, share: float, strokes: Sequence[float]) -> float:
        least = math.inf
        for one in self.lineups:
            for scenario in self.scenarios:
                base = self.at(scenario, share)
                variants = [with_strokes(base, {self.valve: s}) for s in strokes]
                least = min([least, *(near.margin for near in Scanner(one, base).moved(variants))])
        return least

    def confirm(self, share: float) -> list[Finding]:
        """Findings of full runs at a rate, with the one stroke that is left."""
        stroke = self.longest(share)
        found: list[Finding] = []
        for one in self.lineups:
            for scenario in self.scenarios:
                changed = with_strokes(self.at(scenario, share), {self.valve: stroke})
                run = simulate(one, changed, most_work=CONFIRM_WORK, progress=self.progress)
                found += findings_of(one, run)
        return found

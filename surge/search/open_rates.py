"""The rate at which an empty window opens, or above which an open one is empty.

Decisions
---------
* An empty window is opened by a lower rate: at each rate the longest stroke that the rules on time allow, and
  every longer one, must keep the margin.
* Rules on velocities need no march: no rate beyond them is looked at.
* All strokes of all rates of a look are marched together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from surge.errors import CaseError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding, weakest
from surge.rules.rulings import Ruling
from surge.search.bounds import SHARE, longest_allowed, rounded_down, up_to_rules
from surge.search.judge import Bench
from surge.search.judged import VELOCITIES, Judged
from surge.search.rates import LOWER, lower
from surge.search.scan import VariantMarches, plan_at, see_nearest
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.strokes import ATTEMPTS, FIRST_NEED, StrokeLimits, raised
from surge.transient.first_march import look_with_curves
from surge.transient.plan import moved_otherwise, plan
from surge.workers import Once, Progress, each

LEAST, MOST = 0.1, 2.0  # of the agreed rate: from there to there rates are looked at (our own bounds)
RATES, SPREAD = 1.2, 1.5  # ratio of neighbouring rates of the first look, and of the strokes at each
DENSE = 1.1  # ratio of the strokes that confirm a rate


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenRate:
    """The greatest rate at which a valve has a window, with every lower one that was looked at.

    Attributes
    ----------
    valve : str
    share : float or None
        Of the agreed rate of every scenario, but of stages that keep their own; None: even the least looked
        at has none.
    rate : float
        The greatest of the scenarios' rates at that share [m3/s].
    stroke : float
        The one stroke that is left at it [s].
    governs : Finding or None
        What stands in the way of a higher rate.
    ends : bool
        Whether higher rates were looked at, and have none.
    several : bool
        Whether the scenarios have different rates: the window is there with all of them at that share.
    rule : Ruling or None
        The rule that a higher rate would break, where one bounds the rates before a pressure does.
    """

    valve: str
    share: float | None
    rate: float
    stroke: float
    governs: Finding | None
    ends: bool = True
    several: bool = False
    rule: Ruling | None = None


def opening_rate(
    lineup: LineUp,
    scenarios: Sequence[Scenario],
    parts: Sequence[StrokeLimits],
    *,
    aside: Sequence[StrokeLimits] = (),
    empty: bool,
    book: RuleBook,
    progress: Progress,
    bench: Bench | None = None,
) -> OpenRate | None:
    """Search the greatest rate at which a valve has a window, in all its scenarios at once.

    Parameters
    ----------
    lineup : LineUp
    scenarios : sequence of Scenario
        Those in which the valve closes, and ``parts`` what was found for each.
    aside : sequence of StrokeLimits
        What was found at stages that keep their rate: the stroke stays within it.
    empty : bool
        Whether the window is empty at the agreed rate: lower ones are looked at, else higher ones.
    book : RuleBook
    progress : callable
    bench : Bench, optional
        Of this line-up and book.

    Returns
    -------
    OpenRate or None
        None where the case has no agreed rate, or where the rate is not what is in the way.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    if lineup.rate is None or any(p.run is None for p in parts):
        return None
    seek = _Seek(lineup, scenarios, parts, bench or Bench(lineup, book, progress), progress, aside=aside)
    none = OpenRate(valve=seek.valve, share=None, rate=0.0, stroke=0.0, governs=None)
    ends = (1 / LEAST, 1.0) if empty else (1.0, 1 / MOST)
    look = [v for v in first_look(*ends, fall=RATES) if seek.reached(1 / v)]
    if not look:
        return None
    look, rule = up_to_rules(look, seek.minding)
    if not look:
        return replace(none, rule=rule)
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
        if (dip := seek.dip(share)) < 0.0:
            need -= 1.5 * dip  # a longer stroke, between those that were looked at, is not safe
            continue
        found = seek.confirm(share)
        if all(one.kept for one in found):
            rates = {share * seek.agreed(s) for s in scenarios}
            return OpenRate(
                valve=seek.valve,
                share=share,
                rate=max(rates),
                several=len(rates) > 1,
                stroke=seek.longest(share),
                governs=weakest(f for one in found for f in one.findings),
                ends=rule is not None or slowness > look[-1] * (1 + SHARE),
                rule=rule if slowness <= look[-1] * (1 + SHARE) else None,
            )
        worst = max(found, key=lambda one: one.lacking)
        if any(one.hopeless for one in found):
            return none
        if all(f.verdict == WITHIN for one in found for f in one.findings):  # a rule is in the way
            broken = [r for one in found if (r := one.broken_rule) is not None]
            rule = min(broken, key=lower, default=rule)
            cap = share * min(map(lower, broken), default=LOWER)
            if cap <= 1 / look[0]:
                return none
            look = [v for v in look if v > 1 / cap] + [1 / cap]
            samples = Samples(margins={v: m for v, m in samples.margins.items() if v >= 1 / cap})
            continue
        need = raised(need, worst) or 2.0 * need
    return none


class _Seek:
    """The scenarios of one valve at shares of their rates."""

    def __init__(
        self,
        lineup: LineUp,
        scenarios: Sequence[Scenario],
        parts: Sequence[StrokeLimits],
        bench: Bench,
        progress: Progress,
        *,
        aside: Sequence[StrokeLimits],
    ) -> None:
        self.lineup, self.scenarios, self.bench, self.progress = lineup, scenarios, bench, progress
        self.valve = parts[0].valve
        self.together = {p.scenario: p.together or (p.valve,) for p in parts}
        self.from_, self.to = parts[0].from_, max(p.to for p in parts)
        self.most = min((p.longest for p in aside if p.longest is not None), default=self.to)
        self.least = max((p.shortest for p in aside if p.shortest is not None), default=0.0)
        self.lineups = bench.over(scenarios[0])
        self.allowed: Once[float, float] = Once()
        self.same = math.inf, -math.inf, 0.0  # from one share to another this is the longest stroke [s]
        self.marches = {
            (k, s.name): VariantMarches(one, see_nearest, limits=bench.limits(s))
            for k, one in enumerate(self.lineups)
            for s in scenarios
        }

    def agreed(self, scenario: Scenario) -> float:
        """The rate of a scenario in the case [m3/s]."""
        assert self.lineup.rate is not None
        return scenario.rate or self.lineup.rate.agreed

    def at(self, scenario: Scenario, share: float) -> Scenario:
        """The scenario at a share of its rate."""
        return replace(scenario, rate=share * self.agreed(scenario))

    def with_stroke(self, scenario: Scenario, stroke: float) -> Scenario:
        """The scenario with another stroke of the valve, and of those that move with it [s]."""
        return with_strokes(scenario, dict.fromkeys(self.together[scenario.name], stroke))

    def reached(self, share: float) -> bool:
        """Whether every scenario can be held to that share of its rate."""
        return all(
            plan_at(one, s, share * self.agreed(s)) is not None
            for one in self.lineups
            for s in self.scenarios
        )

    def minding(self, slowness: float) -> Ruling | None:
        """A required rule on velocities that some scenario breaks at that share of its rate."""
        each_at = (self.at(scenario, 1 / slowness) for scenario in self.scenarios)
        minded = (self.bench.minded_still(one, self.lineups, VELOCITIES) for one in each_at)
        return next((ruling for ruling in minded if ruling is not None), None)

    def longest(self, share: float) -> float:
        """Longest stroke that the rules on time allow in every scenario [s]; 0: none is short enough.

        Only where there is an ullage to fill does it go by the rate, and a lower rate fills it later: it is
        the same at all rates between two at which it is the same.
        """
        if all(t.ullage is None for t in self.lineup.tanks):
            share = 1.0
        low, high, stroke = self.same
        if low <= share <= high:
            return stroke

        def allowed() -> float:
            found = each(lambda s: self._longest_in(s, share), self.scenarios)
            return rounded_down(min([self.to, self.most, *(slow for slow in found if slow is not None)]))

        return self.allowed.get(share, allowed)

    def _longest_in(self, scenario: Scenario, share: float) -> float | None:
        one = self.at(scenario, share)
        slow, _ = longest_allowed(
            self.lineup,
            one,
            self.together[scenario.name],
            book=self.bench.book,
            run=look_with_curves(plan(self.lineups[0], one)),
            shortest=self.from_,
            longest=self.to,
            bench=self.bench,
        )
        return slow

    def margins(self, slowness: Sequence[float]) -> list[float]:
        """Margin of the longest stroke allowed, and of every longer one, at each rate [Pa]."""
        self.progress(f'"{self.valve}": rates at which the window opens')
        shares = [1 / v for v in slowness]
        self._see_ends(min(shares), max(shares))
        asked = dict(zip(shares, each(self._strokes, shares), strict=True))
        found = self._least_margins({share: strokes for share, strokes in asked.items() if strokes})
        return [found.get(share, -math.inf) for share in shares]

    def _see_ends(self, low: float, high: float) -> None:
        """Ask for the longest stroke at both ends of the shares: where it is the same, so it is between."""
        if self.same[0] <= low <= high <= self.same[1]:
            return
        try:
            at_low, at_high = each(self.longest, [low, high])
        except (CaseError, SolveError):
            return  # one cannot be held to: each share is asked for by itself
        if at_low == at_high:
            self.same = low, high, at_low

    def _strokes(self, share: float) -> list[float]:
        """Strokes to look at, from the longest allowed on [s]; none where none is short enough."""
        try:
            stroke = self.longest(share)
        except (CaseError, SolveError):
            return []  # a rate that the line-up cannot be held to
        if stroke <= 0.0 or stroke < self.least:
            return []
        return first_look(max(self.to, 1.01 * stroke), stroke, fall=SPREAD)

    def dip(self, share: float) -> float:
        """The least margin of all strokes from the longest allowed on, looked at closely [Pa]."""
        stroke = self.longest(share)
        strokes = first_look(max(self.to, 1.01 * stroke), stroke, fall=DENSE)
        return self._least_margins({share: strokes})[share]

    def _least_margins(self, asked: Mapping[float, Sequence[float]]) -> dict[float, float]:
        """Share of the rates -> the least margin of its strokes in any scenario [Pa]; marched together."""

        def of_one(pair: tuple[int, Scenario]) -> dict[float, float]:
            k, scenario = pair
            owners, plans = [], []
            least = dict.fromkeys(asked, math.inf)
            for share, strokes in asked.items():
                base = plan_at(self.lineups[k], scenario, share * self.agreed(scenario))
                if base is None:
                    least[share] = -math.inf
                    continue
                owners += [share] * len(strokes)
                plans += [moved_otherwise(base, self.with_stroke(base.scenario, s)) for s in strokes]
            for share, near in zip(owners, self.marches[k, scenario.name].look(plans), strict=True):
                least[share] = min(least[share], near.margin)
            return least

        found = each(of_one, [(k, s) for k in range(len(self.lineups)) for s in self.scenarios])
        return {share: min(one[share] for one in found) for share in asked}

    def confirm(self, share: float) -> list[Judged]:
        """Every scenario at a rate, with the one stroke that is left, as a check judges it."""
        stroke = self.longest(share)
        found = []
        for one in self.bench.judge_each(
            [self.with_stroke(self.at(s, share), stroke) for s in self.scenarios]
        ):
            if isinstance(one, Exception):
                raise one
            found.append(one)
        return found

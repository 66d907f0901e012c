"""How fast surge lets one valve close in one scenario, and how slowly the rules on time.

Decisions
---------
* What is found by batches is confirmed as a check would (:mod:`surge.search.judge`): the shortest stroke, the
  longest that the rules on time allow, and the strokes between at which the margin is least. Where one of
  them does not keep every limit and rule for certain, it is not inside, the margin asked for grows by what
  was lacking, and the search goes on.
* The margin asked for is never less than ``SURER`` times what the scan was seen to promise too much.
* Where figures are ranges every stroke is looked at for some points of them (:meth:`Bench.over`), and
  confirmed as a check judges ranges.
* Rules on time need no march: they are asked from ``SHORTEST_STROKE`` on, wherever a search begins.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from surge.errors import GridError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import refuse_unordered
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, weakest
from surge.rules.static import static_over_densities
from surge.search.bounds import (
    longest_allowed,
    resolution,
    rounded_down,
    rounded_up,
    shortest_by_rules,
)
from surge.search.judge import DOUBT, PROBES, PROBES_RANGED, SURER, Bench, refuted, worst_values
from surge.search.judged import Judged, beyond, by_rule
from surge.search.movers import held_beside, moving_valves
from surge.search.scan import NearestLimit
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.stroke_family import StrokeFamily
from surge.transient.result import ScenarioResult
from surge.workers import Progress

SHORTEST_STROKE = (
    1.0  # [s] looked at unless asked otherwise; our own bound: cargo valves take several seconds
)
LEAST_LONGEST, PERIODS_LONGEST = 120.0, 20.0  # the longest looked at: the larger of [s] and periods
FIRST_NEED = 2000.0  # [Pa] margin asked for before the numerical error is known
ATTEMPTS = 12  # to confirm a stroke by a full run, each with a margin raised by what was lacking
LONGER = 1.1  # times: the next stroke to confirm, where a rule without a margin is in the way


@dataclass(frozen=True, kw_only=True)
class Looked:
    """One stroke, or one rate, that was looked at: its value [s] or [m3/s], and how near a limit comes."""

    value: float
    near: NearestLimit


@dataclass(frozen=True, kw_only=True, eq=False)
class StrokeLimits:
    """What one scenario allows one valve.

    Attributes
    ----------
    valve, scenario : str
    period : float
        Longest pipeline period of the valve [s].
    stroke : float
        In the case [s].
    shortest : float or None
        Shortest safe stroke [s], rounded up; None: none is.
    from_, to : float
        Shortest and longest stroke looked at [s].
    governs : Finding or None
        The nearest limit in the run that confirms the shortest stroke, or what is in the way; None where that
        is a rule, which ``reason`` names.
    run : ScenarioResult or None
        That run.
    looked : tuple of Looked
        Every stroke looked at, in order.
    longest : float or None
        Longest stroke that the rules on time allow [s], rounded down; None: no rule binds it. 0: every
        stroke takes too long.
    slow_rule : Rule or None
        The rule that a longer stroke would break.
    fast_rule : Rule or None
        The rule that a shorter stroke would break, where one bounds the window before a pressure does.
    reason : str
        Why no stroke is safe, or why it cannot be decided; "" otherwise.
    verdict : str
        Kept: there is a window; exceeded: there is none; or it cannot be decided.
    together : tuple of str
        Valves that share the stroke, this one among them.
    held : dict of str to float
        Other valves that move in the scenario -> the stroke that they kept meanwhile [s].
    opens : bool
        The strokes are those of opening, not of closing.
    """

    valve: str
    scenario: str
    period: float
    stroke: float
    shortest: float | None
    from_: float
    to: float
    governs: Finding | None
    run: ScenarioResult | None
    looked: tuple[Looked, ...]
    longest: float | None
    slow_rule: Rule | None
    reason: str
    verdict: str
    fast_rule: Rule | None = None
    together: tuple[str, ...] = ()
    held: dict[str, float] = field(default_factory=dict)
    opens: bool = False

    @property
    def open(self) -> bool:
        """Whether some stroke is neither too fast nor too slow."""
        return self.shortest is not None and (self.longest is None or self.shortest <= self.longest)


def stroke_limits(
    lineup: LineUp,
    scenario: Scenario,
    valve: str,
    *,
    book: RuleBook,
    together: Sequence[str] = (),
    opens: bool = False,
    shortest: float = SHORTEST_STROKE,
    longest: float | None = None,
    useful: float | None = None,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> StrokeLimits:
    """Search the window of one valve in one scenario, everything else as the scenario has it.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    valve : str
        It closes in the scenario, or opens.
    book : RuleBook
        What is told as safe keeps its required rules; those on time bound the stroke from above.
    together : sequence of str
        Valves that share the stroke; the valve alone without it.
    opens : bool
        Search the stroke of opening; rules on time are for closing, and do not bound it.
    shortest, longest : float
        Strokes looked at [s]; the longest by default the larger of 120 s and 20 pipeline periods.
    useful : float, optional
        The shortest that is of use [s], since elsewhere no shorter one is safe: the search begins there,
        where longer ones are looked at.
    bench : Bench, optional
        Of this line-up and book: what was run on it is not run again.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    bench = bench or Bench(lineup, book, progress)
    family = StrokeFamily(
        lineup, scenario, together or (valve,), progress or (lambda _: None), bench=bench, opens=opens
    )
    to = longest or max(LEAST_LONGEST, PERIODS_LONGEST * family.period)
    refuse_unordered(shortest, to, stated=longest is not None)
    if useful is not None and shortest < useful < to:
        shortest = useful
    return replace(
        _limits(family, valve, shortest, to),
        together=family.valves,
        held=held_beside(lineup, scenario, family.valves),
        opens=opens,
    )


def _limits(family: StrokeFamily, valve: str, shortest: float, to: float) -> StrokeLimits:
    lineup, scenario, book = family.lineup, family.scenario, family.bench.book
    blocked = _blocked(lineup, family, to)
    if blocked is not None:
        return blocked
    least, fast_rule, broken = shortest_by_rules(
        family.bench, scenario, family.lineups, family.with_stroke, shortest=shortest, to=to
    )
    if broken is not None:
        return _no_stroke(family, to, governs=None, reason=by_rule(broken), verdict=EXCEEDED)
    search = _Search(family, least, to, book)
    judged, stroke = search.confirmed()
    fast_rule = search.raised_by or fast_rule
    slow, rule = search.slow
    reason, verdict = "", WITHIN
    if stroke is None:
        slow = rule = None
        judged = judged if search.late else judged.but_for_time()
        verdict = judged.verdict
        reason = judged.reason or f"even {to:g} s is not shown to be safe"
        verdict = verdict if verdict != WITHIN else UNDECIDED
    elif slow is not None and stroke > slow:
        verdict = EXCEEDED
    return StrokeLimits(
        valve=valve,
        scenario=scenario.name,
        period=family.period,
        stroke=moving_valves(lineup, scenario, opens=family.opens)[valve],
        shortest=stroke,
        from_=shortest,
        to=to,
        governs=None if stroke is None and judged.broken_rule is not None else judged.governs,
        run=judged.run,
        looked=tuple(Looked(value=s, near=family.near[s]) for s in sorted(family.near)),
        longest=slow,
        slow_rule=rule,
        reason=reason,
        verdict=verdict,
        fast_rule=fast_rule if stroke is not None else None,
    )


class _Search:
    """Search, and confirm what is found; the margin asked for grows by what the scan promised too much."""

    def __init__(self, family: StrokeFamily, shortest: float, longest: float, book: RuleBook) -> None:
        self.family, self.shortest, self.longest, self.book = family, shortest, longest, book
        self.samples = Samples()
        self.need, self.floor = FIRST_NEED, shortest
        self.raised_by: Rule | None = None
        self.late = False  # a rule on time is in the way though the strokes are short enough for it
        self.slow: tuple[float | None, Rule | None] = (None, None)

    def confirmed(self) -> tuple[Judged, float | None]:
        """The shortest stroke that is safe with every longer one, and how it is judged."""
        for _ in range(ATTEMPTS):
            told = self._shortest()
            if told is None:
                break
            judged = self.family.judge(told)
            if not judged.kept_by_surge:
                if not self._step(told, judged):
                    return judged, None
            elif self._others(told, judged):
                self.raised_by = self.raised_by or self._minded_below(told)
                in_time = self.slow[0] is None or told <= self.slow[0]
                self.late = in_time and not judged.kept
                return judged, None if self.late else told
        return self.family.judge(self.longest), None

    def _minded_below(self, told: float) -> Rule | None:
        """The rule on how a flow stops that is in the way of the longest unsafe stroke below one."""
        unsafe = (v for v, m in self.samples.margins.items() if v < told and not m >= self.need)
        ruling = self.family.minded.get(max(unsafe, default=0.0))
        return ruling.rule if ruling is not None else None

    def _shortest(self) -> float | None:
        family = self.family
        stroke = smallest_safe(
            family.margins,
            first_look(self.longest, self.shortest),
            need=self.need,
            resolution=resolution,
            spacing=family.period / 4,
            hidden=family.hidden,
            samples=self.samples,
        )
        return None if stroke is None else min(max(rounded_up(stroke), self.floor), self.longest)

    def _step(self, stroke: float, judged: Judged) -> bool:
        """Ask for more after a stroke that is not safe; False where nothing would help."""
        if judged.hopeless or stroke >= self.longest:
            return False
        if any(f.verdict != WITHIN for f in judged.findings):
            if not self._raise(judged):
                self.floor = rounded_up(LONGER * stroke)
            if judged.lacking > 0.0:
                refuted(self.samples, stroke, judged)
            return True
        ruling = judged.broken_rule
        if ruling is not None:
            times = beyond(ruling) or LONGER
            self.floor = rounded_up(stroke * max(LONGER, min(1.02 * times, 3.0)))
            self.raised_by = ruling.rule
        return True

    def _raise(self, judged: Judged) -> bool:
        """Ask for the margin that a stroke lacked; False where even the longest stroke has no such margin.

        There the margin is small whatever the stroke, and the error was that of one stroke: the next ones
        are tried instead.
        """
        more = raised(self.need, judged)
        if more is None or not self.samples.margins.get(self.longest, math.inf) >= more:
            return False
        self.need = max(self.need, more)
        return True

    def _others(self, told: float, judged: Judged) -> bool:
        """Confirm other strokes of the window; False where the search has to go on with what they told."""
        family = self.family
        self.slow = (
            (None, None)
            if family.opens
            else longest_allowed(
                family.lineup,
                family.scenario,
                family.valves,
                book=self.book,
                run=judged.run,
                shortest=min(self.shortest, SHORTEST_STROKE),
                longest=self.longest,
                bench=family.bench,
            )
        )
        if self._grown(told, judged, told):
            return False
        to = self.longest if self.slow[0] is None else self.slow[0]
        strokes = [] if to <= told else self._worst(told, to)
        others = family.bench.show_each({family.with_stroke(s): self._least(s) for s in strokes})
        for stroke, other in zip(strokes, others, strict=True):
            if isinstance(other, GridError):
                continue  # a check refuses it too, and tells nothing as kept
            if isinstance(other, Exception):
                raise other
            if not other.kept_by_surge:
                refuted(self.samples, stroke, other)
                self._raise(other)
                return False
            if self._grown(stroke, other, told):
                return False
        return self._keeps_time(told, judged)

    def _worst(self, told: float, to: float) -> list[float]:
        below = SURER * self.need + DOUBT * self.family.rise
        most = PROBES if len(self.family.lineups) == 1 else PROBES_RANGED
        return worst_values(self.samples, told, to, below=below, most=most)

    def _least(self, stroke: float) -> float:
        """The margin that a full run has to have for the scan to be as good as it is taken to be [Pa]."""
        return self.family.margin(stroke) - self.need

    def _grown(self, stroke: float, judged: Judged, told: float) -> bool:
        """Whether the scan was so much off at a stroke run in full that what was told does not stand."""
        promised = self.family.margin(stroke) - judged.margin
        if not math.isfinite(promised) or promised <= self.need:
            return False
        self.need = SURER * promised  # so much more than needed that it does not creep up
        return self._shortest() != told

    def _keeps_time(self, told: float, judged: Judged) -> bool:
        """Bring the longest stroke down to one that a check confirms; False where it is not safe at all."""
        slow, rule = self.slow
        if slow is None or told > slow or not judged.kept:
            return True
        for _ in range(ATTEMPTS):
            other = self.family.judge(slow)
            if other.kept:
                self.slow = slow, rule
                return True
            if not other.kept_by_surge:
                refuted(self.samples, slow, other)
                self._raise(other)
                return False
            slow = max(told, rounded_down(0.98 * slow))
            rule = next((r.rule for r in other.broken), rule)
        self.slow = told, rule
        return True


def _no_stroke(
    family: StrokeFamily, to: float, *, governs: Finding | None, reason: str, verdict: str
) -> StrokeLimits:
    return StrokeLimits(
        valve=family.valves[0],
        scenario=family.scenario.name,
        period=family.period,
        stroke=moving_valves(family.lineup, family.scenario, opens=family.opens)[family.valves[0]],
        shortest=None,
        from_=0.0,
        to=to,
        governs=governs,
        run=None,
        looked=(),
        longest=None,
        slow_rule=None,
        reason=reason,
        verdict=verdict,
    )


def _blocked(lineup: LineUp, family: StrokeFamily, to: float) -> StrokeLimits | None:
    """What no stroke can mend: shut-off pressure above a rating."""
    over = [f for f in static_over_densities(lineup) if f.verdict != WITHIN]
    if not over:
        return None
    worst_one = weakest(over)
    assert worst_one is not None
    certain = worst_one.verdict == EXCEEDED
    return _no_stroke(
        family,
        to,
        governs=worst_one,
        reason="shut-off pressure alone is above a limit: no stroke time is safe"
        if certain
        else worst_one.reason,
        verdict=worst_one.verdict,
    )


def raised(need: float, judged: Judged) -> float | None:
    """The margin to ask for next [Pa], after a full run has lacked some; None where no margin tells."""
    lacking = judged.lacking
    if lacking <= 0.0:
        return None
    # The error may grow again with another stroke: a need that crept up would never be met.
    return need + max(1.5 * lacking, 0.5 * need)

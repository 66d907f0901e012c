"""How fast surge lets one valve close in one scenario, and how slowly the rules on time.

Decisions
---------
* A wave that returns is taken to swing the margin by the instant-stop rise times (period/stroke) squared. On
  the demo cases, from 3 to 48 periods, it was 0.17 of that at most.
* What is found by batches is confirmed by full runs (:func:`surge.transient.run.simulate`). Where one of them
  does not keep every limit, the margin asked for grows by what it lacks, and the search goes on.
* With a range of lengths or wave speeds every stroke is judged by the worst of ``LENGTH_COUNT`` times
  ``SPEED_COUNT`` figures within them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from surge.hydraulics.formulas import joukowsky
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import all_shares, at_shares
from surge.model.stroke import with_strokes
from surge.model.topology import pipeline_period
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, findings_of, weakest, worst_of
from surge.rules.rulings import rule_on
from surge.rules.static import static_findings
from surge.search.scan import NearestLimit, Scanner
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.transient.plan import MOST_WORK
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.workers import Progress

SHORTEST_STROKE = (
    1.0  # [s] looked at unless asked otherwise; our own bound: cargo valves take several seconds
)
LEAST_LONGEST, PERIODS_LONGEST = 120.0, 20.0  # the longest looked at: the larger of [s] and periods
FINEST, SHARE = 0.1, 0.01  # resolution: the larger of [s] and a share of the stroke
FIRST_NEED = 2000.0  # [Pa] margin asked for before the numerical error is known
ATTEMPTS = 9  # to confirm a stroke by a full run, each with a margin raised by what was lacking
# Work of the runs that confirm a stroke or a rate: a check may take more; here a greater error only asks for
# a somewhat longer stroke, and many runs are wanted soon.
CONFIRM_WORK = MOST_WORK
LENGTH_COUNT, SPEED_COUNT = 5, 3  # figures looked at of a length and of wave speeds that are ranges
ULLAGE = "shutdown time over time to fill the ullage"
TIMES = ("time to stop the flow", "total shutdown time", ULLAGE)


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
        The nearest limit in the run that confirms the shortest stroke, or what is in the way.
    run : ScenarioResult or None
        That run.
    looked : tuple of Looked
        Every stroke looked at, in order.
    longest : float or None
        Longest stroke that the rules on time allow [s], rounded down; None: no rule binds it. 0: even
        the shortest looked at takes too long.
    slow_rule : Rule or None
        The rule that a longer stroke would break.
    reason : str
        Why no stroke is safe, or why it cannot be decided; "" otherwise.
    verdict : str
        Kept: there is a window; exceeded: there is none; or it cannot be decided.
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

    @property
    def open(self) -> bool:
        """Whether some stroke is neither too fast nor too slow."""
        return self.shortest is not None and (self.longest is None or self.shortest <= self.longest)


def resolution(stroke: float) -> float:
    """How finely a stroke is told [s]."""
    return max(SHARE * stroke, FINEST)


def rounded_up(stroke: float) -> float:
    """A stroke [s] to the tenth above."""
    return math.ceil(stroke * 10 - 1e-9) / 10


def rounded_down(stroke: float) -> float:
    """A stroke [s] to the tenth below."""
    return math.floor(stroke * 10 + 1e-9) / 10


def closing_valves(lineup: LineUp, scenario: Scenario) -> dict[str, float]:
    """Valves that close in a scenario, each with its stroke [s]."""
    known = {v.name for v in lineup.valves}
    return {m.valve: m.law[-1][0] for m in scenario.moves if m.law[-1][1] < m.law[0][1] and m.valve in known}


def over_ranges(lineup: LineUp) -> list[LineUp]:
    """The line-up at figures over what is known as a range only; itself where nothing is."""
    return [
        at_shares(lineup, shares) for shares in all_shares(lineup, lengths=LENGTH_COUNT, speeds=SPEED_COUNT)
    ]


class StrokeFamily:
    """A scenario with one valve's stroke free, over every length the line may have."""

    def __init__(self, lineup: LineUp, scenario: Scenario, valve: str, progress: Progress) -> None:
        self.lineup, self.scenario, self.valve = lineup, scenario, valve
        self.lineups = over_ranges(lineup)
        self.scanners = [Scanner(one, scenario) for one in self.lineups]
        self.progress = progress
        self.near: dict[float, NearestLimit] = {}
        first = self.scanners[0]
        element = next(v for v in lineup.valves if v.name == valve)
        flows = [s.base.steady.flow[valve] for s in self.scanners]
        self.period = max(
            pipeline_period(one, element, flow=q).longest for one, q in zip(self.lineups, flows, strict=True)
        )
        liquid = lineup.liquid
        self.rise = max(
            joukowsky(
                density=liquid.density,
                wave_speed=p.wave_speed,
                velocity=abs(first.base.steady.flow[p.name]) / p.area,
            )
            for p in lineup.pipes
        )

    def with_stroke(self, stroke: float) -> Scenario:
        """The scenario with the valve closing in ``stroke`` [s]."""
        return with_strokes(self.scenario, {self.valve: stroke})

    def margins(self, strokes: Sequence[float]) -> list[float]:
        """Margin of every stroke at its worst length [Pa]."""
        self.progress(f'"{self.valve}" in "{self.scenario.name}": {len(self.near)} strokes looked at')
        variants = [self.with_stroke(s) for s in strokes]
        rows = [scanner.moved(variants) for scanner in self.scanners]
        for stroke, column in zip(strokes, zip(*rows, strict=True), strict=True):
            self.near[stroke] = min(column, key=lambda n: n.margin)
        return [self.near[s].margin for s in strokes]

    def hidden(self, stroke: float) -> float:
        """How far waves that return may make the margin swing with the stroke [Pa].

        It falls with the square of periods in the stroke: on the demo cases, from 3 to 48 periods, the
        swing about a smooth curve was 0.17 of this at most.
        """
        return self.rise * min(1.0, (self.period / stroke) ** 2)

    def confirm(self, stroke: float) -> tuple[list[Finding], ScenarioResult]:
        """Findings of full runs at a stroke, and the run that is worst."""
        found: list[Finding] = []
        runs = []
        for one in self.lineups:
            run = simulate(one, self.with_stroke(stroke), most_work=CONFIRM_WORK, progress=self.progress)
            own = findings_of(one, run)
            runs.append((run, worst_of(f.verdict for f in own), weakest(own)))
            found += own
        severity = {WITHIN: 0, UNDECIDED: 1, EXCEEDED: 2}
        run, _, _ = max(runs, key=lambda r: (severity[r[1]], r[2].load if r[2] else 0.0))
        return found, run


def stroke_limits(
    lineup: LineUp,
    scenario: Scenario,
    valve: str,
    *,
    book: RuleBook,
    shortest: float = SHORTEST_STROKE,
    longest: float | None = None,
    progress: Progress | None = None,
) -> StrokeLimits:
    """Search the window of one valve in one scenario, everything else as the case has it.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    valve : str
        It closes in the scenario.
    book : RuleBook
        Rules on time bound the stroke from above.
    shortest, longest : float
        Strokes looked at [s]; the longest by default the larger of 120 s and 20 pipeline periods.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    family = StrokeFamily(lineup, scenario, valve, progress or (lambda _: None))
    to = longest or max(LEAST_LONGEST, PERIODS_LONGEST * family.period)
    blocked = _blocked(lineup, family, to)
    if blocked is not None:
        return blocked
    found, run, stroke = _confirmed(family, shortest, to)
    verdict = worst_of(f.verdict for f in found)
    slow, rule = longest_allowed(lineup, scenario, valve, book=book, run=run, shortest=shortest, longest=to)
    reason = ""
    if stroke is None:
        named = weakest(found)
        reason = (
            f"even {to:g} s is not shown to be safe" if named is None or not named.reason else named.reason
        )
        verdict = verdict if verdict != WITHIN else UNDECIDED
    elif slow is not None and stroke > slow:
        verdict = EXCEEDED
    return StrokeLimits(
        valve=valve,
        scenario=scenario.name,
        period=family.period,
        stroke=closing_valves(lineup, scenario)[valve],
        shortest=stroke,
        from_=shortest,
        to=to,
        governs=weakest(found),
        run=run,
        looked=tuple(Looked(value=s, near=family.near[s]) for s in sorted(family.near)),
        longest=slow,
        slow_rule=rule,
        reason=reason,
        verdict=verdict,
    )


def _confirmed(
    family: StrokeFamily, shortest: float, longest: float
) -> tuple[list[Finding], ScenarioResult, float | None]:
    """Search, and confirm what is found by full runs; the margin asked for grows by what these lack."""
    samples = Samples()
    confirmed: dict[float, tuple[list[Finding], ScenarioResult]] = {}
    need = FIRST_NEED
    for _ in range(ATTEMPTS):
        stroke = smallest_safe(
            family.margins,
            first_look(longest, shortest),
            need=need,
            resolution=resolution,
            spacing=family.period / 4,
            hidden=family.hidden,
            samples=samples,
        )
        if stroke is None:
            break
        told = min(rounded_up(stroke), longest)
        if told not in confirmed:
            confirmed[told] = family.confirm(told)
        found, run = confirmed[told]
        if all(f.verdict == WITHIN for f in found):
            return found, run, told
        more = raised(need, found)
        if more is None:
            return found, run, None
        need = more
    found, run = family.confirm(longest)
    return found, run, None


def _blocked(lineup: LineUp, family: StrokeFamily, to: float) -> StrokeLimits | None:
    """What no stroke can mend: shut-off pressure above a rating."""
    over = [f for f in static_findings(lineup) if f.verdict != WITHIN]
    if not over:
        return None
    worst_one = weakest(over)
    assert worst_one is not None
    certain = worst_one.verdict == EXCEEDED
    return StrokeLimits(
        valve=family.valve,
        scenario=family.scenario.name,
        period=family.period,
        stroke=closing_valves(lineup, family.scenario)[family.valve],
        shortest=None,
        from_=0.0,
        to=to,
        governs=worst_one,
        run=None,
        looked=(),
        longest=None,
        slow_rule=None,
        reason="shut-off pressure alone is above a limit: no stroke time is safe"
        if certain
        else worst_one.reason,
        verdict=worst_one.verdict,
    )


def longest_allowed(
    lineup: LineUp,
    scenario: Scenario,
    valve: str,
    *,
    book: RuleBook,
    run: ScenarioResult,
    shortest: float,
    longest: float,
) -> tuple[float | None, Rule | None]:
    """Return the longest stroke that the binding rules on time allow [s], and the rule beyond it.

    The times of a chain grow with every stroke in it, so that one bound is enough.
    """
    timing = RuleBook(rules=tuple(r for r in book.rules if r.measure in TIMES and r.required))

    def broken(stroke: float) -> Rule | None:
        changed = with_strokes(scenario, {valve: stroke})
        one = lineup.with_(scenarios=(changed,))
        rulings = rule_on(one, book=timing, runs=(run,), findings=())
        # What cannot be decided bounds nothing; the check of the case tells it.
        return next((r.rule for r in rulings if r.verdict == EXCEEDED), None)

    rule = broken(longest)
    if rule is None:
        return None, None
    low, high = 0.0, longest
    if (at_once := broken(shortest)) is not None:
        return 0.0, at_once
    low = shortest
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        if (found := broken(middle)) is None:
            low = middle
        else:
            high, rule = middle, found
    # Limits that are met exactly count as met: the tenth next to what was found, if no rule minds.
    tenth = round(low, 1)
    return (tenth if broken(tenth) is None else rounded_down(low)), rule


def lacking_margin(found: Sequence[Finding]) -> float:
    """By how much what is not kept for certain falls short [Pa]; 0 where no margin tells."""
    short = (f.error - f.margin for f in found if f.margin is not None and f.verdict != WITHIN)
    return max(short, default=0.0)


def raised(need: float, found: Sequence[Finding]) -> float | None:
    """The margin to ask for next [Pa], after full runs have lacked some; None where data are missing."""
    lacking = lacking_margin(found)
    if lacking <= 0.0:
        return None
    # The error may grow again with another stroke: a need that crept up would never be met.
    return need + max(1.5 * lacking, 0.5 * need)

"""The closing-time windows of a case: every adjustable valve, the greatest rates, and the set run as such.

Decisions
---------
* Valves that one order moves are searched with one stroke (:mod:`surge.search.movers`): that stroke is in the
  window of each. Then each alone is searched while the others keep the shortest of these.
* The rate above which an open window is empty is the agreed one: stages with a rate of their own keep it, and
  bound the stroke as they do already. Where scenarios have several rates, all go with it.
* Searches that do not need one another run at once. What one tells does not go by which ends first: it is
  asked for in the order of the case, and what was run for one is at hand for all (:class:`Bench`).
* What comes of all windows together is in :mod:`surge.search.joint`.
* A shutdown that is repeated at another stage is searched from the shortest stroke on that is safe where the
  case has it: a shorter one is in no window anyway. Greatest rates are told where the case has it only; at
  other stages the rate is that of the stage.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace

from surge.effort import Part, foresee, within
from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.assess import Assessment
from surge.rules.book import RuleBook
from surge.rules.fillings import FilledCase
from surge.rules.findings import EXCEEDED, EXIT_CODE, worst_of
from surge.search.joint import JointSet, joint_set
from surge.search.judge import Bench
from surge.search.movers import adjustable, moved_together, moving_valves
from surge.search.open_rates import OpenRate, opening_rate
from surge.search.rates import RateLimit, greatest_rate
from surge.search.strokes import SHORTEST_STROKE, StrokeLimits, stroke_limits
from surge.transient.plan import first_effort
from surge.workers import AT_ONCE, Progress, workers

# What the window of a valve in a scenario takes, or its rates: times its first march, but no more than that.
# All parts of a demo case together took 140 to 1 640 times; those of a berth with ranges up to 6.5e9 each.
TYPICAL, MOST_TYPICAL = 250.0, 1e10
Parts = tuple[StrokeLimits, ...]
REST = 0.7  # of all windows: what comes after them


@dataclass(frozen=True, kw_only=True, eq=False)
class Windows:
    """The windows of a case.

    Attributes
    ----------
    by_valve : dict of str to tuple of StrokeLimits
        For each valve, one for each scenario in which it closes.
    rates : tuple of RateLimit
        Greatest safe rates at the strokes of the case.
    apart : dict of str to tuple of StrokeLimits
        For valves that share a stroke: the window of each by itself, the others at their shortest.
    to_open : dict of str to tuple of StrokeLimits
        For each valve that opens, one for each scenario in which it does.
    opened_together : JointSet or None
        Opening strokes of all valves run together.
    idle : tuple of str
        Adjustable valves that move in no scenario: nothing was searched for them.
    together : JointSet or None
        Strokes of all valves run together; None when some valve has no safe stroke.
    opens_at : dict of str to OpenRate
        For valves whose window is empty: the rate at which it opens.
    open_up_to : dict of str to OpenRate
        For valves whose window is open and ends by a rule on time: the rate above which it is empty.
    without : dict of str to float or None
        Of a case with relief valves or drums: the shortest stroke of each valve as if they were not there
        [s]; None: none would be safe.
    """

    by_valve: dict[str, tuple[StrokeLimits, ...]]
    rates: tuple[RateLimit, ...]
    apart: dict[str, tuple[StrokeLimits, ...]] = field(default_factory=dict)
    to_open: dict[str, tuple[StrokeLimits, ...]] = field(default_factory=dict)
    opened_together: JointSet | None = None
    idle: tuple[str, ...] = ()
    together: JointSet | None = None
    opens_at: dict[str, OpenRate] = field(default_factory=dict)
    open_up_to: dict[str, OpenRate] = field(default_factory=dict)
    without: dict[str, float | None] = field(default_factory=dict)

    @property
    def joint(self) -> Assessment | None:
        """What came of all strokes together."""
        return self.together.assessment if self.together else None

    @property
    def joint_strokes(self) -> dict[str, float]:
        """The strokes that were run together [s]."""
        return self.together.strokes if self.together else {}

    @property
    def fillings(self) -> tuple[FilledCase, ...]:
        """Lines that fill, as the set that was run has them: no stroke and no rate is searched in them."""
        run = self.together or self.opened_together
        return run.assessment.fillings if run else ()

    def empty(self, valve: str) -> bool:
        """Whether a valve has no stroke that is neither too fast nor too slow."""
        shortest, longest = self.bounds(valve)
        return shortest is None or (longest is not None and shortest > longest)

    def bounds(self, valve: str) -> tuple[float | None, float | None]:
        """Shortest and longest stroke of a valve over all its scenarios [s]; None as in StrokeLimits."""
        return bounds_over(self.by_valve[valve])

    def bounds_to_open(self, valve: str) -> float | None:
        """Shortest opening stroke of a valve over all its scenarios [s]; None: none is safe."""
        return bounds_over(self.to_open[valve])[0]

    @property
    def verdict(self) -> str:
        """Kept: every valve has a window, all strokes together keep all limits and rules; so do fillings."""
        verdicts = [p.verdict for parts in self.by_valve.values() for p in parts]
        for valve in self.by_valve:
            if self.bounds(valve)[0] is not None and self.empty(valve):
                verdicts.append(EXCEEDED)
        verdicts += [p.verdict for parts in self.to_open.values() for p in parts]
        sets = [s for s in (self.together, self.opened_together) if s is not None]
        verdicts += [s.verdict for s in sets] + [f.verdict for f in self.fillings]
        return worst_of(verdicts)

    @property
    def exit_code(self) -> int:
        """0 a window is open for every valve, 3 one is empty, 4 cannot be decided."""
        return EXIT_CODE[self.verdict]


def bounds_over(parts: Sequence[StrokeLimits]) -> tuple[float | None, float | None]:
    """Shortest and longest stroke over several scenarios [s]; None as in StrokeLimits."""
    shortest = [p.shortest for p in parts]
    longest = [p.longest for p in parts if p.longest is not None]
    safe = None if None in shortest else max(s for s in shortest if s is not None)
    return safe, min(longest, default=None)


def windows_of(
    lineup: LineUp,
    *,
    book: RuleBook,
    valves: Sequence[str] = (),
    shortest: float = SHORTEST_STROKE,
    longest: float | None = None,
    progress: Progress | None = None,
) -> Windows:
    """Search the window of every adjustable valve, the greatest safe rates, and run the set as such.

    Parameters
    ----------
    lineup : LineUp
    book : RuleBook
    valves : sequence of str
        Those to search for, with those that share their strokes; by default those that the case marks as
        adjustable, and if it marks none that moves all that close in some scenario, or else all that open.
    shortest, longest : float
        Strokes looked at [s].
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError
        A valve that is not there or never closes; and as :func:`surge.transient.run.simulate`.
    GridError, SolveError
    """
    bench = Bench(lineup, book, progress)
    lineup = bench.lineup
    wanted = _with_mates(lineup, _wanted(lineup, valves))
    closes, opens = ({v: _moves_in(lineup, v, opens=way) for v in wanted} for way in (False, True))
    _refuse_idle(lineup, [v for v in wanted if not closes[v] and not opens[v]], wanted)
    moving = {m.valve for s in lineup.scenarios for m in s.moves}
    idle = tuple(v.name for v in lineup.valves if v.adjustable and v.name not in moving)
    closing = {v: scenarios for v, scenarios in closes.items() if scenarios}
    concerned = [s for s in lineup.scenarios if not s.repeats and any(s in some for some in closing.values())]
    searched = [s for scenarios in (*closing.values(), *opens.values()) for s in scenarios]
    bare = bench.bare()
    again = [s for scenarios in closing.values() for s in scenarios] if bare is not None else []
    *parts, rest = foresee([*searched, *concerned, *again, None], _Efforts(lineup, searched))
    with workers(AT_ONCE) as pool:
        ask = _Ask(bench, shortest, longest, parts, pool)
        by_valve = {v: [ask.limits(v, s) for s in closing[v]] for v in closing}
        to_open = {v: [ask.limits(v, s, opens=True) for s in opens[v]] for v in opens if opens[v]}
        rates = [ask.rate(s) for s in concerned]
        gone: dict[str, list[Asked]] | None = None
        if bare is not None:
            as_if = _Ask(bare, shortest, longest, parts[len(parts) - len(again) :], pool)
            gone = {v: [as_if.limits(v, s) for s in closing[v]] for v in closing}
        made = Windows(by_valve=_told(by_valve), rates=(), to_open=_told(to_open), idle=idle)
        with within(rest):
            whole = _AsAWhole(bench, made, ask, closing, pool)
            told = (job.result() for job in rates)
            made = replace(made, rates=tuple(r for r in told if r is not None))
            if gone is not None:
                made = replace(made, without={v: bounds_over(p)[0] for v, p in _told(gone).items()})
            return whole.put_into(made)


Asked = Callable[[], StrokeLimits]  # gives what was asked for as soon as it is there


def _told(asked: Mapping[str, Sequence[Asked]]) -> dict[str, Parts]:
    return {valve: tuple(one() for one in each) for valve, each in asked.items()}


class _AsAWhole:
    """What comes of the windows: each valve apart, the rate at which one opens, all together; all at once."""

    def __init__(
        self,
        bench: Bench,
        made: Windows,
        ask: _Ask,
        closing: Mapping[str, Sequence[Scenario]],
        pool: ThreadPoolExecutor,
    ) -> None:
        self.apart = {v: pool.submit(ask.apart, made, v, closing[v]) for v in closing}
        self.openings = _openings(bench, made, closing, pool)
        self.together = pool.submit(_together, bench, made.by_valve)
        self.opened_together = pool.submit(_together, bench, made.to_open, opens=True)

    def put_into(self, made: Windows) -> Windows:
        """The windows with all of it."""
        made = replace(made, apart={v: job.result() for v, job in self.apart.items()})
        found = {
            v: replace(o, valve=v) for v, job in self.openings.items() if (o := job.result()) is not None
        }
        return replace(
            made,
            opens_at={v: o for v, o in found.items() if made.empty(v)},
            open_up_to={v: o for v, o in found.items() if not made.empty(v)},
            together=self.together.result(),
            opened_together=self.opened_together.result(),
        )


def search_effort(lineup: LineUp, scenario: Scenario) -> float:
    """Return the effort that searching a scenario for one valve takes on average [-]."""
    return min(TYPICAL * first_effort(lineup, scenario), MOST_TYPICAL)


class _Efforts:
    """What parts of a search take, about: of a scenario for one valve, or its rates; None: of the rest."""

    def __init__(self, lineup: LineUp, searched: Sequence[Scenario]) -> None:
        self.lineup, self.searched = lineup, searched
        self.known: dict[str, float] = {}

    def __call__(self, scenario: Scenario | None) -> float:
        if scenario is None:
            return REST * sum(map(self, self.searched))
        if scenario.name not in self.known:
            self.known[scenario.name] = search_effort(self.lineup, scenario)
        return self.known[scenario.name]


class _Ask:
    """Asks for windows, several at once; what one search answers for several valves is asked once."""

    def __init__(
        self,
        bench: Bench,
        shortest: float,
        longest: float | None,
        parts: Sequence[Part],
        pool: ThreadPoolExecutor,
    ) -> None:
        self.bench, self.shortest, self.longest, self.parts = bench, shortest, longest, iter(parts)
        self.pool = pool
        self.known: dict[tuple[str, tuple[str, ...], bool], Future[StrokeLimits]] = {}

    def limits(self, valve: str, scenario: Scenario, *, opens: bool = False) -> Asked:
        """The window of a valve in a scenario, with one stroke for all that the same order moves."""
        lineup = self.bench.lineup
        together = moved_together(lineup, scenario, valve, adjustable(lineup), opens=opens)
        key, part = (scenario.name, together, opens), next(self.parts)
        if key in self.known:
            with within(part):
                pass  # it is part of another
        else:
            # It begins before this one does, so that waiting for it is no waiting for each other.
            original = self.known.get((scenario.repeats, together, opens))
            self.known[key] = self.pool.submit(self._part, part, scenario, together, opens, original)
        job, stroke = self.known[key], moving_valves(lineup, scenario, opens=opens)[valve]
        return lambda: replace(job.result(), valve=valve, stroke=stroke)

    def _part(
        self,
        part: Part,
        scenario: Scenario,
        together: tuple[str, ...],
        opens: bool,
        original: Future[StrokeLimits] | None,
    ) -> StrokeLimits:
        first = original.result() if original is not None else None
        with within(part):
            return self._search(scenario, together[0], together, opens=opens, original=first)

    def rate(self, scenario: Scenario) -> Future[RateLimit | None]:
        """The greatest safe rate of a scenario at the strokes of the case."""
        return self.pool.submit(self._rate, next(self.parts), scenario)

    def _rate(self, part: Part, scenario: Scenario) -> RateLimit | None:
        bench = self.bench
        with within(part):
            return greatest_rate(
                bench.lineup, scenario, book=bench.book, bench=bench, progress=bench.progress
            )

    def apart(self, made: Windows, valve: str, scenarios: Sequence[Scenario]) -> tuple[StrokeLimits, ...]:
        """The window of a valve by itself, where others share its stroke: they keep their shortest."""
        found: list[StrokeLimits] = []
        for scenario, part in zip(scenarios, made.by_valve[valve], strict=True):
            others = [v for v in part.together if v != valve]
            strokes = {v: made.bounds(v)[0] for v in others}
            if strokes and part.shortest is not None:
                kept = {v: s for v, s in strokes.items() if s is not None}
                original = next((p for p in found if p.scenario == scenario.repeats), None)
                alone = with_strokes(scenario, kept)
                found.append(self._search(alone, valve, (valve,), original=original))
        return tuple(found)

    def _search(
        self,
        scenario: Scenario,
        valve: str,
        together: tuple[str, ...],
        *,
        opens: bool = False,
        original: StrokeLimits | None = None,
    ) -> StrokeLimits:
        bench = self.bench
        return stroke_limits(
            bench.lineup,
            scenario,
            valve,
            book=bench.book,
            together=together,
            opens=opens,
            shortest=self.shortest,
            longest=self.longest,
            useful=original.shortest if original else None,
            bench=bench,
            progress=bench.progress,
        )


def _openings(
    bench: Bench, made: Windows, closing: Mapping[str, Sequence[Scenario]], pool: ThreadPoolExecutor
) -> dict[str, Future[OpenRate | None]]:
    """Of each valve the greatest rate at which it has a window; those with one stroke have one."""
    known: dict[tuple[tuple[str, tuple[str, ...]], ...], Future[OpenRate | None]] = {}
    found = {}
    for valve, parts in made.by_valve.items():
        key = tuple((p.scenario, p.together) for p in parts)
        if key not in known:
            known[key] = pool.submit(_opening, bench, made, valve, closing[valve])
        found[valve] = known[key]
    return found


def _opening(bench: Bench, made: Windows, valve: str, scenarios: Sequence[Scenario]) -> OpenRate | None:
    """The greatest rate at which a valve has a window; None where no rule on time could make it empty."""
    empty = made.empty(valve)
    if not empty and made.bounds(valve)[1] is None:
        return None
    parts = made.by_valve[valve]
    aside: Parts = ()
    if not empty:
        scenarios, parts, aside = _at_their_own_rate(bench.lineup, scenarios, parts)
    return opening_rate(
        bench.lineup,
        scenarios,
        parts,
        aside=aside,
        empty=empty,
        book=bench.book,
        bench=bench,
        progress=bench.progress or (lambda _: None),
    )


def _at_their_own_rate(
    lineup: LineUp, scenarios: Sequence[Scenario], parts: Parts
) -> tuple[list[Scenario], Parts, Parts]:
    """Scenarios with the one agreed rate and their parts; parts of stages that a higher one does not touch.

    Where the case has scenarios at several rates, all of them go with it.
    """
    agreed = lineup.rate.agreed if lineup.rate else None
    rates = {s.rate or agreed for s in scenarios if not s.repeats}
    pairs = list(zip(scenarios, parts, strict=True))
    with_it = [(s, p) for s, p in pairs if not s.repeats or len(rates) > 1 or (s.rate or agreed) in rates]
    aside = tuple(p for s, p in pairs if all(s is not one for one, _ in with_it))
    return [s for s, _ in with_it], tuple(p for _, p in with_it), aside


def _together(
    bench: Bench,
    by_valve: Mapping[str, tuple[StrokeLimits, ...]],
    *,
    opens: bool = False,
) -> JointSet | None:
    """All valves at their shortest safe strokes, or longer; None where one of them has none."""
    if not by_valve:
        return None
    shortest, longest = {}, {}
    for valve, parts in by_valve.items():
        stroke, longest[valve] = bounds_over(parts)
        if stroke is None:
            return None
        shortest[valve] = stroke
    to = max(p.to for parts in by_valve.values() for p in parts)
    return joint_set(
        bench.lineup,
        shortest,
        longest,
        to=to,
        book=bench.book,
        opens=opens,
        bench=bench,
        progress=bench.progress,
    )


def _wanted(lineup: LineUp, valves: Sequence[str]) -> list[str]:
    if valves:
        return list(dict.fromkeys(valves))
    return adjustable(lineup)


def _with_mates(lineup: LineUp, wanted: Sequence[str]) -> list[str]:
    """These valves, and those that share a stroke with one of them somewhere."""
    among = adjustable(lineup)
    found = dict.fromkeys(wanted)
    for valve in wanted:
        for opens in (False, True):
            for scenario in _moves_in(lineup, valve, opens=opens):
                found |= dict.fromkeys(moved_together(lineup, scenario, valve, among, opens=opens))
    return list(found)


def _moves_in(lineup: LineUp, valve: str, *, opens: bool) -> list[Scenario]:
    return [s for s in lineup.scenarios if valve in moving_valves(lineup, s, opens=opens)]


def _refuse_idle(lineup: LineUp, idle: Sequence[str], wanted: Sequence[str]) -> None:
    known = {v.name: v for v in lineup.valves}
    faults = []
    for name in idle:
        if name not in known:
            listed = ", ".join(f'"{n}"' for n in known)
            faults.append(
                Fault(
                    path=("valve",),
                    found=f'"{name}"',
                    expected=f"a valve of the case: {listed}",
                    remedy="check the name that was asked for (--valve)",
                )
            )
        else:
            faults.append(
                Fault(
                    path=("valve",),
                    found=f'"{name}" closes or opens in no scenario',
                    expected="a valve that moves in some scenario",
                    remedy="add an event that closes or opens it, or choose another valve",
                )
            )
    if not wanted:
        faults.append(
            Fault(
                path=("scenario",),
                found="no valve closes or opens in any scenario",
                expected="a valve whose stroke can be searched",
                remedy='add [[scenario.event]] with close = "manifold valve"',
            )
        )
    if faults:
        raise CaseError(faults)

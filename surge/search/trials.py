"""What is tried to mend a shutdown, or another scenario, that is not kept: one kind of change at a time.

Every trial searches its figure and has it confirmed as a check would (:class:`surge.search.judge.Bench`) in
the scenario at all of its stages; nothing is told that was not found so.

Decisions
---------
* Strokes and rates are those that windows tell: the same searches, with the same valves together. A stroke is
  searched at every stage of its shutdown, also where it is kept. A rate is searched where it is not kept:
  where other scenarios have it too, lower ones are not told as safe.
* A delay is one of ``LATER_BY``, the first that is kept; what lies between is not asked. It is no bound.
* A stroke that has to be longer for the surge than the rules on time allow is tried with the rate at which
  its window opens.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from surge.errors import CaseError, GridError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.search.bounds import rounded_up
from surge.search.changes import (
    AT_LEAST,
    AT_MOST,
    EXACTLY,
    LATER,
    ORDER,
    RATE,
    RUN_DOWN,
    STROKE,
    ULLAGE,
    Change,
    begun_together,
    later,
    movements,
    named,
    put,
    rate_of,
    stops,
    with_run_down,
)
from surge.search.judge import Bench
from surge.search.judged import ULLAGE as BY_ULLAGE
from surge.search.movers import adjustable, moved_together, moving_valves
from surge.search.open_rates import OpenRate, opening_rate
from surge.search.orders import orders_of, total_of
from surge.search.rates import greatest_rate
from surge.search.scan import Scanner
from surge.search.seek import Seek
from surge.search.strokes import FIRST_NEED, StrokeLimits, stroke_limits
from surge.search.window import bounds_over

LATER_BY = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0)  # [s]
LONGEST_RUN_DOWN, TIMES_RUN_DOWN = 60.0, 4.0  # [s], or so many times that of the case: as far as is looked
MOST_FACTOR = 8.0  # times: as far as all strokes of a scenario are made longer together
ORDERS_RUN = 2  # orders that are confirmed

Apply = Callable[[LineUp], LineUp]


@dataclass(frozen=True, kw_only=True)
class Unit:
    """Scenarios that share their movements: a shutdown at all its stages, or one scenario.

    Attributes
    ----------
    scenarios : tuple of Scenario
        As they stand; ``failing`` are those that are not kept.
    """

    scenarios: tuple[Scenario, ...]
    failing: tuple[Scenario, ...]

    @property
    def name(self) -> str:
        """Of the scenario in the case."""
        return self.scenarios[0].repeats or self.scenarios[0].name

    @property
    def keeping(self) -> tuple[Scenario, ...]:
        """Its scenarios that are kept."""
        return tuple(s for s in self.scenarios if s not in self.failing)

    @property
    def names(self) -> tuple[str, ...]:
        """Of all its scenarios."""
        return tuple(s.name for s in self.scenarios)


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """Changes after which the scenarios of a unit are kept."""

    changes: tuple[Change, ...]
    apply: Apply

    @property
    def kind(self) -> tuple[str, ...]:
        """What is changed, in kinds."""
        return tuple(c.kind for c in self.changes)


@dataclass(frozen=True, kw_only=True)
class Trial:
    """One thing that was tried: what, on which valves or pumps, in which scenario; and what came of it."""

    kind: str
    names: tuple[str, ...]
    scenario: str
    found: Candidate | None


class Trials:
    """Tries what may mend a unit."""

    def __init__(self, bench: Bench, unit: Unit) -> None:
        self.bench, self.unit, self.lineup = bench, unit, bench.lineup
        self.empty: list[tuple[StrokeLimits, ...]] = []  # windows that are empty

    def each(self) -> Iterator[Trial]:
        """What changes one thing: first what windows tell too, and is asked for most."""
        yield from self._guarded(ULLAGE, self._ullages)
        yield from self._guarded(STROKE, self._strokes)
        yield from self._guarded(RATE, self._rate)
        yield from self._guarded(ORDER, self._orders)
        yield from self._guarded(LATER, self._later)
        yield from self._guarded(RUN_DOWN, self._run_downs)

    def several(self) -> Iterator[Trial]:
        """What changes more than one thing: tried where nothing else helps."""
        yield from self._guarded(STROKE, self._all_strokes)
        yield from self._guarded(RATE, self._rate_and_stroke)

    def _guarded(self, kind: str, trials: Callable[[], Iterator[Trial]]) -> Iterator[Trial]:
        """Trials of a kind; one that cannot be computed is one that is not kept."""
        try:
            yield from trials()
        except (CaseError, GridError, SolveError):
            yield self._trial(kind, (), None)

    def _trial(self, kind: str, names: Sequence[str], found: Candidate | None) -> Trial:
        return Trial(kind=kind, names=tuple(names), scenario=self.unit.name, found=found)

    def _everywhere(self, changes: Sequence[Change], vary: Callable[[Scenario], Scenario]) -> Candidate:
        """Changes that are made in every scenario of the unit, by one variation of each."""
        names = self.unit.names

        def apply(lineup: LineUp) -> LineUp:
            return put(lineup, {s.name: vary(s) for s in lineup.scenarios if s.name in names})

        return Candidate(changes=tuple(changes), apply=apply)

    def _change(self, kind: str, names: Sequence[str], *, was: float, value: float, bound: str) -> Change:
        """A figure of every scenario of the unit."""
        return Change(
            kind=kind, names=tuple(names), scenarios=self.unit.names, was=was, value=value, bound=bound
        )

    def _kept(self, vary: Callable[[Scenario], Scenario]) -> bool:
        return all(self.bench.keeps(vary(s)) for s in self.unit.scenarios)

    # Strokes

    def _strokes(self) -> Iterator[Trial]:
        for opens in (False, True):
            for group in self._groups(opens=opens):
                yield self._trial(STROKE, group, self._stroke(group, opens=opens))

    def _groups(self, *, opens: bool) -> list[tuple[str, ...]]:
        """Valves that move in one stroke, as windows take them together; what can be set first."""
        first, may = self.unit.scenarios[0], adjustable(self.lineup)
        moving = moving_valves(self.lineup, first, opens=opens)
        found = (moved_together(self.lineup, first, v, may, opens=opens) for v in moving)
        return sorted(dict.fromkeys(found), key=lambda group: not set(group) & set(may))

    def _stroke(self, group: tuple[str, ...], *, opens: bool) -> Candidate | None:
        """The nearest stroke of the window over all scenarios of the unit."""
        was = moving_valves(self.lineup, self.unit.scenarios[0], opens=opens)[group[0]]

        def vary(stroke: float) -> Callable[[Scenario], Scenario]:
            return lambda s: with_strokes(s, dict.fromkeys(group, stroke), opens=opens)

        parts: tuple[StrokeLimits, ...] = ()
        least: float | None = None
        most: float | None = None
        for scenarios in (self.unit.failing, self.unit.keeping):  # what is kept bounds the stroke as well
            parts += tuple(self._limits(s, group, opens=opens, useful=least) for s in scenarios)
            least, most = bounds_over(parts)
            if least is None or (most is not None and least > most):
                self.empty += [parts] if all(p.run is not None for p in parts) else []
                return None
            if least <= was and (most is None or was <= most):
                return None  # the stroke is not what is in the way
        value, beyond = (least, most) if least is not None and was < least else (most, least)
        if value is None or not self._kept(vary(value)):
            return None
        bound = AT_LEAST if was < value else AT_MOST
        change = self._change(STROKE, group, was=was, value=value, bound=bound)
        return self._everywhere([replace(change, to=beyond, opens=opens)], vary(value))

    def _limits(
        self, scenario: Scenario, group: tuple[str, ...], *, opens: bool, useful: float | None
    ) -> StrokeLimits:
        bench = self.bench
        return stroke_limits(
            self.lineup,
            scenario,
            group[0],
            book=bench.book,
            together=group,
            opens=opens,
            useful=useful,
            bench=bench,
            progress=bench.progress,
        )

    def _all_strokes(self) -> Iterator[Trial]:
        """All closing valves slower in proportion."""
        groups = self._groups(opens=False)
        if len(groups) < 2:
            return
        strokes = moving_valves(self.lineup, self.unit.scenarios[0], opens=False)

        def vary(scenario: Scenario, factor: float) -> Scenario:
            return with_strokes(scenario, {v: rounded_up(factor * s) for v, s in strokes.items()})

        factor = Seek(self.bench, self.unit.scenarios, vary).least(1.05, MOST_FACTOR)
        if factor is None:
            yield self._trial(STROKE, tuple(strokes), None)
            return
        changes = [
            self._change(
                STROKE, g, was=strokes[g[0]], value=rounded_up(factor * strokes[g[0]]), bound=EXACTLY
            )
            for g in groups
        ]
        yield self._trial(STROKE, tuple(strokes), self._everywhere(changes, lambda s: vary(s, factor)))

    # Rates

    def _rate(self) -> Iterator[Trial]:
        """The greatest rate that is safe with every lower one, at every stage that is not kept."""
        if self.lineup.rate is None:
            return
        caps: dict[float, float | None] = {}
        for scenario in self.unit.failing:
            rate = rate_of(self.lineup, scenario)
            assert rate is not None
            found = greatest_rate(self.lineup, scenario, bench=self.bench, progress=self.bench.progress)
            told = None if found is None else found.greatest
            known = caps.get(rate, math.inf)
            caps[rate] = None if told is None or known is None else min(told, known)
        lower = {r: cap for r, cap in caps.items() if cap is not None and cap < r}
        if len(lower) < len(caps):
            yield self._trial(RATE, (), None)
            return
        changes = self._rates(lower, searched=self.unit.failing)
        slower = Candidate(changes=changes, apply=lambda lineup: with_rates(lineup, changes))
        yield self._trial(RATE, (), slower)

    def _rates(self, lower: Mapping[float, float], *, searched: Sequence[Scenario]) -> tuple[Change, ...]:
        """Lower rates; still lower ones are safe too where every scenario that has the rate was searched."""
        assert self.lineup.rate is not None
        have = {r: [s for s in self.lineup.scenarios if rate_of(self.lineup, s) == r] for r in lower}
        return tuple(
            Change(
                kind=RATE,
                names=(self.lineup.rate.through,),
                scenarios=tuple(s.name for s in have[rate]),
                was=rate,
                value=cap,
                bound=AT_MOST if all(s in searched for s in have[rate]) else EXACTLY,
            )
            for rate, cap in lower.items()
        )

    def _rate_and_stroke(self) -> Iterator[Trial]:
        """For windows that are empty: the rate at which they open, with the stroke that is left then."""
        for parts in self.empty:
            scenarios = [s for s in self.unit.scenarios if s.name in {p.scenario for p in parts}]
            found = opening_rate(
                self.lineup,
                scenarios,
                parts,
                empty=True,
                book=self.bench.book,
                progress=self.bench.progress or (lambda _: None),
                bench=self.bench,
            )
            group = parts[0].together
            if found is None or found.share is None:
                yield self._trial(RATE, group, None)
                continue
            yield self._trial(RATE, group, self._slower_at(found, scenarios, parts[0]))

    def _slower_at(self, found: OpenRate, scenarios: Sequence[Scenario], part: StrokeLimits) -> Candidate:
        """The rates at which a window opens, with the stroke that is left."""
        assert found.share is not None
        agreed = {r for s in scenarios if (r := rate_of(self.lineup, s)) is not None}
        rates = self._rates({r: found.share * r for r in agreed}, searched=())
        stroke = self._change(STROKE, part.together, was=part.stroke, value=found.stroke, bound=EXACTLY)
        strokes = dict.fromkeys(part.together, found.stroke)
        slower = self._everywhere([stroke], lambda s: with_strokes(s, strokes))
        return Candidate(
            changes=(*rates, stroke), apply=lambda lineup: with_rates(slower.apply(lineup), rates)
        )

    # What begins when

    def _later(self) -> Iterator[Trial]:
        groups = begun_together(self.unit.scenarios[0])
        if len(groups) < 2:
            return
        for group in groups:
            yield self._trial(LATER, group, self._begun_later(group))

    def _begun_later(self, group: tuple[str, ...]) -> Candidate | None:
        by = Seek(self.bench, self.unit.scenarios, lambda s, by: later(s, group, by)).first(LATER_BY)
        if by is None:
            return None
        change = self._change(LATER, group, was=0.0, value=by, bound=EXACTLY)
        return self._everywhere([change], lambda s: later(s, group, by))

    def _orders(self) -> Iterator[Trial]:
        """Other orders of the same movements, the shortest in all first."""
        _, orders, _ = orders_of(self.lineup, self.unit.scenarios[0])
        others = [k for k, o in enumerate(orders) if not o.as_in_case]
        if not others:
            return
        made = {s.name: orders_of(self.lineup, s)[1] for s in self.unit.scenarios}
        margins = dict.fromkeys(others, math.inf)
        for s in self.unit.scenarios:
            for one in self.bench.over(s):
                scanner = Scanner(one, s, limits=self.bench.limits(s))
                near = scanner.moved([made[s.name][k].scenario for k in others])
                margins = {k: min(margins[k], n.margin) for k, n in zip(others, near, strict=True)}
        promising = sorted((k for k in others if margins[k] >= FIRST_NEED), key=lambda k: orders[k].total)
        for k in promising[:ORDERS_RUN]:
            by_name = {name: orders[k].scenario for name, orders in made.items()}
            if all(self.bench.keeps(s) for s in by_name.values()):
                yield self._trial(ORDER, (), self._order(by_name))
                return
        yield self._trial(ORDER, (), None)

    def _order(self, by_name: Mapping[str, Scenario]) -> Candidate:
        first = self.unit.scenarios[0]
        variant = by_name[first.name]
        moved = movements(variant)
        change = self._change(
            ORDER, [named(m) for m in moved], was=total_of(first), value=total_of(variant), bound=EXACTLY
        )
        change = replace(change, starts=tuple((named(m), m.start) for m in moved))

        def reordered(scenario: Scenario) -> Scenario:
            other = by_name[scenario.name]
            return replace(scenario, moves=other.moves, pump_moves=other.pump_moves, trips=other.trips)

        return self._everywhere([change], reordered)

    def _run_downs(self) -> Iterator[Trial]:
        stopping = {m.pump: m.law[-1][0] for m in self.unit.scenarios[0].pump_moves if stops(m)}
        for pump, was in stopping.items():
            yield self._trial(RUN_DOWN, (pump,), self._run_down(pump, was))

    def _run_down(self, pump: str, was: float) -> Candidate | None:
        """A longer run-down; still longer ones are safe too where a check keeps the longest looked at."""
        seek = Seek(self.bench, self.unit.scenarios, lambda s, time: with_run_down(s, pump, time))
        most = max(LONGEST_RUN_DOWN, TIMES_RUN_DOWN * was)
        time = seek.least(rounded_up(was + 0.5), most)
        if time is None:
            return None
        bound = AT_LEAST if seek.kept(most) else EXACTLY  # rules on time mind the longest most
        change = self._change(RUN_DOWN, [pump], was=was, value=time, bound=bound)
        return self._everywhere([change], lambda s: with_run_down(s, pump, time))

    # The stop ordered earlier

    def _ullages(self) -> Iterator[Trial]:
        """The ullage with which the shutdown is in time for the tanks, where nothing else is in the way."""
        wanted: dict[str, float] = {}
        held = {t.name: t.ullage for t in self.lineup.tanks}
        for scenario in self.unit.failing:
            judged = self.bench.judge(scenario)
            for r in (r for r in judged.broken if r.rule.measure == BY_ULLAGE):
                ullage = held.get(r.subject)
                if ullage is None or r.value is None or not r.limit:
                    return
                need = math.ceil(10.0 * ullage * r.value / r.limit + 1e-6) / 10.0
                wanted[r.subject] = max(need, wanted.get(r.subject, 0.0))
        if not wanted:
            return

        def apply(lineup: LineUp) -> LineUp:
            tanks = (
                replace(t, ullage=max(t.ullage or 0.0, wanted[t.name])) if t.name in wanted else t
                for t in lineup.tanks
            )
            return lineup.with_(tanks=tuple(tanks))

        changes = tuple(
            Change(
                kind=ULLAGE, names=(tank,), scenarios=(), was=held[tank] or 0.0, value=need, bound=AT_LEAST
            )
            for tank, need in wanted.items()
        )
        changed = apply(self.lineup)
        bench = Bench(changed, self.bench.book, self.bench.progress)
        bench.at_hand = self.bench.at_hand  # no wave goes by an ullage
        kept = all(bench.judge(s).kept for s in self.unit.scenarios)
        found = Candidate(changes=changes, apply=apply) if kept else None
        yield self._trial(ULLAGE, tuple(wanted), found)


def with_rates(lineup: LineUp, changes: Sequence[Change]) -> LineUp:
    """Return the line-up with changed rates, where they are lower than what it has."""
    lower: dict[str, Scenario] = {}
    for change in changes:
        for s in lineup.scenarios:
            rate = rate_of(lineup, s)
            if s.name in change.scenarios and rate is not None and change.value < rate:
                lower[s.name] = replace(s, rate=change.value)
    return put(lineup, lower)

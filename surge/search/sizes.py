"""The smallest relief valve and the smallest surge drum that do.

Two things are asked of each relief valve and each drum, everything else as in the case. At which size a check
of the whole case keeps every limit and every rule; and for each valve whose stroke is bounded by a rule on
time, at which size its window is open: the longest stroke that the rules allow is safe, and every longer one.

Decisions
---------
* Of a relief valve the Kv is the size, of a drum its volume, its gas growing with it; set pressure, opening
  time and neck stay. From ``SMALLEST`` to ``LARGEST`` times what the case has is looked at (our own bounds).
* A larger one is not always better: a drum can swing with the line, a valve can let the pressure fall too
  low. So a size is told with the one up to which it, and each between that was looked at, does. Where the
  largest does not, the search begins at the largest that does.
* What single marches find is confirmed by full runs, rule by rule (:mod:`surge.search.judge`): the size that
  is told, as it is told, the greatest, and those between with the least margin. Nothing is told that no
  full run has shown, and no size at which the liquid boils.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from surge.effort import foresee, within
from surge.errors import CaseError, Fault, GridError, SolveError
from surge.model.attached import SurgeDrum
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding, weakest
from surge.rules.rulings import counts
from surge.search.judge import UNSAFE, Bench, worst_values
from surge.search.judged import lacking_margin
from surge.search.scan import Scanner
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.strokes import FIRST_NEED, StrokeLimits
from surge.transient.plan import first_effort
from surge.transient.run import simulate
from surge.workers import Progress

SMALLEST, LARGEST = 0.05, 10.0  # times the size in the case: from there to there sizes are looked at
FALL = 1.3  # ratio of neighbouring sizes of the first look
RESOLUTION = 0.02  # how finely a size is told, as a share of it
ATTEMPTS = 8  # to confirm a size by full runs
LARGER = 1.1  # times: the next size to confirm, where no margin tells how much is lacking
BETWEEN = 2  # sizes confirmed between the smallest and the greatest
SPREAD, DENSE = 1.5, 1.1  # ratio of the strokes looked at beyond the longest allowed: first, and to confirm
TYPICAL = 60.0  # times the first march of a scenario: what one question takes, about

RELIEF, DRUM = "relief valve", "surge drum"
KINDS = (RELIEF, DRUM)


@dataclass(frozen=True, kw_only=True, eq=False)
class SizeAnswer:
    """The smallest size of one relief valve or drum that does what was asked.

    Attributes
    ----------
    name, kind : str
        Of the thing; the kind is one of ``KINDS``.
    valves : tuple of str
        Whose window is asked for; empty: the whole case is, with the strokes that it has.
    stroke : float or None
        Of these valves [s]: the longest that the rules on time allow.
    was : float
        Size in the case: Kv [m3/h], volume [m3].
    least : float or None
        The smallest that does; None: none was found.
    most : float or None
        Up to which it does, and each between that was looked at.
    tried : tuple of float
        Ends of what was looked at.
    gas_share : float
        Of a drum: of its volume that is gas, at each size as in the case [-].
    governs : Finding or None
        What comes nearest to its limit at the smallest; where none does, what is in the way at the best.
    best : float or None
        Where none does: the size with the greatest margin.
    reason : str
        Where none does: why, if no pressure tells it.
    """

    name: str
    kind: str
    valves: tuple[str, ...]
    stroke: float | None
    was: float
    least: float | None
    most: float | None
    tried: tuple[float, float]
    gas_share: float = 0.0
    governs: Finding | None = None
    best: float | None = None
    reason: str = ""

    @property
    def needed(self) -> bool:
        """Whether a smaller one was looked at that does not do."""
        return self.least is not None and self.least > self.tried[0] * (1.0 + RESOLUTION)

    @property
    def to_the_end(self) -> bool:
        """Whether the largest one looked at does, too."""
        return self.most is not None and self.most >= self.tried[1] * (1.0 - 1e-9)


def refuse_unsized(lineup: LineUp) -> None:
    """Refuse a case in which there is nothing to size.

    Raises
    ------
    CaseError
    """
    if lineup.relieving:
        return
    raise CaseError(
        [
            Fault(
                path=("relief_valve",),
                found="no relief valve and no surge drum in the case (--sizes)",
                expected="one at least, whose size is searched",
                remedy='write [[relief_valve]] with name = "relief valve", at = the point where it stands, '
                "set_pressure, full_lift_pressure, kv, opening_time and back_pressure; or [[surge_drum]] "
                "with name, at, volume, gas_volume and gas_exponent",
            )
        ]
    )


def sizes_of(
    lineup: LineUp,
    by_valve: Mapping[str, Sequence[StrokeLimits]],
    *,
    book: RuleBook,
    progress: Progress | None = None,
) -> tuple[SizeAnswer, ...]:
    """Search the smallest size of every relief valve and every drum.

    Parameters
    ----------
    lineup : LineUp
    by_valve : mapping
        The windows that were found: of each valve that closes, one part for each scenario.
    book : RuleBook
    progress : callable, optional

    Raises
    ------
    CaseError
        There is nothing to size.
    GridError, SolveError
    """
    refuse_unsized(lineup)
    bench = Bench(lineup, book, progress)
    goals: list[Goal] = [Whole(bench), *_bounded(bench, by_valve)]
    asked = [(Sized(bench.lineup, thing.name), goal) for thing in lineup.relieving for goal in goals]
    parts = foresee(asked, lambda pair: TYPICAL * pair[1].effort())
    found = []
    for part, (sized, goal) in zip(parts, asked, strict=True):
        with within(part):
            found.append(Search(sized, goal, progress or (lambda _: None)).answer())
    return tuple(found)


class Sized:
    """One relief valve or drum of a line-up, whose size is free."""

    def __init__(self, lineup: LineUp, name: str) -> None:
        self.lineup, self.name = lineup, name
        relief = next((v for v in lineup.relief_valves if v.name == name), None)
        drum = next((d for d in lineup.surge_drums if d.name == name), None)
        self.kind = RELIEF if relief is not None else DRUM
        self.gas_share = drum.gas_volume / drum.volume if drum is not None else 0.0
        self.was = relief.kv if relief is not None else drum.volume if drum is not None else math.nan
        self.tried = _up(SMALLEST * self.was), _up(LARGEST * self.was)

    def at(self, lineup: LineUp, size: float) -> LineUp:
        """A line-up, or one point of its ranges, with another size."""
        share = size / self.was
        return lineup.with_(
            relief_valves=tuple(
                replace(v, kv=size, kv_range=None) if v.name == self.name else v for v in lineup.relief_valves
            ),
            surge_drums=tuple(_scaled(d, share) if d.name == self.name else d for d in lineup.surge_drums),
        )


def _scaled(drum: SurgeDrum, share: float) -> SurgeDrum:
    """A drum of another size, its gas, or the range of it, in proportion."""
    ends = drum.gas_range
    return replace(
        drum,
        volume=share * drum.volume,
        gas_volume=share * drum.gas_volume,
        gas_range=(share * ends[0], share * ends[1]) if ends else None,
    )


@dataclass(frozen=True, kw_only=True)
class Confirmed:
    """What full runs say of a size: kept, or by how much margin is lacking [Pa]; 0 where none tells."""

    kept: bool
    lacking: float
    governs: Finding | None
    reason: str = ""


class Goal:
    """What a size is to bring about: some scenarios kept, each at some strokes."""

    valves: tuple[str, ...] = ()
    stroke: float | None = None

    def __init__(self, bench: Bench, scenarios: Sequence[Scenario]) -> None:
        self.bench, self.scenarios = bench, tuple(scenarios)

    def effort(self) -> float:
        """Effort of one first march of every scenario [-]."""
        return sum(first_effort(self.bench.lineup, s) for s in self.scenarios)

    def variants(self, scenario: Scenario) -> list[Scenario]:
        """Those movements of a scenario that are to be safe, the one to confirm first."""
        return [scenario]

    def closely(self, scenario: Scenario) -> list[Scenario]:
        """The same, as closely as it takes to confirm a size."""
        return self.variants(scenario)

    def confirm(self, lineup: LineUp) -> Confirmed:
        """Judge a line-up by full runs."""
        raise NotImplementedError


class Whole(Goal):
    """The whole case, with the strokes that it has."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench, bench.lineup.scenarios)

    def confirm(self, lineup: LineUp) -> Confirmed:
        """Check the case."""
        made = assess(lineup, book=self.bench.book, cavities=False, progress=self.bench.progress)
        counting = [f for f in made.findings if counts(f, self.bench.book)]
        broken = next((r for r in made.rulings if r.verdict != WITHIN), None)
        short = [f for f in counting if f.verdict != WITHIN]
        return Confirmed(
            kept=made.verdict == WITHIN,
            lacking=lacking_margin(counting),
            governs=made.weakest,
            reason=next((f.reason for f in short if f.reason), "")
            or (f'the rule "{broken.rule.name}" is not kept' if broken and not short else ""),
        )


class Window(Goal):
    """The window of valves with one stroke: open at the longest that the rules on time allow."""

    def __init__(self, bench: Bench, parts: Sequence[StrokeLimits], stroke: float) -> None:
        names = [p.scenario for p in parts]
        super().__init__(bench, [s for s in bench.lineup.scenarios if s.name in names])
        self.valves, self.stroke = parts[0].together or (parts[0].valve,), stroke
        self.together = {p.scenario: p.together or (p.valve,) for p in parts}
        self.to = max(p.to for p in parts)

    def variants(self, scenario: Scenario) -> list[Scenario]:
        """The longest stroke allowed, and longer ones."""
        return self._from_the_longest(scenario, SPREAD)

    def closely(self, scenario: Scenario) -> list[Scenario]:
        """More of them."""
        return self._from_the_longest(scenario, DENSE)

    def _from_the_longest(self, scenario: Scenario, fall: float) -> list[Scenario]:
        assert self.stroke is not None
        strokes = first_look(max(self.to, 1.01 * self.stroke), self.stroke, fall=fall)
        return [self._moved(scenario, s) for s in sorted(strokes)]

    def _moved(self, scenario: Scenario, stroke: float) -> Scenario:
        return with_strokes(scenario, dict.fromkeys(self.together[scenario.name], stroke))

    def confirm(self, lineup: LineUp) -> Confirmed:
        """Judge every scenario at the stroke that is left."""
        assert self.stroke is not None
        bench = Bench(lineup, self.bench.book, self.bench.progress)
        every = [bench.judge(self._moved(s, self.stroke)) for s in self.scenarios]
        short = [one for one in every if not one.kept]
        found = weakest(f for one in every for f in one.findings if f.scenario or f.verdict != WITHIN)
        return Confirmed(
            kept=not short,
            lacking=max((one.lacking for one in short), default=0.0),
            governs=found,
            reason=next((one.reason for one in short if one.reason), ""),
        )


def _bounded(bench: Bench, by_valve: Mapping[str, Sequence[StrokeLimits]]) -> Iterator[Window]:
    """Windows that a rule on time bounds; valves with one stroke have one."""
    done = set()
    for parts in by_valve.values():
        longest = min((p.longest for p in parts if p.longest is not None), default=None)
        key = tuple((p.scenario, p.together) for p in parts)
        if longest is not None and longest > 0.0 and key not in done:
            done.add(key)
            yield Window(bench, parts, longest)


class Search:
    """Searches one size for one goal."""

    def __init__(self, sized: Sized, goal: Goal, progress: Progress) -> None:
        self.sized, self.goal, self.progress = sized, goal, progress
        self.samples = Samples()
        self.confirmed: dict[float, Confirmed] = {}
        self.looked = 0

    def answer(self) -> SizeAnswer:
        """The smallest size that full runs confirm."""
        look = [_up(v) for v in first_look(*reversed(self.sized.tried), fall=FALL)]
        self.samples.look(self._margins, look)
        need, found = FIRST_NEED, None
        for _ in range(ATTEMPTS):
            found = self._run(need)
            if found is None:
                break
            least, most = found
            short = self._not_kept([least, most, *self._between(least, most)])
            if short is None:
                return self._told(least, most)
            size, judged = short
            self.samples.margins[size] = min(self.samples.margins[size], UNSAFE, -judged.lacking)
            if judged.lacking > 0.0:
                need = max(need, min(need + 1.5 * judged.lacking, 4.0 * need))
            elif size == least and least < most:
                self.samples.look(self._margins, [min(_up(LARGER * least), most)])
        return self._none()

    def _told(self, least: float, most: float) -> SizeAnswer:
        return self._answer(least=least, most=most, governs=self.confirmed[least].governs)

    def _none(self) -> SizeAnswer:
        """Nothing does: what is in the way at the best size looked at."""
        best = max(self.samples.margins, key=lambda v: (self.samples.margins[v], -v))
        judged = self._confirm(best)
        return self._answer(
            least=None, most=None, best=best, governs=judged.governs, reason=judged.reason or ""
        )

    def _answer(
        self,
        *,
        least: float | None,
        most: float | None,
        governs: Finding | None,
        best: float | None = None,
        reason: str = "",
    ) -> SizeAnswer:
        return SizeAnswer(
            name=self.sized.name,
            kind=self.sized.kind,
            valves=self.goal.valves,
            stroke=self.goal.stroke,
            was=self.sized.was,
            least=least,
            most=most,
            tried=self.sized.tried,
            gas_share=self.sized.gas_share,
            governs=governs,
            best=best,
            reason=reason,
        )

    def _run(self, need: float) -> tuple[float, float] | None:
        """The topmost sizes in a row that keep a margin: the least, as it is told, and the greatest."""
        margins = self.samples.margins
        most = max((v for v, m in margins.items() if m >= need), default=None)
        if most is None:
            return None
        below = Samples(margins={v: m for v, m in margins.items() if v <= most})
        least = smallest_safe(
            self._margins,
            sorted((v for v in below.margins), reverse=True),
            need=need,
            resolution=lambda v: RESOLUTION * v,
            spacing=math.inf,
            hidden=lambda _: 0.0,
            samples=below,
        )
        margins.update(below.margins)
        if least is None:
            return None
        told = min(_up(least), most)
        self.samples.look(self._margins, [told])
        return told, most

    def _between(self, least: float, most: float) -> list[float]:
        return worst_values(self.samples, least, most, below=math.inf, most=BETWEEN)

    def _not_kept(self, sizes: Iterable[float]) -> tuple[float, Confirmed] | None:
        """The first size of which a full run does not show that it does."""
        for size in dict.fromkeys(sizes):
            judged = self._confirm(size)
            if not judged.kept:
                return size, judged
        return None

    def _confirm(self, size: float) -> Confirmed:
        if size not in self.confirmed:
            self.progress(f'"{self.sized.name}" of {size:g}: full runs')
            self.confirmed[size] = self._judged(size)
        return self.confirmed[size]

    def _judged(self, size: float) -> Confirmed:
        try:
            dip = self._margin(size, closely=True)
            judged = self.goal.confirm(self.sized.at(self.sized.lineup, size))
        except (CaseError, GridError, SolveError) as error:
            return Confirmed(kept=False, lacking=0.0, governs=None, reason=str(error).splitlines()[0])
        if dip < 0.0 and judged.kept:  # a longer stroke, between those that were looked at, is not safe
            return replace(judged, kept=False, lacking=-dip if math.isfinite(dip) else 0.0)
        return judged

    def _margins(self, sizes: Sequence[float]) -> list[float]:
        self.looked += len(sizes)
        self.progress(f'"{self.sized.name}": {self.looked} sizes looked at')
        return [self._margin(size, closely=False) for size in sizes]

    def _margin(self, size: float, *, closely: bool) -> float:
        """Margin over all scenarios and what is a range, by single marches [Pa]."""
        return min(
            (m for s in self.goal.scenarios for m in self._in(s, size, closely=closely)), default=math.inf
        )

    def _in(self, scenario: Scenario, size: float, *, closely: bool) -> Iterator[float]:
        bench = self.goal.bench
        variants = self.goal.closely(scenario) if closely else self.goal.variants(scenario)
        for one in bench.over(scenario):
            sized = self.sized.at(one, size)
            try:
                scanner = Scanner(sized, variants[0], limits=bench.limits(scenario))
                margin = min(near.margin for near in scanner.moved(variants))
                # A drum that is emptied or filled shows in no pressure.
                if margin >= 0.0 and simulate(sized, variants[0], quick=True).undecided:
                    margin = UNSAFE
            except (CaseError, GridError, SolveError):
                margin = -math.inf
            yield margin


def _up(size: float) -> float:
    """A size to three digits, the next above."""
    step = 10.0 ** (math.floor(math.log10(size)) - 2)
    return float(f"{math.ceil(size / step - 1e-9) * step:.12g}")

"""A scenario whose line-up has ranges, judged by the worst over them; and what its verdict turns on.

Decisions
---------
* Full runs stand at the worst points of what comes nearest to its limits (:mod:`surge.rules.spread`). Of each
  figure the run in which it is worst answers for all of the ranges: what another point may add is part of its
  error there.
* Where a limit is exceeded at the worst point, and at another point of what the case leaves open every limit
  and every required rule is kept, the case is not told as exceeded: it cannot be decided, and the answer
  says which figure to find. A range that stands in the case itself has to be safe all through.
* The figure to find is the first, in the order of what they move, that alone brings the worst point back
  within its limits. Between which values the verdict turns is found by halving, rounded to the safe side, and
  then the case is judged once more with that figure narrowed down: "kept below" is told where that is kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from functools import partial

from surge.errors import CaseError, GridError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import Range, Shares, Taken, figures_at, narrowed, ranges_of, rounded
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding, depending, findings_of
from surge.rules.sights import Key, Sight, Sights, extreme_key, moved
from surge.rules.spread import Spread
from surge.transient.attached_results import drum_undecided
from surge.transient.followed import with_cavities
from surge.transient.peaks import Key as ExtremeKey
from surge.transient.result import ElementResult, Elsewhere, Extreme, PlaceResult, ScenarioResult
from surge.transient.run import Enough, Told, simulate_enough
from surge.transient.sensitivities import with_sensitivities
from surge.workers import Progress

HALVINGS = 6  # to find between which values a verdict turns
TRIES = 3  # to confirm the value at which it turns, each nearer to the end that is kept

Made = tuple[ScenarioResult, tuple[Finding, ...]]  # a run with its findings


def over_ranges(
    lineup: LineUp,
    scenario: Scenario,
    book: RuleBook | None,
    progress: Progress,
    *,
    explain: bool = True,
    cavities: bool = False,
    enough: Enough | None = None,
) -> list[Made]:
    """Return full runs of a scenario with their findings: one, or those at the worst points of the ranges.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    book : RuleBook or None
        Rules whose margins are followed too.
    progress : callable
    explain : bool
        Also find what the verdict turns on, where the ranges turn it.
    cavities : bool
        Also follow what boils with cavities (:mod:`surge.transient.followed`).
    enough : callable, optional
        Ends the refinement of a run; errors that it is told hold what other points of the ranges may add.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    if not ranges_of(lineup):
        run = simulate_enough(lineup, scenario, enough=enough, progress=progress)
        if cavities:
            run = with_cavities(lineup, scenario, run, progress=progress)
        run = with_sensitivities(lineup, scenario, run, progress=progress)
        return [(run, findings_of(lineup, run))]
    sights = Sights(lineup, scenario, book, progress)
    spread = Spread(sights)
    made = _RunsAtWorst(sights, spread, progress, cavities=cavities, enough=enough).made
    if not explain or spread.doomed or _all_kept(made, sights, spread):
        return made
    turned = _Turn(sights, spread, book, progress)
    if turned.good is None:
        return made
    made.append(_RunsAtWorst(sights, spread, progress, at=[turned.good.shares]).made[0])
    return [_depending(one, turned.reason) for one in made]


def worst_points(
    lineup: LineUp, scenario: Scenario, book: RuleBook | None, progress: Progress
) -> list[Shares]:
    """Return the points of the ranges at which what comes nearest to its limits is worst, by looks only.

    Parameters are those of :func:`over_ranges`.
    """
    return Spread(Sights(lineup, scenario, book, progress)).points()


def _all_kept(made: Iterable[Made], sights: Sights, spread: Spread) -> bool:
    """Whether every limit and every rule is kept for certain, wherever in the ranges."""
    usual = (f for _, found in made for f in found if not f.beside)
    if any(f.verdict != WITHIN and f.margin is not None for f in usual):
        return False
    return all(spread.bound(k) <= limit for k, limit in sights.limits.items() if k[0] == "rule")


def _depending(made: Made, reason: str) -> Made:
    """Runs with findings of which none is exceeded for certain: it depends on where in the ranges."""
    run, found = made
    return replace(run, elsewhere=replace(run.elsewhere, depends=reason)), depending(found, reason)


class _RunsAtWorst:
    """Full runs at the worst points; what other points add stands in the errors."""

    def __init__(
        self,
        sights: Sights,
        spread: Spread,
        progress: Progress,
        *,
        at: list[Shares] | None = None,
        cavities: bool = False,
        enough: Enough | None = None,
    ) -> None:
        self.sights, self.spread, self.progress, self.enough = sights, spread, progress, enough
        self.shares = at or spread.points()
        self.looks = [s for s in map(sights.at, self.shares) if s is not None]
        first = spread.followed[: max(1, len(self.shares))]
        matter = {k for key in first for k in spread.matter(key)}
        self.matter = matter | {k for k, r in enumerate(sights.ranges) if r.given}
        self.cavities = cavities
        self.answers = at is None  # runs for comparison do not answer for the ranges
        self.made = [self._run(i, shares) for i, shares in enumerate(self.shares)]

    def _run(self, i: int, shares: Shares) -> Made:
        lineup, scenario = self.sights.fixed(shares)
        taken = tuple(
            t._replace(matters=k in self.matter) for k, t in enumerate(figures_at(self.sights.lineup, shares))
        )
        enough = None if self.enough is None else self._enough_at(i, self.enough)
        made = simulate_enough(lineup, scenario, enough=enough, progress=self.progress)
        run = replace(made, taken=taken)
        if self.answers:
            run = self._answering(run, i)
        if self.cavities:
            run = with_cavities(lineup, scenario, run, ranges=self._named(), progress=self.progress)
        if self.answers:
            run = with_sensitivities(
                lineup, scenario, run, wider=lambda own: self._answering(own, i), progress=self.progress
            )
        return run, tuple(replace(f, taken=taken) for f in findings_of(lineup, run))

    def _enough_at(self, i: int, enough: Enough) -> Enough:
        """For run ``i``: errors hold what other points of the ranges may add."""

        def wider(told: Told, key: ExtremeKey) -> tuple[float, float]:
            pressure, error = told(key)
            return pressure, error + self._more(i, key)

        return lambda told: enough(partial(wider, told))

    def _named(self) -> list[Range]:
        """The ranges, those that matter first."""
        ranges = self.sights.ranges
        return [ranges[k] for k in sorted(range(len(ranges)), key=lambda k: k not in self.matter)]

    def _more(self, i: int, key: Key) -> float:
        """What other points may add to a figure of run ``i``, if it is the one that answers for it."""
        seen = [look.values.get(key, -math.inf) for look in self.looks]
        if seen.index(max(seen)) != i:
            return 0.0
        noise = self.sights.noise(key)
        more = self.spread.bound(key) - seen[i]
        if self.spread.worst(key).shares != self.looks[i].shares:
            return max(more + noise, 0.0)
        # Another point that looked hardly better may be worse in truth.
        others = (s.values.get(key, -math.inf) for s in self.sights.all if s.shares != self.looks[i].shares)
        return max(more, max(others, default=-math.inf) + noise - seen[i], 0.0)

    def _answering(self, run: ScenarioResult, i: int) -> ScenarioResult:
        def wider(subject: str, name: str, extreme: Extreme, *, upper: bool) -> Extreme:
            more = self._more(i, extreme_key(subject, name, upper=upper))
            return replace(extreme, error=extreme.error + more, range_part=more)

        def element(e: ElementResult) -> ElementResult:
            return replace(
                e,
                highest=wider("element", e.name, e.highest, upper=True),
                lowest=wider("element", e.name, e.lowest, upper=False),
                steady_range=self._more(i, ("steady", "element", e.name)),
            )

        def place(p: PlaceResult) -> PlaceResult:
            return replace(
                p,
                highest=wider("place", p.name, p.highest, upper=True),
                lowest=wider("place", p.name, p.lowest, upper=False),
                steady_range=self._more(i, ("steady", "place", p.name)),
            )

        values = self.looks[i].values
        drums = tuple(
            replace(
                d,
                least_error=d.least_error + d.volume * self._more(i, ("hung", d.name, "least")),
                most_error=d.most_error + d.volume * self._more(i, ("hung", d.name, "most")),
            )
            for d in run.surge_drums
        )
        reliefs = tuple(
            replace(
                r,
                lift_error=r.lift_error + self._more(i, ("hung", r.name, "lift")),
                passed_error=r.passed_error + self._more(i, ("hung", r.name, "passed")),
            )
            for r in run.relief_valves
        )
        undecided = (why for drum in drums for why in drum_undecided(drum))
        return replace(
            run,
            surge_drums=drums,
            relief_valves=reliefs,
            undecided=tuple(dict.fromkeys((*run.undecided, *undecided))),
            elements=tuple(map(element, run.elements)),
            places=tuple(map(place, run.places)),
            elsewhere=Elsewhere(
                inflow={k[1]: self._more(i, k) for k in values if k[0] == "inflow"},
                rules={k[1]: self._more(i, k) for k in values if k[0] == "rule"},
            ),
        )


class _Turn:
    """What a verdict turns on: at the worst point a limit is not kept, at ``good`` all are."""

    def __init__(self, sights: Sights, spread: Spread, book: RuleBook | None, progress: Progress) -> None:
        self.sights, self.spread, self.book, self.progress = sights, spread, book, progress
        self.good: Sight | None = None
        self.reason = ""
        bad = [k for k in spread.followed if spread.worst(k).values[k] > self._most(k)]
        if not bad:
            bad = spread.followed[:1]
        self.key = bad[0]
        self.at = spread.worst(self.key)
        self.open = [k for k in spread.active(self.key) if not sights.ranges[k].given]
        settled = self._settled_by_one()
        kept = [s for s in sights.all if self._kept(s) and self._same_given(s)]
        if settled is not None:
            self.good = settled[1]
            self.reason = self._by_one(*settled)
        elif kept:
            self.good = min(kept, key=self._of_key)
            self.reason = self._by_several()

    def _of_key(self, sight: Sight) -> float:
        """What the verdict turns on, at a point; a rule need not have a margin at every point."""
        return sight.values.get(self.key, -math.inf)

    def _most(self, key: Key) -> float:
        return self.sights.limits[key] - self.sights.small(key) - self.sights.noise(key)

    def _kept(self, sight: Sight) -> bool:
        return all(v <= self._most(k) for k, v in sight.values.items() if k in self.sights.limits)

    def _same_given(self, sight: Sight) -> bool:
        """Whether what stands in the case as a range is taken where it is worst."""
        pairs = zip(self.sights.ranges, sight.shares, self.at.shares, strict=True)
        return all(a == b for r, a, b in pairs if r.given)

    def _settled_by_one(self) -> tuple[int, Sight] | None:
        """The first range that alone brings the worst point back within all limits, and the point then."""
        for k in self.open:
            tried = {*self.sights.ends[k], self.sights.usual[k]} - {self.at.shares[k]}
            looks = [self.sights.at(moved(self.at.shares, k, share)) for share in sorted(tried)]
            kept = [s for s in looks if s is not None and self._kept(s)]
            if kept:
                return k, min(kept, key=self._of_key)
        return None

    def _by_one(self, k: int, good: Sight) -> str:
        one = self.sights.ranges[k]
        far, near = self.at.shares[k], good.shares[k]
        end = near
        for _ in range(HALVINGS):
            middle = 0.5 * (near + far)
            look = self.sights.at(moved(self.at.shares, k, middle))
            near, far = (middle, far) if look is not None and self._kept(look) else (near, middle)
        beyond = Taken(*one.key, one.value(far)).words
        turn = self._confirmed(one, near, end)
        words = f"it depends on the {one.whose}: kept"
        if turn is None:
            at_worst = Taken(*one.key, one.value(self.at.shares[k])).words
            return f"{words} at {Taken(*one.key, one.value(end)).words}, not at {at_worst}. Find it first"
        way, other = ("from", "up to") if one.share(turn) < end else ("up to", "from")
        on = " on" if other == "from" else ""
        return (
            f"{words} {way} {Taken(*one.key, turn).words} (tried), not {other} {beyond}{on}. Find that figure"
        )

    def _confirmed(self, one: Range, near: float, end: float) -> float | None:
        """The value up to which all is kept, judged with the range narrowed down to it; None: not found."""
        for _ in range(TRIES):
            turn = rounded(one.quantity, one.value(near), up=near < end)
            turn = min(max(turn, one.low), one.high)
            low, high = sorted((turn, one.value(end)))
            if self._safe(narrowed(self.sights.lineup, one, low, high)):
                return turn
            near = 0.5 * (near + end)
        return None

    def _safe(self, lineup: LineUp) -> bool:
        try:
            sights = Sights(lineup, self.sights.scenario, self.book, self.progress)
            spread = Spread(sights)
            made = _RunsAtWorst(sights, spread, self.progress).made
        except (CaseError, GridError, SolveError):
            return False
        return _all_kept(made, sights, spread)

    def _by_several(self) -> str:
        ranges = [self.sights.ranges[k] for k in self.open]
        names = [r.whose for r in ranges[:3]]
        more = [f"{len(ranges) - 3} more"] * (len(ranges) > 3)
        said = [*names, *more]
        listed = ", ".join(said[:-1]) + " and " + said[-1] if len(said) > 1 else "".join(said)
        first = f". Find the {names[0]} first" if names else ""
        return f"it depends on the {listed}; none of them alone settles it{first}"

"""What mends a case that is not kept: every remedy is run before it is told, and the cause is found by trial.

Decisions
---------
* A remedy is told only where a check of the whole changed case finds every limit and every required rule
  kept. Rules that lack a fact (the date of a test) are set aside meanwhile, and the answer says that the
  facts come first. Where a limit lacks, or a rule on the case as a whole is not kept, no change of what flows
  and moves can bring that about: nothing is tried.
* Scenarios that are not kept are mended each for itself, and then together; where possible by the same kind
  of change. Of a rate that both have, or the ullage of a tank, the strictest figure counts.
* Shut-off pressure above a rating comes first, since nothing that moves mends it: the pump's greatest speed,
  in hundredths, that keeps it. What is not kept besides is tried at that speed.
* The cause is found by leaving out one movement at a time in a single march (valves that one order moves
  count as one): it is what brings the pressure back by ``SHARE_OF_CAUSE`` of its way from the steady one at
  least, most of all.
* Trials end when they have taken ``MOST_EFFORT``, about a minute of one processor (:mod:`surge.effort`), or
  what the command has left: a trial that goes beyond is dropped, and the answer says so. No clock decides.
  A command that may take any time (``--patient``) tries everything.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from surge.effort import PACE, at_most, foresee, within
from surge.errors import CaseError, GridError, PatienceError, SolveError
from surge.hydraulics.fixed import at_figures
from surge.model.lineup import LineUp, Scenario
from surge.rules.assess import Assessment, AtHand, assess
from surge.rules.book import RuleBook
from surge.rules.findings import UNDECIDED, WITHIN, Finding
from surge.rules.ranged import Made
from surge.rules.rulings import NOT_CHECKED, counts
from surge.rules.static import static_over_densities
from surge.search.changes import EXACTLY, RATE, SPEED, Change, begun_together, ends, without
from surge.search.judge import Bench
from surge.search.judged import goes_by_runs
from surge.search.trials import Apply, Candidate, Trial, Trials, Unit
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.workers import Progress

MOST_EFFORT = 60.0 * PACE
TYPICAL = 0.1  # of that: what trials take, about
SHARE_OF_CAUSE = 0.3
SLOWEST = 0.5  # of its speed in the case: as slow as a pump is tried
MOST_TOLD = 6  # remedies


@dataclass(frozen=True, kw_only=True)
class Cause:
    """The movement that makes a pressure, found by leaving it out.

    Attributes
    ----------
    names : tuple of str
        Valves or pumps that one order moves.
    finding : Finding
        What is not kept.
    value, without : float
        The pressure there with all that moves, and without this, both from a single march [Pa gauge].
    enough : bool
        Without it the limit is kept.
    alone : bool
        Nothing else moves.
    """

    names: tuple[str, ...]
    finding: Finding
    value: float
    without: float
    enough: bool
    alone: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Remedy:
    """Changes after which a check finds every limit and every required rule kept.

    Attributes
    ----------
    changes : tuple of Change
        All of them together.
    lineup : LineUp
        With these changes.
    ends_later : float
        By how much the last movement of a changed scenario ends later, at most [s].
    slower : float
        How much longer a cubic metre takes at the changed rate [s/m3]; 0 where no rate is changed.
    """

    changes: tuple[Change, ...]
    lineup: LineUp
    ends_later: float
    slower: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Remedies:
    """What was tried for a case that is not kept.

    Attributes
    ----------
    found : tuple of Remedy
        Each by itself keeps everything.
    in_vain : tuple of Trial
        What was tried for one scenario and is not kept.
    unmended : tuple of str
        Scenarios for which nothing was found.
    cause : Cause or None
    complete : bool
        Everything was tried; otherwise it would have taken too much.
    missing : bool
        Nothing was tried, since no change of what flows and moves would do.
    lacking : bool
        Rules that lack a fact were set aside: the remedies hold when that is written, and is kept.
    """

    found: tuple[Remedy, ...] = ()
    in_vain: tuple[Trial, ...] = ()
    unmended: tuple[str, ...] = ()
    cause: Cause | None = None
    complete: bool = True
    missing: bool = False
    lacking: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Advised(Assessment):
    """An assessment with what was tried to mend it; None where nothing was to be tried."""

    remedies: Remedies | None = None


def remedies_of(
    made: Assessment,
    book: RuleBook,
    *,
    most: float = MOST_EFFORT,
    progress: Progress | None = None,
) -> Remedies | None:
    """Try what may mend a case that is not kept.

    Parameters
    ----------
    made : Assessment
        Of the case.
    book : RuleBook
        It was held against.
    most : float
        Effort that trials may take [-]; where a meter counts (:func:`surge.effort.at_most`), no more than
        that has left.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    Remedies or None
        None where every limit is kept, or where only fillings are not.
    """
    if made.of_scenarios == WITHIN:
        return None  # a filling is mended by hand
    if _beyond_help(made, book):
        return Remedies(missing=True)
    lacking = {r.rule.id for r in made.rulings if r.verdict != WITHIN and r.outcome == NOT_CHECKED}
    if lacking:
        book = replace(book, rules=tuple(r for r in book.rules if r.id not in lacking))
        made = assess(made.lineup, book=book, known=_at_hand(made))
        if made.verdict == WITHIN:
            return Remedies(missing=True)
    (part,) = foresee([made], lambda _: TYPICAL * most)
    with within(part), at_most(most):
        tried = _Finder(made, book, progress or (lambda _: None)).remedies()
    return replace(tried, lacking=bool(lacking))


def _beyond_help(made: Assessment, book: RuleBook) -> bool:
    """Whether something is not kept that no change of what flows and moves would mend."""
    lacks = (f for f in made.findings if counts(f, book) and f.verdict == UNDECIDED and f.margin is None)
    if any(f.check != "run" for f in lacks):
        return True
    broken = [r for r in made.rulings if r.verdict != WITHIN]
    return any(r.outcome != NOT_CHECKED and r.scenario == "" and not goes_by_runs(r) for r in broken)


class _Finder:
    """Tries remedies for one case, until that has taken too much."""

    def __init__(self, made: Assessment, book: RuleBook, progress: Progress) -> None:
        self.made, self.book, self.progress = made, book, progress
        self.trials: list[Trial] = []
        # Who waits for the remedies reads the verdict meanwhile.
        worst, self.verdict = made.weakest, made.verdict.upper()
        if worst is not None and worst.verdict == made.verdict:  # it may be a rule that is not kept
            self.verdict += f': "{worst.name}"'

    def _tell(self, words: str) -> None:
        self.progress(f"{self.verdict}; remedies: {words.removeprefix('remedies: ')}")

    def remedies(self) -> Remedies:
        """Cause and remedies, as far as they are found within the bound."""
        cause, complete, found = None, True, []
        try:
            cause = self._cause()
            for remedy in self._found():
                found.append(remedy)
                if len(found) == MOST_TOLD:
                    break
        except PatienceError:
            complete = False
        mended = {t.scenario for t in self.trials if t.found is not None}
        tried = dict.fromkeys(t.scenario for t in self.trials)
        return Remedies(
            found=tuple(found),
            in_vain=tuple(t for t in self.trials if t.found is None),
            unmended=tuple(s for s in tried if s not in mended),
            cause=cause,
            complete=complete,
        )

    # Trials

    def _found(self) -> Iterator[Remedy]:
        lineup = self.made.lineup
        if any(f.verdict != WITHIN for f in self.made.static):
            slower = slower_pump(lineup)
            if slower is None:
                return
            change, lineup = slower
            bench = Bench(lineup, self.book, self._tell)
            try:
                whole = assess(lineup, book=self.book, known=bench.at_hand, progress=self._tell)
            except (CaseError, GridError, SolveError):
                return  # the line-up does not flow as agreed at that speed
            if whole.verdict == WITHIN:
                yield self._remedy((change,), lineup)
                return
            yield from self._on(bench, _failing(whole, self.book), (change,))
            return
        bench = Bench(lineup, self.book, self._tell)
        bench.at_hand = _at_hand(self.made)
        yield from self._on(bench, _failing(self.made, self.book), ())

    def _on(self, bench: Bench, failing: set[str], before: tuple[Change, ...]) -> Iterator[Remedy]:
        """Remedies of a line-up that is changed already."""
        units = _units(bench.lineup, failing)
        others = [list(self._candidates(bench, unit)) for unit in units[1:]]
        if not units or not all(others):
            return
        told: list[tuple[Change, ...]] = []
        for first in self._candidates(bench, units[0]):
            chosen = [first, *(_alike(first, found) for found in others)]
            changes = _strictest(c for one in chosen for c in one.changes)
            made = _applied(bench.lineup, [one.apply for one in chosen])
            if changes not in told and self._all_kept(bench, made):
                told.append(changes)
                yield self._remedy((*before, *changes), made)

    def _candidates(self, bench: Bench, unit: Unit) -> Iterator[Candidate]:
        """What mends a unit by itself."""
        trials, some = Trials(bench, unit), False
        for trial in trials.each():
            self.trials.append(trial)
            if trial.found is not None:
                some = True
                yield trial.found
        for trial in () if some else trials.several():
            self.trials.append(trial)
            if trial.found is not None:
                yield trial.found

    def _all_kept(self, bench: Bench, lineup: LineUp) -> bool:
        """Whether a check of the whole changed case finds everything kept."""
        try:
            made = assess(lineup, book=self.book, known=bench.at_hand, progress=self._tell)
        except (CaseError, GridError, SolveError):
            return False
        return made.verdict == WITHIN

    def _remedy(self, changes: tuple[Change, ...], lineup: LineUp) -> Remedy:
        before = {s.name: s for s in self.made.lineup.scenarios}
        later = max(ends(s) - ends(before[s.name]) for s in lineup.scenarios)
        slower = [1.0 / c.value - 1.0 / c.was for c in changes if c.kind == RATE]
        return Remedy(changes=changes, lineup=lineup, ends_later=later, slower=max(slower, default=0.0))

    # The cause

    def _cause(self) -> Cause | None:
        """Leave out one movement at a time where a pressure of the weakest scenario is not kept."""
        worst = self.made.weakest
        run = self.made.run_of(worst) if worst is not None else None
        if worst is None or run is None or worst.verdict == WITHIN or worst.limit is None:
            return None
        if worst.check not in ("peak", "lowest", "vapour"):
            return None
        fixed = at_figures(self.made.lineup, run.taken)
        scenario = next(s for s in fixed.scenarios if s.name == run.name)
        self._tell("the cause")
        whole = _pressure(fixed, scenario, worst)
        found = []
        tripped = [(trip.pump,) for trip in scenario.trips]
        for names in (*begun_together(scenario), *tripped):
            self._tell("the cause")
            found.append((names, _pressure(fixed, without(scenario, names), worst)))
        return _chosen(worst, whole, found, steady=_steady(run, worst))


def _chosen(
    finding: Finding, whole: float, found: Sequence[tuple[tuple[str, ...], float]], *, steady: float
) -> Cause | None:
    """The movement without which the pressure comes back most."""
    sign = 1.0 if finding.check == "peak" else -1.0
    names, value = min(found, key=lambda pair: sign * pair[1], default=((), whole))
    if sign * (whole - value) < SHARE_OF_CAUSE * max(sign * (whole - steady), 1.0):
        return None
    assert finding.limit is not None
    enough = sign * (finding.limit - value) > 0.0
    alone = len(found) == 1
    return Cause(names=names, finding=finding, value=whole, without=value, enough=enough, alone=alone)


def _pressure(lineup: LineUp, scenario: Scenario, finding: Finding) -> float:
    """The extreme that a finding is about, in a single march [Pa gauge]."""
    run = simulate(lineup, scenario, quick=True)
    owners = run.elements if finding.subject == "element" else run.places
    owner = next(x for x in owners if x.name == finding.name)
    return (owner.highest if finding.check == "peak" else owner.lowest).pressure


def _steady(run: ScenarioResult, finding: Finding) -> float:
    if finding.subject == "place":
        return next(p.steady for p in run.places if p.name == finding.name)
    element = next(e for e in run.elements if e.name == finding.name)
    return element.steady_high if finding.check == "peak" else element.steady_low


# What is not kept


def _failing(made: Assessment, book: RuleBook) -> set[str]:
    """Scenarios that are not kept."""
    found = {f.scenario for f in made.findings if f.verdict != WITHIN and counts(f, book)}
    return (found | {r.scenario for r in made.rulings if r.verdict != WITHIN}) - {""}


def _units(lineup: LineUp, failing: set[str]) -> list[Unit]:
    """Scenarios that are not kept, each with those that repeat its shutdown."""
    groups: dict[str, list[Scenario]] = {}
    for s in lineup.scenarios:
        groups.setdefault(s.repeats or s.name, []).append(s)
    units = (
        Unit(scenarios=tuple(group), failing=tuple(s for s in group if s.name in failing))
        for group in groups.values()
    )
    return [u for u in units if u.failing]


def _alike(first: Candidate, found: Sequence[Candidate]) -> Candidate:
    """Of what mends another unit, the same kind of change if it is among it."""
    return next((one for one in found if one.kind == first.kind), found[0])


def _strictest(changes: Iterable[Change]) -> tuple[Change, ...]:
    """Changes of several units: what is one figure of the case, a rate or an ullage, stands once."""
    found: dict[tuple[str, tuple[str, ...], tuple[str, ...]], Change] = {}
    for one in changes:
        known = found.setdefault((one.kind, one.names, one.scenarios), one)
        if abs(one.value - one.was) > abs(known.value - known.was):
            found[one.kind, one.names, one.scenarios] = one
    return tuple(found.values())


def _applied(lineup: LineUp, changes: Sequence[Apply]) -> LineUp:
    for apply in changes:
        lineup = apply(lineup)
    return lineup


def _at_hand(made: Assessment) -> AtHand:
    """The runs of an assessment, for those that need them again."""
    known = AtHand()
    for scenario in made.lineup.scenarios:
        runs: list[Made] = [
            (run, tuple(f for f in made.findings if f.scenario == run.name and f.taken == run.taken))
            for run in made.scenarios
            if run.name == scenario.name
        ]
        known.keep(scenario, runs)
    return known


def slower_pump(lineup: LineUp) -> tuple[Change, LineUp] | None:
    """The greatest speed of one pump that keeps shut-off pressure within every limit, and the line-up so."""
    set_by_rate = lineup.rate.at if lineup.rate and lineup.rate.means == "pump speed" else ""
    for pump in (p for p in lineup.pumps if p.name != set_by_rate):
        for percent in range(round(100 * pump.speed) - 1, round(100 * SLOWEST * pump.speed) - 1, -1):
            speed = percent / 100
            pumps = tuple(replace(p, speed=speed) if p is pump else p for p in lineup.pumps)
            changed = lineup.with_(pumps=pumps)
            if all(f.verdict == WITHIN for f in static_over_densities(changed)):
                change = Change(
                    kind=SPEED, names=(pump.name,), scenarios=(), was=pump.speed, value=speed, bound=EXACTLY
                )
                return change, changed
    return None

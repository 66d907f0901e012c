"""What a search tells as safe is judged as a check judges it: by the same function, rule by rule.

Decisions
---------
* A stroke, a rate, a set, a shape, an order is safe where :func:`surge.rules.assess.assess` finds every limit
  and every required rule kept for the scenario in which it is. What holds for the case as a whole, whatever
  moves and however fast (a rating, the date of a test), is left to the check of the case.
* A greatest flow in one scenario may break the rule on the ullage in another: then the scenario that brings
  it is the one that does not keep it. So where a tank has an ullage, the other scenarios are run as well.
* What is told is judged in full. Other values that are looked at beside it, to see whether the scan was right
  there, are only shown (:meth:`Bench.show`): their runs are refined no further once every limit is kept by
  more than its error again, and by as much as the scan promised less what the search asks for. Not so where
  anything moves in no time, or errors do not fall: there a finer step may tell a greater error. In 217 runs
  of generated line-ups that were ended so none of 8298 extremes came nearer to a limit by more than that with
  finer steps; ``AGAIN`` is our own choice. A remedy that was only shown is checked in full with the
  whole case before it is told.
* Rules that need no march (velocities of the flow before anything moves, times, strokes) are asked first, at
  every value: they bound what is marched at all. Rules on how a flow stops need a march of their own at every
  value that is looked at, since batches keep no flows; only a terminal's own rules ask for that.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from surge.errors import CaseError, GridError, SolveError
from surge.hydraulics.fixed import at_shares
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import along_lengths, ranges_of
from surge.rules.assess import Assessment, AtHand, assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, WITHIN, Finding, findings_of, weakest, worst_of
from surge.rules.limits import LimitedExtreme
from surge.rules.ranged import over_ranges, worst_points
from surge.rules.rulings import (
    Ruling,
    counts,
    rule_on,
    searched_limits,
    with_pump_top,
)
from surge.search.judged import EFFECTIVE, SEVERITY, ULLAGE, Judged, goes_by_runs
from surge.search.smallest import Samples
from surge.transient.history import History
from surge.transient.plan import Plan, plan
from surge.transient.result import Elsewhere, Method, ScenarioResult
from surge.transient.run import Told, simulate
from surge.workers import Once, Progress, each

NO_RULES = RuleBook(rules=())
SURER = 1.25  # times the scan's own error: so much margin is asked for
DOUBT = 0.15  # of the instant-stop rise: a scan was off by less, wherever it was held against full runs
PROBES = 3  # full runs at values inside a window, beside those at its ends
NEXT = 1.03  # times: as far from the lower end of a window the first of them may lie
PROBES_RANGED = 1  # where something is a range, each of which takes several full runs
AGAIN = 1.0  # times its error more than that error: where so much is kept, a finer step changes no verdict
UNSAFE = -1.0  # [Pa] margin entered where it is no margin that is lacking
LENGTH_COUNT = 5  # looked at of a length that is a range
Refusal = CaseError | GridError | SolveError


class Bench:
    """Judges variants of the scenarios of one line-up; what was run is not run again.

    Parameters
    ----------
    lineup : LineUp
        Checked; figures in it may be ranges.
    book : RuleBook
    progress : callable, optional
    """

    def __init__(self, lineup: LineUp, book: RuleBook, progress: Progress | None = None) -> None:
        self.lineup, self.book, self.progress = with_pump_top(lineup, book), book, progress
        self.at_hand = AtHand()
        self._judged: Once[Scenario, Judged] = Once()
        self._shown: Once[tuple[Scenario, float], Judged] = Once()
        self._over: Once[tuple[str, str], list[LineUp]] = Once()
        self._stood: Once[tuple[int, str], tuple[LineUp, ScenarioResult]] = Once()
        ullage = any(t.ullage is not None for t in lineup.receiving)
        self.marched = RuleBook(rules=tuple(r for r in book.rules if r.required and r.measure == EFFECTIVE))
        self.shared = ullage and any(r.required and r.measure == ULLAGE for r in book.rules)

    def bare(self) -> Bench | None:
        """The case as if its relief valves and drums were not there; None where it has none."""
        if not self.lineup.relieving:
            return None
        return Bench(self.lineup.with_(relief_valves=(), surge_drums=()), self.book, self.progress)

    def over(self, scenario: Scenario) -> list[LineUp]:
        """The line-up at points of what is known as a range, to search by; itself where nothing is.

        Lengths throughout; and, with the scenario as the case has it, where what comes nearest to its limits
        is worst. What is found by them is judged over all of the ranges.
        """
        if not ranges_of(self.lineup):
            return [self.lineup]

        def points() -> list[LineUp]:
            own = next((s for s in self.lineup.scenarios if s.name == scenario.name), scenario)
            worst = worst_points(self.lineup, own, self.book, self.progress or (lambda _: None))
            found = dict.fromkeys([*along_lengths(self.lineup, LENGTH_COUNT), *worst])
            return [at_shares(self.lineup, shares) for shares in found]

        return self._over.get((scenario.name, scenario.stage), points)

    def limits(self, scenario: Scenario) -> tuple[LimitedExtreme, ...]:
        """What a search holds the extremes of a scenario against."""
        return searched_limits(self.lineup, self.book, scenario)

    def around(self, scenario: Scenario) -> LineUp:
        """The line-up with a variant in the place of the scenario of its name.

        Other scenarios stand beside it only where they bear on its verdict.
        """
        if not self.shared or scenario.name not in {s.name for s in self.lineup.scenarios}:
            return self.lineup.with_(scenarios=(scenario,))
        changed = (scenario if s.name == scenario.name else s for s in self.lineup.scenarios)
        return self.lineup.with_(scenarios=tuple(changed))

    def judge(self, scenario: Scenario) -> Judged:
        """Run a variant of a scenario in full, and hold it against every limit and every rule.

        Raises
        ------
        CaseError, GridError, SolveError
        """
        return self._judged.get(scenario, lambda: self._judge(scenario, self.at_hand))

    def _judge(self, scenario: Scenario, at_hand: AtHand) -> Judged:
        around = self.around(scenario)
        made = assess(around, book=self.book, known=at_hand, progress=self.progress)
        return self._of(made, scenario, at_hand)

    def show(self, scenario: Scenario, least: float) -> Judged:
        """Judge a variant of which it is enough to know that it is kept, by ``least`` [Pa] beyond its error.

        Its run is refined no further than shows that, and as much as the error again. Where it does not, this
        is :meth:`judge`. For what is told as safe that is not enough.

        Raises
        ------
        CaseError, GridError, SolveError
        """

        def shown() -> Judged:
            held, early = self.limits(scenario), False

            def enough(told: Told) -> bool:
                nonlocal early
                pairs = ((one.margin(p), error) for one in held for p, error in [told(one.key)])
                shows = all(margin - error >= max(least, AGAIN * error) for margin, error in pairs)
                early = early or shows  # of several runs over ranges any may end so
                return shows

            made = over_ranges(
                self.lineup,
                scenario,
                self.book,
                self.progress or (lambda _: None),
                explain=False,
                enough=enough,
            )
            if not early:  # it is a full run
                self.at_hand.keep(scenario, made)
                return self.judge(scenario)
            judged = self._judge(scenario, self.at_hand.but(scenario, made))
            return judged if judged.kept and judged.margin >= least else self.judge(scenario)

        return self._shown.get((scenario, least), shown)

    def keeps(self, scenario: Scenario) -> bool:
        """Whether all is kept, as far as :meth:`show` tells it."""
        return self.show(scenario, 0.0).kept

    def show_each(self, least: Mapping[Scenario, float]) -> list[Judged | Refusal]:
        """Show variants at once, each with its least margin [Pa]; of one that a check refuses, why.

        All are shown, whatever comes of the first: what is told of them does not go by which ends first.
        """
        return each(lambda one: _outcome(lambda: self.show(*one)), list(least.items()))

    def judge_each(self, scenarios: Sequence[Scenario]) -> list[Judged | Refusal]:
        """Judge variants at once, all of them as in :meth:`show_each`."""
        return each(lambda scenario: _outcome(lambda: self.judge(scenario)), scenarios)

    def keep(self, scenario: Scenario, lineup: LineUp, run: ScenarioResult) -> None:
        """Keep a full run that was made elsewhere; of a line-up without ranges only."""
        self.at_hand.keep(scenario, [(run, findings_of(lineup, run))])

    def _of(self, made: Assessment, scenario: Scenario, at_hand: AtHand) -> Judged:
        name = scenario.name
        held = self.limits(scenario)
        runs = [r for r in made.scenarios if r.name == name]
        found = tuple(f for f in made.findings if f.scenario in ("", name) and counts(f, self.book))
        by_run = at_hand.find(scenario) or [(run, ()) for run in runs]

        def weight(pair: tuple[ScenarioResult, tuple[Finding, ...]]) -> tuple[int, float]:
            worst = weakest(pair[1])
            return SEVERITY[worst_of(f.verdict for f in pair[1])], worst.load if worst else 0.0

        return Judged(
            findings=found,
            broken=tuple(r for r in self._broken(made) if self._concerns(r, made, scenario)),
            run=max(by_run, key=weight)[0],
            margin=min((_margin(run, one) for run in runs for one in held), default=math.inf),
        )

    @staticmethod
    def _broken(made: Assessment) -> list[Ruling]:
        return [r for r in made.rulings if r.verdict != WITHIN]

    def _concerns(self, ruling: Ruling, made: Assessment, scenario: Scenario) -> bool:
        """Whether a scenario is the one that breaks a rule."""
        if ruling.scenario == scenario.name:
            return True
        if ruling.scenario == "":
            return goes_by_runs(ruling)
        measure = ruling.rule.measure
        return measure == ULLAGE and not self._broken_without(ruling, made, scenario)

    @staticmethod
    def _broken_without(ruling: Ruling, made: Assessment, scenario: Scenario) -> bool:
        """Whether a rule on the ullage is broken though a scenario is left out."""
        name = scenario.name
        others = made.lineup.with_(scenarios=tuple(s for s in made.lineup.scenarios if s.name != name))
        runs = [r for r in made.scenarios if r.name != name]
        again = rule_on(others, book=RuleBook(rules=(ruling.rule,)), runs=runs, findings=())
        return any(
            r.verdict == ruling.verdict and (r.scenario, r.subject) == (ruling.scenario, ruling.subject)
            for r in again
        )

    def others(self, scenario: Scenario) -> dict[str, list[ScenarioResult]]:
        """Full runs of the other scenarios, where they bear on the verdict of this one."""
        found: dict[str, list[ScenarioResult]] = {}
        for one in self.around(scenario).scenarios:
            if one.name != scenario.name:
                if self.at_hand.find(one) is None:
                    alone = self.lineup.with_(scenarios=(one,))
                    assess(alone, book=self.book, known=self.at_hand, progress=self.progress)
                found[one.name] = [run for run, _ in self.at_hand.find(one) or []]
        return found

    # Rules that need no march

    def stands(self, scenario: Scenario, lineups: Sequence[LineUp]) -> dict[str, list[ScenarioResult]]:
        """What flows before anything moves, by scenario, at figures over what is a range."""
        around = self.around(scenario)
        found: dict[str, list[ScenarioResult]] = {}
        for one in around.scenarios:
            for fixed in lineups:
                try:
                    found.setdefault(one.name, []).append(self._standing(fixed, one))
                except (CaseError, SolveError):
                    if one.name == scenario.name:
                        raise
        return found

    def _standing(self, fixed: LineUp, scenario: Scenario) -> ScenarioResult:
        """What flows before anything moves; that of a scenario as the case has it is found once."""
        if not any(scenario is one for one in self.lineup.scenarios):
            return standing(plan(fixed, scenario))
        key = (id(fixed), scenario.name)
        return self._stood.get(key, lambda: (fixed, standing(plan(fixed, scenario))))[1]

    def minding(
        self,
        scenario: Scenario,
        stands: dict[str, list[ScenarioResult]],
        measures: Sequence[str],
    ) -> list[Ruling]:
        """Required rules of some measures that a variant breaks for certain, as far as no march is needed."""
        own = RuleBook(rules=tuple(r for r in self.book.rules if r.required and r.measure in measures))
        if not own.rules:
            return []
        around = self.around(scenario)
        lineup = around.with_(scenarios=tuple(s for s in around.scenarios if s.name in stands))
        runs = [run for each in stands.values() for run in each]
        rulings = rule_on(lineup, book=own, runs=runs, findings=())
        return [r for r in rulings if r.verdict == EXCEEDED and r.scenario == scenario.name]

    def minded_still(
        self, scenario: Scenario, lineups: Sequence[LineUp], measures: Sequence[str]
    ) -> Ruling | None:
        """A required rule that a variant breaks by what flows before anything moves.

        None too where the line-up cannot be held to it: the march tells that.
        """
        try:
            stands = self.stands(scenario, lineups)
        except (CaseError, SolveError):
            return None
        return next(iter(self.minding(scenario, stands, measures)), None)

    def by_march(
        self,
        variants: Mapping[float, Scenario],
        margins: Sequence[float],
        lineups: Sequence[LineUp],
        minded: dict[float, Ruling],
    ) -> list[float]:
        """Margins of variants, by what is searched [Pa]: ``UNSAFE`` where a rule on how a flow stops minds.

        That rule is entered in ``minded``. What is not safe in any case is not marched for it.
        """
        found = []
        for (value, scenario), margin in zip(variants.items(), margins, strict=True):
            ruling = self._minded_in_a_march(scenario, lineups) if margin >= 0.0 else None
            if ruling is not None:
                minded[value] = ruling
            found.append(margin if ruling is None else UNSAFE)
        return found

    def _minded_in_a_march(self, scenario: Scenario, lineups: Sequence[LineUp]) -> Ruling | None:
        """A required rule on how a flow stops that a variant does not keep in a single march."""
        if not self.marched.rules:
            return None
        found: list[Ruling] = []
        for fixed in lineups:
            try:
                run = simulate(fixed, scenario, quick=True)
            except (CaseError, GridError, SolveError):
                continue  # what cannot be run is told where it is judged
            alone = fixed.with_(scenarios=(scenario,))
            found += rule_on(alone, book=self.marched, runs=[run], findings=())
        return next((r for r in found if r.verdict != WITHIN), None)


def _outcome(judge: Callable[[], Judged]) -> Judged | Refusal:
    try:
        return judge()
    except (CaseError, GridError, SolveError) as error:
        return error


def standing(work: Plan) -> ScenarioResult:
    """A run of a plan that has not begun: what flows, and how far every valve is open; no pressures."""
    steady = work.steady
    return ScenarioResult(
        name=work.scenario.name,
        note="",
        taken=(),
        elsewhere=Elsewhere(),
        elements=(),
        places=(),
        periods=(),
        closures=(),
        vapour=None,
        undecided=(),
        notes=(),
        timing=work.scenario.timing,
        last_event=work.last_event,
        opening=dict(steady.opening),
        method=Method(
            dt=0.0,
            nodes=0,
            steps=0,
            duration=0.0,
            ahead=0.0,
            lumped=(),
            tolerance=0.0,
            worst_error=0.0,
            runs=0,
        ),
        envelopes={},
        history=History(
            time=np.zeros(1),
            pressure={},
            flow={name: np.array([flow]) for name, flow in steady.flow.items()},
        ),
    )


def _margin(run: ScenarioResult, held: LimitedExtreme) -> float:
    """Margin of a limit in a full run, less the numerical error [Pa]."""
    owners = run.elements if held.subject == "element" else run.places
    owner = next(x for x in owners if x.name == held.name)
    extreme = owner.highest if held.upper else owner.lowest
    return held.margin(extreme.pressure) - extreme.error


def worst_values(
    samples: Samples, low: float, high: float, *, below: float, most: int = PROBES
) -> list[float]:
    """Values within a span at which the margin is least, one for each doubling of the value at most.

    Parameters
    ----------
    samples : Samples
    low, high : float
        Ends of the span; what is found lies between them, and not right beside the lower one.
    below : float
        Only margins below this one matter [Pa].
    most : int
        How many are wanted.
    """
    octave: dict[int, float] = {}
    for value, margin in samples.margins.items():
        if NEXT * low < value <= high * (1 + 1e-9) and margin < below:
            k = math.floor(math.log2(value / low))
            if k not in octave or margin < samples.margins[octave[k]]:
                octave[k] = value
    return sorted(octave.values(), key=lambda v: samples.margins[v])[:most]


def refuted(samples: Samples, value: float, judged: Judged) -> None:
    """Enter a value that a full run does not show to be safe: nothing is safe that needs it."""
    samples.margins[value] = min(samples.margins.get(value, math.inf), min(-judged.lacking, UNSAFE))

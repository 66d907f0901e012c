"""Check a whole case: static pressures, every scenario, all that is known as a range only.

Decisions
---------
* What is known as a range only is judged by the worst over all ranges together (:mod:`surge.rules.ranged`).
* A scenario that boils is followed with cavities: a check decides what comes of them, a search does not.
* Shut-off pressures go by no range but the density, and evenly: both ends of it tell the worst.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from surge.effort import Part, foresee, within
from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import ranges_of
from surge.phrases import capital
from surge.rules.book import RuleBook
from surge.rules.fillings import FilledCase, filled_cases, filling_effort
from surge.rules.findings import ELSEWHERE, EXIT_CODE, WITHIN, Finding, weakest, worst_of, worst_one
from surge.rules.gauge import GaugeCheck, compare_with_gauges
from surge.rules.ranged import Made, over_ranges
from surge.rules.rulings import KEPT, NOT_DECIDED, NOT_KEPT, Ruling, counts, rule_on, with_pump_top, worst
from surge.rules.static import static_over_densities
from surge.transient.plan import first_effort
from surge.transient.result import ScenarioResult
from surge.workers import AT_ONCE, Once, Progress, workers

# What a scenario takes, and over ranges: times its first march, but no more than that. Demo cases took 10 to
# 160 times without ranges, 31 and 64 with; berths of tests/benchmarks/work.py 1.3e9 to 3.1e9, one 9e9.
TYPICAL, TYPICAL_RANGED, MOST_TYPICAL = 20.0, 80.0, 3e9


class AtHand:
    """Full runs of scenarios of one line-up, with their findings: what is there is not run again.

    A scenario may have several runs where figures are ranges.
    """

    def __init__(self) -> None:
        self._made: Once[Scenario, list[Made]] = Once()
        self.fillings: Once[bool, tuple[FilledCase, ...]] = Once()  # with a book of rules, and without

    def find(self, scenario: Scenario) -> list[Made] | None:
        """Return the runs of a scenario; None where it was not run."""
        return self._made.find(scenario)

    def get(self, scenario: Scenario, make: Callable[[], list[Made]]) -> list[Made]:
        """Return the runs of a scenario, made now where it was not run; see :class:`surge.workers.Once`."""
        return self._made.get(scenario, make)

    def keep(self, scenario: Scenario, made: list[Made]) -> None:
        """Keep the runs of a scenario."""
        self._made.keep(scenario, made)

    def but(self, scenario: Scenario, made: list[Made]) -> AtHand:
        """The same with other runs of one scenario; what is made for others is kept here."""
        return _But(self, scenario, made)


class _But(AtHand):
    """Runs that are at hand, but for one scenario."""

    def __init__(self, rest: AtHand, scenario: Scenario, made: list[Made]) -> None:
        self.rest, self.scenario, self.made, self.fillings = rest, scenario, made, rest.fillings

    def find(self, scenario: Scenario) -> list[Made] | None:
        return self.made if scenario == self.scenario else self.rest.find(scenario)

    def get(self, scenario: Scenario, make: Callable[[], list[Made]]) -> list[Made]:
        return self.made if scenario == self.scenario else self.rest.get(scenario, make)

    def keep(self, scenario: Scenario, made: list[Made]) -> None:
        self.rest.keep(scenario, made)


@dataclass(frozen=True, kw_only=True, eq=False)
class Assessment:
    """The answer to a case.

    Attributes
    ----------
    static : tuple of Finding
        Held before any scenario.
    scenarios : tuple of ScenarioResult
        Where figures are ranges, one for each point of them that is worst for some limit.
    findings : tuple of Finding
        Of all scenarios, static ones first. Where figures are ranges, each at its worst point.
    verdict : str
    weakest : Finding or None
        What governs.
    rulings : tuple of Ruling
        The case held against every rule of the book; empty without a book.
    gauge : GaugeCheck
        The case held against what was read on gauges; it changes no verdict.
    counting : tuple of Finding
        Those findings that make the verdict: a rule that a file sets aside takes its findings with it.
    fillings : tuple of FilledCase
        Lines that fill, each with findings and rulings of its own: ``verdict`` counts them too.
    """

    lineup: LineUp
    static: tuple[Finding, ...]
    scenarios: tuple[ScenarioResult, ...]
    findings: tuple[Finding, ...]
    verdict: str
    weakest: Finding | None
    rulings: tuple[Ruling, ...] = ()
    gauge: GaugeCheck = field(default_factory=GaugeCheck)
    counting: tuple[Finding, ...] = ()
    fillings: tuple[FilledCase, ...] = ()

    @property
    def of_scenarios(self) -> str:
        """What limits and rules make of the scenarios and of the line-up, fillings left out."""
        return worst_of([*(f.verdict for f in self.counting), *(r.verdict for r in self.rulings)])

    @property
    def broken(self) -> tuple[Ruling, ...]:
        """Binding rulings that are not plainly kept, and that no finding says already."""
        said = {(f.rule, f.scenario, f.verdict) for f in self.findings}
        return tuple(
            r
            for r in self.rulings
            if r.verdict != WITHIN and (r.rule.replaces or r.rule.id, r.scenario, r.verdict) not in said
        )

    @property
    def exit_code(self) -> int:
        """0 every limit kept, 3 a limit exceeded, 4 cannot be decided."""
        return EXIT_CODE[self.verdict]

    def run_of(self, finding: Finding) -> ScenarioResult | None:
        """Return the run that a finding comes from; None for a static one.

        Where figures are ranges a scenario has several runs, and a finding is of the worst of them.
        """
        runs = [r for r in self.scenarios if r.name == finding.scenario]
        return next((r for r in runs if r.taken == finding.taken), runs[0] if runs else None)


def assess(
    lineup: LineUp,
    *,
    book: RuleBook | None = None,
    known: AtHand | None = None,
    cavities: bool = True,
    progress: Progress | None = None,
) -> Assessment:
    """Check every scenario of a line-up against every limit and every rule.

    Parameters
    ----------
    lineup : LineUp
        Checked; figures in it may be ranges.
    book : RuleBook, optional
        Rules of the trade to hold it against; without one only pressures are looked at.
    known : AtHand, optional
        Full runs of this line-up that are at hand; new ones are kept there.
    cavities : bool
        Follow what boils with cavities. Never with ``known``, and False for every other search: a search does
        not tell what boils as safe.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    CaseError
        All faults that the scenarios show, not only the first.
    GridError, SolveError
    """
    tell = progress or (lambda _: None)
    at_hand = known or AtHand()
    _refuse_what_cannot_be_judged(lineup)
    if book is not None:
        lineup = with_pump_top(lineup, book)

    def one(scenario: Scenario, part: Part) -> list[Made] | CaseError:
        own = known is None  # not what a search tries

        def make() -> list[Made]:
            return over_ranges(lineup, scenario, book, tell, explain=own, cavities=own and cavities)

        try:
            with within(part):
                return at_hand.get(scenario, make)
        except CaseError as error:
            return error

    fillings = at_hand.fillings.find(book is not None)

    def weigh(scenario: Scenario | None) -> float:
        """Of a scenario; of all fillings for None."""
        if scenario is not None:
            return typical_effort(lineup, scenario)
        return 0.0 if fillings is not None else sum(filling_effort(lineup, f) for f in lineup.fillings)

    *parts, filling = foresee([*lineup.scenarios, None], weigh)

    def fill() -> tuple[FilledCase, ...]:
        with within(filling):
            return at_hand.fillings.get(book is not None, lambda: filled_cases(lineup, book, tell))

    with workers(AT_ONCE) as pool:
        filled = pool.submit(fill)
        answers = list(pool.map(one, lineup.scenarios, parts))
    faults: list[Fault] = []
    runs: list[ScenarioResult] = []
    found: list[Finding] = []
    for answer in answers:
        if isinstance(answer, CaseError):
            faults += [f for f in answer.faults if f not in faults]
        else:
            runs += [run for run, _ in answer]
            found += _worst_each([f for _, fs in answer for f in fs])
    if faults:
        raise CaseError(faults)
    static = static_over_densities(lineup)
    findings = (*static, *found)
    counting = [f for f in findings if book is None or counts(f, book)]
    rulings = rule_on(lineup, book=book, runs=runs, findings=findings) if book else ()
    rulings = tuple(_elsewhere(r, runs) for r in rulings)
    fillings = filled.result()
    return Assessment(
        lineup=lineup,
        static=static,
        scenarios=tuple(runs),
        findings=findings,
        verdict=worst_of([*(f.verdict for f in counting), worst(rulings), *(f.verdict for f in fillings)]),
        weakest=weakest(counting),
        rulings=rulings,
        # What a search tries is not the line that was read.
        gauge=compare_with_gauges(lineup, runs) if known is None else GaugeCheck(),
        counting=tuple(counting),
        fillings=fillings,
    )


def typical_effort(lineup: LineUp, scenario: Scenario) -> float:
    """Return the effort that checking a scenario takes on average [-], see :mod:`surge.effort`."""
    times = TYPICAL_RANGED if ranges_of(lineup) else TYPICAL
    return min(times * first_effort(lineup, scenario), MOST_TYPICAL)


def _refuse_what_cannot_be_judged(lineup: LineUp) -> None:
    if lineup.scenarios:
        return
    fault = Fault(
        path=("scenario",),
        found="no scenario: nothing happens in this case",
        expected="one [[scenario]] at least",
        remedy='write [[scenario]] with name = "..." and a [[scenario.event]] or [scenario.shutdown]',
    )
    raise CaseError([fault])


def _key(f: Finding) -> tuple[str, str, str, str, str]:
    return f.scenario, f.subject, f.name, f.check, f.limit_source


def _worst_each(findings: list[Finding]) -> list[Finding]:
    """Of findings that differ only in the point of the ranges they were made at, the worst one."""
    groups: dict[tuple[str, str, str, str, str], list[Finding]] = {}
    for f in findings:
        groups.setdefault(_key(f), []).append(f)
    return [worst_one(group) for group in groups.values()]


def _elsewhere(ruling: Ruling, runs: Sequence[ScenarioResult]) -> Ruling:
    """A ruling with what other points of the ranges make of it."""
    if not ruling.binding or ruling.margin is None:
        return ruling
    own = [run.elsewhere for run in runs if run.name == ruling.scenario]
    more = max((e.rules.get(ruling.rule.id, 0.0) for e in own), default=0.0)
    depends = next((e.depends for e in own if e.depends), "")
    words = ""
    if ruling.outcome == NOT_KEPT and depends and any(ruling.rule.id in e.rules for e in own):
        words = f" {capital(depends)}: {NOT_DECIDED}."
    elif ruling.outcome == KEPT and ruling.margin < more:
        words = f" {capital(ELSEWHERE)}: {NOT_DECIDED}."
    return replace(ruling, outcome=NOT_DECIDED, phrase=(*ruling.phrase, words)) if words else ruling

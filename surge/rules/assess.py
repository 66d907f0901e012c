"""Check a whole case: static pressures, every scenario, every length a shore line may have.

Decisions
---------
* A length or a wave speed that is a range is judged by the worst: quick runs over the range, interior
  included (:mod:`surge.model.ranges`), more of them near the two worst figures, full runs at up to
  ``FULL_RUNS`` of them.
* A second length that is a range is refused: only one way through the two ranges would be looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import Shares, all_shares, at_shares, figures_at, ranged, shares_near
from surge.rules.book import RuleBook
from surge.rules.findings import EXIT_CODE, WITHIN, Finding, findings_of, weakest, worst_of
from surge.rules.rulings import Ruling, counts, rule_on, with_pump_top, worst
from surge.rules.static import static_findings
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.workers import Progress, workers

FULL_RUNS = 4  # figures within a range at which the worst cases are run with error estimates
THREADS = 4  # scenarios at a time; the marches let other threads run


Made = tuple[ScenarioResult, tuple[Finding, ...]]  # a run with its findings


class AtHand:
    """Full runs of scenarios of one line-up, with their findings: what is there is not run again.

    A scenario whose lengths or wave speeds are ranges has several runs.
    """

    def __init__(self) -> None:
        self._made: list[tuple[Scenario, list[Made]]] = []

    def find(self, scenario: Scenario) -> list[Made] | None:
        """Return the runs of a scenario; None where it was not run."""
        return next((made for one, made in self._made if one == scenario), None)

    def keep(self, scenario: Scenario, made: list[Made]) -> None:
        """Keep the runs of a scenario."""
        self._made.append((scenario, made))


@dataclass(frozen=True, kw_only=True, eq=False)
class Assessment:
    """The answer to a case.

    Attributes
    ----------
    static : tuple of Finding
        Held before any scenario.
    scenarios : tuple of ScenarioResult
        With a range of lengths, one for each length that is worst for some limit.
    findings : tuple of Finding
        Of all scenarios, static ones first. With a range of lengths, each at its worst length.
    verdict : str
    weakest : Finding or None
        What governs.
    rulings : tuple of Ruling
        The case held against every rule of the book; empty without a book.
    """

    lineup: LineUp
    static: tuple[Finding, ...]
    scenarios: tuple[ScenarioResult, ...]
    findings: tuple[Finding, ...]
    verdict: str
    weakest: Finding | None
    rulings: tuple[Ruling, ...] = ()

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

        With a range of lengths a scenario has several runs, and a finding is of the worst of them.
        """
        runs = [r for r in self.scenarios if r.name == finding.scenario]
        taken = (dict(finding.lengths), dict(finding.speeds))
        return next((r for r in runs if (r.lengths, r.speeds) == taken), runs[0] if runs else None)


def assess(
    lineup: LineUp,
    *,
    book: RuleBook | None = None,
    known: AtHand | None = None,
    progress: Progress | None = None,
) -> Assessment:
    """Check every scenario of a line-up against every limit and every rule.

    Parameters
    ----------
    lineup : LineUp
        Checked; lengths may be ranges.
    book : RuleBook, optional
        Rules of the trade to hold it against; without one only pressures are looked at.
    known : AtHand, optional
        Full runs of this line-up that are at hand; new ones are kept there.
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

    def one(scenario: Scenario) -> list[Made] | CaseError:
        if (made := at_hand.find(scenario)) is not None:
            return made
        try:
            made = _over_ranges(lineup, scenario, tell)
        except CaseError as error:
            return error
        at_hand.keep(scenario, made)
        return made

    with workers(THREADS) as pool:
        answers = list(pool.map(one, lineup.scenarios))
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
    static = static_findings(lineup)
    findings = (*static, *found)
    counting = [f for f in findings if book is None or counts(f, book)]
    rulings = rule_on(lineup, book=book, runs=runs, findings=findings) if book else ()
    return Assessment(
        lineup=lineup,
        static=static,
        scenarios=tuple(runs),
        findings=findings,
        verdict=worst_of([*(f.verdict for f in counting), worst(rulings)]),
        weakest=weakest(counting),
        rulings=rulings,
    )


def _refuse_what_cannot_be_judged(lineup: LineUp) -> None:
    faults = []
    if not lineup.scenarios:
        faults.append(
            Fault(
                path=("scenario",),
                found="no scenario: nothing happens in this case",
                expected="one [[scenario]] at least",
                remedy='write [[scenario]] with name = "..." and a [[scenario.event]] or [scenario.shutdown]',
            )
        )
    lengths = [p for p in lineup.pipes if p.length_range is not None]
    faults += [
        Fault(
            path=(*pipe.origin, "length"),
            found=f'a second length that is a range (the first is of "{lengths[0].name}")',
            expected="one range of lengths in a case",
            remedy="give this length as one figure, and check a case for each of its ends and some between",
        )
        for pipe in lengths[1:]
    ]
    if faults:
        raise CaseError(faults)


def _key(f: Finding) -> tuple[str, str, str, str, str]:
    return f.scenario, f.subject, f.name, f.check, f.limit_source


def _worst_each(findings: list[Finding]) -> list[Finding]:
    """Of findings that differ only in the length they were made at, the worst one."""
    groups: dict[tuple[str, str, str, str, str], list[Finding]] = {}
    for f in findings:
        groups.setdefault(_key(f), []).append(f)
    return [weakest(group) or min(group, key=_margin) for group in groups.values()]


def _margin(f: Finding) -> float:
    return f.margin if f.margin is not None else 0.0


def _over_ranges(lineup: LineUp, scenario: Scenario, tell: Progress) -> list[Made]:
    """Runs of a scenario with their findings: one, or those at the worst figures of what is a range."""
    if not any(ranged(lineup)):
        run = simulate(lineup, scenario, progress=tell)
        return [(run, findings_of(lineup, run))]
    answers = []
    for shares in _worst_shares(lineup, scenario, tell):
        fixed = at_shares(lineup, shares)
        lengths, speeds = figures_at(lineup, shares)
        run = replace(simulate(fixed, scenario, progress=tell), lengths=lengths, speeds=speeds)
        taken, waves = tuple(lengths.items()), tuple(speeds.items())
        answers.append((run, tuple(replace(f, lengths=taken, speeds=waves) for f in findings_of(fixed, run))))
    return answers


def _worst_shares(lineup: LineUp, scenario: Scenario, tell: Progress) -> list[Shares]:
    """Shares of the ranges at which some limit is nearest, by quick runs, refined once."""
    scans: dict[Shares, dict[tuple[str, str, str, str, str], Finding]] = {}

    def scan(shares: Shares) -> None:
        if shares not in scans:
            tell(f"{len(scans) + 1} figures within what is a range")
            fixed = at_shares(lineup, shares)
            scans[shares] = {_key(f): f for f in findings_of(fixed, simulate(fixed, scenario, quick=True))}

    def worst_first() -> list[Shares]:
        keys = {k for found in scans.values() for k in found}
        best: dict[Shares, float] = {}
        for key in keys:
            shares = max(scans, key=lambda s: scans[s][key].load if key in scans[s] else -1.0)
            best[shares] = max(
                best.get(shares, 0.0), scans[shares][key].load if key in scans[shares] else 0.0
            )
        return sorted(best, key=lambda s: -best[s])

    for shares in all_shares(lineup):
        scan(shares)
    for shares in worst_first()[:2]:
        for near in shares_near(lineup, shares):
            scan(near)
    return worst_first()[:FULL_RUNS]

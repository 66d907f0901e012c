"""Check a whole case: static pressures, every scenario, every length a shore line may have."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from surge.errors import CaseError, Fault
from surge.lineup import LineUp, Pipe, Scenario
from surge.result import ScenarioResult
from surge.rulebook import RuleBook
from surge.rulings import Ruling, counts, rule_on, with_pump_top, worst
from surge.run import simulate
from surge.static import static_findings
from surge.verdict import EXIT_CODE, WITHIN, Finding, findings_of, weakest, worst_of

LENGTH_SAMPLES = 17  # over a range of lengths, both ends among them
FULL_RUNS = 4  # lengths at which the worst cases are run with error estimates
THREADS = 4  # scenarios at a time; the marches let other threads run


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


Tell = Callable[[str], None]


def assess(lineup: LineUp, *, book: RuleBook | None = None, tell: Tell | None = None) -> Assessment:
    """Check every scenario of a line-up against every limit and every rule.

    Parameters
    ----------
    lineup : LineUp
        Checked; lengths may be ranges.
    book : RuleBook, optional
        Rules of the trade to hold it against; without one only pressures are looked at.
    tell : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    CaseError
        All faults that the scenarios show, not only the first.
    GridError, SolveError
    """
    say = tell or (lambda _: None)
    _refuse_what_cannot_be_judged(lineup)
    if book is not None:
        lineup = with_pump_top(lineup, book)

    def one(scenario: Scenario) -> list[tuple[ScenarioResult, tuple[Finding, ...]]] | CaseError:
        try:
            return _over_lengths(lineup, scenario, say)
        except CaseError as error:
            return error

    with ThreadPoolExecutor(THREADS) as pool:
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
    ranged = [p for p in lineup.pipes if p.length_range is not None]
    faults += [
        Fault(
            path=(*pipe.origin, "length"),
            found=f'a second length that is a range (the first is of "{ranged[0].name}")',
            expected="one range of lengths in a case",
            remedy="give this length as one figure, and check a case for each of its ends and some between",
        )
        for pipe in ranged[1:]
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


def at_share(lineup: LineUp, share: float) -> LineUp:
    """The line-up with every ranged length at ``share`` of its range, 0 shortest to 1 longest."""

    def fix(pipe: Pipe) -> Pipe:
        if pipe.length_range is None:
            return pipe
        low, high = pipe.length_range
        return replace(pipe, length=low + share * (high - low), length_range=None)

    return lineup.with_(pipes=tuple(fix(p) for p in lineup.pipes))


def _over_lengths(
    lineup: LineUp, scenario: Scenario, say: Tell
) -> list[tuple[ScenarioResult, tuple[Finding, ...]]]:
    ranged = [p for p in lineup.pipes if p.length_range is not None]
    if not ranged:
        run = simulate(lineup, scenario, tell=say)
        return [(run, findings_of(lineup, run))]
    answers = []
    for share in _worst_shares(lineup, scenario, say):
        fixed = at_share(lineup, share)
        run = simulate(fixed, scenario, tell=say)
        lengths = {p.name: p.length for p in fixed.pipes if p.name in {r.name for r in ranged}}
        run = replace(run, lengths=lengths)
        found = (replace(f, lengths=tuple(lengths.items())) for f in findings_of(fixed, run))
        answers.append((run, tuple(found)))
    return answers


def _worst_shares(lineup: LineUp, scenario: Scenario, say: Tell) -> list[float]:
    """Shares of the range at which some limit is nearest, by quick runs, refined once."""
    scans: dict[float, dict[tuple[str, str, str, str, str], Finding]] = {}

    def scan(share: float) -> None:
        if share not in scans:
            say(f"length {share:.2f} of the range")
            fixed = at_share(lineup, share)
            scans[share] = {_key(f): f for f in findings_of(fixed, simulate(fixed, scenario, quick=True))}

    def worst_first() -> list[float]:
        keys = {k for found in scans.values() for k in found}
        best: dict[float, float] = {}
        for key in keys:
            share = max(scans, key=lambda s: scans[s][key].load if key in scans[s] else -1.0)
            best[share] = max(best.get(share, 0.0), scans[share][key].load if key in scans[share] else 0.0)
        return sorted(best, key=lambda s: -best[s])

    step = 1 / (LENGTH_SAMPLES - 1)
    for i in range(LENGTH_SAMPLES):
        scan(i * step)
    for share in worst_first()[:2]:
        for near in (share - step / 2, share - step / 4, share + step / 4, share + step / 2):
            if 0.0 <= near <= 1.0:
                scan(near)
    return worst_first()[:FULL_RUNS]

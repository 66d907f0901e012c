"""Rows of pressures for the sheet: every element and place once, at its worst over all scenarios.

Figures are rounded as in every other answer (:class:`surge.reports.words.Display`); the SI values stand
beside them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from surge.reports.words import BOILS_THERE, RANK, SHORT, Display
from surge.rules.assess import Assessment
from surge.rules.findings import WITHIN, Finding
from surge.rules.telling import steady_there, told, valid
from surge.transient.result import ElementResult, PlaceResult, ScenarioResult

UPPER = ("peak", "steady")
LOWER = ("lowest", "vapour")
NONE = "-"
AT_REST = "valves shut, pump running"
JOINED = "through the elements it joins"


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureRow:
    """One element or place against the limit that it comes nearest to.

    Attributes
    ----------
    name, subject : str
        Whose; "element" or "place".
    scenario : str
        In which, with the figures taken where they are ranges.
    check : str
        "peak", "steady", "static", "lowest" or "vapour"; "" where nothing is held against it.
    verdict : str
        "kept", "EXCEEDED", "undecided"; "" where there is no limit.
    steady, pressure, error, limit, margin, time : str
        As printed, in the units of the sheet; "-" where there is none.
    limit_from : str
        Source of the limit, or why there is none.
    """

    name: str
    subject: str
    scenario: str
    check: str
    verdict: str
    steady: str
    pressure: str
    error: str
    limit: str
    margin: str
    time: str
    limit_from: str
    steady_pa_gauge: float | None
    pressure_pa_gauge: float | None
    error_pa: float
    limit_pa_gauge: float | None
    margin_pa: float | None
    time_s: float | None


def name_of(run: ScenarioResult, display: Display) -> str:
    """A scenario, with what was taken for each figure that is a range."""
    return ", ".join((run.name, *display.taken(run.taken)))


def worst_first(finding: Finding) -> tuple[int, float, bool]:
    """Return a key for sorting findings, the worst first.

    Returns
    -------
    (int, float, bool)
        The verdict: exceeded, undecided, kept. Then how much of the limit is used [-], with the sign turned.
        Of equals an extreme of the run goes before others.
    """
    used = 1.0 if finding.boils else finding.load
    return RANK[finding.verdict], -used, finding.check not in ("peak", "lowest")


def upper_rows(assessment: Assessment, display: Display) -> tuple[PressureRow, ...]:
    """Highest pressures, the nearest to their limits first; what nothing is held against at the end.

    A shut-off pressure (before any scenario) that is not within its limit has a row of its own.
    """
    rows = [_judged(assessment, f, display, upper=True) for f in _worst_of_each(assessment.findings, UPPER)]
    static = sorted((f for f in assessment.static if f.verdict != WITHIN), key=worst_first)
    at_rest = [_at_rest(f, display) for f in static]
    judged = {row.name for row in rows if row.subject == "element"}
    free = [_free(assessment, e.name, display) for e in assessment.lineup.elements if e.name not in judged]
    bad = [row for row in rows if row.verdict != SHORT[WITHIN]]
    return (*bad, *at_rest, *(row for row in rows if row.verdict == SHORT[WITHIN]), *free)


def lower_rows(assessment: Assessment, display: Display) -> tuple[PressureRow, ...]:
    """Lowest pressures against vacuum and vapour limits, the nearest first."""
    return tuple(
        _judged(assessment, f, display, upper=False) for f in _worst_of_each(assessment.findings, LOWER)
    )


def static_worst(assessment: Assessment) -> Finding | None:
    """The shut-off pressure that is nearest to its limit."""
    return min(assessment.static, key=worst_first, default=None)


def _worst_of_each(findings: Iterable[Finding], checks: Collection[str]) -> list[Finding]:
    groups: dict[tuple[str, str], list[Finding]] = {}
    for f in findings:
        if f.check in checks and f.subject in ("element", "place"):
            groups.setdefault((f.subject, f.name), []).append(f)
    return sorted((min(group, key=worst_first) for group in groups.values()), key=worst_first)


def _owner(run: ScenarioResult, finding: Finding) -> ElementResult | PlaceResult:
    owners: Iterable[ElementResult | PlaceResult] = (
        run.elements if finding.subject == "element" else run.places
    )
    return next(o for o in owners if o.name == finding.name)


def _judged(assessment: Assessment, finding: Finding, display: Display, *, upper: bool) -> PressureRow:
    usual = assessment.run_of(finding)
    assert usual is not None
    run = usual.made_with(finding.beside)
    owner = _owner(run, finding)
    extreme = owner.highest if upper else owner.lowest
    write = display.round_up if upper else display.round_down
    seen = valid(finding, run)
    steady_is_it = finding.check == "steady"
    value = seen.value
    time = finding.time if seen.cavities else extreme.time if seen.when is not None else None
    there = told(run, (finding.subject, finding.name), extreme, upper=upper)
    if finding.limit is None:  # no rating: told all the same, held against nothing
        value, time = there.pressure, there.time
    error = there.error
    steady: float | None = owner.steady
    if isinstance(owner, ElementResult):
        steady = owner.steady_high if steady_is_it else steady_there(run, owner, there, upper=upper)
    source = f"vapour pressure of {assessment.lineup.liquid.name}"
    if finding.boils:
        source = BOILS_THERE
    return PressureRow(
        name=finding.name,
        subject=finding.subject,
        scenario=name_of(run, display)
        + (f", with {finding.beside}" if finding.beside else "")
        + (", before anything moves" if steady_is_it else ""),
        check=finding.check,
        verdict=SHORT[finding.verdict],
        steady=NONE if steady is None else display.pressure(steady),
        pressure=NONE if value is None else write(value),
        error="" if steady_is_it else display.error(error),
        limit=NONE if finding.limit is None else display.pressure(finding.limit),
        margin=NONE if seen.margin is None else display.margin(seen.margin),
        time=_instant(run, time, display),
        limit_from=source if finding.check == "vapour" else finding.limit_source or finding.reason,
        steady_pa_gauge=steady,
        pressure_pa_gauge=value,
        error_pa=0.0 if steady_is_it else error,
        limit_pa_gauge=finding.limit,
        margin_pa=seen.margin,
        time_s=_since(run, time, display),
    )


def _since(run: ScenarioResult, time: float | None, display: Display) -> float | None:
    """An instant on the clock of the sheet [s]."""
    return None if time is None else time - display.zeros.get(run.name, 0.0)


def _instant(run: ScenarioResult, time: float | None, display: Display) -> str:
    """The same as printed; what stands before anything moves has no time."""
    return NONE if not time else display.instant(run.name, time)


def _at_rest(finding: Finding, display: Display) -> PressureRow:
    """A shut-off pressure."""
    return PressureRow(
        name=finding.name,
        subject=finding.subject,
        scenario=AT_REST,
        check=finding.check,
        verdict=SHORT[finding.verdict],
        steady=NONE,
        pressure=NONE if finding.value is None else display.round_up(finding.value),
        error="",
        limit=NONE if finding.limit is None else display.pressure(finding.limit),
        margin=NONE if finding.margin is None else display.margin(finding.margin),
        time=NONE,
        limit_from=finding.limit_source or finding.reason,
        steady_pa_gauge=None,
        pressure_pa_gauge=finding.value,
        error_pa=0.0,
        limit_pa_gauge=finding.limit,
        margin_pa=finding.margin,
        time_s=None,
    )


def _free(assessment: Assessment, name: str, display: Display) -> PressureRow:
    """An element that has no limit of its own: its highest pressure over all scenarios."""
    pairs = [(run, next(e for e in run.elements if e.name == name)) for run in assessment.scenarios]
    seen = [told(run, ("element", name), element.highest, upper=True) for run, element in pairs]
    most = max(range(len(seen)), key=lambda k: seen[k].pressure)
    (run, element), (value, time) = pairs[most], (seen[most].pressure, seen[most].time)
    steady = steady_there(run, element, seen[most], upper=True)
    return PressureRow(
        name=name,
        subject="element",
        scenario=name_of(run, display),
        check="",
        verdict="",
        steady=NONE if steady is None else display.pressure(steady),
        pressure=display.round_up(value),
        error=display.error(seen[most].error),
        limit=NONE,
        margin=NONE,
        time=_instant(run, time, display),
        limit_from=JOINED,
        steady_pa_gauge=steady,
        pressure_pa_gauge=value,
        error_pa=seen[most].error,
        limit_pa_gauge=None,
        margin_pa=None,
        time_s=_since(run, time, display),
    )

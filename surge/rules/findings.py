"""Findings: every pressure against every limit that holds there, with source, margin and verdict.

Pressures [Pa gauge], times [s], distances [m].

Decisions
---------
* A pipe, hose or arm without a rating cannot be decided. A valve, passage or pump without one is judged
  through the elements that it joins.
* A scenario that boils is judged with cavities: a limit is kept or exceeded where all marches of both models
  agree by more than their band (:mod:`surge.transient.cavities`). What is exceeded before it boils stays so.
  To boil is no limit then: what comes of it is told, and held against the limits.
* Where no marches with cavities were made, reaching the vapour pressure is a limit exceeded, and every other
  one rests on the part of the run before: what is not exceeded by then cannot be decided. Searches
  (:mod:`surge.search.judge`) make none: what boils is not told as safe.
* Marches with cavities are made at one point of what is a range only. So nothing is kept by them where
  figures are ranges.
* What a case asks for beside the usual makes no verdict better: of such a run only what is worse is a
  finding, beside that of the usual one. Where it cannot be run nothing is decided.
* A limit that is nearer than the numerical error cannot be decided. Every finding names its rule.
* Where a figure within its range turns the verdict, nothing of that run is exceeded for certain: it cannot be
  decided, in every table as in the verdict.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from surge.model.lineup import Element, LineUp, Pipe, Point
from surge.model.ranges import Taken
from surge.rules.limits import (
    PEAK_RULE,
    VALID_RULE,
    Limit,
    LimitedExtreme,
    limits_at,
    limits_in,
    steady_limit,
)
from surge.transient.cavity_result import Cavities
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult

WITHIN = "limit kept"
EXCEEDED = "limit exceeded"
UNDECIDED = "cannot be decided"
_SEVERITY = {WITHIN: 0, UNDECIDED: 1, EXCEEDED: 2}
EXIT_CODE = {WITHIN: 0, EXCEEDED: 3, UNDECIDED: 4}


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One pressure against one limit.

    Attributes
    ----------
    scenario : str
        "" for a check that holds before any scenario.
    subject : str
        "element" or "place"; ``name`` is whose.
    check : str
        "peak", "steady", "static", "lowest" or "vapour".
    value, error : float or None
        Pressure and its numerical error [Pa gauge]; None when there is no value.
    limit : float or None
        [Pa gauge]; None when there is none to hold it against.
    limit_source : str
    rule : str
        The rule of the trade that this check is made for.
    margin : float or None
        How far the value stays on the safe side of the limit [Pa]; negative beyond it.
    time, distance : float or None
    taken : tuple of Taken
        What was taken of each figure that is a range.
    verdict : str
        ``WITHIN``, ``EXCEEDED`` or ``UNDECIDED``.
    reason : str
        Why it cannot be decided, "" otherwise.
    noted : bool
        It is told and no limit: that the liquid boils, or does not, in a scenario followed with cavities.
    beside : str
        Of a run beside the usual (:mod:`surge.transient.sensitivities`): what it was made with, in words.
    """

    scenario: str
    subject: str
    name: str
    check: str
    value: float | None
    error: float
    limit: float | None
    limit_source: str
    rule: str
    margin: float | None
    time: float | None
    distance: float | None
    verdict: str
    reason: str = ""
    taken: tuple[Taken, ...] = ()
    noted: bool = False
    beside: str = ""

    @property
    def load(self) -> float:
        """How much of the limit is used: above 1 is beyond it; for ordering only [-]."""
        if self.value is None or self.limit is None or self.margin is None or self.noted:
            return 0.0
        scale = max(abs(self.limit), 1e5)
        return 1 - (self.margin - self.error) / scale

    @property
    def boils(self) -> bool:
        """Whether it tells that the liquid boils, or nearly does, in a scenario followed with cavities."""
        return self.noted and self.margin is not None and self.margin <= self.error


APART = "the limit lies within the band of the marches with cavities"
ELSEWHERE = "at other figures within the ranges it may be beyond the limit"


def worst_of(verdicts: Iterable[str]) -> str:
    """The verdict of a whole: exceeded before undecided before kept."""
    return max(verdicts, key=_SEVERITY.__getitem__, default=WITHIN)


def _judge(margin: float, error: float) -> tuple[str, str]:
    if margin >= error:
        return WITHIN, ""
    if margin < -error:
        return EXCEEDED, ""
    return UNDECIDED, "the numerical error reaches across the limit"


@dataclass(frozen=True, kw_only=True)
class Whose:
    """What a finding is about: ``scenario`` ("" before any), ``subject``, ``name``, ``check``."""

    scenario: str
    subject: str
    name: str
    check: str

    def of(self, check: str) -> Whose:
        """The same with another check."""
        return replace(self, check=check)


def judge_extreme(
    whose: Whose, extreme: Extreme, limit: Limit, *, upper: bool, boiled: bool, without: str = ""
) -> Finding:
    """Hold an extreme against a limit; after the liquid has boiled only what came before counts.

    ``without`` says why there are no marches with cavities.
    """
    sign = 1.0 if upper else -1.0
    margin = sign * (limit.value - extreme.pressure)
    if boiled:
        # What boils is below its limit by no more than one step's fall: the whole run tells by how much.
        exceeded = _exceeded_before(whose, extreme, limit, upper=upper)
        if whose.check == "vapour":
            before = sign * (limit.value - extreme.before_vapour)
            exceeded = before <= 0.0 and margin < -extreme.error
        verdict = EXCEEDED if exceeded else UNDECIDED
        reason = "" if exceeded else f"the liquid boils: pressures after that are not valid{without}"
    else:
        verdict, reason = _judge(margin, extreme.error)
        if verdict == UNDECIDED and margin >= extreme.error - extreme.range_part:
            reason = ELSEWHERE
    return finding_about(
        whose,
        limit,
        value=extreme.pressure,
        error=extreme.error,
        margin=margin,
        time=extreme.time,
        distance=extreme.distance if whose.subject == "element" else None,
        verdict=verdict,
        reason=reason,
    )


def _exceeded_before(whose: Whose, extreme: Extreme, limit: Limit, *, upper: bool) -> bool:
    """Whether a limit is exceeded for certain before the liquid boils anywhere."""
    margin = (1.0 if upper else -1.0) * (limit.value - extreme.before_vapour)
    return whose.check != "vapour" and _judge(margin, extreme.error)[0] == EXCEEDED


def judge_with_cavities(
    whose: Whose, extreme: Extreme, limit: Limit, cavities: Cavities, *, upper: bool, length: float = 0.0
) -> Finding:
    """Hold an extreme against a limit in a scenario that boils and was followed with cavities.

    Parameters
    ----------
    whose : Whose
    extreme : Extreme
        Of the run without cavities: only what came before it boils counts.
    limit : Limit
    cavities : Cavities
    upper : bool
    length : float
        Of the element [m].
    """
    found = cavities.extremes[whose.subject, whose.name, "high" if upper else "low"]
    sign = 1.0 if upper else -1.0
    value, band = found.pressure, found.band
    margin = sign * (limit.value - value)
    verdict, reason = (WITHIN, "") if margin >= band else (UNDECIDED, APART)
    if sign * (found.sure - limit.value) > 0.0:
        verdict, reason = EXCEEDED, ""
    time, distance = found.furthest.time, found.furthest.share * length
    if _exceeded_before(whose, extreme, limit, upper=upper):
        verdict, reason = EXCEEDED, ""
        if sign * (extreme.before_vapour - value) > 0.0:
            value, margin = extreme.before_vapour, sign * (limit.value - extreme.before_vapour)
            time, distance = extreme.time, extreme.distance
    elif not upper and limit.value <= cavities.boils:
        verdict, reason = WITHIN, ""  # no pressure falls below that at which the liquid boils
    if verdict == WITHIN and cavities.ranges:
        verdict, reason = UNDECIDED, _of_ranges(cavities)
    return finding_about(
        whose,
        limit,
        value=value,
        error=band,
        margin=margin,
        time=time,
        distance=distance if whose.subject == "element" else None,
        verdict=verdict,
        reason=reason,
        noted=whose.check == "vapour" and verdict == WITHIN,
    )


def _of_ranges(cavities: Cavities) -> str:
    few = ", ".join(cavities.ranges[:3]) + f" and {len(cavities.ranges) - 3} more" * (
        len(cavities.ranges) > 3
    )
    return (
        "the cargo boils, and its cavities were looked at for one value of each figure that is known as a "
        f"range only: give the {few}"
    )


def judge_value(
    whose: Whose, value: float, limit: Limit, *, inclusive: bool = True, more: float = 0.0
) -> Finding:
    """Hold a pressure that has no numerical error (steady or static) against an upper limit.

    ``more`` is how much higher it may be elsewhere in what is a range [Pa].
    """

    def kept(pressure: float) -> bool:
        return pressure <= limit.value if inclusive else pressure < limit.value

    verdict, reason = (WITHIN if kept(value) else EXCEEDED), ""
    if verdict == WITHIN and more > 0.0 and not kept(value + more):
        verdict, reason = UNDECIDED, ELSEWHERE
    return finding_about(
        whose,
        limit,
        value=value,
        error=more,
        margin=limit.value - value,
        verdict=verdict,
        reason=reason,
    )


def missing(whose: Whose, rule: str, *, reason: str) -> Finding:
    """A check that could not be made for want of data."""
    return finding_about(whose, None, value=None, margin=None, verdict=UNDECIDED, reason=reason, rule=rule)


def finding_about(
    whose: Whose,
    limit: Limit | None,
    *,
    value: float | None,
    margin: float | None,
    verdict: str,
    error: float = 0.0,
    time: float | None = None,
    distance: float | None = None,
    reason: str = "",
    rule: str = "",
    taken: tuple[Taken, ...] = (),
    noted: bool = False,
) -> Finding:
    """One pressure [Pa gauge] against one limit, as it was judged; the others as of :class:`Finding`."""
    return Finding(
        scenario=whose.scenario,
        subject=whose.subject,
        name=whose.name,
        check=whose.check,
        value=value,
        error=error,
        limit=limit.value if limit else None,
        limit_source=limit.source if limit else "",
        rule=limit.rule if limit else rule,
        margin=margin,
        time=time,
        distance=distance,
        verdict=verdict,
        reason=reason,
        taken=taken,
        noted=noted,
    )


def _unrated_ends(lineup: LineUp, element: Element) -> list[str]:
    """Ends of an element without a rating at which nothing else has one, and no tank stands."""
    tanks = {t.point for t in lineup.tanks}
    rated = {p for e in lineup.elements if e.limits.rating is not None for p in (e.start, e.end)}
    return [p for p in (element.start, element.end) if p not in tanks and p not in rated]


def _no_rating(lineup: LineUp, element: Element, whose: Whose) -> list[Finding]:
    if isinstance(element, Pipe):
        return [missing(whose, PEAK_RULE, reason="no rating given: write rating = ...")]
    return [
        missing(whose, PEAK_RULE, reason=f'nothing at "{point}" has a rating: write rating = ...')
        for point in _unrated_ends(lineup, element)
    ]


def _element_findings(
    lineup: LineUp, element: Element, got: ElementResult, run: ScenarioResult
) -> list[Finding]:
    whose = Whose(scenario=run.name, subject="element", name=element.name, check="peak")
    rating = steady_limit(element)
    found = [] if rating else _no_rating(lineup, element, whose)
    for held in limits_in(lineup, element):
        found.append(_extreme_finding(held, got, run))
        if held.check == "peak" and rating is not None:
            found.append(judge_value(whose.of("steady"), got.steady_high, rating, more=got.steady_range))
    return found


def _extreme_finding(held: LimitedExtreme, got: ElementResult | PlaceResult, run: ScenarioResult) -> Finding:
    whose = Whose(scenario=run.name, subject=held.subject, name=held.name, check=held.check)
    extreme = got.highest if held.upper else got.lowest
    cavities = run.cavities
    if cavities is not None and not cavities.missing:
        length = got.length if isinstance(got, ElementResult) else 0.0
        return judge_with_cavities(whose, extreme, held.limit, cavities, upper=held.upper, length=length)
    without = f"; no marches with cavities: {cavities.missing}" if cavities is not None else ""
    return judge_extreme(
        whose, extreme, held.limit, upper=held.upper, boiled=run.vapour is not None, without=without
    )


def _place_findings(lineup: LineUp, point: Point, got: PlaceResult, run: ScenarioResult) -> list[Finding]:
    whose = Whose(scenario=run.name, subject="place", name=point.name, check="steady")
    found = []
    for held in limits_at(lineup, point):
        found.append(judge_value(whose, got.steady, held.limit, more=got.steady_range))
        found.append(_extreme_finding(held, got, run))
    return found


def findings_of(lineup: LineUp, run: ScenarioResult) -> tuple[Finding, ...]:
    """Hold everything that one scenario gave against every limit.

    Parameters
    ----------
    lineup : LineUp
    run : ScenarioResult

    Returns
    -------
    tuple of Finding
        Elements in their order, places, why the whole cannot be decided; then what is worse beside the usual.
    """
    usual = _pressures(lineup, run)
    found = [*usual, *_whole(run)]
    for one in run.sensitivities:
        if one.undecided:
            found.append(replace(_not_run(run, one.undecided), beside=one.words))
        if one.run is not None:
            pairs = zip(usual, _pressures(lineup, one.run), strict=True)
            worse = [now for before, now in pairs if _SEVERITY[now.verdict] > _SEVERITY[before.verdict]]
            said = [f for f in _whole(one.run) if f.reason not in run.undecided]
            found += [replace(f, beside=one.words) for f in (*worse, *said)]
    return depending(found, run.elsewhere.depends)


def _not_run(run: ScenarioResult, reason: str) -> Finding:
    whose = Whose(scenario=run.name, subject="scenario", name=run.name, check="run")
    return missing(whose, VALID_RULE, reason=reason)


def _pressures(lineup: LineUp, run: ScenarioResult) -> list[Finding]:
    found: list[Finding] = []
    for element, got in zip(lineup.elements, run.elements, strict=True):
        found += _element_findings(lineup, element, got, run)
    for point, place in zip(lineup.points, run.places, strict=True):
        found += _place_findings(lineup, point, place, run)
    return found


def _whole(run: ScenarioResult) -> list[Finding]:
    """Why a scenario as a whole cannot be decided."""
    return [_not_run(run, reason) for reason in run.undecided]


def depending(found: Iterable[Finding], reason: str) -> tuple[Finding, ...]:
    """Findings of which none is exceeded for certain, for a reason; as they are where there is no reason."""
    if not reason:
        return tuple(found)
    return tuple(
        replace(f, verdict=UNDECIDED, reason=reason) if f.verdict != WITHIN and f.margin is not None else f
        for f in found
    )


def weakest(findings: Iterable[Finding]) -> Finding | None:
    """The finding that says most about safety: exceeded first, then the most used limit."""
    judged = [f for f in findings if f.load > 0 or f.verdict != WITHIN]
    return max(judged, key=lambda f: (_SEVERITY[f.verdict], f.load), default=None)


def worst_one(findings: Sequence[Finding]) -> Finding:
    """The worst of some findings on one limit, one at least: also where it uses nothing of that limit."""
    return weakest(findings) or min(findings, key=lambda f: f.margin if f.margin is not None else 0.0)

"""Findings: every pressure against every limit that holds there, with source, margin and verdict.

Pressures [Pa gauge], times [s], distances [m].
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from surge.lineup import Element, LineUp, Pipe, Point
from surge.result import ElementResult, Extreme, PlaceResult, ScenarioResult

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
    margin : float or None
        How far the value stays on the safe side of the limit [Pa]; negative beyond it.
    time, distance : float or None
    lengths : tuple of (str, float)
        Lengths taken for elements whose length is a range, for this finding [m].
    verdict : str
        ``WITHIN``, ``EXCEEDED`` or ``UNDECIDED``.
    reason : str
        Why it cannot be decided, "" otherwise.
    """

    scenario: str
    subject: str
    name: str
    check: str
    value: float | None
    error: float
    limit: float | None
    limit_source: str
    margin: float | None
    time: float | None
    distance: float | None
    verdict: str
    reason: str = ""
    lengths: tuple[tuple[str, float], ...] = ()

    @property
    def load(self) -> float:
        """How much of the limit is used: above 1 is beyond it; for ordering only [-]."""
        if self.value is None or self.limit is None or self.margin is None:
            return 0.0
        scale = max(abs(self.limit), 1e5)
        return 1 - (self.margin - self.error) / scale


def worst_of(verdicts: Iterable[str]) -> str:
    """The verdict of a whole: exceeded before undecided before kept."""
    return max(verdicts, key=_SEVERITY.__getitem__, default=WITHIN)


def _judge(margin: float, error: float) -> tuple[str, str]:
    if margin >= error:
        return WITHIN, ""
    if margin < -error:
        return EXCEEDED, ""
    return UNDECIDED, "the numerical error reaches across the limit"


def judge_extreme(
    scenario: str,
    extreme: Extreme,
    *,
    subject: str,
    name: str,
    check: str,
    limit: float,
    source: str,
    upper: bool,
    boiled: bool,
) -> Finding:
    """Hold an extreme against a limit; after the liquid has boiled only what came before counts."""
    sign = 1.0 if upper else -1.0
    margin = sign * (limit - extreme.pressure)
    if boiled:
        before = sign * (limit - extreme.before_vapour)
        # What boils is below its limit by no more than one step's fall: the whole run tells by how much.
        exceeded = _judge(before, extreme.error)[0] == EXCEEDED
        if check == "vapour":
            exceeded = before <= 0.0 and margin < -extreme.error
        verdict = EXCEEDED if exceeded else UNDECIDED
        reason = "" if exceeded else "the liquid boils: pressures after that are not valid"
    else:
        verdict, reason = _judge(margin, extreme.error)
    return Finding(
        scenario=scenario,
        subject=subject,
        name=name,
        check=check,
        value=extreme.pressure,
        error=extreme.error,
        limit=limit,
        limit_source=source,
        margin=margin,
        time=extreme.time,
        distance=extreme.distance if subject == "element" else None,
        verdict=verdict,
        reason=reason,
    )


def judge_value(
    scenario: str, value: float, *, subject: str, name: str, check: str, limit: float, source: str
) -> Finding:
    """Hold a pressure that has no numerical error (steady or static) against an upper limit."""
    return Finding(
        scenario=scenario,
        subject=subject,
        name=name,
        check=check,
        value=value,
        error=0.0,
        limit=limit,
        limit_source=source,
        margin=limit - value,
        time=None,
        distance=None,
        verdict=WITHIN if value <= limit else EXCEEDED,
    )


def missing(scenario: str, *, subject: str, name: str, check: str, reason: str) -> Finding:
    """A check that could not be made for want of data."""
    return Finding(
        scenario=scenario,
        subject=subject,
        name=name,
        check=check,
        value=None,
        error=0.0,
        limit=None,
        limit_source="",
        margin=None,
        time=None,
        distance=None,
        verdict=UNDECIDED,
        reason=reason,
    )


def surge_limit(element: Element) -> tuple[float, str] | None:
    """What a peak in an element is held against [Pa gauge], and its source; None without a rating."""
    limits = element.limits
    if limits.rating is None:
        return None
    allowed, source = limits.rating * limits.allowance, "rating"
    if limits.allowance != 1.0:
        source = f"rating x allowance {limits.allowance:.2f}"
    if limits.test_pressure is not None and limits.test_pressure < allowed:
        return limits.test_pressure, "test pressure"
    return allowed, source


def place_limits(lineup: LineUp, point: Point) -> list[tuple[float, str]]:
    """Limits of a place's own: the top of a cargo pump, and one that the case gives."""
    limits = []
    if point.pump_top:
        limits.append((lineup.pump_top_limit, f"top of the cargo pump: {lineup.pump_top_source}"))
    if point.limit is not None:
        limits.append((point.limit, point.limit_source or "given in the case"))
    return limits


def _unrated_ends(lineup: LineUp, element: Element) -> list[str]:
    """Ends of an element without a rating at which nothing else has one, and no tank stands."""
    tanks = {t.point for t in lineup.tanks}
    rated = {p for e in lineup.elements if e.limits.rating is not None for p in (e.start, e.end)}
    return [p for p in (element.start, element.end) if p not in tanks and p not in rated]


def _element_findings(
    lineup: LineUp, element: Element, got: ElementResult, run: ScenarioResult
) -> list[Finding]:
    whose = {"subject": "element", "name": element.name}
    boiled = run.vapour is not None
    found = []
    limit = surge_limit(element)
    if limit is None and isinstance(element, Pipe):
        found.append(missing(run.name, check="peak", reason="no rating given: write rating = ...", **whose))
    if limit is None and not isinstance(element, Pipe):
        found += [
            missing(
                run.name,
                check="peak",
                reason=f'nothing at "{point}" has a rating: write rating = ...',
                **whose,
            )
            for point in _unrated_ends(lineup, element)
        ]
    if limit is not None:
        value, source = limit
        found.append(
            judge_extreme(
                run.name,
                got.highest,
                check="peak",
                limit=value,
                source=source,
                upper=True,
                boiled=boiled,
                **whose,
            )
        )
        rating = element.limits.rating
        assert rating is not None
        found.append(
            judge_value(run.name, got.steady_high, check="steady", limit=rating, source="rating", **whose)
        )
    if element.limits.lowest is not None:
        found.append(
            judge_extreme(
                run.name,
                got.lowest,
                check="lowest",
                limit=element.limits.lowest,
                source=element.limits.lowest_source or "given in the case",
                upper=False,
                boiled=boiled,
                **whose,
            )
        )
    found.append(
        judge_extreme(
            run.name,
            got.lowest,
            check="vapour",
            limit=lineup.vapour_gauge,
            source=f"vapour pressure of {lineup.liquid.name}",
            upper=False,
            boiled=boiled,
            **whose,
        )
    )
    return found


def _place_findings(lineup: LineUp, point: Point, got: PlaceResult, run: ScenarioResult) -> list[Finding]:
    found = []
    for limit, source in place_limits(lineup, point):
        found.append(
            judge_value(
                run.name,
                got.steady,
                subject="place",
                name=point.name,
                check="steady",
                limit=limit,
                source=source,
            )
        )
        found.append(
            judge_extreme(
                run.name,
                got.highest,
                subject="place",
                name=point.name,
                check="peak",
                limit=limit,
                source=source,
                upper=True,
                boiled=run.vapour is not None,
            )
        )
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
        Elements in the order of the line-up, then places.
    """
    found: list[Finding] = []
    for element, got in zip(lineup.elements, run.elements, strict=True):
        found += _element_findings(lineup, element, got, run)
    for point, place in zip(lineup.points, run.places, strict=True):
        found += _place_findings(lineup, point, place, run)
    found += [
        missing(run.name, subject="scenario", name=run.name, check="run", reason=reason)
        for reason in run.undecided
    ]
    return tuple(found)


def weakest(findings: Iterable[Finding]) -> Finding | None:
    """The finding that says most about safety: exceeded first, then the most used limit."""
    judged = [f for f in findings if f.load > 0 or f.verdict != WITHIN]
    return max(judged, key=lambda f: (_SEVERITY[f.verdict], f.load), default=None)

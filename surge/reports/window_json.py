"""The answer of ``surge window --json``, as types and as what makes them from the windows that were found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from surge.reports.document import (
    ExitCode,
    FindingJson,
    Head,
    JsonObject,
    Verdict,
    finding_or_none,
)
from surge.reports.orders_json import (
    BandsJson,
    OrdersJson,
    ShapeJson,
    band_document,
    order_document,
    shape_document,
)
from surge.reports.sizes_json import SizeJson, size_document
from surge.reports.window import bounds
from surge.rules.book import LOCAL_CODES
from surge.search.extras import Extras
from surge.search.joint import JointSet
from surge.search.open_rates import OpenRate
from surge.search.rates import RateLimit
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows
from surge.transient.result import ScenarioResult


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmedJson(JsonObject):
    """The full run that confirmed a stroke."""

    time_step_s: float
    nodes: int
    worst_error_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAtJson(JsonObject):
    """One stroke that was looked at, and the limit that it comes nearest to."""

    stroke_s: float
    margin_pa: float | None
    """Of a single march; null: it failed or did not end."""
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeLimitsJson(JsonObject):
    """One valve in one scenario."""

    scenario: str
    together: tuple[str, ...]
    """Valves that share the stroke: one order moves them, or the case puts them into one group."""
    held_strokes_s: Mapping[str, float]
    """Other valves that move in the scenario, with the strokes that they kept meanwhile."""
    pipeline_period_s: float
    stroke_in_case_s: float
    shortest_safe_stroke_s: float | None
    """It and every longer one looked at; null: none is safe."""
    longest_allowed_stroke_s: float | None
    """By the rules on time; null: no rule binds it; 0: every stroke is too slow."""
    longest_by_rule: str | None
    shortest_by_rule: str | None
    """The rule that a shorter stroke would break; null: a pressure bounds it."""
    looked_from_s: float
    looked_to_s: float
    governs: FindingJson | None
    reason: str
    verdict: Verdict
    confirmed_with: ConfirmedJson | None
    looked_at: tuple[LookedAtJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningJson(JsonObject):
    """A greatest rate at which a valve has a window, with the stroke left at it."""

    rate_m3_per_s: float | None
    share_of_agreed: float | None
    stroke_s: float | None
    ends_there: bool
    """Whether higher rates were looked at, and have no window."""
    bounded_by_rule: str | None
    """The rule that a higher rate would break; null: a pressure does, or none was looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveWindowJson(JsonObject):
    """The window of one valve over all scenarios in which it closes."""

    valve: str
    shortest_safe_stroke_s: float | None
    longest_allowed_stroke_s: float | None
    words: str
    empty: bool
    opens_at: OpeningJson | None
    """Greatest rate at which an empty window opens; nulls: no lower rate opens it."""
    open_up_to: OpeningJson | None
    """Greatest rate at which an open window is still open, with the stroke left at it."""
    scenarios: tuple[StrokeLimitsJson, ...]
    by_itself: tuple[StrokeLimitsJson, ...]
    """Where it shares its stroke with others: its window while these keep their shortest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningStrokeJson(JsonObject):
    """How fast one valve may open, over all scenarios in which it does."""

    valve: str
    shortest_safe_stroke_s: float | None
    scenarios: tuple[StrokeLimitsJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLimitJson(JsonObject):
    """The greatest safe rate of one scenario at the strokes of the case."""

    scenario: str
    agreed_m3_per_s: float
    greatest_safe_m3_per_s: float | None
    """It and every lower one are safe; null: none was found."""
    looked_to_m3_per_s: float
    governs: FindingJson | None
    unsafe_below_agreed_m3_per_s: tuple[float, float] | None
    """Ends of the lower rates that are not safe, where the agreed rate itself is."""
    bounded_by_rule: str | None
    """The rule that a higher rate would break, or that stands in the way of all; null: a pressure does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointJson(JsonObject):
    """All strokes run together; the verdict counts rules on time as well."""

    strokes_s: Mapping[str, float]
    verdict: Verdict
    pressures: Verdict
    scenarios: Verdict
    """Of the scenarios in which these valves close: pressures and required rules."""
    way: str
    """How the set came about: each valve's own "shortest"; all with "one stroke"; all longer "in proportion";
    or the name of the one valve that takes longer while the others stay at their shortest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowDocument(Head):
    """How fast and how slowly valves may close, and how fast it may be loaded."""

    verdict: Verdict
    exit_code: ExitCode
    valves: tuple[ValveWindowJson, ...]
    to_open: tuple[OpeningStrokeJson, ...]
    rates: tuple[RateLimitJson, ...]
    shortest_without_relief_or_drums_s: Mapping[str, float | None]
    """Of a case with relief valves or drums: the shortest stroke of each valve as if they were not there;
    null where none would be safe. Empty where the case has none."""
    joint: JointJson | None
    joint_to_open: JointJson | None
    rules_note: str
    cautions: tuple[str, ...]
    orders: tuple[OrdersJson, ...]
    """Other orders of shutting, when asked for."""
    shapes: tuple[ShapeJson, ...]
    """Two-stage strokes, when asked for."""
    bands: tuple[BandsJson, ...]
    """The worst over what is uncertain, when asked for."""
    sizes: tuple[SizeJson, ...]
    """The smallest relief valve and surge drum that do, when asked for."""


def window_document(
    windows: Windows, head: Head, cautions: Iterable[str], more: Extras | None = None
) -> WindowDocument:
    """Return the answer.

    Parameters
    ----------
    windows : Windows
    head : Head
        Which program and case.
    cautions : iterable of str
    more : Extras, optional
        What was asked beside the windows.
    """
    more = more or Extras()
    return WindowDocument(
        program=head.program,
        case=head.case,
        verdict=windows.verdict,
        exit_code=windows.exit_code,
        valves=tuple(_valve(windows, valve, parts) for valve, parts in windows.by_valve.items()),
        to_open=tuple(
            OpeningStrokeJson(
                valve=valve,
                shortest_safe_stroke_s=windows.bounds_to_open(valve),
                scenarios=tuple(_limits(p) for p in parts),
            )
            for valve, parts in windows.to_open.items()
        ),
        rates=tuple(_rate(r) for r in windows.rates),
        shortest_without_relief_or_drums_s=windows.without,
        joint=_joint(windows.together),
        joint_to_open=_joint(windows.opened_together),
        rules_note=LOCAL_CODES,
        cautions=tuple(cautions),
        orders=tuple(order_document(q) for q in more.orders),
        shapes=tuple(shape_document(a) for a in more.shapes),
        bands=tuple(band_document(b) for b in more.bands),
        sizes=tuple(size_document(a) for a in more.sizes),
    )


def _valve(windows: Windows, valve: str, parts: Sequence[StrokeLimits]) -> ValveWindowJson:
    shortest, longest = windows.bounds(valve)
    return ValveWindowJson(
        valve=valve,
        shortest_safe_stroke_s=shortest,
        longest_allowed_stroke_s=longest,
        words=bounds(shortest, longest),
        empty=windows.empty(valve),
        opens_at=_opening(windows.opens_at.get(valve)),
        open_up_to=_opening(windows.open_up_to.get(valve)),
        scenarios=tuple(_limits(p) for p in parts),
        by_itself=tuple(_limits(p) for p in windows.apart.get(valve, ())),
    )


def _opening(found: OpenRate | None) -> OpeningJson | None:
    if found is None:
        return None
    return OpeningJson(
        rate_m3_per_s=found.rate if found.share is not None else None,
        share_of_agreed=found.share,
        stroke_s=found.stroke if found.share is not None else None,
        ends_there=found.ends,
        bounded_by_rule=found.rule.rule.id if found.rule else None,
    )


def _limits(part: StrokeLimits) -> StrokeLimitsJson:
    return StrokeLimitsJson(
        scenario=part.scenario,
        together=part.together,
        held_strokes_s=part.held,
        pipeline_period_s=part.period,
        stroke_in_case_s=part.stroke,
        shortest_safe_stroke_s=part.shortest,
        longest_allowed_stroke_s=part.longest,
        longest_by_rule=part.slow_rule.id if part.slow_rule else None,
        shortest_by_rule=part.fast_rule.id if part.fast_rule else None,
        looked_from_s=part.from_,
        looked_to_s=part.to,
        governs=finding_or_none(part.governs),
        reason=part.reason,
        verdict=part.verdict,
        confirmed_with=None if part.run is None else _confirmed(part.run),
        looked_at=tuple(
            LookedAtJson(
                stroke_s=x.value,
                margin_pa=x.near.margin if abs(x.near.margin) < 1e300 else None,
                where=x.near.held.key[1],
            )
            for x in part.looked
        ),
    )


def _confirmed(run: ScenarioResult) -> ConfirmedJson:
    method = run.method
    return ConfirmedJson(time_step_s=method.dt, nodes=method.nodes, worst_error_pa=method.worst_error)


def _rate(r: RateLimit) -> RateLimitJson:
    return RateLimitJson(
        scenario=r.scenario,
        agreed_m3_per_s=r.agreed,
        greatest_safe_m3_per_s=r.greatest,
        looked_to_m3_per_s=r.to,
        governs=finding_or_none(r.governs),
        unsafe_below_agreed_m3_per_s=r.unsafe_below or None,
        bounded_by_rule=r.rule.rule.id if r.rule else None,
    )


def _joint(made: JointSet | None) -> JointJson | None:
    if made is None:
        return None
    return JointJson(
        strokes_s=made.strokes,
        verdict=made.assessment.verdict,
        pressures=made.pressures,
        scenarios=made.verdict,
        way=made.way,
    )

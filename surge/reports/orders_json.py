"""What is asked beside the windows, as JSON: orders of shutting, stroke shapes, bands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import (
    Demand,
    FindingJson,
    JsonObject,
    PressuresJson,
    Verdict,
    extreme,
    finding_or_none,
)
from surge.reports.orders import BAND_NAMES
from surge.reports.window import bounds
from surge.rules.findings import WITHIN
from surge.search.band_points import BandMoves, BandPoint
from surge.search.bands import BandLimits
from surge.search.beside import BesideMoves
from surge.search.orders import OrderAnswer, OrderQuestion, Pressures
from surge.search.shapes import Judged, ShapeAnswer

# Orders


@dataclass(frozen=True, slots=True, kw_only=True)
class StepJson(JsonObject):
    """What moves in an order, from when and for how long."""

    name: str
    start_s: float
    stroke_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderJson(JsonObject):
    """One order of shutting, run as such."""

    order: str
    as_in_case: bool
    total_time_s: float
    steps: tuple[StepJson, ...]
    verdict: Verdict
    governs: FindingJson | None
    cargo_boils: bool
    full_runs: int
    pressures: tuple[PressuresJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLeftOutJson(JsonObject):
    """An order that was not run, and why."""

    order: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KindestJson(JsonObject):
    """The order in which the highest pressure of an element or place is least; null: no difference."""

    subject: Annotated[str, Demand(enum=["element", "place"])]
    name: str
    order: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrdersJson(JsonObject):
    """Orders of shutting in one scenario."""

    scenario: str
    kind: Annotated[str, Demand(enum=["shutdown", "sequence", "opening"])]
    orders: tuple[OrderJson, ...]
    left_out: tuple[OrderLeftOutJson, ...]
    highest_is_least_in: tuple[KindestJson, ...]


def order_document(question: OrderQuestion) -> OrdersJson:
    """Return the orders of one scenario."""
    return OrdersJson(
        scenario=question.scenario,
        kind=question.kind,
        orders=tuple(_order(a) for a in question.answers),
        left_out=tuple(OrderLeftOutJson(order=name, reason=why) for name, why in question.left_out),
        highest_is_least_in=tuple(
            KindestJson(subject=p.subject, name=p.name, order=question.kindest(p.subject, p.name))
            for p in question.answers[0].pressures
        ),
    )


def _order(answer: OrderAnswer) -> OrderJson:
    return OrderJson(
        order=answer.order.name,
        as_in_case=answer.order.as_in_case,
        total_time_s=answer.order.total,
        steps=tuple(
            StepJson(name=name, start_s=start, stroke_s=time) for name, start, time in answer.order.steps
        ),
        verdict=answer.verdict,
        governs=finding_or_none(answer.governs),
        cargo_boils=answer.boils,
        full_runs=len(answer.runs),
        pressures=tuple(_pressures(p) for p in answer.pressures),
    )


def _pressures(p: Pressures) -> PressuresJson:
    return PressuresJson(subject=p.subject, name=p.name, highest=extreme(p.highest), lowest=extreme(p.lowest))


# Shapes


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningPointJson(JsonObject):
    """One point of a stroke law."""

    time_s: float
    opening: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedJson(JsonObject):
    """A stroke of one shape in a full run."""

    law: tuple[OpeningPointJson, ...]
    margin_pa: float
    error_pa: float
    effective_time_s: float | None
    pipeline_period_s: float | None
    effective_time_over_period: float | None
    greatest_fall_within_a_period: float | None
    governs: FindingJson | None
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakJson(JsonObject):
    """A break between two stages that was looked at, with its margin by the quick pass."""

    break_opening: float
    break_time_s: float
    margin_pa: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeJson(JsonObject):
    """The best two-stage stroke of one valve in one scenario."""

    valve: str
    scenario: str
    stroke_s: float
    words: str
    gain_pa: float
    break_opening: float
    break_time_s: float
    at_edge_of_search: bool
    two_stage: JudgedJson
    single_stage: JudgedJson
    looked_at: tuple[BreakJson, ...]


def shape_document(answer: ShapeAnswer) -> ShapeJson:
    """Return the stroke shape of one valve."""
    return ShapeJson(
        valve=answer.valve,
        scenario=answer.scenario,
        stroke_s=answer.stroke,
        words=answer.words,
        gain_pa=answer.gain,
        break_opening=answer.best_break.opening,
        break_time_s=answer.best_break.time * answer.stroke,
        at_edge_of_search=answer.at_edge,
        two_stage=_judged(answer.two_stage),
        single_stage=_judged(answer.single_stage),
        looked_at=tuple(
            BreakJson(
                break_opening=at.opening,
                break_time_s=at.time * answer.stroke,
                margin_pa=margin if math.isfinite(margin) else None,
            )
            for at, margin in answer.looked
        ),
    )


def _judged(judged: Judged) -> JudgedJson:
    c = judged.closure
    return JudgedJson(
        law=tuple(OpeningPointJson(time_s=t, opening=x) for t, x in judged.law),
        margin_pa=judged.margin,
        error_pa=judged.error,
        effective_time_s=None if c is None else c.effective,
        pipeline_period_s=None if c is None else c.period,
        effective_time_over_period=judged.ratio,
        greatest_fall_within_a_period=None if c is None else c.greatest_fall,
        governs=finding_or_none(judged.governs),
        verdict=judged.verdict,
    )


# Bands


@dataclass(frozen=True, slots=True, kw_only=True)
class BandWidthsJson(JsonObject):
    """How far each figure may be off, either way, as a fraction; 0 where the case states no band."""

    wave_speed: float
    stroke: float
    rate: float
    characteristic: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BandPointJson(JsonObject):
    """A place within the bands, as a share of each width from -1 to 1."""

    wave_speed: float
    stroke: float
    rate: float
    characteristic: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WithoutBandsJson(JsonObject):
    """The window with every figure as in the case."""

    shortest_safe_stroke_s: float | None
    longest_allowed_stroke_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BandAloneJson(JsonObject):
    """What one band does alone."""

    band: Annotated[str, Demand(enum=list(BAND_NAMES))]
    width: float
    longer_by_s: float | None
    none_is_safe: bool
    margin_less_by_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PointLeftOutJson(JsonObject):
    """A place within the bands that could not be looked at, and why."""

    at: BandPointJson
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideAloneJson(JsonObject):
    """What one thing that the case asks for beside the usual does alone. No stroke is told as safe by it."""

    words: str
    longer_by_s: float | None
    """Of the shortest safe stroke; below nought: shorter; null: none is safe, or it is not known."""
    margin_less_by_pa: float | None
    """At the plain shortest stroke; below nought: more."""
    missing: str
    """Why it is not known, "" where it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandsJson(JsonObject):
    """The window of one valve in one scenario for the worst over what is uncertain."""

    valve: str
    scenario: str
    bands: BandWidthsJson
    shortest_safe_stroke_s: float | None
    longest_allowed_stroke_s: float | None
    longest_by_rule: str | None
    words: str
    without_bands: WithoutBandsJson
    governs: FindingJson | None
    governs_at: BandPointJson
    bands_alone: tuple[BandAloneJson, ...]
    points: tuple[BandPointJson, ...]
    confirmed_at: tuple[BandPointJson, ...]
    left_out: tuple[PointLeftOutJson, ...]
    strokes_looked_at: int
    reason: str
    verdict: Verdict
    open: bool
    beside: tuple[BesideAloneJson, ...] | None = None
    """Where the case asks for something beside the usual: what each alone would do, by quick marches."""


def band_document(limits: BandLimits) -> BandsJson:
    """Return the window over bands of one valve."""
    return BandsJson(
        valve=limits.valve,
        scenario=limits.scenario,
        bands=BandWidthsJson(**{name: limits.bands.width(name) for name in BAND_NAMES}),
        shortest_safe_stroke_s=limits.shortest,
        longest_allowed_stroke_s=limits.longest,
        longest_by_rule=None if limits.slow_rule is None else limits.slow_rule.id,
        words=bounds(limits.shortest, limits.longest),
        without_bands=WithoutBandsJson(
            shortest_safe_stroke_s=limits.plain.shortest, longest_allowed_stroke_s=limits.plain.longest
        ),
        governs=finding_or_none(limits.governs),
        governs_at=_point(limits.at),
        bands_alone=tuple(_alone(m) for m in limits.alone),
        points=tuple(_point(p) for p in limits.points),
        confirmed_at=tuple(_point(p) for p in limits.confirmed),
        left_out=tuple(PointLeftOutJson(at=_point(p), reason=why) for p, why in limits.left_out),
        strokes_looked_at=limits.marches,
        reason=limits.reason,
        verdict=limits.verdict,
        open=limits.verdict == WITHIN,
        beside=tuple(map(_beside, limits.beside)) or None,
    )


def _beside(moves: BesideMoves) -> BesideAloneJson:
    known = not moves.missing and not math.isinf(moves.moved)
    return BesideAloneJson(
        words=moves.words,
        longer_by_s=moves.moved if known else None,
        margin_less_by_pa=None if moves.missing else moves.margin_moved,
        missing=moves.missing,
    )


def _point(point: BandPoint) -> BandPointJson:
    return BandPointJson(**point._asdict())


def _alone(moves: BandMoves) -> BandAloneJson:
    none = math.isinf(moves.moved)
    return BandAloneJson(
        band=moves.band,
        width=moves.width,
        longer_by_s=None if none else moves.moved,
        none_is_safe=none,
        margin_less_by_pa=moves.margin_moved,
    )

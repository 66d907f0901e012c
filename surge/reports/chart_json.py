"""The answer of ``surge chart --json``, as types and as what makes them from a chart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import Demand, ExitCode, FindingJson, Head, JsonObject, Verdict, finding_or_none
from surge.rules.book import LOCAL_CODES
from surge.rules.limits import LimitedExtreme
from surge.search.chart import Agreed, ChartData


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedPointJson(JsonObject):
    """The agreed rate with the stroke of the case, by a full run."""

    rate_m3_per_s: float
    stroke_s: float
    pressures: Verdict
    verdict: Verdict
    governs: FindingJson | None
    broken_rule: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartLimitJson(JsonObject):
    """One limit that pressures are held against."""

    subject: Annotated[str, Demand(enum=["element", "place"])]
    name: str
    extreme: Annotated[str, Demand(enum=["high", "low"])]
    limit_pa_gauge: float
    limit_source: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartDocument(Head):
    """How much of the nearest limit is used, at many rates and strokes of one valve."""

    title: str
    exit_code: ExitCode
    """That of the agreed point."""
    valve: str
    together: tuple[str, ...]
    """Valves that share the strokes of the chart."""
    held_strokes_s: Mapping[str, float]
    """Other valves that move in the scenario, with the strokes that they kept."""
    opens: bool
    """The strokes are those of opening."""
    scenario: str
    scenario_chosen_by_program: bool
    agreed: AgreedPointJson
    rates_m3_per_s: Sequence[float]
    strokes_s: Sequence[float]
    reached: Sequence[bool]
    """Whether the line-up can flow at each rate."""
    margin_pa: Sequence[Sequence[float | None]]
    """By rate, then by stroke: to the nearest limit, negative beyond it; null where the rate cannot be
    reached, or the march failed or came to no end."""
    share_used: Sequence[Sequence[float | None]]
    """Greatest share of any limit that is used, above 1 beyond it."""
    governs: Sequence[Sequence[Annotated[int, Demand(minimum=0)] | None]]
    """Place in limits of the one that is used most."""
    limits: tuple[ChartLimitJson, ...]
    shortest_safe_stroke_s: Sequence[float | None]
    """At each rate: it and every longer stroke of the chart are safe; null where there is none."""
    longest_allowed_stroke_s: Sequence[float | None]
    """At each rate, by the rules on time; null where none binds or the rate cannot be reached."""
    longest_by_rule: Sequence[str | None]
    confirmed_by_a_full_run: Sequence[bool]
    """Whether a full run keeps every limit at the shortest safe stroke of a rate; the rates between keep the
    margin that was needed beside them."""
    window_open: Sequence[bool]
    why_not: Sequence[str]
    """Why a rate has no safe stroke or cannot be reached."""
    margin_asked_for_pa: float
    no_stroke_is_safe_because: str
    marches: int
    notes: Sequence[str]
    rules_note: str
    cautions: Sequence[str]


def chart_document(chart: ChartData, head: Head, title: str, cautions: Iterable[str]) -> ChartDocument:
    """Return a chart in SI; ``head`` says which program and case.

    Margins are None where the rate cannot be reached, and where a march failed or came to no end.
    """
    return ChartDocument(
        program=head.program,
        case=head.case,
        title=title,
        exit_code=chart.exit_code,
        valve=chart.valve,
        together=chart.together,
        held_strokes_s=chart.held,
        opens=chart.opens,
        scenario=chart.scenario,
        scenario_chosen_by_program=chart.chosen,
        agreed=_agreed(chart.agreed),
        rates_m3_per_s=chart.rates.tolist(),
        strokes_s=chart.strokes.tolist(),
        reached=chart.reached.tolist(),
        margin_pa=[[_number(x) for x in row] for row in chart.margin.tolist()],
        share_used=[[_number(x) for x in row] for row in chart.used.tolist()],
        governs=[[k if k >= 0 else None for k in row] for row in chart.governs.tolist()],
        limits=tuple(_limit(held) for held in chart.limits),
        shortest_safe_stroke_s=[_number(x) for x in chart.shortest.tolist()],
        longest_allowed_stroke_s=[_number(x) for x in chart.longest.tolist()],
        longest_by_rule=[rule.id if rule else None for rule in chart.rules],
        confirmed_by_a_full_run=chart.confirmed.tolist(),
        window_open=chart.open.tolist(),
        why_not=chart.why,
        margin_asked_for_pa=chart.need,
        no_stroke_is_safe_because=chart.blocked,
        marches=chart.marches,
        notes=chart.notes,
        rules_note=LOCAL_CODES,
        cautions=tuple(cautions),
    )


def _agreed(point: Agreed) -> AgreedPointJson:
    return AgreedPointJson(
        rate_m3_per_s=point.rate,
        stroke_s=point.stroke,
        pressures=point.pressures,
        verdict=point.verdict,
        governs=finding_or_none(point.finding),
        broken_rule=point.rule.id if point.rule else None,
    )


def _limit(held: LimitedExtreme) -> ChartLimitJson:
    subject, name, extreme = held.key
    return ChartLimitJson(
        subject=subject,
        name=name,
        extreme=extreme,
        limit_pa_gauge=held.limit.value,
        limit_source=held.limit.source,
        rule=held.limit.rule,
    )


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None

"""What gauges say of a case in JSON, as types and as what makes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import Demand, JsonObject
from surge.rules.gauge import FITS, FITS_NOT, FITS_WITHIN, NOT_COMPARED, Compared, GaugeCheck
from surge.rules.suspects import QUANTITIES


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingJson(JsonObject):
    """A pressure read on a gauge, and what the case gives there."""

    point: str
    day: str
    rate_m3_per_s: float
    read_pa_gauge: float
    tolerance_pa: float
    tolerance_source: str
    calculated_pa_gauge: float | None
    """null where the case cannot be set to the rate."""
    fits: bool
    why: str
    """Why nothing is calculated; "" where something is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplanationJson(JsonObject):
    """A single figure which would explain all readings."""

    subjects: tuple[str, ...]
    quantity: Annotated[str, Demand(enum=list(QUANTITIES))]
    low: float
    """All readings fit from here to ``high``; SI, a Kv in m3/h; of levels the change, of heads the share."""
    high: float
    given: float
    """In the case."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BelowJson(JsonObject):
    """A place that stands below the atmosphere at the full rate, since drop lines are taken to run full."""

    scenario: str
    point: str
    steady_pa_gauge: float
    rate_m3_per_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeJson(JsonObject):
    """What gauges say of the case; it changes no verdict."""

    outcome: Annotated[str, Demand(enum=[NOT_COMPARED, FITS, FITS_WITHIN, FITS_NOT])]
    sentences: tuple[str, ...]
    readings: tuple[ReadingJson, ...]
    explained_by: tuple[ExplanationJson, ...]
    below_atmosphere: tuple[BelowJson, ...]


def gauge_json(check: GaugeCheck, sentences: tuple[str, ...]) -> GaugeJson:
    """Return what gauges say, with the sentences that say it."""
    return GaugeJson(
        outcome=check.outcome,
        sentences=sentences,
        readings=tuple(_reading(c) for c in check.compared),
        explained_by=tuple(
            ExplanationJson(subjects=e.subjects, quantity=e.quantity, low=e.low, high=e.high, given=e.given)
            for e in check.explained_by
        ),
        below_atmosphere=tuple(
            BelowJson(scenario=b.scenario, point=b.point, steady_pa_gauge=b.pressure, rate_m3_per_s=b.rate)
            for b in check.below
        ),
    )


def _reading(c: Compared) -> ReadingJson:
    return ReadingJson(
        point=c.reading.point,
        day=c.reading.day.isoformat() if c.reading.day else "",
        rate_m3_per_s=c.reading.rate,
        read_pa_gauge=c.reading.pressure,
        tolerance_pa=c.reading.tolerance,
        tolerance_source=c.reading.tolerance_source,
        calculated_pa_gauge=c.calculated,
        fits=c.fits,
        why=c.why,
    )

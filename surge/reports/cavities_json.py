"""Cavities of a scenario that boils, as types of its JSON and as what makes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from surge.reports.cavities import TRUST
from surge.reports.document import Demand, JsonObject
from surge.transient.cavity_result import Cavities, Cavity, CavityRun


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityJson(JsonObject):
    """The first cavity at a place, in one march."""

    place: str
    opened_s: float
    rejoined_s: float | None
    """Null: it was open to the end."""
    largest_volume_m3: float
    first_pressure_pa_gauge: float | None
    """First after it has rejoined."""
    highest_pressure_pa_gauge: float | None
    """Until the next cavity opens there."""
    peak_pa_gauge: float
    """The highest of the whole run there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityRunJson(JsonObject):
    """One march with cavities."""

    model: Annotated[str, Demand(enum=["vapour", "gas"])]
    """Cavities of vapour alone, or of vapour and free gas."""
    time_step_s: float
    duration_s: float
    largest_volume_m3: float
    """At any place, and inside pipes."""
    places: tuple[CavityJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BandedJson(JsonObject):
    """An extreme of all marches with cavities, and the band around it."""

    subject: Annotated[str, Demand(enum=["element", "place"])]
    name: str
    highest_pa_gauge: float
    highest_band_pa: float
    lowest_pa_gauge: float
    lowest_band_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CavitiesJson(JsonObject):
    """What comes of boiling: marches with cavities, on the two finer grids of both models."""

    missing: str
    """Why there are none, "" where there are."""
    free_gas: float
    """Of the second model: a share of the volume at 1.01325 bar(a)."""
    runs: tuple[CavityRunJson, ...]
    extremes: tuple[BandedJson, ...]
    ranges: tuple[str, ...]
    """Figures that are ranges: the marches know one value of each, and nothing is kept by them."""
    trust: str


def cavities_json(cavities: Cavities) -> CavitiesJson:
    """Return what was found."""
    names = list(dict.fromkeys(key[:2] for key in cavities.extremes))
    return CavitiesJson(
        missing=cavities.missing,
        free_gas=cavities.gas,
        runs=tuple(_run(run) for run in cavities.told),
        extremes=tuple(_banded(cavities, *name) for name in names),
        ranges=cavities.ranges,
        trust=TRUST,
    )


def _run(run: CavityRun) -> CavityRunJson:
    return CavityRunJson(
        model=run.model,
        time_step_s=run.dt,
        duration_s=run.duration,
        largest_volume_m3=run.largest,
        places=tuple(_cavity(run, name, found) for name, found in run.places.items()),
    )


def _cavity(run: CavityRun, name: str, found: Cavity) -> CavityJson:
    return CavityJson(
        place=name,
        opened_s=found.opened,
        rejoined_s=found.rejoined,
        largest_volume_m3=found.largest,
        first_pressure_pa_gauge=found.first_pressure,
        highest_pressure_pa_gauge=found.highest_pressure,
        peak_pa_gauge=run.extremes["place", name, "high"].pressure,
    )


def _banded(cavities: Cavities, subject: str, name: str) -> BandedJson:
    high, low = (cavities.extremes[subject, name, way] for way in ("high", "low"))
    return BandedJson(
        subject=subject,
        name=name,
        highest_pa_gauge=high.pressure,
        highest_band_pa=high.band,
        lowest_pa_gauge=low.pressure,
        lowest_band_pa=low.band,
    )

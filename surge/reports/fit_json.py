"""The answer of ``surge fit --json``, as types and as what makes them from a fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from surge.fitting.doubts import KINDS as DOUBTS
from surge.fitting.figures import KINDS, SI_UNIT
from surge.fitting.fit import Fit, FittedFigure, FittedPlace
from surge.phrases import told
from surge.records.text import RowFault
from surge.reports.document import Asked, Demand, Head, JsonObject, Program, asked, numbers
from surge.reports.fit import EXIT_CODE, verdict_of
from surge.reports.records_data import row_faults
from surge.reports.records_json import RowFaultJson

UNITS = sorted({*SI_UNIT.values(), "1"})


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedFigureJson(JsonObject):
    """A figure as the record has it."""

    kind: Annotated[str, Demand(enum=list(KINDS))]
    name: str
    """The element; "all" for a factor on the figure of every pipe."""
    value: float
    low: float
    """95 % interval, lower end."""
    high: float
    unit: Annotated[str, Demand(enum=UNITS)]
    in_the_case: float
    factor: bool
    """Whether it is a factor on the figures of all pipes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedPlaceJson(JsonObject):
    """Readings of a place, and what the fitted case has there."""

    place: str
    readings: int
    left_over_rms_pa: float
    """Root mean square of reading less case while things move."""
    noise_pa: float
    swing_pa: float
    farthest_pa: float
    farthest_time_s: float
    farthest_row: int
    gauge_reads_too_much_pa: float
    """0 where that was not fitted."""
    gaps_s: tuple[float, ...]
    time_s: Sequence[float]
    """From the beginning of the scenario."""
    measured_pa_gauge: Sequence[float]
    fitted_pa_gauge: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtJson(JsonObject):
    """Why the figures are not to be relied on."""

    kind: Annotated[str, Demand(enum=list(DOUBTS))]
    names: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FitDocument(Head):
    """Figures of a case, found from a recorded pressure."""

    title: str
    trace: Asked
    scenario: str
    verdict: Annotated[str, Demand(enum=list(EXIT_CODE))]
    exit_code: Annotated[int, Demand(enum=sorted(set(EXIT_CODE.values())))]
    """0: the figures explain the record; 4: there are doubts. Whether the case is safe is not looked at."""
    figures: tuple[FittedFigureJson, ...]
    correlations: tuple[tuple[float, ...], ...]
    doubts: tuple[DoubtJson, ...]
    clock_at_begin_s: float
    """What the record's clock shows when the scenario begins."""
    clock_half_interval_s: float
    """0 where the clock was given."""
    clock_drift: float
    """By what share the record's clock seems to run fast."""
    clock_drift_deviation: float | None
    readings_that_count_as_one: float
    searches: int
    searches_that_agree: int
    time_step_s: float
    readings_left_out: int
    places: tuple[FittedPlaceJson, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceRefused(JsonObject):
    """The record cannot be used, and nothing was calculated."""

    schema_version: Literal[1] = 1
    program: Program
    trace: Asked
    verdict: Literal["refused"] = "refused"
    exit_code: Literal[2] = 2
    refused: Sequence[RowFaultJson]


def fit_document(fit: Fit, title: str, head: Head, *, cautions: Iterable[str]) -> FitDocument:
    """Return the answer as a document."""
    verdict = verdict_of(fit)
    drift, error = fit.drift
    return FitDocument(
        program=head.program,
        case=head.case,
        title=title,
        trace=asked(fit.trace.file.filename, fit.trace.file.sha256),
        scenario=fit.scenario,
        verdict=verdict,
        exit_code=EXIT_CODE[verdict],
        figures=tuple(map(_figure, fit.figures)),
        correlations=tuple(tuple(row) for row in fit.alike.tolist()),
        doubts=tuple(DoubtJson(kind=d.kind, names=d.names, text=told(d.phrase)) for d in fit.doubts),
        clock_at_begin_s=fit.clock,
        clock_half_interval_s=fit.clock_half,
        clock_drift=drift,
        clock_drift_deviation=error if error < float("inf") else None,
        readings_that_count_as_one=fit.memory,
        searches=fit.starts,
        searches_that_agree=fit.agreeing,
        time_step_s=fit.step,
        readings_left_out=fit.left_out,
        places=tuple(map(_place, fit.places)),
        cautions=tuple(cautions),
    )


def _figure(f: FittedFigure) -> FittedFigureJson:
    return FittedFigureJson(
        kind=f.figure.kind,
        name=f.figure.name,
        value=f.value,
        low=f.low,
        high=f.high,
        unit=f.figure.unit,
        in_the_case=f.figure.value,
        factor=f.figure.factor,
    )


def _place(p: FittedPlace) -> FittedPlaceJson:
    return FittedPlaceJson(
        place=p.place,
        readings=int(p.time.size),
        left_over_rms_pa=p.left.rms,
        noise_pa=p.left.noise,
        swing_pa=p.left.swing,
        farthest_pa=p.left.worst,
        farthest_time_s=p.left.worst_time,
        farthest_row=p.left.worst_row,
        gauge_reads_too_much_pa=p.off,
        gaps_s=tuple(seconds for _, _, seconds in p.gaps),
        time_s=numbers(p.time),
        measured_pa_gauge=numbers(p.measured),
        fitted_pa_gauge=numbers(p.modelled),
    )


def trace_refused(faults: Sequence[RowFault], *, version: str, filename: str, sha256: str) -> TraceRefused:
    """Return the document where a record cannot be used."""
    return TraceRefused(
        program=Program(version=version), trace=asked(filename, sha256), refused=row_faults(faults)
    )

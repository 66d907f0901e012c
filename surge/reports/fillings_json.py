"""Fillings as types of the answers, and as what makes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from surge.model.filling import HOLE, OPEN, SHUT
from surge.reports.document import Demand, ExitCode, FindingJson, Head, JsonObject, Verdict, finding
from surge.rules.book import LOCAL_CODES
from surge.rules.fillings import FilledCase
from surge.transient.filling_elastic import ElasticFill
from surge.transient.filling_result import Arrival, Figure, FillingResult


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrivalJson(JsonObject):
    """The front arrives: p = p_b + density x wave speed x (velocity - velocity that passes on)."""

    time_s: float
    time_error_s: float
    velocity_m_s: float
    velocity_error_m_s: float
    velocity_through_m_s: float
    pressure_pa_gauge: float
    pressure_error_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FillingRowJson(JsonObject):
    """One instant of a filling, by one model."""

    time_s: float
    front_m: float
    """Distance of the front from the source along the pipes."""
    velocity_m_s: float
    """Of the front; after it has arrived, of what passes on."""
    gas_pa_gauge: float
    end_pa_gauge: float | None
    """Pressure of the liquid where the line ends; null before it is there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillingJson(JsonObject):
    """A line that fills, held against limits and rules."""

    name: str
    verdict: Verdict
    vent: Annotated[str, Demand(enum=[OPEN, SHUT, HOLE])]
    trouble: str
    """Why it could not be followed; empty where it was."""
    words: str
    peak_gas_rigid_pa_gauge: float | None
    peak_gas_rigid_error_pa: float | None
    peak_gas_elastic_pa_gauge: float | None
    peak_gas_elastic_error_pa: float | None
    arrival_rigid: ArrivalJson | None
    arrival_elastic: ArrivalJson | None
    boils_s: float | None
    warnings: tuple[str, ...]
    findings: tuple[FindingJson, ...]
    rulings: tuple[str, ...]
    """Rules on velocity, each in a sentence."""
    points: int
    """How many points of what is known as a range only were looked at."""
    rigid: tuple[FillingRowJson, ...]
    """History by the rigid column, and of the waves after its arrival; empty without histories."""
    elastic: tuple[FillingRowJson, ...]
    """History with an elastic line behind the front; empty without histories."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillingDocument(Head):
    """Lines of a case that fill."""

    title: str
    exit_code: ExitCode
    """Of these fillings; that of the whole case is of surge check."""
    verdict: Verdict
    fillings: tuple[FillingJson, ...]
    local_codes: str
    cautions: tuple[str, ...]


def filling_document(
    fillings: Sequence[FilledCase],
    words: Sequence[str],
    title: str,
    head: Head,
    *,
    verdict: str,
    exit_code: int,
    cautions: Iterable[str],
    histories: bool,
) -> FillingDocument:
    """Return the answer of ``surge filling`` as a document; ``words`` has a sentence for each filling."""
    return FillingDocument(
        program=head.program,
        case=head.case,
        title=title,
        exit_code=exit_code,
        verdict=verdict,
        fillings=tuple(
            filling_json(one, said, histories=histories) for one, said in zip(fillings, words, strict=True)
        ),
        local_codes=LOCAL_CODES,
        cautions=tuple(cautions),
    )


def filling_json(one: FilledCase, words: str, *, histories: bool) -> FillingJson:
    """Return a filling as part of an answer.

    Parameters
    ----------
    one : FilledCase
    words : str
        What happens, in a sentence.
    histories : bool
        Add histories.
    """
    run = one.usual
    rigid, elastic = (
        _value(run.peak_gas_rigid if run else None),
        _value(run.peak_gas_elastic if run else None),
    )
    return FillingJson(
        name=one.name,
        verdict=one.verdict,
        vent=one.filling.vent,
        trouble=one.trouble,
        words=words,
        peak_gas_rigid_pa_gauge=rigid[0],
        peak_gas_rigid_error_pa=rigid[1],
        peak_gas_elastic_pa_gauge=elastic[0],
        peak_gas_elastic_error_pa=elastic[1],
        arrival_rigid=_arrival(run.arrival_rigid if run else None),
        arrival_elastic=_arrival(run.arrival_elastic if run else None),
        boils_s=run.boils if run else None,
        warnings=run.warnings if run else (),
        findings=tuple(finding(f) for f in one.findings),
        rulings=tuple(r.words for r in one.rulings),
        points=len(one.results),
        rigid=tuple(rigid_rows(run)) if run and histories else (),
        elastic=tuple(elastic_rows(run)) if run and histories else (),
    )


def _value(figure: Figure | None) -> tuple[float | None, float | None]:
    return (None, None) if figure is None else (figure.value, figure.error)


def _arrival(arrival: Arrival | None) -> ArrivalJson | None:
    if arrival is None:
        return None
    return ArrivalJson(
        time_s=arrival.time.value,
        time_error_s=arrival.time.error,
        velocity_m_s=arrival.velocity.value,
        velocity_error_m_s=arrival.velocity.error,
        velocity_through_m_s=arrival.through,
        pressure_pa_gauge=arrival.pressure.value,
        pressure_error_pa=arrival.pressure.error,
    )


def rigid_rows(run: FillingResult) -> Sequence[FillingRowJson]:
    """Return the history by the rigid column; after its arrival, that of the waves in the full line."""
    line, made = run.line, run.rigid
    begins = np.concatenate([[0.0], np.cumsum(line.line.length)])
    area = line.line.area
    rows = [
        FillingRowJson(
            time_s=float(t),
            front_m=float(begins[k] + x),
            velocity_m_s=float(q / area[k]),
            gas_pa_gauge=float(p - line.atmosphere),
            end_pa_gauge=None,
        )
        for t, k, x, q, p in zip(made.time, made.pipe, made.length, made.flow, made.gas, strict=True)
    ]
    if run.impact is not None:
        rows += _elastic(run, run.impact)
    return rows


def elastic_rows(run: FillingResult) -> Sequence[FillingRowJson]:
    """Return the history with an elastic line behind the front."""
    return _elastic(run, run.elastic)


def _elastic(run: FillingResult, made: ElasticFill) -> list[FillingRowJson]:
    line = run.line
    begins = np.concatenate([[0.0], np.cumsum(line.line.length)])
    area, last = line.line.area, line.line.z[-1]
    ends = line.rho_g * (made.heads[:, -1, 1] - last)
    return [
        FillingRowJson(
            time_s=float(t),
            front_m=float(begins[k] + x),
            velocity_m_s=float(q / area[k]),
            gas_pa_gauge=float(p - line.atmosphere),
            end_pa_gauge=float(e) if np.isfinite(e) else None,
        )
        for t, k, x, q, p, e in zip(made.time, made.pipe, made.length, made.flow, made.gas, ends, strict=True)
    ]

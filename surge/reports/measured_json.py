"""``surge records --curve --json`` as types: a measured stroke, and the pressures with it.

Openings, positions and noise are fractions of the travel: 0 shut, 1 open.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from surge.reports.document import Asked, Demand, ExitCode, FindingJson, Head, JsonObject, Program, Verdict
from surge.reports.records_json import Count, DirectionWord, FileId, RowFaultJson
from surge.valves.curve import MeasuredStroke

Law = Annotated[
    tuple[tuple[float, float], ...],
    Demand(minItems=2, description="Pairs of time [s] from the first movement and opening [-]."),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictsJson(JsonObject):
    """Verdicts with the assumed stroke, the measured one, and the steepest that the measurement allows."""

    assumed: Verdict
    measured: Verdict
    steepest: Verdict | None
    """Null: the measurement hides nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeJson(JsonObject):
    """Openings and noise are fractions of the travel."""

    samples: Count
    movement_time_s: float
    lead_s: float
    """Before the first movement, cut off."""
    noise_rms: float
    """Of what was taken off so that the curve goes one way."""
    noise_of_a_sample: float
    greatest_correction: float
    beyond_open: float
    beyond_shut: float
    rest_open: float
    rest_shut: float
    time_between_samples_s: float
    """The usual one."""
    longest_gap_s: float
    gaps: Count
    greatest_change_between_samples: float
    window_s: float
    """Time within which the steepest changes are told."""
    steepest_measured: float
    steepest_in_law: float
    law: Law
    steepest_law: Law | None
    """As steep as the measurement allows; null where it hides nothing."""
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureJson(JsonObject):
    """One pressure against one limit, with each of the strokes."""

    assumed: FindingJson | None
    measured: FindingJson
    steepest: FindingJson | None
    nearer_by_pa: float | None
    """Worse of measured and steepest against assumed; null where the liquid boils."""
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredDocument(Head):
    """What a measured stroke does in the case."""

    curve: FileId
    verdict: Verdict
    exit_code: ExitCode
    valve: str
    direction: DirectionWord
    verdicts: VerdictsJson
    stroke: StrokeJson
    assumed_laws: Mapping[str, Law]
    """By scenario."""
    pressures: tuple[PressureJson, ...]
    """The nearest to its limit first."""
    rules_note: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRefused(JsonObject):
    """The measured curve cannot be used, and nothing was calculated."""

    schema_version: Literal[1] = 1
    program: Program
    curve: Asked
    verdict: Literal["refused"] = "refused"
    exit_code: Literal[2] = 2
    refused: Sequence[RowFaultJson]


def stroke_json(stroke: MeasuredStroke, notes: Sequence[str]) -> StrokeJson:
    """Return a measured stroke; ``notes`` say what was done to it."""
    return StrokeJson(
        samples=len(stroke.curve.samples),
        movement_time_s=stroke.time,
        lead_s=stroke.lead,
        noise_rms=stroke.noise,
        noise_of_a_sample=stroke.sigma,
        greatest_correction=stroke.furthest,
        beyond_open=stroke.over_open,
        beyond_shut=stroke.over_shut,
        rest_open=stroke.rest_open,
        rest_shut=stroke.rest_shut,
        time_between_samples_s=stroke.usual,
        longest_gap_s=stroke.gap,
        gaps=stroke.gaps,
        greatest_change_between_samples=stroke.between,
        window_s=stroke.window,
        steepest_measured=stroke.fall_measured,
        steepest_in_law=stroke.fall_law,
        law=stroke.law,
        steepest_law=stroke.steep or None,
        notes=tuple(notes),
    )

"""The answer of ``surge forces --json``, as types and as what makes them from forces."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.reports.document import ExitCode, Head, JsonObject, Verdict
from surge.rules.book import LOCAL_CODES
from surge.transient.forces import Forces, LegForce


@dataclass(frozen=True, slots=True, kw_only=True)
class LegForceJson(JsonObject):
    """The force of the liquid on the pipe along a straight leg, positive from the pipe's start to its end."""

    pipe: str
    start: str
    """The point from which the pipe goes."""
    end: str
    begin_m: float
    """Where the leg begins, from the pipe's start."""
    end_m: float
    inside_diameter_m: float
    highest_n: float
    """Greatest force towards the end of the pipe."""
    highest_time_s: float
    lowest_n: float
    """Greatest force towards its start, negative."""
    lowest_time_s: float
    error_n: float
    """Numerical error of both."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScenarioForcesJson(JsonObject):
    """Forces in one scenario."""

    name: str
    time_step_s: float
    boils_at_s: float | None
    """Forces are told up to then only; null where the cargo does not boil."""
    legs: tuple[LegForceJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForcesDocument(Head):
    """Forces along straight legs of pipe, as the wave passes."""

    title: str
    exit_code: ExitCode
    """That of the whole case, by its pressures and rules."""
    verdict: Verdict
    scenarios: tuple[ScenarioForcesJson, ...]
    local_codes: str
    cautions: tuple[str, ...]


def forces_document(
    forces: Sequence[Forces],
    lineup: LineUp,
    head: Head,
    *,
    verdict: str,
    exit_code: int,
    cautions: Iterable[str],
) -> ForcesDocument:
    """Return the answer as a document."""
    return ForcesDocument(
        program=head.program,
        case=head.case,
        title=lineup.title,
        exit_code=exit_code,
        verdict=verdict,
        scenarios=tuple(
            ScenarioForcesJson(
                name=one.scenario,
                time_step_s=one.dt,
                boils_at_s=one.boils,
                legs=tuple(_leg(force, lineup) for force in one.legs),
            )
            for one in forces
        ),
        local_codes=LOCAL_CODES,
        cautions=tuple(cautions),
    )


def _leg(force: LegForce, lineup: LineUp) -> LegForceJson:
    pipe = lineup.pipe(force.leg.pipe)
    return LegForceJson(
        pipe=pipe.name,
        start=pipe.start,
        end=pipe.end,
        begin_m=force.leg.begin,
        end_m=force.leg.end,
        inside_diameter_m=pipe.diameter,
        highest_n=force.highest,
        highest_time_s=force.highest_time,
        lowest_n=force.lowest,
        lowest_time_s=force.lowest_time,
        error_n=force.error,
    )

"""What a case asks for beside the usual, as types of its JSON and as what makes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import Demand, JsonObject, PressuresJson, extreme
from surge.reports.sensitivities import TRUST
from surge.transient.result import ElementResult, PlaceResult, Sensitivity


@dataclass(frozen=True, slots=True, kw_only=True)
class SensitivityJson(JsonObject):
    """The scenario once more, with what the case asks for beside the usual. No verdict is better for it."""

    kind: Annotated[str, Demand(enum=["unsteady friction", "gas in the liquid"])]
    words: str
    """What it was run with; a finding's "beside" is the same."""
    missing: str
    """Why there is no such run, "" where there is."""
    boils: bool
    """With it the cargo boils: what comes after that is not valid."""
    weight_error: float
    """Of unsteady friction: greatest error of a weight as it was marched with, as a share of it."""
    worst_error_pa: float | None
    extremes: tuple[PressuresJson, ...]
    trust: str


def sensitivity_json(one: Sensitivity) -> SensitivityJson:
    """Return what was found."""
    run = one.run
    return SensitivityJson(
        kind=one.kind,
        words=one.words,
        missing=one.missing,
        boils=run is not None and run.vapour is not None,
        weight_error=one.fit,
        worst_error_pa=None if run is None else run.method.worst_error,
        extremes=() if run is None else (*map(_extremes, run.elements), *map(_extremes, run.places)),
        trust=TRUST[one.kind],
    )


def _extremes(own: ElementResult | PlaceResult) -> PressuresJson:
    return PressuresJson(
        subject="element" if isinstance(own, ElementResult) else "place",
        name=own.name,
        highest=extreme(own.highest),
        lowest=extreme(own.lowest),
    )

"""The smallest relief valve and the smallest surge drum that do, as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import Demand, FindingJson, JsonObject, finding_or_none
from surge.search.sizes import KINDS, RELIEF, SizeAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeJson(JsonObject):
    """The smallest size of one relief valve (its Kv) or one surge drum (its volume) that does."""

    name: str
    kind: Annotated[str, Demand(enum=list(KINDS))]
    window_of: tuple[str, ...]
    """Valves whose window is to be open; empty: the case is to be kept at its strokes."""
    at_stroke_s: float | None
    """Of these valves: the longest that the rules on time allow."""
    unit: Annotated[str, Demand(enum=["m3/h at 1 bar", "m3"])]
    in_case: float
    smallest: float | None
    """Confirmed by full runs, rule by rule; null: none of those tried does."""
    does_up_to: float | None
    """The greatest that does, with each between that was looked at."""
    tried_from: float
    tried_to: float
    gas_share: float | None
    """Of a drum: gas as a share of its volume, at every size."""
    governs: FindingJson | None
    """Nearest to its limit at the smallest; where none does, at the best."""
    best: float | None
    """Where none does: the size that comes nearest to it."""
    reason: str


def size_document(answer: SizeAnswer) -> SizeJson:
    """Return one answer."""
    relief = answer.kind == RELIEF
    return SizeJson(
        name=answer.name,
        kind=answer.kind,
        window_of=answer.valves,
        at_stroke_s=answer.stroke,
        unit="m3/h at 1 bar" if relief else "m3",
        in_case=answer.was,
        smallest=answer.least,
        does_up_to=answer.most,
        tried_from=answer.tried[0],
        tried_to=answer.tried[1],
        gas_share=None if relief else answer.gas_share,
        governs=finding_or_none(answer.governs),
        best=answer.best,
        reason=answer.reason,
    )

"""What was tried to mend a case, as types of its JSON and as what makes them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import Demand, FindingJson, JsonObject, finding
from surge.search.changes import BOUNDS, KINDS, RATE, SPEED, ULLAGE, Change
from surge.search.remedies import Cause, Remedies, Remedy
from surge.search.trials import Trial

UNITS = {RATE: "m3/s", SPEED: "1", ULLAGE: "m3"}  # all others are times


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeJson(JsonObject):
    """One figure of the case, changed."""

    kind: Annotated[str, Demand(enum=list(KINDS))]
    names: tuple[str, ...]
    """Valves that take one stroke, a pump, a tank, the element in which a rate is counted."""
    scenarios: tuple[str, ...]
    """Empty: in the case as a whole."""
    was: float
    value: float
    unit: Annotated[str, Demand(enum=["m3/s", "s", "1", "m3"])]
    bound: Annotated[str, Demand(enum=list(BOUNDS))]
    up_to: float | None
    """How far the value may be gone beyond, where something else bounds it; null where nothing does."""
    opens: bool
    """Of a stroke: that with which the valves open; otherwise they close."""
    starts_s: Mapping[str, float]
    """Of another order: when each begins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyJson(JsonObject):
    """Changes after which a check finds every limit and every required rule kept: it was run."""

    changes: tuple[ChangeJson, ...]
    last_movement_ends_later_s: float
    longer_s_per_m3: float
    """How much longer a cubic metre takes at the changed rate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseJson(JsonObject):
    """The movement that makes a pressure, found by leaving it out."""

    names: tuple[str, ...]
    finding: FindingJson
    pressure_pa_gauge: float
    pressure_without_pa_gauge: float
    enough: bool
    """Without it the limit is kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialJson(JsonObject):
    """What was tried for one scenario, and is no help by itself."""

    kind: Annotated[str, Demand(enum=list(KINDS))]
    names: tuple[str, ...]
    scenario: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RemediesJson(JsonObject):
    """What was tried to mend a case that is not kept."""

    found: tuple[RemedyJson, ...]
    """Each by itself keeps everything."""
    in_vain: tuple[TrialJson, ...]
    scenarios_without: tuple[str, ...]
    """Scenarios for which nothing was found."""
    cause: CauseJson | None
    complete: bool
    """False: not everything was tried, since it would have taken too much."""
    data_missing: bool
    """Nothing was tried, since the case lacks data, or breaks a rule that nothing that moves would mend."""
    facts_lacking: bool
    """Rules that lack a fact were set aside: the remedies hold when that is written, and is kept."""


def remedies_json(made: Remedies) -> RemediesJson:
    """Return what was tried as it stands in JSON."""
    return RemediesJson(
        found=tuple(_remedy(r) for r in made.found),
        in_vain=tuple(_trial(t) for t in made.in_vain),
        scenarios_without=made.unmended,
        cause=None if made.cause is None else _cause(made.cause),
        complete=made.complete,
        data_missing=made.missing,
        facts_lacking=made.lacking,
    )


def _remedy(r: Remedy) -> RemedyJson:
    return RemedyJson(
        changes=tuple(_change(c) for c in r.changes),
        last_movement_ends_later_s=r.ends_later,
        longer_s_per_m3=r.slower,
    )


def _change(c: Change) -> ChangeJson:
    return ChangeJson(
        kind=c.kind,
        names=c.names,
        scenarios=c.scenarios,
        was=c.was,
        value=c.value,
        unit=UNITS.get(c.kind, "s"),
        bound=c.bound,
        up_to=c.to,
        opens=c.opens,
        starts_s=dict(c.starts),
    )


def _trial(t: Trial) -> TrialJson:
    return TrialJson(kind=t.kind, names=t.names, scenario=t.scenario)


def _cause(c: Cause) -> CauseJson:
    return CauseJson(
        names=c.names,
        finding=finding(c.finding),
        pressure_pa_gauge=c.value,
        pressure_without_pa_gauge=c.without,
        enough=c.enough,
    )

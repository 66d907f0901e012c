"""What a run of one scenario found, as types of its JSON and as what makes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from surge.model.lineup import Scenario
from surge.model.topology import PipelinePeriod
from surge.phrases import told
from surge.reports.attached_json import (
    DrumJson,
    NonReturnJson,
    ReliefJson,
    TripJson,
    VesselJson,
    drum_json,
    non_return_json,
    relief_json,
    trip_json,
    vessel_json,
)
from surge.reports.cavities_json import CavitiesJson, cavities_json
from surge.reports.document import Demand, ExtremeJson, JsonObject, TakenJson, extreme, numbers, taken_json
from surge.reports.sensitivities_json import SensitivityJson, sensitivity_json
from surge.transient.history import History
from surge.transient.result import (
    Closure,
    ElementResult,
    Envelope,
    Method,
    PlaceResult,
    PocketFigures,
    ScenarioResult,
    Vapour,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FiguresJson(JsonObject):
    """Figures of an element with a length that can be checked on a pocket calculator."""

    flow_m3_per_s: float
    velocity_m_per_s: float
    wave_speed_m_per_s: float
    travel_time_s: float
    instant_stop_rise_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ElementJson(JsonObject):
    """Pressures in one element."""

    name: str
    kind: Annotated[str, Demand(enum=["pipe", "hose", "arm", "valve", "passage", "pump", "non-return valve"])]
    steady_pa_gauge: float
    """Where the peak comes later."""
    steady_highest_pa_gauge: float
    steady_lowest_pa_gauge: float
    highest: ExtremeJson
    lowest: ExtremeJson
    figures: FiguresJson | None
    reaches: int
    lumped: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceJson(JsonObject):
    """Pressures at one place."""

    name: str
    roles: tuple[str, ...]
    steady_pa_gauge: float
    highest: ExtremeJson
    lowest: ExtremeJson


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodJson(JsonObject):
    """Pipeline period of a valve, either way, and what reflects the waves."""

    valve: str
    upstream_s: float | None
    downstream_s: float | None
    reflects_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosureJson(JsonObject):
    """How gently a valve closes against the flow."""

    valve: str
    stroke_s: float
    pipeline_period_s: float
    effective_time_s: float | None
    """From 95 to 5 % of the flow; null when it does not fall so far."""
    greatest_fall_within_a_period: float
    """Part of the first flow; the surge goes by it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VapourJson(JsonObject):
    """Where and when the cargo first boils."""

    time_s: float
    where: str
    distance_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodJson(JsonObject):
    """How the numbers were computed."""

    time_step_s: float
    nodes: int
    steps: int
    duration_s: float
    lumped: tuple[str, ...]
    error_aimed_at_pa: float
    worst_error_pa: float
    marches: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryJson(JsonObject):
    """What happens in time: pressures at places, flows through elements, at the same instants."""

    time_s: Sequence[float]
    pressure_pa_gauge: Mapping[str, Sequence[float]]
    flow_m3_per_s: Mapping[str, Sequence[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class EnvelopeJson(JsonObject):
    """Highest, lowest and steady pressure along an element."""

    distance_m: Sequence[float]
    highest_pa_gauge: Sequence[float]
    lowest_pa_gauge: Sequence[float]
    steady_pa_gauge: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScenarioJson(JsonObject):
    """One scenario, at one point of what is known as a range only."""

    name: str
    note: str
    taken: TakenJson
    depends: str
    """What the verdict turns on, where figures are known as ranges only; "" where none turns it."""
    elements: tuple[ElementJson, ...]
    places: tuple[PlaceJson, ...]
    pipeline_periods: tuple[PeriodJson, ...]
    closures: tuple[ClosureJson, ...]
    """Valve movements that close against flow."""
    vapour: VapourJson | None
    """Extremes, histories and envelopes are of a run without cavities: after this they are not valid."""
    undecided: tuple[str, ...]
    notes: tuple[str, ...]
    timing_s: Mapping[str, float]
    last_event_s: float
    openings_at_start: Mapping[str, float]
    method: MethodJson
    stage: str
    """Of the loading: start, bulk or topping off; "" where the case does not say."""
    repeats: str
    """The scenario whose shutdown this one repeats at another stage; "" where it stands in the case."""
    trips: tuple[TripJson, ...] | None = None
    """Where a pump trips."""
    non_return_valves: tuple[NonReturnJson, ...] | None = None
    """Where the case has non-return valves of their own."""
    relief_valves: tuple[ReliefJson, ...] | None = None
    """Where the case has relief valves."""
    surge_drums: tuple[DrumJson, ...] | None = None
    """Where the case has surge drums."""
    open_vessels: tuple[VesselJson, ...] | None = None
    """Where the case has vessels open to the air."""
    cavities: CavitiesJson | None = None
    """Of a scenario that boils: what its findings go by."""
    sensitivities: tuple[SensitivityJson, ...] | None = None
    """Where the case asks for something beside the usual."""
    history: HistoryJson | None = None
    """With --histories."""
    envelopes: Mapping[str, EnvelopeJson] | None = None
    """With --histories: along every element that has a length."""


def scenario_json(run: ScenarioResult, scenario: Scenario, *, histories: bool) -> ScenarioJson:
    """Return what was found.

    Parameters
    ----------
    run : ScenarioResult
    scenario : Scenario
        That was run.
    histories : bool
        Add histories and envelopes.
    """
    return ScenarioJson(
        name=run.name,
        note=run.note,
        taken=taken_json(run.taken),
        depends=run.elsewhere.depends,
        elements=tuple(_element(e) for e in run.elements),
        places=tuple(_place(p) for p in run.places),
        pipeline_periods=tuple(_period(p) for p in run.periods),
        closures=tuple(_closure(c) for c in run.closures),
        vapour=None if run.vapour is None else _vapour(run.vapour),
        undecided=run.undecided,
        notes=tuple(told(note) for note in run.notes),
        timing_s=dict(run.timing),
        last_event_s=run.last_event,
        openings_at_start=run.opening,
        method=_method(run.method),
        stage=scenario.stage,
        repeats=scenario.repeats,
        trips=tuple(trip_json(t) for t in run.trips) or None,
        non_return_valves=tuple(non_return_json(v) for v in run.non_return_valves) or None,
        relief_valves=tuple(relief_json(r) for r in run.relief_valves) or None,
        surge_drums=tuple(drum_json(d) for d in run.surge_drums) or None,
        open_vessels=tuple(vessel_json(v) for v in run.open_vessels) or None,
        cavities=None if run.cavities is None else cavities_json(run.cavities),
        sensitivities=tuple(map(sensitivity_json, run.sensitivities)) or None,
        history=_history(run.history) if histories else None,
        envelopes={name: _envelope(e) for name, e in run.envelopes.items()} if histories else None,
    )


def _element(e: ElementResult) -> ElementJson:
    return ElementJson(
        name=e.name,
        kind=e.kind,
        steady_pa_gauge=e.steady,
        steady_highest_pa_gauge=e.steady_high,
        steady_lowest_pa_gauge=e.steady_low,
        highest=extreme(e.highest),
        lowest=extreme(e.lowest),
        figures=None if e.figures is None else _figures(e.figures),
        reaches=e.reaches,
        lumped=e.lumped,
    )


def _figures(f: PocketFigures) -> FiguresJson:
    return FiguresJson(
        flow_m3_per_s=f.flow,
        velocity_m_per_s=f.velocity,
        wave_speed_m_per_s=f.wave_speed,
        travel_time_s=f.travel_time,
        instant_stop_rise_pa=f.instant_stop,
    )


def _place(p: PlaceResult) -> PlaceJson:
    return PlaceJson(
        name=p.name,
        roles=p.roles,
        steady_pa_gauge=p.steady,
        highest=extreme(p.highest),
        lowest=extreme(p.lowest),
    )


def _period(p: PipelinePeriod) -> PeriodJson:
    return PeriodJson(
        valve=p.valve, upstream_s=p.upstream, downstream_s=p.downstream, reflects_at=p.reflects_at
    )


def _closure(c: Closure) -> ClosureJson:
    return ClosureJson(
        valve=c.valve,
        stroke_s=c.stroke,
        pipeline_period_s=c.period,
        effective_time_s=c.effective,
        greatest_fall_within_a_period=c.greatest_fall,
    )


def _vapour(v: Vapour) -> VapourJson:
    return VapourJson(time_s=v.time, where=v.where, distance_m=v.distance)


def _method(m: Method) -> MethodJson:
    return MethodJson(
        time_step_s=m.dt,
        nodes=m.nodes,
        steps=m.steps,
        duration_s=m.duration,
        lumped=m.lumped,
        error_aimed_at_pa=m.tolerance,
        worst_error_pa=m.worst_error,
        marches=m.runs,
    )


def _history(h: History) -> HistoryJson:
    return HistoryJson(
        time_s=numbers(h.time),
        pressure_pa_gauge={k: numbers(v) for k, v in h.pressure.items()},
        flow_m3_per_s={k: numbers(v) for k, v in h.flow.items()},
    )


def _envelope(e: Envelope) -> EnvelopeJson:
    return EnvelopeJson(
        distance_m=numbers(e.distance),
        highest_pa_gauge=numbers(e.highest),
        lowest_pa_gauge=numbers(e.lowest),
        steady_pa_gauge=numbers(e.steady),
    )

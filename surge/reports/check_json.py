"""The answer of ``surge check --json``, as types and as what makes them from an assessment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from surge.case.file import Case
from surge.model.lineup import Assumed, LineUp
from surge.model.topology import PipelinePeriod
from surge.phrases import told
from surge.reports.document import (
    Demand,
    ExitCode,
    ExtremeJson,
    FindingJson,
    Head,
    JsonObject,
    TakenJson,
    Verdict,
    extreme,
    finding,
    finding_or_none,
    head_of,
    numbers,
    taken_json,
)
from surge.reports.gauge_json import GaugeJson, gauge_json
from surge.reports.remedies_json import RemediesJson, remedies_json
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES, MEASURES, REQUIREMENTS
from surge.rules.ground import KEPT, NOT_APPLICABLE, NOT_CHECKED, NOT_DECIDED, NOT_KEPT
from surge.rules.rulings import Ruling
from surge.search.remedies import Remedies
from surge.transient.result import (
    Closure,
    DrumResult,
    ElementResult,
    Envelope,
    History,
    Method,
    NonReturnResult,
    PlaceResult,
    PocketFigures,
    ReliefResult,
    ScenarioResult,
    TripResult,
    Vapour,
    VesselResult,
)

# What a ruling's figures are.
SHOWN_AS = {"time": "s", "pressure": "Pa gauge", "speed": "m/s", "number": "1"}


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
class ReliefJson(JsonObject):
    """What a relief valve did in a scenario."""

    name: str
    point: str
    set_pressure_pa_gauge: float
    opened_s: float | None
    """When it first opened; null where it stayed shut."""
    greatest_lift: float
    spilled_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TripJson(JsonObject):
    """What a pump did that tripped."""

    name: str
    at_s: float
    speed_at_end: float
    """Share of full speed that is left at the end of the run."""
    unknown_from_s: float | None
    """When it left what is known of it; null where it never did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NonReturnJson(JsonObject):
    """What a non-return valve did in a scenario."""

    name: str
    closed_s: float | None
    """When it was first shut; null where it stayed open."""
    greatest_reverse_flow_m3_per_s: float
    stopped_m3_per_s: float
    """Greatest reverse flow that it stopped at once."""
    slam_pa: float
    """B times that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumJson(JsonObject):
    """What a surge drum did in a scenario."""

    name: str
    point: str
    gas_at_first_m3: float
    least_gas_m3: float
    most_gas_m3: float
    volume_m3: float
    emptied_s: float | None
    """When the gas first filled it; null where liquid always stood in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselJson(JsonObject):
    """What a vessel open to the air did in a scenario."""

    name: str
    point: str
    level_at_first_m: float
    lowest_level_m: float
    highest_level_m: float


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
    history: HistoryJson | None = None
    """With --histories."""
    envelopes: Mapping[str, EnvelopeJson] | None = None
    """With --histories: along every element that has a length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOutJson(JsonObject):
    """A stage at which a shutdown was not run, and why the case says so."""

    scenario: str
    stage: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RulingJson(JsonObject):
    """One rule of the trade held against one part of the case."""

    rule: str
    """Identifier; surge list rules has its text."""
    source: str
    requirement: Annotated[str, Demand(enum=list(REQUIREMENTS))]
    scenario: str
    """Empty where it holds for the whole case."""
    subject: str
    outcome: Annotated[str, Demand(enum=[KEPT, NOT_KEPT, NOT_DECIDED, NOT_CHECKED, NOT_APPLICABLE])]
    counts: bool
    """Whether it counts for the verdict."""
    words: str
    supply: str
    """What to give so that it can be checked."""
    unit: Annotated[str, Demand(enum=list(SHOWN_AS.values()))]
    value: float | None
    limit: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedJson(JsonObject):
    """A figure that the case does not give."""

    subject: str
    quantity: str
    value: str
    """In words, with its unit."""
    source: str
    asked_for_by_the_case: bool
    """The case names the row of the tables it comes from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDocument(Head):
    """Every scenario of a case against every limit and every rule."""

    title: str
    verdict: Verdict
    exit_code: ExitCode
    weakest: FindingJson | None
    sentence: str
    advice: tuple[str, ...]
    gauge: GaugeJson
    remedies: RemediesJson | None
    """What was tried to mend the case; null where all is kept, or where it was left out."""
    cautions: tuple[str, ...]
    findings: tuple[FindingJson, ...]
    rules_note: str
    rulings: tuple[RulingJson, ...]
    assumed: tuple[AssumedJson, ...]
    scenarios: tuple[ScenarioJson, ...]
    stages_left_out: tuple[LeftOutJson, ...]


def answer(
    case: Case,
    assessment: Assessment,
    *,
    version: str,
    sentence: str,
    advice: Iterable[str],
    gauge: Iterable[str],
    remedies: Remedies | None,
    cautions: Iterable[str],
    histories: bool,
) -> CheckDocument:
    """Return the whole answer.

    Parameters
    ----------
    case : Case
    assessment : Assessment
    version : str
        Of the program.
    sentence : str
        The weakest place in words.
    advice, gauge, cautions : iterable of str
    remedies : Remedies or None
        What was tried.
    histories : bool
        Add histories and envelopes.
    """
    head = head_of(version, case.filename, case.sha256)
    return CheckDocument(
        program=head.program,
        case=head.case,
        title=case.lineup.title,
        verdict=assessment.verdict,
        exit_code=assessment.exit_code,
        weakest=finding_or_none(assessment.weakest),
        sentence=sentence,
        advice=tuple(advice),
        gauge=gauge_json(assessment.gauge, tuple(gauge)),
        remedies=None if remedies is None else remedies_json(remedies),
        cautions=tuple(cautions),
        findings=tuple(finding(f) for f in assessment.findings),
        rules_note=LOCAL_CODES,
        rulings=tuple(_ruling(r) for r in assessment.rulings),
        assumed=tuple(_assumed(a) for a in assessment.lineup.assumed),
        scenarios=tuple(
            _scenario(run, assessment.lineup, histories=histories) for run in assessment.scenarios
        ),
        stages_left_out=tuple(
            LeftOutJson(scenario=s.name, stage=stage, reason=reason)
            for s in assessment.lineup.scenarios
            for stage, reason in s.not_at
        ),
    )


def _ruling(r: Ruling) -> RulingJson:
    return RulingJson(
        rule=r.rule.id,
        source=r.rule.source,
        requirement=r.rule.requirement,
        scenario=r.scenario,
        subject=r.subject,
        outcome=r.outcome,
        counts=r.binding,
        words=r.words,
        supply=r.supply,
        unit=SHOWN_AS[MEASURES[r.rule.measure].shown],
        value=r.value,
        limit=r.limit,
    )


def _assumed(a: Assumed) -> AssumedJson:
    return AssumedJson(
        subject=a.subject,
        quantity=a.quantity,
        value=a.value,
        source=a.source,
        asked_for_by_the_case=a.asked,
    )


def _scenario(run: ScenarioResult, lineup: LineUp, *, histories: bool) -> ScenarioJson:
    scenario = next(s for s in lineup.scenarios if s.name == run.name)
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
        trips=tuple(_trip(t) for t in run.trips) or None,
        non_return_valves=tuple(_non_return(v) for v in run.non_return_valves) or None,
        relief_valves=tuple(_relief(r) for r in run.relief_valves) or None,
        surge_drums=tuple(_drum(d) for d in run.surge_drums) or None,
        open_vessels=tuple(_open_vessel(v) for v in run.open_vessels) or None,
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


def _relief(r: ReliefResult) -> ReliefJson:
    return ReliefJson(
        name=r.name,
        point=r.point,
        set_pressure_pa_gauge=r.set_pressure,
        opened_s=r.opened,
        greatest_lift=r.lift,
        spilled_m3=r.passed,
    )


def _trip(t: TripResult) -> TripJson:
    return TripJson(name=t.name, at_s=t.at, speed_at_end=t.speed, unknown_from_s=t.unknown)


def _non_return(v: NonReturnResult) -> NonReturnJson:
    return NonReturnJson(
        name=v.name,
        closed_s=v.closed,
        greatest_reverse_flow_m3_per_s=v.reverse,
        stopped_m3_per_s=v.stopped,
        slam_pa=v.slam,
    )


def _drum(d: DrumResult) -> DrumJson:
    return DrumJson(
        name=d.name,
        point=d.point,
        gas_at_first_m3=d.gas,
        least_gas_m3=d.least,
        most_gas_m3=d.most,
        volume_m3=d.volume,
        emptied_s=d.emptied,
    )


def _open_vessel(v: VesselResult) -> VesselJson:
    return VesselJson(
        name=v.name,
        point=v.point,
        level_at_first_m=v.level,
        lowest_level_m=v.lowest,
        highest_level_m=v.highest,
    )


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

"""The answer as one JSON document; its schema is published as ``schema/result.schema.json``.

Keys carry unit and reference. Numbers are SI and not rounded.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Annotated, Any, Literal

from surge.case.file import Case
from surge.model.lineup import Assumed
from surge.phrases import told
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES, MEASURES
from surge.rules.findings import EXIT_CODE, UNDECIDED, Finding
from surge.rules.rulings import Ruling
from surge.toml.faults import FaultRecord
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult

SCHEMA_VERSION = 1
Json = dict[str, Any]
PLAIN = frozenset({str, float, int, bool, type(None)})


class JsonObject:
    """Base of frozen dataclasses that are objects of a JSON document; :mod:`surge.schemas` tells how."""

    __slots__ = ()
    # Read by the schema's library only: docstrings below fields describe them.
    __pydantic_config__ = {"use_attribute_docstrings": True}  # noqa: RUF012  it must be this very dict


class Demand:
    """What the schema demands of a value beside its type: keywords of JSON Schema, given by their names."""

    def __init__(self, **keywords: Any) -> None:
        self.keywords = keywords

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> Json:
        """Called by the schema's library, which nothing here imports."""
        made: Json = handler(core)
        return made | self.keywords


Sha256 = Annotated[str, Demand(pattern="^[0-9a-f]{64}$")]
Verdict = Annotated[str, Demand(enum=list(EXIT_CODE))]
ExitCode = Annotated[int, Demand(enum=list(EXIT_CODE.values()))]


def as_json(item: Any) -> Any:
    """Return a frozen document as plain dicts and lists.

    A field that is None by default is left out while it is None. Arrays of numbers and words are handed on as
    they are: they are neither copied nor looked into.
    """
    if type(item) in PLAIN:
        return item
    if isinstance(item, Mapping):
        return {key: as_json(value) for key, value in item.items()}
    if isinstance(item, list | tuple):
        return item if PLAIN.issuperset(map(type, item)) else [as_json(value) for value in item]
    kind: Any = type(item)
    return {
        name: as_json(value)
        for name, left_out in _keys_of(kind)
        if (value := getattr(item, name)) is not None or not left_out
    }


@cache
def _keys_of(kind: Any) -> tuple[tuple[str, bool], ...]:
    """Names of the fields of a dataclass, and whether None means that the key is left out."""
    if not is_dataclass(kind):
        raise TypeError(f"{kind.__name__} does not belong into a JSON document")
    return tuple((field.name, field.default is None) for field in fields(kind))


@dataclass(frozen=True, slots=True, kw_only=True)
class Program(JsonObject):
    """The program that made the document."""

    name: Literal["surge"] = "surge"
    version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseId(JsonObject):
    """The case that it was made from."""

    file: str
    sha256: Sha256


@dataclass(frozen=True, slots=True, kw_only=True)
class Head(JsonObject):
    """Which program, and which case."""

    schema_version: Literal[1] = 1
    program: Program
    case: CaseId


def extreme(x: Extreme) -> Json:
    """One highest or lowest pressure with the parts of its error."""
    return {
        "pressure_pa_gauge": x.pressure,
        "time_s": x.time,
        "distance_m": x.distance,
        "error_pa": x.error,
        "error_parts_pa": {"step": x.step_part, "misfit": x.misfit_part, "lumping": x.lumping_part},
        "before_vapour_pa_gauge": x.before_vapour,
    }


# What a ruling's figures are.
SHOWN_AS = {"time": "s", "pressure": "Pa gauge", "speed": "m/s", "number": "1"}


def element(e: ElementResult) -> Json:
    """One element."""
    figures = None
    if e.figures:
        figures = {
            "flow_m3_per_s": e.figures.flow,
            "velocity_m_per_s": e.figures.velocity,
            "wave_speed_m_per_s": e.figures.wave_speed,
            "travel_time_s": e.figures.travel_time,
            "instant_stop_rise_pa": e.figures.instant_stop,
        }
    return {
        "name": e.name,
        "kind": e.kind,
        "steady_pa_gauge": e.steady,
        "steady_highest_pa_gauge": e.steady_high,
        "steady_lowest_pa_gauge": e.steady_low,
        "highest": extreme(e.highest),
        "lowest": extreme(e.lowest),
        "figures": figures,
        "reaches": e.reaches,
        "lumped": e.lumped,
    }


def place(p: PlaceResult) -> Json:
    """One place."""
    return {
        "name": p.name,
        "roles": list(p.roles),
        "steady_pa_gauge": p.steady,
        "highest": extreme(p.highest),
        "lowest": extreme(p.lowest),
    }


def finding(f: Finding) -> Json:
    """One pressure against one limit."""
    return {
        "scenario": f.scenario,
        "subject": f.subject,
        "name": f.name,
        "check": f.check,
        "pressure_pa_gauge": f.value,
        "error_pa": f.error,
        "limit_pa_gauge": f.limit,
        "limit_source": f.limit_source,
        "rule": f.rule,
        "margin_pa": f.margin,
        "time_s": f.time,
        "distance_m": f.distance,
        "lengths_m": dict(f.lengths),
        "wave_speeds_m_per_s": dict(f.speeds),
        "verdict": f.verdict,
        "reason": f.reason,
    }


def ruling(r: Ruling) -> Json:
    """One rule held against one part of the case."""
    kind = SHOWN_AS[MEASURES[r.rule.measure].shown]
    return {
        "rule": r.rule.id,
        "source": r.rule.source,
        "requirement": r.rule.requirement,
        "scenario": r.scenario,
        "subject": r.subject,
        "outcome": r.outcome,
        "counts": r.binding,
        "words": r.words,
        "supply": r.supply,
        "unit": kind,
        "value": r.value,
        "limit": r.limit,
    }


def assumed(a: Assumed) -> Json:
    """One figure that the case does not give."""
    return {
        "subject": a.subject,
        "quantity": a.quantity,
        "value": a.value,
        "source": a.source,
        "asked_for_by_the_case": a.asked,
    }


def scenario(run: ScenarioResult, *, histories: bool) -> Json:
    """One scenario; with ``histories`` also what happens in time and along the line."""
    m = run.method
    done: Json = {
        "name": run.name,
        "note": run.note,
        "lengths_m": run.lengths,
        "wave_speeds_m_per_s": run.speeds,
        "elements": [element(e) for e in run.elements],
        "places": [place(p) for p in run.places],
        "pipeline_periods": [
            {
                "valve": p.valve,
                "upstream_s": p.upstream,
                "downstream_s": p.downstream,
                "reflects_at": p.reflects_at,
            }
            for p in run.periods
        ],
        "closures": [
            {
                "valve": c.valve,
                "stroke_s": c.stroke,
                "pipeline_period_s": c.period,
                "effective_time_s": c.effective,
                "greatest_fall_within_a_period": c.greatest_fall,
            }
            for c in run.closures
        ],
        "vapour": None
        if run.vapour is None
        else {"time_s": run.vapour.time, "where": run.vapour.where, "distance_m": run.vapour.distance},
        "undecided": list(run.undecided),
        "notes": [told(note) for note in run.notes],
        "timing_s": dict(run.timing),
        "last_event_s": run.last_event,
        "openings_at_start": run.opening,
        "method": {
            "time_step_s": m.dt,
            "nodes": m.nodes,
            "steps": m.steps,
            "duration_s": m.duration,
            "largest_misfit_of_travel_time": m.largest_misfit,
            "misfit_of": m.misfit_of,
            "lumped": list(m.lumped),
            "error_aimed_at_pa": m.tolerance,
            "worst_error_pa": m.worst_error,
            "marches": m.runs,
        },
    }
    if histories:
        h = run.history
        done["history"] = {
            "time_s": h.time.tolist(),
            "pressure_pa_gauge": {k: v.tolist() for k, v in h.pressure.items()},
            "flow_m3_per_s": {k: v.tolist() for k, v in h.flow.items()},
        }
        done["envelopes"] = {
            name: {
                "distance_m": e.distance.tolist(),
                "highest_pa_gauge": e.highest.tolist(),
                "lowest_pa_gauge": e.lowest.tolist(),
                "steady_pa_gauge": e.steady.tolist(),
            }
            for name, e in run.envelopes.items()
        }
    return done


def head_of(version: str, filename: str, sha256: str) -> Head:
    """Which program, and which case."""
    return Head(program=Program(version=version), case=CaseId(file=filename, sha256=sha256))


def answer(
    case: Case,
    assessment: Assessment,
    *,
    version: str,
    sentence: str,
    advice: Iterable[str],
    cautions: Iterable[str],
    histories: bool,
) -> Json:
    """Return the whole answer as plain lists and dicts.

    Parameters
    ----------
    case : Case
    assessment : Assessment
    version : str
        Of the program.
    sentence : str
        The weakest place in words.
    advice, cautions : iterable of str
    histories : bool
        Add histories and envelopes.
    """
    weakest = assessment.weakest
    return {
        **as_json(head_of(version, case.filename, case.sha256)),
        "title": case.lineup.title,
        "verdict": assessment.verdict,
        "exit_code": assessment.exit_code,
        "weakest": None if weakest is None else finding(weakest),
        "sentence": sentence,
        "advice": list(advice),
        "cautions": list(cautions),
        "findings": [finding(f) for f in assessment.findings],
        "rules_note": LOCAL_CODES,
        "rulings": [ruling(r) for r in assessment.rulings],
        "assumed": [assumed(a) for a in assessment.lineup.assumed],
        "scenarios": [scenario(run, histories=histories) for run in assessment.scenarios],
    }


def no_answer(reason: str, *, version: str, filename: str, sha256: str) -> Json:
    """Return why a case that can be read cannot be decided at all."""
    return {
        **as_json(head_of(version, filename, sha256)),
        "verdict": UNDECIDED,
        "exit_code": EXIT_CODE[UNDECIDED],
        "reason": reason,
    }


def refusal(records: Iterable[FaultRecord], *, version: str, filename: str, sha256: str) -> Json:
    """Return the faults of a case that cannot be used."""
    return {
        **as_json(head_of(version, filename, sha256)),
        "exit_code": 2,
        "faults": [r.as_dict() for r in records],
    }

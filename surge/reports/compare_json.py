"""The answer of ``surge compare --json``, as types and as what makes them from two cases side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from surge.reports.document import CaseId, Demand, ExitCode, JsonObject, Program, Verdict
from surge.reports.words import CAUTIONS
from surge.rules.book import LOCAL_CODES
from surge.views.compare import Comparison, PlacePressure, ScenarioPair
from surge.views.facts import KINDS, Change, Value


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedCaseJson(JsonObject):
    """One of the two cases, and its own verdict."""

    case: CaseId
    title: str
    verdict: Verdict
    exit_code: ExitCode


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceJson(JsonObject):
    """One thing that the cases do not say alike. quantity is empty where a part is in one case only: its
    table stands on that side.
    """

    table: str
    name: str
    quantity: str
    unit: str
    before: Value
    after: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class SideJson(JsonObject):
    """The extreme of one place in one case; where the cargo boils, of the time before. The limit is the
    nearest that holds there. verdict is null where the place has no limit of its own.
    """

    pressure_pa_gauge: float
    error_pa: float
    limit_pa_gauge: float | None
    limit_source: str
    verdict: Verdict | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacePairJson(JsonObject):
    """One extreme of an element or place in both cases."""

    subject: Annotated[str, Demand(enum=["element", "place"])]
    name: str
    extreme: Literal["highest", "lowest"]
    before: SideJson
    after: SideJson
    difference_pa: float
    """After less before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScenarioPairJson(JsonObject):
    """A scenario of each case, held side by side."""

    before: str
    after: str
    verdict_before: Verdict
    verdict_after: Verdict
    boils_before_s: float | None
    boils_after_s: float | None
    differences: tuple[DifferenceJson, ...]
    pressures: tuple[PlacePairJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareDocument(JsonObject):
    """What differs between two cases, and what that does to every pressure."""

    schema_version: Literal[1] = 1
    program: Program
    exit_code: ExitCode
    """That of the case after."""
    before: ComparedCaseJson
    after: ComparedCaseJson
    differences: tuple[DifferenceJson, ...]
    scenarios_only_before: tuple[str, ...]
    scenarios_only_after: tuple[str, ...]
    scenarios: Annotated[tuple[ScenarioPairJson, ...], Demand(minItems=1)]
    rules_note: str
    cautions: tuple[str, ...]


def comparison_document(c: Comparison, cases: Sequence[tuple[str, str]], *, version: str) -> CompareDocument:
    """Return a comparison in SI.

    Parameters
    ----------
    c : Comparison
    cases : sequence of (str, str)
        File and hash of each case.
    version : str
        Of the program.
    """
    before, after = (
        ComparedCaseJson(
            case=CaseId(file=file, sha256=digest),
            title=a.lineup.title,
            verdict=a.verdict,
            exit_code=a.exit_code,
        )
        for (file, digest), a in zip(cases, (c.before, c.after), strict=True)
    )
    return CompareDocument(
        program=Program(version=version),
        exit_code=c.exit_code,
        before=before,
        after=after,
        differences=tuple(_difference(x) for x in c.changes),
        scenarios_only_before=c.only_before,
        scenarios_only_after=c.only_after,
        scenarios=tuple(_scenarios(p) for p in c.pairs),
        rules_note=LOCAL_CODES,
        cautions=CAUTIONS,
    )


def _scenarios(pair: ScenarioPair) -> ScenarioPairJson:
    return ScenarioPairJson(
        before=pair.before,
        after=pair.after,
        verdict_before=pair.verdicts[0],
        verdict_after=pair.verdicts[1],
        boils_before_s=pair.subjects[0].valid_until,
        boils_after_s=pair.subjects[1].valid_until,
        differences=tuple(_difference(x) for x in pair.changes),
        pressures=tuple(
            PlacePairJson(
                subject=r.subject,
                name=r.name,
                extreme="highest" if r.way == "high" else "lowest",
                before=_pressure(r.before),
                after=_pressure(r.after),
                difference_pa=r.difference,
            )
            for r in pair.places
        ),
    )


def _pressure(pressure: PlacePressure) -> SideJson:
    return SideJson(
        pressure_pa_gauge=pressure.pressure,
        error_pa=pressure.error,
        limit_pa_gauge=pressure.limit.value if pressure.limit else None,
        limit_source=pressure.limit.source if pressure.limit else "",
        verdict=pressure.verdict or None,
    )


def _difference(change: Change) -> DifferenceJson:
    fact = change.before or change.after
    return DifferenceJson(
        table=change.table,
        name=change.name,
        quantity=change.quantity,
        unit=KINDS[fact.kind] if fact else "",
        before=change.before.value if change.before else None,
        after=change.after.value if change.after else None,
    )

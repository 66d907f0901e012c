"""The answer of ``surge check --json``, as types and as what makes them from an assessment."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from surge.case.file import Case
from surge.model.lineup import Assumed
from surge.reports.document import (
    Demand,
    ExitCode,
    FindingJson,
    Head,
    JsonObject,
    Verdict,
    finding,
    finding_or_none,
    head_of,
)
from surge.reports.fillings_json import FillingJson, filling_json
from surge.reports.gauge_json import GaugeJson, gauge_json
from surge.reports.remedies_json import RemediesJson, remedies_json
from surge.reports.run_json import ScenarioJson, scenario_json
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES, MEASURES, REQUIREMENTS
from surge.rules.ground import KEPT, NOT_APPLICABLE, NOT_CHECKED, NOT_DECIDED, NOT_KEPT
from surge.rules.rulings import Ruling
from surge.search.remedies import Remedies

# What a ruling's figures are.
SHOWN_AS = {"time": "s", "pressure": "Pa gauge", "speed": "m/s", "number": "1"}


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
    fillings: tuple[FillingJson, ...]
    """Lines that fill; each has a verdict of its own, which that of the case counts."""


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
    fillings: Iterable[str] = (),
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
    fillings : iterable of str
        A sentence for each.
    """
    scenarios = {s.name: s for s in assessment.lineup.scenarios}
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
            scenario_json(run, scenarios[run.name], histories=histories) for run in assessment.scenarios
        ),
        stages_left_out=tuple(
            LeftOutJson(scenario=s.name, stage=stage, reason=reason)
            for s in assessment.lineup.scenarios
            for stage, reason in s.not_at
        ),
        fillings=tuple(
            filling_json(one, words, histories=histories)
            for one, words in zip(assessment.fillings, fillings, strict=True)
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

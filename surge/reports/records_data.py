"""The answer on stroke-test records as a document, and as a table of findings for a spreadsheet (CSV)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from datetime import date
from typing import Any

from surge.records.stroke_tests import StrokeTest
from surge.records.text import RowFault
from surge.reports import records_json as j
from surge.reports.document import CaseId, Made, Program, asked, finite
from surge.reports.history import YEAR_DAYS
from surge.reports.measured_json import CurveRefused
from surge.reports.records import RECORDS_CAUTIONS, JudgedRecords, first_sentence, gaps, rows_of
from surge.reports.records_words import reasons
from surge.reports.spreadsheet import Cell, table
from surge.valves.findings import ValveFinding
from surge.valves.history_types import ValveHistory
from surge.valves.judge import SideState, Tried

COLUMNS = (
    *("rank", "valve", "direction", "state", "verdict", "side", "time_s", "counts", "limit_s", "margin_s"),
    *("limit_source", "last_test", "tests", "spread_s", "baseline_s", "change_percent", "drift_s_per_year"),
    *("limit_met_on", "limit_met_earliest", "due", "overdue_days", "why", "made_by"),
)
Json = dict[str, Any]


def records_document(answer: JudgedRecords, head: Json) -> j.RecordsDocument:
    """Return the answer as a document.

    Parameters
    ----------
    answer : JudgedRecords
    head : dict
        Which program and files: "program" with "version"; "records", "limits" and "case", each with "file"
        and "sha256", or None where there is none.
    """
    findings, records = answer.findings, answer.records
    tried: dict[int, list[Tried]] = {}
    for one in findings.judgement.tried:
        tried.setdefault(one.test.row, []).append(one)
    return j.RecordsDocument(
        program=Program(version=head["program"]["version"]),
        records=j.FileId(**head["records"]),
        limits=_file(head["limits"]),
        case=_case(head["case"]),
        day_of_look=findings.ground.today.isoformat(),
        verdict=findings.verdict,
        exit_code=findings.exit_code,
        sentence=first_sentence(findings),
        rows=rows_of(answer),
        shown_because=Counter(findings.judgement.shown.values()),
        valves=tuple(_valve(v, answer) for v in findings.valves),
        tests=Made(lambda t: _test(t, tried.get(t.row, []), findings.judgement.shown), records.tests),
        refused=row_faults(records.faults),
        notes=(*answer.sources, *records.notes, *gaps(findings)),
        cautions=RECORDS_CAUTIONS,
    )


def fault_document(faults: Sequence[RowFault], head: Json) -> j.RecordsRefused | CurveRefused:
    """Return the document where nothing of a file could be read.

    Parameters
    ----------
    faults : sequence of RowFault
    head : dict
        As for :func:`records_document`; or "program" with "version" and "curve" with "file".
    """
    program, refused = Program(version=head["program"]["version"]), row_faults(faults)
    if "curve" in head:
        return CurveRefused(program=program, curve=asked(**_named(head["curve"])), refused=refused)
    return j.RecordsRefused(
        program=program,
        records=asked(**_named(head["records"])),
        limits=_file(head["limits"]),
        case=_case(head["case"]),
        refused=refused,
    )


def _named(known: Json) -> Json:
    return {"filename": known["file"], "sha256": known["sha256"]}


def _file(known: Json | None) -> j.FileId | None:
    return j.FileId(**known) if known else None


def _case(known: Json | None) -> CaseId | None:
    return CaseId(**known) if known else None


def row_faults(faults: Sequence[RowFault]) -> Sequence[j.RowFaultJson]:
    """Return faults of rows as they stand in a document."""
    return Made(_fault, faults)


def _fault(f: RowFault) -> j.RowFaultJson:
    return j.RowFaultJson(row=f.row, column=f.column, found=f.found, expected=f.expected, remedy=f.remedy)


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _valve(v: ValveFinding, answer: JudgedRecords) -> j.ValveFindingJson:
    return j.ValveFindingJson(
        tag=v.tag,
        direction=v.direction.value,
        verdict=v.verdict,
        states=v.history.states,
        why=tuple(reasons(v, answer.findings)),
        sides=tuple(_side(s) for s in v.sides),
        history=_history(v.history),
    )


def _side(s: SideState) -> j.SideStateJson:
    got = s.decided
    bound = got.bound if got else None
    return j.SideStateJson(
        side=s.side.value,
        verdict=s.verdict,
        reason=s.reason,
        limit=j.BoundJson(time_s=finite(bound.value), counts=bound.timed.value, source=bound.source)
        if bound
        else None,
        time_s=finite(got.time) if got else None,
        margin_s=finite(got.margin) if got else None,
        row=got.test.row if got else None,
        day=got.test.when.date().isoformat() if got else None,
        tests=s.repeats,
        spread_s=s.spread,
        overdue=s.overdue,
    )


def _history(h: ValveHistory) -> j.ValveHistoryJson:
    trend, sisters = h.trend, h.sisters
    return j.ValveHistoryJson(
        group=h.group,
        tests=len(h.tests),
        tests_in_trend=len(h.counted),
        baseline_s=h.baseline.time if h.baseline else None,
        baseline_day=_day(h.baseline.day) if h.baseline else None,
        last_s=h.last,
        change=h.change,
        slope_s_per_day=trend.slope if trend else None,
        slope_low_s_per_day=trend.low if trend else None,
        slope_high_s_per_day=trend.high if trend else None,
        trend_reason=trend.reason if trend else "no test that counts",
        scatter=h.scatter,
        repeatability=h.repeatability,
        sisters=j.SistersJson(count=sisters.count, median_s=sisters.median, ratio=sisters.ratio)
        if sisters
        else None,
        limits_met=tuple(
            j.LimitMetJson(
                side=x.bound.side.value,
                limit_s=finite(x.time),
                source=x.bound.source,
                expected=_day(x.expected),
                earliest=_day(x.earliest),
            )
            for x in h.limits
        ),
        due=_day(h.due),
        overdue_days=h.overdue,
    )


def _test(t: StrokeTest, tried: Iterable[Tried], shown: Collection[int]) -> j.StrokeTestJson:
    mine = [x for x in tried if x.test is t or x.test == t]
    return j.StrokeTestJson(
        row=t.row,
        tag=t.tag,
        direction=t.direction.value,
        when=t.when.isoformat(),
        time_s=t.time,
        timed=t.timed.value if t.timed else None,
        delay_s=t.delay,
        temperature_k=t.temperature,
        hydraulic_pressure_pa_gauge=t.hydraulic_pressure,
        together=t.together,
        flowing=t.flowing,
        by=t.by,
        remark=t.remark,
        row_counts=t.row not in shown,
        sides=tuple(
            j.TriedJson(side=x.side.value, verdict=x.verdict, margin_s=finite(x.margin), doubts=x.doubts)
            for x in mine
        ),
    )


def findings_csv(answer: JudgedRecords, signature: str) -> str:
    """Return the findings as a table for a spreadsheet, the worst first: figures stay figures, texts texts.

    Parameters
    ----------
    answer : JudgedRecords
    signature : str
        By which program and from which files it was made: the last cell of every row.
    """
    cells = (_cells(rank, v, answer) for rank, v in enumerate(answer.findings.valves, start=1))
    rows = ([round(c, 6) if isinstance(c, float) else c for c in (*row, signature)] for row in cells)
    return table([COLUMNS, *rows])


def _cells(rank: int, v: ValveFinding, answer: JudgedRecords) -> list[Cell]:
    h, side = v.history, v.worst
    got = side.decided if side else None
    slope = h.trend.slope if h.trend else None
    met = [x.expected for x in h.limits if x.expected]
    early = [x.earliest for x in h.limits if x.earliest]
    return [
        *(rank, v.tag, v.direction.value, v.state, v.verdict, side.side.value if side else ""),
        *(got.time if got else None, got.bound.timed.value if got else "", got.bound.value if got else None),
        *(got.margin if got else None, got.bound.source if got else ""),
        *(_day(max((p.day for p in h.tests), default=None)) or "", len(h.tests)),
        *(side.spread if side else None, h.baseline.time if h.baseline else None),
        *(100 * h.change if h.change is not None else None, slope * YEAR_DAYS if slope is not None else None),
        *(_day(min(met, default=None)) or "", _day(min(early, default=None)) or ""),
        *(_day(h.due) or "", h.overdue, "; ".join(reasons(v, answer.findings))),
    ]

"""The answer on stroke-test records as one JSON document, and as a CSV of findings."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Any

from surge.records.stroke_tests import Bound, StrokeTest
from surge.records.text import RowFault
from surge.reports.records import RECORDS_CAUTIONS, Answer, first_sentence, gaps, reasons, rows_of
from surge.valves.findings import ValveFinding
from surge.valves.history_types import ValveHistory
from surge.valves.judge import SideState, Tried

SCHEMA_VERSION = 1
EXECUTED = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # at the start of a cell
COLUMNS = (
    *("rank", "valve", "direction", "state", "verdict", "side", "time_s", "counts", "limit_s", "margin_s"),
    *("limit_source", "last_test", "tests", "spread_s", "baseline_s", "change_percent", "drift_s_per_year"),
    *("limit_met_on", "limit_met_earliest", "due", "overdue_days", "why", "made_by"),
)
Json = dict[str, Any]


def records_document(answer: Answer, head: Json) -> Json:
    """Return the answer as plain lists and dicts; ``head`` says which program and files."""
    findings, records = answer.findings, answer.records
    tried: dict[int, list[Tried]] = {}
    for one in findings.judgement.tried:
        tried.setdefault(one.test.row, []).append(one)
    return {
        "schema_version": SCHEMA_VERSION,
        **head,
        "day_of_look": findings.ground.today.isoformat(),
        "verdict": findings.verdict,
        "exit_code": findings.exit_code,
        "sentence": first_sentence(findings),
        "rows": rows_of(answer),
        "shown_because": dict(Counter(findings.judgement.shown.values())),
        "valves": [_valve(v, answer) for v in findings.valves],
        "tests": [_test(t, tried.get(t.row, []), findings.judgement.shown) for t in records.tests],
        "refused": [_fault(f) for f in records.faults],
        "notes": [*answer.sources, *records.notes, *gaps(findings)],
        "cautions": list(RECORDS_CAUTIONS),
    }


def fault_document(faults: Iterable[RowFault], head: Json) -> Json:
    """Return the answer on a file of which nothing could be read."""
    return {
        "schema_version": SCHEMA_VERSION,
        **head,
        "verdict": "refused",
        "exit_code": 2,
        "refused": [_fault(f) for f in faults],
    }


def _fault(fault: RowFault) -> Json:
    words = {"found": fault.found, "expected": fault.expected, "remedy": fault.remedy}
    return {"row": fault.row, "column": fault.column, **words}


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _valve(v: ValveFinding, answer: Answer) -> Json:
    return {
        "tag": v.tag,
        "direction": v.direction.value,
        "verdict": v.verdict,
        "states": list(v.history.states),
        "why": reasons(v, answer.findings),
        "sides": [_side(s) for s in v.sides],
        "history": _history(v.history),
    }


def _bound(bound: Bound) -> Json:
    return {"time_s": _finite(bound.value), "counts": bound.timed.value, "source": bound.source}


def _side(s: SideState) -> Json:
    got = s.decided
    return {
        "side": s.side.value,
        "verdict": s.verdict,
        "reason": s.reason,
        "limit": _bound(got.bound) if got else None,
        "time_s": _finite(got.time) if got else None,
        "margin_s": _finite(got.margin) if got else None,
        "row": got.test.row if got else None,
        "day": got.test.when.date().isoformat() if got else None,
        "tests": s.repeats,
        "spread_s": s.spread,
        "overdue": s.overdue,
    }


def _history(h: ValveHistory) -> Json:
    trend = h.trend
    return {
        "group": h.group,
        "tests": len(h.points),
        "tests_in_trend": len(h.counted),
        "baseline_s": h.baseline.time if h.baseline else None,
        "baseline_day": _day(h.baseline.day) if h.baseline else None,
        "last_s": h.last,
        "change": h.change,
        "slope_s_per_day": trend.slope if trend else None,
        "slope_low_s_per_day": trend.low if trend else None,
        "slope_high_s_per_day": trend.high if trend else None,
        "trend_reason": trend.reason if trend else "no test that counts",
        "scatter": h.scatter,
        "repeatability": h.repeatability,
        "sisters": None
        if h.sisters is None
        else {"count": h.sisters.count, "median_s": h.sisters.median, "ratio": h.sisters.ratio},
        "limits_met": [
            {
                "side": x.bound.side.value,
                "limit_s": _finite(x.time),
                "source": x.bound.source,
                "expected": _day(x.expected),
                "earliest": _day(x.earliest),
            }
            for x in h.held
        ],
        "due": _day(h.due),
        "overdue_days": h.overdue,
    }


def _test(t: StrokeTest, tried: Iterable[Tried], shown: Any) -> Json:
    mine = [x for x in tried if x.test is t or x.test == t]
    return {
        "row": t.row,
        "tag": t.tag,
        "direction": t.direction.value,
        "when": t.when.isoformat(),
        "time_s": t.time,
        "timed": t.timed.value if t.timed else None,
        "delay_s": t.delay,
        "temperature_k": t.temperature,
        "hydraulic_pressure_pa_gauge": t.hydraulic_pressure,
        "together": t.together,
        "flowing": t.flowing,
        "by": t.by,
        "remark": t.remark,
        "row_counts": t.row not in shown,
        "sides": [
            {
                "side": x.side.value,
                "verdict": x.verdict,
                "margin_s": _finite(x.margin),
                "doubts": list(x.doubts),
            }
            for x in mine
        ],
    }


def safe(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe goes before it where one would."""
    return f"'{text}" if text.startswith(EXECUTED) or text.lstrip().startswith(EXECUTED) else text


def findings_csv(answer: Answer, signature: str) -> str:
    """The findings, the worst first, as a table for a spreadsheet: figures stay figures, texts stay texts.

    Every row says by which program and from which files it was made.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for rank, v in enumerate(answer.findings.valves, start=1):
        cells = _cells(rank, v, answer)
        writer.writerow([safe(c) if isinstance(c, str) else _number(c) for c in (*cells, signature)])
    return out.getvalue()


def _number(value: float | None) -> float | str:
    return "" if value is None or not math.isfinite(value) else round(value, 6)


def _cells(rank: int, v: ValveFinding, answer: Answer) -> list[str | float | None]:
    h, side = v.history, v.worst
    got = side.decided if side else None
    slope = h.trend.slope if h.trend else None
    met = [x.expected for x in h.held if x.expected]
    early = [x.earliest for x in h.held if x.earliest]
    return [
        *(rank, v.tag, v.direction.value, v.state, v.verdict, side.side.value if side else ""),
        *(got.time if got else None, got.bound.timed.value if got else "", got.bound.value if got else None),
        *(got.margin if got else None, got.bound.source if got else ""),
        *(_day(max((p.day for p in h.points), default=None)) or "", len(h.points)),
        *(side.spread if side else None, h.baseline.time if h.baseline else None),
        *(100 * h.change if h.change is not None else None, slope * 365.25 if slope is not None else None),
        *(_day(min(met, default=None)) or "", _day(min(early, default=None)) or ""),
        *(_day(h.due) or "", h.overdue, "; ".join(reasons(v, answer.findings))),
    ]

"""The answer on stroke-test records in words: which valve to adjust first and why, then the table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from surge.phrases import capital, counted
from surge.records.read import Records
from surge.records.stroke_tests import Direction, Side
from surge.records.text import RowFault
from surge.reports.history import YEAR_DAYS, meaning, trend_words
from surge.reports.layout import paragraph, table
from surge.reports.records_json import RowCounts
from surge.reports.records_words import reasons, seconds, side_words, would_decide
from surge.reports.words import HEADLINE, SHORT
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.units import printable, quoted
from surge.valves.findings import Findings, ValveFinding
from surge.valves.history_types import NEAR, SCATTERED, WATCH
from surge.valves.judge import NEVER, SideState

MOST_FAULTS = 12  # groups of faults in the text; all of them are in JSON
MOST_ROWS = 8  # numbers of rows in a group
WIDEST = 120  # columns of the table
RULE = (
    "A valve is judged by the tests that count of the last day on which any counts: surge by the fastest, "
    "the shutdown by the slowest of them; a time that equals its limit keeps it. Older tests are its history."
)
RECORDS_CAUTIONS = (
    "Records tell what the valves did when they were tested, not what they will do. This is no permit: local "
    "codes, the procedures of ship and terminal, the ship's manual and qualified persons decide.",
    "A valve that was adjusted counts only when it has been timed again, alone and together with the others "
    "that move with it, at normal oil temperature; on the day of the adjustment itself with the time of day "
    'and "new baseline" as a remark.',
    "Until a valve that is too fast is put right, the person in charge of loading is told and the rate is "
    "lowered; one that is too slow needs more ullage or a lower rate as well (common practice, no source).",
)
ADJUST = {
    Side.FASTEST: "Slow it down at its speed control, time it again three times, tell the person in charge "
    "of loading, and load at a lower rate until then (common practice, no source).",
    Side.SLOWEST: "Find the cause, set its speed, time it again three times, tell the person in charge of "
    "loading, and keep more ullage or a lower rate until then (common practice, no source).",
}


def first_sentence(findings: Findings) -> str:
    """Return which valve to adjust first and why, in plain sentences."""
    if not findings.valves:
        return "There is no test that could be judged."
    if not findings.limited:
        return (
            "No limits are given, so nothing could be judged: add --limits with a limits file, --case with a "
            f"case, or both. {_own_past(findings.valves[0], findings)}"
        )
    first = findings.valves[0]
    name = f'"{printable(first.tag)}", {first.direction.value}'
    worst = first.worst
    if first.verdict == EXCEEDED and worst is not None:
        more = _and_why(first, findings)
        return f"Adjust first: {name}. It took {side_words(worst)}.{more} {ADJUST[worst.side]}"
    told = "; ".join(reasons(first, findings))
    none = f"No valve is {'' if findings.verdict == WITHIN else 'shown to be '}outside its limits."
    if first.state in (NEAR, WATCH):
        return f"{none} Look first at {name}: {told}."
    if first.verdict == UNDECIDED:
        return f"{none} Look first at {name}: {told}.{_next(first)}"
    kept = "Every limit is kept." if not findings.refused else _kept_but(findings.refused)
    if worst is None:
        return f"{kept} {_own_past(first, findings)}"
    return f"{kept} Nearest is {name}: it took {side_words(worst)}."


def _kept_but(refused: int) -> str:
    rows = f"{refused} row{'s were' if refused > 1 else ' was'} refused and may hold other tests"
    return f"Every limit is kept by the rows that could be read, but {rows}: put them right first."


def _own_past(first: ValveFinding, findings: Findings) -> str:
    return f'By its own past, look first at "{printable(first.tag)}", {first.direction.value}: ' + (
        "; ".join(reasons(first, findings)) + "."
    )


def _and_why(first: ValveFinding, findings: Findings) -> str:
    """Return the trend behind a valve that is outside, and what it commonly means."""
    said = []
    if (trend := first.history.trend) is not None and trend.slope is not None and trend.sure:
        said.append(f"It drifts: {trend_words(first.history)}.")
    if means := meaning(first.history):
        said.append(f"{capital(means)}.")
    others = len(findings.those(EXCEEDED)) - 1
    if others:
        said.append("One more is outside." if others == 1 else f"{others} more are outside.")
    return " " + " ".join(said) if said else ""


def _next(first: ValveFinding) -> str:
    """Return what to do about a valve that cannot be decided."""
    if first.worst is None or first.worst.reason == NEVER:
        return " Time it at normal temperature, alone and together with the others, three times."
    if first.state == SCATTERED:
        return " Find out why it is not steady; until then no time of it can be relied on."
    told = dict.fromkeys(a for s in first.sides if s.verdict == UNDECIDED and (a := would_decide(s)))
    return "".join(f" {a}." for a in told)


@dataclass(frozen=True, kw_only=True)
class JudgedRecords:
    """Everything that the answer is made from.

    Attributes
    ----------
    records : Records
    findings : Findings
    sources : tuple of str
        Where limits come from, in words.
    """

    records: Records
    findings: Findings
    sources: tuple[str, ...]


def rows_of(answer: JudgedRecords) -> RowCounts:
    """Return how many rows stand below the header, and what became of them."""
    records, judgement = answer.records, answer.findings.judgement
    return RowCounts(
        rows=records.rows,
        judged=len(judgement.judged),
        shown=len(judgement.shown),
        refused=len(records.refused),
        blank=records.blank,
    )


def records_lines(answer: JudgedRecords) -> list[str]:
    """Return the whole answer in lines: every valve, what became of every row, how the file was understood.

    Parameters
    ----------
    answer : JudgedRecords
    """
    findings, records = answer.findings, answer.records
    verdict = f"VERDICT: {headline(findings)}"
    out = [paragraph(title_of(answer)), "", verdict, ""]
    out += [paragraph(first_sentence(findings), indent="    "), ""]
    if findings.valves:
        out += [*_table(findings.valves, findings), ""]
    out += open_lines(findings)
    out += _rows(answer)
    out += _faults(records.faults)
    out += ["How the answer was made"]
    for note in (*answer.sources, *records.notes, *gaps(findings), RULE):
        out.append(paragraph(printable(note), indent="  ", first="- "))
    out += ["", "Cautions"]
    return out + [paragraph(c, indent="  ", first="- ") for c in RECORDS_CAUTIONS]


def gaps(findings: Findings) -> list[str]:
    """Return what was not looked at, since no temperature or limit is stated to hold it against."""
    limited = [v for v in findings.valves if v.sides]
    said = []
    if tags := _tags(v for v in limited if v.limits.normal is None):
        said.append(f"No normal temperature is stated for {tags}: temperatures were not looked at.")
    for side, words in ((Side.FASTEST, "fastest"), (Side.SLOWEST, "slowest")):
        lacking = [v for v in limited if all(s.side is not side for s in v.sides)]
        for way in Direction:
            if tags := _tags(v for v in lacking if v.direction is way):
                what = "surge" if side is Side.FASTEST else "the shutdown"
                said.append(
                    f"No {words} {way.value} time is stated for {tags}: nothing was judged for {what}."
                )
    return said


def _tags(valves: Iterable[ValveFinding]) -> str:
    """Return tags in a row, not all of them if there are many."""
    tags = sorted({printable(v.tag) for v in valves})
    return ", ".join(tags[:6]) + (f" and {len(tags) - 6} more" if len(tags) > 6 else "")


def title_of(answer: JudgedRecords) -> str:
    """Return in a line what was looked at: how many valves and tests, of which days."""
    tests = answer.records.tests
    valves = len({v.tag for v in answer.findings.valves})
    when = [t.when.date() for t in tests]
    span = f" from {min(when)} to {max(when)}" if when else ""
    return (
        f"Stroke-time records of {counted(valves, 'valve')}, {counted(len(tests), 'test')}{span}, "
        f"assessed on {answer.findings.ground.today}"
    )


def headline(findings: Findings) -> str:
    """Return the verdict in words, and of how many valves and rows it is."""
    over, open_ = ({v.tag for v in findings.those(verdict)} for verdict in (EXCEEDED, UNDECIDED))
    parts = [(over, "outside"), (open_ - over, "undecided")]
    told = ", ".join(f"{counted(len(tags), 'valve')} {word}" for tags, word in parts if tags)
    if findings.refused:
        told += f"{', ' if told else ''}{counted(findings.refused, 'row')} refused"
    return HEADLINE[findings.verdict] + (f" ({told})" if told else "")


def _table(shown: Iterable[ValveFinding], findings: Findings) -> list[str]:
    head = ("valve", "way", "state", "limits", "time s", "limit s", "margin s", "last", "s/year", "why")
    rows = []
    for v in shown:
        got = v.worst.decided if v.worst else None
        slow = v.worst is not None and v.worst.side is Side.SLOWEST
        trend = v.history.trend
        known = trend is not None and trend.slope is not None
        last = max((p.day for p in v.history.tests), default=None)
        rows.append(
            (
                printable(v.tag),
                "close" if v.direction is Direction.CLOSING else "open",
                v.state,
                SHORT.get(v.verdict, "none"),
                seconds(got.time, up=slow) if got else "-",
                seconds(got.bound.value) if got else "-",
                seconds(got.margin, up=False) if got else "-",
                str(last or "-"),
                f"{(trend.slope or 0.0) * YEAR_DAYS:+.1f}" if known and trend else "-",
                printable("; ".join(reasons(v, findings))),
            )
        )
    return table(head, rows, left=4, widest=WIDEST)


def _rows(answer: JudgedRecords) -> list[str]:
    n = rows_of(answer)
    text = (
        f"Rows: {n.rows} = {n.judged} judged + {n.shown} shown without counting as proof + "
        f"{n.refused} refused + {n.blank} blank."
    )
    out = [paragraph(text)]
    for reason, count in Counter(answer.findings.judgement.shown.values()).most_common():
        out.append(paragraph(f"no proof, {count}: {reason}", indent="    ", first="  "))
    return [*out, ""]


def grouped(faults: Iterable[RowFault]) -> list[tuple[RowFault, list[int]]]:
    """Return faults that say the same of one column, with their rows, in the order of the first ones."""
    groups: dict[tuple[str, ...], tuple[RowFault, list[int]]] = {}
    for fault in faults:
        key = (fault.column, fault.expected, fault.remedy)
        groups.setdefault(key, (fault, []))[1].append(fault.row)
    return list(groups.values())


def fault_lines(fault: RowFault, rows: Sequence[int]) -> list[str]:
    """Return one fault in lines, or several that are alike: ``rows`` are theirs, 0 for the file."""
    numbers = ", ".join(str(r) for r in rows[:MOST_ROWS])
    more = f" and {len(rows) - MOST_ROWS} more" if len(rows) > MOST_ROWS else ""
    where = f"row{'s' if len(rows) > 1 else ''} {numbers}{more}" if rows[0] else "the file"
    column = f", column {quoted(fault.column)}" if fault.column else ""
    found = f"found {printable(fault.found)}" + (" (the first of them)" if len(rows) > 1 else "")
    text = f"{where}{column}: {found}; expected {fault.expected}; remedy: {fault.remedy}"
    return [paragraph(text, indent="      ", first="  ")]


def _faults(faults: Sequence[RowFault]) -> list[str]:
    if not faults:
        return []
    groups = grouped(faults)
    out = ["Refused rows"]
    for fault, rows in groups[:MOST_FAULTS]:
        out += fault_lines(fault, rows)
    if len(groups) > MOST_FAULTS:
        out.append(f"  and {len(groups) - MOST_FAULTS} more kinds of fault: --json lists them all")
    return [*out, ""]


def open_lines(findings: Findings) -> list[str]:
    """Return what would decide the limits that are open, what decides most of them first."""
    said = deciding(findings)
    if not said:
        return []
    n = sum(s.verdict == UNDECIDED for v in findings.valves for s in v.sides)
    out = [f"What would decide {'the limit' if n == 1 else f'the {n} limits'} left open"]
    return [*out, *(paragraph(text, indent="      ", first="  ") for text in said), ""]


def deciding(findings: Findings) -> list[str]:
    """Return what would decide the limits that are open in sentences, what decides most of them first."""
    wanted: dict[str, list[SideState]] = {}
    for side in (s for v in findings.valves for s in v.sides if s.verdict == UNDECIDED):
        if action := would_decide(side):
            wanted.setdefault(action, []).append(side)
    said = []
    for action, open_ in sorted(wanted.items(), key=lambda pair: -len(pair[1])):
        tags = list(dict.fromkeys(printable(s.tag) for s in open_))
        named = ", ".join(tags[:6]) + (f" and {len(tags) - 6} more" if len(tags) > 6 else "")
        said.append(f"{len(open_)} ({named}): {action}.")
    return said

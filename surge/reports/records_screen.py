"""The first screen of ``surge records``: which valve to adjust first and why, on at most 30 lines.

Decisions
---------
* Valves for which there is something to do have a row, the most urgent first; those with the same state for
  the same reason share one. The others are counted.
* What is refused, and what no limit was held against, always stands here, or is counted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from surge.records.stroke_tests import Direction, Side
from surge.records.text import RowFault
from surge.reports.history import in_short
from surge.reports.layout import LINE, Row, table_parts
from surge.reports.records import (
    JudgedRecords,
    deciding,
    first_sentence,
    gaps,
    grouped,
    headline,
    rows_of,
    title_of,
)
from surge.reports.records_words import seconds
from surge.reports.room import NOTHING, PERMIT, Part, bullets, on_a_screen, wrapped
from surge.reports.words import SHORT
from surge.rules.findings import UNDECIDED, WITHIN
from surge.units import printable, quoted
from surge.valves.findings import NOT_JUDGED, Findings, ValveFinding
from surge.valves.history_types import IN_ORDER, NO_LIMIT

MORE = "More: --details (every valve, its past, how the file was read), --json, --output."
PAST = "Records tell what valves did when they were tested, not what they will do."
CALM = (IN_ORDER, NO_LIMIT)
NAMED = 2  # valves in a row, before the others are counted
ROWS = 4  # numbers of refused rows in a sentence
# Items that stay of valves, what would decide, refused rows and what was not looked at.
FLOORS = ((6, 2, 2, 2), (6, 1, 1, 1), (4, 1, 1, 0), (4, 0, 0, 0), (2, 0, 0, 0), (1, 0, 0, 0))


def records_screen(answer: JudgedRecords, signature: str) -> list[str]:
    """Return the answer in lines, on one screen.

    Parameters
    ----------
    answer : JudgedRecords
    signature : str
        Program and files with their hashes, in a line.
    """
    findings = answer.findings
    verdict = wrapped(f"VERDICT: {headline(findings)}")
    top = [*wrapped(title_of(answer)), "", *verdict, *wrapped(first_sentence(findings))]
    parts = [_valves(findings), _deciding(findings), _refused(answer.records.faults), _gaps(findings)]
    foot = [*wrapped(MORE), signature, *verdict]
    ends = [
        ["", *(line for text in (_counted(answer), *said) for line in wrapped(text)), *foot]
        for said in ((PERMIT, PAST), (PERMIT,))
    ]
    return on_a_screen(top, parts, ends, floors=FLOORS)


def calm(finding: ValveFinding) -> bool:
    """Whether there is nothing to do about a valve."""
    return finding.state in CALM and finding.verdict in (WITHIN, NOT_JUDGED)


def _valves(findings: Findings) -> Part:
    """A row for each valve for which there is something to do, or several with the same thing to do."""
    groups: dict[Row, list[str]] = {}
    for one in (v for v in findings.valves if not calm(v)):
        groups.setdefault(_said(one, findings), []).append(printable(one.tag))
    if not groups:
        return NOTHING
    title = ("valve", "way", "state", "limits", "time s", "limit s", "margin s", "why")
    listed = [(_together(tags), *said) for said, tags in groups.items()]
    before, rows = table_parts(title, listed, left=4, widest=LINE)
    many = [len(tags) for tags in groups.values()]

    def rest(left: int) -> str:
        return f"... and {sum(many[len(many) - left :])} valves more, less urgent (--details)"

    return Part(["", *before], rows, rest)


def _together(tags: Sequence[str]) -> str:
    left = len(tags) - NAMED
    return ", ".join(tags[:NAMED]) + (f" and {left} more" if left > 0 else "")


def _said(one: ValveFinding, findings: Findings) -> Row:
    """All of a row but the valve's tag."""
    got = one.worst.decided if one.worst else None
    slow = one.worst is not None and one.worst.side is Side.SLOWEST
    return (
        "close" if one.direction is Direction.CLOSING else "open",
        one.state,
        SHORT.get(one.verdict, "none"),
        seconds(got.time, up=slow) if got else "-",
        seconds(got.bound.value) if got else "-",
        seconds(got.margin, up=False) if got else "-",
        printable(_why(one, findings)),
    )


def _why(one: ValveFinding, findings: Findings) -> str:
    if one.verdict == UNDECIDED:
        reason = next(s.reason for s in one.sides if s.verdict == UNDECIDED)
        return reason.split(": ")[0]  # what comes after says what to do, and stands below
    return in_short(one.history, findings.ground)


def _counted(answer: JudgedRecords) -> str:
    """For how many valves there is nothing to do, and what became of every row."""
    n = rows_of(answer)
    quiet = Counter((v.verdict, v.direction) for v in answer.findings.valves if calm(v))
    words = {WITHIN: "with every limit kept", NOT_JUDGED: "without a limit"}
    said = [
        f"{many} {way.value} {words[verdict]}"
        for (verdict, way), many in sorted(quiet.items(), key=lambda pair: str(pair[0]))
    ]
    told = f"Nothing to do: {', '.join(said)}. " if said else ""
    return (
        f"{told}Rows: {n.rows} = {n.judged} judged + {n.shown} shown without counting as proof + "
        f"{n.refused} refused + {n.blank} blank."
    )


def _deciding(findings: Findings) -> Part:
    return bullets(["What would decide the limits left open"], deciding(findings))


def _refused(faults: Iterable[RowFault]) -> Part:
    """Refused rows, those with the same fault together."""
    return bullets(["Refused rows"], [_fault(fault, rows) for fault, rows in grouped(faults)])


def _fault(fault: RowFault, rows: Sequence[int]) -> str:
    left = len(rows) - ROWS
    numbers = ", ".join(map(str, rows[:ROWS])) + (f" and {left} more" if left > 0 else "")
    where = f"row{'s' if len(rows) > 1 else ''} {numbers}" if rows[0] else "the file"
    column = f", {quoted(fault.column)}" if fault.column else ""
    return f"{where}{column}: found {printable(fault.found)}; {fault.remedy}."


def _gaps(findings: Findings) -> Part:
    return bullets(["Not looked at"], gaps(findings))

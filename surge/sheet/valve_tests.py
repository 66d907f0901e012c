"""Stroke-time records on the sheet: what the tests say of the valves that close in the case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surge.records.stroke_tests import NO_STROKE_IS_SAFE, Direction, Side
from surge.reports.records_words import reasons, seconds
from surge.reports.words import SHORT
from surge.rules.findings import UNDECIDED, WITHIN, worst_of
from surge.valves.findings import NOT_JUDGED, Findings, ValveFinding

NONE = "-"
IN_ORDER = "in order"  # what the records say where there is nothing to say
NO_RECORDS = (
    "No records given: whether the valves close in these times is not shown here. Hold the last tests "
    "against them before signing."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TestRow:
    """What the stroke-time records say of one valve.

    Attributes
    ----------
    valve, tag : str
        Its name in the case, and its tag in the records.
    verdict : str
        "kept", "EXCEEDED", "undecided".
    tested : str
        Day of the tests that decide; "-" where none does.
    fastest, slowest : str
        The times that are held against surge and against the shutdown, as printed; "-" where none is.
    not_faster, not_slower : str
        What they are held against.
    words : str
        Why it is not plainly kept, or what the valve's own past says.
    """

    __test__ = False  # not one of pytest's

    valve: str
    tag: str
    verdict: str
    tested: str
    fastest: str
    fastest_s: float | None
    not_faster: str
    not_faster_s: float | None
    slowest: str
    slowest_s: float | None
    not_slower: str
    not_slower_s: float | None
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tests:
    """Status of the stroke-time tests; where no records were given, ``words`` say so.

    Attributes
    ----------
    file, sha256, limits_file, limits_sha256 : str
        Files that it comes from; "" where there is none.
    verdict : str
        Of the valves of the case, and undecided where rows of the file were refused.
    rows : tuple of TestRow
        One for each tag that stands for a valve that closes in the case, the worst first.
    """

    __test__ = False  # not one of pytest's

    given: bool = False
    words: str = NO_RECORDS
    file: str = ""
    sha256: str = ""
    limits_file: str = ""
    limits_sha256: str = ""
    verdict: str = WITHIN
    rows: tuple[TestRow, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """Names and hashes of the records and of the file of limits."""

    records: str
    records_sha256: str
    limits: str = ""
    limits_sha256: str = ""


def tests_of(
    findings: Findings, *, closing: list[str], valve_of: Mapping[str, str], refused: int, files: Files
) -> Tests:
    """Return the status of the tests of a case's valves.

    Parameters
    ----------
    findings : Findings
        Of the whole file, held against the windows of the case.
    closing : list of str
        Valves that close in the case.
    valve_of : mapping of str to str
        Tag -> valve of the case.
    refused : int
        Rows that could not be read: the latest test of a valve may be among them.
    files : Files
    """
    own = [
        f
        for f in findings.valves
        if f.direction is Direction.CLOSING and valve_of.get(f.tag) in closing and f.verdict != NOT_JUDGED
    ]
    rows = tuple(_row(f, findings, valve_of[f.tag]) for f in own)
    without = [v for v in closing if v not in {row.valve for row in rows}]
    words = [f"Records assessed on {findings.ground.today}, closing."]
    if without:
        names = ", ".join(f'"{v}"' for v in without)
        words.append(f"Not judged by these records: {names}; hold their last tests against this sheet.")
    if refused:
        words.append(
            f"{refused} rows of the file could not be read: the latest test of a valve may be there."
        )
    others = len({f.tag for f in findings.valves} - {row.tag for row in rows})
    if others:
        words.append(f"{others} other valves of the file are not part of this line-up.")
    return Tests(
        given=True,
        words=" ".join(words),
        file=files.records,
        sha256=files.records_sha256,
        limits_file=files.limits,
        limits_sha256=files.limits_sha256,
        verdict=worst_of([*(f.verdict for f in own), *([UNDECIDED] if refused else [])]),
        rows=rows,
    )


def _row(finding: ValveFinding, findings: Findings, valve: str) -> TestRow:
    decided = {side.side: side.decided for side in finding.sides}
    fast, slow = decided.get(Side.FASTEST), decided.get(Side.SLOWEST)
    days = sorted(str(one.test.when.date()) for one in (fast, slow) if one is not None)
    told = reasons(finding, findings)
    return TestRow(
        valve=valve,
        tag=finding.tag,
        verdict=SHORT[finding.verdict],
        tested=days[0] if days else NONE,
        fastest=_seconds(fast.time if fast else None, up=False),
        fastest_s=_finite(fast.time if fast else None),
        not_faster=_seconds(fast.bound.value if fast else None),
        not_faster_s=_finite(fast.bound.value if fast else None),
        slowest=_seconds(slow.time if slow else None, up=True),
        slowest_s=_finite(slow.time if slow else None),
        not_slower=_seconds(slow.bound.value if slow else None),
        not_slower_s=_finite(slow.bound.value if slow else None),
        words="" if told == [IN_ORDER] else "; ".join(told),
    )


def _seconds(value: float | None, *, up: bool | None = None) -> str:
    """A time as printed; a fast one rounded down and a slow one up."""
    return NONE if _finite(value) is None or value is None else f"{seconds(value, up=up)} s"


def _finite(value: float | None) -> float | None:
    """A time, or None for one that stands for "no stroke is slow enough"."""
    return value if value is not None and 0.0 < value < NO_STROKE_IS_SAFE else None

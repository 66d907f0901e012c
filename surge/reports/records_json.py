"""``surge records --json`` as types: the answer, and the documents where nothing of a file could be read.

Times [s], temperatures [K], pressures [Pa gauge]; days are local.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from surge.records.stroke_tests import Direction, Side, Timed
from surge.reports.document import Asked, CaseId, Demand, ExitCode, JsonObject, Program, Sha256, Verdict
from surge.rules.findings import EXIT_CODE
from surge.valves.findings import NOT_JUDGED
from surge.valves.history_types import STATES

DirectionWord = Annotated[str, Demand(enum=[d.value for d in Direction])]
SideWord = Annotated[str, Demand(enum=[s.value for s in Side])]
TimedWord = Annotated[str, Demand(enum=[t.value for t in Timed])]
State = Annotated[str, Demand(enum=list(STATES))]
ValveVerdict = Annotated[str, Demand(enum=[*EXIT_CODE, NOT_JUDGED])]
Day = Annotated[str, Demand(pattern=r"^\d{4}-\d{2}-\d{2}$")]
Count = Annotated[int, Demand(minimum=0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileId(JsonObject):
    """A file that was read."""

    file: str
    sha256: Sha256


@dataclass(frozen=True, slots=True, kw_only=True)
class RowCounts(JsonObject):
    """Rows below the header, and what became of them: rows = judged + shown + refused + blank."""

    rows: Count
    judged: Count
    shown: Count
    refused: Count
    blank: Count


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundJson(JsonObject):
    """One limit of a stroke time."""

    time_s: float | None
    """Null: no stroke time is slow enough."""
    counts: TimedWord
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SideStateJson(JsonObject):
    """What the latest tests that count say of one limit."""

    side: SideWord
    verdict: Verdict
    reason: str
    """Why it cannot be decided; empty otherwise."""
    limit: BoundJson | None
    time_s: float | None
    """Of the deciding test, on what the limit counts."""
    margin_s: float | None
    """On the safe side of the limit; negative beyond it."""
    row: int | None
    day: Day | None
    tests: Count
    """Tests of that day that count."""
    spread_s: float | None
    overdue: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SistersJson(JsonObject):
    """Valves of the same kind, and how this one compares with their median."""

    count: Count
    median_s: float
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitMetJson(JsonObject):
    """When the trend meets a limit."""

    side: SideWord
    limit_s: float | None
    """Null: no stroke time is slow enough."""
    source: str
    expected: Day | None
    """Null: it leads away from the limit, or does not meet it within ten years."""
    earliest: Day | None
    """The same at the steepest slope of the band; null where there is no band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveHistoryJson(JsonObject):
    """All tests of one valve and direction together."""

    group: str
    """Sister valves; empty: none."""
    tests: Count
    tests_in_trend: Count
    baseline_s: float | None
    baseline_day: Day | None
    last_s: float | None
    change: float | None
    """Last over baseline, less 1; negative is faster."""
    slope_s_per_day: float | None
    slope_low_s_per_day: float | None
    slope_high_s_per_day: float | None
    trend_reason: str
    scatter: float | None
    """Robust standard deviation about the trend, over the baseline."""
    repeatability: float | None
    """Greatest range of the tests of one day, over their median."""
    sisters: SistersJson | None
    limits_met: tuple[LimitMetJson, ...]
    due: Day | None
    """Last day on which the latest test still holds."""
    overdue_days: Count


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveFindingJson(JsonObject):
    """What one valve comes to in one direction."""

    tag: str
    direction: DirectionWord
    verdict: ValveVerdict
    states: tuple[State, ...]
    """The most urgent first."""
    why: tuple[str, ...]
    sides: tuple[SideStateJson, ...]
    history: ValveHistoryJson


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedJson(JsonObject):
    """One test against one limit."""

    side: SideWord
    verdict: Verdict
    margin_s: float | None
    doubts: tuple[str, ...]
    """Why it proves nothing; empty if it does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeTestJson(JsonObject):
    """A valve timed once; null where the record says nothing."""

    row: int
    """As a spreadsheet counts, from 1."""
    tag: str
    direction: DirectionWord
    when: str
    """Local time."""
    time_s: float
    timed: TimedWord | None
    delay_s: float | None
    temperature_k: float | None
    hydraulic_pressure_pa_gauge: float | None
    together: bool | None
    flowing: bool | None
    by: str
    remark: str
    row_counts: bool
    """Its row decides something."""
    sides: tuple[TriedJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFaultJson(JsonObject):
    """One fault; a row may have several."""

    row: Count
    """As a spreadsheet counts, from 1; 0: the file."""
    column: str
    """Title of the column; empty: the row as a whole."""
    found: str
    expected: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsDocument(JsonObject):
    """The answer."""

    schema_version: Literal[1] = 1
    program: Program
    records: FileId
    limits: FileId | None
    case: CaseId | None
    day_of_look: Day
    verdict: Verdict
    exit_code: ExitCode
    sentence: str
    """Which valve to adjust first, and why."""
    rows: RowCounts
    shown_because: Mapping[str, Count]
    """Why rows were shown without counting as proof, and how many for each reason."""
    valves: tuple[ValveFindingJson, ...]
    """The worst first."""
    tests: Sequence[StrokeTestJson]
    refused: Sequence[RowFaultJson]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsRefused(JsonObject):
    """Nothing of the file could be read."""

    schema_version: Literal[1] = 1
    program: Program
    records: Asked
    limits: FileId | None
    case: CaseId | None
    verdict: Literal["refused"] = "refused"
    exit_code: Literal[2] = 2
    refused: Sequence[RowFaultJson]

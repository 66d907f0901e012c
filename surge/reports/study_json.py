"""The answer of ``surge study --json``, as types and as what makes them from a summary."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from surge.reports.document import Demand, ExitCode, JsonObject, Program, Sha256, Verdict
from surge.rules.book import LOCAL_CODES
from surge.studies.chances import LEVEL, Chance
from surge.studies.schema import RUNS
from surge.studies.summary import CellCount, Matter, Searched, Spread, Summary, Worst


@dataclass(frozen=True, slots=True, kw_only=True)
class StudiedFileJson(JsonObject):
    """A file that the study was made from; the study file is the first."""

    file: str
    sha256: Sha256


@dataclass(frozen=True, slots=True, kw_only=True)
class RunCountJson(JsonObject):
    """Runs by what came of them; of quick looks: within limits, beyond a limit, and all others."""

    runs: int
    kept: int
    exceeded: int
    undecided: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceJson(JsonObject):
    """The probability that limits are not kept for certain, for the distributions as stated."""

    not_kept: float
    confidence: float
    low: float | None
    """Null where the samples give no interval."""
    high: float | None
    why: str
    """By what the interval is right, or why there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudiedLineUpJson(JsonObject):
    """One line-up: the options of the axes, in their order."""

    name: str
    options: tuple[str, ...]
    count: RunCountJson
    chance: ChanceJson | None
    """Null where nothing is uncertain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnJson(JsonObject):
    """What was drawn for an uncertain figure, in SI, or the factor."""

    name: str
    unit: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstRunJson(JsonObject):
    """The worst run."""

    run: int
    line_up: str
    drawn: tuple[DrawnJson, ...]
    outcome: str
    governing: str
    scenario: str
    reason: str
    case_sha256: Sha256


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakSpreadJson(JsonObject):
    """How the highest pressure that comes nearest to its limit spreads; rounded up by less than a class."""

    line_up: str
    """Empty for all together."""
    shares_of_limits: bool
    """The values are shares of limits that differ, otherwise pressures."""
    limit: float
    """In Pa gauge; 1 for shares."""
    half: float
    """Half of the runs do not exceed it."""
    ninety_five_percent: float
    highest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StudiedWindowJson(JsonObject):
    """The window of a valve."""

    valve: str
    shortest_s: float | None
    longest_s: float | None
    looked_at_to_s: float
    open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StudiedRateJson(JsonObject):
    """The greatest safe rate of a scenario."""

    scenario: str
    agreed_m3_s: float
    greatest_m3_s: float | None
    looked_at_to_m3_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchedRunJson(JsonObject):
    """What a search found in one run."""

    run: int
    line_up: str
    verdict: Verdict
    reason: str
    windows: tuple[StudiedWindowJson, ...]
    rates: tuple[StudiedRateJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SobolIndexJson(JsonObject):
    """Shares of the variance of the nearest highest pressure, with half-widths of their intervals."""

    name: str
    first_order: float
    first_order_half_width: float
    total: float
    total_half_width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MattersJson(JsonObject):
    """Which uncertain figure matters in a line-up; none where the peak does not vary, or a run has none."""

    line_up: str
    indices: tuple[SobolIndexJson, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyDocument(JsonObject):
    """What came of a study."""

    schema_version: Annotated[int, Demand(const=1)] = 1
    program: Program
    files: Annotated[tuple[StudiedFileJson, ...], Demand(minItems=1)]
    title: str
    run: Annotated[str, Demand(enum=list(RUNS))]
    decides: bool
    """False of quick looks: they give no verdict."""
    exit_code: ExitCode
    verdict: Verdict
    complete: bool
    count: RunCountJson
    line_ups: tuple[StudiedLineUpJson, ...]
    worst: WorstRunJson | None
    peaks: tuple[PeakSpreadJson, ...]
    searched: tuple[SearchedRunJson, ...]
    matters: tuple[MattersJson, ...]
    local_codes: str
    cautions: tuple[str, ...]


def study_document(made: Summary, *, version: str, cautions: Iterable[str]) -> StudyDocument:
    """Return the answer as a document."""
    study, count = made.study, made.count
    return StudyDocument(
        program=Program(version=version),
        files=tuple(StudiedFileJson(file=f.filename, sha256=f.sha256) for f in study.files),
        title=study.title,
        run=study.run,
        decides=made.decides,
        exit_code=made.exit_code,
        verdict=made.verdict,
        complete=made.complete,
        count=RunCountJson(
            runs=count.runs, kept=count.kept, exceeded=count.exceeded, undecided=count.undecided
        ),
        line_ups=tuple(map(_line_up, made.cells)),
        worst=None if made.worst is None else _worst(made.worst, made),
        peaks=tuple(map(_spread, made.spreads)),
        searched=tuple(map(_searched, made.searched)),
        matters=tuple(map(_matter, made.matters)),
        local_codes=LOCAL_CODES,
        cautions=tuple(cautions),
    )


def _line_up(cell: CellCount) -> StudiedLineUpJson:
    c = cell.count
    return StudiedLineUpJson(
        name=cell.name,
        options=cell.options,
        count=RunCountJson(runs=c.runs, kept=c.kept, exceeded=c.exceeded, undecided=c.undecided),
        chance=None if cell.chance is None else _chance(cell.chance),
    )


def _chance(chance: Chance) -> ChanceJson:
    return ChanceJson(
        not_kept=chance.share, confidence=LEVEL, low=chance.low, high=chance.high, why=chance.why
    )


def _worst(worst: Worst, made: Summary) -> WorstRunJson:
    units = {one.name: "-" if one.factor else one.unit for one in made.study.uncertain}
    return WorstRunJson(
        run=worst.run,
        line_up=worst.name,
        drawn=tuple(DrawnJson(name=n, unit=units[n], value=v) for n, v in worst.figures),
        outcome=worst.verdict,
        governing=worst.governing,
        scenario=worst.scenario,
        reason=worst.reason,
        case_sha256=worst.sha256,
    )


def _spread(spread: Spread) -> PeakSpreadJson:
    return PeakSpreadJson(
        line_up=spread.name,
        shares_of_limits=spread.shares,
        limit=spread.limit,
        half=spread.below(0.5),
        ninety_five_percent=spread.below(0.95),
        highest=spread.highest,
    )


def _searched(one: Searched) -> SearchedRunJson:
    return SearchedRunJson(
        run=one.run,
        line_up=one.name,
        verdict=one.verdict,
        reason=one.reason,
        windows=tuple(StudiedWindowJson(**window) for window in one.windows),
        rates=tuple(StudiedRateJson(**rate) for rate in one.rates),
    )


def _matter(matter: Matter) -> MattersJson:
    return MattersJson(
        line_up=matter.name,
        indices=tuple(
            SobolIndexJson(
                name=i.name,
                first_order=i.first,
                first_order_half_width=i.first_half,
                total=i.total,
                total_half_width=i.total_half,
            )
            for i in matter.indices
        ),
    )

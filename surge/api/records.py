"""Stroke-time tests from a spreadsheet held against limits and against the valves' own past."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal

from surge import __version__
from surge.api.answers import Answer, Json, Kind, Picture, data
from surge.api.inputs import case_of, of_file, rules_of_case
from surge.case.file import Case
from surge.errors import CaseError
from surge.plots.frame import Heading
from surge.plots.history import draw_histories
from surge.records.cells import SPELLINGS, unit_of
from surge.records.columns import NAMES, plain
from surge.records.limits_file import LimitFile, load_limits, read_interval
from surge.records.read import ReadOptions, load_records
from surge.records.stroke_tests import YEAR, Interval, Timed
from surge.reports import records as words
from surge.reports.records_data import findings_csv, records_document
from surge.units import day
from surge.valves.findings import findings_of_records
from surge.valves.sources import held_against
from surge.workers import Progress


class UnreadableError(CaseError):
    """A file of stroke times of which nothing can be read: its faults are :class:`RowFault`."""


@dataclass(frozen=True, kw_only=True)
class RecordsAnswer(words.JudgedRecords, Answer):
    """What records prove: ``findings`` with the worst valve first, ``records`` with every refused row.

    Attributes
    ----------
    limits : LimitFile or None
    limits_filename : str
        "" without a limits file.
    case : Case or None
    matched : tuple of str
        Every tag of the records, and every valve that a limit speaks of.
    """

    limits: LimitFile | None
    limits_filename: str
    case: Case | None
    matched: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """3 a valve is outside its limits; 4 a row is refused or a limit not proved to be kept; else 0."""
        return self.findings.exit_code

    @property
    def head(self) -> Json:
        """What the document begins with: program, and the files with their hashes."""
        return head_of(
            self.records.filename, self.records.sha256, self.limits_filename, self.limits, self.case
        )

    @property
    def signature(self) -> str:
        """Which program and which files the answer comes from."""
        head = self.head
        files = [
            f"{kind} {head[kind]['file']}, sha256 {head[kind]['sha256'][:16]}"
            for kind in ("records", "limits", "case")
            if head[kind]
        ]
        return f"surge {__version__}, {'; '.join(files)}"

    def text(self, *, details: bool = False) -> str:
        """Return the answer in words: which valve to adjust first and why, then the table.

        Parameters
        ----------
        details : bool
            Every valve in the table.
        """
        return "\n".join([*words.records_lines(self, details=details), "", self.signature])

    def document(self) -> Json:
        """Return the answer as plain data (``surge schema records``)."""
        return data(records_document(self, self.head))

    def csv(self) -> str:
        """Return the findings as a table for a spreadsheet."""
        # The mark tells spreadsheets that it is UTF-8.
        return "\ufeff" + findings_csv(self, self.signature)

    def draw_all(self, kinds: Sequence[Kind] = ("png",)) -> dict[Kind, tuple[Picture, ...]]:
        """Draw the histories of valves as files of several kinds; see :meth:`draw`."""
        heading = Heading(
            lines=(
                f"Stroke times of valves, {Path(self.records.filename).name}",
                words.title_of(self),
            ),
            foot=(words.first_sentence(self.findings), *words.RECORDS_CAUTIONS[:1]),
            signature=self.signature,
        )
        histories = [v.history for v in self.findings.valves]
        drawn = draw_histories(histories, self.findings.ground, heading, kinds=tuple(dict.fromkeys(kinds)))
        return {
            kind: tuple(Picture(content=page, kind=kind) for page in drawn[kind])
            for kind in dict.fromkeys(kinds)
        }

    def draw(self, *, kind: Kind = "png") -> tuple[Picture, ...]:
        """Draw the histories of valves, 24 on a page, the worst first; a PDF holds all pages."""
        return self.draw_all([kind])[kind]


def head_of(
    filename: str,
    sha256: str,
    limits_filename: str = "",
    limits: LimitFile | None = None,
    case: Case | None = None,
) -> Json:
    """Return what a document on records begins with; ``sha256`` is empty where nothing could be read."""
    return {
        "program": {"name": "surge", "version": __version__},
        "records": {"file": filename, "sha256": sha256},
        "limits": {"file": limits_filename, "sha256": limits.sha256} if limits else None,
        "case": {"file": case.filename, "sha256": case.sha256} if case else None,
    }


def meanings(columns: Mapping[str, str]) -> dict[str, str]:
    """Return what columns mean, by titles as they are looked up.

    Raises
    ------
    ValueError
        A meaning that is not known.
    """
    for title, meaning in columns.items():
        if meaning not in NAMES or not title.strip():
            raise ValueError(
                f"{title!r}: {meaning!r} is no meaning of a column; write one of {', '.join(NAMES)}"
            )
    return {plain(title): meaning for title, meaning in columns.items()}


def units_of_cells(units: Mapping[str, str]) -> dict[str, str]:
    """Return the units that cells have where neither they nor their title say one.

    Raises
    ------
    ValueError
        A kind of quantity or a unit that is not known.
    """
    found = {}
    for kind, unit in units.items():
        known = unit_of(unit, kind) if kind in SPELLINGS else None
        if known is None:
            raise ValueError(
                f"{kind}={unit}: write time=s, time=min:s, time=h:min:s, temperature=degC, pressure=bar or so"
            )
        found[kind] = known
    return found


def judge_records(
    path: str | Path,
    *,
    today: date | str | None = None,
    limits: str | Path | None = None,
    case: Case | str | Path | None = None,
    dates: Literal["day-first", "month-first"] | None = None,
    timed: Literal["order", "movement"] | None = None,
    together: bool | None = None,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    joined: bool = False,
    interval: str | Interval | None = None,
    progress: Progress | None = None,
) -> RecordsAnswer:
    """Judge stroke-time tests from a spreadsheet, as ``surge records`` does.

    Parameters
    ----------
    path : str or Path
        The CSV file.
    today : date or str, optional
        The day of the look; today without it.
    limits : str or Path, optional
        A limits file.
    case : Case, str or Path, optional
        Its windows are limits of closing times.
    dates, timed, together : optional
        What the cells do not say: how dates are written, what times count, whether valves moved together.
    columns : mapping of str to str, optional
        Title of a column -> what it means, such as ``{"Stroke, s": "time"}``.
    units : mapping of str to str, optional
        Units that are not written: ``{"time": "min:s"}``.
    joined : bool
        An empty tag or date is that of the row above.
    interval : str or Interval, optional
        How long a test holds where a valve states nothing, such as "6 months"; 12 months without it.
    progress : callable, optional
        Called with a word as work goes on.

    Returns
    -------
    RecordsAnswer

    Raises
    ------
    CaseError
        A file that cannot be read, or limits with faults. Faults of single rows are in the result.
    GridError, SolveError
        The windows of the case cannot be computed.
    ValueError
        A meaning, a unit, an interval or a day that is not understood.

    Examples
    --------
    >>> import surge
    >>> answer = surge.judge_records(
    ...     "cases/records/stroke-tests.csv", limits="cases/records/limits.toml", today="2026-02-20"
    ... )
    >>> answer.exit_code
    4
    """
    on = day("today", today) or date.today()
    options = ReadOptions(
        units=units_of_cells(units or {}),
        joined=joined,
        today=on,
        dates=dates,
        timed={"order": Timed.ORDER, "movement": Timed.MOVEMENT}.get(timed or ""),
        together=together,
        columns=meanings(columns or {}),
    )
    between = read_interval(interval) if isinstance(interval, str) else interval or YEAR
    stated = None
    if limits is not None:
        with of_file(limits):
            stated = load_limits(limits)
    loaded = None if case is None else case_of(case)
    book = None if loaded is None else rules_of_case(loaded)
    try:
        read = load_records(path, options, progress=progress)
    except CaseError as error:
        nothing = UnreadableError(list(error.faults))
        nothing.filename = str(path)
        raise nothing from None
    with of_file(loaded.filename if loaded else limits or path):
        lineup = loaded.lineup if loaded else None
        held = held_against(read, stated=stated, lineup=lineup, book=book, progress=progress)
    found = findings_of_records(
        held.records.tests,
        held.limits,
        today=on,
        interval=between,
        refused=len(held.records.refused),
        lost=held.records.lost,
    )
    sources = [f"Limits and facts of valves from {limits}."] if stated is not None else []
    if loaded is not None:
        sources.append(f"Windows of closing times from {loaded.filename}, at its rates and stroke shapes.")
    return RecordsAnswer(
        records=held.records,
        findings=found,
        sources=(*sources, *held.notes),
        limits=stated,
        limits_filename="" if limits is None else str(limits),
        case=loaded,
        matched=tuple(held.limits),
    )

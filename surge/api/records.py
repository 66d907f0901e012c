"""Stroke-time tests from a spreadsheet, judged by limits and by what each valve did before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from surge import __version__
from surge.api.answers import Answer, Json, Picture, data, written
from surge.api.inputs import case_of, in_case, rules_of_case
from surge.arguments import checked, later
from surge.choices import Dates, DecimalSign, PictureKind, TimedFrom
from surge.errors import ArgumentError, CaseError, Fault
from surge.inputs import InputFile
from surge.records.cells import SPELLINGS, unit_of
from surge.records.columns import NAMES, plain
from surge.records.limits_file import LimitFile, load_limits
from surge.records.read import ReadOptions, load_records
from surge.records.stroke_tests import YEAR, Interval, Timed, read_interval
from surge.reports import records as words
from surge.reports.records_data import findings_csv, records_document
from surge.reports.records_screen import records_screen
from surge.rules.book import RuleBook
from surge.units import day, printable
from surge.valves.findings import findings_of_records
from surge.valves.sources import held_against
from surge.workers import Progress

if TYPE_CHECKING:
    from surge.case.file import Case
else:
    Case = later("surge.case.file", "Case")


TIMED: dict[TimedFrom, Timed] = {"order": Timed.ORDER, "movement": Timed.MOVEMENT}


class UnreadableError(CaseError):
    """A file of stroke times of which nothing can be read; its faults are of the type ``RowFault``."""

    def __init__(self, faults: Iterable[Fault], *, filename: str, file: InputFile | None = None) -> None:
        super().__init__(list(faults))
        self.filename, self.file = filename, file


@dataclass(frozen=True, kw_only=True)
class RecordsAnswer(words.JudgedRecords, Answer):
    """What records prove of valves.

    Attributes
    ----------
    findings : surge.valves.findings.Findings
        What each valve comes to, the worst first.
    records : surge.records.read.Records
        What was read, with every row that was refused.
    sources : tuple of str
        Where limits come from, in words.
    limits : LimitFile or None
        The limits file, if one was given.
    limits_filename : str
        "" without a limits file.
    case : Case or None
        The case whose windows are limits, if one was given.
    matched : tuple of str
        Every tag of the records, and every valve for which a limit is stated.
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
        """The first keys of the document: program, and the files with their hashes."""
        return head_of(
            self.records.filename, self.records.sha256, self.limits_filename, self.limits, self.case
        )

    @property
    def signature(self) -> str:
        """Which program and which files, with their hashes, the answer comes from."""
        head = self.head
        files = [
            f"{kind} {printable(head[kind]['file'])}, sha256 {head[kind]['sha256'][:16]}"
            for kind in ("records", "limits", "case")
            if head[kind]
        ]
        return f"surge {__version__}, {'; '.join(files)}"

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return the answer in words, on one screen or with everything: which valve to adjust first and why.

        Parameters
        ----------
        details : bool
            Every valve with all that is to be said of it, and how the file was understood.
        """
        if details:
            return "\n".join([*words.records_lines(self), "", self.signature])
        return "\n".join(records_screen(self, self.signature))

    def document(self) -> Json:
        """Return the answer as plain data (``surge schema records``)."""
        return data(records_document(self, self.head))

    def json_pieces(self) -> Iterator[str]:
        """Yield the JSON text piece by piece: of many tests it may be hundreds of megabytes."""
        return written(records_document(self, self.head))

    def csv(self) -> str:
        """Return the findings as a table for a spreadsheet."""
        return findings_csv(self, self.signature)

    @checked
    def draw_all(self, kinds: Sequence[PictureKind] = ("png",)) -> dict[PictureKind, tuple[Picture, ...]]:
        """Draw the test histories of the valves, as files of several kinds; see :meth:`draw`."""
        from surge.plots.frame import Heading
        from surge.plots.history import draw_histories

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

    @checked
    def draw(self, *, kind: PictureKind = "png") -> tuple[Picture, ...]:
        """Draw the test histories of the valves, 24 on a page, the worst first; a PDF holds all pages."""
        return self.draw_all([kind])[kind]


def head_of(
    filename: str,
    sha256: str,
    limits_filename: str = "",
    limits: LimitFile | None = None,
    case: Case | None = None,
) -> Json:
    """Return the first keys of a document on records; ``sha256`` is "" where nothing could be read."""
    return {
        "program": {"name": "surge", "version": __version__},
        "records": {"file": filename, "sha256": sha256},
        "limits": {"file": limits_filename, "sha256": limits.file.sha256} if limits else None,
        "case": {"file": case.filename, "sha256": case.sha256} if case else None,
    }


def meanings(columns: Mapping[str, str]) -> dict[str, str]:
    """Return what columns mean, by their titles spelt as the reader of records looks them up.

    Parameters
    ----------
    columns : mapping of str to str
        Title of a column -> what it means.

    Raises
    ------
    ArgumentError
        A title is empty, or a meaning is not known.
    """
    for title, meaning in columns.items():
        if meaning not in NAMES or not title.strip():
            raise ArgumentError(
                ("columns",),
                f"{title!r}: {meaning!r}",
                f"no meaning of a column; write one of {', '.join(NAMES)}",
            )
    return {plain(title): meaning for title, meaning in columns.items()}


def units_of_cells(units: Mapping[str, str]) -> dict[str, str]:
    """Return the units that hold where neither a cell nor its title says one.

    Parameters
    ----------
    units : mapping of str to str
        Kind of quantity -> unit, as a user writes it: ``{"time": "min:s"}``.

    Raises
    ------
    ArgumentError
        A kind of quantity, or a unit, that is not known.
    """
    found = {}
    for kind, unit in units.items():
        known = unit_of(unit, kind) if kind in SPELLINGS else None
        if known is None:
            raise ArgumentError(
                ("unit",),
                f"{kind}={unit}",
                "write time=s, time=min:s, time=h:min:s, temperature=degC, pressure=bar or so",
            )
        found[kind] = known
    return found


@checked
def judge_records(
    path: str | Path,
    *,
    today: date | str | None = None,
    limits: str | Path | None = None,
    case: Case | str | Path | None = None,
    dates: Dates | None = None,
    timed: TimedFrom | None = None,
    together: bool | None = None,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    joined: bool = False,
    decimal: DecimalSign | None = None,
    interval: str | Interval | None = None,
    progress: Progress | None = None,
) -> RecordsAnswer:
    """Judge stroke-time tests from a spreadsheet, as ``surge records`` does.

    Parameters
    ----------
    path : str or Path
        The spreadsheet, as CSV.
    today : date or str, optional
        The day on which it is judged, such as "2026-02-20"; by default today.
    limits : str or Path, optional
        A limits file (TOML): limits and facts of each valve.
    case : Case, str or Path, optional
        A case: the windows of its valves are searched, and are limits of their closing times.
    dates : {"day-first", "month-first"}, optional
        What 03/04/2025 means.
    timed : {"order", "movement"}, optional
        From when times count, where the file does not say: from the order, or from the first movement.
    together : bool, optional
        Whether valves moved together, where the file does not say.
    columns : mapping of str to str, optional
        Title of a column -> what it means: ``{"Stroke, s": "time"}``.
    units : mapping of str to str, optional
        Units that the file does not say: ``{"time": "min:s"}``.
    joined : bool
        Whether an empty tag or date is that of the row above.
    decimal : {"point", "comma"}, optional
        The decimal sign, where the numbers of the file do not show it.
    interval : str or Interval, optional
        How long a test holds, for valves that state no interval: "6 months"; by default 12 months.
    progress : callable, optional
        Called with a word as work goes on.

    Returns
    -------
    RecordsAnswer
        ``findings.valves``, what each comes to, the worst first, with times [s]; ``records.refused``, rows
        that are not used; ``exit_code``.

    Raises
    ------
    CaseError
        A file cannot be read, or the limits or the case have faults. Faults of single rows are no error: they
        are in the answer.
    GridError, SolveError
        The windows of the case cannot be computed.
    QuantityError
        An interval that is not understood.
    ArgumentError
        An argument that is not what it should be: a choice, meaning, unit or day that is not understood.

    Examples
    --------
    >>> import surge
    >>> answer = surge.judge_records(
    ...     "cases/records/stroke-tests.csv", limits="cases/records/limits.toml", today="2026-02-20"
    ... )
    >>> answer.exit_code  # no valve is outside its limits, but something cannot be decided
    4
    >>> [(valve.tag, valve.verdict) for valve in answer.findings.valves[:2]]
    [('T4S', 'limit kept'), ('X2', 'cannot be decided')]
    >>> len(answer.records.refused)
    2
    """
    on = day("today", today) or date.today()
    options = ReadOptions(
        units=units_of_cells(units or {}),
        joined=joined,
        decimal=decimal,
        today=on,
        dates=dates,
        timed=None if timed is None else TIMED[timed],
        together=together,
        columns=meanings(columns or {}),
    )
    between = read_interval(interval) if isinstance(interval, str) else interval or YEAR
    stated = None if limits is None else load_limits(limits)
    loaded = None if case is None else case_of(case)
    book = None if loaded is None else rules_of_case(loaded)
    return judged(path, options, between, limits=stated, case=loaded, book=book, progress=progress)


def judged(
    path: str | Path,
    options: ReadOptions,
    interval: Interval = YEAR,
    *,
    limits: LimitFile | None,
    case: Case | None,
    book: RuleBook | None,
    progress: Progress | None,
) -> RecordsAnswer:
    """Judge records as :func:`judge_records`, with limits, case and rules that are read already."""
    try:
        read = load_records(path, options, progress=progress)
    except CaseError as error:
        raise UnreadableError(error.faults, filename=str(path), file=error.file) from None
    with in_case(case) if case else nullcontext():
        lineup = case.lineup if case else None
        held = held_against(read, stated=limits, lineup=lineup, book=book, progress=progress)
    found = findings_of_records(
        held.records.tests,
        held.limits,
        today=options.today,
        interval=interval,
        refused=len(held.records.refused),
        lost=held.records.lost,
    )
    sources = [f"Limits and facts of valves from {limits.file.filename}."] if limits is not None else []
    if case is not None:
        sources.append(f"Windows of closing times from {case.filename}, at its rates and stroke shapes.")
    return RecordsAnswer(
        records=held.records,
        findings=found,
        sources=(*sources, *held.notes),
        limits=limits,
        limits_filename="" if limits is None else limits.file.filename,
        case=case,
        matched=tuple(held.limits),
    )

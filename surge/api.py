"""What a script or a notebook needs beside :func:`surge.check`: windows, charts, records, pictures, words.

Each function puts together what the command of the same purpose puts together, and nothing else: the figures
are those of the command. Pressures [Pa gauge], times [s], flows [m3/s], as everywhere inside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from surge import __version__
from surge.workers import Progress

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.reports.records import Answer
    from surge.reports.words import Display
    from surge.rules.assess import Assessment
    from surge.search.chart import ChartData
    from surge.search.window import Windows

Kind = Literal["png", "svg", "pdf"]
Span = tuple[float | None, float | None]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture as the bytes of a file; a notebook shows a PNG or SVG when it is the last line of a cell.

    Attributes
    ----------
    content : bytes
    kind : {"png", "svg", "pdf"}
    """

    content: bytes
    kind: Kind

    def save(self, path: str | Path) -> None:
        """Write the file, over an existing one."""
        Path(path).write_bytes(self.content)

    def _repr_png_(self) -> bytes | None:
        return self.content if self.kind == "png" else None

    def _repr_svg_(self) -> str | None:
        return self.content.decode() if self.kind == "svg" else None


def find_windows(
    case: Case,
    *,
    valves: Sequence[str] = (),
    shortest: float | None = None,
    longest: float | None = None,
    progress: Progress | None = None,
) -> Windows:
    """Search how fast and how slowly valves may close, as ``surge window`` does.

    Parameters
    ----------
    case : Case
        As :func:`surge.load_case` gives it; its own rules hold.
    valves : sequence of str
        Those to search for; without it those that the case marks as adjustable, else all that close.
    shortest, longest : float, optional
        Strokes looked at [s]; 1 s, and 120 s or 20 pipeline periods without them.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.search.window.windows_of`.
    """
    from surge.api_check import rules_of_case
    from surge.search.strokes import SHORTEST_STROKE
    from surge.search.window import windows_of

    return windows_of(
        case.lineup,
        book=rules_of_case(case),
        valves=valves,
        shortest=SHORTEST_STROKE if shortest is None else shortest,
        longest=longest,
        progress=progress,
    )


def survey(
    case: Case,
    *,
    valve: str | None = None,
    scenario: str | None = None,
    rates: tuple[float, float] | None = None,
    strokes: tuple[float, float] | None = None,
    points: int = 25,
    progress: Progress | None = None,
) -> ChartData:
    """Compute how much of the nearest limit is used at many rates and strokes, as ``surge chart`` does.

    Parameters
    ----------
    case : Case
    valve, scenario : str, optional
        Without them the ones that matter most.
    rates, strokes : (float, float), optional
        Ends of the raster, rising [m3/s], [s].
    points : int
        Rates, and strokes, to compute.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.search.chart.chart_of`.
    """
    from surge.api_check import rules_of_case
    from surge.search.chart import chart_of

    return chart_of(
        case.lineup,
        book=rules_of_case(case),
        valve=valve,
        scenario=scenario,
        rates=rates,
        strokes=strokes,
        points=points,
        progress=progress,
    )


def judge_records(
    path: str | Path,
    *,
    today: date,
    limits: str | Path | None = None,
    case: Case | None = None,
    dates: Literal["day-first", "month-first"] | None = None,
    timed: Literal["order", "movement"] | None = None,
    together: bool | None = None,
    columns: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Answer:
    """Judge stroke-time tests from a spreadsheet, as ``surge records`` does; a test holds for 12 months.

    Parameters
    ----------
    path : str or Path
        The CSV file.
    today : date
        The day of the look.
    limits : str or Path, optional
        A limits file.
    case : Case, optional
        Its windows are limits of closing times.
    dates, timed, together : optional
        What the cells do not say: how dates are written, what times count, whether valves moved together.
    columns : mapping of str to str, optional
        Title of a column -> what it means, such as ``{"Stroke, s": "time"}``.
    progress : callable, optional

    Returns
    -------
    Answer
        ``findings`` with the worst valve first, ``records`` with every refused row, ``sources``.

    Raises
    ------
    CaseError
        A file that cannot be read, or limits with faults. Faults of single rows are in the result.
    """
    from surge.api_check import rules_of_case
    from surge.records.columns import plain
    from surge.records.limits_file import load_limits
    from surge.records.read import ReadOptions, load_records
    from surge.records.stroke_tests import Timed
    from surge.reports.records import Answer
    from surge.valves.findings import findings_of_records
    from surge.valves.sources import held_against

    asked = ReadOptions(
        today=today,
        dates=dates,
        timed={"order": Timed.ORDER, "movement": Timed.MOVEMENT}.get(timed or ""),
        together=together,
        columns={plain(title): meaning for title, meaning in (columns or {}).items()},
    )
    held = held_against(
        load_records(path, asked, progress=progress),
        stated=load_limits(limits) if limits is not None else None,
        lineup=case.lineup if case else None,
        book=rules_of_case(case) if case else None,
        progress=progress,
    )
    found = findings_of_records(
        held.records.tests,
        held.limits,
        today=today,
        refused=len(held.records.refused),
        lost=held.records.lost,
    )
    sources = [f"Limits and facts of valves from {limits}."] if limits is not None else []
    if case is not None:
        sources.append(f"Windows of closing times from {case.filename}, at its rates and stroke shapes.")
    return Answer(records=held.records, findings=found, sources=(*sources, *held.notes))


def _say(case: Case) -> Display:
    from surge.reports.words import Display

    return Display(units=case.show, density=case.lineup.liquid.density)


def _signature(case: Case) -> str:
    return f"surge {__version__}, case {case.filename}, sha256 {case.sha256[:16]}"


def report(
    answer: Assessment | Windows | ChartData | Answer, case: Case | None = None, *, details: bool = False
) -> str:
    """Put an answer into the words that the command prints: verdict first, cautions last.

    Parameters
    ----------
    answer : Assessment, Windows, ChartData or Answer
        As :func:`surge.check`, :func:`surge.find_windows`, :func:`surge.survey` and
        :func:`surge.judge_records` give them.
    case : Case
        The case that it was made from; not needed for records.
    details : bool
        Everything, of a check or of records.

    Raises
    ------
    TypeError
        No case was given where one is needed.
    """
    from surge.reports.records import Answer, records_lines
    from surge.rules.assess import Assessment
    from surge.search.window import Windows

    if isinstance(answer, Answer):
        return "\n".join(records_lines(answer, details=details))
    if case is None:
        raise TypeError("report(answer, case): give the case that the answer was made from")
    lines: Sequence[str]
    if isinstance(answer, Assessment):
        from surge.reports.text import TextReport

        lines = TextReport(answer, _say(case), details=details).lines()
    elif isinstance(answer, Windows):
        from surge.reports.window import window_lines

        lines = window_lines(answer, case.lineup, _say(case))
    else:
        from surge.reports.chart import chart_lines

        lines = chart_lines(answer, case.lineup.title, _say(case))
    return "\n".join([*lines, "", _signature(case)])


def draw(
    answer: Assessment,
    case: Case,
    *,
    of: Literal["time", "line", "map"] = "time",
    scenario: str | None = None,
    places: Sequence[str] = (),
    to: str | None = None,
    span: Span = (None, None),
    kind: Kind = "png",
) -> Picture:
    """Draw pressures of one scenario, as ``surge picture`` does.

    Parameters
    ----------
    answer : Assessment
        As :func:`surge.check` gives it.
    case : Case
        The same that it was made from.
    of : {"time", "line", "map"}
        Against time; highest and lowest along the line; in place and time.
    scenario : str, optional
        The one that comes nearest to a limit without it.
    places : sequence of str
        Of "time": points and elements beside the weakest place.
    to : str, optional
        Of "line" and "map": the tank or point at the far end of the way.
    span : (float or None, float or None)
        Of "time" and "map": shown from and until [s].
    kind : {"png", "svg", "pdf"}

    Raises
    ------
    SurgeError
        A name or a time that the case does not have.
    """
    from surge.plots.captions import line_files, time_files, wave_files
    from surge.views.line import line_picture
    from surge.views.map import times_of, wave_picture
    from surge.views.subject import subject_of
    from surge.views.time import time_picture

    subject, display, words = subject_of(answer, scenario), _say(case), _signature(case)
    if of == "line":
        files = line_files(line_picture(subject, to), display, words, kinds=[kind])
    elif of == "map":
        shown = times_of(subject, *span)
        files = wave_files(wave_picture(subject, to, span=shown), display, words, kinds=[kind])
    else:
        shown = times_of(subject, *span)
        files = time_files(time_picture(subject, places), display, words, kinds=[kind], span=shown)
    return Picture(content=files[kind], kind=kind)


def draw_chart(chart: ChartData, case: Case, *, kind: Kind = "png") -> Picture:
    """Draw the chart of rate against stroke time.

    Parameters
    ----------
    chart : ChartData
        As :func:`surge.survey` gives it.
    case : Case
        The same that it was made from.
    kind : {"png", "svg", "pdf"}
    """
    from surge.plots.chart import chart_files
    from surge.reports.chart import chart_document
    from surge.reports.document import head_of
    from surge.reports.words import CAUTIONS

    head = head_of(__version__, case.filename, case.sha256)
    document = chart_document(chart, head, case.lineup.title, CAUTIONS)
    files = chart_files(chart, [kind], document=document, display=_say(case), signature=_signature(case))
    return Picture(content=files[kind], kind=kind)


def draw_records(answer: Answer, *, kind: Kind = "png") -> tuple[Picture, ...]:
    """Draw the histories of valves, 24 on a page, the worst first.

    Parameters
    ----------
    answer : Answer
        As :func:`surge.judge_records` gives it.
    kind : {"png", "svg", "pdf"}

    Returns
    -------
    tuple of Picture
        The pages; a PDF holds them all.
    """
    from surge.plots.frame import Heading
    from surge.plots.history import draw_histories
    from surge.reports.records import RECORDS_CAUTIONS, first_sentence, title_of

    findings, records = answer.findings, answer.records
    heading = Heading(
        lines=(f"Stroke times of valves, {Path(records.filename).name}", title_of(answer)),
        foot=(first_sentence(findings), *RECORDS_CAUTIONS[:1]),
        signature=f"surge {__version__}, records {records.filename}, sha256 {records.sha256[:16]}",
    )
    histories = [v.history for v in findings.valves]
    pages = draw_histories(histories, findings.ground, heading, kinds=(kind,))[kind]
    return tuple(Picture(content=page, kind=kind) for page in pages)

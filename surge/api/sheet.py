"""The sheet that ship and terminal sign: the case checked, windows searched, tests of valves looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from surge import __version__
from surge.api.answers import CaseAnswer, Json, data
from surge.api.check import check
from surge.api.inputs import case_of, in_case, rules_of_case
from surge.api.records import RecordsAnswer, judged
from surge.arguments import checked
from surge.case.file import Case
from surge.choices import SheetKind, ending
from surge.errors import ArgumentError
from surge.model.lineup import LineUp
from surge.records.limits_file import load_limits
from surge.records.read import ReadOptions
from surge.rules.book import RuleBook
from surge.search.movers import closing_valves
from surge.search.window import Windows, windows_of
from surge.sheet.data import Sheet, sheet_of
from surge.sheet.sketch import Weak, sketch
from surge.sheet.valve_tests import Files, Tests, tests_of
from surge.units import day
from surge.valves.sources import closing_in
from surge.workers import Progress

NO_WINDOWS = "Windows of stroke times were not searched: shorter or longer strokes may not be safe."
NONE_CLOSES = "No valve closes in this case: there are no windows of stroke times."


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetAnswer(CaseAnswer):
    """The sheet that ship and terminal sign for a case.

    Attributes
    ----------
    sheet : surge.sheet.data.Sheet
        Everything that stands on it.
    """

    sheet: Sheet

    @property
    def exit_code(self) -> int:
        """0 the sheet may be signed; 3 or 4 it is no agreement."""
        return self.sheet.exit_code

    def text(self) -> str:
        """Return in a line what the sheet comes to, and whether it may be signed."""
        return f"{self.sheet.headline}: {self.sheet.standing}"

    def document(self) -> Json:
        """Return what stands on the sheet as plain data in SI (``surge schema sheet``)."""
        return data(self.sheet.document())

    @checked
    def file(self, kind: SheetKind) -> bytes:
        """Return the sheet as the bytes of a file."""
        drawn = self._sketch()
        if kind == "pdf":
            from surge.sheet.typeset import sheet_pdf

            return sheet_pdf(self.document(), drawn)
        from surge.sheet.typeset import sheet_html

        return sheet_html(self.document(), drawn).encode()

    @checked
    def save(self, path: str | Path) -> None:
        """Write the sheet to a file, which is overwritten if it exists; the ending tells the kind.

        Raises
        ------
        ArgumentError
            The name does not end in .pdf or .html.
        """
        kind: SheetKind = ending(path, SheetKind)
        Path(path).write_bytes(self.file(kind))

    def _sketch(self) -> str:
        """The line-up as a drawing; the weakest place is marked."""
        own = self.sheet
        weak = Weak(subject=own.weak_subject, name=own.weak_name) if own.weak_name else None
        return sketch(self.case.lineup, weak=weak, words=own.line_up)


@checked
def make_sheet(
    case: Case | str | Path,
    *,
    window: bool = True,
    records: str | Path | None = None,
    limits: str | Path | None = None,
    today: date | str | None = None,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> SheetAnswer:
    """Make the sheet of a case, as ``surge sheet`` does.

    Parameters
    ----------
    case : Case, str or Path
        As :func:`surge.load_case` gives it, or the path of its file.
    window : bool
        Search the windows of stroke times. Without them the sheet is a draft that nobody can sign.
    records : str or Path, optional
        Stroke-time tests of the valves (CSV).
    limits : str or Path, optional
        Limits file of the records, which says which tag is which valve of the case.
    today : date or str, optional
        Day on which records are judged, such as "2026-02-20"; by default the day of transfer, or today.
    units : mapping of str to str, optional
        Units of the sheet, in place of those of the case.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    SheetAnswer
        ``sheet``, what stands on it; ``save("sheet.pdf")`` writes it; ``exit_code``.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.check`, :func:`surge.find_windows` and :func:`surge.judge_records`.
    ArgumentError
        An argument that is not what it should be: limits without records, an unknown unit or day.

    Examples
    --------
    >>> import surge
    >>> answer = surge.make_sheet("cases/gas-oil-release-coupling.toml", window=False)
    >>> answer.sheet.signable
    False
    >>> print(answer.text())
    LIMIT EXCEEDED: THIS IS NOT AN AGREEMENT. DO NOT SIGN, DO NOT LOAD BY IT.
    """
    if limits is not None and records is None:
        raise ArgumentError(("limits",), "goes with records", "add the file of the tests")
    loaded = case_of(case)
    book = rules_of_case(loaded)
    on = day("today", today) or loaded.lineup.berth.transfer or date.today()
    checked = check(loaded, book=book, units=units, remedies=window, progress=progress)
    with in_case(loaded):
        found = windows_for_sheet(loaded.lineup, book, progress) if window else None
    tests = None
    if records is not None:
        options = ReadOptions(today=on)
        stated = None if limits is None else load_limits(limits)
        tests = judged(records, options, limits=stated, case=loaded, book=book, progress=progress)
    made = sheet_of(
        loaded,
        checked,
        found,
        display=checked.display,
        version=__version__,
        no_windows=NONE_CLOSES if window else NO_WINDOWS,
        rules_sha256=book.file.sha256 if book.file else "",
        tests=None if tests is None else _tests(loaded, tests),
    )
    return SheetAnswer(sheet=made, case=loaded, units=checked.units)


def windows_for_sheet(lineup: LineUp, book: RuleBook, progress: Progress | None = None) -> Windows | None:
    """Search the windows of adjustable valves that close, or of all that close if none is marked adjustable.

    Parameters
    ----------
    lineup : LineUp
    book : RuleBook
        Its rules on time bound strokes from above.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    Windows or None
        None where no valve closes.
    """
    closing = {name for s in lineup.scenarios for name in closing_valves(lineup, s)}
    marked = [v.name for v in lineup.valves if v.adjustable and v.name in closing]
    if not closing:
        return None
    return windows_of(lineup, book=book, valves=marked or sorted(closing), progress=progress)


def _tests(case: Case, answer: RecordsAnswer) -> Tests:
    """What the records say of the valves that close in the case."""
    stated, refused = answer.limits, len(answer.records.refused)
    files = Files(
        records=Path(answer.records.filename).name,
        records_sha256=answer.records.sha256,
        limits=Path(answer.limits_filename).name if stated else "",
        limits_sha256=stated.file.sha256 if stated else "",
    )
    return tests_of(
        answer.findings,
        closing=sorted(closing_in(case.lineup)),
        valve_of={tag: (stated.limits_of(tag)[1] if stated else "") or tag for tag in answer.matched},
        refused=refused,
        files=files,
    )

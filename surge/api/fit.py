"""Figures of a case found from a recorded pressure, with intervals, doubts, and a copy of the case."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from surge.api.answers import CaseAnswer, Json, Picture, data, signature
from surge.api.inputs import Ends, case_of, in_case, units_of
from surge.arguments import Measure, Number, checked, si
from surge.case.file import Case, read_case
from surge.choices import DecimalSign, DrawnKind, FitKind
from surge.errors import ArgumentError, CaseError, Fault
from surge.fitting.copy import fitted_text
from surge.fitting.figures import (
    INERTIA,
    KV,
    MINOR_LOSS,
    ROUGHNESS,
    RUN_DOWN,
    START,
    STROKE,
    WAVE_SPEED,
)
from surge.fitting.fit import Fit, fit_figures
from surge.inputs import InputFile
from surge.records.text import RowFault
from surge.records.trace_file import RecordedTrace, load_trace
from surge.reports.fit import EXIT_CODE, verdict_of
from surge.reports.words import CAUTIONS
from surge.units import printable
from surge.workers import Progress

CLOCK = Measure(dimension="time")


class UnusableTraceError(CaseError):
    """A recorded pressure that cannot be used; its faults are of the type ``RowFault``."""

    def __init__(self, faults: Iterable[Fault], *, filename: str, file: InputFile | None = None) -> None:
        super().__init__(list(faults))
        self.filename, self.file = filename, file


@dataclass(frozen=True, kw_only=True, eq=False)
class FitAnswer(CaseAnswer):
    """Figures of a case, found from a recorded pressure.

    Attributes
    ----------
    fit : Fit
        ``figures`` with their 95 % intervals, ``doubts``, and ``places`` with what is left over.
    """

    fit: Fit

    @property
    def verdict(self) -> str:
        """Of the fit alone: "fitted", "fitted, with doubts" or "not told"; no limit is looked at."""
        return verdict_of(self.fit)

    @property
    def exit_code(self) -> int:
        """0: the figures explain the record; 4: there are doubts."""
        return EXIT_CODE[self.verdict]

    @property
    def signature(self) -> str:
        """Which program, which case and which record, with their hashes, the answer comes from."""
        file = self.fit.trace.file
        return f"{signature(self.case)}, record {printable(file.filename)}, sha256 {file.sha256[:16]}"

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return the answer in words; with ``details`` clock, correlations, searches, and how it was read."""
        from surge.reports.fit import fit_lines

        return self.signed(fit_lines(self.fit, self.case.lineup.title, self.display, details=details))

    def document(self) -> Json:
        """Return the answer as plain data (``surge schema fit``)."""
        from surge.reports.fit_json import fit_document

        return data(fit_document(self.fit, self.case.lineup.title, self.head, cautions=CAUTIONS))

    def copy(self) -> str:
        """Return the text of the case with the fitted figures in it, each with its source as a comment.

        Comments and order stay as they are. Check it before anything is decided by it.

        Raises
        ------
        RequestError
            The record does not tell every figure.
        """
        made = fitted_text(self.fit)
        read_case(made, filename=self.case.filename)  # what is handed on can be read
        return made

    @checked
    def files(self, kinds: Sequence[FitKind]) -> dict[str, bytes]:
        """Return the fit as files: the copy of the case, pictures, every reading as a table.

        Parameters
        ----------
        kinds : sequence of {"toml", "png", "svg", "pdf", "csv"}

        Returns
        -------
        dict of str to bytes
            The whole file for each kind.

        Raises
        ------
        RequestError
            A copy of the case is wanted, and the record does not tell every figure.
        """
        from surge.plots.fit import fit_files
        from surge.reports.fit import fit_csv

        found: dict[str, bytes] = {}
        if "toml" in kinds:
            found["toml"] = self.copy().encode()
        if "csv" in kinds:
            found["csv"] = fit_csv(self.fit, self.signature).encode()
        pictures = [kind for kind in kinds if kind not in found]
        if pictures:
            title = self.case.lineup.title
            found |= fit_files(self.fit, title, self.display, self.signature, kinds=pictures)
        return found

    @checked
    def draw(self, *, kind: DrawnKind = "png") -> Picture:
        """Draw the record beside the fitted case, and what is left over; or give them as a table."""
        return Picture(content=self.files([kind])[kind], kind=kind)


@checked
def fit_record(
    case: Case | str | Path,
    trace: str | Path,
    *,
    scenario: str | None = None,
    wave_speed: Sequence[str] = (),
    roughness: Sequence[str] = (),
    minor_loss: Sequence[str] = (),
    kv: Sequence[str] = (),
    stroke: Sequence[str] = (),
    start: Sequence[str] = (),
    run_down: Sequence[str] = (),
    inertia: Sequence[str] = (),
    places: Mapping[str, str] | None = None,
    decimal: DecimalSign | None = None,
    clock: Annotated[Number | None, CLOCK] = None,
    zeros: bool = False,
    span: Ends = (None, None),
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> FitAnswer:
    """Find figures of a case from pressures recorded during a known movement, as ``surge fit`` does.

    Parameters
    ----------
    case : Case, str or Path
        The case, or the path of its file. Rate, levels and what moves are those of the scenario.
    trace : str or Path
        The record: a table with a column of time and one of pressure for each place.
    scenario : str, optional
        What was recorded; needed where the case has several.
    wave_speed, roughness, minor_loss : sequence of str
        Pipes, hoses or arms whose figure is fitted; "all" for a factor on that of every one.
    kv : sequence of str
        Valves, passed pumps or fixed losses whose Kv is fitted.
    stroke, start : sequence of str
        Valves whose stroke time, and valves or pumps whose beginning is fitted.
    run_down, inertia : sequence of str
        Pumps whose run-down, or whose inertia in a trip, is fitted.
    places : mapping of str to str, optional
        Title of a column, without its unit, to a point of the case; by default titles are names of points.
    decimal : {"point", "comma"}, optional
        The decimal sign of the record; by default what its numbers show.
    clock : number, optional
        What the record's clock shows when the scenario begins [s]; by default it is fitted.
    zeros : bool
        Each gauge may read too much or too little by a constant, which is fitted.
    span : (number or None, number or None)
        Use the readings from and until, by the record's clock [s].
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the case.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    FitAnswer
        ``fit.figures``, each with ``value``, ``low`` and ``high`` in SI (a Kv in m3/h); ``fit.doubts``;
        ``copy()``, the case with these figures. No limit is looked at: check the copy.

    Raises
    ------
    CaseError
        A file that cannot be used, with all of its faults.
    GridError, SolveError
        The case cannot be computed, or boils with the figures found.
    RequestError
        A name that the case does not have.
    ArgumentError
        An argument that is not what it should be.

    Examples
    --------
    The wave speed of a shore line and the stroke of a valve, from an invented record.

    >>> import surge
    >>> answer = surge.fit_record(
    ...     "cases/traces/jet-fuel-berth.toml",
    ...     "cases/traces/manifold-trace.csv",
    ...     wave_speed=["shore line"],
    ...     stroke=["manifold valve"],
    ...     roughness=["shore line"],
    ... )
    >>> answer.verdict, [figure.figure.kind for figure in answer.fit.figures]
    ('fitted', ['wave speed', 'roughness', 'stroke'])
    """
    case = case_of(case)
    shown = units_of(case, units)
    kinds = (WAVE_SPEED, ROUGHNESS, MINOR_LOSS, KV, STROKE, START, RUN_DOWN, INERTIA)
    names = (wave_speed, roughness, minor_loss, kv, stroke, start, run_down, inertia)
    read = _read(case, trace, places, decimal)
    try:
        with in_case(case):
            found = fit_figures(
                case,
                read,
                scenario=scenario,
                asked=dict(zip(kinds, names, strict=True)),
                clock=None if clock is None else si("clock", clock, dimension="time"),
                zeros=zeros,
                span=_in_si(span),
                progress=progress,
            )
    except CaseError as error:
        if any(isinstance(fault, RowFault) for fault in error.faults):
            raise UnusableTraceError(error.faults, filename=str(trace), file=read.file) from None
        raise
    return FitAnswer(fit=found, case=case, units=shown)


def _read(
    case: Case, trace: str | Path, places: Mapping[str, str] | None, decimal: str | None
) -> RecordedTrace:
    lineup = case.lineup
    points = [p.name for p in lineup.points]
    for title, point in (places or {}).items():
        if point not in points:
            remedy = f"write one of {', '.join(points)}"
            raise ArgumentError(("places",), f"{title}={point}, which is no point of the case", remedy)
    try:
        return load_trace(trace, points=points, places=places, atmosphere=lineup.atmosphere, decimal=decimal)
    except CaseError as error:
        raise UnusableTraceError(error.faults, filename=str(trace), file=error.file) from None


def _in_si(span: Ends) -> tuple[float | None, float | None]:
    begin, end = (None if one is None else si("span", one, dimension="time") for one in span)
    if begin is not None and end is not None and begin >= end:
        raise ArgumentError(("span",), f"from {begin:g} s until {end:g} s", "write the earlier time first")
    return begin, end

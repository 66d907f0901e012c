"""A stroke that was measured, run in a case beside the one that is assumed there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from surge.api.answers import CaseAnswer, Json, Picture, data, parts_of, signature
from surge.api.inputs import case_of, in_case, rules_of_case, units_of
from surge.arguments import Measure, checked
from surge.case.file import Case
from surge.choices import PictureKind
from surge.errors import ArgumentError
from surge.records.curve_file import load_curve
from surge.reports.words import CAUTIONS
from surge.units import printable
from surge.valves.curve import MeasuredStroke, stroke_of
from surge.valves.measured import Measured, run_measured
from surge.workers import Progress

POSITION = Measure()
Positions = tuple[Annotated[float, POSITION], Annotated[float, POSITION]]


@dataclass(frozen=True, kw_only=True, eq=False)
class StrokeAnswer(Measured, CaseAnswer):
    """Pressures with a measured stroke, beside those with the stroke that the case assumes.

    It has all of :class:`surge.valves.measured.Measured`, and the case.

    Attributes
    ----------
    curve_filename : str
        The file of the measured curve.
    """

    curve_filename: str

    @property
    def signature(self) -> str:
        """Which program, which case and which curve, with their hashes, the answer comes from."""
        curve = printable(self.curve_filename)
        return f"{signature(self.case)}, curve {curve}, sha256 {self.stroke.curve.sha256[:16]}"

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return the answer in words; with ``details`` every pressure that moving the valve can change."""
        from surge.reports.measured import measured_lines
        from surge.reports.measured_screen import measured_screen

        lineup, display = self.case.lineup, self.display
        if details:
            return self.signed(measured_lines(self, lineup, display))
        return "\n".join(measured_screen(self, lineup, display, self.signature))

    def document(self) -> Json:
        """Return the answer as plain data (``surge schema measured``)."""
        from surge.reports.measured import measured_document

        return data(measured_document(self, self.head, CAUTIONS))

    @checked
    def draw_all(self, kinds: Sequence[PictureKind] = ("png",)) -> dict[PictureKind, Picture]:
        """Draw the answer as files of several kinds; see :meth:`draw`."""
        from surge.plots.measured import measured_picture

        wanted = tuple(dict.fromkeys(kinds))
        drawn = measured_picture(self, self.case.lineup, self.display, kinds=wanted, signature=self.signature)
        return {kind: Picture(content=drawn[kind], kind=kind) for kind in wanted}

    @checked
    def draw(self, *, kind: PictureKind = "png") -> Picture:
        """Draw both strokes, and below them the pressure that they make where it matters most."""
        return self.draw_all([kind])[kind]


@dataclass(frozen=True, kw_only=True)
class StrokeFile:
    """A measured stroke, and the name of the file that it was read from."""

    stroke: MeasuredStroke
    filename: str


@checked
def read_stroke(path: str | Path, *, ends: Positions | None = None) -> StrokeFile:
    """Read a measured stroke: position against time, from a spreadsheet's CSV.

    Parameters
    ----------
    path : str or Path
        The file (CSV).
    ends : (float, float), optional
        Position when shut and when open [the file's own unit]; by default what its header says.

    Returns
    -------
    StrokeFile

    Raises
    ------
    CaseError
        The curve cannot be used: all of its faults.
    """
    return StrokeFile(stroke=stroke_of(load_curve(path, ends=ends)), filename=str(path))


@checked
def run_measured_stroke(
    stroke: StrokeFile | str | Path,
    case: Case | str | Path,
    valve: str,
    *,
    scenario: str | None = None,
    ends: Positions | None = None,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> StrokeAnswer:
    """Run a case with a measured stroke, as ``surge records --curve`` does.

    Parameters
    ----------
    stroke : StrokeFile, str or Path
        As :func:`read_stroke` gives it, or the path of its file (CSV): position against time.
    case : Case, str or Path
        As :func:`surge.load_case` gives it, or the path of its file.
    valve : str
        The valve of the case that was measured.
    scenario : str, optional
        Run this scenario only; by default all in which the valve moves in the direction that was measured.
    ends : (float, float), optional
        Of a file: position when shut and when open [the file's own unit]; by default what its header says.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the case.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    StrokeAnswer
        ``assumed`` and ``measured``, two assessments; ``pressures``, each with either stroke [Pa gauge];
        ``stroke.law``, openings [-] against time [s]; ``verdict``, ``exit_code``.

    Raises
    ------
    ArgumentError
        An argument that is not what it should be.
    CaseError
        The curve cannot be used: all of its faults. The case has faults, or the valve does not move so in it.
    UnknownNameError
        No such valve or scenario.
    GridError, SolveError
        The case cannot be computed.

    Examples
    --------
    The stroke was as long as assumed, but the last fifth of it was fast.

    >>> import surge
    >>> answer = surge.run_measured_stroke(
    ...     "cases/records/manifold-valve-stroke.csv",
    ...     "cases/gasoline-drop-lines.toml",
    ...     "manifold valve",
    ...     scenario="start of loading",
    ... )
    >>> answer.assumed.verdict, answer.measured.verdict
    ('limit kept', 'limit exceeded')
    """
    if isinstance(stroke, StrokeFile) and ends is not None:
        raise ArgumentError(("ends",), "with a stroke that is read already", "give them to read_stroke")
    measured = stroke if isinstance(stroke, StrokeFile) else read_stroke(stroke, ends=ends)
    loaded = case_of(case)
    shown = units_of(loaded, units)
    book = rules_of_case(loaded)
    with in_case(loaded):
        made = run_measured(
            loaded.lineup, measured.stroke, valve=valve, scenario=scenario, book=book, progress=progress
        )
    return StrokeAnswer(**parts_of(made), curve_filename=measured.filename, case=loaded, units=shown)

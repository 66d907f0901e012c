"""How much of the nearest limit is used, at many rates and strokes of one valve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from surge.api.answers import CaseAnswer, Json, Kind, Picture, data, parts_of
from surge.api.inputs import case_of, ends, of_file, rules_of_case, units_of
from surge.case.file import Case
from surge.reports.words import CAUTIONS
from surge.search.chart import ChartData, chart_of
from surge.workers import Progress

if TYPE_CHECKING:
    from surge.api.inputs import Number

FileKind = Literal["png", "svg", "pdf", "csv", "json"]


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartAnswer(ChartData, CaseAnswer):
    """What a chart shows: :class:`surge.search.chart.ChartData`, and the case that it was made from."""

    def text(self) -> str:
        """Return what the chart shows in words."""
        from surge.reports.chart import chart_lines

        return self.signed(chart_lines(self, self.case.lineup.title, self.display))

    def document(self) -> Json:
        """Return the chart as plain data (``surge schema chart``)."""
        from surge.reports.chart_json import chart_document

        return data(chart_document(self, self.head, self.case.lineup.title, CAUTIONS))

    def files(self, kinds: Sequence[FileKind]) -> dict[str, bytes]:
        """Return the chart as the bytes of files: pictures, a table (CSV), its document."""
        from surge.plots.chart import chart_files

        return chart_files(
            self, kinds, document=self.document(), display=self.display, signature=self.signature
        )

    def draw(self, *, kind: Kind = "png") -> Picture:
        """Draw the chart: the safe side and the window, how much of a limit is used, the agreed point."""
        return Picture(content=self.files([kind])[kind], kind=kind)


def survey(
    case: Case | str | Path,
    *,
    valve: str | None = None,
    scenario: str | None = None,
    rates: tuple[Number, Number] | None = None,
    strokes: tuple[Number, Number] | None = None,
    points: int = 25,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> ChartAnswer:
    """Compute how much of the nearest limit is used at many rates and strokes, as ``surge chart`` does.

    Parameters
    ----------
    case : Case, str or Path
    valve, scenario : str, optional
        Without them the ones that matter most.
    rates, strokes : (number, number), optional
        Ends of the raster, rising [m3/s], [s].
    points : int
        Rates, and strokes, to compute.
    units : mapping of str to str, optional
        Units of words and pictures over those of the case.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    ChartAnswer
        Arrays as of :class:`surge.search.chart.ChartData`.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.load_case` and :func:`surge.search.chart.chart_of`.
    ValueError
        Ends of the raster out of order.
    """
    flows = ends("rates", rates, dimension="flow")
    times = ends("strokes", strokes, dimension="time")
    loaded = case_of(case)
    shown = units_of(loaded, units)
    book = rules_of_case(loaded)
    with of_file(loaded.filename):
        made = chart_of(
            loaded.lineup,
            book=book,
            valve=valve,
            scenario=scenario,
            rates=flows,
            strokes=times,
            points=points,
            progress=progress,
        )
    return ChartAnswer(**parts_of(made), case=loaded, units=shown)

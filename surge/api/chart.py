"""How much of the nearest limit is used, at many rates and stroke times of one valve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from surge.api.answers import CaseAnswer, Json, Picture, data, parts_of
from surge.api.inputs import case_of, in_case, pair_in_si, rules_of_case, units_of
from surge.arguments import Measure, Number, Rising, checked
from surge.case.file import Case
from surge.choices import ChartKind, PictureKind
from surge.model.stroke import LOOKED_AT
from surge.reports.words import CAUTIONS
from surge.search.chart import ChartData, chart_of
from surge.workers import Progress

RATES = Rising(each=Measure(dimension="flow", least=1e-6, most=100.0), example='"200 m3/h" "900 m3/h"')
STROKES = Rising(
    each=Measure(dimension="time", least=LOOKED_AT[0], most=LOOKED_AT[1]), example='"2 s" "60 s"'
)
POINTS = Measure(least=3, most=100, wanted="write a whole number from 3 to 100")


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartAnswer(ChartData, CaseAnswer):
    """What a chart shows: :class:`surge.search.chart.ChartData`, and the case that it was made from."""

    def text(self) -> str:
        """Return in words what the chart shows."""
        from surge.reports.chart import chart_lines

        return self.signed(chart_lines(self, self.case.lineup.title, self.display))

    def document(self) -> Json:
        """Return the chart as plain data (``surge schema chart``)."""
        from surge.reports.chart_json import chart_document

        return data(chart_document(self, self.head, self.case.lineup.title, CAUTIONS))

    @checked
    def files(self, kinds: Sequence[ChartKind]) -> dict[str, bytes]:
        """Return the chart as files: pictures, a table (CSV), its document (JSON).

        Parameters
        ----------
        kinds : sequence of {"png", "svg", "pdf", "csv", "json"}

        Returns
        -------
        dict of str to bytes
            The whole file for each kind.
        """
        from surge.plots.chart import chart_files

        return chart_files(
            self, kinds, document=self.document(), display=self.display, signature=self.signature
        )

    @checked
    def draw(self, *, kind: PictureKind = "png") -> Picture:
        """Draw the chart: what is unsafe, the window, how much of a limit is used, and the agreed point."""
        return Picture(content=self.files([kind])[kind], kind=kind)


@checked
def survey(
    case: Case | str | Path,
    *,
    valve: str | None = None,
    scenario: str | None = None,
    rates: Annotated[tuple[Number, Number] | None, RATES] = None,
    strokes: Annotated[tuple[Number, Number] | None, STROKES] = None,
    points: Annotated[int, POINTS] = 25,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> ChartAnswer:
    """Tell how much of the nearest limit is used at many rates and stroke times, as ``surge chart`` does.

    Parameters
    ----------
    case : Case, str or Path
        As :func:`surge.load_case` gives it, or the path of its file.
    valve, scenario : str, optional
        By default the scenario that comes nearest to a limit, and the valve in it that matters most.
    rates : (number, number), optional
        Least and greatest rate of the chart [m3/s]; by default around the agreed one, as far as the case can
        flow.
    strokes : (number, number), optional
        Shortest and longest stroke time of the chart [s]; by default around that of the case.
    points : int
        Number of rates, and of stroke times, to compute; 3 to 100.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the case: ``{"flow": "bbl/h"}``.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    ChartAnswer
        ``rates`` [m3/s], shape (m,), and ``strokes`` [s], shape (n,); ``used``, the share of the nearest
        limit [-], above 1 beyond it, shape (m, n); ``shortest`` and ``longest``, the window at each rate [s],
        shape (m,); and more, see :class:`surge.search.chart.ChartData`.

    Raises
    ------
    CaseError
        A case with faults, or without an agreed rate; no such valve or scenario; a valve that does not move.
    GridError, SolveError
        The case cannot be computed.
    ArgumentError
        An argument that is not what it should be: ends that do not rise, a unit that is not known.

    Examples
    --------
    Three rates and three stroke times. At the second rate, the agreed one, a stroke of 5 s comes to 1.6 times
    the limit; 8.6 s is the shortest that is safe. The third rate cannot be reached.

    >>> import surge
    >>> chart = surge.survey("cases/gas-oil-release-coupling.toml", points=3)
    >>> chart.strokes.tolist()
    [2.0, 5.0, 60.0]
    >>> chart.used.round(1).tolist()
    [[0.9, 0.7, 0.6], [2.6, 1.6, 0.6], [nan, nan, nan]]
    >>> chart.shortest.round(1).tolist()
    [2.0, 8.6, nan]
    """
    flows = pair_in_si(rates, "rates", dimension="flow")
    times = pair_in_si(strokes, "strokes", dimension="time")
    loaded = case_of(case)
    shown = units_of(loaded, units)
    book = rules_of_case(loaded)
    with in_case(loaded):
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

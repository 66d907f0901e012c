"""How fast and how slowly valves may close, and how fast a case may load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from surge.api.answers import CaseAnswer, Json, data, parts_of
from surge.api.inputs import case_of, in_case, rules_of_case, units_of
from surge.arguments import Measure, Number, checked, si, si_or_none
from surge.case.file import Case
from surge.model.stroke import LOOKED_AT, refuse_unordered
from surge.reports.words import CAUTIONS
from surge.search.extras import Extras, asked
from surge.search.sizes import refuse_unsized
from surge.search.strokes import SHORTEST_STROKE
from surge.search.window import Windows, windows_of
from surge.workers import Progress

LOOKED = Measure(dimension="time", least=LOOKED_AT[0], most=LOOKED_AT[1])


@dataclass(frozen=True, kw_only=True, eq=False)
class WindowAnswer(Windows, CaseAnswer):
    """Windows of the valves of a case: all of :class:`surge.search.window.Windows`, and the case.

    Attributes
    ----------
    extras : Extras
        What was asked beside the windows: orders of shutting, shapes of strokes, bands of what is uncertain,
        sizes of relief valves and drums. What was not asked for is empty.
    """

    extras: Extras

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return the answer in words: on one screen, or with everything.

        Parameters
        ----------
        details : bool
            Each window with what proves it, what was held, and all that was asked besides.
        """
        from surge.reports.orders import more_lines
        from surge.reports.window import window_lines
        from surge.reports.window_screen import WindowScreen

        lineup, display = self.case.lineup, self.display
        if details:
            more = more_lines(self.extras, display)
            return self.signed(window_lines(self, lineup, display, more=more))
        screen = WindowScreen(self, lineup, display, extras=self.extras, signature=self.signature)
        return "\n".join(screen.lines())

    def joint_words(self) -> tuple[str, ...]:
        """Return in words what came of all strokes together, of closing and of opening."""
        from surge.reports.window import joint_sentences

        return tuple(joint_sentences(self))

    def document(self) -> Json:
        """Return the answer as plain data (``surge schema window``)."""
        from surge.reports.window_json import window_document

        return data(window_document(self, self.head, CAUTIONS, self.extras))


@checked
def find_windows(
    case: Case | str | Path,
    *,
    valves: Sequence[str] = (),
    shortest: Annotated[Number | None, LOOKED] = None,
    longest: Annotated[Number | None, LOOKED] = None,
    orders: bool = False,
    shapes: bool = False,
    bands: bool = False,
    sizes: bool = False,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> WindowAnswer:
    """Search how fast and how slowly valves may close, as ``surge window`` does.

    Parameters
    ----------
    case : Case, str or Path
        As :func:`surge.load_case` gives it, or the path of its file; its own rules hold.
    valves : sequence of str
        Valves to search for; by default those that the case marks as adjustable, or all that close.
    shortest, longest : number, optional
        Shortest and longest stroke to look at [s]; by default 1 s, and 120 s or 20 pipeline periods.
    orders : bool
        Also run other orders of shutting.
    shapes : bool
        Also search the best two-stage stroke of each valve.
    bands : bool
        Also search the window for the worst of what the table ``[bands]`` of the case says is uncertain.
    sizes : bool
        Also search the smallest relief valve and the smallest surge drum that keep the case as it is, or a
        window open.
    units : mapping of str to str, optional
        Units of the words, in place of those of the case: ``{"pressure": "psi"}``.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    WindowAnswer
        ``bounds(valve)``, its shortest and longest stroke [s]; ``rates``, greatest safe rates [m3/s];
        ``together``, the set of strokes run as such; ``verdict``, ``exit_code``.

    Raises
    ------
    CaseError
        A case with faults; a valve that is not there or never closes; sizes of a case that has neither a
        relief valve nor a surge drum.
    GridError, SolveError
        The case cannot be computed.
    ArgumentError
        An argument that is not what it should be: a unit that is not offered, strokes out of
        bounds, a shortest stroke that is not below the longest looked at.

    Examples
    --------
    The coupling shuts in 5 s, which is too fast; 8.6 s is safe, and no rule says that a longer stroke is too
    slow. At 5 s it may load at 272 m3/h.

    >>> import surge
    >>> windows = surge.find_windows("cases/gas-oil-release-coupling.toml", shortest=4.0, longest=20.0)
    >>> windows.bounds("quick-release coupling")
    (8.6, None)
    >>> [round(rate.greatest * 3600) for rate in windows.rates]  # from m3/s to m3/h
    [274, 274]
    """
    least = SHORTEST_STROKE if shortest is None else si("shortest", shortest, dimension="time")
    most = si_or_none("longest", longest, dimension="time")
    if most is not None:
        refuse_unordered(least, most)
    loaded = case_of(case)
    shown = units_of(loaded, units)
    book = rules_of_case(loaded)
    with in_case(loaded):
        if sizes:
            refuse_unsized(loaded.lineup)
        made = windows_of(
            loaded.lineup, book=book, valves=valves, shortest=least, longest=most, progress=progress
        )
        extras = asked(
            loaded.lineup,
            made,
            book=book,
            orders=orders,
            shapes=shapes,
            bands=loaded.bands if bands else None,
            sizes=sizes,
            progress=progress,
        )
    return WindowAnswer(**parts_of(made), extras=extras, case=loaded, units=shown)

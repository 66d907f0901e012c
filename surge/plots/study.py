"""Pictures of a study: the table of line-ups, how the peak spreads, which figure matters."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from surge.choices import StudyPicture
from surge.errors import RequestError
from surge.phrases import counted
from surge.plots.frame import (
    BAND,
    HIGH,
    INK,
    LEFT,
    RIGHT,
    Heading,
    Kinds,
    Labels,
    PicturePage,
    bar,
    draw,
    faint_grid,
)
from surge.reports.study import (
    CONFIDENCE,
    GIVEN,
    NO_VERDICT,
    interval,
    percent_up,
    spread_words,
    window_state,
)
from surge.reports.words import CAUTIONS, HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.studies.schema import WINDOW
from surge.studies.summary import CellCount, Matter, Searched, Spread, Summary
from surge.units import printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROWS, COLUMNS = 10, 6  # of a table
LINES = 5  # in a cell of it
CHARACTERS = 128  # in a line across the whole room
TALL, WIDE, HEAD_ROOM = 0.2, 0.27, 0.09  # of a row, a column, and their names: shares of the room
STRIPS = 5  # line-ups whose peak is drawn
CLASSES, FEW_CLASSES, FEW = 50, 25, 150  # of a histogram that is drawn; of fewer runs than that
FIGURES = 12  # whose indices are drawn
GAP = 0.06  # between two strips, of the room
# How a cell is filled: words say it, hatching and shades help.
FILLS: Mapping[str, Mapping[str, Any]] = {
    WITHIN: {"facecolor": "white", "hatch": ""},
    UNDECIDED: {"facecolor": BAND, "hatch": ".."},
    EXCEEDED: {"facecolor": "#f3e3da", "hatch": "///"},
}


KEY = "Plain: kept. Dots: cannot be decided. Hatched: exceeded, or no window."


@dataclass(frozen=True)
class Cell:
    """A cell of the table: its lines, and what came of it."""

    lines: tuple[str, ...]
    verdict: str


def study_files(
    of: StudyPicture, made: Summary, display: Display, signature: str, *, kinds: Kinds
) -> dict[str, bytes]:
    """Draw one picture of a study.

    Parameters
    ----------
    of : {"table", "peaks", "matters"}
    made : Summary
    display : Display
        Units of words and axes.
    signature : str
        Which program and which study.
    kinds : sequence of {"png", "svg", "pdf"}

    Returns
    -------
    dict of str to bytes
        A file for each kind.

    Raises
    ------
    RequestError
        The study has nothing to show in it.
    """
    if of not in drawable(made):
        raise RequestError(f'this study has nothing for the picture "{of}"; {_offer(made)}')
    paint, said, fill = {"table": _table, "peaks": _peaks, "matters": _matters}[of](made, display)
    count = made.count
    state = HEADLINE[made.verdict] if made.decides else "QUICK LOOKS, NO VERDICT"
    words = ("exceeded", "undecided", "kept")
    if not made.decides:
        words = ("beyond a limit", "boil or cannot be run", "within limits")
    shown = zip((count.exceeded, count.undecided, count.kept), words, strict=True)
    counts = f"{state}: {counted(count.runs, 'run')}, {', '.join(f'{n} {word}' for n, word in shown)}"
    foot = [] if made.decides else [NO_VERDICT]
    foot += [GIVEN] if made.study.uncertain else []
    heading = Heading(
        lines=(made.study.title, counts, said),
        foot=(*foot, f"{LOCAL_CODES} {CAUTIONS[0]}"),
        signature=signature,
    )
    return draw(paint, display, heading, kinds=kinds, alt=f"{counts}. {said}", fill=fill)


def drawable(made: Summary) -> tuple[StudyPicture, ...]:
    """Return which pictures a study has."""
    found: list[StudyPicture] = []
    if made.study.axes and (made.cells or made.searched):
        found.append("table")
    if made.spreads:
        found.append("peaks")
    if any(matter.indices for matter in made.matters):
        found.append("matters")
    return tuple(found)


def _offer(made: Summary) -> str:
    there = drawable(made)
    return f"it has {', '.join(there)}" if there else "nothing of it can be drawn"


# The table of line-ups


def _table(made: Summary, display: Display) -> tuple[Any, str, float]:
    """What paints the table, what is said above it, and how much of the usual room it takes."""
    study = made.study
    across = study.axes[-1]
    columns = [printable(o.name) for o in across.options]
    rows: dict[str, dict[str, Cell]] = {}
    by_options: dict[tuple[str, ...], list[Searched]] = {}
    for one in made.searched:
        by_options.setdefault(one.options, []).append(one)
    for cell in made.cells:
        name = ", ".join(cell.options[:-1]) or "runs"
        found = by_options.get(cell.options, [])
        content = (
            _searched_cell(found, display) if study.run == WINDOW and found else _counted_cell(cell, made)
        )
        rows.setdefault(printable(name), {})[printable(cell.options[-1])] = content
    what = "What came of the runs"
    if study.run == WINDOW:
        valves = dict.fromkeys(w["valve"] for one in made.searched for w in one.windows)
        whose = f' of "{printable(next(iter(valves)))}"' if len(valves) == 1 else ""
        what = f"Windows of closing strokes{whose}, and greatest safe rates"
    said = f"{what}, by {' and '.join(a.name for a in study.axes)}. {KEY}"
    left_out = (len(rows) - ROWS, "more row"), (len(columns) - COLUMNS, "more column")
    if more := " and ".join(counted(*each) for each in left_out if each[0] > 0):
        said += f" In the results only: {more}."
    shown = dict(list(rows.items())[:ROWS])
    names = [a.name for a in study.axes[:-1]]
    head = f"{', '.join(names)} \u2193   {across.name} \u2192" if names else f"{across.name} \u2192"
    fill = min(HEAD_ROOM + TALL * len(shown), 1.0)
    return (lambda page: _paint_table(page, shown, columns[:COLUMNS], printable(head))), said, fill


def _searched_cell(found: Sequence[Searched], display: Display) -> Cell:
    """Windows of a line-up; of several runs of it what holds for all."""
    lines, states = [], []
    valves = dict.fromkeys(w["valve"] for one in found for w in one.windows)
    for valve in valves:
        windows = [w for one in found for w in one.windows if w["valve"] == valve]
        shortest = [w["shortest_s"] for w in windows]
        longest = [w["longest_s"] for w in windows if w["longest_s"] is not None]
        least = None if None in shortest or len(windows) < len(found) else max(shortest)
        most = min(longest, default=None)
        empty = least is None or (most is not None and least > most) or not all(w["open"] for w in windows)
        states += [window_state(one.verdict, w) for one in found for w in one.windows]
        span = f"{least:g} s or more" if most is None else f"{least:g} to {most:g} s"
        lines += ["EMPTY" if empty else span, *([printable(valve)] if len(valves) > 1 else [])]
    rates = [r["greatest_m3_s"] for one in found for r in one.rates]
    if rates:
        known = [r for r in rates if r is not None]
        lines.append("no safe rate" if len(known) < len(rates) else f"up to {display.flow_down(min(known))}")
    verdict = _worst_verdict([one.verdict for one in found], states)
    if not lines:
        lines = ["cannot be told"]
    if verdict == UNDECIDED:
        lines.append("undecided")
    return Cell(tuple(lines), verdict)


def _worst_verdict(verdicts: Sequence[str], states: Sequence[str]) -> str:
    if "EMPTY" in states or EXCEEDED in verdicts:
        return EXCEEDED
    return UNDECIDED if UNDECIDED in verdicts else WITHIN


def _counted_cell(cell: CellCount, made: Summary) -> Cell:
    count = cell.count
    bad, kept = ("exceeded", "kept") if made.decides else ("beyond", "within")
    if count.runs == 1:
        words = bad.upper() if count.exceeded else ("undecided" if count.undecided else kept)
        return Cell((words,), count.verdict)
    lines = [f"{count.kept} of {count.runs} {kept}"]
    if count.exceeded:
        lines.append(f"{count.exceeded} {bad.upper()}")
    if count.undecided:
        lines.append(f"{count.undecided} undecided")
    if cell.chance is not None and cell.chance.high is not None:
        lines.append(f"not {kept}: {interval(cell.chance)}")
    return Cell(tuple(lines), count.verdict)


def _paint_table(
    page: PicturePage, rows: Mapping[str, Mapping[str, Cell]], columns: Sequence[str], head: str
) -> None:
    from matplotlib.patches import Rectangle

    axes = page.axes(0.0, 1.0, left=LEFT, right=RIGHT)
    axes.set_axis_off()
    # In parts of the usual room: rows no higher than TALL, columns no wider than WIDE, however few there are.
    first = 0.20
    wide = min((1.0 - first) / len(columns), WIDE)
    tall = min((1.0 - HEAD_ROOM) / len(rows), TALL)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(HEAD_ROOM + tall * len(rows), 0.0)
    width, size = int(CHARACTERS * wide), 10.0 if wide > 0.15 and tall > 0.12 else 8.0
    names: dict[str, Any] = {"va": "center", "fontsize": size, "weight": "bold"}
    axes.text(
        0.0,
        0.5 * HEAD_ROOM,
        _short(head, int(CHARACTERS * first), 2),
        va="center",
        fontsize=size,
        style="italic",
    )
    for j, column in enumerate(columns):
        axes.text(first + (j + 0.5) * wide, 0.5 * HEAD_ROOM, _short(column, width, 2), ha="center", **names)
    for i, (name, cells) in enumerate(rows.items()):
        top = HEAD_ROOM + i * tall
        axes.text(0.0, top + 0.5 * tall, _short(name, int(CHARACTERS * first), 3), **names)
        for j, column in enumerate(columns):
            cell = cells.get(column, Cell(("not run",), UNDECIDED))
            left = first + j * wide
            box = Rectangle(
                (left + 0.004, top + 0.006), wide - 0.008, tall - 0.012, edgecolor=INK, linewidth=0.8
            )
            box.set(**FILLS[cell.verdict])
            axes.add_patch(box)
            at = left + 0.5 * wide, top + 0.5 * tall
            _write(axes, cell, at, width=width, tall=tall, size=size)


def _write(axes: Axes, cell: Cell, at: tuple[float, float], *, width: int, tall: float, size: float) -> None:
    """The words of a cell, what matters most larger."""
    shown = [part for line in cell.lines for part in textwrap.wrap(line, width)]
    step = 0.034 if size > 9 else 0.026
    most = min(LINES, int(tall / step))
    if len(shown) > most:
        shown = [*shown[: most - 1], "..."]
    for k, line in enumerate(shown):
        style: dict[str, Any] = {"fontsize": size + 2.5, "weight": "bold"} if k == 0 else {"fontsize": size}
        halo = {"facecolor": "white", "edgecolor": "none", "pad": 1.2}
        y = at[1] + (k - 0.5 * (len(shown) - 1)) * step
        axes.text(at[0], y, line, ha="center", va="center", bbox=halo, **style)


def _short(text: str, width: int, most: int) -> str:
    """A text in a few short lines."""
    lines = textwrap.wrap(text, width) or [""]
    return "\n".join(lines if len(lines) <= most else [*lines[: most - 1], f"{lines[most - 1]} ..."])


# How the peak spreads


def _peaks(made: Summary, display: Display) -> tuple[Any, str, float]:
    alone = [s for s in made.spreads if s.name]
    shown = alone[:STRIPS] if alone else list(made.spreads[:1])
    said = spread_words(made.spreads[0], display)
    if len(alone) > STRIPS:
        said += f" In the results only: {counted(len(alone) - STRIPS, 'more line-up')}."
    return (lambda page: _paint_peaks(page, made, shown)), said, 1.0


def _paint_peaks(page: PicturePage, made: Summary, shown: Sequence[Spread]) -> None:
    height = (1.0 - GAP * (len(shown) - 1)) / len(shown)
    cells = {cell.name: cell for cell in made.cells}
    first: Axes | None = None
    for k, spread in enumerate(shown):
        top = 1.0 - k * (height + GAP)
        axes = page.axes(top - height, top, sharex=first)
        first = first or axes
        cell = cells.get(spread.name) if spread.name else (made.cells[0] if len(made.cells) == 1 else None)
        _strip(axes, page.display, spread, cell, made)
        if k == len(shown) - 1:
            unit = "share of its limit, %" if spread.shares else f"{page.display.units.pressure}(g)"
            axes.set_xlabel(f"highest pressure where it comes nearest to its limit, {unit}")
        else:
            axes.tick_params(labelbottom=False)
    assert first is not None
    first.figure.supylabel("runs", x=0.012, fontsize=10)


def _strip(axes: Axes, display: Display, spread: Spread, cell: CellCount | None, made: Summary) -> None:
    """One line-up: a histogram, its limit, how many are not kept."""
    classes = CLASSES if spread.counts.sum() >= FEW else FEW_CLASSES
    step = spread.counts.size // classes
    counts = spread.counts.reshape(classes, step).sum(axis=1)
    edges = _axis(display, spread, spread.edges[::step])
    limit = float(_axis(display, spread, np.array([spread.limit]))[0])
    most = float(counts.max())
    axes.bar(
        edges[:-1], counts, width=np.diff(edges), align="edge", color="#c9d3d9", edgecolor=INK, linewidth=0.6
    )
    axes.axvline(limit, color=HIGH, linewidth=1.8)
    low, high = float(edges[0]), float(edges[-1])
    wide = max(high, limit) - min(low, limit)
    axes.set_xlim(min(low, limit) - 0.04 * wide, max(high, limit) + 0.12 * wide)
    axes.set_ylim(0.0, 1.5 * max(most, 1.0))
    labels = Labels(axes)
    middles = 0.5 * (edges[1:] + edges[:-1])
    labels.curve(middles, counts)
    name = printable(spread.name) or (printable(cell.name) if cell is not None else "all line-ups")
    words = f"{_short(name, 90, 2)}\n{_unsafe(cell, made)}" if cell is not None else name
    labels.keep(axes.text(0.006, 0.96, words, transform=axes.transAxes, va="top", fontsize=9))
    told = "its limit" if spread.shares else f"limit {display.pressure(spread.limit, unit=True)}"
    right = limit < 0.5 * sum(axes.get_xlim())
    style: dict[str, Any] = {"ha": "left" if right else "right", "va": "top", "fontsize": 9, "color": HIGH}
    labels.keep(axes.text(limit, 1.42 * max(most, 1.0), f" {told} ", **style))


def _axis(display: Display, spread: Spread, values: Any) -> Any:
    return 100.0 * values if spread.shares else bar(display, values)


def _unsafe(cell: CellCount, made: Summary) -> str:
    """How many runs are not kept, and what that says."""
    kept = "kept" if made.decides else "within limits"
    words = f"not {kept}: {cell.count.unsafe} of {cell.count.runs}"
    if cell.chance is None:
        return words
    words += f", {percent_up(cell.chance.share)}"
    if cell.chance.high is None:
        return f"{words}, no interval"
    return f"{words}, {CONFIDENCE} interval {interval(cell.chance)}"


# Which figure matters


def _matters(made: Summary, display: Display) -> tuple[Any, str, float]:
    del display
    told = [m for m in made.matters if m.indices]
    first = max(told[0].indices, key=lambda i: i.total)
    said = (
        f'The nearest highest pressure depends most on "{printable(first.name)}": '
        f"{100 * first.first:.0f} % of its variance alone, {100 * first.total:.0f} % with others "
        f"(Sobol indices, with {CONFIDENCE} intervals)."
    )
    if len(told) > 1:
        said = f"{told[0].name}. {said} In the results only: {counted(len(told) - 1, 'more line-up')}."
    return (lambda page: _paint_matters(page, told[0])), said, 1.0


def _paint_matters(page: PicturePage, matter: Matter) -> None:
    shown = sorted(matter.indices, key=lambda i: -i.total)[:FIGURES]
    axes = page.axes(0.0, 1.0, left=0.26)
    at = np.arange(len(shown))
    names = [_short(printable(i.name), 34, 2) for i in shown]
    for shift, what, half, label, fill in (
        (-0.19, "total", "total_half", "with others (total)", {"facecolor": BAND, "hatch": "///"}),
        (0.19, "first", "first_half", "alone (first order)", {"facecolor": "#4f6f82", "hatch": ""}),
    ):
        values = np.array([getattr(i, what) for i in shown])
        halves = np.array([getattr(i, half) for i in shown])
        style: dict[str, Any] = {"edgecolor": INK, "linewidth": 0.8, **fill}
        axes.barh(at + shift, np.maximum(values, 0.0), height=0.34, label=label, **style)
        axes.errorbar(
            np.maximum(values, 0.0), at + shift, xerr=halves, fmt="none", ecolor=INK, capsize=3, linewidth=1.1
        )
        for k, (value, half_width) in enumerate(zip(values, halves, strict=True)):
            words = f"{max(value, 0.0):.2f} ±{half_width:.2f}"
            style = {"va": "center", "fontsize": 8.5, "zorder": 5}
            axes.text(max(value, 0.0) + half_width + 0.012, k + shift, words, **style)
    axes.set_yticks(at, names, fontsize=10)
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.set_xlim(0.0, max(1.0, 1.15 * max(i.total + i.total_half for i in shown)))
    axes.set_xlabel("share of the variance of the nearest highest pressure")
    faint_grid(axes, "x")
    axes.set_axisbelow(True)
    axes.legend(loc="lower right", fontsize=10, frameon=True)

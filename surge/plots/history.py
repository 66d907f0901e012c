"""Stroke times over the years: a small panel for each valve, a whole manifold on a page.

Fill, line style and words tell closing from opening; colours only help. The word at the head of a panel is
the verdict on the valve's history.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from surge.plots.frame import (
    BAND,
    DOTS,
    FAINT,
    HIGH,
    INK,
    LOW,
    Heading,
    file_words,
    new_figure,
    our_settings,
    say_boxes,
)
from surge.records.stroke_tests import Direction, Side
from surge.reports.history import ALL_TIMES, brief
from surge.units import printable
from surge.valves.history_types import (
    IN_ORDER,
    NO_LIMIT,
    STATE_RANK,
    HistoryGround,
    LimitInHistory,
    ValveHistory,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE = (8.27, 11.69)  # [inch] A4 upright
ACROSS, DOWN = 4, 6
PANELS = ACROSS * DOWN
FEWER = ((2, 1, 2), (8, 2, 4), (15, 3, 5))  # up to so many valves: across, down
ABOVE, BELOW = 0.0178, 0.0451  # of the page, for the words above and below a panel
TOP, BOTTOM = 0.925, 0.105
CALM = (IN_ORDER, NO_LIMIT)
TITLE, SMALL = 7.0, 5.6  # [pt]
REASONS = 3  # lines of words below a panel
WORDS = 48  # characters in such a line, where there are four panels across
FAR_LIMIT = 2.2  # a limit beyond so many times the greatest time is told, not drawn
KEPT_TOGETHER = re.compile(r"([0-9]) (s|%)")


@dataclass(frozen=True, kw_only=True)
class Panel:
    """The part of a page that shows one valve: its histories, closing before opening."""

    tag: str
    histories: tuple[ValveHistory, ...]

    @property
    def worst(self) -> ValveHistory:
        """The more urgent of its histories. One without a limit counts only where no other has one."""
        limited = [h for h in self.histories if h.state != NO_LIMIT]
        return min(limited or self.histories, key=lambda h: STATE_RANK[h.state])


def panels_of(histories: Iterable[ValveHistory]) -> tuple[Panel, ...]:
    """Put both directions of each valve into one panel; the worst valve first, else in the order given."""
    found: dict[str, list[ValveHistory]] = {}
    for h in histories:
        found.setdefault(h.tag, []).append(h)
    ways = list(Direction)
    made = [
        Panel(tag=tag, histories=tuple(sorted(hs, key=lambda h: ways.index(h.direction))))
        for tag, hs in found.items()
    ]
    return tuple(sorted(made, key=lambda p: STATE_RANK[p.worst.state]))


def draw_histories(
    histories: Iterable[ValveHistory], ground: HistoryGround, heading: Heading, *, kinds: Sequence[str]
) -> dict[str, tuple[bytes, ...]]:
    """Draw the histories of valves, 24 valves on an A4 page, the worst first.

    Parameters
    ----------
    histories : iterable of ValveHistory
        Sorted, as :func:`surge.valves.history.histories` gives them.
    ground : HistoryGround
        What they are held against: the same that they were made with.
    heading : Heading
        Words around the page.
    kinds : sequence of {"png", "svg", "pdf"}

    Returns
    -------
    dict of str to tuple of bytes
        For each kind its files: a PDF holds all pages, PNG and SVG are a file for each page. The same
        histories give the same bytes.
    """
    panels = panels_of(histories)
    pages = [panels[k : k + PANELS] for k in range(0, len(panels), PANELS)] or [()]
    with our_settings():
        span = _span(panels, ground)
        figures = [
            _page(page, ground, heading, span=span, number=(k + 1, len(pages)))
            for k, page in enumerate(pages)
        ]
        for figure in figures:
            say_boxes(figure)
        return {kind: _files(figures, kind, heading) for kind in kinds}


def _files(figures: Sequence[Figure], kind: str, heading: Heading) -> tuple[bytes, ...]:
    """Write the pages as files without the time of day in them."""
    title = printable(heading.lines[0])
    if kind == "pdf":
        from matplotlib.backends.backend_pdf import PdfPages

        whole = io.BytesIO()
        with PdfPages(whole, metadata=file_words("pdf", heading.signature, title=title)) as pdf:
            for figure in figures:
                pdf.savefig(figure)
        return (whole.getvalue(),)
    said = file_words(kind, heading.signature, title=title)
    made = []
    for figure in figures:
        out = io.BytesIO()
        figure.savefig(out, format=kind, dpi=DOTS, metadata=said)
        made.append(out.getvalue())
    return tuple(made)


def _span(panels: Sequence[Panel], ground: HistoryGround) -> tuple[float, float]:
    """The one time axis of all panels: from the first test to where the next ones are due."""
    days = [p.day for panel in panels for h in panel.histories for p in h.tests]
    first = _at(min([*days, ground.today - timedelta(days=360)]))
    last = _at(max([*days, ground.interval.after(ground.today)]))
    aside = (last - first) * 0.03
    return first - aside, last + aside


def _at(day: date) -> float:
    return float(day.toordinal())


def _page(
    panels: Sequence[Panel],
    ground: HistoryGround,
    heading: Heading,
    *,
    span: tuple[float, float],
    number: tuple[int, int],
) -> Figure:
    figure = new_figure(PAGE)
    few = [shape for most, *shape in FEWER if len(panels) <= most and number[1] == 1]
    across, down = few[0] if few else (ACROSS, DOWN)
    width, height = (RIGHT - LEFT) / across, (TOP - BOTTOM) / down
    for k, panel in enumerate(panels):
        row, column = divmod(k, across)
        left, low = LEFT + column * width, TOP - (row + 1) * height
        axes = figure.add_axes(
            (left, low + BELOW, width - 0.12 * width * across / ACROSS, height - ABOVE - BELOW)
        )
        _panel(axes, panel, ground, span, place=(number[0] - 1) * PANELS + k + 1)
        _reasons(axes, panel, ground, WORDS * ACROSS // across)
    words_around(figure, heading, ground, number)
    legend(figure)
    return figure


def _panel(axes: Axes, panel: Panel, ground: HistoryGround, span: tuple[float, float], *, place: int) -> None:
    axes.set_xlim(*span)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_linewidth(0.6)
    _times(axes, panel)
    for history in panel.histories:
        _history(axes, history, ground, span)
    axes.axvline(_at(ground.today), color=INK, linewidth=0.5, linestyle=(0, (1, 2)), zorder=1)
    if not any(h.tests for h in panel.histories):
        axes.text(0.5, 0.38, "no test", transform=axes.transAxes, fontsize=TITLE, ha="center", va="center")
    _head(axes, panel, place)
    _years(axes)


def _times(axes: Axes, panel: Panel) -> None:
    """The upright axis: all times and every limit that is not far off."""
    times = [p.time for h in panel.histories for p in h.tests]
    limits = [limit.time for h in panel.histories for limit in h.limits if 0.0 < limit.time < ALL_TIMES]
    top = max(times, default=max(limits, default=30.0))
    seen = [*times, *(t for t in limits if t <= FAR_LIMIT * top)]
    low, high = min(seen, default=0.0), max(seen, default=top)
    room = max(high - low, 0.25 * high, 1.0)
    if not times:
        low = 0.0
    axes.set_ylim(max(low - 0.18 * room, 0.0), high + 0.18 * room)
    axes.tick_params(labelsize=SMALL, length=2, width=0.5, pad=1.5)
    axes.locator_params(axis="y", nbins=4)
    axes.yaxis.set_major_formatter("{x:g} s")


def _years(axes: Axes) -> None:
    """Ticks at the beginning of years, and of half-years where there are few years."""
    low, high = axes.get_xlim()
    years = range(date.fromordinal(int(low)).year, date.fromordinal(int(high)).year + 1)
    step = 1 + len(years) // 6
    starts = [(date(year, 1, 1), str(year)) for year in years[::step]]
    if len(years) <= 3:
        starts += [(date(year, 7, 1), "Jul") for year in years]
    seen = [(_at(day), word) for day, word in starts if low <= _at(day) <= high]
    axes.set_xticks([day for day, _ in seen], [word for _, word in seen])


def _head(axes: Axes, panel: Panel, place: int) -> None:
    """Tag and verdict word; what is not calm is black on white the other way round."""
    worst = panel.worst
    calm = worst.state in CALM
    tag = textwrap.shorten(printable(panel.tag), 17, placeholder="…")
    axes.annotate(
        f"{place}  {tag}",
        (0.0, 1.0),
        xytext=(0.0, 5.0),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=TITLE,
        weight="bold",
        va="bottom",
    )
    axes.annotate(
        worst.state,
        (1.0, 1.0),
        xytext=(0.0, 5.6),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=TITLE - 1.2,
        weight="bold",
        ha="right",
        va="bottom",
        color=INK if calm else "white",
        bbox={
            "boxstyle": "round,pad=0.25",
            "facecolor": "white" if calm else INK,
            "edgecolor": INK,
            "linewidth": 0.6,
        },
    )


def _reasons(axes: Axes, panel: Panel, ground: HistoryGround, wide: int) -> None:
    """A line or some below a panel, ``wide`` characters long, for each direction."""
    size = TINY if wide == WORDS else SMALL + 0.9  # where there is room, in larger letters
    said: list[str] = []
    for h in panel.histories:
        text = printable(f"{STYLE[h.direction]['words']}: {brief(h, ground)}")
        said += textwrap.wrap(KEPT_TOGETHER.sub("\\1\u00a0\\2", text), int(wide * TINY / size))[:REASONS]
    axes.annotate(
        "\n".join(said[: 2 * REASONS]),
        (0.0, 0.0),
        xytext=(-11.0, -13.0),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=size,
        va="top",
        linespacing=1.1,
    )


def _history(axes: Axes, history: ValveHistory, ground: HistoryGround, span: tuple[float, float]) -> None:
    """One direction: action band and baseline, limits, trend with its band, tests."""
    style = STYLE[history.direction]
    if history.baseline is not None:
        start, base = _at(history.baseline.day), history.baseline.time
        low, high = base * (1 - ground.action), base * (1 + ground.action)
        axes.fill_between([start, span[1]], low, high, color=BAND, linewidth=0.0, zorder=0, alpha=0.8)
        axes.plot(
            [start, span[1]], [base, base], color=FAINT, linewidth=0.7, linestyle=(0, (1, 1.5)), zorder=1
        )
    for limit in history.limits:
        _limit(axes, limit, style)
    _trend(axes, history, style, span)
    for proof in (True, False):
        points = [p for p in history.tests if (not p.apart) is proof]
        axes.plot(
            [_at(p.day) for p in points],
            [p.time for p in points],
            linestyle="none",
            marker=style["marker"] if proof else "x",
            markersize=3.2 if proof else 3.0,
            markerfacecolor=style["fill"],
            markeredgecolor=style["color"] if proof else FAINT,
            markeredgewidth=0.8,
            zorder=4,
            clip_on=False,
        )


def _limit(axes: Axes, limit: LimitInHistory, style: dict[str, Any]) -> None:
    """A limit, hatched on the side that is not allowed; one off the picture is told at its edge."""
    low, high = axes.get_ylim()
    fast = limit.bound.side is Side.FASTEST
    if low < limit.time < high:
        edge = limit.time - 0.06 * (high - low) if fast else limit.time + 0.06 * (high - low)
        axes.axhline(limit.time, color=style["color"], linewidth=1.1, linestyle=style["line"], zorder=2)
        axes.axhspan(
            *sorted((limit.time, edge)),
            facecolor="none",
            edgecolor=style["color"],
            hatch="//////",
            linewidth=0.0,
            zorder=1,
        )
        return
    told = 0.0 < limit.time < ALL_TIMES
    words = f"{limit.bound.side.value} {limit.time:.0f} s" if told else "no time is allowed"
    at, va = (0.98, "top") if limit.time >= high else (0.03, "bottom")
    shift = 0.0 if style["line"] == "-" else (-0.11 if va == "top" else 0.11)
    arrow = "↑" if va == "top" else "↓"
    axes.text(
        *(0.99, at + shift),
        f"{style['words']}: {words} {arrow}",
        transform=axes.transAxes,
        fontsize=TINY,
        ha="right",
        va=va,
        color=style["color"],
        zorder=5,
    )


def _trend(axes: Axes, history: ValveHistory, style: dict[str, Any], span: tuple[float, float]) -> None:
    """The trend to the end of the picture, and the fan of slopes in its band."""
    trend, zero = history.trend, history.day_zero
    if trend is None or trend.slope is None or zero is None:
        return
    days = [0.0, trend.at, span[1] - _at(zero)]
    dates = [_at(zero) + d for d in days]
    axes.plot(
        dates,
        [trend.value(d) for d in days],
        color=style["color"],
        linewidth=1.0,
        linestyle=style["line"],
        zorder=3,
    )
    if trend.low is not None and trend.high is not None:
        fan = [[trend.level + slope * (d - trend.at) for slope in (trend.low, trend.high)] for d in days]
        axes.fill_between(
            dates,
            [min(f) for f in fan],
            [max(f) for f in fan],
            color=style["color"],
            alpha=0.18,
            linewidth=0.0,
            zorder=2,
        )


LEFT, RIGHT = 0.055, 0.985


TINY = 5.0  # [pt]


FOOT = 185  # characters in a line of the foot


# Closing: filled, unbroken. Opening: open, dashed.
STYLE: dict[Direction, dict[str, Any]] = {
    Direction.CLOSING: {"color": HIGH, "marker": "o", "fill": HIGH, "line": "-", "words": "closing"},
    Direction.OPENING: {
        "color": LOW,
        "marker": "s",
        "fill": "white",
        "line": (0, (4, 2)),
        "words": "opening",
    },
}


def words_around(figure: Figure, heading: Heading, ground: HistoryGround, number: tuple[int, int]) -> None:
    """Write the title, the lines below it, the foot and the number of the page."""
    title, *lines = (printable(t) for t in heading.lines)
    page = f"page {number[0]} of {number[1]}" if number[1] > 1 else ""
    figure.text(LEFT - 0.02, 0.975, textwrap.shorten(title, 80), fontsize=11.5, weight="bold", va="center")
    figure.text(RIGHT, 0.975, f"{ground.today}   {page}".strip(), fontsize=8, ha="right", va="center")
    for k, line in enumerate(lines[:2]):
        figure.text(LEFT - 0.02, 0.957 - 0.0145 * k, textwrap.shorten(line, 140), fontsize=8, va="center")
    foot = [line for text in heading.foot for line in textwrap.wrap(printable(text), FOOT)]
    foot.append(printable(heading.signature))
    for k, line in enumerate(reversed(foot)):
        figure.text(LEFT - 0.03, 0.012 + 0.0105 * k, line, fontsize=TINY + 0.4, va="center")


def legend(figure: Figure) -> None:
    """Draw what the marks mean, once for the page."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Any] = []
    for style in STYLE.values():
        marks.append(
            Line2D(
                *([], []),
                color=style["color"],
                linestyle=style["line"],
                linewidth=1.0,
                marker=style["marker"],
                markerfacecolor=style["fill"],
                markersize=4,
                label=f"{style['words']}: tests and trend",
            )
        )
    marks += [
        Line2D([], [], color=FAINT, marker="x", linestyle="none", markersize=4, label="shown, not compared"),
        Line2D([], [], color=FAINT, linewidth=0.7, linestyle=(0, (1, 1.5)), label="baseline"),
        Patch(facecolor=BAND, label="action band"),
        Patch(facecolor=FAINT, alpha=0.4, label="band of the trend"),
        Patch(
            facecolor="none", edgecolor=INK, hatch="//////", linewidth=0.0, label="limit: not allowed beyond"
        ),
        Line2D([], [], color=INK, linewidth=0.6, linestyle=(0, (1, 2)), label="day of this look"),
    ]
    figure.legend(
        handles=marks,
        loc="lower left",
        bbox_to_anchor=(LEFT - 0.035, 0.072),
        ncols=4,
        fontsize=6,
        frameon=False,
        handlelength=2.6,
        columnspacing=1.6,
        labelspacing=0.3,
    )

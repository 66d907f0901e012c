"""The chart: rate upwards, stroke time across, and how much of the nearest limit is used.

Lightness alone tells how much of a limit is used; hatching and words tell what is unsafe. So a grey print and
a reader who does not see colours lose nothing.
"""

from __future__ import annotations

import io
import math
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from surge.arrays import Array, Mask
from surge.plots.frame import (
    BOX,
    DOTS,
    FOOT,
    HALO,
    SIZE,
    Heading,
    file_words,
    new_figure,
    our_settings,
    quoted,
    say_boxes,
)
from surge.reports.chart import PICTURES, chart_csv, foot, heading_lines, limit_words, runs
from surge.reports.document import Json, as_text
from surge.reports.words import HEADLINE, Display
from surge.search.chart import ChartData
from surge.units import from_si, printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patheffects import AbstractPathEffect
    from matplotlib.transforms import Bbox


# One hue, from little used to far beyond the limit; never so dark that hatching and words are lost on it.
SHADES = ("#f7fbff", "#dbe9f6", "#bad6eb", "#89bedc", "#5b9bd0", "#3b6ea5")
BEYOND = 2.0  # shares above this are drawn as this
HEAD = 145  # characters of a line above the chart: what was held is never cut
NARROW = 0.22  # of the width: words in a narrower area stand upright


def draw_chart(
    chart: ChartData, display: Display, heading: Heading, *, kinds: Sequence[str]
) -> dict[str, bytes]:
    """Draw a chart.

    Parameters
    ----------
    chart : ChartData
    display : Display
        Units of the words and axes.
    heading : Heading
    kinds : sequence of {"png", "svg", "pdf"}

    Returns
    -------
    dict of str to bytes
        A file for each kind; the same chart gives the same bytes.
    """
    with our_settings():
        figure = new_figure(SIZE)
        _Chart(figure, chart, display, heading).draw()
        say_boxes(figure)
        return {kind: _file(figure, kind, heading) for kind in kinds}


def _file(figure: Figure, kind: str, heading: Heading) -> bytes:
    """Write a figure as a file without the time of day in it."""
    said = file_words(kind, heading.signature, title=printable(heading.lines[0]))
    out = io.BytesIO()
    figure.savefig(out, format=kind, dpi=DOTS, metadata=said)
    return out.getvalue()


def levels_of(used: Array) -> list[float]:
    """Return the shares at which the shade changes [-]: round ones on both sides of 1, and always 1 itself.

    Parameters
    ----------
    used : float64 array of any shape
        Shares of a limit, none of them NaN [-].
    """
    low, high = float(np.min(used)), float(np.max(used))
    below = _round_step(max(1.0 - low, 0.05) / 4)
    above = _round_step(max(high - 1.0, 0.05) / 3)
    down = [1.0 - k * below for k in range(math.ceil((1.0 - low) / below - 1e-9), 0, -1)]
    up = [1.0 + k * above for k in range(1, math.ceil((high - 1.0) / above - 1e-9) + 1)]
    found = [*down, 1.0, *up]
    return found if len(found) > 1 else [1.0 - below, 1.0]


def _round_step(step: float) -> float:
    return next((s for s in (0.05, 0.1, 0.2) if s >= step), 0.5)


class _Chart:
    """One chart on one figure: rate upwards, stroke time to the right."""

    def __init__(self, figure: Figure, chart: ChartData, display: Display, heading: Heading) -> None:
        from matplotlib.patheffects import withStroke

        self.figure, self.chart, self.display, self.heading = figure, chart, display, heading
        self.foot = [line for text in heading.foot for line in textwrap.wrap(printable(text), FOOT)]
        self.foot.append(printable(heading.signature))
        self.lines = [part for line in heading.lines[1:] for part in textwrap.wrap(printable(line), HEAD)]
        bottom, top = 0.09 + 0.0155 * len(self.foot), 0.921 - 0.021 * max(len(self.lines), 2)
        self.axes: Axes = figure.add_axes((0.075, bottom, 0.80, top - bottom))
        self.rates = np.array([self._flow(r) for r in chart.rates])
        self.left, self.right = float(chart.strokes[0]), float(chart.strokes[-1])
        self.halo: list[AbstractPathEffect] = [withStroke(linewidth=HALO, foreground="white")]
        self.reached = chart.reached[:-1] & chart.reached[1:]
        self.safe_from = np.where(np.isnan(chart.safe_from()), self.right, chart.safe_from())
        self.allowed_to = np.minimum(np.nan_to_num(chart.allowed_to(), nan=self.right), self.right)
        self.never = np.isnan(chart.safe_from())
        self.taken: list[Bbox] = []
        self.edges: list[Bbox] = []
        self.open = self.reached & ~self.never & (self.safe_from <= self.allowed_to)

    def _flow(self, rate: float) -> float:
        return from_si(rate, unit=self.display.units.flow, density=self.display.density)

    def draw(self) -> None:
        """Draw everything, from the ground up."""
        ax = self.axes
        self._shades()
        ax.set_xlim(self.left, self.right)
        ax.set_ylim(self.rates[0], self.rates[-1])
        named = " and ".join(quoted(v) for v in self.chart.together)
        ax.set_xlabel(f"stroke time of {named}, s")
        ax.set_ylabel(f"loading rate, {self.display.units.flow}")
        self._boundaries()
        self._agreed()
        self._window()
        self._too_fast()
        self._too_slow()
        self._out_of_reach()
        self._governing()
        self._words()

    def _shades(self) -> None:
        """Filled contours of the share used, with their figures on them and a scale beside them."""
        from matplotlib.colors import LinearSegmentedColormap

        chart = self.chart
        used = np.minimum(np.nan_to_num(chart.used, nan=np.nan, posinf=BEYOND), BEYOND)
        known = used[chart.reached]
        if known.shape[0] < 2:
            return
        levels = levels_of(known)
        ramp = LinearSegmentedColormap.from_list("used", list(SHADES))
        colours = [ramp(k / max(len(levels) - 2, 1)) for k in range(len(levels) - 1)]
        field = np.ma.masked_invalid(used)
        filled = self.axes.contourf(chart.strokes, self.rates, field, levels=levels, colors=colours)
        inner = [level for level in levels[1:-1] if level != 1.0]
        style: dict[str, Any] = {"colors": "#333333", "linewidths": 0.7}
        lines = self.axes.contour(chart.strokes, self.rates, field, levels=inner, **style) if inner else None
        if lines is not None:
            self._label(lines)
        if levels[0] < 1.0 < levels[-1]:
            limit = self.axes.contour(
                chart.strokes,
                self.rates,
                field,
                levels=[1.0],
                colors="black",
                linewidths=1.4,
                linestyles="--",
            )
            self._label(limit)
        scale = self.figure.add_axes(
            (0.895, self.axes.get_position().y0, 0.018, self.axes.get_position().height)
        )
        bar = self.figure.colorbar(filled, cax=scale)
        more = "\nor more" if float(np.max(known)) >= BEYOND else ""
        bar.set_ticks(
            levels, labels=[*(_percent(level) for level in levels[:-1]), _percent(levels[-1]) + more]
        )
        bar.set_label("share used of the limit that is nearest to being exceeded")

    def _label(self, lines: Any) -> None:
        for text in self.axes.clabel(lines, fmt=_percent, fontsize=8, inline=True, inline_spacing=3):
            text.set_path_effects(self.halo)
            self.taken.append(text.get_window_extent())

    def _boundaries(self) -> None:
        """Note where the window ends, in steps, so that no box is put over it."""
        from matplotlib.transforms import Bbox

        for mask, side in (
            (self.reached & ~self.never & (self.safe_from > self.left), self.safe_from),
            (self.reached & (self.allowed_to < self.right), self.allowed_to),
        ):
            for first, end in runs(mask):
                steps = np.repeat(side[first:end], 2)
                rates = np.repeat(self.rates[first : end + 1], 2)[1:-1]
                dots = self.axes.transData.transform(np.column_stack([steps, rates]))
                self.edges += [
                    Bbox.from_extents(*np.minimum(a, b), *np.maximum(a, b))
                    for a, b in zip(dots, dots[1:], strict=False)
                ]

    def _fill(self, mask: Mask, low: Array, high: Array, **style: Any) -> None:
        """Fill between two strokes for every pair of neighbouring rates in ``mask``, in steps."""
        for first, end in runs(mask):
            rates = self.rates[first : end + 1]
            left, right = (np.append(side[first:end], side[end - 1]) for side in (low, high))
            self.axes.fill_betweenx(rates, left, right, step="post", facecolor="none", **style)

    def _too_fast(self) -> None:
        mask = self.reached & (self.safe_from > self.left)
        left = np.full_like(self.safe_from, self.left)
        self._fill(mask, left, self.safe_from, hatch="////", edgecolor="#222222", linewidth=0.0)
        never = mask & self.never
        self._inside(never, left, self.safe_from, self.chart.blocked or "no stroke is shown to be safe")
        self._inside(
            mask & ~never,
            left,
            self.safe_from,
            f"{'opens' if self.chart.opens else 'closes'} too fast:\nnot shown to be safe",
        )

    def _too_slow(self) -> None:
        right = np.full_like(self.allowed_to, self.right)
        mask = self.reached & (self.allowed_to < self.right)
        self._fill(mask, self.allowed_to, right, hatch="..", edgecolor="#555555", linewidth=0.0)
        names = [rule.name if rule is not None else "" for rule in self.chart.rules]
        pairs = np.array([a if a == b or not b else b for a, b in zip(names, names[1:], strict=False)])
        for name in dict.fromkeys(pairs[mask].tolist()):
            part = mask & (pairs == name)
            self._inside(part, self.allowed_to, right, f"closes too slowly for the rule:\n{printable(name)}")

    def _out_of_reach(self) -> None:
        mask = ~self.reached
        left, right = np.full_like(self.safe_from, self.left), np.full_like(self.safe_from, self.right)
        self._fill(mask, left, right, hatch="xxxx", edgecolor="#888888", linewidth=0.0)
        for first, end in runs(mask):
            part = np.zeros_like(mask)
            part[first:end] = True
            self._inside(part, left, right, "cannot be reached")

    def _window(self) -> None:
        self._fill(self.open, self.safe_from, self.allowed_to, edgecolor="black", linewidth=2.4, zorder=4)
        bounded = bool(np.any(self.allowed_to[self.open] < self.right))
        words = "WINDOW\nnot too fast, not too slow" if bounded else "SAFE SIDE\nno upper limit here"
        self._inside(self.open, self.safe_from, self.allowed_to, words, weight="bold")

    def _inside(self, mask: Mask, low: Array, high: Array, words: str, **style: Any) -> None:
        """Write words into the largest part of an area, where nothing is yet; upright where it is narrow."""
        if not np.any(mask):
            return
        first, end = max(runs(mask), key=lambda run: float(np.sum((high - low)[run[0] : run[1]])))
        narrow = float(np.mean((high - low)[first:end])) < NARROW * (self.right - self.left)
        spots = []
        for middle in self._heights(first, end):
            row = self._row_at(middle, first, end)
            spots += [(low[row] + share * (high[row] - low[row]), middle) for share in (0.5, 0.3, 0.7)]
        self._place(
            "\n".join(textwrap.fill(printable(line), 34) for line in words.split("\n")),
            spots,
            ha="center",
            va="center",
            rotation=90 if narrow else 0,
            **{"fontsize": 9, "bbox": BOX, **style},
        )

    def _governing(self) -> None:
        """Name the limit that a faster stroke would exceed first, along the boundary."""
        chart = self.chart
        at = np.searchsorted(chart.strokes, np.nan_to_num(chart.shortest, nan=self.left)) - 1
        which = chart.governs[np.arange(chart.rates.size), np.maximum(at, 0)]
        which = np.where(np.isnan(chart.shortest) | (at < 0), -1, which)[:-1]
        asides = np.array([0.008, 0.025, 0.05]) * (self.right - self.left)
        for limit in dict.fromkeys(which[which >= 0].tolist()):
            for first, end in runs(self.open & (which == limit)):
                spots = [
                    (self.safe_from[self._row_at(y, first, end)] + float(aside), y)
                    for aside in asides
                    for y in self._heights(first, end)
                ]
                words = textwrap.fill(printable(limit_words(chart.limits[limit])), 26)
                self._place(words, spots, must=False, va="center", fontsize=8.5, style="italic")

    def _heights(self, first: int, end: int) -> list[float]:
        """Heights over some rates, from the middle outwards."""
        low, high = self.rates[first], self.rates[end]
        return [float(low + share * (high - low)) for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)]

    def _row_at(self, rate: float, first: int, end: int) -> int:
        return min(max(int(np.searchsorted(self.rates, rate)) - 1, first), end - 1)

    def _place(
        self,
        words: str,
        spots: Sequence[tuple[float, float]],
        *,
        must: bool = True,
        across: Sequence[Literal["left", "right"]] = (),
        **style: Any,
    ) -> tuple[float, float]:
        """Write words at the first spot where they cover neither others nor the ends of the window.

        Where there is none they are not written, or, if they ``must`` be, where they cover least.
        """
        text = self.axes.text(*spots[0], words, zorder=6, path_effects=self.halo, **style)

        def put(k: int) -> Bbox:
            text.set_position(spots[k])
            if across:
                text.set_horizontalalignment(across[k])
            return text.get_window_extent().padded(4.0)

        crowds = []
        for k in range(len(spots)):
            crowds.append(self._crowd(put(k)))
            if crowds[-1] == 0:
                break
        best = min(range(len(crowds)), key=crowds.__getitem__)
        if crowds[best] and not must:
            text.remove()
        else:
            self.taken.append(put(best))
        return spots[best]

    def _crowd(self, box: Bbox) -> int:
        """How much is covered by words in a box: 0 for nothing; the ends of the window weigh most."""
        inside = self.axes.get_window_extent()
        out = not (inside.contains(box.x0, box.y0) and inside.contains(box.x1, box.y1))
        covered = sum(box.overlaps(other) for other in self.taken)
        return covered + 10 * bool(out) + 100 * sum(box.overlaps(edge) for edge in self.edges)

    def _agreed(self) -> None:
        """Mark the agreed point, with words in the first free place around it."""
        from matplotlib.transforms import Bbox

        point = self.chart.agreed
        x, y = point.stroke, self._flow(point.rate)
        if not (self.left <= x <= self.right and self.rates[0] <= y <= self.rates[-1]):
            return
        self.axes.plot([x], [y], "o", ms=13, mfc="white", mec="black", mew=2.0, zorder=7, clip_on=False)
        self.axes.plot([x], [y], "+", ms=9, mec="black", mew=1.6, zorder=8, clip_on=False)
        px, py = self.axes.transData.transform((x, y))
        self.taken.append(Bbox.from_extents(px - 18, py - 18, px + 18, py + 18))
        words = f"agreed: {self.display.flow(point.rate)} in {x:g} s\n{HEADLINE[point.pressures]}"
        if point.rule is not None:
            words += f"\ntoo slow for the rule: {printable(point.rule.name)}"
        sides = [(far * x, far * y) for far in (1.0, 2.0, 3.5, 6.0, 9.0) for x in (1, -1) for y in (-1, 1)]
        away = DOTS / 72 * np.array([26.0, 36.0])  # from points to dots
        spots = [tuple(self.axes.transData.inverted().transform((px, py) + away * side)) for side in sides]
        at = self._place(
            words,
            spots,
            across=["left" if aside > 0 else "right" for aside, _ in sides],
            va="center",
            fontsize=9.5,
            weight="bold",
            bbox={**BOX, "edgecolor": "black", "linewidth": 1.2},
        )
        self.axes.plot([x, at[0]], [y, at[1]], color="black", linewidth=1.2, zorder=5)

    def _words(self) -> None:
        """Titles above, the foot below."""
        title = printable(self.heading.lines[0])
        self.figure.text(0.075, 0.965, textwrap.shorten(title, 95), fontsize=14, weight="bold", va="center")
        for k, line in enumerate(self.lines):
            self.figure.text(0.075, 0.936 - 0.021 * k, line, fontsize=10, va="center")
        for k, line in enumerate(reversed(self.foot)):
            self.figure.text(0.02, 0.016 + 0.0155 * k, line, fontsize=6.5, va="center")


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def chart_files(
    chart: ChartData, kinds: Iterable[str], *, document: Json, display: Display, signature: str
) -> dict[str, bytes]:
    """Return a chart as files: pictures, a table, its document.

    Parameters
    ----------
    chart : ChartData
    kinds : iterable of {"png", "svg", "pdf", "csv", "json"}
    document : dict
        What :func:`surge.reports.chart_json.chart_document` gives, as plain data.
    display : Display
        Units of the words and axes.
    signature : str
        Which program and which case.

    Returns
    -------
    dict of str to bytes
        The whole file for each kind.
    """
    kinds = list(dict.fromkeys(kinds))
    heading = Heading(
        lines=heading_lines(chart, document["title"], display), foot=foot(chart), signature=signature
    )
    drawn = [kind for kind in kinds if kind in PICTURES]
    files = draw_chart(chart, display, heading, kinds=drawn) if drawn else {}
    if "csv" in kinds:
        files["csv"] = chart_csv(chart, display, signature).encode()
    if "json" in kinds:
        files["json"] = f"{as_text(document)}\n".encode()
    return files

"""Pressures, strokes and flows against time, one above the other on one axis of time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from surge.arrays import Array
from surge.model.lineup import Table
from surge.plots.frame import (
    CURVES,
    FAINT,
    INK,
    Heading,
    Kinds,
    Labels,
    PicturePage,
    after_that,
    bar,
    draw,
    faint_grid,
    flow,
    not_valid_after,
    quoted,
    short,
)
from surge.reports.words import Display
from surge.units import printable
from surge.views.time import PressureTrace, TimePicture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEADROOM = 0.16  # of the height of the curves: room for words above and below them
FAR = 3.3  # times the height of the curves: a limit farther away is told, not drawn
LEAST_MARK = 5e3  # [Pa] smaller rises are not marked, but at the weakest place
KEY_ROW, KEY_LONG = (
    0.03,
    64,
)  # height of a row of the key, of the room; letters of which two do not fit side by side
MOST_KINDS = 3  # kinds of what moves: so many names are too many beside an axis
LEAST_SPAN = 5e4  # [Pa] smaller changes are not blown up to the whole height


def draw_time(
    picture: TimePicture,
    display: Display,
    heading: Heading,
    *,
    kinds: Kinds,
    alt: str,
    span: tuple[float, float] | None = None,
) -> dict[str, bytes]:
    """Draw pressures with their limits, the strokes, and the flows.

    Parameters
    ----------
    picture : TimePicture
    display : Display
        Units of the words and axes.
    heading : Heading
    kinds : sequence of {"png", "svg", "pdf"}
    alt : str
        What the picture shows, for those who do not see it.
    span : (float, float) or None
        From when to when [s]; by default the whole run.

    Returns
    -------
    dict of str to bytes
        A file for each kind.
    """
    return draw(lambda page: _Time(page, picture, span).draw(), display, heading, kinds=kinds, alt=alt)


def place_words(trace: PressureTrace, display: Display) -> str:
    """Return in words where a pressure is taken: the point or element, and the distance from its start."""
    words = quoted(trace.name)
    if trace.distance is not None:
        words += f", {display.length(trace.distance)} from its start"
    return words


class _Time:
    def __init__(self, page: PicturePage, picture: TimePicture, span: tuple[float, float] | None) -> None:
        self.page, self.picture, self.display = page, picture, page.display
        self.begin, self.end = span or (float(picture.time[0]), float(picture.time[-1]))
        self.until = picture.subject.valid_until
        self.named = False
        self.shown = (picture.time >= self.begin - 1e-9) & (picture.time <= self.end + 1e-9)

    def draw(self) -> None:
        top = self.page.axes(0.44, 1.0 - KEY_ROW * self._key_rows())
        strokes = self.page.axes(0.24, 0.38, sharex=top)
        flows = self.page.axes(0.0, 0.18, sharex=top)
        top.set_xlim(self.begin, self.end)
        for axes in (top, strokes):
            axes.tick_params(labelbottom=False)
        for axes in (top, strokes, flows):
            faint_grid(axes, "x")
        flows.set_xlabel("time from the beginning of the scenario, s")
        self._pressures(top)
        self._strokes(strokes)
        self._flows(flows)

    def _pressures(self, axes: Axes) -> None:
        traces, time = self.picture.traces, self.picture.time
        axes.set_ylabel(f"pressure, {self.display.units.pressure}(g)")
        for trace, (colour, dash, width) in zip(traces, CURVES, strict=False):
            axes.plot(time, bar(self.display, trace.pressure), color=colour, ls=dash, lw=width, zorder=4)
        if self._key_rows():
            self._key(axes)
        low, high = self._height()
        axes.set_ylim(low, high)
        labels = Labels(axes)
        if self.until is not None and self.until < self.end:
            self._after_boiling(axes, labels, self.until)
        for trace in traces:
            labels.curve(time, bar(self.display, trace.pressure))
        limits = self._limits(axes, labels)
        for k, (trace, (colour, _, _)) in enumerate(zip(traces, CURVES, strict=False)):
            self._marks(axes, labels, trace, colour, main=k == 0)
        for y, words, side in limits:
            self._line_words(labels, y, words, side)
        self._steady(axes, labels)
        if not self._key_rows():
            self._names(labels)

    def _after_boiling(self, axes: Axes, labels: Labels, until: float) -> None:
        words, begin = f"the cargo boils at {self.display.time(until)} s:\n", max(until, self.begin)
        if self.picture.cavities:
            after_that(axes, labels, begin, self.end, f"{words}from here on with cavities")
        else:
            not_valid_after(axes, labels, begin, self.end, f"{words}no pressure after it is valid")

    def _key_rows(self) -> int:
        """Rows of the key: curves that lie upon one another cannot be told apart by names beside them."""
        count = len(self.picture.traces)
        return -(-count // self._key_columns()) if count > 1 else 0

    def _key_columns(self) -> int:
        longest = max(
            (len(self._key_words(c, main=k == 0)) for k, c in enumerate(self.picture.traces)), default=0
        )
        return 1 if longest > KEY_LONG else 2

    def _key(self, axes: Axes) -> None:
        """Every curve's line, its place, and its peak, above the picture; the weakest first."""
        lines, traces = axes.get_lines(), self.picture.traces
        made = axes.legend(
            handles=lines[: len(traces)],
            labels=[self._key_words(trace, main=k == 0) for k, trace in enumerate(traces)],
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=self._key_columns(),
            frameon=False,
            fontsize=8.5,
            handlelength=3.4,
            borderaxespad=0.2,
            labelspacing=0.3,
        )
        made.get_texts()[0].set_fontweight("bold")

    def _key_words(self, trace: PressureTrace, *, main: bool) -> str:
        display, words = self.display, place_words(trace, self.display)
        low = self.picture.subject.low and main
        mark = trace.trough if low else trace.peak
        if mark is None or mark.time == 0.0:
            return words
        value = (
            display.round_down(mark.pressure, unit=True)
            if low
            else display.round_up(mark.pressure, unit=True)
        )
        return f"{words}: {'lowest' if low else 'peak'} {value} at {display.time(mark.time)} s"

    def _height(self) -> tuple[float, float]:
        """Ends of the axis of pressures: all curves, and the limits that are not too far from them."""
        display, traces = self.display, self.picture.traces
        drawn = np.concatenate([bar(display, c.pressure[self.shown]) for c in traces])
        low, high = float(drawn.min()), float(drawn.max())
        least = max(high - low, float(bar(display, LEAST_SPAN)))
        main = None if self.picture.subject.low else traces[0].upper
        upper = [float(bar(display, c.upper.value)) for c in traces if c.upper is not None]
        high = max([high, *(x for x in upper if x < low + FAR * least)])
        high = max(high, float(bar(display, main.value)) if main is not None else high)
        lower = [float(bar(display, c.lower.value)) for c in traces if c.lower is not None]
        low = min([low, *(x for x in lower if x > low - 0.3 * max(high - low, least))])
        room = HEADROOM * max(high - low, least)
        return low - room, high + room

    def _names(self, labels: Labels) -> None:
        """The name of the one curve, where it is not at its mark."""
        if self.named or not self.picture.traces:
            return
        trace = self.picture.traces[0]
        labels.along(
            self.picture.time[self.shown],
            bar(self.display, trace.pressure[self.shown]),
            place_words(trace, self.display),
            shares=_nearest(0.5, np.linspace(0.06, 0.94, 23)),
            color=CURVES[0][0],
            weight="bold",
        )

    def _limits(self, axes: Axes, labels: Labels) -> list[tuple[float, str, int]]:
        """Lines at the limits, what lies beyond hatched; the words to be written above (1) or below them."""
        display = self.display
        low, high = axes.get_ylim()
        upper: dict[float, dict[str, list[str]]] = {}
        for trace in self.picture.traces:
            if trace.upper is not None:
                named = upper.setdefault(trace.upper.value, {}).setdefault(short(trace.upper.source), [])
                named += [trace.upper_of] if trace.upper_of not in named else []
        alone = [self.picture.traces[0].name] if len(self.picture.traces) == 1 else []
        far, said = [], []
        for value, sources in sorted(upper.items()):
            y = float(bar(display, value))
            whose = (
                source if names == alone else f"{_listed(names)}: {source}"
                for source, names in sources.items()
            )
            words = printable(f"limit {display.pressure(value, unit=True)}, {'; '.join(whose)}")
            if y > high:
                far.append(f"{words}: above this picture")
                continue
            top = high if len(upper) == 1 else y + 0.03 * (high - low)
            axes.axhline(y, color=INK, linewidth=1.8, zorder=3)
            axes.axhspan(y, top, facecolor="none", edgecolor="#999999", hatch="///", lw=0.0, zorder=1)
            said.append((y, words, 1))
        for value, source in dict.fromkeys((c.lower.value, c.lower.source) for c in self.picture.traces):
            y = float(bar(display, value))
            if low < y:
                axes.axhline(y, color=INK, linewidth=1.2, zorder=3, linestyle=(0, (1, 1)))
                axes.axhspan(low, y, facecolor="none", edgecolor="#999999", hatch="\\\\\\", lw=0.0, zorder=1)
                words = f"lower limit {display.pressure(value, unit=True)}, {short(source)}"
                said.append((y, words, -1))
        far += [f"no limit is given for {quoted(c.name)}" for c in self.picture.traces if c.upper is None]
        x = np.array([self.begin, self.end])
        for y, _, _ in said:
            labels.curve(x, np.array([y, y]))
        if far:
            words = "\n".join(far)
            style: dict[str, Any] = {"ha": "right", "va": "top", "fontsize": 9, "zorder": 9}
            style["path_effects"] = labels.halo
            labels.keep(axes.text(0.995, 0.985, words, transform=axes.transAxes, **style))
        return said

    def _line_words(self, labels: Labels, y: float, words: str, side: int) -> None:
        x, level = np.array([self.begin, self.end]), np.array([y, y])
        labels.along(x, level, words, shares=(0.5, 0.85, 0.15, 0.7, 0.3), sides=(side, -side))

    def _steady(self, axes: Axes, labels: Labels) -> None:
        """The pressure before anything moves, of the main place."""
        trace = self.picture.traces[0]
        y = float(bar(self.display, trace.steady))
        axes.axhline(y, color=FAINT, linewidth=1.0, linestyle=(0, (5, 3)), zorder=2)
        x, level = np.array([self.begin, self.end]), np.array([y, y])
        words = f"steady {self.display.pressure(trace.steady, unit=True)}"
        shares = (0.9, 0.8, 0.1, 0.7, 0.2)
        labels.along(x, level, words, shares=shares, sides=(-1, 1), color="#444444")

    def _marks(self, axes: Axes, labels: Labels, trace: PressureTrace, colour: str, *, main: bool) -> None:
        """Rings at the highest pressure, and at the lowest where that is what matters."""
        display = self.display
        low = self.picture.subject.low and main
        marks = [
            (trace.peak, display.round_up, "peak", not low),
            (trace.trough, display.round_down, "lowest", low),
        ]
        for mark, write, word, wanted in marks:
            if mark is None or not wanted or not self.begin <= mark.time <= self.end or mark.time == 0.0:
                continue
            if not main and abs(mark.pressure - trace.steady) < LEAST_MARK:
                continue  # nothing happens there
            y = float(bar(display, mark.pressure))
            if not main:  # its words are in the key
                axes.plot([mark.time], [y], "o", ms=6, mfc="white", mec=colour, mew=1.4, zorder=7)
                continue
            axes.plot([mark.time], [y], "o", ms=8, mfc="white", mec=INK, mew=1.6, zorder=8)
            words = f"{word} {write(mark.pressure, unit=True)} at {display.time(mark.time)} s"
            if not self.named:
                words, self.named = f"{place_words(trace, display)}\n{words}", True
            labels.at(mark.time, y, words, weight="bold")

    def _strokes(self, axes: Axes) -> None:
        axes.set_ylim(-6, 106)
        axes.set_yticks([0, 50, 100])
        subject = self.picture.subject
        laws: list[tuple[str, Table, str]] = [(n, law, "opening") for n, law in subject.openings.items()]
        laws += [(n, law, "speed") for n, law in subject.speeds.items()]
        curves = [(n, *stretched_out(law, self.end), kind) for n, law, kind in laws]
        curves += [(one.name, self.picture.time, one.values, one.kind) for one in self.picture.by_itself]
        kinds = list(dict.fromkeys(kind for *_, kind in curves)) or ["opening"]
        axes.set_ylabel(",\n".join(kinds) + ", %" if len(kinds) < MOST_KINDS else "%")
        labels = Labels(axes)
        for k, (_, t, x, _) in enumerate(curves):
            colour, dash, width = CURVES[k % len(CURVES)]
            axes.plot(t, 100 * x, color=colour, ls=dash, lw=width, zorder=4)
            labels.curve(t, 100 * x)
        for k, (name, t, x, kind) in enumerate(curves):
            words = quoted(name) + (f", {kind}" if kind != "opening" and len(kinds) > 1 else "")
            self._beside_change(labels, t, 100 * x, words, CURVES[k % len(CURVES)][0])
        if not curves:
            axes.text(
                0.5, 0.5, "nothing moves", transform=axes.transAxes, ha="center", va="center", fontsize=9
            )

    def _flows(self, axes: Axes) -> None:
        display, time = self.display, self.picture.time
        axes.set_ylabel(f"flow, {display.units.flow}")
        labels = Labels(axes)
        flows = [(n, flow(display, q)) for n, q in self.picture.flows.items()]
        if not flows:
            return
        for k, (_, q) in enumerate(flows):
            colour, dash, width = CURVES[k % len(CURVES)]
            axes.plot(time, q, color=colour, ls=dash, lw=width, zorder=4)
        every = np.concatenate([q[self.shown] for _, q in flows])
        low, high = min(float(every.min()), 0.0), max(float(every.max()), 1e-6)
        axes.set_ylim(low - 0.08 * (high - low), high + 0.25 * (high - low))
        axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=2)
        for _, q in flows:
            labels.curve(time, q)
        if self.until is not None and self.until < self.end:
            cover = after_that if self.picture.cavities else not_valid_after
            cover(axes, labels, max(self.until, self.begin), self.end, "")
        for k, (name, q) in enumerate(flows):
            self._beside_change(labels, time, q, f"through {quoted(name)}", CURVES[k % len(CURVES)][0])

    def _beside_change(self, labels: Labels, t: Array, y: Array, words: str, colour: str) -> None:
        """Name a curve next to where it changes, where it differs from the others."""
        moving = np.abs(np.diff(y)) > 0.002 * max(float(np.ptp(y)), 1e-9)
        when = float(np.median(t[:-1][moving])) if np.any(moving) else 0.5 * (self.begin + self.end)
        first = min(max((when - self.begin) / (self.end - self.begin), 0.05), 0.95)
        shares = _nearest(first, np.linspace(0.04, 0.96, 24))
        inside = (t >= self.begin) & (t <= self.end)
        labels.along(t[inside], y[inside], words, shares=shares, color=colour, fontsize=8.5)


def _listed(names: list[str]) -> str:
    """Names, as long as they are few."""
    return ", ".join(names) if len(names) < 3 else f"{len(names)} of these parts"


def _nearest(first: float, shares: Array) -> list[float]:
    """Shares, those near ``first`` before the others."""
    return [float(s) for s in shares[np.argsort(np.abs(shares - first), kind="stable")]]


def stretched_out(law: Table, end: float) -> tuple[Array, Array]:
    """Return times [s] and values [-] of a law, whose last value is held on to ``end`` [s]."""
    t, x = (np.array(v, dtype=float) for v in zip(*law, strict=True))
    if t[-1] < end:
        t, x = np.append(t, end), np.append(x, x[-1])
    return t, x

"""Highest and lowest pressures along the line, from shore to ship, and its elevations below them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from surge.arrays import Array
from surge.model.way import Way, WayPart
from surge.plots.frame import (
    BAND,
    FAINT,
    HIGH,
    INK,
    LOW,
    STEADY_COLOUR,
    Heading,
    Kinds,
    Labels,
    PicturePage,
    bar,
    draw,
    metres,
    quoted,
    short,
)
from surge.reports.words import Display
from surge.units import printable
from surge.views.line import LimitStretch, LinePicture, hung_on

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEADROOM = 0.13
MARGIN = 0.035  # on both sides of the drawing, where the levels of the tanks stand
NAME_SIZE = 7.2  # [pt]


def draw_line(
    picture: LinePicture, display: Display, heading: Heading, *, kinds: Kinds, alt: str
) -> dict[str, bytes]:
    """Draw the highest and lowest pressures along the line.

    Parameters
    ----------
    picture : LinePicture
    display : Display
        Units of the words and axes.
    heading : Heading
    kinds : sequence of {"png", "svg", "pdf"}
    alt : str
        What the picture shows, for those who do not see it.

    Returns
    -------
    dict of str to bytes
        A file for each kind.
    """
    return draw(lambda page: _Line(page, picture).draw(), display, heading, kinds=kinds, alt=alt, room=0.025)


def height_of(
    display: Display, curves: Iterable[Array], limits: Iterable[LimitStretch], lower: Iterable[LimitStretch]
) -> tuple[float, float]:
    """Return the ends of an axis of pressures, with room for words above and below what is drawn.

    Parameters
    ----------
    display : Display
    curves : iterable of ndarray
        Pressures to draw [Pa gauge].
    limits, lower : iterable of LimitStretch
        Limits for peaks, and limits for falls.

    Returns
    -------
    (float, float)
        Lower and upper end [the reader's unit].
    """
    drawn = np.concatenate([bar(display, c) for c in curves])
    high = [float(drawn.max()), *(float(bar(display, s.limit.value)) for s in limits if s.limit is not None)]
    low = [float(drawn.min()), *(float(bar(display, s.limit.value)) for s in lower if s.limit is not None)]
    top, ground = max(high), min(low)
    room = HEADROOM * max(top - ground, 1e-6)
    return ground - 0.9 * room, top + room


def draw_limits(
    axes: Axes,
    labels: Labels | None,
    display: Display,
    upper: Iterable[LimitStretch],
    lower: Iterable[LimitStretch],
) -> None:
    """Draw limits as steps, and hatch what lies beyond them."""
    low, high = axes.get_ylim()
    for (value, _), steps in _runs(upper):
        left, right, y = steps[0].left, steps[-1].right, float(bar(display, value))
        if right > left:
            axes.plot([left, right], [y, y], color=INK, linewidth=2.0, zorder=6, solid_capstyle="butt")
            _hatch(axes, left, right, y, high, "///")
        else:  # a limit of a place
            axes.plot([left], [y], marker="_", ms=16, mew=2.4, color=INK, zorder=6)
            left, right = left - 0.01, right + 0.01
        if labels is not None:
            labels.curve(np.array([left, right]), np.array([y, y]))
    for (value, _), steps in _runs(lower):
        left, right, y = steps[0].left, steps[-1].right, float(bar(display, value))
        axes.plot([left, right], [y, y], color=INK, linewidth=1.4, zorder=6, linestyle=(0, (1, 1)))
        _hatch(axes, left, right, low, y, "\\\\\\")
        if labels is not None:
            labels.curve(np.array([left, right]), np.array([y, y]))


def label_limits(
    labels: Labels,
    display: Display,
    upper: Iterable[LimitStretch],
    lower: Iterable[LimitStretch],
    *,
    side: int = 1,
    sources: bool = True,
) -> None:
    """Write the limits beside their steps, and where the case gives none.

    Parameters
    ----------
    labels : Labels
    display : Display
    upper, lower : iterable of LimitStretch
        Limits for peaks, and limits for falls.
    side : int
        Where to write limits for peaks: 1 above the step, -1 below it.
    sources : bool
        Write where a limit comes from too, as far as there is room.
    """
    for step in upper:
        if step.limit is None:
            axes, middle = labels.axes, 0.5 * (step.left + step.right)
            style: dict[str, Any] = {"ha": "center", "va": "top", "fontsize": 8.5, "zorder": 9}
            at = axes.get_xaxis_transform()
            labels.keep(axes.text(middle, 0.98, "no limit\ngiven", transform=at, style="italic", **style))
    for (value, source), steps in _runs(upper):
        left, right, y = steps[0].left, steps[-1].right, float(bar(display, value))
        words = f"limit {display.pressure(value, unit=True)}"
        plain = not sources or (source.startswith("rating") and "x" not in source and right > left)
        _label_step(
            labels, left, right, y, [words] if plain else [f"{words}, {short(source, 34)}", words], side
        )
    for (value, source), steps in _runs(lower):
        left, right, y = steps[0].left, steps[-1].right, float(bar(display, value))
        words = f"lower limit {display.pressure(value, unit=True)}"
        if right - left > 0.5:
            _label_step(labels, left, right, y, [f"{words}, {short(source, 40)}", words], -1)
        else:
            whose = printable(steps[0].name)
            labels.at(0.5 * (left + right), y, f"{words}, {whose}", fontsize=8.5, reach=10.0)


def _runs(steps: Iterable[LimitStretch]) -> list[tuple[tuple[float, str], list[LimitStretch]]]:
    """Neighbouring steps at one limit from one source; those without a limit are left out."""
    known = [s for s in steps if s.limit is not None]
    found: list[tuple[tuple[float, str], list[LimitStretch]]] = []
    for s in known:
        assert s.limit is not None
        key = (s.limit.value, s.limit.source)
        if found and found[-1][0] == key and abs(found[-1][1][-1].right - s.left) < 1e-9 and s.right > s.left:
            found[-1][1].append(s)
        else:
            found.append((key, [s]))
    return found


def _hatch(axes: Axes, left: float, right: float, low: float, high: float, hatch: str) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(
        Rectangle(
            (left, low),
            right - left,
            high - low,
            facecolor="none",
            edgecolor="#a0a0a0",
            hatch=hatch,
            lw=0.0,
            zorder=1,
        )
    )


def _label_step(labels: Labels, left: float, right: float, y: float, words: list[str], side: int) -> None:
    """Write the first words that fit over a step; where none does, the last beside it, with a line to it."""
    frame = np.array(labels.axes.get_xlim())
    shares = [
        (left + f * (right - left) - frame[0]) / (frame[1] - frame[0]) for f in (0.5, 0.3, 0.7, 0.15, 0.85)
    ]
    x, level = np.array(frame), np.array([y, y])
    style: dict[str, Any] = {"shares": shares, "sides": (side, -side), "fontsize": 8.5}
    if all(labels.along(x, level, text, must=False, **style) is None for text in words):
        labels.at(0.5 * (left + right), y, words[-1], fontsize=8.5, reach=10.0)


def draw_names(axes: Axes, way: Way, display: Display) -> None:
    """Write names and lengths of the elements, each within its own width; upright where it is narrow."""
    axes.set_axis_off()
    axes.set_ylim(0, 1)
    box = axes.get_window_extent()
    left, right = axes.get_xlim()
    point = axes.figure.dpi / 72
    for part in way.parts:
        width = (part.right - part.left) / (right - left) * box.width / point
        words = _fitted(part, display, width, box.height / point)
        axes.text(
            0.5 * (part.left + part.right),
            0.97,
            words[0],
            rotation=words[1],
            ha="center",
            va="top",
            fontsize=NAME_SIZE,
            linespacing=1.05,
        )


def _fitted(part: WayPart, display: Display, width: float, height: float) -> tuple[str, int]:
    """Name and length of an element in lines that fit, and 0 or 90 degrees; sizes in points."""
    character, line = 0.58 * NAME_SIZE, 1.15 * NAME_SIZE
    name = printable(part.name)
    length = display.length(part.length) if part.length > 0.0 else ""
    free = width - character  # so that a name does not touch the next one
    across = textwrap.wrap(name, max(int(free / character), 1), break_long_words=False)
    flat = [*across, length] if length else across
    if max(len(t) for t in flat) * character <= free and len(flat) * line <= height:
        return "\n".join(flat), 0
    room = max(int(height / character), 4)
    most = max(int(width / line), 1)
    whole = length.replace(" ", "\u00a0")  # a number stays with its unit
    upright = textwrap.wrap(f"{name}, {whole}" if length else name, room)
    if len(upright) > most:
        upright = textwrap.wrap(name, room)
    if len(upright) > most:
        upright = [
            *upright[: most - 1],
            textwrap.shorten(" ".join(upright[most - 1 :]), room, placeholder="..."),
        ]
    return "\n".join(upright), 90


def part_lines(axes: Axes, way: Way) -> None:
    """Draw faint lines between the elements, and a grey ground for those without length."""
    for part in way.parts:
        if part.length == 0.0:
            axes.axvspan(part.left, part.right, facecolor=BAND, edgecolor="none", zorder=0)
    for edge in sorted({round(e, 9) for p in way.parts for e in (p.left, p.right)}):
        axes.axvline(edge, color="#d0d0d0", linewidth=0.6, zorder=0)


class _Line:
    def __init__(self, page: PicturePage, picture: LinePicture) -> None:
        self.page, self.picture, self.display = page, picture, page.display

    def draw(self) -> None:
        top = self.page.axes(0.43, 1.0)
        ground = self.page.axes(0.20, 0.38, sharex=top)
        names = self.page.axes(0.0, 0.19, sharex=top)
        top.set_xlim(-MARGIN, 1 + MARGIN)
        for axes in (top, ground):
            axes.tick_params(bottom=False, labelbottom=False)
            part_lines(axes, self.picture.way)
        self._pressures(top)
        self._elevations(ground)
        draw_names(names, self.picture.way, self.display)

    def _pressures(self, axes: Axes) -> None:
        display, along = self.display, self.picture.along
        axes.set_ylabel(f"pressure, {display.units.pressure}(g)")
        steady, high, low = (bar(display, v) for v in (along.steady, along.highest, along.lowest))
        axes.fill_between(along.x, low, high, facecolor=BAND, edgecolor="none", zorder=2, alpha=0.8)
        styles: list[tuple[Array, dict[str, Any]]] = [
            (high, {"color": HIGH, "linewidth": 2.4}),
            (low, {"color": LOW, "linewidth": 2.0, "linestyle": (0, (6, 1.5))}),
            (steady, {"color": STEADY_COLOUR, "linewidth": 1.2, "linestyle": (0, (2, 1.5))}),
        ]
        for y, style in styles:
            axes.plot(along.x, y, zorder=5, **style)
        axes.set_ylim(*height_of(display, (along.highest, along.lowest), self.picture.upper, self._lower()))
        labels = Labels(axes)
        for y, _ in styles:
            labels.curve(along.x, y)
        draw_limits(axes, labels, display, self.picture.upper, self._lower())
        self._extremes(axes, labels)
        label_limits(labels, display, self.picture.upper, self._lower())
        words = ("highest", "lowest", "steady, before anything moves")
        sides = ((1, -1), (-1, 1), (-1, 1))
        for (y, style), word, side in zip(styles, words, sides, strict=True):
            labels.along(
                along.x,
                y,
                word,
                sides=side,
                shares=(0.3, 0.4, 0.2, 0.5, 0.6, 0.12, 0.7, 0.8, 0.9),
                color=style["color"],
                weight="bold" if word != words[2] else "normal",
            )

    def _lower(self) -> list[LimitStretch]:
        """Limits for falls, with the vapour pressure all along."""
        from surge.rules.limits import VAPOUR_RULE, Limit

        boils = self.picture.subject.lineup.vapour_gauge
        limit = Limit(value=boils, source="the cargo boils", rule=VAPOUR_RULE)
        return [LimitStretch(left=0.0, right=1.0, name="", limit=limit), *self.picture.lower]

    def _extremes(self, axes: Axes, labels: Labels) -> None:
        """Rings at the weakest place, and at the highest and lowest of the line where they are not there."""
        display, p = self.display, self.picture
        marks = [(p.peak, display.round_up, "highest"), (p.trough, display.round_down, "lowest")]
        if p.weak is not None:
            low = p.subject.low
            same = p.trough if low else p.peak
            marks = [m for m in marks if m[0] is not same or abs(same[1].pressure - p.weak[1].pressure) > 1.0]
            marks.insert(0, (p.weak, display.round_down if low else display.round_up, "weakest:"))
        for (x, mark), write, word in marks:
            y = float(bar(display, mark.pressure))
            axes.plot([x], [y], "o", ms=8, mfc="white", mec=INK, mew=1.6, zorder=8)
            words = f"{word} {write(mark.pressure, unit=True)}"
            if np.isfinite(mark.time) and mark.time > 0.0:
                words += f"\nat {display.time(mark.time)} s"
            labels.at(x, y, words, weight="bold" if word == "weakest:" else "normal")

    def _elevations(self, axes: Axes) -> None:
        display, way = self.display, self.picture.way
        axes.set_ylabel(f"elevation, {display.units.length}")
        x = np.array([0.0, *(p.right for p in way.parts)])
        z = metres(display, self.picture.elevation)
        axes.plot(x, z, color=INK, linewidth=2.2, zorder=4, solid_joinstyle="round")
        levels = [float(metres(display, level)) for *_, level in self.picture.tanks]
        low, high = min([float(z.min()), *levels]), max([float(z.max()), *levels])
        room = 0.2 * max(high - low, 1e-6)
        axes.set_ylim(low - room, high + room)
        labels = Labels(axes)
        labels.curve(x, z)
        for place, name in hung_on(self.picture.subject, way):
            self._hung(axes, labels, place, name, float(np.interp(place, x, z)))
        for place, tank, level in self.picture.tanks:
            self._tank(axes, labels, place, printable(tank.name), float(metres(display, level)))
        axes.axhline(0.0, color=FAINT, linewidth=0.6, zorder=1)

    def _hung(self, axes: Axes, labels: Labels, place: float, name: str, z: float) -> None:
        """A dot where something hangs on the line, and its name."""
        axes.plot([place], [z], "o", ms=7, mfc=BAND, mec=INK, mew=1.6, zorder=6)
        labels.at(place, z, quoted(name), fontsize=8, reach=8.0)

    def _tank(self, axes: Axes, labels: Labels, place: float, name: str, level: float) -> None:
        """The level of a tank beside the line's end, and a thin line to it."""
        out = -MARGIN if place == 0.0 else MARGIN
        ends = sorted((place, place + out))
        end = float(metres(self.display, self.picture.elevation[0 if place == 0.0 else -1]))
        axes.fill_between(ends, min(level, end), level, facecolor="#9cc3dc", edgecolor="none", zorder=2)
        axes.plot(ends, [level, level], color=LOW, linewidth=2.0, zorder=4, clip_on=False)
        words = f"level in {name}: {self.display.length(self.say_back(level))}"
        labels.at(place + 0.5 * out, level, words, fontsize=8, reach=8.0)

    def say_back(self, value: float) -> float:
        """Return a length in the reader's unit as metres [m]."""
        return value / float(metres(self.display, 1.0))

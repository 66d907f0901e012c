"""A map of pressure: place across, time upwards; waves are seen as oblique edges."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from surge.arrays import Array
from surge.plots.frame import BOX, INK, Heading, Kinds, Labels, PicturePage, bar, draw
from surge.plots.line import draw_names
from surge.reports.words import Display
from surge.views.map import WavePicture
from surge.views.time import Mark

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BESIDE = 0.006  # half the width of a bar at a place whose own limit is exceeded
RAMP = "cividis"  # lightness rises all along, and the colour-blind see it as everybody does


def draw_wave(
    picture: WavePicture, display: Display, heading: Heading, *, kinds: Kinds, alt: str
) -> dict[str, bytes]:
    """Draw a map of pressure: place across, time upwards.

    Parameters
    ----------
    picture : WavePicture
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
    return draw(lambda page: _Wave(page, picture).draw(), display, heading, kinds=kinds, alt=alt, room=0.025)


class _Wave:
    def __init__(self, page: PicturePage, picture: WavePicture) -> None:
        self.page, self.picture, self.display = page, picture, page.display
        self.begin, self.end = float(picture.time[0]), float(picture.time[-1])
        until = picture.subject.valid_until
        self.valid = picture.time <= (until if until is not None else np.inf)
        values = np.concatenate([f.pressure[self.valid].ravel() for f in picture.fields])
        self.low, self.high = float(bar(self.display, values.min())), float(bar(self.display, values.max()))
        if self.high - self.low < 1e-6:
            self.high = self.low + 1e-6

    def draw(self) -> None:
        axes = self.page.axes(0.20, 1.0, right=0.885)
        names = self.page.axes(0.0, 0.185, right=0.885, sharex=axes)
        axes.set_xlim(0.0, 1.0)
        axes.tick_params(bottom=False, labelbottom=False)
        axes.set_ylabel("time from the beginning of the scenario, s")
        shown = [self._field(axes, k) for k in range(len(self.picture.fields))]
        axes.set_ylim(self.begin, self.end)
        axes.set_aspect("auto")
        self._links(axes)
        labels = Labels(axes)
        self._not_valid(axes, labels)
        self._beyond(axes)
        self._weak(axes, labels)
        self._scale(shown[0])
        draw_names(names, self.picture.way, self.display)

    def _field(self, axes: Axes, k: int) -> Any:
        field = self.picture.fields[k]
        return axes.imshow(
            bar(self.display, field.pressure),
            extent=(field.part.left, field.part.right, self.begin, self.end),
            origin="lower",
            aspect="auto",
            cmap=RAMP,
            vmin=self.low,
            vmax=self.high,
            interpolation="bilinear",
            zorder=1,
        )

    def _beyond(self, axes: Axes) -> None:
        """Hatching where the limit of the part is exceeded, with an edge."""
        time = self.picture.time[self.valid]
        for field in self.picture.fields:
            if field.limit is None or time.size < 2:
                continue
            over = field.pressure[self.valid] - field.limit.value
            if not np.any(over > 0.0):
                continue
            x = field.part.drawn(np.linspace(0.0, 1.0, over.shape[1]))
            axes.contourf(x, time, over, levels=[0.0, 1e12], colors="none", hatches=["xxx"], zorder=3)
            axes.contour(x, time, over, levels=[0.0], colors=INK, linewidths=0.9, zorder=3)

        for point in self.picture.limited_points:
            beyond = point.pressure[self.valid] > point.limit.value
            low, high = point.x - BESIDE, point.x + BESIDE
            style: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "hatch": "xxxxx", "lw": 0.9}
            axes.fill_betweenx(time, low, high, where=beyond, zorder=5, **style)

    def _links(self, axes: Axes) -> None:
        """Parts without length: a grey band; where one moves, a bar as wide as it is open."""
        for part in self.picture.way.parts:
            if part.length > 0.0:
                axes.axvline(part.right, color="white", linewidth=0.8, zorder=2)
                continue
            axes.axvspan(part.left, part.right, facecolor="#4a4a4a", edgecolor="none", zorder=2)
            if part.name in self.picture.strokes:
                self._stroke(axes, part.left, part.right, *self.picture.strokes[part.name])

    def _stroke(self, axes: Axes, left: float, right: float, times: Array, values: Array) -> None:
        t = np.unique(np.concatenate([times, [self.begin, self.end]]))
        steps = np.interp(t, times, values)
        # Of two points at one time the later one holds; just before it, the earlier.
        at = np.unique(times[:-1][np.diff(times) == 0.0])
        t = np.sort(np.concatenate([t, at]))
        steps = np.interp(t, times, values)
        for when in at:
            first = int(np.searchsorted(t, when))
            steps[first] = values[int(np.searchsorted(times, when))]
            steps[first + 1] = values[int(np.searchsorted(times, when, side="right")) - 1]
        middle, half = 0.5 * (left + right), 0.42 * (right - left)
        axes.fill_betweenx(
            t, middle - half * steps, middle + half * steps, facecolor="white", edgecolor="none", zorder=4
        )

    def _not_valid(self, axes: Axes, labels: Labels) -> None:
        until = self.picture.subject.valid_until
        if until is None or until >= self.end:
            return
        low = max(until, self.begin)
        axes.axhspan(low, self.end, facecolor="white", edgecolor="none", zorder=5)
        axes.axhspan(low, self.end, facecolor="none", edgecolor="#777777", hatch="..", lw=0.0, zorder=5)
        axes.axhline(low, color=INK, linewidth=1.2, zorder=6)
        words = f"the cargo boils at {self.display.time(until)} s: no pressure after it is valid"
        middle = 0.5 * (low + self.end)
        labels.keep(axes.text(0.5, middle, words, ha="center", va="center", bbox=BOX, zorder=7))

    def _weak(self, axes: Axes, labels: Labels) -> None:
        """Rings at the weakest place, and where the cargo first boils."""
        display, low = self.display, self.picture.subject.low
        if self.picture.boils is not None:
            x, mark = self.picture.boils
            self._ring(axes, labels, x, mark, f"boils here first,\nat {display.time(mark.time)} s")
        if self.picture.weak is not None:
            x, mark = self.picture.weak
            write, word = (display.round_down, "lowest") if low else (display.round_up, "peak")
            words = f"{word} {write(mark.pressure, unit=True)}\nat {display.time(mark.time)} s"
            self._ring(axes, labels, x, mark, words)

    def _ring(self, axes: Axes, labels: Labels, x: float, mark: Mark, words: str) -> None:
        for colour, width in (("white", 4.0), (INK, 1.6)):
            axes.plot(
                [x], [mark.time], "o", ms=11, mfc="none", mec=colour, mew=width, zorder=8, clip_on=False
            )
        labels.at(x, mark.time, words, weight="bold", bbox=BOX)

    def _scale(self, shown: Any) -> None:
        """The scale of pressures, with the limits on it."""
        display = self.display
        whole = self.page.axes(0.20, 1.0, left=0.90, right=0.916)
        scale = self.page.figure.colorbar(shown, cax=whole)
        whole.spines[["top", "right"]].set_visible(True)
        scale.set_label(f"pressure, {display.units.pressure}(g)")
        known = [f.limit for f in self.picture.fields]
        known += [p.limit for p in self.picture.limited_points]
        limits = {float(bar(display, limit.value)): limit for limit in known if limit is not None}
        inside = {v: limit for v, limit in sorted(limits.items()) if self.low < v <= self.high}
        near = 0.035 * (self.high - self.low)
        ticks = {
            v: f"{v:g}"
            for v in scale.get_ticks()
            if self.low <= v <= self.high and all(abs(v - w) > near for w in inside)
        }
        for v, limit in inside.items():
            whole.axhline(v, color="white", linewidth=4.0)
            whole.axhline(v, color=INK, linewidth=2.0)
            ticks[v] = f"{display.pressure(limit.value)} limit" + (
                "\nof some parts" if len(limits) > 1 else ""
            )
        scale.set_ticks(list(ticks), labels=list(ticks.values()), fontsize=8.5)
        beyond = [limit.value for v, limit in limits.items() if v > self.high]
        if beyond and not inside:
            words = f"nearest limit:\n{display.pressure(min(beyond), unit=True)}"
            whole.text(0.0, -0.015, words, transform=whole.transAxes, ha="left", va="top", fontsize=8)

"""An animation drawn: a background that stands still, and what moves on it, as shapes in dots.

The same shapes are drawn into pictures (for GIF and MP4) and written as paths (for HTML).
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from surge.arrays import Array
from surge.plots.frame import (
    CURVES,
    FAINT,
    HIGH,
    INK,
    LOW,
    STEADY_COLOUR,
    Labels,
    bar,
    our_settings,
    quoted,
    say_boxes,
)
from surge.plots.line import draw_limits, draw_names, height_of, label_limits, part_lines
from surge.reports.words import CAUTIONS, Display
from surge.units import printable
from surge.views.film import Film

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Shape = list[Array]  # outlines, each of shape (n, 2), in dots from the lower left corner

SIZE, DOTS = (10.0, 6.25), 96  # [inch], dots per inch
LEFT, RIGHT = 0.085, 0.975
MOST_STROKES = 4
HUNG_LEFT = 0.5  # the name of what hangs farther to the right stands left of it
ARROW = 0.030  # greatest length of an arrow, of the width
NOW = "#0a3d91"

# What moves, from the ground up: face, edge, width of the edge [pt].
OPACITY = {"band": 0.33}
STYLES: dict[str, tuple[str, str, float]] = {
    "band": ("#90aabb", "none", 0.0),
    "over": (HIGH, HIGH, 0.5),
    "highest": ("none", HIGH, 1.6),
    "lowest": ("none", LOW, 1.4),
    "profile": ("none", INK, 3.0),
    "arrows": (NOW, "none", 0.0),
    "blades": (INK, "none", 0.0),
    "past": ("none", INK, 1.6),
    "flow": ("none", NOW, 2.4),
    "now": ("none", NOW, 1.8),
    "dots": (NOW, "white", 1.0),
}


@dataclass(frozen=True, kw_only=True)
class Words:
    """Words around an animation.

    Attributes
    ----------
    title : str
        The case.
    line : str
        The scenario and its weakest place.
    signature : str
        Which program and which case.
    """

    title: str
    line: str
    signature: str


class DrawnFilm:
    """An animation drawn: a still background, and the shapes of each frame.

    Parameters
    ----------
    film : Film
    display : Display
        Units of the words and axes.
    words : Words
    """

    def __init__(self, film: Film, display: Display, words: Words) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.film, self.display, self.words = film, display, words
        self.figure: Figure = Figure(figsize=SIZE, dpi=DOTS)
        self.canvas = FigureCanvasAgg(self.figure)
        self.top = self._axes(0.485, 0.865)
        self.line = self._axes(0.365, 0.455)
        self.names = self._axes(0.219, 0.365)
        self.below = self._axes(0.116, 0.212)
        self.curves = self._curves()
        self._still()
        say_boxes(self.figure)
        self.clock_at = (RIGHT, 0.955)
        self._transforms()

    def _axes(self, low: float, high: float) -> Axes:
        return self.figure.add_axes((LEFT, low, RIGHT - LEFT, high - low))

    def _still(self) -> None:
        """Everything that does not move."""
        film, display = self.film, self.display
        self.figure.text(
            LEFT, 0.955, printable(self.words.title)[:64], fontsize=13, weight="bold", va="center"
        )
        self.figure.text(
            LEFT,
            0.915,
            textwrap.shorten(printable(self.words.line), 100, placeholder=" ..."),
            fontsize=9,
            va="center",
        )
        self.figure.text(RIGHT, 0.915, film.pace, fontsize=9, va="center", ha="right")
        self.figure.text(0.01, 0.024, CAUTIONS[0], fontsize=7, va="bottom")
        self.figure.text(
            0.01, 0.006, printable(self.words.signature)[:150], fontsize=6, va="bottom", color="#666666"
        )
        self._pressures()
        for axes in (self.line, self.names):
            axes.set_xlim(0.0, 1.0)
        self.line.set_ylim(-1.0, 1.0)
        self.line.set_axis_off()
        self._pipe()
        draw_names(self.names, film.way, display)
        self._times()

    def _pressures(self) -> None:
        film, display, axes = self.film, self.display, self.top
        axes.set_xlim(0.0, 1.0)
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params(bottom=False, labelbottom=False, labelsize=8)
        axes.set_ylabel(f"pressure, {display.units.pressure}(g)", fontsize=9)
        part_lines(axes, film.way)
        axes.set_ylim(*height_of(display, (film.highest[-1], film.lowest[-1]), film.upper, film.lower))
        draw_limits(axes, None, display, film.upper, film.lower)
        steady = bar(display, film.steady)
        axes.plot(film.x, steady, color=STEADY_COLOUR, linewidth=1.2, linestyle=(0, (2, 1.5)), zorder=3)
        labels = Labels(axes)
        for drawn in (steady, bar(display, film.highest[-1]), bar(display, film.lowest[-1])):
            labels.curve(film.x, drawn)
        label_limits(labels, display, film.upper, film.lower, side=-1, sources=False)
        if film.until is not None:
            words = f"the cargo boils at {display.time(film.until)} s: no pressure after it is valid"
            axes.text(
                0.5,
                1.02,
                words,
                transform=axes.transAxes,
                ha="center",
                va="bottom",
                fontsize=9,
                weight="bold",
            )

    def _pipe(self) -> None:
        """The line as a pipe; gates where something moves."""
        from matplotlib.patches import Rectangle

        axes = self.line
        for part in self.film.way.parts:
            height = 0.5 if part.length > 0.0 else 0.82
            axes.add_patch(
                Rectangle(
                    (part.left, -height),
                    part.right - part.left,
                    2 * height,
                    facecolor="#d9ecf7" if part.length > 0.0 else "#eef3f6",
                    edgecolor=INK,
                    linewidth=1.0,
                )
            )
        for place, name in self.film.hung:
            # A stalk over the pipe, in the room below the pressures.
            axes.plot([place, place], [0.5, 1.25], color=INK, linewidth=1.6, clip_on=False, zorder=6)
            axes.plot([place], [1.25], "o", ms=6, mfc="white", mec=INK, mew=1.4, clip_on=False, zorder=7)
            left = place > HUNG_LEFT
            axes.text(
                place + (-0.012 if left else 0.012),
                1.3,
                printable(name),
                ha="right" if left else "left",
                va="center",
                fontsize=8,
                clip_on=False,
            )

    def _times(self) -> None:
        """Strokes and flow against time, faint; what has passed is drawn over it."""
        film, axes = self.film, self.below
        axes.set_xlim(film.time[0], film.time[-1])
        axes.set_ylim(-5, 118)
        axes.set_yticks([0, 50, 100])
        axes.tick_params(labelsize=8)
        axes.set_ylabel("%", fontsize=9, rotation=0, va="center")
        axes.set_xlabel("time from the beginning of the scenario, s", fontsize=9)
        axes.spines[["top", "right"]].set_visible(False)
        labels = Labels(axes)
        for k, (_, values, flowing) in enumerate(self.curves):
            colour, width = ("#9db4d8", 2.4) if flowing else (FAINT, 1.4)
            axes.plot(film.time, values, linestyle=CURVES[k % len(CURVES)][1], color=colour, linewidth=width)
            labels.curve(film.time, values)
        for name, values, flowing in self.curves:
            moving = np.abs(np.diff(values)) > 0.2
            at = float(np.median(np.flatnonzero(moving))) / film.time.size if np.any(moving) else 0.5
            shares = np.linspace(0.05, 0.95, 31)
            shares = shares[np.argsort(np.abs(shares - at), kind="stable")]
            colour = NOW if flowing else INK
            style: dict[str, Any] = {"shares": shares.tolist(), "fontsize": 8, "color": colour}
            *longer, shortest = name.split("\n")
            if all(labels.along(film.time, values, w, must=False, **style) is None for w in longer):
                labels.along(film.time, values, shortest, **style)

    def _curves(self) -> list[tuple[str, Array, bool]]:
        """Names (longer and shorter, in lines) and values of what moves and of the main flow (True), in %."""
        film = self.film
        moving = list({**film.strokes, **film.others}.items())[:MOST_STROKES]
        kinds = film.kinds
        found = [
            (quoted(name) + (f", {kinds[name]}" if name in kinds else ""), 100 * values, False)
            for name, values in moving
        ]
        if film.flows:
            name, q = next(iter(film.flows.items()))
            most = float(np.abs(q).max())
            if most > 1e-9:
                full = f"100 % = {self.display.flow(most)}"
                words = f"flow through {quoted(name)}, {full}\nflow, {full}\nflow"
                found.append((words, 100 * q / most, True))
        return found

    def _transforms(self) -> None:
        """What does not change from frame to frame in the shapes of what moves, in dots."""
        film = self.film
        self.px = self.top.transData.transform(np.column_stack([film.x, np.zeros_like(film.x)]))[:, 0]
        low, high = self.top.get_ylim()
        self.y0, self.y1 = self.top.transData.transform([(0.0, low), (0.0, high)])[:, 1]
        self.low, self.high = low, high
        self.limit = self._limit_at_values()

    def _limit_at_values(self) -> Array:
        """The limit for peaks at every value along the line, in the reader's unit; infinite where none is."""
        limit = np.full(self.film.x.size, np.inf)
        names = [p.name for p in self.film.way.parts]
        for step in self.film.upper:
            if step.limit is not None and step.right > step.left:
                limit[self.film.part == names.index(step.name)] = float(bar(self.display, step.limit.value))
        return limit

    def _y(self, values: Array) -> Array:
        share = (values - self.low) / (self.high - self.low)
        found: Array = self.y0 + np.clip(share, 0.0, 1.0) * (self.y1 - self.y0)
        return found

    def shapes(self, k: int) -> dict[str, Shape]:
        """Return what moves as it stands in frame ``k``: for each style the outlines, in dots."""
        film = self.film
        now, high, low = (bar(self.display, v[k]) for v in (film.pressure, film.highest, film.lowest))
        at = {
            name: np.column_stack([self.px, self._y(v)])
            for name, v in (("now", now), ("hi", high), ("lo", low))
        }
        found: dict[str, Shape] = {
            "band": [np.vstack([at["hi"], at["lo"][::-1]])],
            "over": self._beyond(high),
            "highest": [at["hi"]],
            "lowest": [at["lo"]],
            "profile": [at["now"]],
            "arrows": self._arrows(k),
            "blades": self._blades(k),
        }
        return found | self._times_now(k)

    def _beyond(self, high: Array) -> Shape:
        """Areas between a limit and what has been above it."""
        found = []
        for p in range(len(self.film.way.parts)):
            own = self.film.part == p
            if not np.any(high[own] > self.limit[own]):
                continue
            x, limit = self.px[own], self.limit[own]
            top = np.maximum(high[own], limit)
            found.append(
                np.vstack([np.column_stack([x, self._y(top)]), np.column_stack([x, self._y(limit)])[::-1]])
            )
        return found

    def _arrows(self, k: int) -> Shape:
        to = self.line.transData.transform
        middle = to(np.column_stack([self.film.arrow_x, np.zeros_like(self.film.arrow_x)]))
        longest = ARROW * self.figure.bbox.width
        found = []
        for (x, y), share in zip(middle, self.film.arrows[k], strict=True):
            size = longest * share
            if abs(size) < 1.5:
                found.append(np.array([(x - 2, y - 2), (x - 2, y + 2), (x + 2, y + 2), (x + 2, y - 2)]))
                continue
            way = 1.0 if size > 0 else -1.0
            tail, tip = x - size / 2, x + size / 2
            neck = tip - way * min(abs(size), 8.0)
            half, wide = 1.4, 5.0
            upper = [(tail, y + half), (neck, y + half), (neck, y + wide)]
            lower = [(neck, y - wide), (neck, y - half), (tail, y - half)]
            found.append(np.array([*upper, (tip, y), *lower]))
        return found

    def _blades(self, k: int) -> Shape:
        """Gates that come down as far as valves are shut; bars of pumps as high as they run."""
        to = self.line.transData.transform
        found = []
        for part in self.film.way.parts:
            if part.name not in self.film.strokes:
                continue
            open_now = float(self.film.strokes[part.name][k])
            inner = 0.18 * (part.right - part.left)
            low, high = (
                (-0.82, -0.82 + 1.64 * open_now)
                if part.kind == "pump"
                else (0.82 - 1.64 * (1 - open_now), 0.82)
            )
            corners = [(part.left + inner, low), (part.right - inner, low), (part.right - inner, high)]
            found.append(to(np.array([*corners, (part.left + inner, high)])))
        return found

    def _times_now(self, k: int) -> dict[str, Shape]:
        film, to = self.film, self.below.transData.transform
        t = float(film.time[k])
        found: dict[str, Shape] = {"past": [], "flow": [], "dots": []}
        for _, values, flowing in self.curves:
            passed = to(np.column_stack([film.time[: k + 1], values[: k + 1]]))
            found["flow" if flowing else "past"].append(passed)
            turn = np.linspace(0.0, 2 * np.pi, 13)
            found["dots"].append(passed[-1] + 4 * np.column_stack([np.cos(turn), np.sin(turn)]))
        return found | {"now": [to(np.array([(t, -5.0), (t, 118.0)]))]}

    def clock(self, k: int) -> str:
        """Return the instant of frame ``k`` in words."""
        return f"{self.film.time[k]:.2f} s"

    def mark(self, k: int) -> tuple[float, float, str]:
        """Return where the highest pressures up to frame ``k`` come nearest to a limit for peaks.

        Returns
        -------
        (float, float, str)
            Place from the lower left corner [dots], and the highest pressure there in words.
        """
        high = self.film.highest[k]
        over = bar(self.display, high) - self.limit
        at = int(np.argmax(over if np.any(np.isfinite(over)) else high))
        x, y = float(self.px[at]), float(self._y(bar(self.display, high[at : at + 1]))[0])
        return x, y, self.display.round_up(float(high[at]))


@contextmanager
def drawn_film(film: Film, display: Display, words: Words) -> Iterator[DrawnFilm]:
    """Give an animation drawn, while the drawing library is set as for all pictures."""
    with our_settings():
        yield DrawnFilm(film, display, words)


def pictures_of(drawn: DrawnFilm) -> Iterator[NDArray[np.uint8]]:
    """Draw every frame; yields arrays of shape (height, width, 3): red, green, blue, 0 to 255 [-]."""
    from matplotlib.patches import PathPatch
    from matplotlib.patheffects import withStroke
    from matplotlib.transforms import IdentityTransform

    figure = drawn.figure
    canvas: Any = drawn.canvas  # the library does not tell its types
    canvas.draw()
    still = canvas.copy_from_bbox(figure.bbox)
    patches = {}
    for name, (face, edge, width) in STYLES.items():
        patches[name] = PathPatch(
            _path([]),
            facecolor=face,
            edgecolor=edge,
            linewidth=width,
            alpha=OPACITY.get(name),
            transform=IdentityTransform(),
            figure=figure,
        )
    clock = figure.text(*drawn.clock_at, "", fontsize=15, weight="bold", ha="right", va="center")
    clock.set_animated(True)
    figure_mark: Any = figure.text(0, 0, "", fontsize=9, weight="bold", ha="center", va="bottom", color=HIGH)
    figure_mark.set(
        animated=True,
        transform=IdentityTransform(),
        path_effects=[withStroke(linewidth=2.5, foreground="white")],
    )
    renderer = canvas.get_renderer()
    for k in range(drawn.film.time.size):
        canvas.restore_region(still)
        shapes = drawn.shapes(k)
        for name, patch in patches.items():
            patch.set_path(_path(shapes[name], closed=STYLES[name][0] != "none"))
            patch.draw(renderer)
        clock.set_text(drawn.clock(k))
        clock.draw(renderer)
        x, y, value = drawn.mark(k)
        figure_mark.set(text=value, position=(x, y + 4))
        figure_mark.draw(renderer)
        yield np.asarray(canvas.buffer_rgba())[:, :, :3].copy()


def _path(outlines: Shape, *, closed: bool = False) -> Any:
    from matplotlib.path import Path

    if not outlines:
        return Path(np.zeros((0, 2)))
    made = []
    for points in outlines:
        codes = np.full(len(points), Path.LINETO)
        codes[0] = Path.MOVETO
        if closed:
            points, codes = np.vstack([points, points[:1]]), np.append(codes, Path.CLOSEPOLY)
        made.append(Path(points, codes))
    return Path.make_compound_path(*made)


def background_svg(drawn: DrawnFilm) -> str:
    """Return the background as SVG, without a prologue."""
    out = io.BytesIO()
    drawn.figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue().decode()
    return text[text.index("<svg") :]

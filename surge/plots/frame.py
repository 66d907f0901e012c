"""What every picture has in common: the page with its words, places for labels, and the files.

Words, line styles and hatching tell everything; colours only help. A grey print loses nothing.
"""

from __future__ import annotations

import io
import os
import sys
import textwrap
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import quoteattr

import numpy as np

from surge.arrays import Array
from surge.errors import RequestError
from surge.reports.letters import BOXES, lacking
from surge.reports.words import Display
from surge.units import from_si, printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox

Kinds = Sequence[str]

SIZE = (11.69, 8.27)  # [inch] A4 across
DOTS = 150  # per inch, of a PNG
FOOT = 205  # characters in a line of the foot
HALO = 2.5  # [pt] white around words that lie on shades
BOX = {"boxstyle": "round,pad=0.3", "facecolor": "white", "edgecolor": "#555555", "linewidth": 0.6}
SETTINGS: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 10.0,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "hatch.linewidth": 0.6,
    "svg.hashsalt": "surge",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "axes.axisbelow": False,
}

# Okabe and Ito's colours, which the colour-blind tell apart, darkened until they differ from white in grey.
HIGH, LOW, STEADY_COLOUR, INK, FAINT = "#a83c00", "#005a8c", "#333333", "#111111", "#8a8a8a"
BAND = "#dfe6ea"
CURVES = (
    ("#111111", "-", 1.9),
    ("#b04a00", (0, (7, 2)), 1.5),
    ("#0068a5", (0, (1.2, 1.4)), 1.9),
    ("#00775a", (0, (7, 2, 1.2, 2)), 1.5),
    ("#8a4f7d", (0, (3, 1.2)), 1.1),
)
LEFT, RIGHT, TOP = 0.075, 0.975, 0.85
HEAD, MOST_HEAD = 145, 4  # characters in a line of the heading, and lines
GAP = 3.0  # [pt] between a curve and its label


@dataclass(frozen=True, kw_only=True)
class Heading:
    """Words around a picture.

    Attributes
    ----------
    lines : tuple of str
        Above it; the first one is the title.
    foot : tuple of str
        Paragraphs below it.
    signature : str
        Which program and which case.
    """

    lines: tuple[str, ...]
    foot: tuple[str, ...]
    signature: str


def bar(display: Display, values: Array | float) -> Array:
    """Return pressures [Pa], or Pa gauge, in the reader's unit."""
    return np.asarray(values, dtype=float) / (1.0 / from_si(1.0, unit=display.units.pressure))


def flow(display: Display, values: Array | float) -> Array:
    """Return flows [m3/s] in the reader's unit."""
    return np.asarray(values, dtype=float) * from_si(1.0, unit=display.units.flow, density=display.density)


def metres(display: Display, values: Array | float) -> Array:
    """Return lengths [m] in the reader's unit."""
    return np.asarray(values, dtype=float) * from_si(1.0, unit=display.units.length)


def quoted(name: str) -> str:
    """Return a name in quotes; characters that cannot be printed are escaped."""
    return f'"{printable(name)}"'


def short(source: str, most: int = 58) -> str:
    """Return as much of the source of a limit as fits beside a line; ``surge check`` prints all of it."""
    return textwrap.shorten(printable(source.split(";")[0]), most, placeholder=" ...")


@dataclass(kw_only=True)
class PicturePage:
    """A page with words above and below, and room for axes between them.

    Attributes
    ----------
    figure : Figure
    display : Display
        Units of the words and axes.
    bottom, top : float
        Where the room for axes begins and ends, as shares of the height of the page [-].
    """

    figure: Figure
    display: Display
    bottom: float
    top: float = TOP

    def axes(self, low: float, high: float, **more: Any) -> Axes:
        """Add axes to the page.

        Parameters
        ----------
        low, high : float
            Lower and upper end, as shares of the room between foot and heading [-].
        **more
            ``left`` and ``right``, shares of the width of the page [-]; and what the drawing library takes.
        """
        room = self.top - self.bottom
        left, right = more.pop("left", LEFT), more.pop("right", RIGHT)
        box = (left, self.bottom + low * room, right - left, (high - low) * room)
        made = self.figure.add_axes(box, **more)
        made.spines[["top", "right"]].set_visible(False)
        made.tick_params(labelsize=9)
        return made


def draw(
    paint: Callable[[PicturePage], None],
    display: Display,
    heading: Heading,
    *,
    kinds: Kinds,
    alt: str,
    room: float = 0.06,
    fill: float = 1.0,
) -> dict[str, bytes]:
    """Draw a page.

    Parameters
    ----------
    paint : callable
        Called with the page; draws the picture itself.
    display : Display
        Units of the words and axes.
    heading : Heading
    kinds : sequence of {"png", "svg", "pdf"}
    alt : str
        What the picture shows, for those who do not see it.
    room : float
        Room between the foot and the lowest axes, for the words of the axis, as a share of the height [-].
    fill : float
        How much of the usual room for axes is needed [-]: the page is lower by the rest.

    Returns
    -------
    dict of str to bytes
        A file for each kind; the same data give the same bytes.
    """
    with our_settings():
        foot = [line for text in heading.foot for line in textwrap.wrap(printable(text), FOOT)]
        foot.append(printable(heading.signature))
        bottom = room + 0.0155 * (len(foot) + 1)
        height = 1.0 - (1.0 - fill) * (TOP - bottom)  # of the usual one
        figure = new_figure((SIZE[0], height * SIZE[1]))
        page = PicturePage(
            figure=figure, display=display, bottom=bottom / height, top=1.0 - (1.0 - TOP) / height
        )
        _words(figure, heading, foot, height)
        paint(page)
        say_boxes(figure)
        title = printable(heading.lines[0])
        said = {kind: file_words(kind, heading.signature, title=title, alt=printable(alt)) for kind in kinds}
        return {
            kind: _file(figure, kind, said=said[kind], label=f"{title}. {printable(alt)}") for kind in kinds
        }


def _library() -> Any:
    """Return the drawing library, whatever the user's settings of it say: ours hold for what is drawn here.

    A notebook leaves MPLBACKEND behind, which names a package that may not be there.

    Raises
    ------
    RequestError
        It cannot be loaded.
    """
    if (loaded := sys.modules.get("matplotlib")) is not None:
        return loaded
    backend = os.environ.pop("MPLBACKEND", None)
    try:
        library = import_module("matplotlib")
    except Exception as error:  # whatever stands in a file of settings
        words = " ".join(str(error).split())[:300]
        raise RequestError(
            f"nothing can be drawn here, since the drawing library does not load: {printable(words)}; "
            'look for a file "matplotlibrc" in this folder or in your settings'
        ) from error
    finally:
        if backend is not None:
            os.environ["MPLBACKEND"] = backend
    if backend is not None:
        with suppress(ValueError):
            library.rcParams["backend"] = backend  # for what the user draws; the library does so as it loads
    return library


@contextmanager
def our_settings() -> Iterator[None]:
    """Set the drawing library for what is drawn inside; afterwards its settings are as they were."""
    mpl = _library()
    with mpl.rc_context(), warnings.catch_warnings():
        # A character that the fonts of the library do not have is drawn as a box: nothing to stop for.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        mpl.rcdefaults()
        mpl.rcParams.update(SETTINGS)
        yield


def new_figure(size: tuple[float, float]) -> Figure:
    """Return an empty figure of a width and height [inch] that can tell how large words are."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=size, dpi=DOTS)
    FigureCanvasAgg(figure)
    return figure


def say_boxes(figure: Figure) -> None:
    """Say at the top of a page that letters stand as boxes, if any does; all words must be there by then."""
    from matplotlib.text import Text

    if lacking(words.get_text() for words in figure.findobj(Text)):
        figure.text(0.985, 0.994, BOXES, fontsize=6.0, ha="right", va="top")


def _words(figure: Figure, heading: Heading, foot: Sequence[str], height: float) -> None:
    """Titles above, the foot below, on a page of so much of the usual height [-]."""
    title, *lines = (printable(t) for t in heading.lines)
    figure.text(
        LEFT, 1.0 - 0.035 / height, textwrap.shorten(title, 95), fontsize=14, weight="bold", va="center"
    )
    wrapped = [part for line in lines for part in textwrap.wrap(line, HEAD)]
    if len(wrapped) > MOST_HEAD:
        wrapped = [*wrapped[: MOST_HEAD - 1], f"{wrapped[MOST_HEAD - 1][: HEAD - 4]} ..."]
    for k, line in enumerate(wrapped):
        figure.text(LEFT, 1.0 - (0.065 + 0.021 * k) / height, line, fontsize=9.5, va="center")
    for k, line in enumerate(reversed(foot)):
        figure.text(0.02, (0.016 + 0.0155 * k) / height, line, fontsize=6.5, va="center")


def file_words(kind: str, signature: str, *, title: str = "", alt: str = "") -> dict[str, str | None]:
    """Return the words that lie unseen in a picture's file: program, case and its hash; no time of day.

    Parameters
    ----------
    kind : {"png", "svg", "pdf"}
    signature : str
        It begins with the program and its version.
    title, alt : str
    """
    by, whole = signature.split(",")[0], printable(signature)
    said: dict[str, dict[str, str | None]] = {
        "svg": {"Date": None, "Creator": by, "Source": whole, "Title": title, "Description": alt},
        "png": {"Software": by, "Source": whole, "Title": title, "Description": alt},
        "pdf": {"CreationDate": None, "Creator": by, "Keywords": whole, "Title": title, "Subject": alt},
    }
    return {key: words for key, words in said[kind].items() if words != ""}


def _file(figure: Figure, kind: str, *, said: dict[str, str | None], label: str) -> bytes:
    """Write a figure as a file, with words for those who do not see it."""
    out = io.BytesIO()
    figure.savefig(out, format=kind, dpi=DOTS, metadata=said)
    made = out.getvalue()
    if kind != "svg":
        return made
    return made.replace(b"<svg ", f'<svg role="img" aria-label={quoteattr(label)} '.encode(), 1)


class Labels:
    """Finds places for words in axes, where they cover neither each other nor a curve."""

    def __init__(self, axes: Axes) -> None:
        from matplotlib.patheffects import withStroke

        self.axes = axes
        self.taken: list[Bbox] = []
        self.points = np.zeros((0, 2))
        self.halo: Any = [withStroke(linewidth=HALO, foreground="white")]
        self.dots = axes.figure.dpi / 72  # dots in a point

    def curve(self, x: Array, y: Array) -> None:
        """Keep words off a curve, x and y of shape (n,) [units of the axes]."""
        seen = self.axes.transData.transform(np.column_stack([x, y]))
        seen = seen[np.all(np.isfinite(seen), axis=1)]
        if seen.shape[0] < 2:
            return
        step = np.hypot(*np.diff(seen, axis=0).T)
        at = np.concatenate([[0.0], np.cumsum(step)])
        where = np.linspace(0.0, at[-1], int(min(at[-1] / 3.0, 20_000)) + 2)
        dense = np.column_stack([np.interp(where, at, seen[:, k]) for k in (0, 1)])
        self.points = np.vstack([self.points, dense])

    def keep(self, artist: Any) -> None:
        """Keep words off something that is drawn already, such as a text."""
        self.taken.append(artist.get_window_extent())

    def along(
        self,
        x: Array,
        y: Array,
        words: str,
        *,
        shares: Iterable[float] = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88),
        sides: Sequence[int] = (1, -1),
        must: bool = True,
        **style: Any,
    ) -> Text | None:
        """Write words above or below a curve, where nothing else is.

        Parameters
        ----------
        x, y : ndarray of shape (n,)
            The curve; x rises [units of the axes].
        words : str
        shares : iterable of float
            Places to try for the middle of the words, as shares of the width of the axes [-].
        sides : sequence of int
            Sides to try: 1 above the curve, -1 below it.
        must : bool
            Write the words even where they cover something.
        **style
            Of the text, as the drawing library takes it.

        Returns
        -------
        Text or None
            None where there was no free place, and the words were not written.
        """
        text = self._text(words, style)
        curve = self.axes.transData.transform(np.column_stack([x, y]))
        box = text.get_window_extent()
        frame = self.axes.get_window_extent()
        gap = GAP * self.dots
        best: tuple[float, float, float] | None = None
        for share in shares:
            centre = frame.x0 + share * frame.width
            centre = min(max(centre, frame.x0 + box.width / 2 + gap), frame.x1 - box.width / 2 - gap)
            near = np.interp(np.linspace(centre - box.width / 2, centre + box.width / 2, 24), *curve.T)
            for side in sides:
                low = near.max() + gap if side > 0 else near.min() - gap - box.height
                # Beside a steep piece of curve it would not be clear what the words belong to.
                crowd = self._crowd(centre - box.width / 2, low, box)
                crowd += 4.0 * max(float(np.ptp(near)) / box.height - 0.8, 0.0)
                if best is None or crowd < best[0]:
                    best = (crowd, centre - box.width / 2, low)
            if best is not None and best[0] == 0.0:
                break
        assert best is not None
        return self._settle(text, best, must=must)

    def at(
        self, x: float, y: float, words: str, *, must: bool = True, reach: float = 14.0, **style: Any
    ) -> Text | None:
        """Write words near a point, where nothing else is, with a line to the point.

        Parameters
        ----------
        x, y : float
            The point [units of the axes].
        words : str
        must : bool
            Write the words even where they cover something.
        reach : float
            Least distance between point and words [pt].
        **style
            Of the text, as the drawing library takes it.

        Returns
        -------
        Text or None
            None where there was no free place, and the words were not written.
        """
        text = self._text(words, style)
        box = text.get_window_extent()
        px, py = self.axes.transData.transform((x, y))
        best: tuple[float, float, float] | None = None
        for far in (1.0, 2.0, 3.2, 5.0, 7.0):
            d = far * reach * self.dots
            for dx, dy in ((1, 1), (-1, 1), (1, -1), (-1, -1), (0, 1.4), (0, -1.4), (1.6, 0), (-1.6, 0)):
                left = px + d * dx - (box.width if dx < 0 else box.width / 2 if dx == 0 else 0.0)
                low = py + d * dy - (box.height if dy < 0 else box.height / 2 if dy == 0 else 0.0)
                crowd = self._crowd(left, low, box) + 0.01 * far
                if best is None or crowd < best[0]:
                    best = (crowd, left, low)
            if best is not None and best[0] < 1.0:
                break
        assert best is not None
        placed = self._settle(text, best, must=must)
        if placed is not None:
            self._leader(px, py, placed)
        return placed

    def _leader(self, px: float, py: float, text: Text) -> None:
        box = text.get_window_extent()
        nearest = (min(max(px, box.x0), box.x1), min(max(py, box.y0), box.y1))
        if np.hypot(nearest[0] - px, nearest[1] - py) < 5.0 * self.dots:
            return
        ends = self.axes.transData.inverted().transform([(px, py), nearest])
        self.axes.plot(*ends.T, color=INK, linewidth=0.7, zorder=7, clip_on=False)

    def _text(self, words: str, style: dict[str, Any]) -> Text:
        style = {"fontsize": 9, "zorder": 9, "path_effects": self.halo, **style}
        return self.axes.text(0, 0, words, ha="left", va="bottom", transform=None, **style)

    def _crowd(self, left: float, low: float, box: Bbox) -> float:
        """How much is covered by a box with this corner: 0 for nothing."""
        from matplotlib.transforms import Bbox

        here = Bbox.from_bounds(left - 2, low - 2, box.width + 4, box.height + 4)
        frame = self.axes.get_window_extent()
        outside = 50.0 * float(
            here.x0 < frame.x0 + 3
            or here.x1 > frame.x1 - 1
            or here.y0 < frame.y0
            or here.y1 > frame.y1 + 0.02 * frame.height
        )
        over = sum(200.0 for other in self.taken if here.overlaps(other))
        p = self.points
        inside = (p[:, 0] > here.x0) & (p[:, 0] < here.x1) & (p[:, 1] > here.y0) & (p[:, 1] < here.y1)
        return outside + over + float(np.sum(inside))

    def _settle(self, text: Text, best: tuple[float, float, float], *, must: bool) -> Text | None:
        crowd, left, low = best
        if crowd >= 1.0 and not must:
            text.remove()
            return None
        text.set_transform(self.axes.transData)
        text.set_position(tuple(self.axes.transData.inverted().transform((left, low))))
        self.taken.append(text.get_window_extent())
        return text


def faint_grid(axes: Axes, axis: Literal["x", "y", "both"]) -> None:
    """Draw faint lines at the ticks, behind all curves."""
    axes.set_axisbelow(True)
    axes.grid(axis=axis, color="#dddddd", linewidth=0.6)


def after_that(axes: Axes, labels: Labels, when: float, end: float, words: str) -> None:
    """Tint the time with cavities in the line, ``when`` to ``end`` [s], with words at its beginning."""
    axes.axvspan(when, end, facecolor="#000000", alpha=0.05, edgecolor="none", zorder=0)
    axes.axvline(when, color=INK, linewidth=1.2, linestyle=(0, (4, 2)), zorder=6)
    if words:
        style: dict[str, Any] = {"ha": "right", "va": "center", "fontsize": 9, "zorder": 8, "rotation": 90}
        style["path_effects"] = labels.halo
        labels.keep(axes.text(when, 0.6, words, transform=axes.get_xaxis_transform(), **style))


def not_valid_after(axes: Axes, labels: Labels, when: float, end: float, words: str) -> None:
    """Cover the time in which the model does not hold, ``when`` to ``end`` [s], and write words there."""
    axes.axvspan(when, end, facecolor="white", alpha=0.72, edgecolor="none", zorder=5)
    axes.axvspan(when, end, facecolor="none", edgecolor="#777777", hatch="..", linewidth=0.0, zorder=5)
    axes.axvline(when, color=INK, linewidth=1.2, linestyle=(0, (4, 2)), zorder=6)
    if words:
        style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 9, "zorder": 8, "bbox": BOX}
        middle = when + 0.5 * (end - when)
        labels.keep(axes.text(middle, 0.5, words, transform=axes.get_xaxis_transform(), **style))

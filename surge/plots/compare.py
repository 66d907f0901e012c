"""Two cases in one picture: highest and lowest pressures along the line, and pressures against time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from surge.arrays import Array
from surge.errors import RequestError
from surge.plots.frame import INK, Heading, Kinds, Labels, PicturePage, bar, draw, faint_grid, short
from surge.plots.line import draw_limits, draw_names, height_of, label_limits, part_lines
from surge.plots.time import place_words
from surge.reports.compare import _whole, change_words
from surge.reports.words import CAUTIONS, HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.views.compare import Comparison, ScenarioPair
from surge.views.line import LinePicture, line_picture, way_of
from surge.views.subject import LOW_CHECKS, Subject
from surge.views.time import PressureTrace, share_of, traces_at

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STYLES: tuple[dict[str, Any], dict[str, Any]] = (
    {"color": "#a85500", "linewidth": 2.2, "linestyle": (0, (5, 2))},
    {"color": INK, "linewidth": 2.2, "linestyle": "-"},
)
WORDS = ("before", "after")


def lines_of(pair: ScenarioPair) -> tuple[LinePicture, LinePicture] | None:
    """Return the pressures along one way in both cases; None where no way has the same elements in both."""
    first, second = pair.subjects[::-1] if _worse(pair) else pair.subjects
    way = way_of(first)
    try:
        found = line_picture(first, way.points[-1]), line_picture(second, way.points[-1])
    except RequestError:
        return None
    names = [[p.name for p in one.way.parts] for one in found]
    if names[0] != names[1]:
        return None
    return found[::-1] if _worse(pair) else found


def place_of(pair: ScenarioPair) -> tuple[str, bool]:
    """Return the place that comes nearest to a limit in either case, and whether by a low pressure.

    It is an element or point that both cases have.
    """
    known = {r.name for r in pair.places}
    found = [s.finding for s in pair.subjects if s.finding is not None and s.finding.name in known]
    worst = max(found, key=lambda f: f.load, default=None)
    if worst is None:
        return pair.places[0].name, False
    return worst.name, worst.check in LOW_CHECKS


def _worse(pair: ScenarioPair) -> bool:
    """Whether the case after comes nearer to a limit than the one before."""
    loads = [s.finding.load if s.finding is not None else 0.0 for s in pair.subjects]
    return loads[1] > loads[0]


def histories_of(pair: ScenarioPair) -> tuple[tuple[Array, PressureTrace], tuple[Array, PressureTrace]]:
    """Return, for each case, instants [s] and the pressure at :func:`place_of` [Pa gauge].

    In an element it is the pressure at the same share of its length in both.
    """
    name, low = place_of(pair)
    worse = pair.subjects[_worse(pair)]
    known = name in worse.lineup.points_by_name
    share = None if known else share_of(worse, name, low=low)

    def one(subject: Subject) -> tuple[Array, PressureTrace]:
        return subject.run.history.time, traces_at(subject, [name], low=low, share=share)[0]

    return one(pair.subjects[0]), one(pair.subjects[1])


def draw_comparison(
    pair: ScenarioPair, display: Display, heading: Heading, *, kinds: Kinds, alt: str
) -> dict[str, bytes]:
    """Draw a scenario of one case with a scenario of the other.

    Parameters
    ----------
    pair : ScenarioPair
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
    return draw(lambda page: _Both(page, pair).draw(), display, heading, kinds=kinds, alt=alt)


class _Both:
    def __init__(self, page: PicturePage, pair: ScenarioPair) -> None:
        self.page, self.pair, self.display = page, pair, page.display
        self.lines = lines_of(pair)
        self.named: list[str] = []

    def draw(self) -> None:
        if self.lines is not None:
            self._along(self.page.axes(0.58, 1.0), self.page.axes(0.43, 0.57), self.lines)
            self._times(self.page.axes(0.0, 0.36))
        else:
            self._times(self.page.axes(0.0, 0.96))

    def _along(self, axes: Axes, names: Axes, lines: tuple[LinePicture, LinePicture]) -> None:
        display = self.display
        axes.set_xlim(0.0, 1.0)
        names.set_xlim(0.0, 1.0)
        axes.tick_params(bottom=False, labelbottom=False)
        axes.set_ylabel(f"highest pressure, {display.units.pressure}(g)", fontsize=9)
        part_lines(axes, lines[1].way)
        curves = [(one.along.highest, one) for one in lines]
        upper = [*lines[0].upper, *lines[1].upper]
        axes.set_ylim(*height_of(display, [c for c, _ in curves], upper, ()))
        labels = Labels(axes)
        draw_limits(axes, labels, display, lines[1].upper, ())
        for one in lines[0].upper:
            other = [s.limit for s in lines[1].upper if s.name == one.name]
            if one.limit is not None and one.limit not in other:
                y = float(bar(display, one.limit.value))
                axes.plot(
                    [one.left, one.right], [y, y], color=STYLES[0]["color"], linewidth=1.6, linestyle=":"
                )
        drawn = []
        for (values, picture), style in zip(curves, STYLES, strict=True):
            x = self._x(picture, lines[1])
            axes.plot(x, bar(display, values), zorder=5, **style)
            labels.curve(x, bar(display, values))
            drawn.append((x, bar(display, values)))
        label_limits(labels, display, lines[1].upper, ())
        for (x, high), word, style, side in zip(drawn, WORDS, STYLES, ((1, -1), (-1, 1)), strict=True):
            shares = (0.3, 0.4, 0.2, 0.5, 0.6, 0.12, 0.7, 0.8)
            labels.along(x, high, word, sides=side, shares=shares, color=style["color"], weight="bold")
        draw_names(names, lines[1].way, display)

    def _x(self, picture: LinePicture, base: LinePicture) -> Array:
        """Places of a picture in the drawing of the other, in which lengths may differ."""
        x = np.empty_like(picture.along.x)
        for k, (own, other) in enumerate(zip(picture.way.parts, base.way.parts, strict=True)):
            at = picture.along.part == k
            x[at] = other.drawn((picture.along.x[at] - own.left) / (own.right - own.left))
        return x

    def _times(self, axes: Axes) -> None:
        display = self.display
        histories = histories_of(self.pair)
        untils = [s.valid_until for s in self.pair.subjects]
        axes.set_xlabel("time from the beginning of the scenario, s")
        axes.set_ylabel(f"pressure, {display.units.pressure}(g)", fontsize=9)
        faint_grid(axes, "x")
        shown = []
        for (time, trace), until in zip(histories, untils, strict=True):
            valid = time <= (np.inf if until is None else until)
            shown.append((time[valid], bar(display, trace.pressure[valid])))
        for (t, y), style in zip(shown, STYLES, strict=True):
            axes.plot(t, y, zorder=4, **{**style, "linewidth": 1.7})
        upper = [float(bar(display, c.upper.value)) for _, c in histories if c.upper is not None]
        drawn = np.concatenate([y for _, y in shown])
        low, high = float(drawn.min()), float(drawn.max())
        low_place = place_of(self.pair)[1]
        if not low_place:
            high = max([high, *upper])
        lower = [float(bar(display, c.lower.value)) for _, c in histories]
        low = min([low, *(v for v in lower if low_place or v > low - 0.3 * (high - low))])
        room = 0.18 * max(high - low, 1e-6)
        axes.set_ylim(low - room, high + 1.8 * room)
        axes.set_xlim(0.0, max(float(t[-1]) for t, _ in shown))
        labels = Labels(axes)
        for t, y in shown:
            labels.curve(t, y)
        self._marks(axes, labels, histories, low=low_place)
        self._limits(axes, labels, [c for _, c in histories])
        for (t, y), word, style in zip(shown, WORDS, STYLES, strict=True):
            if word not in self.named:
                labels.along(t, y, word, color=style["color"], weight="bold")
        axes.set_title(f"at {place_words(histories[1][1], display)}", loc="left", fontsize=9)

    def _limits(self, axes: Axes, labels: Labels, traces: list[PressureTrace]) -> None:
        display = self.display
        x = np.array(axes.get_xlim())
        after = traces[1]
        for trace, dash in ((traces[0], ":"), (after, "-")):
            for limit, side in ((trace.upper, 1), (trace.lower, -1)):
                own = limit in (after.upper, after.lower)
                if limit is None or (trace is not after and own):
                    continue
                y = float(bar(display, limit.value))
                if not axes.get_ylim()[0] < y < axes.get_ylim()[1]:
                    continue
                axes.axhline(y, color=INK, linewidth=1.6, linestyle=dash, zorder=3)
                labels.curve(x, np.array([y, y]))
                words = f"{'limit' if side > 0 else 'lower limit'} {display.pressure(limit.value, unit=True)}"
                words += f", {short(limit.source)}" + ("" if trace is after else ", before")
                shares = (0.6, 0.8, 0.3, 0.45, 0.15)
                labels.along(x, np.array([y, y]), words, shares=shares, sides=(side, -side), fontsize=8.5)

    def _marks(
        self, axes: Axes, labels: Labels, histories: tuple[tuple[Array, PressureTrace], ...], *, low: bool
    ) -> None:
        display = self.display
        for (_, trace), word, style in zip(histories, WORDS, STYLES, strict=True):
            mark = trace.trough if low else trace.peak
            if mark is None or mark.time == 0.0:
                continue
            y = float(bar(display, mark.pressure))
            axes.plot([mark.time], [y], "o", ms=8, mfc="white", mec=style["color"], mew=1.8, zorder=8)
            write = display.round_down if low else display.round_up
            words = f"{word}: {write(mark.pressure, unit=True)} at {display.time(mark.time)} s"
            self.named.append(word)
            labels.at(mark.time, y, words, color=style["color"], weight="bold")


def comparison_files(
    c: Comparison, display: Display, signatures: Iterable[str], *, kinds: Sequence[str]
) -> dict[str, bytes]:
    """Draw the pair of scenarios that comes nearest to a limit; return a file for each kind."""
    pair = c.governing
    name = f'"{pair.before}"' if pair.before == pair.after else f'"{pair.before}" and "{pair.after}"'
    before, after = (HEADLINE[v] for v in pair.verdicts)
    every = (*c.changes, *pair.changes)
    said = "; ".join(change_words(x, display) for x in every[:4]) or "nothing"
    more = f"; and {len(every) - 4} more" if len(every) > 4 else ""
    lines = (
        f"Before and after: {c.after.lineup.title}",
        f"scenario {name}, pressures: {before} before, {after} after" + _whole(c, pair),
        f"What differs: {said}{more}.",
    )
    how = (
        "Dashed, brown: before. Solid, black: after. Above: the highest pressure anywhere along the line "
        "during the scenario. Below: pressure against time at one place. Limits are those of the case after; "
        "dotted ones those of the case before where they differ. Across, elements are as wide as the root of "
        "their length. What is drawn ends where the cargo boils."
    )
    heading = Heading(
        lines=lines, foot=(how, f"{LOCAL_CODES} {' '.join(CAUTIONS)}"), signature="; ".join(signatures)
    )
    alt = (
        "Highest pressures along the line and pressure against time, before and after. "
        f"{lines[1]}. {lines[2]}"
    )
    return draw_comparison(pair, display, heading, kinds=kinds, alt=alt)

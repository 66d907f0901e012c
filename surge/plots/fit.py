"""A record beside the fitted case, and what is left over: two strips for each place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from surge.fitting.doubts import MUCH
from surge.fitting.fit import Fit, FittedPlace
from surge.phrases import counted
from surge.plots.frame import (
    BAND,
    FAINT,
    HIGH,
    INK,
    LOW,
    Heading,
    Kinds,
    PicturePage,
    bar,
    draw,
    faint_grid,
    quoted,
)
from surge.reports.fit import (
    HEADLINE,
    ONE_RECORD,
    WHO_JUDGES,
    alt_words,
    figures_table,
    fine,
    verdict_of,
)
from surge.reports.layout import LINE
from surge.reports.words import Display
from surge.rules.book import LOCAL_CODES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_PLACES = 3  # that are drawn
GAP, SPLIT = 0.06, 0.6  # between places, of the room; of a place, for its pressures
DOTS = 1500  # readings that are drawn as dots; of more, every so many
ROW, TABLE = 0.033, 0.02  # of the room: a row of the table, and what is around it
BEYOND = 2.0  # times the noise, on either side: the band


def fit_files(fit: Fit, title: str, display: Display, signature: str, *, kinds: Kinds) -> dict[str, bytes]:
    """Draw a fit.

    Parameters
    ----------
    fit : Fit
    title : str
        Of the case.
    display : Display
    signature : str
        Which program, which case and which record.
    kinds : sequence of {"png", "svg", "pdf"}

    Returns
    -------
    dict of str to bytes
        A file for each kind.
    """
    shown = sorted(fit.places, key=lambda p: -p.left.unexplained / max(p.left.swing, 1.0))[:MOST_PLACES]
    rest = len(fit.places) - len(shown)
    more = f" {counted(rest, 'more place fits', 'more places fit')} better." if rest else ""
    first = display.phrase(fit.doubts[0].phrase) if fit.doubts else ""
    heading = Heading(
        lines=(
            title,
            f'{HEADLINE[verdict_of(fit)]}. Scenario "{fit.scenario}".{more}',
            *([first] if first else []),
        ),
        foot=(f"{ONE_RECORD} {WHO_JUDGES}", LOCAL_CODES),
        signature=signature,
    )
    return draw(lambda page: _paint(page, fit, shown), display, heading, kinds=kinds, alt=alt_words(fit))


def _paint(page: PicturePage, fit: Fit, shown: list[FittedPlace]) -> None:
    lines = figures_table(fit)
    top = 1.0 - ROW * len(lines) - TABLE
    room = page.axes(top, 1.0)
    room.set_axis_off()
    style: dict[str, Any] = {"family": "DejaVu Sans Mono", "fontsize": 8.5, "va": "top", "linespacing": 1.25}
    room.text(0.0, 1.0, "\n".join(line[:LINE] for line in lines), transform=room.transAxes, **style)
    height = (top - GAP * (len(shown) - 1)) / len(shown)
    first: Axes | None = None
    for k, place in enumerate(shown):
        high = top - k * (height + GAP)
        middle = high - SPLIT * height
        above = page.axes(middle, high, sharex=first)
        first = first or above
        below = page.axes(high - height, middle - 0.02, sharex=first)
        _pressures(page, above, place)
        _left_over(page, below, place)
        above.tick_params(labelbottom=False)
        last = place is shown[-1]
        below.tick_params(labelbottom=last)
        if last:
            below.set_xlabel("time from the beginning of the scenario, s")


def _thin(place: FittedPlace) -> slice:
    return slice(None, None, max(1, place.time.size // DOTS))


def _pressures(page: PicturePage, axes: Axes, place: FittedPlace) -> None:
    part = _thin(place)
    measured, modelled = bar(page.display, place.measured), bar(page.display, place.modelled)
    axes.plot(place.time[part], measured[part], ".", color=FAINT, markersize=2.5, zorder=2)
    unfitted = bar(page.display, place.unfitted)
    axes.plot(place.time, unfitted, color=LOW, linewidth=0.9, linestyle=(0, (5, 2)), zorder=2)
    axes.plot(place.time, modelled, color=INK, linewidth=1.2, zorder=3)
    axes.margins(x=0.01, y=0.2)
    faint_grid(axes, "x")
    axes.set_ylabel(f"pressure, {page.display.units.pressure}(g)")
    words = f"{quoted(place.place)}: dots as recorded, line the fitted case, dashed the case as it was"
    plain = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0}
    style: dict[str, Any] = {"va": "top", "fontsize": 9, "weight": "bold", "zorder": 6, "bbox": plain}
    axes.text(0.006, 0.98, words, transform=axes.transAxes, **style)
    for before, behind, _ in place.gaps:
        a, b = (float(place.time[np.flatnonzero(place.rows == row)[0]]) for row in (before, behind))
        axes.axvspan(a, b, facecolor="none", edgecolor="#777777", hatch="..", linewidth=0.0)
        axes.text(0.5 * (a + b), 0.06, "gap", transform=axes.get_xaxis_transform(), ha="center", fontsize=8)


def _left_over(page: PicturePage, axes: Axes, place: FittedPlace) -> None:
    part, left = _thin(place), place.left
    off = bar(page.display, place.measured - place.modelled)
    noise = float(bar(page.display, BEYOND * left.noise))
    axes.axhspan(-noise, noise, facecolor=BAND, edgecolor="none", zorder=0)
    axes.axhline(0.0, color=FAINT, linewidth=0.8)
    axes.plot(place.time[part], off[part], ".", color=INK, markersize=2.5, zorder=3)
    much = float(bar(page.display, MUCH * left.swing))
    size = 1.25 * max(float(np.abs(off).max()), noise, much)
    axes.set_ylim(-size, 1.35 * size)
    faint_grid(axes, "x")
    axes.set_ylabel(f"left over, {page.display.units.pressure}")
    noise_words = fine(left.noise, page.display)
    words = (
        f"left over, reading less case; the band is twice the gauge's noise of {noise_words}; in the ring "
        f"the farthest reading, row {left.worst_row}: {fine(abs(left.worst), page.display)}"
    )
    axes.text(0.006, 0.97, words, transform=axes.transAxes, va="top", fontsize=8.5)
    worst = float(bar(page.display, left.worst))
    axes.plot([left.worst_time], [worst], "o", markerfacecolor="none", color=HIGH, markersize=7, zorder=4)

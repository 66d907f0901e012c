"""A measured stroke beside the assumed one: opening against time, and the pressure where it matters most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from surge.arrays import Array
from surge.model.lineup import LineUp, Table
from surge.plots.frame import (
    CURVES,
    FAINT,
    INK,
    Heading,
    Kinds,
    Labels,
    PicturePage,
    bar,
    draw,
    not_valid_after,
    quoted,
)
from surge.reports.measured import answer_sentences, notes_of, place_of, run_of_worse, spotlight
from surge.reports.words import CAUTIONS, HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.valves.measured import Measured

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = ("assumed in the case", "as measured", "as steep as the measurement allows")
MOST_DOTS = 2000  # samples drawn


def draw_measured(
    found: Measured, lineup: LineUp, display: Display, heading: Heading, *, kinds: Kinds, alt: str
) -> dict[str, bytes]:
    """Draw openings above and pressures below, with the measured stroke and with the assumed one.

    Parameters
    ----------
    found : Measured
    lineup : LineUp
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

    def paint(page: PicturePage) -> None:
        _openings(page.axes(0.60, 1.0), found)
        _pressures(page.axes(0.0, 0.50), found, lineup, display)

    return draw(paint, display, heading, kinds=kinds, alt=alt)


def _openings(axes: Axes, found: Measured) -> None:
    stroke = found.stroke
    compared = spotlight(found)
    assumed = found.laws[compared.worse.scenario] if compared else next(iter(found.laws.values()))
    samples = stroke.curve.samples
    step = max(1, len(samples) // MOST_DOTS)
    begin = samples[0].time + stroke.lead
    axes.plot(
        [s.time - begin for s in samples[::step]],
        [100 * s.position for s in samples[::step]],
        linestyle="none",
        marker="o",
        markersize=2.2,
        color=FAINT,
        label=f"{len(samples)} samples",
        zorder=1,
    )
    end = max(law[-1][0] for law in (assumed, stroke.law))
    for k, law in enumerate((assumed, stroke.law, stroke.steep)):
        if law is None:
            continue
        t, x = _whole(law, end)
        colour, style, width = CURVES[k]
        axes.plot(t, 100 * x, color=colour, linestyle=style, linewidth=width, label=NAMES[k], zorder=3 + k)
    axes.set_xlim(-0.05 * end, 1.08 * end)
    axes.set_ylim(-4, 106)
    axes.set_xlabel(f"time from the first movement of {quoted(found.valve)}, s", fontsize=9, labelpad=1)
    axes.set_ylabel("opening, %", fontsize=9)
    axes.legend(fontsize=8.5, framealpha=0.85, edgecolor="none", loc="best").set_zorder(9)


def _whole(law: Table, end: float) -> tuple[Array, Array]:
    """A law as times [s] and openings [-], with rest before and after it."""
    points = [(-0.05 * end, law[0][1]), *law, (1.08 * end, law[-1][1])]
    t, x = (np.array(column, dtype=float) for column in zip(*points, strict=True))
    return t, x


def _pressures(axes: Axes, found: Measured, lineup: LineUp, display: Display) -> None:
    compared = spotlight(found)
    if compared is None:
        axes.text(0.5, 0.5, "no pressure is held against a limit", transform=axes.transAxes, ha="center")
        return
    place = place_of(compared, found, lineup)
    until, end = None, 0.0
    for k, assessment in enumerate((found.assumed, found.measured, found.steep)):
        if assessment is None:
            continue
        run = run_of_worse(assessment, compared)
        colour, style, width = CURVES[k]
        time, pressure = run.history.time, bar(display, run.history.pressure[place])
        axes.plot(
            time, pressure, color=colour, linestyle=style, linewidth=width, label=NAMES[k], zorder=3 + k
        )
        period = max((p.longest for p in run.periods), default=0.0)
        end = max(end, min(float(time[-1]), run.last_event + max(4.0 * period, 10.0)))
        if run.vapour is not None:
            until = run.vapour.time if until is None else min(until, run.vapour.time)
    axes.set_xlim(-0.02 * end, end)
    low, high = axes.get_ylim()
    limit = compared.worse.limit
    if limit is not None and float(bar(display, limit)) < high + 2.0 * (high - low):
        value = float(bar(display, limit))
        words = f"limit {display.pressure(limit, unit=True)}, {compared.worse.limit_source}"
        axes.axhline(value, color=INK, linewidth=1.4, linestyle=(0, (6, 2)), label=words, zorder=2)
        axes.set_ylim(min(low, value - 0.1 * (high - low)), max(high, value + 0.12 * (high - low)))
    if until is not None:
        not_valid_after(
            axes, Labels(axes), until, end, "the liquid boils in one of the runs: not valid after this"
        )
    axes.set_xlabel(f"time in the scenario {quoted(compared.worse.scenario)}, s", fontsize=9)
    axes.set_ylabel(f"pressure at {quoted(place)}, {display.units.pressure}(g)", fontsize=9)
    axes.legend(fontsize=8.5, framealpha=0.85, edgecolor="none", loc="best").set_zorder(9)


def measured_picture(
    found: Measured, lineup: LineUp, display: Display, *, kinds: Sequence[str], signature: str
) -> dict[str, bytes]:
    """Draw openings and pressures, with the words around them; return a file for each kind."""
    compared = spotlight(found)
    answer = answer_sentences(found, display)
    heading = Heading(
        lines=(lineup.title, f"{answer[0]} {HEADLINE[found.verdict]}", *answer[1:2]),
        foot=(" ".join(notes_of(found.stroke)), f"{LOCAL_CODES} {' '.join(CAUTIONS)}"),
        signature=signature,
    )
    where = f' and the pressure at "{place_of(compared, found, lineup)}"' if compared else ""
    alt = f'Opening of "{found.valve}" against time, assumed and measured{where}. {" ".join(answer)}'
    return draw_measured(found, lineup, display, heading, kinds=kinds, alt=alt)

"""A filling against time: where the front is, how fast, and the pressures, by both models."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from surge.arrays import Array, Ints
from surge.plots.frame import (
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
    metres,
    quoted,
)
from surge.reports.fillings import BOTH_MODELS, TRUST, filling_sentences, what_is_filled
from surge.reports.words import HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.rules.fillings import FilledCase
from surge.rules.limits import surge_limit
from surge.transient.filling_result import FillingResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RIGID_STYLE: Any = {"color": LOW, "linestyle": (0, (6, 2)), "linewidth": 1.6}
ELASTIC_STYLE: Any = {"color": INK, "linestyle": "-", "linewidth": 1.3}
BEFORE, AFTER = 0.03, 0.10  # of the time shown
WAVES = (1.0, 6.0)  # travel times of the whole line shown before and after an arrival


def filling_files(
    one: FilledCase, title: str, display: Display, signature: str, *, kinds: Kinds
) -> dict[str, bytes]:
    """Draw a filling against time.

    Parameters
    ----------
    one : FilledCase
        One that was followed.
    title : str
        Of the case.
    display : Display
    signature : str
    kinds : sequence of {"png", "svg", "pdf"}

    Returns
    -------
    dict of str to bytes
        A file for each kind.
    """
    run = one.usual
    assert run is not None
    told = filling_sentences([one], display)[0]
    heading = Heading(
        lines=(title, f'Filling "{one.name}": {HEADLINE[one.verdict]}', told.partition(". ")[2] or told),
        foot=(f"{what_is_filled(one.filling, display)} {BOTH_MODELS}", f"{TRUST} {LOCAL_CODES}"),
        signature=signature,
    )
    return draw(lambda page: _paint(page, run, one), display, heading, kinds=kinds, alt=told)


def _paint(page: PicturePage, run: FillingResult, one: FilledCase) -> None:
    display = page.display
    begin, end = _span(run)
    top: Axes = page.axes(0.70, 1.0)
    middle: Axes = page.axes(0.37, 0.64, sharex=top)
    near = _near_arrival(run)
    low: Axes = page.axes(0.0, 0.29) if near else page.axes(0.0, 0.31, sharex=top)
    top.set_xlim(begin, end)
    if near:
        low.set_xlim(*near)
    _front(top, run, display)
    _velocity(middle, run, one)
    _pressures(low, run, display)
    top.tick_params(labelbottom=False)
    middle.tick_params(labelbottom=bool(near))
    around = ", around the arrival of the front" if near else ""
    low.set_xlabel(f"time from the beginning of the filling, s{around}")
    for axes, words in (
        (top, f"front beyond\n{quoted(one.filling.start)}, {display.units.length}"),
        (middle, "velocity where\nthe front is, m/s"),
        (low, f"pressure, {display.units.pressure}(g)"),
    ):
        axes.set_ylabel(words, fontsize=9)
        faint_grid(axes, "both")
    if run.boils is not None:
        for axes in (top, middle, low):
            axes.axvspan(run.boils, end, color="#f1e4dc", zorder=0)
        low.text(run.boils, 0.02, " the liquid boils: not valid from here on", fontsize=8, color=HIGH,
                 transform=low.get_xaxis_transform())  # fmt: skip


def _span(run: FillingResult) -> tuple[float, float]:
    """From before anything moves until the front has arrived, or the first peaks are over [s]."""
    moving = run.rigid.time[np.abs(run.rigid.flow) > 1e-9]
    first = float(moving[0]) if moving.size else 0.0
    arrivals = [a.time.value for a in (run.arrival_rigid, run.arrival_elastic) if a is not None]
    peaks = [p.time for p in (run.peak_gas_rigid, run.peak_gas_elastic) if p.time]
    last = max(arrivals) if arrivals else max([*peaks, first + 1.0]) * 1.35
    last = min(last, run.end)
    width = max(last - first, 1e-3)
    end = max(arrivals) + max(AFTER * width, 0.0) if arrivals else last
    return max(first - BEFORE * width, 0.0), min(end, run.end)


def _near_arrival(run: FillingResult) -> tuple[float, float] | None:
    """Some waves before and after the front arrives [s]; None where it does not."""
    times = [a.time.value for a in (run.arrival_rigid, run.arrival_elastic) if a is not None]
    if not times:
        return None
    whole = float((run.line.line.length / run.line.line.wave_speed).sum())
    return min(times) - WAVES[0] * whole, min(max(times) + WAVES[1] * whole, run.end)


def _from_start(run: FillingResult, pipe: Ints, length: Array) -> Array:
    """Distance of the front beyond where the gas begins [m]."""
    begins = np.concatenate([[0.0], np.cumsum(run.line.line.length)])
    return np.asarray(begins[pipe] + length - begins[run.line.column.gas_from])


def _front(axes: Axes, run: FillingResult, display: Display) -> None:
    lengths = run.line.line.length[run.line.column.gas_from :]
    for made, style, words in (
        (run.rigid, RIGID_STYLE, "rigid column"),
        (run.elastic, ELASTIC_STYLE, "elastic line"),
    ):
        axes.plot(made.time, metres(display, _from_start(run, made.pipe, made.length)), label=words, **style)
    whole = float(metres(display, float(lengths.sum())))
    axes.axhline(whole, color=FAINT, linewidth=0.9)
    axes.text(
        0.006,
        whole,
        f" {quoted(run.filling.end)}",
        transform=axes.get_yaxis_transform(),
        va="bottom",
        fontsize=8.5,
    )
    axes.set_ylim(min(0.0, float(axes.get_ylim()[0])), 1.18 * whole)
    axes.legend(loc="lower right", fontsize=9, frameon=False)


def _velocity(axes: Axes, run: FillingResult, one: FilledCase) -> None:
    area = run.line.line.area
    top = 0.0
    for made, style in ((run.rigid, RIGID_STYLE), (run.elastic, ELASTIC_STYLE)):
        speed = made.flow / area[made.pipe]
        axes.plot(made.time, speed, **style)
        top = max(top, float(speed.max()))
    held = [r for r in one.rulings if r.limit is not None and r.binding]
    if held:
        least = min(held, key=lambda r: r.limit or 0.0)
        limit = least.limit or 0.0
        if limit < 4.0 * top:
            top = max(top, limit)
            axes.axhline(limit, color=HIGH, linewidth=1.1, linestyle=(0, (4, 2)))
            words = f"{least.rule.name}: {limit:g} m/s "
            axes.text(0.994, limit, words, ha="right", va="bottom", fontsize=8.5, color=HIGH,
                      transform=axes.get_yaxis_transform())  # fmt: skip
    axes.set_ylim(min(0.0, float(axes.get_ylim()[0])), 1.25 * top + 1e-6)


def _pressures(axes: Axes, run: FillingResult, display: Display) -> None:
    line = run.line
    top = 0.0
    for made, style in ((run.rigid, RIGID_STYLE), (run.elastic, ELASTIC_STYLE)):
        gas = bar(display, made.gas - line.atmosphere)
        before = made.time <= (made.arrival if made.arrival is not None else np.inf)
        axes.plot(made.time[before], gas[before], **style)
        top = max(top, float(gas[before].max()))
    for waves, style in ((run.impact, RIGID_STYLE), (run.elastic, ELASTIC_STYLE)):
        if waves is None:
            continue
        end = bar(display, line.rho_g * (waves.heads[:, -1, 1] - line.line.z[-1]))
        axes.plot(waves.time, end, **style)
        top = max(top, float(np.nanmax(end, initial=0.0)))
    rated = surge_limit(line.column.pipes[-1].pipe)
    if rated is not None and bar(display, rated.value) < 3.0 * top:
        limit = float(bar(display, rated.value))
        top = max(top, limit)
        axes.axhline(limit, color=HIGH, linewidth=1.1, linestyle=(0, (4, 2)))
        words = f" limit of {quoted(line.column.pipes[-1].pipe.name)}"
        axes.text(0.006, limit, words, va="bottom", fontsize=8.5, color=HIGH,
                  transform=axes.get_yaxis_transform())  # fmt: skip
    axes.set_ylim(min(-0.05 * top, float(axes.get_ylim()[0])), 1.2 * top + 1e-6)
    words = f"gas before the front; then {quoted(run.filling.end)}"
    axes.text(0.994, 0.93, words, transform=axes.transAxes, ha="right", va="top", fontsize=8.5)

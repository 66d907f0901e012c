"""Forces along straight legs against time: one strip for each of the legs that feel most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from surge.model.lineup import LineUp
from surge.phrases import counted
from surge.plots.frame import FAINT, INK, Heading, Kinds, Labels, PicturePage, draw, faint_grid
from surge.reports.forces import (
    KILO,
    WHAT_IT_IS,
    WHO_GOES_ON,
    kilonewtons,
    leg_words,
    towards,
    until_it_boils,
)
from surge.reports.words import HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.transient.forces import Forces, LegForce

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STRIPS = 5  # legs that are drawn
GAP = 0.055  # between two strips, of the room
BEFORE = 0.04  # of the time shown: before the first force, and after the last great one
SMALL = 0.03  # of the greatest force: the picture ends when all are smaller


def forces_files(
    one: Forces, lineup: LineUp, display: Display, signature: str, *, verdict: str, kinds: Kinds
) -> dict[str, bytes]:
    """Draw the forces of one scenario.

    Parameters
    ----------
    one : Forces
    lineup : LineUp
    display : Display
        Units of lengths; forces are in kN.
    signature : str
        Which program and which case.
    verdict : str
        Of the whole case.
    kinds : sequence of {"png", "svg", "pdf"}

    Returns
    -------
    dict of str to bytes
        A file for each kind.
    """
    shown = sorted(one.legs, key=lambda force: -force.most)[:STRIPS]
    left = len(one.legs) - len(shown)
    most = shown[0]
    greatest = (
        f"Greatest: {kilonewtons(most.most)} kN on {leg_words(most.leg, lineup, display)}, towards "
        f'"{towards(most, lineup)}".'
    )
    said = [greatest]
    if left:
        said.append(f"{counted(left, 'more leg feels', 'more legs feel')} less.")
    if one.boils is not None:
        said.append(until_it_boils(one))
    words = " ".join(said)
    heading = Heading(
        lines=(
            lineup.title,
            f'Forces along straight legs in "{one.scenario}" (pressures and rules of the case: '
            f"{HEADLINE[verdict]})",
            words,
        ),
        foot=(
            f"{WHAT_IT_IS} Above the line of nought it acts forward, from the pipe's start to its end.",
            f"{WHO_GOES_ON} {LOCAL_CODES}",
        ),
        signature=signature,
    )
    return draw(lambda page: _paint(page, one, shown, lineup), display, heading, kinds=kinds, alt=words)


def _paint(page: PicturePage, one: Forces, shown: Sequence[LegForce], lineup: LineUp) -> None:
    begin, end = _span(one, shown)
    part = (one.time >= begin) & (one.time <= end)
    height = (1.0 - GAP * (len(shown) - 1)) / len(shown)
    first: Axes | None = None
    for k, force in enumerate(shown):
        top = 1.0 - k * (height + GAP)
        axes = page.axes(top - height, top, sharex=first)
        first = first or axes
        axes.set_xlim(begin, end)
        _strip(axes, one, force, part, f"{leg_words(force.leg, lineup, page.display)}")
        if force is shown[-1]:
            axes.set_xlabel("time from the beginning of the scenario, s")
        else:
            axes.tick_params(labelbottom=False)
    assert first is not None
    first.figure.supylabel("force along the leg, kN", x=0.012, fontsize=10)


def _strip(axes: Axes, one: Forces, force: LegForce, part: np.ndarray, words: str) -> None:
    """One leg: its force, its greatest either way."""
    time, values = one.time[part], force.force[part] / KILO
    low, high = min(float(values.min()), 0.0), max(float(values.max()), 0.0)
    room = 0.35 * max(high - low, 1e-3)
    axes.set_ylim(low - room, high + room)
    faint_grid(axes, "x")
    axes.axhline(0.0, color=FAINT, linewidth=0.8)
    axes.plot(time, values, color=INK, linewidth=1.3)
    labels = Labels(axes)
    labels.curve(time, values)
    labels.keep(axes.text(0.006, 0.96, words, transform=axes.transAxes, va="top", fontsize=9, weight="bold"))
    for value, at in ((force.highest, force.highest_time), (force.lowest, force.lowest_time)):
        if abs(value) > SMALL * force.most:
            axes.plot([at], [value / KILO], "o", color=INK, markersize=4)
            labels.at(at, value / KILO, f"{kilonewtons(value)} kN at {at:.2f} s", fontsize=8.5)


def _span(one: Forces, shown: Sequence[LegForce]) -> tuple[float, float]:
    """From before the first force to after the last that is not small [s]."""
    great = np.max([np.abs(f.force) / max(f.most, 1e-9) for f in shown], axis=0) > SMALL
    at = np.flatnonzero(great)
    if not at.size:
        return float(one.time[0]), float(one.time[-1])
    first, last = float(one.time[at[0]]), float(one.time[at[-1]])
    width = max(last - first, 1.0)
    return max(first - BEFORE * width, 0.0), min(last + BEFORE * width, float(one.time[-1]))

"""What stands around the panels of stroke times: title, foot, what the marks mean."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from surge.plots.frame import BAND, FAINT, HIGH, INK, LOW, Heading
from surge.records.tests import Direction
from surge.units import printable
from surge.valves.history_types import Ground

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT, RIGHT = 0.055, 0.985
TINY = 5.0  # [pt]
FOOT = 185  # characters in a line of the foot

# Closing: filled, unbroken. Opening: open, dashed.
STYLE: dict[Direction, dict[str, Any]] = {
    Direction.CLOSING: {"color": HIGH, "marker": "o", "fill": HIGH, "line": "-", "words": "closing"},
    Direction.OPENING: {
        "color": LOW,
        "marker": "s",
        "fill": "white",
        "line": (0, (4, 2)),
        "words": "opening",
    },
}


def words_around(figure: Figure, heading: Heading, ground: Ground, number: tuple[int, int]) -> None:
    """Title, lines below it, foot and number of the page."""
    title, *lines = (printable(t) for t in heading.lines)
    page = f"page {number[0]} of {number[1]}" if number[1] > 1 else ""
    figure.text(LEFT - 0.02, 0.975, textwrap.shorten(title, 80), fontsize=11.5, weight="bold", va="center")
    figure.text(RIGHT, 0.975, f"{ground.today}   {page}".strip(), fontsize=8, ha="right", va="center")
    for k, line in enumerate(lines[:2]):
        figure.text(LEFT - 0.02, 0.957 - 0.0145 * k, textwrap.shorten(line, 140), fontsize=8, va="center")
    foot = [line for text in heading.foot for line in textwrap.wrap(printable(text), FOOT)]
    foot.append(printable(heading.signature))
    for k, line in enumerate(reversed(foot)):
        figure.text(LEFT - 0.03, 0.012 + 0.0105 * k, line, fontsize=TINY + 0.4, va="center")


def legend(figure: Figure) -> None:
    """What the marks mean, once for the page."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Any] = []
    for style in STYLE.values():
        marks.append(
            Line2D(
                *([], []),
                color=style["color"],
                linestyle=style["line"],
                linewidth=1.0,
                marker=style["marker"],
                markerfacecolor=style["fill"],
                markersize=4,
                label=f"{style['words']}: tests and trend",
            )
        )
    marks += [
        Line2D([], [], color=FAINT, marker="x", linestyle="none", markersize=4, label="shown, not compared"),
        Line2D([], [], color=FAINT, linewidth=0.7, linestyle=(0, (1, 1.5)), label="baseline"),
        Patch(facecolor=BAND, label="action band"),
        Patch(facecolor=FAINT, alpha=0.4, label="band of the trend"),
        Patch(
            facecolor="none", edgecolor=INK, hatch="//////", linewidth=0.0, label="limit: not allowed beyond"
        ),
        Line2D([], [], color=INK, linewidth=0.6, linestyle=(0, (1, 2)), label="day of this look"),
    ]
    figure.legend(
        handles=marks,
        loc="lower left",
        bbox_to_anchor=(LEFT - 0.035, 0.072),
        ncols=4,
        fontsize=6,
        frameon=False,
        handlelength=2.6,
        columnspacing=1.6,
        labelspacing=0.3,
    )

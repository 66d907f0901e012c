"""Frames of an animation as pictures in dots, and its still part as SVG."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surge.plots.film import OPACITY, STYLES, Shape, Stage
from surge.plots.frame import HIGH


def pictures_of(stage: Stage) -> Iterator[NDArray[np.uint8]]:
    """Draw every frame, shape (height, width, 3)."""
    from matplotlib.patches import PathPatch
    from matplotlib.patheffects import withStroke
    from matplotlib.transforms import IdentityTransform

    figure = stage.figure
    canvas: Any = stage.canvas  # the library does not tell its types
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
    clock = figure.text(*stage.clock_at, "", fontsize=15, weight="bold", ha="right", va="center")
    clock.set_animated(True)
    figure_mark: Any = figure.text(0, 0, "", fontsize=9, weight="bold", ha="center", va="bottom", color=HIGH)
    figure_mark.set(
        animated=True,
        transform=IdentityTransform(),
        path_effects=[withStroke(linewidth=2.5, foreground="white")],
    )
    renderer = canvas.get_renderer()
    for k in range(stage.film.time.size):
        canvas.restore_region(still)
        shapes = stage.shapes(k)
        for name, patch in patches.items():
            patch.set_path(_path(shapes[name], closed=STYLES[name][0] != "none"))
            patch.draw(renderer)
        clock.set_text(stage.clock(k))
        clock.draw(renderer)
        x, y, value = stage.mark(k)
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


def background_svg(stage: Stage) -> str:
    """The still part as SVG, without a prologue."""
    out = io.BytesIO()
    stage.figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue().decode()
    return text[text.index("<svg") :]

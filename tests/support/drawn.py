"""Pictures caught before they become files, so that their data can be compared with what was computed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import surge.plots.frame
from surge.plots.frame import PicturePage

Array = NDArray[np.float64]


@contextmanager
def caught(patch: pytest.MonkeyPatch) -> Iterator[list[PicturePage]]:
    """Sheets that are drawn inside, with their figures."""
    sheets: list[PicturePage] = []
    write = surge.plots.frame._file

    def keep(figure: Any, kind: str, **more: Any) -> bytes:
        sheets.append(PicturePage(figure=figure, display=None, bottom=0.0))  # type: ignore[arg-type]
        return write(figure, kind, **more)

    with patch.context() as inside:
        inside.setattr(surge.plots.frame, "_file", keep)
        yield sheets


def axes_named(sheet: PicturePage, words: str) -> Any:
    """The axes whose label begins with some words."""
    return next(a for a in sheet.figure.axes if a.get_ylabel().startswith(words))


def curves(axes: Any, *, size: int) -> list[tuple[Array, Array]]:
    """Curves of so many points, in the order in which they were drawn."""
    lines = (np.asarray(line.get_xydata(), dtype=float).T for line in axes.get_lines())
    return [(xy[0], xy[1]) for xy in lines if xy.shape[1] == size]


def levels(axes: Any) -> set[float]:
    """Heights of level lines."""
    found = set()
    for line in axes.get_lines():
        y = np.asarray(line.get_ydata(), dtype=float)
        if y.size == 2 and y[0] == y[1]:
            found.add(round(float(y[0]), 6))
    return found


def words_in(sheet: PicturePage) -> list[str]:
    """Every text of a sheet, those of its axes too."""
    own = [t.get_text() for t in sheet.figure.texts]
    own += [t.get_text() for a in sheet.figure.axes if (key := a.get_legend()) for t in key.get_texts()]
    return own + [t.get_text() for a in sheet.figure.axes for t in (*a.texts, a.title)]

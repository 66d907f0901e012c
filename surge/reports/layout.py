"""Text laid out for a terminal: paragraphs and tables of so many columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from contextvars import ContextVar
from itertools import zip_longest

LINE = 100  # columns of the text output
NARROW = 40  # columns below which a terminal has to break lines itself
_width: ContextVar[int] = ContextVar("width", default=LINE)


def width() -> int:
    """Columns that a line of text may take."""
    return _width.get()


def fit(columns: int) -> None:
    """Lay out what follows for a terminal of so many columns, if it is narrower than a usual line."""
    _width.set(max(NARROW, min(columns, LINE)))


def paragraph(text: str, *, indent: str = "", first: str | None = None) -> str:
    """Wrap a text to the width of the output."""
    return textwrap.fill(
        text,
        width(),
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )


Row = tuple[str, ...]
NARROWEST = 16  # columns that a name or a source keeps when a table is too wide


def table(head: Row, rows: Iterable[Row], *, left: int = 1, widest: int = LINE) -> list[str]:
    """Lay out a table; the first ``left`` columns and the last one to the left, others to the right.

    Where it is too wide, titles, then the last column, the first one and the others from the widest on
    are broken into lines; nothing is cut.
    """
    above, below = table_parts(head, rows, left=left, widest=widest)
    return [*above, *(line for row in below for line in row)]


def table_parts(
    head: Row, rows: Iterable[Row], *, left: int = 1, widest: int = LINE
) -> tuple[list[str], list[list[str]]]:
    """The same with the lines of the head, and those of each row, apart."""
    rows = list(rows)
    widths = [max(len(r[i]) for r in (head, *rows)) for i in range(len(head))]
    least = [max(len(x) for x in (*head[i].split(), *(r[i] for r in rows))) for i in range(len(head))]
    over = sum(widths) + 2 * (len(widths) - 1) - (widest - LINE + width())
    others = sorted(range(1, len(head) - 1), key=lambda i: -widths[i])
    for i, floor in (*enumerate(least), (-1, NARROWEST), (0, NARROWEST), *((i, NARROWEST) for i in others)):
        gives = min(max(over, 0), max(widths[i] - floor, 0))
        widths[i] -= gives
        over -= gives

    def line(row: Row) -> list[str]:
        cells = [textwrap.wrap(cell, w) or [""] for cell, w in zip(row, widths, strict=True)]
        out = []
        for parts in zip_longest(*cells, fillvalue=""):
            laid = [
                part.ljust(w) if i < left or i == len(row) - 1 else part.rjust(w)
                for i, (part, w) in enumerate(zip(parts, widths, strict=True))
            ]
            out.append("  ".join(laid).rstrip())
        return out

    return [*line(head), *line(tuple("-" * w for w in widths))], [line(row) for row in rows]

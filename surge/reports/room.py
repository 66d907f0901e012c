"""Room on one screen: parts of an answer of which the last items may go, and are counted then.

Decisions
---------
* A first screen has 30 lines at most, at 80 columns or more; the verdict stands below the title, and in the
  last line again.
* Room goes first to the verdict and what is said below it; the other parts share the rest. Items go from
  where most lines are, and what finds no room is counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from surge.reports.layout import paragraph, width

MOST = 30  # lines, at 80 columns or more
NAMED = 2  # names in a row, before the others are counted
PERMIT = "This is a calculation, not a permit: local codes and qualified persons decide."
SOUND = "A pressure below its rating does not make a hose sound: look at its test date."


@dataclass
class Part:
    """Lines of the screen of which the last ones may be left out.

    Attributes
    ----------
    before : list of str
        There if any item is; of none only whether it begins with an empty line.
    items : list of list of str
        The worst, or the first, at the beginning.
    rest : callable
        How many items are left out -> words that say so.
    """

    before: list[str]
    items: list[list[str]]
    rest: Callable[[int], str]

    def lines(self, shown: int) -> list[str]:
        """The part with so many items."""
        if not self.items:
            return []
        left = len(self.items) - shown
        before = self.before if shown else [line for line in self.before[:1] if not line]
        items = [line for item in self.items[:shown] for line in item]
        return [*before, *items, *(wrapped(self.rest(left)) if left else [])]


NOTHING = Part([], [], str)


def wrapped(text: str, *, indent: str = "", first: str | None = None) -> list[str]:
    """A paragraph as lines."""
    return paragraph(text, indent=indent, first=first).split("\n")


def listed(before: str, items: Sequence[str], *, lines: int, end: str = ".") -> list[str]:
    """A sentence with as many items as so many lines hold, and how many more there are."""
    for n in range(len(items), 0, -1):
        left = len(items) - n
        more = f"; {left} more: --details" if left else ""
        made = wrapped(f"{before}{'; '.join(items[:n])}{more}{end}", indent="  ", first="- ")
        if len(made) <= lines:
            return made
    return made


def fitted(parts: Sequence[Part], room: int, *, floors: Sequence[Sequence[int]]) -> list[list[str]]:
    """Return the lines of every part: items go, one by one, from where most lines are, until all fit.

    Parameters
    ----------
    parts : sequence of Part
    room : int
        Lines of the screen for all of them.
    floors : sequence of sequence of int
        How many items of each part stay; a later row is taken where an earlier one does not fit.
    """
    shown = [len(p.items) for p in parts]
    for least in floors:
        floor = [min(n, len(p.items)) for n, p in zip(least, parts, strict=True)]
        while _lines(parts, shown) > room:
            over = [i for i, n in enumerate(shown) if n > floor[i]]
            if not over:
                break
            shown[max(over, key=lambda i: tall(parts[i].lines(shown[i])))] -= 1
        if _lines(parts, shown) <= room:
            break
    for i, part in enumerate(parts):  # where a long item went, shorter ones of other parts may fit again
        while shown[i] < len(part.items):
            one_more = [n + (k == i) for k, n in enumerate(shown)]
            if _lines(parts, one_more) > room:
                break
            shown = one_more
    return [p.lines(n) for p, n in zip(parts, shown, strict=True)]


def on_a_screen(
    top: Sequence[str],
    parts: Sequence[Part],
    ends: Iterable[Sequence[str]],
    *,
    floors: Sequence[Sequence[int]],
) -> list[str]:
    """Return all lines of a screen; more than :data:`MOST` only where nothing can go any more.

    Parameters
    ----------
    top : sequence of str
        Lines that always stand first.
    parts : sequence of Part
        What shares the room that is left, with ``floors`` as of :func:`fitted`.
    ends : iterable of sequence of str
        The last lines; the next, shorter ones are taken where these leave no room.
    """
    made: list[str] = []
    for end in ends:
        middle = fitted(parts, MOST - tall(top) - tall(end), floors=floors)
        made = [*top, *(line for lines in middle for line in lines), *end]
        if tall(made) <= MOST:
            break
    return made


def _lines(parts: Sequence[Part], shown: Sequence[int]) -> int:
    return sum(tall(p.lines(n)) for p, n in zip(parts, shown, strict=True))


def tall(lines: Iterable[str]) -> int:
    """Lines of the screen that lines of text take: a long one is broken by the terminal."""
    return sum(max(1, math.ceil(len(line) / width())) for line in lines)


def listing(names: Sequence[str]) -> str:
    """Names in a row, not all of them if there are many."""
    shown = ", ".join(f'"{n}"' for n in names[:NAMED])
    left = len(names) - NAMED
    return f"{shown} and {left} more" if left > 0 else shown


def bullets(title: Sequence[str], said: Iterable[str]) -> Part:
    """Sentences below a title, one item each; those that find no room are counted."""
    items = [wrapped(text, indent="  ", first="- ") for text in said]

    def rest(left: int) -> str:
        if left < len(items) or not title or not title[-1]:
            return f"- {left} more on this: --details."
        return f"{title[-1].rstrip(':')}: {left}, see --details."

    return Part(list(title), items, rest)

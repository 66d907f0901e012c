"""What a row of any table of this room says about itself, and how rows are found by words or by name.

Every figure that the program knows by name stands in a row, and every row says where its figures come from,
how far that source was seen and in which range they hold. The output repeats it: whoever signs a sheet has to
see what it rests on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Protocol, TypeVar

from surge.errors import UnknownNameError


class Row(Protocol):
    """What every row of reference data says about itself."""

    @property
    def words(self) -> str:
        """The text that a search looks at."""

    @property
    def source(self) -> str:
        """Where the figures come from."""

    @property
    def status(self) -> str:
        """How far the source was seen: "read", "read in part", "from memory", "computed", "assumed" ..."""

    @property
    def validity(self) -> str:
        """Range in which the figures hold, in words."""


R = TypeVar("R", bound=Row)


def matching(rows: Iterable[R], text: str) -> list[R]:
    """Return the rows that have every word of ``text``; beginnings of words count, numbers must be whole.

    Parameters
    ----------
    rows : iterable of Row
    text : str
        Words in any order and case; no word at all finds every row.

    Returns
    -------
    list of Row
        In the order of ``rows``.
    """
    wanted = _words(text)
    return [row for row in rows if all(_has(_words(row.words), word) for word in wanted)]


def look_up(rows: Mapping[str, R], name: str, *, kind: str) -> R:
    """Return the row of that very name.

    Parameters
    ----------
    rows : mapping of str to Row
    name : str
    kind : str
        What is looked for, for the message: "hose type".

    Raises
    ------
    UnknownNameError
        With the names that there are.
    """
    if name not in rows:
        raise UnknownNameError(kind, given=name, known=rows)
    return rows[name]


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z]+(?=\d)|\d[\w./-]*\w|[\w-]+", text.lower())


def _has(words: list[str], word: str) -> bool:
    if word[0].isdigit():
        return word in words
    return any(w.startswith(word) for w in words)

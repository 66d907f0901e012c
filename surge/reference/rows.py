"""TODO head."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Protocol, TypeVar


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
    """
    wanted = _words(text)
    return [row for row in rows if all(_has(_words(row.words), word) for word in wanted)]


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z]+(?=\d)|\d[\w./-]*\w|[\w-]+", text.lower())


def _has(words: list[str], word: str) -> bool:
    if word[0].isdigit():
        return word in words
    return any(w.startswith(word) for w in words)

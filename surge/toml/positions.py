"""Where each key and value of a TOML text stands: path -> line and column.

The standard library tells the place of a syntax error only. This locator walks a text that ``tomllib`` has
already accepted, so it needs no error handling of its own: it only has to find its way. Its tests re-parse
every slice that it points at and compare it with the value that ``tomllib`` gave.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field

from surge.errors import Origin

DEEPEST_KEPT = 12  # levels of a path that are kept; the case format has 8
_BLANK = re.compile(r"[ \t]*")
_SPACE = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_STRINGS = (
    re.compile(r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}', re.DOTALL),
    re.compile(r"'''(?:[^']|'(?!''))*'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\]|\\.)*"'),
    re.compile(r"'[^']*'"),
)
_SCALAR = re.compile(r"[^\s,\]}#]+(?: [0-9][^\s,\]}#]*)?")  # the blank: a date and a time


@dataclass(frozen=True)
class Stretch:
    """A stretch of the text: offsets of its first character and behind its last one."""

    start: int
    end: int


@dataclass
class Positions:
    r"""The places of all keys and values of one text.

    Attributes
    ----------
    text : str
        With every line end as ``\n``.
    keys, values : dict
        Path -> stretch. A table's key is in its header; a table has no value unless it is inline.
    headers : list of (Origin, int)
        Table of each header, in their order, and the offset at which the header begins.
    """

    text: str
    keys: dict[Origin, Stretch] = field(default_factory=dict)
    values: dict[Origin, Stretch] = field(default_factory=dict)
    headers: list[tuple[Origin, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._line_starts = [0, *(m.end() for m in re.finditer("\n", self.text))]

    def line_column(self, offset: int) -> tuple[int, int]:
        """Return the line and the column of an offset, both counted from 1."""
        line = bisect_right(self._line_starts, offset)
        return line, offset - self._line_starts[line - 1] + 1

    def source(self, line: int) -> str:
        """Return a line of the text, counted from 1, without its end; empty beyond the text."""
        if not 1 <= line <= len(self._line_starts):
            return ""
        start = self._line_starts[line - 1]
        end = self._line_starts[line] - 1 if line < len(self._line_starts) else len(self.text)
        return self.text[start:end]

    def find(self, path: Origin, *, key: bool = False) -> Stretch | None:
        """Return the stretch of a path's value, or of its key.

        Parameters
        ----------
        path : Origin
        key : bool
            The key is wanted, not the value.

        Returns
        -------
        Stretch or None
            Of the nearest table or list around it when the path itself is not in the text (a missing
            key is shown at the header of its table); None for the document as a whole.
        """
        for size in range(len(path), 0, -1):
            part = path[:size]
            own, other = (self.keys, self.values) if key or size < len(path) else (self.values, self.keys)
            spot = own.get(part) or other.get(part)
            if spot is not None:
                return spot
        return None


def locate(text: str) -> Positions:
    """Locate every key and value of a valid TOML text.

    Parameters
    ----------
    text : str
        A text that ``tomllib.loads`` accepts; with any other the result means nothing, if there is one.
    """
    walker = _Walker(Positions(text.replace("\r\n", "\n")))
    walker.document()
    return walker.found


class _Walker:
    """One pass over the text."""

    def __init__(self, found: Positions) -> None:
        self.found = found
        self.text = found.text
        self.at = 0
        self.table: Origin = ()
        self.counts: dict[Origin, int] = {}  # tables seen of each array of tables

    def document(self) -> None:
        """Walk all statements."""
        self._skip(_SPACE)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                self._header()
            else:
                self._pair(self.table, _BLANK)
            self._skip(_SPACE)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()

    def _put(self, places: dict[Origin, Stretch], path: Origin, start: int) -> None:
        if len(path) <= DEEPEST_KEPT:
            places.setdefault(path, Stretch(start, self.at))

    def _header(self) -> None:
        """Read ``[a.b]`` or ``[[a.b]]`` and make it the current table."""
        begin = self.at
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        self._skip(_BLANK)
        path: Origin = ()
        parts = self._key()
        for number, (name, start, end) in enumerate(parts):
            path = (*path, name)
            if len(path) <= DEEPEST_KEPT:
                self.found.keys.setdefault(path, Stretch(start, end))
            if array and number == len(parts) - 1:
                self.counts[path] = self.counts.get(path, -1) + 1
            if path in self.counts:
                path = (*path, self.counts[path])
                if len(path) <= DEEPEST_KEPT:
                    self.found.keys.setdefault(path, Stretch(start, end))
        self.table = path
        self.found.headers.append((path, begin))
        self._skip(_BLANK)
        self.at += 2 if array else 1

    def _key(self) -> list[tuple[str, int, int]]:
        """Read a dotted key: each part with its offsets; ends behind the last part."""
        parts = []
        while True:
            start = self.at
            self._skip(_BARE_KEY)
            if self.at == start:
                self._string()
            part = self.text[start : self.at]
            name = part if part[:1] not in "\"'" else tomllib.loads(f"k={part}")["k"]
            parts.append((name, start, self.at))
            end = self.at
            self._skip(_BLANK)
            if not self.text.startswith(".", self.at):
                self.at = end
                return parts
            self.at += 1
            self._skip(_BLANK)

    def _pair(self, table: Origin, space: re.Pattern[str]) -> None:
        """Read ``key = value`` into a table."""
        path = table
        for name, start, end in self._key():
            path = (*path, name)
            if len(path) <= DEEPEST_KEPT:
                self.found.keys.setdefault(path, Stretch(start, end))
        self._skip(_BLANK)
        self.at += 1  # the equals sign
        self._skip(space)
        self._value(path)

    def _string(self) -> None:
        """Step over a string of any of the four kinds."""
        for pattern in _STRINGS:
            match = pattern.match(self.text, self.at)
            if match:
                self.at = match.end()
                return

    def _value(self, path: Origin) -> None:
        """Read any value."""
        start = self.at
        first = self.text[start : start + 1]
        if first in ("[", "{"):
            self.at += 1
            self._inside(path, "]" if first == "[" else "}")
        elif first in ('"', "'"):
            self._string()
        else:
            match = _SCALAR.match(self.text, start)
            self.at = match.end() if match else start + 1
        self._put(self.found.values, path, start)

    def _inside(self, path: Origin, closing: str) -> None:
        """Read the items of an array or an inline table up to its closing bracket."""
        number = 0
        self._skip(_SPACE)
        while self.at < len(self.text) and self.text[self.at] != closing:
            if closing == "]":
                self._value((*path, number))
            else:
                self._pair(path, _SPACE)
            number += 1
            self._skip(_SPACE)
            if self.text.startswith(",", self.at):
                self.at += 1
                self._skip(_SPACE)
        self.at += 1  # the closing bracket

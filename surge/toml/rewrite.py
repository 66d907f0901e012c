"""Changes to a text in TOML that leave every other character as it was written.

Decisions
---------
* The text is cut at the places that :mod:`surge.toml.positions` tells. Libraries that keep comments still
  move tables of one list next to one another; in a case valves, pipes and arms stand in the order of the
  line.
* A table that is added stands behind the last line of another one: what stands between that and the next
  header, such as a comment, belongs to what comes next.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from copy import copy
from datetime import date
from typing import Any

from surge.errors import Origin
from surge.toml.positions import Positions, Stretch, locate

BOM = "\ufeff"
_BARE = re.compile(r"[A-Za-z0-9_-]+")


class Written:
    """A text in TOML, to be changed.

    Parameters
    ----------
    text : str

    Raises
    ------
    ValueError
        It is no TOML.
    """

    def __init__(self, text: str) -> None:
        self._bom = text.startswith(BOM)
        self._windows = "\r\n" in text
        self.text = text.removeprefix(BOM).replace("\r\n", "\n")
        self._read()

    def _read(self) -> None:
        self.data: dict[str, Any] = tomllib.loads(self.text)
        self.places: Positions = locate(self.text)

    def copy(self) -> Written:
        """Return the same text, to be changed otherwise."""
        return copy(self)  # no change changes data or places: it makes new ones

    @property
    def whole(self) -> str:
        """The text with the line ends that it came with."""
        return self.as_it_came(self.text)

    def as_it_came(self, text: str) -> str:
        """Return another text with the line ends and the mark that this one came with."""
        text = text.replace("\n", "\r\n") if self._windows else text
        return BOM + text if self._bom else text

    def at(self, path: Origin) -> Any:
        """Return what stands at a path; raises KeyError or IndexError where nothing does."""
        item: Any = self.data
        for part in path:
            item = item[part]
        return item

    def has(self, path: Origin) -> bool:
        """Return whether something stands at a path."""
        try:
            self.at(path)
        except (KeyError, IndexError, TypeError):
            return False
        return True

    def replace(self, changes: Sequence[tuple[Stretch, str]]) -> None:
        """Put other text in the place of stretches that do not overlap."""
        for stretch, new in sorted(changes, key=lambda c: c[0].start, reverse=True):
            self.text = self.text[: stretch.start] + new + self.text[stretch.end :]
        self._read()

    def _insert(self, offset: int, new: str) -> None:
        self.replace([(Stretch(offset, offset), new)])

    def set(self, path: Origin, value: Any, *, behind: Sequence[str] = ()) -> None:
        """Write a value: in the place of the old one, or as a new key of its table.

        Parameters
        ----------
        path : Origin
        value : object
            Text, number, flag, day, list, or mapping; a mapping is written in braces.
        behind : sequence of str
            Top tables behind the last of which a new top table stands; at the end of the text without them.
        """
        if not path:
            raise KeyError("a value needs a key")
        if (old := self.places.values.get(path)) is not None:
            self.replace([(old, written(value))])
            return
        if path in self.places.keys:
            raise KeyError("a table is no single value")
        above, key = path[:-1], path[-1]
        if not isinstance(key, str):
            raise IndexError("lists are written whole")
        if (table := self.places.values.get(above)) is not None:
            self.replace([(table, written({**self.at(above), key: value}))])
        elif self._block(above) is not None or not above:
            self._insert(self._last_line(above), f"{_key(key)} = {written(value)}\n")
        elif self.has(above) or len(above) > 1:
            self.set(above, {key: value}, behind=behind)
        else:
            self.add((above[0],), {key: value}, behind=behind, listed=False)

    def unset(self, path: Origin) -> None:
        """Take a key, a table, or an item of a list away."""
        above, last = path[:-1], path[-1]
        rest = copy(self.at(above))
        del rest[last]  # KeyError and IndexError for what is not there
        if above in self.places.values:
            self.replace([(self.places.values[above], written(rest))])
            return
        stretches = [
            self._lines(start, self._last_line(table))
            for table, start in self.places.headers
            if table[: len(path)] == path
        ]
        if not stretches:
            stretches = [self._lines(self.places.keys[path].start, self.places.values[path].end, blank=False)]
        self.replace([(stretch, "") for stretch in stretches])

    def add(
        self, path: Origin, values: Mapping[str, Any], *, behind: Sequence[str] = (), listed: bool = True
    ) -> None:
        """Add a table, with a header of its own.

        Parameters
        ----------
        path : Origin
            Of the table, or of the list that it is added to: ``("scenario", 0, "event")``.
        values : mapping
            What stands in it; a list of mappings becomes tables with headers of their own.
        behind : sequence of str
            Top tables behind the last of which it stands, where there is none of its own list.
        listed : bool
            It is added to a list of tables.
        """
        old = self.places.values.get(path)
        if old is not None:
            self.replace([(old, written([*self.at(path), values]))])
            return
        names = tuple(part for part in path if isinstance(part, str))
        own = [table for table, _ in self.places.headers if table[: len(path)] == path]
        parent = [
            table for table, _ in self.places.headers if path[:-1] and table[: len(path) - 1] == path[:-1]
        ]
        tops = [table for table, _ in self.places.headers if table[0] in behind]
        near = own or parent or tops
        self._place(near[-1] if near else None, block(names, values, listed=listed))

    def add_behind(self, table: Origin, path: Origin, values: Mapping[str, Any]) -> None:
        """Add a table to a list behind another table, which need not be of that list.

        It is the next of its list in the order of the text.
        """
        self._place(table, block(tuple(str(part) for part in path), values))

    def reorder(self, path: Origin, order: Sequence[int]) -> None:
        """Put the tables of a list in another order; comments right above a header go with it.

        Parameters
        ----------
        path : Origin
            Of the list.
        order : sequence of int
            Positions of the tables as they stand now, in the order in which they are to stand.
        """
        if list(order) == sorted(order):
            return
        if path in self.places.values:
            tables = self.at(path)
            self.replace([(self.places.values[path], written([tables[k] for k in order]))])
            return
        stretches = [self._with_comments((*path, k)) for k in range(len(order))]
        texts = [self.text[s.start : s.end] for s in stretches]
        self.replace([(stretch, texts[k]) for stretch, k in zip(stretches, order, strict=True)])

    def _with_comments(self, table: Origin) -> Stretch:
        """The lines of a table and of what stands in it, with the lines of comment right above its header."""
        own = [start for found, start in self.places.headers if found[: len(table)] == table]
        inner = [found for found, _ in self.places.headers if found[: len(table)] == table]
        first, last = self.text.rfind("\n", 0, own[0]) + 1, self._last_line(inner[-1])
        while first:
            above = self.text.rfind("\n", 0, first - 1) + 1
            if not self.text[above:first].lstrip().startswith("#"):
                break
            first = above
        return Stretch(first, last)

    def _place(self, table: Origin | None, new: str) -> None:
        if table is None:
            gap = "" if self.text.endswith("\n") or not self.text else "\n"
            self._insert(len(self.text), f"{gap}\n{new}" if self.text else new)
        else:
            self._insert(self._last_line(table), f"\n{new}")

    # Lines

    def _block(self, table: Origin) -> tuple[int, int] | None:
        """Where the lines of a table begin and end: at its header and before the next one."""
        starts = [*(start for _, start in self.places.headers), len(self.text)]
        for k, (found, start) in enumerate(self.places.headers):
            if found == table:
                return start, starts[k + 1]
        return None

    def _last_line(self, table: Origin) -> int:
        """Offset behind the line of the last key of a table; of its header where it has none.

        A line without its end gets one.
        """
        first = self.places.headers[0][1] if self.places.headers else len(self.text)
        start, end = (0, first) if not table else self._block(table) or (0, first)
        ends = [place.end for place in self.places.values.values() if start <= place.start < end]
        if not ends and not table:
            return 0
        line = self.text.find("\n", max(ends, default=self._header_end(start)))
        if line < 0:
            self.text += "\n"
            return len(self.text)
        return line + 1

    def _header_end(self, start: int) -> int:
        """Offset in the line of a header behind its names, in which line ends cannot stand."""
        line = self.text.find("\n", start)
        return line if line >= 0 else len(self.text)

    def _lines(self, start: int, end: int, *, blank: bool = True) -> Stretch:
        """Whole lines from one offset to another; ``blank``: with the blank ones behind, but for one."""
        first = self.text.rfind("\n", 0, start) + 1
        last = end if end and self.text[end - 1] == "\n" else self.text.find("\n", end) + 1 or len(self.text)
        while blank and self.text.startswith("\n", last):
            last += 1
        return Stretch(first, last)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _text(value: str) -> str:
    """A text in quotes; what JSON escapes TOML does too, but for one character."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def written(value: Any) -> str:
    """Return a value as it stands in TOML, on one line.

    Raises
    ------
    ValueError
        There is no such value.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{_key(str(k))} = {written(v)}" for k, v in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, Sequence):
        return f"[{', '.join(written(v) for v in value)}]"
    raise ValueError(f"{type(value).__name__} is no value of TOML")


def block(names: Sequence[str], values: Mapping[str, Any], *, listed: bool = True) -> str:
    """Return a table with its header: single values first, then tables in it, with headers of their own."""
    header = ".".join(_key(name) for name in names)
    lines = [f"[[{header}]]" if listed else f"[{header}]"]
    below: list[str] = []
    for key, value in values.items():
        if _is_tables(value):
            below += [block((*names, key), table) for table in value]
        elif isinstance(value, Mapping) and any(_is_tables(v) for v in value.values()):
            below.append(block((*names, key), value, listed=False))
        else:
            lines.append(f"{_key(key)} = {written(value)}")
    return "\n".join(["\n".join(lines), *[f"\n{text.rstrip()}" for text in below]]) + "\n"


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)

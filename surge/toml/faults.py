"""Faults of a file as they are printed: each with its line, its key and its remedy."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surge.errors import Fault, Origin
from surge.toml.positions import Positions, locate
from surge.toml.text import FileError, KeyFault, TextFault, shown, too_deep
from surge.units import printable, quoted

_WIDEST = 120  # characters of a source line that are shown


@dataclass(frozen=True, kw_only=True)
class FaultRecord:
    """One fault as it is printed.

    Attributes
    ----------
    file : str
    line, column : int
        Counted from 1. A missing key is shown at the header of its table.
    width : int
        Characters to underline, at least 1.
    key : str
        Such as ``pipe "deck line": length``; empty for the text as a whole.
    found, expected, remedy : str
    source : str
        The line itself, printable.
    """

    file: str
    line: int
    column: int
    width: int
    key: str
    found: str
    expected: str
    remedy: str
    source: str

    def as_text(self) -> str:
        """Return the record in lines for a terminal, without colour."""
        start = max(0, self.column - _WIDEST // 2) if len(self.source) > _WIDEST else 0
        part = self.source[start : start + _WIDEST]
        before = "".join("\t" if c == "\t" else " " for c in self.source[start : self.column - 1])
        marks = "^" * max(1, min(self.width, len(part) - len(before)))
        number = str(self.line)
        place = f"{printable(self.file)}:{self.line}:{self.column}"
        lines = [f"{place}: {self.key}" if self.key else place]
        if self.source:
            lines += [f"  {number} | {part}", f"  {' ' * len(number)} | {before}{marks}"]
        words = (("found", self.found), ("expected", self.expected), ("remedy", self.remedy))
        return "\n".join([*lines, *(f"  {word:<9} {text}" for word, text in words)])


def describe(error: FileError) -> list[FaultRecord]:
    """Give every fault of a file its place in the text, in the order of the file."""
    return [record for _, record in placed(error)]


def placed(error: FileError) -> list[tuple[Fault, FaultRecord]]:
    """Return every fault of a file with its record, in the order of the file."""
    # Faults of the text carry their lines; the text may be more than a parser can take.
    of_text = all(isinstance(fault, TextFault) for fault in error.faults)
    data, places = ({}, Positions(error.file.text)) if of_text else _understood(error.file.text)
    records = [(fault, _record(fault, error, data, places)) for fault in error.faults]
    return sorted(records, key=lambda pair: (pair[1].line, pair[1].column))


def format_faults(error: FileError) -> str:
    """Return all faults of a file as plain text for stderr."""
    records = describe(error)
    count = "1 fault" if len(records) == 1 else f"{len(records)} faults"
    head = f"{printable(error.file.filename)}: {count}; nothing was calculated or written"
    return "\n\n".join([head, *(record.as_text() for record in records)])


def _understood(text: str) -> tuple[dict[str, Any], Positions]:
    """Return the data and the places of a text; of one that is no TOML, no data and the lines only."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError):  # then the faults carry their line themselves
        return {}, Positions(text)
    return (data, locate(text)) if not too_deep(data) else ({}, Positions(text))


def _record(fault: Fault, error: FileError, data: dict[str, Any], places: Positions) -> FaultRecord:
    line, column, width = 1, 1, 1
    if isinstance(fault, TextFault):
        line, column = fault.line, fault.column
    elif spot := places.find(fault.path, key=_of_key(fault, error.kind.named)):
        (line, column), width = places.line_column(spot.start), spot.end - spot.start
    source = "" if error.private else places.source(line)
    return FaultRecord(
        file=error.file.filename,
        line=line,
        column=column,
        width=width,
        key=label(fault.path, {} if error.private else data, named=error.kind.named),
        found=fault.found,
        expected=fault.expected,
        remedy=fault.remedy,
        source="".join(c if c.isprintable() or c == "\t" else "?" for c in source),
    )


def _of_key(fault: Fault, named: Mapping[str, str]) -> bool:
    """Tell whether the key is wrong, not its value; in tables of names the key is the name."""
    in_names = len(fault.path) > 1 and fault.path[-2] in named
    return isinstance(fault, KeyFault) or (in_names and fault.found == shown(fault.path[-1]))


def label(path: Origin, data: Mapping[str, Any], *, named: Mapping[str, str]) -> str:
    """Return a path in the words of the file, such as ``pipe "deck line": length``.

    Parameters
    ----------
    path : Origin
    data : mapping
        Of the file.
    named : mapping of str to str
        As :class:`surge.toml.text.FileKind` has it.
    """
    if not path:
        return ""
    parts: list[str] = []
    item: Any = data
    for depth, part in enumerate(path):
        item = child(item, part)
        called = named.get(str(path[depth - 1])) if depth else None
        if isinstance(part, str) and called is not None:
            parts[-1:] = [f"{called} {quoted(part)}"] if called else [parts[-1], quoted(part)]
        elif isinstance(part, str):
            parts.append(part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else quoted(part))
        elif isinstance(item, dict) and isinstance(item.get("name"), str):
            parts[-1] += f" {quoted(item['name'])}"
        elif isinstance(item, dict) or not data:
            parts[-1] += f" {part + 1}"
        else:
            parts[-1] += f", column {part + 1}" if ", row " in parts[-1] else f", row {part + 1}"
    return ": ".join(parts)


def child(item: Any, part: str | int) -> Any:
    """Return what stands under a key or at a position; None where there is no such thing."""
    if isinstance(item, dict):
        return item.get(part)
    if isinstance(item, list) and isinstance(part, int) and part < len(item):
        return item[part]
    return None

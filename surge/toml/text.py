"""Texts in TOML from disk to data: what cannot be read or parsed is one fault, with its line and a remedy."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from surge.errors import CaseError, Fault, about
from surge.inputs import InputFile, input_of, read_input, unread
from surge.units import quoted, vanished

BIGGEST = 1_000_000  # [bytes] of a file; one takes some kB
LONGEST_LINE = 20_000  # [characters]; the parser's time for one key grows with the square of its length
WORDS_LIKE = 0.7  # [-] as surge.errors.LIKE, of keys and words of a format: they are short and many are alike
DEEPEST = 30  # levels of nesting; the format has 8
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_KEY_PART = re.compile(r"""[\w-]+|"[^"]*"|'[^']*'""")
_DATE = re.compile(r"\d{4}-\d{1,2}-\d{1,2}")
_BARE_QUANTITY = re.compile(r"^\s*[\w.\"' -]+=\s*([-+]?[0-9][^\"'#\[\]{}]*?)\s*(?:#.*)?$")


@dataclass(frozen=True, kw_only=True)
class FileKind:
    """What a file is meant to be, for the messages.

    Attributes
    ----------
    words : str
        "a case file: a text in TOML".
    too_big : str
        Remedy for a file of more than ``BIGGEST`` bytes.
    lists : str
        A header of a list of tables in it.
    closed : str
        Remedy for a file that cannot be opened.
    many : (str, str)
        What is expected where there are too many faults to list, and the remedy.
    named : mapping of str to str
        Tables whose keys are names that the writer chose: the key of such a table, and what one of its
        rows is called in a message, "" where key and name are enough.
    """

    words: str
    too_big: str
    lists: str
    closed: str = "check the path and the rights"
    many: tuple[str, str] = ("a file with few faults", "mend the listed ones first")
    named: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class TextFault(Fault):
    """A fault of the text, which has a place but no key: ``line`` and ``column`` count from 1."""

    line: int
    column: int


@dataclass(frozen=True, kw_only=True)
class KeyFault(Fault):
    """A fault of a key itself: it is shown at the key, not at its value."""


class FileError(CaseError):
    """Faults of one file.

    Parameters
    ----------
    faults : list of Fault
    file : InputFile
        What was read of it; no bytes where nothing could be.
    kind : FileKind
    private : bool
        No line of the file is shown.
    """

    def __init__(
        self, faults: Iterable[Fault], *, file: InputFile, kind: FileKind, private: bool = False
    ) -> None:
        super().__init__(list(faults))
        self.file: InputFile = file
        self.kind, self.private = kind, private

    def without_contents(self, remedy: str) -> FileError:
        """Return the same faults with nothing of the file but places and keys.

        Parameters
        ----------
        remedy : str
            How to see the rest.
        """
        if not self.file.content:
            return self  # nothing was read
        found = "not shown, since another file names this one"
        faults = [replace(fault, found=found, remedy=remedy) for fault in self.faults]
        return FileError(faults, file=self.file, kind=self.kind, private=True)


@contextmanager
def faults_of_file(file: InputFile, kind: FileKind) -> Iterator[None]:
    """Surround work on a file: faults that are refused inside are faults of this file."""
    with about(file):
        try:
            yield
        except FileError:
            raise
        except CaseError as error:
            raise FileError(error.faults, file=file, kind=kind) from None


def read_file(path: str | Path, kind: FileKind) -> InputFile:
    """Read a text in TOML from disk; raises FileError with one fault when it cannot be read."""
    nothing = unread(str(path))
    with faults_of_file(nothing, kind):
        try:
            file = read_input(path, most=BIGGEST)
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) else str(error)
            raise _syntax(f"cannot be opened: {reason}", kind.closed, 1, 1, kind.words) from None
        if len(file.content) > BIGGEST:
            raise _syntax(f"more than {BIGGEST // 10**6} MB", kind.too_big, 1, 1, kind.words)
    with faults_of_file(file, kind):
        try:
            file.content.decode("utf-8")
        except UnicodeDecodeError as error:
            line = file.content.count(b"\n", 0, error.start) + 1
            byte = f"byte {file.content[error.start]:#04x} in line {line}, which is not UTF-8"
            raise _syntax(byte, "save the file as UTF-8 in your editor", line, 1, kind.words) from None
    return file


def file_of(text: str, *, filename: str, kind: FileKind) -> InputFile:
    """Return a text that is at hand as a file; raises FileError for one that cannot be UTF-8."""
    try:
        return input_of(text.encode("utf-8"), filename=filename)
    except UnicodeEncodeError:
        with faults_of_file(unread(filename), kind):
            found = "half a character, which is not UTF-8"
            raise _syntax(found, "save the file as UTF-8", 1, 1, kind.words) from None


def parsed(file: InputFile, kind: FileKind) -> dict[str, Any]:
    """Return the data of a file, or raise FileError with the one fault that stops the parser."""
    with faults_of_file(file, kind):
        return _parsed(file.text.removeprefix("\ufeff"), kind)


def _parsed(text: str, kind: FileKind) -> dict[str, Any]:
    lines = text.replace("\r\n", "\n").split("\n")
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise _syntax(f"a line of {len(line)} characters", "write a line break", number, 1)
        if line.count(".") > DEEPEST and _longest_key(line) > DEEPEST:
            raise _syntax(
                "tables nested too deep by a key of very many parts", "no key is nested so deep", number, 1
            )
    deep = _deep_line(lines)
    try:
        data = tomllib.loads(text, parse_float=_float)
    except _TinyError as error:
        tiny = re.compile(rf"(?<![\w.]){re.escape(str(error))}(?![\w.])")
        where = next((n for n, line in enumerate(lines, start=1) if tiny.search(line.split("#")[0])), 1)
        found, remedy = f"{quoted(str(error))}, which would be read as 0", "write 0, or a greater number"
        raise _syntax(found, remedy, where, 1, "a number that a computer can hold") from None
    except tomllib.TOMLDecodeError as error:
        raise _decode_fault(str(error), lines, kind) from None
    except RecursionError:
        raise _syntax("brackets nested too deep", "no key takes so many brackets", deep, 1) from None
    except ValueError as error:
        long = next((n for n, line in enumerate(lines, start=1) if re.search(r"[0-9_]{4000}", line)), 1)
        raise _syntax(f"a number that cannot be read: {error}", "write a shorter number", long, 1) from None
    if too_deep(data):
        raise _syntax("tables nested too deep", "no key is nested so deep", deep, 1)
    return data


class _TinyError(ValueError):
    """A number that is not 0, but too small for a computer."""


def _float(text: str) -> float:
    """Read a number with a point or an exponent, as the parser does."""
    value = float(text)
    if vanished(text, value):
        raise _TinyError(text)
    return value


def _longest_key(line: str) -> int:
    """Most parts in a row that dots join as in a key: each becomes a table inside the one before."""
    longest = run = 0
    for part in line.split("."):
        run = run + 1 if _KEY_PART.fullmatch(part.strip()) else 0
        longest = max(longest, run)
    return longest


def _deep_line(lines: list[str]) -> int:
    """Return the line with the most open brackets and dots: where the nesting is deepest, or near it."""
    depth, deepest, where = 0, 0, 1
    for number, line in enumerate(lines, start=1):
        opened = depth + line.count("[") + line.count("{") + line.count(".")
        if opened > deepest:
            deepest, where = opened, number
        depth += line.count("[") + line.count("{") - line.count("]") - line.count("}")
    return where


def _syntax(found: str, remedy: str, line: int, column: int, expected: str = "TOML") -> CaseError:
    return CaseError(
        [TextFault(path=(), found=found, expected=expected, remedy=remedy, line=line, column=column)]
    )


def _decode_fault(message: str, lines: list[str], kind: FileKind) -> CaseError:
    """Return the parser's complaint with a remedy for the slips that officers make."""
    place = _PLACE.search(message)
    line, column = len(lines), len(lines[-1]) + 1
    if place and place[1]:
        line, column = int(place[1]), int(place[2])
    what = _PLACE.sub("", message)
    source = lines[line - 1] if line <= len(lines) else ""
    bare = _BARE_QUANTITY.match(source)
    if what == "Cannot overwrite a value" and "=" in source:
        what = f"the key {quoted(source.split('=')[0].strip())} for a second time in its table"
        column = len(source) - len(source.lstrip()) + 1
        expected, remedy = "each key once in its table", "take one of the two out, or rename it"
    elif "twice" in what or "overwrite" in what or "mutate" in what:
        expected, remedy = "each table once", f"take one out; a list of tables has headers like {kind.lists}"
    elif what == "Invalid date or datetime" or (bare and _DATE.match(bare[1])):
        what = "a day or time that there is not" if what == "Invalid date or datetime" else what
        expected, remedy = "a day that there is", "check year, month and day: 2026-03-14, without quotes"
    elif bare:
        expected = "a quantity in quotes"
        remedy = f"write {source.split('=')[0].strip()[:60]} = {quoted(bare[1])}"
    else:
        expected = 'TOML: key = "text", key = 1.5, key = true, [table] or [[list of tables]]'
        remedy = "look for a missing quote, bracket or equals sign here or just before"
    return _syntax(what, remedy, line, column, expected)


def too_deep(data: object) -> bool:
    """Tell whether tables and lists stand inside one another deeper than any case needs."""
    level = [data]
    for _ in range(DEEPEST):
        level = [child for item in level if isinstance(item, dict | list) for child in _children(item)]
    return bool(level)


def _children(item: dict[str, object] | list[object]) -> Iterable[object]:
    return item.values() if isinstance(item, dict) else item


def shown(value: object) -> str:
    """Return any TOML value as a message shows it: short, printable, never its whole depth."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**18 else "a number of many digits"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return "a table" if value else "an empty table"
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    return "nothing" if value is None else f"a date or time, {quoted(str(value))}"

"""The limits file: what is stated about each valve of a ship, as a text in TOML."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from surge.errors import Fault, Origin
from surge.inputs import InputFile
from surge.records.stroke_tests import Bound, Direction, Interval, Side, Timed, ValveLimits
from surge.toml.text import FileError, FileKind, file_of, parsed, read_file
from surge.units import QuantityError, printable, quoted, read

LIMITS = FileKind(
    words="a limits file: a text in TOML with [[valve]]",
    biggest=1_000_000,
    too_big=("more than 1 MB", "a valve takes some hundred bytes: check that this is the file you mean"),
    closed="check the path and the rights",
    lists="[[valve]]",
)
BOUNDS = {f"{side.value}_{direction.value}": (direction, side) for direction in Direction for side in Side}
COUNTS = {t.value: t for t in Timed}
_KEYS = (
    *("tags", "in_case", *BOUNDS, "slowest_counts", "source", "signal_delay", "normal_temperature"),
    *("shares_power", "sisters", "interval", "note"),
)
_TEXTS = ("in_case", "source", "sisters", "note")
_EXAMPLE = {
    "tags": 'tags = ["M1", "D*"]',
    "in_case": 'in_case = "manifold valve"',
    "slowest_counts": 'slowest_counts = "order to indicator"',
    "source": 'source = "surge analysis of 2026"',
    "signal_delay": 'signal_delay = "1.2 s"',
    "normal_temperature": 'normal_temperature = ["20 degC", "50 degC"]',
    "shares_power": "shares_power = true",
    "sisters": 'sisters = "manifold valves"',
    "interval": 'interval = "12 months"',
    "note": 'note = "a text"',
} | {key: f'{key} = "20 s"' for key in BOUNDS}
_LONGEST = 3600.0  # [s] of a stroke
_INTERVAL = re.compile(r"([0-9]{1,4}) *(days?|weeks?|months?|years?)")
_DAYS, _MONTHS = {"day": 1, "week": 7}, {"month": 1, "year": 12}


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What one table [[valve]] states; None where it says nothing.

    Attributes
    ----------
    number : int
        Of the table, from 0.
    tags : tuple of str
        Names, or patterns with * and ?.
    values : mapping of str to object
        By key, in SI.
    """

    number: int
    tags: tuple[str, ...]
    values: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class LimitFile:
    """A limits file that was read without a fault: ``stated``, in its order; what it was made of."""

    stated: tuple[Stated, ...]
    file: InputFile

    @property
    def named(self) -> tuple[str, ...]:
        """Tags that stand there in full."""
        return tuple(dict.fromkeys(t for s in self.stated for t in s.tags if not is_pattern(t)))

    def knows(self, tag: str) -> bool:
        """Whether some table speaks of a tag."""
        return any(_speaks(s, tag) for s in self.stated)

    def limits_of(self, tag: str) -> tuple[ValveLimits, str]:
        """What is stated about a tag, and its name in the case ("" for none).

        A table that names it in full goes before patterns, and these before one another as they stand.
        """
        own = [s for s in self.stated if any(fold(t) == fold(tag) for t in s.tags if not is_pattern(t))]
        others = [s for s in self.stated if s not in own and _speaks(s, tag)]
        got: dict[str, Any] = {}
        for stated in (*own, *others):
            for key, value in stated.values.items():
                got.setdefault(key, value)
        bounds = tuple(_bound(key, got[key]) for key in BOUNDS if key in got)
        made = ValveLimits(
            tag=tag,
            bounds=bounds,
            normal=got.get("normal_temperature"),
            delay=got.get("signal_delay"),
            shares_power=got.get("shares_power"),
            sisters=got.get("sisters", ""),
            interval=got.get("interval"),
            required=bool(own),
        )
        return made, got.get("in_case", "")


def _bound(key: str, stated: tuple[float, Timed, str]) -> Bound:
    direction, side = BOUNDS[key]
    value, timed, source = stated
    return Bound(direction=direction, side=side, value=value, timed=timed, source=source)


def fold(tag: str) -> str:
    """A tag as it is compared: large and small letters are one, and blanks count once."""
    return " ".join(tag.casefold().split())


def is_pattern(tag: str) -> bool:
    """Whether a tag of a limits file stands for many."""
    return any(c in tag for c in "*?[")


def _speaks(stated: Stated, tag: str) -> bool:
    return any(
        fnmatchcase(fold(tag), fold(t)) if is_pattern(t) else fold(t) == fold(tag) for t in stated.tags
    )


def load_limits(path: str | Path) -> LimitFile:
    """Read a limits file from disk.

    Raises
    ------
    FileError
        With one fault when it cannot be read or is no TOML, else with all faults of its tables.
    """
    return _limits_of(read_file(path, LIMITS))


def read_limits(text: str, *, filename: str) -> LimitFile:
    """Read the text of a limits file; raises as :func:`load_limits`."""
    return _limits_of(file_of(text, filename=filename, kind=LIMITS))


def _limits_of(file: InputFile) -> LimitFile:
    reader = _Reader()
    stated = reader.read(parsed(file, LIMITS))
    if reader.faults:
        raise FileError(reader.faults, file=file, kind=LIMITS)
    return LimitFile(stated=stated, file=file)


def read_interval(text: str) -> Interval:
    """Read an interval such as "12 months".

    Raises
    ------
    QuantityError
    """
    found = _INTERVAL.fullmatch(text.strip())
    count, unit = (int(found[1]), found[2].rstrip("s")) if found else (0, "")
    made = Interval(months=count * _MONTHS.get(unit, 0), days=count * _DAYS.get(unit, 0))
    if not 0 < made.months * 31 + made.days <= 3720:
        expected = "an interval from 1 day to 10 years: a whole number of days, weeks, months or years"
        raise QuantityError(quoted(text), expected, 'write it like "12 months"')
    return made


class _Reader:
    """Reads table after table, and notes what is wrong."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.where: dict[tuple[str, str], int] = {}  # (folded tag, key) -> table that has it

    def fault(self, path: Origin, found: str, expected: str, remedy: str) -> None:
        self.faults.append(Fault(path=path, found=found, expected=expected, remedy=remedy))

    def read(self, data: Mapping[str, Any]) -> tuple[Stated, ...]:
        """Return what the tables state."""
        for key in data:
            if key not in ("schema", "valve", "note"):
                self.fault((key,), f"unknown key {quoted(key)}", "schema, note and [[valve]]", "take it out")
        if data.get("schema") != 1 or isinstance(data.get("schema"), bool):
            self.fault(
                ("schema",), _shown(data.get("schema")), "schema = 1", "write schema = 1 in the first line"
            )
        tables = data.get("valve")
        if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
            self.fault(
                ("valve",), _shown(tables), "tables [[valve]]", "write [[valve]] above each group of keys"
            )
            return ()
        return tuple(self._table(table, number) for number, table in enumerate(tables))

    def _table(self, table: Mapping[str, Any], number: int) -> Stated:
        path: Origin = ("valve", number)
        tags = self._tags(table, path)
        values: dict[str, Any] = {}
        for key, value in table.items():
            if key not in _KEYS:
                near = difflib.get_close_matches(key[:60], _KEYS, n=1, cutoff=0.6)
                remedy = f'did you mean "{near[0]}"?' if near else "take it out"
                self.fault((*path, key), f"unknown key {quoted(key)}", f"one of {', '.join(_KEYS)}", remedy)
            elif key != "tags":
                try:
                    values[key] = _value(key, value)
                except QuantityError as error:
                    self.fault((*path, key), error.found, error.expected, error.remedy)
        self._once(tags, values, path)
        return Stated(number=number, tags=tags, values=self._bounds(table, values, path))

    def _tags(self, table: Mapping[str, Any], path: Origin) -> tuple[str, ...]:
        tags = table.get("tags")
        if not isinstance(tags, list) or not tags or not all(isinstance(t, str) and t.strip() for t in tags):
            self.fault((*path, "tags"), _shown(tags), "tags, a list of texts", f"write {_EXAMPLE['tags']}")
            return ()
        return tuple(" ".join(t.split()) for t in tags)

    def _once(self, tags: Iterable[str], values: Mapping[str, Any], path: Origin) -> None:
        """Note a tag that two tables say the same key of."""
        for tag in tags:
            for key in values if not is_pattern(tag) else ():
                before = self.where.setdefault((fold(tag), key), int(path[1]))
                if before != path[1]:
                    found = f"{key} of {quoted(tag)}, which table {before + 1} has already"
                    self.fault((*path, key), found, "each key of a valve once", "take one of the two out")

    def _bounds(self, table: Mapping[str, Any], values: dict[str, Any], path: Origin) -> dict[str, Any]:
        """Join each limit with what it counts and where it comes from."""
        limits = [key for key in BOUNDS if key in table]
        source, counts = values.pop("source", ""), values.pop("slowest_counts", Timed.ORDER)
        if limits and not source and "source" not in table:
            self.fault(
                (*path, "source"),
                "limits without a source",
                "where they come from",
                f"add {_EXAMPLE['source']}",
            )
        for way in Direction:
            low, high = (values.get(f"{side.value}_{way.value}") for side in Side)
            if low is not None and high is not None and low > high:
                found = f"fastest {low:g} s above slowest {high:g} s: no time can keep both"
                remedy = (
                    "check both; if they are right, the line needs a lower rate before a valve can be set"
                )
                self.fault((*path, f"fastest_{way.value}"), found, "fastest not above slowest", remedy)
        for key in BOUNDS:
            if key in values:
                fast = BOUNDS[key][1] is Side.FASTEST
                values[key] = (values[key], Timed.MOVEMENT if fast else counts, source)
        return values


def _shown(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'a table'} of {len(value)}"
    return quoted(str(value)[:100])


def _value(key: str, value: object) -> Any:
    """Return the value of a key in SI, or raise QuantityError."""
    if key == "shares_power":
        if isinstance(value, bool):
            return value
        raise QuantityError(_shown(value), "true or false", f"write {_EXAMPLE[key]}")
    if key == "normal_temperature":
        return _range(value)
    if not isinstance(value, str) or not value.strip() or len(value) > 300 or printable(value) != value:
        raise QuantityError(_shown(value), f"{key}, a text on one line", f"write {_EXAMPLE[key]}")
    if key in _TEXTS:
        return " ".join(value.split())
    if key == "interval":
        return read_interval(value)
    if key == "slowest_counts":
        if value not in COUNTS:
            listed = " or ".join(f'"{c}"' for c in COUNTS)
            raise QuantityError(quoted(value), listed, f"write {_EXAMPLE[key]}")
        return COUNTS[value]
    seconds = read(value, dimension="time").value
    if not (0.0 if key == "signal_delay" else 1e-3) <= seconds <= _LONGEST:
        raise QuantityError(quoted(value), "a time from 0 s to 3600 s", "check the figure and its unit")
    return seconds


def _range(value: object) -> tuple[float, float]:
    example = _EXAMPLE["normal_temperature"]
    if not isinstance(value, list) or len(value) != 2 or not all(isinstance(v, str) for v in value):
        raise QuantityError(_shown(value), "two temperatures in brackets", f"write {example}")
    low, high = (read(v, dimension="temperature").value for v in value)
    if low > high:
        raise QuantityError(f"{value[0]} above {value[1]}", "the lower one first", f"write {example}")
    return low, high

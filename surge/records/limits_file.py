"""The limits file: what is stated about each valve of a ship, as a text in TOML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from surge.errors import Fault, Origin
from surge.inputs import InputFile
from surge.records.stroke_tests import BOUNDS, Bound, Direction, Side, Timed, ValveLimits
from surge.toml.text import FileError, FileKind, file_of, parsed, read_file
from surge.units import Reading, quoted

LIMITS = FileKind(
    words="a limits file: a text in TOML with [[valve]]",
    too_big="a valve takes some hundred bytes: check that this is the file you mean",
    lists="[[valve]]",
)


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
        return any(speaks(s, tag) for s in self.stated)

    def limits_of(self, tag: str) -> tuple[ValveLimits, str]:
        """What is stated about a tag, and its name in the case ("" for none).

        A table that names it in full goes before patterns, and these before one another as they stand.
        """
        own = [s for s in self.stated if any(fold(t) == fold(tag) for t in s.tags if not is_pattern(t))]
        others = [s for s in self.stated if s not in own and speaks(s, tag)]
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


def speaks(stated: Stated, tag: str) -> bool:
    """Whether a table holds for a tag."""
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
    stated, faults = stated_in(parsed(file, LIMITS))
    if faults:
        raise FileError(faults, file=file, kind=LIMITS)
    return LimitFile(stated=stated, file=file)


def stated_in(data: dict[str, Any]) -> tuple[tuple[Stated, ...], list[Fault]]:
    """Return what the tables of a limits file state, and every fault in them.

    Parameters
    ----------
    data : dict
        As ``tomllib`` gives it.
    """
    from surge.records.limits_schema import LimitsFile
    from surge.toml.mend import mend

    mended = mend(data, LimitsFile, LIMITS)
    spec = mended.spec(None)
    tables = (spec.valve or []) if spec else []
    maker = _LimitMaker()
    stated = tuple(maker.stated(dict(_given(table)), k) for k, table in enumerate(tables))
    if spec is not None and not tables:
        remedy = "write [[valve]] above each group of keys"
        maker.fault(("valve",), "no valve", "tables [[valve]]", remedy)
    mended.add(maker.faults)
    return stated, mended.listed(LIMITS)


def _given(table: Any) -> Iterator[tuple[str, Any]]:
    """What stands in a table, in its order; None for what was refused."""
    for key in type(table).model_fields:
        if key in table.model_fields_set:
            value = getattr(table, key)
            yield key, value.value if isinstance(value, Reading) else value


class _LimitMaker:
    """Joins what table after table states, and notes what does not go together."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.where: dict[tuple[str, str], int] = {}  # (folded tag, key) -> table that has it

    def fault(self, path: Origin, found: str, expected: str, remedy: str) -> None:
        self.faults.append(Fault(path=path, found=found, expected=expected, remedy=remedy))

    def stated(self, table: Mapping[str, Any], number: int) -> Stated:
        """Return what one table states.

        Parameters
        ----------
        table : mapping
            Key -> value in SI; None, alone or in a list, for one that was refused.
        number : int
            Of the table, from 0.
        """
        path: Origin = ("valve", number)
        tags = tuple(tag for tag in table["tags"] or () if tag is not None)
        values = {key: value for key, value in table.items() if value is not None and key != "tags"}
        self._once(tags, values, path)
        return Stated(number=number, tags=tags, values=self._bounds(table, values, path))

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
        source, counts = values.pop("source", ""), Timed(values.pop("slowest_counts", Timed.ORDER))
        if any(key in table for key in BOUNDS) and "source" not in table:
            remedy = 'add source = "surge analysis of 2026", or what it is'
            self.fault((*path, "source"), "limits without a source", "where they come from", remedy)
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

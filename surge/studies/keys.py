"""Keys of a case as a study file names them, and where they stand in a case.

Decisions
---------
* A key is written as refusals print it: ``rate: agreed``, ``pipe "shore line": length``,
  ``scenario "shutdown": event 1: stroke``. So what a message names can be copied.
* A name that the case does not have is refused; a key that the format has and the case leaves out is added.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from surge.case.file import CASE
from surge.case.schema import CaseSpec
from surge.errors import Origin, meant
from surge.toml.faults import label
from surge.toml.lists import OneOrList
from surge.toml.tables import keys_of, leaf_at, table_at
from surge.toml.text import WORDS_LIKE
from surge.toml.values import Leaf
from surge.units import QuantityError, printable, quoted

EXAMPLE = "'pipe \"shore line\": length'"
MOST_OFFERED = 12  # names or keys that a remedy lists
_PART = re.compile(
    r"""\s*(?:([A-Za-z_]\w*)(?:\s+(?:"([^"]+)"|'([^']+)'|(\d{1,6})))?|"([^"]+)"|'([^']+)')\s*"""
)
_NAMED = {words: key for key, words in CASE.named.items() if words}  # "point" -> "points"


def parsed(text: str) -> tuple[str | int, ...]:
    """Return the parts of a key: words, names and positions, which begin at 0.

    A word and its name or position are two parts.

    Raises
    ------
    QuantityError
        It is not written as a key is.
    """
    parts: list[str | int] = []
    at = 0
    while True:
        match = _PART.match(text, at)
        if match is None or not (match.end() == len(text) or text[match.end()] == ":"):
            raise QuantityError(
                key_shown(text), "a key of the case, as refusals print it", f"write it like {EXAMPLE}"
            )
        word, double, single, number, alone, bare = match.groups()
        if word is not None:
            parts.append(word)
        if number is not None:
            parts.append(int(number) - 1)
        elif (name := double or single or alone or bare) is not None:
            parts.append(_Name(name))
        at = match.end() + 1
        if at > len(text):
            return tuple(parts)


def key_shown(text: str) -> str:
    """Return a key as a message shows it, in single quotes: names in it have double ones."""
    shown = printable(text[:80])
    return f"'{shown}...'" if len(text) > 80 else f"'{shown}'"


class _Name(str):
    """A name, which stood in quotes."""

    __slots__ = ()


def origin_of(text: str, data: Mapping[str, Any], *, part: bool = False) -> Origin:
    """Return where a key stands, or would stand, in the data of a case.

    Parameters
    ----------
    text : str
        As the study file has it.
    data : mapping
        Of the case, as ``tomllib`` gives it.
    part : bool
        A whole part of the case may be named too: ``pipe "spool"``.

    Raises
    ------
    QuantityError
        There is no such key in the format, or no such name in the case.
    """
    path: list[str | int] = []
    here: Any = data
    for word in parsed(text):
        if isinstance(word, int):
            here = _position(text, path, here, word)
            path.append(word)
        elif isinstance(word, _Name):
            here, step = _named(path, here, word)
            path.append(step)
        else:
            key = _NAMED.get(word, word) if not path else word
            _refuse_unknown(text, path, key)
            here = here.get(key) if isinstance(here, Mapping) else None
            path.append(key)
    found = tuple(path)
    if not part and table_at(found, CaseSpec) is not None:
        keys = ", ".join(keys_of(table_at(found, CaseSpec) or CaseSpec)[:MOST_OFFERED])
        raise QuantityError(key_shown(text), "a key with a single value", f"add one of its keys: {keys}")
    return found


def _refuse_unknown(text: str, path: list[str | int], key: str) -> None:
    table = table_at(tuple(path), CaseSpec)
    if table is None and path and isinstance(path[-1], str):
        raise QuantityError(
            key_shown(text), f"a name or a position behind {path[-1]}", f"write it like {EXAMPLE}"
        )
    known = keys_of(table) if table else []
    if key not in known:
        offered = [*_NAMED, *known] if not path else known
        near = meant(key, offered, like=WORDS_LIKE)
        remedy = f'did you mean "{near}"?' if near else f"write one of {', '.join(offered[:MOST_OFFERED])}"
        raise QuantityError(f"no key {quoted(key)} in {key_shown(text)}", "a key of the case", remedy)


def _position(text: str, path: list[str | int], here: Any, number: int) -> Any:
    count = len(here) if isinstance(here, list) else 0
    if not 0 <= number < count:
        word = path[-1] if path else ""
        remedy = (
            f"write {word} 1 to {count}" if count else f"the case has no {word} there: leave the axis out"
        )
        raise QuantityError(f"{word} {number + 1} in {key_shown(text)}", f"one of {count}", remedy)
    return here[number]


def _named(path: list[str | int], here: Any, name: str) -> tuple[Any, str | int]:
    """What stands under a name, and how it is reached."""
    word = str(path[-1]) if path else ""
    if word in CASE.named or isinstance(here, Mapping):
        if word == "points" and name not in (here or {}):
            raise _no_name(word, name, list(here or {}))
        return (here or {}).get(name), str(name)
    tables = here if isinstance(here, list) else []
    for k, table in enumerate(tables):
        if isinstance(table, Mapping) and table.get("name") == name:
            return table, k
    known = [str(t["name"]) for t in tables if isinstance(t, Mapping) and "name" in t]
    raise _no_name(word, name, known)


def _no_name(word: str, name: str, known: list[str]) -> QuantityError:
    word = CASE.named.get(word) or word
    near = meant(name, known)
    listed = ", ".join(quoted(k) for k in known[:MOST_OFFERED])
    remedy = f"did you mean {quoted(near)}?" if near else f"write one of {listed}"
    if not known:
        remedy = f"the case has no {word}: name another part"
    return QuantityError(f"no {word} {quoted(name)} in the case", f"the name of a {word} of the case", remedy)


def leaf_of(path: Origin) -> Leaf | None:
    """Return the kind of single value at a path of a case; of one that may be a list too, the single one."""
    leaf = leaf_at(path, CaseSpec)
    return leaf.one if isinstance(leaf, OneOrList) else leaf


def strokes_of(valve: str, data: Mapping[str, Any]) -> list[Origin]:
    """Return where the strokes of all movements stand that close a valve.

    Raises
    ------
    QuantityError
        There is no such valve, or it closes nowhere with a stroke.
    """
    found = [path for path, table in _movements(data) if table.get("close") == valve]
    valves = [str(t.get("name")) for t in _tables(data, "valve")]
    if valve not in valves:
        raise _no_name("valve", valve, valves)
    if not found:
        closing = sorted({str(t["close"]) for _, t in _movements(data) if "close" in t})
        remedy = f"name one that does: {', '.join(map(quoted, closing))}" if closing else "leave it out"
        raise QuantityError(f"{quoted(valve)}, which never closes", "a valve that closes", remedy)
    tables = dict(_movements(data))
    for path in found:
        if "stroke" not in tables[path]:
            where = label(path, data, named=CASE.named)
            raise QuantityError(
                f"{quoted(valve)} has no stroke at {where}",
                "movements with a stroke",
                "give that movement a stroke, or name the key of the one that is meant",
            )
    return [(*path, "stroke") for path in found]


def _movements(data: Mapping[str, Any]) -> Iterator[tuple[Origin, Mapping[str, Any]]]:
    for i, scenario in enumerate(_tables(data, "scenario")):
        for k, event in enumerate(_tables(scenario, "event")):
            yield ("scenario", i, "event", k), event
        shutdown = scenario.get("shutdown")
        for k, step in enumerate(_tables(shutdown, "step") if isinstance(shutdown, Mapping) else []):
            yield ("scenario", i, "shutdown", "step", k), step


def _tables(data: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    found = data.get(key)
    return [t for t in found if isinstance(t, Mapping)] if isinstance(found, list) else []

"""A case changed part by part, with everything else in its text as it was written.

Decisions
---------
* What a change makes of the text is not judged here: it is read as any case is, and refused in the same
  words.
* A part that is put in stands behind another one and takes over its end, so that the line stays whole. A part
  that is taken out leaves no gap: what began at its end then begins at its start.
* A name is changed everywhere it is used.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from surge.api.outline import AT_A_POINT, BETWEEN
from surge.arguments import checked
from surge.errors import Origin, RequestError
from surge.toml.positions import DEEPEST_KEPT, Stretch
from surge.toml.rewrite import Written, written
from surge.units import quoted

Change = Mapping[str, Any]
MOST_CHANGES = 200
# Behind what a new table stands.
SETTINGS = ("show", "site", "calculation", "liquid", "berth", "rules", "bands", "rate", "limits")
PARTS = (*SETTINGS, "points", *BETWEEN, *AT_A_POINT)
# Keys whose value names a point; a part that stands between points, or a tank.
OF_POINTS = ("from", "to", "at", "same_elevation_as")
OF_PARTS = ("close", "open", "move", "stop", "start", "trip", "after", "through")
MOVES = ("close", "open", "move", "stop", "start", "trip")
BY_POINT, BY_PART = ("points", "trapped_pressure"), ("levels", "openings")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


@checked
def edited(text: str, changes: Sequence[Mapping[str, object]]) -> str:
    """Return the text of a case with changes made to it, one after the other.

    Parameters
    ----------
    text : str
        In TOML; its figures may have faults.
    changes : sequence of mapping
        In each ``do`` is one of

        - "set": at the ``path`` of a key stands ``value``; ``{"day": "2026-03-14"}`` is a day
        - "unset": the ``path`` of a key, a table, or an item of a list is taken away
        - "add": a table of ``values`` joins the list at ``path``
        - "insert": a part of a ``kind`` with ``values`` stands behind the part at the path ``after``
        - "repeat": the part at ``path`` stands there once more, under another name
        - "remove": the part at ``path`` is taken out
        - "chain": of the list of steps at ``path`` those of the valves and pumps ``names`` begin once that of
          ``after`` is done, with the signal for ""; steps that wait stand behind those that they wait for
        - "rename": the point, part or scenario at ``path`` is called ``new``, everywhere

    Returns
    -------
    str

    Raises
    ------
    RequestError
        The text is no TOML, or has no such place.

    Examples
    --------
    >>> import surge
    >>> from surge.api.edit import edited
    >>> text = surge.new_case(arms=2)
    >>> slower = edited(text, [{"do": "set", "path": ["rate", "agreed"], "value": "250 m3/h"}])
    >>> [line for line in slower.splitlines() if line not in text.splitlines()]
    ['agreed = "250 m3/h"']
    """
    if len(changes) > MOST_CHANGES:
        raise RequestError(f"{len(changes)} changes at once, at most {MOST_CHANGES}")
    try:
        case = Written(text)
    except (ValueError, RecursionError) as error:
        raise RequestError(f"the text is no TOML, so that nothing can be changed in it: {error}") from None
    for change in changes:
        try:
            _DO[str(change.get("do"))](case, change)
        except RequestError:
            raise
        except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
            raise RequestError(f"there is no such place in the case: {error}") from None
    return case.whole


def _path(value: Any) -> Origin:
    if not isinstance(value, list) or not 0 < len(value) <= DEEPEST_KEPT:
        raise RequestError("a place in a case is a list of some keys")
    return tuple(p if isinstance(p, int) and not isinstance(p, bool) else str(p) for p in value)


def _value(value: Any, depth: int = DEEPEST_KEPT) -> Any:
    """A value that came as JSON."""
    if depth == 0:
        raise RequestError("a value nested too deep")
    if isinstance(value, Mapping):
        if list(value) == ["day"] and _DAY.fullmatch(str(value["day"])):
            return date.fromisoformat(value["day"])
        return {str(k): _value(v, depth - 1) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_value(v, depth - 1) for v in value]
    if isinstance(value, str):
        value.encode()  # half a character is a ValueError
    return value


def _set(case: Written, change: Change) -> None:
    case.set(_path(change["path"]), _value(change["value"]), behind=SETTINGS)


def _unset(case: Written, change: Change) -> None:
    case.unset(_path(change["path"]))


def _add(case: Written, change: Change) -> None:
    path = _path(change["path"])
    case.add(path, _value(change["values"]), behind=PARTS if path[0] in PARTS else ())


def _insert(case: Written, change: Change) -> None:
    """Put a new part behind another: it takes that one's end, and a new point comes between."""
    after, kind, values = _path(change["after"]), str(change["kind"]), _value(change["values"])
    if kind not in BETWEEN:
        raise RequestError(f"{quoted(kind)} does not stand between two points")
    end = str(case.at((*after, "to")))
    name = _free(_names(case), str(values.pop("name", kind.replace("_", " "))))
    between = _free(set(case.data["points"]), f"{name} inlet")
    case.set((*after, "to"), between)
    case.set(("points", between), {"same_elevation_as": end})
    case.add_behind(after, (kind,), {"name": name, "from": between, "to": end, **values})


def _repeat(case: Written, change: Change) -> None:
    path = _path(change["path"])
    values = dict(case.at(path))
    values["name"] = _free(_names(case), str(values["name"]))
    case.add_behind(path, path[:-1], values)


def _remove(case: Written, change: Change) -> None:
    path = _path(change["path"])
    table = case.at(path)
    name, start, end = table.get("name"), table.get("from"), table.get("to")
    case.unset(path)
    if path[0] in BETWEEN and isinstance(start, str) and isinstance(end, str) and start != end:
        _close_gap(case, start, end)
    if isinstance(name, str) and path[0] in (*BETWEEN, *AT_A_POINT):
        _forget(case, name)


def _close_gap(case: Written, start: str, end: str) -> None:
    """Where nothing else leads from one point to the other, the two become one."""
    joined = [t for _, t in _parts(case) if "from" in t]
    if any({t["from"], t.get("to")} == {start, end} for t in joined):
        return  # a second way is there still
    if any(t.get("to") == end for t in joined):
        return  # the end is reached otherwise
    case.replace(_changes(case, end, start, OF_POINTS, not_in=("rate",)))
    if case.has(("points", end)):
        case.unset(("points", end))


def _forget(case: Written, name: str) -> None:
    """Take out movements and settings of a part that is there no more."""
    for path, table in reversed(list(_tables(case.data))):
        for key in BY_PART:
            if isinstance(table.get(key), dict) and name in table[key]:
                case.unset((*path, key, name))
        if isinstance(table.get("shut_at_start"), list) and name in table["shut_at_start"]:
            case.unset((*path, "shut_at_start", table["shut_at_start"].index(name)))
        if path and path[0] == "scenario" and any(table.get(key) == name for key in MOVES):
            case.unset(path)


def _chain(case: Written, change: Change) -> None:
    """Let steps of a shutdown come after another one, and put all in an order that can be read."""
    path, moved, after = _path(change["path"]), set(change["names"]), str(change["after"])
    for k, step in enumerate(case.at(path)):
        if not any(step.get(key) in moved for key in MOVES):
            continue
        if after:
            case.set((*path, k, "after"), after)
        elif "after" in step:
            case.unset((*path, k, "after"))
    steps = case.at(path)
    names = [str(next((step[key] for key in MOVES if key in step), "")) for step in steps]
    order: list[int] = []
    while len(order) < len(steps):
        placed = {names[k] for k in order}
        ready = [
            k
            for k, step in enumerate(steps)
            if k not in order and (step.get("after") not in names or step["after"] in placed)
        ]
        if not ready:
            raise RequestError(f"{quoted(after)} waits for that step itself")
        order.append(ready[0])
    case.reorder(path, order)


def _rename(case: Written, change: Change) -> None:
    path, new = _path(change["path"]), str(change["new"])
    if path[0] == "points":
        old = str(path[1])
        if not new or new in case.data["points"]:
            raise RequestError(f"a point needs a name of its own, and {quoted(new)} is taken")
        changes = _changes(case, old, new, OF_POINTS, by=BY_POINT, not_in=("rate",))
        case.replace(changes)
        return
    old = str(case.at((*path, "name")))
    own = [(case.places.values[(*path, "name")], written(new))]
    if path[0] == "scenario":
        case.replace(own)
        return
    others = _changes(case, old, new, OF_PARTS, by=BY_PART)
    rate = case.places.values.get(("rate", "at"))
    if rate is not None and case.at(("rate", "at")) == old:
        others.append((rate, written(new)))
    case.replace([*own, *others])


def _changes(
    case: Written,
    old: str,
    new: str,
    keys: Sequence[str],
    *,
    by: Sequence[str] = (),
    not_in: Sequence[str] = (),
) -> list[tuple[Stretch, str]]:
    """Every place where a name is used: as the value of one of some keys, as a key of one of some tables."""
    found = []
    for path, table in _tables(case.data):
        for key, value in table.items():
            here = (*path, key)
            if key in keys and value == old and path[:1] != tuple(not_in) and here in case.places.values:
                found.append((case.places.values[here], written(new)))
            if path and path[-1] in by and key == old:
                found.append((case.places.keys[here], written(new)))
            if key == "shut_at_start" and "levels" in by and isinstance(value, list):
                found += [
                    (case.places.values[(*here, i)], written(new)) for i, v in enumerate(value) if v == old
                ]
    return found


def _parts(case: Written) -> Iterator[tuple[Origin, Mapping[str, Any]]]:
    for kind in (*BETWEEN, *AT_A_POINT):
        listed = case.data.get(kind)
        for i, table in enumerate(listed if isinstance(listed, list) else []):
            if isinstance(table, dict):
                yield (kind, i), table


def _names(case: Written) -> set[str]:
    return {str(table.get("name")) for _, table in _parts(case)}


def _free(taken: set[str], wanted: str) -> str:
    """A name that nothing has yet: "loading arm 2" is followed by "loading arm 3"."""
    parts = re.fullmatch(r"(.*?)(?: (\d{1,6}))?", wanted, re.DOTALL)
    stem, number = parts.groups() if parts else (wanted, None)
    n, name = int(number or 1), wanted
    while name in taken:
        n += 1
        name = f"{stem} {n}"
    return name


def _tables(item: Any, path: Origin = ()) -> Iterator[tuple[Origin, Mapping[str, Any]]]:
    """A table and every table in it, each with its path."""
    if isinstance(item, dict):
        yield path, item
        for key, value in item.items():
            yield from _tables(value, (*path, key))
    elif isinstance(item, list):
        for i, value in enumerate(item):
            yield from _tables(value, (*path, i))


_DO: dict[str, Callable[[Written, Change], None]] = {
    "set": _set,
    "unset": _unset,
    "add": _add,
    "insert": _insert,
    "repeat": _repeat,
    "remove": _remove,
    "chain": _chain,
    "rename": _rename,
}

"""Reading a faulty case as far as it goes, so that one reading tells as many of its faults as it can.

What is wrong in shape is mended on a copy: a misspelt key gets its likely name, a missing one a stand-in.
The mended case is read for the sake of further faults only; nothing is ever calculated from it.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from surge.case.faults import meant, reworded
from surge.case.schema import CaseSpec
from surge.case.values import FAULT_KIND
from surge.errors import Fault
from surge.model.lineup import Origin

MOST_FAULTS_LISTED = 200  # faults of shape that are worked on: nobody mends more at a time
_ROUNDS = 6
_STRUCTURE = ("points", "tank", "supply", "pump", "pipe", "hose", "arm", "valve", "passage")
_JOINTS = ("name", "from", "to", "at")


@dataclass
class Mended:
    """What is left of a faulty case.

    Attributes
    ----------
    data : dict
        The mended copy.
    faults : list of Fault
        Of the shape and of single values, with their paths in the file as written.
    connected : bool
        Names and connections are as the writer meant them: what must hold between elements may be checked.
    moved : list of (path here, path in the file)
    blanked : set of path
        Where everything was thrown away: faults below come from the mending.
    """

    data: dict[str, Any]
    faults: list[Fault] = field(default_factory=list)
    connected: bool = True
    moved: list[tuple[Origin, Origin]] = field(default_factory=list)
    blanked: set[Origin] = field(default_factory=set)

    def spec(self, pick: int) -> CaseSpec | None:
        """Return the case with stand-ins for what is wrong, None when too little is left."""
        try:
            return CaseSpec.model_validate(self.data, context={"pick": pick})
        except ValidationError:
            return None

    def in_file(self, path: Origin) -> Origin:
        """Return where a path of the mended copy is in the file."""
        for here, there in reversed(self.moved):
            if path[: len(here)] == here:
                path = (*there, *path[len(here) :])
        return path

    def holder(self, path: Origin) -> Any:
        """Return the table or list of the copy that holds the last part of a path."""
        holder: Any = self.data
        for part in path[:-1]:
            holder = holder[part]
        return holder

    def rename(self, path: Origin, key: str) -> None:
        """Give a misspelt key its likely name."""
        holder = self.holder(path)
        holder[key] = holder.pop(path[-1])
        self.moved.append(((*path[:-1], key), path))

    def drop(self, path: Origin) -> None:
        """Take an unknown key out."""
        value = self.holder(path).pop(path[-1])
        if len(path) == 1 and isinstance(value, dict | list):
            self.connected = False  # it may have been meant as an element

    def blank(self, path: Origin, value: object) -> None:
        """Put a stand-in for something of a wrong shape."""
        self.holder(path)[path[-1]] = value
        self.blanked.add(path)


def mend(data: dict[str, Any]) -> Mended:
    """Find the faults of shape and value of a case, and mend what can be mended.

    Parameters
    ----------
    data : dict
        As ``tomllib`` gives it, not nested deeper than the format; it is not changed.
    """
    mended = Mended(copy.deepcopy(data))
    seen: set[Origin] = set()
    for _ in range(_ROUNDS):
        try:
            CaseSpec.model_validate(mended.data)
        except ValidationError as error:
            errors: list[Any] = list(error.errors(include_url=False))
            if len(errors) > MOST_FAULTS_LISTED:
                mended.faults.append(more_faults(len(errors)))
                errors = errors[:MOST_FAULTS_LISTED]
        else:
            break
        seen |= {tuple(e["loc"]) for e in errors} - _one_round(mended, errors, seen)
        if len(errors) == MOST_FAULTS_LISTED or all(e["type"] == FAULT_KIND for e in errors):
            break
    return mended


def more_faults(count: int) -> Fault:
    """Return the line that says how many faults there are, when not all are listed."""
    return Fault(
        path=(),
        found=f"{count} faults, of which {MOST_FAULTS_LISTED} are listed",
        expected="a case file with few faults",
        remedy="mend the listed ones first, or begin again from the starter case of `surge new`",
    )


def _one_round(mended: Mended, errors: list[Any], seen: set[Origin]) -> set[Origin]:
    """Note the faults of one validation that were not seen before, and mend all of them.

    Returns the paths that got their right names only now: what stands there is yet to be looked at.
    """
    unknown = [e for e in errors if e["type"] == "extra_forbidden"]
    renames: dict[Origin, str] = {}
    for error in unknown:
        path = tuple(error["loc"])
        key = meant(path, mended.data)
        if key and (*path[:-1], key) not in {(*p[:-1], k) for p, k in renames.items()}:
            renames[path] = key
    known = seen | _targets(renames)
    for error in errors:
        path = tuple(error["loc"])
        if path not in known and not any(path[:n] in mended.blanked for n in range(1, len(path) + 1)):
            fault = reworded(error, mended.data)
            mended.faults.append(_at(fault, mended.in_file(fault.path)))
    for error in errors:
        _mend_one(mended, error, renames)
    return _targets(renames)


def _at(fault: Fault, path: Origin) -> Fault:
    return type(fault)(path=path, found=fault.found, expected=fault.expected, remedy=fault.remedy)


def _mend_one(mended: Mended, error: Any, renames: dict[Origin, str]) -> None:
    """Mend one error, so that the next validation gets further."""
    path: Origin = tuple(error["loc"])
    kind = error["type"]
    if kind == "extra_forbidden":
        if path in renames:
            mended.rename(path, renames[path])
        else:
            mended.drop(path)
        return
    if _joins(path) and not (kind == "missing" and path in _targets(renames)):
        mended.connected = False
    if kind == FAULT_KIND:
        return  # a leaf puts a stand-in itself
    value = error["input"]
    if kind == "missing" and isinstance(path[-1], str):
        if path not in _targets(renames):
            mended.holder(path)[path[-1]] = None
    elif kind == "list_type" and isinstance(value, dict):
        mended.holder(path)[path[-1]] = [value]
        mended.moved.append(((*path, 0), path))
    elif kind in ("model_type", "dict_type") and isinstance(value, list) and len(value) == 1:
        mended.holder(path)[path[-1]] = value[0]
        mended.moved.append((path, (*path, 0)))
    elif kind in ("model_type", "dict_type"):
        mended.blank(path, {})
    elif kind == "list_type":
        mended.blank(path, [])
    else:
        while isinstance(path[-1], int):  # a row of a table: without it the table means nothing
            path = path[:-1]
        mended.blank(path, None)


def _targets(renames: dict[Origin, str]) -> set[Origin]:
    return {(*path[:-1], key) for path, key in renames.items()}


def _joins(path: Origin) -> bool:
    """Tell whether a path is one of those that connect elements."""
    return path[0] in _STRUCTURE and (len(path) <= 2 or path[-1] == "[key]" or path[2] in _JOINTS)


ELEMENTS = 200  # pipes, arms, hoses, valves, passages and pumps together


PLACES = 250  # points; tanks and supplies together


SCENARIOS = 100


RUNS = 1600  # elements times scenarios: what is kept of every run grows with it


EVENTS = 200  # of one scenario


ROWS = 2000  # of one table: a stroke law, a pump curve, a characteristic


MEMORY = 2000  # [MB] that a check of the largest case takes, at most


_ELEMENTS = ("pipe", "arm", "hose", "valve", "passage", "pump")


_SMALLER = (
    "a line-up from the shore tank to the ship's tanks takes some dozens: join pipes of one size, leave out "
    "what is shut off, or make several cases of it"
)


def size_faults(data: Mapping[str, Any]) -> list[Fault]:
    """Return what a case has too much of.

    Parameters
    ----------
    data : mapping
        As ``tomllib`` gives it, of whatever shape.
    """
    elements = sum(_count(data.get(key)) for key in _ELEMENTS)
    longest = max(_ELEMENTS, key=lambda key: _count(data.get(key)))
    scenarios = _count(data.get("scenario"))
    counted = (
        ((longest,), elements, ELEMENTS, "elements (pipes, arms, hoses, valves, passages, pumps)", _SMALLER),
        (("points",), _count(data.get("points")), PLACES, "points", _SMALLER),
        (
            ("tank",),
            _count(data.get("tank")) + _count(data.get("supply")),
            PLACES,
            "tanks and supplies",
            _SMALLER,
        ),
        (("scenario",), scenarios, SCENARIOS, "scenarios", "make several cases of it"),
    )
    faults = [
        _fault(path, count, most, what, remedy) for path, count, most, what, remedy in counted if count > most
    ]
    if not faults and elements * scenarios > RUNS:
        found = f"{scenarios} scenarios with {elements} elements each"
        expected = f"at most {RUNS // elements} scenarios with so many elements"
        faults.append(
            Fault(path=("scenario",), found=found, expected=expected, remedy="make several cases of it")
        )
    return faults + list(_long(data, ()))


def _count(item: object) -> int:
    return len(item) if isinstance(item, list | dict) else 0


def _fault(path: Origin, count: int, most: int, what: str, remedy: str) -> Fault:
    return Fault(path=path, found=f"{count} {what}", expected=f"at most {most}", remedy=remedy)


def _long(item: object, path: Origin) -> Iterator[Fault]:
    """Yield the faults of lists that are too long, in tables of the case's own depth."""
    if isinstance(item, dict):
        for key, child in item.items():
            yield from _long(child, (*path, key))
    elif isinstance(item, list) and item and all(isinstance(child, dict) for child in item):
        if path[0] == "scenario" and len(path) > 2 and len(item) > EVENTS:
            yield _fault(path, len(item), EVENTS, "events in one scenario", "make several scenarios of it")
        for k, child in enumerate(item):
            yield from _long(child, (*path, k))
    elif isinstance(item, list) and len(item) > ROWS:
        remedy = (
            "leave out rows between which it is straight; a measured stroke goes into surge records --curve"
        )
        yield _fault(path, len(item), ROWS, "rows in one table", remedy)

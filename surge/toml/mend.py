"""Reading a faulty file as far as it goes, so that one reading tells as many of its faults as it can.

What is wrong in shape is mended on a copy: a misspelt key gets its likely name, a missing one a stand-in.
The mended file is read for the sake of further faults only; nothing is ever calculated from it.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field, replace
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from surge.errors import Fault, Origin
from surge.toml.tables import key_meant, reworded
from surge.toml.text import FileKind
from surge.toml.values import FAULT_KIND

MOST_FAULTS_LISTED = 200  # faults of shape that are worked on: nobody mends more at a time
_ROUNDS = 6

Model = TypeVar("Model", bound=BaseModel)


@dataclass
class Mended(Generic[Model]):
    """What is left of a faulty file.

    Attributes
    ----------
    model : type
        Of the file's top table.
    data : dict
        The mended copy.
    faults : list of Fault
        Of the shape and of single values, and what was added; :meth:`listed` has their paths in the file.
    guessed : list of path
        Where something stands that the writer may have meant otherwise, or stood before it was taken out.
    moved : list of (path here, path in the file)
        What has another name or place in the copy.
    blanked : set of path
        Where everything was thrown away: faults below come from the mending.
    sound : model or None
        The file as it was read, where no fault was found.
    """

    model: type[Model]
    data: dict[str, Any]
    faults: list[Fault] = field(default_factory=list)
    guessed: list[Origin] = field(default_factory=list)
    moved: list[tuple[Origin, Origin]] = field(default_factory=list)
    blanked: set[Origin] = field(default_factory=set)
    sound: Model | None = None

    def spec(self, pick: int | None) -> Model | None:
        """Return the file with stand-ins for what is wrong, None when too little is left.

        Parameters
        ----------
        pick : int or None
            0 or 1: the lowest or the highest permitted value stands in; None: what is wrong is not there.
        """
        if self.sound is not None:
            return self.sound
        try:
            return self.model.model_validate(self.data, context={"pick": pick})
        except ValidationError:
            return None

    def add(self, *found: list[Fault]) -> None:
        """Add faults of the mended copy.

        Parameters
        ----------
        found : list of Fault
            What each reading with other stand-ins found: only what is wrong in all of them is wrong in the
            file. What repeats a known fault, or follows from one, is left out.
        """
        known = [fault.path for fault in self.faults if fault.path]
        for fault in found[0]:
            paths = (fault.path, self.in_file(fault.path))
            if all(fault in others for others in found[1:]) and not any(
                _follows(path, k) for path in paths for k in known
            ):
                self.faults.append(fault)

    def listed(self, kind: FileKind) -> list[Fault]:
        """Return the faults with their paths in the file; not more than anybody mends at a time."""
        most, count = MOST_FAULTS_LISTED, len(self.faults)
        listed = [_at(fault, self.in_file(fault.path)) for fault in self.faults[: most + 1]]
        return listed if count <= most + 1 else [more_faults(count, kind), *listed[:most]]

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
        if isinstance(value, dict | list):
            self.guessed.append(path)

    def blank(self, path: Origin, value: object) -> None:
        """Put a stand-in for something of a wrong shape."""
        self.holder(path)[path[-1]] = value
        self.blanked.add(path)


def mend(data: dict[str, Any], model: type[Model], kind: FileKind) -> Mended[Model]:
    """Find the faults of shape and value of a file, and mend what can be mended.

    Parameters
    ----------
    data : dict
        As ``tomllib`` gives it, not nested deeper than the format; it is not changed.
    model : type
        Of the file's top table.
    kind : FileKind
    """
    try:
        return Mended(model=model, data=data, sound=model.model_validate(data))
    except ValidationError:
        mended = Mended(model=model, data=copy.deepcopy(data))
    seen: set[Origin] = set()
    for _ in range(_ROUNDS):
        try:
            model.model_validate(mended.data)
        except ValidationError as error:
            errors: list[Any] = list(error.errors(include_url=False))
            if len(errors) > MOST_FAULTS_LISTED:
                mended.faults.append(more_faults(len(errors), kind))
                errors = errors[:MOST_FAULTS_LISTED]
        else:
            break
        seen |= {tuple(e["loc"]) for e in errors} - _one_round(mended, errors, seen)
        if len(errors) == MOST_FAULTS_LISTED or all(e["type"] == FAULT_KIND for e in errors):
            break
    return mended


def more_faults(count: int, kind: FileKind) -> Fault:
    """Return the line that says how many faults there are, when not all are listed."""
    expected, remedy = kind.many
    return Fault(
        path=(),
        found=f"{count} faults, of which {MOST_FAULTS_LISTED} are listed",
        expected=expected,
        remedy=remedy,
    )


def _one_round(mended: Mended[Any], errors: list[Any], seen: set[Origin]) -> set[Origin]:
    """Note the faults of one validation that were not seen before, and mend all of them.

    Returns the paths that got their right names only now: what stands there is yet to be looked at.
    """
    unknown = [e for e in errors if e["type"] == "extra_forbidden"]
    renames: dict[Origin, str] = {}
    for error in unknown:
        path = tuple(error["loc"])
        key = key_meant(path, mended.data, mended.model)
        if key and (*path[:-1], key) not in {(*p[:-1], k) for p, k in renames.items()}:
            renames[path] = key
    known = seen | _targets(renames)
    for error in errors:
        path = tuple(error["loc"])
        if path not in known and not any(path[:n] in mended.blanked for n in range(1, len(path) + 1)):
            fault = reworded(error, mended.data, mended.model)
            mended.faults.append(_at(fault, mended.in_file(fault.path)))
    for error in errors:
        _mend_one(mended, error, renames)
    return _targets(renames)


def _follows(path: Origin, known: Origin) -> bool:
    """Tell whether a fault is at, inside, or (within one value) around a known one."""
    return path[: len(known)] == known or (len(path) > 2 and known[: len(path)] == path)


def _at(fault: Fault, path: Origin) -> Fault:
    return replace(fault, path=path)


def _mend_one(mended: Mended[Any], error: Any, renames: dict[Origin, str]) -> None:
    """Mend one error, so that the next validation gets further."""
    path: Origin = tuple(error["loc"])
    kind = error["type"]
    if kind == "extra_forbidden":
        if path in renames:
            mended.rename(path, renames[path])
        else:
            mended.drop(path)
        return
    if not (kind == "missing" and path in _targets(renames)):
        mended.guessed.append(path)
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

"""Documents held against their schemas: whole they are accepted, with any one damage they are refused."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from itertools import islice
from typing import Any, Literal, get_args, get_origin, get_type_hints

import jsonschema
import jsonschema_rs
import numpy as np
from jsonschema.exceptions import best_match

from surge.reports.document import Demand, as_json
from surge.schemas import path_of

Path = tuple[str | int, ...]
ALIEN = [[[[{"alien": 0}]]]]  # no value of a document is an array so deep


@dataclass(frozen=True, kw_only=True)
class Damage:
    """One damage.

    Attributes
    ----------
    path : tuple of str or int
        Keys and indices that lead to the object or to the value.
    how : str
        "drop" the key, "add" one to the object, put an "alien" or another "word" for the value.
    """

    path: Path
    how: str

    def done_to(self, document: Any) -> Any:
        """Return a damaged copy of a document, which is given as plain dicts and lists."""
        whole = at = copy(document)
        *way, last = (*self.path, "") if self.how == "add" else self.path
        for step in way:  # what lies beside the way is shared
            inner = at[step] = copy(at[step])
            at = inner
        if self.how == "drop":
            del at[last]
        elif self.how == "add":
            at["alien"] = 0
        else:
            at[last] = ALIEN if self.how == "alien" else "no such word"
        return whole


def as_read(document: Any) -> Any:
    """Return a document as a reader of its JSON gets it."""
    return json.loads(json.dumps(as_json(document), allow_nan=False))


def thinned(item: Any, most: int = 2) -> Any:
    """Return a typed document with the first ones of every array only: all kinds of objects, but few."""
    if is_dataclass(item) and not isinstance(item, type):
        return replace(item, **{f.name: thinned(getattr(item, f.name), most) for f in fields(item)})
    if isinstance(item, Mapping):
        return {key: thinned(value, most) for key, value in islice(item.items(), most)}
    if isinstance(item, np.ndarray):
        return item[:most].tolist()
    if isinstance(item, Sequence) and not isinstance(item, str):
        return tuple(thinned(value, most) for value in islice(item, most))
    return item


def hold_to_schema(document: Any, name: str) -> None:
    """Hold a typed document against the published schema of that name, thinned, whole and with each damage.

    The whole is held by both libraries, the thousands of damages by the one that is compiled.

    Raises
    ------
    AssertionError
        A damage that the schema does not see.
    """
    schema = json.loads(path_of(name).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    few = thinned(document)
    whole = as_read(few)
    refused = best_match(validator.iter_errors(whole))
    assert refused is None, refused.message
    found = list(damages(few))
    assert found
    quick = jsonschema_rs.Draft202012Validator(schema)
    assert quick.is_valid(whole)
    unseen = [damage for damage in found if quick.is_valid(damage.done_to(whole))]
    assert not unseen, unseen[:5]


def damages(item: Any, path: Path = ()) -> Iterator[Damage]:
    """Yield every damage to a typed document that must be refused.

    Keys of a mapping are free: none is dropped from it or added to it.
    """
    if is_dataclass(item) and not isinstance(item, type):
        yield Damage(path=path, how="add")
        for field in fields(item):
            value = getattr(item, field.name)
            if value is None and field.default is None:
                continue  # the key is left out
            at = (*path, field.name)
            yield Damage(path=at, how="alien")
            if field.default is not None:
                yield Damage(path=at, how="drop")
            if isinstance(value, str) and _limited(_hints(type(item))[field.name]):
                yield Damage(path=at, how="word")
            yield from damages(value, at)
    elif isinstance(item, Mapping | list | tuple):
        for key, value in item.items() if isinstance(item, Mapping) else enumerate(item):
            yield Damage(path=(*path, key), how="alien")
            yield from damages(value, (*path, key))


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind, include_extras=True)


def _limited(hint: Any) -> bool:
    """Whether not every word will do."""
    demands = [d for d in getattr(hint, "__metadata__", ()) if isinstance(d, Demand)]
    if get_origin(hint) is Literal or any({"enum", "pattern", "const"} & d.keywords.keys() for d in demands):
        return True
    return any(_limited(part) for part in get_args(hint))

"""Tables of a file as pydantic models: what they say of their keys, and pydantic's refusals in our words."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict
from pydantic.fields import FieldInfo

from surge.errors import Fault, Origin, meant
from surge.toml.faults import child
from surge.toml.text import WORDS_LIKE, KeyFault, shown
from surge.toml.values import FAULT_KIND, Leaf
from surge.units import quoted


def one_of(*keys: str) -> dict[str, Any]:
    """Return the JSON Schema rule that exactly one of the keys stands in the table."""
    return {"oneOf": [{"required": [key]} for key in keys]}


class FileTable(BaseModel):
    """Any table of a file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


@dataclass(frozen=True)
class Header:
    """How a header is written, where that is not ``[key]`` or ``[[key]]``; stands in ``Annotated``."""

    text: str


def keys_of(model: type[BaseModel]) -> list[str]:
    """Return the keys of a table as they are written in the file."""
    return list(_fields(model))


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    return {info.alias or name: info for name, info in model.model_fields.items()}


def table_at(path: Origin, model: type[BaseModel] | None) -> type[BaseModel] | None:
    """Return the model of the table at a path of a file of ``model``, if the format has one there."""
    inside = False  # of a list or a table of named tables: the next part is an index or a name
    for part in path:
        if inside:
            inside = False
            continue
        if model is None:
            return None
        info = _fields(model).get(str(part))
        model = _model_in(info.annotation) if info else None
        inside = getattr(info.annotation, "__origin__", None) in (list, dict) if info else False
    return None if inside else model


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the model inside ``list[X]``, ``dict[str, X]``, ``X | None`` or ``X``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    parts = getattr(annotation, "__args__", ())
    return next((found for found in map(_model_in, parts) if found), None)


def leaf_at(path: Origin, model: type[BaseModel]) -> Leaf | None:
    """Return the kind of single value that stands at a path of a file of ``model``.

    None for a table, a list, or what the format does not have. In a table of names, such as ``levels``,
    every name has the kind of its values.
    """
    table = table_at(path[:-1], model)
    if table is not None:
        return _leaf(_fields(table).get(str(path[-1])))
    above = table_at(path[:-2], model) if len(path) > 1 else None
    info = _fields(above).get(str(path[-2])) if above is not None else None
    kinds = getattr(info.annotation, "__args__", ()) if info is not None else ()
    if info is None or not kinds or getattr(info.annotation, "__origin__", None) is not dict:
        return None
    return next((m for m in getattr(kinds[1], "__metadata__", ()) if isinstance(m, Leaf)), None)


def _is_list(annotation: Any) -> bool:
    return getattr(annotation, "__origin__", None) is list


def _leaf(info: FieldInfo | None) -> Leaf | None:
    return next((item for item in info.metadata if isinstance(item, Leaf)), None) if info else None


# JSON Schema


def file_schema(model: type[BaseModel], title: str) -> dict[str, Any]:
    """Return the JSON Schema of the files of a kind, whose top table ``model`` is."""
    schema = model.model_json_schema(by_alias=True, mode="validation")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **_plain(schema),
        "title": title,
    }


def _plain(item: Any) -> Any:
    """Drop ``default: null`` (TOML has no null), titles that only repeat a key, and "Table" from names."""
    if isinstance(item, list):
        return [_plain(part) for part in item]
    if not isinstance(item, dict):
        return item
    kept = {
        key: _plain(part)
        for key, part in item.items()
        if not (key == "default" and part is None) and not (key == "title" and isinstance(part, str))
    }
    if isinstance(ref := kept.get("$ref"), str):
        kept["$ref"] = ref.removesuffix("Table")
    if "$defs" in kept:
        kept["$defs"] = {name.removesuffix("Table"): part for name, part in kept["$defs"].items()}
    return kept


# pydantic's findings


def reworded(error: Mapping[str, Any], data: Mapping[str, Any], model: type[BaseModel]) -> Fault:
    """Return one of pydantic's errors as a fault.

    Parameters
    ----------
    error : mapping
        From ``ValidationError.errors()``.
    data : mapping
        What was validated.
    model : type
        By what.
    """
    path: Origin = tuple(error["loc"])
    kind = error["type"]
    if path[-1:] == ("[key]",):
        return KeyFault(path=path[:-1], **_our_words(error))
    if kind == FAULT_KIND:
        return Fault(path=path, **_our_words(error))
    if kind == "extra_forbidden":
        return _unknown_key(path, data, model)
    if kind == "missing" and isinstance(path[-1], str):
        return missing_key(path, model)
    return _wrong_shape(path, error, tables=table_at((*path, 0), model) is not None)


def _our_words(error: Mapping[str, Any]) -> dict[str, str]:
    return {word: error["ctx"][word] for word in ("found", "expected", "remedy")}


def _unknown_key(path: Origin, data: Mapping[str, Any], model: type[BaseModel]) -> Fault:
    table = table_at(path[:-1], model)
    keys = keys_of(table) if table else []
    near = key_meant(path, data, model)
    listed = ", ".join(keys)
    header = ".".join(_as_key(part) for part in path[:-1] if isinstance(part, str))
    where = f"[{header}]" if header else "the file"
    remedy = f'did you mean "{near}"?' if near else f"take it out; keys there: {listed}"
    return KeyFault(
        path=path, found=f"unknown key {shown(path[-1])}", expected=f"a key of {where}", remedy=remedy
    )


def key_meant(path: Origin, data: Mapping[str, Any], model: type[BaseModel]) -> str | None:
    """Return the key that an unknown key was most likely meant to be; never one that is there already."""
    there: Any = data
    for part in path[:-1]:
        there = child(there, part)
    table = table_at(path[:-1], model)
    if table is None or not isinstance(there, dict):
        return None
    likeliest = meant(str(path[-1]), keys_of(table), like=WORDS_LIKE)
    return None if likeliest in there else likeliest


def missing_key(path: Origin, model: type[BaseModel]) -> Fault:
    """Return the fault of a key that is not there.

    Parameters
    ----------
    path : Origin
        Of the key, which the format has.
    model : type
        Of the file's top table.
    """
    key = str(path[-1])
    table = table_at(path[:-1], model)
    info = _fields(table).get(key) if table else None
    leaf = _leaf(info)
    if leaf is not None:
        found, expected, remedy = f"no key {key}", leaf.expected, f"add {key} = {leaf.example}"
        if leaf.where:
            remedy += f", with your own figure: {leaf.where}"
    elif info is not None and _model_in(info.annotation) is None:
        found, expected, remedy = f"no key {key}", f"{key}, a list", f"add {key} = [...]"
    else:
        header = ".".join(str(part) for part in path if isinstance(part, str))
        found, expected, remedy = f"no {key}", f"the table {key}", f"add {_header(info, header)}"
    return Fault(path=path, found=found, expected=expected, remedy=remedy)


def _header(info: FieldInfo | None, header: str) -> str:
    """Return the header of a table as it has to be written."""
    if info is None:
        return f"[{header}]"
    said = next((item.text for item in info.metadata if isinstance(item, Header)), None)
    return said or (f"[[{header}]]" if _is_list(info.annotation) else f"[{header}]")


def _as_key(part: str) -> str:
    """A key as it is written, or its beginning: printable, and in quotes where it needs them."""
    return part if len(part) <= 60 and re.fullmatch(r"[A-Za-z0-9_-]+", part) else quoted(part)


def _wrong_shape(path: Origin, error: Mapping[str, Any], *, tables: bool) -> Fault:
    """Return the fault of a table where a list should be, and the like; ``tables``: a list of them."""
    kind, value = error["type"], error["input"]
    key = next((_as_key(part) for part in reversed(path) if isinstance(part, str)), "")
    header = ".".join(_as_key(part) for part in path if isinstance(part, str))
    if kind == "list_type" and isinstance(value, dict):
        expected, remedy = (
            f"a list of tables [[{header}]]",
            f"write the header with two brackets: [[{header}]]",
        )
    elif kind == "list_type" and tables:
        expected, remedy = f"tables [[{header}]]", f"write the header [[{header}]] above each group of keys"
    elif kind == "list_type":
        expected, remedy = f"{key}, a list", f"write {key} as a list in brackets"
    elif kind in ("model_type", "dict_type") and isinstance(value, list):
        expected, remedy = (
            f"one table [{header}]",
            f"write the header once and with single brackets: [{header}]",
        )
    elif kind in ("model_type", "dict_type") and isinstance(path[-1], int):
        expected, remedy = f"a table [[{header}]]", f"write the header [[{header}]] above keys and values"
    elif kind in ("model_type", "dict_type"):
        expected, remedy = f"a table {key}", f"write keys and values under the header of {header}"
    else:  # a row that is no pair
        if kind == "missing":
            path = path[:-1]
        expected, remedy = f"{key}: two values in brackets", "write two values, such as [a, b]"
    return Fault(path=path, found=shown(value), expected=expected, remedy=remedy)

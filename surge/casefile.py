"""Case files: text in, line-up out, and all faults of the text in one go.

The way of a case: ``tomllib`` -> shape and single values (:mod:`surge.casespec`) -> line-up
(:mod:`surge.casebuild`) -> rules between its parts (:mod:`surge.rules`). Each stage adds its faults; a stage
that has found some hands a mended case on, so that the later ones still see the rest.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from surge.casebuild import Builder
from surge.casefaults import FaultRecord, TextFault, describe, format_faults, too_deep
from surge.casemend import mend
from surge.casespec import CaseSpec, Show
from surge.errors import CaseError, Fault
from surge.leaves import shown
from surge.lineup import LineUp, Origin
from surge.rules import faults_of
from surge.units import ShowUnits, quoted

__all__ = [
    "Case",
    "FaultRecord",
    "case_schema",
    "describe",
    "format_faults",
    "load_case",
    "read_case",
    "starter_case",
]

BIGGEST = 5_000_000  # [bytes] of a case file
LONGEST_LINE = 20_000  # [characters]; the parser's time for one key grows with the square of its length
DEEPEST_BRACKETS = 100  # open brackets; far below what the parser's own recursion bears
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_BARE_QUANTITY = re.compile(r"^\s*[\w.\"' -]+=\s*([-+]?[0-9][^\"'#\[\]{}]*?)\s*(?:#.*)?$")


@dataclass(frozen=True, kw_only=True)
class Case:
    """A case file that was read without a fault.

    Attributes
    ----------
    lineup : LineUp
    show : ShowUnits
        Units of the output.
    sha256 : str
        Of the text as UTF-8: says which case a result belongs to.
    filename : str
    rules_file : str or None
        The file of rules that the case names; its place counts from the case file.
    """

    lineup: LineUp
    show: ShowUnits
    sha256: str
    filename: str
    rules_file: str | None = None


def load_case(path: str | Path) -> Case:
    """Read a case file from disk.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    CaseError
        With one fault when the file cannot be read, else with all faults of its text.
    """
    return read_case(read_text(path), filename=str(path))


def read_text(path: str | Path) -> str:
    """Return the text of a case file; raises CaseError with one fault when it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            content = file.read(BIGGEST + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        found = f"cannot be opened: {reason}"
        raise _unreadable(found, "check the path and the rights; `surge new` writes a starter case") from None
    if len(content) > BIGGEST:
        raise _unreadable("more than 5 MB", "a case takes a few kB: check that this is one")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        byte = f"byte {content[error.start]:#04x} in line {line}, which is not UTF-8"
        raise _unreadable(byte, "save the file as UTF-8 in your editor", line=line) from None


def _unreadable(found: str, remedy: str, *, line: int = 1) -> CaseError:
    expected = "a case file: a text in TOML"
    return CaseError([TextFault(path=(), found=found, expected=expected, remedy=remedy, line=line, column=1)])


def read_case(text: str, *, filename: str) -> Case:
    """Read a case.

    Parameters
    ----------
    text : str
        The text of a case file.
    filename : str
        For the output only; nothing is opened.

    Returns
    -------
    Case

    Raises
    ------
    CaseError
        With every fault that was found; see :func:`describe` for their lines.
    """
    try:
        digest = hashlib.sha256(text.encode("utf-8")).hexdigest()
    except UnicodeEncodeError:
        raise _unreadable("half a character, which is not UTF-8", "save the file as UTF-8") from None
    data = _parsed(text.removeprefix("\ufeff"))
    mended = mend(data)
    faults = list(mended.faults)
    specs = [spec for pick in (0, 1) if (spec := mended.spec(pick)) is not None]
    lineup = _built(specs, faults, connected=mended.connected)
    if lineup is None:
        raise CaseError([_moved(fault, mended.in_file(fault.path)) for fault in faults])
    return Case(
        lineup=lineup,
        show=_show(specs[0].show),
        sha256=digest,
        filename=filename,
        rules_file=specs[0].rules.file,
    )


def _built(specs: list[CaseSpec], faults: list[Fault], *, connected: bool) -> LineUp | None:
    """Build the line-up and add the faults of building and of the rules; None if there are any.

    With faults already known, two line-ups are built, with small and with large stand-ins: what is wrong
    in both is wrong in the file.
    """
    builders = [Builder(spec, pick=pick) for pick, spec in enumerate(specs)]
    lineups = [builder.lineup() for builder in builders]
    if not lineups:
        return None
    _add(faults, [builder.notes.faults for builder in builders])
    if connected:
        _add(faults, [faults_of(lineup) for lineup in lineups[: 2 if faults else 1]])
    return None if faults else lineups[0]


def _add(faults: list[Fault], found: list[list[Fault]]) -> None:
    """Add the faults that stand in every list and do not repeat or follow from a known one."""
    known = [fault.path for fault in faults if fault.path]
    for fault in found[0]:
        if all(fault in others for others in found[1:]) and not any(_follows(fault.path, k) for k in known):
            faults.append(fault)


def _follows(path: Origin, known: Origin) -> bool:
    """Tell whether a fault is at, inside, or (within one value) around a known one."""
    return path[: len(known)] == known or (len(path) > 2 and known[: len(path)] == path)


def _moved(fault: Fault, path: Origin) -> Fault:
    if path == fault.path:
        return fault
    return Fault(path=path, found=fault.found, expected=fault.expected, remedy=fault.remedy)


def _show(show: Show) -> ShowUnits:
    return ShowUnits(pressure=show.pressure, flow=show.flow, length=show.length, diameter=show.diameter)


# TOML


def _parsed(text: str) -> dict[str, Any]:
    """Return the data of a TOML text, or raise CaseError with the one fault that stops the parser."""
    lines = text.replace("\r\n", "\n").split("\n")
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise _syntax(f"a line of {len(line)} characters", "write a line break", number, 1)
    deep = _deep_line(lines)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _decode_fault(str(error), lines) from None
    except RecursionError:
        raise _syntax("brackets nested too deep", "no key takes so many brackets", deep, 1) from None
    except ValueError as error:
        long = next((n for n, line in enumerate(lines, start=1) if re.search(r"[0-9_]{4000}", line)), 1)
        raise _syntax(f"a number that cannot be read: {error}", "write a shorter number", long, 1) from None
    if too_deep(data):
        raise _syntax("tables nested too deep", "no key of a case is nested so deep", deep, 1)
    return data


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


def _decode_fault(message: str, lines: list[str]) -> CaseError:
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
        expected, remedy = "each table once", "take one out; a list of tables has headers like [[pipe]]"
    elif bare:
        expected = "a quantity in quotes"
        remedy = f"write {source.split('=')[0].strip()} = {shown(bare[1])}"
    else:
        expected = 'TOML: key = "text", key = 1.5, key = true, [table] or [[list of tables]]'
        remedy = "look for a missing quote, bracket or equals sign here or just before"
    return _syntax(what, remedy, line, column, expected)


# Schema and starter


def case_schema() -> dict[str, Any]:
    """Return the JSON Schema of case files; the published file is this, indented."""
    schema = CaseSpec.model_json_schema(by_alias=True, mode="validation")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **_without_nulls(schema),
        "title": "surge case file, schema 1",
    }


def _without_nulls(item: Any) -> Any:
    """Drop ``default: null`` (TOML has no null) and the titles that only repeat a key."""
    if isinstance(item, list):
        return [_without_nulls(child) for child in item]
    if not isinstance(item, dict):
        return item
    return {
        key: _without_nulls(child)
        for key, child in item.items()
        if not (key == "default" and child is None) and not (key == "title" and isinstance(child, str))
    }


def starter_case() -> str:
    """Return the commented starter case that ``surge new`` writes."""
    return files("surge").joinpath("starter.toml").read_text(encoding="utf-8")


if __name__ == "__main__":  # python -m surge.casefile > surge/schema/case.schema.json
    import json
    import sys

    sys.stdout.write(json.dumps(case_schema(), indent=1, ensure_ascii=False) + "\n")

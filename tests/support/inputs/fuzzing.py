"""Damaged inputs, and what must be true of the answer to any of them.

An input is made from a seed and a number alone (:func:`made`), so that one that fails can be made again.
``tests/benchmarks/fuzz.py`` runs very many, ``tests/test_fuzz_inputs.py`` a fixed part.
"""

from __future__ import annotations

import json
import random
import re
import tomllib
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from datetime import date
from functools import cache
from pathlib import Path

import jsonschema
from jsonschema.exceptions import best_match

from support.inputs.damage import damage_bytes, damage_data, damage_lines, toml_of
from surge.api.records import UnreadableError
from surge.api.refusals import Refusal, refused, undecided, unused
from surge.case.file import CASE, Case, read_case
from surge.errors import CaseError, SurgeError
from surge.inputs import input_of
from surge.records.curve_file import read_curve
from surge.records.limits_file import LIMITS, LimitFile, read_limits
from surge.records.read import ReadOptions, read_records
from surge.records.text import RowFault, csv_of
from surge.reports.document import as_json
from surge.reports.records import JudgedRecords, fault_lines, records_lines
from surge.reports.records_data import findings_csv, records_document
from surge.rules.reading import RULES, read_rules
from surge.schemas import path_of
from surge.toml.faults import describe, format_faults
from surge.toml.text import FileError, FileKind, read_file
from surge.transient.plan import plan
from surge.valves.curve import stroke_of
from surge.valves.findings import findings_of_records
from surge.valves.sources import held_against

CASES = Path(__file__).parents[3] / "cases"
TODAY = date(2026, 2, 20)
HEAD = {"program": {"name": "surge", "version": "0"}, "records": {"file": "x", "sha256": "0" * 64}}
HEAD |= {"limits": None, "case": None}  # type: ignore[dict-item]
# What only a programmer would say: none of it may stand in a refusal, unless the input said it itself.
LEAKS = re.compile(
    r"<class|<[a-z_.]+ object|0x[0-9a-f]{6}|Traceback|\bNoneType\b|\bNone\b|\bTrue\b|\bFalse\b|Input should|"
    r"[Vv]alidation ?[Ee]rror|\b[A-Z][A-Za-z]*Error\b|\bpydantic\b|\btomllib\b|\bdatetime\b|errno|Errno|"
    r"\bstr\b|\bdict\b|\bNaN\b"
)

# Inputs


KINDS = ("case", "records", "limits", "curve", "rules")
SHARES = (50, 22, 14, 7, 7)


@cache
def bases(kind: str) -> tuple[bytes, ...]:
    """Return sound inputs of a kind."""
    if kind == "case":
        starter = Path(__file__).parents[3] / "surge" / "case" / "starter.toml"
        return tuple(p.read_bytes() for p in (starter, *sorted(CASES.glob("*.toml"))))
    if kind == "limits":
        return ((CASES / "records" / "limits.toml").read_bytes(), LIMITED)
    if kind == "rules":
        return tuple(p.read_bytes() for p in sorted((CASES / "rules").glob("*.toml")))
    if kind == "curve":
        return (_thinned((CASES / "records" / "manifold-valve-stroke.csv").read_bytes(), 1), *CURVES)
    return (_thinned((CASES / "records" / "stroke-tests.csv").read_bytes(), 40), *RECORDS)


def _thinned(content: bytes, every: int) -> bytes:
    lines = content.split(b"\n")
    return b"\n".join([*lines[:5], *lines[5::every]])


LIMITED = b"""
schema = 1
[[valve]]
tags = ["M1P", "D*"]
fastest_closing = "10 s"
slowest_closing = "60 s"
slowest_counts = "spindle movement"
fastest_opening = "5 s"
slowest_opening = "80 s"
source = "a table of our own"
shares_power = false
[[valve]]
tags = ["X*"]
"""
RECORDS = (
    b"tag,date,direction,time [s],timed,alone/together,oil temp [degC],signal delay [s],remark\n"
    b"M1P,2025-06-01,closing,14.2,movement,alone,25,1.1,\nM1P,2025-09-01,closing,14.3,movement,alone,26,1.1,\n"
    b"M1P,2025-12-01,closing,14.1,movement,alone,25,1.1,baseline\nD1,2025-12-01,opening,25.0,order,together,25,,\n"
    b'D1,2026-01-05,closing,24.0,order,together,25,1.0,"slow, looked at"\n',
    b"tag;date;direction;time [s];timed;alone/together;oil temp [degC]\n"
    + b"".join(
        b"M1P;2025-%02d-05;closing;%d;movement;alone;30\nM1P;2025-%02d-05;opening;%d;movement;together;30\n"
        % (k, 20 + k % 3, k, 22 + k)
        for k in range(1, 13)
    ),
    b"tag;date;direction;time [s];timed\nM1P;2026-02-05;closing;0,4;movement\n",
    b"Valve\tTest date\tClosing time [s]\tOpening time [s]\n"
    b"M1P\t03/04/2025\t13.4\t15.0\nM2P\t25/04/2025\t13.9\t\n",
)
CURVES = (
    b"time [s],position [%]\n" + b"".join(b"%.1f,%.2f\n" % (t / 5, max(0, 100 - t * 2)) for t in range(56)),
    b"seconds;angle [deg, 0 shut, 90 open]\n"
    + b"".join(b"%d;%d\n" % (t, max(0, 90 - 5 * t)) for t in range(22)),
)


def made(seed: int, number: int, kinds: Sequence[str] = KINDS) -> tuple[str, bytes]:
    """Return the kind and the bytes of one damaged input."""
    dice = random.Random(f"{seed}:{number}")
    kind = dice.choices(kinds, [SHARES[KINDS.index(k)] for k in kinds])[0]
    base = dice.choice(bases(kind))
    mark = "=" if kind in ("case", "limits", "rules") else dice.choice(",;\t")
    how = dice.randrange(10)
    if how < 6 and mark == "=":
        data = tomllib.loads(base.decode())
        damage_data(dice, data)
        return kind, toml_of(data).encode("utf-8", "surrogatepass")
    if how < 8:
        return kind, damage_lines(dice, base.decode("utf-8"), mark).encode("utf-8", "surrogatepass")
    if how == 8:
        base = damage_lines(dice, base.decode("utf-8"), mark).encode("utf-8", "surrogatepass")
    return kind, damage_bytes(dice, base)


# Judging


class Unexplained(AssertionError):
    """A refusal that does not explain itself."""


def explained(words: Sequence[tuple[str, str]], said: bytes) -> None:
    """Hold the words of one fault against what a refusal must be.

    Parameters
    ----------
    words : sequence of (str, str)
        What each is, and the words.
    said : bytes
        The input: what stands there may be repeated.
    """
    for what, text in words:
        if not text.strip():
            raise Unexplained(f"{what} is empty")
        if not text.isprintable():
            raise Unexplained(f"{what} is not printable: {text!r}")
        for leak in LEAKS.finditer(text):
            if leak.group().encode() not in said:
                raise Unexplained(f"{what} says {leak.group()}: {text!r}")
        if len(text) > 3000:
            raise Unexplained(f"{what} has {len(text)} characters")


@cache
def _schema(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json.loads(path_of(name).read_text(encoding="utf-8")))


def _fits(refusal: Refusal, name: str, said: bytes) -> None:
    """Hold the document of a refusal against its schema; of every eighth, since it takes its time."""
    if len(said) % 8 == 0 and (wrong := best_match(_schema(name).iter_errors(json.loads(refusal.json())))):
        raise Unexplained(f"does not fit its schema: {wrong.message[:300]}")


def _toml_refused(error: FileError, said: bytes) -> None:
    if not error.faults:
        raise Unexplained("no fault at all")
    text, records = error.file.text, describe(error)
    for r in records:
        if r.line < 1 or r.column < 1 or r.width < 1:
            raise Unexplained(f"no place: {r}")
        if text and r.line > text.count("\n") + 2:
            raise Unexplained(f"a line that is not there: {r.line}")
        explained([("found", r.found), ("expected", r.expected), ("remedy", r.remedy)], said)
    json.dumps([asdict(r) for r in records], allow_nan=False)
    printed = format_faults(error)
    if not all(c.isprintable() or c in "\n\t" for c in printed):
        raise Unexplained("what is printed has control characters")


def _rows_refused(error: CaseError, said: bytes) -> None:
    if not error.faults:
        raise Unexplained("no fault at all")
    for f in error.faults:
        row = f.row if isinstance(f, RowFault) else int(f.path[1])
        if row < 0:
            raise Unexplained(f"no place: {f}")
        explained([("found", f.found), ("expected", f.expected), ("remedy", f.remedy)], said)
        if isinstance(f, RowFault):
            _printable(fault_lines(f, [f.row]))


def _printable(lines: Iterable[str]) -> None:
    for line in lines:
        if not all(c.isprintable() or c == "\n" for c in line):
            raise Unexplained(f"a line with control characters: {line!r}")


def _toml(content: bytes, kind: FileKind, folder: Path, use: Callable[[str], int]) -> int:
    path = folder / "in.toml"
    path.write_bytes(content)
    try:
        return use(read_file(path, kind).text)
    except FileError as error:
        _toml_refused(error, content)
        _fits(refused(error, "in.toml"), "window", content)
        return 2
    except SurgeError as error:
        explained([("why", str(error))], content)
        _fits(undecided(error, "in.toml"), "window", content)
        return error.exit_code


def _case(text: str) -> int:
    loaded: Case = read_case(text, filename="in.toml")
    for scenario in loaded.lineup.scenarios:
        plan(loaded.lineup, scenario)
    return 0


@cache
def _limits() -> LimitFile:
    return read_limits(LIMITED.decode(), filename="limits.toml")


def _judged(content: bytes, stated: LimitFile | None) -> int:
    read = read_records(content, ReadOptions(today=TODAY))
    for fault in read.faults:
        explained([("found", fault.found), ("expected", fault.expected), ("remedy", fault.remedy)], content)
        _printable(fault_lines(fault, [fault.row]))
    held = held_against(read, stated=stated)
    found = findings_of_records(
        held.records.tests, held.limits, today=TODAY, refused=len(held.records.refused)
    )
    answer = JudgedRecords(records=held.records, findings=found, sources=("a test",))
    _printable(records_lines(answer))
    document = json.loads(json.dumps(as_json(records_document(answer, HEAD)), allow_nan=False))
    rows = document["rows"]
    if rows["rows"] != rows["judged"] + rows["shown"] + rows["refused"] + rows["blank"]:
        raise Unexplained(f"rows were lost: {rows}")
    findings_csv(answer, "a test")
    return found.exit_code


def _of_limits(text: str) -> int:
    return _judged(RECORDS[0], read_limits(text, filename="in.toml"))


def _of_rules(text: str) -> int:
    read_rules(text)
    return 0


def _rows(content: bytes, use: Callable[[bytes], int], name: str) -> int:
    try:
        return use(content)
    except CaseError as error:
        _rows_refused(error, content)
        unread = UnreadableError(error.faults, filename="in.csv", file=error.file)
        _fits(unused(error, "in.csv") if name == "measured" else refused(unread, "in.csv"), name, content)
        return 2


def _curve(content: bytes) -> int:
    stroke_of(read_curve(csv_of(input_of(content, filename="in.csv"))))
    return 0


def answered(kind: str, content: bytes, folder: Path) -> int:
    """Read one input and return the exit code that it stands for; raises for whatever must not be.

    Parameters
    ----------
    kind : str
        Of :data:`KINDS`.
    content : bytes
    folder : Path
        For the file.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        if kind == "case":
            return _toml(content, CASE, folder, _case)
        if kind == "limits":
            return _toml(content, LIMITS, folder, _of_limits)
        if kind == "rules":
            return _toml(content, RULES, folder, _of_rules)
        if kind == "curve":
            return _rows(content, _curve, "measured")
        return _rows(content, lambda c: _judged(c, _limits() if len(c) % 2 else None), "records")

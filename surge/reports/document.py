"""What JSON documents share: the base of their types, the head, findings, and documents without an answer.

Keys carry unit and reference. Numbers are SI and not rounded. How the types become schemas:
:mod:`surge.schemas`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, cast

import numpy as np

from surge.arrays import Array
from surge.model.ranges import Taken
from surge.rules.findings import EXIT_CODE, UNDECIDED, Finding
from surge.toml.faults import FaultRecord
from surge.transient.result import Extreme

Json = dict[str, Any]
Item = TypeVar("Item")
PLAIN = frozenset({str, float, int, bool, type(None)})


class JsonObject:
    """Base of frozen dataclasses that are objects of a JSON document; :mod:`surge.schemas` tells how."""

    __slots__ = ()
    # Read by the schema's library only: docstrings below fields describe them.
    __pydantic_config__ = {"use_attribute_docstrings": True}  # noqa: RUF012  it must be this very dict


class Demand:
    """What the schema demands of a value beside its type: keywords of JSON Schema, given by their names."""

    def __init__(self, **keywords: Any) -> None:
        self.keywords = keywords

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> Json:
        """Called by the schema's library, which nothing here imports."""
        made: Json = handler(core)
        return made | self.keywords


Sha256 = Annotated[str, Demand(pattern="^[0-9a-f]{64}$")]
Verdict = Annotated[str, Demand(enum=list(EXIT_CODE))]
ExitCode = Annotated[int, Demand(enum=list(EXIT_CODE.values()))]


class Made(Sequence[Item]):
    """A list of a document whose items are made when they are asked for, so that all are never held at once.

    Parameters
    ----------
    make : callable
        Makes an item.
    sources : sequence
        One for each item: what it is made of.
    """

    def __init__(self, make: Callable[[Any], Item], sources: Sequence[Any]) -> None:
        self._make, self._sources = make, sources

    def __len__(self) -> int:
        return len(self._sources)

    def __getitem__(self, index: Any) -> Any:
        """One item, or a list of some."""
        found = self._sources[index]
        return [self._make(one) for one in found] if isinstance(index, slice) else self._make(found)

    def __iter__(self) -> Iterator[Item]:
        return map(self._make, self._sources)


def numbers(array: Array) -> Sequence[float]:
    """Return an array as a list of numbers of a document; it stays an array until that is written."""
    held: Any = array
    return cast("Sequence[float]", held)


def as_json(item: Any) -> Any:
    """Return a frozen document as plain dicts and lists.

    A field that is None by default is left out while it is None. Lists of numbers and words, which may be
    long, are handed on and not copied; arrays become lists.
    """
    if type(item) in PLAIN or isinstance(item, float | str):  # a float of numpy is one of Python
        return item
    if isinstance(item, np.ndarray):
        return item.tolist()
    if isinstance(item, Mapping):
        return {key: as_json(value) for key, value in item.items()}
    if isinstance(item, list | tuple) and PLAIN.issuperset(map(type, item)):
        return item
    if isinstance(item, Sequence):
        return [as_json(value) for value in item]
    return {name: as_json(value) for name, value in _shown(item)}


def finite(value: float | None) -> float | None:
    """Return a number [any unit] as JSON can hold it: None for what is not finite."""
    return value if value is not None and math.isfinite(value) else None


def _shown(item: Any) -> Iterator[tuple[str, Any]]:
    """Names and values of the fields of a dataclass that stand in the document."""
    kind: Any = type(item)
    for name, left_out in _keys_of(kind):
        if (value := getattr(item, name)) is not None or not left_out:
            yield name, value


@cache
def _keys_of(kind: Any) -> tuple[tuple[str, bool], ...]:
    """Names of the fields of a dataclass, and whether None means that the key is left out."""
    if not is_dataclass(kind):
        raise TypeError(f"{kind.__name__} does not belong into a JSON document")
    return tuple((field.name, field.default is None) for field in fields(kind))


def as_text(document: Any) -> str:
    """Return a document, or plain data, as JSON text; see :func:`as_pieces`."""
    return "".join(as_pieces(document))


def as_pieces(document: Any, margin: str = "\n") -> Iterator[str]:
    """Yield a document as JSON text in ASCII, piece by piece: no more of it is held than one list of numbers.

    Joined it is what ``json.dumps(as_json(document), allow_nan=False, indent=1)`` returns. That indents
    in Python, number by number. Here every list or object without inner ones is written in one go, with the
    margin as part of its commas: half the time for histories.

    Parameters
    ----------
    document : object
        A frozen document, or plain data.
    margin : str
        What begins its lines.

    Raises
    ------
    ValueError
        A number is not finite.
    """
    item = document.tolist() if isinstance(document, np.ndarray) else document
    if type(item) in PLAIN or isinstance(item, float | str):
        yield _encoder(",")(item)
        return
    if not isinstance(item, Mapping | Sequence):
        item = dict(_shown(item))
    inner, ends = f"{margin} ", "{}" if isinstance(item, Mapping) else "[]"
    if not len(item):
        yield ends
        return
    comma = f",{inner}"
    if isinstance(item, dict | list | tuple) and PLAIN.issuperset(
        map(type, item.values() if isinstance(item, dict) else item)
    ):
        yield f"{ends[0]}{inner}{_encoder(comma)(item)[1:-1]}{margin}{ends[1]}"
        return
    before = f"{ends[0]}{inner}"
    for one in item:
        if isinstance(item, Mapping):
            yield f"{before}{_encoder(',')(one)}: "
            yield from as_pieces(item[one], inner)
        else:
            yield before
            yield from as_pieces(one, inner)
        before = comma
    yield f"{margin}{ends[1]}"


@cache
def _encoder(comma: str) -> Callable[[Any], str]:
    return json.JSONEncoder(allow_nan=False, separators=(comma, ": ")).encode


@dataclass(frozen=True, slots=True, kw_only=True)
class Program(JsonObject):
    """The program that made the document."""

    name: Literal["surge"] = "surge"
    version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseId(JsonObject):
    """The case that it was made from."""

    file: str
    sha256: Sha256


@dataclass(frozen=True, slots=True, kw_only=True)
class Head(JsonObject):
    """Which program, and which case."""

    schema_version: Literal[1] = 1
    program: Program
    case: CaseId


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(JsonObject):
    """A file that an answer was asked for."""

    file: str
    sha256: Sha256 | None = None
    """Missing where the file could not be read."""


def asked(filename: str, sha256: str) -> Asked:
    """Return a file that an answer was asked for; ``sha256`` is "" where it could not be read."""
    return Asked(file=filename, sha256=sha256 or None)


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedCase(JsonObject):
    """A case, or a file that goes with it, that cannot be used, with all of its faults."""

    schema_version: Literal[1] = 1
    program: Program
    case: Asked
    exit_code: Literal[2] = 2
    faults: Annotated[tuple[FaultRecord, ...], Demand(minItems=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoAnswer(JsonObject):
    """A case that can be read, but for which nothing can be computed."""

    schema_version: Literal[1] = 1
    program: Program
    case: Asked
    verdict: Annotated[str, Demand(const=UNDECIDED)] = UNDECIDED
    exit_code: Annotated[int, Demand(const=EXIT_CODE[UNDECIDED])] = EXIT_CODE[UNDECIDED]
    reason: Annotated[str, Demand(minLength=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPartsJson(JsonObject):
    """Parts of the error: from the step, lumped elements, and what rose after the run."""

    step: float
    lumping: float
    late: float
    range: float
    """How much worse it may be at other figures within the ranges."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtremeJson(JsonObject):
    """A highest or lowest pressure."""

    pressure_pa_gauge: float
    time_s: float
    distance_m: float
    """From the element's start; 0 at a place."""
    error_pa: float
    """Numerical error, either way."""
    error_parts_pa: ErrorPartsJson
    before_vapour_pa_gauge: float
    """The same before the cargo boiled anywhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressuresJson(JsonObject):
    """Highest and lowest pressure of an element or a place."""

    subject: Annotated[str, Demand(enum=["element", "place"])]
    name: str
    highest: ExtremeJson
    lowest: ExtremeJson


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenJson(JsonObject):
    """Figures taken of what is known as a range only, by element, or by "liquid"."""

    lengths_m: Mapping[str, float]
    wave_speeds_m_per_s: Mapping[str, float]
    roughness_m: Mapping[str, float]
    walls_m: Mapping[str, float]
    wall_stiffness_pa: Mapping[str, float]
    """Young's modulus over the restraint factor."""
    kv_m3_per_h: Mapping[str, float]
    density_kg_per_m3: Mapping[str, float]
    sound_speed_m_per_s: Mapping[str, float]
    dynamic_viscosity_pa_s: Mapping[str, float]
    matter: tuple[str, ...]
    """Those that the figures of this run go by, in words."""


_TAKEN = {
    "lengths_m": "length",
    "wave_speeds_m_per_s": "wave speed",
    "roughness_m": "roughness",
    "walls_m": "wall",
    "wall_stiffness_pa": "stiffness of the wall",
    "kv_m3_per_h": "Kv",
    "density_kg_per_m3": "density",
    "sound_speed_m_per_s": "sound speed",
    "dynamic_viscosity_pa_s": "viscosity",
}


def taken_json(figures: Iterable[Taken]) -> TakenJson:
    """Figures that were taken of what is a range."""
    listed = tuple(figures)
    by_key = {
        key: {t.subject: t.value for t in listed if t.quantity == quantity}
        for key, quantity in _TAKEN.items()
    }
    return TakenJson(**by_key, matter=tuple(f"{t.whose}: {t.words}" for t in listed if t.matters))


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingJson(JsonObject):
    """One pressure against one limit."""

    scenario: str
    """Empty for checks before any scenario."""
    subject: Annotated[str, Demand(enum=["element", "place", "scenario"])]
    name: str
    check: Annotated[str, Demand(enum=["peak", "steady", "static", "lowest", "vapour", "run"])]
    pressure_pa_gauge: float | None
    error_pa: float
    limit_pa_gauge: float | None
    limit_source: str
    rule: str
    """Identifier of the rule that this check is made for."""
    margin_pa: float | None
    """On the safe side of the limit; negative beyond it."""
    time_s: float | None
    distance_m: float | None
    taken: TakenJson
    verdict: Verdict
    reason: str
    beside: str | None = None
    """Of a run that the case asks for beside the usual one: what it was made with."""


def head_of(version: str, filename: str, sha256: str) -> Head:
    """Which program, and which case."""
    return Head(program=Program(version=version), case=CaseId(file=filename, sha256=sha256))


def no_answer(reason: str, *, version: str, filename: str, sha256: str) -> NoAnswer:
    """Return why a case that can be read cannot be decided at all."""
    return NoAnswer(program=Program(version=version), case=asked(filename, sha256), reason=reason)


def refusal(records: Iterable[FaultRecord], *, version: str, filename: str, sha256: str) -> RefusedCase:
    """Return the faults of a case that cannot be used."""
    case = asked(filename, sha256)
    return RefusedCase(program=Program(version=version), case=case, faults=tuple(records))


def extreme(x: Extreme) -> ExtremeJson:
    """One highest or lowest pressure with the parts of its error."""
    return ExtremeJson(
        pressure_pa_gauge=x.pressure,
        time_s=x.time,
        distance_m=x.distance,
        error_pa=x.error,
        error_parts_pa=ErrorPartsJson(
            step=x.step_part,
            lumping=x.lumping_part,
            late=x.late_part,
            range=x.range_part,
        ),
        before_vapour_pa_gauge=x.before_vapour,
    )


def finding(f: Finding) -> FindingJson:
    """One pressure against one limit."""
    return FindingJson(
        scenario=f.scenario,
        subject=f.subject,
        name=f.name,
        check=f.check,
        pressure_pa_gauge=f.value,
        error_pa=f.error,
        limit_pa_gauge=f.limit,
        limit_source=f.limit_source,
        rule=f.rule,
        margin_pa=f.margin,
        time_s=f.time,
        distance_m=f.distance,
        taken=taken_json(f.taken),
        verdict=f.verdict,
        reason=f.reason,
        beside=f.beside or None,
    )


def finding_or_none(f: Finding | None) -> FindingJson | None:
    """The same, where there may be none."""
    return None if f is None else finding(f)

"""The shape of a limits file, schema 1: which keys a table ``[[valve]]`` has, and what each may hold.

Only shape and single values are checked here; :mod:`surge.records.limits_file` joins them to limits and
checks what belongs together. The published JSON Schema is generated from these models.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from surge.records.stroke_tests import (
    BOUNDS,
    INTERVAL_PATTERN,
    INTERVAL_WORDS,
    Interval,
    Timed,
    read_interval,
)
from surge.toml.lists import ListOf
from surge.toml.tables import FileTable, file_schema
from surge.toml.text import shown
from surge.toml.values import Choice, Flag, Leaf, Quantity, Text, quantity_pattern
from surge.units import DIMENSIONS, QuantityError, Reading, read

LONGEST_STROKE = "3600 s"
LONGEST_TEXT = 300  # characters
_STROKE = Quantity("time", "0.001 s", LONGEST_STROKE)


class TemperatureRange(Leaf):
    """Two temperatures, the lower one first."""

    @property
    def expected(self) -> str:
        """The words."""
        return "two temperatures in brackets, the lower one first"

    @property
    def example(self) -> str:
        """Two temperatures."""
        return '["20 degC", "50 degC"]'

    def accept(self, value: object) -> tuple[float, float]:
        """Return both [K]."""
        remedy = f"write it like {self.example}"
        if not isinstance(value, list) or len(value) != 2 or not all(isinstance(v, str) for v in value):
            raise QuantityError(shown(value), self.expected, remedy)
        low, high = (read(v, dimension="temperature").value for v in value)
        if low > high:
            raise QuantityError(f"{shown(value[0])} above {shown(value[1])}", self.expected, remedy)
        return low, high

    def stand_in(self, pick: int) -> tuple[float, float]:
        """Return a wide range."""
        return 200.0 + pick, 400.0

    def schema(self) -> dict[str, Any]:
        """Return an array of two."""
        one = {"type": "string", "pattern": quantity_pattern(DIMENSIONS["temperature"].units)}
        return {"type": "array", "items": one, "minItems": 2, "maxItems": 2, "description": self.expected}


class HoldsFor(Leaf):
    """How long a test holds."""

    @property
    def expected(self) -> str:
        """The words."""
        return INTERVAL_WORDS

    @property
    def example(self) -> str:
        """A year."""
        return '"12 months"'

    def accept(self, value: object) -> Interval:
        """Return the interval."""
        if not isinstance(value, str):
            raise QuantityError(shown(value), self.expected, f"write it like {self.example}")
        return read_interval(value)

    def stand_in(self, pick: int) -> Interval:
        """Return a day or ten years."""
        return Interval(months=120) if pick else Interval(days=1)

    def schema(self) -> dict[str, Any]:
        """Return a string with the pattern."""
        return {"type": "string", "pattern": f"^ *{INTERVAL_PATTERN} *$", "description": self.expected}


def _text(words: str, example: str) -> Text:
    return Text(words, LONGEST_TEXT, loose=True, example=example)


class ValveLimitsTable(FileTable):
    """What holds for the valves whose tags are named, or fit a pattern."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra={"dependentRequired": {key: ["source"] for key in BOUNDS}},
    )

    tags: Annotated[
        list[str | None] | None,
        ListOf(_text("a tag", "M1"), "tags, names or patterns with * and ?", '["M1", "D*"]', least=1),
    ]
    in_case: Annotated[str | None, _text("the name of the valve in the case", "manifold valve")] = None
    fastest_closing: Annotated[Reading | None, _STROKE] = None
    slowest_closing: Annotated[Reading | None, _STROKE] = None
    fastest_opening: Annotated[Reading | None, _STROKE] = None
    slowest_opening: Annotated[Reading | None, _STROKE] = None
    slowest_counts: Annotated[str | None, Choice("what a slowest time counts", *(t.value for t in Timed))] = (
        None
    )
    source: Annotated[str | None, _text("where the limits come from", "surge analysis of 2026")] = None
    signal_delay: Annotated[Reading | None, Quantity("time", "0 s", LONGEST_STROKE)] = None
    normal_temperature: Annotated[tuple[float, float] | None, TemperatureRange()] = None
    shares_power: Annotated[bool | None, Flag("it may move together with others on one power supply")] = None
    sisters: Annotated[str | None, _text("the group to compare with", "manifold valves")] = None
    interval: Annotated[Interval | None, HoldsFor()] = None
    note: Annotated[str | None, _text("free text", "...")] = None


class LimitsFile(FileTable):
    """A whole limits file."""

    version: Annotated[int | None, Choice("version of the limits format", 1)] = Field(alias="schema")
    note: Annotated[str | None, Text("free text", 5000, lines=True)] = None
    valve: list[ValveLimitsTable] = Field(json_schema_extra={"minItems": 1})


def limits_schema() -> dict[str, Any]:
    """Return the JSON Schema of limits files; :mod:`surge.schemas` writes it."""
    return file_schema(LimitsFile, "surge limits file, schema 1")

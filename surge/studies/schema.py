"""The shape of a study file, schema 1: which tables and keys there are, and what each may hold.

Only shape and single values are checked here; :mod:`surge.studies.file` holds them against the case. The
published JSON Schema is generated from these models.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from surge.studies.designs import DESIGNS, MOST_SAMPLES
from surge.studies.distributions import KINDS
from surge.toml.lists import ListOf
from surge.toml.tables import FileTable, Header, file_schema, one_of
from surge.toml.text import shown
from surge.toml.values import Choice, FileBelow, Flag, Leaf, Number, Text
from surge.units import QuantityError

VERDICT, QUICK, WINDOW, RATE = "verdict", "quick look", "window", "greatest rate"
RUNS = (VERDICT, QUICK, WINDOW, RATE)
MOST_SEED = 2**31 - 1
MOST_VALUES = 10_000  # of one axis


class Anything(Leaf):
    """A value as the key of the case takes it: text, number, flag or list."""

    @property
    def expected(self) -> str:
        """The words."""
        return "a value as the key of the case takes it"

    @property
    def example(self) -> str:
        """A quantity in quotes."""
        return '"600 m3/h"'

    def accept(self, value: object) -> object:
        """Return the value; raises QuantityError for a table."""
        if isinstance(value, dict):
            raise QuantityError(shown(value), self.expected, "write tables into a part file: part = ...")
        return value

    def stand_in(self, pick: int) -> object:
        """Return a text."""
        return str(pick)

    def schema(self) -> dict[str, Any]:
        """Return what any value is."""
        return {
            "type": ["string", "number", "boolean", "array"],
            "description": "a value as the key of the case takes it",
        }


class Figure(Leaf):
    """A figure of a distribution: a quantity in quotes, or a plain number where the key takes one."""

    def __init__(self, words: str, example: str) -> None:
        self.words, self._example = words, example

    @property
    def expected(self) -> str:
        """The words."""
        return f"{self.words}, as the key of the case takes it; of a factor a plain number"

    @property
    def example(self) -> str:
        """A quantity in quotes."""
        return self._example

    def accept(self, value: object) -> str | float:
        """Return the text, or the number; raises QuantityError for anything else."""
        if isinstance(value, str):
            return value
        if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e30:
            raise QuantityError(shown(value), self.expected, f"write it like {self.example}")
        return float(value)

    def stand_in(self, pick: int) -> str:  # noqa: ARG002
        """Return a text."""
        return "?"

    def schema(self) -> dict[str, Any]:
        """Return a string or a number."""
        return {"type": ["string", "number"], "description": self.words}


NAME = Text("a name", 60)
KEY = Text("a key of the case, as refusals print it", 300, example='pipe "shore line": length')
VALVE = Text("the name of a valve of the case: the stroke of every movement that closes it", 60)
FILE = FileBelow("a file beside the study file", 300)
COUNT = Number("number of samples, a whole number", 1, MOST_SAMPLES)
_KEYS = ListOf(KEY, "keys of the case, which all take the value", '["rate: agreed"]', least=1)


class SamplesTable(FileTable):
    """How uncertain figures are drawn."""

    design: Annotated[str | None, Choice("design of the samples", *DESIGNS)]
    count: Annotated[float | None, COUNT]
    seed: Annotated[float | None, Number("seed of the samples, a whole number", 0, MOST_SEED)]
    replicates: Annotated[
        float | None, Number("independently scrambled sequences, a whole number", 2, 64)
    ] = None


class OptionTable(FileTable):
    """One of the things that an axis goes through: settings and a case part under a name."""

    name: Annotated[str | None, NAME]
    part: Annotated[str | None, FILE] = None
    set: dict[Annotated[str, KEY], Annotated[Any, Anything()]] = Field(default_factory=dict)
    remove: Annotated[
        list[str | None], ListOf(KEY, "parts or keys of the case to leave out", """['pipe "spool"']""")
    ] = Field(default_factory=list)


class AxisTable(FileTable):
    """One axis: all of its values are crossed with all of those of the other axes."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra=one_of("key", "keys", "stroke_of", "cases", "option"),
    )

    name: Annotated[str | None, NAME]
    key: Annotated[str | None, KEY] = None
    keys: Annotated[list[str | None] | None, _KEYS] = None
    stroke_of: Annotated[str | None, VALVE] = None
    values: Annotated[
        list[Any] | None, ListOf(Anything(), "values of the key", '["400 m3/h", "600 m3/h"]', least=1)
    ] = None
    cases: Annotated[
        list[str | None] | None, ListOf(FILE, "case files beside this one", '["berth-1.toml"]', least=1)
    ] = None
    option: list[OptionTable] | None = None


class UncertainTable(FileTable):
    """A figure that is known as a distribution only."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, json_schema_extra=one_of("key", "keys", "stroke_of")
    )

    name: Annotated[str | None, NAME]
    key: Annotated[str | None, KEY] = None
    keys: Annotated[list[str | None] | None, _KEYS] = None
    stroke_of: Annotated[str | None, VALVE] = None
    factor: Annotated[bool | None, Flag("what is drawn multiplies the figure of the case")] = False
    distribution: Annotated[str | None, Choice("distribution", *KINDS)]
    low: Annotated[str | float | None, Figure("the lowest value", '"950 m/s"')] = None
    high: Annotated[str | float | None, Figure("the highest value", '"1150 m/s"')] = None
    mode: Annotated[str | float | None, Figure("the likeliest value", '"1050 m/s"')] = None
    mean: Annotated[str | float | None, Figure("the mean", '"1050 m/s"')] = None
    median: Annotated[str | float | None, Figure("the median", '"1050 m/s"')] = None
    standard_deviation: Annotated[str | float | None, Figure("the standard deviation", '"30 m/s"')] = None
    log_standard_deviation: Annotated[
        float | None, Number("standard deviation of the natural logarithm", 1e-6, 3.0)
    ] = None
    source: Annotated[str, Text("where the distribution comes from", 300)] = ""


class CorrelationTable(FileTable):
    """How two uncertain figures go together."""

    between: Annotated[
        list[str | None] | None,
        ListOf(NAME, "names of two uncertain figures", '["wave speed", "roughness"]', least=2),
    ]
    coefficient: Annotated[float | None, Number("correlation of the normal scores", -0.999, 0.999)]


class StudyFile(FileTable):
    """A whole study file."""

    version: Annotated[int | None, Choice("version of the study format", 1)] = Field(alias="schema")
    title: Annotated[str | None, Text("a title", 200)]
    note: Annotated[str, Text("free text", 5000, lines=True)] = ""
    case: Annotated[str | None, FILE] = None
    run: Annotated[str | None, Choice("what is done with each line-up", *RUNS)] = VERDICT
    places: Annotated[
        list[str | None], ListOf(NAME, "elements and points whose pressures are kept", '["shore line"]')
    ] = Field(default_factory=list)
    samples: Annotated[SamplesTable | None, Header("[samples]")] = None
    axis: list[AxisTable] = Field(default_factory=list)
    uncertain: list[UncertainTable] = Field(default_factory=list)
    correlation: list[CorrelationTable] = Field(default_factory=list)


def study_schema() -> dict[str, Any]:
    """Return the JSON Schema of study files; :mod:`surge.schemas` writes it."""
    return file_schema(StudyFile, "surge study file, schema 1")

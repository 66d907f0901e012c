"""The single values of a file: each kind reads one TOML value or says what to write instead.

A leaf stands in an ``Annotated`` type of a model such as those of :mod:`surge.case.schema`; pydantic calls it
and collects what it refuses. With a validation context ``{"pick": 0}`` or ``{"pick": 1}`` a leaf refuses
nothing: it gives its lowest or highest permitted value in place of a bad one, so that the rest of the file
can still be checked. With ``{"pick": None}`` it gives None, as if the key were not there.
"""

from __future__ import annotations

import math
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable
from datetime import date, datetime
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from surge.errors import meant
from surge.inputs import no_name_on_windows
from surge.toml.text import WORDS_LIKE, shown
from surge.units import (
    ATMOSPHERE,
    DAYS,
    DIMENSIONS,
    JOINERS,
    NUMBER_PATTERN,
    QuantityError,
    Reading,
    quoted,
    read,
)

# Joiners between letters, as Persian and Indian scripts need them; elsewhere they only hide a difference.
_JOINED = re.compile(rf"(?<=[^\W\x00-\u058f]|[\u0590-\u0dff])[{JOINERS}](?=[^\W\x00-\u058f])")
FEW_WORDS = 200  # characters of a list of options that a remedy repeats
FAULT_KIND = "surge"  # the error type under which pydantic hands our refusals back


class Leaf(ABC):
    """One kind of single value; ``where`` its writer finds it, in words, where that helps."""

    where = ""

    @abstractmethod
    def accept(self, value: object) -> object:
        """Return the value as the program uses it, or raise QuantityError."""

    @property
    @abstractmethod
    def expected(self) -> str:
        """What should be written, in words."""

    @property
    @abstractmethod
    def example(self) -> str:
        """What may be written, as TOML."""

    @abstractmethod
    def stand_in(self, pick: int) -> object:
        """Return a permitted value in place of a bad one."""

    @abstractmethod
    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema of what may be written."""

    def validate(self, value: object, info: core_schema.ValidationInfo) -> object:
        """Validate for pydantic."""
        try:
            return self.accept(value)
        except QuantityError as refusal:
            if info.context is not None:
                pick = info.context["pick"]
                return None if pick is None else self.stand_in(pick)
            words = {"found": refusal.found, "expected": refusal.expected, "remedy": refusal.remedy}
            raise PydanticCustomError(FAULT_KIND, "{remedy}", words) from None

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Tell pydantic to call :meth:`validate` and nothing else."""
        return core_schema.with_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Tell pydantic the JSON Schema."""
        return self.schema()


def quantity_pattern(units: Iterable[str]) -> str:
    """Return the pattern of a number with one of some units, for JSON Schemas."""
    listed = "|".join(re.sub(r"([().])", r"\\\1", unit) for unit in units)
    return f"^ *{NUMBER_PATTERN} *({listed}) *$"


class Quantity(Leaf):
    """A number with its unit, within bounds that only a slip of the pen leaves.

    Parameters
    ----------
    dimension : str
        A key of :data:`surge.units.DIMENSIONS`.
    low, high : str
        The bounds, as they would be written; both may be reached.
    such_as : str
        A usual one, where that of its dimension would mislead.
    where : str
        Where to find it, for who has none or a wrong one.
    """

    def __init__(self, dimension: str, low: str, high: str, *, such_as: str = "", where: str = "") -> None:
        self.dimension, self.low, self.high = dimension, low, high
        self.such_as, self.where = such_as, where
        self._low, self._high = read(low, dimension=dimension), read(high, dimension=dimension)

    @property
    def expected(self) -> str:
        """The dimension in words, with its units."""
        want = DIMENSIONS[self.dimension]
        return want.expected.replace(f'"{want.example}"', self.example)

    @property
    def example(self) -> str:
        """A quantity in quotes."""
        return f'"{self.such_as or DIMENSIONS[self.dimension].example}"'

    def accept(self, value: object) -> Reading:
        """Return the reading; the exact check of an absolute level has to wait for the barometer."""
        want = DIMENSIONS[self.dimension]
        if not isinstance(value, str):
            remedy = f"write it in quotes and with a unit, such as {self.example}"
            raise QuantityError(shown(value), self.expected, remedy)
        reading = read(value, dimension=self.dimension, possible=self._within)
        if not self._within(reading):
            rough = self._rough(reading)
            bounds = f"{want.words} from {self.low} to {self.high}"
            remedy = "check the number, the point and the unit"
            if reading.value < 0 <= self._low.value:
                remedy = "it cannot be negative"
            elif rough < self._low.value and rough < reading.value:
                remedy = "that is absolute, and so less than the atmosphere: is it meant as gauge, (g)?"
            elif self.where:
                remedy += f"; {self.where}"
            raise QuantityError(quoted(value), bounds, remedy)
        return reading

    def _within(self, reading: Reading) -> bool:
        return self._low.value <= self._rough(reading) <= self._high.value

    def _rough(self, reading: Reading) -> float:
        """About the value that the bounds are for [SI]: wide ones, for water in the open air."""
        if reading.kind == "absolute pressure" and self._low.kind == "gauge pressure":
            return reading.value - ATMOSPHERE
        return reading.value / (1000.0 if reading.kind in ("mass flow", "mass", "dynamic viscosity") else 1.0)

    def stand_in(self, pick: int) -> Reading:
        """Return the lower or the upper bound."""
        return self._high if pick else self._low

    def schema(self) -> dict[str, Any]:
        """Return a string with the pattern of number and unit."""
        want = DIMENSIONS[self.dimension]
        return {
            "type": "string",
            "pattern": quantity_pattern(want.units),
            "examples": [want.example],
            "description": f"{want.words}, {self.low} to {self.high}",
        }


class Number(Leaf):
    """A pure number within bounds, both of which may be reached; ``where`` to find it, in words."""

    def __init__(self, words: str, low: float, high: float, *, where: str = "") -> None:
        self.words, self.low, self.high, self.where = words, low, high, where

    @property
    def expected(self) -> str:
        """The words with the bounds."""
        return f"{self.words}, a number from {self.low:g} to {self.high:g}"

    @property
    def example(self) -> str:
        """A number."""
        return f"{min(max(0.5, self.low), self.high):g}"

    def accept(self, value: object) -> float:
        """Return the number [-]; raises QuantityError for what is none, or is out of bounds."""
        expected = self.expected
        if isinstance(value, bool) or not isinstance(value, int | float):
            remedy = f"write a plain number without quotes or unit, from {self.low:g} to {self.high:g}"
            raise QuantityError(shown(value), expected, remedy)
        # Compare before converting: an integer of the file may be too big for a float.
        if isinstance(value, float) and not math.isfinite(value):
            raise QuantityError(shown(value), expected, "nan and inf are no figures: write the number")
        if not self.low <= value <= self.high:
            remedy = f"write a number from {self.low:g} to {self.high:g}"
            raise QuantityError(shown(value), expected, remedy + (f"; {self.where}" if self.where else ""))
        return float(value)

    def stand_in(self, pick: int) -> float:
        """Return the lower (0) or the upper (1) bound [-]."""
        return self.high if pick else self.low

    def schema(self) -> dict[str, Any]:
        """Return a bounded number."""
        return {"type": "number", "minimum": self.low, "maximum": self.high, "description": self.words}


class Choice(Leaf):
    """One word, or one whole number, of a few."""

    def __init__(self, words: str, *options: str | int) -> None:
        self.words, self.options = words, options

    @property
    def expected(self) -> str:
        """The words with the options."""
        return f"{self.words}: {self._listed}"

    @property
    def example(self) -> str:
        """The first option."""
        return self._words[0]

    @property
    def _listed(self) -> str:
        return ", ".join(self._words)

    @property
    def _words(self) -> list[str]:
        return [f'"{o}"' if isinstance(o, str) else str(o) for o in self.options]

    def accept(self, value: object) -> str | int:
        """Return the option."""
        for option in self.options:
            if type(value) is type(option) and value == option:
                return option
        known = [str(option) for option in self.options]
        near = meant(value, known, like=WORDS_LIKE) if isinstance(value, str) else None
        few = " or ".join(self._words) if len(self._listed) <= FEW_WORDS else "one of these"
        remedy = f'did you mean "{near}"?' if near else f"write {few}"
        raise QuantityError(shown(value), self.expected, remedy)

    def stand_in(self, pick: int) -> str | int:
        """Return the first or the last option."""
        return self.options[-1 if pick else 0]

    def schema(self) -> dict[str, Any]:
        """Return the list of options."""
        return {"enum": list(self.options), "description": self.words}


class Flag(Leaf):
    """true or false."""

    def __init__(self, words: str) -> None:
        self.words = words

    @property
    def expected(self) -> str:
        """The words."""
        return f"{self.words}: true or false"

    @property
    def example(self) -> str:
        """The word true."""
        return "true"

    def accept(self, value: object) -> bool:
        """Return the flag."""
        if not isinstance(value, bool):
            raise QuantityError(shown(value), self.expected, "write true or false, without quotes")
        return value

    def stand_in(self, pick: int) -> bool:
        """Return false or true."""
        return bool(pick)

    def schema(self) -> dict[str, Any]:
        """Return a boolean."""
        return {"type": "boolean", "description": self.words}


class Text(Leaf):
    """A name, a title, a note: printable text; a note may have several lines.

    Parameters
    ----------
    words : str
        What it says.
    longest : int
        Characters.
    lines : bool
        It may have line ends.
    loose : bool
        Blanks at its ends do not count, and blanks inside count once; without it they are refused at the
        ends and kept inside, since a name must be found again.
    example : str
        What may be written.
    """

    def __init__(
        self, words: str, longest: int, *, lines: bool = False, loose: bool = False, example: str = "..."
    ) -> None:
        self.words, self.longest, self.lines, self.loose = words, longest, lines, loose
        self._example = example

    @property
    def expected(self) -> str:
        """The words with the greatest length."""
        return f"{self.words}, text of 1 to {self.longest} characters"

    @property
    def example(self) -> str:
        """A text in quotes."""
        return f'"{self._example}"'

    def stand_in(self, pick: int) -> str:  # noqa: ARG002
        """Return a text that no writer would choose."""
        return "?"

    def accept(self, value: object) -> str:
        """Return the text as it stands, or with its blanks in order."""
        expected = self.expected
        if not isinstance(value, str):
            raise QuantityError(shown(value), expected, "write it in quotes")
        if not value.strip():
            raise QuantityError(shown(value), expected, "write it, or leave the key out if it is optional")
        if len(value) > self.longest:
            raise QuantityError(shown(value), expected, f"shorten it to {self.longest} characters")
        if not self.lines and len(value.splitlines()) > 1:
            raise QuantityError(shown(value), expected, "write it on one line")
        if self.loose:
            value = " ".join(value.split())
        checked = re.sub(r"[\n\t]", " ", value) if self.lines else value
        if not _JOINED.sub("", checked).isprintable():
            raise QuantityError(shown(value), expected, "take the control characters out")
        if not self.lines and value != value.strip():
            raise QuantityError(shown(value), expected, "take the blanks at its ends away")
        return value

    def schema(self) -> dict[str, Any]:
        """Return a bounded string."""
        return {
            "type": "string",
            "minLength": 1,
            "maxLength": self.longest,
            "description": self.words,
        }


class FileBelow(Text):
    """The name of another file, beside the file that names it or in a folder below."""

    def accept(self, value: object) -> str:
        """Return the name as it stands; raises QuantityError for one that leads elsewhere."""
        name = super().accept(value)
        for path in (PurePosixPath(name), PureWindowsPath(name)):
            if path.anchor or ".." in path.parts:
                remedy = "copy the file beside this one, and write its name without a way to other folders"
                raise QuantityError(shown(value), self.expected, remedy)
        if why := no_name_on_windows(name):
            raise QuantityError(shown(value), self.expected, f"{why}; give the file another name")
        return name


class Day(Leaf):
    """A date, written as TOML has it: 2026-03-14, without quotes."""

    def __init__(self, words: str) -> None:
        self.words = words

    @property
    def expected(self) -> str:
        """The words with an example."""
        return f"{self.words}, a date such as {self.example}"

    @property
    def example(self) -> str:
        """A date."""
        return "2026-03-14"

    def accept(self, value: object) -> date:
        """Return the day."""
        if not isinstance(value, date) or isinstance(value, datetime):
            remedy = f"write year, month and day without quotes and without a time, such as {self.example}"
            raise QuantityError(shown(value), self.expected, remedy)
        if not DAYS[0] <= value <= DAYS[1]:
            raise QuantityError(shown(value), self.expected, f"write a day from {DAYS[0]} to {DAYS[1]}")
        return value

    def stand_in(self, pick: int) -> date:
        """Return a day long ago or long from now."""
        return DAYS[pick]

    def schema(self) -> dict[str, Any]:
        """Return a date as JSON writes it."""
        return {"type": "string", "format": "date", "description": self.words}

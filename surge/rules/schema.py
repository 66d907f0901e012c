"""The shape of a file of rules: which keys a table ``[[rule]]`` has, and what each may hold.

Only shape and single values are checked here; :mod:`surge.rules.reading` makes the rules and checks what
belongs together. The published JSON Schema is generated from these models.
"""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from surge.rules.book import (
    COMPARES,
    CONDITIONS,
    FIGURES,
    LARGEST_FACTOR,
    MEASURES,
    NEEDED,
    OFF_KEYS,
    REQUIREMENTS,
    STATUSES,
    TERMS,
    speaks_of,
)
from surge.toml.lists import ListOf
from surge.toml.tables import FileTable, file_schema
from surge.toml.text import shown
from surge.toml.values import Choice, Leaf, Text, quantity_pattern
from surge.units import DIMENSIONS, UNITS, QuantityError

LONGEST_TEXT = 600  # characters of a text
_ID = r"[a-z0-9][a-z0-9.-]{0,59}"


class RuleId(Leaf):
    """The name by which a rule is found again."""

    @property
    def expected(self) -> str:
        """The characters."""
        return "small letters, digits, hyphens and points, 60 at most"

    @property
    def example(self) -> str:
        """An id."""
        return '"hose-velocity"'

    def accept(self, value: object) -> str:
        """Return the id."""
        if not isinstance(value, str) or re.fullmatch(_ID, value) is None:
            raise QuantityError(shown(value), self.expected, f"write it like {self.example}")
        return value

    def stand_in(self, pick: int) -> str:
        """Return an id that no writer would choose."""
        return f"stand-in-{pick}"

    def schema(self) -> dict[str, Any]:
        """Return a string with the pattern."""
        return {"type": "string", "pattern": f"^{_ID}$", "description": "the id of a rule"}


class RuleFigure(Leaf):
    """A quantity or a factor: which of them is wanted depends on the measure."""

    @property
    def expected(self) -> str:
        """Both."""
        return f'a quantity in quotes such as "30 s", or a number from 0 to {LARGEST_FACTOR:.0f}'

    @property
    def example(self) -> str:
        """A quantity."""
        return '"30 s"'

    def accept(self, value: object) -> str | float:
        """Return the text, or the factor."""
        if isinstance(value, str):
            return value
        if isinstance(value, bool) or not isinstance(value, int | float):
            remedy = f"write it like {self.example}, or a number where it is a factor"
            raise QuantityError(shown(value), self.expected, remedy)
        if not 0 <= value <= LARGEST_FACTOR:  # not a number fails this as well
            raise QuantityError(shown(value), f"a number from 0 to {LARGEST_FACTOR:.0f}", "check the figure")
        return value

    def stand_in(self, pick: int) -> str | float:
        """Return a factor."""
        return float(pick)

    def schema(self) -> dict[str, Any]:
        """Return a string or a number; the table says which."""
        return {"type": ["string", "number"], "description": "the limit"}


def _text(words: str, example: str) -> Text:
    return Text(words, LONGEST_TEXT, loose=True, example=example)


def _figure_schema(figure: str) -> dict[str, Any]:
    """Return the JSON Schema of a figure of one kind of measure."""
    number = {"type": "number", "minimum": 0, "maximum": LARGEST_FACTOR}
    if figure == "number":
        return number
    if figure == "level":  # above the atmosphere
        return {"type": "string", "pattern": quantity_pattern(UNITS["gauge pressure"])}
    units = dict.fromkeys(unit for dimension in FIGURES[figure] for unit in DIMENSIONS[dimension].units)
    quantity = {"type": "string", "pattern": quantity_pattern(units)}
    return {"anyOf": [number, quantity]} if figure == "any" else quantity


def _of_measures() -> list[dict[str, Any]]:
    """Return the JSON Schema of what goes with each measure: its figure, its terms, its conditions."""
    groups: dict[tuple[str, str, bool], list[str]] = {}
    for name, measure in MEASURES.items():
        groups.setdefault((measure.figure, measure.level, measure.terms), []).append(name)
    return [
        {
            "if": {"properties": {"measure": {"enum": names}}, "required": ["measure"]},
            "then": {
                "properties": {
                    "figure": _figure_schema(figure),
                    "applies": {"enum": [c for c in CONDITIONS if speaks_of(names[0], c)]},
                    "counts": {"minItems": 1} if terms else {"maxItems": 0},
                },
                "required": ["counts"] if terms else [],
            },
        }
        for (figure, _, terms), names in groups.items()
    ]


class RuleTable(FileTable):
    """A rule of one's own, or one of the program's that is off."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra=lambda schema: schema.update(
            {
                "if": {"properties": {"requirement": {"const": "off"}}, "required": ["requirement"]},
                "then": {
                    "propertyNames": {"enum": list(OFF_KEYS)},
                    "required": ["reason"],
                    "anyOf": [{"required": ["id"]}, {"required": ["replaces"]}],
                },
                "else": {"required": list(NEEDED), "properties": {"reason": False}},
                "allOf": _of_measures(),
            }
        ),
    )

    id: Annotated[str | None, RuleId()] = None
    name: Annotated[str | None, _text("a title", "Velocity in hoses")] = None
    text: Annotated[
        str | None, _text("one plain sentence", "No hose carries more than its maker allows.")
    ] = None
    authority: Annotated[str | None, _text("who says so", "terminal regulations")] = None
    edition: Annotated[str | None, _text('the edition, "not noted" where there is none', "2026")] = None
    clause: Annotated[str | None, _text('where it stands there, "none" where that is unknown', "4.2")] = None
    measure: Annotated[str | None, Choice("one of the measures", *MEASURES)] = None
    figure: Annotated[str | float | None, RuleFigure()] = None
    compare: Annotated[str | None, Choice("how the measure stands to the figure", *COMPARES)] = None
    requirement: Annotated[str | None, Choice("whether it counts", *REQUIREMENTS)] = None
    applies: Annotated[str | None, Choice("one of the conditions", *CONDITIONS)] = None
    status: Annotated[str | None, Choice("how far the source was seen", *STATUSES)] = None
    counts: Annotated[
        list[str | None] | None,
        ListOf(Choice("a term of a shutdown", *TERMS), "terms that the time counts", '["signal", "stroke"]'),
    ] = None
    conditions: Annotated[
        list[str | None] | None,
        ListOf(_text("a condition that no case tells", "..."), "conditions that no case tells", '["..."]'),
    ] = None
    note: Annotated[str | None, _text("what else is to be known", "...")] = None
    replaces: Annotated[str | None, RuleId()] = None
    reason: Annotated[str | None, _text("why the rule is off, and who decided it", "...")] = None


class RulesFile(FileTable):
    """A whole file of rules."""

    rule: list[RuleTable] = Field(default_factory=list)


def rules_schema() -> dict[str, Any]:
    """Return the JSON Schema of files of rules; :mod:`surge.schemas` writes it."""
    return file_schema(RulesFile, "surge rules file")

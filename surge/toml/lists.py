"""Lists of single values in a file; each item is read by its leaf, and its faults have its own place."""

from __future__ import annotations

from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from surge.toml.text import shown
from surge.toml.values import Leaf
from surge.units import QuantityError


class OneOrList(Leaf):
    """Either a single value of a leaf, or a list of the given type.

    Parameters
    ----------
    one : Leaf
    many : type
        A pydantic-known list or tuple type, whose faults keep the place of each item.
    """

    def __init__(self, one: Leaf, many: Any) -> None:
        self.one, self.many, self.where = one, many, one.where

    @property
    def expected(self) -> str:
        """The leaf's own words, or a list."""
        return f"{self.one.expected}, or a list"

    @property
    def example(self) -> str:
        """The leaf's own."""
        return self.one.example

    def accept(self, value: object) -> object:
        """Return the single value."""
        return self.one.accept(value)

    def stand_in(self, pick: int) -> object:
        """Return the leaf's own."""
        return self.one.stand_in(pick)

    def schema(self) -> dict[str, Any]:
        """Return the leaf's own; the list is added where pydantic asks."""
        return self.one.schema()

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Lists go to pydantic's own validator, everything else to the leaf."""

        def either(
            value: object, inner: core_schema.ValidatorFunctionWrapHandler, info: core_schema.ValidationInfo
        ) -> object:
            return inner(value) if isinstance(value, list) else self.validate(value, info)

        return core_schema.with_info_wrap_validator_function(either, handler.generate_schema(self.many))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Either of both."""
        return {"anyOf": [self.one.schema(), handler(schema["schema"])]}


class ListOf(Leaf):
    """A list of single values of one leaf; the faults of an item have its place.

    Parameters
    ----------
    item : Leaf
    words : str
        What they are, such as "names of valves".
    example : str
        A list as TOML.
    least : int
        Items that there must be.
    """

    def __init__(self, item: Leaf, words: str, example: str, *, least: int = 0) -> None:
        self.item, self.words, self.least = item, words, least
        self._example = example

    @property
    def expected(self) -> str:
        """The words."""
        return f"{self.words}, a list in brackets"

    @property
    def example(self) -> str:
        """A list in brackets."""
        return self._example

    def accept(self, value: object) -> object:
        """Refuse what is no list, or too short; the items are read by their leaf."""
        if not isinstance(value, list) or len(value) < self.least:
            raise QuantityError(shown(value), self.expected, f"write it like {self.example}")
        return value

    def stand_in(self, pick: int) -> object:
        """Return a list of the leaf's own."""
        return [self.item.stand_in(pick)] * self.least

    def schema(self) -> dict[str, Any]:
        """Return an array."""
        least = {"minItems": self.least} if self.least else {}
        return {"type": "array", "items": self.item.schema(), **least, "description": self.words}

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Items go to pydantic's own list, so that each keeps its place."""

        def each(
            value: object, inner: core_schema.ValidatorFunctionWrapHandler, info: core_schema.ValidationInfo
        ) -> object:
            found = self.validate(value, info)
            return inner(found) if isinstance(found, list) else found

        items = core_schema.list_schema(core_schema.with_info_plain_validator_function(self.item.validate))
        return core_schema.with_info_wrap_validator_function(each, items)

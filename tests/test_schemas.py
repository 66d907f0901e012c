"""Schemas from types: what is published is what the types say."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import click
import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surge.cli.tables import schema as schema_command
from surge.reports.document import Demand, JsonObject, as_json, as_text
from surge.schemas import FOLDER, NAMES, path_of, schema_of_type, text_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Knot(JsonObject):
    """A knot.

    What follows the first paragraph is for developers.
    """

    kind: Literal["bend", "hitch"] = "hitch"
    turns: Annotated[int, Demand(minimum=1)]
    """How often it goes round."""
    load_n: float | None
    rope: tuple[float, ...] = ()
    under: Knot | None = None
    """The knot below, if there is one."""


@pytest.mark.parametrize("name", NAMES)
def test_published_schema_is_the_generated_one(name: str) -> None:
    """To renew it: ``python -m surge.schemas``."""
    assert path_of(name).read_text(encoding="utf-8") == text_of(name)


def test_no_schema_is_kept_by_hand() -> None:
    published = {path.name.removesuffix(".schema.json") for path in FOLDER.iterdir()}
    assert published == set(NAMES)
    (choice,) = (p.type for p in schema_command.params if isinstance(p.type, click.Choice))
    assert set(choice.choices) == published


KNOT = Knot(turns=2, load_n=None, rope=(1.0, 2.5), under=Knot(turns=1, load_n=5.0))


def test_a_document_becomes_plain_data_and_keys_that_are_none_by_default_are_left_out() -> None:
    assert as_json({"knots": (KNOT,)}) == {
        "knots": [
            {
                "kind": "hitch",
                "turns": 2,
                "load_n": None,
                "rope": (1.0, 2.5),
                "under": {"kind": "hitch", "turns": 1, "load_n": 5.0, "rope": ()},
            }
        ]
    }
    assert as_json(KNOT)["rope"] is KNOT.rope


def test_numbers_of_numpy_are_numbers() -> None:
    document = as_json({"one": np.float64(1.5), "more": (np.float64(0.1), 2.5)})
    assert as_text(document) == json.dumps({"one": 1.5, "more": [0.1, 2.5]}, indent=1)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner) | st.lists(inner).map(tuple) | st.dictionaries(st.text(), inner),
)


@given(VALUES)
def test_the_text_of_a_document_is_that_of_the_library(plain: Any) -> None:
    assert as_text(plain) == json.dumps(plain, allow_nan=False, indent=1)


@pytest.mark.parametrize("plain", [math.nan, [1.0, math.inf], {"deep": [{"in": -math.inf}, 1]}])
def test_a_number_that_is_not_finite_is_refused(plain: Any) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        as_text(plain)


def test_what_is_no_part_of_a_document_is_refused() -> None:
    with pytest.raises(TypeError, match="complex"):
        as_json({"at": 1j})


def test_a_type_becomes_a_schema() -> None:
    schema = schema_of_type(Knot)["$defs"]["Knot"]
    assert schema["description"] == "A knot."
    assert schema["properties"]["turns"] == {
        "description": "How often it goes round.",
        "minimum": 1,
        "type": "integer",
    }
    assert schema["properties"]["under"] == {
        "$ref": "#/$defs/Knot",
        "description": "The knot below, if there is one.",
    }
    assert schema["required"] == ["kind", "turns", "load_n", "rope"]


@pytest.mark.parametrize(
    "damage",
    [
        {"turns": 0},
        {"turns": 1.5},
        {"kind": "splice"},
        {"load_n": "5 N"},
        {"rope": [1.0, None]},
        {"under": None},
        {"under": {"turns": 1}},
        {"more": 1},
    ],
)
def test_a_damaged_document_is_refused(damage: dict[str, Any]) -> None:
    whole = json.loads(json.dumps(as_json(KNOT)))
    schema = schema_of_type(Knot)
    jsonschema.validate(whole, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(whole | damage, schema)

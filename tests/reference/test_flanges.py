"""Class-150 ratings: figures, straight lines, refusals."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.errors import UnknownNameError
from surge.reference.flanges import (
    CLASS_150,
    SYSTEM_NOTE,
    OutsideTableError,
    class_150_rating,
    search,
)

materials = pytest.mark.parametrize("material", CLASS_150)


def bar(material: str, celsius: float) -> float:
    return class_150_rating(material, temperature=celsius + 273.15) / 1e5


# The figures of ASME B16.5 class 150; between them worked out by hand on a straight line.
@pytest.mark.parametrize(
    ("material", "celsius", "expected"),
    [
        ("carbon steel", -29.0, 19.6),
        ("carbon steel", 15.0, 19.6),
        ("carbon steel", 38.0, 19.6),
        ("carbon steel", 50.0, 19.2),
        ("carbon steel", 69.0, 18.63),  # 19.2 - 1.5 * 19/50
        ("carbon steel", 100.0, 17.7),
        ("carbon steel", 150.0, 15.8),
        ("carbon steel", 200.0, 13.8),
        ("stainless steel 316", 38.0, 19.0),
        ("stainless steel 316", 50.0, 18.4),
        ("stainless steel 316", 75.0, 17.3),
        ("stainless steel 316", 100.0, 16.2),
        ("stainless steel 316L", 38.0, 15.9),
        ("stainless steel 316L", 50.0, 15.3),
        ("stainless steel 316L", 60.0, 14.9),
        ("stainless steel 316L", 100.0, 13.3),
    ],
)
def test_figures(material: str, celsius: float, expected: float) -> None:
    assert bar(material, celsius) == pytest.approx(expected, abs=1e-6)


@materials
def test_every_row_has_source_status_and_range(material: str) -> None:
    row = CLASS_150[material]
    assert row.name == material
    assert "B16.5" in row.source
    assert row.status in ("read", "from memory")
    assert row.validity == "-29 to 200 C"
    assert SYSTEM_NOTE in row.note
    for (t0, p0), (t1, p1) in pairwise(row.table):
        assert t0 < t1
        assert p0 >= p1 > 10e5  # to what the note says that whole systems are commonly rated


def test_only_what_was_seen_is_marked_read() -> None:
    assert {name for name, row in CLASS_150.items() if row.status == "read"} == {"carbon steel"}


@materials
@given(st.floats(244.15, 473.15), st.floats(244.15, 473.15))
@settings(max_examples=60, deadline=None)
def test_never_rises_with_temperature_and_stays_in_the_table(material: str, one: float, two: float) -> None:
    cold, hot = sorted((one, two))
    row = CLASS_150[material]
    assert row.table[0][1] >= row.at(cold) >= row.at(hot) >= row.table[-1][1]


@materials
@pytest.mark.parametrize("celsius", [-29.01, -100.0, 200.01, 400.0, math.nan])
def test_outside_the_table_is_refused(material: str, celsius: float) -> None:
    with pytest.raises(OutsideTableError, match="only from -29 to 200 C"):
        bar(material, celsius)


def test_an_unknown_material_is_told_what_there_is() -> None:
    with pytest.raises(UnknownNameError, match="carbon steel; stainless steel 316; stainless steel 316L"):
        class_150_rating("bronze", temperature=300.0)


def test_search() -> None:
    assert [row.name for row in search("stainless")] == ["stainless steel 316", "stainless steel 316L"]
    assert [row.name for row in search("A105")] == ["carbon steel"]
    assert len(search("flange")) == 3

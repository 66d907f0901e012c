"""Reference values: complete, with a source, and the valve curves against worked-out flows."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from surge.hydraulics.formulas import restraint_factor
from surge.reference.materials import MATERIALS, RESTRAINTS
from surge.reference.valve_curves import RANGEABILITY, VALVE_CURVES


def ratio(name: str, opening: float) -> float:
    table = VALVE_CURVES[name].table
    for (x0, y0), (x1, y1) in pairwise(table):
        if x0 <= opening <= x1:
            return y0 + (y1 - y0) * (opening - x0) / (x1 - x0)
    raise AssertionError(opening)


def test_the_named_curves() -> None:
    assert set(VALVE_CURVES) == {"gate", "globe", "ball", "butterfly", "linear", "equal percentage"}


@pytest.mark.parametrize("name", VALVE_CURVES)
def test_a_curve_runs_from_shut_to_open(name: str) -> None:
    curve = VALVE_CURVES[name]
    assert curve.name == name
    assert curve.table[0] == (0.0, 0.0)
    assert curve.table[-1] == (1.0, 1.0)
    for (x0, y0), (x1, y1) in pairwise(curve.table):
        assert x1 > x0
        assert y1 >= y0
    assert curve.source
    assert curve.status in ("read", "from memory", "definition")


# K of a system, K of the open valve, where the valve stands; flow still passing at constant total head [%],
# worked out by hand from the loss factors of the table (whole per cent)
@pytest.mark.parametrize(
    ("name", "opening", "wide", "at_50", "at_200"),
    [
        ("gate", 0.25, 0.17, 82, 95),
        ("butterfly", 1 / 3, 0.24, 55, 79),
        ("ball", 1 / 3, 0.05, 44, 70),
        ("globe", 0.25, 9.0, 60, 82),
    ],
)
def test_flow_past_a_nearly_shut_valve(
    name: str, opening: float, wide: float, at_50: int, at_200: int
) -> None:
    for system, expected in ((50.0, at_50), (200.0, at_200)):
        passing = math.sqrt((system + wide) / (system + wide / ratio(name, opening) ** 2))
        assert 100 * passing == pytest.approx(expected, abs=0.6)


@pytest.mark.parametrize(
    ("name", "opening", "expected"),
    [
        ("gate", 0.75, 0.435),
        ("gate", 0.5, 0.194),
        ("butterfly", 1 - 10 / 90, 0.68),
        ("butterfly", 1 - 40 / 90, 0.15),
        ("butterfly", 1 - 5 / 90, 1.0),  # the smallest angle of the table counts as fully open
        ("ball", 1 - 20 / 90, 0.18),
        ("globe", 0.5, 0.5),
        ("linear", 0.37, 0.37),
        ("equal percentage", 0.5, 50**-0.5),
        ("equal percentage", 0.1, 50**-0.9),
    ],
)
def test_single_points(name: str, opening: float, expected: float) -> None:
    assert ratio(name, opening) == pytest.approx(expected, abs=0.005)


def test_equal_percentage_between_its_points_is_close_to_the_law() -> None:
    for k in range(100, 1001):
        x = k / 1000
        law = RANGEABILITY ** (x - 1)
        assert 0.0 <= ratio("equal percentage", x) / law - 1.0 < 0.02


def test_materials() -> None:
    assert {name for name, m in MATERIALS.items() if m.brittle} == {"cast iron", "GRP"}
    for name, material in MATERIALS.items():
        assert material.name == name
        assert 5e9 < material.modulus < 220e9
        assert 0.2 < material.poisson < 0.5
        assert "from memory" in material.source


def test_every_restraint_has_its_factor() -> None:
    for kind, text in RESTRAINTS.items():
        assert 0.8 < restraint_factor(kind, poisson=0.3) <= 1.0
        assert "c1 = " in text


def test_tables_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        VALVE_CURVES["gate"] = VALVE_CURVES["linear"]  # type: ignore[index]

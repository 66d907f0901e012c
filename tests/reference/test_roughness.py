"""Roughness bands: complete, in order, and what they do to friction."""

from __future__ import annotations

import pytest

from surge.errors import UnknownNameError
from surge.hydraulics.formulas import colebrook
from surge.reference.pipes import ROUGHNESS, roughness


@pytest.mark.parametrize("name", ROUGHNESS)
def test_every_row_has_source_status_and_range(name: str) -> None:
    row = ROUGHNESS[name]
    assert row.name == name
    assert row.source
    assert row.status == "from memory"
    assert "mm" in row.validity
    assert 1e-6 < row.low < row.high < 3e-3


def test_the_usual_figure_of_new_steel_is_inside() -> None:
    assert roughness("new steel").low < 0.045e-3 < roughness("new steel").high


def test_conditions_get_rougher() -> None:
    order = [
        "coated steel",
        "stainless steel",
        "new steel",
        "galvanised steel",
        "slightly rusted steel",
        "old steel",
    ]
    for one, other in zip(order, order[1:], strict=False):
        assert ROUGHNESS[one].high <= ROUGHNESS[other].high
        assert ROUGHNESS[one].low <= ROUGHNESS[other].low


@pytest.mark.parametrize("diameter", [0.2, 0.25, 0.3])
def test_a_rough_bore_loses_1_5_to_over_2_times_as_much(diameter: float) -> None:
    smooth = ROUGHNESS["smooth hose"]
    rough = ROUGHNESS["rough-bore hose"]
    between = (smooth.low + smooth.high) / 2
    low, high = (
        colebrook(1e6, e / diameter) / colebrook(1e6, between / diameter) for e in (rough.low, rough.high)
    )
    assert low == pytest.approx(1.5, abs=0.1)
    assert 2.0 < high < 3.0


def test_an_unknown_condition_is_told_what_there_is() -> None:
    with pytest.raises(UnknownNameError, match="new steel; stainless steel"):
        roughness("shiny")

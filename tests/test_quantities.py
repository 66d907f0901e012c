"""Units at the door: quantities of pint go in wherever a number does, and come out of every answer."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pint
import pytest
from support.demos import Demos

import surge
from surge.api.quantities import ENDINGS, with_units
from surge.arguments import si

ROOT = Path(__file__).parents[1]
CLOSING = ROOT / "cases" / "gas-oil-release-coupling.toml"
U = pint.get_application_registry()


@pytest.mark.parametrize(
    ("value", "dimension", "expected"),
    [
        (U.Quantity(2, "minute"), "time", 120.0),
        (U.Quantity(3600, "m**3/hour"), "flow", 1.0),
        (U.Quantity(15, "degC"), "temperature", 288.15),
        (7, "time", 7.0),
    ],
)
def test_a_quantity_is_converted_and_a_number_is_si(value: Any, dimension: str, expected: float) -> None:
    assert si("x", value, dimension=dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("value", [U.Quantity(2, "meter"), "2 s", None, True, [1.0], float("nan")])
def test_what_is_no_time_is_refused_with_its_name(value: Any) -> None:
    with pytest.raises(surge.ArgumentError, match="shortest "):
        si("shortest", value, dimension="time")


def test_ends_out_of_order_are_refused() -> None:
    rates = U.Quantity(900, "m**3/hour"), U.Quantity(200, "m**3/hour")
    with pytest.raises(surge.ArgumentError, match=r"rates 0\.25 and .*: write the smaller first"):
        surge.survey(CLOSING, rates=rates)


def test_windows_take_quantities() -> None:
    by_number = surge.find_windows(CLOSING, shortest=4.0, longest=20.0)
    by_quantity = surge.find_windows(
        CLOSING, shortest=U.Quantity(4000, "ms"), longest=U.Quantity(1, "minute") / 3
    )
    assert by_quantity.document() == by_number.document()
    with pytest.raises(ValueError, match="write the shorter first"):
        surge.find_windows(CLOSING, shortest=U.Quantity(1, "minute"), longest=20.0)


def test_chart_and_pictures_take_quantities(demos: Demos) -> None:
    rates = U.Quantity(200, "m**3/hour"), U.Quantity(600, "m**3/hour")
    chart = surge.survey(CLOSING, rates=rates, strokes=(4.0, U.Quantity(20, "s")), points=3)
    assert chart.rates[0] == pytest.approx(200 / 3600)
    checked = demos[CLOSING.stem].answer
    span = U.Quantity(8, "s"), U.Quantity(0.2, "minute")
    assert checked.draw(span=span, kind="svg") == checked.draw(span=(8.0, 12.0), kind="svg")


def test_a_list_at_a_temperature() -> None:
    warm = surge.list_known("liquids", ["benzene"], temperature=U.Quantity(30, "degC"))
    assert warm.document() == surge.list_known("liquids", ["benzene"], temperature=303.15).document()


def numbers(item: Any, key: str = "") -> list[tuple[str, float]]:
    """Every number below a key that ends in a unit."""
    if isinstance(item, dict):
        return [n for k, v in item.items() for n in numbers(v, k if key == "" or unit_of(k) else key)]
    if isinstance(item, list):
        return [n for child in item for n in numbers(child, key)]
    return [(key, float(item))] if isinstance(item, (int, float)) and not isinstance(item, bool) else []


def unit_of(key: str) -> str | None:
    return next((unit for ending, (unit, _) in ENDINGS.items() if key.endswith(ending)), None)


def test_every_number_with_a_unit_comes_out_as_a_quantity(demos: Demos) -> None:
    checked = demos[CLOSING.stem].answer
    document = checked.document()
    found = with_units(document)
    # Back to SI numbers it is the same document.
    plain: list[float] = []

    def walk(item: Any) -> None:
        if isinstance(item, dict):
            for child in item.values():
                walk(child)
        elif isinstance(item, list):
            for child in item:
                walk(child)
        elif isinstance(item, U.Quantity):
            plain.extend(np.ravel(item.to_base_units().magnitude).tolist())

    walk(found)
    wanted = [value for key, value in numbers(document) if unit_of(key)]
    assert len(wanted) > 100
    assert sorted(plain) == pytest.approx(sorted(wanted), rel=1e-12)


def test_a_peak_in_psi(demos: Demos) -> None:
    checked = demos["gasoline-through-cargo-pumps"].answer
    weakest = checked.quantities()["weakest"]
    assert weakest["pressure_gauge"].to("psi").magnitude == pytest.approx(
        checked.weakest.value / 6894.757293168, rel=1e-9
    )
    assert weakest["time"].check("[time]")


def test_only_asking_for_quantities_loads_pint() -> None:
    script = f"""
import sys, surge
checked = surge.check({str(CLOSING)!r})
checked.text(), checked.json()
print('pint' in sys.modules)
checked.quantities()
print('pint' in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]

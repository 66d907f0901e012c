"""Loss factors by name: against handbook figures that stand in no library, and how they behave."""

from __future__ import annotations

import subprocess
import sys
from pkgutil import iter_modules

import pytest

import surge.reference
from surge.errors import UnknownNameError
from surge.reference.fittings import FITTINGS, loss_factor, search
from surge.reference.pipes import pipe_size
from surge.reference.valves import complete_turbulence_factor

TWELVE_INCH = pipe_size("12 inch", schedule="standard").inside
CLEAN = 0.045e-3
fittings = pytest.mark.parametrize("name", FITTINGS)


@fittings
def test_every_row_has_source_status_and_range(name: str) -> None:
    row = FITTINGS[name]
    assert row.name == name
    assert "fluids." in row.source
    assert row.status in ("computed", "from memory")
    assert ("from memory" in row.source) == (row.status == "from memory")
    assert row.validity


@fittings
def test_the_typical_figure_is_that_of_clean_12_inch_pipe(name: str) -> None:
    k, source = loss_factor(name, diameter=TWELVE_INCH, roughness=CLEAN)
    assert k == pytest.approx(FITTINGS[name].typical, rel=0.03)
    assert source.startswith(FITTINGS[name].source)
    assert FITTINGS[name].status in source


# Multiples of fT that Crane TP 410 gives for the same bends, from memory: another formula, so within a fifth.
@pytest.mark.parametrize(
    ("name", "multiple"), [("long-radius elbow", 14.0), ("short-radius elbow", 20.0), ("wide bend", 16.0)]
)
@pytest.mark.parametrize("size", ["4 inch", "12 inch", "24 inch"])
def test_bends_against_another_source(name: str, multiple: float, size: str) -> None:
    diameter = pipe_size(size, schedule="standard").inside
    k, _ = loss_factor(name, diameter=diameter, roughness=CLEAN)
    assert k == pytest.approx(multiple * complete_turbulence_factor(diameter), rel=0.2)


@pytest.mark.parametrize("roughness", [0.0, CLEAN, 1e-3])
def test_order(roughness: float) -> None:
    def k(name: str) -> float:
        return loss_factor(name, diameter=0.2, roughness=roughness)[0]

    assert k("45 degree elbow") < k("long-radius elbow") < k("short-radius elbow") < k("mitre bend")
    assert k("tee, straight through") < k("tee, into branch")
    assert k("rounded entrance") < k("sharp entrance") < k("projecting entrance") < k("exit")


def test_a_rough_bend_loses_more() -> None:
    losses = [loss_factor("long-radius elbow", diameter=0.2, roughness=e)[0] for e in (0.0, CLEAN, 1e-3)]
    assert losses == sorted(losses)
    assert losses[0] < losses[2]


def test_an_unknown_fitting_is_told_what_there_is() -> None:
    with pytest.raises(UnknownNameError) as error:
        loss_factor("elbow", diameter=0.3, roughness=CLEAN)
    assert error.value.known == tuple(FITTINGS)


def test_search() -> None:
    assert {row.name for row in search("tee")} == {"tee, straight through", "tee, into branch"}
    assert {row.name for row in search("elbow 45")} == {"45 degree elbow"}
    assert len(search("fitting")) == len(FITTINGS)


def test_the_tables_load_without_the_heavy_libraries() -> None:
    modules = [f"surge.reference.{found.name}" for found in iter_modules(surge.reference.__path__)]
    assert "surge.reference.fittings" in modules
    code = f"import sys, {', '.join(modules)}; print(*{{'numpy', 'scipy', 'fluids'}} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "\n"

"""Wave speeds: what is left beside the checks of ``surge verify`` (``test_proof.py``)."""

from __future__ import annotations

import math

import pytest

from surge.hydraulics import formulas


def test_unknown_restraint_is_an_error() -> None:
    with pytest.raises(KeyError):
        formulas.restraint_factor("glued", poisson=0.3)


def test_hose_formula_agrees_with_korteweg() -> None:
    # a thin pipe swells by c1 D p/(E e): both formulas must give the same speed
    swell = 0.91 * 0.3 * 20e5 / (207e9 * 0.01)
    hose = formulas.hose_wave_speed(density=998.2, sound_speed=1482.0, swell=swell, pressure=20e5)
    pipe = formulas.wave_speed(
        density=998.2, sound_speed=1482.0, diameter=0.3, wall=0.01, modulus=207e9, c1=0.91
    )
    assert hose == pytest.approx(pipe, rel=1e-12)


@pytest.mark.parametrize(("density", "velocity"), [(998.2, 1.0), (740.0, 2.5)])
def test_instant_stop_is_a_product(density: float, velocity: float) -> None:
    rise = formulas.joukowsky(density=density, wave_speed=1200.0, velocity=velocity)
    assert math.isclose(rise, density * 1200.0 * velocity, rel_tol=1e-15)

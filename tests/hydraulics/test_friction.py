"""Friction and valve losses against an independent library and by their properties.

Single figures with their sources are checks of ``surge verify`` (``test_proof.py``).
Sources stand beside the checks; "classical" is what any textbook on pipe flow has.
"""

from __future__ import annotations

import math
from typing import Any

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from surge.hydraulics import formulas

G = 9.80665
quick = settings(max_examples=100, deadline=None)


# --- friction ----------------------------------------------------------------------------------------


def test_colebrook_against_fluids_over_the_whole_chart() -> None:
    reynolds = np.geomspace(4000.0, 1e9, 40)
    for rough in (0.0, 1e-7, 1e-5, 1e-3, 0.02, 0.05):
        oracle = [fluids.friction.Colebrook(float(re), rough) for re in reynolds]
        np.testing.assert_allclose(formulas.colebrook(reynolds, rough), oracle, rtol=1e-12)


@quick
@given(reynolds=st.floats(2000.0, 1e12), rough=st.floats(0.0, 0.5))
def test_colebrook_solves_its_equation(reynolds: float, rough: float) -> None:
    x = 1.0 / math.sqrt(formulas.colebrook(reynolds, rough))
    assert x == pytest.approx(-2.0 * math.log10(rough / 3.7 + 2.51 * x / reynolds), rel=1e-12)


def test_fully_rough_is_the_limit_of_colebrook() -> None:
    rough = np.array([1e-4, 1e-2, 0.05])
    np.testing.assert_allclose(formulas.fully_rough_factor(rough), formulas.colebrook(1e15, rough), rtol=1e-9)
    np.testing.assert_array_equal(formulas.fully_rough_factor(rough), formulas.colebrook(math.inf, rough))
    assert formulas.fully_rough_factor(0.0) == 0.0
    assert formulas.colebrook(math.inf, 0.0) == 0.0


@pytest.mark.parametrize("rough", [0.0, 1e-4, 0.05])
def test_friction_factor_between_the_regimes(rough: float) -> None:
    assert formulas.friction_factor(1000.0, rough) == pytest.approx(0.064)
    top = formulas.colebrook(4000.0, rough)
    assert formulas.friction_factor(3000.0, rough) == pytest.approx((0.032 + top) / 2, rel=1e-14)
    for edge, value in ((2000.0, 0.032), (4000.0, top)):
        for re in (edge * (1 - 1e-12), edge, edge * (1 + 1e-12)):
            assert formulas.friction_factor(re, rough) == pytest.approx(value, rel=1e-9)


def test_friction_factor_of_an_array_and_at_rest() -> None:
    got = formulas.friction_factor(np.array([0.0, 640.0, 1e5]), 1e-3)
    assert got.shape == (3,)
    assert got[0] == math.inf
    assert got[1] == pytest.approx(0.1)


def loss(flow: ArrayLike, **changes: float) -> Any:
    pipe = {
        "length": 100.0,
        "diameter": 0.25,
        "roughness": 4.5e-5,
        "viscosity": 1.25e-6,
        "minor_loss": 0.0,
        "gravity": G,
    }
    return formulas.head_loss(flow, **(pipe | changes))


def test_head_loss_against_fluids() -> None:
    # fluids.one_phase_dP, 50 kg/s of 800 kg/m3 and 1 mPa s: 4260.797 Pa
    oracle = fluids.one_phase_dP(m=50.0, rho=800.0, mu=1e-3, D=0.25, roughness=4.5e-5, L=100.0)
    assert oracle == pytest.approx(4260.797, abs=1e-3)
    assert float(loss(50.0 / 800.0)) * 800.0 * G == pytest.approx(oracle, rel=1e-12)


def test_head_loss_without_viscosity() -> None:
    velocity_head = (0.1 / (math.pi / 4 * 0.25**2)) ** 2 / (2 * G)
    factor = formulas.fully_rough_factor(4.5e-5 / 0.25)
    assert loss(0.1, viscosity=0.0) == pytest.approx(factor * 400.0 * velocity_head)
    assert loss(-0.1, viscosity=0.0, roughness=0.0) == 0.0
    assert loss(-0.1, viscosity=0.0, roughness=0.0, minor_loss=3.0) == pytest.approx(-3.0 * velocity_head)


def test_minor_loss_is_on_the_velocity_head_of_the_pipe() -> None:
    velocity_head = (0.1 / (math.pi / 4 * 0.25**2)) ** 2 / (2 * G)
    with_loss, without = loss(0.1, minor_loss=2.5), loss(0.1)
    assert with_loss - without == pytest.approx(2.5 * velocity_head)


def test_head_loss_near_rest_is_hagen_poiseuille() -> None:
    # 128 nu L Q/(pi g D**4), classical
    flow = np.array([-1e-5, -1e-200, 0.0, 1e-200, 1e-5])
    expected = 128 * 1.25e-6 * 100.0 * flow / (math.pi * G * 0.25**4)
    np.testing.assert_allclose(loss(flow), expected, rtol=1e-13)


pipes = {
    "roughness": st.floats(0.0, 0.05 * 0.25),
    "viscosity": st.one_of(st.just(0.0), st.floats(1e-8, 1e-2)),
    "minor_loss": st.floats(0.0, 100.0),
}


@quick
@given(low=st.floats(-3.0, 3.0), step=st.floats(1e-6, 1.0), **pipes)
def test_head_loss_rises_with_the_flow(low: float, step: float, **pipe: float) -> None:
    first, second = loss(np.array([low, low + step]), **pipe)
    if pipe["viscosity"] > 0.0 or pipe["roughness"] > 0.0 or pipe["minor_loss"] > 0.0:
        assert second >= first
    else:
        assert first == second == 0.0


@quick
@given(flow=st.floats(0.0, 3.0), **pipes)
def test_head_loss_is_odd(flow: float, **pipe: float) -> None:
    assert loss(-flow, **pipe) == -loss(flow, **pipe)


@quick
@given(edge=st.sampled_from([2000.0, 4000.0]), rough=pipes["roughness"], viscosity=st.floats(1e-8, 1e-2))
def test_head_loss_has_no_jump(edge: float, rough: float, viscosity: float) -> None:
    flow = edge * viscosity / 0.25 * (math.pi / 4 * 0.25**2)
    below, above = loss(flow * np.array([1 - 1e-12, 1 + 1e-12]), roughness=rough, viscosity=viscosity)
    assert below == pytest.approx(above, rel=1e-9)


# --- valves ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("density", [500.0, 740.0, 1000.0, 1830.0])
def test_kv_loss_is_the_definition_of_kv(density: float) -> None:
    # Q = Kv/3600 sqrt(dp/1e5 1000/rho), IEC 60534-1, turned round
    head = 7.3
    flow = 400.0 / 3600.0 * math.sqrt(density * G * head / 1e5 * 1000.0 / density)
    assert formulas.kv_loss(400.0, gravity=G) * flow**2 == pytest.approx(head, rel=1e-14)


def test_loss_factor_and_kv_against_fluids() -> None:
    # fluids rounds pi**2/8 ... to 1.6e9 in its formula: 0.1 %
    assert formulas.loss_factor_to_kv(16.0, diameter=0.1) == pytest.approx(100.0, rel=1e-3)
    assert formulas.loss_factor_to_kv(1.0, diameter=0.25) == pytest.approx(2500.0, rel=1e-3)
    oracle = fluids.fittings.K_to_Kv(12.0, 0.25)
    assert formulas.loss_factor_to_kv(12.0, diameter=0.25) == pytest.approx(oracle, rel=1e-3)


@quick
@given(factor=st.floats(0.01, 1e4), diameter=st.floats(0.02, 2.0))
def test_loss_factor_to_kv_keeps_the_head(factor: float, diameter: float) -> None:
    flow = 0.1
    head = factor * (flow / (math.pi / 4 * diameter**2)) ** 2 / (2 * G)
    kv = formulas.loss_factor_to_kv(factor, diameter=diameter)
    assert formulas.kv_loss(kv, gravity=G) * flow**2 == pytest.approx(head, rel=1e-12)

"""Gas all through the liquid: the speed of its waves, its limits, its error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import reservoir_line, run, step_at

from surge.hydraulics.formulas import mixture_speed
from surge.model.lineup import GRAVITY, LineUp, Liquid, Scenario
from surge.proof.cavities import gassy_stop
from surge.transient.gas import _extremes, run_with_gas, slowness
from surge.transient.plan import eased, first_duration, plan
from surge.transient.run import simulate
from surge.units import ATMOSPHERE

# Water in a rigid pipe at one atmosphere, K = 2.193e9 Pa, density 998.2: Wood's formula (from memory), worked
# with the density of the mixture, that is with 1 - V of the liquid's.
WOOD = ((1e-5, 1343.91), (1e-4, 833.29), (1e-3, 311.65), (1e-2, 101.03))


@pytest.mark.parametrize(("gas", "speed"), WOOD)
def test_the_speed_is_that_of_wood(gas: float, speed: float) -> None:
    c = (2.193e9 / 998.2) ** 0.5
    found = mixture_speed(wave_speed=c, density=998.2, gas=gas, pressure=ATMOSPHERE)
    assert found / (1.0 - gas) ** 0.5 == pytest.approx(speed, rel=2e-4)


@settings(max_examples=6, deadline=None)
@given(gas=st.floats(3e-4, 1e-2), pressure=st.floats(1.5e5, 1e6))
def test_the_speed_follows_the_pressure(gas: float, pressure: float) -> None:
    """A little stop at that pressure: its wave comes back, and rises, at the speed of the mixture."""
    expected = mixture_speed(wave_speed=1200.0, density=1000.0, gas=gas, pressure=pressure)
    by_time, by_rise = gassy_stop(gas, pressure)
    assert by_time == pytest.approx(expected, rel=5e-3)
    assert by_rise == pytest.approx(expected, rel=5e-3)


def test_no_gas_is_the_plain_line() -> None:
    """What a billionth of gas stores is a hundred-thousandth of what liquid and wall do."""
    liquid = Liquid(name="water", density=1000.0, sound_speed=1480.0, viscosity=0.0, vapour_pressure=0.0)
    lineup = reservoir_line(head=60.0, length=600.0, wave_speed=1200.0, velocity=0.3, liquid=liquid)
    plain, own = (run(lineup, 0.005, 6.0, ratio={"valve": step_at(0.005)}, gas=gas) for gas in (None, 1e-9))
    rise = 1200.0 * 0.3 / GRAVITY
    off = np.abs(own.head("before") - plain.head("before"))
    # Fronts come as much later as they are slower; away from them heads are the same.
    assert np.quantile(off, 0.98) < 1e-3 * rise
    assert slowness(plan(lineup, Scenario(name="still")), 1e-9) == pytest.approx(1.0, abs=2e-5)


def open_air(seed: int) -> tuple[LineUp, Scenario]:
    """A generated berth, short, in the open air, with a liquid that hardly boils."""
    lineup, scenario = generated(seed, size=0.15)
    return lineup.with_(atmosphere=ATMOSPHERE, liquid=replace(lineup.liquid, vapour_pressure=500.0)), scenario


# Two berths at which it takes a quarter, and a thirteenth, of an error; most take less, and longer to march.
@pytest.mark.slow
@pytest.mark.parametrize(("seed", "gas"), [(25, 1e-3), (9, 1e-4)])
def test_an_eighth_of_the_step_stays_within_the_error(seed: int, gas: float) -> None:
    lineup, scenario = open_air(seed)
    usual = simulate(lineup, scenario, quick=True)
    assert usual.vapour is None
    made = run_with_gas(lineup, scenario, usual, gas=gas)
    work = plan(lineup, scenario)
    first = work.last_event + (first_duration(work) - work.last_event) * slowness(work, gas)
    work = eased(work, first)
    _, finer = _extremes(work, gas, work.step() / 8, made.method.duration)
    for kind, owners in (("element", made.elements), ("place", made.places)):
        for own in owners:
            assert finer[kind, own.name, "high"].pressure < own.highest.pressure + own.highest.error
            assert finer[kind, own.name, "low"].pressure > own.lowest.pressure - own.lowest.error

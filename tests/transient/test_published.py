"""Transients against closed forms, beyond the checks of ``surge verify`` (``test_proof.py``).

The method is exact for frictionless flow at Courant number 1, so there a tolerance is rounding.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from support.lineups.lines import line_up, pipe, reservoir_line, run, step_at, valve

from surge.model.lineup import GRAVITY as G
from surge.proof.allievi import PHASE, ROWS, AllieviRow, chain, greatest, heads


def test_a_slow_closure_approaches_the_rigid_column_as_the_line_gets_stiffer() -> None:
    """Elastic, theta = aT/2L = 10: within 1 % (at theta = 8 Allievi's chain itself is 1.2 % above); the
    excess is a ripple that falls as the wave speed grows. The limit itself is a check."""
    n = (1000 * 1 / (G * 50 * 20)) ** 2
    exact = 1 + n / 2 + math.sqrt(n + n * n / 4)
    excess = []
    for a in (1000.0, 1600.0, 3200.0):
        lineup = reservoir_line(head=50, length=1000, wave_speed=a, velocity=1)
        made = run(lineup, 1000 / a / 20, 20.0, ratio={"valve": ((0.0, 1.0), (20.0, 0.0))})
        excess.append(made.head("before").max() / 50 - exact)
    assert all(0 <= e < 0.01 for e in np.array(excess) + 1e-9)
    assert excess[0] > 1e-3
    assert max(np.abs(excess[1:])) < 1e-6


@pytest.mark.parametrize(("share", "units"), [(0.95, 3.6636), (0.99, 5.2933)])
@pytest.mark.parametrize("friction", [True, False])
def test_establishment_of_flow(share: float, units: float, friction: bool) -> None:
    """t = L Vf/(2 g H) ln((Vf + V)/(Vf - V)) (classical, rigid column): 3.6636 and 5.2933 times L Vf/(2gH)
    to 95 and 99 %. An elastic line climbs by stairs of one pipeline period around it: so a running mean
    over a period, and a period as the tolerance."""
    length, head, a, d, f = 1000.0, 2.0, 1200.0, 0.5, 0.02
    assert math.log((1 + share) / (1 - share)) == pytest.approx(units, abs=1e-4)
    area = math.pi / 4 * d**2
    vf = math.sqrt(2 * G * head / (f * length / d))
    # All loss in the pipe (a valve wide enough to take next to nothing), or all in the valve.
    c = 1e3 if friction else area * vf / math.sqrt(head)
    lineup = line_up(
        [
            pipe("line", "tank", "before", length, a, diameter=d, friction_factor=f if friction else 0.0),
            valve("valve", "before", "out", c),
        ],
        {"tank": head, "out": 0.0},
    )
    unit = length * vf / (2 * G * head)
    dt = length / a / 20
    made = run(lineup, dt, 8 * unit, ratio={"valve": step_at(dt, 0.0, 1.0)}, shut=("valve",))
    flow = np.convolve(made.flow("valve"), np.full(41, 1 / 41), mode="same")
    reached = made.time[int(np.argmax(flow >= share * area * vf))]
    assert reached == pytest.approx(units * unit, abs=2 * length / a)
    assert made.flow("valve")[-1] == pytest.approx(area * vf, rel=2e-3)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.rho:g}-{r.theta:g}")
def test_allievi_at_every_instant(row: AllieviRow) -> None:
    """Not only at whole phases: the chain that passes through an instant gives it to rounding."""
    h = heads(row)
    phases = int(row.theta) + 4
    for k in (1, 7, 23, 40, 64, greatest(row), PHASE):
        exact = chain(row.rho, row.theta, phases, k / PHASE)
        assert h[k::PHASE][: len(exact)] == pytest.approx(exact, rel=1e-9, abs=1e-9)


def test_the_chain_is_not_the_program() -> None:
    """Its first phase in closed form (from memory)."""
    rho, theta = 2.0, 4.0
    eta = 1 - 1 / theta
    z = -rho * eta + math.sqrt((rho * eta) ** 2 + 1 + 2 * rho)
    assert chain(rho, theta, 1, 1.0)[0] == pytest.approx(z * z, rel=1e-12)

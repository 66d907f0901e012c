"""The kernel as plain Python and compiled: the same to the last bit of what matters.

Runs twice in CI, once with NUMBA_DISABLE_JIT=1, so that a fault shows a readable traceback.
"""

from __future__ import annotations

import numpy as np
import pytest
from support.lineups.lines import start
from support.plain_march import FROZEN_PEAK, lineup, marched

from surge.kernel.laws import solve_dense, table_loss
from surge.kernel.orifices import orifice_flow
from surge.transient.links import Laws


def test_steady_stays_steady() -> None:
    run = marched(120, Laws(ratio={}, speed={}))
    # Heads of 100 m, 120 steps: rounding only.
    assert np.ptp(np.vstack(run.heads), axis=0).max() < 1e-9


def test_closure_against_the_pump() -> None:
    run = marched(150, Laws(ratio={"manifold": ((0.0, 1.0), (2.0, 0.0))}, speed={}))
    index = run.grid.points.index("manifold")
    heads = np.vstack(run.heads)[:, index]
    # At 7.5 s the line has rung down to no flow; the peak is above shut-off head (10 + 80 m), which
    # nothing can be below for ever, and below the steady head plus the whole velocity head J.
    assert heads.max() == pytest.approx(FROZEN_PEAK, rel=1e-9)
    assert heads.max() > 90.0


@pytest.mark.parametrize(("gas", "expected"), [(0.0, 0.3870849708822197), (1e-7, 0.38658780757541145)])
def test_cavities(gas: float, expected: float) -> None:
    # Frozen regression, as below: largest volume.
    shuts = {"manifold": ((0.0, 1.0), (0.1, 1.0), (0.2, 0.0))}
    made = start(lineup(), 0.05, ratio=shuts, gas=gas)
    made.advance(120)
    assert made.marched.largest() == pytest.approx(expected, rel=1e-9)


def test_unsteady_friction() -> None:
    # Frozen regression, as above. A little above that of steady friction: the wall holds a change back.
    made = start(lineup(), 0.05, ratio={"manifold": ((0.0, 1.0), (2.0, 0.0))}, unsteady=True)
    made.advance(150)
    heads = made.head("manifold")
    assert heads.max() == pytest.approx(504.0128369828911, rel=1e-9)
    assert FROZEN_PEAK < heads.max() < 1.01 * FROZEN_PEAK


def test_orifice_flow_solves_its_equation() -> None:
    for drive in (-50.0, -1e-9, 0.0, 1e-6, 30.0):
        for c2 in (0.0, 1e-20, 1e-6, 1e-2):
            q = orifice_flow(drive, 200.0, c2)
            if c2 > 0:
                assert 200.0 * q * c2 + q * abs(q) == pytest.approx(drive * c2, rel=1e-12, abs=1e-30)
            else:
                assert q == 0.0


def test_table_goes_on_squared() -> None:
    table = np.array([[0.0, 1.0, 4.0]])
    assert table_loss(1.5, 1.0, 0, table) == (2.5, 3.0)
    assert table_loss(4.0, 1.0, 0, table)[0] == pytest.approx(16.0)


def test_solve_dense_needs_its_pivot() -> None:
    matrix = np.array([[0.0, 2.0], [1.0, 1.0]])
    rhs = np.array([4.0, 3.0])
    assert solve_dense(matrix, rhs, 2)
    assert rhs == pytest.approx([1.0, 2.0])
    assert not solve_dense(np.zeros((2, 2)), rhs, 2)

"""The batch kernel as plain Python and compiled: a small line-up with every kind of link.

Made to be run with NUMBA_DISABLE_JIT=1 as well, so that a fault shows a readable traceback.
"""

from __future__ import annotations

import pytest
from support.plain_march import FROZEN_PEAK, marched

from surge.transient.batch import march_batch
from surge.transient.batch_lane import Lane
from surge.transient.links import Laws
from surge.transient.march import Marched

# All lanes take every step of the arithmetic, and what a shut valve divides by nought is dropped:
# plain numpy warns of it, compiled code does not.
pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")

STROKES = (2.0, 3.0)


def lanes(steps: int) -> list[Lane]:
    """The closures of :mod:`test_march_plain` at two stroke times, on grids that stand at time 0."""
    laws = [Laws(ratio={"manifold": ((0.0, 1.0), (t, 0.0))}, speed={}) for t in STROKES]
    return [Lane(grid=marched(0, law).grid, steps=steps - i) for i, law in enumerate(laws)]


@pytest.mark.parametrize("frozen", [True, False])
def test_two_closures(frozen: bool) -> None:
    found = march_batch(lanes(21), frozen=frozen)
    for lane, result in zip(lanes(21), found, strict=True):
        one = Marched(grid=lane.grid, frozen=frozen, stride=1)
        one.advance(lane.steps)
        assert result.point_hi == pytest.approx(one.point_hi, abs=1e-9)
        for mine, its in zip(one.envelope(), result.envelope(), strict=True):
            for x, y in zip(mine, its, strict=True):
                assert y == pytest.approx(x, abs=1e-9)


def test_peak_of_the_compiled_single_march() -> None:
    lane = lanes(150)[0]
    result = march_batch([lane], frozen=False, watch="places")[0]
    assert result.point_hi[lane.grid.points.index("manifold")] == pytest.approx(FROZEN_PEAK, rel=1e-9)

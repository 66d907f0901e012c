"""Observed order of convergence, and lumped elements against gridded ones."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from support.lineups.lines import hosed, run

from surge.model.lineup import Table
from surge.proof.packing import rough_line, single_line


def _orders(value: Callable[[int], float], first: int, count: int = 5) -> list[float]:
    """Observed orders: log2 of the ratio of successive differences, each grid twice as fine."""
    values = [value(first * 2**k) for k in range(count)]
    steps = np.abs(np.diff(values))
    return [float(math.log2(a / b)) for a, b in zip(steps, steps[1:], strict=False)]


@pytest.mark.parametrize("time", [1.0, 1.5])
def test_smooth_closure_converges_to_second_order(time: float) -> None:
    """Head at the valve of the textbook line while it closes: friction belongs to the middle of a reach."""

    def value(n: int) -> float:
        return single_line(n, time).at("before", time)

    orders = _orders(value, 10)
    assert all(1.8 < o < 2.2 for o in orders), orders


def test_behind_an_instant_stop() -> None:
    """Line packing with quadratic friction, 9 s after the stop. The front carries half a reach's friction,
    which shows at every second step: first order, on the high side. The steps between are within 1.2e-4 of
    the limit on 20 reaches already. Until it is looked up a node behind the front has the tangent at the flow
    before it, and charges 4 t (1 - t)^2 e^2 of the instant stop's rise too much: t = tanh(f V x/(4 D a)),
    what flows there of the flow before, e = f V dx/(4 D a). The wave that comes back at 9 s met the front at
    4500 m: 7.5e-5 of the limit in each such node, of which it passes one to four, 2.5 on average."""

    def values(n: int) -> tuple[float, float]:
        made = rough_line(n, mid=600.0, duration=9.9)
        k = round(9.0 / made.marched.grid.reaches.dt)
        h = made.head("before")
        # One step after the stop is elapsed time 0.
        return float(h[k + 1]), float((h[k + 2] + h[k]) / 2)

    found = {n: values(n) for n in (20, 40, 80, 160, 320)}
    orders = _orders(lambda n: found[n][0], 20)
    assert all(0.95 < o < 1.05 for o in orders), orders
    between = np.array([found[n][1] for n in found])
    away = np.abs(between[:-1] - between[-1])
    assert np.all(away[1:] < away[:-1] / 2)
    assert away.max() < 1.2e-4 * between[-1]
    assert all(high > low for high, low in found.values())


CLOSE: Table = ((0.0, 1.0), (3.0, 0.0))


def test_a_lumped_hose_is_near_a_gridded_one() -> None:
    """Travel time of the hose 0.03 s: lumped at steps above it, on the grid at 1 ms; the stroke takes 3 s.
    Steps that fit the two lines exactly, so that only the lump is seen: a lump's error goes by the square of
    its own time over the time in which pressures change, (0.03/1)^2, so 0.1 % of the rise. In two parts it is
    another answer, but as near."""

    def peak(dt: float, parts: int = 1) -> float:
        made = run(hosed(), dt, 8.0, ratio={"valve": CLOSE}, parts=parts)
        assert (made.marched.grid.reaches.count[1] == 0) == (dt > 0.03)
        return float(made.head("before").max())

    exact = peak(0.001)
    rise = exact - 40.0
    assert rise > 50
    for dt in (0.1, 0.05, 1 / 30):
        assert abs(peak(dt) - exact) < 1e-3 * rise
        assert 0 < abs(peak(dt, 2) - peak(dt)) < 1e-3 * rise


def test_a_shorter_lump_is_a_smaller_error() -> None:
    """The lumped hose, 16, 8 and 4 m: against the grid that has reaches for it, an error that falls with
    it."""

    def miss(length: float) -> float:
        def history(dt: float) -> np.ndarray:
            made = run(hosed(length), dt, 8.0, ratio={"valve": CLOSE})
            return made.head("before")[:: round(0.1 / dt)]

        return float(np.abs(history(0.05) - history(0.001)).max())

    assert miss(4.0) < miss(8.0) < miss(16.0)

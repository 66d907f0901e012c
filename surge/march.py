"""One march of one scenario on one grid: from arrays to extremes of places and pipes.

Heads [m]; conversion to pressure is done by the caller.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from surge.boundaries import (
    E_POINT,
    E_X,
    E_Y,
    L_Q,
    NOT_CONVERGED,
    NOT_FINITE,
    OK,
    P_H,
    P_HI,
    P_HI_STEP,
    P_LO,
    P_LO_STEP,
    STOPPED_AT_VAPOUR,
)
from surge.errors import SolveError
from surge.grid import Grid
from surge.kernel import march

Array = NDArray[np.float64]

CHUNK = 1e8  # nodes times steps between two looks: an interrupt is heeded then
KEPT = 3000  # samples of a thinned history, about

_WHY = {
    NOT_CONVERGED: "the flow at a valve or pump did not converge",
    NOT_FINITE: "the computation overflowed",
}


@dataclass(kw_only=True, eq=False)
class Marched:
    """State and records of a march that can go on.

    Attributes
    ----------
    grid : Grid
    frozen : bool
        Friction frozen at the initial flow.
    stride : int
        Every how many steps the histories are kept.
    done : int
        Steps done.
    time, heads, flows : list of ndarray
        Histories in parts: instants [s]; heads of points [m]; flows of links, then into pipe ends [m3/s].
    stopped : bool
        The liquid boiled and the march was to stop there; ``grid.net.found`` is the place.
    """

    grid: Grid
    frozen: bool
    stride: int
    done: int = 0
    stopped: bool = False
    time: list[Array] = field(default_factory=list)
    heads: list[Array] = field(default_factory=list)
    flows: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.time.append(np.zeros(1))
        self.heads.append(self.grid.net.pf[:, P_H][None, :].copy())
        self.flows.append(self._flows_now()[None, :])

    @property
    def point_hi(self) -> Array:
        """Highest heads so far, shape (points,) [m]."""
        highest: Array = self.grid.net.pf[:, P_HI]
        return highest

    @property
    def point_lo(self) -> Array:
        """Lowest heads so far, shape (points,) [m]."""
        lowest: Array = self.grid.net.pf[:, P_LO]
        return lowest

    @property
    def point_steps(self) -> NDArray[np.int64]:
        """Steps of the highest and lowest heads, shape (points, 2)."""
        steps: NDArray[np.int64] = self.grid.net.pi[:, P_HI_STEP : P_LO_STEP + 1]
        return steps

    @property
    def probe_step(self) -> NDArray[np.int64]:
        """Steps of the highest and lowest heads at the probes, shape (probes, 2)."""
        steps: NDArray[np.int64] = self.grid.net.probe_step
        return steps

    def _flows_now(self) -> Array:
        net = self.grid.net
        ends = (net.pf[net.ei[:, E_POINT], P_H] - net.ef[:, E_X]) * net.ef[:, E_Y]
        return np.concatenate([net.lf[:, L_Q], ends])

    def advance(self, steps: int, *, to_vapour: bool = False) -> None:
        """March ``steps`` more, or only to the instant at which the liquid first boils.

        Raises
        ------
        SolveError
            When the march ends with a status that is not an answer.
        """
        left = steps
        most = max(1, int(CHUNK / max(self.grid.reaches.nodes, 100)))
        while left > 0 and not self.stopped:
            n = min(left, most)
            left -= n
            self._chunk(n, to_vapour)

    def _chunk(self, n: int, to_vapour: bool) -> None:
        net, dt, stride = self.grid.net, self.grid.reaches.dt, self.stride
        room = (self.done + n) // stride - self.done // stride
        heads = np.empty((room, net.pf.shape[0]))
        flows = np.empty((room, net.lf.shape[0] + net.ef.shape[0]))
        status, count, rows = march(net, self.done, n, dt, self.frozen, to_vapour, stride, heads, flows)
        if status not in (OK, STOPPED_AT_VAPOUR):
            raise SolveError(f"{_WHY[status]} at {(self.done + count) * dt:.3f} s")
        self.stopped = status == STOPPED_AT_VAPOUR
        self.time.append((self.done // stride + 1 + np.arange(rows)) * stride * dt)
        self.heads.append(heads[:rows])
        self.flows.append(flows[:rows])
        self.done += count

    def envelope(self) -> tuple[list[Array], list[Array]]:
        """Highest and lowest head at the nodes of every pipe [m]; empty for lumped ones."""
        net, grid = self.grid.net, self.grid
        size = net.hi.size
        now = net.p[net.window[0] : net.window[0] + size] + net.m[net.window[1] : net.window[1] + size]
        hi, lo = 0.5 * np.maximum(net.hi, now), 0.5 * np.minimum(net.lo, now)
        highest, lowest = [], []
        for (start, end), at in zip(grid.pipe_points, grid.nodes, strict=True):
            high, low = hi[at], lo[at]
            if at.size:
                # The march writes ends after its pass: their extremes are those of their points.
                high[[0, -1]] = self.point_hi[[start, end]]
                low[[0, -1]] = self.point_lo[[start, end]]
            highest.append(high)
            lowest.append(low)
        return highest, lowest

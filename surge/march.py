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
    STOPPED_AT_VAPOUR,
)
from surge.errors import SolveError
from surge.grid import Grid
from surge.kernel import march

Array = NDArray[np.float64]

CHUNK = 2048  # steps between two looks at the histories
ROUNDING = 1e-9  # [m] a head that beats an extreme by less is the same
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
    point_hi, point_lo : ndarray of shape (points,)
        Extreme heads, with ``point_hi_step`` and ``point_lo_step``; likewise for probes.
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
        now = self.grid.net.pf[:, P_H].copy()
        self.point_hi, self.point_lo = now.copy(), now.copy()
        self.point_hi_step, self.point_lo_step = np.zeros(now.size, int), np.zeros(now.size, int)
        probe = self.probe_heads()
        self.probe_hi, self.probe_lo = probe.copy(), probe.copy()
        self.probe_hi_step, self.probe_lo_step = np.zeros(probe.size, int), np.zeros(probe.size, int)
        self.time.append(np.zeros(1))
        self.heads.append(now[None, :])
        self.flows.append(self._flows_now()[None, :])

    def _flows_now(self) -> Array:
        net = self.grid.net
        ends = (net.pf[net.ei[:, E_POINT], P_H] - net.ef[:, E_X]) * net.ef[:, E_Y]
        return np.concatenate([net.lf[:, L_Q], ends])

    def probe_heads(self) -> Array:
        """Heads at the probes now [m]."""
        net = self.grid.net
        return np.asarray(0.5 * (net.p[net.window[0] + net.probe] + net.m[net.window[1] + net.probe]))

    def advance(self, steps: int, *, to_vapour: bool = False) -> None:
        """March ``steps`` more, or only to the instant at which the liquid first boils.

        Raises
        ------
        SolveError
            When the march ends with a status that is not an answer.
        """
        left = steps
        while left > 0 and not self.stopped:
            n = min(left, CHUNK)
            left -= n
            self._chunk(n, to_vapour)

    def _chunk(self, n: int, to_vapour: bool) -> None:
        net, dt = self.grid.net, self.grid.reaches.dt
        heads = np.empty((n, net.pf.shape[0]))
        flows = np.empty((n, net.lf.shape[0] + net.ef.shape[0]))
        probes = np.empty((n, net.probe.size))
        status, count = march(net, self.done, n, dt, self.frozen, to_vapour, heads, flows, probes)
        if status not in (OK, STOPPED_AT_VAPOUR):
            raise SolveError(f"{_WHY[status]} at {(self.done + count) * dt:.3f} s")
        heads, flows, probes = heads[:count], flows[:count], probes[:count]
        self.stopped = status == STOPPED_AT_VAPOUR
        if count:
            self._keep(heads, self.point_hi, self.point_lo, self.point_hi_step, self.point_lo_step)
            self._keep(probes, self.probe_hi, self.probe_lo, self.probe_hi_step, self.probe_lo_step)
            first = (-(self.done + 1)) % self.stride
            self.time.append((self.done + 1 + np.arange(first, count, self.stride)) * dt)
            self.heads.append(heads[first :: self.stride])
            self.flows.append(flows[first :: self.stride])
        self.done += count

    def _keep(self, rows: Array, hi: Array, lo: Array, hi_step: Array, lo_step: Array) -> None:
        """Take the extremes of ``rows`` into the running ones, the first instant of each."""
        if rows.shape[1] == 0:
            return
        for best, step, at, sign in (
            (hi, hi_step, rows.argmax(axis=0), 1.0),
            (lo, lo_step, rows.argmin(axis=0), -1.0),
        ):
            value = rows[at, np.arange(rows.shape[1])]
            # Rounding about a steady value is no extreme: it would only move its time.
            new = sign * (value - best) > ROUNDING
            best[new] = value[new]
            step[new] = self.done + 1 + at[new]

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

"""One march of one scenario on one grid: from arrays to extremes of places and pipes.

Heads [m]; conversion to pressure is done by the caller.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np

from surge.arrays import Array, Ints
from surge.effort import compiling, spend
from surge.errors import SolveError
from surge.kernel.columns import (
    L_KIND,
    NOT_CONVERGED,
    NOT_FINITE,
    OK,
    P_HI,
    P_HI_STEP,
    P_LO,
    P_LO_STEP,
    PUMP,
    STOPPED_AT_VAPOUR,
    T_AT,
)
from surge.kernel.compiled import AROUND as AROUND_COMPILING
from surge.kernel.march import march
from surge.transient.grid import Grid
from surge.transient.spans import Spans
from surge.transient.watch import Watch
from surge.workers import TURNS

CHUNK = 1e8  # nodes times steps between two looks: an interrupt is heeded then
STEPS_KEPT = 3000  # samples of a thinned history, about
STILL_WORK = 2e6  # nodes times steps that the look at the steady flow may take
STILL_STEPS = 50  # but not fewer steps than this
AT_REST = 4096  # steps in which nothing moves that are told at once
AROUND = 2  # steps before and after an extreme that tell what lies between

AROUND_COMPILING.append(compiling)

_WHY = {
    NOT_CONVERGED: "the flow at a valve or pump did not converge",
    NOT_FINITE: "the computation overflowed",
}


# Room of stretches that are over, for the next ones: fresh memory took a quarter of a small march.
KEPT_ROOMS = 4  # some 4 MB each; our own choice
_ROOMS: deque[Array] = deque(maxlen=KEPT_ROOMS)


@contextmanager
def _room(size: int) -> Iterator[Array]:
    """Give room for ``size`` numbers; what is not copied out of it is lost at the end."""
    try:
        room = _ROOMS.pop()
    except IndexError:
        room = np.empty(0)
    if room.size < size:
        room = np.empty(size)
    yield room[:size]
    _ROOMS.append(room)


def keep_still(march: Marched) -> None:
    """March a copy of a march's grid in which nothing moves, for about one travel time of its longest pipe.

    For scenarios in which something moves from the first instant on, so that the march itself cannot show
    that it keeps the steady flow.

    Raises
    ------
    SolveError
        When the flow does not stay as it is.
    """
    grid = march.grid
    steps = int(min(max(grid.reaches.count) + 2, max(STILL_STEPS, STILL_WORK / max(grid.reaches.nodes, 1))))
    own = type(grid.net)(*(a.copy() for a in grid.net._replace(law_i=grid.net.law_i[:0])))
    own.lf[own.li[:, L_KIND] == PUMP, T_AT] = np.inf  # none trips
    type(march)(grid=replace(grid, net=own), frozen=march.frozen, stride=steps).advance(steps)


def beyond(heads: Array) -> Array:
    """Return by how much a peak between two steps may rise above the highest of five heads [m].

    A corner of a history falls between two steps, and what they have of it depends on where. Straight lines
    through the two heads before and the two behind meet where it would be; on a rounded peak they meet too
    high.

    Parameters
    ----------
    heads : ndarray, shape (n, 5)
        At five steps, the highest in the middle [m].

    Returns
    -------
    ndarray, shape (n,)
        [m], nought or more.
    """

    def meet(one: Array, two: Array, three: Array, four: Array) -> Array:
        rise, fall = two - one, three - four
        both = rise + fall
        share = np.divide(three - two + fall, both, out=np.zeros_like(both), where=both > 0.0)
        above: Array = np.maximum(rise, 0.0) * np.clip(share, 0.0, 1.0)
        return np.where((rise > 0.0) & (fall > 0.0), above + two, two)

    a, b, c, d, e = heads.T
    found: Array = np.maximum(np.maximum(meet(a, b, c, d), meet(b, c, d, e)) - c, 0.0)
    return found


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
    between : ndarray, shape (points, 2)
        By how much the highest and the lowest head may lie beyond what the steps have of it [m].
    tail : ndarray, shape (2 AROUND + 1, points)
        Heads of the last steps [m].
    span : float
        Length of the spans of time whose extremes are kept [s]; infinite where none are.
    """

    grid: Grid
    frozen: bool
    stride: int
    span: float = np.inf
    done: int = 0
    stopped: bool = False
    time: list[Array] = field(default_factory=list)
    heads: list[Array] = field(default_factory=list)
    flows: list[Array] = field(default_factory=list)
    watch: Watch = field(init=False)
    between: Array = field(init=False)
    tail: Array = field(init=False)
    spans: Spans | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.watch = self._watch()
        self.time.append(np.zeros(1))
        self.heads.append(self.watch.heads[None, :])
        self.flows.append(self.watch.flows[None, :])
        self.between = np.zeros((self.watch.heads.size, 2))
        self.tail = np.repeat(self.heads[0], 2 * AROUND + 1, axis=0)
        if np.isfinite(self.span):
            self.spans = Spans(steps=self.span / self.grid.reaches.dt, start=self.heads[0][0])

    def _watch(self) -> Watch:
        return Watch(self.grid)

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
    def point_steps(self) -> Ints:
        """Steps of the highest and lowest heads, shape (points, 2)."""
        steps: Ints = self.grid.net.pi[:, P_HI_STEP : P_LO_STEP + 1]
        return steps

    @property
    def probe_step(self) -> Ints:
        """Steps of the highest and lowest heads at the probes, shape (probes, 2)."""
        steps: Ints = self.grid.net.probe_step
        return steps

    def advance(self, steps: int, *, to_vapour: bool = False) -> None:
        """March ``steps`` more, or only to the instant at which the liquid first boils.

        Raises
        ------
        SolveError
            When the march ends with a status that is not an answer, or the watch finds a fault in it.
        """
        left = steps
        most = max(1, int(CHUNK / max(self.grid.reaches.nodes, 100)))
        while left > 0 and not self.stopped:
            n = min(left, most, self.watch.steps(self.done))
            left -= n
            spend(n * self.grid.effort)
            self._chunk(n, to_vapour)

    def advance_to(self, time: float, *, to_vapour: bool = False) -> None:
        """March on to the first step at or after ``time`` [s]; see :meth:`advance`."""
        self.advance(int(np.ceil(time / self.grid.reaches.dt)) - self.done, to_vapour=to_vapour)

    def rest(self, steps: int) -> None:
        """Let ``steps`` pass in which nothing moves: none of them is made. For a march at its beginning."""
        heads, flows = self.heads[0], self.flows[0]
        kept = np.arange(self.stride, steps + 1, self.stride)
        self.time.append(kept.astype(float) * self.grid.reaches.dt)
        self.heads.append(np.repeat(heads, kept.size, axis=0))
        self.flows.append(np.repeat(flows, kept.size, axis=0))
        if self.spans:
            same = np.repeat(heads, min(steps, AT_REST), axis=0)
            for done in range(0, steps, AT_REST):
                self.spans.look(done, same[: steps - done])
        self.done = steps

    def _chunk(self, n: int, to_vapour: bool) -> None:
        points, rows = self.watch.heads.size, n + 1
        with TURNS, _room(rows * (points + self.watch.flows.size)) as room:
            heads, flows = room[: rows * points], room[rows * points :]
            self._into(n, to_vapour, heads.reshape(rows, points), flows.reshape(rows, -1))

    def _into(self, n: int, to_vapour: bool, heads: Array, flows: Array) -> None:
        """March ``n`` steps, with room for heads and flows of every step and of the one before the first."""
        dt, stride = self.grid.reaches.dt, self.stride
        heads[0], flows[0] = self.watch.heads, self.watch.flows
        status, count = self._march(n, to_vapour, heads[1:], flows[1:])
        if status not in (OK, STOPPED_AT_VAPOUR):
            raise SolveError(f"{_WHY[status]} at {(self.done + count) * dt:.3f} s")
        self.stopped = status == STOPPED_AT_VAPOUR
        self.watch.look(self.done, heads[: count + 1], flows[: count + 1])
        self._look_between(heads[1 : count + 1])
        if self.spans:
            self.spans.look(self.done, heads[1 : count + 1])
        kept = slice(stride - self.done % stride, count + 1, stride)
        self.heads.append(heads[kept].copy())
        self.flows.append(flows[kept].copy())
        first = self.done // stride + 1
        self.time.append(np.arange(first, first + self.heads[-1].shape[0]) * stride * dt)
        self.done += count

    def _march(self, n: int, to_vapour: bool, heads: Array, flows: Array) -> tuple[int, int]:
        """March ``n`` steps into histories; a status, and the steps done."""
        dt = self.grid.reaches.dt
        status, count, _ = march(self.grid.net, self.done, n, dt, self.frozen, to_vapour, 1, heads, flows)
        return status, count

    def _look_between(self, heads: Array) -> None:
        """What lies between the steps at extremes of the last steps; heads (steps, points) [m]."""
        now = self.tail.shape[0] - 1  # the row of the instant at which these steps began, behind the tail
        steps = self.point_steps
        # Before, not all that comes after it was there.
        at, column = np.nonzero(steps > self.done - AROUND)
        if at.size:
            around = np.arange(-AROUND, AROUND + 1)
            rows = now + steps[at, column][:, None] - self.done + around
            rows = np.minimum(rows, now + heads.shape[0])
            late = rows > now
            seen = np.where(
                late,
                heads[np.maximum(rows - now - 1, 0), at[:, None]],
                self.tail[np.minimum(rows, now), at[:, None]],
            )
            self.between[at, column] = beyond(np.where(column == 0, 1.0, -1.0)[:, None] * seen)
        if heads.shape[0] > now:
            self.tail = heads[-self.tail.shape[0] :].copy()
        else:
            self.tail = np.concatenate([self.tail, heads])[-self.tail.shape[0] :].copy()

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

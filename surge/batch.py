"""Many scenarios on one grid in one call: other stroke laws, other rates, other levels.

Scenarios that share a grid (the same elements, reaches and step) are marched ``WIDE`` at a time,
see :mod:`surge.batch_kernel`; blocks are spread over threads. Every lane gives the figures of
:class:`surge.march.Marched` and answers to the same names.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from surge import boundaries as b
from surge.batch_block import Lane, pack, refuse_mixed
from surge.batch_kernel import Block, march_block
from surge.batch_links import WIDE
from surge.errors import SolveError
from surge.grid import Grid

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LOOK = 0.1  # [s] of work, about, between two looks at whether to go on
FIRST_STEPS = 16  # of the first piece of work, whose speed is not known yet

_WHY = {
    b.NOT_CONVERGED: "the flow at a valve or pump did not converge",
    b.NOT_FINITE: "the computation overflowed",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Keep:
    """Histories to keep.

    Attributes
    ----------
    points : tuple of str
        Their heads.
    flows : tuple of str or (str, bool)
        Flows of links, and into pipe ends (pipe, far), from the point.
    stride : int
        Every how many steps.
    """

    points: tuple[str, ...] = ()
    flows: tuple[str | tuple[str, bool], ...] = ()
    stride: int = 1


@dataclass(frozen=True, kw_only=True, eq=False)
class LaneResult:
    """What came of one scenario; after a failure every extreme and history is NaN.

    Attributes
    ----------
    grid : Grid
        As given: its arrays are those of time 0.
    status : int
        Of :mod:`surge.boundaries`: ``OK``, ``NOT_CONVERGED`` or ``NOT_FINITE``.
    done : int
        Steps done, or until it failed.
    point_hi, point_lo : float64 arrays, shape (points,)
        Highest and lowest heads [m].
    point_steps : int array, shape (points, 2)
        Steps of the highest and lowest heads; -1 after a failure.
    probe_head, probe_step : float64 and int arrays, shape (probes, 2)
        The same of the nodes that the grid names.
    time, heads, flows : float64 arrays, shape (rows,), (rows, n) and (rows, m)
        Histories asked for [s], [m], [m3/s].
    doubled : float64 array, shape (2, nodes), or None
        Twice the highest and lowest heads of all inner nodes; None when only places were watched.
    """

    grid: Grid
    status: int
    done: int
    point_hi: Array
    point_lo: Array
    point_steps: Ints
    probe_head: Array
    probe_step: Ints
    time: Array
    heads: Array
    flows: Array
    doubled: Array | None

    def check(self) -> None:
        """Raise what a single march would have raised.

        Raises
        ------
        SolveError
            When the lane failed.
        """
        if self.status != b.OK:
            raise SolveError(f"{_WHY[self.status]} at {self.done * self.grid.reaches.dt:.3f} s")

    def envelope(self) -> tuple[list[Array], list[Array]]:
        """Highest and lowest head at the nodes of every pipe [m]; empty for lumped ones.

        Raises
        ------
        ValueError
            When only places were watched.
        """
        if self.doubled is None:
            raise ValueError("only places were watched: there is no envelope")
        found: tuple[list[Array], list[Array]] = [], []
        for out, doubled, at_points in zip(found, self.doubled, (self.point_hi, self.point_lo), strict=True):
            first = 0
            for pair, nodes in zip(self.grid.pipe_points, self.grid.nodes, strict=True):
                heads = 0.5 * doubled[first : first + nodes.size]
                if nodes.size:
                    heads[[0, -1]] = at_points[list(pair)]
                first += nodes.size
                out.append(heads)
        return found


def march_batch(
    lanes: Sequence[Lane],
    *,
    frozen: bool,
    watch: Literal["envelope", "places"] = "envelope",
    keep: Keep | None = None,
    threads: int | None = None,
    tell: Callable[[float], None] | None = None,
) -> tuple[LaneResult, ...]:
    """March every lane for its own number of steps.

    Parameters
    ----------
    lanes : sequence of Lane
        Their grids have the same elements, reaches and step; what differs may be laws, levels,
        rates (heads, flows, loss tables), conductances, speeds and curves of pumps.
    frozen : bool
        Friction frozen at the first flow of each lane, or from the local flow.
    watch : {"envelope", "places"}
        Extremes of every node, or only of points and of the nodes that the grids name: faster.
    keep : Keep, optional
        Histories.
    threads : int, optional
        Blocks at a time; as many as there are processors when not given.
    tell : callable, optional
        Called with the share of the work that is done, some times a second, from this thread.

    Returns
    -------
    tuple of LaneResult
        In the order of ``lanes``. A lane that fails says so in its status; the others are whole.

    Raises
    ------
    GridError
        When the lanes are not on one grid, or do not stand at time 0.

    Notes
    -----
    An interrupt ends the call within some ``LOOK`` seconds; nothing is left behind.
    """
    if not lanes:
        return ()
    refuse_mixed(lanes)
    # Lanes that end together share a block; long blocks first, so that threads end together too.
    order = sorted(range(len(lanes)), key=lambda i: -lanes[i].steps)
    groups = [order[i : i + WIDE] for i in range(0, len(order), WIDE)]
    blocks = [
        _BlockRun([lanes[i] for i in group], frozen=frozen, envelope=watch == "envelope", keep=keep or Keep())
        for group in groups
    ]
    total = max(1, sum(block.steps for block in blocks))
    stop = threading.Event()
    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        jobs: list[Future[list[LaneResult]]] = [pool.submit(block.run, stop) for block in blocks]
        left: set[Future[Any]] = set(jobs)
        try:
            while left:
                done, left = wait(left, timeout=2 * LOOK, return_when=FIRST_EXCEPTION)
                for job in done:
                    job.result()
                if tell:
                    tell(sum(block.done for block in blocks) / total)
        except BaseException:
            stop.set()
            pool.shutdown(cancel_futures=True)
            raise
    found: dict[int, LaneResult] = {}
    for group, job in zip(groups, jobs, strict=True):
        found |= zip(group, job.result(), strict=True)
    return tuple(found[i] for i in range(len(lanes)))


class _BlockRun:
    """One block: marched in pieces of about ``LOOK`` seconds, each lane read out at its last step."""

    def __init__(self, lanes: Sequence[Lane], *, frozen: bool, envelope: bool, keep: Keep) -> None:
        self.lanes, self.frozen, self.envelope, self.keep = lanes, frozen, envelope, keep
        self.steps = max(lane.steps for lane in lanes)
        self.done = 0
        grid = lanes[0].grid
        links = len(grid.links)
        flows = [
            links + grid.ends.index(f) if isinstance(f, tuple) else grid.links.index(f) for f in keep.flows
        ]
        self.flows = np.array(flows, dtype=np.int64)
        self.points = np.array([grid.points.index(p) for p in keep.points], dtype=np.int64)

    def run(self, stop: threading.Event) -> list[LaneResult]:
        """March all lanes, or until ``stop`` is set."""
        block = pack(self.lanes, envelope=self.envelope)
        rows = self.steps // self.keep.stride + 1 if self.points.size + self.flows.size else 1
        heads = np.empty((rows, self.points.size, WIDE))
        flows = np.empty((rows, self.flows.size, WIDE))
        self._first_row(block, heads[0], flows[0])
        found: dict[int, LaneResult] = {}
        pace = float(FIRST_STEPS)
        for steps in sorted({lane.steps for lane in self.lanes}):
            while self.done < steps and not stop.is_set() and np.any(block.well):
                pace = self._piece(block, min(steps - self.done, int(pace)), heads, flows)
            for j, lane in enumerate(self.lanes):
                if lane.steps == steps:
                    found[j] = self._read(block, j, heads, flows)
            # A lane that is through idles on; from here on nobody asks what becomes of it.
            block.well[list(found)] = 0.0
        self.done = self.steps
        return [found[j] for j in range(len(self.lanes))]

    def _piece(self, block: Block, n: int, heads: Array, flows: Array) -> float:
        """March ``n`` steps; how many are about ``LOOK`` seconds."""
        began = time.perf_counter()
        dt, stride = self.lanes[0].grid.reaches.dt, self.keep.stride
        march_block(block, self.done, n, dt, self.frozen, stride, self.points, self.flows, heads, flows)
        self.done += n
        spent = max(time.perf_counter() - began, 1e-9)
        # The first piece may have the compiler in it: growth is fast, but not all at once.
        return max(1.0, min(n * LOOK / spent, 4.0 * n))

    def _first_row(self, block: Block, heads: Array, flows: Array) -> None:
        heads[:] = block.head[self.points]
        into = (block.head[block.ei[:, b.E_POINT]] - block.x) * block.y[:, None]
        flows[:] = np.concatenate([block.lf[:, b.L_Q], into])[self.flows]

    def _read(self, block: Block, j: int, heads: Array, flows: Array) -> LaneResult:
        """What lane ``j`` has found by now."""
        lane, stride = self.lanes[j], self.keep.stride
        rows = lane.steps // stride + 1 if self.points.size + self.flows.size else 0
        status = int(block.status[j])
        doubled = None
        if self.envelope:
            first, last = block.window
            now = block.p[first : first + block.sizes[0], j] + block.m[last : last + block.sizes[0], j]
            doubled = np.stack([np.maximum(block.hi[:, j], now), np.minimum(block.lo[:, j], now)])
        found: dict[str, Any] = {
            "point_hi": block.highest[:, j].copy(),
            "point_lo": block.lowest[:, j].copy(),
            "point_steps": np.stack([block.when_highest[:, j], block.when_lowest[:, j]], axis=-1),
            "probe_head": np.stack([block.probe_high[:, j], block.probe_low[:, j]], axis=-1),
            "probe_step": np.stack([block.probe_when_high[:, j], block.probe_when_low[:, j]], axis=-1),
            "time": np.arange(rows) * (stride * lane.grid.reaches.dt),
            "heads": heads[:rows, :, j].copy(),
            "flows": flows[:rows, :, j].copy(),
            "doubled": doubled,
        }
        if status != b.OK:
            for name, value in found.items():
                if value is not None and name != "time":
                    value[:] = np.nan if value.dtype.kind == "f" else -1
        done = lane.steps if status == b.OK else int(block.failed[j])
        return LaneResult(grid=lane.grid, status=status, done=done, **found)

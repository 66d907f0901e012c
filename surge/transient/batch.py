"""Many scenarios on one grid in one call: other stroke laws, other rates, other levels.

Scenarios that share a grid (the same elements, reaches and step) are marched ``WIDE`` at a time, see
:mod:`surge.kernel.batch_march`; blocks are spread over threads. Every lane gives the figures of
:class:`surge.transient.march.Marched`, to 1e-10 of the rise or better, and answers to the same names.

Decisions
---------
* Nothing is marched before something moves; a block begins where the first of its lanes does. Who watches
  that a steady flow stays as it is are the single marches.
* A step of a block costs as much as a dozen steps of single marches, whatever its lanes do. So few lanes, and
  lanes of unequal lengths, are marched one by one, each for as long as it needs and able to go on.
  :func:`march_batch` takes what costs less.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, wait
from dataclasses import replace
from typing import Any, Literal, Protocol

import numpy as np

from surge.effort import spend
from surge.kernel import columns
from surge.kernel.batch_links import WIDE
from surge.kernel.batch_march import Block, march_block
from surge.transient.batch_block import pack, refuse_mixed
from surge.transient.batch_lane import Lane, LaneResult, SingleRun, two_thirds
from surge.workers import TURNS, Pool, processors

LOOK = 0.1  # [s] of work, about, between two looks at whether to go on
FIRST_STEPS = 16  # of the first piece of work, whose speed is not known yet


class LaneGroup(Protocol):
    """Some lanes under way in a thread."""

    steps: int
    done: int
    effort: float

    def run(self, stop: threading.Event) -> list[LaneResult]:
        """March to the end, or until ``stop`` is set."""


def march_batch(
    lanes: Sequence[Lane],
    *,
    frozen: bool,
    watch: Literal["envelope", "places"] = "envelope",
    threads: int | None = None,
    together: bool | None = None,
    progress: Callable[[float], None] | None = None,
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
    threads : int, optional
        Runs at a time; as many as there are processors for it when not given.
    together : bool, optional
        Lanes side by side in blocks, or each for itself; whatever takes less when not given. Lanes
        that go on from where they stand are marched each for itself.
    progress : callable, optional
        Called with the share of the work that is done [-], some times a second, from this thread.

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
    order = sorted(range(len(lanes)), key=lambda i: -lanes[i].steps)
    runs: dict[tuple[int, ...], LaneGroup] = {}
    for group in _groups(lanes, order, together=together):
        members, envelope = [lanes[i] for i in group], watch == "envelope"
        runs[group] = (
            SingleRun(members[0], frozen=frozen, envelope=envelope)
            if len(group) == 1 and (members[0].further or not together)
            else _BlockRun(members, frozen=frozen, envelope=envelope)
        )
    spend(sum(run.effort for run in runs.values()))
    total = max(1, sum(run.steps for run in runs.values()))
    stop = threading.Event()
    with Pool(threads or processors()) as pool:
        jobs: list[Future[list[LaneResult]]] = [pool.submit(run.run, stop) for run in runs.values()]
        left: set[Future[Any]] = set(jobs)
        try:
            while left:
                done, left = wait(left, timeout=2 * LOOK, return_when=FIRST_EXCEPTION)
                for job in done:
                    job.result()
                if progress:
                    progress(sum(run.done for run in runs.values()) / total)
        except BaseException:
            stop.set()
            pool.shutdown(cancel_futures=True)
            raise
    found: dict[int, LaneResult] = {}
    for group, job in zip(runs, jobs, strict=True):
        found |= zip(group, job.result(), strict=True)
    return tuple(found[i] for i in range(len(lanes)))


def _groups(lanes: Sequence[Lane], order: Sequence[int], *, together: bool | None) -> list[tuple[int, ...]]:
    """Lanes that share a block, or stand alone; long ones first, so that threads end together.

    Lanes that end together share a block, and only where that takes less than one after the other.
    """
    groups: list[tuple[int, ...]] = []
    alone = [i for i in order if lanes[i].further or together is False]
    rest = [i for i in order if not lanes[i].further and together is not False]
    for first in range(0, len(rest), WIDE):
        group = rest[first : first + WIDE]
        alike = [lanes[i] for i in group]
        grid, begins = alike[0].grid, min(lane.begins for lane in alike)
        apart = sum(lane.steps - lane.begins for lane in alike) * grid.effort
        if together or apart > (alike[0].steps - begins) * grid.block_effort:
            groups.append(tuple(group))
        else:
            alone += group
    return groups + [(i,) for i in sorted(alone, key=lambda i: -lanes[i].steps)]


class _BlockRun:
    """One block: marched in pieces of about ``LOOK`` seconds, each lane read out at its last step."""

    def __init__(self, lanes: Sequence[Lane], *, frozen: bool, envelope: bool) -> None:
        self.lanes, self.frozen, self.envelope = lanes, frozen, envelope
        self.steps = max(lane.steps for lane in lanes)
        self.done = min(lane.begins for lane in lanes)
        self.effort = (self.steps - self.done) * lanes[0].grid.block_effort

    def run(self, stop: threading.Event) -> list[LaneResult]:
        """March all lanes, or until ``stop`` is set."""
        block = pack(self.lanes, frozen=self.frozen, envelope=self.envelope)
        found: dict[int, LaneResult] = {}
        before: dict[int, LaneResult] = {}
        pace = float(FIRST_STEPS)
        for steps in sorted({n for lane in self.lanes for n in (lane.steps, two_thirds(lane.steps))}):
            while self.done < steps and not stop.is_set() and np.any(block.well):
                pace = self._piece(block, min(steps - self.done, int(pace)))
            for j, lane in enumerate(self.lanes):
                if lane.steps == steps:
                    one = self._read(block, j)
                    found[j] = (
                        replace(one, before=before.get(j)) if one.status == columns.OK else one.failed()
                    )
                elif two_thirds(lane.steps) == steps:
                    before[j] = replace(self._read(block, j), done=steps)
            # A lane that is through idles on; from here on nobody asks what becomes of it.
            block.well[list(found)] = 0.0
        self.done = self.steps
        return [found[j] for j in range(len(self.lanes))]

    def _piece(self, block: Block, n: int) -> float:
        """March ``n`` steps; how many are about ``LOOK`` seconds."""
        with TURNS:
            began = time.perf_counter()
            march_block(block, self.done, n, self.lanes[0].grid.reaches.dt, self.frozen)
            spent = max(time.perf_counter() - began, 1e-9)
        self.done += n
        # The first piece may have the compiler in it: growth is fast, but not all at once.
        return max(1.0, min(n * LOOK / spent, 4.0 * n))

    def _read(self, block: Block, j: int) -> LaneResult:
        """What lane ``j`` has found by now."""
        lane = self.lanes[j]
        status = int(block.status[j])
        doubled = None
        if self.envelope:
            first, last = block.window
            now = block.p[first : first + block.sizes[0], j] + block.m[last : last + block.sizes[0], j]
            doubled = np.stack([np.maximum(block.hi[:, j], now), np.minimum(block.lo[:, j], now)])
        return LaneResult(
            grid=lane.grid,
            status=status,
            done=lane.steps if status == columns.OK else int(block.failed[j]),
            point_hi=block.highest[:, j].copy(),
            point_lo=block.lowest[:, j].copy(),
            point_steps=np.stack([block.when_highest[:, j], block.when_lowest[:, j]], axis=-1),
            probe_head=np.stack([block.probe_high[:, j], block.probe_low[:, j]], axis=-1),
            probe_step=np.stack([block.probe_when_high[:, j], block.probe_when_low[:, j]], axis=-1),
            doubled=doubled,
        )

"""What is asked of one scenario of a batch, and what came of it."""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import SolveError
from surge.kernel import columns
from surge.kernel.march import Net, march
from surge.transient.grid import Grid, staggered
from surge.transient.links import Laws
from surge.transient.watch import steps_before
from surge.workers import TURNS

WHY = {
    columns.NOT_CONVERGED: "the flow at a valve or pump did not converge",
    columns.NOT_FINITE: "the computation overflowed",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Lane:
    """One scenario of a batch.

    Attributes
    ----------
    grid : Grid
        At time 0, as :func:`surge.transient.grid.build_grid` made it; it is only read, lanes may share it.
    steps : int
        How far to march.
    laws : Laws, optional
        What moves, instead of the laws of ``grid``: the same steady flow with another stroke.
    further : Halted, optional
        Where an earlier march of this lane stands: it goes on from there.
    """

    grid: Grid
    steps: int
    laws: Laws | None = None
    further: Halted | None = None

    @cached_property
    def begins(self) -> int:
        """The step from which on it is marched: where it stands, or at the first event."""
        if self.further:
            return self.further.done
        law_i, law_t, law_v = law_rows(self)
        net = self.grid.net._replace(law_i=law_i, law_t=law_t, law_v=law_v)
        return min(steps_before(net, self.grid.reaches.dt), self.steps)


@dataclass(kw_only=True, eq=False)
class Halted:
    """A march that stands at a step and can go on; going on changes it."""

    net: Net
    done: int


@dataclass(frozen=True, kw_only=True, eq=False)
class LaneResult:
    """What came of one scenario; after a failure every extreme is NaN.

    Attributes
    ----------
    grid : Grid
        As given: its arrays are those of time 0.
    status : int
        Of :mod:`surge.kernel.laws`: ``OK``, ``NOT_CONVERGED`` or ``NOT_FINITE``.
    done : int
        Steps done, or until it failed.
    point_hi, point_lo : float64 arrays, shape (points,)
        Highest and lowest heads [m].
    point_steps : int array, shape (points, 2)
        Steps of the highest and lowest heads; -1 after a failure.
    probe_head, probe_step : float64 and int arrays, shape (probes, 2)
        The same of the nodes that the grid names.
    doubled : float64 array, shape (2, nodes), or None
        Twice the highest and lowest heads of all inner nodes; None when only places were watched.
    before : LaneResult or None
        What it was after two thirds of its steps; None when it failed.
    halted : Halted or None
        To go on from; None when the lane was marched in a block, which is not kept.
    """

    grid: Grid
    status: int
    done: int
    point_hi: Array
    point_lo: Array
    point_steps: Ints
    probe_head: Array
    probe_step: Ints
    doubled: Array | None
    before: LaneResult | None = None
    halted: Halted | None = None

    def check(self) -> None:
        """Raise what a single march would have raised.

        Raises
        ------
        SolveError
            When the lane failed.
        """
        if self.status != columns.OK:
            raise SolveError(f"{WHY[self.status]} at {self.done * self.grid.reaches.dt:.3f} s")

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

    def failed(self) -> LaneResult:
        """Return it with no figure left that could be taken for an answer."""

        def nothing(values: Any) -> Any:
            return np.full_like(values, np.nan if values.dtype.kind == "f" else -1)

        names = ("point_hi", "point_lo", "point_steps", "probe_head", "probe_step")
        wiped = {name: nothing(getattr(self, name)) for name in names}
        doubled = None if self.doubled is None else nothing(self.doubled)
        return replace(self, **wiped, doubled=doubled, before=None, halted=None)


def two_thirds(steps: int) -> int:
    """The step after which the last third of a march begins."""
    return math.ceil(2 * steps / 3)


def law_rows(lane: Lane) -> tuple[Ints, Array, Array]:
    """Rows (link, is speed, first, end) of what moves in a lane, times and values."""
    net = lane.grid.net
    if lane.laws is None:
        return net.law_i, net.law_t, net.law_v
    tables = [(name, 0, law) for name, law in lane.laws.ratio.items()]
    tables += [(name, lane.laws.kind(name), law) for name, law in lane.laws.speed.items()]
    rows: list[tuple[int, int, int, int]] = []
    points: list[tuple[float, float]] = []
    for name, speed, law in tables:
        rows.append((lane.grid.links.index(name), speed, len(points), len(points) + len(law)))
        points += list(law)
    table = np.array(points, dtype=float).reshape(-1, 2)
    return np.array(rows, dtype=np.int64).reshape(-1, 4), table[:, 0].copy(), table[:, 1].copy()


PIECE = 2e7  # nodes times steps between two looks at whether to go on: some hundredths of a second


EACH_STEP = 150  # nodes that cost as much as what a step does besides


# What a march changes; the rest of a net is only read and may be shared.
CHANGED = (
    *("window", "base", "rise", "pi", "pf", "ef", "li", "lf", "probe_head", "probe_step"),
    *("matrix", "rhs", "found"),
)


class SingleRun:
    """One lane by the single march."""

    def __init__(self, lane: Lane, *, frozen: bool, envelope: bool) -> None:
        self.lane, self.frozen, self.envelope = lane, frozen, envelope
        self.steps = lane.steps
        self.done = lane.begins
        self.effort = (self.steps - self.done) * lane.grid.effort

    def run(self, stop: threading.Event) -> list[LaneResult]:
        """March to the last step, or until ``stop`` is set."""
        net = self.lane.further.net if self.lane.further else _own_net(self.lane)
        dt = self.lane.grid.reaches.dt
        most = max(1, int(PIECE / (self.lane.grid.reaches.nodes + EACH_STEP)))
        nothing, status, before = np.empty((0, 1)), columns.OK, None
        for end in (max(self.done, two_thirds(self.steps)), self.steps):
            while self.done < end and status == columns.OK and not stop.is_set():
                n = min(end - self.done, most)
                with TURNS:
                    status, count, _ = march(net, self.done, n, dt, self.frozen, False, 1, nothing, nothing)
                self.done += count
            if end < self.steps:
                before = self._read(net, int(status), self.done)
        result = replace(self._read(net, int(status), self.done), halted=Halted(net=net, done=self.done))
        self.done = self.steps
        return [replace(result, before=before) if status == columns.OK else result.failed()]

    def _read(self, net: Net, status: int, done: int) -> LaneResult:
        doubled = None
        if self.envelope:
            size, at = net.hi.size, np.concatenate(self.lane.grid.nodes)
            first, last = net.window
            now = net.p[first : first + size] + net.m[last : last + size]
            doubled = np.stack([np.maximum(net.hi, now)[at], np.minimum(net.lo, now)[at]])
        return LaneResult(
            grid=self.lane.grid,
            status=status,
            done=done,
            point_hi=net.pf[:, columns.P_HI].copy(),
            point_lo=net.pf[:, columns.P_LO].copy(),
            point_steps=net.pi[:, [columns.P_HI_STEP, columns.P_LO_STEP]],
            probe_head=net.probe_head.copy(),
            probe_step=net.probe_step.copy(),
            doubled=doubled,
        )


def _own_net(lane: Lane) -> Net:
    """The lane's arrays, those that the march changes as copies."""
    net = lane.grid.net
    p, m, hi, lo = staggered(net.p.size, net.m.size, net.hi.size, net.lo.size)
    p[:], m[:], hi[:], lo[:] = net.p, net.m, net.hi, net.lo
    law_i, law_t, law_v = law_rows(lane)
    own = {name: getattr(net, name).copy() for name in CHANGED}
    return net._replace(p=p, m=m, hi=hi, lo=lo, law_i=law_i, law_t=law_t, law_v=law_v, **own)

"""What is asked of one scenario of a batch, and what came of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import SolveError
from surge.kernel import laws as b
from surge.transient.grid import Grid, Laws

if TYPE_CHECKING:
    from surge.kernel.march import Net


WHY = {
    b.NOT_CONVERGED: "the flow at a valve or pump did not converge",
    b.NOT_FINITE: "the computation overflowed",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Lane:
    """One scenario of a batch.

    Attributes
    ----------
    grid : Grid
        At time 0, as :func:`surge.transient.grid.build_grid` made it; it is only read, and lanes may share it.
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


@dataclass(kw_only=True, eq=False)
class Halted:
    """A march that stands at a step and can go on; going on changes it."""

    net: Net
    done: int


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
        Of :mod:`surge.kernel.laws`: ``OK``, ``NOT_CONVERGED`` or ``NOT_FINITE``.
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
    time: Array
    heads: Array
    flows: Array
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
        if self.status != b.OK:
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

        names = ("point_hi", "point_lo", "point_steps", "probe_head", "probe_step", "heads", "flows")
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
    tables += [(name, 1, law) for name, law in lane.laws.speed.items()]
    rows: list[tuple[int, int, int, int]] = []
    points: list[tuple[float, float]] = []
    for name, speed, law in tables:
        rows.append((lane.grid.links.index(name), speed, len(points), len(points) + len(law)))
        points += list(law)
    table = np.array(points, dtype=float).reshape(-1, 2)
    return np.array(rows, dtype=np.int64).reshape(-1, 4), table[:, 0].copy(), table[:, 1].copy()

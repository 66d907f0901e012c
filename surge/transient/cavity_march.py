"""A march with cavities, and the watch that it has of its own.

Decisions
---------
* Free gas: at every inner node the given share of the reach's volume at 101 325 Pa absolute, at points that
  of the half reaches (and lumped halves) that meet there. A liquid whose vapour pressure is near that of the
  atmosphere, or above it, has its gas at ``LEAST_PARTIAL``.
* Besides what every march is held against: no volume is below nought, no head below that at which the liquid
  boils; liquid and cavities together keep their volume to ``ROUNDING`` in every pipe and at every point; and
  energy is counted with what cavities keep of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from surge.arrays import Array, Mask
from surge.errors import GridError
from surge.hydraulics.formulas import LEAST_PARTIAL
from surge.hydraulics.losses import LossTables
from surge.hydraulics.steady import Steady
from surge.kernel import cavities, columns
from surge.kernel.cavities import CavityNet, march_cavities
from surge.model.lineup import LineUp
from surge.transient.grid import Grid, build_grid
from surge.transient.links import Laws
from surge.transient.march import Marched
from surge.transient.reaches import Reaches
from surge.transient.watch import ROUNDING, SPOT, TINY, Watch
from surge.units import ATMOSPHERE

THIN = 1e-9  # [m2/s] storage of a point at which only links meet; it stays empty
UNDER = 1e-8  # [m] rounding of a head at the floor


@dataclass(frozen=True, kw_only=True)
class CavityGrid(Grid):
    """A grid with what cavities need; its net is a :class:`surge.kernel.cavities.CavityNet`."""

    net: Any


def build_cavity_grid(
    lineup: LineUp, steady: Steady, *, reaches: Reaches, laws: Laws, tables: LossTables, gas: float
) -> CavityGrid:
    """Return the arrays of a march with cavities; see :func:`surge.transient.grid.build_grid`.

    Parameters
    ----------
    gas : float
        Free gas as a share of the volume at 101 325 Pa absolute, 0 for vapour alone [-].

    Raises
    ------
    GridError
        Also when the liquid boils before anything moves.
    """
    plain = build_grid(lineup, steady, reaches=reaches, laws=laws, tables=tables, storage=THIN)
    net = plain.net
    _refuse_boiling(plain)
    partial = max(ATMOSPHERE - lineup.vapour_gauge - lineup.atmosphere, LEAST_PARTIAL)
    per_volume = gas * partial / (lineup.liquid.density * lineup.gravity)  # [m]
    nodes = _node_arrays(lineup, plain, per_volume)
    points = _point_arrays(lineup, plain, per_volume)
    net.hi[:] = net.lo[:] = 2.0 * nodes[:, cavities.N_HEAD]
    made = {name: getattr(plain, name) for name in plain.__dataclass_fields__}
    return CavityGrid(**made | {"net": CavityNet._make([*net, nodes, points])})


def _refuse_boiling(grid: Grid) -> None:
    net = grid.net
    at = net.pf[:, columns.P_H] - net.point_floor
    size = net.hi.size
    twice = net.p[net.window[0] :][:size] + net.m[net.window[1] :][:size]
    free = net.pi[:, columns.P_KIND] == columns.FREE
    if np.any(at[free] <= 0.0) or np.any(twice <= net.floor):
        raise GridError("the liquid boils before anything moves: give a higher tank level or pressure")


def _node_arrays(lineup: LineUp, grid: Grid, per_volume: float) -> Array:
    """The kernel's ``nc``: no cavities, gas at its steady volume."""
    net, dt = grid.net, grid.reaches.dt
    size = net.hi.size
    nodes = np.zeros((size, cavities.N_FLOATS))
    nodes[:, cavities.N_YIELD] = 1.0
    head = 0.5 * (net.p[net.window[0] :][:size] + net.m[net.window[1] :][:size])
    nodes[:, cavities.N_HEAD] = nodes[:, cavities.N_ONE] = nodes[:, cavities.N_TWO] = head
    for k, pipe in enumerate(lineup.pipes):
        inner = grid.nodes[k][1:-1]
        if not inner.size:
            continue
        nodes[inner, cavities.N_YIELD] = dt / grid.impedance[k]
        gas = per_volume * pipe.area * pipe.wave_speed * dt
        nodes[inner, cavities.N_GAS] = gas
        nodes[inner, cavities.N_VOLUME] = gas / (head[inner] - 0.5 * net.floor[inner])
    nodes[:, cavities.N_LARGEST] = nodes[:, cavities.N_VOLUME]
    return nodes


def _point_arrays(lineup: LineUp, grid: Grid, per_volume: float) -> Array:
    """The kernel's ``pc``: no cavities, gas at its steady volume."""
    net, reaches = grid.net, grid.reaches
    head = net.pf[:, columns.P_H]
    points = np.zeros((head.size, cavities.PC_FLOATS))
    points[:, cavities.PC_ONE] = points[:, cavities.PC_TWO] = head
    free = net.pi[:, columns.P_KIND] == columns.FREE
    meets = np.zeros(head.size, dtype=bool)
    meets[net.ei[:, columns.E_POINT]] = True
    thin = free & ~meets & (net.pf[:, columns.P_STUB_Y] == 0.0)
    points[thin, cavities.PC_THIN] = THIN
    half = np.zeros(head.size)  # [m3] liquid that belongs to each point
    for k, pipe in enumerate(lineup.pipes):
        count = reaches.count[k]
        reach = pipe.area * pipe.wave_speed * reaches.dt * (1.0 + reaches.share[k])
        for point in grid.pipe_points[k]:
            half[point] += 0.5 * (reach if count else pipe.area * pipe.length)
    gas = np.where(free & np.isfinite(net.point_floor), per_volume * half, 0.0)
    points[:, cavities.PC_GAS] = gas
    over = np.where(gas > 0.0, head - net.point_floor, 1.0)
    points[:, cavities.PC_VOLUME] = points[:, cavities.PC_LARGEST] = gas / over
    for e, (a, b) in enumerate(net.li[:, columns.L_A : columns.L_B + 1]):
        points[a, cavities.PC_OUT] += net.lf[e, columns.L_Q]
        points[b, cavities.PC_OUT] -= net.lf[e, columns.L_Q]
    return points


class CavityWatch(Watch):
    """Looks at a march with cavities; ``volumes`` of points, as ``heads``, are handed over before a look."""

    grid: CavityGrid

    def __init__(self, grid: CavityGrid) -> None:
        super().__init__(grid)
        self.volumes = grid.net.pc[None, :, cavities.PC_VOLUME].copy()
        self.before = np.zeros(self.free.size)

    def _contents(self) -> tuple[Array, Array, Array]:
        """As without cavities, less what those in it have pushed out, and the energy that they keep."""
        total, size, energy = super()._contents()
        own = self.grid.net.nc[self.inner]
        volume, gas = own[:, cavities.N_VOLUME], own[:, cavities.N_GAS]
        room = 2.0 * volume / own[:, cavities.N_YIELD]
        floor = 0.5 * self.grid.net.floor[self.inner]
        kept = floor * room + 2.0 * gas / own[:, cavities.N_YIELD] * np.log(np.where(gas > 0.0, volume, 1.0))
        pushed = np.bincount(self.pipe, room, self.wave.size)
        kept = np.bincount(self.pipe, 2.0 * kept + own[:, cavities.N_SLIPPED], self.wave.size)
        return total - pushed, size + pushed, energy - kept

    def _meet(self, heads: Array, flows: Array) -> None:
        """What leaves a point makes room for its cavity; neither it nor any head is below its least."""
        self._bounds(heads)
        grows = np.diff(self.volumes[:, self.free], axis=0) / self.dt
        grows = np.concatenate([self.before[None, :], grows])
        self.before = grows[-1].copy()
        twice = 2.0 * self.sums.total - flows[0] - flows[-1]
        taken = 2.0 * grows.sum(axis=0) - grows[0] - grows[-1]
        stored = self.storage * (heads[-1, self.free] - heads[0, self.free])
        miss = np.abs(np.einsum("j,jk->k", twice, self.meet) + stored - taken)
        scale = np.einsum("j,jk->k", np.abs(flows).max(axis=0), np.abs(self.meet))
        held = self.storage * np.abs(heads[:, self.free]).max(axis=0) * ROUNDING
        self._lost(miss, (ROUNDING * scale + TINY) * flows.shape[0] + held)
        spot = np.abs(np.einsum("ij,jk->ik", flows[::SPOT], self.meet) - grows[::SPOT]).max(axis=0)
        self._lost(np.where(self.storage > 0.0, 0.0, spot), ROUNDING * scale + TINY)

    def _bounds(self, heads: Array) -> None:
        net = self.grid.net
        nodes = net.nc[self.inner]
        if self.volumes.min(initial=0.0) < 0.0 or nodes[:, cavities.N_VOLUME].min(initial=0.0) < 0.0:
            self._fail("a cavity has a volume below nought")
        under = (net.point_floor - heads.min(axis=0))[self.free].max(initial=0.0)
        inside = (0.5 * net.floor[self.inner] - 0.5 * net.lo[self.inner]).max(initial=0.0)
        if max(under, inside) > UNDER:
            self._fail("a pressure is below vapour pressure")


@dataclass(kw_only=True, eq=False)
class CavityMarch(Marched):
    """A march with cavities, every step kept (``stride`` 1).

    Attributes
    ----------
    grid : CavityGrid
    volumes : list of ndarray
        Volumes of cavities at points, as ``heads`` [m3].
    """

    grid: CavityGrid
    stride: int = 1
    volumes: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__post_init__()
        self.volumes.append(self._looks.volumes)

    def _watch(self) -> Watch:
        self._looks = CavityWatch(self.grid)
        return self._looks

    def _march(self, n: int, to_vapour: bool, heads: Array, flows: Array) -> tuple[int, int]:
        assert not to_vapour  # it goes on
        volumes = np.empty((n, heads.shape[1]))
        dt = self.grid.reaches.dt
        status, count = march_cavities(
            self.grid.net, self.done, n, dt, self.frozen, heads[:n], flows[:n], volumes
        )
        self._looks.volumes = np.concatenate([self.volumes[-1][-1:], volumes[:count]])
        self.volumes.append(volumes[:count])
        return status, count

    def envelope(self) -> tuple[list[Array], list[Array]]:
        """Highest medians over three steps and lowest heads at the nodes of every pipe [m]."""
        net, grid = self.grid.net, self.grid
        highest, lowest = [], []
        for (start, end), at in zip(grid.pipe_points, grid.nodes, strict=True):
            high, low = 0.5 * net.hi[at], 0.5 * net.lo[at]
            if at.size:
                high[[0, -1]] = self.point_hi[[start, end]]
                low[[0, -1]] = self.point_lo[[start, end]]
            highest.append(high)
            lowest.append(low)
        return highest, lowest

    def begin_anew(self) -> None:
        """Let extremes of heads count from this instant on."""
        net = self.grid.net
        net.hi[:] = net.lo[:] = 2.0 * net.nc[:, cavities.N_HEAD]
        for head, step in ((columns.P_HI, columns.P_HI_STEP), (columns.P_LO, columns.P_LO_STEP)):
            net.pf[:, head] = net.pf[:, columns.P_H]
            net.pi[:, step] = self.done

    @property
    def holds(self) -> Mask:
        """Which points can have a cavity: those of unknown head, shape (points,)."""
        kind: Mask = self.grid.net.pi[:, columns.P_KIND] == columns.FREE
        return kind

    def volume(self) -> float:
        """Volume of all cavities now [m3]."""
        net = self.grid.net
        return float(net.nc[:, cavities.N_VOLUME].sum() + net.pc[:, cavities.PC_VOLUME].sum())

    def largest(self) -> float:
        """Largest volume of any cavity so far [m3]."""
        net = self.grid.net
        return float(max(net.nc[:, cavities.N_LARGEST].max(), net.pc[:, cavities.PC_LARGEST].max()))

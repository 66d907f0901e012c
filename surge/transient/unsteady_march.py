"""A march with unsteady friction, and the watch that it has of its own.

Decisions
---------
* The weight of each pipe is that of its flow before anything moves (:mod:`surge.hydraulics.weights`), for the
  step of this march. Without viscosity a pipe has none.
* Unsteady friction gives back energy that it has taken, so that waves alone may gain some. What each
  exponential keeps is counted with them: s^2 scale/((1 - e) f), in squares of waves. With it energy never
  grows, to rounding, as in any march.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.hydraulics.losses import LossTables
from surge.hydraulics.steady import Steady
from surge.hydraulics.weights import Weight, averages, fitted
from surge.kernel import columns, unsteady
from surge.kernel.unsteady import UnsteadyNet, march_unsteady
from surge.model.lineup import LineUp, Pipe
from surge.transient.grid import Grid, build_grid
from surge.transient.links import Laws
from surge.transient.march import Marched
from surge.transient.reaches import Reaches
from surge.transient.watch import Watch

NODE, TERM = 3.0, 0.7  # effort of a node's step, and of each exponential there, in plain nodes


@dataclass(frozen=True, kw_only=True)
class UnsteadyGrid(Grid):
    """A grid with what unsteady friction keeps; its net is a :class:`surge.kernel.unsteady.UnsteadyNet`."""

    net: Any


@dataclass(frozen=True, kw_only=True, eq=False)
class _Terms:
    """A pipe's weight in one step: e, (1 - e) f, f, the scale of a reach; u before anything moves."""

    keep: Array
    feed: Array
    full: Array
    scale: float
    flow: float


def weight_of(pipe: Pipe, flow: float, viscosity: float, dt: float) -> tuple[Weight | None, float]:
    """Return the weight of a pipe, None without viscosity, and the step of tau [-].

    Parameters
    ----------
    pipe : Pipe
    flow : float
        Before anything moves [m3/s].
    viscosity : float
        Kinematic [m2/s].
    dt : float
        [s]
    """
    if viscosity <= 0.0:
        return None, 0.0
    step = 4.0 * viscosity * dt / pipe.diameter**2
    return fitted(step, abs(flow) / pipe.area * pipe.diameter / viscosity), step


def build_unsteady_grid(
    lineup: LineUp,
    steady: Steady,
    *,
    reaches: Reaches,
    laws: Laws,
    tables: LossTables,
    probes: Any = None,
) -> UnsteadyGrid:
    """Return the arrays of a march with unsteady friction; see :func:`surge.transient.grid.build_grid`."""
    plain = build_grid(lineup, steady, reaches=reaches, laws=laws, tables=tables, probes=probes)
    weights, terms = [], []
    for pipe, impedance in zip(lineup.pipes, plain.impedance, strict=True):
        flow = steady.flow[pipe.name]
        weight, step = weight_of(pipe, flow, lineup.liquid.viscosity, reaches.dt)
        weights.append(weight)
        terms.append(_terms(weight, step, 2.0 * impedance * flow))
    count = max((t.keep.size for t in terms), default=0)
    made = {name: getattr(plain, name) for name in plain.__dataclass_fields__}
    made["net"] = UnsteadyNet(
        **plain.net._asdict(), **_node_arrays(plain, terms, count), **_end_arrays(plain, terms, count)
    )
    made["effort"] = plain.effort + reaches.nodes * (NODE - 1.0 + TERM * count)
    gridded = (w for w, n in zip(weights, reaches.count, strict=True) if n and w)
    made["weight_error"] = max((w.error for w in gridded), default=0.0)
    return UnsteadyGrid(**made)


def _terms(weight: Weight | None, step: float, flow: float) -> _Terms:
    if weight is None:
        return _Terms(keep=np.zeros(0), feed=np.zeros(0), full=np.zeros(0), scale=0.0, flow=flow)
    full = weight.size * averages(weight.rate, step)
    lost = -np.expm1(-weight.rate * step)  # 1 - e without loss of digits where a step is short
    return _Terms(keep=1.0 - lost, feed=lost * full, full=full, scale=2.0 * step, flow=flow)


def _node_arrays(grid: Grid, terms: list[_Terms], count: int) -> dict[str, Array]:
    """As in steady flow, in which s is f u and nothing is added."""
    size = grid.net.hi.size
    keep, feed, kept = (np.zeros((count, size)) for _ in range(3))
    scale, gain, past = (np.zeros(size) for _ in range(3))
    for own, at in zip(terms, grid.nodes, strict=True):
        inner, n = at[1:-1], own.keep.size
        keep[:n, inner], feed[:n, inner] = own.keep[:, None], own.feed[:, None]
        kept[:n, inner] = (own.full * own.flow)[:, None]
        scale[inner] = own.scale
        gain[inner] = own.scale * float(own.full.sum())
    past[:] = scale * kept.sum(axis=0)
    return {
        "u_keep": keep, "u_feed": feed, "u_kept": kept, "u_scale": scale, "u_gain": gain, "u_past": past,
        "u_flow": np.zeros(size),
    }  # fmt: skip


def _end_arrays(grid: Grid, terms: list[_Terms], count: int) -> dict[str, Array]:
    """As :func:`_node_arrays`; what ends and points of the plain net have is changed to it."""
    net, reaches = grid.net, grid.reaches
    ends = net.ei.shape[0]
    keep, feed, kept = (np.zeros((ends, count)) for _ in range(3))
    own_end = np.zeros((ends, unsteady.U_FLOATS))
    gridded = [k for k, n in enumerate(reaches.count) if n]
    for e, k in enumerate([*gridded, *gridded]):
        own, n = terms[k], terms[k].keep.size
        into = own.flow if e < len(gridded) else -own.flow
        keep[e, :n], feed[e, :n], kept[e, :n] = own.keep, own.feed, own.full * into
        scale = own.scale * 0.5 * (1.0 + reaches.share[k])
        own_end[e] = scale * own.full.sum(), scale * kept[e].sum(), scale
    net.ef[:, columns.E_X] -= own_end[:, unsteady.U_PAST]
    before = net.ef[:, columns.E_Y].copy()
    net.ef[:, columns.E_Y] /= 1.0 + 2.0 * own_end[:, unsteady.U_SLOPE]
    y = net.pf[:, columns.P_Y].copy()
    np.add.at(y, net.ei[:, columns.E_POINT], net.ef[:, columns.E_Y] - before)
    changed = np.flatnonzero(y != net.pf[:, columns.P_Y])
    net.pf[changed, columns.P_Y] = y[changed]
    carried = changed[net.pf[changed, columns.P_Z] > 0.0]
    net.pf[carried, columns.P_Z] = 1.0 / y[carried]
    return {"u_end": own_end, "u_end_keep": keep, "u_end_feed": feed, "u_end_kept": kept}


class UnsteadyWatch(Watch):
    """Looks at a march with unsteady friction: what its past keeps counts with the energy of the waves."""

    grid: UnsteadyGrid

    def __init__(self, grid: UnsteadyGrid) -> None:
        self.before = self.now = np.zeros(grid.net.ei.shape[0])
        super().__init__(grid)

    def _contents(self) -> tuple[Array, Array, Array]:
        """As without it; ends have lost their half reach, and the past keeps energy.

        A wave reaches its point, and leaves it, with the loss of half a reach at the flow of that instant.
        """
        total, size, energy = super()._contents()
        net, n = self.grid.net, self.wave.size
        if not n:
            return total, size, energy
        own = net.u_end
        g = 2.0 * self.impedance * self.flows[-2 * n :]
        added = own[:, unsteady.U_SLOPE] * g - own[:, unsteady.U_PAST]
        head = self.heads[self.owner]
        energy_ends = (head - added) ** 2 - head**2 + added * g
        inner = self.inner
        kept = _energy(net.u_kept[:, inner], net.u_feed[:, inner], net.u_scale[inner])
        energy = energy + np.bincount(self.pipe, kept, n)
        at_ends = _energy(net.u_end_kept.T, net.u_end_feed.T, own[:, unsteady.U_SCALE])
        self.before, self.now = self.now, self._turned(g)
        return (
            total - added.reshape(2, n).sum(axis=0),
            size + np.abs(added).reshape(2, n).sum(axis=0),
            energy + (energy_ends + at_ends).reshape(2, n).sum(axis=0),
        )

    def _turned(self, g: Array) -> Array:
        """What the past adds now at each end, all exponentials counted as growing [m]."""
        net = self.grid.net
        full = _full(net.u_end_keep, net.u_end_feed)
        own: Array = net.u_end[:, unsteady.U_SCALE] * np.abs(full * g[:, None] - net.u_end_kept).sum(axis=1)
        return own

    def _met(self, at: Array, ends: Array) -> Array:
        """As without it, and as much as unsteady friction at the ends can have swung."""
        g = 2.0 * self.impedance * np.abs(np.diff(ends, axis=0)).sum(axis=0)
        own: Array = super()._met(at, ends) + 2.0 * self.grid.net.u_end[:, unsteady.U_SLOPE] * g + self.before
        return own


def _full(keep: Array, feed: Array) -> Array:
    """Averages f over the first step; nought where there is no exponential."""
    return np.divide(feed, 1.0 - keep, out=np.zeros_like(feed), where=feed > 0.0)


def _energy(kept: Array, feed: Array, scale: Array) -> Array:
    """Energy of what exponentials keep, in squares of waves, shape of ``scale``; arrays (terms, n)."""
    own = np.divide(kept * kept, feed, out=np.zeros_like(kept), where=feed > 0.0)
    energy: Array = scale * own.sum(axis=0)
    return energy


@dataclass(kw_only=True, eq=False)
class UnsteadyMarch(Marched):
    """A march with unsteady friction."""

    grid: UnsteadyGrid

    def _watch(self) -> Watch:
        return UnsteadyWatch(self.grid)

    def _march(self, n: int, to_vapour: bool, heads: Array, flows: Array) -> tuple[int, int]:
        dt = self.grid.reaches.dt
        status, count, _ = march_unsteady(
            self.grid.net, self.done, n, dt, self.frozen, to_vapour, 1, heads, flows
        )
        return status, count

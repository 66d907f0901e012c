"""From a line-up and a time step to the arrays of the kernel.

Step and reaches come from :mod:`surge.transient.reaches`, points and links from :mod:`surge.transient.links`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surge.arrays import Array
from surge.errors import GridError
from surge.hydraulics.losses import TABLE_SIZE, LossTables, of_wave_difference, tangents
from surge.hydraulics.steady import Steady
from surge.kernel import columns
from surge.kernel.columns import FIXED, FREE, LUMPED, ORIFICE, RELIEF
from surge.kernel.march import Net
from surge.kernel.pipes import STRIPS
from surge.model.lineup import LineUp
from surge.transient.clusters import group_links
from surge.transient.effort import block_effort, step_effort
from surge.transient.links import Collected, Laws
from surge.transient.reaches import Reaches

MOST_LOSS_OF_WAVE = 0.1  # of the wave itself in one reach; the method is stable far beyond


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The kernel's arrays and what their positions mean.

    Attributes
    ----------
    net : Net
    reaches : Reaches
    nodes : tuple of int arrays
        Positions of each pipe's nodes in the long array, shape (reaches + 1,); empty if lumped.
    points, links, ends : tuple of str
        Names in the order of the kernel's points and links; ``ends`` are (pipe, far) pairs.
    pipe_points : tuple of (int, int)
        Positions of each pipe's start and end among the points.
    impedance : tuple of float
        B = a/(gA) of each pipe [s/m2], apart from the arrays: what watches them must not rest on them.
    effort, block_effort : float
        Of one step [-], of a single march and of a block, see :mod:`surge.transient.effort`.
    weight_error : float
        With unsteady friction, the greatest error of a weight's average over a step, as a share of it [-].
    """

    net: Net
    reaches: Reaches
    nodes: tuple[NDArray[np.intp], ...]
    points: tuple[str, ...]
    links: tuple[str, ...]
    ends: tuple[tuple[str, bool], ...]
    pipe_points: tuple[tuple[int, int], ...]
    impedance: tuple[float, ...]
    effort: float
    block_effort: float
    weight_error: float = 0.0


def staggered(*sizes: int) -> list[Array]:
    """Float64 arrays of zeros on cache lines, their beginnings spread over a memory page.

    A load whose address agrees in the last twelve bits with a store still under way has to wait;
    arrays that happened to begin at like places made the march up to 1.5 times slower.
    """
    page, line = 4096, 64
    room = sum(8 * n + page + line for n in sizes) + page
    raw = np.zeros(room, np.uint8)
    at = (-raw.ctypes.data) % page
    found = []
    for k, n in enumerate(sizes):
        offset = (k * page // len(sizes)) // line * line
        at += (offset - at - raw.ctypes.data) % page
        found.append(raw[at : at + 8 * n].view(np.float64))
        at += 8 * n
    return found


class _Arrays(Collected):
    """Turns what was collected into the kernel's arrays."""

    def __init__(
        self,
        lineup: LineUp,
        steady: Steady,
        reaches: Reaches,
        laws: Laws,
        tables: LossTables,
        storage: float,
    ) -> None:
        super().__init__(lineup, steady, reaches, laws)
        self.storage = storage
        self.tables = tables
        self.index = {name: i for i, name in enumerate(self.points)}
        self.gridded = [k for k, n in enumerate(reaches.count) if n]
        self.rows = max(1, -(-reaches.nodes // STRIPS))
        self.b = np.array([p.wave_speed / (lineup.gravity * p.area) for p in lineup.pipes])
        factor = self.loss.factor(self.flow) * self.loss.length / self.loss.diameter + self.loss.minor
        heads = [(steady.head[p.start], steady.head[p.end]) for p in lineup.pipes]
        self.drop = np.array([h0 - h1 for h0, h1 in heads])
        self.frozen = factor / (2 * self.loss.gravity * self.loss.area**2)
        self.way = np.array(reaches.count) + np.array(reaches.share)  # through each pipe [reaches]
        # At an end the loss of half a reach and of half the fraction is paid, each as a part of a reach's.
        self.half = (1.0 + np.array(reaches.share)) / 2
        self.nodes = self._positions()

    def _positions(self) -> tuple[NDArray[np.intp], ...]:
        first, found = 0, []
        for n in self.reaches.count:
            i = np.arange(first, first + n + 1 if n else first, dtype=np.intp)
            found.append((i % self.rows) * STRIPS + i // self.rows)
            first += i.size
        return tuple(found)

    def friction(self) -> dict[str, NDArray[Any]]:
        """Coefficients and laws of the loss of a reach, tables of half of it at the ends."""
        size, pipes = self.rows * STRIPS, len(self.lineup.pipes)
        r, row = np.zeros(size), np.full(size, pipes, dtype=np.int64)
        table, per_d = np.zeros((pipes, TABLE_SIZE + 1)), np.zeros(pipes)
        law, per_law = np.zeros((pipes + 1, TABLE_SIZE + 1, 2)), np.zeros(pipes + 1)
        now = np.zeros((size, 2))
        for k in self.gridded:
            at, wave, n = self.nodes[k], self.b[k], self.way[k]
            q, loss, step = abs(self.flow[k]), self.tables.loss[k] / n, self.tables.step[k]
            by_d, d_step = of_wave_difference(loss, step, wave, q)
            place = round(q / step)
            d = 2 * wave * q + loss[place]
            table[k], per_d[k] = loss * self.half[k], 1 / (2 * wave * step)
            law[k], per_law[k] = tangents(by_d, d_step, d), 1 / d_step
            inner = at[1:-1]
            row[inner], now[inner] = k, law[k, place]
            r[inner] = self._coefficient(k, loss[place], d)
        self.coefficients, self.laws_now, self.node_step = r, now, per_law[row]
        return {
            "node_row": (row * law.shape[1]).astype(np.int32),
            "law": law.reshape(-1, 2),
            "table": table,
            "table_step": per_d,
        }

    def _coefficient(self, k: int, loss: float, d: float) -> float:
        """Coefficient r with which r*d*d is exactly ``loss`` [m] at the steady flow."""
        if d <= 0.0 or loss <= 0.0:
            return float(self.frozen[k] / self.way[k] / (4 * self.b[k] ** 2))
        if loss > MOST_LOSS_OF_WAVE * d:
            raise GridError(
                f'pipe "{self.lineup.pipes[k].name}" loses too much head in one reach for this method; '
                "give its losses as a passage of their own"
            )
        return float(loss / d**2)

    def ends(self) -> None:
        """Pipe ends at the steady flow: the starts of all pipes, then their far ends."""
        items = [
            (self.index[p.end if far else p.start], k, far)
            for far in (False, True)
            for k, p in enumerate(self.lineup.pipes)
            if k in self.gridded
        ]
        self.end_names = tuple((self.lineup.pipes[k].name, far) for _, k, far in items)
        self.ei = np.zeros((len(items), columns.E_INTS), dtype=np.int64)
        self.ef = np.zeros((len(items), columns.E_FLOATS))
        for e, (point, k, far) in enumerate(items):
            into = -self.flow[k] if far else self.flow[k]
            half = math.copysign(abs(self.drop[k]) / self.way[k] * self.half[k], into)
            r = self.frozen[k] / self.way[k] * self.half[k] / (4 * self.b[k] ** 2)
            x = self.heads[point] - self.b[k] * into
            self.ei[e] = self.nodes[k][-1 if far else 0], k, point
            self.ef[e] = 1 / self.b[k], r, x, half, self.reaches.share[k], x

    def point_arrays(self) -> None:
        """Kind, fixed head, impedance and ends of every point."""
        n = len(self.points)
        self.pi = np.zeros((n, columns.P_INTS), dtype=np.int64)
        self.pf = np.zeros((n, columns.P_FLOATS))
        owner = self.ei[:, columns.E_POINT]
        self.pi[:, columns.P_DRY] = -1
        self.pi[:, columns.P_KIND] = [FIXED if p in self.fixed else FREE for p in self.points]
        y = np.array(self.stub)
        np.add.at(y, owner, self.ef[:, columns.E_Y])
        free = self.pi[:, columns.P_KIND] == FREE
        y[free & (y == 0)] = self.storage
        free &= y > 0
        self.pf[:, columns.P_Z] = np.where(free, 1 / np.where(y > 0, y, 1.0), 0.0)
        self.pf[:, columns.P_FIXED] = [self.fixed.get(p, 0.0) for p in self.points]
        self.pf[:, columns.P_Y] = y
        self.pf[:, columns.P_STUB_Y] = self.stub
        self.pf[:, columns.P_STUB] = self.pf[:, columns.P_H] = self.pf[:, columns.P_HI] = self.pf[
            :, columns.P_LO
        ] = self.heads

    def clusters(self) -> None:
        """Which links are solved together."""
        kind, y = self.pi[:, columns.P_KIND], self.pf[:, columns.P_Y]
        self.groups = group_links(
            ends=[(self.index[k["a"]], self.index[k["b"]]) for k in self.links],
            orifice=[k["kind"] == ORIFICE and not k.get("check") for k in self.links],
            branching=[k["kind"] in (ORIFICE, LUMPED) and not k.get("check") for k in self.links],
            single=[k["kind"] == RELIEF for k in self.links],
            fixed=kind == FIXED,
            dry=(kind == FREE) & (y == 0),
        )
        self.pi[:, columns.P_DRY] = self.groups.dry_place

    def link_arrays(self) -> None:
        """Kind, ends, coefficients and steady flow of every link, and the curves of pumps."""
        n = len(self.links)
        self.li = np.zeros((n, columns.L_INTS), dtype=np.int64)
        self.lf = np.zeros((n, columns.L_FLOATS))
        knots: list[float] = []
        coef = [np.zeros((0, 4))]
        for e, k in enumerate(self.links):
            first, tail = len(knots), (0.0, 0.0)
            if curve := k.get("curve"):
                knots += curve.knots.tolist()
                coef += [curve.coef, np.zeros((1, 4))]
                tail = curve.tail0, curve.tail2
            i, j, pipe = self.index[k["a"]], self.index[k["b"]], k.get("pipe", 0)
            c, z = k.get("c", 0.0), k.get("z", 0.0)
            state = k.get("state", {})
            self.li[e, : columns.L_STATE] = (k["kind"], i, j, k.get("check", False)) + (
                k["q"] == 0,
                first,
                len(knots),
                pipe,
            )
            self.li[e, columns.L_STATE] = bool(state)
            if not k.get("check"):
                self.li[e, columns.L_HELD] = 0
            step = 1 / self.tables.step[pipe]
            now = (c * k.get("ratio", 1.0)) ** 2
            first_floats = c, now, k["q"], k.get("speed", 1.0), *tail, z, step, z * k["q"]
            self.lf[e, : len(first_floats)] = first_floats
            for column, value in state.items():
                self.lf[e, column] = value
        self.knots, self.coef = np.array(knots), np.vstack(coef)

    def law_arrays(self) -> dict[str, NDArray[Any]]:
        """Kv ratios and speeds against time."""
        names = [k["name"] for k in self.links]
        laws = [(names.index(n), 0, t) for n, t in self.laws.ratio.items()]
        laws += [(names.index(n), self.laws.kind(n), t) for n, t in self.laws.speed.items()]
        ends = np.cumsum([0, *(len(t) for _, _, t in laws)])
        rows = [(e, speed, ends[i], ends[i + 1]) for i, (e, speed, _) in enumerate(laws)]
        return {
            "law_i": np.array(rows, dtype=np.int64).reshape(len(laws), 4),
            "law_t": np.array([t for _, _, law in laws for t, _ in law], dtype=float),
            "law_v": np.array([v for _, _, law in laws for _, v in law], dtype=float),
        }

    def floor(self) -> Array:
        """Twice the head at which the liquid boils at inner nodes; minus infinity elsewhere."""
        rho_g = self.lineup.liquid.density * self.lineup.gravity
        floor = np.full(self.rows * STRIPS, -np.inf)
        for k, pipe in enumerate(self.lineup.pipes):
            if self.nodes[k].size:
                z0, z1 = (self.lineup.points_by_name[p].elevation for p in (pipe.start, pipe.end))
                z = z0 + (z1 - z0) * self.reaches.places(k)
                floor[self.nodes[k][1:-1]] = 2 * (z + self.lineup.vapour_gauge / rho_g)[1:-1]
        return floor

    def point_floor(self) -> Array:
        """Head at which the liquid boils at each point; minus infinity at points of our own."""
        rho_g = self.lineup.liquid.density * self.lineup.gravity
        named = self.lineup.points_by_name
        boil = self.lineup.vapour_gauge / rho_g
        return np.array([named[p].elevation + boil if p in named else -np.inf for p in self.points])

    def waves(self) -> dict[str, NDArray[Any]]:
        """The steady flow as the kernel's first instant, and an empty envelope."""
        size = self.rows * STRIPS
        window = size + max(size, 32 * STRIPS)
        hi, lo, r, p, m, base, rise, step = staggered(*[size] * 3, window, window, *[size] * 3)
        r[:], step[:] = self.coefficients, self.node_step
        base[:], rise[:] = self.laws_now.T
        start = np.array([p.size - size, 0], dtype=np.int64)
        for k in self.gridded:
            at = self.nodes[k]
            head = self.steady.head[self.lineup.pipes[k].start] - self.drop[k] * self.reaches.places(k)
            # Waves arrive at inner nodes with half a reach's loss still to come, at ends with none.
            wave = np.full(at.size, self.b[k] * self.flow[k] + 0.5 * self.drop[k] / self.way[k])
            wave[[0, -1]] = self.b[k] * self.flow[k]
            p[start[0] + at] = head + wave
            m[start[1] + at] = head - wave
        hi[:], lo[:] = -1e300, 1e300
        friction = {"r": r, "base": base, "rise": rise, "node_step": step}
        return {"p": p, "m": m, "window": start, "hi": hi, "lo": lo, **friction}

    def room(self) -> dict[str, NDArray[Any]]:
        """Matrix and right side for the largest cluster."""
        n = int(max((c[columns.C_POINT_END] - c[columns.C_LINK] for c in self.groups.ci), default=1))
        return {"matrix": np.zeros((n, n)), "rhs": np.zeros(n), "found": np.zeros(2, dtype=np.int64)}


def build_grid(
    lineup: LineUp,
    steady: Steady,
    *,
    reaches: Reaches,
    laws: Laws,
    tables: LossTables,
    probes: Mapping[str, Sequence[float]] | None = None,
    storage: float = 0.0,
) -> Grid:
    """Return the kernel's arrays for a line-up at its steady flow.

    Parameters
    ----------
    lineup, steady, reaches, laws, tables
        As made by the functions of this package.
    probes : dict of str to sequence of float
        Pipe name -> shares of its length, 0 to 1 [-], whose nearest nodes are recorded.
    storage : float
        Given to points at which only links meet, so that each has a head of its own [m2/s].

    Raises
    ------
    GridError
        When the loss of one reach is too large a part of the wave.
    """
    work = _Arrays(lineup, steady, reaches, laws, tables, storage)
    friction = work.friction()
    work.ends()
    work.point_arrays()
    work.clusters()
    work.link_arrays()
    names = [p.name for p in lineup.pipes]
    probe = []
    for pipe, shares in (probes or {}).items():
        at, places = work.nodes[names.index(pipe)], reaches.places(names.index(pipe))
        # Ends are points; a lumped or two-node pipe has no node of its own to look at.
        inner = [min(max(int(np.argmin(np.abs(places - s))), 1), at.size - 2) for s in shares]
        probe += [at[i] if at.size > 2 else 0 for i in inner]
    waves = work.waves()
    start, at = waves["window"], np.array(probe, dtype=np.int64)
    head = 0.5 * (waves["p"][start[0] + at] + waves["m"][start[1] + at])
    net = Net(
        floor=work.floor(),
        point_floor=work.point_floor(),
        probe=at,
        probe_head=np.column_stack([head, head]),
        probe_step=np.zeros((at.size, 2), dtype=np.int64),
        pi=work.pi,
        pf=work.pf,
        ei=work.ei,
        ef=work.ef,
        li=work.li,
        lf=work.lf,
        ci=work.groups.ci,
        members=work.groups.members,
        tree=work.groups.tree,
        plain=work.groups.plain,
        pairs=work.groups.pairs,
        chains=work.groups.chains,
        chain=work.groups.chain,
        knots=work.knots,
        coef=work.coef,
        lump_table=tables.loss / reaches.parts,
        **waves,
        **friction,
        **work.law_arrays(),
        **work.room(),
    )
    return Grid(
        net=net,
        reaches=reaches,
        nodes=work.nodes,
        points=tuple(work.points),
        links=tuple(k["name"] for k in work.links),
        ends=work.end_names,
        pipe_points=tuple((work.index[p.start], work.index[p.end]) for p in lineup.pipes),
        impedance=tuple(p.wave_speed / (lineup.gravity * p.area) for p in lineup.pipes),
        effort=step_effort(lineup, reaches),
        block_effort=block_effort(lineup, reaches),
    )

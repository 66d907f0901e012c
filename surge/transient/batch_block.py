"""From scenarios on one grid to the arrays of :mod:`surge.kernel.batch_march`, and back to one scenario's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surge.arrays import Array, Ints
from surge.errors import GridError
from surge.kernel import columns
from surge.kernel.batch_links import WIDE
from surge.kernel.batch_march import Block
from surge.kernel.march import Net
from surge.kernel.pipes import STRIPS
from surge.transient.batch_lane import Lane, law_rows
from surge.transient.grid import Grid, staggered

SPARE = 32  # rows that the window of a short line can move before it is copied back


def refuse_mixed(lanes: Sequence[Lane]) -> None:
    """Lanes must have everything in common but laws, levels, rates and what follows from these.

    Raises
    ------
    GridError
        A lane that is on another grid than the first, or whose grid has been marched.
    """
    first = lanes[0].grid
    seen = {id(first)}
    for i, lane in enumerate(lanes):
        net = lane.grid.net
        if net.window[1] != 0 or np.any(net.hi > net.lo):
            raise GridError(f"scenario {i} of the batch does not stand at time 0: build its grid anew")
        if id(lane.grid) not in seen:
            seen.add(id(lane.grid))
            if what := _difference(first, lane.grid):
                raise GridError(f"scenario {i} of the batch is not on the grid of the first: {what} differ")


def _difference(one: Grid, two: Grid) -> str | None:
    """What two grids do not have in common although the lanes of a batch must."""
    if one.reaches != two.reaches:
        return "reaches"
    if (one.points, one.links, one.ends) != (two.points, two.links, two.ends):
        return "elements"
    a, z = one.net, two.net
    held = [k for k in range(columns.L_INTS) if k != columns.L_HELD]
    same = {
        "links": (a.li[:, held], z.li[:, held]),
        "lumped elements": (a.lf[:, columns.L_Z], z.lf[:, columns.L_Z]),
        "pipe ends": (a.ei, z.ei),
        "pipes": (a.ef[:, columns.E_Y], z.ef[:, columns.E_Y]),
        "kinds of points": (a.pi[:, : columns.P_HI_STEP], z.pi[:, : columns.P_HI_STEP]),
        "points": (a.pf[:, [columns.P_Z, columns.P_STUB_Y]], z.pf[:, [columns.P_Z, columns.P_STUB_Y]]),
        "pieces of pump curves": (np.array(a.coef.shape), np.array(z.coef.shape)),
        "probes": (a.probe, z.probe),
    }
    return next((what for what, (x, y) in same.items() if not np.array_equal(x, y)), None)


def _laws(lanes: Sequence[Lane]) -> dict[str, NDArray[Any]]:
    rows, times, values = [], [], []
    at = 0
    for j, lane in enumerate(lanes):
        law_i, law_t, law_v = law_rows(lane)
        rows += [(j, e, speed, at + first, at + end) for e, speed, first, end in law_i.tolist()]
        times.append(law_t)
        values.append(law_v)
        at += law_t.size
    return {
        "law_i": np.array(rows, dtype=np.int64).reshape(-1, 5),
        "law_t": np.concatenate(times),
        "law_v": np.concatenate(values),
    }


def _shared(arrays: Sequence[Array], which: Ints) -> tuple[Array, Ints]:
    """Each different array once, one after the other along the first axis, and where each lane's begins."""
    kept = list({id(a): a for a in arrays}.values())
    first = dict(zip(map(id, kept), np.cumsum([0, *(a.shape[0] for a in kept)]).tolist(), strict=False))
    return np.concatenate(kept), np.array([first[id(arrays[i])] for i in which], dtype=np.int64)


def _side_by_side(nets: Sequence[Net], which: Ints, part: Callable[[Net], NDArray[Any]]) -> NDArray[Any]:
    """A part of every lane's arrays with the lane as last index; lane j has those of ``nets[which[j]]``."""
    return np.ascontiguousarray(np.stack([part(net) for net in nets], axis=-1)[..., which])


def _waves(
    nets: Sequence[Net], which: Ints, at: NDArray[np.intp], *, frozen: bool, envelope: bool
) -> dict[str, NDArray[Any]]:
    """The steady flow of every lane, its laws of friction, and an empty envelope."""
    nodes = at.size
    rows = nodes + max(nodes, SPARE)
    watched, local = nodes if envelope else 0, 0 if frozen else nodes
    flat = dict(
        zip(
            ("flat_hi", "flat_lo", "flat_p", "flat_m", "base", "rise"),
            staggered(*(WIDE * n for n in (watched, watched, rows, rows, local, local))),
            strict=True,
        )
    )
    hi, lo, p, m, base, rise = (a.reshape(-1, WIDE) for a in flat.values())
    if local:
        base[:] = _side_by_side(nets, which, lambda n: n.base[at])
        rise[:] = _side_by_side(nets, which, lambda n: n.rise[at])
    start = rows - nodes
    p[start:] = _side_by_side(nets, which, lambda n: n.p[n.window[0] + at])
    m[:nodes] = _side_by_side(nets, which, lambda n: n.m[n.window[1] + at])
    hi[:], lo[:] = -1e300, 1e300
    return {"p": p, "m": m, "hi": hi, "lo": lo, **flat, "window": np.array([start, 0], dtype=np.int64)}


def _friction(grid: Grid, nets: Sequence[Net], which: Ints) -> dict[str, NDArray[Any]]:
    """Row of node 0 and reaches of every pipe; coefficients, laws and tables of pipes and ends."""
    gridded = [k for k, n in enumerate(grid.reaches.count) if n]
    firsts = np.cumsum([0, *(grid.nodes[k].size for k in gridded)])
    pipes = [(firsts[i], grid.reaches.count[k]) for i, k in enumerate(gridded)]
    inner = [int(grid.nodes[k][1]) for k in gridded]
    table, first = _shared([n.table for n in nets], which)
    law, law_first = _shared([n.law for n in nets], which)
    width = table.shape[1]
    end_rows = grid.net.ei[:, columns.E_ROW]
    return {
        "pipes": np.array(pipes, dtype=np.int64).reshape(-1, 2),
        "r": _side_by_side(nets, which, lambda n: n.r[inner]),
        "law": law,
        "row": (grid.net.node_row[inner, None] + law_first).astype(np.int32),
        "step": _side_by_side(nets, which, lambda n: n.node_step[inner]),
        "table": table.ravel(),
        "end_r": _side_by_side(nets, which, lambda n: n.ef[:, columns.E_R]),
        "end_row": (end_rows[:, None] + first) * width,
        "end_step": _side_by_side(nets, which, lambda n: n.table_step[end_rows]),
        "place": np.zeros(WIDE, dtype=np.int32),
        "sums": np.zeros(WIDE),
    }


def _ends_and_points(nets: Sequence[Net], which: Ints, order: NDArray[np.intp]) -> dict[str, NDArray[Any]]:
    net = nets[0]
    ei = net.ei.copy()
    ei[:, columns.E_NODE] = order[ei[:, columns.E_NODE]]

    def point(column: int) -> Array:
        return _side_by_side(nets, which, lambda n: n.pf[:, column])

    zeros = np.zeros((net.pf.shape[0], WIDE), dtype=np.int64)
    return {
        "ei": ei,
        "y": net.ef[:, columns.E_Y].copy(),
        "x": _side_by_side(nets, which, lambda n: n.ef[:, columns.E_X]),
        "late": _side_by_side(nets, which, lambda n: n.ef[:, columns.E_LOSS]),
        "share": net.ef[:, columns.E_SHARE].copy(),
        "past": _side_by_side(nets, which, lambda n: n.ef[:, columns.E_PAST]),
        "pi": net.pi,
        "z": net.pf[:, columns.P_Z].copy(),
        "stub_y": net.pf[:, columns.P_STUB_Y].copy(),
        "fixed": point(columns.P_FIXED),
        "xy": point(columns.P_XY),
        "head": point(columns.P_H),
        "stub": point(columns.P_STUB),
        "highest": point(columns.P_HI),
        "lowest": point(columns.P_LO),
        "when_highest": zeros.copy(),
        "when_lowest": zeros.copy(),
        "probe": order[net.probe].astype(np.int64),
        "probe_high": _side_by_side(nets, which, lambda n: n.probe_head[:, 0]),
        "probe_low": _side_by_side(nets, which, lambda n: n.probe_head[:, 1]),
        "probe_when_high": np.zeros((net.probe.size, WIDE), dtype=np.int64),
        "probe_heads": np.zeros((net.probe.size, WIDE)),
        "probe_when_low": np.zeros((net.probe.size, WIDE), dtype=np.int64),
    }


def _links(nets: Sequence[Net], which: Ints) -> dict[str, NDArray[Any]]:
    net = nets[0]
    lumps, lump_row = _shared([n.lump_table for n in nets], which)
    n = net.matrix.shape[0]
    inside = [net.members[c[columns.C_POINT] : c[columns.C_POINT_END]] for c in net.ci]
    dry = np.array([bool(np.any(net.pi[i, columns.P_DRY] >= 0)) for i in inside], dtype=bool)
    return {
        "li": net.li,
        "lf": _side_by_side(nets, which, lambda n: n.lf),
        "held": _side_by_side(nets, which, lambda n: n.li[:, columns.L_HELD]),
        "knots": _side_by_side(nets, which, lambda n: n.knots),
        "coef": _side_by_side(nets, which, lambda n: n.coef),
        "knots1": np.concatenate([nets[i].knots for i in which]),
        "coef1": np.concatenate([nets[i].coef for i in which]),
        "lumps": lumps,
        "lump_row": lump_row,
        "plain": net.plain,
        "pairs": net.pairs,
        "chains": net.chains,
        "chain": net.chain,
        "together": net.ci[~dry],
        "apart": net.ci[dry],
        "members": net.members,
        "work": np.zeros((columns.W_ROWS, WIDE)),
        "matrix": np.zeros((n, n, WIDE)),
        "rhs": np.zeros((n, WIDE)),
        "again": np.zeros(WIDE),
        "pf1": net.pf.copy(),
        "li1": net.li.copy(),
        "lf1": net.lf.copy(),
        "matrix1": np.zeros((n, n)),
        "rhs1": np.zeros(n),
    }


def pack(lanes: Sequence[Lane], *, frozen: bool, envelope: bool) -> Block:
    """Arrays of up to ``WIDE`` lanes; places left over repeat the first and count as failed."""
    grid = lanes[0].grid
    nets = list({id(lane.grid.net): lane.grid.net for lane in lanes}.values())
    place = {id(net): i for i, net in enumerate(nets)}
    which = np.zeros(WIDE, dtype=np.int64)
    which[: len(lanes)] = [place[id(lane.grid.net)] for lane in lanes]
    at = np.concatenate(grid.nodes)
    order = np.zeros(grid.net.hi.size, dtype=np.intp)
    order[at] = np.arange(at.size)
    well = np.zeros(WIDE)
    well[: len(lanes)] = 1.0
    keeps = (grid.net.li[:, columns.L_KIND] == columns.LUMPED) | (grid.net.li[:, columns.L_STATE] != 0)
    kept = int(np.sum(keeps)) + int(np.sum(grid.net.pf[:, columns.P_STUB_Y] > 0))
    return Block(
        sizes=np.array([at.size, grid.net.table.shape[1], kept, grid.net.hi.size // STRIPS], dtype=np.int64),
        well=well,
        **{name: np.zeros(WIDE, dtype=np.int64) for name in ("status", "failed", "bad")},
        **_waves(nets, which, at, frozen=frozen, envelope=envelope),
        **_friction(grid, nets, which),
        **_ends_and_points(nets, which, order),
        **_links(nets, which),
        **_laws(lanes),
    )

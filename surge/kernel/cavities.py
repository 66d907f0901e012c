"""The march with cavities: what the plain march does, and pressures that never fall below vapour pressure.

Decisions
---------
* A node or point that would fall below the head at which its liquid boils keeps that head, and a cavity grows
  there by what flows away less what arrives. Free gas, where there is any, fills it too: (H - floor) V = gas
  at every instant. Without gas this is V >= 0, H >= floor, and one of both an equality: one law with two
  models.
* Volume and head of an instant are found together: V = V before + dt (out - in), with the flows of that
  instant (weight 1). So a cavity never gets negative and none is cut off: in the step in which it is gone the
  node takes what is left of it. Liquid and cavities together keep their volume to rounding, and a cavity
  gives back no more than the work that it took. What it costs: volumes are up to one step early.
* A reach's loss belongs to the flow on its own side of a cavity. By what both sides differ the next volume
  changes (``N_OWED``), a step late.
* Points: links see a point with a cavity as a source of head behind an impedance, its law along the tangent
  at the flow into the links; in rounds (Newton), until heads are those of the law. Without gas this turns
  cavities on and off.
* Points at which only links meet hold no volume but a cavity's. So that they have a head of their own they
  get a thin storage (``PC_THIN``), filled anew in every round to the head just found: nothing stays in it.
* Extremes above are those of medians over three steps: a spike of a step is no peak.

Heads [m], flows [m3/s], volumes [m3]. Arrays that are not told here are those of
:mod:`surge.kernel.columns` and :class:`surge.kernel.march.Net`.
"""

from __future__ import annotations

import math
from collections import namedtuple

import numpy as np

from surge.kernel.columns import (
    FREE,
    L_A,
    L_B,
    L_Q,
    NOT_CONVERGED,
    NOT_FINITE,
    OK,
    P_FIXED,
    P_H,
    P_HI,
    P_HI_STEP,
    P_KIND,
    P_LO,
    P_LO_STEP,
    P_XY,
    P_Y,
    P_Z,
)
from surge.kernel.compiled import entry, inlined, jit
from surge.kernel.march import (
    SAME_HEAD,
    Net,
    count_kept,
    move,
    record_row,
    remember,
    solve_chains,
    solve_clusters,
    solve_orifices,
    store,
)
from surge.kernel.pipes import arrive, leave, renew, slide

ROUNDS = 60  # of the points' laws at most; two or three do
CLOSE = 1e-8  # of the head, and [m]: what is left then
FILLED = 1e-4  # [m] by which the head of a thin storage may still move
LEAST = 1e-6  # of a point's impedance without a cavity: what it keeps, lest an orifice has no slope
THICK = 1e3  # [s/m2] of that impedance no more counts: a point at which only links meet has 1/PC_THIN

# Nodes, nc.
N_VOLUME = 0  # [m3] of the cavity
N_OWED = 1  # [m3] by which the losses on its two sides change it, a step late
N_GAS = 2  # [m4] (H - floor) V
N_YIELD = 3  # [m2] dt/B
N_HEAD = 4  # [m]
N_ONE = 5  # [m] head a step before
N_TWO = 6  # [m] head two steps before
N_LARGEST = 7  # [m3] largest volume so far
N_SLIPPED = 8  # [m2] energy that came with what was owed, in squares of waves
N_FLOATS = 9
# Points, pc.
PC_VOLUME = 0  # [m3]
PC_GAS = 1  # [m4]
PC_THIN = 2  # [m2/s] storage of a point at which only links meet
PC_OUT = 3  # [m3/s] what leaves it through links
PC_Y = 4  # [m2/s] P_Y, P_Z [s/m2] and P_XY [m3/s] as they are without a cavity
PC_Z = 5
PC_XY = 6
PC_ONE = 7  # [m] head a step before
PC_TWO = 8  # [m] head two steps before
PC_LARGEST = 9  # [m3] largest volume so far
PC_FLOATS = 10

#   nc (nodes, N_FLOATS), pc (points, PC_FLOATS)
CavityNet = namedtuple("CavityNet", (*Net._fields, "nc", "pc"))


@inlined
def cavity_law(given, gas, compliance):
    """Volume of a cavity [m3], head above the floor [m], and the slope of that head by ``given`` [1/m2].

    ``given`` [m3] is the volume that there would be with the head at the floor, perhaps negative; every metre
    above it adds ``compliance`` [m2]. ``gas`` [m4] is head times volume.
    """
    half = 0.5 * given
    root = math.sqrt(half * half + gas * compliance)
    if half > 0.0:
        volume = half + root
        return volume, gas / volume, (half / root - 1.0) / (2.0 * compliance)
    if root <= 0.0:
        return 0.0, 0.0, -1.0 / compliance
    return (
        gas * compliance / (root - half),
        (root - half) / compliance,
        (half / root - 1.0) / (2.0 * compliance),
    )


@jit
def pass_cavities(p, m, frozen, r, base, rise, nc):
    """Friction of a reach, each wave's by the flow on its own side of the node.

    p, m, r, base, rise (nodes,) as for :func:`surge.kernel.pipes.pass_local`; nc (nodes, N_FLOATS): N_HEAD
    [m] is read, N_OWED [m3] is written.
    """
    for i in range(p.size):
        linear = 0.0 if frozen else base[i]
        square = r[i] if frozen else rise[i]
        if p[i] + m[i] == 2.0 * nc[i, N_HEAD]:
            d = p[i] - m[i]
            w = d * (linear + square * abs(d))
            p[i] -= w
            m[i] += w
            continue
        d = 2.0 * (p[i] - nc[i, N_HEAD])
        after = d * (linear + square * abs(d))
        d = 2.0 * (nc[i, N_HEAD] - m[i])
        before = d * (linear + square * abs(d))
        p[i] -= after
        m[i] += before
        nc[i, N_OWED] = 0.5 * nc[i, N_YIELD] * (before - after)


@jit
def settle(p, m, floor, hi, lo, nc):
    """Head and cavity of every node from the waves that arrive, which become those that leave.

    p, m (nodes,) [m]; floor (nodes,): twice the head at which the liquid boils [m], minus infinity where
    there is no inner node. hi, lo (nodes,): twice the highest median and the lowest head [m]. nc (nodes,
    N_FLOATS) is read and written.
    """
    for i in range(p.size):
        total = p[i] + m[i]
        if not floor[i] > -1e300:
            nc[i, N_HEAD] = 0.5 * total
            continue
        volume = nc[i, N_VOLUME]
        owed = nc[i, N_OWED]
        head = 0.5 * total
        if volume > 0.0 or owed != 0.0 or nc[i, N_GAS] > 0.0 or total < floor[i]:
            compliance = nc[i, N_YIELD]
            given = volume + owed + compliance * (floor[i] - total)
            volume, over, _ = cavity_law(given, nc[i, N_GAS], 2.0 * compliance)
            head = 0.5 * floor[i] + over
            nc[i, N_SLIPPED] += 4.0 * owed / compliance * (nc[i, N_HEAD] - head)
            nc[i, N_VOLUME] = volume
            nc[i, N_OWED] = 0.0
            nc[i, N_LARGEST] = max(nc[i, N_LARGEST], volume)
            forward = 2.0 * head - m[i]
            m[i] = 2.0 * head - p[i]
            p[i] = forward
        nc[i, N_HEAD] = head
        one = nc[i, N_ONE]
        two = nc[i, N_TWO]
        middle = max(min(one, two), min(max(one, two), head))
        hi[i] = max(hi[i], 2.0 * middle)
        lo[i] = min(lo[i], 2.0 * head)
        nc[i, N_TWO] = one
        nc[i, N_ONE] = head


@jit
def _keep_points(pf, pc):
    """Put by what the points have without cavities; what is too thin to see brings its own head.

    pf (points, P_FLOATS), pc (points, PC_FLOATS).
    """
    for i in range(pf.shape[0]):
        if pc[i, PC_THIN] > 0.0:
            pf[i, P_XY] += pc[i, PC_THIN] * pf[i, P_H]
        pc[i, PC_Y] = pf[i, P_Y]
        pc[i, PC_Z] = pf[i, P_Z]
        pc[i, PC_XY] = pf[i, P_XY]


@inlined
def _point_law(i, dt, floor, pc):
    """Volume [m3], head over the floor [m] and its slope by the flow into links [s/m2] at point ``i``.

    ``floor`` [m]; pc (points, PC_FLOATS).
    """
    compliance = dt * pc[i, PC_Y]
    given = pc[i, PC_VOLUME] + dt * (pc[i, PC_Y] * floor - pc[i, PC_XY] + pc[i, PC_OUT])
    volume, over, slope = cavity_law(given, pc[i, PC_GAS], compliance)
    return volume, over, slope * dt


@jit
def _offer(dt, point_floor, pi, pf, pc, always):
    """Make of every point that has or gets a cavity the source that its links see.

    point_floor (points,) [m], pi (points, P_INTS), pf (points, P_FLOATS), pc (points, PC_FLOATS). With
    ``always`` nought, those of no cavity and no gas stay as they are.
    """
    for i in range(pf.shape[0]):
        if pi[i, P_KIND] != FREE or not point_floor[i] > -1e300:
            continue
        if always == 0 and pc[i, PC_VOLUME] <= 0.0 and pc[i, PC_GAS] <= 0.0:
            continue
        volume, over, slope = _point_law(i, dt, point_floor[i], pc)
        if volume <= 0.0 and pc[i, PC_VOLUME] <= 0.0:
            z = pc[i, PC_Z]
            brings = pc[i, PC_XY] * z
        else:
            z = max(-slope, LEAST * min(pc[i, PC_Z], THICK))
            brings = point_floor[i] + over + z * pc[i, PC_OUT]
        pf[i, P_Z] = z
        pf[i, P_Y] = 1.0 / z
        pf[i, P_XY] = brings / z


@jit
def _miss(dt, point_floor, pi, pf, li, lf, pc):
    """Sum up what leaves points through links; by how many times what is allowed a head is off its law.

    Arrays as for :func:`_offer`; li (links, L_INTS), lf (links, L_FLOATS). PC_OUT is written.
    """
    for i in range(pf.shape[0]):
        pc[i, PC_OUT] = 0.0
    for e in range(lf.shape[0]):
        pc[li[e, L_A], PC_OUT] += lf[e, L_Q]
        pc[li[e, L_B], PC_OUT] -= lf[e, L_Q]
    worst = 0.0
    for i in range(pf.shape[0]):
        if pc[i, PC_THIN] > 0.0:
            worst = max(worst, abs(pf[i, P_H] - pc[i, PC_XY] / pc[i, PC_THIN]) / FILLED)
        if pi[i, P_KIND] == FREE and point_floor[i] > -1e300:
            _, over, _ = _point_law(i, dt, point_floor[i], pc)
            head = point_floor[i] + over
            off = abs(pf[i, P_H] - head) / (CLOSE * (1.0 + abs(head)))
            worst = max(worst, off) if off >= 0.0 else np.inf
    return worst


@jit
def _end_points(step, dt, point_floor, pi, pf, pc):
    """Take the points' volumes and heads from their laws, and keep their extremes.

    Arrays as for :func:`_offer`.
    """
    for i in range(pf.shape[0]):
        if pi[i, P_KIND] == FREE and point_floor[i] > -1e300:
            volume, over, _ = _point_law(i, dt, point_floor[i], pc)
            if volume > 0.0 or pc[i, PC_VOLUME] > 0.0:
                pf[i, P_H] = point_floor[i] + over
            pc[i, PC_VOLUME] = volume
            pc[i, PC_LARGEST] = max(pc[i, PC_LARGEST], volume)
        pf[i, P_Y] = pc[i, PC_Y]
        pf[i, P_Z] = pc[i, PC_Z]
        pf[i, P_XY] = pc[i, PC_XY]
        head = pf[i, P_H]
        one = pc[i, PC_ONE]
        two = pc[i, PC_TWO]
        middle = max(min(one, two), min(max(one, two), head))
        if middle > pf[i, P_HI] + SAME_HEAD:
            pf[i, P_HI] = middle
            pi[i, P_HI_STEP] = step
        if head < pf[i, P_LO] - SAME_HEAD:
            pf[i, P_LO] = head
            pi[i, P_LO_STEP] = step
        pc[i, PC_TWO] = one
        pc[i, PC_ONE] = head


@jit
def _solve_points(dt, net):
    """Heads of all points and flows of all links, cavities opening and closing as needed; a status.

    ``net`` is a :class:`CavityNet`.
    """
    pi, pf, li, lf, ci, pc = net.pi, net.pf, net.li, net.lf, net.ci, net.pc
    _keep_points(pf, pc)
    _offer(dt, net.point_floor, pi, pf, pc, 0)
    for _ in range(ROUNDS):
        for i in range(net.plain.size):
            at = net.plain[i]
            pf[at, P_H] = pf[at, P_FIXED] + pf[at, P_XY] * pf[at, P_Z]
        solve_orifices(net.pairs, pf, li, lf)
        status = OK
        if net.chains.shape[0] > 0:
            status = solve_chains(net.chains, net.chain, pf, li, lf, net.knots, net.coef, net.lump_table)
        if ci.shape[0] > 0:
            bad = solve_clusters(
                ci, net.members, net.tree, pi, pf, li, lf, net.knots, net.coef, net.lump_table, net.matrix,
                net.rhs,
            )  # fmt: skip
            status = max(status, bad)
        if status != OK:
            return status
        if _miss(dt, net.point_floor, pi, pf, li, lf, pc) <= 1.0:
            return OK
        for i in range(pf.shape[0]):
            if pc[i, PC_THIN] > 0.0:
                pc[i, PC_XY] = pc[i, PC_THIN] * pf[i, P_H]
        _offer(dt, net.point_floor, pi, pf, pc, 1)
    return NOT_CONVERGED


@entry(results=2, takes_long=True)
def march_cavities(net, first, steps, dt, frozen, heads, flows, volumes):
    """March ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt; ``net`` is changed.

    Parameters
    ----------
    net : CavityNet
    frozen : bool
        Friction coefficient fixed per pipe, or from the tables of ``net``.
    heads, flows, volumes : float64 arrays, shape (steps, points), (steps, links + ends), (steps, points)
        Histories [m], [m3/s], [m3] at every step.

    Returns
    -------
    status, done : int, int
        A status of :mod:`surge.kernel.columns`, and the steps done: so many rows are written.
    """
    p, m, window = net.p, net.m, net.window
    pi, pf, ei, ef, li, lf = net.pi, net.pf, net.ei, net.ef, net.li, net.lf
    last = net.table.shape[1] - 1.0
    n_start = ei.shape[0] // 2
    n_kept = count_kept(li, pf)
    size = net.hi.size
    a = window[0]
    b = window[1]
    for k in range(steps):
        pass_cavities(p[a : a + size], m[b : b + size], frozen, net.r, net.base, net.rise, net.nc)
        leave(p, m, a, b, n_start, pf, ei, ef, frozen, net.table_step, net.table)
        slide(p, m, window, size)
        a = window[0]
        b = window[1]
        move((first + k + 1) * dt * (1.0 + 1e-12), net.law_i, net.law_t, net.law_v, lf)
        arrive(p, m, a, b, n_start, pf, ei, ef)
        settle(p[a : a + size], m[b : b + size], net.floor, net.hi, net.lo, net.nc)
        renew(
            frozen, first + k + 1, p[a : a + size], m[b : b + size], net.node_row, net.node_step, net.law,
            last, net.base, net.rise,
        )  # fmt: skip
        if n_kept > 0:
            store(pf)
        status = _solve_points(dt, net)
        if status != OK:
            return status, k
        _end_points(first + k + 1, dt, net.point_floor, pi, pf, net.pc)
        if n_kept > 0:
            remember((first + k + 1) * dt, dt, pf, li, lf, net.lump_table)
        record_row(k, pf, lf, ei, ef, heads, flows)
        for i in range(pf.shape[0]):
            volumes[k, i] = net.pc[i, PC_VOLUME]
        if k % 256 == 255 and not np.isfinite(pf[:, P_H].sum()):
            return NOT_FINITE, k + 1
    if not np.isfinite(pf[:, P_H].sum()):
        return NOT_FINITE, steps
    return OK, steps

"""The march with unsteady friction: what the plain march does, and friction that remembers changes of flow.

Decisions
---------
* The weight is a sum of exponentials (:mod:`surge.hydraulics.weights`). Each keeps one number for every node,
  s: with u = 2BQ [m] of the node, what it adds to the loss of a reach is scale (f u - s), and then s becomes
  e s + (1 - e) f u, e what is left after a step and f the average over it. In steady flow it adds nothing.
* Both losses belong to the flow of the instant in the middle of the reach, which is found with them: u, d of
  the waves and both losses stand in one linear equation. So each takes no more energy than there is and gives
  no more than it has taken; :class:`surge.transient.unsteady_march.UnsteadyWatch` counts it.
* At the end of a pipe the loss of its half reach is one with its impedance: (H - x) y with another x and y.
  So it needs no step of delay.
* Without a weight (no viscosity) a pipe is what it is in the plain march, to the bit. Lumped elements have
  none.

Heads [m], flows [m3/s]. Arrays that are not told here are those of :mod:`surge.kernel.columns` and
:class:`surge.kernel.march.Net`.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from surge.kernel.columns import (
    E_LOSS,
    E_NODE,
    E_POINT,
    E_R,
    E_ROW,
    E_X,
    E_Y,
    NOT_FINITE,
    OK,
    P_FIXED,
    P_H,
    P_XY,
    P_Z,
    STOPPED_AT_VAPOUR,
)
from surge.kernel.compiled import entry, jit, larger, smaller
from surge.kernel.laws import table_loss
from surge.kernel.march import (
    Net,
    boils,
    count_kept,
    keep_extremes,
    move,
    record_row,
    remember,
    solve_chains,
    solve_clusters,
    solve_orifices,
    store,
)
from surge.kernel.pipes import arrive, renew, slide

MOST = 0.9  # of a wave: a greater loss in one reach is taken as so much; far beyond what a grid allows

# Ends, u_end.
U_SLOPE = 0  # [-] loss of the half reach by 2BQ
U_PAST = 1  # [m] less this, from the past
U_SCALE = 2  # [-] scale of that half reach
U_FLOATS = 3

#   u_keep, u_feed, u_kept (terms, nodes)   e [-], (1 - e) f [-], s [m]
#   u_scale, u_gain, u_past, u_flow (nodes,)  scale [-]; scale times all f [-]; scale times all s [m]; u [m]
#   u_end (ends, U_FLOATS); u_end_keep, u_end_feed, u_end_kept (ends, terms)  as those of the nodes
UnsteadyNet = namedtuple(
    "UnsteadyNet",
    (
        *Net._fields, "u_keep", "u_feed", "u_kept", "u_scale", "u_gain", "u_past", "u_flow", "u_end",
        "u_end_keep", "u_end_feed", "u_end_kept",
    ),
)  # fmt: skip


@jit
def pass_unsteady(p, m, frozen, r, base, rise, hi, lo, gain, past, flow):
    """Envelope at this instant, then both losses of a reach; ``flow`` is what u was in its middle [m].

    p, m, r, base, rise, hi, lo (nodes,) as for :func:`surge.kernel.pipes.pass_local`; gain [-], past [m],
    flow [m] (nodes,).
    """
    for i in range(p.size):
        a = p[i]
        b = m[i]
        s = a + b
        hi[i] = larger(s, hi[i])
        lo[i] = smaller(s, lo[i])
        d = a - b
        linear = 0.0 if frozen else base[i]
        square = r[i] if frozen else rise[i]
        plain = d * (linear + square * abs(d))
        # The law of the steady loss is one of d without the other loss: about the flow, found in one round.
        c = min(linear + square * abs(d), MOST)
        u = (d + past[i]) / (1.0 + c / (1.0 - c) + gain[i])
        c = min(linear + square * abs(u / (1.0 - c)), MOST)
        u = (d + past[i]) / (1.0 + c / (1.0 - c) + gain[i])
        w = u * (c / (1.0 - c)) + (gain[i] * u - past[i])
        w = w if gain[i] > 0.0 else plain
        flow[i] = u
        p[i] = a - w
        m[i] = b + w


@jit
def keep_past(keep, feed, kept, scale, past, flow):
    """Take a step's flow into what each exponential keeps.

    keep, feed, kept (terms, nodes); scale, past, flow (nodes,).
    """
    for i in range(past.size):
        past[i] = 0.0
    for k in range(kept.shape[0]):
        e = keep[k]
        f = feed[k]
        s = kept[k]
        for i in range(past.size):
            now = e[i] * s[i] + f[i] * flow[i]
            s[i] = now
            past[i] += now
    for i in range(past.size):
        past[i] *= scale[i]


@jit
def leave_unsteady(p, m, at_p, at_m, n_start, pf, ei, ef, frozen, step, table, own, keep, feed, kept):
    """Send the waves of all points into their pipes, less both losses of half a reach.

    Arrays as for :func:`surge.kernel.pipes.leave`; own (ends, U_FLOATS), keep, feed, kept (ends, terms).
    """
    for e in range(ei.shape[0]):
        x = ef[e, E_X]
        g = 2.0 * (pf[ei[e, E_POINT], P_H] - x) / (1.0 + 2.0 * own[e, U_SLOPE])
        if frozen:
            loss = ef[e, E_R] * g * abs(g)
        else:
            t = ei[e, E_ROW]
            loss, _ = table_loss(abs(g), step[t], t, table)
            loss = loss if g >= 0.0 else -loss
        ef[e, E_LOSS] = loss
        if e < n_start:
            p[at_p + ei[e, E_NODE]] = x + g - loss + own[e, U_PAST]
        else:
            m[at_m + ei[e, E_NODE]] = x + g - loss + own[e, U_PAST]
        past = 0.0
        for k in range(kept.shape[1]):
            kept[e, k] = keep[e, k] * kept[e, k] + feed[e, k] * g
            past += kept[e, k]
        own[e, U_PAST] = own[e, U_SCALE] * past


@jit
def offset_ends(pf, ei, ef, own):
    """Take what the past adds at pipe ends into the waves that have arrived there.

    pf (points, P_FLOATS): P_XY [m3/s] is changed. ei (ends, E_INTS). ef (ends, E_FLOATS): E_X [m] is changed.
    own (ends, U_FLOATS).
    """
    for e in range(ei.shape[0]):
        ef[e, E_X] -= own[e, U_PAST]
        pf[ei[e, E_POINT], P_XY] -= own[e, U_PAST] * ef[e, E_Y]


@entry(results=3, takes_long=True)
def march_unsteady(net, first, steps, dt, frozen, watch_vapour, stride, heads, flows):
    """March ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt; ``net`` is changed.

    Parameters and what is returned are those of :func:`surge.kernel.march.march`, ``net`` an
    :class:`UnsteadyNet`.
    """
    p, m, window, found = net.p, net.m, net.window, net.found
    pi, pf, ei, ef, li, lf, ci = net.pi, net.pf, net.ei, net.ef, net.li, net.lf, net.ci
    last = net.table.shape[1] - 1.0
    n_start = ei.shape[0] // 2
    n_kept = count_kept(li, pf)
    size = net.hi.size
    record = heads.shape[0] > 0
    rows = 0
    a = window[0]
    b = window[1]
    for k in range(steps):
        pass_unsteady(
            p[a : a + size], m[b : b + size], frozen, net.r, net.base, net.rise, net.hi, net.lo, net.u_gain,
            net.u_past, net.u_flow,
        )  # fmt: skip
        keep_past(net.u_keep, net.u_feed, net.u_kept, net.u_scale, net.u_past, net.u_flow)
        leave_unsteady(
            p, m, a, b, n_start, pf, ei, ef, frozen, net.table_step, net.table, net.u_end, net.u_end_keep,
            net.u_end_feed, net.u_end_kept,
        )  # fmt: skip
        slide(p, m, window, size)
        a = window[0]
        b = window[1]
        renew(
            frozen, first + k + 1, p[a : a + size], m[b : b + size], net.node_row, net.node_step, net.law,
            last, net.base, net.rise,
        )  # fmt: skip
        move((first + k + 1) * dt * (1.0 + 1e-12), net.law_i, net.law_t, net.law_v, lf)
        arrive(p, m, a, b, n_start, pf, ei, ef)
        offset_ends(pf, ei, ef, net.u_end)
        if n_kept > 0:
            store(pf)
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
        if n_kept > 0:
            remember((first + k + 1) * dt, dt, pf, li, lf, net.lump_table)
        if status != OK:
            return status, k, rows
        keep_extremes(first + k + 1, p, m, a, b, pi, pf, net.probe, net.probe_head, net.probe_step)
        if record and (first + k + 1) % stride == 0:
            record_row(rows, pf, lf, ei, ef, heads, flows)
            rows += 1
        if watch_vapour and boils(p[a : a + size], m[b : b + size], net.floor, pf, net.point_floor, found):
            return STOPPED_AT_VAPOUR, k + 1, rows
        if k % 256 == 255 and not np.isfinite(pf[:, P_H].sum()):
            return NOT_FINITE, k + 1, rows
    if not np.isfinite(pf[:, P_H].sum()):
        return NOT_FINITE, steps, rows
    return OK, steps, rows

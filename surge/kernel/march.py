"""The march: method of characteristics at Courant number 1 over a whole network, arrays in and out.

Waves travelling forwards and backwards are kept as the pair P = H + BQ and M = H - BQ [m] at every node. In
one step they only move on by one node and lose the friction of one reach, so that all pipes, laid end to end
in one long array, advance in a single contiguous loop; what happens at the pipe ends is then written over the
values that would have crossed from one pipe into the next.

Layout. Node ``i`` of the long array stands in lane ``i // rows`` and row ``i % rows``; a row of eight lanes
is one cache line. Nothing is moved in memory: the window of P slides down one row a step and the window of M
up, inside longer buffers (``window`` holds both positions). Measured against heads and flows in two buffers
this is what makes the march fast.

Friction belongs to the flow in the middle of a reach; half a reach is lost on leaving an end and half on
arriving, the latter with the flow that the end had a step before. Second order where the flow is smooth, and
an instant stop still rises by exactly B times the flow stopped. With friction frozen the coefficient is exact
at the steady flow; elsewhere it is off by about the share of the wave that one reach's loss is. Local
friction comes from the tables of :mod:`surge.hydraulics.losses`.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from surge.kernel.columns import (
    C_TREE,
    C_TREE_END,
    CH_A,
    CH_B,
    CH_LINK,
    CH_SIDE,
    E_LOSS,
    E_NODE,
    E_POINT,
    E_R,
    E_ROW,
    E_X,
    E_Y,
    L_A,
    L_B,
    L_C,
    L_C2,
    L_KIND,
    L_MEMORY,
    L_Q,
    L_SPEED,
    L_STEP,
    L_TABLE,
    L_Z,
    LUMPED,
    NOT_FINITE,
    OK,
    P_FIXED,
    P_H,
    P_HI,
    P_HI_STEP,
    P_LO,
    P_LO_STEP,
    P_STUB,
    P_STUB_Y,
    P_XY,
    P_Z,
    STOPPED_AT_VAPOUR,
)
from surge.kernel.compiled import jit
from surge.kernel.laws import chain_flow, fill_chain, orifice_flow, solve_cluster, table_loss
from surge.kernel.trees import solve_tree

LANES = 8
SAME_HEAD = 1e-9  # [m] a head that beats an extreme by less is rounding: it would only move its time

# What the march works on; shapes in surge.transient.grid. Waves, envelope (twice the head), friction
# (coefficient, or table row and tables), the points, ends, links and clusters of
# surge.kernel.laws, the laws of what moves, curves, nodes to record, room for Newton.
Net = namedtuple(
    "Net",
    "p m window hi lo r node_row node_step place share table flat table_step floor point_floor pi pf ei ef "
    "li lf ci members tree plain pairs chains chain law_i law_t law_v knots coef lump_table probe "
    "probe_head probe_step matrix rhs found",
)


@jit
def pass_frozen(p, m, r, hi, lo):
    """Envelope at this instant, then the friction of a reach, with a fixed coefficient ``r``.

    ``r`` is such that the loss is exact at the steady flow; elsewhere it is off by the part
    that one reach's loss is of the wave, a thousandth of the loss and less.
    All arrays have shape (rows * LANES,); ``hi`` and ``lo`` hold twice the head.
    """
    for i in range(p.size):
        a = p[i]
        b = m[i]
        s = a + b
        hi[i] = max(hi[i], s)
        lo[i] = min(lo[i], s)
        d = a - b
        w = r[i] * d * abs(d)
        p[i] = a - w
        m[i] = b + w


@jit
def pass_local(p, m, row, step, flat, last, hi, lo, place, share):
    """As :func:`pass_frozen`, the loss from a table per pipe (a factor that follows the flow).

    In two loops, because only the first can go several nodes at a time: ``place`` and ``share``
    carry what it found. ``flat`` are the tables one after the other; beyond step ``last`` a loss goes
    on along the last straight piece.
    """
    n = p.size
    for i in range(n):
        a = p[i]
        b = m[i]
        s = a + b
        hi[i] = max(hi[i], s)
        lo[i] = min(lo[i], s)
        u = abs(a - b) * step[i]
        k = np.int32(u if u < last else last)
        place[i] = row[i] + k
        share[i] = u - k
    for i in range(n):
        j = np.uint32(place[i])
        a = flat[j]
        w = a + share[i] * (flat[j + np.uint32(1)] - a)
        a = p[i]
        b = m[i]
        w = w if a >= b else -w
        p[i] = a - w
        m[i] = b + w


@jit
def _slide(p, m, window, size):
    """One step on: both windows move by a row, and lanes hand over to their neighbours."""
    if window[0] == 0:
        spare = p.size - size
        for i in range(size - 1, -1, -1):
            p[spare + i] = p[i]
        for i in range(size):
            m[i] = m[spare + i]
        window[0] = spare
        window[1] = 0
    start = window[0] - LANES
    window[0] = start
    p[start] = 0.0
    for lane in range(1, LANES):
        p[start + lane] = p[start + size + lane - 1]
    start = window[1]
    window[1] = start + LANES
    for lane in range(LANES - 1):
        m[start + size + lane] = m[start + lane + 1]
    m[start + size + LANES - 1] = 0.0


@jit
def _arrive(p, m, at_p, at_m, n_start, pf, ei, ef):
    """Bring the waves that arrive at pipe ends to their points: ``x`` of every end, sum(x*y)."""
    for i in range(pf.shape[0]):
        pf[i, P_XY] = 0.0
    for e in range(n_start):
        x = m[at_m + ei[e, E_NODE]] + ef[e, E_LOSS]
        ef[e, E_X] = x
        pf[ei[e, E_POINT], P_XY] += x * ef[e, E_Y]
    for e in range(n_start, ei.shape[0]):
        x = p[at_p + ei[e, E_NODE]] + ef[e, E_LOSS]
        ef[e, E_X] = x
        pf[ei[e, E_POINT], P_XY] += x * ef[e, E_Y]


@jit
def _leave(p, m, at_p, at_m, n_start, pf, ei, ef, frozen, step, table):
    """Send the waves of all points into their pipes, less half a reach's loss; keep the other half."""
    for e in range(ei.shape[0]):
        x = ef[e, E_X]
        g = 2.0 * (pf[ei[e, E_POINT], P_H] - x)
        if frozen:
            loss = ef[e, E_R] * g * abs(g)
        else:
            t = ei[e, E_ROW]
            loss, _ = table_loss(abs(g), step[t], t, table)
            loss = loss if g >= 0.0 else -loss
        ef[e, E_LOSS] = loss
        if e < n_start:
            p[at_p + ei[e, E_NODE]] = x + g - loss
        else:
            m[at_m + ei[e, E_NODE]] = x + g - loss


@jit
def _value(time, first, last, times, values):
    """Value of a law, straight between its points; at a double time the later value holds."""
    k = first
    while k + 1 < last and times[k + 1] <= time:
        k += 1
    if k + 1 >= last or time <= times[k]:
        return values[k]
    return values[k] + (time - times[k]) / (times[k + 1] - times[k]) * (values[k + 1] - values[k])


@jit
def _move(time, law_i, times, values, lf):
    """Set every link that moves to what it is at ``time``: columns link, is speed, first, last."""
    for i in range(law_i.shape[0]):
        e = law_i[i, 0]
        value = _value(time, law_i[i, 2], law_i[i, 3], times, values)
        if law_i[i, 1]:
            lf[e, L_SPEED] = value
        else:
            c = lf[e, L_C] * value
            lf[e, L_C2] = c * c


@jit
def _count_lumped(li):
    count = 0
    for e in range(li.shape[0]):
        if li[e, L_KIND] == LUMPED:
            count += 1
    return count


@jit
def _store(pf):
    """What the storage of lumped elements brings to their points (trapezoidal, like a short stub)."""
    for i in range(pf.shape[0]):
        pf[i, P_STUB] = 2.0 * pf[i, P_H] - pf[i, P_STUB]
        pf[i, P_XY] += pf[i, P_STUB_Y] * pf[i, P_STUB]


@jit
def _remember(pf, li, lf, tables):
    """Keep what lumped elements need for the next step (trapezoidal inertia and loss)."""
    for e in range(li.shape[0]):
        if li[e, L_KIND] == LUMPED:
            q = lf[e, L_Q]
            loss, _ = table_loss(abs(q), lf[e, L_STEP], li[e, L_TABLE], tables)
            if q < 0.0:
                loss = -loss
            drop = pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H]
            lf[e, L_MEMORY] = lf[e, L_Z] * q + drop - loss


@jit
def _orifices(pairs, pf, li, lf):
    """Valves and passages that share their two points with no other link: closed form."""
    for i in range(pairs.size):
        e = pairs[i]
        a = li[e, L_A]
        b = li[e, L_B]
        za = pf[a, P_Z]
        zb = pf[b, P_Z]
        ea = pf[a, P_FIXED] + pf[a, P_XY] * za
        eb = pf[b, P_FIXED] + pf[b, P_XY] * zb
        q = orifice_flow(ea - eb, za + zb, lf[e, L_C2])
        lf[e, L_Q] = q
        pf[a, P_H] = ea - za * q
        pf[b, P_H] = eb + zb * q


@jit
def _chains(chains, chain, pf, li, lf, knots, coef, lumps):
    """Links behind one another, and single pumps and lumped elements, between two sources."""
    status = OK
    for i in range(chains.shape[0]):
        first = chains[i, 0]
        last = chains[i, 1]
        a = chain[first, CH_A]
        b = chain[last - 1, CH_B]
        za = pf[a, P_Z]
        zb = pf[b, P_Z]
        ea = pf[a, P_FIXED] + pf[a, P_XY] * za
        eb = pf[b, P_FIXED] + pf[b, P_XY] * zb
        q = chain[first, CH_SIDE] * lf[chain[first, CH_LINK], L_Q]
        q, why, bad = chain_flow(first, last, chain, q, ea - eb, za + zb, li, lf, knots, coef, lumps)
        status = max(status, bad)
        for row in range(first, last):
            lf[chain[row, CH_LINK], L_Q] = chain[row, CH_SIDE] * q
        pf[a, P_H] = ea - za * q
        pf[b, P_H] = eb + zb * q
        if last - first > 1:
            fill_chain(first, last, chain, q, why, pf, li, lf, knots, coef, lumps)
    return status


@jit
def _clusters(ci, members, tree, pi, pf, li, lf, knots, coef, lumps, matrix, rhs):
    """Links that branch: trees by sweeps, what is no tree or does not close by Newton's method."""
    status = OK
    for c in range(ci.shape[0]):
        if ci[c, C_TREE] < ci[c, C_TREE_END] and solve_tree(c, ci, tree, pf, li, lf, lumps, matrix):
            continue
        bad = solve_cluster(c, ci, members, pi, pf, li, lf, knots, coef, lumps, matrix, rhs)
        status = max(status, bad)
    return status


@jit
def _extremes(step, p, m, at_p, at_m, pi, pf, probe, probe_head, probe_step):
    """Keep highest and lowest heads of points and named nodes, and the first step of each."""
    for i in range(pf.shape[0]):
        head = pf[i, P_H]
        if head > pf[i, P_HI] + SAME_HEAD:
            pf[i, P_HI] = head
            pi[i, P_HI_STEP] = step
        if head < pf[i, P_LO] - SAME_HEAD:
            pf[i, P_LO] = head
            pi[i, P_LO_STEP] = step
    for i in range(probe.size):
        head = 0.5 * (p[at_p + probe[i]] + m[at_m + probe[i]])
        if head > probe_head[i, 0] + SAME_HEAD:
            probe_head[i, 0] = head
            probe_step[i, 0] = step
        if head < probe_head[i, 1] - SAME_HEAD:
            probe_head[i, 1] = head
            probe_step[i, 1] = step


@jit
def _record(row, pf, lf, ei, ef, heads, flows):
    """Write point heads, link flows and flows into pipe ends of this instant."""
    for i in range(pf.shape[0]):
        heads[row, i] = pf[i, P_H]
    links = lf.shape[0]
    for i in range(links):
        flows[row, i] = lf[i, L_Q]
    for i in range(ef.shape[0]):
        flows[row, links + i] = (pf[ei[i, E_POINT], P_H] - ef[i, E_X]) * ef[i, E_Y]


@jit
def _boils(p, m, floor, pf, point_floor, found):
    """Whether any node (doubled head) or point is at or below its floor; ``found`` is the first."""
    found[0] = -1
    found[1] = -1
    for i in range(p.size):
        if p[i] + m[i] <= floor[i]:
            found[0] = i
            return True
    for i in range(pf.shape[0]):
        if pf[i, P_H] <= point_floor[i]:
            found[1] = i
            return True
    return False


@jit
def march(net, first, steps, dt, frozen, watch_vapour, stride, heads, flows):
    """March ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt; ``net`` is changed.

    Parameters
    ----------
    net : Net
        Built by :func:`surge.transient.grid.build_grid`.
    frozen : bool
        Friction coefficient fixed per pipe, or from the tables of ``net``.
    watch_vapour : bool
        Stop at the first instant at which a node or point is at or below its floor; ``found`` has
        the node, or -1 and the point.
    stride : int
        Histories are kept at the instants whose number is a multiple of it.
    heads, flows : float64 arrays, shape (rows, points) and (rows, links + ends)
        Histories, rows enough for that; nothing is recorded into arrays of no rows.

    Returns
    -------
    status, done, rows : int, int, int
        A status of :mod:`surge.kernel.laws`, the steps done, and the rows written.
    """
    p, m, window, hi, lo, r, node_row = net.p, net.m, net.window, net.hi, net.lo, net.r, net.node_row
    pi, pf, ei, ef, li, lf, ci = net.pi, net.pf, net.ei, net.ef, net.li, net.lf, net.ci
    table, flat, step, lumps, knots, coef = (
        net.table,
        net.flat,
        net.table_step,
        net.lump_table,
        net.knots,
        net.coef,
    )
    members, tree = net.members, net.tree
    plain, pairs, chains, chain = net.plain, net.pairs, net.chains, net.chain
    probe, probe_head, probe_step = net.probe, net.probe_head, net.probe_step
    matrix, rhs = net.matrix, net.rhs
    node_step, place, share = net.node_step, net.place, net.share
    law_i, law_t, law_v = net.law_i, net.law_t, net.law_v
    floor, point_floor, found = net.floor, net.point_floor, net.found
    n_chains = chains.shape[0]
    n_clusters = ci.shape[0]
    n_lumped = _count_lumped(li)
    last = table.shape[1] - 2.0
    n_start = ei.shape[0] // 2
    size = hi.size
    record = heads.shape[0] > 0
    rows = 0
    a = window[0]
    b = window[1]
    for k in range(steps):
        if frozen:
            pass_frozen(p[a : a + size], m[b : b + size], r, hi, lo)
        else:
            pass_local(
                p[a : a + size], m[b : b + size], node_row, node_step, flat, last, hi, lo, place, share
            )
        # Written after the pass and not before: a vector load right behind a scalar store stalls.
        _leave(p, m, a, b, n_start, pf, ei, ef, frozen, step, table)
        _slide(p, m, window, size)
        a = window[0]
        b = window[1]
        # A law point that falls on this instant holds although n*dt may be rounded below it.
        _move((first + k + 1) * dt * (1.0 + 1e-12), law_i, law_t, law_v, lf)
        _arrive(p, m, a, b, n_start, pf, ei, ef)
        if n_lumped > 0:
            _store(pf)
        for i in range(plain.size):
            pf[plain[i], P_H] = pf[plain[i], P_FIXED] + pf[plain[i], P_XY] * pf[plain[i], P_Z]
        _orifices(pairs, pf, li, lf)
        # Asked here and not inside: handing so many arrays to a function costs as much as a junction.
        status = _chains(chains, chain, pf, li, lf, knots, coef, lumps) if n_chains > 0 else OK
        if n_clusters > 0:
            bad = _clusters(ci, members, tree, pi, pf, li, lf, knots, coef, lumps, matrix, rhs)
            status = max(status, bad)
        if n_lumped > 0:
            _remember(pf, li, lf, lumps)
        if status != OK:
            return status, k, rows
        _extremes(first + k + 1, p, m, a, b, pi, pf, probe, probe_head, probe_step)
        if record and (first + k + 1) % stride == 0:
            _record(rows, pf, lf, ei, ef, heads, flows)
            rows += 1
        if watch_vapour and _boils(p[a : a + size], m[b : b + size], floor, pf, point_floor, found):
            return STOPPED_AT_VAPOUR, k + 1, rows
        if k % 256 == 255 and not np.isfinite(pf[:, P_H].sum()):
            return NOT_FINITE, k + 1, rows
    if not np.isfinite(pf[:, P_H].sum()):
        return NOT_FINITE, steps, rows
    return OK, steps, rows

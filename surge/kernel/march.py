"""The march: method of characteristics at Courant number 1 over a whole network, arrays in and out.

Waves travelling forwards and backwards are kept as the pair P = H + BQ and M = H - BQ [m] at every node. In
one step they only move on by one node and lose the friction of one reach, so that all pipes, laid end to end
in one long array, advance in a single contiguous loop; what happens at the pipe ends is then written over the
values that would have crossed from one pipe into the next.

What happens in the pipes and at their ends is in :mod:`surge.kernel.pipes`, what happens at points in
:mod:`surge.kernel.laws` and :mod:`surge.kernel.trees`; here they are put in order, step by step.
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
    CH_SIGN,
    E_POINT,
    E_X,
    E_Y,
    FLOWS,
    L_A,
    L_B,
    L_C,
    L_C2,
    L_KIND,
    L_MEMORY,
    L_Q,
    L_SPEED,
    L_STATE,
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
    RELIEF,
    STOPPED_AT_VAPOUR,
)
from surge.kernel.compiled import entry, inlined, jit
from surge.kernel.laws import chain_flow, fill_chain, solve_cluster, table_loss
from surge.kernel.orifices import orifice_flow
from surge.kernel.pipes import arrive, leave, pass_frozen, pass_local, renew, slide
from surge.kernel.relief import relief_alone
from surge.kernel.states import advance
from surge.kernel.trees import solve_tree

SAME_HEAD = 1e-9  # [m] a head that beats an extreme by less is rounding: it would only move its time

# What the march works on; arrays that are not told here are those of surge.kernel.columns. Nodes are those
# of the long array with its padding, a multiple of STRIPS.
#   p, m (buffer,), window (2,)         waves [m], and where their nodes begin
#   hi, lo (nodes,)                     twice the highest and lowest head [m]
#   r (nodes,)                          frozen friction: loss coefficient of a reach [1/m]
#   base, rise (nodes,)                 local friction: the law of a reach now [-], [1/m]
#   node_row, node_step (nodes,)        where its table begins in ``law``, 1/step [1/m]
#   law (n, 2)                          tables of base and rise against d [m], pipe after pipe; the last,
#                                       nought: ends and padding
#   table (pipes, steps + 1)            losses of half a reach at an end [m] against 2BQ [m]
#   table_step (pipes,)                 1/step [1/m]
#   floor (nodes,)                      twice the head at which the liquid boils [m]
#   point_floor (points,)               the head at which it boils [m]
#   law_i (laws, 4), law_t, law_v (n,)  link, kind, first and last point; times [s] and values [-]
#   lump_table (lumped, steps + 1)      losses of lumped elements [m]
#   probe (n,)                          named nodes
#   probe_head, probe_step (n, 2)       their highest and lowest head [m], and the steps
#   matrix (n, n), rhs (n,)             room for Newton and trees
#   found (2,)                          node, or -1 and point, that boiled first
Net = namedtuple(
    "Net",
    "p m window hi lo r base rise node_row node_step law table table_step floor point_floor pi pf ei ef "
    "li lf ci members tree plain pairs chains chain law_i law_t law_v knots coef lump_table probe "
    "probe_head probe_step matrix rhs found",
)


@inlined
def law_at(time, first, last, times, values):
    """Value of a law [-] at ``time`` [s], straight between its points; at a double time the later one holds.

    Its points are those from ``first`` to ``last``, excluded, of times (n,) [s] and values (n,) [-].
    """
    k = first
    while k + 1 < last and times[k + 1] <= time:
        k += 1
    if k + 1 >= last or time <= times[k]:
        return values[k]
    return values[k] + (time - times[k]) / (times[k + 1] - times[k]) * (values[k + 1] - values[k])


@inlined
def move(time, law_i, times, values, lf):
    """Set every link that moves to what it is at ``time`` [s].

    law_i (laws, 4), int64: link, 1 for a speed, 2 for one that a pump without drive may exceed, 0 for a Kv
    ratio, first and last point (one beyond) in times (n,) [s] and values (n,) [-]. lf (links, L_FLOATS): L_C
    [m2.5/s] is read, L_SPEED [-] or L_C2 [m5/s2] is written.
    """
    for i in range(law_i.shape[0]):
        e = law_i[i, 0]
        value = law_at(time, law_i[i, 2], law_i[i, 3], times, values)
        if law_i[i, 1] == 2:
            lf[e, L_SPEED] = max(lf[e, L_SPEED], value)
        elif law_i[i, 1]:
            lf[e, L_SPEED] = value
        else:
            c = lf[e, L_C] * value
            lf[e, L_C2] = c * c


@jit
def count_kept(li, pf):
    """Number of links and points that keep something from step to step.

    li (links, L_INTS): lumped elements, and links with a state. pf (points, P_FLOATS): points with storage.
    """
    count = 0
    for i in range(pf.shape[0]):
        if pf[i, P_STUB_Y] > 0.0:
            count += 1
    for e in range(li.shape[0]):
        if li[e, L_KIND] == LUMPED or li[e, L_STATE] != 0:
            count += 1
    return count


@inlined
def store(pf):
    """What the storage of lumped elements brings to their points (trapezoidal, like a short stub).

    pf (points, P_FLOATS): P_H [m] and P_STUB_Y [m2/s] are read, P_STUB [m] is written, P_XY [m3/s] grows.
    """
    for i in range(pf.shape[0]):
        pf[i, P_STUB] = 2.0 * pf[i, P_H] - pf[i, P_STUB]
        pf[i, P_XY] += pf[i, P_STUB_Y] * pf[i, P_STUB]


@inlined
def remember(time, dt, pf, li, lf, tables):
    """Keep what links need for the step after ``time`` [s], which came ``dt`` [s] after the one before.

    Lumped elements: trapezoidal inertia and loss. pf (points, P_FLOATS): P_H [m]. li (links, L_INTS). lf
    (links, L_FLOATS): L_Q [m3/s], L_Z [s/m2] and L_STEP [s/m3] are read, L_MEMORY [m] and states are written.
    tables (lumped, steps + 1): losses [m].
    """
    for e in range(li.shape[0]):
        if li[e, L_STATE] != 0:
            advance(e, pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H], time, dt, li, lf)
        elif li[e, L_KIND] == LUMPED:
            q = lf[e, L_Q]
            loss, _ = table_loss(abs(q), lf[e, L_STEP], li[e, L_TABLE], tables)
            if q < 0.0:
                loss = -loss
            drop = pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H]
            lf[e, L_MEMORY] = lf[e, L_Z] * q + drop - loss


@inlined
def solve_orifices(pairs, pf, li, lf):
    """Valves and passages that share their two points with no other link: closed form.

    pairs (n,): their rows in li (links, L_INTS). pf (points, P_FLOATS): P_FIXED [m], P_XY [m3/s] and P_Z
    [s/m2] are read, P_H [m] is written. lf (links, L_FLOATS): L_C2 [m5/s2] is read, L_Q [m3/s] is written.
    """
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


@inlined
def solve_chains(chains, chain, pf, li, lf, knots, coef, lumps):
    """Links behind one another, and single pumps and lumped elements, between two sources; returns a status.

    chains (n, 2): first row of each in chain (rows, CH_INTS), and the row after its last. pf (points,
    P_FLOATS): P_FIXED [m], P_XY [m3/s] and P_Z [s/m2] are read, P_H [m] is written. lf (links, L_FLOATS): L_Q
    [m3/s] is written. li (links, L_INTS), knots (rows,) [m3/s], coef (rows, 4) and lumps (lumped, steps + 1)
    [m] are for the laws.
    """
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
        q = chain[first, CH_SIGN] * lf[chain[first, CH_LINK], L_Q]
        if li[chain[first, CH_LINK], L_KIND] == RELIEF:
            q = relief_alone(chain[first, CH_LINK], chain[first, CH_SIGN], ea - eb, za + zb, lf)
            why = FLOWS
        else:
            q, why, bad = chain_flow(first, last, chain, q, ea - eb, za + zb, li, lf, knots, coef, lumps)
            status = max(status, bad)
        for row in range(first, last):
            lf[chain[row, CH_LINK], L_Q] = chain[row, CH_SIGN] * q
        pf[a, P_H] = ea - za * q
        pf[b, P_H] = eb + zb * q
        if last - first > 1:
            fill_chain(first, last, chain, q, why, pf, li, lf, knots, coef, lumps)
    return status


@jit
def solve_clusters(ci, members, tree, pi, pf, li, lf, knots, coef, lumps, matrix, rhs):
    """Links that branch: trees by sweeps, what is no tree or does not close by Newton's method; a status.

    ci (clusters, C_INTS), members (m,), tree (rows, T_INTS); lumps (lumped, steps + 1) [m], the rest as for
    :func:`surge.kernel.laws.solve_cluster`. P_H [m] of ``pf``, L_Q [m3/s] of ``lf`` and L_HELD of ``li`` are
    written.
    """
    status = OK
    for c in range(ci.shape[0]):
        if ci[c, C_TREE] < ci[c, C_TREE_END] and solve_tree(c, ci, tree, pf, li, lf, lumps, matrix):
            continue
        bad = solve_cluster(c, ci, members, pi, pf, li, lf, knots, coef, lumps, matrix, rhs)
        status = max(status, bad)
    return status


@inlined
def keep_extremes(step, p, m, at_p, at_m, pi, pf, probe, probe_head, probe_step):
    """Keep highest and lowest heads of points and named nodes, and the first ``step`` of each.

    p, m (buffer,): waves [m], nodes from ``at_p`` and ``at_m`` on. pi (points, P_INTS) and pf (points,
    P_FLOATS): P_H [m] is read; P_HI and P_LO [m], P_HI_STEP and P_LO_STEP are written. probe (n,): named
    nodes; probe_head (n, 2) [m] and probe_step (n, 2): their highest and lowest head.
    """
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


@inlined
def record_row(row, pf, lf, ei, ef, heads, flows):
    """Write point heads, link flows and flows into pipe ends of this instant into row ``row``.

    pf (points, P_FLOATS), lf (links, L_FLOATS), ei (ends, E_INTS), ef (ends, E_FLOATS) are read. heads (rows,
    points) [m] and flows (rows, links + ends) [m3/s] are written.
    """
    for i in range(pf.shape[0]):
        heads[row, i] = pf[i, P_H]
    links = lf.shape[0]
    for i in range(links):
        flows[row, i] = lf[i, L_Q]
    for i in range(ef.shape[0]):
        flows[row, links + i] = (pf[ei[i, E_POINT], P_H] - ef[i, E_X]) * ef[i, E_Y]


@jit
def boils(p, m, floor, pf, point_floor, found):
    """Whether any node or point is at or below its floor; ``found`` (2,) has the first node, or -1 and the
    point.

    p, m (nodes,): waves [m]; floor (nodes,): twice the head at which the liquid boils [m]. pf (points,
    P_FLOATS): P_H [m]; point_floor (points,): head at which it boils there [m].
    """
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


@entry(results=3, takes_long=True)
def march(net, first, steps, dt, frozen, watch_vapour, stride, heads, flows):
    """March ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt; ``net`` is changed.

    Parameters
    ----------
    net : Net
        Built by :func:`surge.transient.grid.build_grid`; what it holds stands above.
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
        A status of :mod:`surge.kernel.columns`, the steps done, and the rows written.
    """
    p, m, window, hi, lo, r, node_row = net.p, net.m, net.window, net.hi, net.lo, net.r, net.node_row
    pi, pf, ei, ef, li, lf, ci = net.pi, net.pf, net.ei, net.ef, net.li, net.lf, net.ci
    table, step, lumps, knots, coef = net.table, net.table_step, net.lump_table, net.knots, net.coef
    members, tree = net.members, net.tree
    plain, pairs, chains, chain = net.plain, net.pairs, net.chains, net.chain
    probe, probe_head, probe_step = net.probe, net.probe_head, net.probe_step
    matrix, rhs = net.matrix, net.rhs
    node_step, law, base, rise = net.node_step, net.law, net.base, net.rise
    law_i, law_t, law_v = net.law_i, net.law_t, net.law_v
    floor, point_floor, found = net.floor, net.point_floor, net.found
    n_chains = chains.shape[0]
    n_clusters = ci.shape[0]
    n_kept = count_kept(li, pf)
    last = table.shape[1] - 1.0
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
            pass_local(p[a : a + size], m[b : b + size], base, rise, hi, lo)
        # Written after the pass and not before: a vector load right behind a scalar store stalls.
        leave(p, m, a, b, n_start, pf, ei, ef, frozen, step, table)
        slide(p, m, window, size)
        a = window[0]
        b = window[1]
        # Here and not before the pass, whose vector loads would wait for these stores.
        renew(
            frozen, first + k + 1, p[a : a + size], m[b : b + size], node_row, node_step, law, last, base,
            rise,
        )  # fmt: skip
        # A law point that falls on this instant holds although n*dt may be rounded below it.
        move((first + k + 1) * dt * (1.0 + 1e-12), law_i, law_t, law_v, lf)
        arrive(p, m, a, b, n_start, pf, ei, ef)
        if n_kept > 0:
            store(pf)
        for i in range(plain.size):
            pf[plain[i], P_H] = pf[plain[i], P_FIXED] + pf[plain[i], P_XY] * pf[plain[i], P_Z]
        solve_orifices(pairs, pf, li, lf)
        # Asked here and not inside: handing so many arrays to a function costs as much as a junction.
        status = solve_chains(chains, chain, pf, li, lf, knots, coef, lumps) if n_chains > 0 else OK
        if n_clusters > 0:
            bad = solve_clusters(ci, members, tree, pi, pf, li, lf, knots, coef, lumps, matrix, rhs)
            status = max(status, bad)
        if n_kept > 0:
            remember((first + k + 1) * dt, dt, pf, li, lf, lumps)
        if status != OK:
            return status, k, rows
        keep_extremes(first + k + 1, p, m, a, b, pi, pf, probe, probe_head, probe_step)
        if record and (first + k + 1) % stride == 0:
            record_row(rows, pf, lf, ei, ef, heads, flows)
            rows += 1
        if watch_vapour and boils(p[a : a + size], m[b : b + size], floor, pf, point_floor, found):
            return STOPPED_AT_VAPOUR, k + 1, rows
        if k % 256 == 255 and not np.isfinite(pf[:, P_H].sum()):
            return NOT_FINITE, k + 1, rows
    if not np.isfinite(pf[:, P_H].sum()):
        return NOT_FINITE, steps, rows
    return OK, steps, rows

"""The march: method of characteristics at Courant number 1 over a whole network, arrays in and out.

Waves travelling forwards and backwards are kept as the pair P = H + BQ and M = H - BQ [m] at every
node. In one step they only move on by one node and lose the friction of one reach, so that all
pipes, laid end to end in one long array, advance in a single contiguous loop; what happens at the
pipe ends is then written over the values that would have crossed from one pipe into the next.

Layout. Node ``i`` of the long array stands in lane ``i // rows`` and row ``i % rows``; a row of
eight lanes is one cache line. Nothing is moved in memory: the window of P slides down one row a
step and the window of M up, inside longer buffers (``window`` holds both positions).
Measured against heads and flows in two buffers this is what makes the march fast.

Friction belongs to the flow in the middle of a reach; half a reach is lost on leaving an end and
half on arriving, the latter with the flow that the end had a step before. Second order where the
flow is smooth, and an instant stop still rises by exactly B times the flow stopped.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from .boundaries import (
    C_LINK,
    C_PLAIN,
    C_POINT,
    C_POINT_END,
    E_FAR,
    E_LOSS,
    E_NODE,
    E_POINT,
    E_R,
    E_ROW,
    E_X,
    E_Y,
    FIXED,
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
    P_FIRST,
    P_FIXED,
    P_H,
    P_KIND,
    P_LAST,
    P_STUB,
    P_STUB_Y,
    P_XY,
    P_Z,
    STOPPED_AT_VAPOUR,
    jit,
    single_link,
    solve_cluster,
    table_loss,
)

LANES = 8

# What the march works on; shapes in surge.grid. Waves, envelope (twice the head), friction
# (coefficient, or table row and tables), the points, ends, links and clusters of
# surge.boundaries, the laws of what moves, curves, nodes to record, room for Newton.
Net = namedtuple(
    "Net",
    "p m window hi lo r node_row table table_step floor pi pf ei ef li lf ci members plain "
    "law_i law_t law_v knots coef lump_table probe matrix rhs found",
)


@jit
def pass_frozen(p, m, r, hi, lo):
    """Envelope at this instant, then the friction of a reach, with a fixed coefficient ``r``.

    Friction belongs to the flow at the middle of the reach, ``(d - w)/2B`` with ``d`` the
    difference of the waves that arrive; ``d*e*(1 - 2e)`` solves that to third order.
    All arrays have shape (rows * LANES,); ``hi`` and ``lo`` hold twice the head.
    """
    for i in range(p.size):
        a = p[i]
        b = m[i]
        s = a + b
        hi[i] = max(hi[i], s)
        lo[i] = min(lo[i], s)
        d = a - b
        e = r[i] * abs(d)
        w = d * e * (1.0 - 2.0 * e)
        p[i] = a - w
        m[i] = b + w


@jit
def pass_local(p, m, row, step, table, hi, lo):
    """As :func:`pass_frozen`, the loss from a table per pipe (a factor that follows the flow)."""
    last = table.shape[1] - 1
    for i in range(p.size):
        a = p[i]
        b = m[i]
        s = a + b
        hi[i] = max(hi[i], s)
        lo[i] = min(lo[i], s)
        d = a - b
        t = row[i]
        u = abs(d) * step[t]
        if u < last:
            k = np.intp(u)
            w = table[t, k] + (u - k) * (table[t, k + 1] - table[t, k])
        else:
            w = table[t, last] * (u / last) * (u / last)
        w = w if d >= 0.0 else -w
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
def _gather(point, p, m, at_p, at_m, pi, pf, ei, ef):
    """Bring the waves that arrive at ``point`` into its source; returns sum(x*y)."""
    total = pf[point, P_STUB_Y] * pf[point, P_STUB]
    for e in range(pi[point, P_FIRST], pi[point, P_LAST]):
        node = ei[e, E_NODE]
        x = (p[at_p + node] if ei[e, E_FAR] else m[at_m + node]) + ef[e, E_LOSS]
        ef[e, E_X] = x
        total += x * ef[e, E_Y]
    return total


@jit
def _scatter(point, head, p, m, at_p, at_m, pi, pf, ei, ef, frozen, step, table):
    """Send the waves of a point at ``head`` into its pipes; keep the losses still to come."""
    pf[point, P_H] = head
    pf[point, P_STUB] = 2.0 * head - pf[point, P_STUB]
    for e in range(pi[point, P_FIRST], pi[point, P_LAST]):
        node = ei[e, E_NODE]
        x = ef[e, E_X]
        g = 2.0 * (head - x)
        if ei[e, E_FAR]:
            p[at_p + node] = x
            m[at_m + node] = x + g
        else:
            m[at_m + node] = x
            p[at_p + node] = x + g
        if frozen:
            ef[e, E_LOSS] = ef[e, E_R] * g * abs(g)
        else:
            t = ei[e, E_ROW]
            loss, _ = table_loss(abs(g), step[t], t, table)
            ef[e, E_LOSS] = loss if g >= 0.0 else -loss


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
def _linked(net, at_p, at_m, frozen):
    """All clusters: a single link between two sources in closed form, others by Newton."""
    p, m, pi, pf, ei, ef, li, lf = net.p, net.m, net.pi, net.pf, net.ei, net.ef, net.li, net.lf
    knots, coef, tables, members = net.knots, net.coef, net.lump_table, net.members
    status = OK
    for c in range(net.ci.shape[0]):
        ci = net.ci[c]
        for i in range(ci[C_POINT], ci[C_POINT_END]):
            point = members[i]
            pf[point, P_XY] = _gather(point, p, m, at_p, at_m, pi, pf, ei, ef)
        if ci[C_PLAIN]:
            e = members[ci[C_LINK]]
            a = li[e, L_A]
            b = li[e, L_B]
            ea = pf[a, P_FIXED] if pi[a, P_KIND] == FIXED else pf[a, P_XY] * pf[a, P_Z]
            eb = pf[b, P_FIXED] if pi[b, P_KIND] == FIXED else pf[b, P_XY] * pf[b, P_Z]
            q, bad = single_link(e, ea - eb, pf[a, P_Z] + pf[b, P_Z], li, lf, knots, coef, tables)
            lf[e, L_Q] = q
            pf[a, P_H] = ea - pf[a, P_Z] * q
            pf[b, P_H] = eb + pf[b, P_Z] * q
        else:
            bad = solve_cluster(ci, members, pi, pf, li, lf, knots, coef, tables, net.matrix, net.rhs)
        status = max(status, bad)
        for i in range(ci[C_POINT], ci[C_POINT_END]):
            point = members[i]
            _scatter(
                point, pf[point, P_H], p, m, at_p, at_m, pi, pf, ei, ef, frozen, net.table_step, net.table
            )
    return status


@jit
def _plain(net, at_p, at_m, frozen):
    """All points that no link touches: junctions, dead ends, tanks on a pipe."""
    p, m, pi, pf, ei, ef = net.p, net.m, net.pi, net.pf, net.ei, net.ef
    for i in range(net.plain.size):
        k = net.plain[i]
        xy = _gather(k, p, m, at_p, at_m, pi, pf, ei, ef)
        head = pf[k, P_FIXED] if pi[k, P_KIND] == FIXED else xy * pf[k, P_Z]
        _scatter(k, head, p, m, at_p, at_m, pi, pf, ei, ef, frozen, net.table_step, net.table)


@jit
def _record(k, net, at_p, at_m, heads, flows, probes):
    """Write point heads, link flows, flows into pipe ends and named nodes of this instant."""
    pf, lf, ei, ef = net.pf, net.lf, net.ei, net.ef
    for i in range(pf.shape[0]):
        heads[k, i] = pf[i, P_H]
    links = lf.shape[0]
    for i in range(links):
        flows[k, i] = lf[i, L_Q]
    for i in range(ef.shape[0]):
        flows[k, links + i] = (pf[ei[i, E_POINT], P_H] - ef[i, E_X]) * ef[i, E_Y]
    for i in range(net.probe.size):
        node = net.probe[i]
        probes[k, i] = 0.5 * (net.p[at_p + node] + net.m[at_m + node])


@jit
def _first_below(p, m, floor):
    """First node whose doubled head is at or below ``floor``, or -1."""
    for i in range(p.size):
        if p[i] + m[i] <= floor[i]:
            return i
    return -1


@jit
def march(net, first, steps, dt, frozen, watch_vapour, heads, flows, probes):
    """March ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt; ``net`` is changed.

    Parameters
    ----------
    net : Net
        Built by :func:`surge.grid.build_grid`.
    frozen : bool
        Friction coefficient fixed per pipe, or from the tables of ``net``.
    watch_vapour : bool
        Stop at the first instant at which a node is at or below its ``floor``; ``found[0]`` is it.
    heads, flows, probes : float64 arrays, shape (steps, ...) or (0, ...)
        Histories, one row a step; nothing is recorded into arrays of no rows.

    Returns
    -------
    status, done : int, int
        A status of :mod:`surge.boundaries`, and the steps done.
    """
    p, m, window, hi, lo = net.p, net.m, net.window, net.hi, net.lo
    size = hi.size
    record = heads.shape[0] > 0
    for k in range(steps):
        a = window[0]
        b = window[1]
        if frozen:
            pass_frozen(p[a : a + size], m[b : b + size], net.r, hi, lo)
        else:
            pass_local(p[a : a + size], m[b : b + size], net.node_row, net.table_step, net.table, hi, lo)
        _slide(p, m, window, size)
        # A law point that falls on this instant holds although n*dt may be rounded below it.
        _move((first + k + 1) * dt * (1.0 + 1e-12), net.law_i, net.law_t, net.law_v, net.lf)
        a = window[0]
        b = window[1]
        _plain(net, a, b, frozen)
        status = _linked(net, a, b, frozen)
        _remember(net.pf, net.li, net.lf, net.lump_table)
        if record:
            _record(k, net, a, b, heads, flows, probes)
        if status != OK:
            return status, k
        if watch_vapour:
            node = _first_below(p[a : a + size], m[b : b + size], net.floor)
            if node >= 0:
                net.found[0] = node
                return STOPPED_AT_VAPOUR, k + 1
        if k % 256 == 255 and not np.isfinite(net.pf[:, P_H].sum()):
            return NOT_FINITE, k + 1
    if not np.isfinite(net.pf[:, P_H].sum()):
        return NOT_FINITE, steps
    return OK, steps

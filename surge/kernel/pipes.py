"""Pipes and their ends: waves move on by a node, lose friction, and reach their points.

The pair P = H + BQ and M = H - BQ [m] at every node of all pipes, laid end to end in one long array.

Layout. Node ``i`` of the long array stands in strip ``i // rows`` and row ``i % rows``; a row of eight strips
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

import numpy as np

from surge.kernel.columns import E_LOSS, E_NODE, E_POINT, E_R, E_ROW, E_X, E_Y, P_H, P_XY
from surge.kernel.compiled import jit
from surge.kernel.laws import table_loss

STRIPS = 8  # nodes side by side in a row: a cache line of 64 bytes


@jit
def pass_frozen(p, m, r, hi, lo):
    """Envelope at this instant, then the friction of a reach, with a fixed coefficient ``r``.

    All arrays are float64, shape (nodes,), with the nodes of all pipes and of the padding. p, m: waves [m].
    r: loss coefficient [1/m], loss = r*d*|d| with d = P - M. hi, lo: twice the highest and lowest head [m].

    The loss is exact at the steady flow; elsewhere it is off by the part that one reach's loss is of the
    wave, a thousandth of the loss and less.
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

    p, m, hi, lo (nodes,) [m] as there. row (nodes,), int32: place in ``flat`` where the node's table begins.
    step (nodes,): 1 over the step of that table [1/m]. flat (n,): the tables, one after the other [m]. last:
    a table's last step but one, beyond which a loss goes on along the last straight piece. place (nodes,),
    int32, and share (nodes,) are room.

    In two loops, because only the first can go several nodes at a time: ``place`` and ``share`` carry what it
    found.
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
def slide(p, m, window, size):
    """One step on: both windows move by a row, and strips hand over to their neighbours.

    p, m (buffer,): waves [m]. window (2,), int64: where the ``size`` nodes of P and of M begin in them.
    """
    if window[0] == 0:
        spare = p.size - size
        for i in range(size - 1, -1, -1):
            p[spare + i] = p[i]
        for i in range(size):
            m[i] = m[spare + i]
        window[0] = spare
        window[1] = 0
    start = window[0] - STRIPS
    window[0] = start
    p[start] = 0.0
    for lane in range(1, STRIPS):
        p[start + lane] = p[start + size + lane - 1]
    start = window[1]
    window[1] = start + STRIPS
    for lane in range(STRIPS - 1):
        m[start + size + lane] = m[start + lane + 1]
    m[start + size + STRIPS - 1] = 0.0


@jit
def arrive(p, m, at_p, at_m, n_start, pf, ei, ef):
    """Bring the waves that arrive at pipe ends to their points: ``x`` of every end, sum(x*y).

    p, m (buffer,): waves [m], nodes from ``at_p`` and ``at_m`` on. The first ``n_start`` ends are starts of
    pipes. ei (ends, E_INTS). ef (ends, E_FLOATS): E_LOSS [m] and E_Y [m2/s] are read, E_X [m] is written. pf
    (points, P_FLOATS): P_XY [m3/s] is written.
    """
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
def leave(p, m, at_p, at_m, n_start, pf, ei, ef, frozen, step, table):
    """Send the waves of all points into their pipes, less half a reach's loss; keep the other half.

    p, m (buffer,): waves [m], nodes from ``at_p`` and ``at_m`` on. The first ``n_start`` ends are starts of
    pipes. pf (points, P_FLOATS): P_H [m]. ei (ends, E_INTS). ef (ends, E_FLOATS): E_X [m] and, with
    ``frozen`` friction, E_R [1/m] are read, E_LOSS [m] is written. step (tables,): 1 over the step of each
    table [1/m]. table (tables, steps + 1): losses [m] against 2BQ [m].
    """
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

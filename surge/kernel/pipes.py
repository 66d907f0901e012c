"""Pipes and their ends: waves move on by a node, lose friction, and reach their points.

The pair P = H + BQ and M = H - BQ [m] at every node of all pipes, laid end to end in one long array.

Layout. Node ``i`` of the long array stands in strip ``i // rows`` and row ``i % rows``; a row of eight strips
is one cache line. Nothing is moved in memory: the window of P slides down one row a step and the window of M
up, inside longer buffers (``window`` holds both positions). Measured against heads and flows in two buffers
this is what makes the march fast.

Fraction. The way through a pipe is a whole number of steps and a fraction of one. Waves take the fraction on
arrival: what arrives lies in time between the wave that is there now and the one a step before, which the end
keeps. So every length is exact. Nothing is lost in the sum, and squares never grow; a front is spread over
two steps by each end that has a fraction. Inner node ``i`` stands ``i`` reaches and half the fraction from
the start of its pipe, and has its head earlier by that half, P and M alike. The loss of that half is paid at
the end.

Friction belongs to the flow in the middle of a reach; half a reach is lost on leaving an end and half on
arriving, the latter with the flow that the end had a step before. Second order where the flow is smooth, and
an instant stop still rises by exactly B times the flow stopped. With friction frozen the coefficient is exact
at the steady flow; elsewhere it is off by about the share of the wave that one reach's loss is.

Local friction (a factor that follows the flow) is loss = d*(base + rise*|d|) with d = P - M as it is now.
base and rise are those of the table of :mod:`surge.hydraulics.losses` where the node's d was when it was
looked up last; every node is looked up in one of ``2 * SHARES`` steps, a share of the rows at every second
one. Neither is negative: whatever d does meanwhile, the loss has its sign, and none gives energy.
"""

from __future__ import annotations

import numpy as np

from surge.kernel.columns import (
    E_LOSS,
    E_NODE,
    E_PAST,
    E_POINT,
    E_R,
    E_ROW,
    E_SHARE,
    E_X,
    E_Y,
    P_H,
    P_XY,
)
from surge.kernel.compiled import inlined, jit, larger, smaller
from surge.kernel.laws import table_loss

STRIPS = 8  # nodes side by side in a row: a cache line of 64 bytes
SHARES = 4  # of the rows; the laws of friction of one are looked up at every second step


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
        hi[i] = larger(s, hi[i])
        lo[i] = smaller(s, lo[i])
        d = a - b
        w = r[i] * d * abs(d)
        p[i] = a - w
        m[i] = b + w


@jit
def pass_local(p, m, base, rise, hi, lo):
    """As :func:`pass_frozen`, with a law of its own at every node (a factor that follows the flow).

    p, m, hi, lo (nodes,) [m] as there. base [-], rise [1/m] (nodes,): loss = d*(base + rise*|d|).
    """
    for i in range(p.size):
        a = p[i]
        b = m[i]
        s = a + b
        hi[i] = larger(s, hi[i])
        lo[i] = smaller(s, lo[i])
        d = a - b
        w = d * (base[i] + rise[i] * abs(d))
        p[i] = a - w
        m[i] = b + w


@inlined
def renew(frozen, instant, p, m, row, step, law, last, base, rise):
    """Look up the laws of friction of the nodes whose turn it is at this instant, a number of steps.

    With ``frozen`` friction there is nothing to do. p, m (nodes,): waves [m]. row (nodes,), int32: row of law
    (n, 2) with which the node's table begins; step (nodes,): 1 over its step [1/m]; last: the last step of a
    table, whose law holds beyond it too. base [-], rise [1/m] (nodes,) are written.
    """
    if frozen or instant % 2:
        return
    for start in range(instant // 2 % SHARES * STRIPS, p.size, SHARES * STRIPS):
        for i in range(start, start + STRIPS):
            u = abs(p[i] - m[i]) * step[i] + 0.5
            k = row[i] + np.int32(u if u < last else last)
            base[i] = law[k, 0]
            rise[i] = law[k, 1]


@inlined
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


@inlined
def arrive(p, m, at_p, at_m, n_start, pf, ei, ef):
    """Bring the waves that arrive at pipe ends to their points: ``x`` of every end, sum(x*y).

    p, m (buffer,): waves [m], nodes from ``at_p`` and ``at_m`` on. The first ``n_start`` ends are starts of
    pipes. ei (ends, E_INTS). ef (ends, E_FLOATS): E_LOSS [m], E_SHARE [-] and E_Y [m2/s] are read, E_X [m] is
    written, E_PAST [m] is read and written. pf (points, P_FLOATS): P_XY [m3/s] is written.
    """
    for i in range(pf.shape[0]):
        pf[i, P_XY] = 0.0
    for e in range(n_start):
        now = m[at_m + ei[e, E_NODE]] + ef[e, E_LOSS]
        x = now + ef[e, E_SHARE] * (ef[e, E_PAST] - now)
        ef[e, E_PAST] = now
        ef[e, E_X] = x
        pf[ei[e, E_POINT], P_XY] += x * ef[e, E_Y]
    for e in range(n_start, ei.shape[0]):
        now = p[at_p + ei[e, E_NODE]] + ef[e, E_LOSS]
        x = now + ef[e, E_SHARE] * (ef[e, E_PAST] - now)
        ef[e, E_PAST] = now
        ef[e, E_X] = x
        pf[ei[e, E_POINT], P_XY] += x * ef[e, E_Y]


@inlined
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

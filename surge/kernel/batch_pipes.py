"""Pipes and their ends in the batch march: waves move on, lose friction, and reach their points.

As :mod:`surge.kernel.pipes`, for ``WIDE`` lanes side by side. Waves are arrays (buffer, W), or flat, in
which the window of P moves back by a row a step and that of M forward; node 0 of a pipe and its
reaches are a row of ``pipes``.

Indices of the long loops are unsigned: one that might count from the end keeps the compiler from
using vectors. Two instants are done in one sweep, which halves the memory that passes by; nothing at the ends
of a pipe can reach its inner nodes sooner, and laws of friction are looked up at every second instant only.
"""

from __future__ import annotations

import numpy as np

from surge.kernel.batch_links import WIDE
from surge.kernel.columns import E_NODE, E_POINT
from surge.kernel.compiled import jit, larger, smaller
from surge.kernel.pipes import SHARES

ROW = np.uint64(WIDE)


@jit
def _loss(d, k, j, at, r, base, rise):
    """Loss of a reach [m] at ``d`` [m] in lane ``j`` of pipe ``k``, at place ``at`` of the laws of nodes.

    r (pipes, W): loss coefficient [1/m], for frozen friction: base and rise are None then. base [-], rise
    [1/m] (nodes * W,), flat, for local friction: loss = d*(base + rise*|d|).
    """
    if rise is None:
        return r[k, j] * d * abs(d)
    return d * (base[at] + rise[at] * abs(d))


@jit
def _two_steps_watched(p, m, p0, m0, k, r, base, rise, high, low, h0, sums, reaches):
    """Two instants of pipe ``k`` in one sweep, and their envelope.

    p, m (buffer * W,): waves [m], flat. r, base, rise: as for :func:`_loss`. high, low (nodes * W,): twice
    the highest and lowest head [m], flat. ``p0``, ``m0`` and ``h0`` are where node 0 of the pipe is in them.
    sums (W,) [m] is room.

    The sweep does node i at this instant and then node i - 1 at the next: what arrives there has just been
    made (P by node i - 2, M by node i) and lies where the windows will be. ``sums`` carries P + M of this
    instant from node to node.
    """
    for j in range(WIDE):
        at = np.uint64(j) + ROW
        a = p[p0 + at]
        b = m[m0 + at]
        sums[j] = a + b
        d = a - b
        w = _loss(d, k, j, h0 + at, r, base, rise)
        p[p0 + at] = a - w
        m[m0 + at] = b + w
    for i in range(reaches - 2):
        first = np.uint64(i) * ROW
        for j in range(WIDE):
            at = first + np.uint64(j)
            ahead = at + ROW + ROW
            a = p[p0 + ahead]
            b = m[m0 + ahead]
            now = a + b
            d = a - b
            w = _loss(d, k, j, h0 + ahead, r, base, rise)
            p[p0 + ahead] = a - w
            b += w
            a = p[p0 + at]
            s = a + b
            before = sums[j]
            sums[j] = now
            high[h0 + at + ROW] = larger(larger(before, s), high[h0 + at + ROW])
            low[h0 + at + ROW] = smaller(smaller(before, s), low[h0 + at + ROW])
            d = a - b
            w = _loss(d, k, j, h0 + at + ROW, r, base, rise)
            p[p0 + at] = a - w
            m[m0 + ahead] = b + w
    first = np.uint64(reaches - 2) * ROW
    for j in range(WIDE):
        at = first + np.uint64(j)
        ahead = at + ROW + ROW
        a = p[p0 + at]
        b = m[m0 + ahead]
        s = a + b
        high[h0 + at + ROW] = larger(larger(sums[j], s), high[h0 + at + ROW])
        low[h0 + at + ROW] = smaller(smaller(sums[j], s), low[h0 + at + ROW])
        d = a - b
        w = _loss(d, k, j, h0 + at + ROW, r, base, rise)
        p[p0 + at] = a - w
        m[m0 + ahead] = b + w


@jit
def _two_steps(p, m, p0, m0, k, r, base, rise, h0, reaches):
    """As :func:`_two_steps_watched` without the envelope."""
    for j in range(WIDE):
        at = np.uint64(j) + ROW
        d = p[p0 + at] - m[m0 + at]
        w = _loss(d, k, j, h0 + at, r, base, rise)
        p[p0 + at] -= w
        m[m0 + at] += w
    for i in range(reaches - 2):
        first = np.uint64(i) * ROW
        for j in range(WIDE):
            at = first + np.uint64(j)
            ahead = at + ROW + ROW
            a = p[p0 + ahead]
            b = m[m0 + ahead]
            d = a - b
            w = _loss(d, k, j, h0 + ahead, r, base, rise)
            p[p0 + ahead] = a - w
            b += w
            a = p[p0 + at]
            d = a - b
            w = _loss(d, k, j, h0 + at + ROW, r, base, rise)
            p[p0 + at] = a - w
            m[m0 + ahead] = b + w
    first = np.uint64(reaches - 2) * ROW
    for j in range(WIDE):
        at = first + np.uint64(j)
        ahead = at + ROW + ROW
        d = p[p0 + at] - m[m0 + ahead]
        w = _loss(d, k, j, h0 + at + ROW, r, base, rise)
        p[p0 + at] -= w
        m[m0 + ahead] += w


@jit
def _envelope(p, m, p0, m0, high, low, h0, reaches):
    """Envelope of the inner nodes of one pipe at this instant.

    p, m (buffer * W,): waves [m]; high, low (nodes * W,): twice the highest and lowest head [m], written.
    """
    for at in range(ROW, np.uint64(reaches) * ROW):
        s = p[p0 + at] + m[m0 + at]
        high[h0 + at] = larger(s, high[h0 + at])
        low[h0 + at] = smaller(s, low[h0 + at])


@jit
def _one_step(p, m, p0, m0, k, r, base, rise, h0, reaches):
    """One instant of pipe ``k``: waves and friction as for :func:`_two_steps_watched`."""
    for i in range(1, reaches):
        first = np.uint64(i) * ROW
        for j in range(WIDE):
            at = first + np.uint64(j)
            d = p[p0 + at] - m[m0 + at]
            w = _loss(d, k, j, h0 + at, r, base, rise)
            p[p0 + at] -= w
            m[m0 + at] += w


@jit
def renew(instant, p, m, window, pipes, rows, row, step, law, last, base, rise, place):
    """Look up the laws of friction of the nodes whose turn it is: those of :func:`surge.kernel.pipes.renew`.

    Parameters
    ----------
    instant : int
        Number of steps.
    p, m : float64 arrays, shape (buffer * W,)
        Waves [m], flat.
    window : int64 array, shape (2,)
        Rows where the nodes of P and of M begin.
    pipes : int64 array, shape (pipes, 2)
        Row of node 0, and number of reaches.
    rows : int
        Rows of a single march; a node's row there is its own here, modulo that.
    row, step : arrays, shape (pipes, W)
        int32, row of ``law`` with which a table begins; 1 over its step [1/m].
    law : float64 array, shape (n, 2)
        Tables of base [-] and rise [1/m], one after the other.
    last : float
        Last step of a table.
    base, rise : float64 arrays, shape (nodes * W,)
        Written.
    place : int32 array, shape (W,)
        Room.
    """
    if instant % 2:
        return
    turn = instant // 2 % SHARES
    for k in range(pipes.shape[0]):
        for i in range(1, pipes[k, 1]):
            node = pipes[k, 0] + i
            if node % rows % SHARES != turn:
                continue
            h0 = np.uint64(node) * ROW
            p0 = h0 + np.uint64(window[0]) * ROW
            m0 = h0 + np.uint64(window[1]) * ROW
            for j in range(WIDE):
                at = np.uint64(j)
                u = abs(p[p0 + at] - m[m0 + at]) * step[k, j] + 0.5
                place[j] = row[k, j] + np.int32(u if u < last else last)
            for j in range(WIDE):
                base[h0 + np.uint64(j)] = law[place[j], 0]
                rise[h0 + np.uint64(j)] = law[place[j], 1]


@jit
def pass_pipes(twice, p, m, window, high, low, pipes, r, base, rise, sums):
    """All pipes at this instant, and at the next one too if ``twice``.

    Parameters
    ----------
    twice : bool
    p, m : float64 arrays, shape (buffer * W,)
        Waves [m], flat.
    window : int64 array, shape (2,)
        Rows where the nodes of P and of M begin.
    high, low : float64 arrays, shape (nodes * W,) or (0,)
        Twice the highest and lowest head [m]; empty: not watched.
    pipes : int64 array, shape (pipes, 2)
        Row of node 0, and number of reaches.
    r, base, rise : float64 arrays; the last two may be None
        As for :func:`_loss`.
    sums : float64 array, shape (W,)
        Room.
    """
    watch = high.size > 0
    for k in range(pipes.shape[0]):
        h0 = np.uint64(pipes[k, 0]) * ROW
        p0 = h0 + np.uint64(window[0]) * ROW
        m0 = h0 + np.uint64(window[1]) * ROW
        reaches = pipes[k, 1]
        if reaches < 2:
            continue
        if not twice and watch:
            _envelope(p, m, p0, m0, high, low, h0, reaches)
        if not twice:
            _one_step(p, m, p0, m0, k, r, base, rise, h0, reaches)
        elif watch:
            _two_steps_watched(p, m, p0, m0, k, r, base, rise, high, low, h0, sums, reaches)
        else:
            _two_steps(p, m, p0, m0, k, r, base, rise, h0, reaches)


@jit
def _leave_frozen(waves, at, e, point, x, late, head, r):
    """Send the wave of a point into the end ``e`` of a pipe, node ``at`` of its waves.

    waves (buffer, W) [m] and late (ends, W) [m] are written; x (ends, W) and head (points, W) [m], r (ends,
    W) [1/m].
    """
    for j in range(WIDE):
        g = 2.0 * (head[point, j] - x[e, j])
        loss = r[e, j] * g * abs(g)
        late[e, j] = loss
        waves[at, j] = x[e, j] + g - loss


@jit
def _leave_local(waves, at, e, point, x, late, head, step, row, table, last):
    """As :func:`_leave_frozen`, the loss from a table; beyond it the loss goes on squared.

    step (ends, W): 1 over the step of the table [1/m]; row (ends, W): where it begins in table (n,) [m];
    last: its last step.
    """
    for j in range(WIDE):
        g = 2.0 * (head[point, j] - x[e, j])
        u = abs(g) * step[e, j]
        first = row[e, j]
        if u < last:
            n = int(u)
            loss = table[first + n] + (u - n) * (table[first + n + 1] - table[first + n])
        else:
            scale = u / last
            loss = table[first + last] * scale * scale
        loss = loss if g >= 0.0 else -loss
        late[e, j] = loss
        waves[at, j] = x[e, j] + g - loss


@jit
def leave(p, m, window, frozen, ei, x, late, head, r, step, row, table, entries):
    """Send the waves of all points into their pipes, less half a reach's loss; keep the other half.

    Parameters
    ----------
    p, m : float64 arrays, shape (buffer, W)
        Waves [m], written.
    window : int64 array, shape (2,)
        Rows where the nodes of P and of M begin.
    frozen : bool
    ei : int64 array, shape (ends, E_INTS)
    x, late : float64 arrays, shape (ends, W)
        Head that arrived [m]; loss still to come on arrival [m], written.
    head : float64 array, shape (points, W)
        [m]
    r, step, row : arrays, shape (ends, W)
        Loss coefficient of half a reach [1/m]; 1 over the step of the end's table [1/m], and where it begins.
    table : float64 array, shape (n,)
        Loss tables, one after the other [m].
    entries : int
        Figures of one table.
    """
    n_start = ei.shape[0] // 2
    for e in range(ei.shape[0]):
        point = ei[e, E_POINT]
        at = window[0 if e < n_start else 1] + ei[e, E_NODE]
        if frozen and e < n_start:
            _leave_frozen(p, at, e, point, x, late, head, r)
        elif frozen:
            _leave_frozen(m, at, e, point, x, late, head, r)
        elif e < n_start:
            _leave_local(p, at, e, point, x, late, head, step, row, table, entries - 1)
        else:
            _leave_local(m, at, e, point, x, late, head, step, row, table, entries - 1)


@jit
def slide(p, m, window, size):
    """One step on: the window of P goes back by a row and that of M forward.

    p, m (buffer, W): waves [m]. window (2,), int64: rows where their ``size`` nodes begin, written.
    """
    if window[0] == 0:
        spare = p.shape[0] - size
        for i in range(size - 1, -1, -1):
            for j in range(WIDE):
                p[spare + i, j] = p[i, j]
        for i in range(size):
            for j in range(WIDE):
                m[i, j] = m[spare + i, j]
        window[0] = spare
        window[1] = 0
    window[0] -= 1
    window[1] += 1


@jit
def arrive(p, m, window, ei, y, share, x, late, past, xy):
    """Bring the waves that arrive at pipe ends to their points: ``x`` of every end, sum(x*y).

    p, m (buffer, W): waves [m]; window (2,): rows where their nodes begin; ei (ends, E_INTS); y (ends,)
    [m2/s]; share (ends,) [-], fraction of a step; late (ends, W) [m]. past (ends, W) [m], the wave a step
    before, is read and written; x (ends, W) [m] and xy (points, W) [m3/s] are written.
    """
    n_start = ei.shape[0] // 2
    for i in range(xy.shape[0]):
        for j in range(WIDE):
            xy[i, j] = 0.0
    for e in range(ei.shape[0]):
        point = ei[e, E_POINT]
        node = ei[e, E_NODE]
        fraction = share[e]
        if e < n_start:
            at = window[1] + node
            for j in range(WIDE):
                now = m[at, j] + late[e, j]
                x[e, j] = now + fraction * (past[e, j] - now)
                past[e, j] = now
        else:
            at = window[0] + node
            for j in range(WIDE):
                now = p[at, j] + late[e, j]
                x[e, j] = now + fraction * (past[e, j] - now)
                past[e, j] = now
        admittance = y[e]
        for j in range(WIDE):
            xy[point, j] += x[e, j] * admittance

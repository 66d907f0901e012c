"""Valves and lumped elements that branch without a loop, with pipes or storage at every point.

Seen from its parent, a point with everything beyond it is a source of some head behind some impedance, once
what lies beyond is taken along its tangent. One sweep from the leaves to the root makes these sources, one
back gives heads and flows. An orifice between two sources has a closed form, so that two or three rounds do
where the general Newton takes more, each at several times the price.
"""

from __future__ import annotations

from surge.kernel.columns import (
    C_TREE,
    C_TREE_END,
    L_C2,
    L_KIND,
    L_MEMORY,
    L_Q,
    L_STEP,
    L_TABLE,
    L_Z,
    ORIFICE,
    P_BRINGS,
    P_FIXED,
    P_H,
    P_TAKES,
    P_XY,
    P_Y,
    P_Z,
    T_CHILD,
    T_LINK,
    T_PARENT,
    T_SIGN,
)
from surge.kernel.compiled import inlined, jit
from surge.kernel.laws import table_loss
from surge.kernel.orifices import orifice_flow

_ROUNDS = 20  # beyond which the general Newton takes over
_CLOSE = 1e-8  # of a head: quadratic convergence but for kinks of a loss table, so that the rest is rounding


@inlined
def _lump(e, sign, li, lf, tables):
    """Of lumped element ``e``, seen from its parent: flow before [m3/s], head lost at it [m], slope [s/m2].

    ``sign`` is +1 where the link leads from parent to child, else -1. li (links, L_INTS), lf (links,
    L_FLOATS): L_Q [m3/s], L_Z [s/m2], L_STEP [s/m3], L_MEMORY [m]. tables (lumped, steps + 1): losses [m].
    """
    flow = lf[e, L_Q]
    loss, slope = table_loss(abs(flow), lf[e, L_STEP], li[e, L_TABLE], tables)
    if flow < 0.0:
        loss = -loss
    return sign * flow, sign * (lf[e, L_Z] * flow + loss - lf[e, L_MEMORY]), lf[e, L_Z] + slope


@inlined
def _towards_root(first, last, tree, pf, li, lf, tables, work):
    """Make a source of every child, from the leaves to the root.

    tree (rows, T_INTS), of which ``first`` to ``last``, excluded. pf (points, P_FLOATS): P_FIXED and P_H [m],
    P_Z [s/m2], P_Y [m2/s] and P_XY [m3/s] are read, P_TAKES [m2/s] and P_BRINGS [m3/s] are written. li
    (links, L_INTS), lf (links, L_FLOATS), tables (lumped, steps + 1) [m]. work (4 or more, rows), written:
    head of the child as a source [m], its impedance [s/m2], flow of its link at no head of the parent [m3/s],
    slope of that flow [m2/s].
    """
    for row in range(first, last):
        child = tree[row, T_CHILD]
        pf[child, P_TAKES] = pf[child, P_Y]
        pf[child, P_BRINGS] = pf[child, P_XY]
    root = tree[last - 1, T_PARENT]
    pf[root, P_TAKES] = pf[root, P_Y]
    pf[root, P_BRINGS] = pf[root, P_XY]
    for row in range(first, last):
        e = tree[row, T_LINK]
        parent = tree[row, T_PARENT]
        child = tree[row, T_CHILD]
        at = row - first
        head = pf[child, P_FIXED]
        impedance = 0.0
        if pf[child, P_Z] > 0.0:
            impedance = 1.0 / pf[child, P_TAKES]
            head = pf[child, P_BRINGS] * impedance
        slope = 0.0
        flow = 0.0
        if li[e, L_KIND] != ORIFICE:
            before, lost, steep = _lump(e, tree[row, T_SIGN], li, lf, tables)
            slope = 1.0 / (impedance + steep)
            flow = before + slope * (pf[parent, P_H] - head - impedance * before - lost)
        elif lf[e, L_C2] > 0.0:
            flow = orifice_flow(pf[parent, P_H] - head, impedance, lf[e, L_C2])
            slope = 1.0 / (impedance + 2.0 * abs(flow) / lf[e, L_C2])
        work[0, at] = head
        work[1, at] = impedance
        work[2, at] = flow - slope * pf[parent, P_H]
        work[3, at] = slope
        pf[parent, P_TAKES] += slope
        pf[parent, P_BRINGS] -= work[2, at]


@inlined
def _towards_leaves(first, last, tree, pf, li, lf, work):
    """Heads and flows from the root on; whether no head has changed by more than a trifle.

    Arrays as for :func:`_towards_root`, ``work`` as it left it; P_H [m] of ``pf`` and L_Q [m3/s] of ``lf``
    are written.
    """
    root = tree[last - 1, T_PARENT]
    new = pf[root, P_BRINGS] / pf[root, P_TAKES]
    # What is no number is not close.
    close = abs(new - pf[root, P_H]) <= _CLOSE * (1.0 + abs(new))
    pf[root, P_H] = new
    for row in range(last - 1, first - 1, -1):
        e = tree[row, T_LINK]
        child = tree[row, T_CHILD]
        at = row - first
        over = pf[tree[row, T_PARENT], P_H]
        if li[e, L_KIND] == ORIFICE:
            flow = orifice_flow(over - work[0, at], work[1, at], lf[e, L_C2])
        else:
            flow = work[2, at] + work[3, at] * over
        lf[e, L_Q] = tree[row, T_SIGN] * flow
        new = work[0, at] + work[1, at] * flow
        close = close and abs(new - pf[child, P_H]) <= _CLOSE * (1.0 + abs(new))
        pf[child, P_H] = new
    return close


@jit
def solve_tree(c, ci, tree, pf, li, lf, tables, work):
    """Heads and flows of a cluster that is a tree; False when the rounds do not close on them.

    Parameters
    ----------
    c : int
        The cluster, a row of ``ci``.
    ci, tree : int64 arrays, shape (clusters, C_INTS) and (rows, T_INTS)
    pf : float64 array, shape (points, P_FLOATS)
        P_FIXED [m], P_Z [s/m2], P_Y [m2/s] and P_XY [m3/s] are read; P_H [m] is where the solution starts,
        and is written, as are P_TAKES and P_BRINGS.
    li, lf : arrays, shape (links, L_INTS) and (links, L_FLOATS)
        L_Q [m3/s] is where the solution starts, and is written.
    tables : float64 array, shape (lumped, steps + 1)
        Losses of lumped elements [m].
    work : float64 array, shape (n, n)
        Room, n at least 4 and at least the links of the cluster.
    """
    first = ci[c, C_TREE]
    last = ci[c, C_TREE_END]
    for _ in range(_ROUNDS):
        _towards_root(first, last, tree, pf, li, lf, tables, work)
        if _towards_leaves(first, last, tree, pf, li, lf, work):
            return True
    return False

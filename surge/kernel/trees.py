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
    T_SIDE,
)
from surge.kernel.compiled import inlined, jit
from surge.kernel.laws import orifice_flow, table_loss

_ROUNDS = 20  # beyond which the general Newton takes over
_CLOSE = 1e-8  # of a head: quadratic convergence but for kinks of a loss table, so that the rest is rounding


@inlined
def _lump(e, side, li, lf, tables):
    """Of a lumped element, seen from its parent: flow before, head lost at that flow, slope."""
    flow = lf[e, L_Q]
    loss, slope = table_loss(abs(flow), lf[e, L_STEP], li[e, L_TABLE], tables)
    if flow < 0.0:
        loss = -loss
    return side * flow, side * (lf[e, L_Z] * flow + loss - lf[e, L_MEMORY]), lf[e, L_Z] + slope


@inlined
def _towards_root(first, last, tree, pf, li, lf, tables, work):
    """Make a source of every child; rows of ``work``: its head, its impedance, flow and slope of its link."""
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
            before, lost, steep = _lump(e, tree[row, T_SIDE], li, lf, tables)
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
    """Heads and flows from the root on; whether no head has changed by more than a trifle."""
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
        lf[e, L_Q] = tree[row, T_SIDE] * flow
        new = work[0, at] + work[1, at] * flow
        close = close and abs(new - pf[child, P_H]) <= _CLOSE * (1.0 + abs(new))
        pf[child, P_H] = new
    return close


@jit
def solve_tree(c, ci, tree, pf, li, lf, tables, work):
    """Heads and flows of cluster ``c``; False when the rounds do not close on them."""
    first = ci[c, C_TREE]
    last = ci[c, C_TREE_END]
    for _ in range(_ROUNDS):
        _towards_root(first, last, tree, pf, li, lf, tables, work)
        if _towards_leaves(first, last, tree, pf, li, lf, work):
            return True
    return False

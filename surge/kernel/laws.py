"""What happens at points: junctions, tanks, dead ends, valves, pumps and lumped short elements.

Every pipe end brings one number to its point, the head ``x`` that would stand there if nothing
flowed; the flow from the point into the pipe is then ``(H - x) * y`` with ``y = 1/B`` [m2/s].
So a point with pipes is a source of head ``E = sum(x*y)/sum(y)`` behind an impedance
``Z = 1/sum(y)`` [s/m2], a tank is the same with ``Z = 0``, and a link (an element without a
length) between two points is one equation ``H_a - H_b = law(Q)``.

Heads [m], flows [m3/s], everything else SI. No names, no units, no files, no exceptions: a
solution that does not converge comes back as a status. Points, ends, links and clusters (points
joined by links) are rows of an integer and a float array each; see :mod:`surge.kernel.columns`.
"""

from __future__ import annotations

import math

from surge.kernel import curves
from surge.kernel.columns import (
    C_LINK,
    C_LINK_END,
    C_POINT,
    C_POINT_END,
    CH_A,
    CH_B,
    CH_LINK,
    CH_SIDE,
    CHECKED,
    FLOWS,
    L_A,
    L_B,
    L_C2,
    L_CHECK,
    L_CURVE,
    L_CURVE_END,
    L_HELD,
    L_KIND,
    L_MEMORY,
    L_Q,
    L_SPEED,
    L_STEP,
    L_TABLE,
    L_TAIL0,
    L_TAIL2,
    L_Z,
    NOT_CONVERGED,
    OK,
    ORIFICE,
    P_DRY,
    P_FIXED,
    P_H,
    P_XY,
    P_Z,
    PUMP,
    SHUT,
)
from surge.kernel.compiled import inlined, jit

_ROOT_HEAD = 1e-3  # [m0.5] of the head that keeps an orifice's slope off zero; not in the solution
_MOST_FLOW = 1e6  # [m3/s] bracket of a chain's flow
_MAX_ITERATIONS = 60

pump_head = inlined(curves.pump_head)


@inlined
def orifice_flow(drive, impedance, c2):
    """Flow through an orifice between two sources ``drive`` [m] apart, ``c2`` = c*c.

    Solves ``impedance*Q + Q|Q|/c2 = drive`` in the form that stays exact for a nearly shut valve.
    """
    if c2 <= 0.0:
        return 0.0
    size = abs(drive)
    zc = impedance * c2
    bottom = zc + math.sqrt(zc * zc + 4.0 * size * c2)
    if bottom <= 0.0:
        return 0.0
    flow = 2.0 * size * c2 / bottom
    return flow if drive >= 0.0 else -flow


@inlined
def orifice_law(q, c2):
    """Head lost through an orifice that is not shut, and the slope."""
    return q * abs(q) / c2, 2.0 * (abs(q) / c2 + _ROOT_HEAD / math.sqrt(c2))


@inlined
def table_loss(size, inverse_step, row, table):
    """Loss and slope from row ``row`` at equal steps of ``size``; beyond it the loss goes on squared."""
    last = table.shape[1] - 1
    u = size * inverse_step
    if not u < last:  # also what is no number: it must not become a place in the table
        scale = u / last
        return table[row, last] * scale * scale, 2.0 * table[row, last] * scale / last * inverse_step
    k = int(u)
    rise = table[row, k + 1] - table[row, k]
    return table[row, k] + (u - k) * rise, rise * inverse_step


@inlined
def link_law(e, q, li, lf, knots, coef, tables):
    """Head lost over link ``e`` from its start to its end at flow ``q``, and the slope."""
    kind = li[e, L_KIND]
    if kind == ORIFICE:
        return orifice_law(q, lf[e, L_C2])
    if kind == PUMP:
        head, slope = pump_head(
            q, lf[e, L_SPEED], li[e, L_CURVE], li[e, L_CURVE_END], knots, coef, lf[e, L_TAIL0], lf[e, L_TAIL2]
        )
        return -head, -slope + 1e-9
    loss, slope = table_loss(abs(q), lf[e, L_STEP], li[e, L_TABLE], tables)
    if q < 0.0:
        loss = -loss
    return lf[e, L_Z] * q + loss - lf[e, L_MEMORY], lf[e, L_Z] + slope


@inlined
def is_shut(e, li, lf):
    """Whether link ``e`` lets nothing through now."""
    return li[e, L_HELD] != 0 or (li[e, L_KIND] == ORIFICE and lf[e, L_C2] <= 0.0)


@inlined
def chain_flow(first, last, chain, q, drive, impedance, li, lf, knots, coef, tables):
    """Flow through the links ``chain[first:last]`` behind one another, between two sources.

    Solves ``impedance*Q + sum(law(Q)) = drive``, beginning at ``q``. Every law rises with the
    flow, so there is one solution: Newton inside a bracket, in which what follows the square of
    the flow stays exact. Returns the flow, what stops it (``FLOWS``, ``SHUT``, ``CHECKED``) and a
    status.
    """
    squares = 0.0
    others = 0
    for row in range(first, last):
        e = chain[row, CH_LINK]
        if li[e, L_KIND] != ORIFICE:
            others += 1
        elif lf[e, L_C2] <= 0.0:
            return 0.0, SHUT, OK
        else:
            squares += 1.0 / lf[e, L_C2]
    if others == 0:
        return orifice_flow(drive, impedance, 1.0 / squares), FLOWS, OK
    low = -_MOST_FLOW
    high = _MOST_FLOW
    for _ in range(_MAX_ITERATIONS):
        loss = 0.0
        slope = impedance
        for row in range(first, last):
            e = chain[row, CH_LINK]
            if li[e, L_KIND] != ORIFICE:
                side = chain[row, CH_SIDE]
                one, rise = link_law(e, side * q, li, lf, knots, coef, tables)
                loss += side * one
                slope += rise
        if impedance * q + squares * q * abs(q) + loss > drive:
            high = min(high, q)
        else:
            low = max(low, q)
        rest = drive - loss + (slope - impedance) * q
        new = orifice_flow(rest, slope, 1.0 / squares) if squares > 0.0 else rest / slope
        # Convergence is quadratic: after a change of 1e-9 what is left is rounding.
        settled = abs(new - q) <= 1e-13 + 1e-9 * abs(q)
        q = new if settled or low <= new <= high else 0.5 * (low + high)
        if settled:
            for row in range(first, last):
                if li[chain[row, CH_LINK], L_CHECK] != 0 and chain[row, CH_SIDE] * q < 0.0:
                    return 0.0, CHECKED, OK
            return q, FLOWS, OK
    return q, FLOWS, NOT_CONVERGED


@inlined
def _blocks(e, why, li, lf):
    """Whether link ``e`` of a chain without flow is what keeps its two sides apart."""
    if why == CHECKED:
        return li[e, L_CHECK] != 0
    return why == SHUT and li[e, L_KIND] == ORIFICE and lf[e, L_C2] <= 0.0


@inlined
def fill_chain(first, last, chain, q, why, pf, li, lf, knots, coef, tables):
    """Set the heads between the links of a chain: from both ends up to what blocks the flow.

    A point shut in between two blocked links keeps its head.
    """
    for row in range(first, last - 1):
        e = chain[row, CH_LINK]
        if _blocks(e, why, li, lf):
            break
        side = chain[row, CH_SIDE]
        loss, _ = link_law(e, side * q, li, lf, knots, coef, tables)
        pf[chain[row, CH_B], P_H] = pf[chain[row, CH_A], P_H] - side * loss
    if why != FLOWS:
        for row in range(last - 1, first, -1):
            e = chain[row, CH_LINK]
            if _blocks(e, why, li, lf):
                break
            side = chain[row, CH_SIDE]
            loss, _ = link_law(e, side * q, li, lf, knots, coef, tables)
            pf[chain[row, CH_A], P_H] = pf[chain[row, CH_B], P_H] + side * loss


@jit
def solve_dense(matrix, rhs, n):
    """Solve ``matrix x = rhs`` in place (Gauss, partial pivoting); the answer is in ``rhs``."""
    for i in range(n):
        p = i
        for k in range(i + 1, n):
            if abs(matrix[k, i]) > abs(matrix[p, i]):
                p = k
        if matrix[p, i] == 0.0:
            return False
        if p != i:
            for j in range(n):
                matrix[i, j], matrix[p, j] = matrix[p, j], matrix[i, j]
            rhs[i], rhs[p] = rhs[p], rhs[i]
        for k in range(i + 1, n):
            factor = matrix[k, i] / matrix[i, i]
            if factor != 0.0:
                for j in range(i, n):
                    matrix[k, j] -= factor * matrix[i, j]
                rhs[k] -= factor * rhs[i]
    for i in range(n - 1, -1, -1):
        total = rhs[i]
        for j in range(i + 1, n):
            total -= matrix[i, j] * rhs[j]
        rhs[i] = total / matrix[i, i]
    return True


@jit
def _misfit(c, ci, members, pi, pf, li, lf):
    """Heads of the points of cluster ``c`` that follow from its flows (all but dry points)."""
    for i in range(ci[c, C_POINT], ci[c, C_POINT_END]):
        p = members[i]
        if pi[p, P_DRY] < 0:
            pf[p, P_H] = pf[p, P_FIXED] + pf[p, P_XY] * pf[p, P_Z]
    for j in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[j]
        if is_shut(e, li, lf):
            lf[e, L_Q] = 0.0
        elif pi[li[e, L_A], P_DRY] < 0:
            pf[li[e, L_A], P_H] -= pf[li[e, L_A], P_Z] * lf[e, L_Q]
        if pi[li[e, L_B], P_DRY] < 0:
            pf[li[e, L_B], P_H] += pf[li[e, L_B], P_Z] * lf[e, L_Q]


@jit
def _side(e, point, li):
    """+1 where the link leaves the point, -1 where it enters, 0 elsewhere."""
    if li[e, L_A] == point:
        return 1.0
    return -1.0 if li[e, L_B] == point else 0.0


@jit
def _hold_shut_in(links, n, matrix):
    """A dry point all of whose links are shut: its head stays what it was."""
    for d in range(links, n):
        empty = True
        for j in range(links):
            if matrix[d, j] != 0.0:
                empty = False
        if empty:
            matrix[d, d] = 1.0


@jit
def _assemble(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
    """Newton's matrix and misfit: a row for every link's law, one for every dry point's balance."""
    _misfit(c, ci, members, pi, pf, li, lf)
    first = ci[c, C_LINK]
    links = ci[c, C_LINK_END] - first
    n = links
    for i in range(ci[c, C_POINT], ci[c, C_POINT_END]):
        if pi[members[i], P_DRY] >= 0:
            n += 1
    matrix[:n, :n] = 0.0
    rhs[:n] = 0.0
    for j in range(links):
        e = members[first + j]
        if is_shut(e, li, lf):
            matrix[j, j] = 1.0
            continue
        if li[e, L_KIND] == ORIFICE:
            # Not through link_law: handing it the arrays costs more than the law.
            loss, slope = orifice_law(lf[e, L_Q], lf[e, L_C2])
        else:
            loss, slope = link_law(e, lf[e, L_Q], li, lf, knots, coef, tables)
        rhs[j] = pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H] - loss
        matrix[j, j] -= slope
        for end in range(2):
            point = li[e, L_A] if end == 0 else li[e, L_B]
            side = 1.0 if end == 0 else -1.0
            dry = pi[point, P_DRY]
            if dry >= 0:
                matrix[j, links + dry] += side
                matrix[links + dry, j] += side
                rhs[links + dry] += side * lf[e, L_Q]
                continue
            for k in range(links):
                other = members[first + k]
                if not is_shut(other, li, lf):
                    matrix[j, k] -= side * _side(other, point, li) * pf[point, P_Z]
    _hold_shut_in(links, n, matrix)
    return links, n


@jit
def _newton(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
    """Newton on one cluster from its last state; True when it has converged."""
    change = 1.0
    for count in range(_MAX_ITERATIONS):
        links, n = _assemble(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs)
        if not solve_dense(matrix, rhs, n):
            return False
        # Quadratic losses can make Newton swing between two flows: later steps are halved.
        weight = 1.0 if count < 20 else 0.5
        change = 0.0
        for j in range(links):
            e = members[ci[c, C_LINK] + j]
            lf[e, L_Q] -= weight * rhs[j]
            change += abs(rhs[j]) / (1e-2 + abs(lf[e, L_Q]))  # a sum keeps what is no number
        for i in range(ci[c, C_POINT], ci[c, C_POINT_END]):
            p = members[i]
            if pi[p, P_DRY] >= 0:
                pf[p, P_H] -= weight * rhs[links + pi[p, P_DRY]]
                change += abs(rhs[links + pi[p, P_DRY]]) / (1.0 + abs(pf[p, P_H]))
        # Quadratic but for kinks of loss tables: after a change of 1e-7 what is left is some 1e-10.
        if change < 1e-7:
            _misfit(c, ci, members, pi, pf, li, lf)
            return True
    return False


@jit
def _wake(c, ci, members, pf, li, lf):
    """A first guess for orifices that stood still: Newton from rest would have far to go."""
    for j in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[j]
        if li[e, L_KIND] == ORIFICE and lf[e, L_C2] > 0.0:
            drop = pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H]
            free = math.sqrt(lf[e, L_C2] * abs(drop))
            if abs(lf[e, L_Q]) < 1e-3 * free:
                lf[e, L_Q] = free if drop > 0.0 else -free


@jit
def _wants_open(e, pf, li, lf, coef):
    """Whether the shut non-return valve of a pump has more head before it than behind."""
    lift = lf[e, L_SPEED] * lf[e, L_SPEED] * coef[li[e, L_CURVE], 0]
    return pf[li[e, L_A], P_H] + lift > pf[li[e, L_B], P_H]


@jit
def solve_cluster(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
    """Heads and flows of points joined by several links; non-return valves shut or open as needed.

    Non-return valves start as they were; one whose flow would turn is shut, one with more head
    before it is opened, and the rest solved again.
    """
    _wake(c, ci, members, pf, li, lf)
    for _ in range(2 + ci[c, C_LINK_END] - ci[c, C_LINK]):
        if not _newton(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
            return NOT_CONVERGED
        changed = False
        for j in range(ci[c, C_LINK], ci[c, C_LINK_END]):
            e = members[j]
            if li[e, L_CHECK] == 0:
                continue
            if li[e, L_HELD] == 0 and lf[e, L_Q] < 0.0:
                li[e, L_HELD] = 1
                changed = True
            elif li[e, L_HELD] != 0 and _wants_open(e, pf, li, lf, coef):
                li[e, L_HELD] = 0
                changed = True
        if not changed:
            break
    return OK

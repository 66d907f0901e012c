"""What happens at points: junctions, tanks, dead ends, valves, pumps and lumped short elements.

Every pipe end brings one number to its point, the head ``x`` that would stand there if nothing
flowed; the flow from the point into the pipe is then ``(H - x) * y`` with ``y = 1/B`` [m2/s].
So a point with pipes is a source of head ``E = sum(x*y)/sum(y)`` behind an impedance
``Z = 1/sum(y)`` [s/m2], a tank is the same with ``Z = 0``, and a link (an element without a
length) between two points is one equation ``H_a - H_b = law(Q)``.

No names, no units, no files, no exceptions: a solution that does not converge comes back as a status. Arrays
and their columns: :mod:`surge.kernel.columns`.
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
    CH_SIGN,
    CHECKED,
    D_BEFORE,
    D_EXPONENT,
    D_GAS,
    D_HALF,
    D_LAW,
    D_NECK,
    DRUM,
    FLOWS,
    L_A,
    L_B,
    L_C,
    L_C2,
    L_CHECK,
    L_CURVE,
    L_CURVE_END,
    L_FIXED,
    L_HELD,
    L_KIND,
    L_LEAST,
    L_MEMORY,
    L_MOST,
    L_Q,
    L_SET,
    L_SPAN,
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
    RELIEF,
    SHUT,
    V_REVERSE,
)
from surge.kernel.compiled import inlined, jit
from surge.kernel.drum import drum_law
from surge.kernel.orifices import orifice_flow, orifice_law
from surge.kernel.relief import relief_law, rounds, turned

MOST_FLOW = 1e6  # [m3/s] bracket of a chain's flow
MAX_ITERATIONS = 60

pump_head = inlined(curves.pump_head)


@inlined
def table_loss(size, inverse_step, row, table):
    """Return loss [m] and slope at ``size`` from row ``row`` of ``table`` (rows, steps + 1) [m].

    ``inverse_step`` is 1 over the step of the row, in the unit of ``size`` (a flow [m3/s], or d = 2BQ [m]).
    Beyond the table the loss goes on as the square of ``size``.
    """
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
    """Return the head lost [m] over link ``e`` from its start to its end at flow ``q`` [m3/s], and the slope
    [s/m2].

    li (links, L_INTS): L_KIND, L_CURVE, L_CURVE_END, L_TABLE. lf (links, L_FLOATS): L_C2, L_SPEED, L_TAIL0,
    L_TAIL2, L_STEP, L_Z, L_MEMORY. knots (rows,) [m3/s] and coef (rows, 4) hold the pump curves, tables
    (lumped, steps + 1) the losses of lumped elements [m].
    """
    kind = li[e, L_KIND]
    if kind == ORIFICE:
        return orifice_law(q, lf[e, L_C2])
    if kind == PUMP:
        head, slope = pump_head(
            q, lf[e, L_SPEED], li[e, L_CURVE], li[e, L_CURVE_END], knots, coef, lf[e, L_TAIL0], lf[e, L_TAIL2]
        )
        return -head, -slope + 1e-9
    if kind == RELIEF:
        return relief_law(q, lf[e, L_C], lf[e, L_SET], lf[e, L_SPAN], lf[e, L_FIXED])
    if kind == DRUM:
        return drum_law(
            q, lf[e, D_GAS], lf[e, D_BEFORE], lf[e, D_HALF], lf[e, D_LAW], lf[e, D_EXPONENT], lf[e, D_NECK]
        )
    loss, slope = table_loss(abs(q), lf[e, L_STEP], li[e, L_TABLE], tables)
    if q < 0.0:
        loss = -loss
    return lf[e, L_Z] * q + loss - lf[e, L_MEMORY], lf[e, L_Z] + slope


@inlined
def is_shut(e, li, lf):
    """Return whether link ``e`` lets nothing through now.

    li (links, L_INTS): L_KIND, L_HELD. lf (links, L_FLOATS): L_C2 [m5/s2].
    """
    return li[e, L_HELD] != 0 or (li[e, L_KIND] == ORIFICE and lf[e, L_C2] <= 0.0)


@inlined
def _turns(first, last, chain, q, li, lf):
    """Whether a non-return valve of a chain does not let flow ``q`` [m3/s] through.

    chain (rows, CH_INTS), of which ``first`` to ``last``, excluded; li (links, L_INTS), lf (links, L_FLOATS).
    """
    for row in range(first, last):
        e = chain[row, CH_LINK]
        if li[e, L_CHECK] != 0 and chain[row, CH_SIGN] * q < -lf[e, V_REVERSE]:
            return True
    return False


@inlined
def chain_flow(first, last, chain, q, drive, impedance, li, lf, knots, coef, tables):
    """Flow through the links ``chain[first:last]`` behind one another, between two sources.

    Solves ``impedance*Q + sum(law(Q)) = drive``, beginning at ``q``. Every law rises with the flow, so there
    is one solution: Newton inside a bracket, in which what follows the square of the flow stays exact.

    Parameters
    ----------
    first, last : int
        Rows of the chain, the last one excluded.
    chain : int64 array, shape (rows, CH_INTS)
    q : float
        Flow to begin at, as the chain runs [m3/s].
    drive, impedance : float
        Difference of the two sources' heads [m], and the sum of their impedances [s/m2].
    li, lf : arrays, shape (links, L_INTS) and (links, L_FLOATS)
    knots, coef : float64 arrays, shape (rows,) and (rows, 4)
        Pump curves: knots [m3/s], cubics.
    tables : float64 array, shape (lumped, steps + 1)
        Losses of lumped elements [m].

    Returns
    -------
    flow, why, status : float, int, int
        [m3/s]; what stops it, ``FLOWS``, ``SHUT`` or ``CHECKED``; ``OK`` or ``NOT_CONVERGED``.
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
        q = orifice_flow(drive, impedance, 1.0 / squares)
        return (0.0, CHECKED, OK) if _turns(first, last, chain, q, li, lf) else (q, FLOWS, OK)
    low = -MOST_FLOW
    high = MOST_FLOW
    for _ in range(MAX_ITERATIONS):
        loss = 0.0
        slope = impedance
        for row in range(first, last):
            e = chain[row, CH_LINK]
            if li[e, L_KIND] != ORIFICE:
                sign = chain[row, CH_SIGN]
                one, rise = link_law(e, sign * q, li, lf, knots, coef, tables)
                loss += sign * one
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
            return (0.0, CHECKED, OK) if _turns(first, last, chain, q, li, lf) else (q, FLOWS, OK)
    return q, FLOWS, NOT_CONVERGED


@inlined
def _blocks(e, why, li, lf):
    """Whether link ``e`` of a chain without flow is what keeps its two ends apart.

    ``why`` is ``SHUT`` or ``CHECKED``. li (links, L_INTS): L_KIND, L_CHECK. lf (links, L_FLOATS): L_C2
    [m5/s2].
    """
    if why == CHECKED:
        return li[e, L_CHECK] != 0
    return why == SHUT and li[e, L_KIND] == ORIFICE and lf[e, L_C2] <= 0.0


@inlined
def fill_chain(first, last, chain, q, why, pf, li, lf, knots, coef, tables):
    """Set the heads between the links of a chain: from both ends up to what blocks the flow.

    A point shut in between two blocked links keeps its head. ``q`` [m3/s] and ``why`` are what
    :func:`chain_flow` found for the rows ``first`` to ``last`` of chain (rows, CH_INTS). pf (points,
    P_FLOATS): P_H [m] of the points at both ends is read, of those between is written. The other arrays are
    those of :func:`chain_flow`.
    """
    for row in range(first, last - 1):
        e = chain[row, CH_LINK]
        if _blocks(e, why, li, lf):
            break
        sign = chain[row, CH_SIGN]
        loss, _ = link_law(e, sign * q, li, lf, knots, coef, tables)
        pf[chain[row, CH_B], P_H] = pf[chain[row, CH_A], P_H] - sign * loss
    if why != FLOWS:
        for row in range(last - 1, first, -1):
            e = chain[row, CH_LINK]
            if _blocks(e, why, li, lf):
                break
            sign = chain[row, CH_SIGN]
            loss, _ = link_law(e, sign * q, li, lf, knots, coef, tables)
            pf[chain[row, CH_A], P_H] = pf[chain[row, CH_B], P_H] + sign * loss


@jit
def solve_dense(matrix, rhs, n):
    """Solve ``matrix x = rhs`` in place (Gauss, partial pivoting); False when it is singular.

    matrix (n, n) or larger and rhs (n,) or longer, float64; the answer is in ``rhs``, ``matrix`` is used up.
    """
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
    """Heads of the points of cluster ``c`` that follow from its flows (all but dry points).

    ci (clusters, C_INTS), members (m,). pi (points, P_INTS): P_DRY. pf (points, P_FLOATS): P_FIXED [m], P_XY
    [m3/s] and P_Z [s/m2] are read, P_H [m] is written. li (links, L_INTS). lf (links, L_FLOATS): L_Q [m3/s],
    put to 0 where the link is shut.
    """
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
def _sign(e, point, li):
    """+1 where link ``e`` leaves ``point``, -1 where it enters, 0 elsewhere; li (links, L_INTS)."""
    if li[e, L_A] == point:
        return 1.0
    return -1.0 if li[e, L_B] == point else 0.0


@jit
def _hold_shut_in(links, n, matrix):
    """A dry point all of whose links are shut: its head stays what it was.

    Rows ``links`` to ``n`` of matrix (n, n) or larger are the balances of the dry points.
    """
    for d in range(links, n):
        empty = True
        for j in range(links):
            if matrix[d, j] != 0.0:
                empty = False
        if empty:
            matrix[d, d] = 1.0


@jit
def _assemble(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
    """Newton's matrix and misfit: a row for every link's law, one for every dry point's balance.

    Arguments as for :func:`solve_cluster`. Rows of links in ``rhs`` are heads [m], rows of dry points flows
    [m3/s]. Returns the number of links, and of rows.
    """
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
            sign = 1.0 if end == 0 else -1.0
            dry = pi[point, P_DRY]
            if dry >= 0:
                matrix[j, links + dry] += sign
                matrix[links + dry, j] += sign
                rhs[links + dry] += sign * lf[e, L_Q]
                continue
            for k in range(links):
                other = members[first + k]
                if not is_shut(other, li, lf):
                    matrix[j, k] -= sign * _sign(other, point, li) * pf[point, P_Z]
    _hold_shut_in(links, n, matrix)
    return links, n


@jit
def _newton(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
    """Newton on one cluster from its last state; True when it has converged.

    Arguments as for :func:`solve_cluster`; L_Q [m3/s] of ``lf`` and P_H [m] of ``pf`` are written.
    """
    change = 1.0
    for count in range(MAX_ITERATIONS):
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
    """A first guess for orifices that stood still: Newton from rest would have far to go.

    ci (clusters, C_INTS), members (m,), li (links, L_INTS). pf (points, P_FLOATS): P_H [m]. lf (links,
    L_FLOATS): L_C2 [m5/s2] is read, L_Q [m3/s] is written.
    """
    for j in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[j]
        if li[e, L_KIND] == ORIFICE and lf[e, L_C2] > 0.0:
            drop = pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H]
            free = math.sqrt(lf[e, L_C2] * abs(drop))
            if abs(lf[e, L_Q]) < 1e-3 * free:
                lf[e, L_Q] = free if drop > 0.0 else -free


@jit
def _wants_open(e, pf, li, lf, coef):
    """Whether a shut non-return valve has more head before it than behind; that of a pump with its own.

    pf (points, P_FLOATS): P_H [m]. li (links, L_INTS): L_KIND, L_A, L_B, L_CURVE. lf (links, L_FLOATS):
    L_SPEED [-]. coef (rows, 4): shut-off head [m] in its first column.
    """
    lift = 0.0
    if li[e, L_KIND] == PUMP:
        lift = lf[e, L_SPEED] * lf[e, L_SPEED] * coef[li[e, L_CURVE], 0]
    return pf[li[e, L_A], P_H] + lift > pf[li[e, L_B], P_H]


@jit
def _turn_relief(e, pf, li, lf):
    """Take relief valve ``e`` to the piece of its law that its head asks for; whether that is another one.

    pf (points, P_FLOATS): P_H [m]. li (links, L_INTS) and lf (links, L_FLOATS): L_HELD and L_FIXED [-] are
    written.
    """
    drop = pf[li[e, L_A], P_H] - pf[li[e, L_B], P_H]
    held, fixed = turned(
        drop, lf[e, L_Q], li[e, L_HELD], lf[e, L_FIXED], lf[e, L_SET], lf[e, L_SPAN], lf[e, L_LEAST],
        lf[e, L_MOST],
    )  # fmt: skip
    other = held != li[e, L_HELD] or fixed != lf[e, L_FIXED]
    li[e, L_HELD] = held
    lf[e, L_FIXED] = fixed
    return other


@jit
def solve_cluster(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
    """Heads and flows of points joined by several links; non-return valves shut or open as needed.

    Non-return valves start as they were; one whose flow would turn is shut, one with more head before it is
    opened, and the rest solved again.

    Parameters
    ----------
    c : int
        The cluster, a row of ``ci``.
    ci, members : int64 arrays, shape (clusters, C_INTS) and (m,)
    pi, pf : arrays, shape (points, P_INTS) and (points, P_FLOATS)
        P_DRY, P_FIXED [m], P_XY [m3/s] and P_Z [s/m2] are read, P_H [m] is written.
    li, lf : arrays, shape (links, L_INTS) and (links, L_FLOATS)
        L_Q [m3/s] and L_HELD are where the solution starts, and are written.
    knots, coef : float64 arrays, shape (rows,) and (rows, 4)
        Pump curves: knots [m3/s], cubics.
    tables : float64 array, shape (lumped, steps + 1)
        Losses of lumped elements [m].
    matrix, rhs : float64 arrays, shape (n, n) and (n,)
        Room for Newton, n at least the links and points of the cluster.

    Returns
    -------
    status : int
        ``OK`` or ``NOT_CONVERGED``.
    """
    _wake(c, ci, members, pf, li, lf)
    for _ in range(rounds(c, ci, members, li)):
        if not _newton(c, ci, members, pi, pf, li, lf, knots, coef, tables, matrix, rhs):
            return NOT_CONVERGED
        changed = False
        for j in range(ci[c, C_LINK], ci[c, C_LINK_END]):
            e = members[j]
            if li[e, L_CHECK] == 0:
                continue
            if li[e, L_KIND] == RELIEF:
                changed = _turn_relief(e, pf, li, lf) or changed
            elif li[e, L_HELD] == 0 and lf[e, L_Q] < -lf[e, V_REVERSE]:
                li[e, L_HELD] = 1
                changed = True
            elif li[e, L_HELD] != 0 and _wants_open(e, pf, li, lf, coef):
                li[e, L_HELD] = 0
                changed = True
        if not changed:
            break
    return OK

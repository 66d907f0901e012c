"""Points joined by several links, for many scenarios side by side: Newton on all lanes at once.

As :func:`surge.kernel.laws.solve_cluster`, shapes as in :mod:`surge.kernel.batch_march`. Without dry points
(where only links meet) Newton's matrix is definite, and elimination needs no search for a pivot:
all lanes take the same steps. Clusters with dry points are solved lane by lane.
"""

from __future__ import annotations

import math

from surge.kernel.batch_links import LARGEST, WIDE, law
from surge.kernel.columns import (
    C_LINK,
    C_LINK_END,
    C_POINT,
    C_POINT_END,
    L_A,
    L_B,
    L_C2,
    L_CHECK,
    L_CURVE,
    L_FIXED,
    L_HELD,
    L_KIND,
    L_LEAST,
    L_MOST,
    L_Q,
    L_SET,
    L_SPAN,
    L_SPEED,
    NOT_CONVERGED,
    NOT_FINITE,
    ORIFICE,
    P_FIXED,
    P_H,
    P_XY,
    PUMP,
    RELIEF,
    V_REVERSE,
    W_LINK_LOSS,
    W_LINK_SLOPE,
    W_SEEK,
)
from surge.kernel.compiled import inlined, jit, pick
from surge.kernel.laws import MAX_ITERATIONS, solve_cluster
from surge.kernel.relief import rounds, turned


@jit
def _flows(e, li, lf, held, flows):
    """1 in the lanes in which link ``e`` lets something through now, 0 in the others.

    li (links, L_INTS), lf (links, L_FLOATS, W): L_C2 [m5/s2], held (links, W). flows (W,) is written.
    """
    valve = li[e, L_KIND] == ORIFICE
    for j in range(WIDE):
        shut = (held[e, j] != 0) | (valve & (lf[e, L_C2, j] <= 0.0))
        flows[j] = 0.0 if shut else 1.0


@jit
def _heads(c, ci, members, z, fixed, xy, head, li, lf, held, flows):
    """Heads of the points of cluster ``c`` that follow from its flows.

    Arrays as for :func:`solve_together`: head (points, W) [m] is written, and L_Q [m3/s] of ``lf`` put to 0
    where a link is shut. flows (W,) is room.
    """
    for i in range(ci[c, C_POINT], ci[c, C_POINT_END]):
        p = members[i]
        for j in range(WIDE):
            head[p, j] = fixed[p, j] + xy[p, j] * z[p]
    for i in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[i]
        a = li[e, L_A]
        b = li[e, L_B]
        _flows(e, li, lf, held, flows)
        for j in range(WIDE):
            lf[e, L_Q, j] = pick(flows[j] <= 0.0, 0.0, lf[e, L_Q, j])
            head[a, j] -= z[a] * lf[e, L_Q, j]
            head[b, j] += z[b] * lf[e, L_Q, j]


@jit
def _couple(i, first, links, members, z, li, matrix):
    """What flows of other links do to the heads at the two ends of link ``members[first + i]``.

    members (m,), z (points,) [s/m2], li (links, L_INTS). Row ``i`` of matrix (n, n, W) [s/m2] is written,
    ``links`` of it.
    """
    e = members[first + i]
    for k in range(links):
        o = members[first + k]
        shared = 0.0
        for end in range(2):
            point = li[e, L_A] if end == 0 else li[e, L_B]
            sign = 1.0 if end == 0 else -1.0
            if li[o, L_A] == point:
                shared += sign * z[point]
            elif li[o, L_B] == point:
                shared -= sign * z[point]
        for j in range(WIDE):
            matrix[i, k, j] = -shared


@jit
def _assemble(c, ci, members, z, head, lump_row, li, lf, held, knots, coef, lumps, matrix, rhs, w):
    """Newton's matrix and misfit, a row for every link's law; a shut link's flow stays nought.

    Arrays as for :func:`solve_together`; matrix [s/m2] and rhs [m] are written. Returns the number of links.
    """
    first = ci[c, C_LINK]
    links = ci[c, C_LINK_END] - first
    for i in range(links):
        e = members[first + i]
        a = li[e, L_A]
        b = li[e, L_B]
        _couple(i, first, links, members, z, li, matrix)
        law(e, lf[e, L_Q], lump_row, li, lf, knots, coef, lumps, w[W_LINK_LOSS], w[W_LINK_SLOPE])
        for j in range(WIDE):
            rhs[i, j] = head[a, j] - head[b, j] - w[W_LINK_LOSS, j]
            matrix[i, i, j] -= w[W_LINK_SLOPE, j]
    for i in range(links):
        flows = w[W_LINK_LOSS]
        _flows(members[first + i], li, lf, held, flows)
        for j in range(WIDE):
            rhs[i, j] = pick(flows[j] <= 0.0, 0.0, rhs[i, j])
        for k in range(links):
            for j in range(WIDE):
                shut = 1.0 if i == k else 0.0
                matrix[i, k, j] = pick(flows[j] <= 0.0, shut, matrix[i, k, j])
                matrix[k, i, j] = pick(flows[j] <= 0.0, shut, matrix[k, i, j])
    return links


@jit
def _eliminate(matrix, rhs, n):
    """Solve ``matrix x = rhs`` of every lane in place, without pivots; the answer is in ``rhs``.

    matrix (n, n, W) and rhs (n, W), or larger; ``matrix`` is used up.
    """
    for i in range(n):
        for k in range(i + 1, n):
            for j in range(WIDE):
                factor = matrix[k, i, j] / matrix[i, i, j]
                matrix[k, i, j] = factor
                rhs[k, j] -= factor * rhs[i, j]
            for col in range(i + 1, n):
                for j in range(WIDE):
                    matrix[k, col, j] -= matrix[k, i, j] * matrix[i, col, j]
    for i in range(n - 1, -1, -1):
        for col in range(i + 1, n):
            for j in range(WIDE):
                rhs[i, j] -= matrix[i, col, j] * rhs[col, j]
        for j in range(WIDE):
            rhs[i, j] /= matrix[i, i, j]


@jit
def _newton(c, ci, members, z, fixed, xy, head, lump_row, li, lf, held, knots, coef, lumps, matrix, rhs, w):
    """Newton in all lanes where W_SEEK of ``w`` (W_ROWS, W) is 1; the number of those left over.

    Arrays as for :func:`solve_together`; head [m] and L_Q [m3/s] of ``lf`` are written.
    """
    left = 0.0
    for j in range(WIDE):
        left += w[W_SEEK, j]
    for count in range(MAX_ITERATIONS):
        if left == 0.0:
            break
        _heads(c, ci, members, z, fixed, xy, head, li, lf, held, w[W_LINK_LOSS])
        links = _assemble(c, ci, members, z, head, lump_row, li, lf, held, knots, coef, lumps, matrix, rhs, w)
        _eliminate(matrix, rhs, links)
        weight = 1.0 if count < 20 else 0.5
        change = w[W_LINK_LOSS]
        for j in range(WIDE):
            change[j] = 0.0
        for i in range(links):
            e = members[ci[c, C_LINK] + i]
            for j in range(WIDE):
                now = lf[e, L_Q, j]
                new = now - weight * rhs[i, j]
                lf[e, L_Q, j] = pick(w[W_SEEK, j] > 0.0, new, now)
                part = abs(rhs[i, j]) / (1e-2 + abs(new))
                # Written so that what is no number counts as not settled.
                change[j] = pick(not part <= change[j], part, change[j])
        left = 0.0
        for j in range(WIDE):
            w[W_SEEK, j] = pick(change[j] < 1e-7, 0.0, w[W_SEEK, j])
            left += w[W_SEEK, j]
    _heads(c, ci, members, z, fixed, xy, head, li, lf, held, w[W_LINK_LOSS])
    return left


@jit
def _wake(c, ci, members, head, li, lf):
    """A first guess for orifices that stood still: Newton from rest would have far to go.

    ci (clusters, C_INTS), members (m,), head (points, W) [m], li (links, L_INTS). lf (links, L_FLOATS, W):
    L_C2 [m5/s2] is read, L_Q [m3/s] is written.
    """
    for i in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[i]
        a = li[e, L_A]
        b = li[e, L_B]
        if li[e, L_KIND] == ORIFICE:
            for j in range(WIDE):
                drop = head[a, j] - head[b, j]
                free = math.sqrt(lf[e, L_C2, j] * abs(drop))
                asleep = abs(lf[e, L_Q, j]) < 1e-3 * free
                guess = free if drop > 0.0 else -free
                lf[e, L_Q, j] = pick(asleep, guess, lf[e, L_Q, j])


@jit
def _turn_relief(e, head, li, lf, held, again):
    """Take relief valve ``e`` to the piece of its law that its head asks for; the lanes that change, as bits.

    Arrays as for :func:`_turn`; held (links, W) and L_FIXED [-] of ``lf`` are written where ``again`` says.
    """
    changed = 0
    for j in range(WIDE):
        drop = head[li[e, L_A], j] - head[li[e, L_B], j]
        shut, fixed = turned(
            drop, lf[e, L_Q, j], held[e, j], lf[e, L_FIXED, j], lf[e, L_SET, j], lf[e, L_SPAN, j],
            lf[e, L_LEAST, j], lf[e, L_MOST, j],
        )  # fmt: skip
        if again[j] > 0.0 and (shut != held[e, j] or fixed != lf[e, L_FIXED, j]):
            held[e, j] = shut
            lf[e, L_FIXED, j] = fixed
            changed |= 1 << j
    return changed


@inlined
def _own_lift(e, j, li, lf, coef):
    """Shut-off head [m] of link ``e`` in lane ``j``; 0 where it is no pump. Arrays as for :func:`_turn`."""
    if li[e, L_KIND] != PUMP:
        return 0.0
    return lf[e, L_SPEED, j] * lf[e, L_SPEED, j] * coef[li[e, L_CURVE], 0, j]


@jit
def _turn(c, ci, members, head, li, lf, held, coef, again):
    """Shut the non-return and relief valves whose flow turned, open those with more head before them.

    ci (clusters, C_INTS), members (m,), head (points, W) [m], li (links, L_INTS), lf (links, L_FLOATS, W):
    L_Q [m3/s] and L_SPEED [-], coef (rows, 4, W): shut-off heads [m]. held (links, W) is written; again (W,)
    says which lanes to look at, and then which have changed. Returns the latter as bits.
    """
    turned_bits = 0
    for i in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[i]
        if li[e, L_CHECK] == 0:
            continue
        if li[e, L_KIND] == RELIEF:
            turned_bits |= _turn_relief(e, head, li, lf, held, again)
            continue
        for j in range(WIDE):
            lift = _own_lift(e, j, li, lf, coef)
            opens = held[e, j] != 0 and head[li[e, L_A], j] + lift > head[li[e, L_B], j]
            shuts = held[e, j] == 0 and lf[e, L_Q, j] < -lf[e, V_REVERSE, j]
            if again[j] > 0.0 and (opens or shuts):
                held[e, j] = 1 if shuts else 0
                turned_bits |= 1 << j
    for j in range(WIDE):
        again[j] = 1.0 if turned_bits >> j & 1 else 0.0
    return turned_bits


@jit
def solve_together(
    ci, members, z, fixed, xy, head, lump_row, li, lf, held, knots, coef, lumps, w, well, bad, matrix, rhs,
    again,
):  # fmt: skip
    """Clusters without dry points, in all lanes.

    Parameters
    ----------
    ci, members : int64 arrays, shape (clusters, C_INTS) and (m,)
    z : float64 array, shape (points,)
        Impedance [s/m2].
    fixed, xy, head : float64 arrays, shape (points, W)
        [m], [m3/s]; head [m] is written.
    lump_row, lumps : arrays, shape (W,) and (rows, steps + 1)
        Where a lane's tables begin; losses [m].
    li, lf : arrays, shape (links, L_INTS) and (links, L_FLOATS, W)
        L_Q [m3/s] is where the solution starts, and is written.
    held : int64 array, shape (links, W)
        1 where the non-return valve is shut; written.
    knots, coef : float64 arrays, shape (rows, W) and (rows, 4, W)
        Pump curves: knots [m3/s], cubics.
    w, matrix, rhs, again : float64 arrays, shape (W_ROWS, W), (n, n, W), (n, W) and (W,)
        Room, n at least the links of a cluster.
    well, bad : arrays, shape (W,)
        1 in lanes that have not failed; int64, takes the status of those that do.
    """
    for c in range(ci.shape[0]):
        _wake(c, ci, members, head, li, lf)
        for j in range(WIDE):
            again[j] = well[j]
        for _ in range(rounds(c, ci, members, li)):
            for j in range(WIDE):
                w[W_SEEK, j] = again[j]
            left = _newton(
                c, ci, members, z, fixed, xy, head, lump_row, li, lf, held, knots, coef, lumps, matrix, rhs, w
            )
            if left > 0.0:
                for j in range(WIDE):
                    bad[j] = pick(w[W_SEEK, j] > 0.0, NOT_CONVERGED, bad[j])
                    again[j] = pick(w[W_SEEK, j] > 0.0, 0.0, again[j])
            if _turn(c, ci, members, head, li, lf, held, coef, again) == 0:
                break


@jit
def _take_out(c, j, ci, members, fixed, xy, head, lf, held, pf1, li1, lf1):
    """Copy lane ``j`` of a cluster into the arrays of one lane; False where a head is none.

    ci (clusters, C_INTS), members (m,); fixed, head (points, W) [m] and xy (points, W) [m3/s], lf (links,
    L_FLOATS, W), held (links, W) are read; pf1 (points, P_FLOATS), li1 (links, L_INTS) and lf1 (links,
    L_FLOATS) are written.
    """
    well = True
    for i in range(ci[c, C_POINT], ci[c, C_POINT_END]):
        p = members[i]
        pf1[p, P_FIXED] = fixed[p, j]
        pf1[p, P_XY] = xy[p, j]
        pf1[p, P_H] = head[p, j]
        well = well and abs(xy[p, j]) < LARGEST and abs(head[p, j]) < LARGEST
    for i in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        e = members[i]
        for col in range(lf.shape[1]):
            lf1[e, col] = lf[e, col, j]
        li1[e, L_HELD] = held[e, j]
    return well


@jit
def solve_apart(
    ci, members, fixed, xy, head, lump_row, lf, held, lumps, well, bad, pi, pf1, li1, lf1, knots, coef,
    matrix, rhs,
):  # fmt: skip
    """Clusters with dry points, lane by lane, by :func:`surge.kernel.laws.solve_cluster`.

    Parameters
    ----------
    ci, members : int64 arrays, shape (clusters, C_INTS) and (m,)
    fixed, xy, head : float64 arrays, shape (points, W)
        [m], [m3/s]; head [m] is written.
    lump_row, lumps : arrays, shape (W,) and (rows, steps + 1)
        Where a lane's tables begin; losses [m].
    lf, held : arrays, shape (links, L_FLOATS, W) and (links, W)
        L_Q [m3/s] and ``held`` are where the solution starts, and are written.
    well, bad : arrays, shape (W,)
        1 in lanes that have not failed; int64, takes the status of those that do.
    pi : int64 array, shape (points, P_INTS)
    pf1, li1, lf1, matrix, rhs : arrays
        Those of one lane in the single march: room.
    knots, coef : float64 arrays, shape (W * rows,) and (W * rows, 4)
        Pump curves of one lane after the other: knots [m3/s], cubics.
    """
    rows = knots.size // WIDE
    for c in range(ci.shape[0]):
        for j in range(WIDE):
            if well[j] == 0.0:
                continue
            # What is no number must not become a place in a table.
            status = NOT_FINITE
            if _take_out(c, j, ci, members, fixed, xy, head, lf, held, pf1, li1, lf1):
                a = j * rows
                status = solve_cluster(
                    c, ci, members, pi, pf1, li1, lf1, knots[a : a + rows], coef[a : a + rows],
                    lumps[lump_row[j] :], matrix, rhs,
                )  # fmt: skip
            bad[j] = max(bad[j], status)
            for i in range(ci[c, C_POINT], ci[c, C_POINT_END]):
                head[members[i], j] = pf1[members[i], P_H]
            for i in range(ci[c, C_LINK], ci[c, C_LINK_END]):
                e = members[i]
                lf[e, L_Q, j] = lf1[e, L_Q]
                lf[e, L_FIXED, j] = lf1[e, L_FIXED]
                held[e, j] = li1[e, L_HELD]

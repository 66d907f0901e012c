"""Valves, pumps, lumped elements and what they form together, for many scenarios side by side.

As :mod:`surge.kernel.laws`: the same equations in the same order, in loops over ``WIDE`` lanes without a
branch. A lane is a scenario, and the last index of every array that differs between scenarios; in shapes W
stands for ``WIDE``. What a block holds stands in :mod:`surge.kernel.batch_march`.
"""

from __future__ import annotations

import math

from surge.kernel.columns import (
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
    L_KIND,
    L_MEMORY,
    L_Q,
    L_SET,
    L_SPAN,
    L_SPEED,
    L_STEP,
    L_TABLE,
    L_TAIL0,
    L_TAIL2,
    L_Z,
    LUMPED,
    NOT_CONVERGED,
    ORIFICE,
    RELIEF,
    SHUT,
    V_REVERSE,
    W_DRIVE,
    W_FLOW,
    W_HIGH,
    W_LINK_FLOW,
    W_LINK_LOSS,
    W_LINK_SLOPE,
    W_LOSS,
    W_LOW,
    W_SEEK,
    W_SLOPE,
    W_SQUARES,
    W_WHY,
)
from surge.kernel.compiled import jit, pick
from surge.kernel.curves import STANDSTILL
from surge.kernel.drum import drum_law
from surge.kernel.laws import MAX_ITERATIONS, MOST_FLOW, table_loss
from surge.kernel.orifices import orifice_law
from surge.kernel.relief import relief_alone, relief_law

WIDE = 32  # lanes of a block: measured against 8, 16 and 64
LARGEST = 1e12  # [m], [m3/s] beyond this a lane has overflowed


@jit
def orifice(drive, impedance, c2):
    """:func:`surge.kernel.orifices.orifice_flow` [m3/s] without a branch.

    ``drive`` [m], ``impedance`` [s/m2] and ``c2`` [m5/s2], 0 or more, are floats.
    """
    size = abs(drive)
    zc = impedance * c2
    bottom = zc + math.sqrt(zc * zc + 4.0 * size * c2)
    flow = 2.0 * size * c2 / bottom
    flow = flow if bottom > 0.0 else 0.0
    return flow if drive >= 0.0 else -flow


@jit
def lumped(e, q, lump_row, li, lf, lumps, loss, slope):
    """Loss, signed, and slope from the table of lumped element ``e``.

    q (W,): flow [m3/s]. lump_row (W,), int64: where a lane's tables begin in lumps (rows, steps + 1) [m]. li
    (links, L_INTS): L_TABLE. lf (links, L_FLOATS, W): L_STEP [s/m3]. loss (W,) [m] and slope (W,) [s/m2] are
    written.
    """
    for j in range(WIDE):
        # A flow that is no number must not become a place in the table.
        size = abs(q[j]) if abs(q[j]) < LARGEST else LARGEST
        one, slope[j] = table_loss(size, lf[e, L_STEP, j], lump_row[j] + li[e, L_TABLE], lumps)
        loss[j] = -one if q[j] < 0.0 else one


@jit
def _pump(e, q, li, lf, knots, coef, loss, slope):
    """:func:`surge.kernel.curves.pump_head` with the sign turned: piece after piece, kept where it holds.

    q (W,): flow [m3/s] through pump ``e``. li (links, L_INTS), lf (links, L_FLOATS, W): L_SPEED [-], L_TAIL0
    [m], L_TAIL2 [s2/m5]. knots (rows, W) [m3/s], coef (rows, 4, W). loss (W,) [m] and slope (W,) [s/m2] are
    written.
    """
    first = li[e, L_CURVE]
    end = li[e, L_CURVE_END] - 1
    for piece in range(first, end):
        for j in range(WIDE):
            s = lf[e, L_SPEED, j]
            x = abs(q[j]) - s * knots[piece, j]
            cubic = coef[piece, 3, j] * (x / s)
            lift = s * s * coef[piece, 0, j] + x * (s * coef[piece, 1, j] + x * (coef[piece, 2, j] + cubic))
            rise = s * coef[piece, 1, j] + x * (2.0 * coef[piece, 2, j] + 3.0 * cubic)
            here = (piece == first) | (x >= 0.0)
            loss[j] = pick(here, lift, loss[j])
            slope[j] = pick(here, rise, slope[j])
    for j in range(WIDE):
        s = lf[e, L_SPEED, j]
        size = abs(q[j])
        tail = lf[e, L_TAIL2, j]
        beyond = size >= s * knots[end, j]
        lift = pick(beyond, s * s * lf[e, L_TAIL0, j] - tail * size * size, loss[j])
        rise = pick(beyond, -2.0 * tail * size, slope[j])
        lift = 2.0 * s * s * coef[first, 0, j] - lift if q[j] < 0.0 else lift
        still = s < STANDSTILL
        lift = -tail * size * q[j] if still else lift
        rise = -2.0 * tail * size if still else rise
        loss[j] = -lift
        slope[j] = -rise + 1e-9


@jit
def law(e, q, lump_row, li, lf, knots, coef, lumps, loss, slope):
    """Head lost over link ``e`` from its start to its end, and the slope.

    q (W,): flow [m3/s]. lump_row (W,) and lumps (rows, steps + 1) [m] as for :func:`lumped`, li (links,
    L_INTS), lf (links, L_FLOATS, W), knots (rows, W) [m3/s], coef (rows, 4, W). loss (W,) [m] and slope (W,)
    [s/m2] are written.
    """
    kind = li[e, L_KIND]
    if kind == ORIFICE:
        for j in range(WIDE):
            # Of a shut valve nobody uses the loss.
            c2 = lf[e, L_C2, j] if lf[e, L_C2, j] > 0.0 else 1.0
            loss[j], slope[j] = orifice_law(q[j], c2)
    elif kind == LUMPED:
        lumped(e, q, lump_row, li, lf, lumps, loss, slope)
        for j in range(WIDE):
            loss[j] = lf[e, L_Z, j] * q[j] + loss[j] - lf[e, L_MEMORY, j]
            slope[j] += lf[e, L_Z, j]
    elif kind == RELIEF:
        for j in range(WIDE):
            loss[j], slope[j] = relief_law(
                q[j], lf[e, L_C, j], lf[e, L_SET, j], lf[e, L_SPAN, j], lf[e, L_FIXED, j]
            )
    elif kind == DRUM:
        for j in range(WIDE):
            loss[j], slope[j] = drum_law(
                q[j], lf[e, D_GAS, j], lf[e, D_BEFORE, j], lf[e, D_HALF, j], lf[e, D_LAW, j],
                lf[e, D_EXPONENT, j], lf[e, D_NECK, j],
            )  # fmt: skip
    else:
        _pump(e, q, li, lf, knots, coef, loss, slope)


@jit
def solve_pairs(pairs, z, fixed, xy, head, li, lf):
    """Valves and passages that share their two points with no other link: closed form.

    pairs (n,): their rows in li (links, L_INTS). z (points,) [s/m2], fixed (points, W) [m], xy (points, W)
    [m3/s]; head (points, W) [m] is written. lf (links, L_FLOATS, W): L_C2 [m5/s2] is read, L_Q [m3/s] is
    written.
    """
    for i in range(pairs.size):
        e = pairs[i]
        a = li[e, L_A]
        b = li[e, L_B]
        za = z[a]
        zb = z[b]
        for j in range(WIDE):
            ea = fixed[a, j] + xy[a, j] * za
            eb = fixed[b, j] + xy[b, j] * zb
            q = orifice(ea - eb, za + zb, lf[e, L_C2, j])
            lf[e, L_Q, j] = q
            head[a, j] = ea - za * q
            head[b, j] = eb + zb * q


@jit
def _orifices_of(first, last, chain, li, lf, squares, why):
    """Sum of 1/c2 over the orifices of a chain, which lanes a shut one stops, number of other links.

    chain (rows, CH_INTS), of which ``first`` to ``last``, excluded; li (links, L_INTS), lf (links, L_FLOATS,
    W): L_C2 [m5/s2]. squares (W,) [s2/m5] and why (W,), ``FLOWS`` or ``SHUT``, are written.
    """
    others = 0
    for j in range(WIDE):
        squares[j] = 0.0
        why[j] = FLOWS
    for row in range(first, last):
        e = chain[row, CH_LINK]
        if li[e, L_KIND] != ORIFICE:
            others += 1
            continue
        for j in range(WIDE):
            c2 = lf[e, L_C2, j]
            squares[j] += 1.0 / c2
            why[j] = pick(c2 <= 0.0, SHUT, why[j])
    return others


@jit
def _closer(impedance, w):
    """One step towards the flow of a chain in all lanes that seek it; how many are left.

    ``impedance`` of both sources [s/m2]. w (W_ROWS, W): W_DRIVE and W_LOSS [m], W_SQUARES [s2/m5], W_SLOPE
    [s/m2] are read; W_FLOW, W_LOW and W_HIGH [m3/s] and W_SEEK are written.
    """
    q, low, high, seek = w[W_FLOW], w[W_LOW], w[W_HIGH], w[W_SEEK]
    drive, squares, loss, slope = w[W_DRIVE], w[W_SQUARES], w[W_LOSS], w[W_SLOPE]
    left = 0.0
    for j in range(WIDE):
        now = q[j]
        beyond = impedance * now + squares[j] * now * abs(now) + loss[j] > drive[j]
        high[j] = pick(beyond & (now < high[j]), now, high[j])
        low[j] = pick((not beyond) & (now > low[j]), now, low[j])
        rest = drive[j] - loss[j] + (slope[j] - impedance) * now
        curved = orifice(rest, slope[j], 1.0 / squares[j])
        new = curved if squares[j] > 0.0 else rest / slope[j]
        settled = abs(new - now) <= 1e-13 + 1e-9 * abs(now)
        inside = (low[j] <= new) & (new <= high[j])
        new = new if settled | inside else 0.5 * (low[j] + high[j])
        q[j] = pick(seek[j] > 0.0, new, now)
        seek[j] = pick(settled, 0.0, seek[j])
        left += seek[j]
    return left


@jit
def _seek_flow(first, last, chain, impedance, lump_row, li, lf, knots, coef, lumps, w):
    """:func:`surge.kernel.laws.chain_flow` of a chain with pumps or lumped elements; lanes left over.

    chain (rows, CH_INTS), of which ``first`` to ``last``, excluded; ``impedance`` of both sources [s/m2];
    laws as for :func:`law`. w (W_ROWS, W): as :func:`_closer` has it, W_FLOW [m3/s] being where the search
    begins.
    """
    for j in range(WIDE):
        w[W_LOW, j] = -MOST_FLOW
        w[W_HIGH, j] = MOST_FLOW
    left = 0.0
    for j in range(WIDE):
        left += w[W_SEEK, j]
    for _ in range(MAX_ITERATIONS):
        if left == 0.0:
            break
        for j in range(WIDE):
            w[W_LOSS, j] = 0.0
            w[W_SLOPE, j] = impedance
        for row in range(first, last):
            e = chain[row, CH_LINK]
            if li[e, L_KIND] != ORIFICE:
                sign = chain[row, CH_SIGN]
                for j in range(WIDE):
                    w[W_LINK_FLOW, j] = sign * w[W_FLOW, j]
                law(e, w[W_LINK_FLOW], lump_row, li, lf, knots, coef, lumps, w[W_LINK_LOSS], w[W_LINK_SLOPE])
                for j in range(WIDE):
                    w[W_LOSS, j] += sign * w[W_LINK_LOSS, j]
                    w[W_SLOPE, j] += w[W_LINK_SLOPE, j]
        left = _closer(impedance, w)
    return left


@jit
def _check(first, last, chain, li, lf, w):
    """Stop the lanes whose flow a non-return valve does not let through.

    chain (rows, CH_INTS), of which ``first`` to ``last``, excluded; li (links, L_INTS), lf (links, L_FLOATS,
    W): V_REVERSE [m3/s]. w (W_ROWS, W): W_FLOW [m3/s] and W_WHY are written.
    """
    for row in range(first, last):
        e = chain[row, CH_LINK]
        if li[e, L_CHECK] != 0:
            sign = chain[row, CH_SIGN]
            for j in range(WIDE):
                turned = (w[W_WHY, j] == FLOWS) & (sign * w[W_FLOW, j] < -lf[e, V_REVERSE, j])
                w[W_WHY, j] = pick(turned, CHECKED, w[W_WHY, j])
    for j in range(WIDE):
        w[W_FLOW, j] = pick(w[W_WHY, j] != FLOWS, 0.0, w[W_FLOW, j])


@jit
def _open_lanes(e, li, lf, w):
    """Put W_SEEK to 0 in the lanes in which link ``e`` of a chain without flow keeps its ends apart.

    li (links, L_INTS), lf (links, L_FLOATS, W): L_C2 [m5/s2]. w (W_ROWS, W): W_WHY is read.
    """
    check = li[e, L_CHECK] != 0
    valve = li[e, L_KIND] == ORIFICE
    for j in range(WIDE):
        shut = valve & (w[W_WHY, j] == SHUT) & (lf[e, L_C2, j] <= 0.0)
        w[W_SEEK, j] = pick(shut | (check & (w[W_WHY, j] == CHECKED)), 0.0, w[W_SEEK, j])


@jit
def _fill(first, last, chain, head, lump_row, li, lf, knots, coef, lumps, w):
    """:func:`surge.kernel.laws.fill_chain`: heads between the links, from both ends up to what blocks.

    chain (rows, CH_INTS), of which ``first`` to ``last``, excluded; head (points, W) [m] is written; laws as
    for :func:`law`. w (W_ROWS, W): W_WHY is read, W_SEEK, W_LINK_LOSS [m] and W_LINK_SLOPE [s/m2] are room.
    """
    stopped = 0
    for j in range(WIDE):
        w[W_SEEK, j] = 1.0
        stopped += w[W_WHY, j] != FLOWS
    for row in range(first, last - 1):
        e = chain[row, CH_LINK]
        a = chain[row, CH_A]
        b = chain[row, CH_B]
        sign = chain[row, CH_SIGN]
        _open_lanes(e, li, lf, w)
        law(e, lf[e, L_Q], lump_row, li, lf, knots, coef, lumps, w[W_LINK_LOSS], w[W_LINK_SLOPE])
        for j in range(WIDE):
            head[b, j] = pick(w[W_SEEK, j] > 0.0, head[a, j] - sign * w[W_LINK_LOSS, j], head[b, j])
    if stopped == 0:
        return
    for j in range(WIDE):
        w[W_SEEK, j] = 0.0 if w[W_WHY, j] == FLOWS else 1.0
    for row in range(last - 1, first, -1):
        e = chain[row, CH_LINK]
        a = chain[row, CH_A]
        b = chain[row, CH_B]
        sign = chain[row, CH_SIGN]
        _open_lanes(e, li, lf, w)
        law(e, lf[e, L_Q], lump_row, li, lf, knots, coef, lumps, w[W_LINK_LOSS], w[W_LINK_SLOPE])
        for j in range(WIDE):
            head[a, j] = pick(w[W_SEEK, j] > 0.0, head[b, j] + sign * w[W_LINK_LOSS, j], head[a, j])


@jit
def _relieve(e, sign, impedance, lf, w):
    """Flow through relief valve ``e`` alone between two sources.

    ``sign`` is +1 where the chain runs from its start to its end, else -1; ``impedance`` of both sources
    [s/m2]. lf (links, L_FLOATS, W). w (W_ROWS, W): W_DRIVE [m] is read, W_FLOW [m3/s] is written.
    """
    for j in range(WIDE):
        w[W_FLOW, j] = relief_alone(e, sign, w[W_DRIVE, j], impedance, lf[:, :, j])


@jit
def solve_chains(chains, chain, z, fixed, xy, head, lump_row, li, lf, knots, coef, lumps, w, well, bad):
    """Links behind one another, and single pumps and lumped elements, between two sources.

    Parameters
    ----------
    chains, chain : int64 arrays, shape (n, 2) and (rows, CH_INTS)
        First row of each chain, and the row after its last.
    z : float64 array, shape (points,)
        Impedance [s/m2].
    fixed, xy, head : float64 arrays, shape (points, W)
        [m], [m3/s]; head [m] is written.
    lump_row, lumps : arrays, shape (W,) and (rows, steps + 1)
        Where a lane's tables begin; losses [m].
    li, lf : arrays, shape (links, L_INTS) and (links, L_FLOATS, W)
        L_Q [m3/s] is where the solution starts, and is written.
    knots, coef : float64 arrays, shape (rows, W) and (rows, 4, W)
        Pump curves: knots [m3/s], cubics.
    w : float64 array, shape (W_ROWS, W)
        Room.
    well, bad : arrays, shape (W,)
        1 in lanes that have not failed; int64, takes the status of those that do.
    """
    for i in range(chains.shape[0]):
        first = chains[i, 0]
        last = chains[i, 1]
        a = chain[first, CH_A]
        b = chain[last - 1, CH_B]
        e = chain[first, CH_LINK]
        others = _orifices_of(first, last, chain, li, lf, w[W_SQUARES], w[W_WHY])
        for j in range(WIDE):
            w[W_DRIVE, j] = (fixed[a, j] + xy[a, j] * z[a]) - (fixed[b, j] + xy[b, j] * z[b])
            w[W_FLOW, j] = chain[first, CH_SIGN] * lf[e, L_Q, j]
            w[W_SEEK, j] = well[j] if w[W_WHY, j] == FLOWS else 0.0
        if others == 0:
            for j in range(WIDE):
                w[W_FLOW, j] = orifice(w[W_DRIVE, j], z[a] + z[b], 1.0 / w[W_SQUARES, j])
        elif li[e, L_KIND] == RELIEF:
            _relieve(e, chain[first, CH_SIGN], z[a] + z[b], lf, w)
        elif _seek_flow(first, last, chain, z[a] + z[b], lump_row, li, lf, knots, coef, lumps, w) > 0.0:
            for j in range(WIDE):
                bad[j] = pick(w[W_SEEK, j] > 0.0, NOT_CONVERGED, bad[j])
        _check(first, last, chain, li, lf, w)
        for row in range(first, last):
            for j in range(WIDE):
                lf[chain[row, CH_LINK], L_Q, j] = chain[row, CH_SIGN] * w[W_FLOW, j]
        for j in range(WIDE):
            head[a, j] = (fixed[a, j] + xy[a, j] * z[a]) - z[a] * w[W_FLOW, j]
            head[b, j] = (fixed[b, j] + xy[b, j] * z[b]) + z[b] * w[W_FLOW, j]
        if last - first > 1:
            _fill(first, last, chain, head, lump_row, li, lf, knots, coef, lumps, w)

"""Valves, pumps, lumped elements and what they form together, for many scenarios side by side.

As :mod:`surge.kernel.laws`, the lane (scenario) being the innermost index of every array: the same
equations in the same order, in loops over ``WIDE`` lanes without a branch. Shapes with W for
``WIDE``: points (n,) or (n, W); links li (n, L_INTS), lf (n, L_FLOATS, W) and ``held`` (n, W); pump curves
knots (rows, W), coef (rows, 4, W); loss tables of lumped elements from row lump_row[j] on;
flows, losses and slopes of one link (W,); ``work`` (WORK, W) is room.
"""

from __future__ import annotations

import math

from numba import njit

from surge.kernel.columns import (
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
    L_KIND,
    L_MEMORY,
    L_Q,
    L_SPEED,
    L_STEP,
    L_TABLE,
    L_TAIL0,
    L_TAIL2,
    L_Z,
    LUMPED,
    NOT_CONVERGED,
    ORIFICE,
    SHUT,
)
from surge.kernel.curves import STANDSTILL
from surge.kernel.laws import orifice_law, table_loss

WIDE = 32  # lanes of a block: measured against 8, 16 and 64
LARGEST = 1e12  # [m], [m3/s] beyond this a lane has overflowed

# Rows of ``work``: flow, what drives it, sum of 1/c2, what stops it, whether it is still sought, bracket,
# losses and slopes in all, flow as one link counts it, its loss and slope.
Q, DRIVE, SQUARES, WHY, SEEK, LOW, HIGH, LOSS, SLOPE, ONE_Q, ONE, RISE, WORK = range(13)

# What only the march itself calls. A way in from Python for each of them, and a cache file each,
# would take a fifth more time to compile and 0.2 s more to load.
inner = njit(nogil=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True, _nrt=False)

_MOST_FLOW = 1e6  # [m3/s] bracket of a chain's flow
_MAX_ITERATIONS = 60


@inner
def orifice(drive, impedance, c2):
    """:func:`surge.kernel.laws.orifice_flow` without a branch; ``c2`` is 0 or more."""
    size = abs(drive)
    zc = impedance * c2
    bottom = zc + math.sqrt(zc * zc + 4.0 * size * c2)
    flow = 2.0 * size * c2 / bottom
    flow = flow if bottom > 0.0 else 0.0
    return flow if drive >= 0.0 else -flow


@inner
def lumped(e, q, lump_row, li, lf, lumps, loss, slope):
    """Loss, signed, and slope from the table of lumped element ``e``."""
    for j in range(WIDE):
        # A flow that is no number must not become a place in the table.
        size = abs(q[j]) if abs(q[j]) < LARGEST else LARGEST
        one, slope[j] = table_loss(size, lf[e, L_STEP, j], lump_row[j] + li[e, L_TABLE], lumps)
        loss[j] = -one if q[j] < 0.0 else one


@inner
def _pump(e, q, li, lf, knots, coef, loss, slope):
    """:func:`surge.kernel.curves.pump_head` with the sign turned: piece after piece, kept where it holds."""
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
            loss[j] = lift if here else loss[j]
            slope[j] = rise if here else slope[j]
    for j in range(WIDE):
        s = lf[e, L_SPEED, j]
        size = abs(q[j])
        tail = lf[e, L_TAIL2, j]
        beyond = size >= s * knots[end, j]
        lift = s * s * lf[e, L_TAIL0, j] - tail * size * size if beyond else loss[j]
        rise = -2.0 * tail * size if beyond else slope[j]
        lift = 2.0 * s * s * coef[first, 0, j] - lift if q[j] < 0.0 else lift
        still = s < STANDSTILL
        lift = -tail * size * q[j] if still else lift
        rise = -2.0 * tail * size if still else rise
        loss[j] = -lift
        slope[j] = -rise + 1e-9


@inner
def law(e, q, lump_row, li, lf, knots, coef, lumps, loss, slope):
    """Head lost over link ``e`` from its start to its end at flow ``q``, and the slope."""
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
    else:
        _pump(e, q, li, lf, knots, coef, loss, slope)


@inner
def solve_pairs(pairs, z, fixed, xy, head, li, lf):
    """Valves and passages that share their two points with no other link: closed form."""
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


@inner
def _orifices_of(first, last, chain, li, lf, squares, why):
    """Sum of 1/c2 over the orifices of a chain, which lanes a shut one stops, number of other links."""
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
            why[j] = SHUT if c2 <= 0.0 else why[j]
    return others


@inner
def _closer(impedance, w):
    """One step towards the flow of a chain in all lanes that seek it; how many are left."""
    q, low, high, seek = w[Q], w[LOW], w[HIGH], w[SEEK]
    drive, squares, loss, slope = w[DRIVE], w[SQUARES], w[LOSS], w[SLOPE]
    left = 0.0
    for j in range(WIDE):
        now = q[j]
        beyond = impedance * now + squares[j] * now * abs(now) + loss[j] > drive[j]
        high[j] = min(high[j], now) if beyond else high[j]
        low[j] = low[j] if beyond else max(low[j], now)
        rest = drive[j] - loss[j] + (slope[j] - impedance) * now
        curved = orifice(rest, slope[j], 1.0 / squares[j])
        new = curved if squares[j] > 0.0 else rest / slope[j]
        settled = abs(new - now) <= 1e-13 + 1e-9 * abs(now)
        inside = (low[j] <= new) & (new <= high[j])
        new = new if settled | inside else 0.5 * (low[j] + high[j])
        q[j] = new if seek[j] > 0.0 else now
        seek[j] = 0.0 if settled else seek[j]
        left += seek[j]
    return left


@inner
def _seek_flow(first, last, chain, impedance, lump_row, li, lf, knots, coef, lumps, w):
    """:func:`surge.kernel.laws.chain_flow` of a chain with pumps or lumped elements; lanes left over."""
    for j in range(WIDE):
        w[LOW, j] = -_MOST_FLOW
        w[HIGH, j] = _MOST_FLOW
    left = 0.0
    for j in range(WIDE):
        left += w[SEEK, j]
    for _ in range(_MAX_ITERATIONS):
        if left == 0.0:
            break
        for j in range(WIDE):
            w[LOSS, j] = 0.0
            w[SLOPE, j] = impedance
        for row in range(first, last):
            e = chain[row, CH_LINK]
            if li[e, L_KIND] != ORIFICE:
                side = chain[row, CH_SIDE]
                for j in range(WIDE):
                    w[ONE_Q, j] = side * w[Q, j]
                law(e, w[ONE_Q], lump_row, li, lf, knots, coef, lumps, w[ONE], w[RISE])
                for j in range(WIDE):
                    w[LOSS, j] += side * w[ONE, j]
                    w[SLOPE, j] += w[RISE, j]
        left = _closer(impedance, w)
    return left


@inner
def _check(first, last, chain, li, w):
    """Stop the lanes whose flow a non-return valve does not let through."""
    for row in range(first, last):
        if li[chain[row, CH_LINK], L_CHECK] != 0:
            side = chain[row, CH_SIDE]
            for j in range(WIDE):
                turned = (w[WHY, j] == FLOWS) & (side * w[Q, j] < 0.0)
                w[WHY, j] = CHECKED if turned else w[WHY, j]
    for j in range(WIDE):
        w[Q, j] = w[Q, j] if w[WHY, j] == FLOWS else 0.0


@inner
def _open_lanes(e, li, lf, w):
    """Take the lanes in which link ``e`` of a chain without flow keeps its sides apart out of SEEK."""
    check = li[e, L_CHECK] != 0
    valve = li[e, L_KIND] == ORIFICE
    for j in range(WIDE):
        shut = valve & (w[WHY, j] == SHUT) & (lf[e, L_C2, j] <= 0.0)
        w[SEEK, j] = 0.0 if shut | (check & (w[WHY, j] == CHECKED)) else w[SEEK, j]


@inner
def _fill(first, last, chain, head, lump_row, li, lf, knots, coef, lumps, w):
    """:func:`surge.kernel.laws.fill_chain`: heads between the links, from both ends up to what blocks."""
    stopped = 0
    for j in range(WIDE):
        w[SEEK, j] = 1.0
        stopped += w[WHY, j] != FLOWS
    for row in range(first, last - 1):
        e = chain[row, CH_LINK]
        a = chain[row, CH_A]
        b = chain[row, CH_B]
        side = chain[row, CH_SIDE]
        _open_lanes(e, li, lf, w)
        law(e, lf[e, L_Q], lump_row, li, lf, knots, coef, lumps, w[ONE], w[RISE])
        for j in range(WIDE):
            head[b, j] = head[a, j] - side * w[ONE, j] if w[SEEK, j] > 0.0 else head[b, j]
    if stopped == 0:
        return
    for j in range(WIDE):
        w[SEEK, j] = 0.0 if w[WHY, j] == FLOWS else 1.0
    for row in range(last - 1, first, -1):
        e = chain[row, CH_LINK]
        a = chain[row, CH_A]
        b = chain[row, CH_B]
        side = chain[row, CH_SIDE]
        _open_lanes(e, li, lf, w)
        law(e, lf[e, L_Q], lump_row, li, lf, knots, coef, lumps, w[ONE], w[RISE])
        for j in range(WIDE):
            head[a, j] = head[b, j] + side * w[ONE, j] if w[SEEK, j] > 0.0 else head[a, j]


@inner
def solve_chains(chains, chain, z, fixed, xy, head, lump_row, li, lf, knots, coef, lumps, w, well, bad):
    """Links behind one another, and single pumps and lumped elements, between two sources.

    ``well`` is 1 in lanes that have not failed; ``bad`` takes the status of those that do.
    """
    for i in range(chains.shape[0]):
        first = chains[i, 0]
        last = chains[i, 1]
        a = chain[first, CH_A]
        b = chain[last - 1, CH_B]
        e = chain[first, CH_LINK]
        others = _orifices_of(first, last, chain, li, lf, w[SQUARES], w[WHY])
        for j in range(WIDE):
            w[DRIVE, j] = (fixed[a, j] + xy[a, j] * z[a]) - (fixed[b, j] + xy[b, j] * z[b])
            w[Q, j] = chain[first, CH_SIDE] * lf[e, L_Q, j]
            w[SEEK, j] = well[j] if w[WHY, j] == FLOWS else 0.0
        if others == 0:
            for j in range(WIDE):
                w[Q, j] = orifice(w[DRIVE, j], z[a] + z[b], 1.0 / w[SQUARES, j])
        elif _seek_flow(first, last, chain, z[a] + z[b], lump_row, li, lf, knots, coef, lumps, w) > 0.0:
            for j in range(WIDE):
                bad[j] = NOT_CONVERGED if w[SEEK, j] > 0.0 else bad[j]
        _check(first, last, chain, li, w)
        for row in range(first, last):
            for j in range(WIDE):
                lf[chain[row, CH_LINK], L_Q, j] = chain[row, CH_SIDE] * w[Q, j]
        for j in range(WIDE):
            head[a, j] = (fixed[a, j] + xy[a, j] * z[a]) - z[a] * w[Q, j]
            head[b, j] = (fixed[b, j] + xy[b, j] * z[b]) + z[b] * w[Q, j]
        if last - first > 1:
            _fill(first, last, chain, head, lump_row, li, lf, knots, coef, lumps, w)

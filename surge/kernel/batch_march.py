"""The march of :mod:`surge.kernel.march` for many scenarios on one grid at once.

A block is ``WIDE`` scenarios ("lanes") whose waves, heads and flows stand side by side: the lane
is the innermost index of every array, so that each step of the arithmetic is one short loop of
fixed length that the compiler turns into vector instructions, at junctions, valves and pumps as
well as in the pipes. What is the same for all lanes (what meets what, impedances) is kept once.

The physics and the order of the arithmetic are those of the single march, so that each lane gives
the single march's figures to rounding. A lane that fails is marked and left to itself; the others
do not notice.
"""

from __future__ import annotations

from collections import namedtuple

from surge.kernel.batch_clusters import solve_apart, solve_together
from surge.kernel.batch_links import LARGEST, WIDE, lumped, solve_chains, solve_pairs
from surge.kernel.batch_pipes import arrive, leave, pass_pipes, renew, slide
from surge.kernel.columns import (
    L_A,
    L_B,
    L_C,
    L_C2,
    L_KIND,
    L_MEMORY,
    L_Q,
    L_SPEED,
    L_STATE,
    L_Z,
    LUMPED,
    NOT_FINITE,
    OK,
    W_LOSS,
    W_SLOPE,
)
from surge.kernel.compiled import entry, jit, pick
from surge.kernel.march import SAME_HEAD
from surge.kernel.states import advance

# What a block works on, with W for WIDE. Arrays of links and groups are those of surge.kernel.columns, lf
# with W as its last index; what belongs to the single march ends in 1.
#   sizes (4,)                          nodes, figures of a loss table, what keeps something, rows if single
#   p, m (buffer, W), window (2,)       waves [m], and where their nodes begin; flat_p, flat_m: as one row
#   hi, lo (nodes, W) or (0, W)         twice the highest and lowest head [m]; flat_hi, flat_lo: as one row
#   pipes (pipes, 2)                    row of node 0, number of reaches
#   r (pipes, W)                        frozen friction: loss coefficient [1/m]
#   base, rise (nodes * W,)             local friction: the law of a reach now [-], [1/m]; empty if frozen
#   law (n, 2)                          tables of base and rise, one after the other
#   step, row (pipes, W)                1/step [1/m] and first row of a pipe's table in them
#   table (n,)                          losses of half a reach at an end, one table after the other [m]
#   place, sums (W,)                    room
#   ei (ends, E_INTS), y, share (ends,) pipe ends, 1/B [m2/s], fraction of a step [-]
#   x, late, past (ends, W)             head that arrived, loss still to come, wave a step before [m]
#   end_r, end_step, end_row (ends, W)  of half a reach: as r; 1/step [1/m] and first entry in ``table``
#   z, stub_y (points,)                 impedance [s/m2]; y of storage [m2/s]
#   fixed, head, stub, xy (points, W)   [m], [m], [m]; sum(x*y) [m3/s]
#   highest, lowest (points, W)         [m]; when_highest, when_lowest: the steps
#   held (links, W)                     non-return valve shut
#   knots (rows, W), coef (rows, 4, W)  pump curves
#   lumps (rows, steps + 1), lump_row   losses of lumped elements [m], and where a lane's begin (W,)
#   together, apart (n, C_INTS)         clusters without and with dry points
#   law_i (laws, 5), law_t, law_v (n,)  lane, link, is speed, point reached, end; times [s] and values [-]
#   probe (n,), probe_heads (n, W)      named nodes, their heads [m]; probe_high ...: their extremes and steps
#   well, status, failed, bad (W,)      1 or 0; status and step of failure; status of this step
#   work (W_ROWS, W), matrix, rhs, again  room
Block = namedtuple(
    "Block",
    "sizes p m window hi lo flat_p flat_m flat_hi flat_lo pipes r base rise law step row table place sums "
    "ei y share x late past end_r end_step end_row z fixed xy head stub_y stub highest lowest "
    "when_highest when_lowest li lf held knots coef lumps lump_row plain pairs chains chain together "
    "apart members law_i law_t law_v probe probe_high probe_low probe_when_high probe_when_low "
    "probe_heads well status failed bad work matrix rhs again pi pf1 li1 lf1 knots1 coef1 matrix1 rhs1",
)


@jit
def _move(time, law_i, times, values, lf):
    """Set every link that moves to what it is at ``time`` [s]; at a double time the later value holds.

    law_i (laws, 5), int64: lane, link, kind as in :func:`surge.kernel.march.move`, point of the law reached
    so far (written) and the one beyond its last, in times (n,) [s] and values (n,) [-]. lf (links, L_FLOATS,
    W): L_C [m2.5/s] is read, L_SPEED [-] or L_C2 [m5/s2] is written.
    """
    for i in range(law_i.shape[0]):
        k = law_i[i, 3]
        last = law_i[i, 4]
        while k + 1 < last and times[k + 1] <= time:
            k += 1
        law_i[i, 3] = k
        value = values[k]
        if k + 1 < last and time > times[k]:
            value += (time - times[k]) / (times[k + 1] - times[k]) * (values[k + 1] - values[k])
        lane = law_i[i, 0]
        e = law_i[i, 1]
        if law_i[i, 2] == 2:
            lf[e, L_SPEED, lane] = max(lf[e, L_SPEED, lane], value)
        elif law_i[i, 2]:
            lf[e, L_SPEED, lane] = value
        else:
            c = lf[e, L_C, lane] * value
            lf[e, L_C2, lane] = c * c


@jit
def _store(stub_y, head, stub, xy):
    """What the storage of lumped elements brings to their points (trapezoidal, like a short stub).

    stub_y (points,) [m2/s]; head (points, W) [m] is read, stub (points, W) [m] is written, xy (points, W)
    [m3/s] grows.
    """
    for i in range(stub_y.size):
        admittance = stub_y[i]
        for j in range(WIDE):
            stub[i, j] = 2.0 * head[i, j] - stub[i, j]
            xy[i, j] += admittance * stub[i, j]


@jit
def _plain(plain, z, fixed, xy, head):
    """Heads of points without a link, whose numbers are plain (n,).

    z (points,) [s/m2], fixed (points, W) [m], xy (points, W) [m3/s]; head (points, W) [m] is written.
    """
    for i in range(plain.size):
        point = plain[i]
        impedance = z[point]
        for j in range(WIDE):
            head[point, j] = fixed[point, j] + xy[point, j] * impedance


@jit
def _remember(time, dt, head, lump_row, li, lf, lumps, loss, slope):
    """Keep what links need for the step after ``time`` [s], which came ``dt`` [s] after the one before.

    Lumped elements: trapezoidal inertia and loss. head (points, W) [m]; lump_row (W,), li (links, L_INTS),
    lumps (rows, steps + 1) [m] as for :func:`surge.kernel.batch_links.lumped`. lf (links, L_FLOATS, W): L_Q
    [m3/s] and L_Z [s/m2] are read, L_MEMORY [m] and states are written. loss (W,) [m] and slope (W,) [s/m2]
    are room.
    """
    for e in range(li.shape[0]):
        if li[e, L_STATE] != 0:
            for j in range(WIDE):
                advance(e, head[li[e, L_A], j] - head[li[e, L_B], j], time, dt, li, lf[:, :, j])
        elif li[e, L_KIND] == LUMPED:
            a = li[e, L_A]
            b = li[e, L_B]
            lumped(e, lf[e, L_Q], lump_row, li, lf, lumps, loss, slope)
            for j in range(WIDE):
                drop = head[a, j] - head[b, j]
                lf[e, L_MEMORY, j] = lf[e, L_Z, j] * lf[e, L_Q, j] + drop - loss[j]


@jit
def _extremes(step, head, highest, lowest, when_highest, when_lowest):
    """Keep highest and lowest heads, and the first ``step`` of each; a row is a point or a node.

    head (rows, W) [m] is read; highest, lowest (rows, W) [m] and when_highest, when_lowest (rows, W), int64,
    are written.
    """
    for i in range(head.shape[0]):
        for j in range(WIDE):
            h = head[i, j]
            above = h > highest[i, j] + SAME_HEAD
            below = h < lowest[i, j] - SAME_HEAD
            highest[i, j] = pick(above, h, highest[i, j])
            lowest[i, j] = pick(below, h, lowest[i, j])
            when_highest[i, j] = pick(above, step, when_highest[i, j])
            when_lowest[i, j] = pick(below, step, when_lowest[i, j])


@jit
def _at_probes(probe, p, m, window, heads):
    """Heads of the named nodes now; friction has moved from P to M and left their sum.

    probe (n,): nodes; p, m (buffer, W): waves [m]; window (2,): where their nodes begin. heads (n, W) [m] is
    written.
    """
    for i in range(probe.size):
        a = window[0] + probe[i]
        b = window[1] + probe[i]
        for j in range(WIDE):
            heads[i, j] = 0.5 * (p[a, j] + m[b, j])


@jit
def _mark(step, bad, head, well, status, failed, look):
    """Mark the lanes that fail at ``step``; every so often (``look``) heads must be numbers.

    head (points, W) [m]; bad (W,), int64: status of this step, put back to ``OK``. well (W,), 1 or 0, and
    status and failed (W,), int64, are written.
    """
    for j in range(WIDE):
        if look:
            total = 0.0
            for i in range(head.shape[0]):
                total += abs(head[i, j])
            if not total < LARGEST:
                bad[j] = NOT_FINITE
        if bad[j] != OK and well[j] > 0.0:
            well[j] = 0.0
            status[j] = bad[j]
            failed[j] = step
        bad[j] = OK


@entry(results=0, takes_long=True)
def march_block(block, first, steps, dt, frozen):
    """March all lanes ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt; ``block`` is changed.

    Parameters
    ----------
    block : Block
        Built by :func:`surge.transient.batch.march_batch`.
    frozen : bool
        Friction coefficient fixed per pipe and lane, or from tables.
    """
    # Names of their own before the loop: an array taken out of the block inside it costs a count.
    sizes, p, m, window, pipes = block.sizes, block.p, block.m, block.window, block.pipes
    r, row, step, table, place, sums = block.r, block.row, block.step, block.table, block.place, block.sums
    base, rise, law = block.base, block.rise, block.law
    ei, y, share, x, late, past = block.ei, block.y, block.share, block.x, block.late, block.past
    end_r, end_row, end_step = block.end_r, block.end_row, block.end_step
    z, fixed, xy, head, stub_y, stub = block.z, block.fixed, block.xy, block.head, block.stub_y, block.stub
    highest, lowest = block.highest, block.lowest
    when_highest, when_lowest = block.when_highest, block.when_lowest
    li, lf, held, knots, coef, lumps, lump_row = (
        block.li, block.lf, block.held, block.knots, block.coef, block.lumps, block.lump_row
    )  # fmt: skip
    plain, pairs, chains, chain = block.plain, block.pairs, block.chains, block.chain
    together, apart, members = block.together, block.apart, block.members
    law_i, law_t, law_v, well, status, failed, bad = (
        block.law_i, block.law_t, block.law_v, block.well, block.status, block.failed, block.bad
    )  # fmt: skip
    probe, probe_high, probe_low = block.probe, block.probe_high, block.probe_low
    probe_when_high, probe_when_low = block.probe_when_high, block.probe_when_low
    probe_heads = block.probe_heads
    w, matrix, rhs, again, pi = block.work, block.matrix, block.rhs, block.again, block.pi
    pf1, li1, lf1, matrix1, rhs1 = block.pf1, block.li1, block.lf1, block.matrix1, block.rhs1
    knots1, coef1 = block.knots1, block.coef1
    flat_p, flat_m, high, low = block.flat_p, block.flat_m, block.flat_hi, block.flat_lo
    w_loss, w_slope = w[W_LOSS], w[W_SLOPE]
    size, entries, n_kept, rows = sizes[0], sizes[1], sizes[2], sizes[3]
    ahead = False
    for k in range(first, first + steps):
        leave(p, m, window, frozen, ei, x, late, head, end_r, end_step, end_row, table, entries)
        if ahead:
            ahead = False
        else:
            # Laws of friction are looked up at even instants: only those between them are done ahead.
            ahead = k % 2 == 0 and k + 1 < first + steps
            if frozen:
                pass_pipes(ahead, flat_p, flat_m, window, high, low, pipes, r, None, None, sums)
            else:
                pass_pipes(ahead, flat_p, flat_m, window, high, low, pipes, r, base, rise, sums)
        slide(p, m, window, size)
        if not frozen:
            renew(
                k + 1, flat_p, flat_m, window, pipes, rows, row, step, law, entries - 1.0, base, rise, place
            )
        # A law point that falls on this instant holds although n*dt may be rounded below it.
        _move((k + 1) * dt * (1.0 + 1e-12), law_i, law_t, law_v, lf)
        arrive(p, m, window, ei, y, share, x, late, past, xy)
        if n_kept > 0:
            _store(stub_y, head, stub, xy)
        _plain(plain, z, fixed, xy, head)
        solve_pairs(pairs, z, fixed, xy, head, li, lf)
        if chains.shape[0] > 0:
            solve_chains(
                chains, chain, z, fixed, xy, head, lump_row, li, lf, knots, coef, lumps, w, well, bad
            )
        if together.shape[0] > 0:
            solve_together(
                together, members, z, fixed, xy, head, lump_row, li, lf, held, knots, coef, lumps, w, well,
                bad, matrix, rhs, again,
            )  # fmt: skip
        if apart.shape[0] > 0:
            solve_apart(
                apart, members, fixed, xy, head, lump_row, lf, held, lumps, well, bad, pi, pf1, li1, lf1,
                knots1, coef1, matrix1, rhs1,
            )  # fmt: skip
        if n_kept > 0:
            _remember((k + 1) * dt, dt, head, lump_row, li, lf, lumps, w_loss, w_slope)
        _mark(k, bad, head, well, status, failed, k % 256 == 255 or k == first + steps - 1)
        _extremes(k + 1, head, highest, lowest, when_highest, when_lowest)
        if probe.size > 0:
            _at_probes(probe, p, m, window, probe_heads)
            _extremes(k + 1, probe_heads, probe_high, probe_low, probe_when_high, probe_when_low)

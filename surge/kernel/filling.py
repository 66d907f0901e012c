"""The march behind a front: a column of liquid that fills a line of pipes one behind another.

The pipes behind the front are marched by characteristics at Courant number 1. Before the front is gas of one
pressure.

Decisions
---------
* The piece between the last node behind the front and the front, shorter than a reach, is the *tip*: its
  inertia, weight and loss stand in one equation with the gas, implicit in time (backward Euler). When it is a
  reach long, a node more is behind the front; when the front goes back, a node less.
* The tip's liquid does not yield: what is neglected is the yield of less than one reach.
* The front is plane, and nothing mixes. Where it passes into another bore the flow goes on; as everywhere in
  this program a change of bore has no velocity head.
* Gas: p V^n = constant of each kilogram of it. Through an opening it leaves, or comes in, as through a nozzle
  without friction, sonic from the critical ratio on (J. D. Anderson, Modern Compressible Flow; from memory),
  times a coefficient.
* When no gas is left (``G_LEAST``) the front has arrived: from then on the last node meets the valve there.

Heads [m], flows [m3/s], volumes [m3], pressures of gas [Pa absolute].
"""

from __future__ import annotations

import numpy as np

from surge.kernel.columns import NOT_FINITE, OK
from surge.kernel.compiled import entry, inlined, jit, larger, pick, smaller
from surge.kernel.filling_columns import (
    EMPTIED,
    G_ATMOSPHERE,
    G_BACK,
    G_BEHIND,
    G_EXPONENT,
    G_FREE,
    G_LEAST,
    G_MODE,
    G_RATE,
    G_RATIO,
    G_RHO_G,
    G_SOURCE,
    G_SOURCE_LOSS,
    G_START,
    HOLE,
    I_ARRIVED,
    I_BOILED,
    I_NODE,
    I_PIPE,
    R_FRONT_PIPE,
    R_GAS,
    R_NODE,
    R_P,
    R_Q,
    R_TIP,
    S_CARRIED,
    S_GAS,
    S_IN,
    S_LOST,
    S_MASS,
    S_P,
    S_PUSHED,
    S_Q,
    S_SHARE,
    S_TIP,
    S_TOP,
    S_TOP_TIME,
    S_WORK,
    T_AREA,
    T_B,
    T_COUNT,
    T_DX,
    T_FIRST,
    T_INERTIA,
    T_STEP,
    T_Z0,
    T_Z1,
)
from surge.kernel.filling_gas import gas_pressure, leaves
from surge.kernel.filling_junctions import at_front, flow_through, lifted, loss_per_metre, set_junctions

LAST = 3.0  # steps before an opening has let out the last gas, the front counts as arrived


@inlined
def inner_nodes(net):
    """All nodes behind the front at which only waves meet; results in ``p2`` and ``m2`` of the net."""
    p, m, p2, m2, drop = net.p, net.m, net.p2, net.m2, net.drop
    front = net.si[I_PIPE]
    for k in range(front + 1):
        a = net.ti[k, T_FIRST]
        last = net.ti[k, T_COUNT] if k < front else net.si[I_NODE]
        for i in range(a, a + last):
            p2[i + 1] = p[i] - drop[i]
            m2[i] = m[i + 1] + drop[i + 1]


@jit
def pair_up(node, b, head, q, p2, m2):
    """Keep head [m] and flow [m3/s] of a node as its two waves; ``b`` [s/m2], p2 and m2 (nodes,) [m]."""
    p2[node] = head + b * q
    m2[node] = head - b * q


@inlined
def solve_ends(time, dt, net):
    """Ends of all pipes behind the front, and the front itself; returns the flow of the tip [m3/s].

    ``time``, ``dt`` [s]; ``net`` is a :class:`FillNet`.
    """
    p2, m2, ti, tf, sf, si = net.p2, net.m2, net.ti, net.tf, net.sf, net.si
    front = si[I_PIPE]
    tip = sf[S_Q]
    for j in range(front + 1):
        b = tf[j, T_B]
        a = ti[j, T_FIRST]
        left_b = 0.0
        drive = net.gas[G_SOURCE]
        if j > 0:
            left_b = tf[j - 1, T_B]
            drive = p2[a - 1]
        alone = 1 if j == front and si[I_NODE] == 0 else 0  # the tip stands right behind the junction
        if alone:
            q = flow_through(j, drive, left_b, 1, sf[S_Q], time, dt, net)
            head = at_front(q, dt, net)
            tip = q
        else:
            guess = 0.5 * (net.p[a] - net.m[a]) / b
            q = flow_through(j, drive - m2[a], left_b + b, 0, guess, time, dt, net)
            head = m2[a] + b * q
        if j > 0:
            pair_up(a - 1, left_b, drive - left_b * q, q, p2, m2)
        else:
            loss = net.gas[G_SOURCE_LOSS] * q * abs(q)
            sf[S_IN] += dt * q
            sf[S_WORK] += dt * q * (drive - loss)
        sf[S_LOST] -= dt * q * lifted(j, q, time, net)
        pair_up(a, b, head, q, p2, m2)
    last = ti[front, T_FIRST] + si[I_NODE]
    b = tf[front, T_B]
    if si[I_ARRIVED] >= 0:
        end = net.jf.shape[0] - 1
        drive = p2[last] - net.gas[G_BEHIND]
        q = drive / b if net.gas[G_FREE] > 0.0 else flow_through(end, drive, b, 0, sf[S_Q], time, dt, net)
        pair_up(last, b, p2[last] - b * q, q, p2, m2)
        return q
    if si[I_NODE] > 0:
        tip = flow_through(-1, p2[last], b, 1, sf[S_Q], time, dt, net)
        pair_up(last, b, p2[last] - b * tip, tip, p2, m2)
    return tip


@jit
def arrive(step, q, flowed, least, net):
    """Let the front arrive in a step in which ``flowed`` [m3] came and ``q`` [m3/s] flows at its end.

    ``least`` [m3] of gas is none; ``net`` is a :class:`FillNet`.
    """
    sf, si, ti, tf, gas = net.sf, net.si, net.ti, net.tf, net.gas
    k = si[I_PIPE]
    sf[S_SHARE] = min(max((sf[S_GAS] - least) / max(flowed, 1e-300), 0.0), 1.0)
    si[I_ARRIVED] = step
    sf[S_GAS] = 0.0
    sf[S_Q] = q
    # The tip of less than a reach, or of a trifle more, is the last one: it ends where the line ends.
    head = tf[k, T_Z1] + (sf[S_P] - gas[G_ATMOSPHERE]) / gas[G_RHO_G]
    for i in range(ti[k, T_FIRST] + si[I_NODE] + 1, ti[k, T_FIRST] + ti[k, T_COUNT] + 1):
        pair_up(i, tf[k, T_B], head, q, net.p2, net.m2)
    si[I_NODE] = ti[k, T_COUNT]


@jit
def another_node(q, net):
    """A tip of a whole reach becomes a node, at a flow ``q`` [m3/s]; ``net`` is a :class:`FillNet`."""
    sf, si, ti, tf, gas = net.sf, net.si, net.ti, net.tf, net.gas
    k = si[I_PIPE]
    sf[S_TIP] -= tf[k, T_DX]
    si[I_NODE] += 1
    node = ti[k, T_FIRST] + si[I_NODE]
    head = net.z[node] + (sf[S_P] - gas[G_ATMOSPHERE]) / gas[G_RHO_G]
    pair_up(node, tf[k, T_B], head, q, net.p2, net.m2)
    if si[I_NODE] == ti[k, T_COUNT]:
        sf[S_TIP] *= tf[k, T_AREA] / tf[k + 1, T_AREA]
        si[I_PIPE] = k + 1
        si[I_NODE] = 0
        pair_up(ti[k + 1, T_FIRST], tf[k + 1, T_B], head, q, net.p2, net.m2)


@jit
def one_node_less(net):
    """The front goes back behind the last node; a status. ``net`` is a :class:`FillNet`."""
    sf, si, ti, tf = net.sf, net.si, net.ti, net.tf
    k = si[I_PIPE]
    if si[I_NODE] > 0:
        si[I_NODE] -= 1
        sf[S_TIP] += tf[k, T_DX]
    elif k > 0:
        sf[S_TIP] = tf[k - 1, T_DX] + sf[S_TIP] * tf[k, T_AREA] / tf[k - 1, T_AREA]
        si[I_PIPE] = k - 1
        si[I_NODE] = ti[k - 1, T_COUNT] - 1
    else:
        return EMPTIED
    return OK


@inlined
def press_gas(step, mean, volume, dt, net):
    """Bring the gas to ``volume`` [m3] with a mean flow [m3/s] in a step of ``dt`` [s], and count the work.

    ``net`` is a :class:`FillNet`.
    """
    sf, si, ti, tf, gas = net.sf, net.si, net.ti, net.tf, net.gas
    k = si[I_PIPE]
    before = sf[S_P]
    p = gas_pressure(volume, sf[S_MASS], dt, gas)
    if int(gas[G_MODE]) == HOLE:
        out = leaves(p, gas[G_START], gas[G_BACK], gas[G_EXPONENT], gas[G_RATE], gas[G_RATIO])
        sf[S_MASS] = max(sf[S_MASS] - dt * out, 0.0)
    slope = (tf[k, T_Z1] - tf[k, T_Z0]) / (tf[k, T_DX] * ti[k, T_COUNT])
    head = net.z[ti[k, T_FIRST] + si[I_NODE]] + sf[S_TIP] * slope
    head += (0.5 * (p + before) - gas[G_ATMOSPHERE]) / gas[G_RHO_G]
    sf[S_PUSHED] += dt * mean * head
    sf[S_CARRIED] += dt * 0.5 * mean**3 * tf[k, T_INERTIA] / tf[k, T_AREA]
    sf[S_P] = p
    if p > sf[S_TOP]:
        sf[S_TOP] = p
        sf[S_TOP_TIME] = step * dt
    sf[S_GAS] = volume


@inlined
def move_front(step, q, dt, net):
    """Let the tip flow ``q`` [m3/s] for a step: the gas, nodes behind the front; a status.

    ``net`` is a :class:`FillNet`.
    """
    sf, si, ti, tf, gas = net.sf, net.si, net.ti, net.tf, net.gas
    mean = 0.5 * (q + sf[S_Q])
    volume = sf[S_GAS] - dt * mean
    k = si[I_PIPE]
    sf[S_LOST] += dt * q * sf[S_TIP] * loss_per_metre(q, tf[k, T_STEP], net.table[k])
    least = gas[G_LEAST]
    if int(gas[G_MODE]) == HOLE:
        least = max(least, LAST * dt * mean)
    if volume <= least:
        arrive(step, q, dt * mean, least, net)
        return OK
    press_gas(step, mean, volume, dt, net)
    sf[S_Q] = q
    sf[S_TIP] += dt * mean / tf[k, T_AREA]
    if sf[S_TIP] >= tf[k, T_DX] and not (k == ti.shape[0] - 1 and si[I_NODE] == ti[k, T_COUNT] - 1):
        another_node(q, net)
    elif sf[S_TIP] < 0.0:
        return one_node_less(net)
    return OK


@inlined
def settle(step, net):
    """Take over the new waves, and keep the extremes of pressure heads; ``net`` is a :class:`FillNet`."""
    p, m, p2, m2, z = net.p, net.m, net.p2, net.m2, net.z
    hi, lo, hi_step, lo_step = net.hi, net.lo, net.hi_step, net.lo_step
    front = net.si[I_PIPE]
    for k in range(front + 1):
        a = net.ti[k, T_FIRST]
        last = net.ti[k, T_COUNT] if k < front else net.si[I_NODE]
        lowest = np.inf
        for i in range(a, a + last + 1):
            p[i] = p2[i]
            m[i] = m2[i]
            h = 0.5 * (p[i] + m[i]) - z[i]
            hi_step[i] = pick(h > hi[i], step, hi_step[i])
            lo_step[i] = pick(h < lo[i], step, lo_step[i])
            hi[i] = larger(h, hi[i])
            lo[i] = smaller(h, lo[i])
            lowest = smaller(h, lowest)
        if lowest < net.floor[0] and net.si[I_BOILED] < 0:
            net.si[I_BOILED] = step


@inlined
def friction(net):
    """Find what every reach behind the front loses at the flows of its nodes; returns the head x flow [m4/s].

    ``net`` is a :class:`FillNet`: its ``drop`` is written.
    """
    p, m, drop, tf = net.p, net.m, net.drop, net.tf
    front = net.si[I_PIPE]
    total = 0.0
    for k in range(front + 1):
        a = net.ti[k, T_FIRST]
        last = net.ti[k, T_COUNT] if k < front else net.si[I_NODE]
        b, dx, step, row = tf[k, T_B], tf[k, T_DX], tf[k, T_STEP], net.table[k]
        for i in range(a, a + last + 1):
            q = 0.5 * (p[i] - m[i]) / b
            drop[i] = dx * loss_per_metre(q, step, row)
            total += q * drop[i]
        for i in (a, a + last):  # half a reach lies beside an end
            total -= 0.25 * (p[i] - m[i]) / b * drop[i]
    return total


@jit
def write_row(row, net, rows, heads, flows):
    """Write a row of the histories.

    rows (n, R_FLOATS): of front and gas. heads, flows (n, 2 * pipes): at both ends of every pipe [m], [m3/s];
    not a number where there is gas. ``net`` is a :class:`FillNet`.
    """
    si, sf, ti = net.si, net.sf, net.ti
    rows[row, R_FRONT_PIPE] = si[I_PIPE]
    rows[row, R_TIP] = sf[S_TIP]
    rows[row, R_NODE] = si[I_NODE]
    rows[row, R_Q] = sf[S_Q]
    rows[row, R_P] = sf[S_P]
    rows[row, R_GAS] = sf[S_GAS]
    front = si[I_PIPE]
    for k in range(ti.shape[0]):
        for end in range(2):
            i = ti[k, T_FIRST] + end * ti[k, T_COUNT]
            wet = k < front or (k == front and end * ti[k, T_COUNT] <= si[I_NODE])
            if wet:
                heads[row, 2 * k + end] = 0.5 * (net.p[i] + net.m[i])
                flows[row, 2 * k + end] = 0.5 * (net.p[i] - net.m[i]) / net.tf[k, T_B]
            else:
                heads[row, 2 * k + end] = np.nan
                flows[row, 2 * k + end] = np.nan


@jit
def write_shot(row, net, shots):
    """Write the pressure heads of all nodes [m]; shots (n, nodes), not a number where there is gas.

    ``net`` is a :class:`FillNet`.
    """
    front = net.si[I_PIPE]
    for k in range(net.ti.shape[0]):
        a = net.ti[k, T_FIRST]
        wet = net.ti[k, T_COUNT] if k < front else (net.si[I_NODE] if k == front else -1)
        for i in range(net.ti[k, T_COUNT] + 1):
            shots[row, a + i] = 0.5 * (net.p[a + i] + net.m[a + i]) - net.z[a + i] if i <= wet else np.nan


@entry(results=3, takes_long=True)
def march_filling(net, first, steps, dt, stride, shot_stride, stop, rows, heads, flows, shots):
    """March ``steps`` steps of ``dt`` [s] from the instant ``first`` * dt on; ``net`` is changed.

    Parameters
    ----------
    net : FillNet
    stride, shot_stride : int
        Steps between two rows of history, and between two shots of all nodes. Row r is that of the step
        ``first`` + (r + 1) * stride.
    stop : int
        1: end with the step in which the front arrives.
    rows, heads, flows, shots : float64 arrays
        As of :func:`write_row` and :func:`write_shot`, with room for all that is written.

    Returns
    -------
    status, done, written : int, int, int
        A status, the steps done, and the rows written.
    """
    if first == 0:
        settle_first(net)
        friction(net)
    for n in range(steps):
        step = first + n + 1
        time = step * dt
        set_junctions(time, net)
        inner_nodes(net)
        q = solve_ends(time, dt, net)
        if net.si[I_ARRIVED] >= 0:
            net.sf[S_Q] = q
            net.sf[S_PUSHED] += dt * q * net.gas[G_BEHIND]
            status = OK
        else:
            status = move_front(step, q, dt, net)
        if status != OK:
            return status, n, n // stride
        settle(step, net)
        net.sf[S_LOST] += dt * friction(net)
        if (n + 1) % stride == 0:
            write_row((n + 1) // stride - 1, net, rows, heads, flows)
        if (n + 1) % shot_stride == 0:
            write_shot((n + 1) // shot_stride - 1, net, shots)
        if not np.isfinite(net.sf[S_Q]):
            return NOT_FINITE, n + 1, (n + 1) // stride
        if stop != 0 and net.si[I_ARRIVED] == step:
            return OK, n + 1, (n + 1) // stride
    return OK, steps, steps // stride


@jit
def settle_first(net):
    """Keep the extremes of the instant at which the march begins; ``net`` is a :class:`FillNet`."""
    front = net.si[I_PIPE]
    for k in range(front + 1):
        a = net.ti[k, T_FIRST]
        last = net.ti[k, T_COUNT] if k < front else net.si[I_NODE]
        for i in range(a, a + last + 1):
            h = 0.5 * (net.p[i] + net.m[i]) - net.z[i]
            net.hi[i] = max(net.hi[i], h)
            net.lo[i] = min(net.lo[i], h)

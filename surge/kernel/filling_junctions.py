"""What stands between pipes that fill, and the tip at the front: the flow through a junction.

Heads [m], flows [m3/s].
"""

from __future__ import annotations

import numpy as np

from surge.kernel.compiled import inlined, jit
from surge.kernel.filling_columns import (
    CHECK,
    G_ATMOSPHERE,
    G_MODE,
    G_RHO_G,
    G_SOURCE_LOSS,
    I_NODE,
    I_PIPE,
    J_CHECK,
    J_FLOATS,
    J_LOSS,
    J_PUMPS,
    J_SHUT,
    K_AT,
    K_C,
    K_CURVE,
    K_CURVE_END,
    K_KIND,
    K_LAW,
    K_LAW_END,
    K_TAIL0,
    K_TAIL2,
    OPEN,
    PUMP,
    S_GAS,
    S_MASS,
    S_Q,
    S_TIP,
    T_COUNT,
    T_DX,
    T_FIRST,
    T_INERTIA,
    T_STEP,
    T_Z0,
    T_Z1,
)
from surge.kernel.filling_gas import gas_pressure
from surge.kernel.laws import pump_head
from surge.kernel.march import law_at
from surge.kernel.orifices import orifice_flow

ROUNDS = 100
NOTHING = 1e-13  # [m3/s] a flow that is off by no more than that is found; our own choice


@inlined
def loss_per_metre(q, step, row):
    """Head lost over a metre of a pipe [-] at ``q`` [m3/s], signed.

    ``row`` (steps + 1,) [s2/m6] is that of the pipe in the table, at flows ``step`` [m3/s] apart.
    """
    size = abs(q) / step
    last = len(row) - 1
    at = int(size) if size < last else last
    factor = row[at]
    if at < last:
        factor += (size - at) * (row[at + 1] - factor)
    return factor * q * abs(q)


@jit
def set_junctions(time, net):
    """Losses of all junctions at ``time`` [s], and which are shut; ``net`` is a :class:`FillNet`."""
    jf, ki, kf = net.jf, net.ki, net.kf
    for j in range(jf.shape[0]):
        for c in range(J_FLOATS):
            jf[j, c] = 0.0
    for e in range(ki.shape[0]):
        j = ki[e, K_AT]
        if ki[e, K_KIND] == PUMP:
            jf[j, J_PUMPS] = 1.0
        elif ki[e, K_KIND] == CHECK:
            jf[j, J_CHECK] = 1.0
        else:
            c = kf[e, K_C] * law_at(time, ki[e, K_LAW], ki[e, K_LAW_END], net.law_t, net.law_v)
            if c > 0.0:
                jf[j, J_LOSS] += 1.0 / (c * c)
            else:
                jf[j, J_SHUT] = 1.0


@jit
def lifted(j, q, time, net):
    """Head that the pumps of junction ``j`` add at ``q`` [m3/s] less what its orifices take [m].

    ``net`` is a :class:`FillNet`.
    """
    head = -net.jf[j, J_LOSS] * q * abs(q)
    if net.jf[j, J_PUMPS] > 0.0:
        ki, kf = net.ki, net.kf
        for e in range(ki.shape[0]):
            if ki[e, K_AT] == j and ki[e, K_KIND] == PUMP:
                speed = law_at(time, ki[e, K_LAW], ki[e, K_LAW_END], net.law_t, net.law_v)
                more, _ = pump_head(
                    q,
                    speed,
                    ki[e, K_CURVE],
                    ki[e, K_CURVE_END],
                    net.knots,
                    net.coef,
                    kf[e, K_TAIL0],
                    kf[e, K_TAIL2],
                )
                head += more
    return head


@jit
def at_front(q, dt, net):
    """Head that the last node behind the front has at flow ``q`` [m3/s] of the tip [m].

    ``dt`` [s]; ``net`` is a :class:`FillNet`.
    """
    sf, tf, gas = net.sf, net.tf, net.gas
    k = net.si[I_PIPE]
    s = sf[S_TIP]
    volume = max(sf[S_GAS] - 0.5 * dt * (q + sf[S_Q]), 1e-300)
    p = gas_pressure(volume, sf[S_MASS], dt, gas)
    z = net.z[net.ti[k, T_FIRST] + net.si[I_NODE]]
    z += s / (tf[k, T_DX] * net.ti[k, T_COUNT]) * (tf[k, T_Z1] - tf[k, T_Z0])
    head = z + (p - gas[G_ATMOSPHERE]) / gas[G_RHO_G]
    return head + s * (tf[k, T_INERTIA] * (q - sf[S_Q]) / dt + loss_per_metre(q, tf[k, T_STEP], net.table[k]))


@jit
def _miss(j, q, drive, impedance, tip, time, dt, net):
    """What is left of the head at junction ``j`` [m] if ``q`` [m3/s] flows; it falls with q."""
    head = drive - impedance * q
    if j >= 0:
        head += lifted(j, q, time, net)
        if j == 0:
            head -= net.gas[G_SOURCE_LOSS] * q * abs(q)
    if tip != 0:
        head -= at_front(q, dt, net)
    return head


@jit
def _root(j, drive, impedance, tip, low, high, f_low, f_high, time, dt, net):
    """Flow [m3/s] at which nothing is left of the head, between two at which it has either sign.

    False position (Illinois). Arguments as of :func:`_miss`; f_low, f_high [m] at low and high [m3/s].
    """
    q = low
    for _ in range(ROUNDS):
        share = f_low / (f_low - f_high) if f_low > f_high else 0.5
        q = low + (high - low) * min(max(share, 0.0), 1.0)
        f = _miss(j, q, drive, impedance, tip, time, dt, net)
        if f > 0.0:
            low = q
            f_low = f
            f_high *= 0.5
        else:
            high = q
            f_high = f
            f_low *= 0.5
        # What is left falls by the impedance at least for every m3/s.
        if abs(f) <= NOTHING * impedance or high - low <= 1e-13 * (1e-6 + abs(q)) or f_low == f_high:
            break
    return q


@jit
def _search(j, drive, impedance, tip, guess, top, time, dt, net):
    """Flow [m3/s] at which nothing is left of the head, from ``guess`` on; at most ``top`` [m3/s].

    Arguments as of :func:`_miss`.
    """
    low = min(guess, top)
    high = low
    f_low = _miss(j, low, drive, impedance, tip, time, dt, net)
    f_high = f_low
    step = 1e-6 + 1e-3 * abs(low)
    for _ in range(ROUNDS):
        if f_low >= 0.0 >= f_high:
            break
        if f_low < 0.0:
            high = low
            f_high = f_low
            low -= step
            f_low = _miss(j, low, drive, impedance, tip, time, dt, net)
        else:
            if high >= top:
                return top
            low = high
            f_low = f_high
            high = min(high + step, top)
            f_high = _miss(j, high, drive, impedance, tip, time, dt, net)
        step *= 4.0
    return _root(j, drive, impedance, tip, low, high, f_low, f_high, time, dt, net)


@jit
def flow_through(j, drive, impedance, tip, guess, time, dt, net):
    """Flow through junction ``j`` [m3/s]; ``j`` = -1: into the tip alone.

    ``drive`` [m] is the head of what stands on both sides, ``impedance`` [s/m2] theirs. With ``tip`` the tip
    is what follows. ``guess`` [m3/s]: a flow nearby. ``net`` is a :class:`FillNet`.
    """
    if j >= 0:
        if net.jf[j, J_SHUT] > 0.0:
            return 0.0
        if net.jf[j, J_CHECK] > 0.0 and _miss(j, 0.0, drive, impedance, tip, time, dt, net) <= 0.0:
            return 0.0
        if tip == 0 and net.jf[j, J_PUMPS] == 0.0:
            loss = net.jf[j, J_LOSS] + (net.gas[G_SOURCE_LOSS] if j == 0 else 0.0)
            return orifice_flow(drive, impedance, 1.0 / loss) if loss > 0.0 else drive / impedance
    top = np.inf
    if tip != 0 and int(net.gas[G_MODE]) != OPEN:
        top = (2.0 * net.sf[S_GAS] / dt - net.sf[S_Q]) * (1.0 - 1e-12)
    return _search(j, drive, impedance, tip, guess, top, time, dt, net)

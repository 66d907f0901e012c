"""Pumps that trip: speed against inertia, torque from head, flow and efficiency.

With n the share of full speed, r = Q/(n best flow) and efficiency best (2r - r*r), the shaft takes the torque
rho g H best flow/(best (2 - r) w0), also at no flow; none where the pump makes no head. So n falls by
K H/(2 - r), K = rho g best flow/(best I w0**2) [1/(m s)].

Heads [m], flows [m3/s], times [s].
"""

from __future__ import annotations

from surge.kernel.columns import (
    L_Q,
    L_SPEED,
    T_AT,
    T_BEST,
    T_FALL,
    T_K,
    T_MOST,
    T_SHUT_OFF,
    T_UNKNOWN,
)
from surge.kernel.compiled import inlined

_MOST_RATIO = 1.95  # of r: beyond it the torque is not known, and is held there
_ROUNDING = 1e-9  # of the best flow: behind a valve that is shut so little is nothing


@inlined
def trip_advance(e, drop, time, dt, lf):
    """Move the speed of pump ``e`` on past ``time`` [s], after a step ``dt`` [s].

    ``drop`` [m] is the head at its suction over that at its discharge. lf (links, L_FLOATS) is read and
    written: L_SPEED [-] is that of the next step.
    """
    n = lf[e, L_SPEED]
    q = lf[e, L_Q]
    if time + dt > lf[e, T_AT]:
        # Also of one that stands, in which nothing may flow then: it can stop within a step.
        nothing = _ROUNDING * lf[e, T_BEST]
        if (q < -nothing or q > lf[e, T_MOST] * n + nothing) and lf[e, T_UNKNOWN] < 0.0:
            lf[e, T_UNKNOWN] = time
        if n > 0.0:
            # A non-return valve that is shut parts the heads: the pump's own is that at no flow.
            head = max(-drop if q != 0.0 else n * n * lf[e, T_SHUT_OFF], 0.0)
            ratio = min(max(q / (n * lf[e, T_BEST]), 0.0), _MOST_RATIO)
            fall = lf[e, T_K] * head / (2.0 - ratio)
            before = lf[e, T_FALL] if lf[e, T_FALL] >= 0.0 else fall
            # Two steps tell how the fall goes on; of the step in which it trips only the rest counts.
            span = min(time + dt - lf[e, T_AT], dt)
            lf[e, L_SPEED] = max(n - span * (1.5 * fall - 0.5 * before), 0.0)
            lf[e, T_FALL] = fall

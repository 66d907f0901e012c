"""Non-return valves that do not shut at once: at a reverse flow, after a delay, in a time of their own.

They are orifices whose opening follows from what has flowed. Those that are ideal need no state to be solved
(:mod:`surge.kernel.laws` shuts them in the step in which the flow turns); what they did is kept here too.

Units: flows [m3/s], times [s], openings as shares of the Kv [-].
"""

from __future__ import annotations

from surge.kernel.columns import (
    L_C,
    L_C2,
    L_CHECK,
    L_Q,
    V_BEFORE,
    V_BEGINS,
    V_CLOSED,
    V_CLOSING,
    V_DELAY,
    V_GREATEST,
    V_RATIO,
    V_REVERSE,
    V_STOPPED,
)
from surge.kernel.compiled import inlined


@inlined
def _ratio(time, begins, closing):
    """Opening [-] at ``time`` [s] of a valve that begins to shut at ``begins`` and takes ``closing`` [s]."""
    if begins < 0.0 or time < begins:
        return 1.0
    return max(1.0 - (time - begins) / closing, 0.0) if closing > 0.0 else 0.0


@inlined
def non_return_advance(e, drop, time, dt, li, lf):
    """Move non-return valve ``e`` on to ``time`` [s], after a step ``dt`` [s].

    ``drop`` [m] is the head before it over that behind. li (links, L_INTS) is read, lf (links, L_FLOATS) is
    read and written: L_C2 [m5/s2] is that of the next step.
    """
    q = lf[e, L_Q]
    before = lf[e, V_BEFORE]
    lf[e, V_BEFORE] = q
    lf[e, V_GREATEST] = max(lf[e, V_GREATEST], -q)
    reverse = lf[e, V_REVERSE]
    was = lf[e, V_RATIO]
    if li[e, L_CHECK] != 0:
        # Shut where it was solved. One that lets some flow back stays so until there is more head before it.
        ratio = 1.0
        if q == 0.0 and before != 0.0:
            lf[e, V_STOPPED] = max(lf[e, V_STOPPED], reverse)
        if q == 0.0 and reverse > 0.0 and drop <= 0.0:
            ratio = 0.0
        closed = time
        shut = q == 0.0
    else:
        if lf[e, V_BEGINS] < 0.0 and q < 0.0 and q <= -reverse:
            # The instant at which it turned, or came to the reverse flow, lies within the step.
            late = (-reverse - q) / (before - q) if before > -reverse else 0.0
            lf[e, V_BEGINS] = time - late * dt + lf[e, V_DELAY]
        ratio = _ratio(time + dt, lf[e, V_BEGINS], lf[e, V_CLOSING])
        if was <= 0.0:
            # Shut: it opens to more head before it than behind, and only then.
            ratio = 1.0 if drop > 0.0 else 0.0
            lf[e, V_BEGINS] = -1.0
        closed = time + dt
        shut = ratio <= 0.0
        if shut and was > 0.0:
            lf[e, V_STOPPED] = max(lf[e, V_STOPPED], -q)
    if shut and lf[e, V_CLOSED] < 0.0:
        lf[e, V_CLOSED] = closed
    lf[e, V_RATIO] = ratio
    c = lf[e, L_C] * ratio
    lf[e, L_C2] = c * c

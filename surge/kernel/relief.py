"""Relief valves: lift by the pressure before them, as fast as they can move, and flow one way only.

A relief valve leads from its point to a vessel at constant pressure. With u the head at the point above that
of the vessel, its target is the lift x = (u - set)/span, from 0 to 1. What it can reach at an instant lies
between ``least`` and ``most``: the lift of the step before, and what it can move in a step. So its flow
x c sqrt(u) rises with u, and there is one solution.

Units: heads [m], flows [m3/s], c [m2.5/s], lift [-].
"""

from __future__ import annotations

import math

from surge.kernel.columns import (
    C_LINK,
    C_LINK_END,
    L_BEFORE,
    L_C,
    L_FIXED,
    L_HIGHEST,
    L_LEAST,
    L_LIFT,
    L_MOST,
    L_OPENED,
    L_OVER,
    L_PASSED,
    L_Q,
    L_RATE,
    L_SET,
    L_SPAN,
    L_STATE,
)
from surge.kernel.compiled import inlined, jit
from surge.kernel.orifices import orifice_flow, orifice_law

_ROUNDS = 40  # of Newton, which comes down to the root from above: a dozen do


@inlined
def opens_above(opening, least):
    """Return the head [m] above which something flows: ``opening`` [m], or 0 where the lift is not 0."""
    return 0.0 if least > 0.0 else opening


@inlined
def relief_lift(head, opening, span, least, most):
    """Return the lift [-] at ``head`` [m] over the vessel; set head ``opening`` and ``span`` [m]."""
    return min(max((head - opening) / span, least), most)


@inlined
def relief_law(q, c, opening, span, fixed):
    """Return the head [m] over the vessel at which ``q`` [m3/s] flows, and the slope [s/m2].

    ``c`` [m2.5/s] fully open, ``opening`` and ``span`` [m]. ``fixed`` is the lift at which it stands [-], or
    0 where the lift goes by the head; :func:`turned` tells when that holds. Backwards, where nothing flows,
    the law goes on, so that a solution there can be told.
    """
    if fixed > 0.0:
        return orifice_law(q, (fixed * c) ** 2)
    if q <= 0.0:
        slope = span / (c * math.sqrt(opening))
        return opening + slope * q, slope
    # s*(s*s - opening) = part with s the root of the head: convex, and begun above its root.
    part = q * span / c
    s = math.sqrt(opening) + part ** (1.0 / 3.0)
    for _ in range(_ROUNDS):
        step = (s * (s * s - opening) - part) / (3.0 * s * s - opening)
        s -= step
        if not step > 1e-15 * s:
            break
    return s * s, 2.0 * s * span / (c * (3.0 * s * s - opening))


@inlined
def turned(drop, q, held, fixed, opening, span, least, most):
    """Return whether the valve is shut (1 or 0), and the lift at which it stands; 0: it goes by the head.

    ``drop`` [m] and ``q`` [m3/s] are what was found with it shut (``held``) or standing at ``fixed`` [-]; the
    rest as for :func:`relief_flow`. One piece of the law at a time: across its kinks Newton can swing.
    """
    if most <= 0.0:
        return 1, 0.0
    if held != 0:
        if drop > opens_above(opening, least):
            return 0, least
        return 1, fixed
    if q < 0.0:
        return 1, fixed
    lift = (drop - opening) / span
    if fixed <= 0.0:
        if lift > most:
            return 0, most
        return 0, max(fixed, least) if lift < least else fixed
    if (fixed < most and lift > least) or (fixed >= most and lift < most):
        return 0, 0.0
    return 0, fixed


@inlined
def relief_flow(drive, impedance, c, opening, span, least, most):
    """Return the flow [m3/s] from a source ``drive`` [m] above the vessel, behind ``impedance`` [s/m2].

    ``c`` [m2.5/s] fully open, the set head ``opening`` and ``span`` [m]; ``least`` and ``most`` are the lifts
    that it can have at this instant [-].
    """
    if not drive > opens_above(opening, least):
        return 0.0
    if least > 0.0:
        q = orifice_flow(drive, impedance, (least * c) ** 2)
        if drive - impedance * q <= opening + least * span:
            return q
    q = orifice_flow(drive, impedance, (most * c) ** 2)
    if drive - impedance * q >= opening + most * span:
        return q
    # As in the law, with what the impedance takes: s*s + part*s*(s*s - opening) = drive.
    part = impedance * c / span
    s = math.sqrt(drive)
    for _ in range(_ROUNDS):
        step = (s * (s + part * (s * s - opening)) - drive) / (2.0 * s + part * (3.0 * s * s - opening))
        s -= step
        if not step > 1e-15 * s:
            break
    # Of two ways to the flow the one in which less is lost by the difference of two heads.
    return (drive - s * s) / impedance if part * s > 1.0 else c * s * (s * s - opening) / span


@inlined
def relief_alone(e, sign, drive, impedance, lf):
    """Return the flow [m3/s] through relief valve ``e`` alone between two sources.

    ``sign`` is +1 where ``drive`` [m] and the flow count from its start to its end, else -1. lf (links,
    L_FLOATS) is read.
    """
    return sign * relief_flow(
        sign * drive, impedance, lf[e, L_C], lf[e, L_SET], lf[e, L_SPAN], lf[e, L_LEAST], lf[e, L_MOST]
    )


@jit
def rounds(c, ci, members, li):
    """Return how often cluster ``c`` is solved at most while non-return and relief valves turn.

    ci (clusters, C_INTS), members (m,), li (links, L_INTS).
    """
    count = 2 + ci[c, C_LINK_END] - ci[c, C_LINK]
    for i in range(ci[c, C_LINK], ci[c, C_LINK_END]):
        if li[members[i], L_STATE] != 0:
            count += 3  # pieces of its law
    return count


@inlined
def relief_advance(e, drop, time, dt, lf):
    """Move the state of relief valve ``e`` on to ``time`` [s], after a step ``dt`` [s].

    ``drop`` [m] is the head before it, over the vessel. lf (links, L_FLOATS) is read and written.
    """
    opening = lf[e, L_SET]
    rate = lf[e, L_RATE]
    lift = relief_lift(drop, opening, lf[e, L_SPAN], lf[e, L_LEAST], lf[e, L_MOST])
    rising = lf[e, L_FIXED] >= lf[e, L_MOST]
    lf[e, L_PASSED] += 0.5 * dt * (lf[e, L_BEFORE] + lf[e, L_Q])
    lf[e, L_BEFORE] = lf[e, L_Q]
    part = 0.0
    if lf[e, L_OVER] <= opening < drop:
        part = (drop - opening) / (drop - lf[e, L_OVER])
        if lf[e, L_OPENED] < 0.0:
            lf[e, L_OPENED] = time - part * dt
    lf[e, L_OVER] = drop
    lf[e, L_LIFT] = lift
    lf[e, L_HIGHEST] = max(lf[e, L_HIGHEST], lift)
    lf[e, L_LEAST] = max(lift - rate, 0.0)
    lf[e, L_MOST] = min(lift + rate, 1.0)
    if lift <= 0.0 and rate < 1.0:
        # It stays shut for the step in which it begins to move: only then is known when that was.
        lf[e, L_MOST] = min((1.0 + part) * rate, 1.0) if drop > opening else 0.0
    if lf[e, L_FIXED] > 0.0:  # most likely it goes on as it does
        lf[e, L_FIXED] = lf[e, L_MOST] if rising else lf[e, L_LEAST]

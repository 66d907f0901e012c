"""Surge drums: gas over liquid, p V**n constant, behind a neck.

A drum leads from its point to one whose head stands for no pressure at all, so that the head over it is the
absolute one. The gas volume after a step follows from the flow by the trapezoidal rule.

Units: heads [m], flows [m3/s], volumes [m3].
"""

from __future__ import annotations

from surge.kernel.columns import (
    D_BEFORE,
    D_EMPTIED,
    D_GAS,
    D_HALF,
    D_LARGEST,
    D_SMALLEST,
    D_VESSEL,
    L_Q,
)
from surge.kernel.compiled import inlined

_SMALL = 1e-3  # of the gas before a step: below it the law goes on along its tangent, for Newton on its way


@inlined
def drum_law(q, gas, before, half, law, exponent, neck):
    """Return the absolute head [m] at which ``q`` [m3/s] flows into a drum, and the slope [s/m2].

    ``gas`` [m3] and ``before`` [m3/s] are gas volume and flow a step ago, ``half`` [s] half of the step. Of
    the gas ``law`` * V**-``exponent`` is the head [m], ``neck`` [s2/m5] times Q|Q| is what the neck takes.
    """
    left = gas - half * (q + before)
    least = _SMALL * gas
    size = max(left, least)
    head = law * size ** (-exponent)
    steep = exponent * head / size
    return head + steep * (size - left) + neck * q * abs(q), steep * half + 2.0 * neck * abs(q)


@inlined
def drum_advance(e, time, lf):
    """Move the gas of drum ``e`` on to ``time`` [s], after a step; lf (links, L_FLOATS) is written."""
    gas = lf[e, D_GAS] - lf[e, D_HALF] * (lf[e, L_Q] + lf[e, D_BEFORE])
    lf[e, D_GAS] = gas
    lf[e, D_BEFORE] = lf[e, L_Q]
    lf[e, D_SMALLEST] = min(lf[e, D_SMALLEST], gas)
    lf[e, D_LARGEST] = max(lf[e, D_LARGEST], gas)
    if gas > lf[e, D_VESSEL] and lf[e, D_EMPTIED] < 0.0:
        lf[e, D_EMPTIED] = time

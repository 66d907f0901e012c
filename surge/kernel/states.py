"""Links that keep a state of their own: what it is after a step."""

from __future__ import annotations

from surge.kernel.columns import DRUM, L_KIND, PUMP, RELIEF
from surge.kernel.compiled import inlined
from surge.kernel.drum import drum_advance
from surge.kernel.non_return import non_return_advance
from surge.kernel.relief import relief_advance
from surge.kernel.trips import trip_advance


@inlined
def advance(e, drop, time, dt, li, lf):
    """Move the state of link ``e`` on to ``time`` [s], after a step ``dt`` [s].

    ``drop`` [m] is the head at its start over that at its end. li (links, L_INTS); lf (links, L_FLOATS) is
    read and written.
    """
    if li[e, L_KIND] == DRUM:
        drum_advance(e, time, lf)
    elif li[e, L_KIND] == RELIEF:
        relief_advance(e, drop, time, dt, lf)
    elif li[e, L_KIND] == PUMP:
        trip_advance(e, drop, time, dt, lf)
    else:
        non_return_advance(e, drop, time, dt, li, lf)

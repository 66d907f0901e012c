"""Histories of a march, thinned: pressures of points and flows of elements against time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.model.lineup import LineUp
from surge.transient.march import STEPS_KEPT, Marched


@dataclass(frozen=True, kw_only=True, eq=False)
class History:
    """Thinned histories: ``time`` (n,), pressures by point (n,), flows by element (n,)."""

    time: Array
    pressure: dict[str, Array]
    flow: dict[str, Array]


def history_of(lineup: LineUp, marched: Marched) -> History:
    """Return about ``STEPS_KEPT`` instants of a march.

    Parameters
    ----------
    lineup : LineUp
    marched : Marched
    """
    rho_g = lineup.liquid.density * lineup.gravity
    time, heads, flows = np.concatenate(marched.time), np.vstack(marched.heads), np.vstack(marched.flows)
    every = slice(None, None, max(1, time.size // STEPS_KEPT))
    index = {p: i for i, p in enumerate(marched.grid.points)}
    z = {p.name: p.elevation for p in lineup.points}
    pressure = {p: rho_g * (heads[every, i] - z[p]) for p, i in index.items() if p in z}
    flow = {name: flows[every, i].copy() for i, name in enumerate(marched.grid.links)}
    for i, (name, far) in enumerate(marched.grid.ends):
        if not far:
            flow[name] = flows[every, len(marched.grid.links) + i].copy()  # not all of them for a part
    return History(time=time[every].copy(), pressure=pressure, flow=flow)

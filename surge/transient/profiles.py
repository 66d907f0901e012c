"""A march again, looked at: pressures and flows along pipes at chosen instants.

A run keeps extremes and the histories of points. Pictures of what travels need what is between, which is had
by marching the reported grid again in parts, from one instant to the next. The march itself is the same, so
that its extremes are those of the run to the last bit (a test compares), and the kernel needs nothing for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.kernel.columns import E_POINT, E_X, E_Y, L_Q, P_H
from surge.model.lineup import LineUp, Pipe, Scenario
from surge.transient.first_march import begun
from surge.transient.march import Marched
from surge.transient.peaks import along
from surge.transient.plan import Plan, plan

MOST = 3_000_000  # values kept of one quantity: 24 MB


@dataclass(frozen=True, kw_only=True, eq=False)
class Profiles:
    """What was seen.

    Attributes
    ----------
    time : ndarray of shape (n,)
        Instants, whole steps of the march [s].
    distance : dict of str to ndarray of shape (m,)
        Of the nodes looked at, by pipe, from its start [m].
    pressure, flow : dict of str to ndarray of shape (n, m)
        At those instants [Pa gauge], [m3/s].
    highest, lowest : dict of str to ndarray of shape (n, m)
        Of every step up to each instant, those between two instants included [Pa gauge].
    points : dict of str to ndarray of shape (n,)
        Pressures of named points [Pa gauge].
    point_highest, point_lowest : dict of str to ndarray of shape (n,)
        Of every step up to each instant [Pa gauge].
    links : dict of str to ndarray of shape (n,)
        Flows of what has no length [m3/s].
    """

    time: Array
    distance: dict[str, Array]
    pressure: dict[str, Array]
    flow: dict[str, Array]
    highest: dict[str, Array]
    lowest: dict[str, Array]
    points: dict[str, Array]
    point_highest: dict[str, Array]
    point_lowest: dict[str, Array]
    links: dict[str, Array]


def instants(begin: float, end: float, *, dt: float, most: int) -> Array:
    """Return at most ``most`` whole steps of ``dt`` from ``begin`` to ``end``, both among them [s]."""
    first, last = round(begin / dt), max(round(end / dt), round(begin / dt) + 1)
    return np.unique(np.rint(np.linspace(first, last, min(most, last - first + 1)))) * dt


def watch(
    lineup: LineUp,
    scenario: Scenario,
    *,
    dt: float,
    times: Array,
    shares: Mapping[str, Array],
) -> Profiles:
    """March a scenario and look at pipes at some instants.

    Parameters
    ----------
    lineup : LineUp
        Checked; every length a single one.
    scenario : Scenario
    dt : float
        Time step [s]; with that of ``ScenarioResult.method`` this is the march that was reported.
    times : ndarray of shape (n,)
        Rising, as :func:`instants` gives them [s].
    shares : mapping of str to ndarray of shape (m,)
        Pipe -> shares of its length, 0 to 1, whose nearest nodes are looked at.

    Raises
    ------
    CaseError, GridError, SolveError
        As by the march.
    ValueError
        More than ``MOST`` values would be kept.
    """
    wanted = sum(s.size for s in shares.values()) * times.size
    if wanted > MOST:
        raise ValueError(f"{wanted} values would be kept, at most {MOST}: look at fewer instants or nodes")
    work = plan(lineup, scenario)
    steps = np.rint(times / dt).astype(int)
    marched = begun(work, work.divide(dt), stride=int(steps[-1]) + 2)
    look = _Look(work, marched, shares)
    for step in steps.tolist():
        if step > marched.done:  # before it nothing moves
            marched.advance(step - marched.done)
        look.see()
    return look.found(steps * dt)


class _Look:
    """Reads the state of a march."""

    def __init__(self, work: Plan, marched: Marched, shares: Mapping[str, Array]) -> None:
        self.lineup, self.marched = work.lineup, marched
        self.rho_g = work.lineup.liquid.density * work.lineup.gravity
        self.elevation = np.array([p.elevation for p in work.lineup.points])
        self.pipes = [(k, p) for k, p in enumerate(work.lineup.pipes) if p.name in shares]
        self.at, self.z, self.distance = {}, {}, {}
        for k, pipe in self.pipes:
            places = marched.grid.reaches.places(k)
            at = np.unique(np.abs(places - shares[pipe.name][:, None]).argmin(axis=1))
            self.at[pipe.name], self.z[pipe.name] = at, along(work.lineup, pipe, places[at])
            self.distance[pipe.name] = pipe.length * places[at]
        self.seen: list[dict[str, dict[str, Array]]] = []
        self.heads: list[tuple[Array, Array, Array, Array]] = []

    def see(self) -> None:
        """Keep this instant."""
        m = self.marched
        high, low = m.envelope()
        net, n = m.grid.net, len(self.lineup.points)
        heads = net.pf[:, P_H]
        kept: dict[str, dict[str, Array]] = {"pressure": {}, "flow": {}, "highest": {}, "lowest": {}}
        for k, pipe in self.pipes:
            at, z = self.at[pipe.name], self.z[pipe.name]
            head, flow = self._state(k, pipe)
            ends = list(m.grid.pipe_points[k])
            hi = high[k] if high[k].size else m.point_hi[ends]
            lo = low[k] if low[k].size else m.point_lo[ends]
            kept["pressure"][pipe.name] = self.rho_g * (head[at] - z)
            kept["flow"][pipe.name] = flow[at]
            kept["highest"][pipe.name] = self.rho_g * (hi[at] - z)
            kept["lowest"][pipe.name] = self.rho_g * (lo[at] - z)
        self.seen.append(kept)
        pressures = (self.rho_g * (h[:n] - self.elevation) for h in (heads, m.point_hi, m.point_lo))
        now, highest, lowest = pressures
        self.heads.append((now, highest, lowest, net.lf[:, L_Q].copy()))

    def _state(self, k: int, pipe: Pipe) -> tuple[Array, Array]:
        """Head [m] and flow [m3/s] at the nodes of a pipe now; the ends as their points have them."""
        grid, net = self.marched.grid, self.marched.grid.net
        at, (start, end) = grid.nodes[k], grid.pipe_points[k]
        if not at.size:
            through = net.lf[grid.links.index(pipe.name), L_Q]
            return net.pf[[start, end], P_H], np.full(2, through)
        forward, back = net.p[net.window[0] + at], net.m[net.window[1] + at]
        head = 0.5 * (forward + back)
        flow = (forward - back) * (self.lineup.gravity * pipe.area / (2 * pipe.wave_speed))
        # The march writes the ends after its pass, as they leave: what they are now stands at their points.
        for far, i in ((False, 0), (True, -1)):
            e = grid.ends.index((pipe.name, far))
            head[i] = net.pf[net.ei[e, E_POINT], P_H]
            flow[i] = (head[i] - net.ef[e, E_X]) * net.ef[e, E_Y] * (-1 if far else 1)
        return head, flow

    def found(self, time: Array) -> Profiles:
        """Everything that was kept."""

        def stack(what: str) -> dict[str, Array]:
            return {p.name: np.array([one[what][p.name] for one in self.seen]) for _, p in self.pipes}

        now, highest, lowest, flows = (np.array(rows) for rows in zip(*self.heads, strict=True))
        names = [p.name for p in self.lineup.points]
        return Profiles(
            time=time,
            distance=self.distance,
            pressure=stack("pressure"),
            flow=stack("flow"),
            highest=stack("highest"),
            lowest=stack("lowest"),
            points={name: now[:, i] for i, name in enumerate(names)},
            point_highest={name: highest[:, i] for i, name in enumerate(names)},
            point_lowest={name: lowest[:, i] for i, name in enumerate(names)},
            links={name: flows[:, i] for i, name in enumerate(self.marched.grid.links)},
        )

"""Every march of a check is watched: liquid is kept, energy is never created, a steady line stays steady.

The march itself is not touched. What it records at the points, links and pipe ends at every step, and the
waves that stand in the pipes between two looks, are enough: the method keeps these sums exactly, so what is
missing is a fault of the calculation (or of the machine) and not of the case. It ends the run.

Heads [m], flows [m3/s]; contents of pipes as sums of waves P and M [m] and of their squares [m2], volume and
energy but for a factor.

Decisions
---------
* At Courant number 1, over any stretch of steps, the sum of P + M in a pipe with its ends changes by B times
  the trapezoidal sum of what passes its ends; the sum of their squares by 2B times that of head times flow,
  less friction. Every stretch (some thousand steps) is held against this, to ``ROUNDING`` of what the pipe
  holds and passes. The loss of an end's half reach is taken a step late: what that can be short is bounded by
  the swing of the waves met.
* Points: what flows in flows out, storage of lumped elements included. An orifice never gives head, a pump no
  more than at no flow, a lumped element is passive.
* Before the first event heads and waves stay within ``STEADY_HEAD``. Where something moves from the first
  instant, a copy in which nothing does is marched first.
* The watch takes impedances from the line-up, not from the arrays that it watches.
* It costs 10 to 25 % of a run's processor time, for recording every step and for the sums. They are compiled
  (:mod:`surge.kernel.tally`), and judged here. numpy's BLAS is not used: its threads fight those of the
  marches (ten times slower).
"""

from __future__ import annotations

import math

import numpy as np

from surge.arrays import Array
from surge.errors import SolveError
from surge.kernel import columns
from surge.kernel.march import Net
from surge.kernel.tally import Tally, tally
from surge.transient.grid import Grid

STEADY_HEAD = 2e-4  # [m] a head or wave may be off so much before anything moves: some 2 Pa
ROUNDING = 1e-9  # of what passed and of what the pipes hold: rounding, with room
NEWTON = 1e-6  # of the flow, and [m]: what is left when the flow at links is found by rounds
TINY = 1e-12  # [m3/s], [m] below this a figure is nothing
EVERY, SPOT = 8, 64  # where not all steps are needed, every so many are looked at
FULL = 1e-3  # of its gas: with less of it a drum is full
ROOM = 2**19  # numbers recorded between two looks: 4 MB
LEAST_STEPS = 512  # between them, however many points there are; our own choice


def first_event(net: Net) -> float:
    """When the first thing moves in a net that stands at time 0 [s]; infinite if nothing does."""
    times = [np.inf]
    for e, is_speed, first, last in net.law_i:
        t, v = net.law_t[first:last], net.law_v[first:last]
        if is_speed == 2:
            continue  # the start of a pump that has tripped before
        now = net.lf[e, columns.L_SPEED] if is_speed else net.lf[e, columns.L_C2]
        begins = v[0] if is_speed else (net.lf[e, columns.L_C] * v[0]) ** 2
        if abs(begins - now) > ROUNDING * max(abs(now), TINY):
            return 0.0
        moved = np.flatnonzero(v != v[0])
        if moved.size:
            times.append(float(t[moved[0] - 1]))
    tripping = (net.li[:, columns.L_KIND] == columns.PUMP) & (net.li[:, columns.L_STATE] != 0)
    return float(min([*times, *net.lf[tripping, columns.T_AT]]))


def steps_before(net: Net, dt: float) -> int:
    """Whole steps before anything moves; 0 if nothing ever does."""
    event = first_event(net)
    return max(int(event / dt) - 1, 0) if np.isfinite(event) else 0


class Watch:
    """Looks at a march, a stretch of steps at a time.

    Parameters
    ----------
    grid : Grid
        At its steady flow, before the first step.
    until : float, optional
        Instant up to which nothing moves [s].
    """

    def __init__(self, grid: Grid, *, until: float | None = None) -> None:
        net = grid.net
        self.grid, self.dt = grid, grid.reaches.dt
        self.until = first_event(net) if until is None else until
        self.impedance = np.array([grid.impedance[k] for k in self._pipe_of_ends()])
        self.owner = net.ei[:, columns.E_POINT].astype(np.intp)
        self.heads = net.pf[:, columns.P_H].copy()
        self.flows = self.flows_now()
        self.start = self.heads, self.flows
        self._points()
        self._links()
        self._pipes()
        self.drums = np.flatnonzero(net.li[:, columns.L_KIND] == columns.DRUM)
        self.gas = net.lf[self.drums, columns.D_GAS].copy()
        self.held = self._contents()
        self.sums = self._tally()

    def _tally(self) -> Tally:
        """Where the sums of a stretch go."""
        points, flows = self.heads.size, self.flows.size
        links, ends, lumps = flows - self.owner.size, self.owner.size, self.lumps.size
        lift = np.zeros(links)
        lift[self.pumps] = self.lift
        sizes = {
            "total": flows, "power": ends, "flow_size": flows, "head_size": points, "missed": points,
            "end_size": ends, "moved_head": points, "moved_flow": flows, "pushed": ends, "gained": links,
            "gained_size": links, "most": links, "least": links, "worked": lumps, "worked_size": lumps,
            "swiftest": lumps, "left": points,
        }  # fmt: skip
        return Tally(
            a=self.a,
            b=self.b,
            owner=self.owner,
            lift=lift,
            lumps=self.lumps,
            start_head=self.start[0],
            start_flow=self.start[1],
            **{name: np.zeros(n) for name, n in sizes.items()},
        )

    def _pipe_of_ends(self) -> list[int]:
        gridded = [k for k, n in enumerate(self.grid.reaches.count) if n]
        return [*gridded, *gridded]

    def flows_now(self) -> Array:
        """Return flows through links, then into the ends of pipes, shape (links + ends,) [m3/s]."""
        net = self.grid.net
        ends = (net.pf[net.ei[:, columns.E_POINT], columns.P_H] - net.ef[:, columns.E_X]) * net.ef[
            :, columns.E_Y
        ]
        return np.concatenate([net.lf[:, columns.L_Q], ends])

    def _points(self) -> None:
        """What leaves each point of unknown head is the flows times ``meet``."""
        net = self.grid.net
        links = net.lf.shape[0]
        self.free = np.flatnonzero(net.pi[:, columns.P_KIND] == columns.FREE)
        meet = np.zeros((links + self.owner.size, net.pf.shape[0]))
        meet[np.arange(links), net.li[:, columns.L_A]] += 1.0
        meet[np.arange(links), net.li[:, columns.L_B]] -= 1.0
        meet[links + np.arange(self.owner.size), self.owner] = 1.0
        self.meet = np.ascontiguousarray(meet[:, self.free])
        self.storage = net.pf[self.free, columns.P_STUB_Y].copy()
        self.wet = np.flatnonzero(net.pi[:, columns.P_DRY] < 0)

    def _links(self) -> None:
        """Kinds of links, and the greatest head that each pump can give."""
        net = self.grid.net
        self.a, self.b = net.li[:, columns.L_A].astype(np.intp), net.li[:, columns.L_B].astype(np.intp)
        kind = net.li[:, columns.L_KIND]
        self.orifices = np.flatnonzero((kind == columns.ORIFICE) | (kind == columns.RELIEF))
        self.pumps = np.flatnonzero(kind == columns.PUMP)
        self.lumps = np.flatnonzero(kind == columns.LUMPED)
        self.checked = np.flatnonzero(net.li[:, columns.L_CHECK] != 0)
        valve = (kind == columns.ORIFICE) & (net.li[:, columns.L_STATE] != 0)
        self.let_back = np.where(valve, net.lf[:, columns.V_REVERSE], 0.0)
        fastest = net.lf[:, columns.L_SPEED].copy()
        for e, is_speed, first, last in net.law_i:
            if is_speed:
                fastest[e] = max(fastest[e], net.law_v[first:last].max())
        shut_off = net.coef[net.li[self.pumps, columns.L_CURVE], 0] if self.pumps.size else np.zeros(0)
        self.lift = fastest[self.pumps] ** 2 * shut_off
        self.inertia = net.lf[self.lumps, columns.L_Z].copy()

    def _pipes(self) -> None:
        """Inner nodes of all gridded pipes behind one another, with one node of nothing between."""
        inner = [at[1:-1] for at in self.grid.nodes if at.size]
        self.inner = np.concatenate(inner) if inner else np.zeros(0, dtype=np.intp)
        self.pipe = np.repeat(np.arange(len(inner)), [at.size for at in inner])
        half = self.owner.size // 2
        self.near, self.far = self.owner[:half], self.owner[half:]
        self.wave = self.impedance[:half]

    def _contents(self) -> tuple[Array, Array, Array]:
        """Sum of P + M, of |P| + |M| and of P^2 + M^2 of every gridded pipe, ends as heads and flows."""
        net, n = self.grid.net, self.wave.size
        p, m = net.p[net.window[0] + self.inner], net.m[net.window[1] + self.inner]
        flow = self.flows[-2 * n :] if n else self.flows[:0]
        total = np.bincount(self.pipe, p + m, n).astype(np.float64)
        size = np.bincount(self.pipe, np.abs(p) + np.abs(m), n).astype(np.float64)
        energy = np.bincount(self.pipe, p * p + m * m, n).astype(np.float64)
        for points, q in ((self.near, flow[:n]), (self.far, flow[n:])):
            head = self.heads[points]
            total += head
            size += abs(head)
            energy += head**2 + (self.wave * q) ** 2
        # What has arrived in part: the rest of it is still in the pipe.
        late, wave = net.ef[:, columns.E_SHARE], net.ef[:, columns.E_PAST]
        total += (late * wave).reshape(2, n).sum(axis=0)
        size += np.abs(late * wave).reshape(2, n).sum(axis=0)
        energy += (late * wave**2).reshape(2, n).sum(axis=0)
        return total, size, energy

    def steps(self, done: int) -> int:
        """Steps until the next look."""
        whole = max(LEAST_STEPS, ROOM // int(self.heads.size + self.flows.size))
        return whole - done % whole

    def look(self, first: int, heads: Array, flows: Array) -> None:
        """Look at the steps after the instant ``first`` * dt.

        Parameters
        ----------
        first : int
            Steps done when the stretch began.
        heads : ndarray of shape (steps + 1, points)
            At every step, and at the one before the first [m].
        flows : ndarray of shape (steps + 1, links + ends)
            Through links, then from points into the ends of pipes [m3/s].

        Raises
        ------
        SolveError
            When a sum is not kept; the message says which, where and when.
        """
        self.when = f"between {first * self.dt:.3f} s and {(first + heads.shape[0] - 1) * self.dt:.3f} s"
        still = int(min(max(self.until / self.dt * (1 - 1e-9) - first + 1, 0), heads.shape[0]))
        tally(self.sums, heads, flows, still if still > 1 else 0, EVERY, SPOT)
        self._steady()
        self._meet(heads, flows)
        self._gas(heads, flows)
        self._pass(flows)
        self.heads, self.flows = heads[-1].copy(), flows[-1].copy()
        held, self.held = self.held, self._contents()
        self._volume(held, flows)
        self._energy(held, heads, flows)

    def _fail(self, what: str) -> None:
        raise SolveError(
            f"the calculation is at fault {self.when}: {what}. Nothing that it gave can be used; "
            "please report it with the case file"
        )

    def _steady(self) -> None:
        moved = self.sums.moved_head[self.wet]
        at = int(np.argmax(moved))
        if moved[at] > STEADY_HEAD:
            name = self.grid.points[self.wet[at]]
            self._fail(f"before anything moves the head at {name} changes by {moved[at]:.3g} m")
        waves = self.sums.moved_flow[self.a.size :] * self.impedance
        if waves.size and waves.max() > STEADY_HEAD:
            name = self.grid.ends[int(np.argmax(waves))][0]
            self._fail(f"before anything moves the flow in {name} changes")

    def _meet(self, heads: Array, flows: Array) -> None:
        """What enters a point leaves it, but for what lumps store there: in all, and now and then."""
        twice = 2.0 * self.sums.total - flows[0] - flows[-1]
        stored = self.storage * (heads[-1, self.free] - heads[0, self.free])
        miss = np.abs(np.einsum("j,jk->k", twice, self.meet) + stored)
        scale = np.einsum("j,jk->k", self.sums.flow_size, np.abs(self.meet))
        held = self.storage * self.sums.head_size[self.free] * ROUNDING
        self._lost(miss, (NEWTON * scale + TINY) * flows.shape[0] + held)
        spot = self.sums.missed[self.free]
        self._lost(np.where(self.storage > 0.0, 0.0, spot), NEWTON * scale + TINY)

    def _gas(self, heads: Array, flows: Array) -> None:
        """What flows into a drum takes the room of its gas; the gas keeps the energy that it brings."""
        if self.drums.size == 0:
            return
        gas = self.grid.net.lf[self.drums, columns.D_GAS]
        flowed = self.dt * (self.sums.total - 0.5 * (flows[0] + flows[-1]))[self.drums]
        size = self.dt * np.abs(flows[:, self.drums]).sum(axis=0)
        wrong = np.abs(self.gas - gas - flowed) > ROUNDING * (np.abs(gas) + np.abs(self.gas) + size)
        if wrong.any():
            name = self.grid.links[self.drums[int(np.argmax(wrong))]]
            self._fail(f"liquid is lost or made in {name}")
        for e, before, after in zip(self.drums, self.gas, gas, strict=True):
            self._gas_energy(int(e), heads[:, self.a[e]] - heads[:, self.b[e]], flows[:, e], before, after)
        self.gas = gas.copy()

    def _gas_energy(self, e: int, head: Array, flow: Array, before: float, after: float) -> None:
        """The gas of a drum keeps what flowed in has brought, less the loss of its neck, and no more.

        ``head`` is absolute [m], energies but for a factor. By the trapezoidal rule the work of a step is off
        by its volume cubed times the bend of the gas law over 12: as much is allowed.
        """
        state = self.grid.net.lf[e]
        law, n = float(state[columns.D_LAW]), float(state[columns.D_EXPONENT])
        over = head - float(state[columns.D_NECK]) * flow * np.abs(flow)
        taken = self.dt * 0.5 * (flow[1:] + flow[:-1])
        gas = before - np.concatenate([[0.0], np.cumsum(taken)])
        if gas.min() <= FULL * gas.max():
            return  # as good as full, its law is left: the scenario cannot be decided anyway
        brought = float(np.einsum("i,i", 0.5 * (over[1:] + over[:-1]), taken))
        rate = math.log(after / before)
        work = -rate if n == 1.0 else math.expm1((1.0 - n) * rate) / (n - 1.0)
        bend = np.abs(taken) ** 3 * np.maximum(over[1:], over[:-1]) / np.minimum(gas[1:], gas[:-1]) ** 2
        size = float(np.einsum("i,i", np.abs(over[1:]), np.abs(taken)))
        kept = law * before ** (1.0 - n)
        allowed = NEWTON * size + TINY * (1.0 + kept) + n * (n + 1.0) / 12.0 * float(bend.sum())
        if abs(kept * work - brought) > allowed:
            self._fail(f"energy comes from nowhere in {self.grid.links[e]}")

    def _lost(self, miss: Array, allowed: Array) -> None:
        if np.any(miss > allowed):
            at = int(np.argmax(miss / allowed))
            self._fail(f"at {self.grid.points[self.free[at]]} what flows in does not flow out")

    def _pass(self, flows: Array) -> None:
        """Valves and passages lose head, pumps give no more than at no flow, non-return valves hold."""
        sums = self.sums
        given = sums.gained > NEWTON * (sums.gained_size + sums.most + TINY)
        for some, what in (
            (self.orifices, "gives energy to the flow"),
            (self.pumps, "gives more head than at no flow"),
        ):
            for e in some[given[some]]:
                self._fail(f"{self.grid.links[e]} {what}")
        for e in self.checked:
            if sums.least[e] < -self.let_back[e] - NEWTON * (sums.most[e] + TINY):
                self._fail(f"flow passes the non-return valve of {self.grid.links[e]}")
        kept = self.inertia * (flows[-1] ** 2 - flows[0] ** 2)[self.lumps]
        size = sums.worked_size + self.inertia * sums.swiftest**2
        for e in self.lumps[kept - sums.worked > NEWTON * size + TINY]:
            self._fail(f"energy comes from nowhere in {self.grid.links[e]}")

    def _volume(self, held: tuple[Array, Array, Array], flows: Array) -> None:
        """The waves in a pipe change by what passes its ends: to rounding."""
        n = self.wave.size
        ends = flows[:, flows.shape[1] - 2 * n :]
        twice = 2.0 * self.sums.total[flows.shape[1] - 2 * n :] - ends[0] - ends[-1]
        passed = self.wave * (twice[:n] + twice[n:])
        change = self.held[0] - held[0]
        size = self.wave * self.sums.end_size.reshape(2, n).sum(axis=0) * ends.shape[0]
        wrong = np.abs(change - passed) > ROUNDING * (size + held[1] + self.held[1])
        if wrong.any():
            name = self.grid.ends[int(np.argmax(wrong))][0]
            self._fail(f"liquid is lost or made in {name}")

    def _energy(self, held: tuple[Array, Array, Array], heads: Array, flows: Array) -> None:
        """The energy of the waves in a pipe grows by no more than what its ends give."""
        n = self.wave.size
        ends = flows[:, flows.shape[1] - 2 * n :]
        edges = heads[0, self.owner] * ends[0] + heads[-1, self.owner] * ends[-1]
        twice = 2.0 * self.sums.power - edges
        given = 2.0 * self.wave * (twice[:n] + twice[n:])
        created = self.held[2] - held[2] - given
        size = self.sums.pushed * self.sums.end_size
        size = 2.0 * self.wave * (size[:n] + size[n:]) * ends.shape[0]
        allowed = ROUNDING * (size + held[2] + self.held[2])
        if np.any(created > allowed):
            wrong = created > allowed + self._lag(heads[:, self.owner], ends)
            if wrong.any():
                name = self.grid.ends[int(np.argmax(wrong))][0]
                self._fail(f"energy comes from nowhere in {name}")

    def _lag(self, at: Array, ends: Array) -> Array:
        """Bound of the energy by which the loss of an end's half reach, taken a step late, may be short."""
        net, n = self.grid.net, self.wave.size
        met = self._met(at, ends)
        loss = np.zeros(2 * n)
        for e, q in enumerate(np.abs(ends).max(axis=0)):
            g = 2.0 * self.impedance[e] * q
            row = net.ei[e, columns.E_ROW]
            table = np.abs(net.table[row])
            steps = (
                g * net.table_step[row] / (table.size - 1)
            )  # of the whole table; beyond it the loss is squared
            from_table = (
                table.max() * max(steps, 1.0) ** 2 if steps > 0.5 else table[: table.size // 2 + 1].max()
            )
            loss[e] = max(from_table, abs(net.ef[e, columns.E_R]) * g * g)
        short: Array = 2.0 * loss * met
        return short[:n] + short[n:]

    def _met(self, at: Array, ends: Array) -> Array:
        """By how much the waves that arrive at each end have swung in all [m]."""
        swung: Array = np.abs(np.diff(at - self.impedance * ends, axis=0)).sum(axis=0)
        return swung

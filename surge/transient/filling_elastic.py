"""Filling with an elastic line behind the front: waves, by characteristics (:mod:`surge.kernel.filling`).

Decisions
---------
* At first everything is at rest. Where a valve is shut between source and gas, the line before it has the
  head of the source, and what lies behind it the head of the gas. Where none is, the head falls evenly by
  inertia from the source to the gas, as in a rigid column in the instant in which it is let go.
* After the front has arrived the same march goes on: the last node meets what stands there. Besides, a march
  begins with the rigid column's arrival: its velocity everywhere, its pressures.
* Of ``CHOICES`` steps near that of the reaches which are asked for over the whole line, the one whose reaches
  fit the lengths best is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array, Ints
from surge.effort import spend
from surge.errors import SolveError
from surge.kernel import filling_columns as kernel
from surge.kernel.columns import OK
from surge.kernel.curves import head as head_of_pump
from surge.kernel.filling import march_filling
from surge.kernel.filling_columns import FillNet
from surge.model.filling import HEAT_RATIO, HOLE, OPEN, SHUT
from surge.transient.filling_line import FillLine
from surge.transient.filling_rigid import RigidFill

CHOICES = 400
MOST_STEPS = 4_000_000
MOST_WORK = 1.5e9  # nodes times steps of one march
NODE, STEP = 10.0, 2000.0  # effort of a node, and of the rest of a step, in plain nodes of a march
ROWS, SHOTS = 1500, 240  # rows of history and pictures of the whole line that are kept, about
CYCLES = 6.0  # after an arrival the march goes on for so many 2 L/a of the whole line
_MODES = {OPEN: kernel.OPEN, SHUT: kernel.SHUT, HOLE: kernel.HOLE}
MASS = 2e-3  # [-] of the gas at first: what liquid may be lost or found on the way
ENERGY = 0.03  # [-] of what the source has given, and the gas could: what energy may be lost
GAINED = 0.01  # [-] and what may be found


Part = tuple[Array, ...]


@dataclass(frozen=True, kw_only=True)
class Reach:
    """A division of the line: reaches of every pipe, the step [s], the worst misfit of a travel time [-]."""

    count: Ints
    dt: float
    misfit: float


def divided(fill: FillLine, reaches: float) -> Reach:
    """Return the division that fits best among steps near that of so many reaches over the whole line."""
    times = fill.line.length / fill.line.wave_speed
    whole = float(times.sum())
    best: Reach | None = None
    for share in np.linspace(1.0, 1.35, CHOICES):
        dt = whole / (reaches * share)
        count = np.maximum(np.rint(times / dt), 1.0)
        misfit = float(np.max(np.abs(count * dt / times - 1.0)))
        if best is None or misfit < best.misfit - 1e-12:
            best = Reach(count=count.astype(np.int64), dt=dt, misfit=misfit)
    assert best is not None
    return best


@dataclass(frozen=True, kw_only=True, eq=False)
class ElasticFill:
    """What an elastic line does; histories of shape (n,), at ends of pipes (n, pipes, 2).

    Attributes
    ----------
    time : ndarray
        [s]
    pipe, length : ndarray
        Where the front is [-], [m].
    flow : ndarray
        Of the front; after its arrival what passes where the line ends [m3/s].
    gas : ndarray
        Pressure [Pa absolute].
    heads, flows : ndarray
        [m], [m3/s]; not a number where there is gas.
    highest, lowest : list of ndarray
        Pressure heads at the nodes of every pipe [m], minus and plus infinity where no liquid came.
    highest_time, lowest_time : list of ndarray
        When [s].
    shots, shot_times : ndarray
        Pressure heads at all nodes (m, nodes) [m], not a number where there is gas; [s].
    first_node : ndarray of int
        Of every pipe, among all nodes.
    arrival, velocity : float or None, float
        When the front arrives [s], and how fast [m/s].
    peak_gas : float
        Highest pressure of the gas [Pa absolute].
    peak_gas_time : float
        When [s].
    boiled : float or None
        When the liquid first boils at some node [s].
    mass, energy : float
        What of the liquid, and of the energy, is not accounted for [-].
    dt, steps : float, int
    """

    time: Array
    pipe: Ints
    length: Array
    flow: Array
    gas: Array
    heads: Array
    flows: Array
    highest: list[Array]
    lowest: list[Array]
    highest_time: list[Array]
    lowest_time: list[Array]
    shots: Array
    shot_times: Array
    first_node: Ints
    arrival: float | None
    velocity: float
    peak_gas: float
    peak_gas_time: float
    boiled: float | None
    mass: float
    energy: float
    dt: float
    steps: int


def elastic_fill(fill: FillLine, reach: Reach, *, duration: float) -> ElasticFill:
    """March the line behind the front from rest.

    Parameters
    ----------
    fill : FillLine
    reach : Reach
    duration : float
        From the beginning, or until the front has arrived and ``CYCLES`` are over, if that is sooner [s].

    Raises
    ------
    SolveError
        The march went astray, or did not keep its mass or energy.
    """
    march = _March(fill, reach)
    march.at_rest()
    return march.run(duration)


def impact(fill: FillLine, reach: Reach, rigid: RigidFill) -> ElasticFill:
    """March the full line from the instant at which a rigid column arrives.

    The velocity of the column everywhere (its flow), and its pressures: falling evenly along every pipe.

    Parameters
    ----------
    fill : FillLine
    reach : Reach
    rigid : RigidFill
        One that has arrived.

    Raises
    ------
    SolveError
    """
    march = _March(fill, reach)
    march.arrived(rigid)
    return march.run(0.0)


class _March:
    def __init__(self, fill: FillLine, reach: Reach) -> None:
        self.fill, self.reach = fill, reach
        line, dt = fill.line, reach.dt
        counts = reach.count
        first = np.concatenate([[0], np.cumsum(counts + 1)[:-1]]).astype(np.int64)
        nodes = int((counts + 1).sum())
        self.first, self.nodes = first, nodes
        z = np.empty(nodes)
        for k, n in enumerate(counts):
            z[first[k] : first[k] + n + 1] = np.linspace(line.z[k], line.z[k + 1], int(n) + 1)
        tf = np.zeros((len(counts), kernel.T_FLOATS))
        tf[:, kernel.T_B] = fill.impedance
        tf[:, kernel.T_DX] = line.length / counts
        tf[:, kernel.T_Z0], tf[:, kernel.T_Z1] = line.z[:-1], line.z[1:]
        tf[:, kernel.T_AREA], tf[:, kernel.T_STEP] = line.area, line.step
        tf[:, kernel.T_INERTIA] = line.inertia
        links = _links(fill)
        self.net = FillNet(
            p=np.zeros(nodes),
            m=np.zeros(nodes),
            p2=np.zeros(nodes),
            m2=np.zeros(nodes),
            drop=np.zeros(nodes),
            z=z,
            hi=np.full(nodes, -np.inf),
            lo=np.full(nodes, np.inf),
            hi_step=np.zeros(nodes, dtype=np.int64),
            lo_step=np.zeros(nodes, dtype=np.int64),
            ti=np.ascontiguousarray(np.column_stack([first, counts])),
            tf=tf,
            table=line.factor,
            jf=np.zeros((len(counts) + 1, kernel.J_FLOATS)),
            gas=_gas(fill),
            sf=np.zeros(kernel.S_FLOATS),
            si=np.array([0, 0, -1, -1], dtype=np.int64),
            floor=np.array([fill.vapour / fill.rho_g]),
            **links,
        )
        self.dt, self.time0 = dt, 0.0
        self.arrived_step = -1

    def at_rest(self) -> None:
        """Set the state in which everything is at rest."""
        fill, net, line = self.fill, self.net, self.fill.line
        k, x = fill.first_pipe, fill.first_length
        dx = net.tf[k, kernel.T_DX]
        node = min(int(x / dx), int(self.reach.count[k]) - 1)
        net.si[:2] = k, node
        sf = net.sf
        sf[kernel.S_TIP] = x - node * dx
        sf[kernel.S_GAS], sf[kernel.S_MASS] = fill.gas.volume, 1.0
        sf[kernel.S_P] = sf[kernel.S_TOP] = fill.gas.start
        front = fill.head_of_gas(fill.gas.start, fill.place(k, x))
        heads = self._rest_heads(front)
        for j in range(k + 1):
            last = int(self.reach.count[j]) if j < k else node
            length = float(line.length[j]) if j < k else x
            share = (
                np.arange(last + 1) * float(net.tf[j, kernel.T_DX]) / length if length > 0 else np.zeros(1)
            )
            a = self.first[j]
            net.p[a : a + last + 1] = heads[j][0] + (heads[j][1] - heads[j][0]) * share
        net.m[:] = net.p

    def _rest_heads(self, front: float) -> list[tuple[float, float]]:
        """Heads at both ends of what is filled of every pipe, at rest [m]."""
        fill, line, k = self.fill, self.fill.line, self.fill.first_pipe
        lengths = [float(n) for n in line.length[:k]] + [fill.first_length]
        head, heads, last = fill.source, [], -1
        for j in range(k + 1):
            if any(b.curve is None and b.at(0.0) <= 0.0 for b in fill.between[j]):
                last = j
            head += _pumped(fill, j) if last < j else 0.0
            heads.append(head)
        if last >= 0:
            before, where = fill.source, []
            for j in range(k + 1):
                before += _pumped(fill, j) if j < last else 0.0
                where.append((before, before) if j < last else (front, front))
            return where
        weights = [n * float(i) for n, i in zip(lengths, line.inertia[: k + 1], strict=True)]
        pumped = heads[-1]
        fall = (pumped - front) / max(sum(weights), 1e-300)
        found, lost = [], 0.0
        for j in range(k + 1):
            found.append((heads[j] - lost, heads[j] - lost - fall * weights[j]))
            lost += fall * weights[j]
        return found

    def arrived(self, rigid: RigidFill) -> None:
        """Set the state of a rigid column that arrives."""
        assert rigid.arrival is not None
        net, last = self.net, len(self.reach.count) - 1
        flow, heads = float(rigid.flow[-1]), rigid.heads[-1]
        for k, n in enumerate(self.reach.count):
            a, b = self.first[k], float(net.tf[k, kernel.T_B])
            head = np.linspace(heads[k, 0], heads[k, 1], int(n) + 1)
            net.p[a : a + n + 1] = head + b * flow
            net.m[a : a + n + 1] = head - b * flow
        net.si[:] = last, int(self.reach.count[-1]), 0, -1
        net.sf[kernel.S_Q] = flow
        net.sf[kernel.S_P] = net.sf[kernel.S_TOP] = rigid.gas[-1]
        self.time0 = rigid.arrival
        self.arrived_step = 0
        self._shift(rigid.arrival)

    def _shift(self, by: float) -> None:
        """Let the laws count from a later instant."""
        self.net.law_t[:] -= by

    def run(self, duration: float) -> ElasticFill:
        parts: list[Part] = []
        steps, done = int(np.ceil(duration / self.dt)), 0
        after = self._after()
        if (steps + after) > MOST_STEPS or (steps + after) * self.nodes > MOST_WORK:
            raise SolveError(
                "the line fills so slowly that its waves are too much work to follow: shorten the line, or "
                "join very short pipes"
            )
        before = self._stored()
        if self.arrived_step < 0:
            done = self._part(parts, 0, steps, stop=True)
            self.arrived_step = int(self.net.si[kernel.I_ARRIVED])
        self.velocity = float(self.net.sf[kernel.S_Q] / self.fill.line.area[-1])
        mass, energy = self._watched(before) if done else (0.0, 0.0)
        if self.arrived_step >= 0:
            done += self._part(parts, done, after, stop=False)
        return self._result(parts, done, mass, energy)

    def _after(self) -> int:
        whole = float((self.reach.count * self.dt).sum())
        return int(np.ceil(2.0 * CYCLES * whole / self.dt))

    def _part(self, parts: list[Part], first: int, steps: int, *, stop: bool) -> int:
        net, pipes = self.net, len(self.reach.count)
        stride = max(1, steps // ROWS)
        shot = max(1, steps // SHOTS)
        n, m = steps // stride, steps // shot
        rows = np.zeros((n, kernel.R_FLOATS))
        heads, flows = np.zeros((n, 2 * pipes)), np.zeros((n, 2 * pipes))
        shots = np.zeros((m, self.nodes))
        spend(steps * (NODE * self.nodes + STEP))
        status, done, written = march_filling(
            net, first, steps, self.dt, stride, shot, int(stop), rows, heads, flows, shots
        )
        if status == kernel.EMPTIED:
            raise SolveError(
                "the liquid is driven back to where the line begins: nothing is known after that"
            )
        if status != OK:
            raise SolveError("the march of the filling went astray (not a number)")
        at = first + stride * (1 + np.arange(written))
        shot_at = first + shot * (1 + np.arange(done // shot))
        parts.append(
            (
                at * self.dt,
                rows[:written],
                heads[:written],
                flows[:written],
                shot_at * self.dt,
                shots[: done // shot],
            )
        )
        return int(done)

    def _stored(self) -> tuple[float, float]:
        """What the line holds more than without pressure [m3], and energy of motion and pressure [m4]."""
        net, front = self.net, int(self.net.si[kernel.I_PIPE])
        held = energy = 0.0
        for k in range(front + 1):
            last = int(self.reach.count[k]) if k < front else int(net.si[kernel.I_NODE])
            a, b = self.first[k], float(net.tf[k, kernel.T_B])
            p, m = net.p[a : a + last + 1], net.m[a : a + last + 1]
            weight = np.full(last + 1, self.dt)
            weight[[0, -1]] *= 0.5 if last else 0.0
            energy += float((0.25 / b * (p * p + m * m) * weight).sum())
            held += float((0.5 * (p + m) / b * weight).sum())
        return held, energy

    def _watched(self, before: tuple[float, float]) -> tuple[float, float]:
        """What of the liquid and of the energy is not accounted for [-], before the front has arrived.

        ``before`` is what the line held at first, as of :meth:`_stored`.

        Raises
        ------
        SolveError
            More than may be.
        """
        sf, net = self.net.sf, self.net
        held, kept = self._stored()
        front = int(net.si[kernel.I_PIPE])
        if net.si[kernel.I_ARRIVED] < 0:
            kept += 0.5 * sf[kernel.S_TIP] * net.tf[front, kernel.T_INERTIA] * sf[kernel.S_Q] ** 2
        filled = self.fill.gas.volume - sf[kernel.S_GAS]
        mass = float(sf[kernel.S_IN] - filled - (held - before[0])) / self.fill.gas.volume
        spent = sf[kernel.S_LOST] + sf[kernel.S_PUSHED] + kept - before[1] - sf[kernel.S_CARRIED]
        turned_over = abs(sf[kernel.S_WORK]) + self.fill.gas.volume * self.fill.gas.start / self.fill.rho_g
        energy = float(sf[kernel.S_WORK] - spent) / turned_over
        step = 4.0 * self.dt * abs(sf[kernel.S_Q]) / self.fill.gas.volume  # what flows in a few steps
        if not abs(mass) <= MASS + step:
            raise SolveError(f"the march of the filling does not keep its liquid ({mass:.1e} of what fills)")
        if not -GAINED <= energy <= ENERGY:
            raise SolveError(f"the march of the filling does not keep its energy ({energy:.1e})")
        return mass, energy

    def _result(self, parts: list[Part], done: int, mass: float, energy: float) -> ElasticFill:
        net, dt, t0 = self.net, self.dt, self.time0
        time, rows, heads, flows, shot_times, shots = (np.concatenate(x) for x in zip(*parts, strict=True))
        pipes = len(self.reach.count)
        pipe = rows[:, kernel.R_FRONT_PIPE].astype(np.int64)
        dx = net.tf[:, kernel.T_DX]
        length = rows[:, kernel.R_NODE] * dx[pipe] + rows[:, kernel.R_TIP]
        arrived = self.arrived_step >= 0
        if arrived:
            length = np.where(time >= self.arrived_step * dt, self.fill.line.length[-1], length)
        cut = [slice(int(a), int(a + n + 1)) for a, n in zip(self.first, self.reach.count, strict=True)]
        share = float(net.sf[kernel.S_SHARE])
        return ElasticFill(
            time=time + t0,
            pipe=pipe,
            length=length,
            flow=rows[:, kernel.R_Q],
            gas=rows[:, kernel.R_P],
            heads=heads.reshape(-1, pipes, 2),
            flows=flows.reshape(-1, pipes, 2),
            highest=[net.hi[c] for c in cut],
            lowest=[net.lo[c] for c in cut],
            highest_time=[net.hi_step[c] * dt + t0 for c in cut],
            lowest_time=[net.lo_step[c] * dt + t0 for c in cut],
            shots=shots,
            shot_times=shot_times + t0,
            first_node=self.first,
            arrival=max(self.arrived_step - 1 + share, 0.0) * dt + t0 if arrived else None,
            velocity=self.velocity if arrived else 0.0,
            peak_gas=float(net.sf[kernel.S_TOP]),
            peak_gas_time=float(net.sf[kernel.S_TOP_TIME]) + t0,
            boiled=None if net.si[kernel.I_BOILED] < 0 else float(net.si[kernel.I_BOILED]) * dt + t0,
            mass=mass,
            energy=energy,
            dt=dt,
            steps=done,
        )


def _pumped(fill: FillLine, j: int) -> float:
    """Head of the pumps of a junction without flow, at first [m]."""
    return sum(head_of_pump(b.curve, 0.0, speed=b.at(0.0))[0] for b in fill.between[j] if b.curve is not None)


def _gas(fill: FillLine) -> Array:
    gas = np.zeros(kernel.G_FLOATS)
    one = fill.gas
    gas[kernel.G_START], gas[kernel.G_BACK] = one.start, one.back
    gas[kernel.G_VOLUME], gas[kernel.G_EXPONENT] = one.volume, one.exponent
    gas[kernel.G_MODE] = _MODES[one.vent]
    gas[kernel.G_RATE], gas[kernel.G_RATIO] = one.rate, HEAT_RATIO
    gas[kernel.G_LEAST] = one.least if one.vent != SHUT else -1.0
    gas[kernel.G_ATMOSPHERE], gas[kernel.G_RHO_G] = fill.atmosphere, fill.rho_g
    gas[kernel.G_SOURCE], gas[kernel.G_SOURCE_LOSS] = fill.source, fill.source_loss
    gas[kernel.G_BEHIND], gas[kernel.G_FREE] = fill.behind, float(fill.column.tank)
    return gas


def _links(fill: FillLine) -> dict[str, Array | Ints]:
    """Arrays of what stands at the junctions."""
    ki: list[list[int]] = []
    kf: list[list[float]] = []
    law: list[tuple[float, float]] = []
    knots: list[float] = []
    coef: list[list[float]] = []
    for j, each in enumerate(fill.between):
        if j == len(fill.line.length) and not each and not fill.column.tank:
            # Nothing passes where the line is closed.
            ki.append([j, kernel.ORIFICE, len(law), len(law) + 1, 0, 0])
            kf.append([0.0, 0.0, 0.0])
            law.append((0.0, 0.0))
        for one in each:
            rows = (len(law), len(law) + len(one.law))
            law += one.law
            curve = (0, 0)
            tails = (0.0, 0.0)
            if one.curve is not None:
                curve = (len(knots), len(knots) + one.curve.knots.size)
                knots += one.curve.knots.tolist()
                coef += [*one.curve.coef.tolist(), [0.0] * 4]
                tails = (one.curve.tail0, one.curve.tail2)
            kind = kernel.PUMP if one.curve is not None else kernel.ORIFICE
            ki.append([j, kind, *rows, *curve])
            kf.append([one.conductance, *tails])
            if one.check:
                ki.append([j, kernel.CHECK, *rows, 0, 0])
                kf.append([0.0, 0.0, 0.0])
    return {
        "ki": np.array(ki, dtype=np.int64).reshape(-1, kernel.K_INTS),
        "kf": np.array(kf, dtype=np.float64).reshape(-1, kernel.K_FLOATS),
        "law_t": np.array([t for t, _ in law] or [0.0]),
        "law_v": np.array([v for _, v in law] or [0.0]),
        "knots": np.array(knots or [0.0, np.inf]),
        "coef": np.array(coef or [[0.0] * 4]),
    }

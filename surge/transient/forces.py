"""Forces along straight legs of pipe, as a wave passes: for whoever looks at the supports.

A leg is a stretch of a pipe between two bends. The force is that of the liquid on the pipe along the leg,
from the pipe's start to its end: the pressures on the bends at both ends, and the friction on the wall
between them. In steady flow it is nought; at any instant it is what the momentum of the liquid in the leg
loses in a second.

Decisions
---------
* F = rho g A (H_end - H_start + loss of head in the leg), with piezometric heads H: the weight of the liquid
  in a leg that slopes is carried at all times, and is not in it.
* Heads and flows inside a pipe are put together from what the march records at its ends. A wave that leaves
  one end arrives at the other after the travel time; what it has lost by then is spread over the way as the
  flow that it meets there tells. So a leg needs no grid of its own, and the kernel nothing new.
* Of a pipe, heads and flows are put together at ``SPOTS`` places, and what a wave meets on its way is found
  in ``ROUNDS`` rounds. Against the momentum that a march loses at a sudden stop, with the friction of a
  loading line, 17 places are off by 1.4e-3 of the greatest force, 33 by 0.8e-3, 65 by 0.5e-3. With fifteen
  times the friction and a slow stroke one round is off by 8e-3, two are by 1.5e-3, four are by as much.
* The loss of a leg is that of the local flow, by the trapezoidal rule over the places in it.
* The reported march is made again with every step kept, and once more with twice its step. The error told of
  a force is ``STEP_SAFETY`` times what its extremes change, as for a pressure that settles.
* A sudden front is ``FRONT`` steps wide, so that a leg through which it takes less time feels too little of
  it, for too long: two steps where a pipe is a whole number of them, and one more for what is spread at its
  ends where it is not. Where something stops suddenly that is in the error: the push comes to
  as much more as the front is too wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.kernel.along import Along, Lost, lose, pass_along
from surge.model.lineup import LineUp, Pipe, Scenario
from surge.model.ranges import Taken
from surge.transient.errors import STEP_SAFETY
from surge.transient.grid import Grid, build_grid
from surge.transient.march import Marched
from surge.transient.plan import Plan, plan

SPOTS = 33
ROUNDS = 2
FRONT = 3.0
KEPT = 4096  # steps marched between two readings


@dataclass(frozen=True, kw_only=True)
class Leg:
    """A straight leg of a pipe.

    Attributes
    ----------
    pipe : str
    begin, end : float
        From the pipe's start [m].
    """

    pipe: str
    begin: float
    end: float


@dataclass(frozen=True, kw_only=True, eq=False)
class LegForce:
    """The force along one leg, positive from the pipe's start to its end.

    Attributes
    ----------
    leg : Leg
    highest, lowest : float
        Greatest force towards the end, and the greatest towards the start as a negative figure [N].
    highest_time, lowest_time : float
        When [s].
    error : float
        Numerical error of both [N].
    force : ndarray, shape (n,)
        At every step [N].
    """

    leg: Leg
    highest: float
    lowest: float
    highest_time: float
    lowest_time: float
    error: float
    force: Array

    @property
    def most(self) -> float:
        """The greatest force of either way, as a size [N]."""
        return max(self.highest, -self.lowest)


@dataclass(frozen=True, kw_only=True, eq=False)
class Forces:
    """Forces along the legs of a line-up in one scenario.

    Attributes
    ----------
    scenario : str
    dt : float
        Step of the reported march [s].
    time : ndarray, shape (n,)
        Every step [s].
    legs : tuple of LegForce
        In the order of the line-up.
    boils : float or None
        When the liquid boils [s]: forces are told up to then only.
    taken : tuple of Taken
        What was taken of each figure that is a range.
    """

    scenario: str
    dt: float
    time: Array
    legs: tuple[LegForce, ...]
    boils: float | None
    taken: tuple[Taken, ...] = ()


def legs_of(lineup: LineUp) -> tuple[Leg, ...]:
    """Return the straight legs of all pipes; a pipe without bends is one leg. Hoses and arms have none."""
    found = []
    for pipe in lineup.pipes:
        if pipe.kind == "pipe":
            cuts = (0.0, *pipe.bends, pipe.length)
            found += [Leg(pipe=pipe.name, begin=a, end=b) for a, b in zip(cuts, cuts[1:], strict=False)]
    return tuple(found)


def forces_along(
    lineup: LineUp, scenario: Scenario, legs: Sequence[Leg], *, dt: float, until: float, boils: bool = False
) -> Forces:
    """Return the forces along legs in a scenario.

    Parameters
    ----------
    lineup : LineUp
        Checked; every figure a single one.
    scenario : Scenario
    legs : sequence of Leg
    dt : float
        Step of the reported march [s].
    until : float
        Its end, or the instant at which the liquid boils [s].
    boils : bool
        Whether that is why it ends.

    Raises
    ------
    CaseError, GridError, SolveError
        As by the march.
    """
    if not legs:
        nothing = np.zeros(0)
        return Forces(scenario=scenario.name, dt=dt, time=nothing, legs=(), boils=until if boils else None)
    work = plan(lineup, scenario)
    time, fine = _march(work, legs, dt, until)
    _, coarse = _march(work, legs, 2.0 * dt, until)
    found = []
    for leg, force, other in zip(legs, fine, coarse, strict=True):
        high, low = int(np.argmax(force)), int(np.argmin(force))
        change = max(abs(force.max() - other.max()), abs(force.min() - other.min()))
        wide = FRONT * dt * lineup.pipe(leg.pipe).wave_speed / (leg.end - leg.begin) if work.sudden else 0.0
        missed = max(wide - 1.0, 0.0) * max(force.max(), -force.min())
        found.append(
            LegForce(
                leg=leg,
                highest=float(force[high]),
                lowest=float(force[low]),
                highest_time=float(time[high]),
                lowest_time=float(time[low]),
                error=float(max(STEP_SAFETY * change, missed)),
                force=force,
            )
        )
    return Forces(scenario=scenario.name, dt=dt, time=time, legs=tuple(found), boils=until if boils else None)


def _march(work: Plan, legs: Sequence[Leg], dt: float, until: float) -> tuple[Array, list[Array]]:
    """March with every step kept: instants [s], and the force along each leg [N]."""
    lineup = work.lineup
    grid = build_grid(lineup, work.steady, reaches=work.divide(dt), laws=work.laws, tables=work.tables)
    seen = _Ends(grid, lineup, sorted({leg.pipe for leg in legs}))
    marched = Marched(grid=grid, frozen=lineup.frozen_friction, stride=1)
    steps = int(until / dt * (1 + 1e-12))
    while marched.done < steps:
        marched.advance(min(KEPT, steps - marched.done))
        seen.take(marched)
    if not steps:
        seen.take(marched)
    time: Array = np.arange(steps + 1, dtype=np.float64) * dt
    forces: dict[Leg, Array] = {}
    for k, pipe in enumerate(lineup.pipes):
        if mine := [leg for leg in legs if leg.pipe == pipe.name]:
            # One pipe at a time: histories at all places of all pipes would fill the memory.
            along = _Pipe(work, grid, k, time, *seen.of(pipe.name))
            forces |= {leg: along.force(leg) for leg in mine}
    return time, [forces[leg] for leg in legs]


class _Ends:
    """Heads [m] and flows along the pipe [m3/s] at both ends of some pipes, at every step."""

    def __init__(self, grid: Grid, lineup: LineUp, names: Sequence[str]) -> None:
        self.names = names
        links = len(grid.links)
        ends = {end: links + i for i, end in enumerate(grid.ends)}
        self.points, self.columns = [], []
        for k, pipe in enumerate(lineup.pipes):
            if pipe.name in names:
                self.points.append(grid.pipe_points[k])
                lumped = not grid.reaches.count[k]
                at = grid.links.index(pipe.name) if lumped else -1
                self.columns.append((at, at) if lumped else (ends[pipe.name, False], ends[pipe.name, True]))
        self.order = [p.name for p in lineup.pipes if p.name in names]
        self.turn = np.array([1.0 if a == b else -1.0 for a, b in self.columns])
        self.heads: list[Array] = []
        self.flows: list[Array] = []

    def take(self, marched: Marched) -> None:
        """Keep what was recorded since, and let go of the rest."""
        points, columns = np.array(self.points), np.array(self.columns)
        for heads, flows in zip(marched.heads, marched.flows, strict=True):
            self.heads.append(heads[:, points])
            self.flows.append(flows[:, columns])
        marched.heads.clear()
        marched.flows.clear()
        marched.time.clear()

    def of(self, name: str) -> tuple[Array, Array]:
        """Heads and flows of one pipe, shape (steps, 2)."""
        i = self.order.index(name)
        heads = np.concatenate([part[:, i] for part in self.heads])
        flows = np.concatenate([part[:, i] for part in self.flows])
        flows[:, 1] *= self.turn[i]  # recorded as what flows into the far end
        return heads, flows


class _Pipe:
    """What passes along one pipe, from what is known at its ends."""

    def __init__(self, work: Plan, grid: Grid, k: int, time: Array, heads: Array, flows: Array) -> None:
        lineup = work.lineup
        self.pipe: Pipe = lineup.pipes[k]
        self.heads, self.flows, self.time, self.dt = heads, flows, time, grid.reaches.dt
        self.weight = lineup.liquid.density * lineup.gravity * self.pipe.area
        self.way = (grid.reaches.count[k] + grid.reaches.share[k]) * grid.reaches.dt  # [s]; 0: lumped
        self.loss, self.step = work.tables.loss[k], float(work.tables.step[k])
        self.impedance = grid.impedance[k]
        self.places = np.linspace(0.0, 1.0, SPOTS)  # of the length
        if self.way > 0.0:
            self._waves()

    def _waves(self) -> None:
        """Heads [m], flows [m3/s] and losses [m] at all places, shape (places, steps)."""
        b, (h0, h1), (q0, q1) = self.impedance, self.heads.T, self.flows.T
        onward, back = h0 + b * q0, h1 - b * q1  # as they leave
        lost = self._lost(onward, h1 + b * q1), self._lost(back, h0 - b * q0)
        self.head, self.flow, self.drop = (np.zeros((SPOTS, self.time.size)) for _ in range(3))
        self.head[0], self.head[-1], self.flow[0], self.flow[-1] = h0, h1, q0, q1
        room = np.zeros((3, self.time.size))
        pipe = Along(
            onward=onward,
            back=back,
            lost_onward=lost[0],
            lost_back=lost[1],
            places=self.places,
            row=self.loss,
            ahead=self.places[:, None] * lost[0],
            behind=self.places[::-1, None] * lost[1],
            head=self.head,
            flow=self.flow,
            loss=self.drop,
            p=room[0],
            m=room[1],
            left=room[2],
        )
        pass_along(pipe, self.way / self.dt, self.step, self.impedance, ROUNDS)

    def _lost(self, leaves: Array, comes: Array) -> Array:
        """What each wave has lost when it comes to the other end [m]; the last ones as the one before."""
        lost: Array = leaves - self._ago(comes, -self.way)
        last = int(np.searchsorted(self.time, self.time[-1] - self.way, side="right"))
        lost[last:] = lost[max(last - 1, 0)]
        return lost

    def _ago(self, values: Array, ago: float) -> Array:
        """What was so long ago [s], at every step."""
        found: Array = np.interp(self.time - ago, self.time, values)
        return found

    def state(self, share: float) -> tuple[Array, Array]:
        """Head [m] at a share of the length, and what the whole pipe would lose at the flow there [m]."""
        if self.way <= 0.0:
            head = self.heads[:, 0] + share * (self.heads[:, 1] - self.heads[:, 0])
            return head, self._loss(self.flows[:, 0])
        k = min(int(share * (SPOTS - 1)), SPOTS - 2)
        part = share * (SPOTS - 1) - k
        if part < 1e-12 or part > 1.0 - 1e-12:
            return self.head[k + round(part)], self.drop[k + round(part)]
        # Between two places each wave is what it was at the one before, a little earlier.
        step = self.way / (SPOTS - 1)
        b = self.impedance
        p = [self.head[i] + b * self.flow[i] for i in (k, k + 1)]
        m = [self.head[i] - b * self.flow[i] for i in (k, k + 1)]
        onward = (1.0 - part) * self._ago(p[0], part * step) + part * self._ago(p[1], (part - 1.0) * step)
        back = (1.0 - part) * self._ago(m[0], -part * step) + part * self._ago(m[1], (1.0 - part) * step)
        return 0.5 * (onward + back), self._loss((onward - back) / (2.0 * b))

    def force(self, leg: Leg) -> Array:
        """The force along a leg at every step, shape (steps,) [N]."""
        begin, end = leg.begin / self.pipe.length, leg.end / self.pipe.length
        inside = self.places[(self.places > begin) & (self.places < end)]
        places = np.concatenate([[begin], inside, [end]])
        first, before = self.state(begin)
        drop = np.zeros_like(before)
        for i, share in enumerate(places[1:]):
            last, after = self.state(float(share))
            drop += 0.5 * float(share - places[i]) * (before + after)
            before = after
        found: Array = self.weight * (last - first + drop)
        return found

    def _loss(self, flow: Array) -> Array:
        """Head lost over the whole pipe at a flow [m], with its sign; as the march has it."""
        lost: Array = np.empty(flow.size)
        lose(Lost(flow=np.ascontiguousarray(flow), row=self.loss, out=lost), self.step)
        return lost

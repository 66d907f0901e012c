"""Line-ups as textbooks have them, and marches on a chosen step: what the program's checks are computed with.

They go the program's way (steady flow, grid, march) with friction, gravity and step as a source states them.
Frictionless means ``friction_factor=0``. Elevations are 0, so that heads are the figures of textbooks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.hydraulics.losses import loss_tables
from surge.hydraulics.steady import Steady, steady_state
from surge.kernel import columns
from surge.model.lineup import (
    GRAVITY,
    LineUp,
    Liquid,
    NonReturnValve,
    Pipe,
    Point,
    Pump,
    Scenario,
    Table,
    Tank,
    Valve,
)
from surge.transient.cavity_march import CavityMarch, build_cavity_grid
from surge.transient.grid import build_grid
from surge.transient.links import Laws
from surge.transient.march import Marched
from surge.transient.reaches import Reaches, divide
from surge.transient.unsteady_march import UnsteadyMarch, build_unsteady_grid

LINEAR: Table = ((0.0, 0.0), (1.0, 1.0))
THIN = Liquid(name="test liquid", density=1000.0, sound_speed=1480.0, viscosity=0.0, vapour_pressure=0.0)


def kv_of(c: float, *, gravity: float = GRAVITY) -> float:
    """Return the Kv [m3/h] of an orifice Q = c*sqrt(dH).

    It follows from Q = Kv/3600*sqrt(dp/1e5*1000/rho) and dp = rho*g*dH.

    Parameters
    ----------
    c : float
        [m2.5/s]
    gravity : float
        [m/s2]
    """
    return 3600 * c / math.sqrt(gravity / 100)


def pipe(name: str, start: str, end: str, length: float, wave_speed: float, **more: Any) -> Pipe:
    """Return a pipe of a length [m] and wave speed [m/s]; frictionless, unless ``more`` says otherwise."""
    more = {"diameter": 0.5, "friction_factor": 0.0} | more
    return Pipe(name=name, start=start, end=end, length=length, wave_speed=wave_speed, **more)


def valve(name: str, start: str, end: str, c: float, *, gravity: float = GRAVITY, **more: Any) -> Valve:
    """A valve with a linear characteristic; ``c`` [m2.5/s] of Q = c*sqrt(dH), fully open."""
    return Valve(
        name=name, start=start, end=end, kv=kv_of(c, gravity=gravity), **{"characteristic": LINEAR} | more
    )


def line_up(elements: Sequence[Any], heads: Mapping[str, float], **more: Any) -> LineUp:
    """A line-up of ``elements``; ``heads`` [m] are tanks, points in one pipe only are closed ends."""
    touched = [p for e in elements for p in (e.start, e.end)]
    points = tuple(
        Point(name=n, elevation=0.0, closed=touched.count(n) == 1 and n not in heads)
        for n in dict.fromkeys(touched)
    )
    return LineUp(
        title="test",
        points=points,
        pipes=tuple(e for e in elements if isinstance(e, Pipe)),
        valves=tuple(e for e in elements if isinstance(e, Valve)),
        passages=tuple(e for e in elements if type(e).__name__ == "Passage"),
        pumps=tuple(e for e in elements if isinstance(e, Pump)),
        non_return_valves=tuple(e for e in elements if isinstance(e, NonReturnValve)),
        tanks=tuple(Tank(name=f"tank {p}", point=p, side="shore", level=h) for p, h in heads.items()),
        **{"liquid": THIN} | more,
    )


@dataclass(kw_only=True)
class KeptMarch:
    """A march with all its steps kept.

    Attributes
    ----------
    time : ndarray of shape (steps + 1,)
        [s], from 0 on.
    """

    lineup: LineUp
    steady: Steady
    marched: Marched
    time: Array = field(init=False)
    heads: Array = field(init=False)
    flows: Array = field(init=False)

    def __post_init__(self) -> None:
        self.refresh()

    def refresh(self) -> None:
        """Take up what the march has recorded."""
        self.time = np.concatenate(self.marched.time)
        self.heads = np.vstack(self.marched.heads)
        self.flows = np.vstack(self.marched.flows)

    def advance(self, steps: int) -> None:
        """March so many steps more."""
        self.marched.advance(steps)
        self.refresh()

    def head(self, point: str) -> Array:
        """Head of a point at every step [m]."""
        return self.heads[:, self.marched.grid.points.index(point)]

    def flow(self, link: str) -> Array:
        """Flow of a link at every step [m3/s]."""
        return self.flows[:, self.marched.grid.links.index(link)]

    def into(self, name: str, *, far: bool) -> Array:
        """Flow from the point at an end of a pipe into the pipe, at every step [m3/s]."""
        grid = self.marched.grid
        return self.flows[:, len(grid.links) + grid.ends.index((name, far))]

    def at(self, point: str, time: float) -> float:
        """Head of a point at an instant of the grid [m]."""
        k = round(time / self.marched.grid.reaches.dt)
        assert abs(self.time[k] - time) < 1e-9 * max(time, 1.0)
        return float(self.head(point)[k])

    def state(self, k: int) -> tuple[Array, Array]:
        """Head [m] and flow [m3/s] at the nodes of pipe ``k`` now, ends as their points have them."""
        grid, p = self.marched.grid, self.lineup.pipes[k]
        net, at = grid.net, grid.nodes[k]
        forward, back = net.p[net.window[0] + at], net.m[net.window[1] + at]
        impedance = p.wave_speed / (self.lineup.gravity * p.area)
        head, flow = (forward + back) / 2, (forward - back) / (2 * impedance)
        for far, i in ((False, 0), (True, -1)):
            e = grid.ends.index((p.name, far))
            point = net.ei[e, columns.E_POINT]
            head[i] = net.pf[point, columns.P_H]
            flow[i] = (head[i] - net.ef[e, columns.E_X]) * net.ef[e, columns.E_Y] * (-1 if far else 1)
        return head, flow


def start(
    lineup: LineUp,
    dt: float,
    *,
    ratio: Mapping[str, Table] | None = None,
    speed: Mapping[str, Table] | None = None,
    trips: Mapping[str, float] | None = None,
    shut: tuple[str, ...] = (),
    trapped: tuple[tuple[str, float], ...] = (),
    parts: int = 1,
    gas: float | None = None,
    unsteady: bool = False,
) -> KeptMarch:
    """A run at time 0 on the step ``dt`` [s]; laws of Kv ratio and speed as they stand, trips [s].

    With ``gas``, a share of free gas [-], it is one with cavities; or with ``unsteady`` friction.
    """
    steady = steady_state(lineup, Scenario(name="test", shut_at_start=shut, trapped=trapped))
    flow = np.array([steady.flow[p.name] for p in lineup.pipes])
    reaches: Reaches = replace(divide(np.array([p.travel_time for p in lineup.pipes]), dt), parts=parts)
    laws = Laws(ratio=dict(ratio or {}), speed=dict(speed or {}), trips=dict(trips or {}))
    tables, frozen = loss_tables(lineup, flow), lineup.frozen_friction
    if unsteady:
        given = build_unsteady_grid(lineup, steady, reaches=reaches, laws=laws, tables=tables)
        remembers = UnsteadyMarch(grid=given, frozen=frozen, stride=1)
        return KeptMarch(lineup=lineup, steady=steady, marched=remembers)
    if gas is None:
        grid = build_grid(lineup, steady, reaches=reaches, laws=laws, tables=tables)
        return KeptMarch(lineup=lineup, steady=steady, marched=Marched(grid=grid, frozen=frozen, stride=1))
    boils = build_cavity_grid(lineup, steady, reaches=reaches, laws=laws, tables=tables, gas=gas)
    return KeptMarch(lineup=lineup, steady=steady, marched=CavityMarch(grid=boils, frozen=frozen))


def run(lineup: LineUp, dt: float, duration: float, **more: Any) -> KeptMarch:
    """March for ``duration`` [s]; see :func:`start`."""
    made = start(lineup, dt, **more)
    made.advance(round(duration / dt))
    return made


def step_at(time: float, before: float = 1.0, after: float = 0.0) -> Table:
    """Return a law that changes at a time [s] from one value to another [-], in no time."""
    return ((0.0, before), (time, before), (time, after))


def sampled(law: Callable[[float], float], dt: float, end: float) -> Table:
    """Return a law through its exact values [-] at every step ``dt`` [s] up to ``end`` [s]."""
    return tuple((k * dt, law(k * dt)) for k in range(round(end / dt) + 1))


def reservoir_line(
    *, head: float, length: float, wave_speed: float, velocity: float, diameter: float = 0.5, **more: Any
) -> LineUp:
    """Tank - frictionless pipe - valve into a head of 0, flowing at ``velocity`` [m/s] when open."""
    c = math.pi / 4 * diameter**2 * velocity / math.sqrt(head)
    return line_up(
        [
            pipe("line", "tank", "before", length, wave_speed, diameter=diameter),
            valve("valve", "before", "out", c, gravity=more.get("gravity", GRAVITY)),
        ],
        {"tank": head, "out": 0.0},
        **more,
    )

"""A slow and independent solver, written from the physics; it reads line-ups but imports no solver.

Steady flow: all heads and flows in one system for ``scipy.optimize.root``. Transient: a line is a row of
masses (inertia and friction of a segment) between springs (compressibility and wall of a cell), stepped by
a staggered leapfrog below Courant number 1; it smears steep fronts, so it is for smooth strokes. What has no
length is solved implicitly between the two cells it joins. Friction factors are those of the library
``fluids``; heads [m], flows [m3/s].
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import fluids
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, root

Array = NDArray[np.float64]


def darcy(reynolds: float, relative: float) -> float:
    """64/Re to 2000, Colebrook from 4000 on, a straight line in Re between them."""
    if reynolds <= 2000:
        return 64 / max(reynolds, 1e-9)
    if reynolds >= 4000:
        return float(fluids.friction.Colebrook(float(reynolds), relative))
    top = float(fluids.friction.Colebrook(4000.0, relative))
    return 0.032 + (top - 0.032) * (reynolds - 2000) / 2000


class Line:
    """Loss of one pipe against its flow."""

    def __init__(self, pipe: Any, viscosity: float, g: float) -> None:
        self.pipe, self.viscosity, self.g = pipe, viscosity, g
        self.area = math.pi / 4 * pipe.diameter**2

    def loss(self, q: float) -> float:
        p = self.pipe
        v = q / self.area
        f = darcy(abs(v) * p.diameter / self.viscosity, p.roughness / p.diameter)
        return (f * p.length / p.diameter + p.minor_loss) * v * abs(v) / (2 * self.g)


class Curve:
    """Head of a pump: the parabola through two or three points; H(-Q) = 2 H(0) - H(Q); affinity laws."""

    def __init__(self, points: Any) -> None:
        q, h = np.array(points, dtype=float).T
        if len(q) == 2:
            self.c = np.array([(h[1] - h[0]) / q[1] ** 2, 0.0, h[0]])
        else:
            assert len(q) == 3
            self.c = np.polyfit(q, h, 2)

    def __call__(self, q: float, n: float) -> float:
        c2, c1, c0 = self.c
        up = c1 * n * abs(q) + c2 * q * q
        return float(n * n * c0 + (up if q >= 0 else -up))


def orifice(kv: float, g: float) -> float:
    """c of Q = c*sqrt(dH): Kv is m3/h of water (1000 kg/m3) at 1 bar."""
    return kv / 3600 * math.sqrt(g * 1000 / 1e5)


def ratio(valve: Any, opening: float) -> float:
    x, y = zip(*valve.characteristic, strict=True)
    return float(np.interp(opening, x, y))


def tank_heads(lineup: Any) -> dict[str, float]:
    """Head each tank holds; a ship's tank not up to its pipe's end is a free outfall."""
    held = {}
    for t in lineup.tanks:
        z = next(p.elevation for p in lineup.points if p.name == t.point)
        surface = max(t.level, z) if t.side == "ship" else t.level
        held[t.point] = surface + t.blanket / (lineup.liquid.density * lineup.gravity)
    return held


@dataclass
class Flow:
    """Heads by point, flows by element."""

    head: dict[str, float]
    flow: dict[str, float]


def steady(
    lineup: Any,
    *,
    opening: dict[str, float] | None = None,
    speed: dict[str, float] | None = None,
    free: str = "",
    through: str = "",
    rate: float = 0.0,
    guess: float = 0.05,
) -> Flow:
    """Steady flow of everything; ``free`` is an element whose head change is what ``rate`` needs.

    ``opening`` and ``speed`` replace those of the line-up. A shut valve passes nothing, and neither does
    a pump with a non-return valve against which the flow would turn.
    """
    g = lineup.gravity
    held = tank_heads(lineup)
    elements = [*lineup.pipes, *lineup.valves, *lineup.passages, *lineup.pumps]
    names = [p.name for p in lineup.points]
    lines = {p.name: Line(p, lineup.liquid.viscosity, g) for p in lineup.pipes}
    shut: set[str] = set()

    def law(e: Any, q: float) -> float | None:
        """Head lost from start to end; None when nothing passes."""
        if e.name in lines:
            return lines[e.name].loss(q)
        if hasattr(e, "curve"):
            return -Curve(e.curve)(q, (speed or {}).get(e.name, e.speed))
        c = orifice(e.kv, g)
        if hasattr(e, "characteristic"):
            c *= ratio(e, (opening or {}).get(e.name, e.opening))
        return q * abs(q) / c**2 if c > 0 else None

    def miss(x: Array) -> Array:
        head = dict(zip(names, x[: len(names)], strict=True))
        flow = x[len(names) : len(names) + len(elements)]
        balance = dict.fromkeys(names, 0.0)
        out = []
        for e, q in zip(elements, flow, strict=True):
            balance[e.start] -= q
            balance[e.end] += q
            lost = None if e.name in shut else law(e, q)
            drop = head[e.start] - head[e.end]
            if e.name == free:
                out.append(drop - x[-1])
            else:
                out.append((drop - lost) if lost is not None else q)
        out += [(head[n] - held[n]) if n in held else 100 * balance[n] for n in names]
        if free:
            out.append(100 * (flow[[e.name for e in elements].index(through)] - rate))
        return np.array(out)

    for _ in range(2 + len(lineup.pumps)):
        x0 = np.concatenate(
            [
                np.full(len(names), np.mean(list(held.values()))),
                np.full(len(elements), guess),
                [1.0] if free else [],
            ]
        )
        found = root(miss, x0, method="hybr", options={"xtol": 1e-13, "maxfev": 40000})
        assert np.max(np.abs(found.fun)) < 1e-7, found.message
        flow = dict(zip([e.name for e in elements], found.x[len(names) :], strict=False))
        back = {p.name for p in lineup.pumps if p.non_return and flow[p.name] < -1e-9} - shut
        if not back:
            break
        shut |= back
    return Flow(head=dict(zip(names, found.x, strict=False)), flow=flow)


class March:
    """The transient of a line-up.

    Parameters
    ----------
    lineup, initial
        The line-up (no point without a pipe or tank) and its steady flow.
    cells : float
        Segments in the pipe of longest travel time.
    least : int
        Segments of any pipe, at least.
    opening, speed : dict of str to callable
        Opening of a valve, or speed of a pump, against time [s].
    """

    def __init__(
        self,
        lineup: Any,
        initial: Flow,
        *,
        cells: int = 200,
        least: int = 4,
        courant: float = 0.7,
        opening: dict[str, Callable[[float], float]] | None = None,
        speed: dict[str, Callable[[float], float]] | None = None,
    ) -> None:
        self.g, self.lineup = lineup.gravity, lineup
        self.opening, self.speed = opening or {}, speed or {}
        longest = max(p.length / p.wave_speed for p in lineup.pipes)
        dx_time = longest / cells
        names = [p.name for p in lineup.points]
        self.names = names
        # Nodes: the points first, then the inner ones of each pipe.
        storage = np.zeros(len(names))
        head = [initial.head[n] for n in names]
        left, right, inertia, seg_q, self.segments = [], [], [], [], []
        stores = list(storage)
        fastest = math.inf
        for p in lineup.pipes:
            n = max(round(p.length / p.wave_speed / dx_time), least)
            fastest = min(fastest, p.length / p.wave_speed / n)
            area = math.pi / 4 * p.diameter**2
            dx = p.length / n
            cell = self.g * area * dx / p.wave_speed**2
            a, b = names.index(p.start), names.index(p.end)
            inner = list(range(len(stores), len(stores) + n - 1))
            stores += [cell] * (n - 1)
            stores[a] += cell / 2
            stores[b] += cell / 2
            h0, h1 = initial.head[p.start], initial.head[p.end]
            head += [h0 + (h1 - h0) * k / n for k in range(1, n)]
            nodes = [a, *inner, b]
            first = len(left)
            left += nodes[:-1]
            right += nodes[1:]
            inertia += [dx / (self.g * area)] * n
            seg_q += [initial.flow[p.name]] * n
            self.segments.append((first, first + n, *self._table(p, n)))
        self.left, self.right = np.array(left), np.array(right)
        self.inertia, self.q = np.array(inertia), np.array(seg_q)
        self.head = np.array(head)
        self.dt = courant * fastest
        held = tank_heads(lineup)
        self.held = {names.index(p): h for p, h in held.items()}
        self.yield_ = np.array([0.0 if i in self.held else self.dt / c for i, c in enumerate(stores)])
        self.links = [*lineup.valves, *lineup.passages, *lineup.pumps]
        self.link_q = {e.name: initial.flow[e.name] for e in self.links}
        self.time = 0.0

    def _table(self, pipe: Any, n: int) -> tuple[Array, Array]:
        line = Line(pipe, self.lineup.liquid.viscosity, self.g)
        v = np.concatenate([np.linspace(0, 0.2, 81), np.geomspace(0.201, 20.0, 400)])
        loss = [line.loss(x * line.area) / n for x in v]
        return v * line.area, np.array(loss)

    def _friction(self) -> Array:
        lost = np.empty_like(self.q)
        for a, b, q, loss in self.segments:
            lost[a:b] = np.interp(np.abs(self.q[a:b]), q, loss)
        return lost

    def _link(self, e: Any, drive: float, z: float) -> float:
        """Flow through a link: drive - z*Q = law(Q)."""
        if hasattr(e, "curve"):
            curve, n = Curve(e.curve), self.speed.get(e.name, lambda _: e.speed)(self.time)
            q = float(brentq(lambda x: drive - z * x + curve(x, n), -50.0, 50.0, xtol=1e-13))
            return max(q, 0.0) if e.non_return else q
        c = orifice(e.kv, self.g)
        if hasattr(e, "characteristic"):
            x = self.opening[e.name](self.time) if e.name in self.opening else e.opening
            c *= ratio(e, x)
        if c <= 0:
            return 0.0
        b = z * c * c
        return math.copysign(2 * abs(drive) * c * c / (b + math.sqrt(b * b + 4 * abs(drive) * c * c)), drive)

    def step(self) -> None:
        """Flows half a step on, then heads."""
        dt = self.dt
        lost = self._friction()
        # Loss at half the new and half the old flow, its square law made linear: stable at any friction.
        per = np.where(self.q != 0, lost / np.maximum(np.abs(self.q), 1e-30), 0.0)
        drop = self.head[self.left] - self.head[self.right]
        k = dt / self.inertia
        self.q = (self.q * (1 - 0.5 * k * per) + k * drop) / (1 + 0.5 * k * per)
        self.time += dt
        into = np.bincount(self.right, self.q, self.head.size) - np.bincount(
            self.left, self.q, self.head.size
        )
        new = self.head + self.yield_ * into
        for e in self.links:
            a, b = self.names.index(e.start), self.names.index(e.end)
            za, zb = self.yield_[a], self.yield_[b]
            q = self._link(e, new[a] - new[b], za + zb)
            new[a] -= za * q
            new[b] += zb * q
            self.link_q[e.name] = q
        self.head = new

    def run(self, duration: float) -> tuple[Array, Array]:
        """Highest and lowest head at every point [m], in the order of the line-up's points."""
        n = len(self.names)
        high, low = self.head[:n].copy(), self.head[:n].copy()
        for _ in range(math.ceil(duration / self.dt)):
            self.step()
            np.maximum(high, self.head[:n], out=high)
            np.minimum(low, self.head[:n], out=low)
        return high, low

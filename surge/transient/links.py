"""Points and links of a line-up before they become arrays, and what moves the links.

An element shorter than a reach is lumped: a link between two points with its inertia (trapezoidal rule) and
its loss, and half of its storage at each of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from surge.hydraulics.losses import PipeLoss
from surge.hydraulics.steady import Steady
from surge.kernel.columns import LUMPED, ORIFICE, PUMP
from surge.kernel.curves import PumpCurve
from surge.model.attached import Attached
from surge.model.lineup import LineUp, NonReturnValve, Pump, Table, Valve
from surge.transient.attached import drum_item, non_return_item, relief_item, trip_state
from surge.transient.reaches import Reaches


@dataclass(frozen=True, kw_only=True)
class Laws:
    """What moves: Kv ratio of valves and speed of pumps, as tables of (time [s], value [-]); trips [s]."""

    ratio: dict[str, Table]
    speed: dict[str, Table]
    trips: dict[str, float] = field(default_factory=dict)

    def kind(self, pump: str) -> int:
        """How the kernel takes a pump's speed: as it is (1), or as the least where it has tripped (2)."""
        return 2 if pump in self.trips else 1


class Collected:
    """Collects points and links while the arrays take shape."""

    def __init__(self, lineup: LineUp, steady: Steady, reaches: Reaches, laws: Laws) -> None:
        self.lineup, self.steady, self.reaches, self.laws = lineup, steady, reaches, laws
        self.points = [p.name for p in lineup.points]
        self.heads = [steady.head[p] for p in self.points]
        self.fixed = dict(steady.fixed)
        self.links: list[dict[str, Any]] = []
        self.rho_g = lineup.liquid.density * lineup.gravity
        self.stub = [0.0] * len(self.points)
        self.loss = PipeLoss(lineup)
        self.flow = np.array([steady.flow[p.name] for p in lineup.pipes])
        self._add_links()
        self._add_supplies()
        self._add_attached()
        self._add_lumped()

    def point(self, name: str, head: float) -> str:
        """Add a point that the line-up does not name."""
        self.points.append(name)
        self.heads.append(head)
        self.stub.append(0.0)
        return name

    def _add_links(self) -> None:
        for link in self.lineup.links:
            item = {"name": link.name, "a": link.start, "b": link.end, "q": self.steady.flow[link.name]}
            if isinstance(link, Pump):
                item |= {"kind": PUMP, "curve": self.steady.curve[link.name], "check": link.non_return}
                item["speed"] = self.steady.speed[link.name]
                if link.turning is not None and link.name in self.laws.trips:
                    item["state"] = trip_state(link, link.turning, self.lineup, self.laws.trips[link.name])
            elif isinstance(link, NonReturnValve):
                item |= non_return_item(link, self.steady)
            else:
                item |= {"kind": ORIFICE, "c": self.steady.conductance[link.name]}
                if isinstance(link, Valve):
                    x, y = zip(*link.characteristic, strict=True)
                    item["ratio"] = float(np.interp(self.steady.opening[link.name], x, y))
            self.links.append(item)

    def _add_supplies(self) -> None:
        """A supply with a shut-off pressure: a fixed head behind a falling curve."""
        for s in self.lineup.supplies:
            if s.name not in self.steady.supply:
                continue
            h0, c = self.steady.supply[s.name]
            z = self.lineup.points_by_name[s.point].elevation
            hidden = self.point(f"behind {s.name}", z)
            self.fixed[hidden] = z
            flow = sum(
                ((e.start == s.point) - (e.end == s.point)) * self.steady.flow[e.name]
                for e in self.lineup.elements
            )
            self.links.append(
                {
                    "name": s.name,
                    "a": hidden,
                    "b": s.point,
                    "q": flow,
                    "kind": PUMP,
                    "curve": PumpCurve(
                        knots=np.array([0.0, np.inf]), coef=np.array([[h0, 0.0, -c, 0.0]]), tail0=h0, tail2=c
                    ),
                }
            )

    def _add_attached(self) -> None:
        """What hangs on points: a link to a hidden point for each, at which its vessel holds the head."""
        for relief in self.lineup.relief_valves:
            back = self.lineup.points_by_name[relief.point].elevation + relief.back_pressure / self.rho_g
            self._hang(relief, back, relief_item(relief, self.lineup, self.steady, self.reaches.dt))
        for drum in self.lineup.surge_drums:
            vacuum = self.lineup.points_by_name[drum.point].elevation - self.lineup.atmosphere / self.rho_g
            self._hang(drum, vacuum, drum_item(drum, self.lineup, self.steady, self.reaches.dt))
        for vessel in self.lineup.open_vessels:
            self.stub[self.points.index(vessel.point)] += 2.0 * vessel.area / self.reaches.dt

    def _hang(self, thing: Attached, head: float, item: dict[str, Any]) -> None:
        hidden = self.point(f"behind {thing.name}", head)
        self.fixed[hidden] = head
        self.links.append({"name": thing.name, "a": thing.point, "b": hidden, "q": 0.0, **item})

    def _add_lumped(self) -> None:
        g, dt = self.lineup.gravity, self.reaches.dt
        for k, pipe in enumerate(self.lineup.pipes):
            if self.reaches.count[k]:
                continue
            parts = self.reaches.parts
            inertia = pipe.length / (g * pipe.area) / parts
            storage = g * pipe.area * pipe.length / pipe.wave_speed**2 / parts
            ends = [pipe.start, pipe.end]
            h0, h1 = self.steady.head[pipe.start], self.steady.head[pipe.end]
            for j in range(1, parts):
                head = h0 + (h1 - h0) * j / parts
                ends.insert(j, self.point(f"inside {pipe.name} {j}", head))
            for j in range(parts):
                a, z = ends[j], ends[j + 1]
                self.stub[self.points.index(a)] += storage / dt
                self.stub[self.points.index(z)] += storage / dt
                self.links.append(
                    {"name": pipe.name, "a": a, "b": z, "q": self.flow[k], "kind": LUMPED, "pipe": k,
                     "z": 2 * inertia / dt}
                )  # fmt: skip

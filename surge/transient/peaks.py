"""The extremes of one march as pressures, at every element and place."""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from surge.arrays import Array, Ints
from surge.model.lineup import LineUp, Link, Pipe
from surge.transient.grid import Grid

Key = tuple[str, str, str]  # "element" or "place", name, "high" or "low"

SAME_HEAD = 1e-6  # [m] an extreme inside an element that beats its ends by less is at the end


class Found(NamedTuple):
    """An extreme as one march gives it: pressure [Pa gauge], time [s], share of the length."""

    pressure: float
    time: float
    share: float


def along(lineup: LineUp, pipe: Pipe, shares: Array) -> Array:
    """Elevations of a pipe [m] at shares of its length, straight between its ends."""
    a, b = (lineup.points_by_name[p].elevation for p in (pipe.start, pipe.end))
    return a + (b - a) * shares


class Extremes(Protocol):
    """What a march gives for a summary; a lane of a batch gives the same."""

    @property
    def grid(self) -> Grid:
        """Its grid."""

    @property
    def point_hi(self) -> Array:
        """Highest heads of points [m]."""

    @property
    def point_lo(self) -> Array:
        """Lowest heads of points [m]."""

    @property
    def point_steps(self) -> Ints:
        """Steps of both, shape (points, 2)."""

    @property
    def probe_step(self) -> Ints:
        """Steps at the probes, shape (probes, 2)."""

    def envelope(self) -> tuple[list[Array], list[Array]]:
        """Highest and lowest heads at the nodes of every pipe [m]."""


class Peaks:
    """Extremes of every element and place of one march.

    Parameters
    ----------
    lineup : LineUp
    source : Extremes
        A march, or a lane of a batch.

    Attributes
    ----------
    found : dict of (what, name, "high" or "low") to Found
    """

    def __init__(self, lineup: LineUp, source: Extremes) -> None:
        self.lineup, self.source = lineup, source
        self.rho_g = lineup.liquid.density * lineup.gravity
        self.found: dict[Key, Found] = {}
        self.index = {p: i for i, p in enumerate(source.grid.points)}
        self._places()
        high, low = source.envelope()
        for k, pipe in enumerate(lineup.pipes):
            for way, heads in (("high", high[k]), ("low", low[k])):
                inside = self._inside(k, pipe, way, heads) if heads.size > 2 else None
                self._take(pipe, way, inside)
        for link in lineup.links:
            for way in ("high", "low"):
                self._take(link, way, None)

    def _places(self) -> None:
        m = self.source
        at = [self.index[p.name] for p in self.lineup.points]
        z = np.array([p.elevation for p in self.lineup.points])
        times = m.point_steps[at] * m.grid.reaches.dt
        for column, (way, heads) in enumerate((("high", m.point_hi), ("low", m.point_lo))):
            pressures = (self.rho_g * (heads[at] - z)).tolist()
            for point, pressure, time in zip(self.lineup.points, pressures, times[:, column], strict=True):
                self.found["place", point.name, way] = Found(pressure=pressure, time=float(time), share=0.0)

    def _inside(self, k: int, pipe: Pipe, way: str, heads: Array) -> Found:
        places = self.source.grid.reaches.places(k)
        over = heads - along(self.lineup, pipe, places)
        inner = over[1:-1]
        at = 1 + int(np.argmax(inner) if way == "high" else np.argmin(inner))
        m = self.source
        step = 0
        when = m.probe_step
        if when.size:
            step = when[2 * k, 0] if way == "high" else when[2 * k + 1, 1]
        return Found(
            pressure=float(self.rho_g * over[at]),
            time=float(step * m.grid.reaches.dt),
            share=float(places[at]),
        )

    def _take(self, element: Pipe | Link, way: str, inside: Found | None) -> None:
        a, b = self.found["place", element.start, way], self.found["place", element.end, way]
        pick = max if way == "high" else min
        best = a
        if pick(a.pressure, b.pressure) != a.pressure:
            best = Found(pressure=b.pressure, time=b.time, share=1.0)
        if inside and abs(pick(best.pressure, inside.pressure) - best.pressure) > SAME_HEAD * self.rho_g:
            best = inside
        self.found["element", element.name, way] = best

"""Lines that fill: a tank, what stands at its outlet, pipes one behind another, a closed end."""

from __future__ import annotations

import math
from typing import Any

from surge.model.filling import Filling
from surge.model.lineup import LineUp, Liquid, Passage, Pipe, Point, Scenario, Tank, Valve

DENSITY, GRAVITY = 1000.0, 9.80665
BORE = 0.2


def kv_of(loss: float, diameter: float) -> float:
    """Kv [m3/h] of what takes so many velocity heads."""
    area = math.pi / 4.0 * diameter**2
    return 3600.0 * area * math.sqrt(2.0e5 / (loss * DENSITY))


def one_bore(
    *,
    length: float = 100.0,
    wave_speed: float = 1000.0,
    friction: float = 0.02,
    supply: float = 5e5,
    loss: float = 1.5,
    rise: float = 0.0,
    valve: Valve | None = None,
    diameter: float = BORE,
) -> LineUp:
    """A tank of constant pressure, a loss at its outlet in velocity heads, one pipe to a closed end."""
    points = [Point(name="tank", elevation=0.0), Point(name="end", elevation=rise, closed=valve is None)]
    start = "in" if loss else "tank"
    passages: tuple[Passage, ...] = ()
    if loss:
        points.append(Point(name="in", elevation=0.0))
        passages = (Passage(name="inlet", start="tank", end="in", kv=kv_of(loss, diameter)),)
    tanks = [Tank(name="shore", point="tank", side="shore", level=0.0, blanket=supply)]
    valves: tuple[Valve, ...] = ()
    if valve is not None:
        points.append(Point(name="beyond", elevation=rise))
        tanks.append(Tank(name="ship", point="beyond", side="ship", level=rise - 1.0))
        valves = (valve,)
    pipe = Pipe(
        name="line",
        start=start,
        end="end",
        length=length,
        diameter=diameter,
        wave_speed=wave_speed,
        friction_factor=friction,
    )
    return LineUp(
        title="a line that fills",
        liquid=Liquid(
            name="water", density=DENSITY, sound_speed=1400.0, viscosity=0.0, vapour_pressure=2000.0
        ),
        points=tuple(points),
        pipes=(pipe,),
        passages=passages,
        valves=valves,
        tanks=tuple(tanks),
    )


def filling(lineup: LineUp, *, scenario: Scenario | None = None, **changes: Any) -> Filling:
    """A filling of the whole line, from its first pipe on."""
    given: dict[str, Any] = {"front": 20.0, "gas_pressure": 0.0, "exponent": 1.2, "vent": "open"}
    return Filling(
        name="first fill",
        scenario=scenario or Scenario(name="first fill"),
        start=lineup.pipes[0].start,
        end="end",
        **(given | changes),
    )

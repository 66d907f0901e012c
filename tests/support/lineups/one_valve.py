"""A tank, a pipe, a valve at its end and a receiving tank, with figures to choose."""

from __future__ import annotations

import math
from dataclasses import replace

from surge.model.lineup import Limits, LineUp, Liquid, Pipe, Point, Rate, Scenario, Tank, Valve, ValveMove

LINEAR = ((0.0, 0.0), (1.0, 1.0))


def line(
    *,
    length: float = 1000.0,
    velocity: float = 1.5,
    rating: float = 12e5,
    roughness: float = 0.0,
    branch: float = 0.0,
    second: float = 0.0,
) -> LineUp:
    """A tank, a pipe, a valve at its end, a receiving tank; perhaps a closed branch and a second valve."""
    diameter, a, head = 0.3, 1000.0, 30.0
    flow = velocity * math.pi / 4 * diameter**2
    limits = Limits(rating=rating)
    points = [
        Point(name="in", elevation=0.0),
        Point(name="mid", elevation=0.0),
        Point(name="end", elevation=0.0),
    ]
    points.append(Point(name="out", elevation=0.0))
    share = 0.5
    pipes = [
        Pipe(
            name="first",
            start="in",
            end="mid",
            length=length * share,
            diameter=diameter,
            wave_speed=a,
            roughness=roughness,
            limits=limits,
        ),
        Pipe(
            name="last",
            start="mid",
            end="end",
            length=length * (1 - share),
            diameter=diameter,
            wave_speed=a,
            roughness=roughness,
            limits=limits,
        ),
    ]
    if branch:
        points.append(Point(name="blind", elevation=0.0, closed=True))
        pipes.append(
            Pipe(
                name="branch",
                start="mid",
                end="blind",
                length=branch,
                diameter=0.2,
                wave_speed=a,
                roughness=roughness,
                limits=limits,
            )
        )
    kv = 3600 * flow / math.sqrt(20.0 * 9.80665 * 1000 / 1e5)
    valves = [Valve(name="valve", start="end", end="out", kv=kv, characteristic=LINEAR, limits=limits)]
    moves = [ValveMove(valve="valve", start=1.0, law=((0.0, 1.0), (10.0, 0.0)))]
    if second:
        valves.append(
            Valve(name="other", start="mid", end="side", kv=kv / 2, characteristic=LINEAR, limits=limits)
        )
        points.append(Point(name="side", elevation=0.0))
        moves.append(ValveMove(valve="other", start=1.0 + second, law=((0.0, 1.0), (3.0, 0.0))))
    tanks = [
        Tank(name="source", point="in", side="shore", level=head),
        Tank(name="sink", point="out", side="ship", level=10.0),
    ]
    if second:
        tanks.append(Tank(name="sink 2", point="side", side="ship", level=10.0))
    return LineUp(
        title="line",
        liquid=Liquid(
            name="water", density=1000.0, sound_speed=1480.0, viscosity=1e-6, vapour_pressure=2000.0
        ),
        points=tuple(points),
        pipes=tuple(pipes),
        valves=tuple(valves),
        tanks=tuple(tanks),
        scenarios=(Scenario(name="closing", moves=tuple(moves)),),
    )


def rated_line(**changes: float) -> LineUp:
    """The same with an agreed rate, set by the valve."""
    lineup = line(**{"rating": 9e5, "velocity": 1.2, **changes})
    return lineup.with_(rate=Rate(agreed=0.07, means="throttle", at="valve", through="first"))


def ordered(lineup: LineUp, *, ullage: float | None = None) -> LineUp:
    """The same with its movements as an emergency shutdown, and an ullage of the ship's tank [m3]."""
    scenario = lineup.scenarios[0]
    moves = tuple(replace(m, what="shutdown") for m in scenario.moves)
    scenario = replace(scenario, ordered=0.5, timing=(("signal", 0.5),), moves=moves)
    tanks = tuple(replace(t, ullage=ullage if t.side == "ship" else None) for t in lineup.tanks)
    return lineup.with_(scenarios=(scenario,), tanks=tanks)

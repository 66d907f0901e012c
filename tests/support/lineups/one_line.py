"""A tank, a control valve, one line and one valve that closes: small enough to try everything on it."""

from __future__ import annotations

from dataclasses import replace

from support.lineups.lines import THIN, line_up, pipe, valve
from surge.model.lineup import Limits, LineUp, Rate, Scenario, Valve, ValveMove

QUADRATIC = tuple((k / 10, (k / 10) ** 2) for k in range(11))


def line(*, rating: float = 7.5e5, length: float = 900.0, rate: float = 0.2, **more: object) -> LineUp:
    """Head of 50 m, 20 m at the other end; a period of 2 * length / 1000 s; rating [Pa gauge]."""
    lineup = line_up(
        [
            valve("control valve", "tank", "inlet", 0.12),
            pipe("line", "inlet", "berth", length, 1000.0, friction_factor=0.02),
            valve("end valve", "berth", "ship", 0.2, characteristic=QUADRATIC),
        ],
        {"tank": 50.0, "ship": 20.0},
        liquid=replace(THIN, vapour_pressure=-4e6),  # so that nothing boils
        rate=Rate(agreed=rate, means="throttle", at="control valve", through="line"),
        scenarios=(closing(),),
    )
    tanks = tuple(replace(t, side="ship" if t.point == "ship" else "shore") for t in lineup.tanks)
    pipes = tuple(replace(p, limits=Limits(rating=rating)) for p in lineup.pipes)
    valves = tuple(replace(v, limits=Limits(rating=50e5)) for v in lineup.valves)
    return lineup.with_(tanks=tanks, pipes=pipes, valves=valves, **more)


def closing(stroke: float = 10.0, *, name: str = "end valve") -> Scenario:
    """The valve closes at 1 s."""
    move = ValveMove(
        valve=name, start=1.0, law=((0.0, 1.0), (stroke, 0.0)), origin=("scenario", 0, "event", 0)
    )
    return Scenario(name="closing", moves=(move,), origin=("scenario", 0))


def end_valve(lineup: LineUp) -> Valve:
    return next(v for v in lineup.valves if v.name == "end valve")

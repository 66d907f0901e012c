"""Whole runs against an independent slow solver of another kind (``slow.py``).

Strokes are smooth and last several periods, since the slow solver smears steep fronts. Peaks and lows agree
within 0.5 % of the greatest rise, and the numerical error that the run itself reports.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from support.lineups.lines import LINEAR, line_up, pipe
from support.oracles import independent_solver as slow

from surge.model.lineup import (
    GRAVITY,
    LineUp,
    Liquid,
    Passage,
    Pipe,
    Pump,
    PumpMove,
    Scenario,
    Table,
    Valve,
    ValveMove,
)
from surge.transient.run import simulate

# It must not boil in these runs: the slow solver knows nothing of it.
OIL = Liquid(name="oil", density=820.0, sound_speed=1300.0, viscosity=4e-6, vapour_pressure=0.0)
CURVE = ((0.0, 80.0), (0.12, 72.0), (0.24, 52.0))
GATE: Table = ((0.0, 0.0), (0.3, 0.15), (0.7, 0.65), (1.0, 1.0))


def rough(name: str, start: str, end: str, length: float, speed: float, diameter: float = 0.25) -> Pipe:
    return pipe(name, start, end, length, speed, diameter=diameter, roughness=6e-5, friction_factor=None)


def throttle(name: str, start: str, end: str, kv: float, characteristic: Table = LINEAR) -> Valve:
    return Valve(name=name, start=start, end=end, kv=kv, characteristic=characteristic)


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A line-up, what moves in it, and how finely the slow solver divides its longest pipe."""

    lineup: LineUp
    moves: dict[str, Table] = field(default_factory=dict)
    stops: dict[str, Table] = field(default_factory=dict)
    shut: tuple[str, ...] = ()
    cells: int = 300


def _smooth(begin: float, end: float, a: float, b: float) -> Table:
    """From ``a`` to ``b`` along half a cosine, in 40 straight pieces; on the clock of the scenario."""
    s = np.linspace(0, 1, 41)
    value = a + (b - a) * (1 - np.cos(np.pi * s)) / 2
    return tuple(zip((begin + s * (end - begin)).tolist(), value.tolist(), strict=True))


def pump_hose_valve() -> Trial:
    elements = [
        Pump(name="pump", start="sump", end="discharge", curve=CURVE, non_return=True),
        rough("shore line", "discharge", "jetty", 700.0, 1050.0),
        rough("hose", "jetty", "manifold", 40.0, 450.0, 0.2),
        throttle("valve", "manifold", "deck", 900.0, GATE),
        rough("deck line", "deck", "ship", 90.0, 1100.0),
    ]
    lineup = line_up(elements, {"sump": 6.0, "ship": 9.0}, liquid=OIL, atmosphere=1e9)
    return Trial(lineup=lineup, moves={"valve": _smooth(1.0, 7.0, 1.0, 0.0)})


def tee_with_a_dead_end() -> Trial:
    elements = [
        rough("shore line", "shore", "tee", 900.0, 1100.0, 0.3),
        rough("dead leg", "tee", "blank", 80.0, 1000.0, 0.2),
        rough("deck line", "tee", "before", 150.0, 1000.0, 0.25),
        throttle("valve", "before", "ship", 700.0),
    ]
    lineup = line_up(elements, {"shore": 45.0, "ship": 5.0}, liquid=OIL, atmosphere=1e9)
    return Trial(lineup=lineup, moves={"valve": _smooth(0.5, 4.5, 1.0, 0.0)})


def two_ship_tanks() -> Trial:
    elements = [
        rough("shore line", "shore", "tee", 600.0, 1000.0, 0.3),
        rough("one", "tee", "before 1", 70.0, 1000.0, 0.2),
        rough("two", "tee", "before 2", 110.0, 1100.0, 0.2),
        throttle("first", "before 1", "ship 1", 500.0, GATE),
        throttle("second", "before 2", "ship 2", 400.0),
    ]
    lineup = line_up(elements, {"shore": 40.0, "ship 1": 4.0, "ship 2": 7.0}, liquid=OIL, atmosphere=1e9)
    moves = {"first": _smooth(0.5, 5.0, 1.0, 0.0), "second": _smooth(3.0, 8.0, 1.0, 0.0)}
    return Trial(lineup=lineup, moves=moves)


def pump_trip() -> Trial:
    elements = [
        Pump(name="pump", start="sump", end="discharge", curve=CURVE, non_return=True),
        rough("shore line", "discharge", "end", 1200.0, 1100.0, 0.3),
        Passage(name="stack", start="end", end="ship", kv=900.0),
    ]
    lineup = line_up(elements, {"sump": 6.0, "ship": 15.0}, liquid=OIL, atmosphere=1e9)
    return Trial(lineup=lineup, stops={"pump": _smooth(0.5, 5.5, 1.0, 0.0)})


def opening_into_a_closed_line() -> Trial:
    elements = [
        rough("shore line", "shore", "before", 500.0, 1000.0),
        throttle("valve", "before", "deck", 600.0),
        rough("deck line", "deck", "tee", 120.0, 1050.0),
        rough("dead leg", "tee", "blank", 60.0, 1050.0, 0.2),
        rough("drop", "tee", "bottom", 60.0, 1000.0, 0.2),
        Passage(name="stack", start="bottom", end="ship", kv=300.0),
    ]
    lineup = line_up(elements, {"shore": 60.0, "ship": 6.0}, liquid=OIL, atmosphere=1e9)
    return Trial(lineup=lineup, moves={"valve": _smooth(0.5, 3.0, 0.0, 1.0)}, shut=("valve",))


def long_packed_line() -> Trial:
    elements = [
        rough("sea line", "shore", "before", 6000.0, 1000.0, 0.2),
        throttle("valve", "before", "deck", 600.0),
        rough("deck line", "deck", "ship", 300.0, 1000.0, 0.2),
    ]
    lineup = line_up(elements, {"shore": 190.0, "ship": 5.0}, liquid=OIL, atmosphere=1e9)
    return Trial(lineup=lineup, moves={"valve": _smooth(0.5, 8.0, 1.0, 0.0)}, cells=600)


TRIALS: dict[str, Callable[[], Trial]] = {
    f.__name__: f
    for f in (
        pump_hose_valve,
        tee_with_a_dead_end,
        two_ship_tanks,
        pump_trip,
        opening_into_a_closed_line,
        long_packed_line,
    )
}


def _follow(law: Table) -> Callable[[float], float]:
    t, x = zip(*law, strict=True)
    return lambda time: float(np.interp(time, t, x))


def _from_its_beginning(law: Table) -> Table:
    return tuple((t - law[0][0], x) for t, x in law)


@pytest.mark.parametrize("name", TRIALS)
def test_extremes_of_a_whole_run(name: str) -> None:
    trial = TRIALS[name]()
    lineup = trial.lineup
    scenario = Scenario(
        name=name,
        moves=tuple(
            ValveMove(valve=v, start=law[0][0], law=_from_its_beginning(law))
            for v, law in trial.moves.items()
        ),
        pump_moves=tuple(
            PumpMove(pump=p, start=law[0][0], law=_from_its_beginning(law)) for p, law in trial.stops.items()
        ),
        shut_at_start=trial.shut,
    )
    result = simulate(lineup, scenario)
    initial = slow.steady(lineup, opening=dict.fromkeys(trial.shut, 0.0))
    other = slow.March(
        lineup,
        initial,
        cells=trial.cells,
        opening={v: _follow(law) for v, law in trial.moves.items()},
        speed={p: _follow(law) for p, law in trial.stops.items()},
    )
    high, low = other.run(min(result.method.duration, result.last_event + 15.0))
    rho_g = OIL.density * GRAVITY
    start = np.array([initial.head[p.name] for p in lineup.points])
    rise = max(np.max(high - start), np.max(start - low)) * rho_g
    assert rise > 1e5
    for i, place in enumerate(result.places):
        assert place.steady == pytest.approx(rho_g * start[i], abs=1.0)
        for found, exact in ((place.highest, high[i]), (place.lowest, low[i])):
            allowed = 0.005 * rise + found.error
            assert found.pressure == pytest.approx(rho_g * exact, abs=allowed), (place.name, rise)

"""A small line-up marched as it is, for the kernel compiled and as plain Python."""

from __future__ import annotations

import numpy as np

from surge.hydraulics.losses import loss_tables
from surge.hydraulics.steady import steady_state
from surge.model.lineup import LineUp, Liquid, Pipe, Point, Pump, Scenario, Tank, Valve
from surge.transient.grid import build_grid
from surge.transient.links import Laws
from surge.transient.march import Marched
from surge.transient.reaches import Reaches

LIQUID = Liquid(name="water", density=1000.0, sound_speed=1480.0, viscosity=1e-6, vapour_pressure=2300.0)


def lineup() -> LineUp:
    """A pump with a non-return valve behind a dry point, a short lumped hose, a tee with a dead end."""
    names = ("suction", "discharge", "shore", "berth", "manifold", "tee", "blank", "tank")
    points = tuple(Point(name=n, elevation=0.0, closed=n == "blank") for n in names)

    def pipe(name: str, start: str, end: str, length: float, wave_speed: float) -> Pipe:
        return Pipe(
            name=name,
            start=start,
            end=end,
            length=length,
            diameter=0.3,
            wave_speed=wave_speed,
            roughness=5e-5,
        )

    return LineUp(
        title="plain",
        liquid=LIQUID,
        points=points,
        pipes=(
            pipe("shore line", "shore", "berth", 1000.0, 1000.0),
            pipe("hose", "berth", "manifold", 4.0, 400.0),
            pipe("branch", "tee", "blank", 100.0, 1000.0),
            pipe("drop", "tee", "tank", 100.0, 1000.0),
        ),
        valves=(
            Valve(name="control", start="discharge", end="shore", kv=2000.0, characteristic=((0, 0), (1, 1))),
            Valve(name="manifold", start="manifold", end="tee", kv=2000.0, characteristic=((0, 0), (1, 1))),
        ),
        pumps=(
            Pump(
                name="pump",
                start="suction",
                end="discharge",
                curve=((0.0, 80.0), (0.3, 60.0)),
                non_return=True,
            ),
        ),
        tanks=(
            Tank(name="shore tank", point="suction", side="shore", level=10.0),
            Tank(name="ship tank", point="tank", side="ship", level=5.0),
        ),
    )


def marched(steps: int, laws: Laws) -> Marched:
    """March the line-up at 20 reaches in its shore line; the hose is lumped."""
    line = lineup()
    steady = steady_state(line, Scenario(name="s"))
    tables = loss_tables(line, np.array([steady.flow[p.name] for p in line.pipes]))
    reaches = Reaches(dt=0.05, count=(20, 0, 2, 2), share=(0.0,) * 4)
    run = Marched(
        grid=build_grid(line, steady, reaches=reaches, laws=laws, tables=tables), frozen=False, stride=1
    )
    run.advance(steps)
    return run


# Frozen regression, made by the compiled kernel: with the compiler off the figure must be the same.
FROZEN_PEAK = 500.75964865456484

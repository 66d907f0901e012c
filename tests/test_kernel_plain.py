"""The kernel as plain Python and compiled: the same to the last bit of what matters.

Runs twice in CI, once with NUMBA_DISABLE_JIT=1, so that a fault shows a readable traceback.
"""

from __future__ import annotations

import numpy as np
import pytest

from surge.boundaries import orifice_flow, solve_dense, table_loss
from surge.grid import Laws, build_grid
from surge.lineup import LineUp, Liquid, Pipe, Point, Pump, Scenario, Tank, Valve
from surge.losses import loss_tables
from surge.march import Marched
from surge.reaches import Reaches
from surge.steady import steady_state

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
    reaches = Reaches(dt=0.05, count=(20, 0, 2, 2), misfit=(0.0,) * 4)
    run = Marched(
        grid=build_grid(line, steady, reaches=reaches, laws=laws, tables=tables), frozen=False, stride=1
    )
    run.advance(steps)
    return run


def test_steady_stays_steady() -> None:
    run = marched(120, Laws(ratio={}, speed={}))
    # Heads of 100 m, 120 steps: rounding only.
    assert np.ptp(np.vstack(run.heads), axis=0).max() < 1e-9


def test_closure_against_the_pump() -> None:
    run = marched(150, Laws(ratio={"manifold": ((0.0, 1.0), (2.0, 0.0))}, speed={}))
    index = run.grid.points.index("manifold")
    heads = np.vstack(run.heads)[:, index]
    # At 7.5 s the line has rung down to no flow; the peak is above shut-off head (10 + 80 m), which
    # nothing can be below for ever, and below the steady head plus the whole velocity head J.
    assert heads.max() == pytest.approx(FROZEN_PEAK, rel=1e-9)
    assert heads.max() > 90.0


# Frozen regression, made by the compiled kernel: with the compiler off the figure must be the same.
FROZEN_PEAK = 500.7662961767273


def test_orifice_flow_solves_its_equation() -> None:
    for drive in (-50.0, -1e-9, 0.0, 1e-6, 30.0):
        for c2 in (0.0, 1e-20, 1e-6, 1e-2):
            q = orifice_flow(drive, 200.0, c2)
            if c2 > 0:
                assert 200.0 * q * c2 + q * abs(q) == pytest.approx(drive * c2, rel=1e-12, abs=1e-30)
            else:
                assert q == 0.0


def test_table_goes_on_squared() -> None:
    table = np.array([[0.0, 1.0, 4.0]])
    assert table_loss(1.5, 1.0, 0, table) == (2.5, 3.0)
    assert table_loss(4.0, 1.0, 0, table)[0] == pytest.approx(16.0)


def test_solve_dense_needs_its_pivot() -> None:
    matrix = np.array([[0.0, 2.0], [1.0, 1.0]])
    rhs = np.array([4.0, 3.0])
    assert solve_dense(matrix, rhs, 2)
    assert rhs == pytest.approx([1.0, 2.0])
    assert not solve_dense(np.zeros((2, 2)), rhs, 2)

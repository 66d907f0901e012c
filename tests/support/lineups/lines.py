"""Line-ups and marches of the tests: those of the program's own checks (one source)."""

from __future__ import annotations

from surge.model.lineup import LineUp, Liquid, Pump
from surge.proof.lines import (
    LINEAR,
    THIN,
    KeptMarch,
    kv_of,
    line_up,
    pipe,
    reservoir_line,
    run,
    sampled,
    start,
    step_at,
    valve,
)

__all__ = [
    "LINEAR",
    "THIN",
    "KeptMarch",
    "kv_of",
    "line_up",
    "pipe",
    "reservoir_line",
    "run",
    "sampled",
    "start",
    "step_at",
    "valve",
]

WATER = Liquid(name="water", density=1000.0, sound_speed=1480.0, viscosity=1e-6, vapour_pressure=2e3)
ROUGH = {"friction_factor": None, "roughness": 5e-5}


def hosed(length: float = 12.0) -> LineUp:
    return line_up(
        [
            pipe("line", "tank", "berth", 600.0, 1000.0, **ROUGH),
            pipe("hose", "berth", "before", length, 400.0, diameter=0.3, **ROUGH),
            valve("valve", "before", "deck", 0.05),
            pipe("deck line", "deck", "out", 100.0, 1000.0, **ROUGH),
        ],
        {"tank": 40.0, "out": 2.0},
        liquid=WATER,
    )


def dead_legged(dead_leg: float = 83.0, liquid: Liquid = WATER, **more: object) -> LineUp:
    """A pump with its non-return valve, a tee with a dead leg, a lumped hose, a valve that closes."""
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0))
    return line_up(
        [
            Pump(name="pump", start="sump", end="discharge", curve=curve, non_return=True),
            pipe("main", "discharge", "tee", 400.0, 1000.0, **ROUGH),
            pipe("dead leg", "tee", "blank", dead_leg, 1000.0, diameter=0.2, **ROUGH),
            pipe("hose", "tee", "manifold", 3.0, 400.0, diameter=0.3, **ROUGH),
            valve("valve", "manifold", "deck", 0.05),
            pipe("deck line", "deck", "ship", 90.0, 1000.0, **ROUGH),
        ],
        {"sump": 5.0, "ship": 8.0},
        liquid=liquid,
        **more,
    )

"""Line-ups and marches of the tests: those of the program's own checks (one source)."""

from __future__ import annotations

from surge.model.lineup import LineUp, Liquid
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


def hosed(length: float = 12.0) -> LineUp:
    rough = {"friction_factor": None, "roughness": 5e-5}
    return line_up(
        [
            pipe("line", "tank", "berth", 600.0, 1000.0, **rough),
            pipe("hose", "berth", "before", length, 400.0, diameter=0.3, **rough),
            valve("valve", "before", "deck", 0.05),
            pipe("deck line", "deck", "out", 100.0, 1000.0, **rough),
        ],
        {"tank": 40.0, "out": 2.0},
        liquid=WATER,
    )


WATER = Liquid(name="water", density=1000.0, sound_speed=1480.0, viscosity=1e-6, vapour_pressure=2e3)

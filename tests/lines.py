"""Line-ups and marches of the tests: those of the program's own checks (one source)."""

from surge.proof_lines import (
    LINEAR,
    THIN,
    Run,
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
    "Run",
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

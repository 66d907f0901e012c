"""Speed of one run with its envelope, as ratios to a compiled yardstick in the same run.

    python tests/benchmarks/bench_kernel.py [--yardstick PROGRAM-OR-C-FILE]

The yardstick takes REACHES STEPS REPEATS and prints ``node-updates/s X``. A C source is built
with ``cc -O3 -march=native -ffast-math``. Without one the ratios are printed as "not compared".
The network is the yardstick's: shore line, arm, deck line, drop line and a dead-end branch.
Medians, both programs taking turns so that a busy machine hurts both alike.
"""

from __future__ import annotations

import argparse
import re
import statistics
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np

from surge.hydraulics.losses import loss_tables
from surge.hydraulics.steady import steady_state
from surge.kernel.march import march
from surge.model.lineup import LineUp, Liquid, Pipe, Point, Scenario, Tank, Valve
from surge.transient.grid import Grid, build_grid
from surge.transient.links import Laws
from surge.transient.reaches import Reaches

DIAMETER = (0.4, 0.3, 0.4, 0.25, 0.25)
WAVE_SPEED = (1100.0, 1000.0, 1150.0, 1150.0, 1150.0)
SHARE = (1, 1 / 100, 1 / 20, 1 / 150, 1 / 150)


def network(reaches: int) -> tuple[LineUp, Reaches]:
    """The benchmark network with ``reaches`` reaches in its shore line."""
    dt = 3000.0 / (WAVE_SPEED[0] * reaches)
    count = tuple(max(2, round(reaches * s)) for s in SHARE)
    ends = (("a", "b"), ("b", "c"), ("c", "d"), ("d", "e"), ("d", "f"))
    pipes = tuple(
        Pipe(
            name=f"p{i}",
            start=s,
            end=e,
            length=n * dt * a,
            diameter=d,
            wave_speed=a,
            friction_factor=0.018,
            minor_loss=0.0,
        )
        for i, ((s, e), d, a, n) in enumerate(zip(ends, DIAMETER, WAVE_SPEED, count, strict=True))
    )
    points = tuple(Point(name=n, elevation=0.0, closed=n == "f") for n in "abcdefg")
    lineup = LineUp(
        title="benchmark",
        liquid=Liquid(name="x", density=1000, sound_speed=1400, viscosity=1e-6, vapour_pressure=0),
        points=points,
        pipes=pipes,
        valves=(Valve(name="v", start="e", end="g", kv=2000, characteristic=((0, 0), (1, 1))),),
        tanks=(
            Tank(name="t", point="a", side="shore", level=80.0),
            Tank(name="s", point="g", side="ship", level=5.0),
        ),
        frozen_friction=True,
    )
    return lineup, Reaches(dt=dt, count=count, share=(0.0,) * 5)


def grid_for(lineup: LineUp, reaches: Reaches, steps: int) -> Grid:
    """Grid with the yardstick's stroke: shut in a quarter of the run."""
    steady = steady_state(lineup, Scenario(name="s"))
    flow = np.array([steady.flow[p.name] for p in lineup.pipes])
    laws = Laws(ratio={"v": ((0.0, 1.0), (0.25 * steps * reaches.dt, 0.0))}, speed={})
    return build_grid(lineup, steady, reaches=reaches, laws=laws, tables=loss_tables(lineup, flow))


def ours(reaches: int, steps: int, *, frozen: bool) -> float:
    """Node updates a second of one run."""
    lineup, division = network(reaches)
    grid = grid_for(lineup, division, steps)
    none = np.zeros((0, 0))
    march(grid.net, 0, 1, division.dt, frozen, False, 1, none, none)
    start = time.perf_counter()
    status, done, _ = march(grid.net, 1, steps, division.dt, frozen, False, 1, none, none)
    spent = time.perf_counter() - start
    assert (status, done) == (0, steps)
    return division.nodes * steps / spent


def build(source: Path) -> Path:
    """The yardstick as a program."""
    if source.suffix != ".c":
        return source
    program = Path(tempfile.mkdtemp()) / "yardstick"
    subprocess.run(
        ["cc", "-O3", "-march=native", "-ffast-math", str(source), "-lm", "-o", str(program)], check=True
    )
    return program


def theirs(program: Path, reaches: int, steps: int) -> float:
    """Node updates a second of the yardstick."""
    done = subprocess.run(
        [program, str(reaches), str(steps), "1"], capture_output=True, text=True, check=True
    )
    found = re.search(r"node-updates/s ([0-9.e+]+)", done.stdout)
    assert found
    return float(found.group(1))


def main() -> None:
    """Print one line per size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--yardstick", type=Path)
    parser.add_argument("--turns", type=int, default=9)
    options = parser.parse_args()
    program = build(options.yardstick) if options.yardstick else None
    print(f"{'reaches':>8} {'steps':>7} {'friction':>9} {'nodes/s':>10} {'yardstick':>10} {'ratio':>6}")
    for reaches, steps in ((100, 100_000), (400, 40_000), (2000, 10_000), (20_000, 1_500)):
        for frozen in (True, False):
            mine, yard = [], []
            for _ in range(options.turns):
                mine.append(ours(reaches, steps, frozen=frozen))
                if program:
                    yard.append(theirs(program, reaches, steps))
            a = statistics.median(mine)
            b = statistics.median(yard) if yard else None
            ratio = f"{a / b:6.2f}" if b else "not compared"
            word = "fixed" if frozen else "local"
            print(f"{reaches:8d} {steps:7d} {word:>9} {a:10.3e} {b or float('nan'):10.3e} {ratio}")


if __name__ == "__main__":
    main()

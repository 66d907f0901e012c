"""Speed of the batch march, as ratios to a compiled yardstick of one thread in the same run.

    python tests/benchmarks/bench_batch.py [--yardstick PROGRAM-OR-C-FILE] [--turns N]

Network and yardstick are those of bench_kernel.py; without one the ratios are "not compared". Node
updates are counted over all scenarios, and the time is that of the whole call, packing included.
Medians, both programs taking turns so that a busy machine hurts both alike; on two threads the
figure only means something when the machine is idle, so the load is printed.
"""

from __future__ import annotations

import argparse
import os
import statistics
import time
from pathlib import Path
from typing import Literal

from bench_kernel import build, grid_for, network, theirs

from surge.kernel.batch_links import WIDE
from surge.transient.batch import march_batch
from surge.transient.batch_lane import Lane
from surge.transient.links import Laws
from surge.transient.march import Marched

Watch = Literal["envelope", "places"]

# Wanted at 400 reaches with frozen friction: (watch, threads) -> times the yardstick.
TARGETS: dict[tuple[Watch, int], float] = {
    ("envelope", 1): 1.5,
    ("envelope", 2): 2.7,
    ("places", 2): 4.0,
}


def lanes_for(reaches: int, steps: int, count: int) -> list[Lane]:
    """Closures of different stroke times on one grid."""
    lineup, division = network(reaches)
    grid = grid_for(lineup, division, steps)
    stroke = 0.25 * steps * division.dt
    laws = [Laws(ratio={"v": ((0.0, 1.0), (stroke * (1 + i / count), 0.0))}, speed={}) for i in range(count)]
    return [Lane(grid=grid, steps=steps, laws=law) for law in laws]


def ours(lanes: list[Lane], *, frozen: bool, watch: Watch, threads: int) -> float:
    """Seconds of one call."""
    start = time.perf_counter()
    found = march_batch(lanes, frozen=frozen, watch=watch, threads=threads)
    spent = time.perf_counter() - start
    for result in found:
        result.check()
    return spent


def against_the_yardstick(program: Path | None, turns: int) -> None:
    """One line for each way to watch, friction and number of threads."""
    reaches, steps, count = 400, 12_000, 4 * WIDE
    lanes = lanes_for(reaches, steps, count)
    work = lanes[0].grid.reaches.nodes * steps * count
    head = f"{'watch':>9} {'friction':>9} {'threads':>8} {'nodes/s':>10} {'yardstick':>10}"
    print(f"{head} {'ratio':>6} {'wanted':>7}")
    ways: tuple[Watch, ...] = ("envelope", "places")
    for frozen in (True, False):
        for watch in ways:
            for threads in (1, 2):
                ours(lanes_for(reaches, 50, 1), frozen=frozen, watch=watch, threads=1)
                mine, yard = [], []
                for _ in range(turns):
                    mine.append(work / ours(lanes, frozen=frozen, watch=watch, threads=threads))
                    if program:
                        yard.append(theirs(program, reaches, 20_000))
                a = statistics.median(mine)
                b = statistics.median(yard) if yard else None
                ratio = f"{a / b:6.2f}" if b else "not compared"
                wanted = TARGETS.get((watch, threads)) if frozen else None
                print(
                    f"{watch:>9} {'fixed' if frozen else 'local':>9} {threads:8d} {a:10.3e} "
                    f"{b or float('nan'):10.3e} {ratio} {wanted or '-':>7}"
                )


def against_single_marches(turns: int) -> None:
    """What the batch saves on one thread."""
    reaches, steps = 400, 4000
    lanes = lanes_for(reaches, steps, WIDE)
    for frozen in (True, False):
        batch, single = [], []
        for _ in range(turns):
            batch.append(ours(lanes, frozen=frozen, watch="envelope", threads=1))
            lineup, division = network(reaches)
            made = Marched(grid=grid_for(lineup, division, steps), frozen=frozen, stride=steps)
            start = time.perf_counter()
            made.advance(steps)
            single.append(WIDE * (time.perf_counter() - start))
        gain = statistics.median(single) / statistics.median(batch)
        word = "fixed" if frozen else "local"
        print(f"{WIDE} scenarios one by one, {word} friction: {gain:.2f} times as long")


def sizes(turns: int) -> None:
    """Cost against scenarios and against nodes times steps: the last column should not grow."""
    print(
        f"{'reaches':>8} {'steps':>7} {'scenarios':>10} {'seconds':>9} {'ns a node, step and scenario':>30}"
    )
    rows = [(400, 4000, n * WIDE) for n in (1, 2, 4, 8, 16)]
    rows += [(100, 16_000, 2 * WIDE), (200, 8000, 2 * WIDE), (800, 2000, 2 * WIDE), (1600, 1000, 2 * WIDE)]
    rows += [(400, 1000, 2 * WIDE), (400, 16_000, 2 * WIDE)]
    for reaches, steps, count in rows:
        lanes = lanes_for(reaches, steps, count)
        spent = statistics.median(
            ours(lanes, frozen=True, watch="envelope", threads=1) for _ in range(min(turns, 3))
        )
        each = spent / (lanes[0].grid.reaches.nodes * steps * count) * 1e9
        print(f"{reaches:8d} {steps:7d} {count:10d} {spent:9.3f} {each:30.3f}")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--yardstick", type=Path)
    parser.add_argument("--turns", type=int, default=7)
    options = parser.parse_args()
    program = build(options.yardstick) if options.yardstick else None
    print(f"load before: {os.getloadavg()[0]:.2f} on {os.cpu_count()} processors")
    against_the_yardstick(program, options.turns)
    against_single_marches(options.turns)
    sizes(options.turns)
    print(f"load after: {os.getloadavg()[0]:.2f}")


if __name__ == "__main__":
    main()

"""Hunt for pressures that the program puts too low.

    python tests/benchmarks/hunt.py [-n LINE-UPS] [--seed SEED] [--finer 8] [--size 1]

Every generated line-up is run as ``surge check`` would, then marched once more at an eighth of the reported
step (or ``--finer``). Printed: how often an extreme lies outside its reported error, and how far on the
unsafe side (a highest too low, a lowest too high), as a share of the line-up's greatest rise. Not collected.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surge.errors import SurgeError
from surge.grid import build_grid
from surge.lineup import LineUp, Scenario, Table
from surge.march import Marched
from surge.reaches import divide
from surge.run import plan, simulate
from surge.scenario_result import Summary

sys.path.insert(0, str(Path(__file__).parents[1]))

from generated import generated  # tests are no package

MOST_WORK = 4e9  # nodes times steps of the finer march; larger ones are skipped and counted


@dataclass(frozen=True, kw_only=True)
class Missed:
    """One extreme against the finer march; pressures [Pa]."""

    seed: int
    what: str
    unsafe: float
    error: float
    parts: tuple[float, float, float]
    rise: float
    settled: bool
    sudden: bool

    @property
    def outside(self) -> bool:
        return abs(self.unsafe) > self.error

    @property
    def share(self) -> float:
        return self.unsafe / self.rise


def finer(lineup: LineUp, scenario: Scenario, dt: float, duration: float) -> Summary | None:
    """The same run at ``dt`` [s]; None when it would be too much work."""
    work = plan(lineup, scenario)
    reaches = divide(work.times, dt)
    if reaches.nodes * duration / dt > MOST_WORK:
        return None
    grid = build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    marched = Marched(grid=grid, frozen=False, stride=10**6)
    marched.advance(int(np.ceil(duration / dt)))
    return Summary(lineup, marched)


def compare(seed: int, size: float, share: int) -> Iterator[Missed] | None:
    """Every extreme of a seed's line-up against the finer march; None when that was skipped."""
    lineup, scenario = generated(seed, size=size)
    result = simulate(lineup, scenario)
    reference = finer(lineup, scenario, result.method.dt / share, result.method.duration)
    if reference is None:
        return None
    rise = max(reference.greatest_rise(), 1e4)
    sudden = any(_steps(m.law) for m in (*scenario.moves, *scenario.pump_moves))
    items = [("element", e) for e in result.elements] + [("place", p) for p in result.places]

    def all_of() -> Iterator[Missed]:
        for what, item in items:
            for way, found in (("high", item.highest), ("low", item.lowest)):
                exact = reference.found[what, item.name, way].pressure
                unsafe = exact - found.pressure if way == "high" else found.pressure - exact
                yield Missed(
                    seed=seed,
                    what=f"{what} {item.name} {way}",
                    unsafe=unsafe,
                    error=found.error,
                    parts=(found.step_part, found.misfit_part, found.lumping_part),
                    rise=rise,
                    sudden=sudden,
                    settled=result.method.worst_error <= result.method.tolerance,
                )

    return all_of()


def _steps(law: Table) -> bool:
    return any(t0 == t1 and a != b for (t0, a), (t1, b) in zip(law, law[1:], strict=False))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=40, help="line-ups")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--finer", type=int, default=8, help="how many times finer the other march is")
    parser.add_argument("--size", type=float, default=1.0, help="scale of the shore line's length")
    asked = parser.parse_args()
    count, first = asked.n, asked.seed
    found: list[Missed] = []
    skipped, refused = 0, 0
    begin = time.perf_counter()
    for seed in range(first, first + count):
        try:
            compared = compare(seed, asked.size, asked.finer)
        except SurgeError as error:
            refused += 1
            print(f"seed {seed}: {str(error)[:150]}")
            continue
        if compared is None:
            skipped += 1
            continue
        found += compared
    report(found, count - skipped - refused, skipped, refused, time.perf_counter() - begin)


def report(found: list[Missed], done: int, skipped: int, refused: int, seconds: float) -> None:
    """Print what was found."""
    print(
        f"{done} line-ups, {len(found)} extremes, {seconds:.0f} s; "
        f"{skipped} skipped (work), {refused} refused"
    )
    if not found:
        return
    unsafe = [m for m in found if m.outside and m.unsafe > 0]
    for sudden in (False, True):
        for settled in (True, False):
            group = [m for m in found if m.sudden == sudden and m.settled == settled]
            if group:
                words = ("sudden" if sudden else "gradual") + (", settled" if settled else ", not settled")
                print(f"{words:24s} {_group(group)}")
    shares = np.array([m.share for m in found]) * 100
    cuts = (0, 1, 5, 25, 50, 75, 95, 99, 100)
    print("unsafe side, % of the greatest rise, percentiles " + ", ".join(f"{c}" for c in cuts))
    print("   " + ", ".join(f"{v:.4f}" for v in np.percentile(shares, cuts)))
    ratio = np.array([abs(m.unsafe) / max(m.error, 1.0) for m in found])
    print("difference over reported error, percentiles 50, 90, 95, 99, 99.9, 100")
    print("   " + ", ".join(f"{v:.3f}" for v in np.percentile(ratio, (50, 90, 95, 99, 99.9, 100))))
    print("largest underestimates:")
    for m in sorted(found, key=lambda m: -m.share)[:12]:
        print(_line(m))
    print("farthest outside their error, unsafe side:")
    for m in sorted(unsafe, key=lambda m: -(m.unsafe - m.error) / m.rise)[:25]:
        print(_line(m))


def _group(found: list[Missed]) -> str:
    """How many of a group lie outside their error, and the largest underestimate."""
    outside = [m for m in found if m.outside]
    unsafe = sum(m.unsafe > 0 for m in outside)
    share = 100 * len(outside) / len(found)
    return (
        f"{len({m.seed for m in found}):4d} line-ups, {len(found):5d} extremes, "
        f"outside their error {len(outside)} ({share:.2f} %), {unsafe} on the unsafe side, "
        f"largest underestimate {100 * max(m.share for m in found):.3f} % of the rise"
    )


def _line(m: Missed) -> str:
    step, misfit, lump = m.parts
    return (
        f"  seed {m.seed:5d} {m.what:34s} {100 * m.share:8.4f} % of rise {m.rise / 1e5:7.3f} bar; "
        f"{m.unsafe:9.1f} Pa, "
        f"error {m.error:9.1f} (step {step:.1f}, misfit {misfit:.1f}, lump {lump:.1f})"
        f"{'' if m.settled else ' not settled'}"
    )


if __name__ == "__main__":
    main()

"""Hunt for extremes that come after a run has ended.

    python tests/benchmarks/durations.py [-n LINE-UPS] [--seed SEED] [--times 5] [--finer 10] [--networks]

Line-ups with closed branches from much shorter to much longer than the way to the tank
(``tests/support/lineups/branches.py``; ``--networks``: those of the hunt) are run as ``surge check`` would,
and marched once more ``--times`` as long; every so many (``--finer``; 0 for none) also at half the step.
Printed: every extreme that lies beyond the told one by more than its error. Exit code 1 if the longer march
at the same step finds one. Not collected.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

from surge.errors import SurgeError
from surge.model.lineup import LineUp, Scenario
from surge.transient.plan import first_duration, plan
from surge.transient.reaches import divide
from surge.transient.run import simulate

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.branches import branched  # tests are no package
from support.lineups.networks import network
from support.oracles.long_runs import Later, longer


def first_work(lineup: LineUp, scenario: Scenario) -> float:
    """Nodes times steps of the first march, before anything is eased."""
    work = plan(lineup, scenario)
    reaches = divide(work.times, work.step())
    return reaches.nodes * first_duration(work) / reaches.dt


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("-n", type=int, default=200, help="line-ups")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--times", type=float, default=5.0, help="how much longer the other march is")
    parser.add_argument("--finer", type=int, default=10, help="every how many are marched finer too")
    parser.add_argument("--networks", action="store_true", help="networks of the hunt instead")
    parser.add_argument("--most", type=float, default=4e9, help="nodes times steps of the longer march")
    parser.add_argument("--first", type=float, default=1.5e8, help="and of a first march; others are skipped")
    asked = parser.parse_args()
    make = network if asked.networks else branched
    found: dict[str, list[Later]] = {"same step": [], "half the step": []}
    counts: Counter[str] = Counter()
    begin = time.process_time()
    for seed in range(asked.seed, asked.seed + asked.n):
        lineup, scenario = make(seed)
        try:
            if first_work(lineup, scenario) > asked.first:
                counts["skipped"] += 1
                continue
            result = simulate(lineup, scenario)
        except SurgeError as error:
            counts["refused"] += 1
            print(f"seed {seed} refused: {str(error)[:200]}")
            continue
        if result.undecided or result.vapour:
            counts["undecided"] += 1
            print(f"seed {seed}: {result.undecided}")
        counts["settled" if result.method.worst_error <= result.method.tolerance else "not settled"] += 1
        for what, share in (("same step", 1), ("half the step", 2)):
            if share > 1 and not (asked.finer and seed % asked.finer == 0):
                continue
            more = longer(seed, lineup, scenario, result, times=asked.times, finer=share, most=asked.most)
            counts[f"{what}: {'too much work' if more is None else 'marched'}"] += 1
            missed = [m for m in more or [] if m.missed]
            found[what] += more or []
            if missed:
                counts[f"{what}: line-ups missed"] += 1
                worst = max(missed, key=lambda m: m.beyond - m.error)
                print(f"{what}: {len(missed)} missed, e.g. {worst}", flush=True)
    print(
        f"seeds {asked.seed} to {asked.seed + asked.n - 1}, {time.process_time() - begin:.0f} s of processor:"
    )
    print(", ".join(f"{v} {k}" for k, v in sorted(counts.items())))
    for what, all_of_them in found.items():
        missed = sum(m.missed for m in all_of_them)
        print(f"{what}: {missed} of {len(all_of_them)} extremes beyond the told one by more than its error")
    sys.exit(int(any(m.missed for m in found["same step"])))


if __name__ == "__main__":
    main()

"""Hunt for pressures that the program puts too low.

    python tests/benchmarks/hunt.py [-n LINE-UPS] [--seed SEED] [--finer 8] [--slow 4] [--berths] [--size 1]

Every generated line-up (``tests/support/lineups``: trees, loops, arms side by side, very short and very long
elements, slow hoses, pumps; ``--berths``: plain ones) is run as ``surge check`` would, then marched once more
at an eighth of the reported step (``--finer``; a fourth or half where an eighth is too much work). Every
fourth (``--slow``; 0 for none) of those in which nothing moves in no time also goes through the slow solver
of ``tests/support/oracles``.

Printed: the distribution of the differences, and every breach of the two criteria: no peak too low by more
than 1 % of the line-up's greatest rise (or 0.02 bar, if that is more), at least 99 % of the extremes within
their reported error. Exit code 1 on a breach. Not collected. The last figures stand in
``notebooks/how-it-works.md``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

from surge.errors import SurgeError
from surge.transient.run import simulate

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.generated import generated  # tests are no package
from support.lineups.networks import network
from support.oracles.fine_runs import (
    COVERED,
    SHARE,
    Missed,
    against_finer,
    against_slow,
    covered,
    line_of,
    table_of,
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("-n", type=int, default=70, help="line-ups")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--finer", type=int, default=8, help="how many times finer the other march is")
    parser.add_argument(
        "--slow", type=int, default=4, help="every how many line-ups the slow solver runs too"
    )
    parser.add_argument("--berths", action="store_true", help="plain berths instead of networks")
    parser.add_argument("--size", type=float, default=1.0, help="scale of the shore line's length")
    asked = parser.parse_args()
    make = generated if asked.berths else network
    found: list[Missed] = []
    counts: Counter[str] = Counter()
    begin = time.perf_counter()
    for seed in range(asked.seed, asked.seed + asked.n):
        lineup, scenario = make(seed, size=asked.size)
        try:
            result = simulate(lineup, scenario)
        except SurgeError as error:
            counts["refused"] += 1
            print(f"seed {seed} refused: {str(error)[:200]}")
            continue
        better = against_finer(seed, lineup, scenario, result, asked.finer)
        counts["finer march" if better is not None else "too much work for the finer march"] += 1
        found += better or []
        if asked.slow and seed % asked.slow == 0:
            better = against_slow(seed, lineup, scenario, result)
            counts["slow solver" if better is not None else "beyond the slow solver"] += 1
            found += better or []
    print(
        f"seeds {asked.seed} to {asked.seed + asked.n - 1}, {time.perf_counter() - begin:.0f} s: "
        + ", ".join(f"{v} {k}" for k, v in sorted(counts.items()))
    )
    sys.exit(report(found))


def report(found: list[Missed]) -> int:
    """Print what was found; 1 when a criterion is breached."""
    if not found:
        return 1
    print("\n".join(table_of(found)))
    breaches = sorted((m for m in found if m.breach), key=lambda m: -m.share)
    print(f"peaks more than {100 * SHARE:.0f} % of the rise too low: {len(breaches)}")
    print("\n".join(line_of(m) for m in breaches))
    outside = sorted((m for m in found if m.outside), key=lambda m: -m.of_error)
    share = {a: covered([m for m in found if m.against.startswith(a)]) for a in ("step", "slow")}
    print("within the reported error: " + ", ".join(f"{100 * v:.2f} % ({a})" for a, v in share.items()))
    print("\n".join(line_of(m) for m in outside[:40]))
    print("largest underestimates:")
    print("\n".join(line_of(m) for m in sorted(found, key=lambda m: -m.share)[:10]))
    return int(bool(breaches) or any(v < COVERED for v in share.values()))


if __name__ == "__main__":
    main()

"""Work of checks and searches on berths that mean much of it: foretold, bounded, and counted truly.

    python tests/benchmarks/work.py [-n BERTHS] [--seed SEED] [--of window] [--patience 2.4e10]

Every berth (``tests/support/lineups/laborious.py``) is checked, or its windows are searched, as the command
line does. Printed for each: effort of first marches, as foretold, as counted, processor time, effort a
second; then how far what was foretold was off, and the slowest pace. Exit code 1 where effort went at less
than a fifth of the usual pace: then the count leaves something out, and bounds nothing. Not collected.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line has it, before numpy is there

import numpy as np

from surge.effort import PACE, PATIENCE, Meter, metered
from surge.errors import PatienceError, SurgeError
from surge.rules.assess import assess
from surge.search.window import windows_of

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.laborious import KINDS, laborious  # tests are no package

SLOWEST = 0.2  # of PACE, and only where more than SHORT s were spent: less is start-up
SHORT = 2.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("-n", type=int, default=70, help="berths")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--size", type=float, default=0.3, help="scale of the shore line's length")
    parser.add_argument("--of", choices=["window", "check"], default="window")
    parser.add_argument("--patience", type=float, default=PATIENCE, help="effort that one answer may take")
    asked = parser.parse_args()
    off, wrong, longest = [], 0, 0.0
    for seed in range(asked.seed, asked.seed + asked.n):
        lineup, book = laborious(seed, size=asked.size)
        meter, begin, said = Meter(asked.patience), time.process_time(), ""
        try:
            with metered(meter):
                if asked.of == "check":
                    assess(lineup, book=book)
                else:
                    windows_of(lineup, book=book)
        except PatienceError as error:
            said = str(error).split(",")[0]
        except SurgeError as error:
            said = f"refused: {error}"[:80]
        spent = time.process_time() - begin
        pace = meter.granted / max(spent, 1e-9)
        expected = sum(part.weight for part in meter.parts)
        longest = max(longest, spent)
        print(
            f"{seed:6d} {KINDS[seed % len(KINDS)]:7s} foretold {expected:.1e} counted {meter.granted:.1e} "
            f"{spent:6.1f} s, {pace:.1e} a second {said}",
            flush=True,
        )
        if meter.granted > 1e8 and not said:
            off.append(expected / meter.granted)
        slow = spent > SHORT and pace < SLOWEST * PACE
        if slow:
            print("       MORE WORK THAN COUNTED", flush=True)
            wrong += 1
    if off:
        low, middle, high = np.quantile(off, [0.05, 0.5, 0.95])
        print(f"foretold / counted: {low:.2f} to {high:.2f} (5 to 95 %), median {middle:.2f}")
    print(f"longest {longest:.0f} s of processor time; {wrong} wrong of {asked.n}")
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()

"""Whatever windows, rates and sets are told as safe, held against a check of it.

    python tests/benchmarks/told.py [-n BERTHS] [--seed SEED] [--between 4] [--size 0.3] [--three] [--demos]

For every generated berth (``tests/support/lineups/rated.py``: ratings that matter, shutdowns, ullages, rules
of a terminal; ``--three``: every valve moves) and every demo (``--demos``) all windows are searched. Each
stroke, rate and set that is told as safe, and ``--between`` figures inside each span, goes through what a
check does, and has to come back as kept. Printed: every one that does not, and the counts. Exit code 1 where
one does not. Not collected.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from surge.api.check import rules_of_case
from surge.case.file import load_case
from surge.errors import SurgeError
from surge.model.lineup import LineUp
from surge.rules.book import RuleBook
from surge.search.window import windows_of

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.rated import rated, three_moving  # tests are no package
from support.told import told_by, unsafe

ROOT = Path(__file__).resolve().parents[2]
LONGEST = 40.0  # [s] strokes of generated berths


def cases(asked: argparse.Namespace) -> Iterator[tuple[str, LineUp, RuleBook, float | None]]:
    """What is searched, each with a name."""
    if asked.demos:
        for path in sorted((ROOT / "cases").glob("*.toml")):
            case = load_case(path)
            yield path.stem, case.lineup, rules_of_case(case), None
    make = three_moving if asked.three else rated
    for seed in range(asked.seed, asked.seed + asked.n):
        lineup, book = make(seed, size=asked.size)
        yield f"seed {seed}", lineup, book, LONGEST


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("-n", type=int, default=100, help="berths")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--between", type=int, default=4, help="figures inside each span")
    parser.add_argument("--size", type=float, default=0.3, help="scale of the shore line's length")
    parser.add_argument("--three", action="store_true", help="every valve moves")
    parser.add_argument("--demos", action="store_true", help="the demo cases too")
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    for name, lineup, book, longest in cases(asked):
        begin = time.process_time()
        try:
            made = windows_of(lineup, book=book, longest=longest)
        except SurgeError as error:
            counts["refused"] += 1
            print(f"{name}: refused: {error}", flush=True)
            continue
        rng = np.random.default_rng(len(name) + asked.seed)
        ones = told_by(lineup, made, rng, between=asked.between)
        found = [said for one in ones if (said := unsafe(lineup, book, one))]
        counts += Counter({"searched": 1, "told": len(ones), "not kept": len(found), made.verdict: 1})
        print(f"{name}: {len(ones)} told, {time.process_time() - begin:.1f} s", flush=True)
        for said in found:
            print(f"    NOT KEPT {said}", flush=True)
    print(", ".join(f"{n} {what}" for what, n in counts.items()))
    sys.exit(counts["not kept"] > 0)


if __name__ == "__main__":
    main()

"""Every remedy that is told, applied to its case and checked.

    python tests/benchmarks/remedies.py [-n BERTHS] [--seed SEED] [--size 0.3] [--most 2e10] [--three]
                                        [--stages] [--demos]

For every generated berth that is not kept (``tests/support/lineups/rated.py``: ratings that matter,
shutdowns, ullages, rules of a terminal; ``--three``: every valve moves; ``--stages``: its shutdown at a lower
rate too) and every demo (``--demos``) remedies are tried. Each one that is told is applied and goes through a
check of the whole case, which has to end with 0. Printed: every one that does not, the counts, and what it
took. Exit code 1 where one does not. Not collected.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from surge.api.inputs import rules_of_case
from surge.case.file import load_case
from surge.effort import Meter, metered
from surge.errors import SurgeError
from surge.model.lineup import LineUp
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN
from surge.search.remedies import MOST_EFFORT, remedies_of

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.rated import at_a_lower_rate_too, rated, three_moving  # tests are no package
from support.remedied import checkable, misfits, not_kept

ROOT = Path(__file__).resolve().parents[2]


def cases(asked: argparse.Namespace) -> Iterator[tuple[str, LineUp, RuleBook]]:
    """What is tried, each with a name."""
    if asked.demos:
        for path in sorted((ROOT / "cases").glob("*.toml")):
            case = load_case(path)
            yield path.stem, case.lineup, rules_of_case(case)
    make = three_moving if asked.three else rated
    for seed in range(asked.seed, asked.seed + asked.n):
        lineup, book = make(seed, size=asked.size)
        yield f"seed {seed}", at_a_lower_rate_too(lineup) if asked.stages else lineup, book


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("-n", type=int, default=100, help="berths")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--size", type=float, default=0.3, help="scale of the shore line's length")
    parser.add_argument("--most", type=float, default=MOST_EFFORT, help="effort for each case")
    parser.add_argument("--three", action="store_true", help="every valve moves")
    parser.add_argument("--stages", action="store_true", help="shutdowns at a second stage")
    parser.add_argument("--demos", action="store_true", help="the demo cases too")
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    for name, lineup, book in cases(asked):
        begin = time.process_time()
        try:
            book = checkable(lineup, book)
            made = assess(lineup, book=book)
        except SurgeError as error:
            counts["refused"] += 1
            print(f"{name}: refused: {error}", flush=True)
            continue
        if made.verdict == WITHIN:
            counts["kept"] += 1
            continue
        with metered(Meter(asked.most)) as meter:
            tried = remedies_of(made, book, most=asked.most)
        assert tried is not None
        took = time.process_time() - begin
        wrong = [said for r in tried.found if (said := not_kept(book, r))] + misfits(made.lineup, tried)
        kinds = Counter("+".join(sorted({c.kind for c in r.changes})) for r in tried.found)
        counts += kinds + Counter({"cases": 1, "told": len(tried.found), "NOT KEPT": len(wrong)})
        counts += Counter({"mended": bool(tried.found), "data missing": tried.missing})
        counts += Counter({"not complete": not tried.complete, "with a cause": tried.cause is not None})
        print(f"{name}: {dict(kinds)}, {meter.spent:.1e} effort, {took:.1f} s", flush=True)
        for said in wrong:
            print(f"    NOT KEPT {said}", flush=True)
    print(", ".join(f"{n} {what}" for what, n in counts.items()))
    sys.exit(counts["NOT KEPT"] > 0)


if __name__ == "__main__":
    main()

"""Cases with assumed figures: held against rasters of these figures, and counted by their verdicts.

    python tests/benchmarks/ranges.py raster FIRST LAST [--points 300] [--known 0.4]
    python tests/benchmarks/ranges.py write FIRST LAST FOLDER
    python tests/benchmarks/ranges.py count FOLDER

``write`` puts the texts of generated berths into a folder; ``count`` checks each with the program of the
Python that runs it, so that two releases can be compared. It prints a line for each and the sums.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

import click

sys.path.insert(0, str(Path(__file__).parents[1]))

import surge

RATINGS = (12.0, 14.0, 16.0, 20.0)  # [bar] of which `write` takes one


def near_rating(seed: int, known: float) -> Any:
    """Return a generated case whose rating lies about its peak at the usual figures."""
    import numpy as np
    from support.lineups.assumed import PLACEHOLDER, assumed_text

    from surge.hydraulics.fixed import at_shares
    from surge.model.ranges import usual_shares
    from surge.rules.static import static_over_densities
    from surge.transient.run import simulate

    text = assumed_text(seed, known=known)
    lineup = surge.read_case(text.replace(PLACEHOLDER, "999 bar(g)"), filename=f"seed {seed}").lineup
    usual = at_shares(lineup, usual_shares(lineup))
    peak = max(e.highest.pressure for s in usual.scenarios for e in simulate(usual, s, quick=True).elements)
    static = max(f.value or 0.0 for f in static_over_densities(lineup))
    share = float(np.random.default_rng([seed, 5]).uniform(0.9, 1.4))
    rating = max(share * peak, 1.01 * static) / 1e5
    return surge.read_case(text.replace(PLACEHOLDER, f"{rating:.2f} bar(g)"), filename=f"seed {seed}")


@click.group()
def main() -> None:
    """Compare, or count."""


@main.command()
@click.argument("first", type=int)
@click.argument("last", type=int)
@click.option("--points", default=300)
@click.option("--known", default=0.4)
def raster(first: int, last: int, points: int, known: float) -> None:
    """Hold generated cases against rasters of their assumed figures."""
    from support.oracles.raster import compared

    sums: Counter[str] = Counter()
    for seed in range(first, last + 1):
        try:
            case = near_rating(seed, known)
            made = surge.check(case.lineup, remedies=False)
        except (surge.CaseError, surge.errors.SolveError) as error:
            sums["not usable"] += 1
            print(seed, "not usable:", str(error)[:90], flush=True)
            continue
        got = compared(made, points=points, seed=seed, slack=2000.0)
        sums.update({made.verdict: 1, "cases": 1, "points": got.points, "extremes": got.extremes})
        sums.update({"extremes outside": len(got.outside), "wrongly kept": len(got.wrong)})
        print(seed, made.verdict, f"{got.points} points, {got.extremes} extremes", flush=True)
        for one in sorted(got.outside, key=lambda b: -b.by)[:3]:
            print(f"   outside by {one.by / 1e5:.3f} bar: {one.scenario}, {one.what}", flush=True)
        for one in got.wrong[:3]:
            print(f"   WRONGLY KEPT by {one.by / 1e5:.3f} bar: {one.scenario}, {one.what}", flush=True)
    print(dict(sums))


@main.command()
@click.argument("first", type=int)
@click.argument("last", type=int)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--known", default=0.4)
def write(first: int, last: int, folder: Path, known: float) -> None:
    """Write generated berths as case files."""
    import numpy as np
    from support.lineups.assumed import PLACEHOLDER, assumed_text

    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, last + 1):
        rating = float(np.random.default_rng([seed, 6]).choice(RATINGS))
        text = assumed_text(seed, known=known).replace(PLACEHOLDER, f"{rating:g} bar(g)")
        (folder / f"{seed:05d}.toml").write_text(text, encoding="utf-8")


@main.command()
@click.argument("folder", type=click.Path(path_type=Path, exists=True))
def count(folder: Path) -> None:
    """Check every case of a folder."""
    sums: Counter[str] = Counter()
    spent = 0.0
    for path in sorted(folder.glob("*.toml")):
        began = time.process_time()
        try:
            made = surge.check(str(path), remedies=False)
        except (surge.CaseError, surge.errors.SolveError) as error:
            sums["not usable"] += 1
            print(f"{path.stem}; not usable; {str(error)[:100]}", flush=True)
            continue
        spent += time.process_time() - began
        sums[made.verdict] += 1
        worst = made.weakest
        why = "" if worst is None else f"{worst.scenario}, {worst.name}, {worst.check}; {worst.reason}"
        rules = ", ".join(dict.fromkeys(r.rule.id for r in made.broken))
        print(f"{path.stem}; {made.verdict}; {why}; {rules}", flush=True)
    print(dict(sums), f"{spent:.0f} s of processor time")


if __name__ == "__main__":
    main()

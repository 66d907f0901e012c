"""Highest pressures of places that boil: both models on two grids, against both at an eighth of the step.

    python tests/benchmarks/cavity_bands.py -n 200

Tells how often a band around the four marches does not hold what the finer two find.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.generated import generated

from surge.arrays import Array
from surge.errors import SurgeError
from surge.transient.cavities import medians
from surge.transient.cavity_march import GAS, CavityMarch, build_cavity_grid
from surge.transient.plan import Plan, eased, first_duration, plan

LABORIOUS = (34, 95)  # seeds that take minutes


def peaks(work: Plan, dt: float, gas: float) -> tuple[Array, Array, float]:
    """Highest medians and highest pressures of places [Pa], and the largest cavity [m3]."""
    grid = build_cavity_grid(
        work.lineup, work.steady, reaches=work.divide(dt), laws=work.laws, tables=work.tables, gas=gas
    )
    march = CavityMarch(grid=grid, frozen=work.lineup.frozen_friction)
    march.advance_to(first_duration(work))
    at = [grid.points.index(p.name) for p in work.lineup.points]
    heads = np.vstack(march.heads)[:, at] * work.lineup.liquid.density * work.lineup.gravity
    return np.array([medians(h).max() for h in heads.T]), heads.max(axis=0), march.largest()


def rows(seed: int) -> list[tuple[float, ...]]:
    """For every place: seed, sudden, highest median, spread of medians, highest, finer highest median."""
    lineup, scenario = generated(seed)
    vapour = float(np.random.default_rng(seed).uniform(1e3, 6e4))
    lineup = lineup.with_(atmosphere=101325.0, liquid=replace(lineup.liquid, vapour_pressure=vapour))
    work = plan(lineup, scenario)
    work = eased(work, first_duration(work))
    made = [peaks(work, work.step() / part, gas) for gas in (0.0, GAS) for part in (1, 2)]
    if made[0][2] <= 0.0:
        return []
    fine = np.max([peaks(work, work.step() / 8, gas)[0] for gas in (0.0, GAS)], axis=0)
    middle, highest = np.array([m[0] for m in made]), np.array([m[1] for m in made])
    columns = middle.max(axis=0), np.ptp(middle, axis=0), highest.max(axis=0), fine
    return [(seed, work.sudden, *values) for values in zip(*columns, strict=True)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=100)
    found = []
    for seed in range(1, parser.parse_args().n):
        try:
            found += [] if seed in LABORIOUS else rows(seed)
        except SurgeError as refused:
            print(f"seed {seed}: {refused}")
    table = np.array(found)
    for name, sudden in (("gradual", 0.0), ("sudden", 1.0)):
        seed, _, middle, spread, highest, fine = table[table[:, 1] == sudden].T
        print(f"{name}: {np.unique(seed).size} line-ups, {seed.size} places")
        for words, band in (
            ("median + spread + 0.2 bar", middle + spread + 2e4),
            ("median + 2 spreads + 0.5 bar", middle + 2 * spread + 5e4),
            ("highest + spread + 0.5 bar", highest + spread + 5e4),
        ):
            over = fine - band
            print(
                f"  {words}: outside {np.sum(over > 0)} places of {np.unique(seed[over > 0]).size} line-ups, "
                f"by {max(over.max(), 0.0) / 1e5:.2f} bar at most"
            )


if __name__ == "__main__":
    main()

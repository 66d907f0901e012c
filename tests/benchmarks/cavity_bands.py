"""How far the band around marches with cavities holds: against both models at an eighth of the step.

    nice -n 10 python tests/benchmarks/cavity_bands.py --seeds 200 420

For generated line-ups whose liquid boils: how many extremes lie beyond the band (what was told as kept could
be exceeded), how many below what is told as reached for certain (what was told as exceeded could be kept),
and how wide the band is. ``--least`` and so on: what other factors would have made of it. It can be stopped
(control-C), and tells what it has by then.
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
from surge.errors import GridError, SurgeError
from surge.model.lineup import LineUp, Scenario
from surge.transient import cavities
from surge.transient.cavities import march_once, march_with_cavities
from surge.transient.plan import eased, first_duration, plan

FINER = 8  # times finer than the coarsest march
BAR = 1e5  # [Pa]


def boiling(seed: int) -> tuple[LineUp, Scenario]:
    """A generated line-up in the open air, with a liquid of some vapour pressure."""
    lineup, scenario = generated(seed)
    vapour = float(np.random.default_rng(seed).uniform(1e3, 6e4))
    liquid = replace(lineup.liquid, vapour_pressure=vapour)
    return lineup.with_(atmosphere=101325.0, liquid=liquid), scenario


def rows(seed: int, most: float) -> list[tuple[float, ...]]:
    """For every extreme: seed, sudden, high; furthest, band, surely reached, finer furthest and least [Pa].

    Lowest pressures with their sign turned, so that all of them are upper ones.
    """
    lineup, scenario = boiling(seed)
    work = plan(lineup, scenario)
    work = eased(work, first_duration(work))
    if FINER**2 * work.effort(work.divide(work.step()), first_duration(work)) > most:
        raise GridError("too much work")
    made = march_with_cavities(lineup, scenario)
    if made.runs[0].largest <= 0.0:
        return []
    dt, until = made.runs[0].dt / FINER, made.runs[0].duration
    models = (("vapour", 0.0), ("gas", lineup.free_gas))
    fine = [march_once(made.work, model, dt, gas, [until])[0] for model, gas in models]
    found = []
    for key, band in made.extremes().items():
        sign = 1.0 if key[2] == "high" else -1.0
        own = [sign * run.extremes[key].pressure for run in made.runs]
        finer = [sign * run.extremes[key].pressure for run in fine]
        high = key[2] == "high"
        found.append(
            (seed, made.work.sudden, high, max(own), band.band, sign * band.sure, max(finer), min(finer))
        )
    return found


def tell(name: str, table: Array) -> None:
    """Print the counts of some extremes."""
    if not table.size:
        return
    seed, _, _, furthest, band, sure, finer, least = table.T
    beyond, near = finer - furthest - band, sure - least
    print(f"{name}: {seed.size} extremes of {np.unique(seed).size} line-ups")
    for words, over in (("beyond the band", beyond), ("below what is told as reached for certain", near)):
        out = over > 0
        print(
            f"  {words}: {out.sum()} of {np.unique(seed[out]).size} line-ups, by "
            f"{max(over.max(), 0.0) / BAR:.2f} bar at most"
        )
    print(f"  the furthest at {((finer - furthest) / band).max():.2f} of the band")
    told = ", ".join(f"{np.percentile(band, q) / BAR:.2f}" for q in (50, 75, 90))
    print(f"  band: half of them below, three quarters, nine tenths: {told} bar")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs=2, default=(1, 100), help="first, and one after the last")
    parser.add_argument("--window", type=float, default=cavities.WINDOW)
    parser.add_argument("--any", type=float, default=cavities.ANY)
    parser.add_argument("--least", type=float, default=cavities.LEAST_BAND, help="[Pa]")
    parser.add_argument("--most", type=float, default=1.5e9, help="effort of the finest march")
    asked = parser.parse_args()
    cavities.WINDOW, cavities.ANY, cavities.LEAST_BAND = asked.window, asked.any, asked.least
    found: list[tuple[float, ...]] = []
    refused, seed = 0, asked.seeds[0]
    try:
        for seed in range(*asked.seeds):
            try:
                found += rows(seed, asked.most)
            except SurgeError:
                refused += 1
            print(f"seed {seed}: {len(found)} extremes so far", file=sys.stderr)
    except KeyboardInterrupt:
        print(f"stopped at seed {seed}")
    table = np.array(found)
    print(f"{refused} line-ups are left out: they boil before anything moves, or take too much work")
    for name, high in (("highest pressures", 1.0), ("lowest pressures", 0.0)):
        own = table[table[:, 2] == high]
        tell(name, own)
        tell(f"  of these after a sudden stop or start: {name}", own[own[:, 1] == 1.0])


if __name__ == "__main__":
    main()

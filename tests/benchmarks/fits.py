"""Are the intervals of fitted figures as wide as they say? Records by the independent solver, with noise.

    python tests/benchmarks/fits.py [-n 100] [--seed 1]

Every ``SAME`` records are of one line, drawn about the demo case of ``cases/traces``; each has noise of its
own, without memory and with. Printed for each figure: how many of the 95 % intervals hold the truth, and how
wide they are.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.oracles import recorder

from surge.case.file import Case, load_case
from surge.fitting.figures import ROUGHNESS, STROKE, WAVE_SPEED
from surge.fitting.fit import Fit, fit_figures
from surge.inputs import input_of
from surge.records.text import csv_of
from surge.records.trace_file import read_trace

CASE = Path(__file__).parents[2] / "cases" / "traces" / "jet-fuel-berth.toml"
ASKED = {WAVE_SPEED: ["shore line"], ROUGHNESS: ["shore line"], STROKE: ["manifold valve"]}
SAME = 5  # records of one line
NOISES = ((3000.0, 0.0), (3000.0, 0.7), (10000.0, 0.0))  # [Pa], memory [-]


@dataclass(frozen=True)
class Tried:
    """One record, and what was found."""

    truth: tuple[float, ...]
    noise: tuple[float, float]
    fit: Fit

    @property
    def held(self) -> list[bool]:
        return [f.low <= t <= f.high for f, t in zip(self.fit.figures, self.truth, strict=True)]


def fitted(case: Case, text: str) -> Fit:
    """A record as text, fitted."""
    points = [p.name for p in case.lineup.points]
    source = csv_of(input_of(text.encode(), filename="record.csv"))
    trace = read_trace(source, points=points, atmosphere=case.lineup.atmosphere)
    return fit_figures(case, trace, scenario=None, asked=ASKED)


def tried(seed: int, count: int) -> Iterator[Tried]:
    """Records of lines that are drawn, with noise that is drawn."""
    case = load_case(CASE)
    draw = np.random.default_rng(seed)
    scenario = case.lineup.scenarios[0]
    move = scenario.moves[0]
    for k in range(count):
        if k % SAME == 0:
            truth = (
                float(draw.uniform(930.0, 1240.0)),
                float(np.exp(draw.uniform(np.log(5e-5), np.log(8e-4)))),
                float(draw.uniform(9.0, 16.0)),
            )
            pipes = tuple(
                replace(p, wave_speed=truth[0], roughness=truth[1]) if p.name == "shore line" else p
                for p in case.lineup.pipes
            )
            law = tuple((t * truth[2] / move.law[-1][0], x) for t, x in move.law)
            true = recorder.true_history(
                case.lineup.with_(pipes=pipes),
                replace(scenario, moves=(replace(move, law=law),)),
                ["manifold"],
                until=37.0,
                cells=400,
                courant=0.2,
            )
            own = tuple(f"{x:.4g}" for x in truth)
        noise, memory = NOISES[k % len(NOISES)]
        times, pressures = recorder.read_off(
            true, "manifold", step=0.05, noise=noise, memory=memory, seed=1000 * seed + k, until=36.0
        )
        fit = fitted(case, recorder.csv_text({"manifold": pressures}, times + 50.0))
        one = Tried(truth=truth, noise=(noise, memory), fit=fit)
        found = ", ".join(f"{f.value:.5g} ({f.low:.5g} to {f.high:.5g})" for f in fit.figures)
        print(f"{k:4d} {own} noise {noise:.0f} memory {memory}: {found} held {one.held}", flush=True)
        for doubt in fit.doubts:
            print(f"     doubt: {doubt.kind} {doubt.names}", flush=True)
        yield one


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("-n", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    found = list(tried(asked.seed, asked.n))
    for noise in (None, *NOISES):
        some = [t for t in found if noise in (None, t.noise)]
        held = np.mean([t.held for t in some], axis=0)
        doubts = sum(bool(t.fit.doubts) for t in some)
        print(f"noise {noise or 'any'}: {len(some)} records, {doubts} with doubts")
        for k, (kind, share) in enumerate(zip(ASKED, held.tolist(), strict=True)):
            wide = np.median([(t.fit.figures[k].high - t.fit.figures[k].low) / t.truth[k] for t in some])
            print(f"  {kind:12s} in its interval: {share:.1%}; median width {wide:.3%} of it")


if __name__ == "__main__":
    main()

"""Records of pressure for tests of the fit: by the independent solver, each history marched once."""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from support.demos import CASES
from support.oracles import recorder
from surge.case.file import Case, load_case
from surge.fitting.fit import Fit, fit_figures
from surge.inputs import input_of
from surge.records.text import csv_of
from surge.records.trace_file import RecordedTrace, read_trace

BERTH = CASES / "traces" / "jet-fuel-berth.toml"
RECORD = CASES / "traces" / "manifold-trace.csv"
PLACES = ("manifold", "jetty", "deck line inlet")


@functools.cache
def berth() -> Case:
    """The demo berth."""
    return load_case(BERTH)


@functools.cache
def history(wave_speed: float, roughness: float, stroke: float, cells: int = 200) -> recorder.TrueHistory:
    """What the berth's places have with another shore line and another stroke."""
    lineup = berth().lineup
    (scenario,) = lineup.scenarios
    (move,) = scenario.moves
    pipes = tuple(
        replace(p, wave_speed=wave_speed, roughness=roughness) if p.name == "shore line" else p
        for p in lineup.pipes
    )
    law = tuple((t * stroke / move.law[-1][0], x) for t, x in move.law)
    moved = replace(scenario, moves=(replace(move, law=law),))
    return recorder.true_history(lineup.with_(pipes=pipes), moved, PLACES, until=36.0, cells=cells)


TRUTH = (1050.0, 2e-4, 12.0)  # wave speed [m/s], roughness [m], stroke [s] of most tests


def record(
    *,
    truth: tuple[float, float, float] = TRUTH,
    places: tuple[str, ...] = ("manifold",),
    noise: float = 3000.0,
    memory: float = 0.0,
    step: float = 0.05,
    seed: int = 1,
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Times [s] and pressures [Pa gauge] by place, from the beginning of the scenario."""
    true = history(*truth)
    read = {}
    for k, place in enumerate(places):
        times, read[place] = recorder.read_off(
            true, place, step=step, noise=noise, memory=memory, seed=seed + 1000 * k, until=35.0
        )
    return times, read


def trace_of(times: np.ndarray, read: dict[str, np.ndarray], *, clock: float = 20.0) -> RecordedTrace:
    """A record as its file is read."""
    text = recorder.csv_text(read, times + clock)
    return read_text(text)


def read_text(text: str, **more: Any) -> RecordedTrace:
    """The text of a record, read for the demo berth."""
    lineup = berth().lineup
    source = csv_of(input_of(text.encode(), filename="record.csv"))
    points = [p.name for p in lineup.points]
    return read_trace(source, points=points, atmosphere=lineup.atmosphere, **more)


def fitted(trace: RecordedTrace, asked: dict[str, list[str]], case: Case | None = None, **more: Any) -> Fit:
    """A fit of the demo berth, or of a case made from it."""
    return fit_figures(case or berth(), trace, scenario=None, asked=asked, **more)


def write_record(path: Path, times: np.ndarray, read: dict[str, np.ndarray], *, clock: float = 20.0) -> Path:
    """A record as a file."""
    path.write_text(recorder.csv_text(read, times + clock), encoding="utf-8")
    return path

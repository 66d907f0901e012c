"""The parts of the estimate against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from surge.fitting.doubts import fewer_runs
from surge.fitting.estimate import memory_in
from surge.fitting.fit import rounded
from surge.fitting.problem import noise_of
from surge.records.trace_file import PlaceTrace


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.8])
def test_memory_of_noise(memory: float) -> None:
    """Of an autoregressive series 1 + 2 sum(r**k) is (1 + r)/(1 - r); the mean of 40 series within 10 %."""
    found = []
    for seed in range(40):
        draw = np.random.default_rng(seed).normal(size=4000)
        for k in range(1, draw.size):
            draw[k] += memory * draw[k - 1]
        found.append(memory_in(draw))
    assert np.mean(found) == pytest.approx((1 + memory) / (1 - memory), rel=0.1)
    assert min(found) >= 1.0


def test_runs_of_noise_and_of_a_wave() -> None:
    noise = np.array([fewer_runs(np.random.default_rng(s).normal(size=300)) for s in range(300)])
    assert abs(noise.mean()) < 0.2  # a standard normal: 3 standard deviations of the mean of 300
    assert noise.std() == pytest.approx(1.0, abs=0.15)
    assert fewer_runs(np.sin(np.linspace(0, 20, 300))) > 10.0
    assert fewer_runs(np.ones(100)) == 10.0


def test_noise_of_a_gauge_under_a_wave() -> None:
    time = np.arange(0, 40, 0.05)
    wave = 4e5 * np.sin(2 * np.pi * time / 3.0)
    white = np.random.default_rng(3).normal(scale=3000.0, size=time.size)

    def place(pressure: np.ndarray) -> PlaceTrace:
        rows = np.arange(time.size)
        return PlaceTrace(place="x", title="x", rows=rows, time=time, pressure=pressure, step=0.05, gaps=())

    # Half the change of a wave of 4 bar in 3 s from reading to reading is seen too.
    assert noise_of(place(wave + white)) == pytest.approx(3000.0, rel=0.35)
    coarse = noise_of(place(np.round(2e5 + white * 0.1, -4)))
    assert coarse >= 20.0


@pytest.mark.parametrize(
    ("value", "least", "shown"), [(1015.234, 0.04, 1015.23), (0.00033371, 2e-6, 0.000334), (12.0, 0.0, 12.0)]
)
def test_rounding_stays_within_what_is_asked(value: float, least: float, shown: float) -> None:
    assert rounded(value, least) == pytest.approx(shown, rel=1e-12)

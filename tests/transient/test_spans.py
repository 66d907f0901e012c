"""Extremes of spans of time, however the march is cut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surge.transient.spans import WIDER, Spans


@given(
    steps=st.floats(0.3, 40.0),
    pieces=st.lists(st.integers(1, 30), min_size=1, max_size=8),
    seed=st.integers(0, 2**31),
)
def test_every_span_has_the_extremes_of_its_steps(steps: float, pieces: list[int], seed: int) -> None:
    heads = np.random.default_rng(seed).normal(size=(1 + sum(pieces), 3))
    spans = Spans(steps=steps, start=heads[0])
    done = 0
    for n in pieces:
        spans.look(done, heads[done + 1 : done + n + 1])
        done += n
    made = spans.extremes([2, 0])
    at = np.arange(done + 1)
    row = 0
    for span in range(int(done / steps) + 1):
        first, end = np.ceil(span * steps), np.ceil((span + 1) * steps)
        own = heads[(at >= first) & (at < end)][:, [2, 0]]
        if not own.size:
            continue  # shorter than a step
        wide = heads[(at >= first - WIDER) & (at < end + WIDER)][:, [2, 0]]
        for found, rows in (((made.high, made.low), own), ((made.wide_high, made.wide_low), wide)):
            assert found[0][row] == pytest.approx(rows.max(axis=0), abs=0)
            assert found[1][row] == pytest.approx(rows.min(axis=0), abs=0)
        row += 1
    assert made.high.shape == (row, 2)

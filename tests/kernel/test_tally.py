"""Sums and sizes of histories, against the same in numpy's words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surge.kernel.tally import Tally, tally

POINTS, ENDS = 4, 3
A, B = np.array([0, 1, 3]), np.array([1, 2, 2])
OWNER, LUMPS = np.array([0, 2, 0]), np.array([2])
LIFT = np.array([0.0, 0.7, 0.0])
FLOWS = A.size + ENDS


def made(heads: np.ndarray, flows: np.ndarray) -> Tally:
    sizes = {
        "total": FLOWS, "power": ENDS, "worked": 1, "worked_size": 1, "swiftest": 1, "flow_size": FLOWS,
        "head_size": POINTS, "missed": POINTS, "end_size": ENDS, "pushed": ENDS, "moved_head": POINTS,
        "moved_flow": FLOWS, "gained": A.size, "gained_size": A.size, "most": A.size, "least": A.size,
        "left": POINTS,
    }  # fmt: skip
    rooms = {name: np.full(n, 99.0) for name, n in sizes.items()}  # what a stretch before left there
    return Tally(
        a=A, b=B, owner=OWNER, lift=LIFT, lumps=LUMPS, start_head=heads[0].copy(), start_flow=flows[0].copy(),
        **rooms,
    )  # fmt: skip


@given(rows=st.integers(1, 40), still=st.integers(0, 40), every=st.integers(1, 9), seed=st.integers(0, 2**31))
def test_a_stretch_is_summed_up(rows: int, still: int, every: int, seed: int) -> None:
    draw = np.random.default_rng(seed)
    heads, flows = draw.normal(size=(rows, POINTS)), draw.normal(size=(rows, FLOWS))
    t, spot = made(heads, flows), 2 * every
    tally(t, heads, flows, still, every, spot)
    ends, links = flows[:, A.size :], flows[:, : A.size]
    drop = heads[:, A] - heads[:, B]
    assert t.total == pytest.approx(flows.sum(axis=0))
    assert t.power == pytest.approx((heads[:, OWNER] * ends).sum(axis=0))
    lost, flow = drop[:, 2], links[:, 2]
    assert t.worked == pytest.approx([((lost[1:] + lost[:-1]) * (flow[1:] + flow[:-1])).sum()])
    assert t.worked_size == pytest.approx([np.abs(lost * flow).sum()])
    assert t.swiftest == pytest.approx([np.abs(flow).max()], abs=0)
    assert t.flow_size == pytest.approx(np.abs(flows[::spot]).max(axis=0), abs=0)
    assert t.head_size == pytest.approx(np.abs(heads[::spot]).max(axis=0), abs=0)
    out = np.zeros((rows, POINTS))
    for k in range(A.size):
        out[:, A[k]] += links[:, k]
        out[:, B[k]] -= links[:, k]
    for k in range(ENDS):
        out[:, OWNER[k]] += ends[:, k]
    assert t.missed == pytest.approx(np.abs(out[::spot]).max(axis=0))
    assert t.end_size == pytest.approx(np.abs(ends[::every]).max(axis=0), abs=0)
    assert t.pushed == pytest.approx(np.abs(heads[::every, OWNER]).max(axis=0), abs=0)
    quiet = slice(0, min(still, rows), every)
    assert t.moved_head == pytest.approx(np.abs(heads[quiet] - heads[0]).max(axis=0, initial=0.0), abs=0)
    assert t.moved_flow == pytest.approx(np.abs(flows[quiet] - flows[0]).max(axis=0, initial=0.0), abs=0)
    given_ = (-drop * links - LIFT * np.maximum(links, 0.0))[::every]
    assert t.gained == pytest.approx(given_.max(axis=0))
    assert t.gained_size == pytest.approx(np.abs(given_).max(axis=0))
    assert t.most == pytest.approx(np.abs(links[::every]).max(axis=0), abs=0)
    assert t.least == pytest.approx(links[::every].min(axis=0), abs=0)

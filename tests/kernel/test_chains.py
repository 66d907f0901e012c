"""Links behind one another: one flow for all, found again by scipy's bracketing root finder."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from surge.kernel import columns
from surge.kernel import laws as b
from surge.kernel.curves import pump_curve

CURVE = pump_curve(((0.0, 60.0), (0.1, 55.0), (0.2, 40.0)))
POINTS = 6

link = st.tuples(
    st.sampled_from(["orifice", "pump", "pump with non-return valve"]),
    st.sampled_from([1, -1]),
    st.one_of(st.just(0.0), st.floats(1e-9, 1.0)),  # c*c of an orifice: 0 is shut
    st.floats(0.0, 1.0),  # speed of a pump
)


def _arrays(links):
    n = len(links)
    chain = np.zeros((n, columns.CH_INTS), dtype=np.int64)
    li, lf = np.zeros((n, columns.L_INTS), dtype=np.int64), np.zeros((n, columns.L_FLOATS))
    for e, (kind, side, c2, speed) in enumerate(links):
        chain[e] = e, side, e, e + 1
        ends = (e, e + 1) if side > 0 else (e + 1, e)
        li[e, [columns.L_A, columns.L_B]] = ends
        li[e, columns.L_KIND] = columns.ORIFICE if kind == "orifice" else columns.PUMP
        li[e, columns.L_CHECK] = "non-return" in kind
        li[e, columns.L_CURVE_END] = CURVE.knots.size
        lf[e, columns.L_C2], lf[e, columns.L_SPEED] = c2, speed
        lf[e, [columns.L_TAIL0, columns.L_TAIL2]] = CURVE.tail0, CURVE.tail2
    coef = np.vstack([CURVE.coef, np.zeros((1, 4))])
    return chain, li, lf, CURVE.knots, coef, np.zeros((1, 2))


def _free_flow(links, drive, impedance, arrays):
    """Flow with every non-return valve held open, by bracketing."""
    _, li, lf, knots, coef, tables = arrays

    def miss(q):
        losses = [
            s * b.link_law(e, s * q, li, lf, knots, coef, tables)[0] for e, (_, s, *_) in enumerate(links)
        ]
        return impedance * q + sum(losses) - drive

    return brentq(miss, -1e3, 1e3, xtol=1e-15, rtol=8.9e-16, maxiter=500)


@settings(max_examples=100, deadline=None)
@given(
    links=st.lists(link, min_size=1, max_size=POINTS - 1),
    drive=st.floats(-80.0, 80.0),
    impedance=st.floats(1.0, 2000.0),
    before=st.floats(-0.5, 0.5),
)
def test_the_flow_and_every_head_between_obey_the_laws(links, drive, impedance, before):
    arrays = _arrays(links)
    chain, li, lf, knots, coef, tables = arrays
    n = len(links)
    q, why, status = b.chain_flow(0, n, chain, before, drive, impedance, li, lf, knots, coef, tables)
    assert status == columns.OK
    shut = any(k == "orifice" and c2 == 0.0 for k, _, c2, _ in links)
    if shut:
        assert (q, why) == (0.0, columns.SHUT)
    else:
        free = _free_flow(links, drive, impedance, arrays)
        turned = any("non-return" in k and s * free < 0.0 for k, s, *_ in links)
        assert abs(q - (0.0 if turned else free)) <= 1e-9 * max(abs(free), 1e-3)

    pf = np.full((n + 1, columns.P_FLOATS), -7.0)
    pf[0, columns.P_H], pf[n, columns.P_H] = 100.0 + drive - 0.5 * impedance * q, 100.0 + 0.5 * impedance * q
    b.fill_chain(0, n, chain, q, why, pf, li, lf, knots, coef, tables)
    for e, (kind, side, c2, _) in enumerate(links):
        blocked = (why == columns.SHUT and kind == "orifice" and c2 == 0.0) or (
            why == columns.CHECKED and "non-" in kind
        )
        if blocked:
            continue
        kept = why != columns.FLOWS and -7.0 in (pf[e, columns.P_H], pf[e + 1, columns.P_H])
        if not kept:
            loss = side * b.link_law(e, side * q, li, lf, knots, coef, tables)[0]
            assert abs(pf[e, columns.P_H] - pf[e + 1, columns.P_H] - loss) <= 1e-6


def test_heads_beyond_a_shut_valve_follow_their_own_side():
    """Pump, shut valve, open valve: the pump's shut-off head before it, the far head behind it."""
    links = [("pump", 1, 0.0, 1.0), ("orifice", 1, 0.0, 0.0), ("orifice", -1, 0.3, 0.0)]
    chain, li, lf, knots, coef, tables = _arrays(links)
    pf = np.zeros((4, columns.P_FLOATS))
    pf[0, columns.P_H], pf[3, columns.P_H] = 10.0, 33.0
    q, why, _ = b.chain_flow(0, 3, chain, 0.1, -23.0, 500.0, li, lf, knots, coef, tables)
    b.fill_chain(0, 3, chain, q, why, pf, li, lf, knots, coef, tables)
    assert (q, why) == (0.0, columns.SHUT)
    assert pf[1, columns.P_H] == 10.0 + 60.0
    assert pf[2, columns.P_H] == 33.0

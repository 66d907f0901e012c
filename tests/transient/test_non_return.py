"""Non-return valves of their own: ideal, late and slow, against closed forms and an exact line."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import KeptMarch, kv_of, line_up, pipe, run, step_at, valve
from support.oracles.delay_line import DelayLine, Ended

from surge.kernel import columns
from surge.model.lineup import GRAVITY, LineUp, NonReturnValve, Pump

BORE = 0.3
AREA = math.pi / 4 * BORE**2
IMPEDANCE = 1000.0 / (GRAVITY * AREA)
INLET, OPEN = 0.05, 0.2  # [m2.5/s] of the valve at the tank and of the open non-return valve
HEADS = {"tank": 50.0, "out": 40.0}
FLOW = math.sqrt(10.0 / (1 / INLET**2 + 1 / OPEN**2))
SHUTS = {"inlet valve": ((0.0, 1.0), (0.8, 0.0))}


def _ended(**figures: float) -> LineUp:
    """A tank, a valve, 1 km without friction, a non-return valve, a tank."""
    given_: dict[str, Any] = {"kv": kv_of(OPEN)} | figures
    return line_up(
        [
            valve("inlet valve", "tank", "begin", INLET),
            pipe("line", "begin", "end", 1000.0, 1000.0, diameter=BORE, friction_factor=0.0),
            NonReturnValve(name="check", start="end", end="out", **given_),
        ],
        HEADS,
    )


def _orifice(drive: float, z: float, c: float) -> float:
    """Flow of z Q + Q|Q|/c**2 = drive."""
    if c <= 0.0:
        return 0.0
    size = 2 * abs(drive) / (z + math.sqrt(z * z + 4 * abs(drive) / c**2))
    return math.copysign(size, drive)


def _exact(until: float, *, reverse: float = 0.0, delay: float = 0.0, closing: float = 0.0) -> Ended:
    """The same by a delay: what the valve at the tank lets through, and the law of the non-return valve."""
    begins = [math.inf]
    before = [0.0, FLOW]

    def ratio(t: float) -> float:
        if t < begins[0]:
            return 1.0
        return max(1.0 - (t - begins[0]) / closing, 0.0) if closing else 0.0

    def enters(t: float, back: float) -> float:
        q = _orifice(HEADS["tank"] - back, IMPEDANCE, max(1.0 - t / 0.8, 0.0) * INLET)
        return back + 2 * IMPEDANCE * q

    def leaves(t: float, _s: Any, h: float) -> float:
        drop = h - HEADS["out"]
        return ratio(t) * OPEN * math.copysign(math.sqrt(abs(drop)), drop)

    def after(t: float, h: float, q: float) -> None:
        if ratio(t) <= 0.0 and h > HEADS["out"]:
            begins[0] = math.inf  # it opens again
        elif begins[0] == math.inf and q < 0.0 and q <= -reverse:
            was, flow = before
            late = (-reverse - q) / (flow - q) if flow > -reverse else 0.0
            begins[0] = t - late * (t - was) + delay
        before[:] = t, q

    return DelayLine(
        head=HEADS["tank"], flow=FLOW, impedance=IMPEDANCE, back=2.0, leaves=leaves,
        moves=lambda *_: [], enters=enters, after=after, first=HEADS["out"] + (FLOW / OPEN) ** 2,
    ).run(until, [])  # fmt: skip


def _state(made: KeptMarch, column: int) -> float:
    grid = made.marched.grid
    return float(grid.net.lf[grid.links.index("check"), column])


@pytest.mark.parametrize(
    "how", [{"delay": 0.25}, {"closing": 0.6}, {"reverse": 0.02, "closing": 0.3}, {"reverse": 0.01}]
)
def test_one_that_is_late_or_slow_is_of_first_order(how: dict[str, float]) -> None:
    exact = _exact(6.0, **how)
    names = {"delay": "delay", "closing": "closing_time", "reverse": "reverse_flow"}
    figures = {names[key]: value for key, value in how.items()}
    at = np.arange(1, 120) * 0.05
    wrong = []
    for steps in (20, 80, 320):
        made = run(_ended(**figures), 1.0 / steps, 6.0, ratio=SHUTS)
        heads = made.head("end")[:: steps // 20][1:120]
        wrong.append(float(np.mean(np.abs(heads - np.interp(at, exact.time, exact.head)))))
    swing = float(np.ptp(exact.head))
    # One that shuts at once is exact but for the sample on which a front falls.
    assert wrong[2] < 0.5 * wrong[0] or wrong[0] < 1e-3 * swing
    assert wrong[2] < 1e-3 * swing
    if "reverse" not in how or "closing" in how:
        assert _state(made, columns.V_GREATEST) == pytest.approx(-exact.flow.min(), rel=0.02)
    else:
        assert _state(made, columns.V_GREATEST) <= how["reverse"]
        assert _state(made, columns.V_STOPPED) == pytest.approx(how["reverse"])


def test_an_ideal_one_lets_nothing_back() -> None:
    for figures in ({}, {"kv": math.inf}):
        made = run(_ended(**figures), 0.02, 6.0, ratio=SHUTS)
        assert made.flow("check").min() >= 0.0
        assert _state(made, columns.V_GREATEST) <= 0.0
        assert 1.0 < _state(made, columns.V_CLOSED) < 6.0


def test_slam_is_the_wave_resistance_times_the_reverse_flow() -> None:
    """Stopped at the far end, all flow turns at the tank; a late valve stops that at once."""
    lineup = line_up(
        [
            NonReturnValve(name="check", start="tank", end="begin", delay=0.5),
            pipe("line", "begin", "end", 1000.0, 1000.0, diameter=BORE, friction_factor=0.0),
            valve("valve", "end", "out", 0.02),
        ],
        HEADS,
    )
    flow = 0.02 * math.sqrt(10.0)
    made = run(lineup, 0.01, 2.4, ratio={"valve": step_at(0.01)})
    # There after 1.01 s; 0.5 s later it is stopped.
    assert made.flow("check")[110] == pytest.approx(-flow, rel=1e-6)
    assert made.at("begin", 1.4) == pytest.approx(50.0, abs=1e-5)
    assert made.at("begin", 1.6) == pytest.approx(50.0 + IMPEDANCE * flow, rel=1e-6)
    assert _state(made, columns.V_STOPPED) == pytest.approx(flow, rel=1e-6)
    assert _state(made, columns.V_CLOSED) == pytest.approx(1.51, abs=0.021)


def test_it_is_that_of_a_pump() -> None:
    """An ideal one behind a pump, with a pipe of no loss between or none, does what the pump's own does."""
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0))
    stop = {"speed": {"pump": ((0.0, 1.0), (1.0, 0.0))}}

    def pumped(*, own: bool) -> LineUp:
        end = "inlet" if own else "discharge"
        between = [] if own else [NonReturnValve(name="check", start="discharge", end="inlet")]
        return line_up(
            [
                Pump(name="pump", start="sump", end=end, curve=curve, non_return=own),
                *between,
                pipe("line", "inlet", "end", 600.0, 1000.0, friction_factor=0.02),
                valve("valve", "end", "ship", 0.05),
            ],
            {"sump": 3.0, "ship": 20.0},
        )

    one, two = (run(pumped(own=own), 0.02, 6.0, **stop) for own in (True, False))
    assert np.abs(one.head("inlet") - two.head("inlet")).max() < 1e-4
    assert two.flow("check").min() >= 0.0


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6), how=st.sampled_from([{}, {"delay": 0.1}, {"closing_time": 0.3}]))
def test_generated_line_ups_with_non_return_valves_keep_what_every_march_must(
    seed: int, how: dict[str, float]
) -> None:
    """A valve of each line-up becomes a non-return valve; the watch is the judge."""
    lineup, scenario = generated(seed, size=0.3)
    moved = {m.valve for m in scenario.moves}
    still = [v for v in lineup.valves if v.name not in moved] or list(lineup.valves)[-1:]
    check = NonReturnValve(name=still[0].name, start=still[0].start, end=still[0].end, kv=still[0].kv, **how)
    valves = tuple(v for v in lineup.valves if v.name != check.name)
    names = [v.name for v in valves if v.name not in scenario.shut_at_start]
    made_of = lineup.with_(valves=valves, non_return_valves=(check,), scenarios=(), rate=None)
    dt = max(p.travel_time for p in lineup.pipes) / 40
    ratio = dict.fromkeys(names[:2], ((0.5, 1.0), (1.5, 0.0)))
    made = run(made_of, dt, max(2.5, 200 * dt), ratio=ratio)
    assert np.isfinite(made.heads).all()
    if check.ideal:
        assert made.flow(check.name).min() >= -1e-9

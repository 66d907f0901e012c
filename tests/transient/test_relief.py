"""Relief valves in the march: against a line that is exact, and what must hold wherever one stands."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.lines import KeptMarch, kv_of, line_up, pipe, run, valve
from support.lineups.relieved import RHO_G, EndLine, relief, relieved
from support.oracles.delay_line import Array, DelayLine, Ended

from surge.kernel import columns
from surge.kernel.relief import relief_advance, relief_flow, relief_law, relief_lift
from surge.model.attached import ReliefValve
from surge.model.lineup import GRAVITY, LineUp, Passage, Pump

ENDS = EndLine()
CLOSES = {"valve": ((0.0, 1.0), (1.0, 0.0))}


# --- the law -----------------------------------------------------------------------------------------------


@given(
    q=st.floats(0.0, 2.0), c=st.floats(1e-4, 1.0), opening=st.floats(0.1, 300.0), span=st.floats(0.1, 300.0),
    fixed=st.one_of(st.just(0.0), st.floats(1e-3, 1.0)),
)  # fmt: skip
def test_the_law_is_the_flow_turned_round(
    q: float, c: float, opening: float, span: float, fixed: float
) -> None:
    head, slope = relief_law(q, c, opening, span, fixed)
    lift = fixed or (head - opening) / span
    assert slope > 0.0
    assert lift * c * math.sqrt(head) == pytest.approx(q, rel=1e-6, abs=1e-9)


@given(
    drive=st.floats(-50.0, 0.0) | st.floats(1e-6, 2000.0), z=st.floats(1.0, 1e5), c=st.floats(1e-5, 1.0),
    opening=st.floats(0.1, 300.0), span=st.floats(0.1, 300.0),
    lifts=st.tuples(st.floats(0.0, 1.0), st.floats(1e-6, 1.0)),
)  # fmt: skip
def test_the_flow_between_two_sources_meets_the_law(
    drive: float, z: float, c: float, opening: float, span: float, lifts: tuple[float, float]
) -> None:
    least, most = min(lifts), max(lifts)
    q = relief_flow(drive, z, c, opening, span, least, most)
    head = drive - z * q
    again = relief_lift(head, opening, span, least, most) * c * math.sqrt(max(head, 0.0))
    assert q >= 0.0
    # What rounding of the head does to the flow counts too.
    off = 1e-12 * (abs(drive) + z * q)
    slope = c * math.sqrt(abs(head)) / span + c / math.sqrt(abs(head) + off + 1e-300)
    assert abs(again - q) <= 1e-9 * q + slope * off


def test_one_that_a_step_finds_just_at_its_set_pressure_opens_then() -> None:
    lf = np.zeros((1, columns.L_FLOATS))
    figures = {"SET": 80.0, "SPAN": 20.0, "MOST": 1.0, "RATE": 1.0, "OVER": 70.0, "OPENED": -1.0}
    for name, value in figures.items():
        lf[0, getattr(columns, f"L_{name}")] = value
    for time, drop in ((0.1, 80.0), (0.2, 90.0)):
        relief_advance(0, drop, time, 0.1, lf)
    assert lf[0, columns.L_LIFT] == 0.5
    assert lf[0, columns.L_OPENED] == pytest.approx(0.1)


# --- against a line that is exact ----------------------------------------------------------------------


def _exact(r: ReliefValve, until: float) -> Ended:
    """The same by a delay and an ODE: lift (where it takes time) and volume are the states."""
    first, full, back = (p / RHO_G for p in (r.set_pressure, r.full_pressure, r.back_pressure))
    c = r.kv / 3600 * math.sqrt(GRAVITY / 100)

    def target(h: float) -> float:
        return min(max((h - first) / (full - first), 0.0), 1.0)

    def out(s: Array, h: float) -> float:
        lift = s[0] if r.opening_time else target(h)
        return float(lift * c * math.sqrt(max(h - back, 0.0)))

    def leaves(t: float, s: Array, h: float) -> float:
        drop = h - ENDS.beyond
        through = max(1.0 - t, 0.0) * ENDS.conductance * math.copysign(math.sqrt(abs(drop)), drop)
        return through + out(s, h)

    def moves(_t: float, s: Array, h: float, _q: float) -> list[float]:
        rate = 1.0 / r.opening_time if r.opening_time else 0.0
        return [min(max(3000.0 * (target(h) - s[0]), -rate), rate), out(s, h)]

    made = DelayLine(
        head=ENDS.head, flow=ENDS.flow, impedance=ENDS.impedance, back=2.0, leaves=leaves, moves=moves
    )
    return made.run(until, [0.0, 0.0])


def _passed(exact: Ended, time: float) -> float:
    return float(np.interp(time, exact.time, exact.state[:, 1]))


def _state(made: KeptMarch, name: str, column: int) -> float:
    grid = made.marched.grid
    return float(grid.net.lf[grid.links.index(name), column])


@pytest.mark.parametrize("back", [0.0, 0.5e5])
def test_one_that_follows_at_once_is_exact_to_rounding(back: float) -> None:
    """The line has no friction and the valve no memory, so that the march has no error at all."""
    r = relief(back_pressure=back)
    made = run(ENDS.lineup(relief_valves=(r,)), 0.01, 5.0, ratio=CLOSES)
    exact = _exact(r, 5.0)
    at = np.arange(1, 500) * 0.01
    assert made.head("end")[1:500] == pytest.approx(np.interp(at, exact.time, exact.head), abs=1e-6)
    assert made.head("end").max() < 1e6 / RHO_G + 15.0  # held near full lift; 220 m without it
    assert _state(made, r.name, columns.L_PASSED) == pytest.approx(_passed(exact, 5.0), rel=1e-4)


@pytest.mark.slow
def test_one_that_takes_time_is_of_first_order() -> None:
    r = relief(opening_time=1.5)
    exact = _exact(r, 5.0)
    at = np.arange(1, 100) * 0.05
    wrong = []
    for steps in (20, 80, 320):
        made = run(ENDS.lineup(relief_valves=(r,)), 1.0 / steps, 5.0, ratio=CLOSES)
        heads = made.head("end")[:: steps // 20][1:100]
        wrong.append(float(np.mean(np.abs(heads - np.interp(at, exact.time, exact.head)))))
        last = abs(_state(made, r.name, columns.L_PASSED) / _passed(exact, 5.0) - 1.0)
    assert wrong[1] < 0.4 * wrong[0]
    assert wrong[2] < 0.4 * wrong[1]
    assert wrong[2] < 5e-5 * (exact.head.max() - ENDS.head)
    assert last < 1e-4


# --- wherever it stands --------------------------------------------------------------------------------


def _dry() -> LineUp:
    """Relief valves where only links meet, beside a valve, in the middle of a line, and at a lumped hose."""
    rough: dict[str, Any] = {"friction_factor": None, "roughness": 5e-5}
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0), (0.3, 20.0))
    elements = [
        Pump(name="pump", start="sump", end="header", curve=curve, non_return=True),
        valve("throttle", "header", "inlet", 0.03),
        pipe("shore line", "inlet", "middle", 300.0, 1000.0, **rough),
        pipe("on", "middle", "berth", 300.0, 1000.0, **rough),
        pipe("hose", "berth", "flange", 4.0, 400.0, diameter=0.3, **rough),
        valve("manifold", "flange", "deck", 0.05),
        Passage(name="strainer", start="deck", end="deck line", kv=kv_of(0.2)),
        pipe("deck pipe", "deck line", "ship", 80.0, 1000.0, **rough),
    ]
    return line_up(elements, {"sump": 3.0, "ship": 4.0})


EVERYWHERE = ("header", "middle", "berth", "flange", "deck")


@pytest.mark.parametrize("time", [0.0, 0.7])
def test_it_holds_down_the_pressure_wherever_it_stands(time: float) -> None:
    """Each alone: the pressure there is less than without it, nothing else is amiss (the watch looks on)."""
    ratio = {"manifold": ((0.0, 1.0), (1.0, 0.0))}
    bare = run(_dry(), 0.02, 8.0, ratio=ratio)
    for point in EVERYWHERE:
        first = 1.02 * RHO_G * bare.head(point)[0] + 1e4
        r = relief(point, set_pressure=first, full_pressure=first + 5e4, kv=400.0, opening_time=time)
        made = run(_dry().with_(relief_valves=(r,)), 0.02, 8.0, ratio=ratio)
        flow = made.flow(r.name)
        rises = bare.head(point).max() > first / RHO_G
        assert (flow.max() > 0.0) == rises
        assert flow.min() >= 0.0
        if rises:
            assert made.head(point).max() < bare.head(point).max()
        passed = float(np.sum(0.5 * (flow[1:] + flow[:-1])) * 0.02)
        assert _state(made, r.name, columns.L_PASSED) == pytest.approx(passed, rel=1e-12, abs=1e-15)


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_one_that_is_set_above_all_changes_nothing(seed: int) -> None:
    """To the last bit where links were solved alone, to rounding where it joins those that meet there."""
    lineup, _ = relieved(seed, above=900e5)
    names = {v.name for v in lineup.valves}
    ratio = dict.fromkeys(sorted(names)[:1], ((0.2, 1.0), (1.0, 0.0)))
    dt = max(p.travel_time for p in lineup.pipes) / 40
    bare = run(lineup.with_(relief_valves=()), dt, 150 * dt, ratio=ratio)
    made = run(lineup, dt, 150 * dt, ratio=ratio)
    points = len(lineup.points)
    swing = max(1.0, float(np.ptp(bare.heads, axis=0).max()))
    # The general Newton leaves some 1e-9 m3/s, which is more head where a bore is small.
    assert np.abs(made.heads[:, :points] - bare.heads[:, :points]).max() < 1e-4 * swing
    assert made.flows.min(initial=0.0) >= bare.flows.min(initial=0.0) - 1e-4


def test_one_of_no_kv_changes_nothing() -> None:
    bare = run(ENDS.lineup(), 0.02, 6.0, ratio=CLOSES)
    made = run(ENDS.lineup(relief_valves=(relief(kv=1e-7),)), 0.02, 6.0, ratio=CLOSES)
    assert np.abs(made.head("end") - bare.head("end")).max() < 1e-5


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_generated_line_ups_with_relief_valves_keep_what_every_march_must(seed: int) -> None:
    """The watch is the judge: liquid kept, no energy from nowhere; steady until something moves."""
    lineup, scenario = relieved(seed)
    names = [m.valve for m in scenario.moves if m.valve not in scenario.shut_at_start]
    ratio = dict.fromkeys(names[:2], ((0.5, 1.0), (1.5, 0.0)))
    dt = max(p.travel_time for p in lineup.pipes) / 40
    made = run(lineup, dt, max(2.5, 200 * dt), ratio=ratio)
    assert np.isfinite(made.heads).all()
    for r in lineup.relief_valves:
        assert made.flow(r.name).min() >= 0.0
        lift = _state(made, r.name, columns.L_HIGHEST)
        assert 0.0 <= lift <= 1.0
        opened = made.flow(r.name).max() > 0.0
        assert (_state(made, r.name, columns.L_OPENED) >= 0.0) == opened


def test_the_lift_takes_its_time() -> None:
    """By an instant stop the pressure is far above full lift at once: the lift then rises in proportion."""
    r = relief(opening_time=2.0)
    made = run(ENDS.lineup(relief_valves=(r,)), 0.02, 0.6, ratio={"valve": ((0.1, 1.0), (0.1, 0.0))})
    c = 300.0 / 3600 * math.sqrt(GRAVITY / 100)
    lifts = made.flow(r.name)[7:27] / (c * np.sqrt(made.head("end")[7:27]))
    assert np.diff(lifts) == pytest.approx(np.full(19, 0.01), rel=1e-9)

"""Steady flow of networks against an independent solution of all equations at once (scipy, ``fluids``)."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from support.lineups.generated import generated
from support.lineups.lines import LINEAR, kv_of, line_up, pipe
from support.oracles import independent_solver as slow

from surge.errors import CaseError
from surge.hydraulics.losses import PipeLoss
from surge.hydraulics.steady import Steady, head_of_tank, steady_once, steady_state
from surge.kernel.curves import head, pump_curve
from surge.model.lineup import GRAVITY as G
from surge.model.lineup import LineUp, Liquid, Passage, Pipe, Pump, Rate, Scenario, Supply, Valve, ValveMove

OIL = Liquid(name="oil", density=850.0, sound_speed=1300.0, viscosity=8e-6, vapour_pressure=1e4)
LOADING = Scenario(name="loading")
# Both sides solve the same equations to rounding; what differs is how Colebrook's equation is solved
# (the library's closed form is exact to rounding too). Heads are tens of metres, flows tenths of m3/s.
HEAD, FLOW = 1e-6, 1e-8


def rough(name: str, start: str, end: str, length: float, diameter: float = 0.25, minor: float = 0.0) -> Pipe:
    return pipe(
        name,
        start,
        end,
        length,
        1000.0,
        diameter=diameter,
        roughness=5e-5,
        friction_factor=None,
        minor_loss=minor,
    )


def throttle(name: str, start: str, end: str, kv: float, opening: float = 1.0) -> Valve:
    return Valve(name=name, start=start, end=end, kv=kv, characteristic=LINEAR, opening=opening)


def pump(name: str, start: str, end: str, **more: Any) -> Pump:
    curve = ((0.0, 80.0), (0.1, 74.0), (0.2, 58.0))
    return Pump(name=name, start=start, end=end, **{"curve": curve, "non_return": True} | more)


def series() -> LineUp:
    return line_up(
        [
            rough("first", "shore", "joint", 800.0, 0.3, 2.5),
            rough("second", "joint", "before", 150.0, 0.2),
            throttle("valve", "before", "after", 600.0, 0.6),
            rough("third", "after", "ship", 40.0, 0.25, 1.0),
        ],
        {"shore": 35.0, "ship": 4.0},
        liquid=OIL,
    )


def tee() -> LineUp:
    return line_up(
        [
            rough("main", "shore", "tee", 600.0, 0.3),
            rough("one", "tee", "ship 1", 90.0, 0.2),
            rough("two", "tee", "before", 60.0, 0.2),
            rough("branch", "tee", "blank", 30.0, 0.2),
            throttle("valve", "before", "ship 2", 500.0),
        ],
        {"shore": 30.0, "ship 1": 6.0, "ship 2": 2.0},
        liquid=OIL,
    )


def loop() -> LineUp:
    return line_up(
        [
            rough("main", "shore", "a", 300.0, 0.3),
            rough("upper", "a", "b", 200.0, 0.2),
            rough("lower", "a", "c", 120.0, 0.15),
            rough("across", "c", "b", 80.0, 0.2),
            rough("out", "b", "ship", 100.0, 0.25),
        ],
        {"shore": 25.0, "ship": 3.0},
        liquid=OIL,
    )


def parallel_pumps() -> LineUp:
    weaker = ((0.0, 70.0), (0.1, 62.0), (0.2, 40.0))
    return line_up(
        [
            pump("big", "sump", "header"),
            pump("small", "sump", "header", curve=weaker, speed=0.97),
            rough("line", "header", "before", 1000.0, 0.25),
            throttle("valve", "before", "ship", 900.0),
        ],
        {"sump": 8.0, "ship": 12.0},
        liquid=OIL,
    )


def throttled_pump() -> LineUp:
    return line_up(
        [
            rough("suction", "sump", "inlet", 20.0, 0.3),
            pump("pump", "inlet", "discharge"),
            throttle("control", "discharge", "shore", 700.0, 0.35),
            rough("line", "shore", "bottom", 1500.0, 0.25, 3.0),
            Passage(name="stack", start="bottom", end="ship", kv=800.0),
        ],
        {"sump": 10.0, "ship": 15.0},
        liquid=OIL,
    )


NETS = {f.__name__: f for f in (series, tee, loop, parallel_pumps, throttled_pump)}


def compare(found: Steady, exact: slow.Flow, lineup: LineUp) -> None:
    for e in lineup.elements:
        assert found.flow[e.name] == pytest.approx(exact.flow[e.name], abs=FLOW), e.name
    for p in lineup.points:
        assert found.head[p.name] == pytest.approx(exact.head[p.name], abs=HEAD), p.name


def balance(found: Steady, lineup: LineUp) -> float:
    """Greatest flow lost at any point that no tank or supply holds [m3/s]."""
    held = {t.point for t in lineup.tanks} | {s.point for s in lineup.supplies}
    lost = {p.name: 0.0 for p in lineup.points if p.name not in held}
    for e in lineup.elements:
        for point, sign in ((e.start, -1), (e.end, 1)):
            if point in lost:
                lost[point] += sign * found.flow[e.name]
    return max(abs(v) for v in lost.values())


@pytest.mark.parametrize("name", NETS)
def test_networks(name: str) -> None:
    lineup = NETS[name]()
    found = steady_state(lineup, LOADING)
    compare(found, slow.steady(lineup), lineup)
    assert balance(found, lineup) < 1e-12
    assert max(abs(q) for q in found.flow.values()) > 0.05


def test_dead_end_has_no_flow_and_the_head_of_its_tee() -> None:
    found = steady_state(tee(), LOADING)
    assert found.flow["branch"] == pytest.approx(0.0, abs=1e-12)
    assert found.head["blank"] == pytest.approx(found.head["tee"], abs=1e-12)


def test_series_by_one_equation() -> None:
    """The same series by hand: one unknown, brentq."""
    lineup = series()
    lines = [slow.Line(p, OIL.viscosity, G) for p in lineup.pipes]
    c = 600 * 0.6 / 3600 * math.sqrt(G / 100)
    q = brentq(lambda q: 31.0 - sum(p.loss(q) for p in lines) - (q / c) ** 2, 1e-4, 1.0, xtol=1e-14)
    assert steady_state(lineup, LOADING).flow["valve"] == pytest.approx(q, abs=FLOW)


def test_laminar_line() -> None:
    """Re below 2000: Hagen-Poiseuille, h = 128 nu L Q/(pi g D^4) (classical)."""
    thick = replace(OIL, viscosity=5e-4)
    lineup = line_up([rough("line", "a", "b", 500.0)], {"a": 3.0, "b": 0.0}, liquid=thick)
    q = 3.0 * math.pi * G * 0.25**4 / (128 * 5e-4 * 500)
    assert q / (math.pi / 4 * 0.25**2) * 0.25 / 5e-4 < 2000
    assert steady_state(lineup, LOADING).flow["line"] == pytest.approx(q, rel=1e-9)


def test_a_given_factor_and_minor_losses() -> None:
    """Darcy-Weisbach by hand: H = (f L/D + K) V^2/(2g)."""
    line = pipe("line", "a", "b", 400.0, 1000.0, diameter=0.2, friction_factor=0.02, minor_loss=7.0)
    q = math.pi / 4 * 0.2**2 * math.sqrt(2 * G * 12.0 / (0.02 * 400 / 0.2 + 7))
    assert steady_state(line_up([line], {"a": 12.0, "b": 0.0}), LOADING).flow["line"] == pytest.approx(
        q, rel=1e-9
    )


def test_non_return_valve_shuts() -> None:
    """A pump weaker than its neighbour's head is shut out: the other works alone."""
    weak = pump("small", "sump", "header", curve=((0.0, 20.0), (0.1, 15.0), (0.2, 5.0)))
    both = parallel_pumps()
    lineup = both.with_(pumps=(both.pumps[0], weak))
    shut = lineup.with_(valves=(*lineup.valves, throttle("idle", "before", "ship", 1.0, 0.0)))
    found = steady_state(shut, LOADING)  # with a valve shut an idle pump is no fault
    assert found.flow["small"] == 0.0
    compare(found, slow.steady(shut), shut)
    alone = lineup.with_(pumps=(both.pumps[0],))
    assert found.flow["big"] == pytest.approx(steady_state(alone, LOADING).flow["big"], abs=1e-12)


def test_pump_without_a_non_return_valve_lets_flow_turn() -> None:
    """The tank ahead stands above the shut-off head: flow runs back through the pump."""
    lineup = line_up(
        [
            pump("pump", "sump", "discharge", non_return=False),
            rough("line", "discharge", "before", 400.0),
            throttle("valve", "before", "high", 800.0),
            throttle("idle", "before", "high", 800.0, 0.0),
        ],
        {"sump": 0.0, "high": 95.0},
        liquid=OIL,
    )
    found = steady_state(lineup, LOADING)
    assert found.flow["pump"] < -0.01
    compare(found, slow.steady(lineup, guess=-0.05), lineup)


def test_two_pumps_in_series() -> None:
    lineup = line_up(
        [
            pump("feed", "sump", "middle"),
            pump("booster", "middle", "discharge", speed=0.8),
            rough("line", "discharge", "ship", 2500.0),
        ],
        {"sump": 5.0, "ship": 10.0},
        liquid=OIL,
    )
    found = steady_state(lineup, LOADING)
    compare(found, slow.steady(lineup), lineup)


# --- the agreed rate -------------------------------------------------------------------------------------

RATE = 360.0 / 3600


def test_rate_by_throttle() -> None:
    lineup = throttled_pump().with_(
        rate=Rate(agreed=RATE, means="throttle", at="control", through="line"),
        valves=(throttle("control", "discharge", "shore", 700.0),),
    )
    found = steady_state(lineup, LOADING)
    exact = slow.steady(lineup, free="control", through="line", rate=RATE)
    compare(found, exact, lineup)
    drop = exact.head["discharge"] - exact.head["shore"]
    share = RATE / math.sqrt(drop) * 3600 / math.sqrt(G / 100) / 700
    assert found.opening["control"] == pytest.approx(share, rel=1e-7)
    # Set so, and solved without any means, it flows at the rate.
    assert slow.steady(lineup, opening=found.opening).flow["line"] == pytest.approx(RATE, abs=FLOW)
    assert balance(found, lineup) < 1e-12


def test_rate_by_throttling_a_passage() -> None:
    lineup = throttled_pump().with_(rate=Rate(agreed=RATE, means="throttle", at="stack", through="line"))
    found = steady_state(lineup, LOADING)
    exact = slow.steady(lineup, free="stack", through="line", rate=RATE)
    compare(found, exact, lineup)
    c = RATE / math.sqrt(exact.head["bottom"] - exact.head["ship"])
    assert kv_of(found.conductance["stack"]) == pytest.approx(kv_of(c), rel=1e-7)


def test_rate_by_pump_speed() -> None:
    open_wide = throttled_pump().with_(valves=(throttle("control", "discharge", "shore", 700.0),))
    lineup = open_wide.with_(rate=Rate(agreed=RATE, means="pump speed", at="pump", through="line"))
    found = steady_state(lineup, LOADING)
    exact = slow.steady(lineup, free="pump", through="line", rate=RATE)
    compare(found, exact, lineup)
    curve = slow.Curve(lineup.pumps[0].curve)
    rise = exact.head["discharge"] - exact.head["inlet"]
    assert found.speed["pump"] == pytest.approx(brentq(lambda n: curve(RATE, n) - rise, 0.1, 1.0), rel=1e-7)
    assert found.speed["pump"] < 1.0


def supplied(**more: Any) -> LineUp:
    lineup = line_up(
        [
            rough("line", "far end", "before", 1200.0),
            throttle("valve", "before", "ship", 900.0),
        ],
        {"ship": 6.0},
        liquid=OIL,
    )
    supply = Supply(name="terminal", point="far end", **{"pressure": None, "shut_off": 9e5} | more)
    ends = tuple(replace(p, closed=False) for p in lineup.points)
    return lineup.with_(points=ends, supplies=(supply,))


def test_rate_by_supply_pressure() -> None:
    """The pressure that the rate needs: losses and the ship's level by hand; no flow: the shut-off
    pressure."""
    lineup = supplied().with_(rate=Rate(agreed=RATE, means="supply pressure", at="terminal", through="line"))
    found = steady_state(lineup, LOADING)
    c = 900 / 3600 * math.sqrt(G / 100)
    head = 6.0 + slow.Line(lineup.pipes[0], OIL.viscosity, G).loss(RATE) + (RATE / c) ** 2
    assert found.head["far end"] == pytest.approx(head, abs=HEAD)
    assert found.flow["line"] == pytest.approx(RATE, abs=FLOW)
    shut_off, loss = found.supply["terminal"]
    assert shut_off == pytest.approx(9e5 / (850 * G), rel=1e-12)
    assert shut_off - loss * RATE**2 == pytest.approx(head, abs=HEAD)
    idle = steady_state(lineup, Scenario(name="idle", shut_at_start=("valve",)))
    assert idle.head["far end"] == pytest.approx(9e5 / (850 * G), abs=1e-6)
    assert idle.flow["line"] == pytest.approx(0.0, abs=1e-9)


def test_rate_of_a_scenario_goes_before() -> None:
    lineup = throttled_pump().with_(
        rate=Rate(agreed=RATE, means="throttle", at="control", through="line"),
        valves=(throttle("control", "discharge", "shore", 700.0),),
    )
    found = steady_state(lineup, Scenario(name="topping off", rate=RATE / 3))
    assert found.flow["line"] == pytest.approx(RATE / 3, abs=FLOW)


def refusal(lineup: LineUp, scenario: Scenario = LOADING) -> Any:
    with pytest.raises(CaseError) as caught:
        steady_state(lineup, scenario)
    (fault,) = caught.value.faults
    return fault


@pytest.mark.parametrize(("means", "at"), [("throttle", "control"), ("pump speed", "pump")])
def test_rate_out_of_reach(means: str, at: str) -> None:
    """Refused with what the line gives; that figure is checked too."""
    wide = throttled_pump().with_(valves=(throttle("control", "discharge", "shore", 700.0),))
    lineup = wide.with_(rate=Rate(agreed=0.5, means=means, at=at, through="line"))
    fault = refusal(lineup)
    assert fault.path == ("rate", "agreed")
    natural = slow.steady(wide).flow["line"] * 3600
    assert "1800 m3/h cannot be reached" in fault.found
    assert f"{natural:.0f} m3/h" in fault.found
    assert "lower rate" in fault.remedy


def test_a_rate_below_what_flows_by_itself() -> None:
    """Downhill through a pump that stands still: no speed holds the line to less than that gives."""
    downhill = line_up(
        [pump("pump", "inlet", "shore"), rough("line", "shore", "ship", 1500.0, 0.25, 3.0)],
        {"inlet": 18.0, "ship": 7.0},
        liquid=OIL,
    )

    def at(rate: float) -> Any:
        return downhill.with_(rate=Rate(agreed=rate, means="pump speed", at="pump", through="line"))

    line, curve = PipeLoss(downhill), pump_curve(downhill.pumps[0].curve)
    alone = brentq(lambda q: 11.0 - float(line(np.array([q]))[0]) + head(curve, q, speed=0.0)[0], 1e-4, 1.0)
    fault = refusal(at(0.9 * alone))
    assert "more flows while it stands still" in fault.found
    assert "throttling" in fault.remedy
    found = steady_state(at(1.02 * alone), LOADING)
    assert found.flow["line"] == pytest.approx(1.02 * alone, abs=FLOW)
    assert 0.0 < found.speed["pump"] < 1.0


def test_shut_off_pressure_too_low() -> None:
    rate = Rate(agreed=0.2, means="supply pressure", at="terminal", through="line")
    fault = refusal(supplied(shut_off=2e5).with_(rate=rate))
    assert fault.path[-1] == "shut_off_pressure"
    assert "2.00 bar(g)" in fault.found


def test_pump_that_lifts_nothing() -> None:
    lineup = throttled_pump()
    high = lineup.with_(
        tanks=tuple(replace(t, level=150.0) if t.point == "ship" else t for t in lineup.tanks)
    )
    fault = refusal(high)
    assert "cannot cross the system" in fault.found
    assert "80.0 m" in fault.found


def test_shut_in_part_needs_its_pressure() -> None:
    lineup = line_up(
        [
            rough("line", "shore", "before", 300.0),
            throttle("first", "before", "middle", 500.0),
            rough("deck", "middle", "end", 60.0),
            throttle("second", "end", "ship", 500.0),
        ],
        {"shore": 30.0, "ship": 3.0},
        liquid=OIL,
    )
    shut = Scenario(name="restart", shut_at_start=("first", "second"))
    fault = refusal(lineup, shut)
    assert fault.path[-1] == "trapped_pressure"
    found = steady_state(lineup, replace(shut, trapped=(("end", 2e5),)))
    assert found.head["middle"] == pytest.approx(2e5 / (850 * G), abs=1e-9)
    assert found.head["before"] == pytest.approx(30.0, abs=1e-9)


def test_a_ships_tank_below_its_pipe_is_a_free_outfall() -> None:
    lineup = series()
    tank = replace(lineup.tanks[1], side="ship", level=-5.0, blanket=2e4)
    assert head_of_tank(lineup, tank) == pytest.approx(2e4 / (850 * G), rel=1e-12)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_generated_line_ups(seed: int) -> None:
    lineup, _ = generated(seed)
    found = steady_state(lineup, LOADING)  # generated ones all flow
    assert balance(found, lineup) < 1e-10
    # Every law holds at the solution, by the independent formulas.
    for p in lineup.pipes:
        drop = found.head[p.start] - found.head[p.end]
        assert drop == pytest.approx(
            slow.Line(p, lineup.liquid.viscosity, G).loss(found.flow[p.name]), abs=1e-6
        )
    for e in (*lineup.valves, *lineup.passages):
        drop = found.head[e.start] - found.head[e.end]
        q, c = found.flow[e.name], slow.orifice(e.kv, G)
        assert drop == pytest.approx(q * abs(q) / c**2, abs=1e-6)
    for e in lineup.pumps:
        if found.flow[e.name] or not e.non_return:
            rise = found.head[e.end] - found.head[e.start]
            assert rise == pytest.approx(slow.Curve(e.curve)(found.flow[e.name], 1.0), abs=1e-6)
    held = slow.tank_heads(lineup)
    assert {p: found.head[p] for p in held} == pytest.approx(held)
    assert np.isfinite(list(found.head.values())).all()


def test_a_flow_is_solved_once_for_all_that_begins_alike() -> None:
    lineup = series()
    stroke = ValveMove(valve="valve", start=1.0, law=((0.0, 0.6), (5.0, 0.0)))
    first = steady_once(lineup, LOADING)
    assert steady_once(lineup, replace(LOADING, moves=(stroke,))) is first
    assert steady_once(lineup.with_(scenarios=(LOADING,)), LOADING) is first
    assert first == steady_state(lineup, LOADING)
    wider = replace(LOADING, openings=(("valve", 0.7),))
    assert steady_once(lineup, wider) == steady_state(lineup, wider) != first
    heavier = lineup.with_(liquid=replace(OIL, density=900.0))
    assert steady_once(heavier, LOADING) is not first

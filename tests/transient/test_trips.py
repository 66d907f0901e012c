"""Pumps that trip: against an ODE of their speed on an exact line, side by side, and what is not known."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from support.lineups.lines import line_up, pipe, valve
from support.oracles.delay_line import Array, DelayLine, Ended

from surge.errors import CaseError
from surge.kernel import columns
from surge.model.lineup import GRAVITY, LineUp, NonReturnValve, Pump, PumpMove, Scenario, Trip, Turning
from surge.model.validation_scenarios import scenario_faults
from surge.search.changes import without
from surge.transient.batch import march_batch
from surge.transient.batch_lane import Lane
from surge.transient.grid import Grid, build_grid
from surge.transient.march import Marched
from surge.transient.plan import first_duration, plan
from surge.transient.reaches import divide
from surge.transient.run import simulate

CURVE = ((0.0, 60.0), (0.1, 54.0), (0.25, 30.0))
TURNING = Turning(inertia=60.0, rpm=1480.0, efficiency=0.8, best_flow=0.12)
BORE = 0.3
SUMP, SHIP = 5.0, 50.0


def _pump(name: str = "pump", **more: Any) -> Pump:
    figures = {"curve": CURVE, "non_return": True, "turning": TURNING} | more
    return Pump(name=name, start="sump", end="inlet", **figures)


def _lineup(*pumps: Pump, friction: float = 0.0) -> LineUp:
    """Pumps side by side, 800 m of line, a tank."""
    line = pipe("line", "inlet", "ship", 800.0, 1000.0, diameter=BORE, friction_factor=friction)
    return line_up([*(pumps or (_pump(),)), line], {"sump": SUMP, "ship": SHIP})


def _march(lineup: LineUp, scenario: Scenario, dt: float, duration: float) -> Marched:
    work = plan(lineup, scenario)
    grid = build_grid(lineup, work.steady, reaches=divide(work.times, dt), laws=work.laws, tables=work.tables)
    made = Marched(grid=grid, frozen=False, stride=1)
    made.advance(round(duration / dt))
    return made


def _exact(at: float, until: float) -> Ended:
    """The pump at the end of a line from the ship's tank, its speed by an ODE."""
    c2, c1, c0 = np.polyfit(*np.array(CURVE).T, 2)
    w0 = 2 * math.pi * TURNING.rpm / 60
    rho_g = 1000.0 * GRAVITY
    impedance = 1000.0 / (GRAVITY * math.pi / 4 * BORE**2)
    first = float(max(np.roots([c2, c1, c0 + SUMP - SHIP])))

    def solved(_t: float, s: Array, p: float) -> float:
        """Of SUMP + n**2 c0 + n c1 Q + c2 Q**2 = p + B Q, not backwards; it leaves the line for the pump."""
        n = max(float(s[0]), 1e-9)
        drive = SUMP + n * n * c0 - p
        if drive <= 0.0:
            return 0.0
        b = n * c1 - impedance
        return float((b + math.sqrt(b * b - 4 * c2 * drive)) / (2 * c2))

    def moves(t: float, s: Array, h: float, q: float) -> list[float]:
        n, through = max(float(s[0]), 1e-9), -q
        if t < at:
            return [0.0]
        head = n * n * c0 + n * c1 * through + c2 * through**2
        r = through / (n * TURNING.best_flow)
        torque = rho_g * max(head, 0.0) * TURNING.best_flow / (TURNING.efficiency * (2 - r) * w0)
        return [-torque / (TURNING.inertia * w0)]

    made = DelayLine(
        head=SHIP,
        flow=-first,
        impedance=impedance,
        back=1.6,
        leaves=lambda *_: 0.0,
        moves=moves,
        solved=solved,
    )
    return made.run(until, [1.0])


@pytest.mark.slow
def test_a_trip_is_that_of_an_ode() -> None:
    exact = _exact(0.5, 6.4)
    scenario = Scenario(name="trip", trips=(Trip(pump="pump", start=0.5),))
    at = np.arange(1, 120) * 0.05
    wrong = []
    for steps in (20, 80, 320):
        made = _march(_lineup(), scenario, 1.0 / steps, 6.4)
        heads = np.vstack(made.heads)[:, made.grid.points.index("inlet")][:: steps // 20][1:120]
        wrong.append(float(np.mean(np.abs(heads - np.interp(at, exact.time, exact.head)))))
        speed = float(made.grid.net.lf[0, columns.L_SPEED])
    assert wrong[1] < 0.3 * wrong[0]
    assert wrong[2] < 1e-3 * float(np.ptp(exact.head))
    # That of the next step: dt later.
    assert speed == pytest.approx(float(exact.state[-1, 0]), rel=3e-4)
    assert made.grid.net.lf[0, columns.T_UNKNOWN] < 0.0


def test_without_inertia_to_speak_of_it_stops_at_once_and_with_endless_inertia_never() -> None:
    scenario = Scenario(name="trip", trips=(Trip(pump="pump", start=0.5),))
    for inertia, left in ((1e-3, 0.05), (1e9, 1.0)):
        pump = _pump(turning=replace(TURNING, inertia=inertia))
        made = _march(_lineup(pump), scenario, 0.01, 2.0)
        assert float(made.grid.net.lf[0, columns.L_SPEED]) == pytest.approx(left, abs=0.05)
        # What still flows through one that stands at once is no point of its curve.
        assert (made.grid.net.lf[0, columns.T_UNKNOWN] >= 0.0) == (inertia < 1.0)


def test_one_of_two_side_by_side_trips_and_the_other_takes_over() -> None:
    """The one that trips is parted by its non-return valve; the other goes on, at its own working point."""
    lineup = _lineup(_pump("one"), _pump("two"), friction=0.02)
    scenario = Scenario(name="trip", trips=(Trip(pump="one", start=1.0),))
    made = _march(lineup, scenario, 0.02, 60.0)
    alone = plan(_lineup(_pump("two"), friction=0.02), Scenario(name="steady"))
    flows = np.vstack(made.flows)[-1]
    assert flows[made.grid.links.index("one")] == 0.0
    assert flows[made.grid.links.index("two")] == pytest.approx(alone.steady.flow["two"], rel=1e-3)
    # 120 m3/h more than before: to the right of its best point, but within its curve.
    assert made.grid.net.lf[1, columns.L_SPEED] == 1.0


def test_what_leaves_its_curve_cannot_be_decided() -> None:
    """Without a non-return valve the flow turns through the pump: its torque is not known then."""
    lineup = _lineup(_pump(non_return=False), friction=0.02)
    scenario = Scenario(name="trip", trips=(Trip(pump="pump", start=1.0),))
    lineup = lineup.with_(scenarios=(scenario,))
    result = simulate(lineup, scenario, quick=True)
    (trip,) = result.trips
    assert trip.unknown is not None
    assert any("leaves its curve" in reason for reason in result.undecided)
    kept = simulate(_lineup(friction=0.02).with_(scenarios=(scenario,)), scenario, quick=True)
    assert kept.trips[0].unknown is None
    assert not kept.undecided


def test_a_curve_that_ends_before_the_flow_is_refused() -> None:
    short = _pump(curve=((0.0, 60.0), (0.1, 54.0)))
    scenario = Scenario(name="trip", trips=(Trip(pump="pump", start=1.0),))
    with pytest.raises(CaseError) as caught:
        plan(_lineup(short), scenario)
    assert caught.value.faults[0].path[-1] == "curve"


def test_steady_until_it_trips_beside_a_valve() -> None:
    elements = [
        _pump(),
        pipe("line", "inlet", "end", 300.0, 1000.0, diameter=BORE, friction_factor=0.02),
        valve("valve", "end", "ship", 0.05),
    ]
    lineup = line_up(elements, {"sump": SUMP, "ship": SHIP})
    made = _march(lineup, Scenario(name="t", trips=(Trip(pump="pump", start=1.0),)), 0.01, 3.0)
    heads = np.vstack(made.heads)[:99]
    assert np.ptp(heads, axis=0).max() < 1e-8
    assert np.ptp(np.vstack(made.heads), axis=0).max() > 5.0


@pytest.mark.parametrize("together", [True, False])
def test_side_by_side_is_one_by_one(together: bool) -> None:
    """Two pumps that branch, one tripping, in a block of the batch: the single march to rounding."""
    lineup = _lineup(_pump("one"), _pump("two"), friction=0.02)
    scenario = Scenario(name="trip", trips=(Trip(pump="one", start=0.3),))
    work = plan(lineup, scenario)
    reaches = divide(work.times, 0.02)

    def grid() -> Grid:
        return build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)

    lanes = [Lane(grid=grid(), steps=300 + 50 * i) for i in range(3)]
    for lane, found in zip(lanes, march_batch(lanes, frozen=False, together=together), strict=True):
        one = Marched(grid=grid(), frozen=False, stride=1)
        one.advance(lane.steps)
        assert np.abs(one.point_lo - found.point_lo).max() < 1e-9
        assert np.abs(one.point_hi - found.point_hi).max() < 1e-9
        assert np.ptp(np.vstack(one.heads), axis=0).max() > 3.0


def test_a_scenario_without_a_pump_is_without_its_trip() -> None:
    scenario = Scenario(name="t", trips=(Trip(pump="one", start=1.0), Trip(pump="two", start=1.0)))
    assert [t.pump for t in without(scenario, ("one",)).trips] == ["two"]


def test_no_run_goes_on_for_what_a_tripped_pump_shuts_in() -> None:
    """Its pressure falls on for minutes, never below that of the suction; what comes is in its error."""
    non_return = NonReturnValve(name="valve", start="outlet", end="inlet")
    tripping = replace(_pump("one"), end="outlet", non_return=False, turning=replace(TURNING, inertia=3.0))
    line = pipe("line", "inlet", "ship", 800.0, 1000.0, diameter=BORE, friction_factor=0.02)
    lineup = line_up([tripping, _pump("two"), non_return, line], {"sump": SUMP, "ship": SHIP})
    scenario = Scenario(name="one trips", trips=(Trip(pump="one", start=1.0),))
    work = plan(lineup, scenario)
    assert work.pockets == {"outlet", "one", "valve"}
    run = simulate(lineup, scenario)
    assert run.undecided == ()
    assert run.method.duration == pytest.approx(first_duration(work), rel=0.01)
    place = next(p for p in run.places if p.name == "outlet")
    long = _march(lineup, scenario, run.method.dt, 10 * run.method.duration)
    rho_g = lineup.liquid.density * GRAVITY
    lowest = rho_g * long.point_lo[long.grid.points.index("outlet")]
    suction = rho_g * long.point_lo[long.grid.points.index("sump")]
    assert lowest < place.lowest.pressure - 1e3
    assert place.lowest.pressure - place.lowest.error < suction < lowest
    # One without a non-return valve, or with a pipe before it, shuts nothing in.
    assert plan(_lineup(), Scenario(name="trips", trips=(Trip(pump="pump", start=1.0),))).pockets == set()


def _reason(lineup: LineUp) -> str:
    scenario = Scenario(name="trip", trips=(Trip(pump=lineup.pumps[0].name, start=1.0),))
    return " ".join(simulate(lineup, scenario, quick=True).undecided)


def test_what_would_serve_is_said_where_a_pump_leaves_its_curve() -> None:
    """Backwards, beyond a curve that ends before twice the best flow, beyond twice the best flow."""
    back = _reason(_lineup(_pump(non_return=False), friction=0.02))
    assert "flows back through it" in back
    assert "non_return_valve = true" in back
    downhill = [
        _pump(curve=((0.0, 60.0), (0.1, 54.0), (0.2, 40.0)), turning=replace(TURNING, best_flow=0.12)),
        pipe("line", "inlet", "end", 800.0, 1000.0, diameter=BORE, friction_factor=0.02),
        valve("valve", "end", "ship", 0.02),
    ]
    lineup = line_up(downhill, {"sump": 40.0, "ship": 5.0})
    short = _reason(lineup)
    assert "Give its curve up to twice its best flow, 864 m3/h" in short
    assert "run_down that was measured" in short
    whole = lineup.with_(pumps=(replace(lineup.pumps[0], curve=((0.0, 60.0), (0.1, 54.0), (0.25, 30.0))),))
    long = _reason(whole)
    assert "More is pushed through it than twice its best flow" in long
    assert 'write stop = "pump" with a run_down' in long


def test_of_pumps_in_series_the_one_that_runs_on_pushes_through_the_other() -> None:
    """Both count for the steady flow; what the second pushes through the first soon leaves its curve."""
    first = replace(_pump("first"), end="between")
    second = Pump(name="second", start="between", end="inlet", curve=CURVE, non_return=True)
    line = pipe("line", "inlet", "ship", 800.0, 1000.0, diameter=BORE, friction_factor=0.02)
    lineup = line_up([first, second, line], {"sump": SUMP, "ship": SHIP})
    work = plan(lineup, Scenario(name="steady"))
    flow = work.steady.flow["first"]
    assert flow == pytest.approx(work.steady.flow["second"], rel=1e-9)
    made = work.steady.head["inlet"] - work.steady.head["sump"]
    assert made == pytest.approx(2.0 * np.polyval(np.polyfit(*np.array(CURVE).T, 2), flow), rel=1e-9)
    assert "leaves its curve" in _reason(lineup)
    # Run down by a table, it is a passage that takes head, and the other goes on.
    move = PumpMove(pump="first", start=1.0, law=((0.0, 1.0), (6.0, 0.0)))
    run = simulate(lineup, Scenario(name="stop", pump_moves=(move,)), quick=True)
    assert run.undecided == ()
    assert 0.0 < run.history.flow["second"][-1] < flow


RESTART = PumpMove(pump="pump", start=8.0, law=((0.0, 0.0), (4.0, 1.0)))


def test_a_pump_can_be_started_again_after_its_trip() -> None:
    """Its speed is what is left of it until the motor has brought it farther; then it flows as before."""
    lineup = _lineup(friction=0.02)
    tripping = Scenario(name="trip", trips=(Trip(pump="pump", start=1.0),))
    restarted = replace(tripping, pump_moves=(RESTART,))
    dt = 0.02
    one, two = _march(lineup, tripping, dt, 8.0), _march(lineup, restarted, dt, 8.0)
    assert np.array_equal(np.vstack(one.flows), np.vstack(two.flows))  # as the trip alone, until then
    left = float(one.grid.net.lf[0, columns.L_SPEED])
    assert 0.3 < left < 0.8
    early = _march(lineup, restarted, dt, 8.6)  # the motor has not yet come up to what is left
    assert 0.2 < float(early.grid.net.lf[0, columns.L_SPEED]) < left
    for until in (11.5, 12.0, 100.0):
        made = _march(lineup, restarted, dt, until)
        driven = min((until + dt - 8.0) / 4.0, 1.0)
        assert made.grid.net.lf[0, columns.L_SPEED] == pytest.approx(driven, abs=0.012)
    steady = plan(lineup, restarted).steady
    assert steady.speed["pump"] == 1.0
    assert np.vstack(made.flows)[-1, 0] == pytest.approx(steady.flow["pump"], rel=0.01)


def test_a_restart_is_told_and_ends_the_run_later() -> None:
    lineup = _lineup(friction=0.02)
    tripping = Scenario(name="trip", trips=(Trip(pump="pump", start=1.0),))
    restarted = replace(tripping, pump_moves=(RESTART,))
    run = simulate(lineup, restarted, quick=True)
    (trip,) = run.trips
    assert trip.again == 8.0
    assert run.last_event == 12.0
    assert plan(lineup, restarted).pockets == frozenset()
    assert run.undecided == ()


@pytest.mark.parametrize("together", [True, False])
def test_a_restart_side_by_side_is_one_by_one(together: bool) -> None:
    lineup = _lineup(_pump("one"), _pump("two"), friction=0.02)
    again = replace(RESTART, pump="one", start=2.0)
    scenario = Scenario(name="trip", trips=(Trip(pump="one", start=0.3),), pump_moves=(again,))
    work = plan(lineup, scenario)
    reaches = divide(work.times, 0.02)

    def grid() -> Grid:
        return build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)

    lanes = [Lane(grid=grid(), steps=400 + 50 * i, laws=work.laws) for i in range(3)]
    for lane, found in zip(lanes, march_batch(lanes, frozen=False, together=together), strict=True):
        one = Marched(grid=grid(), frozen=False, stride=1)
        one.advance(lane.steps)
        assert np.abs(one.point_lo - found.point_lo).max() < 1e-9
        assert np.abs(one.point_hi - found.point_hi).max() < 1e-9


def test_only_a_start_after_the_trip_is_a_restart() -> None:
    early = replace(RESTART, start=0.5)
    stops = replace(RESTART, law=((0.0, 1.0), (4.0, 0.0)))
    for move, wrong in ((RESTART, False), (early, True), (stops, True)):
        scenario = Scenario(name="t", trips=(Trip(pump="pump", start=1.0),), pump_moves=(move,))
        lineup = _lineup().with_(scenarios=(scenario,))
        faults = list(scenario_faults(lineup))
        assert bool(faults) == wrong
        if wrong:
            assert "started once after that" in faults[0].expected

"""Shut-off pressure, starts from rest, and what must not be judged: found by trying to break it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from surge.case.file import read_case, starter_case
from surge.errors import CaseError
from surge.hydraulics.steady import steady_state
from surge.model.lineup import Limits, LineUp, PumpMove, Scenario, Valve, ValveMove
from surge.model.stroke import speed_over_time
from surge.rules.assess import assess
from surge.rules.findings import UNDECIDED
from surge.rules.heads import shut_off_heads
from surge.rules.static import static_findings, static_over_densities
from surge.transient.run import simulate

SHUT = ((0.0, 0.0), (1.0, 1.0))


@pytest.fixture
def line() -> LineUp:
    return read_case(starter_case(), filename="starter").lineup


def test_shut_off_head_is_tank_level_plus_the_pumps_head_at_no_flow(line: LineUp) -> None:
    level = next(t.level for t in line.tanks if t.side == "shore")
    head = line.pumps[0].curve[0][1]
    assert shut_off_heads(line)["manifold"] == pytest.approx(level + head, rel=1e-12)


def test_a_bypass_round_the_pump_takes_nothing_off_its_shut_off_head(line: LineUp) -> None:
    pump = line.pumps[0]
    bypass = Valve(name="bypass", start=pump.end, end=pump.start, kv=200.0, characteristic=SHUT, opening=0.0)
    with_bypass = line.with_(valves=(*line.valves, bypass))
    assert shut_off_heads(with_bypass)["manifold"] == shut_off_heads(line)["manifold"]
    before = {f.name: f.value for f in static_findings(line)}
    after = {f.name: f.value for f in static_findings(with_bypass)}
    assert before == {name: after[name] for name in before}


def test_pumps_behind_one_another_add_up_also_past_a_bypass(line: LineUp) -> None:
    pump, first = line.pumps[0], line.points_by_name[line.pumps[0].end]
    middle = replace(first, name="between")
    second = replace(pump, name="booster", start="between")
    pumps = (replace(pump, end="between"), second)
    bypass = Valve(name="bypass", start="between", end=pump.end, kv=200.0, characteristic=SHUT, opening=0.0)
    series = line.with_(points=(*line.points, middle), pumps=pumps)
    expected = shut_off_heads(line)["manifold"] + pump.curve[0][1]
    assert shut_off_heads(series)["manifold"] == pytest.approx(expected)
    assert shut_off_heads(series.with_(valves=(*line.valves, bypass)))["manifold"] == pytest.approx(expected)


def test_static_is_never_below_steady_before_the_first_valve(line: LineUp) -> None:
    heads = shut_off_heads(line)
    for scenario in line.scenarios:
        steady = steady_state(line, scenario)
        for point in ("pump discharge", "shore line inlet", "berth", "manifold"):
            assert heads[point] >= steady.head[point] - 1e-9


def test_a_pump_that_is_started_stands_still_before(line: LineUp) -> None:
    start = PumpMove(pump=line.pumps[0].name, start=5.0, law=((0.0, 0.0), (4.0, 1.0)))
    scenario = Scenario(
        name="start",
        shut_at_start=("manifold valve",),
        pump_moves=(start,),
        moves=(ValveMove(valve="manifold valve", start=60.0, law=((0.0, 0.0), (20.0, 1.0))),),
    )
    steady = steady_state(line, scenario)
    level = next(t.level for t in line.tanks if t.side == "shore")
    assert steady.speed[line.pumps[0].name] == 0.0
    assert steady.head["manifold"] == pytest.approx(level)
    run = simulate(line, scenario, quick=True)
    berth = next(p for p in run.places if p.name == "berth")
    # The start sends a wave up the shut line: the peak comes after it, and above shut-off head.
    assert berth.highest.time > 5.0
    rho_g = line.liquid.density * line.gravity
    z = line.points_by_name["berth"].elevation
    assert berth.highest.pressure > rho_g * (shut_off_heads(line)["berth"] - z)


def test_no_scenario_is_refused(line: LineUp) -> None:
    with pytest.raises(CaseError, match="no scenario"):
        assess(line.with_(scenarios=()))


def test_of_a_range_of_densities_the_worse_end_counts_and_the_turn_is_told(line: LineUp) -> None:
    """Shut-off pressure by a pump is straight in the density: it turns where the pressure is the rating."""
    wide = line.with_(liquid=replace(line.liquid, density_range=(700.0, 800.0)))
    at = {f.name: f for f in static_findings(line.with_(liquid=replace(line.liquid, density=800.0)))}
    found = {f.name: f for f in static_over_densities(wide)}
    assert {n: f.value for n, f in found.items()} == {n: f.value for n, f in at.items()}
    name = "shore line"
    rating = (at[name].value or 0.0) * 750.37 / 800.0
    pipes = tuple(
        replace(p, limits=replace(p.limits, rating=rating)) if p.name == name else p for p in wide.pipes
    )
    got = next(f for f in static_over_densities(wide.with_(pipes=pipes)) if f.name == name)
    assert got.verdict == UNDECIDED
    assert "density of the liquid: kept up to 750.3 kg/m3" in got.reason, "rounded to the safe side"


def test_a_pump_whose_discharge_nothing_rated_joins_cannot_be_decided(line: LineUp) -> None:
    control = next(v for v in line.valves if v.start == line.pumps[0].end)
    bare = replace(control, limits=Limits())
    valves = tuple(bare if v is control else v for v in line.valves)
    got = assess(line.with_(valves=valves))
    assert got.verdict == UNDECIDED
    assert any("nothing at" in f.reason for f in got.findings)


def test_the_first_movement_in_time_tells_the_first_speed_whatever_their_order() -> None:
    stop = PumpMove(pump="p", start=5.0, law=((0.0, 1.0), (4.0, 0.0)))
    start = PumpMove(pump="p", start=30.0, law=((0.0, 0.0), (6.0, 1.0)))
    expected = ((0.0, 0.9), (5.0, 0.9), (9.0, 0.0), (30.0, 0.0), (36.0, 0.9))
    assert speed_over_time(0.9, (start, stop)) == speed_over_time(0.9, (stop, start)) == expected

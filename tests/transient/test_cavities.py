"""Marches with cavities: what they must keep, closed forms, and what is told of them.

Every march here is watched too (:class:`surge.transient.cavity_march.CavityWatch`): a fault in it ends it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import WATER, KeptMarch, line_up, pipe, reservoir_line, start, step_at, valve

from surge.errors import GridError, SolveError
from surge.kernel import cavities, columns
from surge.kernel.cavities import cavity_law
from surge.model.attached import OpenVessel, ReliefValve, SurgeDrum
from surge.model.lineup import FREE_GAS as GAS
from surge.model.lineup import LineUp, Pump, Scenario, ValveMove
from surge.transient.cavities import (
    ANY,
    LEAST_BAND,
    WINDOW,
    banded,
    first_cavity,
    march_with_cavities,
    medians,
    window_ends,
)
from surge.transient.cavity_march import CavityMarch
from surge.transient.cavity_result import Banded, CavityRun, Reached
from surge.transient.history import History
from surge.transient.plan import plan

ROUGH = {"friction_factor": None, "roughness": 5e-5}
RELIEF = {
    "relief_valves": (
        ReliefValve(name="relief", point="manifold", set_pressure=4e5, full_pressure=6e5, kv=50.0),
    )
}
DRUM = {"surge_drums": (SurgeDrum(name="drum", point="tee", volume=0.5, gas_volume=0.1, exponent=1.2),)}
VESSEL = {"open_vessels": (OpenVessel(name="vessel", point="begin", area=1.0, rim=1000.0),)}
MODELS = pytest.mark.parametrize("gas", [0.0, GAS])


def berth(vapour: float = 2e3, *, summit: float = 0.0) -> LineUp:
    """A pump with its non-return valve and a throttle, a tee with a dead leg, a lumped hose, two valves."""
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0))
    made = line_up(
        [
            Pump(name="pump", start="sump", end="discharge", curve=curve, non_return=True),
            valve("throttle", "discharge", "begin", 0.08),
            pipe("main", "begin", "tee", 430.0, 1000.0, **ROUGH),
            pipe("dead leg", "tee", "blank", 83.0, 1000.0, diameter=0.2, **ROUGH),
            pipe("hose", "tee", "manifold", 3.0, 400.0, diameter=0.3, **ROUGH),
            valve("valve", "manifold", "deck", 0.05),
            pipe("deck line", "deck", "ship", 167.0, 1000.0, **ROUGH),
        ],
        {"sump": 5.0, "ship": 8.0},
        liquid=replace(WATER, vapour_pressure=vapour),
    )
    points = tuple(replace(p, elevation=summit) if p.name == "deck" else p for p in made.points)
    return made.with_(points=points)


def begun(gas: float | None, lineup: LineUp | None = None, **more: Any) -> KeptMarch:
    return start(lineup or berth(), 0.01, **{"ratio": {"valve": step_at(0.5)}} | more, gas=gas)


def cavity_march(made: KeptMarch) -> CavityMarch:
    assert isinstance(made.marched, CavityMarch)
    return made.marched


# What does not boil


def test_without_boiling_it_is_the_plain_march() -> None:
    law = {"valve": ((0.0, 1.0), (0.5, 1.0), (9.0, 0.0))}
    plain, with_cavities = begun(None, ratio=law), begun(0.0, ratio=law)
    for made in (plain, with_cavities):
        made.advance(1500)
    assert np.ptp(plain.head("manifold")) > 10.0
    assert cavity_march(with_cavities).largest() == 0.0
    # The pump and its throttle are solved otherwise: what rounds leave.
    assert np.abs(plain.heads - with_cavities.heads).max() < 1e-6
    lineup = reservoir_line(head=50.0, length=300.0, wave_speed=1000.0, velocity=0.2)
    for share in (1.0, 0.731):  # with and without a fraction of a step at the ends
        runs = [start(lineup, 0.01 * share, ratio={"valve": step_at(0.1)}, gas=gas) for gas in (None, 0.0)]
        for made in runs:
            made.advance(500)
        assert np.abs(runs[0].heads - runs[1].heads).max() < 1e-9


@MODELS
def test_steady_stays_steady(gas: float) -> None:
    made = begun(gas, ratio={})
    made.advance(400)
    assert np.ptp(made.heads, axis=0).max() < 1e-6


def test_a_trace_of_gas_changes_little() -> None:
    runs = [begun(gas) for gas in (0.0, 1e-12)]
    for made in runs:
        made.advance(120)
    assert cavity_march(runs[0]).largest() > 1e-4
    assert np.abs(runs[0].heads - runs[1].heads).max() < 0.5


# What boils


@MODELS
@pytest.mark.parametrize("share", [1.0, 0.77])
@pytest.mark.parametrize("rough", [False, True])
def test_liquid_is_kept(gas: float, share: float, rough: bool) -> None:
    """By sums that use nothing of the watch: what left the tank is in the line, cavities counted."""
    lineup = reservoir_line(head=20.0, length=300.0, wave_speed=1000.0, velocity=1.5, liquid=WATER)
    if rough:
        lineup = lineup.with_(pipes=tuple(replace(p, **ROUGH) for p in lineup.pipes))
    made = start(lineup, 0.01 * share, ratio={"valve": step_at(0.05)}, gas=gas)

    def held() -> float:
        """Liquid in the line beyond that at no head, less cavities [m3]."""
        grid, net = made.marched.grid, made.marched.grid.net
        inner = grid.nodes[0][1:-1]
        yields = net.nc[inner, cavities.N_YIELD]
        twice = net.p[net.window[0] + inner] + net.m[net.window[1] + inner]
        late = net.ef[:, columns.E_SHARE] * net.ef[:, columns.E_PAST]
        ends = net.pf[net.ei[:, columns.E_POINT], columns.P_H] + late
        volume = 0.5 * (yields * twice).sum() + 0.5 * yields[0] * ends.sum()
        return float(volume - net.nc[inner, cavities.N_VOLUME].sum())

    made.advance(10)
    before, first = held(), made.time.size - 1
    made.advance(900)
    end = np.vstack(cavity_march(made).volumes)[:, made.marched.grid.points.index("before")]
    dt = made.marched.grid.reaches.dt
    into = made.into("line", far=False)[first:] + made.into("line", far=True)[first:]
    entered = dt * (into.sum() - 0.5 * (into[0] + into[-1]))
    assert end.max() > 0.01
    assert held() - before == pytest.approx(entered, abs=1e-9 * dt * np.abs(into).sum())
    # At the shut valve all that leaves makes room for the cavity.
    away = made.into("line", far=True) + made.flow("valve")
    assert dt * away[1:].sum() == pytest.approx(end[-1] - end[0], abs=1e-9 * dt * np.abs(away).sum())


@settings(max_examples=12)
@given(
    vapour=st.floats(1e3, 9e4),
    summit=st.floats(0.0, 6.0),
    gas=st.sampled_from([0.0, 1e-7, 1e-4]),
    when=st.floats(0.0, 0.3),
    stroke=st.sampled_from([0.0, 0.2, 1.0]),
    opens=st.booleans(),
)
def test_no_cavity_is_negative_and_no_pressure_below_vapour_pressure(
    vapour: float, summit: float, gas: float, when: float, stroke: float, opens: bool
) -> None:
    law = ((0.0, 1.0), (when, 1.0), (when + stroke, 0.0))
    law += ((3.0, 0.0), (3.5, 1.0)) if opens else ()
    throttle = ((0.0, 1.0), (1.5, 1.0), (1.5, 0.0))
    made = begun(gas, berth(vapour, summit=summit), ratio={"valve": law, "throttle": throttle})
    made.advance(600)
    march = cavity_march(made)
    net = march.grid.net
    assert np.vstack(march.volumes).min() >= 0.0
    assert net.nc[:, cavities.N_VOLUME].min() >= 0.0
    assert (made.heads - net.point_floor)[:, march.holds].min() > -1e-8
    _, low = march.envelope()
    for heads, at in zip(low, march.grid.nodes, strict=True):
        assert np.all(heads[1:-1] >= 0.5 * net.floor[at][1:-1] - 1e-8)


@MODELS
def test_a_point_where_only_links_meet_boils_too(gas: float) -> None:
    """A valve shuts in no time before another one, higher up than the line that flows on behind both."""
    lineup = line_up(
        [
            valve("first", "tank", "between", 0.08),
            valve("second", "between", "begin", 0.08),
            pipe("line", "begin", "out", 500.0, 1000.0, **ROUGH),
        ],
        {"tank": 20.0, "out": 0.0},
        liquid=WATER,
    )
    points = tuple(replace(p, elevation=3.0) if p.name == "between" else p for p in lineup.points)
    made = start(lineup.with_(points=points), 0.01, ratio={"first": step_at(0.1)}, gas=gas)
    made.advance(400)
    march = cavity_march(made)
    at = march.grid.points.index("between")
    assert np.vstack(march.volumes)[:, at].max() > 1e-3
    assert (made.heads[:, at] - march.grid.net.point_floor[at]).min() > -1e-8


@MODELS
@pytest.mark.parametrize("hung", [RELIEF, DRUM, RELIEF | DRUM, VESSEL])
@pytest.mark.parametrize("closing", [0.0, 1.0])
def test_what_hangs_on_a_line_that_boils(gas: float, hung: dict[str, Any], closing: float) -> None:
    laws = {
        "ratio": {"valve": ((0.0, 1.0), (0.5, 1.0), (0.5 + closing, 0.0))},
        "speed": {"pump": ((0.0, 1.0), (0.2, 1.0), (1.2, 0.0))},
    }
    made = begun(gas, berth().with_(**hung), **laws)
    made.advance(800)
    assert cavity_march(made).largest() > 1e-3


@pytest.mark.parametrize("seed", [17, 31, 40, 53])
def test_generated_berths_that_boil(seed: int) -> None:
    """Of the seeds 1 to 99 but for 34 and 95 (``tests/benchmarks/cavity_bands.py``) 73 boil, 8 boil before
    anything moves, and none breaks what a march must keep."""
    lineup, scenario = generated(seed)
    rng = np.random.default_rng(seed)
    liquid = replace(lineup.liquid, vapour_pressure=float(rng.uniform(1e3, 6e4)))
    runs = march_with_cavities(lineup.with_(atmosphere=101325.0, liquid=liquid), scenario).runs
    assert all(run.places for run in runs)
    largest = [run.largest for run in runs]
    assert max(largest) < 1.5 * min(largest)


def test_each_place_boils_by_its_own_elevation() -> None:
    """A line over a hill."""
    lineup = line_up(
        [
            pipe("up", "tank", "hill", 300.0, 1000.0),
            pipe("down", "hill", "before", 300.0, 1000.0),
            valve("valve", "before", "out", 0.05),
        ],
        {"tank": 20.0, "out": 0.0},
        liquid=WATER,
    )
    hill = tuple(replace(p, elevation=15.0) if p.name == "hill" else p for p in lineup.points)
    made = start(lineup.with_(points=hill), 0.01, ratio={"valve": step_at(0.1)}, gas=0.0)
    made.advance(300)
    march = cavity_march(made)
    volumes = np.vstack(march.volumes)
    opened = np.argmax(volumes > 0.0, axis=0) * 0.01
    # The stop comes back from the tank after 1.2 s; what boils at the valve then draws on the hill.
    at = [opened[march.grid.points.index(name)] for name in ("before", "hill")]
    assert at == pytest.approx([0.1 + 1.2, 0.1 + 1.2 + 0.3], abs=0.011)
    for name, elevation in (("hill", 15.0), ("before", 0.0)):
        least = (made.head(name).min() - elevation) * 1000.0 * lineup.gravity
        assert least == pytest.approx(lineup.vapour_gauge, abs=1e-3)


# The watch


@pytest.mark.parametrize(
    ("array", "column", "by", "says"),
    [
        ("nc", cavities.N_VOLUME, 1e-6, "liquid is lost or made in deck line"),
        ("nc", cavities.N_VOLUME, -1.0, "liquid is lost or made in deck line"),
        ("nc", cavities.N_SLIPPED, -1e5, "energy comes from nowhere in deck line"),
        ("pc", cavities.PC_VOLUME, 1e-6, "what flows in does not flow out"),
    ],
)
def test_a_planted_fault_ends_the_march(array: str, column: int, by: float, says: str) -> None:
    made = begun(0.0)
    made.advance(64)
    march = cavity_march(made)
    grid = march.grid
    row = grid.nodes[3][5] if array == "nc" else grid.points.index("deck")
    getattr(grid.net, array)[row, column] += by
    with pytest.raises(SolveError, match=says):
        made.advance(30)


def test_what_boils_at_first_is_refused() -> None:
    with pytest.raises(GridError, match="before anything moves"):
        begun(0.0, berth(2e3, summit=60.0))


# What is told


def test_law_of_a_cavity() -> None:
    for given_volume in (-1.0, -1e-9, 0.0, 1e-9, 1.0):
        for gas in (0.0, 1e-12, 1e-3):
            volume, over, slope = cavity_law(given_volume, gas, 0.3)
            assert volume >= 0.0
            assert over >= 0.0
            assert volume * over == pytest.approx(gas, rel=1e-12)
            assert volume == pytest.approx(given_volume + 0.3 * over, abs=1e-12)
            step = 1e-6
            above = cavity_law(given_volume + step, gas, 0.3)[1] - over
            if gas == 1e-3:
                assert above / step == pytest.approx(slope, rel=1e-4)


def test_medians_drop_a_spike() -> None:
    assert medians(np.array([0.0, 9.0, 1.0, 2.0, 2.0, 0.0])).tolist() == [0.0, 1.0, 2.0, 2.0, 2.0, 0.0]
    assert medians(np.array([3.0, 4.0])).tolist() == [3.0, 4.0]


def test_first_cavity() -> None:
    time = np.arange(300) * 0.01
    pressure = np.full(300, 3e5)
    pressure[100:150] = 500.0  # open
    pressure[153:155] = 800.0  # chatter: it has not rejoined at 1.50
    pressure[170] = 9e6  # a spike of one step
    pressure[180:183] = 8e5
    pressure[250:260] = 0.0  # the next
    found = first_cavity(time, pressure, np.full(300, 0.25), 0.0)
    assert found is not None
    assert (found.opened, found.rejoined) == (pytest.approx(1.0), pytest.approx(1.55))
    assert (found.first_pressure, found.highest_pressure, found.largest) == (3e5, 8e5, 0.25)
    still_open = first_cavity(time[:120], pressure[:120], np.full(120, 0.1), 0.0)
    assert still_open is not None
    assert still_open.rejoined is still_open.highest_pressure is None
    just_gone = first_cavity(time[:158], pressure[:158], np.full(158, 0.1), 0.0)
    assert just_gone is not None
    assert just_gone.rejoined is None
    assert first_cavity(time[:90], pressure[:90], np.zeros(90), 0.0) is None


def test_a_step_longer_than_the_quiet_does_not_tell_that_a_cavity_is_gone() -> None:
    """Away for one step of 0.1 s only: it has not rejoined."""
    pressure = np.array([3e5, 0.0, 2e5, 0.0, 0.0, 4e5, 5e5, 5e5])
    found = first_cavity(np.arange(8) * 0.1, pressure, np.full(8, 0.1), 0.0)
    assert found is not None
    assert (found.rejoined, found.first_pressure, found.highest_pressure) == (pytest.approx(0.5), 5e5, 5e5)


def test_both_models_on_two_grids() -> None:
    lineup = reservoir_line(head=30.0, length=400.0, wave_speed=1000.0, velocity=1.0, liquid=WATER)
    scenario = Scenario(
        name="stop", moves=(ValveMove(valve="valve", start=0.5, law=((0.0, 1.0), (0.0, 0.0))),)
    )
    made = march_with_cavities(lineup, scenario, duration=8.0)
    runs = made.runs
    assert [(r.model, runs[0].dt / r.dt) for r in runs] == [
        (model, part) for model in ("vapour", "gas") for part in (1.0, 2.0, 4.0)
    ]
    assert [(r.model, runs[0].dt / r.dt) for r in made.finest] == [("vapour", 4.0), ("gas", 4.0)]
    opened = [r.places["before"].opened for r in runs]
    assert opened == pytest.approx([1.3] * 6, abs=0.02)
    peaks = np.array([r.extremes["place", "before", "high"].pressure for r in runs])
    band = made.extremes()["place", "before", "high"]
    assert band.pressure == peaks.max()
    # Every window has extremes of its own.
    highs = [w["place", "before", "high"].pressure for w in runs[0].windows]
    assert max(highs) == peaks[0]
    assert np.diff(highs).min() < -1e5
    assert band.band >= LEAST_BAND
    assert band.sure < peaks.min()
    assert np.ptp(peaks) < 0.05 * peaks.mean()
    assert all(r.places["before"].rejoined for r in runs)
    assert "tank" not in runs[0].places


# The band


def parted(*windows: float) -> CavityRun:
    """A march of which one place reached these pressures [bar] in its windows of time."""
    reached = [Reached(pressure=x * 1e5, time=float(k), share=0.0) for k, x in enumerate(windows)]
    return CavityRun(
        model="vapour",
        dt=0.01,
        duration=1.0,
        places={},
        windows=tuple({("place", "a", "high"): one} for one in reached),
        largest=0.0,
        history=History(time=np.zeros(1), pressure={}, flow={}),
    )


def band_of(*runs: CavityRun) -> Banded:
    return banded(runs, "high")["place", "a", "high"]


def test_marches_that_agree_have_the_least_band() -> None:
    found = band_of(parted(1.0, 5.0, 3.0), parted(1.0, 5.0, 3.0))
    assert (found.pressure, found.furthest.time) == (5e5, 1.0)
    assert found.band == pytest.approx(LEAST_BAND)
    assert found.sure == pytest.approx(5e5 - LEAST_BAND)


def test_the_highest_of_all_hides_no_spread_below_it() -> None:
    """All agree on 5 bar; later they have 2 and 4: what they make of that may be more than 5."""
    found = band_of(parted(1.0, 5.0, 1.0, 2.0, 1.0), parted(1.0, 5.0, 1.0, 4.0, 1.0))
    assert found.pressure == 5e5
    assert found.pressure + found.band == pytest.approx(4e5 + WINDOW * 2e5 + LEAST_BAND)


def test_a_peak_that_comes_a_window_later_is_no_spread() -> None:
    found = band_of(parted(1.0, 5.0, 1.0), parted(1.0, 1.0, 5.0))
    assert found.band == pytest.approx(LEAST_BAND)


def test_the_spread_of_any_place_counts_everywhere() -> None:
    runs = [parted(1.0, 5.0), parted(1.0, 5.0)]
    other = ("place", "b", "high")
    runs = [
        replace(
            run, windows=tuple({**w, other: Reached(pressure=x, time=0.0, share=0.0)} for w in run.windows)
        )
        for run, x in zip(runs, (0.0, 3e5), strict=True)
    ]
    found = band_of(*runs)
    assert found.band == pytest.approx(ANY * 3e5 + LEAST_BAND)
    assert found.sure == pytest.approx(5e5 - ANY * 3e5 - LEAST_BAND)


def test_lowest_pressures_have_a_band_downwards() -> None:
    low = ("place", "a", "low")
    runs = [
        replace(parted(0.0), windows=({low: Reached(pressure=x, time=0.0, share=0.0)},)) for x in (1e5, 2e5)
    ]
    found = banded(runs, "low")[low]
    assert found.pressure == 1e5
    assert found.band == pytest.approx(WINDOW * 1e5 + ANY * 1e5 + LEAST_BAND)
    assert found.sure == pytest.approx(2e5 + ANY * 1e5 + LEAST_BAND)


def test_windows_begin_before_it_boils() -> None:
    lineup = reservoir_line(head=30.0, length=400.0, wave_speed=1000.0, velocity=1.0, liquid=WATER)
    scenario = Scenario(
        name="stop", moves=(ValveMove(valve="valve", start=0.5, law=((0.0, 1.0), (0.0, 0.0))),)
    )
    work = plan(lineup, scenario)
    ends = window_ends(work, 8.0)
    assert 1.2 < ends[0] < 1.3  # it boils when the wave is back
    assert ends[-1] == pytest.approx(8.0)
    assert np.all(np.diff(ends)[:-1] >= work.period - 1e-9)

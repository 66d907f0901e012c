"""Properties that hold whatever the line-up: rest, steady flow, mass, mirror image, convergence."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import KeptMarch, hosed, line_up, pipe, reservoir_line, run, start, step_at, valve

from surge.kernel.columns import E_PAST, E_SHARE
from surge.model.lineup import GRAVITY as G
from surge.model.lineup import LineUp, Liquid, Passage, Pipe, Pump, Table, Valve
from surge.model.stroke import kv_ratio_over_time, opening_over_time, speed_over_time

SEEDS = st.integers(0, 10**6)
WATER = Liquid(name="water", density=1000.0, sound_speed=1480.0, viscosity=1e-6, vapour_pressure=2e3)


def _laws(seed: int) -> tuple[LineUp, dict[str, Table], dict[str, Table]]:
    """A generated line-up with the laws of its scenario, all its valves open at first."""
    lineup, scenario = generated(seed, size=0.3)
    ratio = {}
    for v in lineup.valves:
        moves = tuple(m for m in scenario.moves if m.valve == v.name and v.name not in scenario.shut_at_start)
        if moves:
            ratio[v.name] = kv_ratio_over_time(opening_over_time(v.opening, moves), v.characteristic)
    speed = {
        p.name: speed_over_time(p.speed, scenario.pump_moves) for p in lineup.pumps if scenario.pump_moves
    }
    return lineup, ratio, speed


def _step(lineup: LineUp, reaches: int = 60) -> float:
    return max(p.travel_time for p in lineup.pipes) / reaches


# --- nothing moves ---------------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(seed=SEEDS)
def test_steady_flow_stays_steady(seed: int) -> None:
    """Lumped elements, pumps, valves, several tanks: rounding of heads of 100 m over 300 steps.

    A pipe that creeps, below half a step of its loss table (some 5 mm/s), is the exception: its steady
    flow is no point of the table, and what that is off by is less than a tenth of a pascal.
    """
    lineup, _, _ = _laws(seed)
    made = run(lineup, _step(lineup), 300 * _step(lineup))
    flows = made.steady.flow
    creeps = any(0.0 < abs(flows[p.name]) < 0.006 * p.area for p in lineup.pipes)
    rounding = 1e-5 if creeps else 2e-9
    assert np.ptp(made.heads, axis=0).max() < rounding
    # What runs in the long march is rounding too, but times the admittance, some 1e-4 m2/s.
    assert np.ptp(made.flows, axis=0).max() < 5e-3 * rounding
    high, low = made.marched.envelope()
    for h, lo in zip(high, low, strict=True):
        assert np.max(h - lo, initial=0.0) < rounding


def test_steady_flow_in_a_loop_with_pumps_stays_steady() -> None:
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0))
    rough = {"friction_factor": None, "roughness": 5e-5}
    lineup = line_up(
        [
            Pump(name="one", start="sump", end="header", curve=curve, non_return=True),
            Pump(name="two", start="sump", end="header", curve=curve, non_return=False, speed=0.95),
            pipe("main", "header", "a", 400.0, 1000.0, **rough),
            pipe("upper", "a", "b", 200.0, 1100.0, **rough),
            pipe("lower", "a", "c", 100.0, 900.0, diameter=0.3, **rough),
            pipe("short", "c", "d", 3.0, 400.0, diameter=0.3, minor_loss=2.0, **rough),
            valve("valve", "d", "b", 0.05),
            pipe("out", "b", "end", 150.0, 1000.0, **rough),
            Passage(name="stack", start="end", end="ship", kv=2000.0),
        ],
        {"sump": 3.0, "ship": 8.0},
        liquid=WATER,
    )
    made = run(lineup, 0.01, 10.0)
    assert 0 in made.marched.grid.reaches.count  # the short one is lumped
    assert made.steady.flow["lower"] > 0.01
    assert np.ptp(made.heads, axis=0).max() < 1e-8


def test_a_line_at_rest_stays_at_rest() -> None:
    elements = [
        pipe("main", "tank", "tee", 500.0, 1000.0, friction_factor=None, roughness=5e-5),
        pipe("short", "tee", "berth", 5.0, 400.0),
        pipe("dead leg", "tee", "blank", 120.0, 1000.0),
        valve("valve", "berth", "deck", 0.05),
        pipe("deck line", "deck", "out", 60.0, 1000.0),
    ]
    lineup = line_up(elements, {"tank": 25.0, "out": 25.0}, liquid=WATER)
    for shut in ((), ("valve",)):
        made = run(lineup, 0.05, 20.0, shut=shut)
        assert np.abs(made.heads - 25.0).max() < 1e-12
        assert np.abs(made.flows).max() < 1e-13


# --- mass --------------------------------------------------------------------------------------------------


def _stored(made: KeptMarch) -> float:
    """Volume pressed into all pipes above head 0 [m3]; lumped ones at the mean of their two ends."""
    total, g = 0.0, made.lineup.gravity
    pf, names = made.heads[-1], made.marched.grid.points
    for k, p in enumerate(made.lineup.pipes):
        n = made.marched.grid.reaches.count[k]
        if n:
            head, _ = made.state(k)
            ends = [made.marched.grid.ends.index((p.name, far)) for far in (False, True)]
            late = made.marched.grid.net.ef[ends][:, [E_SHARE, E_PAST]]  # what has arrived only in part
            length = p.length
            waves = head[1:-1].sum() + (head[0] + head[-1] + late.prod(axis=1).sum()) / 2
            mean = waves / (n + late[0, 0])
        else:
            length = p.length
            mean = (pf[names.index(p.start)] + pf[names.index(p.end)]) / 2
        total += g * p.area * length / p.wave_speed**2 * mean
    return total


def _net_inflow(made: KeptMarch) -> np.ndarray:
    """Flow out of all tanks at every step [m3/s]."""
    total = np.zeros(made.time.size)
    held = {t.point for t in made.lineup.tanks}
    links = {e.name for e in made.lineup.links}
    grid = made.marched.grid
    for e in made.lineup.elements:
        for point, far in ((e.start, False), (e.end, True)):
            if point not in held:
                continue
            gridded = e.name not in links and (e.name, far) in grid.ends
            total += made.into(e.name, far=far) if gridded else made.flow(e.name) * (-1 if far else 1)
    return total


@settings(max_examples=20, deadline=None)
@given(seed=SEEDS)
def test_mass_is_kept(seed: int) -> None:
    """Volume in, less volume out, is what the lines take by linear compressibility: to rounding of the volume
    that passes, since the trapezoidal sum of flow and of head over a reach are the same sum of waves."""
    lineup, ratio, speed = _laws(seed)
    dt = _step(lineup)
    made = start(lineup, dt, ratio=ratio, speed=speed)
    before = _stored(made)
    made.advance(700)
    inflow = _net_inflow(made)
    into = float(np.sum((inflow[1:] + inflow[:-1]) / 2) * dt)
    passed = float(np.sum(np.abs(made.flows).max(axis=1)) * dt)
    assert into == pytest.approx(_stored(made) - before, abs=1e-10 * passed)


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS)
def test_flows_meet_at_every_point(seed: int) -> None:
    """Junction law: what enters a point leaves it, and all its pipe ends have its head, at every step."""
    lineup, ratio, speed = _laws(seed)
    dt = _step(lineup)
    made = run(lineup, dt, 400 * dt, ratio=ratio, speed=speed)
    grid = made.marched.grid
    lumped = {p.name for p, n in zip(lineup.pipes, grid.reaches.count, strict=True) if n == 0}
    held = {t.point for t in lineup.tanks}
    scale = np.abs(made.flows).max()
    for point in grid.points:
        touching = [e for e in lineup.elements if point in (e.start, e.end)]
        if point in held or any(e.name in lumped for e in touching):
            continue  # a lump keeps part of its storage at the point
        out = np.zeros(made.time.size)
        for e in touching:
            if isinstance(e, Pipe):
                out += made.into(e.name, far=e.end == point)
            else:
                out += made.flow(e.name) * (1 if e.start == point else -1)
        assert np.abs(out).max() < 1e-9 * max(scale, 1e-3), point


# --- mirror image ------------------------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS, frozen=st.booleans())
def test_a_mirrored_line_gives_the_mirrored_history(seed: int, frozen: bool) -> None:
    """Every pipe, valve and passage turned round, all lists reversed: same heads, flows with the sign turned.

    To rounding with frozen friction. With local friction the laws of nodes are looked up in another order,
    within eight steps: what that changes is no more than what half the step changes, of which a part of the
    error is made, nor than half of the 0.5 % of a swing that the error of a run is aimed at. The swing of a
    flow is the largest flow or what a wave of the whole swing of heads carries, whichever is more: after a
    sudden stop little flows while waves of a thousand metres run to and fro."""
    lineup, ratio, speed = _laws(seed)
    lineup = lineup.with_(frozen_friction=frozen)
    dt = _step(lineup)

    def turned(items: tuple) -> tuple:
        return tuple(replace(e, start=e.end, end=e.start) for e in reversed(items))

    mirrored = lineup.with_(
        pipes=turned(lineup.pipes),
        valves=turned(lineup.valves),
        passages=turned(lineup.passages),
        points=tuple(reversed(lineup.points)),
        tanks=tuple(reversed(lineup.tanks)),
    )
    one = run(lineup, dt, 500 * dt, ratio=ratio, speed=speed)
    two = run(mirrored, dt, 500 * dt, ratio=ratio, speed=speed)
    swing = max(np.ptp(one.heads), 1.0)
    share = 1e-8
    if not frozen:
        half = run(lineup, dt / 2, 500 * dt, ratio=ratio, speed=speed)
        changed = max(np.abs(half.head(p.name)[::2] - one.head(p.name)).max() for p in lineup.points)
        share += min(changed / swing, 2.5e-3)
    for p in lineup.points:
        assert two.head(p.name) == pytest.approx(one.head(p.name), abs=share * swing), p.name
    carried = swing * max(G * p.area / p.wave_speed for p in lineup.pipes)
    for v in (*lineup.valves, *lineup.passages):
        size = max(np.abs(one.flow(v.name)).max(), carried)
        assert two.flow(v.name) == pytest.approx(-one.flow(v.name), abs=1e-9 + (share - 1e-8) * size)
    high, _ = one.marched.envelope()
    mirror, _ = two.marched.envelope()
    for a, b in zip(high, reversed(mirror), strict=True):
        assert b[::-1] == pytest.approx(a, abs=share * swing)


# --- instant stops, dead ends, several valves --------------------------------------------------------------


@pytest.mark.parametrize("friction", [0.0, 0.03])
def test_an_instant_stop_raises_rho_a_dv(friction: float) -> None:
    """Joukowsky to rounding, with friction and whatever fraction of a step the length has."""
    lineup = line_up(
        [
            pipe("line", "tank", "before", 777.7, 1234.5, friction_factor=friction),
            valve("valve", "before", "out", 0.06),
        ],
        {"tank": 60.0, "out": 0.0},
    )
    for dt in (0.01, 0.0137):
        made = run(lineup, dt, 3 * dt, ratio={"valve": step_at(dt)})
        dv = made.steady.flow["line"] / lineup.pipes[0].area
        assert made.head("before")[1] - made.head("before")[0] == pytest.approx(1234.5 * dv / G, rel=1e-9)


def test_a_dead_end_doubles_what_arrives() -> None:
    elements = [
        pipe("main", "tank", "tee", 3000.0, 1000.0),
        pipe("dead leg", "tee", "blank", 150.0, 1000.0, diameter=0.2),
        pipe("deck line", "tee", "before", 400.0, 1000.0),
        valve("valve", "before", "out", 0.05),
    ]
    dt = 0.05
    made = run(
        line_up(elements, {"tank": 50.0, "out": 0.0}), dt, 1.0, ratio={"valve": ((0.0, 1.0), (0.25, 0.0))}
    )
    tee, blank = made.head("tee") - made.head("tee")[0], made.head("blank") - made.head("blank")[0]
    late = round(0.15 / dt)
    until = round(0.7 / dt) - late  # before the leg's own echo is back at the tee
    assert blank[late : late + until] == pytest.approx(2 * tee[:until], rel=1e-9, abs=1e-9)
    assert tee[until - 1] > 1.0


def test_two_valves_one_after_another() -> None:
    """Two like valves on one dry point pass what one of c/sqrt(2) does, moving as well as open."""
    law = ((0.0, 1.0), (1.0, 1.0), (4.0, 0.1))

    def made(valves: list[Valve], ratio: dict[str, Table]) -> KeptMarch:
        more = {"friction_factor": 0.02}
        elements = [
            pipe("line", "tank", "a", 600.0, 1000.0, **more),
            *valves,
            pipe("after", "b", "out", 200.0, 1000.0),
        ]
        return run(line_up(elements, {"tank": 40.0, "out": 2.0}), 0.02, 12.0, ratio=ratio)

    c = 0.05
    two = made([valve("v", "a", "m", c), valve("w", "m", "b", c)], {"v": law, "w": law})
    one = made([valve("v", "a", "b", c / math.sqrt(2))], {"v": law})
    # Newton stops at a change of 1e-5, after which some 1e-10 is left.
    assert two.head("a") == pytest.approx(one.head("a"), abs=1e-6)
    assert two.head("m") == pytest.approx((two.head("a") + two.head("b")) / 2, abs=1e-6)


def test_two_valves_side_by_side() -> None:
    law = ((0.0, 1.0), (1.0, 1.0), (4.0, 0.0))

    def made(valves: list[Valve]) -> KeptMarch:
        elements = [
            pipe("line", "tank", "a", 600.0, 1000.0),
            *valves,
            pipe("after", "b", "out", 200.0, 1000.0),
        ]
        return run(
            line_up(elements, {"tank": 40.0, "out": 2.0}), 0.02, 12.0, ratio={v.name: law for v in valves}
        )

    two = made([valve("v", "a", "b", 0.02), valve("w", "a", "b", 0.04)])
    one = made([valve("v", "a", "b", 0.06)])
    assert two.head("a") == pytest.approx(one.head("a"), abs=1e-6)
    assert two.flow("w") == pytest.approx(2 * two.flow("v"), abs=1e-8)


def test_valves_that_shut_at_once_at_both_ends_lock_the_wave_in() -> None:
    """Frictionless between two shut ends: the pressure wave runs to and fro for ever, mean head constant."""
    lineup = line_up(
        [
            valve("first", "tank", "a", 0.1),
            pipe("line", "a", "b", 500.0, 1000.0),
            valve("second", "b", "out", 0.05),
        ],
        {"tank": 50.0, "out": 0.0},
    )
    dt = 0.05
    made = run(lineup, dt, 40.0, ratio={"first": step_at(dt), "second": step_at(dt)})
    j = 1000 / G * made.steady.flow["line"] / lineup.pipes[0].area
    base = made.steady.head["a"]
    assert made.head("b").max() - base == pytest.approx(j, rel=1e-9)
    assert base - made.head("a").min() == pytest.approx(j, rel=1e-9)
    assert made.head("a")[1:] + made.head("b")[1:] == pytest.approx(2 * base, rel=1e-9)


# --- lumps and bounds ---


def test_a_lump_keeps_loss_inertia_and_storage() -> None:
    """Slow change: the lumped hose and the gridded one lose the same head; far below its own period a shut-in
    lump stores g A L/a^2 a metre."""
    made = run(hosed(), 0.05, 1.0)
    lumped = made.steady.head["berth"] - made.steady.head["before"]
    assert made.head("berth")[-1] - made.head("before")[-1] == pytest.approx(lumped, abs=1e-9)
    lineup = line_up(
        [
            pipe("line", "tank", "berth", 500.0, 1000.0),
            pipe("hose", "berth", "blank", 6.0, 300.0, diameter=0.4),
            valve("valve", "berth", "out", 0.03),
        ],
        {"tank": 30.0, "out": 0.0},
    )
    dt = 0.05
    moved = start(lineup, dt, ratio={"valve": ((0.0, 1.0), (5.0, 0.5))})
    before = _stored(moved)
    moved.advance(200)
    inflow = _net_inflow(moved)
    assert np.sum((inflow[1:] + inflow[:-1]) / 2) * dt == pytest.approx(_stored(moved) - before, abs=1e-10)
    assert moved.marched.grid.reaches.count[1] == 0


@settings(max_examples=20, deadline=None)
@given(rho_a=st.floats(0.2, 6.0), theta=st.floats(1.2, 8.0))
def test_no_linear_closure_beats_the_instant_one(rho_a: float, theta: float) -> None:
    """Frictionless, linear, into zero head: never above Joukowsky (a consequence of Allievi's chain) and,
    once shut, never beyond it below either."""
    a, length, head = 1000.0, 500.0, 100.0
    velocity = rho_a * 2 * G * head / a
    dt = length / a / 20
    lineup = reservoir_line(head=head, length=length, wave_speed=a, velocity=velocity)
    made = run(lineup, dt, 2 * theta + 4, ratio={"valve": ((0.0, 1.0), (theta * 2 * length / a, 0.0))})
    j = 2 * rho_a * head
    assert made.head("before").max() <= head + j * (1 + 1e-9)
    assert made.head("before").min() >= head - j * (1 + 1e-9)

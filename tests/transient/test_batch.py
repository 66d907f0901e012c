"""The batch march gives every lane the figures of the single march, whatever its neighbours do.

Same equations in the same order: what differs is the order of a few sums (elimination without
pivots in small clusters, heads of named nodes), so that the tolerance is rounding: 1e-10 of the
greatest rise, where the numerical error of a run is some 1e-3 of it. That holds for friction from
the local flow as well, which comes from the same tables.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from support.demos import VERDICTS, Demos
from support.lineups.generated import generated
from support.lineups.lines import WATER, kv_of, line_up, pipe, start, step_at, valve
from support.lineups.relieved import cushioned, relieved

from surge.errors import GridError, SolveError
from surge.kernel import columns
from surge.kernel.batch_links import WIDE
from surge.model.lineup import LineUp, Liquid, NonReturnValve, Passage, Pump, Scenario, Table
from surge.transient import batch, batch_lane
from surge.transient.batch import march_batch
from surge.transient.batch_lane import Lane, LaneResult
from surge.transient.grid import Grid, build_grid
from surge.transient.links import Laws
from surge.transient.march import Marched
from surge.transient.plan import plan
from surge.transient.reaches import Reaches, choose_step, divide

ROUNDING = 1e-10  # of the greatest rise
ROUGH: dict[str, Any] = {"friction_factor": None, "roughness": 5e-5}


def stretched(scenario: Scenario, factor: float) -> Scenario:
    """All movements ``factor`` times as slow."""

    def slower(law: Table) -> Table:
        return tuple((t * factor, x) for t, x in law)

    return replace(
        scenario,
        moves=tuple(replace(m, law=slower(m.law)) for m in scenario.moves),
        pump_moves=tuple(replace(m, law=slower(m.law)) for m in scenario.pump_moves),
    )


def raised(lineup: LineUp, metres: float) -> LineUp:
    """Shore tanks fuller: another level and another rate."""
    tanks = tuple(replace(t, level=t.level + metres) if t.side == "shore" else t for t in lineup.tanks)
    return lineup.with_(tanks=tanks)


def grid_of(lineup: LineUp, scenario: Scenario, reaches: Reaches | None = None, **more: Any) -> Grid:
    work = plan(lineup, scenario)
    if reaches is None:
        reaches = divide(work.times, choose_step(work.times, stroke=work.stroke))
    return build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables, **more)


def lanes_of(lineup: LineUp, scenario: Scenario, *, lanes: int, steps: int) -> list[Lane]:
    """Lanes that differ in strokes, levels, rates and lengths of the march."""
    first = grid_of(lineup, scenario)
    grids = [first]
    for i in range(1, lanes):
        other = raised(lineup, 0.3 * (i % 3))
        grids.append(grid_of(other, stretched(scenario, 0.6 + 0.3 * i), first.reaches))
    return [Lane(grid=g, steps=steps + 7 * (i % 4)) for i, g in enumerate(grids)]


def single(lane: Lane, *, frozen: bool) -> Marched:
    """The lane by the single march, on copies: the batch must not find its arrays changed."""
    net = lane.grid.net
    own = net._replace(**{k: np.array(v) for k, v in net._asdict().items() if isinstance(v, np.ndarray)})
    made = Marched(grid=replace(lane.grid, net=own), frozen=frozen, stride=1)
    made.advance(lane.steps)
    return made


def apart(one: Marched, two: LaneResult, *, nodes: bool = True) -> float:
    """Greatest difference between two runs as a part of the greatest swing."""
    swing = max(1.0, float(np.ptp(np.vstack(one.heads), axis=0).max()))
    worst = max(
        float(np.abs(one.point_hi - two.point_hi).max()), float(np.abs(one.point_lo - two.point_lo).max())
    )
    if nodes:
        for mine, its in zip(one.envelope(), two.envelope(), strict=True):
            worst = max(
                [worst, *(float(np.abs(x - y).max()) for x, y in zip(mine, its, strict=True) if x.size)]
            )
    return worst / swing


def assert_same(lanes: Sequence[Lane], found: Sequence[LaneResult], *, frozen: bool) -> None:
    assert len(found) == len(lanes)
    for lane, result in zip(lanes, found, strict=True):
        one = single(lane, frozen=frozen)
        assert result.status == columns.OK
        assert result.done == one.done
        assert apart(one, result) < ROUNDING
        # The step of an extreme may only move where two heads are equal to rounding.
        moved = np.flatnonzero(np.any(one.point_steps != result.point_steps, axis=1))
        heads = np.vstack(one.heads)
        for p in moved:
            for way in (0, 1):
                pair = heads[[one.point_steps[p, way], result.point_steps[p, way]], p]
                assert np.ptp(pair) < 1e-8


# --- every lane is the single march ------------------------------------------------------------------------


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
@pytest.mark.parametrize("frozen", [True, False])
@pytest.mark.parametrize("seed", [0, 1, 4, 5, 9, 11, 20, 33])
def test_generated_line_ups(seed: int, frozen: bool, together: bool) -> None:
    lineup, scenario = generated(seed, size=0.3)
    lanes = lanes_of(lineup, scenario, lanes=4, steps=351)
    assert_same(lanes, march_batch(lanes, frozen=frozen, together=together), frozen=frozen)


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
@pytest.mark.parametrize("name", VERDICTS)
def test_demo_cases(name: str, together: bool, demos: Demos) -> None:
    lineup = demos[name].case.lineup
    scenario = next(s for s in lineup.scenarios if s.moves or s.pump_moves)
    lanes = lanes_of(lineup, scenario, lanes=3, steps=900)
    for frozen in (True, False):
        assert_same(lanes, march_batch(lanes, frozen=frozen, together=together), frozen=frozen)


@pytest.mark.parametrize("seed", [14, 16, 17, 18, 22, 25])
def test_relief_valves(seed: int) -> None:
    """Alone at a point, beside other links, where only links meet; at once and in their own time."""
    lineup, scenario = relieved(seed)
    lanes = lanes_of(lineup, scenario, lanes=4, steps=2000)
    singles = [single(lane, frozen=False) for lane in lanes]
    assert any((one.grid.net.lf[:, columns.L_PASSED] > 0.0).any() for one in singles)
    assert_same(lanes, march_batch(lanes, frozen=False, together=True), frozen=False)


@pytest.mark.parametrize("seed", [2, 3, 16, 22])
def test_drums_and_open_vessels(seed: int) -> None:
    lineup, scenario = cushioned(seed)
    lanes = lanes_of(lineup, scenario, lanes=4, steps=1200)
    assert_same(lanes, march_batch(lanes, frozen=False, together=True), frozen=False)


@pytest.mark.parametrize(
    "how", [{}, {"reverse_flow": 0.01}, {"delay": 0.1}, {"closing_time": 0.4, "reverse_flow": 0.005}]
)
@pytest.mark.parametrize("dry", [False, True])
def test_non_return_valves(how: dict[str, float], dry: bool) -> None:
    """Alone between pipes, and where only links meet; a valve upstream shuts, and the flow turns."""
    lineup = checked_line(dry=dry, **how)
    laws = [Laws(ratio={"inlet valve": ((0.1, 1.0), (0.3 + 0.2 * i, 0.0))}, speed={}) for i in range(4)]
    grid = grid_of(lineup, Scenario(name="test"), Reaches(dt=0.01, count=(60, 30), share=(0.0, 0.0)))
    lanes = [Lane(grid=grid, steps=400, laws=law) for law in laws]
    assert_same(
        [replace(lane, grid=grid_with(lineup, law)) for lane, law in zip(lanes, laws, strict=True)],
        march_batch(lanes, frozen=False, together=True),
        frozen=False,
    )


def checked_line(*, dry: bool, **how: float) -> LineUp:
    """A tank, a valve, 600 m, a non-return valve (with a strainer behind it), 300 m, a higher tank."""
    check = NonReturnValve(name="check", start="a", end="d" if dry else "b", kv=kv_of(0.2), **how)
    strainer = [Passage(name="strainer", start="d", end="b", kv=kv_of(0.3))] if dry else []
    elements = [
        valve("inlet valve", "tank", "in", 0.06),
        pipe("first", "in", "a", 600.0, 1000.0, **ROUGH),
        check,
        *strainer,
        pipe("second", "b", "out", 300.0, 1000.0, **ROUGH),
    ]
    return line_up(elements, {"tank": 40.0, "out": 25.0}, liquid=WATER)


def grid_with(lineup: LineUp, laws: Laws) -> Grid:
    work = plan(lineup, Scenario(name="test"))
    reaches = Reaches(dt=0.01, count=(60, 30), share=(0.0, 0.0))
    return build_grid(lineup, work.steady, reaches=reaches, laws=laws, tables=work.tables)


def star() -> LineUp:
    """Pumps side by side, valves that meet where no pipe is (dry), a lumped hose on a valve, a tee."""
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0), (0.3, 20.0))
    elements = [
        Pump(name="one", start="sump", end="header", curve=curve, non_return=True),
        Pump(name="two", start="sump", end="header", curve=curve[:3], non_return=True, speed=0.95),
        pipe("main", "header", "a", 300.0, 1000.0, **ROUGH),
        valve("isolating", "a", "b", 0.08),
        pipe("hose", "b", "c", 3.0, 400.0, diameter=0.3, minor_loss=2.0, **ROUGH),
        valve("manifold", "c", "d", 0.05),
        pipe("deck", "d", "e", 60.0, 1000.0, **ROUGH),
        valve("to tee", "e", "tee", 0.06),
        valve("left", "tee", "f", 0.04),
        valve("right", "tee", "g", 0.05),
        pipe("drop left", "f", "port", 30.0, 1000.0, **ROUGH),
        pipe("drop right", "g", "before", 40.0, 1000.0, **ROUGH),
        Passage(name="stack", start="before", end="starboard", kv=kv_of(0.05)),
    ]
    water = Liquid(name="water", density=1000.0, sound_speed=1480.0, viscosity=1e-6, vapour_pressure=2e3)
    return line_up(elements, {"sump": 3.0, "port": 8.0, "starboard": 6.0}, liquid=water)


def star_lanes(count: int, *, steps: int = 600) -> list[Lane]:
    """Strokes of the two legs one after another, pumps that stop, one after the other."""
    lineup, lanes = star(), []
    for i in range(count):
        ratio: dict[str, Table] = {
            "left": ((0.0, 1.0), (0.3 + 0.2 * i, 0.0)),
            "right": ((0.0, 1.0), (1.0, 1.0), (2.0 + 0.1 * i, 0.0)) if i % 3 else step_at(0.5),
        }
        speed: dict[str, Table] = {"two": ((0.0, 0.95), (0.5 + 0.1 * i, 0.0))} if i % 2 else {}
        if i % 5 == 4:
            ratio = {"manifold": ((0.0, 1.0), (2.0, 0.0), (3.0, 0.0), (4.0, 0.7))}
            speed["one"] = ((0.0, 1.0), (2.5, 0.0))
        made = start(raised(lineup, 0.2 * i), 0.01, ratio=ratio, speed=speed)
        lanes.append(Lane(grid=made.marched.grid, steps=steps - 3 * i))
    return lanes


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
@pytest.mark.parametrize("frozen", [True, False])
def test_every_kind_of_group(frozen: bool, together: bool) -> None:
    """Clusters with and without dry points, non-return valves that shut and open, lumps in a cluster."""
    lanes = star_lanes(10)
    net = lanes[0].grid.net
    dry = [bool(np.any(net.pi[net.members[c[2] : c[3]], columns.P_DRY] >= 0)) for c in net.ci]
    assert sorted(dry) == [False, False, True]
    assert np.any(net.li[:, columns.L_KIND] == columns.LUMPED)
    found = march_batch(lanes, frozen=frozen, together=together)
    assert_same(lanes, found, frozen=frozen)
    assert max(float(r.point_hi.max()) for r in found) > 90.0  # things did happen


@pytest.mark.parametrize("together", [True, False, None])
def test_more_lanes_than_a_block_and_each_its_own_length(together: bool | None) -> None:
    lineup, scenario = generated(4, size=0.2)
    first = grid_of(lineup, scenario)
    lanes = [
        Lane(grid=first, steps=(37 * i) % 290, laws=plan(lineup, stretched(scenario, 0.5 + 0.05 * i)).laws)
        for i in range(2 * WIDE + 3)
    ]
    found = march_batch(lanes, frozen=False, threads=2, together=together)
    for i in (0, 1, 7, 31, 32, 50, 66):
        own = grid_of(lineup, stretched(scenario, 0.5 + 0.05 * i), first.reaches)
        one = single(Lane(grid=own, steps=lanes[i].steps), frozen=False)
        assert found[i].done == lanes[i].steps == one.done
        assert apart(one, found[i]) < ROUNDING


# --- what is watched ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
@pytest.mark.parametrize("frozen", [True, False])
def test_places_only(frozen: bool, together: bool) -> None:
    lineup, scenario = generated(9, size=0.3)
    first = grid_of(lineup, scenario)
    probes = {lineup.pipes[0].name: (0.0, 0.3, 0.62, 1.0)}
    lanes = [
        Lane(grid=grid_of(lineup, stretched(scenario, f), first.reaches, probes=probes), steps=400 + k)
        for k, f in enumerate((0.5, 1.0, 1.7))
    ]
    found = march_batch(lanes, frozen=frozen, watch="places", together=together)
    for lane, result in zip(lanes, found, strict=True):
        one = single(lane, frozen=frozen)
        assert apart(one, result, nodes=False) < ROUNDING
        assert result.probe_head == pytest.approx(one.grid.net.probe_head, abs=1e-9)
        assert np.abs(result.probe_step - one.grid.net.probe_step).max() <= 1
        with pytest.raises(ValueError, match="only places were watched"):
            result.envelope()


# --- what goes wrong ---------------------------------------------------------------------------------------


def spoilt(lane: Lane, array: str, at: tuple[int, int]) -> Lane:
    """The lane with a figure that is none."""
    net = lane.grid.net
    own = getattr(net, array).copy()
    own[at] = np.nan
    return replace(lane, grid=replace(lane.grid, net=net._replace(**{array: own})))


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
@pytest.mark.parametrize("frozen", [True, False])
def test_a_lane_that_fails_says_so_and_disturbs_nobody(frozen: bool, together: bool) -> None:
    lanes = star_lanes(5, steps=300)
    net = lanes[0].grid.net
    level = (lanes[0].grid.points.index("port"), columns.P_FIXED)
    lump = (int(np.flatnonzero(net.li[:, columns.L_KIND] == columns.LUMPED)[0]), columns.L_MEMORY)
    whole = march_batch(lanes, frozen=frozen, together=together)
    broken = [lanes[0], spoilt(lanes[1], "pf", level), spoilt(lanes[2], "lf", lump), *lanes[3:]]
    found = march_batch(broken, frozen=frozen, together=together)
    why = {columns.NOT_FINITE: "overflowed", columns.NOT_CONVERGED: "did not converge"}
    assert [r.status in why for r in found] == [False, True, True, False, False]
    for i in (0, 3, 4):
        assert found[i].point_hi.tolist() == whole[i].point_hi.tolist()
        for mine, its in zip(found[i].envelope(), whole[i].envelope(), strict=True):
            assert all(np.array_equal(x, y) for x, y in zip(mine, its, strict=True))
    for i in (1, 2):
        assert np.all(np.isnan(found[i].point_hi))
        assert all(np.all(np.isnan(x)) for x in found[i].envelope()[0])
        assert np.all(found[i].point_steps == -1)
        assert found[i].done < 300
        with pytest.raises(SolveError, match=why[found[i].status]):
            found[i].check()
    assert found[2].done == 0
    whole[0].check()


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
def test_all_lanes_failing_end_at_once(together: bool) -> None:
    lane = star_lanes(1, steps=10**9)[0]
    bad = spoilt(lane, "pf", (lane.grid.points.index("port"), columns.P_FIXED))
    assert march_batch([bad], frozen=True, together=together)[0].status != columns.OK


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
def test_an_interrupt_is_heeded(together: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Work without an end ends with the pieces under way; they are counted, for a clock sees other work."""
    lane = replace(star_lanes(1)[0], steps=10**9)
    interrupted = threading.Event()
    begun: list[int] = []  # sizes of the pieces that begin after the interrupt, in steps

    def watched(kernel: Callable[..., Any]) -> Callable[..., Any]:
        def piece(arrays: Any, first: int, steps: int, *more: Any) -> Any:
            if interrupted.is_set():
                begun.append(steps)
                assert len(begun) < 10, "nobody looks at the interrupt"
            return kernel(arrays, first, steps, *more)

        return piece

    monkeypatch.setattr(batch, "march_block", watched(batch.march_block))
    monkeypatch.setattr(batch_lane, "march", watched(batch_lane.march))
    shares: list[float] = []

    def progress(share: float) -> None:
        shares.append(share)
        if share > 0.0:
            interrupted.set()
            raise KeyboardInterrupt

    threads = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        march_batch([lane] * (3 * WIDE), frozen=False, progress=progress, threads=2, together=together)
    assert threading.active_count() == threads
    assert 0.0 < shares[-1] < 1.0
    assert len(begun) <= 2  # a thread may have looked just before
    assert all(steps < lane.steps / 100 for steps in begun)


def test_progress_ends_at_one() -> None:
    shares: list[float] = []
    march_batch(star_lanes(2, steps=50), frozen=True, progress=shares.append)
    assert shares[-1] == 1.0
    assert shares == sorted(shares)


def test_lanes_that_are_not_on_one_grid() -> None:
    lineup, scenario = generated(4, size=0.2)
    grid = grid_of(lineup, scenario)
    finer = grid_of(lineup, scenario, replace(grid.reaches, dt=grid.reaches.dt / 2))
    with pytest.raises(GridError, match="scenario 1 of the batch is not on the grid of the first: reaches"):
        march_batch([Lane(grid=grid, steps=5), Lane(grid=finer, steps=5)], frozen=True)
    wider = lineup.with_(pipes=(replace(lineup.pipes[0], diameter=0.123), *lineup.pipes[1:]))
    other = grid_of(wider, scenario, grid.reaches)
    with pytest.raises(GridError, match="pipes differ"):
        march_batch([Lane(grid=grid, steps=5), Lane(grid=other, steps=5)], frozen=True)
    renamed = lineup.with_(tanks=(*lineup.tanks[:-1], replace(lineup.tanks[-1], name="x")))
    assert march_batch([Lane(grid=grid_of(renamed, scenario, grid.reaches), steps=0)], frozen=True)
    marched = Marched(grid=other, frozen=True, stride=1)
    marched.advance(3)
    with pytest.raises(GridError, match="does not stand at time 0"):
        march_batch([Lane(grid=other, steps=5)], frozen=True)
    assert march_batch([], frozen=True) == ()


@pytest.mark.parametrize("together", [True, False], ids=["in a block", "one by one"])
def test_a_grid_is_only_read(together: bool) -> None:
    lane = star_lanes(1)[0]
    before = {k: np.array(v) for k, v in lane.grid.net._asdict().items()}
    lanes = [lane, replace(lane, laws=Laws(ratio={"left": step_at(0.1)}, speed={}))]
    march_batch(lanes, frozen=False, together=together)
    for name, value in lane.grid.net._asdict().items():
        assert np.array_equal(before[name], value), name


def test_a_march_goes_on_where_it_stood() -> None:
    lanes = star_lanes(3, steps=240)
    whole = march_batch(lanes, frozen=False, together=False)
    first = march_batch([replace(lane, steps=90) for lane in lanes], frozen=False, together=False)
    lanes = [replace(lane, further=one.halted) for lane, one in zip(lanes, first, strict=True)]
    # Together with one that begins: whatever stands already is marched by itself.
    *found, begun = march_batch([*lanes, replace(lanes[0], further=None)], frozen=False, together=True)
    for one, two in zip(whole, found, strict=True):
        assert one.done == two.done
        assert one.point_hi.tolist() == two.point_hi.tolist()
        assert one.point_steps.tolist() == two.point_steps.tolist()
        assert all(map(np.array_equal, one.envelope()[1], two.envelope()[1]))
    assert apart(single(replace(lanes[0], further=None), frozen=False), begun) < ROUNDING


@pytest.mark.parametrize("together", [True, False])
def test_what_it_was_before_the_last_third(together: bool) -> None:
    lanes = star_lanes(3, steps=240)
    found = march_batch(lanes, frozen=False, together=together)
    for lane, result in zip(lanes, found, strict=True):
        one = single(replace(lane, steps=-(-2 * lane.steps // 3)), frozen=False)
        assert result.before is not None
        assert result.before.done == one.done
        assert apart(one, result.before) < ROUNDING


def test_lanes_of_one_length_share_a_block_and_others_go_alone() -> None:
    lane = star_lanes(1, steps=100)[0]
    alike = [lane] * WIDE
    unlike = [replace(lane, steps=100 if i == 0 else 20) for i in range(WIDE)]
    assert [len(g) for g in batch._groups(alike, range(WIDE), together=None)] == [WIDE]
    assert [len(g) for g in batch._groups(unlike, range(WIDE), together=None)] == [1] * WIDE


@pytest.mark.parametrize(("pieces", "share"), [(4, True), (80, False)])
def test_long_chains_of_lumps_are_marched_one_by_one(pieces: int, share: bool) -> None:
    """In a block they are a dense system for every lane, in a single march they are passed along."""
    names = ["tank", *(f"joint {k}" for k in range(pieces - 1)), "before"]
    pipes = [
        pipe(f"piece {k}", a, b, 20.0, 1000.0) for k, (a, b) in enumerate(zip(names, names[1:], strict=False))
    ]
    lineup = line_up([*pipes, valve("valve", "before", "out", 0.03)], {"tank": 40.0, "out": 0.0})
    work = plan(lineup, Scenario(name="still"))
    reaches = work.divide(0.5)
    assert not any(reaches.count)
    grid = build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    lanes = [Lane(grid=grid, steps=10, laws=work.laws) for _ in range(WIDE)]
    assert (len(batch._groups(lanes, range(WIDE), together=None)) == 1) == share

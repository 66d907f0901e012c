"""Run a scenario: steady flow, grid, marches, and the numerical error of every extreme.

Each scenario is marched at a step, at about half of it (this is the one reported), with the
lengths fitted differently, and, where short elements were lumped, with each lump in two parts. The
differences are the error's parts. If they are too large the step is halved again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surge.errors import GridError
from surge.hydraulics.losses import LossTables, loss_tables
from surge.hydraulics.steady import Steady, steady_state
from surge.model.lineup import LineUp, Scenario, Table
from surge.model.stroke import (
    follow,
    follow_speed,
    has_steps,
    last_event,
    shortest_movement,
    through_characteristic,
)
from surge.model.topology import longest_period
from surge.transient.grid import Grid, Laws, build_grid
from surge.transient.march import KEPT, Marched, keep_still
from surge.transient.reaches import PERIOD_MISFIT, STROKE_MISFIT, Reaches, choose_step, divide, other_rounding
from surge.transient.result import ScenarioResult, Vapour
from surge.transient.summary import Comparison, Summary, summarise
from surge.workers import workers

Array = NDArray[np.float64]

PERIODS_AFTER = 6.0  # a run lasts so many of the longest pipeline periods after the last event
LEAST_AFTER = 10.0  # [s] but not less than this
MOST_TIMES = 8.0  # a run that finds new extremes ends at so many times its first duration
RISE_TOLERANCE = 0.005  # of the line-up's greatest rise: the error allowed
LEAST_TOLERANCE = 2000.0  # [Pa], or this
NEW_EXTREME = 0.1  # of the error allowed: growth that counts as a new extreme
NEVER = 2**62  # steps between two samples of a history that nobody looks at
MOST_WORK = 1.5e8  # nodes times steps of one march, beyond which the step is not refined
# Where everything moves gradually the error falls with the step, and more work (a second or two) settles it;
# after a sudden stop fronts meet anew at every step, and it does not.
MOST_WORK_GRADUAL = 6e8


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """What all marches of one scenario have in common."""

    lineup: LineUp
    scenario: Scenario
    steady: Steady
    laws: Laws
    tables: LossTables
    times: Array
    period: float
    stroke: float
    last_event: float
    sudden: bool

    @property
    def most_work(self) -> float:
        """Nodes times steps of one march, beyond which the step is not refined."""
        return MOST_WORK if self.sudden else MOST_WORK_GRADUAL

    @property
    def slack(self) -> float:
        """Absolute misfit of a travel time that is allowed [s]."""
        return min(PERIOD_MISFIT * self.period, STROKE_MISFIT * self.stroke)


def plan(lineup: LineUp, scenario: Scenario) -> Plan:
    """Solve the steady flow of a scenario and lay out what moves.

    Raises
    ------
    CaseError
        The line-up cannot flow as the case says; see :func:`surge.hydraulics.steady.steady_state`.
    """
    steady = steady_state(lineup, scenario)
    laws, movement = _laws(lineup, scenario, steady)
    flow = np.array([steady.flow[p.name] for p in lineup.pipes])
    return Plan(
        lineup=lineup,
        scenario=scenario,
        steady=steady,
        laws=laws,
        tables=loss_tables(lineup, flow),
        times=np.array([p.travel_time for p in lineup.pipes]),
        period=longest_period(lineup, steady.flow),
        stroke=shortest_movement(movement),
        last_event=last_event(movement),
        sudden=has_steps(movement),
    )


def moved_otherwise(base: Plan, scenario: Scenario) -> Plan:
    """Return a plan for the same steady flow, after which things move by another scenario."""
    laws, movement = _laws(base.lineup, scenario, base.steady)
    return replace(
        base,
        scenario=scenario,
        laws=laws,
        stroke=shortest_movement(movement),
        last_event=last_event(movement),
        sudden=has_steps(movement),
    )


def _laws(lineup: LineUp, scenario: Scenario, steady: Steady) -> tuple[Laws, tuple[Table, ...]]:
    """What moves, as Kv ratios and speeds, and as openings and speeds."""
    ratio, movement = {}, []
    for valve in lineup.valves:
        moves = tuple(m for m in scenario.moves if m.valve == valve.name)
        if moves:
            law = follow(steady.opening[valve.name], moves)
            movement.append(law)
            ratio[valve.name] = through_characteristic(law, valve.characteristic)
    speed = {}
    for pump in lineup.pumps:
        pump_moves = tuple(m for m in scenario.pump_moves if m.pump == pump.name)
        if pump_moves:
            speed[pump.name] = follow_speed(steady.set_speed[pump.name], pump_moves)
            movement.append(speed[pump.name])
    return Laws(ratio=ratio, speed=speed), tuple(movement)


def _start(
    work: Plan,
    reaches: Reaches,
    probes: dict[str, tuple[float, ...]] | None = None,
    *,
    history: bool = True,
) -> Marched:
    grid: Grid = build_grid(
        work.lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables, probes=probes
    )
    stride = max(1, int(first_duration(work) / reaches.dt / KEPT)) if history else NEVER
    frozen = work.lineup.frozen_friction
    made = Marched(grid=grid, frozen=frozen, stride=stride)
    if made.watch.until < max(work.times):
        keep_still(grid, frozen=frozen)
    return made


def first_duration(work: Plan) -> float:
    """Time to march at first [s]."""
    return work.last_event + max(PERIODS_AFTER * work.period, LEAST_AFTER)


def _first_march(work: Plan, reaches: Reaches) -> tuple[Marched, float, bool]:
    """March until no new extreme appears in the last third; how long that took, and whether it ended."""
    marched = _start(work, reaches)
    duration = first_duration(work)
    limit = MOST_TIMES * duration
    marched.advance(int(np.ceil(duration * 2 / 3 / reaches.dt)))
    before = _extremes(work, marched)
    marched.advance(int(np.ceil(duration / reaches.dt)) - marched.done)
    while True:
        after = _extremes(work, marched)
        allowed = Summary(work.lineup, marched).tolerance(RISE_TOLERANCE, LEAST_TOLERANCE)
        if float(np.max(after - before)) <= NEW_EXTREME * allowed:
            return marched, duration, True
        if duration * 1.5 > limit:
            return marched, duration, False
        duration *= 1.5
        before = after
        marched.advance(int(np.ceil(duration / reaches.dt)) - marched.done)


def _extremes(work: Plan, marched: Marched) -> Array:
    """Extreme pressures of every pipe and point, lowest with the sign turned: growth is new [Pa]."""
    found = Summary(work.lineup, marched).found
    return np.array([f.pressure if way == "high" else -f.pressure for (_, _, way), f in found.items()])


def _march_for(work: Plan, reaches: Reaches, duration: float, summary: Summary | None = None) -> Marched:
    """March for a set time; with ``summary``, histories and probes where that has its inner extremes."""
    probes = summary.probe_shares() if summary else None
    marched = _start(work, reaches, probes, history=summary is not None)
    marched.advance(int(np.ceil(duration / reaches.dt)))
    return marched


def _boiling(work: Plan, marched: Marched, duration: float) -> tuple[Vapour, Marched] | None:
    """Where and when the liquid first boils, with a march up to that instant; None if it never does."""
    net = marched.grid.net
    _, low = marched.envelope()
    nodes = any(
        bool(np.any(2 * lo[1:-1] <= net.floor[at][1:-1]))
        for lo, at in zip(low, marched.grid.nodes, strict=True)
        if at.size
    )
    if not nodes and not np.any(marched.point_lo <= net.point_floor):
        return None
    again = _start(work, marched.grid.reaches)
    at_once = again.grid.net.point_floor >= again.point_lo
    if np.any(at_once):
        where = again.grid.points[int(np.argmax(at_once))]
        return Vapour(time=0.0, where=where, distance=None), again
    again.advance(int(np.ceil(duration / again.grid.reaches.dt)), to_vapour=True)
    node, point = again.grid.net.found
    time = again.done * again.grid.reaches.dt
    if node < 0:
        return Vapour(time=time, where=again.grid.points[int(point)], distance=None), again
    for pipe, at in zip(work.lineup.pipes, again.grid.nodes, strict=True):
        if np.any(at == node):
            share = int(np.argmax(at == node)) / (at.size - 1)
            return Vapour(time=time, where=pipe.name, distance=share * pipe.length), again
    raise AssertionError(node)


def simulate(
    lineup: LineUp,
    scenario: Scenario,
    *,
    quick: bool = False,
    most_work: float | None = None,
    tell: Callable[[str], None] | None = None,
) -> ScenarioResult:
    """Run one scenario and estimate the numerical error of every extreme.

    Parameters
    ----------
    lineup : LineUp
        Checked (see :func:`surge.model.validation.checked`); every length a single one.
    scenario : Scenario
    quick : bool
        One march only, without error estimates: for scanning, never for a verdict.
    most_work : float, optional
        Nodes times steps beyond which the step is not refined; less of it leaves a greater error.
    tell : callable, optional
        Called with a word at every march, for progress.

    Raises
    ------
    CaseError, GridError, SolveError
        As by :func:`plan` and the march.
    """
    work = plan(lineup, scenario)
    say = tell or (lambda _: None)
    dt = choose_step(work.times, period=work.period, stroke=work.stroke)
    _refuse_endless(work, divide(work.times, dt))
    say("first march")
    first, duration, ended = _first_march(work, divide(work.times, dt))
    coarse = Summary(lineup, first)
    if quick:
        return summarise(work, coarse, None, None, duration=duration, ended=ended, tolerance=0.0, runs=1)
    runs, bound = 1, min(work.most_work, most_work or work.most_work)
    while True:
        say(f"step {dt:.2g} s")
        compared = _compare(work, coarse, dt, duration)
        fine = compared.fine
        runs += 3 if compared.lumping else 2
        tolerance = fine.tolerance(RISE_TOLERANCE, LEAST_TOLERANCE)
        reaches = fine.marched.grid.reaches
        boiled = _boiling(work, fine.marched, duration)
        # Beyond boiling the pressures are not valid, and a finer step does not make them so.
        if boiled or compared.worst <= tolerance or 4 * work_done(reaches, duration) > bound:
            break
        dt, coarse = reaches.dt, fine
    return summarise(
        work, fine, compared, boiled, duration=duration, ended=ended, tolerance=tolerance, runs=runs
    )


def work_done(reaches: Reaches, duration: float) -> float:
    """Nodes times steps of a march."""
    return reaches.nodes * duration / reaches.dt


def _refuse_endless(work: Plan, reaches: Reaches) -> None:
    """A first march beyond the work that a fine one may take would keep the reader waiting."""
    steps = first_duration(work) / reaches.dt
    if reaches.nodes * steps > MOST_WORK:
        raise GridError(
            f"{reaches.nodes} nodes and {steps:.0f} steps would be needed (at most {MOST_WORK:.1e} of both "
            f"multiplied): the shortest movement takes {work.stroke:.3g} s and the last ends at "
            f'{work.last_event:.4g} s. Write a movement of no time as law = "step", or let it happen sooner'
        )


def _compare(work: Plan, coarse: Summary, dt: float, duration: float) -> Comparison:
    """Make the finer march and those that tell the error, next to the one at ``dt`` [s]."""
    half = choose_step(work.times, period=work.period, stroke=work.stroke, finest=dt / 2)
    other = other_rounding(work.times, half, slack=work.slack)
    lumps = replace(coarse.marched.grid.reaches, parts=2)

    def run(reaches: Reaches, look: Summary | None = None) -> Summary:
        return Summary(work.lineup, _march_for(work, reaches, duration, look))

    with workers(3) as pool:
        fine = pool.submit(run, divide(work.times, half), coarse)
        misfit = pool.submit(run, divide(work.times, other))
        lumping = pool.submit(run, lumps) if 0 in lumps.count else None
    return Comparison(
        fine=fine.result(),
        coarse=coarse,
        misfit=misfit.result(),
        lumping=lumping.result() if lumping else None,
    )

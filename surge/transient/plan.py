"""What all marches of one scenario have in common: steady flow, laws, loss tables, how long, how much work.

Decisions
---------
* A run lasts to the last event and then six of the longest pipeline periods, at least ten seconds. Peaks come
  after the valve has shut; :mod:`surge.transient.run` goes on where they still grow.
* It also lasts until a wave from everything that moves, from the end of its movement on, has had time for
  ``WAYS_AFTER`` ways to the farthest point that it reaches: there, back, and that twice more. The period
  knows tanks only. A closed branch reaches its highest pressure after one way, and its lowest, when the wave
  comes back upside down from where the head is held, after three; the next of each after five and seven.
  Valves that stay shut throughout let no wave pass; all others and pumps count as open.
* Where drums or open vessels hang on the line, it lasts to the last event and then the longest period of the
  slow swing between them and the line: a peak comes within half of it.
* A march is refined up to an effort of ``MOST_EFFORT`` (:mod:`surge.transient.effort`), and up to
  ``MOST_EFFORT_GRADUAL`` where everything moves gradually: there more work settles the error.
* Where the first march alone would take more than ``MOST_EFFORT``, the rules for the step are eased by powers
  of two, up to ``MOST_EASE``, until it does not: a slow stroke on a short line needs no hundred reaches.
  If that is not enough, and the shortest movement is what bounds the step, it no longer does and counts as
  sudden, which doubles errors that do not settle. Then the rules are eased as far as it takes. So every case
  is marched.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.errors import CaseError, Fault, GridError, SolveError
from surge.hydraulics.fixed import at_shares
from surge.hydraulics.losses import LossTables, loss_tables
from surge.hydraulics.steady import Steady, steady_once
from surge.model.lineup import LineUp, Pump, Scenario, Table
from surge.model.ranges import usual_shares
from surge.model.stroke import (
    has_steps,
    kv_ratio_over_time,
    last_event,
    opening_over_time,
    shortest_movement,
    speed_over_time,
)
from surge.model.topology import farthest, longest_period, neighbours, pipeline_period
from surge.transient.attached import fall_of_speed, pockets, slow_period
from surge.transient.effort import UNSTEADY, march_effort
from surge.transient.links import Laws
from surge.transient.reaches import (
    Reaches,
    Stretches,
    choose_step,
    coarsest,
    divide,
    rounded,
    rounded_otherwise,
)
from surge.transient.stretches import stretches_of

PERIODS_AFTER = 6.0  # a run lasts so many of the longest pipeline periods after the last event
LEAST_AFTER = 10.0  # [s] but not less than this
WAYS_AFTER = 6.0  # and so many ways of a wave from what moves to the farthest point
MOST_EFFORT = 2.5e8  # of one march, beyond which the step is not refined
# How many times the rules for the step are eased: before the shortest movement gives way (six steps in it are
# left then), and at all (the longest pipe would be a tenth of a reach). Our own choice.
MOST_EASE, MOST_EASE_AT_ALL = 16.0, 1000.0

# Of a pump that trips: the time in which its speed would fall to nothing if it fell on as at first, times
# this, is taken for its run-down; a head below which that would never end [m].
RUN_DOWN, LEAST_LIFT = 0.5, 1.0

# Where everything moves gradually the error falls with the step, and more work (a second or two) settles it;
# after a sudden stop fronts meet anew at every step, and it does not.
MOST_EFFORT_GRADUAL = 8e8
UNSTEADY_TIMES = 4.0  # as much where friction is unsteady, of which a step takes so much more


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """What all marches of one scenario have in common.

    Attributes
    ----------
    times : ndarray, shape (pipes,)
        Travel times [s].
    stretches : tuple of tuple of int
        Pipes that are one line for a wave.
    period, way : float
        Longest pipeline period of the line-up, and shortest one of a valve that moves [s].
    stroke : float
        Shortest movement that takes time [s].
    last_event, arrived : float
        When the last movement ends, and when the waves of every movement have been everywhere, and every
        slow swing has had its peak [s].
    pockets : frozenset of str
        Points and links at which a pressure falls on ever more slowly after a trip
        (:func:`surge.transient.attached.pockets`); no run goes on for that.
    sudden : bool
        Whether anything moves in no time.
    ease : float
        How many times the rules for the step are eased [-]; see :func:`eased`.
    unsteady : bool
        Whether friction remembers changes of flow.
    """

    lineup: LineUp
    scenario: Scenario
    steady: Steady
    laws: Laws
    tables: LossTables
    times: Array
    stretches: Stretches
    period: float
    way: float
    stroke: float
    last_event: float
    arrived: float
    sudden: bool
    pockets: frozenset[str] = frozenset()
    ease: float = 1.0
    unsteady: bool = False

    @property
    def most_effort(self) -> float:
        """Effort of one march, beyond which the step is not refined [-]."""
        most = MOST_EFFORT if self.sudden else MOST_EFFORT_GRADUAL
        return UNSTEADY_TIMES * most if self.unsteady else most

    def step(self) -> float:
        """The step by the rules, as this plan eases them [s]."""
        return self._step

    @cached_property
    def _step(self) -> float:
        return choose_step(
            self.times,
            stroke=self.stroke,
            way=self.way,
            period=self.period,
            ease=self.ease,
            stretches=self.stretches,
        )

    def effort(self, reaches: Reaches, duration: float) -> float:
        """Effort of a march of ``duration`` [s] [-]."""
        more = UNSTEADY * reaches.nodes * duration / reaches.dt if self.unsteady else 0.0
        return march_effort(self.lineup, reaches, duration) + more

    @property
    def coarsest(self) -> float:
        """The step beyond which too much of a line of many pieces would be lumped [s]."""
        return coarsest(self.times, self.stretches, self.ease)

    def divide(self, dt: float) -> Reaches:
        """The pipes in reaches of ``dt`` [s]."""
        return divide(self.times, dt, self.stretches)

    def rounded(self, dt: float) -> tuple[Reaches, Reaches]:
        """The pipes in whole reaches of ``dt`` and of a step near it [s], their lengths changed for that."""
        return rounded(self.times, dt, self.stretches), rounded_otherwise(self.times, dt, self.stretches)


def plan(lineup: LineUp, scenario: Scenario) -> Plan:
    """Solve the steady flow of a scenario and lay out what moves.

    Raises
    ------
    CaseError
        The line-up cannot flow as the case says; see :func:`surge.hydraulics.steady.steady_state`.
    """
    steady = steady_once(lineup, scenario)
    flow = np.array([steady.flow[p.name] for p in lineup.pipes])
    return Plan(
        lineup=lineup,
        scenario=scenario,
        steady=steady,
        tables=loss_tables(lineup, flow),
        times=np.array([p.travel_time for p in lineup.pipes]),
        stretches=stretches_of(lineup),
        period=longest_period(lineup, steady.flow),
        **_moved(lineup, scenario, steady),
    )


def moved_otherwise(base: Plan, scenario: Scenario) -> Plan:
    """Return a plan for the same steady flow, after which things move by another scenario."""
    return replace(base, scenario=scenario, ease=1.0, **_moved(base.lineup, scenario, base.steady))


def _moved(lineup: LineUp, scenario: Scenario, steady: Steady) -> dict[str, Any]:
    """The part of a plan that follows from what moves."""
    laws, movement = _laws(lineup, scenario, steady)
    joined = neighbours(lineup)
    moving = [v for v in lineup.valves if v.name in movement]
    periods = (pipeline_period(lineup, v, flow=steady.flow[v.name], joined=joined).longest for v in moving)
    shut = {v.name for v in lineup.valves if v.name not in movement and steady.opening[v.name] <= 0.0}
    arrived = (
        law[-1][0] + WAYS_AFTER * farthest(lineup, name, without=shut, joined=joined)
        for name, law in movement.items()
    )
    tables = tuple(movement.values())
    last = last_event(tables)
    swung = last + slow_period(lineup, steady) if lineup.attached else 0.0
    return {
        "laws": laws,
        "way": min((p for p in periods if p > 0.0), default=math.inf),
        "stroke": shortest_movement(tables),
        "last_event": last,
        "arrived": max((*arrived, swung), default=0.0),
        "sudden": has_steps(tables),
        "pockets": pockets(lineup, scenario),
    }


def _laws(lineup: LineUp, scenario: Scenario, steady: Steady) -> tuple[Laws, dict[str, Table]]:
    """What moves, as Kv ratios and speeds, and as openings and speeds by name."""
    ratio, movement = {}, {}
    for valve in lineup.valves:
        moves = tuple(m for m in scenario.moves if m.valve == valve.name)
        if moves:
            law = opening_over_time(steady.opening[valve.name], moves)
            movement[valve.name] = law
            ratio[valve.name] = kv_ratio_over_time(law, valve.characteristic)
    speed = {}
    for pump in lineup.pumps:
        pump_moves = tuple(m for m in scenario.pump_moves if m.pump == pump.name)
        if pump_moves:
            speed[pump.name] = speed_over_time(steady.set_speed[pump.name], pump_moves)
            movement[pump.name] = speed[pump.name]
    trips = {}
    for trip in scenario.trips:
        pump = next(p for p in lineup.pumps if p.name == trip.pump)
        assert pump.turning is not None
        _refuse_beyond(pump, steady)
        trips[pump.name] = trip.start
        # About how long it takes, by what it does at first: for the step and the length of the run.
        lift = max(steady.head[pump.end] - steady.head[pump.start], LEAST_LIFT)
        about = RUN_DOWN * 2.0 / (fall_of_speed(pump.turning, lineup) * lift)
        again = movement.get(pump.name, ())[1:]  # started again
        ends = min([trip.start + about, *(t for t, _ in again[:1])])
        movement[pump.name] = ((trip.start, 1.0), (ends, 0.0), *again)
    return Laws(ratio=ratio, speed=speed, trips=trips), movement


def _refuse_beyond(pump: Pump, steady: Steady) -> None:
    """Refuse to trip a pump that works beyond its curve: its torque is not known there."""
    flow, speed = steady.flow[pump.name], steady.speed[pump.name]
    assert pump.turning is not None
    most = min(pump.curve[-1][0], 2.0 * pump.turning.best_flow) * speed
    if flow > most or speed <= 0.0:
        raise CaseError(
            [
                Fault(
                    path=(*pump.origin, "curve"),
                    found=f"{flow * 3600:.0f} m3/h before the trip, where the curve, or twice the best flow, "
                    f"ends at {most * 3600:.0f} m3/h",
                    expected="a curve up to the flow before the trip, and a best flow above half of it",
                    remedy="add points of the pump's test curve at greater flows, and check best_flow",
                )
            ]
        )


def first_duration(work: Plan) -> float:
    """Time to march at first [s]."""
    return max(work.last_event + max(PERIODS_AFTER * work.period, LEAST_AFTER), work.arrived)


def first_effort(lineup: LineUp, scenario: Scenario) -> float:
    """Return the effort of a first march of a scenario [-]; 0 where it cannot be computed at all.

    Parameters
    ----------
    lineup : LineUp
        What is known as a range is taken as usual.
    scenario : Scenario
    """
    try:
        work = plan(at_shares(lineup, usual_shares(lineup)), scenario)
        duration = first_duration(work)
        work = eased(work, duration)
        return work.effort(work.divide(work.step()), duration)
    except (CaseError, GridError, SolveError):
        return 0.0  # who runs it says why


def eased(work: Plan, duration: float) -> Plan:
    """Return the plan with the rules for the step eased until a first march takes no more effort than it may.

    Parameters
    ----------
    work : Plan
    duration : float
        Of the march [s].

    Raises
    ------
    GridError
        No step can be found at all.
    """
    resolved, ease = work, 1.0
    while True:
        tried = replace(resolved, ease=ease)
        try:
            reaches = work.divide(tried.step())
        except GridError:
            if ease > MOST_EASE_AT_ALL:
                raise
        else:
            if work.effort(reaches, duration) <= MOST_EFFORT or ease > MOST_EASE_AT_ALL:
                return tried
        ease *= 2.0
        if ease > MOST_EASE and resolved.stroke < min(
            work.way / 2, max(float(work.times[list(s)].sum()) for s in work.stretches)
        ):
            resolved, ease = replace(work, stroke=math.inf, sudden=True), 1.0

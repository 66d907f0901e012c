"""What all marches of one scenario have in common: steady flow, laws, loss tables, how long, how much work.

Decisions
---------
* A run lasts to the last event and then six of the longest pipeline periods, at least ten seconds. Peaks come
  after the valve has shut; :mod:`surge.transient.run` goes on where they still grow.
* A march takes at most ``MOST_WORK`` nodes times steps, and ``MOST_WORK_GRADUAL`` where everything moves
  gradually: there more work settles the error.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surge.arrays import Array
from surge.hydraulics.losses import LossTables, loss_tables
from surge.hydraulics.steady import Steady, steady_state
from surge.model.lineup import LineUp, Scenario, Table
from surge.model.stroke import (
    has_steps,
    kv_ratio_over_time,
    last_event,
    opening_over_time,
    shortest_movement,
    speed_over_time,
)
from surge.model.topology import longest_period
from surge.transient.grid import Laws
from surge.transient.reaches import PERIOD_MISFIT, STROKE_MISFIT

PERIODS_AFTER = 6.0  # a run lasts so many of the longest pipeline periods after the last event


LEAST_AFTER = 10.0  # [s] but not less than this


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
            law = opening_over_time(steady.opening[valve.name], moves)
            movement.append(law)
            ratio[valve.name] = kv_ratio_over_time(law, valve.characteristic)
    speed = {}
    for pump in lineup.pumps:
        pump_moves = tuple(m for m in scenario.pump_moves if m.pump == pump.name)
        if pump_moves:
            speed[pump.name] = speed_over_time(steady.set_speed[pump.name], pump_moves)
            movement.append(speed[pump.name])
    return Laws(ratio=ratio, speed=speed), tuple(movement)


def first_duration(work: Plan) -> float:
    """Time to march at first [s]."""
    return work.last_event + max(PERIODS_AFTER * work.period, LEAST_AFTER)

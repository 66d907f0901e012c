"""The pressures that a case has at some places while things move: one march, every step of it kept.

Decisions
---------
* All trials of a fit are marched at one step, that of a first march of the case as it stands. What the step
  leaves wrong is told by one march at half of it, at the end (:mod:`surge.fitting.estimate`).
* Trials differ in wave speeds, so that they share no grid and cannot be marched side by side; nor does the
  batch keep histories. They are spread over threads.
* A case that asks for unsteady friction is fitted with it alone: of the two it is the nearer to a real wave.
  Its check judges by both.
* The march is liquid-filled. A record in which the liquid boils is not fitted
  (:mod:`surge.fitting.fit`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surge.arrays import Array
from surge.model.lineup import LineUp, Scenario
from surge.transient.first_march import begun
from surge.transient.march import Marched
from surge.transient.plan import Plan, eased, first_duration, plan


@dataclass(frozen=True, kw_only=True, eq=False)
class Pressures:
    """Pressures against time.

    Attributes
    ----------
    time : ndarray, shape (n,)
        From the beginning of the scenario [s].
    pressure : ndarray, shape (places, n)
        [Pa gauge]
    boils : bool
        The liquid would boil somewhere: what follows is not valid.
    """

    time: Array
    pressure: Array
    boils: bool

    def at(self, place: int, times: Array) -> Array:
        """Return the pressures at some times [Pa gauge]; before the beginning the steady one."""
        found: Array = np.interp(times, self.time, self.pressure[place])
        return found


@dataclass(frozen=True, kw_only=True)
class Span:
    """The step of all marches of a fit, and what of time a record can be about.

    Attributes
    ----------
    dt : float
        [s]
    first, last : float
        When the first movement begins, and the last one ends [s].
    usual : float
        How long a check would march at first [s].
    """

    dt: float
    first: float
    last: float
    usual: float


def span_of(lineup: LineUp, scenario: Scenario) -> Span:
    """Return the step at which a scenario is marched first, and when things move in it.

    Raises
    ------
    CaseError, GridError
        It cannot be computed.
    """
    work = _plan(lineup, scenario)
    usual = first_duration(work)
    starts = [
        *(m.start for m in scenario.moves),
        *(m.start for m in scenario.pump_moves),
        *(t.start for t in scenario.trips),
    ]
    return Span(
        dt=eased(work, usual).step(), first=min(starts, default=0.0), last=work.last_event, usual=usual
    )


def _plan(lineup: LineUp, scenario: Scenario) -> Plan:
    return replace(plan(lineup, scenario), unsteady=lineup.unsteady_friction)


def effort_of(lineup: LineUp, scenario: Scenario, *, dt: float, until: float) -> float:
    """Return the effort of one march (:mod:`surge.effort`) [-].

    Parameters
    ----------
    lineup, scenario, dt, until
        As of :func:`march`.

    Raises
    ------
    CaseError, GridError, SolveError
        It cannot be computed.
    """
    work = _plan(lineup, scenario)
    return work.effort(work.divide(dt), until)


def march(lineup: LineUp, scenario: Scenario, points: Sequence[str], *, dt: float, until: float) -> Pressures:
    """March a scenario and return the pressures at some points.

    Parameters
    ----------
    lineup : LineUp
        Without ranges.
    scenario : Scenario
    points : sequence of str
    dt : float
        Step [s].
    until : float
        [s] from the beginning of the scenario.

    Raises
    ------
    CaseError, GridError, SolveError
        It cannot be computed.
    """
    work = _plan(lineup, scenario)
    made = begun(work, work.divide(dt), stride=1)
    made.advance_to(until)
    heads = np.vstack(made.heads)
    rho_g = lineup.liquid.density * lineup.gravity
    height = {p.name: p.elevation for p in lineup.points}
    at = [made.grid.points.index(p) for p in points]
    return Pressures(
        time=np.concatenate(made.time),
        pressure=np.stack([rho_g * (heads[:, k] - height[p]) for k, p in zip(at, points, strict=True)]),
        boils=_boils(made),
    )


def _boils(made: Marched) -> bool:
    net = made.grid.net
    _, low = made.envelope()
    pairs = zip(low, made.grid.nodes, strict=True)
    nodes = any(bool(np.any(2 * lo[1:-1] <= net.floor[at][1:-1])) for lo, at in pairs if at.size)
    return nodes or bool(np.any(made.point_lo <= net.point_floor))

"""A quick look at a scenario, for who takes very many: one coarse march, and what findings take of it.

The extremes are those of :func:`surge.transient.run.simulate` with ``quick=True``, to the last bit; what only
readers look at, histories and envelopes, is not made.

Decisions
---------
* A run at a time, and not many side by side (:mod:`surge.transient.batch`). Of a small case an eighth of a
  quick look is the march itself, of a demo case a third; line-ups whose wave speeds or lengths differ have no
  grid in common; and a lane of a batch has the figures of a single march to rounding only.
* The march is watched as every march is. What lies between two steps is for errors, of which there are none.
"""

from __future__ import annotations

from surge.arrays import Array
from surge.model.lineup import LineUp, Scenario
from surge.transient.errors import Summary
from surge.transient.grid import build_grid
from surge.transient.march import STEPS_KEPT, Marched, keep_still
from surge.transient.plan import Plan, eased, first_duration, plan
from surge.transient.result import ScenarioResult
from surge.transient.run import until_calm
from surge.transient.summary import look_of, summarise


class _QuickMarch(Marched):
    """A march of which no error is asked for."""

    def _look_between(self, heads: Array) -> None:
        """Leave it."""


def quick_look(lineup: LineUp, scenario: Scenario) -> ScenarioResult:
    """March a scenario once, at a coarse step: never a verdict.

    Parameters
    ----------
    lineup : LineUp
        As a case gives it; no length is a range.
    scenario : Scenario

    Returns
    -------
    ScenarioResult
        ``elements`` and ``places`` with their highest and lowest pressures [Pa gauge], without errors, and
        ``undecided``. There are no histories, envelopes, closures and periods.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.transient.run.simulate`.
    """
    work, seen, duration, ended = _seen(plan(lineup, scenario))
    return look_of(work, seen, duration=duration, ended=ended)


def look_with_curves(work: Plan) -> ScenarioResult:
    """March a plan once, at a coarse step, and keep histories, envelopes and closures too: never a verdict.

    Parameters
    ----------
    work : Plan

    Returns
    -------
    ScenarioResult
        As :func:`surge.transient.run.simulate` gives it with ``quick=True``, to the last bit.

    Raises
    ------
    GridError, SolveError
        As that.
    """
    work, seen, duration, ended = _seen(work)
    return summarise(
        work, seen, None, None, duration=duration, ahead=duration, ended=ended, tolerance=0.0, runs=1
    )


def _seen(work: Plan) -> tuple[Plan, Summary, float, bool]:
    """The plan as it is marched, and what :func:`surge.transient.run.until_calm` gives."""
    work = eased(work, first_duration(work))
    return work, *until_calm(work, _begun(work))


def _begun(work: Plan) -> Marched:
    reaches = work.divide(work.step())
    grid = build_grid(work.lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    stride = max(1, int(first_duration(work) / reaches.dt / STEPS_KEPT))
    made = _QuickMarch(grid=grid, frozen=work.lineup.frozen_friction, stride=stride)
    if made.watch.until < max(work.times):
        keep_still(made)
    return made

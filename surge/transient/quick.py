"""A quick look at a scenario, for who takes very many: one coarse march, and what findings take of it.

The extremes are those of :func:`surge.transient.run.simulate` with ``quick=True``, to the last bit; what only
readers look at, histories and envelopes, is not made.

Decisions
---------
* A run at a time, and not many side by side (:mod:`surge.transient.batch`). Of a small case an eighth of a
  quick look is the march itself, of a demo case a third; line-ups whose wave speeds or lengths differ have no
  grid in common; and a lane of a batch has the figures of a single march to rounding only.
* The march is watched as every march is.
"""

from __future__ import annotations

from surge.model.lineup import LineUp, Scenario
from surge.transient.first_march import first_march
from surge.transient.plan import plan
from surge.transient.result import ScenarioResult
from surge.transient.summary import look_of


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
    work, seen, duration, ended = first_march(plan(lineup, scenario))
    return look_of(work, seen, duration=duration, ended=ended)

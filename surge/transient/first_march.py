"""The first march of a scenario: from its beginning until nothing new comes.

Decisions
---------
* A run goes on by half its duration while an extreme of an element or place still grows in its last third, by
  ``NEW_EXTREME`` of the error allowed, to ``MOST_TIMES`` its first duration at most.
* Of the time before anything moves no more is marched than a wave takes through the longest pipe: so long the
  watch sees that the steady flow stays as it is.
* Places have their extremes in ``SPANS`` spans of the first duration: our own choice.
"""

from __future__ import annotations

from typing import Any

from surge.transient.errors import Summary
from surge.transient.grid import build_grid
from surge.transient.march import STEPS_KEPT, Marched, keep_still
from surge.transient.plan import Plan, eased, first_duration
from surge.transient.reaches import Reaches
from surge.transient.result import ScenarioResult
from surge.transient.summary import summarise
from surge.transient.unsteady_march import UnsteadyMarch, build_unsteady_grid
from surge.transient.watch import steps_before

MOST_TIMES = 8.0  # a run that finds new extremes ends at so many times its first duration
RISE_TOLERANCE = 0.005  # of the line-up's greatest rise: the error allowed
LEAST_TOLERANCE = 2000.0  # [Pa], or this
NEW_EXTREME = 0.1  # of the error allowed: growth that counts as a new extreme
SPANS = 8  # of the first duration: in each the extremes of places are kept, and have an error of their own
NO_SAMPLES = 2**62  # steps between two samples of a history that nobody looks at


def started(
    work: Plan,
    reaches: Reaches,
    probes: dict[str, tuple[float, ...]] | None = None,
    *,
    history: bool = True,
) -> Marched:
    """Return :func:`begun` with a thinned history, or none that anybody looks at."""
    stride = max(1, int(first_duration(work) / reaches.dt / STEPS_KEPT)) if history else NO_SAMPLES
    return begun(work, reaches, stride=stride, probes=probes)


def begun(
    work: Plan, reaches: Reaches, *, stride: int, probes: dict[str, tuple[float, ...]] | None = None
) -> Marched:
    """Return the march of a plan at its beginning, or where its first event is near: before it nothing moves.

    Parameters
    ----------
    work : Plan
    reaches : Reaches
    stride : int
        Every how many steps histories are kept.
    probes : dict of str to tuple of float, optional
        As of :func:`surge.transient.grid.build_grid`.

    Raises
    ------
    GridError, SolveError
        It cannot be marched.
    """
    given: dict[str, Any] = {"reaches": reaches, "laws": work.laws, "tables": work.tables, "probes": probes}
    frozen = work.lineup.frozen_friction
    span = first_duration(work) / SPANS
    if work.unsteady:
        remembers = build_unsteady_grid(work.lineup, work.steady, **given)
        made: Marched = UnsteadyMarch(grid=remembers, frozen=frozen, stride=stride, span=span)
    else:
        grid = build_grid(work.lineup, work.steady, **given)
        made = Marched(grid=grid, frozen=frozen, stride=stride, span=span)
    if made.watch.until < max(work.times):
        keep_still(made)
    else:
        way = max(reaches.count) + 2  # steps from one end of the longest pipe to the other, and some
        made.rest(max(steps_before(made.grid.net, reaches.dt) - way, 0))
    return made


def growth(work: Plan, before: Summary, now: Summary) -> float:
    """Greatest growth of an extreme that a run goes on for [Pa]."""
    return max((more for key, more in before.later(now).items() if key[1] not in work.pockets), default=0.0)


def until_calm(work: Plan, marched: Marched) -> tuple[Summary, float, bool]:
    """March until no new extreme appears in the last third.

    Parameters
    ----------
    work : Plan
    marched : Marched
        Of that plan, at its beginning; it is marched on.

    Returns
    -------
    Summary, float, bool
        What was found, how long that took [s], and False where new extremes still appeared at the end.

    Raises
    ------
    SolveError
    """
    duration = first_duration(work)
    limit = MOST_TIMES * duration
    marched.advance_to(duration * 2 / 3)
    before = Summary(work.lineup, marched)
    marched.advance_to(duration)
    while True:
        now = Summary(work.lineup, marched)
        allowed = now.tolerance(RISE_TOLERANCE, LEAST_TOLERANCE)
        if growth(work, before, now) <= NEW_EXTREME * allowed:
            return now, duration, True
        if duration * 1.5 > limit:
            return now, duration, False
        duration *= 1.5
        before = now
        marched.advance_to(duration)


def first_march(work: Plan) -> tuple[Plan, Summary, float, bool]:
    """Return a plan as it is marched, and what :func:`until_calm` gives of its march at the coarsest step.

    Parameters
    ----------
    work : Plan

    Raises
    ------
    GridError, SolveError
        It cannot be marched.
    """
    work = eased(work, first_duration(work))
    return work, *until_calm(work, started(work, work.divide(work.step())))


def look_with_curves(work: Plan) -> ScenarioResult:
    """March a plan once, at a coarse step, with histories and envelopes: never a verdict.

    Parameters
    ----------
    work : Plan

    Returns
    -------
    ScenarioResult
        As :func:`surge.transient.run.simulate` gives it with ``quick=True``.

    Raises
    ------
    GridError, SolveError
        It cannot be marched.
    """
    work, seen, duration, ended = first_march(work)
    return summarise(
        work, seen, None, None, duration=duration, ahead=duration, ended=ended, tolerance=0.0, runs=1
    )

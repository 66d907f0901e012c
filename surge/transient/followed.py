"""A run whose liquid boils, with what marches with cavities make of it.

Decisions
---------
* What the plain run tells of the time after boiling gives way: how gently valves close, what hangs on the
  line, and why nothing can be decided, are of marches with cavities. Of the two on the finest grid, what the
  one with free gas tells is told; what either leaves open is.
* Where the marches cannot be made the run stays as it is, and says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from surge.effort import at_most
from surge.errors import GridError, PatienceError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import Range
from surge.transient.attached_results import attached_figures, attached_results, attached_undecided
from surge.transient.cavities import WINDOW, Followed, march_with_cavities
from surge.transient.cavity_result import Cavities
from surge.transient.march import Marched
from surge.transient.result import ScenarioResult
from surge.transient.summary import back_flow, closures_of
from surge.workers import Progress

MOST_EFFORT = 4e9  # of all marches with cavities of one scenario: some ten seconds of one processor


def with_cavities(
    lineup: LineUp,
    scenario: Scenario,
    run: ScenarioResult,
    *,
    ranges: Sequence[Range] = (),
    progress: Progress | None = None,
) -> ScenarioResult:
    """Follow a scenario with cavities where it boils; another run is returned as it is.

    Parameters
    ----------
    lineup : LineUp
        That of the run, with one value for every figure.
    scenario : Scenario
    run : ScenarioResult
    ranges : sequence of Range
        What is a range in the case: the marches know it at this point only.
    progress : callable, optional
        Called with a word at every march; from several threads.
    """
    if run.vapour is None:
        return run
    words = tuple(r.whose for r in ranges)
    try:
        with at_most(MOST_EFFORT):
            made = march_with_cavities(lineup, scenario, progress=progress)
    except PatienceError:
        return replace(
            run, cavities=Cavities(missing="they would take too much work (--patient does it)", ranges=words)
        )
    except (GridError, SolveError) as why:
        return replace(run, cavities=Cavities(missing=str(why), ranges=words))
    return _replaced(run, made, words)


def _replaced(run: ScenarioResult, made: Followed, ranges: tuple[str, ...]) -> ScenarioResult:
    work, extremes = made.work, made.extremes()
    gas = made.marches[-1]
    undecided = [made.unended] if made.unended else []
    figures = [attached_figures(work.lineup, march) for march in made.marches]

    def told(march: Marched) -> dict[str, Any]:
        """What hangs on the line, in one march; errors of its figures are as wide as bands of pressures."""
        return attached_results(
            work.lineup,
            work.scenario,
            work.steady,
            march,
            lambda figure: WINDOW * (max(f[figure] for f in figures) - min(f[figure] for f in figures)),
            lambda key: extremes[key].band,
        )

    for one, march in zip(made.finest, made.marches, strict=True):
        undecided += back_flow(work, one.history)
        undecided += attached_undecided(work.lineup, told(march))
    return replace(
        run,
        closures=closures_of(work.scenario, made.finest[-1].history, run.periods),
        undecided=tuple(dict.fromkeys(undecided)),
        cavities=Cavities(
            runs=made.runs,
            extremes=extremes,
            pulses=made.pulses,
            boils=work.lineup.vapour_gauge,
            gas=work.lineup.free_gas,
            ranges=ranges,
        ),
        **told(gas),
    )

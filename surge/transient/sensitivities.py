"""A scenario once more, with what the case asks for beside the usual: unsteady friction, gas in the liquid.

Decisions
---------
* Each is a run of its own beside the usual one, and its pressures are held against the same limits
  (:mod:`surge.rules.findings`). A verdict is by the worst of them: none is better for what was asked for.
* Where the cargo boils there is none: marches with cavities have steady friction, and gas of their own.
* What cannot be run, or would take too much work, leaves the scenario undecided: the case asked for it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from surge.effort import at_most
from surge.errors import GridError, PatienceError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.transient.cavity_result import Cavities
from surge.transient.gas import run_with_gas
from surge.transient.result import ScenarioResult, Sensitivity
from surge.transient.run import simulate
from surge.workers import Progress

UNSTEADY_FRICTION, GAS = "unsteady friction", "gas in the liquid"
MOST_EFFORT = 8e9  # of one of them: some twenty seconds of one processor
BOILS = "the cargo boils, and marches with cavities have none of it"
TOO_MUCH = "it would take too much work (--patient does it)"


def asked_for(lineup: LineUp) -> tuple[str, ...]:
    """What a line-up asks for beside the usual, in words."""
    gas = (gas_words(lineup),) if lineup.gas_content > 0.0 else ()
    return (UNSTEADY_FRICTION, *gas) if lineup.unsteady_friction else gas


def gas_words(lineup: LineUp) -> str:
    """What a line-up's share of gas is called in a sentence."""
    return f"{100.0 * lineup.gas_content:.3g} % of gas"


def searched_with(lineup: LineUp) -> str:
    """How searches regard what a line-up asks for beside the usual; "" where it asks for nothing."""
    asked = " and ".join(asked_for(lineup))
    if not asked:
        return ""
    return f"Looked for without {asked}; the full runs that confirm what is told were made with {asked} too."


def full_run(lineup: LineUp, scenario: Scenario, *, progress: Progress | None = None) -> ScenarioResult:
    """Run a scenario in full, with what the line-up asks for beside it; see :func:`with_sensitivities`."""
    return with_sensitivities(
        lineup, scenario, simulate(lineup, scenario, progress=progress), progress=progress
    )


def with_sensitivities(
    lineup: LineUp,
    scenario: Scenario,
    run: ScenarioResult,
    *,
    wider: Callable[[ScenarioResult], ScenarioResult] = lambda run: run,
    progress: Progress | None = None,
) -> ScenarioResult:
    """Return a run with what the line-up asks for beside it; as it is where it asks for nothing.

    Parameters
    ----------
    lineup : LineUp
        That of the run, with one value for every figure.
    scenario : Scenario
    run : ScenarioResult
    wider : callable
        Puts into the errors of a run what other figures within the ranges may add.
    progress : callable, optional
        Called with a word at every march; from several threads.
    """
    made = []
    if lineup.unsteady_friction:

        def unsteady() -> ScenarioResult:
            return simulate(lineup, scenario, unsteady_friction=True, progress=progress)

        made.append(_made(UNSTEADY_FRICTION, UNSTEADY_FRICTION, run, unsteady, wider))
    if lineup.gas_content > 0.0:

        def with_gas() -> ScenarioResult:
            return run_with_gas(lineup, scenario, run, gas=lineup.gas_content, progress=progress)

        made.append(_made(GAS, gas_words(lineup), run, with_gas, wider))
    return replace(run, sensitivities=tuple(made)) if made else run


def _made(
    kind: str,
    words: str,
    usual: ScenarioResult,
    march: Callable[[], ScenarioResult],
    wider: Callable[[ScenarioResult], ScenarioResult],
) -> Sensitivity:
    if usual.vapour is not None:
        return Sensitivity(kind=kind, words=words, run=None, missing=BOILS, boils=True)
    try:
        with at_most(MOST_EFFORT):
            made = march()
    except PatienceError:
        return Sensitivity(kind=kind, words=words, run=None, missing=TOO_MUCH)
    except (GridError, SolveError) as why:
        return Sensitivity(kind=kind, words=words, run=None, missing=str(why))
    made = replace(wider(made), name=usual.name, taken=usual.taken)
    if made.vapour is not None:
        made = replace(made, cavities=Cavities(missing=f"none are made with {words}"))
    return Sensitivity(kind=kind, words=words, run=made, fit=made.method.weight_error)

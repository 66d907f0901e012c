"""Which scenario a picture is of, and its run.

Pressures [Pa gauge], times [s], distances [m], flows [m3/s], openings and speeds [-].

Decisions
---------
* The verdict on a picture counts the static findings too: a scenario whose shut-off pressure is not known is
  not decided.
* Where the liquid boils in a run, the time before is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from surge.errors import RequestError, likely
from surge.hydraulics.fixed import at_figures
from surge.model.lineup import LineUp, Scenario, Table
from surge.model.stroke import opening_over_time
from surge.rules.assess import Assessment
from surge.rules.findings import (
    Finding,
    findings_of,
    weakest,
    worst_of,
)
from surge.transient.plan import Plan, plan
from surge.transient.result import ScenarioResult

LOW_CHECKS = ("lowest", "vapour")


@dataclass(frozen=True, kw_only=True, eq=False)
class Subject:
    """The scenario that a picture is of, with its run.

    Attributes
    ----------
    assessment : Assessment
        The answer that the run belongs to.
    lineup : LineUp
        With the figures that the run took of what is a range.
    scenario : Scenario
    run : ScenarioResult
    work : Plan
        Steady flow, and what moves.
    finding : Finding or None
        The pressure of this run that comes nearest to its limit.
    verdict : str
        The worst verdict on the pressures of this run and on shut-off pressure.
    chosen : bool
        Whether the program chose the scenario out of several.
    """

    assessment: Assessment
    lineup: LineUp
    scenario: Scenario
    run: ScenarioResult
    work: Plan
    finding: Finding | None
    verdict: str
    chosen: bool

    @property
    def valid_until(self) -> float | None:
        """When the liquid boils, after which the pressures are not valid [s]; None if it never does."""
        return None if self.run.vapour is None else self.run.vapour.time

    @property
    def end(self) -> float:
        """Last instant of the reported march [s]."""
        return self.run.method.steps * self.run.method.dt

    @property
    def openings(self) -> dict[str, Table]:
        """For every valve that moves, pairs of time [s] and opening [-]."""
        moves = self.scenario.moves
        return {
            name: opening_over_time(self.run.opening[name], tuple(m for m in moves if m.valve == name))
            for name in dict.fromkeys(m.valve for m in moves)
        }

    @property
    def speeds(self) -> dict[str, Table]:
        """For every pump that stops or starts, pairs of time [s] and speed as a share of full speed [-].

        One that trips moves by itself, also when it is started again (:mod:`surge.views.by_itself`).
        """
        laws = self.work.laws
        return {name: law for name, law in laws.speed.items() if name not in laws.trips}

    @property
    def low(self) -> bool:
        """Whether the pressure that comes nearest to its limit is a low one."""
        return self.finding is not None and self.finding.check in LOW_CHECKS


def subject_of(assessment: Assessment, scenario: str | None = None) -> Subject:
    """Return the scenario that was asked for, or the one that comes nearest to a limit.

    Parameters
    ----------
    assessment : Assessment
    scenario : str or None
        Its name; by default the program chooses.

    Returns
    -------
    Subject

    Raises
    ------
    RequestError
        There is no scenario of this name.
    """
    names = [s.name for s in assessment.lineup.scenarios]
    if scenario is not None and scenario not in names:
        raise RequestError(f"--scenario {unknown('scenario', scenario, names)}")
    found = [f for f in assessment.findings if f.scenario and scenario in (None, f.scenario)]
    told = [f for f in found if f.subject in ("element", "place")]
    worst = weakest(told) or (told[0] if told else None)
    run = (assessment.run_of(worst) if worst else None) or next(
        r for r in assessment.scenarios if scenario in (None, r.name)
    )
    return subject_of_run(assessment, run, chosen=scenario is None and len(names) > 1)


def subject_of_run(assessment: Assessment, run: ScenarioResult, *, chosen: bool = False) -> Subject:
    """Return one run of an assessment as what a picture is of."""
    lineup = as_run(assessment.lineup, run)
    one = next(s for s in lineup.scenarios if s.name == run.name)
    own = findings_of(lineup, run)
    told = [f for f in own if f.subject in ("element", "place") and not f.beside]
    return Subject(
        assessment=assessment,
        lineup=lineup,
        scenario=one,
        run=run,
        work=plan(lineup, one),
        finding=weakest(told) or max(told, key=lambda f: f.load, default=None),
        verdict=worst_of([f.verdict for f in (*assessment.static, *own)]),
        chosen=chosen,
    )


def as_run(lineup: LineUp, run: ScenarioResult) -> LineUp:
    """Return the line-up with the figures that a run took of what is a range."""
    return at_figures(lineup, run.taken)


def unknown(kind: str, given: str, known: Iterable[str]) -> str:
    """Say that a name is not there, and which names were perhaps meant, or else which there are."""
    names = list(dict.fromkeys(known))
    near = set(likely(given, names))
    meant = [n for n in names if n in near]
    listed = ", ".join(f'"{n}"' for n in (meant or names)[:8])
    more = f" and {len(names) - 8} more" if not meant and len(names) > 8 else ""
    return f'"{given}": no such {kind}; {"did you mean" if meant else "there are"} {listed}{more}'

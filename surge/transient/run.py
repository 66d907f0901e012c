"""Run a scenario: steady flow, grid, marches, and the numerical error of every extreme.

Each scenario is marched at a step, at half of it (this is the one reported) and at twice the step; where
short elements were lumped, with each lump in two parts; where anything moves in no time, with lengths rounded
to whole steps. The differences are the error's parts, see :mod:`surge.transient.errors`.

Decisions
---------
* If the worst error is above the larger of ``RISE_TOLERANCE`` of the greatest rise and ``LEAST_TOLERANCE``,
  the step is halved again, as long as a march stays within the effort of its plan. If it is still above, the
  result says so.
* So it is where what comes at another time goes beyond the error of an extreme by more than ``FURTHER`` of
  what is allowed, unless the reported march could then not go on, see below. With half, four of 30 demo
  scenarios take a level more.
* Then the first march, which costs little beside those of the errors, looks ahead: to ``LOOK_AHEAD`` times as
  long. Where waves of two pipes beat in a line that hardly damps them, an extreme may come that late. If one
  rises by more than ``MUCH_LATER`` times the error allowed, and everything moves gradually, the run is made
  that long, up to ``MOST_TIMES`` its first duration.
* A run that had to end while an extreme still grew cannot be decided, unless the last third of its look ahead
  brings nothing new any more: then all that came is in the errors.
* If it has risen by more than ``WORTH_GOING_ON`` of the error allowed, the march that is reported goes
  on, to when the last of that came, unless that is more effort than its plan allows. It costs less than
  making all marches that long. What is left is in the error of that extreme, as its *late part*
  (:class:`surge.transient.errors.Late`).
* Behind a pump that has tripped, shut in with its non-return valve, the pressure falls on towards that of its
  suction, ever more slowly. No run goes on for that: what comes later there is in the error of that extreme.
* A search that asks for no more than a verdict says when the errors are small enough for it (:data:`Enough`):
  a finer step is for what comes near a limit. All marches that tell an error are made all the same. With a
  finer step the error may grow where anything moves in no time, and where a non-return valve slams. So no run
  ends early where anything moves in no time, or where the worst error is more than ``NEARLY`` times what is
  allowed, as it was in the slams that we tried. ``NEARLY`` is our own choice; :mod:`surge.search.judge` says
  what it was held against.
* Energy does not end the look ahead. It never grows once nothing moves: losses rise with the flow. But a
  bound of a pressure by what is left must take all of it in one place at one instant, and that excludes
  nothing useful: in the demo cases nine tenths of the amplitude of the little that a gentle stroke leaves are
  still there eight times later, without any new extreme.
* Beyond ``LOOK_AHEAD`` times nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Annotated

import numpy as np

from surge.arguments import Measure, checked
from surge.errors import GridError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.transient.errors import ErrorMarches, Late, Sample, Summary
from surge.transient.first_march import (
    LEAST_TOLERANCE,
    MOST_TIMES,
    NEW_EXTREME,
    RISE_TOLERANCE,
    first_march,
    growth,
    look_with_curves,
    started,
)
from surge.transient.march import Marched
from surge.transient.peaks import Key
from surge.transient.plan import Plan, first_duration, plan
from surge.transient.reaches import Reaches
from surge.transient.result import ScenarioResult, Vapour
from surge.transient.summary import summarise
from surge.workers import Progress, workers

MUCH_LATER = 4.0  # of the error allowed: growth in the look ahead that makes the run itself longer
LOOK_AHEAD = 5.0  # times its duration to which the first march goes on, to see what comes later
WORTH_GOING_ON = 0.25  # of the error allowed: growth in the look ahead after which the reported march goes on
NEARLY = 4.0  # times the error allowed: with more of it no run ends early
FURTHER = 0.5  # of the error allowed: what comes at another time asks for a finer step beyond it
COARSER = 2.0  # times the first step: the coarsest march that the error takes into account, where it can be

Told = Callable[[Key], tuple[float, float]]
"""The pressure of an extreme and its error so far [Pa]."""
Enough = Callable[[Told], bool]
"""Whether no finer step is wanted, as far as errors are told by now."""


def _ahead_and_first_level(
    work: Plan, told: Summary, duration: float
) -> tuple[_Levels, ErrorMarches, Summary, float, bool]:
    """Look ahead, and meanwhile make the first level; made once more where the run is to be longer.

    What comes of it is what comes of one after the other. An error of the first level counts only where the
    look ahead finds that it was made for the right time.
    """
    levels, compared = _Levels(work, duration, told), None
    failed: GridError | SolveError | None = None
    with workers(1) as pool:
        looking = pool.submit(_look_ahead, work, told, duration)
        try:
            compared = levels.compare()
        except (GridError, SolveError) as error:
            failed = error
        told, now, longer, calm = looking.result()
    if longer != duration:
        levels = _Levels(work, longer, told)
        compared = levels.compare()
    elif compared is None:
        assert failed is not None
        raise failed
    return levels, compared, now, longer, calm


def _look_ahead(work: Plan, told: Summary, duration: float) -> tuple[Summary, Summary, float, bool]:
    """Go on with a first march; what it told at its end, what it had later, and for how long to march [s].

    The last tells whether nothing new came in the last third. The march itself stands where the look ahead
    ended; the first summary is of the duration that is returned.
    """
    longest = MOST_TIMES * first_duration(work)
    marched = told.marched
    now = before = told
    allowed = told.tolerance(RISE_TOLERANCE, LEAST_TOLERANCE)
    until = duration
    while until < LOOK_AHEAD * duration:
        until = min(1.5 * until, LOOK_AHEAD * duration)
        marched.advance_to(until)
        before, now = now, Summary(work.lineup, marched)
        much = growth(work, told, now) > MUCH_LATER * allowed
        if much and until <= longest and not work.sudden:
            told, duration = now, until
            allowed = told.tolerance(RISE_TOLERANCE, LEAST_TOLERANCE)
    return told, now, duration, growth(work, before, now) <= NEW_EXTREME * allowed


def _late(work: Plan, told: Summary, now: Summary, least: float) -> Late:
    """What came later in the look ahead, and when the last that is more than ``least`` [Pa] came."""
    rise = told.later(now)
    end = now.marched.done * now.marched.grid.reaches.dt
    # Times inside elements are not kept in a first march.
    counting = (key for key, more in rise.items() if more > least and key[1] not in work.pockets)
    times = (now.found[key].time or end for key in counting)
    figures = {
        figure: now.figures[figure] - value
        for figure, value in told.figures.items()
        if figure[1] != "speed"  # which is told of the end of the run
    }
    return Late(dt=told.sample.dt, rise=rise, until=max(times, default=0.0), figures=figures)


def _march_for(work: Plan, reaches: Reaches, duration: float, summary: Summary | None = None) -> Marched:
    """March for a set time; with ``summary``, histories and probes where that has its inner extremes."""
    probes = summary.probe_shares() if summary else None
    marched = started(work, reaches, probes, history=summary is not None)
    marched.advance_to(duration)
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
    again = started(work, marched.grid.reaches)
    at_once = again.grid.net.point_floor >= again.point_lo
    if np.any(at_once):
        where = again.grid.points[int(np.argmax(at_once))]
        return Vapour(time=0.0, where=where, distance=None), again
    again.advance_to(duration, to_vapour=True)
    node, point = again.grid.net.found
    time = again.done * again.grid.reaches.dt
    if node < 0:
        return Vapour(time=time, where=again.grid.points[int(point)], distance=None), again
    for pipe, at in zip(work.lineup.pipes, again.grid.nodes, strict=True):
        if np.any(at == node):
            share = int(np.argmax(at == node)) / (at.size - 1)
            return Vapour(time=time, where=pipe.name, distance=share * pipe.length), again
    raise AssertionError(node)


AT_LEAST_ONE = Measure(least=1.0)


@checked
def simulate(
    lineup: LineUp,
    scenario: Scenario,
    *,
    quick: bool = False,
    unsteady_friction: bool = False,
    most_effort: Annotated[float | None, AT_LEAST_ONE] = None,
    progress: Progress | None = None,
) -> ScenarioResult:
    """Run one scenario and estimate the numerical error of every extreme.

    Parameters
    ----------
    lineup : LineUp
        As a case gives it, or checked by :func:`surge.model.validation.checked`; no length is a range.
    scenario : Scenario
        One of the line-up's, or another that moves its valves and pumps.
    quick : bool
        One march only, without error estimates: for scanning, never for a verdict.
    unsteady_friction : bool
        Friction that remembers changes of flow (:mod:`surge.hydraulics.weights`): late peaks are lower with
        it. What is told of vapour is as without it.
    most_effort : float, optional
        Effort of one march beyond which the step is not refined [-] (:mod:`surge.transient.effort`); by
        default as much as a case may take (:mod:`surge.transient.plan`). Less leaves a greater error, which
        is told.
    progress : callable, optional
        Called with a word at every march.

    Returns
    -------
    ScenarioResult
        ``elements`` and ``places`` with their highest and lowest pressures [Pa gauge] and the errors of these
        [Pa]; ``history`` and ``envelopes``; ``method``, how it was computed. Limits are not looked at:
        :func:`surge.check` does that.

    Raises
    ------
    CaseError
        The line-up cannot flow as the case says.
    GridError
        No grid within the bounds of the program can carry the line-up.
    SolveError
        A march could not be finished, or broke what every march must keep.

    Examples
    --------
    >>> import surge
    >>> lineup = surge.load_case("cases/gas-oil-release-coupling.toml").lineup
    >>> run = surge.simulate(lineup, lineup.scenarios[0])
    >>> hose = next(element for element in run.elements if element.name == "cargo hose")
    >>> round(hose.highest.pressure / 1e5, 1)  # from Pa to bar, gauge
    15.9
    >>> hose.highest.error < run.method.tolerance
    True
    """
    if quick:
        tell = progress or (lambda _: None)
        tell("first march")
        return look_with_curves(replace(plan(lineup, scenario), unsteady=unsteady_friction))
    return simulate_enough(
        lineup, scenario, unsteady_friction=unsteady_friction, most_effort=most_effort, progress=progress
    )


def simulate_enough(
    lineup: LineUp,
    scenario: Scenario,
    *,
    unsteady_friction: bool = False,
    most_effort: float | None = None,
    enough: Enough | None = None,
    progress: Progress | None = None,
) -> ScenarioResult:
    """Run one scenario as :func:`simulate`, but by no finer a step than what asks for it needs.

    Parameters
    ----------
    lineup, scenario, unsteady_friction, most_effort, progress
        As there.
    enough : callable, optional
        Ends the refinement where it finds the errors small enough, and they are not far from what a run aims
        at; without it they are brought down to that.

    Raises
    ------
    CaseError, GridError, SolveError
        As there.
    """
    work = replace(plan(lineup, scenario), unsteady=unsteady_friction)
    tell = progress or (lambda _: None)
    tell("first march")
    work, first, duration, ended = first_march(work)
    dt = first_dt = work.step()
    tell("look ahead")
    levels, compared, later, duration, calm = _ahead_and_first_level(work, first, duration)
    coarse = levels.coarsest
    ahead = LOOK_AHEAD * duration
    runs, bound = 1, min(work.most_effort, most_effort or work.most_effort)
    while True:
        fine = compared.fine
        runs += levels.made
        tolerance = fine.tolerance(RISE_TOLERANCE, LEAST_TOLERANCE)
        reaches = fine.marched.grid.reaches
        boiled = _boiling(work, fine.marched, duration)
        # Beyond boiling the pressures are not valid, and a finer step does not make them so: one more is for
        # those before it.
        if boiled and dt < first_dt:
            break
        late = _late(work, coarse, later, WORTH_GOING_ON * tolerance)
        on = duration if boiled else max(duration, late.until)
        further = compared.furthest > FURTHER * tolerance and 4 * work.effort(reaches, on) <= bound
        settled = compared.worst <= tolerance and not further
        if settled or 4 * work.effort(reaches, duration) > bound:
            break
        nearly = compared.worst <= NEARLY * tolerance and not (boiled or work.sudden)
        told = _told(compared, late, tolerance, wanted=on > duration)
        if enough is not None and nearly and enough(told):
            break
        dt = reaches.dt
        tell(f"step {dt:.2g} s")
        compared = levels.compare()
    wanted = late.until > duration
    part = {} if boiled else late.part(wanted=wanted)  # pressures after boiling are not valid anyway
    figures = {} if boiled else late.figure_part()
    spilled = late.spilled_later()
    if wanted and not boiled and work.effort(reaches, late.until) <= bound:
        tell("going on")
        duration = late.until + reaches.dt
        fine.marched.advance_to(duration)
        shorter, fine = fine, Summary(lineup, fine.marched)
        part = late.part_after(shorter.later(fine), reaches.dt)
        grown = {f: fine.figures[f] - shorter.figures[f] for f in fine.figures}
        figures, spilled = late.figure_part(grown), late.spilled_later(grown)
        boiled = _boiling(work, fine.marched, duration)
    return summarise(
        work,
        fine,
        compared,
        boiled,
        duration=duration,
        ahead=ahead,
        ended=ended or calm,
        tolerance=tolerance,
        runs=runs,
        late=part,
        late_figures=figures,
        spilled_later=spilled,
    )


def _told(compared: ErrorMarches, late: Late, tolerance: float, *, wanted: bool) -> Told:
    """What a level tells, as if the reported march did not go on: then the late part is the greater one."""
    part = late.part(wanted=wanted)

    def told(key: Key) -> tuple[float, float]:
        return compared.fine.found[key].pressure, compared.told(key, tolerance) + part.get(key, 0.0)

    return told


class _Levels:
    """Makes the marches that tell the error, next to those that are there; each level at half the step.

    Parameters
    ----------
    work : Plan
    duration : float
        [s]
    coarse : Summary
        Of the first march.

    Attributes
    ----------
    coarsest : Summary
        Of the first march.
    made : int
        Marches of the last level.
    """

    def __init__(self, work: Plan, duration: float, coarse: Summary) -> None:
        self.work, self.duration, self.coarse, self.coarsest = work, duration, coarse, coarse
        self.made = 0
        self.coarser: tuple[Sample, ...] = ()
        self.sharp: tuple[Sample, ...] = ()

    def compare(self) -> ErrorMarches:
        """March at half the step of the level before, and tell the errors."""
        work, coarse = self.work, self.coarse
        at = coarse.marched.grid.reaches
        reaches = work.divide(at.dt / 2)
        first = not self.coarser
        with workers(3) as pool:
            fine = pool.submit(self._run, reaches, coarse)
            twice = work.divide(min(COARSER * at.dt, work.coarsest))
            coarser = pool.submit(self._run, twice) if first else None
            # Lumps that the finer march has no more are not in its error.
            lumps = pool.submit(self._run, replace(at, parts=2)) if 0 in reaches.count else None
            steps = [at.dt / 2, at.dt] if first else [at.dt / 2]
            whole = [r for dt in steps for r in work.rounded(dt)] if work.sudden else []
            sharp = [pool.submit(self._run, r) for r in whole]
        self.made = 1 + (coarser is not None) + (lumps is not None) + len(sharp)
        if coarser:
            self.coarser = (coarser.result().sample,)
        compared = ErrorMarches(
            fine=fine.result(),
            coarser=(coarse.sample, *self.coarser),
            lumping=lumps.result().sample if lumps else None,
            sharp=(*(one.result().sample for one in sharp), *self.sharp)[:4],
        )
        self.coarser, self.coarse, self.sharp = compared.coarser, compared.fine, compared.sharp
        return compared

    def _run(self, reaches: Reaches, look: Summary | None = None) -> Summary:
        return Summary(self.work.lineup, _march_for(self.work, reaches, self.duration, look))

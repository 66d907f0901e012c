"""Many variants of a scenario, each as its margin to the nearest limit: to search by, not to judge.

Decisions
---------
* All strokes of an octave are marched on one grid, each for the duration of a first march, and on while its
  nearest limits still come nearer.
* Where the shortest of an octave is ``SLOW`` pipeline periods or more, the rules for the step are eased
  ``COARSER`` times: on all demo cases that promised at most 0.012 bar more than half a step did, less than
  the margin that a search asks for at first. With shorter strokes it could be 0.5 bar, so there they are not.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Generic, Protocol, TypeVar

from surge.errors import CaseError, SolveError
from surge.kernel.columns import OK
from surge.model.lineup import LineUp, Scenario
from surge.rules.limits import LimitedExtreme, held_limits
from surge.transient.batch import march_batch
from surge.transient.batch_lane import Lane, LaneResult
from surge.transient.first_march import LEAST_TOLERANCE, MOST_TIMES, NEW_EXTREME
from surge.transient.grid import Grid, build_grid
from surge.transient.peaks import Peaks
from surge.transient.plan import Plan, eased, first_duration, moved_otherwise, plan
from surge.transient.reaches import Reaches
from surge.workers import Progress

SLOW, COARSER = 3.0, 4.0  # pipeline periods; times: where each has its value from stands above
GRIDS_KEPT = 4  # of a scanner: the strokes of one octave share one
ABOUT = 2e4  # [Pa] limits that are kept by this much more than the nearest may become the nearest


Begins = tuple[int, tuple[tuple[str, float], ...]]


def _begins(p: Plan) -> Begins:
    """What plans that share a grid have in common: the first flow, and when pumps trip."""
    return id(p.steady), tuple(sorted(p.laws.trips.items()))


@dataclass(frozen=True, kw_only=True)
class NearestLimit:
    """The limit that a march comes nearest to, and by how much it is kept [Pa]; negative beyond it."""

    margin: float
    held: LimitedExtreme


N = TypeVar("N", bound=NearestLimit)
Sight = TypeVar("Sight", bound=NearestLimit, covariant=True)


class Judge(Protocol[Sight]):
    """Looks at a march."""

    def __call__(self, held: Sequence[LimitedExtreme], peaks: Peaks | None) -> Sight:
        """Tell how near the march comes to its limits; None: it failed, which is unsafe."""


def see_nearest(held: Sequence[LimitedExtreme], peaks: Peaks | None) -> NearestLimit:
    """The nearest limit."""
    return NearestLimit(margin=-math.inf, held=held[0]) if peaks is None else nearest(held, peaks)


class VariantMarches(Generic[N]):
    """Marches plans of one scenario, or of several of the same line-up, until nothing new comes.

    Parameters
    ----------
    lineup : LineUp
        Checked; every length a single one.
    eye : Judge
        What is told of each march.
    settled : float
        What comes below this margin [Pa] stays unsafe however long it goes on: it is left at that.
    limits : sequence of LimitedExtreme, optional
        What is held; by default the limits of the line-up alone, without a book of rules.
    progress : callable, optional
        Called with a word as work goes on.
    """

    def __init__(
        self,
        lineup: LineUp,
        eye: Judge[N],
        *,
        settled: float = -math.inf,
        limits: Sequence[LimitedExtreme] | None = None,
        progress: Progress | None = None,
    ) -> None:
        self.lineup, self.eye, self.settled, self.progress = lineup, eye, settled, progress
        self.held = tuple(limits) if limits is not None else held_limits(lineup)
        self.marches = 0
        self.grids: deque[tuple[Plan, Grid]] = deque(maxlen=GRIDS_KEPT)
        self.steps: dict[tuple[float, ...], float] = {}

    def look(self, plans: Sequence[Plan]) -> list[N]:
        """What is seen of every plan; those that take the same step are marched together.

        Raises
        ------
        GridError
        """
        groups: dict[float, list[int]] = {}
        for i, p in enumerate(plans):
            groups.setdefault(self.step_of(p), []).append(i)
        found: dict[int, N] = {}
        for dt, members in groups.items():
            found.update(zip(members, self._one_grid([plans[i] for i in members], dt), strict=True))
        return [found[i] for i in range(len(plans))]

    def step_of(self, p: Plan) -> float:
        """The step of a plan [s]; strokes of one octave take the same, that of the shortest of them."""
        stroke = 2.0 ** math.floor(math.log2(p.stroke)) if math.isfinite(p.stroke) else p.stroke
        # Of the time too only the octave: the step must not depend on which plan of it is asked for first.
        duration = 2.0 ** math.ceil(math.log2(first_duration(p)))
        key = (p.period, p.way, stroke, duration)
        if key not in self.steps:
            work = eased(replace(p, stroke=stroke), duration)
            slow = not p.sudden and stroke >= SLOW * p.period
            self.steps[key] = replace(work, ease=max(work.ease, COARSER if slow else 1.0)).step()
        return self.steps[key]

    def _one_grid(self, plans: Sequence[Plan], dt: float) -> list[N]:
        reaches = plans[0].divide(dt)
        lanes, grids = [], dict[Begins, Grid]()
        for p in plans:
            if (key := _begins(p)) not in grids:
                grids[key] = self._grid(p, reaches)
            steps = math.ceil(first_duration(p) / dt)
            lanes.append(Lane(grid=grids[key], steps=steps, laws=p.laws))
        return self._to_the_end(lanes)

    def _grid(self, p: Plan, reaches: Reaches) -> Grid:
        """The grid of a plan, once for what begins alike; the last few are kept."""
        for own, made in self.grids:
            if _begins(own) == _begins(p) and made.reaches == reaches:
                return made
        made = build_grid(p.lineup, p.steady, reaches=reaches, laws=p.laws, tables=p.tables, probes=None)
        self.grids.append((p, made))  # the plan too: while its flow is kept, no other has its address
        return made

    def _to_the_end(self, lanes: list[Lane]) -> list[N]:
        """March lanes, and on those whose nearest limits still come nearer when they end.

        As a single run goes on while a new extreme appears in its last third; what has not ended at the
        stated maximum counts as unsafe.
        """
        first = [lane.steps for lane in lanes]
        results = list(self._march(lanes))
        seen = [self._see(r) for r in results]
        found = [one for one, _ in seen]
        late = [i for i, (_, is_late) in enumerate(seen) if is_late]
        while late:
            for i in late:
                steps = math.ceil(1.5 * lanes[i].steps)
                lanes[i] = replace(lanes[i], steps=steps, further=results[i].halted)
            still = []
            for i, result in zip(late, self._march([lanes[i] for i in late]), strict=True):
                before, (found[i], is_late), results[i] = found[i].margin, self._see(result), result
                if before - found[i].margin <= NEW_EXTREME * LEAST_TOLERANCE or not is_late:
                    continue
                if 1.5 * lanes[i].steps > MOST_TIMES * first[i]:
                    found[i] = replace(found[i], margin=-math.inf)
                else:
                    still.append(i)
            late = still
        return found

    def _march(self, lanes: Sequence[Lane]) -> tuple[LaneResult, ...]:
        self.marches += len(lanes)
        results = march_batch(lanes, frozen=self.lineup.frozen_friction, watch="envelope")
        if self.progress:
            self.progress(f"{self.marches} strokes looked at")
        return results

    def _see(self, result: LaneResult) -> tuple[N, bool]:
        """What is seen, and whether an extreme about as near as the nearest falls in the last third."""
        if result.status != OK:
            return self.eye(self.held, None), False
        peaks = Peaks(self.lineup, result)
        one = self.eye(self.held, peaks)
        if one.margin < self.settled:
            return one, False
        end = result.done * result.grid.reaches.dt * 2 / 3
        late = any(
            peaks.found[h.key].time > end and h.margin(peaks.found[h.key].pressure) < one.margin + ABOUT
            for h in self.held
        )
        return one, late and (result.before is None or self._nearer(result.before, one))

    def _nearer(self, before: LaneResult, one: N) -> bool:
        """Whether a march came nearer to its limits in its last third, by more than a single run minds."""
        earlier = self.eye(self.held, Peaks(self.lineup, before))
        return earlier.margin - one.margin > NEW_EXTREME * LEAST_TOLERANCE


def plan_at(lineup: LineUp, scenario: Scenario, rate: float) -> Plan | None:
    """A scenario at another rate [m3/s]; None where the line-up cannot be held to it.

    Neither to more than the pump gives, nor to less than flows by itself.
    """
    try:
        return plan(lineup, replace(scenario, rate=rate))
    except (CaseError, SolveError):
        return None


class Scanner:
    """Variants of one scenario.

    Parameters
    ----------
    lineup : LineUp
        Checked; every length a single one.
    scenario : Scenario
        Variants that differ in how things move share its steady flow.
    limits : sequence of LimitedExtreme, optional
        As for :class:`VariantMarches`.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, SolveError
        As :func:`surge.transient.plan.plan`.
    """

    def __init__(
        self,
        lineup: LineUp,
        scenario: Scenario,
        *,
        limits: Sequence[LimitedExtreme] | None = None,
        progress: Progress | None = None,
    ) -> None:
        self.lineup = lineup
        self.base = plan(lineup, scenario)
        self.marches = VariantMarches(lineup, see_nearest, limits=limits, progress=progress)

    def moved(self, scenarios: Sequence[Scenario]) -> list[NearestLimit]:
        """Margins of scenarios that differ from the first in movements only."""
        return self.marches.look([moved_otherwise(self.base, s) for s in scenarios])

    def at_rates(self, rates: Sequence[float]) -> list[NearestLimit]:
        """Margins of the scenario at other rates [m3/s]; minus infinity where one cannot be reached."""
        plans = [self._at_rate(rate) for rate in rates]
        found = iter(self.marches.look([p for p in plans if p is not None]))
        none = NearestLimit(margin=-math.inf, held=self.marches.held[0])
        return [none if p is None else next(found) for p in plans]

    def _at_rate(self, rate: float) -> Plan | None:
        return plan_at(self.lineup, self.base.scenario, rate)


def nearest(held: Iterable[LimitedExtreme], peaks: Peaks) -> NearestLimit:
    """Return the limit that is nearest in one march."""
    margins = ((h.margin(peaks.found[h.key].pressure), h) for h in held)
    margin, which = min(margins, key=lambda pair: pair[0])
    return NearestLimit(margin=margin, held=which)

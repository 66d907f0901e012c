"""Many variants of a scenario, each as its margin to the nearest limit: to search by, not to judge."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from surge.batch import LaneResult, march_batch
from surge.batch_block import Lane
from surge.boundaries import OK
from surge.errors import CaseError, SolveError
from surge.grid import build_grid
from surge.lineup import LineUp, Scenario
from surge.margins import Near, held_limits, nearest
from surge.peaks import Peaks
from surge.reaches import choose_step, divide
from surge.run import (
    LEAST_TOLERANCE,
    MOST_TIMES,
    NEW_EXTREME,
    Plan,
    first_duration,
    moved_otherwise,
    plan,
)

ABOUT = 2e4  # [Pa] limits that are kept by this much more than the nearest may become the nearest


class Scanner:
    """Marches variants of one scenario.

    Parameters
    ----------
    lineup : LineUp
        Checked; every length a single one.
    scenario : Scenario
        Variants that differ in how things move share its steady flow.
    tell : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, SolveError
        As :func:`surge.run.plan`.
    """

    def __init__(
        self, lineup: LineUp, scenario: Scenario, *, tell: Callable[[str], None] | None = None
    ) -> None:
        self.lineup = lineup
        self.base = plan(lineup, scenario)
        self.held = held_limits(lineup)
        self.tell = tell
        self.marches = 0
        self.steps: dict[tuple[float, float], float] = {}

    def moved(self, scenarios: Sequence[Scenario]) -> list[Near]:
        """Margins of scenarios that differ from the first in movements only."""
        return self._margins([moved_otherwise(self.base, s) for s in scenarios])

    def at_rates(self, rates: Sequence[float]) -> list[Near]:
        """Margins of the scenario at other rates [m3/s]; minus infinity where one cannot be reached."""
        plans: list[Plan | None] = []
        for rate in rates:
            try:
                plans.append(plan(self.lineup, replace(self.base.scenario, rate=rate)))
            except (CaseError, SolveError):
                plans.append(None)
        found = iter(self._margins([p for p in plans if p is not None]))
        none = Near(margin=-math.inf, held=self.held[0])
        return [none if p is None else next(found) for p in plans]

    def _margins(self, plans: Sequence[Plan]) -> list[Near]:
        """March plans that take the same step together."""
        groups: dict[float, list[int]] = {}
        for i, p in enumerate(plans):
            groups.setdefault(self._step(p), []).append(i)
        found: dict[int, Near] = {}
        for dt, members in groups.items():
            found.update(zip(members, self._one_grid([plans[i] for i in members], dt), strict=True))
        return [found[i] for i in range(len(plans))]

    def _step(self, p: Plan) -> float:
        """The step of a plan [s]; strokes of one octave take the same, that of the shortest of them."""
        stroke = 2.0 ** math.floor(math.log2(p.stroke)) if math.isfinite(p.stroke) else p.stroke
        key = (p.period, stroke)
        if key not in self.steps:
            self.steps[key] = choose_step(p.times, period=p.period, stroke=stroke)
        return self.steps[key]

    def _one_grid(self, plans: Sequence[Plan], dt: float) -> list[Near]:
        reaches = divide(plans[0].times, dt)
        grids = {}
        lanes = []
        for p in plans:
            key = id(p.steady)
            if key not in grids:
                grids[key] = build_grid(
                    p.lineup, p.steady, reaches=reaches, laws=p.laws, tables=p.tables, probes=None
                )
            steps = math.ceil(first_duration(p) / dt)
            lanes.append(Lane(grid=grids[key], steps=steps, laws=p.laws))
        return self._to_the_end(lanes)

    def _to_the_end(self, lanes: list[Lane]) -> list[Near]:
        """March lanes, and on those whose nearest limits still come nearer when they end.

        As a single run goes on while a new extreme appears in its last third; what has not ended at the
        stated maximum counts as unsafe.
        """
        first = [lane.steps for lane in lanes]
        results = self._march(lanes)
        near = [self._near(r) for r in results]
        late = [i for i, r in enumerate(results) if self._late(r, near[i])]
        while late:
            for i in late:
                lanes[i] = replace(lanes[i], steps=math.ceil(1.5 * lanes[i].steps))
            still = []
            for i, result in zip(late, self._march([lanes[i] for i in late]), strict=True):
                before, near[i] = near[i].margin, self._near(result)
                if before - near[i].margin <= NEW_EXTREME * LEAST_TOLERANCE or not self._late(
                    result, near[i]
                ):
                    continue
                if 1.5 * lanes[i].steps > MOST_TIMES * first[i]:
                    near[i] = replace(near[i], margin=-math.inf)
                else:
                    still.append(i)
            late = still
        return near

    def _march(self, lanes: Sequence[Lane]) -> tuple[LaneResult, ...]:
        self.marches += len(lanes)
        results = march_batch(lanes, frozen=self.lineup.frozen_friction, watch="envelope")
        if self.tell:
            self.tell(f"{self.marches} strokes looked at")
        return results

    def _near(self, result: LaneResult) -> Near:
        if result.status != OK:
            return Near(margin=-math.inf, held=self.held[0])
        return nearest(self.held, Peaks(self.lineup, result))

    def _late(self, result: LaneResult, near: Near) -> bool:
        """Whether an extreme that is about as near to its limit as the nearest falls in the last third."""
        if result.status != OK:
            return False
        found = Peaks(self.lineup, result).found
        end = result.done * result.grid.reaches.dt * 2 / 3
        return any(
            found[h.key].time > end and h.margin(found[h.key].pressure) < near.margin + ABOUT
            for h in self.held
        )

"""The default run against the same march five times as long, and against one that is finer too. [Pa]"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.model.lineup import LineUp, Scenario
from surge.transient.grid import build_grid
from surge.transient.march import Marched
from surge.transient.plan import plan
from surge.transient.reaches import divide
from surge.transient.result import ScenarioResult
from surge.transient.summary import Summary

TIMES = 5.0  # so many times the duration of the default run


@dataclass(frozen=True, kw_only=True)
class Later:
    """An extreme that a longer march finds beyond the one that was told.

    Attributes
    ----------
    beyond, error : float
        By how much it lies beyond, and the error that was told.
    told_at, found_at : float
        When the default run and the longer one had it [s].
    rise : float
        Greatest rise of the line-up.
    """

    seed: int
    what: str
    beyond: float
    error: float
    told_at: float
    found_at: float
    duration: float
    rise: float

    @property
    def missed(self) -> bool:
        return self.beyond > self.error

    def __str__(self) -> str:
        return (
            f"seed {self.seed} {self.what}: {self.beyond:.0f} Pa beyond, error {self.error:.0f}, rise "
            f"{self.rise:.0f}; told at {self.told_at:.1f} s, found at {self.found_at:.1f} s, run of "
            f"{self.duration:.1f} s"
        )


def longer(
    seed: int,
    lineup: LineUp,
    scenario: Scenario,
    result: ScenarioResult,
    *,
    times: float = TIMES,
    finer: int = 1,
    most: float = 4e9,
) -> list[Later] | None:
    """Every extreme of every element and place against a march that is longer; None beyond ``most`` work."""
    work = plan(lineup, scenario)
    dt, duration = result.method.dt / finer, times * result.method.duration
    reaches = divide(work.times, dt)
    if reaches.nodes * duration / dt > most:
        return None
    grid = build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    marched = Marched(grid=grid, frozen=lineup.frozen_friction, stride=10**6)
    marched.advance(int(np.ceil(duration / dt)))
    summary = Summary(lineup, marched)
    found = []
    for what, items in (("element", result.elements), ("place", result.places)):
        for item in items:
            for way, told in (("high", item.highest), ("low", item.lowest)):
                one = summary.found[what, item.name, way]
                beyond = one.pressure - told.pressure
                found.append(
                    Later(
                        seed=seed,
                        what=f"{what} {item.name} {way}",
                        beyond=beyond if way == "high" else -beyond,
                        error=told.error,
                        told_at=told.time,
                        found_at=one.time,
                        duration=result.method.duration,
                        rise=summary.greatest_rise,
                    )
                )
    return found

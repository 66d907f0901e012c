"""The default run against better ones: its own march at a part of the step or longer, and the slow solver.

Used by the hunt (``tests/benchmarks/hunt.py``) and by its seeded part (``test_hunt.py``). Pressures [Pa].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from support.lineups.networks import slow_can
from support.oracles import independent_solver as slow
from support.oracles.missed import Missed
from surge.model.lineup import LineUp, Scenario, Table
from surge.model.stroke import has_steps
from surge.transient.errors import Summary
from surge.transient.grid import build_grid
from surge.transient.march import Marched
from surge.transient.plan import plan
from surge.transient.result import Extreme, ScenarioResult

MOST_EFFORT = 3e9  # of the finer march; beyond it a larger part of the step is taken
MOST_SLOW_STEPS = 120_000  # of the slow solver's finer run
# Of the greatest swing: what the slow solver cannot tell, and its own change beyond which it proves nothing.
SLOW_SETTLED = 0.002
STILL_STEPS = 50  # of the slow solver, in which nothing moves
LEAST_RISE = 1e4  # [Pa] differences are told as shares of the rise, but of no smaller one


def marched(
    lineup: LineUp, scenario: Scenario, dt: float, duration: float, most: float = MOST_EFFORT
) -> Summary | None:
    """One march at ``dt`` [s] for ``duration`` [s]; None where that is more effort than ``most``."""
    work = plan(lineup, scenario)
    reaches = work.divide(dt)
    if work.effort(reaches, duration) > most:
        return None
    grid = build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    march = Marched(grid=grid, frozen=lineup.frozen_friction, stride=10**6)
    march.advance_to(duration)
    return Summary(lineup, march)


@dataclass(frozen=True, kw_only=True)
class Default:
    """A generated line-up and the run of it that is held against better ones."""

    seed: int
    lineup: LineUp
    scenario: Scenario
    result: ScenarioResult

    @property
    def sudden(self) -> bool:
        """Whether anything moves in no time."""
        return has_steps(tuple(m.law for m in (*self.scenario.moves, *self.scenario.pump_moves)))

    def missed(
        self, what: str, extreme: Extreme, exact: float, *, against: str, rise: float, slack: float = 0.0
    ) -> Missed:
        """One extreme against the pressure that a better run has, ``exact``; all [Pa]."""
        high = what.endswith("high")
        return Missed(
            seed=self.seed,
            kind=self.scenario.name,
            against=against,
            what=what,
            high=high,
            unsafe=exact - extreme.pressure if high else extreme.pressure - exact,
            error=extreme.error,
            slack=slack,
            parts=(extreme.step_part, extreme.lumping_part),
            rise=rise,
            settled=self.result.method.worst_error <= self.result.method.tolerance,
            sudden=self.sudden,
            time=extreme.time,
        )


def against_finer(run: Default, share: int = 8, *, most: float = MOST_EFFORT) -> list[Missed] | None:
    """Every extreme against the march at a ``share`` of the step, or at a half or fourth of that share."""
    method = run.result.method
    for taken in (share, share // 2, share // 4):
        if taken < 2:
            break
        fine = marched(run.lineup, run.scenario, method.dt / taken, method.duration, most)
        if fine is not None:
            return _against(run, fine, f"step/{taken}")
    return None


def against_longer(run: Default, share: int = 1, *, most: float = MOST_EFFORT) -> list[Missed] | None:
    """Every extreme against a march to the end of the look ahead, at a ``share`` of the step: only beyond."""
    method = run.result.method
    longer = marched(run.lineup, run.scenario, method.dt / share, method.ahead, most)
    if longer is None:
        return None
    return [replace(m, unsafe=max(m.unsafe, 0.0)) for m in _against(run, longer, f"long/{share}")]


def _against(run: Default, better: Summary, against: str) -> list[Missed]:
    """Every extreme of every element and place."""
    rise = max(better.greatest_rise, LEAST_RISE)
    found = []
    for what, items in (("element", run.result.elements), ("place", run.result.places)):
        for item in items:
            for way, extreme in (("high", item.highest), ("low", item.lowest)):
                exact = better.found[what, item.name, way].pressure
                where = f"{what} {item.name} {way}"
                found.append(run.missed(where, extreme, exact, against=against, rise=rise))
    return found


def _opening(law: Table, start: float) -> Callable[[float], float]:
    t, x = zip(*law, strict=True)
    return lambda time: float(np.interp(time - start, t, x))


def slow_extremes(
    lineup: LineUp, scenario: Scenario, duration: float, cells: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Steady, highest and lowest heads at the points by the slow solver; None beyond its means."""
    shut = dict.fromkeys(scenario.shut_at_start, 0.0)
    initial = slow.steady(lineup, opening=shut)
    march = slow.March(
        lineup,
        initial,
        cells=cells,
        least=2,
        opening={m.valve: _opening(m.law, m.start) for m in scenario.moves},
        speed={m.pump: _opening(m.law, m.start) for m in scenario.pump_moves},
    )
    if duration / march.dt > MOST_SLOW_STEPS:
        return None
    high, low = march.run(duration)
    return np.array([initial.head[p.name] for p in lineup.points]), high, low


def slow_strays(lineup: LineUp, scenario: Scenario, cells: int) -> float:
    """How far the slow solver strays from its own steady flow while nothing moves [m].

    In an element of two segments that loses much head it does, however many segments the longest pipe has.
    """
    shut = dict.fromkeys(scenario.shut_at_start, 0.0)
    stay: dict[str, Any] = {valve: lambda _: 0.0 for valve in shut}
    march = slow.March(lineup, slow.steady(lineup, opening=shut), cells=cells, least=2, opening=stay)
    start = march.head.copy()
    march.run(STILL_STEPS * march.dt)
    return float(np.max(np.abs(march.head - start)))


def against_slow(run: Default, cells: int = 150) -> list[Missed] | None:
    """Every place against the slow solver, whose own error is the change from half its segments.

    None where it is of no use: something moves in no time (it smears fronts), a point without a pipe or tank
    or with two links, too many steps, no steady flow found, or a change from half its segments, or of its own
    steady flow, above 0.2 % of the greatest swing.
    """
    lineup, scenario, result = run.lineup, run.scenario, run.result
    if run.sudden or not slow_can(lineup):
        return None
    duration = min(result.method.duration, result.last_event + 20.0)
    try:
        fine = slow_extremes(lineup, scenario, duration, 2 * cells)
    except (AssertionError, ValueError):  # its root finder gave up: counted by the caller
        return None
    if fine is None:
        return None
    coarse = slow_extremes(lineup, scenario, duration, cells)
    rho_g = lineup.liquid.density * lineup.gravity
    rise = max(rho_g * float(np.max(fine[1] - fine[0])), LEAST_RISE)
    swing = rho_g * float(np.max(fine[1] - fine[2]))
    if rho_g * max(float(np.max(np.abs(fine[k] - coarse[k]))) for k in (1, 2)) > SLOW_SETTLED * swing:
        return None
    if rho_g * slow_strays(lineup, scenario, cells) > SLOW_SETTLED * swing:
        return None
    found = []
    for i, place in enumerate(result.places):
        z = rho_g * next(p.elevation for p in lineup.points if p.name == place.name)
        for way, k, extreme in (("high", 1, place.highest), ("low", 2, place.lowest)):
            if extreme.time > duration:
                continue  # the slow run ended before
            exact = rho_g * fine[k][i] - z
            slack = max(rho_g * abs(fine[k][i] - coarse[k][i]), SLOW_SETTLED * swing)
            what = f"place {place.name} {way}"
            found.append(run.missed(what, extreme, exact, against="slow", rise=rise, slack=slack))
    return found

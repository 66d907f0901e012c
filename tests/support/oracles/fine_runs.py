"""The default run against better ones: its own march at a fraction of the step, and the slow solver.

Used by the hunt (``tests/benchmarks/hunt.py``) and by its seeded part (``test_hunt.py``). Pressures [Pa].
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from support.lineups.networks import slow_can
from support.oracles import independent_solver as slow
from surge.model.lineup import LineUp, Scenario, Table
from surge.transient.grid import build_grid
from surge.transient.march import Marched
from surge.transient.plan import plan
from surge.transient.reaches import divide
from surge.transient.result import ScenarioResult
from surge.transient.summary import Summary

MOST_WORK = 2.5e9  # nodes times steps of the finer march; beyond it a fourth, or half, of the step is taken
MOST_SLOW_STEPS = 120_000  # of the slow solver's finer run
SLOW_SETTLED = 0.002  # of the rise: the slow solver's own change, beyond which it proves nothing
SHARE = 0.01  # of the rise: no peak may be further below the better figure
LEAST = 2000.0  # [Pa] or than the accuracy that the program aims at for small rises, where that is more
COVERED = 0.99  # share of the extremes that must lie within their reported error


@dataclass(frozen=True, kw_only=True)
class Missed:
    """One extreme against a better figure.

    Attributes
    ----------
    unsafe : float
        By how much the reported figure is on the unsafe side; negative on the safe side.
    error : float
        What the run reports as its numerical error.
    slack : float
        Error of the better figure itself, as far as it is known (0 for the finer march).
    rise : float
        Greatest rise of the line-up.
    """

    seed: int
    kind: str
    against: str
    what: str
    high: bool
    unsafe: float
    error: float
    slack: float
    parts: tuple[float, float, float]
    rise: float
    settled: bool
    sudden: bool
    time: float

    @property
    def outside(self) -> bool:
        return abs(self.unsafe) > self.error + self.slack

    @property
    def share(self) -> float:
        """What is certainly missed on the unsafe side, of the rise."""
        return (self.unsafe - self.slack) / self.rise

    @property
    def breach(self) -> bool:
        """A peak too low by more than the stated share of the rise, and by more than the least accuracy."""
        return self.high and self.share > SHARE and self.unsafe - self.slack > LEAST

    @property
    def of_error(self) -> float:
        """Difference over the reported error."""
        return max(abs(self.unsafe) - self.slack, 0.0) / self.error


def finer(
    lineup: LineUp, scenario: Scenario, dt: float, duration: float, share: int, most: float
) -> tuple[Summary | None, int]:
    """The same run at a share of ``dt`` [s], a smaller share if that is too much work; None beyond half."""
    work = plan(lineup, scenario)
    while divide(work.times, dt / share).nodes * duration / dt * share > most and share > 1:
        share //= 2
    if share < 2:
        return None, share
    dt /= share
    reaches = divide(work.times, dt)
    grid = build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    marched = Marched(grid=grid, frozen=lineup.frozen_friction, stride=10**6)
    marched.advance(int(np.ceil(duration / dt)))
    return Summary(lineup, marched), share


def is_sudden(scenario: Scenario) -> bool:
    """Whether anything moves in no time."""
    laws = [m.law for m in (*scenario.moves, *scenario.pump_moves)]
    return any(t0 == t1 and a != b for law in laws for (t0, a), (t1, b) in zip(law, law[1:], strict=False))


def against_finer(
    seed: int,
    lineup: LineUp,
    scenario: Scenario,
    result: ScenarioResult,
    share: int = 8,
    most: float = MOST_WORK,
) -> list[Missed] | None:
    """Every extreme of every element and place against the march at a ``share`` of the step."""
    fine, taken = finer(lineup, scenario, result.method.dt, result.method.duration, share, most)
    if fine is None:
        return None
    rise = max(fine.greatest_rise, 1e4)
    items = [("element", e) for e in result.elements] + [("place", p) for p in result.places]
    found = []
    for what, item in items:
        for way, extreme in (("high", item.highest), ("low", item.lowest)):
            exact = fine.found[what, item.name, way].pressure
            unsafe = exact - extreme.pressure if way == "high" else extreme.pressure - exact
            found.append(
                _missed(
                    seed,
                    f"step/{taken}",
                    f"{what} {item.name} {way}",
                    unsafe,
                    0.0,
                    rise,
                    extreme,
                    result,
                    scenario,
                )
            )
    return found


def _missed(seed, against, what, unsafe, slack, rise, extreme, result, scenario) -> Missed:
    return Missed(
        seed=seed,
        kind=scenario.name,
        against=against,
        what=what,
        high=what.endswith("high"),
        unsafe=unsafe,
        error=extreme.error,
        slack=slack,
        parts=(extreme.step_part, extreme.misfit_part, extreme.lumping_part),
        rise=rise,
        settled=result.method.worst_error <= result.method.tolerance,
        sudden=is_sudden(scenario),
        time=extreme.time,
    )


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


def against_slow(
    seed: int, lineup: LineUp, scenario: Scenario, result: ScenarioResult, cells: int = 150
) -> list[Missed] | None:
    """Every place against the slow solver, whose own error is the change from half its segments.

    None where it is of no use: something moves in no time (it smears fronts), a point without a pipe or tank
    or with two links, too many steps, no steady flow found, or a change from half its segments above 0.2 % of
    the rise.
    """
    if is_sudden(scenario) or not slow_can(lineup):
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
    rise = max(rho_g * float(np.max(fine[1] - fine[0])), 1e4)
    if rho_g * max(float(np.max(np.abs(fine[k] - coarse[k]))) for k in (1, 2)) > SLOW_SETTLED * rise:
        return None
    found = []
    for i, place in enumerate(result.places):
        z = rho_g * next(p.elevation for p in lineup.points if p.name == place.name)
        for way, k, extreme in (("high", 1, place.highest), ("low", 2, place.lowest)):
            if extreme.time > duration:
                continue  # the slow run ended before
            exact = rho_g * fine[k][i] - z
            unsafe = exact - extreme.pressure if way == "high" else extreme.pressure - exact
            slack = rho_g * abs(fine[k][i] - coarse[k][i])
            found.append(
                _missed(
                    seed, "slow", f"place {place.name} {way}", unsafe, slack, rise, extreme, result, scenario
                )
            )
    return found


# The distribution


def table_of(found: Iterable[Missed]) -> list[str]:
    """Quantiles of what was found, group by group, as lines."""
    found = list(found)
    head = (
        f"{'group':34s} {'line-ups':>8s} {'extremes':>8s} {'covered':>8s} {'breaches':>8s}   "
        "peak too low, % of rise: 50 / 95 / 99 / max     difference / error: 50 / 95 / 99 / max"
    )
    lines = [head]
    for name, group in _groups(found):
        if not group:
            continue
        share = 100 * np.array([m.share for m in group if m.high])
        ratio = np.array([m.of_error for m in group])
        lines.append(
            f"{name:34s} {len({m.seed for m in group}):8d} {len(group):8d} "
            f"{100 * covered(group):7.2f}% {sum(m.breach for m in group):8d}   "
            + " / ".join(f"{v:8.4f}" for v in np.percentile(share, (50, 95, 99, 100)))
            + "     "
            + " / ".join(f"{v:6.3f}" for v in np.percentile(ratio, (50, 95, 99, 100)))
        )
    return lines


def _groups(found: list[Missed]) -> list[tuple[str, list[Missed]]]:
    groups = []
    for against in ("step", "slow"):
        mine = [m for m in found if m.against.startswith(against)]
        groups.append((f"{against}: all", mine))
        groups += [(w, [m for m in mine if m.against == w]) for w in ("step/8", "step/4", "step/2")]
        for sudden in (False, True):
            for settled in (True, False):
                words = ("sudden" if sudden else "gradual") + (", settled" if settled else ", not settled")
                part = [m for m in mine if m.sudden == sudden and m.settled == settled]
                groups.append((f"{against}: {words}", part))
        groups += [
            (f"{against}: {kind}", [m for m in mine if m.kind == kind])
            for kind in sorted({m.kind for m in mine})
        ]
    return groups


def line_of(m: Missed) -> str:
    """One extreme in words."""
    step, misfit, lump = m.parts
    return (
        f"  seed {m.seed:6d} {m.kind:10s} {m.against:5s} {m.what:30s} at {m.time:7.3f} s: "
        f"{100 * m.share:8.4f} % of rise {m.rise / 1e5:7.3f} bar unsafe; {m.unsafe:10.1f} Pa, "
        f"error {m.error:9.1f} (step {step:.1f}, misfit {misfit:.1f}, lump {lump:.1f})"
        f"{f', own error {m.slack:.1f}' if m.slack else ''}{'' if m.settled else ', not settled'}"
        f"{', sudden' if m.sudden else ''}"
    )


def covered(found: list[Missed]) -> float:
    """Share of the extremes that lie within their error."""
    return sum(not m.outside for m in found) / len(found) if found else math.nan

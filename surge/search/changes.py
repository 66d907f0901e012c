"""Changes that may make a case keep what it does not keep, each as one figure.

Decisions
---------
* The movements of a shutdown are the same at every stage: a change of them is made at all of them. A rate is
  agreed for a stage: a change of it is made in every scenario that has this rate.
* In a shutdown a step begins later by waiting longer; steps that come after it begin later with it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from surge.model.lineup import LineUp, PumpMove, Scenario, ValveMove
from surge.model.stroke import stretched, with_laws
from surge.search.movers import SAME_INSTANT

RATE, STROKE, RUN_DOWN, LATER = "rate", "stroke", "run-down", "later"
ORDER, SPEED, ULLAGE = "order", "pump speed", "ullage"
KINDS = (RATE, STROKE, RUN_DOWN, LATER, ORDER, SPEED, ULLAGE)
AT_MOST, AT_LEAST, EXACTLY = "at most", "at least", "exactly"
BOUNDS = (AT_MOST, AT_LEAST, EXACTLY)

Moves = Collection[str]  # names of valves and pumps


@dataclass(frozen=True, kw_only=True)
class Change:
    """One figure of a case, changed.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    names : tuple of str
        What is changed: valves that take one stroke, a pump, a tank, the element in which the rate is
        counted; of an order all that moves, the first first.
    scenarios : tuple of str
        Scenarios in which it is changed; empty: in the case as a whole.
    was, value : float
        In SI: a rate [m3/s], a stroke or a run-down [s], how much later something begins [s], the time that
        an order takes in all [s], a speed as a share of the full one [-], an ullage [m3].
    bound : str
        Whether the value may be gone beyond: "at most" (every lower one was searched too), "at least" (every
        greater one), or neither, "exactly".
    to : float or None
        How far the value may be gone beyond, where a rule on time bounds it.
    opens : bool
        Of a stroke: that with which the valves open; otherwise they close.
    starts : tuple of (name, time)
        Of an order: when each begins [s], in each of its scenarios.
    """

    kind: str
    names: tuple[str, ...]
    scenarios: tuple[str, ...]
    was: float
    value: float
    bound: str
    to: float | None = None
    opens: bool = False
    starts: tuple[tuple[str, float], ...] = ()


def with_run_down(scenario: Scenario, pump: str, time: float) -> Scenario:
    """Return a scenario in which a pump takes another time [s] to stop, its law stretched.

    Steps of a shutdown that wait for the pump begin earlier or later with it.
    """
    pumps = tuple(
        replace(m, law=stretched(m.law, time)) if m.pump == pump and stops(m) else m
        for m in scenario.pump_moves
    )
    return with_laws(replace(scenario, pump_moves=pumps), lambda move: move.law)


def stops(move: PumpMove) -> bool:
    """Whether a movement stops its pump."""
    return move.law[-1][1] < move.law[0][1]


def later(scenario: Scenario, names: Moves, by: float) -> Scenario:
    """Return a scenario in which some valves or pumps begin to move later [s]."""

    def moved(move: ValveMove | PumpMove) -> ValveMove | PumpMove:
        if named(move) not in names:
            return move
        return replace(move, start=move.start + by, wait=move.wait + by, earliest=_earliest(move, by))

    valves = tuple(m for m in map(moved, scenario.moves) if isinstance(m, ValveMove))
    pumps = tuple(m for m in map(moved, scenario.pump_moves) if isinstance(m, PumpMove))
    return with_laws(replace(scenario, moves=valves, pump_moves=pumps), lambda move: move.law)


def _earliest(move: ValveMove | PumpMove, by: float) -> float:
    """What a step without another before it counts from: only its wait grows."""
    return move.earliest if move.side or move.after else move.earliest + by


def without(scenario: Scenario, names: Moves) -> Scenario:
    """Return a scenario in which some valves and pumps stay as they are, and do not trip; others move."""
    return replace(
        scenario,
        moves=tuple(m for m in scenario.moves if m.valve not in names),
        pump_moves=tuple(m for m in scenario.pump_moves if m.pump not in names),
        trips=tuple(t for t in scenario.trips if t.pump not in names),
    )


def named(move: ValveMove | PumpMove) -> str:
    """The valve or pump that moves."""
    return move.valve if isinstance(move, ValveMove) else move.pump


def movements(scenario: Scenario) -> tuple[ValveMove | PumpMove, ...]:
    """All that moves, in the order of time."""
    every: list[ValveMove | PumpMove] = [*scenario.moves, *scenario.pump_moves]
    return tuple(sorted(every, key=lambda m: m.start))


def begun_together(scenario: Scenario) -> list[tuple[str, ...]]:
    """Valves, or pumps, that begin to move at one instant by one order, each as one; in order of time."""
    groups: dict[tuple[bool, str, int], list[str]] = {}
    for move in movements(scenario):
        key = isinstance(move, PumpMove), move.side, round(move.start / SAME_INSTANT)
        groups.setdefault(key, []).append(named(move))
    return [tuple(dict.fromkeys(names)) for names in groups.values()]


def ends(scenario: Scenario) -> float:
    """When the last whole movement ends [s]."""
    return max((m.start + m.law[-1][0] for m in movements(scenario)), default=0.0)


def rate_of(lineup: LineUp, scenario: Scenario) -> float | None:
    """The rate of a scenario [m3/s]; None where none is agreed."""
    if scenario.rate is not None:
        return scenario.rate
    return lineup.rate.agreed if lineup.rate else None


def put(lineup: LineUp, scenarios: Mapping[str, Scenario]) -> LineUp:
    """Return the line-up with some scenarios in the place of those of their names."""
    return lineup.with_(scenarios=tuple(scenarios.get(s.name, s) for s in lineup.scenarios))

"""What moves in each scenario of a case, when, and which keys of the case say so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surge.arguments import checked
from surge.case.file import Case
from surge.errors import Origin
from surge.model.lineup import PumpMove, Scenario, ValveMove
from surge.model.scenario import Trip
from surge.model.stroke import moves_so

Step = ValveMove | PumpMove | Trip


@dataclass(frozen=True, kw_only=True)
class Movement:
    """One movement of a valve or a pump.

    Attributes
    ----------
    name, verb : str
        Of the valve or pump; "close", "open", "stop", "start" or "trip".
    path : Origin
        Of its table in the case.
    begin, end : float
        Of the whole movement [s], counted from the beginning of the scenario.
    earliest : float
        Before this it cannot begin, whatever its own table says [s].
    key : str
        What says when it begins: "at", or "wait" of a step of a shutdown.
    after : str
        What has to be done first, "" for none.
    others : tuple of str
        Steps of the same shutdown that it could come after; none of them waits for it.
    """

    name: str
    verb: str
    path: Origin
    begin: float
    end: float
    earliest: float
    key: str
    after: str
    others: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class TimeLine:
    """What moves in a scenario.

    Attributes
    ----------
    scenario : str
    own : int
        Position in the case of the scenario whose movements these are: its own, or the one that it repeats at
        another stage.
    rate : Origin
        Of the key that says its rate.
    ordered : float or None
        When a shutdown is ordered [s].
    movements : tuple of Movement
        In the order in which they begin.
    """

    scenario: str
    own: int
    rate: Origin
    ordered: float | None
    movements: tuple[Movement, ...]


@checked
def time_lines(case: Case, data: Mapping[str, object]) -> tuple[TimeLine, ...]:
    """Return what moves in every scenario of a case.

    Parameters
    ----------
    case : Case
    data : mapping
        Tables and values as they stand in its text.

    Returns
    -------
    tuple of TimeLine
        In the order of the line-up's scenarios.

    Examples
    --------
    >>> import tomllib
    >>> from pathlib import Path
    >>> import surge
    >>> from surge.api.timeline import time_lines
    >>> path = Path("cases/kerosene-shutdown-linked-and-not.toml")
    >>> linked = time_lines(surge.load_case(path), tomllib.loads(path.read_text()))[0]
    >>> [(m.name, m.begin, m.end) for m in linked.movements]
    [('shore pump', 8.0, 23.0), ('shore valve', 23.0, 51.0), ('manifold valve', 51.0, 71.0)]
    """
    scenarios = case.lineup.scenarios
    tables: Any = data
    own = {s.name: int(s.origin[1]) for s in scenarios if not s.repeats}
    return tuple(
        TimeLine(
            scenario=s.name,
            own=own[s.repeats or s.name],
            rate=_rate(s, tables),
            ordered=s.ordered,
            movements=_movements(s),
        )
        for s in scenarios
    )


def _rate(scenario: Scenario, data: Any) -> Origin:
    """The key that says a rate: that of the scenario, of the table of its stage, or the agreed one."""
    at = data
    for part in scenario.origin:
        at = at[part]
    if "rate" in at:
        return (*scenario.origin, "rate")
    for i, stage in enumerate(data.get("stage", ())):
        if scenario.stage and stage.get("name") == scenario.stage and "rate" in stage:
            return ("stage", i, "rate")
    return ("rate", "agreed")


def _movements(scenario: Scenario) -> tuple[Movement, ...]:
    every: list[Step] = [*scenario.moves, *scenario.pump_moves, *scenario.trips]
    every.sort(key=lambda m: (m.start, m.origin))
    steps = {name_of(m): m for m in every if "shutdown" in m.origin}
    return tuple(_movement(m, steps) for m in every)


def _movement(move: Step, steps: Mapping[str, Step]) -> Movement:
    chained = "shutdown" in move.origin
    others = tuple(n for n in steps if chained and not _waits(n, name_of(move), steps))
    return Movement(
        name=name_of(move),
        verb=_verb(move),
        path=move.origin,
        begin=move.start,
        end=move.start if isinstance(move, Trip) else move.start + move.law[-1][0],
        earliest=move.start - move.wait if chained else 0.0,
        key="wait" if chained else "at",
        after=move.after,
        others=others,
    )


def _waits(name: str, of: str, steps: Mapping[str, Step]) -> bool:
    """Whether a step is another, or waits for it by however many others."""
    while name and name != of:
        name = steps[name].after if name in steps else ""
    return name == of


def name_of(move: Step) -> str:
    """Return the valve or pump that moves."""
    return move.valve if isinstance(move, ValveMove) else move.pump


def _verb(move: Step) -> str:
    if isinstance(move, Trip):
        return "trip"
    if isinstance(move, ValveMove):
        if moves_so(move, opens=False):
            return "close"
        return "open" if moves_so(move, opens=True) else "move"
    return "stop" if move.law[-1][1] < move.law[0][1] else "start"

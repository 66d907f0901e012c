"""Scenarios: what moves when, and the stages of a loading.

Units as in :mod:`surge.model.lineup`.
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.errors import Origin
from surge.model.elements import Table


@dataclass(frozen=True, kw_only=True)
class ValveMove:
    """A valve movement in a scenario.

    Attributes
    ----------
    start : float
        [s] from the beginning of the scenario.
    law : tuple of (time, opening)
        A whole stroke, time from its beginning [s]; the valve joins it where the law first
        passes the opening that the valve has. Two points at one time are a step.
    what : str
        What ordered it, for the output: "event", "shutdown".
    side : str
        "shore" or "ship" for a step of a shutdown, "" otherwise.
    after : str
        The valve or pump whose step of the shutdown has to be over first, "" for none.
    earliest, wait : float
        When it begins at the earliest without that, and how much later it begins on top [s].
    """

    valve: str
    start: float
    law: Table
    what: str = "event"
    side: str = ""
    after: str = ""
    earliest: float = 0.0
    wait: float = 0.0
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class PumpMove:
    """A change of a pump's speed: ``law`` is (time [s], fraction of the speed it had)."""

    pump: str
    start: float
    law: Table
    what: str = "event"
    side: str = ""
    after: str = ""
    earliest: float = 0.0
    wait: float = 0.0
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Trip:
    """A pump that loses its drive at an instant [s] of a scenario.

    Attributes
    ----------
    side, after, earliest, wait
        As of :class:`ValveMove`, where a shutdown trips it. A step that waits for it begins with it: what
        trips has been stopped in that instant, as far as anybody can order it.
    """

    pump: str
    start: float
    side: str = ""
    after: str = ""
    earliest: float = 0.0
    wait: float = 0.0
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One time line on the line-up.

    Attributes
    ----------
    rate : float or None
        Another agreed rate [m3/s] than the line-up's; ``by_mass`` as of :class:`surge.model.lineup.Rate`.
    levels : tuple of (tank, level [m])
    openings : tuple of (valve, opening)
        Openings while loading at the rate.
    shut_at_start : tuple of str
        Valves shut at time 0 although the rate was set with them open (restart).
    trapped : tuple of (point, pressure [Pa gauge])
        Pressure in a part shut in on all sides.
    moves : tuple of ValveMove
    pump_moves : tuple of PumpMove
    trips : tuple of Trip
        Of pumps that run down by their own inertia.
    timing : tuple of (term, seconds)
        The terms of a shutdown chain (detection, signal ...) [s].
    ordered : float or None
        When the shutdown is ordered [s]; None: the scenario has no shutdown chain.
    stage : str
        "start", "bulk" or "topping off"; "" when not said.
    repeats : str
        The scenario whose shutdown this one repeats at another stage; "" where it stands in the case itself.
    not_at : tuple of (stage, reason)
        Stages at which the shutdown is not repeated, and why not.
    """

    name: str
    note: str = ""
    stage: str = ""
    repeats: str = ""
    not_at: tuple[tuple[str, str], ...] = ()
    ordered: float | None = None
    rate: float | None = None
    by_mass: bool = False
    levels: tuple[tuple[str, float], ...] = ()
    openings: tuple[tuple[str, float], ...] = ()
    shut_at_start: tuple[str, ...] = ()
    trapped: tuple[tuple[str, float], ...] = ()
    moves: tuple[ValveMove, ...] = ()
    pump_moves: tuple[PumpMove, ...] = ()
    trips: tuple[Trip, ...] = ()
    timing: tuple[tuple[str, float], ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Stage:
    """A stage of the loading, as the case describes it by itself.

    Attributes
    ----------
    name : str
        "start", "bulk" or "topping off".
    rate : float
        [m3/s]; ``by_mass`` as of :class:`surge.model.lineup.Rate`.
    levels, openings : tuple of (name, value)
        As of :class:`Scenario`: where they differ from those of the case.
    """

    name: str
    rate: float
    by_mass: bool = False
    levels: tuple[tuple[str, float], ...] = ()
    openings: tuple[tuple[str, float], ...] = ()
    origin: Origin = ()

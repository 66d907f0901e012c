"""What the tests of a valve, taken together, say: baseline, drift, when a limit will be met, sisters, overdue.

One history for each (tag, direction). Times [s]. Only like is set against like: movement times with movement
times, valves moved alone with valves moved alone, at normal temperature. What is not comparable is kept in the history and
shown apart, with the reason.
"""

from __future__ import annotations

import calendar
import statistics
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from surge.stroketest import Direction, StrokeTest, Timed
from surge.trend import Crossing, Trend, crossing, robust_trend

Key = tuple[str, Direction]

ACTION = 0.20  # [-] of the baseline; 20 to 25 % is common practice, no source: the narrower is taken
ERRATIC = 0.10  # [-] scatter about the own line; a rule of this program, no source
INTERVAL = 12  # [months] between tests; US 33 CFR 156.170(f) asks for once a year (interval from memory)
SISTERS = 2  # other valves of a group, at least, before one is compared with them
DAY = 86400.0  # [s]
FAR = 3652.5  # [days] ten years: crossings beyond are not told

# What a history comes to, the most urgent first: word for a picture -> what it means.
TOO_FAST = "TOO FAST"
TOO_SLOW = "TOO SLOW"
WILL_CROSS = "LIMIT NEAR"
UNTESTED = "NOT TESTED"
ERRATIC_WORD = "ERRATIC"
DRIFTS = "DRIFTS"
OVERDUE = "OVERDUE"
UNKNOWN = "UNDECIDED"
UNLIKE = "UNLIKE SISTERS"
MAY_CROSS = "WATCH"
IN_ORDER = "IN ORDER"
STATES = {
    TOO_FAST: "the last test is faster than the fastest time allowed",
    TOO_SLOW: "the last test is slower than the slowest time allowed",
    WILL_CROSS: "at its present trend the valve meets a limit before the next test is due",
    UNTESTED: "no test on record that counts",
    ERRATIC_WORD: "the times scatter too much for any of them to be relied on",
    DRIFTS: "the last test lies outside the action band about the baseline",
    OVERDUE: "the last test is older than the interval allows",
    UNKNOWN: "what is on record does not tell whether the limits are kept",
    UNLIKE: "the valve differs from others of its group by more than the action band",
    MAY_CROSS: "within the confidence band of its trend the valve may meet a limit before the next test is due",
    IN_ORDER: "within its limits, near its baseline, tested in time",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLimit:
    """A bound on a movement time [s], and where it comes from."""

    time: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLimits:
    """Bounds on the movement time of a valve in one direction; both are still allowed themselves."""

    fastest: TimeLimit | None = None
    slowest: TimeLimit | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A test in a history.

    Attributes
    ----------
    test : StrokeTest
    time : float
        The time that is compared: of movement if that is known [s].
    movement : bool
        Whether ``time`` is a movement time.
    apart : str
        Why it is shown but no part of the trend; "" if it is part of it.
    """

    test: StrokeTest
    time: float
    movement: bool
    apart: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """What the valve is compared with: ``time`` [s] of the tests on ``day``; ``rule`` says why those."""

    time: float
    day: date
    tests: int
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Meeting:
    """When a limit will be met.

    Attributes
    ----------
    limit : TimeLimit
    upper : bool
        It is the slowest time allowed (else the fastest).
    expected : date or None
        By the trend; None when it leads away, or not within ten years.
    earliest : date or None
        At the steepest slope in the band; None as before, or when there is no band.
    """

    limit: TimeLimit
    upper: bool
    expected: date | None
    earliest: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sisters:
    """The other valves of a group: how many, the median of their last times [s], and ours over that [-]."""

    group: str
    count: int
    median: float
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveHistory:
    """Everything that the tests of one valve in one direction say together.

    Attributes
    ----------
    limits : TimeLimits
    points : tuple of Point
        Every test, in order of time.
    baseline : Baseline or None
    last : float or None
        Median of the tests that count on their last date [s].
    change : float or None
        ``last`` over baseline less 1 [-]: negative is faster.
    trend : Trend or None
        Of the medians of each date, in days since ``day_zero`` and seconds.
    day_zero : date or None
    meetings : tuple of Meeting
    scatter : float or None
        Robust standard deviation about the trend, as a share of the baseline [-]; from four dates up.
    repeatability : float or None
        Greatest range of tests on one date over their median [-].
    furthest : float or None
        Greatest distance of a date from the trend, as a share of the baseline [-].
    sisters : Sisters or None
    due : date or None
        When the next test is due, or was.
    overdue : int
        Days since then; 0 when not overdue.
    states : tuple of str
        All that apply of :data:`STATES`, the most urgent first; never empty.
    """

    tag: str
    direction: Direction
    group: str = ""
    limits: TimeLimits = TimeLimits()
    points: tuple[Point, ...] = ()
    baseline: Baseline | None = None
    last: float | None = None
    change: float | None = None
    trend: Trend | None = None
    day_zero: date | None = None
    meetings: tuple[Meeting, ...] = ()
    scatter: float | None = None
    repeatability: float | None = None
    furthest: float | None = None
    sisters: Sisters | None = None
    due: date | None = None
    overdue: int = 0
    states: tuple[str, ...] = (UNTESTED,)

    @property
    def counted(self) -> tuple[Point, ...]:
        """The tests that make the trend."""
        return tuple(p for p in self.points if not p.apart)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What histories are held against.

    Attributes
    ----------
    today : date
        The day of the look; tests after it are shown apart.
    interval : int
        Months between tests.
    action : float
        Half width of the action band, as a share of the baseline [-].
    erratic : float
        Scatter above which a valve is erratic, as a share of the baseline [-].
    confidence : float
        Of the band of the trend [-].
    """

    today: date
    interval: int = INTERVAL
    action: float = ACTION
    erratic: float = ERRATIC
    confidence: float = 0.95


def histories(
    tests: Iterable[StrokeTest],
    limits: Mapping[Key, TimeLimits],
    *,
    ground: Ground,
    groups: Mapping[str, str] | None = None,
    expected: Iterable[Key] = (),
    apart: Callable[[StrokeTest], str] | None = None,
) -> tuple[ValveHistory, ...]:
    """Return a history for every valve and direction that is tested, limited or expected; the worst first.

    Parameters
    ----------
    tests : iterable of StrokeTest
    limits : dict of (tag, direction) to TimeLimits
    ground : Ground
        The day of the look, the interval between tests, the width of the action band.
    groups : dict of str to str, optional
        Tag -> name of the group of sister valves (same size, same actuator).
    expected : iterable of (tag, direction)
        What should have been tested; without a test it is "not tested".
    apart : callable, optional
        Says why a test is no part of a trend (such as "off normal temperature"), "" if it is part of it.
    """
    raise NotImplementedError

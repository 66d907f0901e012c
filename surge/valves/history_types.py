"""The history of a valve as a type, and the words for what it comes to. Times [s]."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from surge.records.stroke_tests import YEAR, Bound, Direction, Interval, StrokeTest, Timed
from surge.valves.trend import CONFIDENCE, Trend

ACTION = 0.20  # [-] of the baseline; 20 to 25 % is common practice, no source: the narrower is taken
ERRATIC = 0.10  # [-] of the baseline: scatter about the own line; a rule of this program, no source

# What a history comes to, the most urgent first: a word for the picture, and what it means.
TOO_FAST, TOO_SLOW, NEAR, UNTESTED = "TOO FAST", "TOO SLOW", "LIMIT NEAR", "NOT TESTED"
SCATTERED, DRIFTED, OVERDUE, UNKNOWN = "ERRATIC", "DRIFTED", "OVERDUE", "UNDECIDED"
UNLIKE, WATCH, NO_LIMIT, IN_ORDER = "UNLIKE SISTERS", "WATCH", "NO LIMIT", "IN ORDER"
STATES = {
    TOO_FAST: "the last test (of an erratic valve any recent one) is faster than the fastest time allowed",
    TOO_SLOW: "the last test (of an erratic valve any recent one) is slower than the slowest time allowed",
    NEAR: "by its trend the valve meets a limit before the next test is due",
    UNTESTED: "there is no test that counts",
    SCATTERED: "the times scatter too much to rely on any of them",
    DRIFTED: "the last test lies outside the action band about the baseline",
    OVERDUE: "the last test is older than the interval allows",
    UNKNOWN: "the tests do not tell whether the limits are kept",
    UNLIKE: "the valve differs from its sisters by more than the action band",
    WATCH: "within the confidence band of its trend the valve may meet a limit before the next test is due",
    NO_LIMIT: "no limit is stated: only drift, scatter and dates are looked at",
    IN_ORDER: "limits kept, near the baseline, tested in time",
}
STATE_RANK = {state: k for k, state in enumerate(STATES)}


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryTest:
    """A test in a history.

    Attributes
    ----------
    test : StrokeTest
    time : float
        What is compared [s]: the time of the movement, if it is known.
    basis : Timed or None
        What ``time`` counts; None when the record does not say.
    apart : str
        Why it is shown but no part of the trend; "" if it is part of it.
    proof : bool
        Whether it counts as a test at all: at normal temperature, and not after the day of the look.
    """

    test: StrokeTest
    time: float
    basis: Timed | None
    apart: str = ""
    proof: bool = True

    @property
    def day(self) -> date:
        """The day of the test."""
        return self.test.when.date()

    @property
    def kind(self) -> tuple[Timed | None, bool]:
        """Tests of one kind may be compared. What is not said to have moved with others counts as alone."""
        return self.basis, bool(self.test.together)


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """What the valve is compared with: the median [s] of the tests on one day, and why those."""

    time: float
    day: date
    tests: int
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitInHistory:
    """A limit as it stands among the times of a history.

    Attributes
    ----------
    bound : Bound
    time : float
        The limit on what the times of this history count [s].
    offset : float
        How much worse than the tests of the trend the last ones of the other kind are, alone or together [s]:
        below 0 faster, for a fastest limit; above 0 slower, for a slowest one. The dates count it in.
    expected : date or None
        When the trend meets it; None when it leads away, or not within ten years.
    earliest : date or None
        The same at the steepest slope of the band; None also when there is no band.
    """

    bound: Bound
    time: float
    offset: float = 0.0
    expected: date | None = None
    earliest: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sisters:
    """The other valves of a group: how many, the median of their last times [s], ours over that [-]."""

    group: str
    count: int
    median: float
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveHistory:
    """Everything that the tests of one valve in one direction say together.

    Attributes
    ----------
    tests : tuple of HistoryTest
        Every test, in order of time.
    limits : tuple of LimitInHistory
        The limits that can be set against the times of the trend, with the dates when they are met.
    baseline : Baseline or None
    last : float or None
        Median of the tests of the trend on their last date [s].
    change : float or None
        ``last`` over the baseline, less 1 [-]: negative is faster.
    trend : Trend or None
        Of the medians of each date: seconds against days since ``day_zero``.
    day_zero : date or None
    scatter : float or None
        Robust standard deviation about the trend over the baseline [-]; from four dates up.
    furthest : float or None
        Greatest distance of a date from the trend over the baseline [-]; from four dates up.
    repeatability : float or None
        Greatest range of tests on one date over their median [-]; None without repeats.
    sisters : Sisters or None
    due : date or None
        The last day on which the latest test still holds.
    overdue : int
        Days since then; 0 when not overdue.
    margin : float or None
        Least share by which a latest test surely keeps a limit [-]; negative when it may not.
    states : tuple of str
        All that apply of :data:`STATES`, the most urgent first; never empty.
    """

    tag: str
    direction: Direction
    group: str = ""
    tests: tuple[HistoryTest, ...] = ()
    limits: tuple[LimitInHistory, ...] = ()
    baseline: Baseline | None = None
    last: float | None = None
    change: float | None = None
    trend: Trend | None = None
    day_zero: date | None = None
    scatter: float | None = None
    furthest: float | None = None
    repeatability: float | None = None
    sisters: Sisters | None = None
    due: date | None = None
    overdue: int = 0
    margin: float | None = None
    states: tuple[str, ...] = (UNTESTED,)

    @property
    def counted(self) -> tuple[HistoryTest, ...]:
        """The tests that make the trend."""
        return tuple(p for p in self.tests if not p.apart)

    @property
    def state(self) -> str:
        """The most urgent of its states."""
        return self.states[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryGround:
    """What histories are held against.

    Attributes
    ----------
    today : date
        The day of the look; a test after it is shown apart.
    interval : Interval
        Between tests, where the limits of a valve state none. US 33 CFR 156.170(f) asks for a test once a
        year (the interval from memory).
    action : float
        Half width of the action band over the baseline [-].
    erratic : float
        Scatter over the baseline above which a valve is erratic [-].
    confidence : float
        Of the band of the trend [-].
    """

    today: date
    interval: Interval = YEAR
    action: float = ACTION
    erratic: float = ERRATIC
    confidence: float = CONFIDENCE

"""One stroke-time test of one valve as it was written down, and what it is held against; SI inside.

Decisions
---------
* A time that a record leaves open is a span, from least to most, of the movement and of the time from the
  order: :func:`spans_of`.
"""

from __future__ import annotations

import calendar
import math
import re
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum

from surge.phrases import counted
from surge.units import QuantityError, quoted


class Direction(Enum):
    """Which way the valve moved."""

    CLOSING = "closing"
    OPENING = "opening"


class Timed(Enum):
    """From what to what the time was taken."""

    ORDER = "order to indicator"
    MOVEMENT = "spindle movement"


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeTest:
    """A valve timed once. None where the record says nothing.

    Attributes
    ----------
    row : int
        Row of the sheet as a spreadsheet counts: the first one is 1, titles and header included.
    tag : str
        The valve.
    direction : Direction
    when : datetime
        Without time zone: local time of the record.
    time : float
        As measured [s].
    timed : Timed or None
    delay : float or None
        Signal delay contained in a time from order to indicator [s].
    temperature : float or None
        At the test [K].
    hydraulic_pressure : float or None
        At the test [Pa gauge].
    together : bool or None
        Whether other valves moved at the same time.
    flowing : bool or None
        Whether liquid flowed (else dry or at rest).
    by, remark : str
    """

    row: int
    tag: str
    direction: Direction
    when: datetime
    time: float
    timed: Timed | None = None
    delay: float | None = None
    temperature: float | None = None
    hydraulic_pressure: float | None = None
    together: bool | None = None
    flowing: bool | None = None
    by: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LostTest:
    """What is known of a row that was refused: it may be a test that the others do not know of.

    Attributes
    ----------
    row : int
    tag : str
        "" where the row does not tell.
    directions : tuple of Direction
        Empty where the row does not tell.
    day : date or None
        None where the row does not tell: it may be the latest.
    """

    row: int
    tag: str = ""
    directions: tuple[Direction, ...] = ()
    day: date | None = None

    def concerns(self, tag: str, direction: Direction) -> bool:
        """Whether it may be a test of this valve in this direction."""
        return self.tag == tag and (not self.directions or direction in self.directions)


NO_STROKE_IS_SAFE = math.inf  # as a fastest limit: every stroke is too fast


EVERY_STROKE_TOO_SLOW = 0.0  # as a slowest limit


class Side(Enum):
    """Which way a stroke time can be wrong."""

    FASTEST = "fastest"  # not faster: surge
    SLOWEST = "slowest"  # not slower: shutdown and overfill


BOUNDS = {f"{side.value}_{direction.value}": (direction, side) for direction in Direction for side in Side}
"""Key of a limits file -> which limit it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """One limit of a stroke time; a time that equals it keeps it.

    Attributes
    ----------
    direction : Direction
    side : Side
    value : float
        [s]
    timed : Timed
        What the limit counts: from the order, or the movement alone.
    source : str
    """

    direction: Direction
    side: Side
    value: float
    timed: Timed
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """How long a test holds: calendar months and days together."""

    months: int = 0
    days: int = 0

    def after(self, day: date) -> date:
        """The last day on which a test of ``day`` still holds."""
        month = day.month - 1 + self.months
        year, month = day.year + month // 12, month % 12 + 1
        last = calendar.monthrange(year, month)[1]
        return date.fromordinal(date(year, month, min(day.day, last)).toordinal() + self.days)

    def __str__(self) -> str:
        parts = [(self.months, "month"), (self.days, "day")]
        return " ".join(counted(n, word) for n, word in parts if n) or "0 days"


YEAR = Interval(months=12)  # common practice, no source
INTERVAL_WORDS = "an interval from 1 day to 10 years: a whole number of days, weeks, months or years"
INTERVAL_PATTERN = "([0-9]{1,4}) *(days?|weeks?|months?|years?)"
_DAYS, _MONTHS = {"day": 1, "week": 7}, {"month": 1, "year": 12}


def read_interval(text: str) -> Interval:
    """Read an interval such as "12 months".

    Raises
    ------
    QuantityError
    """
    found = re.fullmatch(INTERVAL_PATTERN, text.strip())
    count, unit = (int(found[1]), found[2].rstrip("s")) if found else (0, "")
    made = Interval(months=count * _MONTHS.get(unit, 0), days=count * _DAYS.get(unit, 0))
    if not 0 < made.months * 31 + made.days <= 120 * 31:
        raise QuantityError(quoted(text), INTERVAL_WORDS, 'write it like "12 months"')
    return made


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveLimits:
    """What is stated about one valve.

    Attributes
    ----------
    tag : str
    bounds : tuple of Bound
        Any number of each side and direction; all of them hold.
    missing : tuple of (Direction, Side, str)
        Sides on which a limit was asked for and could not be found, and why.
    normal : (float, float) or None
        Normal operating temperature, both ends of it included [K].
    delay : float or None
        From the order to the first movement [s].
    shares_power : bool or None
        Whether it may move together with others on one power supply; None is "not stated".
    sisters : str
        Name of the group of valves of the same kind; "" for none.
    interval : Interval or None
        Between tests; None is "not stated".
    required : bool
        It is named, so that it has to be tested.
    """

    tag: str
    bounds: tuple[Bound, ...] = ()
    missing: tuple[tuple[Direction, Side, str], ...] = ()
    normal: tuple[float, float] | None = None
    delay: float | None = None
    shares_power: bool | None = None
    sisters: str = ""
    interval: Interval | None = None
    required: bool = False

    def of(self, direction: Direction, side: Side) -> tuple[Bound, ...]:
        """Limits of one side, the strictest first (those that count from the order as they stand)."""
        found = [b for b in self.bounds if b.direction is direction and b.side is side]
        sign = -1.0 if side is Side.FASTEST else 1.0
        return tuple(sorted(found, key=lambda b: sign * b.value))


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """What a time can have been at least and at most [s]; equal where it is known."""

    least: float
    most: float


def spans_of(test: StrokeTest, delay: float | None = None) -> dict[Timed, Span]:
    """What a test says about the time from the order, and about the movement alone.

    Parameters
    ----------
    test : StrokeTest
    delay : float, optional
        Stated for the valve [s]; the delay that the record itself states goes before it.

    Returns
    -------
    dict of Timed to Span
        A time of which it is not known what it counts is taken for either.
    """
    known = test.delay if test.delay is not None else delay
    time, late = test.time, math.inf if known is None else known
    moved = Span(least=max(time - late, 0.0), most=time if known is None else max(time - late, 0.0))
    spans = {
        Timed.ORDER: {Timed.ORDER: Span(least=time, most=time), Timed.MOVEMENT: moved},
        Timed.MOVEMENT: {
            Timed.ORDER: Span(least=time + (known or 0.0), most=time + late),
            Timed.MOVEMENT: Span(least=time, most=time),
        },
    }
    if test.timed is not None:
        return spans[test.timed]
    either = list(spans.values())
    return {
        what: Span(least=min(s[what].least for s in either), most=max(s[what].most for s in either))
        for what in Timed
    }

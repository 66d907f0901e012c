"""One stroke-time test of one valve, as it was written down; SI inside."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum


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

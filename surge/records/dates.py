"""Dates of records: which day a text means, or why that cannot be told."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

from surge.units import QuantityError, quoted

DAY_FIRST, MONTH_FIRST = "day-first", "month-first"
EARLIEST_YEAR = 1980  # our own bound: a spreadsheet writes an empty date as 1900
EXPECTED = "a date such as 2025-03-14, 14 Mar 2025, or 14/03/2025 with --dates day-first"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMES: tuple[str, ...] = ("january", "february", "march", "april", "may", "june", "july")
_NAMES += ("august", "september", "october", "november", "december")
_MONTH = {name: k % 12 + 1 for k, name in enumerate((*_MONTHS, *_NAMES))} | {"sept": 9}
_YEAR_FIRST = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})(?![0-9])")
_EIGHT = re.compile(r"([0-9]{4})()([0-9]{2})([0-9]{2})(?![0-9])")
_NUMBERS = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})(?![0-9])")
_DAY_NAME = re.compile(r"([0-9]{1,2})[ .-]*([A-Za-z]{3,9})\.?[ ,.-]*([0-9]{4})(?![0-9])")
_NAME_DAY = re.compile(r"([A-Za-z]{3,9})\.? *([0-9]{1,2}),? +([0-9]{4})(?![0-9])")
_SHORT_YEAR = re.compile(
    r"([0-9]{1,2}[-/.][0-9]{1,2}[-/.]'?[0-9]{2}|[0-9]{1,2}[ -][A-Za-z]{3,9}\.?[ -]'?[0-9]{2})(?![0-9])"
)
_SHORT_NUMBERS = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2'?([0-9]{2})(?![0-9])")
_SHORT_NAME = re.compile(r"([0-9]{1,2})[ .-]*([A-Za-z]{3,9})\.?[ ,.-]*'?([0-9]{2})(?![0-9])")
CENTURY = 80  # years of two digits from here are of the last century
OUTVOTED = 4  # days that can be read both ways: from here a single one that cannot may be a slip of the pen
_CLOCK = re.compile(
    r"([0-9]{1,2})[:.h]([0-9]{2})(?:[:.]([0-9]{2})(?:[.,][0-9]+)?)?"
    r" *(am|pm|a\.m\.|p\.m\.)?(?: *(?:lt|hrs?|h))?",
    re.IGNORECASE,
)
_SHIP_CLOCK = re.compile(r"([0-2][0-9])([0-5][0-9])(?: *(?:lt|hrs?|h))?", re.IGNORECASE)
_ZONE = re.compile(r".*[0-9] *(?:Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})$", re.IGNORECASE)
_SERIAL = re.compile(r"[0-9]{5}(?:[.,][0-9]+)?")


@dataclass(frozen=True, kw_only=True)
class DateOrder:
    """Which number comes first in dates such as 03/04/2025, for each mark between the numbers.

    Attributes
    ----------
    by_mark : mapping of str to str
        Mark -> "day-first" or "month-first"; a mark that is not there cannot be decided.
    why : mapping of str to str
        Mark -> how it was decided, or why it cannot be.
    given : bool
        The user says so: then the year comes last, and may have two digits.
    """

    by_mark: Mapping[str, str]
    why: Mapping[str, str]
    given: bool = False


def order_of(texts: Iterable[str], *, given: str | None = None) -> DateOrder:
    """Decide the order of day and month from all dates of a file.

    Parameters
    ----------
    texts : iterable of str
        The cells of the date column.
    given : str, optional
        What the user says; it holds for every mark.
    """
    if given is not None:
        why = dict.fromkeys("-/.", f"--dates {given}")
        return DateOrder(by_mark=dict.fromkeys("-/.", given), why=why, given=True)
    found: dict[str, tuple[dict[str, None], ...]] = {}  # mark -> day first, month first, either
    for text in texts:
        if (match := _NUMBERS.match(text)) is None:
            continue
        days = found.setdefault(match[2], ({}, {}, {}))
        one, two = int(match[1]), int(match[3])
        if one > 12 >= two:
            days[0][match[0]] = None
        elif two > 12 >= one and match[2] != ".":  # with points nobody puts the month first: a slip
            days[1][match[0]] = None
        elif one != two and max(one, two) <= 12:
            days[2][match[0]] = None
    told = {mark: _told(*(list(x) for x in days)) for mark, days in sorted(found.items())}
    by_mark = {mark: which for mark, (which, _) in told.items() if which}
    return DateOrder(by_mark=by_mark, why={mark: words for mark, (_, words) in told.items()})


def _told(first: list[str], second: list[str], either: list[str]) -> tuple[str, str]:
    """The order that the dates of one form tell ("" for none), and why."""
    if first and second:
        return "", f"{first[0]} is day first and {second[0]} month first"
    sure = first or second
    if not sure:
        return "", "no date in the file tells which number is the day"
    if len(sure) == 1 and len(either) >= OUTVOTED:
        return "", f"only {sure[0]} tells which number is the day, and may be a slip"
    words = f"{sure[0]} can be read in one way only, and no date in the file contradicts it"
    return DAY_FIRST if first else MONTH_FIRST, words


def latest_reading(text: str, *, until: date) -> date | None:
    """The latest day up to ``until`` that a text can mean, in whatever order; None where it tells none."""
    if (found := _YEAR_FIRST.match(text) or _EIGHT.match(text)) is not None:
        readings = [(found[1], found[3], found[4])]
    elif (found := _NUMBERS.match(text)) is not None:
        readings = [(found[4], found[3], found[1]), (found[4], found[1], found[3])]
    elif (found := _SHORT_NUMBERS.match(text)) is not None:
        one, two, three = found[1], found[3], found[4]
        readings = [(_whole_year(three), two, one), (_whole_year(three), one, two)]
        readings += [(_whole_year(one), two, three)] if len(one) == 2 else []
    else:
        return None
    days = []
    for year, month, day in readings:
        with contextlib.suppress(ValueError):
            days.append(date(int(year), int(month), int(day)))
    return max((d for d in days if d <= until), default=None)


def read_when(text: str, *, order: DateOrder, clock: str = "") -> datetime:
    """Read a date, with a time of day behind it or in a cell of its own.

    Raises
    ------
    QuantityError
    """
    day, rest = _day(text, order)
    rest = rest.strip(" ,T")
    at = _time_of_day(rest, text) if rest else None
    if clock:
        own = _time_of_day(clock, clock)
        if at not in (None, time(), own):
            found = f"{quoted(text)} beside the time of day {quoted(clock)}"
            raise QuantityError(found, "one time of day", "take one of the two out")
        at = own
    return datetime.combine(day, at or time())


def _day(text: str, order: DateOrder) -> tuple[date, str]:
    if found := _YEAR_FIRST.match(text) or _EIGHT.match(text):
        year, _, month, day = found.groups()
    elif found := _NUMBERS.match(text):
        one, mark, two, year = found.groups()
        day, month = (one, two) if _day_comes_first(text, int(one), mark, int(two), order) else (two, one)
    elif order.given and (found := _SHORT_NUMBERS.match(text)):
        one, mark, two, short = found.groups()
        day, month = (one, two) if _day_comes_first(text, int(one), mark, int(two), order) else (two, one)
        year = _whole_year(short)
    elif found := _DAY_NAME.match(text):
        day, month, year = found[1], str(_MONTH.get(found[2].lower(), 0)), found[3]
    elif order.given and (found := _SHORT_NAME.match(text)):
        day, month, year = found[1], str(_MONTH.get(found[2].lower(), 0)), _whole_year(found[3])
    elif found := _NAME_DAY.match(text):
        day, month, year = found[2], str(_MONTH.get(found[1].lower(), 0)), found[3]
    else:
        raise _no_date(text)
    try:
        made = date(int(year), int(month), int(day))
    except ValueError:
        raise QuantityError(quoted(text), EXPECTED, "write a day that there is: 2025-03-14") from None
    if made.year < EARLIEST_YEAR:
        found_ = f"{quoted(text)}, the year {made.year}"
        raise QuantityError(
            found_, f"a year from {EARLIEST_YEAR}", "check the date; an empty one shows as 1900"
        )
    return made, text[found.end() :]


def _whole_year(short: str) -> str:
    return f"{20 if int(short) < CENTURY else 19}{short}"


def _no_date(text: str) -> QuantityError:
    if _SHORT_YEAR.match(text):
        return QuantityError(
            quoted(text),
            "a year of four digits",
            "say --dates day-first or --dates month-first, with which the year comes last, or write the "
            "whole year: 2025-03-14",
        )
    if _SERIAL.fullmatch(text):
        return QuantityError(quoted(text), EXPECTED, "give the column the format date in the spreadsheet")
    return QuantityError(quoted(text), EXPECTED, "write it as 2025-03-14, or 2025-03-14 10:20")


def _day_comes_first(text: str, one: int, mark: str, two: int, order: DateOrder) -> bool:
    decided = order.by_mark.get(mark)
    if decided is not None:
        if (two if decided == DAY_FIRST else one) > 12:
            found = f"{quoted(text)}, while dates are {decided} ({order.why[mark]})"
            raise QuantityError(found, EXPECTED, "write the date as 2025-03-14")
        return decided == DAY_FIRST
    if one > 12 >= two or (two > 12 >= one and mark != "."):
        return one > 12
    if one == two:
        return True
    if two > 12:
        raise QuantityError(quoted(text), EXPECTED, "check the month; write the date as 2025-03-14")
    raise QuantityError(
        f"{quoted(text)}, which can be two days: {order.why.get(mark, 'the file does not tell')}",
        "a date that can be read in one way only",
        "say --dates day-first or --dates month-first, or write 2025-03-14",
    )


def _time_of_day(text: str, whole: str) -> time:
    expected = "a local time of day such as 10:20"
    if _ZONE.fullmatch(text):
        raise QuantityError(quoted(whole), expected, "write the local time, without a time zone")
    found = _CLOCK.fullmatch(text) or _SHIP_CLOCK.fullmatch(text)
    if found is None:
        raise QuantityError(quoted(whole), expected, "write hours and minutes, such as 10:20")
    hour, minute = int(found[1]), int(found[2])
    rest = found.groups()[2:]
    second = int(rest[0]) if rest and rest[0] else 0
    half = (rest[1] or "").lower().replace(".", "") if rest else ""
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0) if 1 <= hour <= 12 else 99
    try:
        return time(hour, minute, second)
    except ValueError:
        raise QuantityError(quoted(whole), expected, "write a time of day that there is") from None

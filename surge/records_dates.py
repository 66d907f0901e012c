"""Dates of records: which day a text means, or why that cannot be told."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

from surge.units import QuantityError, quoted

DAY_FIRST, MONTH_FIRST = "day-first", "month-first"
ORDERS = (DAY_FIRST, MONTH_FIRST)
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
_CLOCK = re.compile(
    r"([0-9]{1,2})[:.h]([0-9]{2})(?:[:.]([0-9]{2})(?:[.,][0-9]+)?)?"
    r" *(am|pm|a\.m\.|p\.m\.)?(?: *(?:lt|hrs?|h))?",
    re.IGNORECASE,
)
_SHIP_CLOCK = re.compile(r"([0-2][0-9])([0-5][0-9])(?: *(?:lt|hrs?|h))?", re.IGNORECASE)
_ZONE = re.compile(r".*[0-9] *(?:Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})$", re.IGNORECASE)
_SERIAL = re.compile(r"[0-9]{5}(?:[.,][0-9]+)?")


@dataclass(frozen=True, kw_only=True)
class Order:
    """Which number comes first in dates such as 03/04/2025, for each mark between the numbers.

    Attributes
    ----------
    by_mark : mapping of str to str
        Mark -> "day-first" or "month-first"; a mark that is not there cannot be decided.
    why : mapping of str to str
        Mark -> how it was decided, or why it cannot be.
    """

    by_mark: Mapping[str, str]
    why: Mapping[str, str]


def order_of(texts: Iterable[str], *, given: str | None = None) -> Order:
    """Decide the order of day and month from all dates of a file.

    Parameters
    ----------
    texts : iterable of str
        The cells of the date column.
    given : str, optional
        What the user says; it holds for every mark.
    """
    if given is not None:
        return Order(by_mark=dict.fromkeys("-/.", given), why=dict.fromkeys("-/.", f"--dates {given}"))
    first: dict[str, str] = {}
    second: dict[str, str] = {}
    marks: set[str] = set()
    for text in texts:
        found = _NUMBERS.match(text)
        if found is None:
            continue
        marks.add(found[2])
        if int(found[1]) > 12 and int(found[3]) <= 12:
            first.setdefault(found[2], found[0])
        elif int(found[3]) > 12 and int(found[1]) <= 12:
            second.setdefault(found[2], found[0])
    by_mark, why = {}, {}
    for mark in sorted(marks):
        a, b = first.get(mark), second.get(mark)
        if a and b:
            why[mark] = f"{a} is day first and {b} month first"
        elif a or b:
            by_mark[mark] = DAY_FIRST if a else MONTH_FIRST
            why[mark] = f"{a or b} can be read in one way only, and no date in the file contradicts it"
        else:
            why[mark] = "no date in the file tells which number is the day"
    return Order(by_mark=by_mark, why=why)


def read_when(text: str, *, order: Order, clock: str = "") -> datetime:
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


def _day(text: str, order: Order) -> tuple[date, str]:
    if found := _YEAR_FIRST.match(text) or _EIGHT.match(text):
        year, _, month, day = found.groups()
    elif found := _NUMBERS.match(text):
        one, mark, two, year = found.groups()
        day, month = (one, two) if _day_comes_first(text, int(one), mark, int(two), order) else (two, one)
    elif found := _DAY_NAME.match(text):
        day, month, year = found[1], str(_MONTH.get(found[2].lower(), 0)), found[3]
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


def _no_date(text: str) -> QuantityError:
    if _SHORT_YEAR.match(text):
        return QuantityError(
            quoted(text), "a year of four digits", "write the whole year, such as 2025-03-14"
        )
    if _SERIAL.fullmatch(text):
        return QuantityError(quoted(text), EXPECTED, "give the column the format date in the spreadsheet")
    return QuantityError(quoted(text), EXPECTED, "write it as 2025-03-14, or 2025-03-14 10:20")


def _day_comes_first(text: str, one: int, mark: str, two: int, order: Order) -> bool:
    decided = order.by_mark.get(mark)
    if decided is not None:
        if (two if decided == DAY_FIRST else one) > 12:
            found = f"{quoted(text)}, while dates are {decided} ({order.why[mark]})"
            raise QuantityError(found, EXPECTED, "write the date as 2025-03-14")
        return decided == DAY_FIRST
    if (one > 12) != (two > 12):
        return one > 12
    if one == two:
        return True
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

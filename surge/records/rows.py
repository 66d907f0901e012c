"""One row of records after the other: tests, or faults, or a blank row."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TypeVar

from surge.records.cells import DIRECTIONS, EMPTY, FLOWING, TIMED, TOGETHER, YES_NO, quantity, word
from surge.records.columns import KIND, Column, ColumnTitles
from surge.records.dates import EXPECTED, DateOrder, latest_reading, read_when
from surge.records.decimals import shown_by
from surge.records.stroke_tests import Direction, LostTest, StrokeTest, Timed
from surge.records.text import RowFault, row_fault
from surge.units import QuantityError, quoted

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class ReadOptions:
    """What the user says about the file where its cells say nothing.

    Attributes
    ----------
    dates : str or None
        "day-first" or "month-first".
    timed : Timed or None
        What times count.
    together : bool or None
    columns : mapping of str to str
        Plain title -> meaning.
    units : mapping of str to str
        "time", "temperature" or "pressure" -> unit, where neither title nor cell says one.
    joined : bool
        An empty tag or date is that of the row above.
    decimal : str or None
        The decimal sign, "point" or "comma".
    today : date
        No test can be later.
    """

    today: date
    dates: str | None = None
    timed: Timed | None = None
    together: bool | None = None
    columns: Mapping[str, str] | None = None
    units: Mapping[str, str] | None = None
    joined: bool = False
    decimal: str | None = None


def cleaned(cell: str) -> str:
    """A cell without blanks around it, and with plain ones inside."""
    return " ".join(cell.replace("\ufeff", "").split())


class RowReader:
    """Reads row after row, and notes what is wrong.

    Parameters
    ----------
    header : ColumnTitles
    order : DateOrder
    asked : ReadOptions
    rows : callable, optional
        Gives the rows under the header once more, to look for the decimal sign.
    """

    def __init__(
        self,
        header: ColumnTitles,
        order: DateOrder,
        asked: ReadOptions,
        rows: Callable[[], Iterable[Sequence[str]]] = tuple,
    ) -> None:
        self.header, self.columns, self.order, self.asked = header, header.columns, order, asked
        self.latest = asked.today + timedelta(days=1)
        self.tests: list[StrokeTest] = []
        self.faults: list[RowFault] = []
        self.lost: list[LostTest] = []
        self.single: dict[int, list[str]] = {}  # rows with one cell: headings or notes, if no valve is named
        self.above: dict[str, str] = {}
        self.tags: set[str] = set()
        self.blank = self.repeated = 0
        self.seen: dict[tuple[object, ...], int] = {}
        self.number = 0
        self.rows = rows

    @cached_property
    def sign(self) -> str | None:
        """The decimal sign, as the user says or the numbers of the file show."""
        if self.asked.decimal is not None:
            return self.asked.decimal
        at = [c.index for c in self.columns.values() if c.meaning in KIND]
        return shown_by(cleaned(cells[k]) for cells in self.rows() for k in at if k < len(cells))

    def row(self, number: int, cells: Sequence[str]) -> None:
        """Read one row: its tests, or its faults, or a count of blank rows."""
        self.number = number
        texts = [cleaned(c) for c in cells]
        if not any(texts):
            self.blank += 1
            return
        if tuple(texts) == tuple(cleaned(c) for c in self.header.cells[: len(texts)]):
            self.blank += 1  # the header of a further page
            self.repeated += 1
            return
        if self._says_one_thing(texts):
            self.single[number] = texts
        else:
            self._test_row(texts)

    def finish(self) -> list[int]:
        """Decide on rows with a single text, once all valves are known; return those taken for no test."""
        notes = []
        for number, texts in self.single.items():
            if self._text(texts, "tag").casefold() in self.tags:
                self.number = number
                self._test_row(texts)
            else:
                notes.append(number)
        self.blank += len(notes)
        self.faults.sort(key=lambda f: f.row)
        return notes

    def _says_one_thing(self, texts: Sequence[str]) -> bool:
        """Whether a row has one cell only, and that is neither date nor time."""
        telling = ("date", *(c.meaning for c in self.header.times))
        return sum(1 for t in texts if t) == 1 and not any(self._text(texts, m) for m in telling)

    def _test_row(self, texts: list[str]) -> None:
        before = len(self.faults)
        if any(texts[self.header.width :]):
            self._more_cells(texts)
        else:
            texts = self._filled(texts)
            tests = self._tests(texts)
            if len(self.faults) == before:
                if not self._twice(tests, texts):  # what is said twice is lost only once
                    self.tests += tests
                    self.tags.add(tests[0].tag.casefold())
                return
        self.lost.append(self._lost(texts))

    def _filled(self, texts: list[str]) -> list[str]:
        """The cells with tag and date of the row above, where the user says that cells were joined.

        Not where both are empty and no direction is written: that may be a row of totals.
        """
        own = {m: self._text(texts, m) for m in ("tag", "date", "direction")}
        if self.asked.joined and any(own.values()):
            for meaning in ("tag", "date"):
                column = self.columns[meaning]
                if not own[meaning] and column.index < len(texts):
                    texts[column.index] = self.above.get(meaning, "")
        self.above |= {m: t for m in ("tag", "date") if (t := self._text(texts, m))}
        return texts

    def _lost(self, texts: Sequence[str]) -> LostTest:
        """What a refused row tells; cells that may have moved tell nothing but the tag."""
        whole = not any(texts[self.header.width :])
        tag = self._text(texts, "tag")
        self.tags.add(tag.casefold())
        day = self._latest_day(self._text(texts, "date")) if whole else None
        ways = [c.direction for c in self.header.times if self._text(texts, c.meaning)] if whole else []
        if ways in ([], [None]):
            ways = [DIRECTIONS.get(self._text(texts, "direction").casefold()) if whole else None]
        known = () if None in ways else tuple(w for w in ways if w is not None)
        return LostTest(row=self.number, tag=tag, directions=known, day=day)

    def _latest_day(self, text: str) -> date | None:
        """The day of a refused row; where it is not certain the latest that it can be."""
        try:
            day = read_when(text, order=self.order).date()
        except QuantityError:
            return latest_reading(text, until=self.latest)
        return day if day <= self.latest else None

    def fault(self, column: Column | None, found: str, expected: str, remedy: str) -> None:
        """Note a fault of the row that is being read."""
        self.faults.append(row_fault(self.number, column.title if column else "", found, expected, remedy))

    def _more_cells(self, texts: Sequence[str]) -> None:
        width = self.header.width
        self.fault(
            None,
            f"{len(texts)} cells under {width} titles",
            f"at most {width} cells",
            "put a text or figure that holds the separator in quotes, or give the further column a title",
        )

    def _text(self, texts: Sequence[str], meaning: str) -> str:
        column = self.columns.get(meaning)
        text = texts[column.index] if column is not None and column.index < len(texts) else ""
        return "" if text.casefold() in EMPTY else text

    def _got(self, texts: Sequence[str], meaning: str, read: Callable[[str, Column], T]) -> T | None:
        """What a cell says, read by ``read``; None where it says nothing, or has a fault, which is noted."""
        text = self._text(texts, meaning)
        if not text:
            return None
        column = self.columns[meaning]
        try:
            return read(text, column)
        except QuantityError as error:
            self.fault(column, error.found, error.expected, error.remedy)
            return None

    def _tests(self, texts: Sequence[str]) -> list[StrokeTest]:
        when, tag = self._when(texts), self._tag(texts)
        direction = self._got(texts, "direction", self._direction)
        timed = self._got(texts, "timed", self._timed)
        together = self._got(texts, "together", self._together)
        delay = self._got(texts, "delay", self._quantity("delay"))
        common = StrokeTest(
            row=self.number,
            tag=tag,
            direction=direction or Direction.CLOSING,
            when=when or datetime.min,
            time=0.0,
            delay=delay,
            temperature=self._got(texts, "temperature", self._quantity("temperature")),
            hydraulic_pressure=self._got(texts, "pressure", self._quantity("pressure")),
            together=self.asked.together if together is None else together,
            flowing=self._got(texts, "flowing", self._flowing),
            by=self._text(texts, "by"),
            remark=self._text(texts, "remark"),
        )
        found = []
        for column in self._times(texts):
            time = self._got(texts, column.meaning, self._quantity("time"))
            way = self._way(column, direction, texts)
            what = self._what(column, timed)
            if time is None or way is None:
                continue  # the fault is noted, and refuses the row
            self._delay_fits(time, what, delay, column)
            found.append(replace(common, direction=way, time=time, timed=what))
        return found

    def _when(self, texts: Sequence[str]) -> datetime | None:
        clock = self._text(texts, "time of day")
        if not self._text(texts, "date"):
            remedy = "write the day of the test; if cells were joined, say --joined"
            self.fault(self.columns["date"], "an empty cell", EXPECTED, remedy)
        when = self._got(texts, "date", lambda t, _: read_when(t, order=self.order, clock=clock))
        if when is not None and when.date() > self.latest:
            self.fault(
                self.columns["date"],
                f"{when.date()}, which is later than {self.asked.today}",
                "a day that has been",
                "check the date, and the order of day and month",
            )
        return when

    def _tag(self, texts: Sequence[str]) -> str:
        tag = self._text(texts, "tag")
        if not tag:
            self.fault(
                self.columns["tag"],
                "an empty cell",
                "the tag of the valve",
                "write the tag in every row; if cells were joined, say --joined",
            )
        return tag

    def _times(self, texts: Sequence[str]) -> list[Column]:
        """Columns with a time in this row; notes a row without any."""
        filled = [c for c in self.header.times if self._text(texts, c.meaning)]
        if not filled:
            titles = " or ".join(quoted(c.title) for c in self.header.times)
            self.fault(
                self.header.times[0],
                "no time",
                f"a time under {titles}",
                "write the measured time; take the row out if it is a heading or a note and no test",
            )
        return filled

    def _way(self, column: Column, direction: Direction | None, texts: Sequence[str]) -> Direction | None:
        if column.direction is None:
            if direction is None and not self._text(texts, "direction"):
                self.fault(
                    self.columns.get("direction"),
                    "no direction",
                    "closing or opening",
                    "write closing or opening",
                )
            return direction
        if direction not in (None, column.direction):
            said = quoted(self._text(texts, "direction"))
            self.fault(
                column,
                f"a time under {quoted(column.title)} in a row that says {said}",
                "one direction",
                "move the time to the other column, or correct the direction",
            )
        return column.direction

    def _what(self, column: Column, timed: Timed | None) -> Timed | None:
        if timed is not None and column.timed is not None and timed is not column.timed:
            self.fault(
                column,
                f"{timed.value} in the row, under a title that says {column.timed.value}",
                "one definition",
                "correct the row or the title",
            )
        return timed or column.timed or self.asked.timed

    def _delay_fits(self, time: float, timed: Timed | None, delay: float | None, column: Column) -> None:
        if delay is not None and timed is not Timed.MOVEMENT and delay >= time:
            self.fault(
                column,
                f"a time of {time:g} s with a signal delay of {delay:g} s",
                "a delay that is shorter than the time that holds it",
                "check both figures; write spindle movement if the time holds no delay",
            )

    def _twice(self, tests: Sequence[StrokeTest], texts: Sequence[str]) -> bool:
        """Whether the row says what an earlier one says; noted if so."""
        key = (*(replace(t, row=0, tag=t.tag.casefold()) for t in tests), self._text(texts, "repeat"))
        first = self.seen.setdefault(key, self.number)
        if first == self.number:
            return False
        self.fault(
            None,
            f"the same as row {first}",
            "each test once",
            "take one of the two out; if it is a repeat, write the time of day, or its number under repeat",
        )
        return True

    # Cells

    def _quantity(self, what: str) -> Callable[[str, Column], float]:
        usual = (self.asked.units or {}).get("time" if what == "delay" else what)
        return lambda text, column: quantity(
            text, what=what, unit=column.unit, usual=usual, sign=lambda: self.sign
        )

    @staticmethod
    def _direction(text: str, _: Column) -> Direction:
        return word(text, DIRECTIONS, what="a direction", examples="closing or opening")

    @staticmethod
    def _timed(text: str, _: Column) -> Timed:
        return word(text, TIMED, what="what was timed", examples="order to indicator or spindle movement")

    @staticmethod
    def _together(text: str, column: Column) -> bool:
        if column.yes is not None and text.casefold() in YES_NO:
            return YES_NO[text.casefold()] is column.yes
        return word(text, TOGETHER, what="how many valves moved", examples="alone or together")

    @staticmethod
    def _flowing(text: str, column: Column) -> bool:
        if column.yes is not None and text.casefold() in YES_NO:
            return YES_NO[text.casefold()] is column.yes
        return word(text, FLOWING, what="whether liquid flowed", examples="dry or with flow")

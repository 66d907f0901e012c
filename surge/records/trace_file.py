"""A recorded pressure against time, at one place or several, from a logger's text; every fault with its row.

One column of time is needed, and one of pressure for each place. A column belongs to the place whose name its
title has, or to the one that the user says; others are left alone.

Decisions
---------
* A pressure without "gauge" or "absolute" is refused: the two differ by an atmosphere, and nothing in the
  file tells which it is.
* An empty cell is no reading. A stretch in which a place has none for longer than ``GAP`` times the usual
  time between two is a gap: it is told with its rows, and nothing is put into it.
* "1.273" is a decimal or thousands. What the user says decides, then what other numbers of the file show,
  then that no line has a pressure of ``BEYOND_ALL``.
* A time of day counts from midnight.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import CaseError, about, meant
from surge.inputs import InputFile
from surge.phrases import capital, counted
from surge.records.cells import EMPTY, unit_of
from surge.records.columns import LONGEST_TITLES, plain
from surge.records.decimals import SIGN, readings, shown_by
from surge.records.text import SEPARATORS, CsvFile, RowFault, load_csv, row_fault, unusable
from surge.units import UNITS, grouped, quoted, vanished

LOOK = 60  # rows in which the titles are looked for
MOST_READINGS = 200_000  # rows
LEAST_READINGS = 30  # of one place: fewer tell nothing of a wave
MOST_FAULTS = 40  # rows told one by one
BEYOND_ALL = 1e8  # [Pa] a pressure that no line has: 1000 bar
GAP = 5.0  # times the usual time between two readings
TIMES = ("time", "t", "elapsed", "elapsed time", "seconds", "timestamp", "time stamp", "clock", "time of day")
EXAMPLE = "time [s], and for each place its name and a unit: manifold [bar(g)]"
_BRACKET = re.compile(r"^(.*?)[\s,]*\[(.*)\]\s*$", re.DOTALL)
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")
_CLOCK = re.compile(r"(?:[0-9-]+[T ])?([0-9]{1,2}):([0-9]{2}):([0-9]{2}(?:[.,][0-9]+)?)")


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaceTrace:
    """What was recorded at one place.

    Attributes
    ----------
    place : str
        A point of the case.
    title : str
        Of its column.
    rows : ndarray of int, shape (n,)
        As a spreadsheet counts, from 1.
    time, pressure : ndarray, shape (n,)
        By the clock of the record [s]; [Pa gauge].
    step : float
        The usual time between two readings [s].
    gaps : tuple of (row, row, seconds)
        The last reading before a gap and the first behind it, and how long it is.
    """

    place: str
    title: str
    rows: Ints
    time: Array
    pressure: Array
    step: float
    gaps: tuple[tuple[int, int, float], ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class RecordedTrace:
    """A record of pressures.

    Attributes
    ----------
    places : tuple of PlaceTrace
    file : InputFile
    header : int
        Row of the titles.
    notes : tuple of str
        What reading it brought up.
    """

    places: tuple[PlaceTrace, ...]
    file: InputFile
    header: int
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Column:
    index: int
    title: str
    place: str
    factor: float
    absolute: bool


@dataclass(frozen=True, kw_only=True)
class _Header:
    row: int
    separator: str
    time: int
    time_title: str
    time_unit: str | None
    columns: tuple[_Column, ...]


def load_trace(
    path: str | Path,
    *,
    points: Collection[str],
    places: Mapping[str, str] | None = None,
    atmosphere: float,
    decimal: str | None = None,
) -> RecordedTrace:
    """Read a recorded pressure from disk.

    Parameters
    ----------
    path : str or Path
    points : collection of str
        Names of the places that the case has.
    places : mapping of str to str, optional
        Title of a column, without its unit, to a point: where the title is not the point's name.
    atmosphere : float
        What an absolute pressure is read above [Pa].
    decimal : {"point", "comma"}, optional
        The decimal sign; by default what the numbers show.

    Raises
    ------
    CaseError
        With all faults: a record with a faulty row is not used.
    """
    return read_trace(load_csv(path), points=points, places=places, atmosphere=atmosphere, decimal=decimal)


def read_trace(
    source: CsvFile,
    *,
    points: Collection[str],
    places: Mapping[str, str] | None = None,
    atmosphere: float,
    decimal: str | None = None,
) -> RecordedTrace:
    """Read a recorded pressure from a file that was loaded; as :func:`load_trace`."""
    with about(source.file):
        header = _find(source, points, places or {})
        body = list(islice(source.rows(header.separator), header.row, header.row + MOST_READINGS + 1))
        if len(body) > MOST_READINGS:
            raise unusable(f"more than {MOST_READINGS} rows", "the record of one closure", "cut it to that")
        return _trace_of(source, _Rows(header, body, atmosphere, decimal))


# The titles


def _find(source: CsvFile, points: Collection[str], places: Mapping[str, str]) -> _Header:
    """Look for the row of titles, with every separator."""
    by_name = {plain(point): point for point in points}
    said = {plain(title): point for title, point in places.items()}
    seen: list[str] = []
    titled = 0
    for separator in SEPARATORS:
        for row, cells in enumerate(islice(source.rows(separator), LOOK), start=1):
            named = [_title(cell) for cell in cells]
            times = [k for k, (name, _) in enumerate(named) if name in TIMES]
            if not times or len(cells) < 2:
                continue
            wanted = [k for k, (name, _) in enumerate(named) if name in said or name in by_name]
            if wanted:
                _refuse_unknown_titles(said, named, cells, row)
                found = {k: said.get(named[k][0]) or by_name[named[k][0]] for k in wanted}
                return _header(cells, named, times, found, row=row, separator=separator)
            if not seen:
                seen = [c.strip() for k, c in enumerate(cells) if k not in times and c.strip()]
                titled = row
    if seen:
        near = meant(_title(seen[0])[0], list(points))
        example = near or next(iter(points), "manifold")
        raise unusable(
            f"no place of the case among the titles {', '.join(map(quoted, seen[:5]))}",
            "a column for each place, by the name of a point of the case",
            f'write the name of the point as the title, or say --place "{_title(seen[0])[0]}={example}"',
            row=titled,
        )
    raise unusable(f"no titles in the first {LOOK} rows", f"a row of titles with {EXAMPLE}", "write them")


def _refuse_unknown_titles(
    said: Mapping[str, str], named: Sequence[tuple[str, str]], cells: Sequence[str], row: int
) -> None:
    titles = {name for name, _ in named}
    for title in said:
        if title not in titles:
            raise unusable(
                f"no column {quoted(title)}, which --place names",
                f"one of {', '.join(quoted(c.strip()) for c in cells[:12] if c.strip())}",
                "write the title as it stands in the file, without its unit",
                row=row,
            )


def _title(cell: str) -> tuple[str, str]:
    match = _BRACKET.match(cell) if len(cell) <= LONGEST_TITLES else None
    name, unit = match.groups() if match else (cell, "")
    return plain(name[:LONGEST_TITLES]), " ".join(unit.split())


def _header(
    cells: Sequence[str],
    named: Sequence[tuple[str, str]],
    times: Sequence[int],
    found: Mapping[int, str],
    *,
    row: int,
    separator: str,
) -> _Header:
    faults: list[RowFault] = []
    if len(times) > 1:
        both = " and ".join(quoted(cells[k].strip()) for k in times)
        faults.append(row_fault(row, "", f"several columns of time: {both}", "one", "rename the others"))
    name, unit = named[times[0]]
    if unit and unit_of(unit, "time") not in UNITS["time"]:
        title = cells[times[0]].strip()
        faults.append(
            row_fault(row, title, f"unknown unit of time {quoted(unit)}", "s, min, h or ms", "write time [s]")
        )
    columns: list[_Column] = []
    for k, place in found.items():
        title = cells[k].strip()
        if place in [c.place for c in columns]:
            remedy = "take one of the two out, or rename it"
            faults.append(row_fault(row, title, f"a second column for {quoted(place)}", "one", remedy))
        told = _pressure_unit(named[k][1], title, row)
        if isinstance(told, RowFault):
            faults.append(told)
        else:
            columns.append(_Column(index=k, title=title, place=place, factor=told[0], absolute=told[1]))
    if faults:
        raise CaseError(list(faults))
    return _Header(
        row=row,
        separator=separator,
        time=times[0],
        time_title=cells[times[0]].strip(),
        time_unit=unit_of(unit, "time") if unit else "s" if name == "seconds" else None,
        columns=tuple(columns),
    )


def _pressure_unit(unit: str, title: str, row: int) -> tuple[float, bool] | RowFault:
    """Factor to Pa, and whether it counts from vacuum; a fault where the title does not say."""
    if not unit:
        return row_fault(
            row,
            title,
            "no unit",
            "a unit of pressure in square brackets, gauge or absolute",
            f"write {title} [bar(g)] if it reads 0 in the open air, {title} [bar(a)] if it reads about 1",
        )
    known = unit_of(unit, "pressure")
    for kind, absolute in (("gauge pressure", False), ("absolute pressure", True)):
        if known in UNITS[kind]:
            return UNITS[kind][known], absolute
    if known is not None:
        return row_fault(
            row,
            title,
            f"{quoted(unit)}, which says neither gauge nor absolute",
            "a unit such as bar(g) or bar(a)",
            f"write [{known}(g)] if it reads 0 in the open air, [{known}(a)] if it reads about 1",
        )
    listed = "bar(g), bar(a), kPa(g), psig, MPa(g) or kg/cm2(g)"
    return row_fault(row, title, f"unknown unit of pressure {quoted(unit)}", listed, "write one of these")


# The rows


class _CellError(Exception):
    """What was found, expected and remedied in one cell."""


def _trace_of(source: CsvFile, rows: _Rows) -> RecordedTrace:
    header = rows.header
    for row, cells in enumerate(rows.body, start=header.row + 1):
        try:
            rows.read(row, cells)
        except _CellError as error:
            rows.faults.append(row_fault(row, rows.title, *error.args))
    _refuse(rows.faults)
    return RecordedTrace(
        places=tuple(_place(column, rows.found[column.place], header.row) for column in header.columns),
        file=source.file,
        header=header.row,
        notes=tuple(_notes(source, header, rows)),
    )


class _Rows:
    """Reads row after row, and counts what is left out."""

    def __init__(
        self, header: _Header, body: Sequence[Sequence[str]], atmosphere: float, decimal: str | None
    ) -> None:
        self.header, self.body, self.atmosphere = header, body, atmosphere
        self.at = [header.time, *(c.index for c in header.columns)]
        texts = (cells[k].strip() for cells in body for k in self.at if k < len(cells))
        shown = shown_by(text for text in texts if not _CLOCK.fullmatch(text))
        self.sign = decimal or shown or self._possible()
        self.found: dict[str, list[tuple[int, float, float]]] = {c.place: [] for c in header.columns}
        self.faults: list[RowFault] = []
        self.last: tuple[int, float, list[str]] | None = None
        self.missing = self.doubled = 0
        self.title = ""

    def _possible(self) -> str | None:
        """The decimal sign where thousands would be pressures that no line has."""
        for column in self.header.columns:
            texts = (cells[column.index].strip() for cells in self.body if column.index < len(cells))
            for text in (text for text in texts if grouped(text)):
                if max(readings(text, None)) * column.factor > BEYOND_ALL:
                    return next(name for name, sign in SIGN.items() if sign in text)
        return None

    def read(self, row: int, cells: Sequence[str]) -> None:
        texts = [cells[k].strip() if k < len(cells) else "" for k in self.at]
        if all(text.casefold() in EMPTY for text in texts):
            return
        self.title = self.header.time_title
        time = _time(texts[0], self.header, self.sign)
        if self.last is not None and time <= self.last[1]:
            if time == self.last[1] and texts == self.last[2]:
                self.doubled += 1
                return
            raise _CellError(*_back(time, self.last[1], self.last[0]))
        self.last = (row, time, texts)
        for column, text in zip(self.header.columns, texts[1:], strict=True):
            self.title = column.title
            if text.casefold() in EMPTY:
                self.missing += 1
                continue
            above = self.atmosphere if column.absolute else 0.0
            self.found[column.place].append((row, time, _number(text, self.sign) * column.factor - above))


def _back(time: float, last: float, row: int) -> tuple[str, str, str]:
    if last - time > 0.5 * 86400.0:
        remedy = "cut the record at midnight, or export the time as seconds from its beginning"
    else:
        remedy = (
            "sort the rows by time; if several share one time the clock is too coarse: export it with more "
            "decimals"
        )
    return f"{time:g} s after {last:g} s in row {row}", "times that rise from row to row", remedy


def _refuse(faults: Sequence[RowFault]) -> None:
    if not faults:
        return
    told = list(faults[:MOST_FAULTS])
    if (more := len(faults) - MOST_FAULTS) > 0:
        told.append(
            row_fault(
                0,
                "",
                counted(more, "more row with faults", "more rows with faults"),
                "none",
                "correct those above, run again",
            )
        )
    raise CaseError(list(told))


def _number(text: str, sign: str | None) -> float:
    if not _NUMBER.fullmatch(text):
        expected = "a number, its unit in the title"
        raise _CellError(quoted(text), expected, "write the figure alone, or leave the cell empty")
    values = readings(text, sign if grouped(text) else None)
    if len(values) > 1:
        expected = "numbers that can be read in one way only"
        raise _CellError(quoted(text), expected, "say --decimal point or comma")
    if not abs(values[0]) < 1e12 or vanished(text.replace(",", "."), values[0]):
        raise _CellError(quoted(text), "a number that a computer can hold", "check the figure")
    return values[0]


def _time(text: str, header: _Header, sign: str | None) -> float:
    """Time of a cell [s]."""
    clock = _CLOCK.fullmatch(text)
    if clock and header.time_unit is None:
        return float(clock[1]) * 3600 + float(clock[2]) * 60 + float(clock[3].replace(",", "."))
    if text.casefold() in EMPTY:
        raise _CellError("an empty cell", "the time of the reading", "write it, or take the row out")
    value = _number(text, sign)
    if header.time_unit is None:
        expected = "s, min or ms in the title, or a time of day h:min:s"
        remedy = f"write the unit behind the title: {header.time_title} [s]"
        raise _CellError(f"{quoted(text)} without a unit of time", expected, remedy)
    return value * UNITS["time"][header.time_unit]


def _place(column: _Column, read: Sequence[tuple[int, float, float]], header: int) -> PlaceTrace:
    if len(read) < LEAST_READINGS:
        raise CaseError(
            [
                row_fault(
                    header,
                    column.title,
                    counted(len(read), "reading"),
                    f"{LEAST_READINGS} or more, from before the closure until its waves have passed",
                    "export the record with less time between two readings",
                )
            ]
        )
    rows, time, pressure = (np.array(part) for part in zip(*read, strict=True))
    between = np.diff(time)
    step = float(np.median(between))
    wide = np.flatnonzero(between > GAP * step)
    return PlaceTrace(
        place=column.place,
        title=column.title,
        rows=rows.astype(np.int64),
        time=time,
        pressure=pressure,
        step=step,
        gaps=tuple((int(rows[k]), int(rows[k + 1]), float(between[k])) for k in wide),
    )


def _notes(source: CsvFile, header: _Header, rows: _Rows) -> list[str]:
    decimal = f", decimal {rows.sign}" if rows.sign else ""
    said = [f"Separator {SEPARATORS[header.separator]}{decimal}."]
    if source.note:
        said.append(f"{capital(source.note)}.")
    left_out = [
        (rows.missing, "cell without a reading", "cells without a reading"),
        (rows.doubled, "row written twice", "rows written twice"),
    ]
    told = [counted(*each) for each in left_out if each[0]]
    return [*said, f"Left out: {', '.join(told)}."] if told else said

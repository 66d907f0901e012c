"""A measured curve of position against time from a spreadsheet's or logger's text; every fault with its row.

Two columns are needed, one of time and one of position; others are left alone.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from surge.errors import CaseError, about
from surge.phrases import capital
from surge.records.cells import EMPTY, unit_of
from surge.records.columns import LONGEST_TITLES, plain
from surge.records.text import SEPARATORS, CsvFile, RowFault, load_csv, row_fault, unusable
from surge.units import UNITS, grouped, printable, quoted, vanished

LOOK = 60  # rows in which the header is looked for
MOST_SAMPLES = 200_000
MOST_FAULTS = 40  # rows told one by one
TIMES = (
    "time",
    "t",
    "elapsed",
    "elapsed time",
    "time elapsed",
    "seconds",
    "time stamp",
    "timestamp",
    "clock",
)
POSITIONS = (
    *("position", "valve position", "opening", "valve opening", "position feedback", "feedback", "travel"),
    *("stroke", "angle", "disc angle", "spindle position", "stem position", "indicator"),
)
SHARES = {"%": 0.01, "percent": 0.01, "pct": 0.01, "-": 1.0, "0..1": 1.0, "0-1": 1.0, "fraction": 1.0}
BETWEEN_ENDS = ("deg", "°", "degree", "degrees", "mm", "cm", "ma", "v", "turns", "%", "-")
EXAMPLE = "time [s] and position [%] (or position [-], or angle [deg, 0 shut, 90 open])"
_BRACKET = re.compile(r"^(.*?)[\s,]*[\[(](.*)[\])]\s*$", re.DOTALL)
_END = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*[%°a-z]*\s*(?:=|is)?\s*(shut|closed|open)")
_NUMBER = re.compile(r"([+-]?[0-9]*[.,]?[0-9]+(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)
_CLOCK = re.compile(r"(?:[0-9-]+[T ])?([0-9]{1,2}):([0-9]{2}):([0-9]{2}(?:[.,][0-9]+)?)")


@dataclass(frozen=True, kw_only=True)
class CurveColumns:
    """Where the two columns are and what is in them.

    Attributes
    ----------
    row : int
        Of the header.
    separator : str
    time, position : int
        Columns, from 0.
    titles : (str, str)
    time_unit : str or None
    position_unit : str
        "" where the header says none.
    ends : (float, float) or None
        Shut and open, in the position's own unit.
    """

    row: int
    separator: str
    time: int
    position: int
    titles: tuple[str, str]
    time_unit: str | None
    position_unit: str
    ends: tuple[float, float] | None


def load_curve(path: str | Path, *, ends: tuple[float, float] | None = None) -> MeasuredCurve:
    """Read a measured curve from disk.

    Parameters
    ----------
    path : str or Path
    ends : (float, float), optional
        Position when shut and when open [the file's own unit]; by default what the header says.

    Raises
    ------
    CaseError
        With all faults: a curve with a faulty row is not used.
    """
    return read_curve(load_csv(path), ends=ends)


def read_curve(source: CsvFile, *, ends: tuple[float, float] | None = None) -> MeasuredCurve:
    """Read a measured curve from a file that was loaded.

    Parameters
    ----------
    source : CsvFile
    ends : (float, float), optional
        Position when shut and when open [the file's own unit]; by default what the header says.

    Raises
    ------
    CaseError
        As :func:`load_curve`.
    """
    with about(source.file):
        return _curve_of(source, ends)


def _curve_of(source: CsvFile, ends: tuple[float, float] | None) -> MeasuredCurve:
    table = _find(source)
    shut, opened = _scale(table, ends)
    body = list(islice(source.rows(table.separator), table.row, table.row + MOST_SAMPLES + 1))
    if len(body) > MOST_SAMPLES:
        raise unusable(f"more than {MOST_SAMPLES} rows", "the record of one stroke", "cut it to one stroke")
    marks = _decimal_commas(body, table)
    samples, faults, missing, blank = [], [], 0, 0
    for row, cells in enumerate(body, start=table.row + 1):
        time_cell, cell = (cells[k].strip() if k < len(cells) else "" for k in (table.time, table.position))
        if time_cell.casefold() in EMPTY and cell.casefold() in EMPTY:
            blank += 1
            continue
        if cell.casefold() in EMPTY:
            missing += 1
            continue
        try:
            time = _time(time_cell, table, commas=marks)
            position = _position(cell, table, commas=marks)
            samples.append(Sample(row=row, time=time, position=(position - shut) / (opened - shut)))
        except _CellError as error:
            faults.append(row_fault(row, error.column, *error.args))
    samples, doubled, order = _in_order(samples, table)
    _refuse([*faults, *order])
    return MeasuredCurve(
        samples=tuple(samples),
        filename=source.file.filename,
        sha256=source.file.sha256,
        notes=tuple(_notes(source, table, missing=missing, blank=blank, doubled=doubled, commas=marks)),
    )


def _refuse(faults: Sequence[RowFault]) -> None:
    if not faults:
        return
    first = sorted(faults, key=lambda f: f.row)[:MOST_FAULTS]
    if len(faults) > MOST_FAULTS:
        first.append(
            row_fault(
                0,
                "",
                f"{len(faults) - MOST_FAULTS} more rows with faults",
                "none",
                "correct those above, run again",
            )
        )
    raise CaseError(list(first))


def _notes(
    source: CsvFile, table: CurveColumns, *, missing: int, blank: int, doubled: int, commas: bool
) -> list[str]:
    said = [f"Separator {SEPARATORS[table.separator]}, decimal {'comma' if commas else 'point'}."]
    if source.note:
        said.append(f"{capital(source.note)}.")
    counted = [(missing, "without a position"), (blank, "blank"), (doubled, "written twice")]
    told = [f"{n} {'row' if n == 1 else 'rows'} {words}" for n, words in counted if n]
    return [*said, f"Left out: {', '.join(told)}."] if told else said


class _CellError(Exception):
    """What was found, expected and remedied in one cell."""

    def __init__(self, column: str, found: str, expected: str, remedy: str) -> None:
        self.column = column
        super().__init__(found, expected, remedy)


def _find(source: CsvFile) -> CurveColumns:
    """Look for the row of titles, with every separator."""
    half = ""
    for separator in SEPARATORS:
        for row, cells in enumerate(islice(source.rows(separator), LOOK), start=1):
            named = [_title(c) for c in cells]
            times = [k for k, (name, _) in enumerate(named) if name in TIMES]
            places = [k for k, (name, _) in enumerate(named) if name in POSITIONS]
            if times and places:
                return _table(cells, named, times, places, row=row, separator=separator)
            half = half or next((c for k, c in enumerate(cells) if k in (*times, *places)), "")
    found = f"only {quoted(half)}" if half else f"no titles in the first {LOOK} rows"
    raise unusable(found, f"a row of titles with {EXAMPLE}", "write the titles above the figures")


def _title(cell: str) -> tuple[str, str]:
    match = _BRACKET.match(cell) if len(cell) <= LONGEST_TITLES else None
    name, unit = match.groups() if match else (cell, "")
    if not match and "," in cell:
        name, _, unit = cell.partition(",")
    return plain(name[:LONGEST_TITLES]), " ".join(unit.casefold().split())


def _table(
    cells: Sequence[str],
    named: Sequence[tuple[str, str]],
    times: Sequence[int],
    places: Sequence[int],
    *,
    row: int,
    separator: str,
) -> CurveColumns:
    for what, columns in (("time", times), ("position", places)):
        if len(columns) > 1:
            both = " and ".join(quoted(cells[k]) for k in columns)
            raise unusable(
                f"several columns of {what}: {both}",
                "one",
                "rename those that are not of this stroke",
                row=row,
            )
    unit, position = named[times[0]][1], named[places[0]][1]
    if unit and unit_of(unit, "time") is None:
        raise unusable(
            f"{quoted(cells[times[0]])}: unknown unit of time", "s, min or ms", "write time [s]", row=row
        )
    found = {word: float(number.replace(",", ".")) for number, word in _END.findall(position)}
    shut = found.get("shut", found.get("closed"))
    ends = (shut, found["open"]) if shut is not None and "open" in found else None
    return CurveColumns(
        row=row,
        separator=separator,
        time=times[0],
        position=places[0],
        titles=(cells[times[0]].strip(), cells[places[0]].strip()),
        time_unit=unit_of(unit, "time") if unit else "s" if named[times[0]][0] == "seconds" else None,
        position_unit=re.split(r"[,;]|\s+[+-]?[0-9]", position)[0].strip(),
        ends=ends,
    )


def _scale(table: CurveColumns, ends: tuple[float, float] | None) -> tuple[float, float]:
    """Position when shut and when open, in the unit of the cells (per cent as they stand)."""
    unit, stated = table.position_unit, ends or table.ends
    title = quoted(table.titles[1])
    if stated is not None:
        if stated[0] == stated[1]:
            raise unusable(
                f"{title}: both ends are {stated[0]:g}", "two ends", "say --ends SHUT OPEN", row=table.row
            )
        return stated
    words = unit.removesuffix(" open").strip() if unit.endswith(" open") else unit
    if words in SHARES:
        return 0.0, 1.0 / SHARES[words]
    turned = next((w for w in (" shut", " closed") if unit.endswith(w)), "")
    if turned and unit.removesuffix(turned) in SHARES:
        return 1.0 / SHARES[unit.removesuffix(turned)], 0.0
    if unit in BETWEEN_ENDS:
        remedy = f"write the ends into the title, such as angle [{unit}, 0 shut, 90 open]"
        raise unusable(f"{title}: ends of the travel are not stated", "ends", remedy, row=table.row)
    if unit:
        raise unusable(f"{title}: unknown unit of position", EXAMPLE, "write one of these", row=table.row)
    return 0.0, 100.0  # then every cell has to carry its own per cent sign; see _position


def _decimal_commas(body: Sequence[Sequence[str]], table: CurveColumns) -> bool:
    """Whether the decimal sign is a comma: not when the comma parts the cells, nor when points are there."""
    cells = [c[k] for c in body for k in (table.time, table.position) if k < len(c)]
    numbers = [c for c in map(str.strip, cells) if not _CLOCK.fullmatch(c)]
    with_comma, with_point = ([c for c in numbers if sign in c] for sign in ",.")
    if with_comma and with_point:
        raise unusable(
            "numbers with commas and numbers with points", "one decimal sign", "write all with the same sign"
        )
    signed = with_comma or with_point
    if signed and all(grouped((_NUMBER.match(c) or [c, c])[1]) for c in signed):
        raise unusable(
            f"{quoted(signed[0])}, which can be thousands or a decimal",
            "numbers that can be read in one way only",
            "write them with another number of decimals",
        )
    return bool(with_comma)


def _number(text: str, column: str, *, commas: bool) -> tuple[float, str]:
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise _CellError(column, quoted(text), "a number", "write the figure, or leave the position blank")
    number = match[1].replace(",", ".") if commas else match[1]
    try:
        value = float(number)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9 or vanished(number, value):
        raise _CellError(column, quoted(text), "a number", "write the figure, or leave the position blank")
    return value, match[2].strip()


def _time(text: str, table: CurveColumns, *, commas: bool) -> float:
    """Time of a cell [s]; a time of day counts from midnight."""
    column, clock = table.titles[0], _CLOCK.fullmatch(text)
    if clock and table.time_unit is None:
        return float(clock[1]) * 3600 + float(clock[2]) * 60 + float(clock[3].replace(",", "."))
    value, own = _number(text, column, commas=commas)
    unit = unit_of(own, "time") if own else table.time_unit
    if unit not in UNITS["time"] or (own and table.time_unit not in (None, unit)):
        raise _CellError(
            column,
            f"{quoted(text)} without one unit of time",
            "s, min or ms, in the title or in the cell, or a time of day h:min:s",
            "write it behind the title: time [s]",
        )
    return value * UNITS["time"][unit]


def _position(text: str, table: CurveColumns, *, commas: bool) -> float:
    """Position of a cell, in the unit of the title."""
    value, own = _number(text, table.titles[1], commas=commas)
    own = own.casefold()
    if own and own != (table.position_unit or "%"):
        expected = f"a position in {printable(table.position_unit or '%')}"
        raise _CellError(
            table.titles[1], quoted(text), expected, "take the unit out of the cell, or correct it"
        )
    if not own and not table.position_unit:
        raise _CellError(
            table.titles[1],
            f"{quoted(text)} without a unit: 1 can be fully open or one per cent",
            EXAMPLE,
            "write the unit behind the title, such as position [%]",
        )
    return value


def _in_order(samples: Sequence[Sample], table: CurveColumns) -> tuple[list[Sample], int, list[RowFault]]:
    """Leave out rows written twice; a time that stands still or goes back is a fault."""
    kept: list[Sample] = []
    faults, doubled = [], 0
    for s in samples:
        if kept and s.time <= kept[-1].time:
            if (s.time, s.position) == (kept[-1].time, kept[-1].position):
                doubled += 1
                continue
            faults.append(
                row_fault(
                    s.row,
                    table.titles[0],
                    f"{s.time:g} s after {kept[-1].time:g} s in row {kept[-1].row}",
                    "times that rise from row to row",
                    "sort the rows by time; if several share one time the clock is too coarse: export "
                    "it with more decimals, or number the rows and multiply by the time between samples",
                )
            )
        kept.append(s)
    return kept, doubled, faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One measured pair; ``row`` is where it stands in its file."""

    row: int
    time: float
    position: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredCurve:
    """Measured pairs in order of time, and what reading them brought up.

    Attributes
    ----------
    samples : tuple of Sample
    filename, sha256 : str
    notes : tuple of str
    """

    samples: tuple[Sample, ...]
    filename: str = ""
    sha256: str = ""
    notes: tuple[str, ...] = ()

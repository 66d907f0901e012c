"""Stroke-test records as people keep them: a spreadsheet's text in, tests and faults out; no row is lost.

Forgiving of form (separator, coding, order of columns, blank rows), unforgiving of what changes a meaning.

The way of a file: :mod:`surge.records.text` (bytes, separator, quotes), ``columns`` (the header), ``rows``
with ``cells`` and ``dates``. Then, in the room of the valves: ``sources`` (which limits hold for which tag),
``judge`` (what each test proves), ``history`` (drift and scatter), ``findings``. 20 000 rows of 300 valves
take 2 s.

Decisions
---------
* At most ``text.MOST_ROWS`` rows and ``text.BIGGEST`` bytes. With a fault in every cell they take 1 GB,
  and no more as JSON. A stroke lasts ten minutes at most.
* A refused row leaves a ``LostTest``: valve, direction, and the latest day that it can be of. While it may be
  later than what decides, no limit of that valve is taken as kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from surge.errors import CaseError, about
from surge.inputs import input_of
from surge.phrases import capital
from surge.records.columns import LOOK, ColumnTitles, find_header, named, no_header
from surge.records.dates import DateOrder, order_of
from surge.records.rows import ReadOptions, RowReader, cleaned
from surge.records.stroke_tests import LostTest, StrokeTest
from surge.records.text import MOST_ROWS, SEPARATORS, CsvFile, RowFault, csv_of, load_csv, unusable
from surge.units import quoted
from surge.workers import Progress

__all__ = ["ReadOptions", "Records", "load_records", "read_records"]

TELL_EVERY = 5000  # rows


@dataclass(frozen=True, kw_only=True)
class Records:
    """What a file of records holds.

    Attributes
    ----------
    filename, sha256 : str
    tests : tuple of StrokeTest
        In the order of the file; a row with closing and opening time gives two.
    faults : tuple of RowFault
        Of the rows that are refused; a row may have several.
    rows : int
        Below the header; blank ones included.
    blank : int
    refused : frozenset of int
        Numbers of the refused rows.
    notes : tuple of str
        How the file was understood.
    tag_title : str
        Title of the column of tags.
    titles : tuple of (str, str)
        Every title of the table, and what its column means; "" where it is not used.
    lost : tuple of LostTest
        What the refused rows tell, those apart that say what another row says.
    """

    filename: str
    sha256: str
    tests: tuple[StrokeTest, ...]
    faults: tuple[RowFault, ...]
    rows: int
    blank: int
    refused: frozenset[int]
    notes: tuple[str, ...]
    tag_title: str = "tag"
    titles: tuple[tuple[str, str], ...] = ()
    lost: tuple[LostTest, ...] = ()


def load_records(path: str | Path, asked: ReadOptions, *, progress: Progress | None = None) -> Records:
    """Read a file of records from disk.

    Parameters
    ----------
    path : str or Path
    asked : ReadOptions
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError
        When nothing of the file can be read: no text, no header, a quote that swallows rows, too large.
        Faults of single rows are part of the result.
    """
    return _read(load_csv(path), asked, progress or (lambda _: None))


def read_records(content: bytes, asked: ReadOptions, *, filename: str = "records.csv") -> Records:
    """Read the bytes of a file of records; as :func:`load_records`."""
    return _read(csv_of(input_of(content, filename=filename)), asked, lambda _: None)


def _read(source: CsvFile, asked: ReadOptions, progress: Progress) -> Records:
    with about(source.file):
        return _tests_of(source, asked, progress)


def _tests_of(source: CsvFile, asked: ReadOptions, progress: Progress) -> Records:
    separator, header = _layout(source, asked)
    order = order_of(_dates(source, separator, header, progress), given=asked.dates)

    def body() -> Iterator[list[str]]:
        return islice(source.rows(separator, width=header.width), header.row, None)

    reader = RowReader(header, order, asked, body)
    count = 0
    for number, cells in enumerate(body(), start=header.row + 1):
        count += 1
        if count % TELL_EVERY == 0:
            progress(f"{count} rows read")
        reader.row(number, cells)
    singles = reader.finish()
    return Records(
        filename=source.file.filename,
        sha256=source.file.sha256,
        tests=tuple(reader.tests),
        faults=tuple(reader.faults),
        rows=count,
        blank=reader.blank,
        refused=frozenset(f.row for f in reader.faults),
        notes=tuple(_notes(source, separator, header, order, reader, singles)),
        lost=tuple(reader.lost),
        tag_title=header.columns["tag"].title,
        titles=tuple(_titles(header)),
    )


def _layout(source: CsvFile, asked: ReadOptions) -> tuple[str, ColumnTitles]:
    """Find separator and header: the separator with which a header is found that names most."""
    found: list[tuple[str, ColumnTitles, list[RowFault]]] = []
    nearest: ColumnTitles | None = None
    first_error: CaseError | None = None
    for separator in SEPARATORS:
        rows, error = _first_rows(source, separator)
        first_error = first_error or error
        header, near, faults = find_header(rows, said=asked.columns)
        if header is not None:
            found.append((separator, header, faults))
        elif near is not None and (nearest is None or named(near) > named(nearest)):
            nearest = near
    if not found:
        raise first_error if first_error is not None and nearest is None else no_header(nearest)
    separator, header, faults = max(found, key=lambda f: len(f[1].columns))
    if faults:
        raise CaseError(list(faults))
    return separator, header


def _titles(header: ColumnTitles) -> Iterator[tuple[str, str]]:
    meanings = {column.index: column.meaning for column in header.columns.values()}
    for k, cell in enumerate(header.cells):
        if cell.strip():
            yield cell.strip(), meanings.get(k, "")


def _first_rows(source: CsvFile, separator: str) -> tuple[list[list[str]], CaseError | None]:
    """Rows in which the header may be; those before a row that cannot be read, and why it cannot."""
    rows: list[list[str]] = []
    try:
        for cells in islice(source.rows(separator), LOOK):
            rows.append(cells)
    except CaseError as error:
        return rows, error
    return rows, None


def _dates(source: CsvFile, separator: str, header: ColumnTitles, progress: Progress) -> Iterable[str]:
    """Cells of the date column; refuses a file of too many rows."""
    at = header.columns["date"].index
    for number, cells in enumerate(source.rows(separator, width=header.width)):
        if number >= header.row + MOST_ROWS:
            found, remedy = f"more than {MOST_ROWS} rows", "divide it by years or by ships"
            raise unusable(found, f"at most {MOST_ROWS} rows", remedy)
        if number % (10 * TELL_EVERY) == 0:
            progress(f"{number} rows looked at")
        if number >= header.row and at < len(cells):
            yield cleaned(cells[at])


def _notes(
    source: CsvFile,
    separator: str,
    header: ColumnTitles,
    order: DateOrder,
    reader: RowReader,
    singles: Sequence[int],
) -> Iterable[str]:
    above = {0: "", 1: "; row 1 above it is taken for a title"}.get(
        header.row - 1, f"; rows 1 to {header.row - 1} above it are taken for titles"
    )
    yield f"Titles of columns found in row {header.row}, cells parted by {SEPARATORS[separator]}{above}."
    if header.unused:
        yield f"Columns not used: {', '.join(quoted(t) for t in header.unused)}."
    for mark, which in order.by_mark.items():
        if reader.asked.dates is None:
            yield f'Dates with "{mark}" are {which}: {order.why[mark]}.'
    if reader.repeated:
        yield f"The row of titles comes {reader.repeated} times more: counted as blank."
    if singles:
        listed = ", ".join(str(n) for n in singles[:8]) + (" ..." if len(singles) > 8 else "")
        what = "a single text and neither date nor time: taken for a heading or a note, counted as blank"
        yield f"Row{'s' if len(singles) > 1 else ''} {listed}: {what}."
    if reader.asked.joined:
        yield "An empty tag or date is taken to be that of the row above, as --joined says."
    if source.note:
        yield f"{capital(source.note)}."

"""A file of records from disk to rows of cells: size, coding, separator, quotes."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from surge.errors import CaseError, Fault, about
from surge.inputs import InputFile, read_input, unread

BIGGEST = 100_000_000  # [bytes]
MOST_ROWS = 250_000  # a ship with a hundred valves needs a century for that
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
WORKBOOKS = {
    b"PK\x03\x04": "a workbook (xlsx, ods) or another packed file",
    b"\xd0\xcf\x11\xe0": "an old workbook (xls)",
    b"%PDF": "a PDF",
}
SWALLOWED = 3  # separators in a line inside a quoted cell: fewer are no row that a quote has swallowed


@dataclass(frozen=True, kw_only=True)
class RowFault(Fault):
    """A fault of one row, or of the file (row 0).

    Attributes
    ----------
    row : int
        As a spreadsheet counts, from 1.
    column : str
        Its header; "" where the row as a whole is meant.
    """

    row: int
    column: str


def row_fault(row: int, column: str, found: str, expected: str, remedy: str) -> RowFault:
    """Return a fault with its path."""
    return RowFault(
        path=("row", row, column), row=row, column=column, found=found, expected=expected, remedy=remedy
    )


def unusable(found: str, expected: str, remedy: str, *, row: int = 0) -> CaseError:
    """Return the error for a file of which nothing can be read."""
    return CaseError([row_fault(row, "", found, expected, remedy)])


@dataclass(frozen=True, kw_only=True)
class CsvFile:
    """The bytes of a file and how they are coded.

    Attributes
    ----------
    file : InputFile
    coding : str
        As Python names it.
    note : str
        What the reader should know about the coding; "" for nothing.
    """

    file: InputFile
    coding: str
    note: str = ""

    def rows(self, separator: str, *, width: int | None = None) -> Iterator[list[str]]:
        """Yield the cells of row after row; ``width`` is that of the table, once known.

        Raises
        ------
        CaseError
            A cell that is too long, or a quote that swallows rows.
        """
        text = io.TextIOWrapper(io.BytesIO(self.file.content), encoding=self.coding, newline="")
        # Strict: a quote that swallows rows nearly always ends in one that has no separator behind it.
        reader = csv.reader(text, delimiter=separator, skipinitialspace=separator != "\t", strict=True)
        number = 0
        try:
            for number, cells in enumerate(reader, start=1):
                if width is not None and any("\n" in c or "\r" in c for c in cells):
                    # A remark of several lines may hold separators, but not as many as half a row.
                    least = max(min(SWALLOWED, width - 1), width // 2)
                    _refuse_swallowed(cells, number, separator, least)
                yield cells
        except csv.Error as error:
            found = (
                f"row {number + 1} cannot be read: {error}"
                if "larger" in str(error)
                else f"in row {number + 1} a quote is opened that does not close at the end of a cell"
            )
            raise unusable(
                found,
                "cells below 131072 characters, quotes in pairs around one cell",
                'look for a single quote (") in that row: take it out, or write it twice',
                row=number + 1,
            ) from None


def _refuse_swallowed(cells: list[str], row: int, separator: str, least: int) -> None:
    for cell in cells:
        lines = cell.splitlines()
        if any(line.count(separator) >= least for line in lines[1:]):
            raise unusable(
                f"in row {row} a quote is opened and closed only {len(lines) - 1} lines later",
                "quotes in pairs around one cell",
                'take the single quote (") out, or write it twice',
                row=row,
            )


def load_csv(path: str | Path) -> CsvFile:
    """Read a file of records.

    Raises
    ------
    CaseError
        With one fault when it cannot be opened, is too big, or is no text.
    """
    with about(unread(str(path))):
        try:
            file = read_input(path, most=BIGGEST)
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) else str(error)
            raise unusable(
                f"cannot be opened: {reason}",
                "a table of stroke tests (CSV)",
                "check the path and the rights",
            ) from None
    return csv_of(file)


def csv_of(file: InputFile) -> CsvFile:
    """Find out how a file is coded; raises CaseError as :func:`load_csv`."""
    with about(file):
        coding, note = _readable(file.content)
    return CsvFile(file=file, coding=coding, note=note)


def _readable(content: bytes) -> tuple[str, str]:
    """Return the coding of a text and what to know about it; refuse what is no text."""
    if len(content) > BIGGEST:
        found, remedy = f"more than {BIGGEST // 10**6} MB", "divide it by years or by ships"
        raise unusable(found, f"at most {BIGGEST // 10**6} MB and {MOST_ROWS} rows", remedy)
    for mark, kind in WORKBOOKS.items():
        if content.startswith(mark):
            raise unusable(kind, "a text with separators (CSV)", "save the sheet as CSV in the spreadsheet")
    coding, note = _coding(content)
    try:
        text = content.decode(coding)
    except UnicodeDecodeError:
        raise unusable(
            "bytes that are text neither in UTF-8 nor in UTF-16 nor in Windows-1252",
            "a text with separators (CSV)",
            "save the sheet as CSV, coding UTF-8",
        ) from None
    if "\0" in text:
        found = "a text with null characters"
        raise unusable(found, "a text with separators (CSV)", "save the sheet again as CSV, coding UTF-8")
    return coding, note


def _coding(content: bytes) -> tuple[str, str]:
    if content.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig", ""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", ""
    head = content[:2000]
    for coding, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[0::2])):
        if len(head) >= 8 and zeros.count(0) > 0.6 * len(zeros):
            return coding, "read as UTF-16 without its mark"
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", "read as Windows-1252, since it is not UTF-8: look at accents in names and remarks"
    return "utf-8", ""

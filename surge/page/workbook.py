"""The first sheet of a workbook as a table with commas, for those who have no CSV."""

from __future__ import annotations

import csv
import io
import zipfile
import zlib
from datetime import datetime
from typing import Any
from xml.etree.ElementTree import ParseError

from surge.errors import RequestError
from surge.records.text import BIGGEST

UNPACKED = 10**8  # [bytes]
# What a damaged workbook ends with: of the packing, of the text in it, of what openpyxl does not find there.
_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    ParseError,
    NotImplementedError,
    RuntimeError,
    OSError,
    EOFError,
    LookupError,
    ValueError,
    TypeError,
    AttributeError,
    ArithmeticError,
)


def first_sheet(content: bytes) -> bytes:
    """Return the first sheet of a workbook (XLSX) as CSV; figures as they are kept, days as they are.

    Raises
    ------
    RequestError
        It cannot be read, or holds more than is read of a table.
    """
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > UNPACKED:
                raise RequestError(
                    f"the workbook holds more than {UNPACKED // 10**6} MB: save its first sheet as CSV"
                )
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        out = io.StringIO()
        table = csv.writer(out)
        for row in book.worksheets[0].iter_rows(values_only=True):
            table.writerow(["" if v is None else _cell(v) for v in row])
            if out.tell() > BIGGEST:  # a sheet may claim millions of empty cells
                raise RequestError(
                    f"the first sheet holds more than {BIGGEST // 10**6} MB: divide it by years or by ships"
                )
        book.close()
    except _DAMAGED as error:
        raise RequestError(f"the workbook cannot be read ({error}): save its first sheet as CSV") from None
    return out.getvalue().encode()


def _cell(value: Any) -> str:
    if isinstance(value, datetime) and not (value.hour or value.minute or value.second):
        return value.date().isoformat()
    return repr(value) if isinstance(value, float) else str(value)

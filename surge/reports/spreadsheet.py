"""Tables for spreadsheets (CSV): figures stay figures, and no text is ever run.

Decisions
---------
* Texts come from cases and records of others. A spreadsheet runs a cell that begins with one of
  :data:`EXECUTED`, in quotes too, and divides a line at the separator of its own country. So an apostrophe
  goes before such a sign at the start of a text and behind whatever may divide cells; every text is quoted.
* Control characters become blanks; marks of direction and of no width go. Joiners inside words stay: Persian
  and Indian scripts need them.
* A mark at the beginning tells spreadsheets that the table is UTF-8.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence

from surge.units import JOINERS

EXECUTED = "=+-@＝＋－＠﹦﹢﹣﹫⁼⁺⁻₌₊₋﬩⩵⩶−"  # signs of a formula, and other forms of them
MARK = "\ufeff"
_FORMULA = re.compile(rf"""(^|[,;|"'])([\s{JOINERS}]*)(?=[{re.escape(EXECUTED)}])""")
Cell = str | float | None


def table(rows: Iterable[Sequence[Cell]]) -> str:
    """Return rows as the text of a CSV file.

    Parameters
    ----------
    rows : iterable of sequences
        Of texts, of numbers as they are to stand there, and of None for an empty cell. A number that is not
        finite is an empty cell too.
    """
    return MARK + "".join(",".join(map(_cell, row)) + "\r\n" for row in rows)


def _cell(value: Cell) -> str:
    if isinstance(value, str):
        doubled = safe(value).replace('"', '""')
        return f'"{doubled}"'
    return "" if value is None or not math.isfinite(value) else str(value)  # repr of numpy names its type


def safe(text: str) -> str:
    """Return a text of which no spreadsheet takes a part for a formula, and that shows all that it holds."""
    plain = "".join(_plain(c) for c in text).strip(JOINERS)
    return _FORMULA.sub(r"\1\2'", plain)


def _plain(c: str) -> str:
    kind = unicodedata.category(c)
    if kind in ("Cc", "Zl", "Zp"):
        return " "
    return "" if kind in ("Cf", "Cs") and c not in JOINERS else c

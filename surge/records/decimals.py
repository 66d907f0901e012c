"""The decimal sign of a file: a point, a comma, or neither can be told.

Decisions
---------
* "1.450" and "1,450" may be decimals or thousands. What the user says decides, then what other numbers of
  the file show: "12.5" and "0.125" have a decimal point, "12,5" a decimal comma. A file with both signs as
  decimals, or with neither, tells nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from surge.units import grouped

POINT, COMMA = "point", "comma"
SIGN = {POINT: ".", COMMA: ","}
_NUMBER = re.compile(r"([+-]?[0-9]*([.,])[0-9]+)(?![0-9]*[.,:][0-9])")


def shown_by(texts: Iterable[str]) -> str | None:
    """Return "point" or "comma" where the numbers of a file show which is the decimal sign, else None.

    Parameters
    ----------
    texts : iterable of str
        Cells, each beginning with a number or not.
    """
    signs = {m[2] for text in texts if (m := _NUMBER.match(text)) is not None and not grouped(m[1])}
    return next((name for name, sign in SIGN.items() if signs == {sign}), None)


def readings(number: str, sign: str | None) -> list[float]:
    """Return what a number with one point or comma at most can mean: one value, or a decimal and thousands.

    Parameters
    ----------
    number : str
    sign : {"point", "comma"} or None
        The decimal sign, where it is known.
    """
    decimal = float(number.replace(",", "."))
    if not grouped(number):
        return [decimal]
    thousands = float(re.sub("[.,]", "", number))
    if sign is None:
        return [decimal, thousands]
    return [decimal if SIGN[sign] in number else thousands]

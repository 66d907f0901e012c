"""Single cells of records: numbers with units, and the words that people write for what a test was."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import TypeVar

from surge.records.decimals import readings
from surge.records.stroke_tests import Direction, Timed
from surge.units import ATMOSPHERE, UNITS, ZERO, QuantityError, grouped, one_way, quoted, vanished

MINUTES, HOURS = "min:s", "h:min:s"  # "units" of a time with colons
TYPED_WRONG = 5  # [min] from here whole minutes are rather seconds that a spreadsheet took for minutes
T = TypeVar("T")
EMPTY = frozenset({"", "-", "--", "---", "–", "—", "n/a", "n.a.", "na", "nil", "none"})
_NUMBER = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)(.*)", re.DOTALL)
_COLONS = re.compile(r"([0-9]+):([0-9]{2})(?::([0-9]{2}))?((?:[.,][0-9]+)?)(.*)", re.DOTALL)
_LOOSE = str.maketrans({"³": "3", "²": "2", "°": "", "º": "", "˚": "", " ": "", ".": "", "[": "", "]": ""})

_WORDS_OF_UNITS = {
    "time": {
        "s": ("s", "sec", "secs", "second", "seconds"),
        "min": ("min", "mins", "minute", "minutes"),
        "ms": ("ms", "millisecond", "milliseconds"),
        "h": ("h", "hour", "hours"),
        MINUTES: ("min:s", "min:sec", "mm:ss", "m:ss", "m:s"),
        HOURS: ("h:min:s", "hh:mm:ss", "h:mm:ss", "h:m:s"),
    },
    "temperature": {
        "degC": ("degc", "c", "celsius", "degcelsius", "degreesc"),
        "degF": ("degf", "f", "fahrenheit", "degfahrenheit", "degreesf"),
        "K": ("k", "kelvin"),
    },
}
_BOUNDS = {  # [SI] beyond them it is a slip of the pen
    "time": (0.0, 600.0, "above 0 and at most 10 min"),
    "delay": (0.0, 600.0, "from 0 to 10 min"),
    "temperature": (213.15, 473.15, "from -60 to 200 degC"),
    "pressure": (0.0, 1e8, "from 0 to 1000 bar"),
}


def _loose(unit: str) -> str:
    return unit.translate(_LOOSE).casefold()


def _units(kind: str) -> dict[str, str]:
    """Every spelling of the units of a kind, loosely written -> the unit."""
    if kind == "pressure":
        listed = [*UNITS["gauge pressure"], *UNITS["absolute pressure"], *UNITS["pressure difference"]]
        known = {_loose(u): u for u in reversed(listed) if u != "Pa"}
        return known | {_loose(u).replace("(g)", "gauge"): u for u in listed if "(g)" in u}
    return {_loose(word): unit for unit, words in _WORDS_OF_UNITS[kind].items() for word in words}


SPELLINGS = {kind: _units(kind) for kind in ("time", "temperature", "pressure")}


def unit_of(text: str, kind: str) -> str | None:
    """The unit that a header or cell names, "time", "temperature" or "pressure"; None for none of these."""
    return SPELLINGS[kind].get(_loose(text))


def quantity(
    text: str,
    *,
    what: str,
    unit: str | None,
    usual: str | None = None,
    sign: Callable[[], str | None] = lambda: None,
) -> float:
    """Read a cell as a quantity in SI.

    Parameters
    ----------
    text : str
    what : str
        "time", "delay", "temperature" or "pressure".
    unit : str or None
        That of the header.
    usual : str, optional
        Where neither header nor cell says one.
    sign : callable, optional
        Tells the decimal sign of the file, as :mod:`surge.records.decimals`; asked only where it is needed.

    Raises
    ------
    QuantityError
    """
    kind = "time" if what == "delay" else what
    colons = _COLONS.fullmatch(text) if kind == "time" else None
    if colons:
        value = _with_colons(text, colons, unit, usual)
    else:
        number, own = _split(text, kind, sign)
        agreed = _agreed(text, own, unit or (None if own else usual), kind)
        value = _one_reading([_in_si(x, agreed, kind, text) for x in number], what, text)
    if not _possible(value, what):
        words = _BOUNDS[what][2]
        raise QuantityError(quoted(text), f"a {_name(what)} {words}", "check the figure and its unit")
    return value


def _name(what: str) -> str:
    return {"delay": "signal delay", "pressure": "hydraulic pressure", "time": "stroke time"}.get(what, what)


def _possible(value: float, what: str) -> bool:
    low, high, _ = _BOUNDS[what]
    return low <= value <= high and not (what == "time" and value == 0.0)


def _one_reading(values: list[float], what: str, text: str) -> float:
    """The one value that is possible of a figure such as 1.450; an error if it can be read in two ways."""
    found = [v for v in values if _possible(v, what)] if len(values) > 1 else values
    if len(found) == 1:
        return found[0]
    number = _NUMBER.match(text)
    assert number is not None
    thousands, decimal = one_way(number[1])
    remedy = f"write {thousands} for thousands or {decimal} for a decimal, or say --decimal point or comma"
    raise QuantityError(quoted(text), "a number that can be read in one way only", remedy)


def _split(text: str, kind: str, sign: Callable[[], str | None]) -> tuple[list[float], str]:
    """Divide a cell into its number, in every way to read it, and what stands behind it."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise QuantityError(quoted(text), f"a number, with its {kind} unit", "write the figure alone: 23.4")
    number = match[1]
    values = readings(number, sign() if grouped(number) else None)
    if not all(math.isfinite(v) and not vanished(number, v) for v in values):
        raise QuantityError(quoted(text), "a number that a computer can hold", "check the figure")
    return values, match[2].strip()


def _agreed(text: str, own: str, header: str | None, kind: str) -> str:
    """The one unit of header and cell."""
    example = {"time": "s", "temperature": "degC", "pressure": "bar"}[kind]
    if not own:
        if header is None:
            found = f"{quoted(text)} without a unit, in the header or in the cell"
            raise QuantityError(
                found,
                f"a unit of {kind}",
                f"say --unit {kind}={example} if it is that, or write it behind the title: [{example}]",
            )
        return header
    unit = unit_of(own, kind)
    if unit is None or unit in (MINUTES, HOURS):
        listed = ", ".join(dict.fromkeys(u for u in SPELLINGS[kind].values() if ":" not in u))
        raise QuantityError(quoted(text), f"a number and a unit of {kind}", f"write one of {listed}")
    if header is not None and unit != header:
        raise QuantityError(
            f"{quoted(text)} under a header that says {header}", "one unit", "take one of the two out"
        )
    return unit


def _in_si(number: float, unit: str, kind: str, text: str) -> float:
    if unit in (MINUTES, HOURS):
        raise QuantityError(
            quoted(text),
            f"a time as {unit}, as the header says",
            "write 0:23 for 23 s, or change the header to [s]",
        )
    if kind == "temperature":
        return (number + ZERO.get(unit, 0.0)) * UNITS[kind][unit]
    if kind == "time":
        return number * UNITS[kind][unit]
    if unit in UNITS["absolute pressure"]:
        return number * UNITS["absolute pressure"][unit] - ATMOSPHERE  # written above vacuum
    # Gauges on hydraulic power packs read above the atmosphere: a bare bar is taken so in this column.
    return number * (UNITS["gauge pressure"] | UNITS["pressure difference"])[unit]


def _with_colons(text: str, match: re.Match[str], header: str | None, usual: str | None) -> float:
    one, two, three, part, behind = match.groups()
    unit = unit_of(behind.strip(), "time") if behind.strip() else header or usual
    wanted = HOURS if three else MINUTES
    if unit != wanted or (header not in (None, wanted)):
        remedy = f"say --unit time={wanted}" if unit is None else f"change the title to [{wanted}]"
        raise QuantityError(
            f"{quoted(text)}, which can be a time of day, hours and minutes, or minutes and seconds",
            "a number of seconds, or a column whose header says [min:s] (or [h:min:s])",
            f"{remedy} if it is that; a time of day goes into its own column",
        )
    if three and int(two) >= TYPED_WRONG and float(three + part.replace(",", ".")) == 0.0:
        raise QuantityError(
            f"{quoted(text)}, {int(two)} minutes and no seconds",
            "a stroke time with its seconds",
            f"write 0:00:{two} if {int(two)} s were meant (spreadsheets take 0:{two} for minutes), "
            f"else {int(two)} min",
        )
    parts = [float(x) for x in ((one, two, three) if three else ("0", one, two))]
    return parts[0] * 3600 + parts[1] * 60 + parts[2] + float("0" + part.replace(",", ".") if part else 0)


# Words

_CLOSING: tuple[str, ...] = (
    "c",
    "cl",
    "close",
    "closes",
    "closed",
    "closing",
    "to close",
    "shut",
    "shutting",
    "to shut",
)
_CLOSING += ("open to shut", "open-shut", "open to closed", "open-close", "open-closed", "o-c", "o-s")
_OPENING: tuple[str, ...] = (
    "o",
    "op",
    "open",
    "opens",
    "opened",
    "opening",
    "to open",
    "shut to open",
    "shut-open",
)
_OPENING += ("closed to open", "close-open", "closed-open", "c-o", "s-o")
DIRECTIONS = dict.fromkeys(_CLOSING, Direction.CLOSING) | dict.fromkeys(_OPENING, Direction.OPENING)

_ORDER: tuple[str, ...] = (
    "order to indicator",
    "order to indication",
    "order",
    "from order",
    "command to indicator",
    "command",
)
_ORDER += ("from command", "command to indication", "button to indicator", "push button to indicator")
_ORDER += ("order to limit switch", "command to limit switch", "order-indicator", "command-indicator")
_MOVED: tuple[str, ...] = (
    "spindle movement",
    "movement",
    "spindle",
    "stem movement",
    "movement only",
    "spindle travel",
    "stem",
)
_MOVED += ("travel", "stem travel", "first to last movement", "start to end of movement", "from movement")
TIMED = dict.fromkeys(_ORDER, Timed.ORDER) | dict.fromkeys(_MOVED, Timed.MOVEMENT)

_ALONE = (
    "alone",
    "single",
    "singly",
    "one at a time",
    "one by one",
    "individual",
    "individually",
    "by itself",
)
_TOGETHER: tuple[str, ...] = (
    "together",
    "together with others",
    "with others",
    "several",
    "several at once",
    "all",
    "all together",
)
_TOGETHER += ("group", "simultaneous", "simultaneously", "at once")
TOGETHER = dict.fromkeys(_ALONE, False) | dict.fromkeys(_TOGETHER, True)

_DRY = ("dry", "no flow", "without flow", "at rest", "static", "not flowing", "empty")
_FLOW = ("flow", "with flow", "flowing", "in flow", "loading", "during loading", "under flow")
FLOWING = dict.fromkeys(_DRY, False) | dict.fromkeys(_FLOW, True)

YES_NO = dict.fromkeys(("yes", "y", "true", "1", "x", "✓"), True) | dict.fromkeys(
    ("no", "n", "false", "0"), False
)


def word(text: str, table: Mapping[str, T], *, what: str, examples: str) -> T:
    """Look a word up, loosely written.

    Raises
    ------
    QuantityError
    """
    key = " ".join(text.casefold().replace("_", " ").replace("→", "-").replace(">", "-").split()).strip(" .")
    key = re.sub(r" ?[-–] ?", "-", key)
    found = table.get(key, table.get(key.replace("-", " ")))
    if found is None:
        raise QuantityError(quoted(text), f"{what}: {examples}", f"write {examples.split(' or ')[0]}")
    return found

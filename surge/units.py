"""Units at the edge: strict reading of ``"600 m3/h"`` into SI, and one rounding rule for output.

A quantity is a number (one sign, ASCII digits, one point, an exponent at most) and exactly one unit of a
closed table, spelt as in the table. Nothing is guessed: a free-text unit parser can read "3,5 m" as 35 m.
A pressure level says gauge or absolute; a bare ``bar`` is a difference only.

Decisions
---------
* "3.000 m" may be 3 m, or 3000 m where a point parts thousands. One to three digits (the first no 0), a point
  and three digits are refused where the key could hold both (:data:`TWO_WAYS`). A time is read as it stands:
  clocks and loggers write milliseconds, and nobody writes thousands of seconds.
* A number that is not 0, but too small for a computer, is refused: it would be read as 0.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from surge.errors import ArgumentError, SurgeError, meant

_INCH = 0.0254  # [m], exact (international inch, 1959)
_FOOT = 0.3048  # [m], exact
_POUND = 0.45359237  # [kg], exact
_GALLON = 231 * _INCH**3  # [m3] US liquid gallon, exact
_BARREL = 42 * _GALLON  # [m3] oil barrel, 42 US gallons, exact
_PSI = _POUND * 9.80665 / _INCH**2  # [Pa], exact in its definition
_HOUR = 3600.0  # [s]

ZERO_CELSIUS = 273.15  # [K], exact in its definition
ATMOSPHERE = 101325.0  # [Pa] standard atmosphere, CGPM 1954

_PRESSURES = {
    "bar": 1e5,
    "psi": _PSI,
    "kPa": 1e3,
    "MPa": 1e6,
    "kg/cm2": 98066.5,
    "kgf/cm2": 98066.5,
    "mbar": 1e2,
    "hPa": 1e2,
    "Pa": 1.0,
}


def _levels(letter: str) -> dict[str, float]:
    """Return the units of a pressure level: ``bar(g)`` and, where the trade writes it so, ``barg``."""
    bracketed = {f"{unit}({letter})": factor for unit, factor in _PRESSURES.items()}
    short = {f"{unit}{letter}": factor for unit, factor in _PRESSURES.items() if unit not in ("hPa", "Pa")}
    return bracketed | short


# What a unit says about its number -> unit -> factor to SI (Kv: to m3/h of water at 1 bar).
UNITS: dict[str, dict[str, float]] = {
    "length": {
        "m": 1.0,
        "mm": 1e-3,
        "ft": _FOOT,
        "inch": _INCH,
        "in": _INCH,
        "cm": 1e-2,
        "km": 1e3,
    },
    "gauge pressure": _levels("g"),
    "absolute pressure": _levels("a"),
    "pressure difference": _PRESSURES,
    "volume flow": {
        "m3/h": 1 / _HOUR,
        "bbl/h": _BARREL / _HOUR,
        "L/s": 1e-3,
        "L/min": 1e-3 / 60,
        "m3/min": 1 / 60,
        "m3/s": 1.0,
        "gpm": _GALLON / 60,
    },
    "mass flow": {"t/h": 1e3 / _HOUR, "kg/s": 1.0, "kg/h": 1 / _HOUR},
    "time": {"s": 1.0, "min": 60.0, "h": _HOUR, "ms": 1e-3},
    "density": {"kg/m3": 1.0, "kg/L": 1e3, "t/m3": 1e3, "g/cm3": 1e3, "kg/dm3": 1e3},
    "speed": {"m/s": 1.0, "km/s": 1e3, "ft/s": _FOOT},
    "kinematic viscosity": {"mm2/s": 1e-6, "cSt": 1e-6, "m2/s": 1.0},
    "dynamic viscosity": {"mPa s": 1e-3, "cP": 1e-3, "Pa s": 1.0, "mPa.s": 1e-3, "Pa.s": 1.0},
    "modulus": {"GPa": 1e9, "MPa": 1e6, "kPa": 1e3, "Pa": 1.0, "N/mm2": 1e6, "bar": 1e5, "psi": _PSI},
    "volume fraction": {"%": 1e-2},
    "temperature": {"degC": 1.0, "C": 1.0, "degF": 5 / 9, "F": 5 / 9, "K": 1.0},
    "volume": {"m3": 1.0, "L": 1e-3, "bbl": _BARREL},
    "mass": {"t": 1e3, "kg": 1.0},
    "Kv": {"m3/h": 1.0},
    # Kv [m3/h, 1 bar] of a Cv [US gal/min, 1 psi]: the flow units, and the square root of bar to psi.
    "Cv": {"gpm": _GALLON / 60 * _HOUR * math.sqrt(1e5 / _PSI)},
}

# Where the zero of a temperature scale lies below its own 0.
ZERO = {"degC": ZERO_CELSIUS, "C": ZERO_CELSIUS, "degF": 459.67, "F": 459.67}

_LEVELS = ("gauge pressure", "absolute pressure")
_BARE = {unit: unit for unit in _PRESSURES} | {
    level: unit for unit in _PRESSURES for level in (f"{unit}(g)", f"{unit}(a)", f"{unit}g", f"{unit}a")
}


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """What a key of the case file wants: which kinds of unit it takes, and words for the messages."""

    kinds: tuple[str, ...]
    words: str
    example: str

    @property
    def units(self) -> dict[str, float]:
        """Every unit that may be written -> factor that turns a figure in it into SI [SI per unit]."""
        return {unit: factor for kind in self.kinds for unit, factor in UNITS[kind].items()}

    @property
    def expected(self) -> str:
        """What should stand there, with an example and the units."""
        if self.kinds[0] in _LEVELS:
            letters = " or ".join(f"({kind[0]})" for kind in self.kinds)
            listed = f"{', '.join(_PRESSURES)}, each with {letters}"
        else:
            listed = ", ".join(self.units)
        return f'{self.words} such as "{self.example}" (units: {listed})'


DIMENSIONS: dict[str, Dimension] = {
    "length": Dimension(kinds=("length",), words="a length", example="1200 m"),
    "diameter": Dimension(kinds=("length",), words="a diameter", example="254.5 mm"),
    "level": Dimension(kinds=_LEVELS, words="a pressure level", example="7 bar(g)"),
    "absolute": Dimension(kinds=("absolute pressure",), words="an absolute pressure", example="0.35 bar(a)"),
    "difference": Dimension(kinds=("pressure difference",), words="a pressure difference", example="10 bar"),
    "flow": Dimension(kinds=("volume flow", "mass flow"), words="a flow", example="600 m3/h"),
    "time": Dimension(kinds=("time",), words="a time", example="20 s"),
    "density": Dimension(kinds=("density",), words="a density", example="740 kg/m3"),
    "speed": Dimension(kinds=("speed",), words="a speed", example="1180 m/s"),
    "viscosity": Dimension(
        kinds=("kinematic viscosity", "dynamic viscosity"), words="a viscosity", example="0.6 mm2/s"
    ),
    "modulus": Dimension(kinds=("modulus",), words="a modulus", example="207 GPa"),
    "temperature": Dimension(kinds=("temperature",), words="a temperature", example="15 degC"),
    "volume": Dimension(kinds=("volume",), words="a volume", example="40 m3"),
    "quantity": Dimension(kinds=("volume", "mass"), words="a quantity of cargo", example="30000 t"),
    "fraction": Dimension(kinds=("volume fraction",), words="a volume fraction", example="0.5 %"),
    "kv": Dimension(kinds=("Kv",), words="a Kv (water at 1 bar)", example="2400 m3/h"),
    "cv": Dimension(kinds=("Cv",), words="a Cv (US gallons per minute at 1 psi)", example="2775 gpm"),
}


# What may be large enough for a thousand, and small enough for three decimals.
TWO_WAYS = frozenset(
    {
        "length",
        "diameter",
        "flow",
        "volume",
        "quantity",
        "kv",
        "cv",
        "level",
        "absolute",
        "difference",
        "viscosity",
    }
)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A quantity as read.

    Attributes
    ----------
    value : float
        In SI; m3/h of water at 1 bar for a Kv or Cv.
    kind : str
        What its unit says: a key of :data:`UNITS`. "absolute pressure", "mass flow", "mass" and "dynamic
        viscosity" still need the barometer or the density.
    text : str
        As it was written.
    """

    value: float
    kind: str
    text: str = ""


class QuantityError(SurgeError):
    """A text that is not the wanted quantity: what was found, what was expected, what to write."""

    def __init__(self, found: str, expected: str, remedy: str) -> None:
        self.found, self.expected, self.remedy = found, expected, remedy
        super().__init__(f"{found}: {remedy}")


NUMBER_PATTERN = r"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?"
_NUMBER = re.compile(NUMBER_PATTERN)
_COMMA = re.compile(r"[+-]?[0-9][0-9.]*(?:,[0-9]+)+(?:\.[0-9]+)?")
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_LOOSE = str.maketrans({"³": "3", "²": "2", "^": "", " ": "", "·": "", "μ": "u", "µ": "u"})


def read(text: str, *, dimension: str, possible: Callable[[Reading], bool] = lambda _: True) -> Reading:
    """Read a quantity.

    Parameters
    ----------
    text : str
        Such as ``"600 m3/h"``.
    dimension : str
        A key of :data:`DIMENSIONS`.
    possible : callable, optional
        Whether a reading may stand there. It decides between two ways to read a number, and nothing else.

    Returns
    -------
    Reading

    Raises
    ------
    QuantityError
        With the found text, what was expected and what to write.
    """
    want = DIMENSIONS[dimension]
    stripped = text.strip(" ")
    match = _NUMBER.match(stripped)
    if match is None or _COMMA.match(stripped):
        raise QuantityError(quoted(text), want.expected, _number_remedy(stripped, want))
    number, unit = match.group(), stripped[match.end() :].lstrip(" ")
    kind = next((kind for kind in want.kinds if unit in UNITS[kind]), None)
    if kind is None:
        raise QuantityError(quoted(text), want.expected, _unit_remedy(number, unit, want))
    number_above = float(number) + (ZERO.get(unit, 0.0) if kind == "temperature" else 0.0)
    value = number_above * UNITS[kind][unit]
    if not math.isfinite(value) or vanished(number, float(number)) or (value == 0.0 != number_above):
        raise QuantityError(quoted(text), want.expected, "write a number that a computer can hold")
    reading = Reading(value=value, kind=kind, text=stripped)
    more = Reading(value=value * 1000.0, kind=kind)
    if dimension in TWO_WAYS and grouped(number) and possible(reading) and possible(more):
        raise QuantityError(quoted(text), want.expected, _both(number, unit))
    return reading


def grouped(number: str) -> bool:
    """Return whether a number may be thousands, or a decimal: "3.000" or "3,000", but not "0.500"."""
    return _GROUPED.fullmatch(number) is not None


def one_way(number: str) -> tuple[str, str]:
    """Return a :func:`grouped` number as thousands and as a decimal, each to be read in one way only."""
    decimal = number.replace(",", ".")
    shorter = decimal.rstrip("0").rstrip(".")
    return re.sub("[.,]", "", number), f"{decimal}0" if shorter == decimal else shorter


def vanished(number: str, value: float) -> bool:
    """Return whether a number that is not 0 was read as 0, being too small for a computer."""
    return value == 0.0 and re.search(r"[1-9]", re.split("[eE]", number)[0]) is not None


JOINERS = "\u200c\u200d"  # not printed themselves; Persian and Indian scripts need them inside words


def printable(text: str) -> str:
    """Return a text with every character that would not print written as its escape."""
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode() for c in text
    )


def quoted(text: str) -> str:
    """Return a text in quotes as a message shows it: printable, and shortened if it is long."""
    shown = printable(text[:61])
    return f'"{shown[:60]}..."' if len(text) > 60 or len(shown) > 60 else f'"{shown}"'


def _both(number: str, unit: str) -> str:
    thousands, decimal = one_way(number)
    return f'write "{thousands} {unit}" for thousands or "{decimal} {unit}" for a decimal'


def _number_remedy(text: str, want: Dimension) -> str:
    """Say how to write the number of a text whose number is wrong."""
    comma = _COMMA.match(text)
    if comma:
        number, unit = comma.group(), text[comma.end() :].lstrip(" ")
        unit = unit if unit in want.units else want.example.split(" ", 1)[1]
        point = f"{number.replace('.', '').replace(',', '.')} {unit}"
        plain = f"{number.replace(',', '')} {unit}"
        if _THOUSANDS.fullmatch(number):
            return _both(number, unit) if grouped(number) else f'write "{plain}" for thousands'
        if number.count(",") > 1 or "." in number[number.index(",") :]:
            return f'write "{plain}": no comma between thousands'
        return f'write "{point}": the decimal sign is a point'
    if re.match(r"[+-]?\.[0-9]", text):
        return f'write a digit before the point, as in "{want.example}"'
    if not text:
        return f'write a number and a unit, such as "{want.example}"'
    if text in want.units:
        return f'write a number before the unit, such as "{want.example}"'
    return (
        f'begin with a plain number in the digits 0 to 9, such as "{want.example}"; '
        "no nan, inf or formula can be written"
    )


def _unit_remedy(number: str, unit: str, want: Dimension) -> str:
    """Say what unit to write, where the number is right and the unit is not."""
    if not unit:
        return f'add the unit: "{number} {want.example.split(" ", 1)[1]}" if that is what you mean'
    if want.kinds == _LEVELS and unit in _PRESSURES:
        return f'write "{number} {unit}(g)" above the atmosphere, or "{number} {unit}(a)" absolute'
    near = _near_unit(unit, want)
    owners = [kind for kind, units in UNITS.items() if unit in units]
    if owners:
        return _kind_remedy(number, unit, owners[0], want)
    if near:
        return f'unknown unit {quoted(unit)}; did you mean "{number} {near}"?'
    if re.match(r"[0-9.,'_+*/()-]", unit):
        return f'write the number without spaces, fractions or formulas, as in "{want.example}"'
    return f"unknown unit {quoted(unit)}; write one of {', '.join(list(want.units)[:9])}"


def _kind_remedy(number: str, unit: str, kind: str, want: Dimension) -> str:
    """Say that a unit is one of something else."""
    bare = _BARE.get(unit)
    if bare and want.kinds == ("absolute pressure",):
        return f"write the value above vacuum, in {bare}(a)"
    if bare and want.kinds == ("pressure difference",):
        return f'a difference is neither gauge nor absolute: write "{number} {bare}"'
    if kind == "volume flow" and want.kinds == ("Kv",):
        return "a Kv is in m3/h; a figure in gpm is a Cv: write it under the key cv"
    if kind == "volume flow" and want.kinds == ("Cv",):
        return "a Cv is in gpm; a figure in m3/h is a Kv: write it under the key kv"
    return f'{unit} is a unit of {kind}: write {want.words} such as "{want.example}"'


def _near_unit(unit: str, want: Dimension) -> str | None:
    """Return the allowed unit that the writer most likely meant."""
    loose = {known.translate(_LOOSE).lower(): known for known in reversed(want.units)}
    exact = loose.get(unit.translate(_LOOSE).lower())
    if exact:
        return exact
    return meant(unit, want.units)


@dataclass(frozen=True, kw_only=True)
class ShowUnits:
    """The units of the output, as the case asks for them."""

    pressure: str = "bar"
    flow: str = "m3/h"
    length: str = "m"
    diameter: str = "mm"


# What [show] may ask for.
SHOWN: dict[str, tuple[str, ...]] = {
    "pressure": ("bar", "psi", "kPa", "kg/cm2", "MPa"),
    "flow": ("m3/h", "bbl/h", "t/h", "L/s", "m3/s", "gpm", "kg/s"),
    "length": ("m", "ft"),
    "diameter": ("mm", "inch", "in", "m"),
}

# Decimals in every table, so that the last digit means about the same in all units of a kind.
_BY_DECIMALS = {
    0: ("kPa", "mbar", "hPa", "Pa", "bbl/h", "L/min", "gpm", "kg/h", "ms", "ft/s"),
    1: ("psi", "m3/h", "t/h", "ft", "mm", "cm", "m/s", "%", "kg/m3"),
    2: ("bar", "kg/cm2", "kgf/cm2", "L/s", "kg/s", "m", "inch", "in", "s", "min"),
    3: ("MPa", "m3/min", "km", "h", "km/s"),
    4: ("m3/s", "kg/L", "t/m3", "g/cm3", "kg/dm3"),
}
DECIMALS: dict[str, int] = {unit: decimals for decimals, units in _BY_DECIMALS.items() for unit in units}
_SHOW_KINDS = ("length", "pressure difference", "volume flow", "mass flow", "time", "speed", "density")


def from_si(value: float, *, unit: str, density: float | None = None) -> float:
    """Return an SI value in ``unit``; a pressure unit may carry ``(g)``, the value being gauge.

    Parameters
    ----------
    value : float
        In SI; a volume flow [m3/s] also where ``unit`` is one of mass flow.
    unit : str
        A unit of length, pressure, flow, time, speed, density, or "%".
    density : float, optional
        [kg/m3], needed for mass flow.

    Raises
    ------
    ValueError
        For an unknown unit, or a mass flow without density.
    """
    if unit in UNITS["mass flow"]:
        if density is None:
            message = f"a flow in {unit} needs the density"
            raise ValueError(message)
        return value * density / UNITS["mass flow"][unit]
    if unit in UNITS["gauge pressure"]:
        return value / UNITS["gauge pressure"][unit]
    for kind in (*_SHOW_KINDS, "volume fraction"):
        if unit in UNITS[kind]:
            return value / UNITS[kind][unit]
    message = f"no unit of the output: {unit!r}"
    raise ValueError(message)


def show(
    value: float,
    *,
    unit: str,
    density: float | None = None,
    decimals: int | None = None,
    with_unit: bool = False,
) -> str:
    """Return an SI value as text in ``unit``: the one rounding rule of every table.

    Parameters
    ----------
    value : float
        In SI, finite.
    unit, density
        As for :func:`from_si`.
    decimals : int, optional
        Instead of the unit's own number of decimals (:data:`DECIMALS`).
    with_unit : bool
        Put the unit behind the number.

    Raises
    ------
    ValueError
        For an unknown unit or a value that is not finite.
    """
    number = from_si(value, unit=unit, density=density)
    if not math.isfinite(number):
        message = f"cannot show {number} {unit}"
        raise ValueError(message)
    places = DECIMALS[_BARE.get(unit, unit)] if decimals is None else decimals
    text = f"{number:.{places}f}"
    text = text.removeprefix("-") if float(text) == 0 else text
    return f"{text} {unit}" if with_unit else text


def offered(wanted: Mapping[str, str]) -> dict[str, str]:
    """Return the units that were asked for; raises ArgumentError for one that the output does not offer."""
    for kind, unit in wanted.items():
        if kind not in SHOWN:
            raise ArgumentError(("units",), repr(kind), f"no such quantity; write one of {', '.join(SHOWN)}")
        if unit not in SHOWN[kind]:
            raise ArgumentError((kind,), unit, f"no such unit; write one of {', '.join(SHOWN[kind])}")
    return dict(wanted)


# What a file or an option may say; a day further off is a slip of the pen.
DAYS = (date(1900, 1, 1), date(2199, 12, 31))


def day(name: str, value: date | str | None) -> date | None:
    """Return a day that is given as such or as text such as "2026-02-20"; raises ArgumentError otherwise."""
    if value is None:
        return None
    try:
        found = value if isinstance(value, date) else date.fromisoformat(value)
    except ValueError:
        raise ArgumentError((name,), str(value), "write a day such as 2026-02-20") from None
    if not DAYS[0] <= found <= DAYS[1]:
        remedy = f"write a day from {DAYS[0]} to {DAYS[1]}, such as 2026-02-20"
        raise ArgumentError((name,), str(value), remedy)
    return found

"""Strict quantity grammar, the closed unit table against pint, and the rounding of tables."""

from __future__ import annotations

import math
import re
import subprocess
import sys

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.toml.values import Quantity
from surge.units import DECIMALS, DIMENSIONS, SHOWN, TWO_WAYS, UNITS, ZERO, QuantityError, from_si, read, show

# Our spelling -> pint's, where they differ. Levels drop their (g) or (a) first: the factor is the same.
_PINT = {
    "kg/cm2": "kilogram_force/cm**2",
    "kgf/cm2": "kilogram_force/cm**2",
    "L/s": "liter/second",
    "L/min": "liter/minute",
    "gpm": "gallon/minute",
    "bbl/h": "oil_barrel/hour",
    "m3/h": "m**3/hour",
    "m3/min": "m**3/minute",
    "m3/s": "m**3/s",
    "t/h": "metric_ton/hour",
    "kg/h": "kg/hour",
    "h": "hour",
    "min": "minute",
    "kg/m3": "kg/m**3",
    "kg/L": "kg/liter",
    "t/m3": "metric_ton/m**3",
    "g/cm3": "g/cm**3",
    "kg/dm3": "kg/dm**3",
    "mm2/s": "mm**2/s",
    "m2/s": "m**2/s",
    "mPa s": "mPa*s",
    "mPa.s": "mPa*s",
    "Pa s": "Pa*s",
    "Pa.s": "Pa*s",
    "N/mm2": "N/mm**2",
    "ft/s": "foot/s",
    "%": "percent",
    "L": "liter",
    "bbl": "oil_barrel",
    "m3": "m**3",
}
_SI = {
    "length": "m",
    "gauge pressure": "Pa",
    "absolute pressure": "Pa",
    "pressure difference": "Pa",
    "volume flow": "m**3/s",
    "mass flow": "kg/s",
    "time": "s",
    "density": "kg/m**3",
    "speed": "m/s",
    "kinematic viscosity": "m**2/s",
    "dynamic viscosity": "Pa*s",
    "modulus": "Pa",
    "volume fraction": "dimensionless",
    "volume": "m**3",
    "mass": "kg",
    "Kv": "m**3/hour",
}
_TABLE = [
    (kind, unit) for kind, units in UNITS.items() if kind not in ("Cv", "temperature") for unit in units
]


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


@pytest.mark.parametrize(("kind", "unit"), _TABLE)
def test_factor_equals_pint(registry: pint.UnitRegistry[float], kind: str, unit: str) -> None:
    """Published value by an independent library: every factor of the closed table."""
    bare = unit
    if kind in ("gauge pressure", "absolute pressure"):
        bare = unit[:-3] if unit.endswith(")") else unit[:-1]
    theirs = registry.Quantity(1.0, _PINT.get(bare, bare)).to(_SI[kind]).magnitude
    assert UNITS[kind][unit] == pytest.approx(theirs, rel=1e-12)


def test_cv_factor_equals_pint(registry: pint.UnitRegistry[float]) -> None:
    """Kv of Cv 1: one US gallon a minute at 1 psi, told at 1 bar."""
    gpm = registry.Quantity(1.0, "gallon/minute").to("m**3/hour").magnitude
    psi = registry.Quantity(1.0, "bar").to("psi").magnitude
    assert UNITS["Cv"]["gpm"] == pytest.approx(gpm * math.sqrt(psi), rel=1e-12)
    assert 1 / UNITS["Cv"]["gpm"] == pytest.approx(1.156, abs=5e-4)  # the handbook's rounded figure


@pytest.mark.parametrize(
    ("text", "dimension", "value", "kind"),
    [
        ("600 m3/h", "flow", 600 / 3600, "volume flow"),
        ("600m3/h", "flow", 600 / 3600, "volume flow"),
        ("600   m3/h", "flow", 600 / 3600, "volume flow"),
        ("6e2 m3/h", "flow", 600 / 3600, "volume flow"),
        ("+1.5E+1 mm", "diameter", 0.015, "length"),
        ("-3.5 m", "length", -3.5, "length"),
        ("444 t/h", "flow", 444e3 / 3600, "mass flow"),
        ("30000 t", "quantity", 3e7, "mass"),
        ("35000 m3", "quantity", 35000.0, "volume"),
        ("7 bar(g)", "level", 7e5, "gauge pressure"),
        ("7 barg", "level", 7e5, "gauge pressure"),
        ("7 bara", "level", 7e5, "absolute pressure"),
        ("100 psig", "level", 689475.7293168361, "gauge pressure"),
        ("100 psia", "level", 689475.7293168361, "absolute pressure"),
        ("7 kg/cm2(g)", "level", 686465.5, "gauge pressure"),
        ("0.7 MPa(g)", "level", 7e5, "gauge pressure"),
        ("700 kPa(g)", "level", 7e5, "gauge pressure"),
        ("1013.25 mbar(a)", "absolute", 101325.0, "absolute pressure"),
        ("10 bar", "difference", 1e6, "pressure difference"),
        ("0.6 mPa s", "viscosity", 0.6e-3, "dynamic viscosity"),
        ("0.8 cSt", "viscosity", 0.8e-6, "kinematic viscosity"),
        ("0.5 %", "fraction", 0.005, "volume fraction"),
        ("10 inch", "diameter", 0.254, "length"),
        ("10 in", "diameter", 0.254, "length"),
    ],
)
def test_reads(text: str, dimension: str, value: float, kind: str) -> None:
    reading = read(text, dimension=dimension)
    assert reading.value == pytest.approx(value, rel=1e-14)
    assert (reading.kind, reading.text) == (kind, text)


@pytest.mark.parametrize(
    ("text", "dimension", "remedy"),
    [
        ("3,5 m", "length", 'write "3.5 m": the decimal sign is a point'),
        ("0,74 kg/L", "density", 'write "0.74 kg/L": the decimal sign is a point'),
        ("3.000,5 m", "length", 'write "3000.5 m": the decimal sign is a point'),
        ("1,200 m", "length", 'write "1200 m" for thousands or "1.2 m" for a decimal'),
        ("3.000 m", "length", 'write "3000 m" for thousands or "3 m" for a decimal'),
        ("-12.345 mm", "diameter", 'write "-12345 mm" for thousands or "-12.3450 mm" for a decimal'),
        ("1.234 m3/h", "flow", 'write "1234 m3/h" for thousands or "1.2340 m3/h" for a decimal'),
        ("2.400 m3/h", "kv", 'write "2400 m3/h" for thousands or "2.4 m3/h" for a decimal'),
        ("40.000 m3", "volume", 'write "40000 m3" for thousands or "40 m3" for a decimal'),
        ("1.600 kPa(g)", "level", 'write "1600 kPa(g)" for thousands or "1.6 kPa(g)" for a decimal'),
        ("1e-400 m", "length", "a number that a computer can hold"),
        ("1e-322 mm", "length", "a number that a computer can hold"),
        ("1,200,300 m", "length", 'write "1200300 m" for thousands'),
        ("1,200.5 m", "length", 'write "1200.5 m": no comma between thousands'),
        ("nan m", "length", "begin with a plain number"),
        ("inf m", "length", "begin with a plain number"),
        ("-inf m", "length", "begin with a plain number"),
        ("9**9**9 m", "length", "without spaces, fractions or formulas"),
        ("2 1/2 in", "length", "without spaces, fractions or formulas"),
        ("1/2 in", "length", "without spaces, fractions or formulas"),
        ("1 000 m", "length", "without spaces, fractions or formulas"),
        ("1..5 m", "length", "without spaces, fractions or formulas"),
        ("5. m", "length", "without spaces, fractions or formulas"),
        (".5 m", "length", "write a digit before the point"),
        ("--5 m", "length", "begin with a plain number"),
        ("٣ m", "length", "in the digits 0 to 9"),
        ("３ m", "length", "in the digits 0 to 9"),
        ("1e999 m", "length", "a number that a computer can hold"),
        ("", "length", 'such as "1200 m"'),
        ("m", "length", "write a number before the unit"),
        ("5", "length", 'add the unit: "5 m"'),
        ("7 bar", "level", 'write "7 bar(g)" above the atmosphere, or "7 bar(a)" absolute'),
        ("7 psi", "level", 'write "7 psi(g)"'),
        ("7 bargs", "level", 'did you mean "7 barg"?'),
        ("7 bar g", "level", 'did you mean "7 barg"?'),
        ("7 BAR(G)", "level", 'did you mean "7 bar(g)"?'),
        ("0.35 bar", "absolute", "write the value above vacuum, in bar(a)"),
        ("0.35 bar(g)", "absolute", "write the value above vacuum, in bar(a)"),
        ("10 bar(g)", "difference", 'neither gauge nor absolute: write "10 bar"'),
        ("5 m³/h", "flow", 'did you mean "5 m3/h"?'),
        ("5 MM", "diameter", 'did you mean "5 mm"?'),
        ("5 bar", "length", "bar is a unit of pressure difference"),
        ("5 kg/m3", "flow", "kg/m3 is a unit of density"),
        ("2400 gpm", "kv", "under the key cv"),
        ("2400 m3/h", "cv", "under the key kv"),
        ("5 furlong", "length", "write one of m, mm, ft"),
        ("5\tm", "length", "unknown unit"),
        ("15 degC", "length", "unit of temperature"),
    ],
)
def test_refuses(text: str, dimension: str, remedy: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read(text, dimension=dimension)
    assert remedy in caught.value.remedy
    assert DIMENSIONS[dimension].example in caught.value.expected
    assert caught.value.found.isprintable()


@given(text=st.text(max_size=40), dimension=st.sampled_from(sorted(DIMENSIONS)))
@settings(max_examples=100, deadline=None)
def test_any_text_is_read_or_refused(text: str, dimension: str) -> None:
    words: tuple[str, ...] = ("a reading",)
    try:
        reading = read(text, dimension=dimension)
    except QuantityError as refusal:
        words = (refusal.found, refusal.expected, refusal.remedy)
    else:
        assert math.isfinite(reading.value)
    assert all(words)


@given(
    whole=st.integers(1, 999),
    part=st.integers(0, 999),
    unit=st.sampled_from([(d, u) for d in sorted(TWO_WAYS) for u in DIMENSIONS[d].units]),
    sign=st.sampled_from(["", "+", "-"]),
)
@settings(max_examples=100, deadline=None)
def test_a_point_that_may_part_thousands_is_never_read(
    whole: int, part: int, unit: tuple[str, str], sign: str
) -> None:
    """Property: it is refused with two readings, a thousand times apart, each of which can be written."""
    with pytest.raises(QuantityError) as caught:
        read(f"{sign}{whole}.{part:03} {unit[1]}", dimension=unit[0])
    offered = re.findall(r'"([^"]+)"', caught.value.remedy)
    thousands, decimal = (read(text, dimension=unit[0]).value for text in offered)
    assert thousands == pytest.approx(1000 * decimal)


@pytest.mark.parametrize("text", ["0.500 m", "0.125 m", "1000.000 m", "1.0000 m", "1.00 m", "1.500e2 m"])
def test_a_point_that_parts_no_thousands_is_read(text: str) -> None:
    assert read(text, dimension="length").value == float(text.split()[0])


def test_what_may_stand_there_decides_between_two_readings() -> None:
    """A pipe of 12.750 in is usual, one of 12750 in is none."""
    assert Quantity("diameter", "5 mm", "3 m").accept("12.750 in").value == pytest.approx(0.32385)
    assert Quantity("length", "-500 m", "2000 m").accept("12.345 m").value == 12.345
    assert read("1.025 t/m3", dimension="density").value == 1025.0
    assert read("12.345 s", dimension="time").value == 12.345


@given(
    value=st.floats(min_value=-1e9, max_value=1e9, allow_nan=False),
    choice=st.sampled_from([(d, u) for d, want in DIMENSIONS.items() for u in want.units]),
)
@settings(max_examples=100, deadline=None)
def test_every_unit_reads_back(value: float, choice: tuple[str, str]) -> None:
    """Property: what is written with a unit of the table means number times factor, to the last bit."""
    dimension, unit = choice
    written = f"{value!r}0" if re.fullmatch(r"-?[0-9]{1,3}\.[0-9]{3}", repr(value)) else repr(value)
    reading = read(f"{written} {unit}", dimension=dimension)
    zero = ZERO.get(unit, 0.0) if reading.kind == "temperature" else 0.0
    assert reading.value == (float(repr(value)) + zero) * UNITS[reading.kind][unit]


@pytest.mark.parametrize("unit", UNITS["temperature"])
@pytest.mark.parametrize("number", [-40.0, 0.0, 15.0, 100.0, 451.0])
def test_temperatures_equal_pint(registry: pint.UnitRegistry[float], unit: str, number: float) -> None:
    theirs = registry.Quantity(number, {"C": "degC", "F": "degF"}.get(unit, unit)).to("K").magnitude
    assert read(f"{number} {unit}", dimension="temperature").value == pytest.approx(theirs, rel=1e-12)


def test_every_remedy_unit_is_readable() -> None:
    for dimension, want in DIMENSIONS.items():
        assert read(want.example, dimension=dimension).kind in want.kinds


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (7e5, "bar", "7.00"),
        (7e5, "bar(g)", "7.00"),
        (7e5, "barg", "7.00"),
        (7e5, "psi", "101.5"),
        (7e5, "kPa(g)", "700"),
        (7e5, "kg/cm2(g)", "7.14"),
        (-4.0, "bar", "0.00"),
        (600 / 3600, "m3/h", "600.0"),
        (600 / 3600, "bbl/h", "3774"),
        (0.254, "inch", "10.00"),
        (0.254, "mm", "254.0"),
        (0.005, "%", "0.5"),
    ],
)
def test_shows(value: float, unit: str, text: str) -> None:
    assert show(value, unit=unit) == text
    assert show(value, unit=unit, with_unit=True) == f"{text} {unit}"


def test_shows_mass_flow_with_density_only() -> None:
    assert show(600 / 3600, unit="t/h", density=740.0) == "444.0"
    with pytest.raises(ValueError, match="needs the density"):
        show(1.0, unit="t/h")


@pytest.mark.parametrize(
    ("value", "unit"), [(1.0, "furlong"), (1.0, "bar(a)"), (math.nan, "m"), (math.inf, "m")]
)
def test_shows_nothing_doubtful(value: float, unit: str) -> None:
    with pytest.raises(ValueError, match=r"no unit|cannot show"):
        show(value, unit=unit)


def test_every_output_unit_has_its_decimals() -> None:
    for units in SHOWN.values():
        for unit in units:
            assert unit in DECIMALS
            assert from_si(1.0, unit=unit, density=1000.0) > 0


def test_pint_is_not_imported() -> None:
    """Start-up: the case path must not pay for a unit library."""
    code = "import sys, surge.case.file; sys.exit('pint' in sys.modules or 'scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

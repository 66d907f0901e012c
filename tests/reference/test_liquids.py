"""The liquid catalogue: complete, within its tables, and at the figures that handbooks print."""

from __future__ import annotations

import math
import subprocess
import sys
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.errors import SurgeError
from surge.hydraulics.formulas import wave_speed
from surge.reference.liquid_rows import FILES, KINDS, STATUSES, read, table
from surge.reference.liquids import (
    DOUBTS,
    Cargo,
    CargoError,
    CargoState,
    DensityError,
    Figures,
    OutsideRangeError,
    at,
    cargoes,
    find,
    key_of,
    search,
)
from surge.reference.petroleum import COMPOSITION, dead_oil_sound_speed, petroleum_density

ZERO = 273.15  # [K]
CARGOES = cargoes()
rows = pytest.mark.parametrize("name", CARGOES)
ALL = sorted(CARGOES)
# Lowest and highest that any liquid cargo may have: a slip of a unit or a digit falls outside.
POSSIBLE = {
    "density": (600.0, 1900.0),
    "sound speed": (850.0, 2500.0),
    "viscosity": (1.2e-4, 30.0),
    "vapour pressure": (1e-6, 1.5e5),
}


def state_at(name: str, celsius: float, density_15: float | None = None) -> CargoState:
    return at(CARGOES[name], celsius + ZERO, density_15=density_15)


def temperature_in(cargo: Cargo, share: float) -> float:
    low, high = cargo.temperatures[0], cargo.temperatures[-1]
    return low + (high - low) * share


# --- the rows ---------------------------------------------------------------------------------


def test_there_are_enough() -> None:
    assert len(CARGOES) >= 45
    families = {c.family for c in CARGOES.values()}
    assert {
        *(
            "petroleum products",
            "crude oils",
            "alcohols",
            "aromatics",
            "alkanes",
            "ketones",
            "ethers",
            "esters",
        ),
        *("glycols", "acids and alkalis", "vegetable oils", "biofuels", "water"),
    } <= families


@rows
def test_every_property_has_source_range_status_and_confidence(name: str) -> None:
    cargo = CARGOES[name]
    assert cargo.name == name
    assert cargo.kind in KINDS
    assert len(cargo.temperatures) >= 3
    assert all(a < b for a, b in pairwise(cargo.temperatures))
    assert 250.0 < cargo.temperatures[0] < cargo.temperatures[-1] < 460.0
    assert set(cargo.figures) == set(DOUBTS)
    for prop, figures in cargo.figures.items():
        assert len(figures.source) > 20
        assert figures.status in STATUSES
        assert figures.confidence in DOUBTS[prop]
        assert len(figures.low) == len(figures.high) == len(cargo.temperatures)
        least, most = POSSIBLE[prop]
        assert all(least < a <= b < most for a, b in zip(figures.low, figures.high, strict=True))
        if figures.status == "read":
            assert "from memory" not in figures.source
        if figures.status == "from memory":
            assert "from memory" in figures.source
            assert figures.confidence != "high" or name == "sea water"
        if figures.status == "computed":
            assert any(
                word in figures.source
                for word in (
                    "CoolProp",
                    "equation",
                    "handbook",
                    "relation",
                    "Heat Atlas",
                    "Perry",
                    "AP-42",
                    "D1250",
                )
            )
    assert cargo.static_accumulator in (True, False, None)
    assert len(cargo.static_source) > 20
    assert cargo.validity.endswith(" C")
    assert cargo.status in STATUSES


@rows
def test_a_substance_has_no_spread_and_a_range_has_one(name: str) -> None:
    cargo = CARGOES[name]
    spread = any(f.low != f.high for f in cargo.figures.values())
    assert spread == (cargo.kind == "range of products")


def test_names_and_aliases_are_unique() -> None:
    keys = [key_of(n) for c in CARGOES.values() for n in (c.name, *c.aliases)]
    assert all(keys)
    assert sorted(keys) == sorted(set(keys))


def slopes(cargo: Cargo, figures: Figures) -> list[float]:
    ends = [(a, b) for side in (figures.low, figures.high) for a, b in pairwise(side)]
    steps = [b - a for a, b in pairwise(cargo.temperatures)] * 2
    return [(b - a) / step for (a, b), step in zip(ends, steps, strict=True)]


@rows
def test_trends_with_temperature(name: str) -> None:
    """Warmer is lighter, thinner and more volatile; sound speed falls, but not in water."""
    cargo = CARGOES[name]
    assert all(s < 0.0 for s in slopes(cargo, cargo.density))
    assert all(s < 0.0 for s in slopes(cargo, cargo.viscosity))
    assert all(s > 0.0 for s in slopes(cargo, cargo.vapour_pressure))
    per_kelvin = slopes(cargo, cargo.sound_speed)
    if cargo.family == "water":
        below_70 = per_kelvin[:5]
        assert all(0.0 < s < 5.0 for s in below_70)
    elif cargo.family in ("acids and alkalis", "glycols"):
        assert all(-4.0 < s < -1.0 for s in per_kelvin)
    elif cargo.family in ("vegetable oils", "lubricating oils", "biofuels"):
        assert all(-4.1 < s < -2.8 for s in per_kelvin)  # handbook range for oils
    else:
        assert all(-5.6 < s < -3.0 for s in per_kelvin)  # handbook -3.5 to -4.5 at room temperature


@rows
def test_expansion_is_that_of_a_liquid(name: str) -> None:
    """0.0003 (water, glycols, acids) to 0.002 1/K (isopentane near its boiling point)."""
    cargo = CARGOES[name]
    if cargo.family == "water":
        return
    for slope, density in zip(
        slopes(cargo, cargo.density)[: len(cargo.temperatures) - 1], cargo.density.low, strict=False
    ):
        assert 3e-4 < -slope / density < 2e-3


@rows
def test_light_liquids_boil_where_their_notes_say(name: str) -> None:
    """No range goes on beyond the boiling point at 1 atm, gasolines and crudes with dissolved gas apart."""
    cargo = CARGOES[name]
    if cargo.kind == "substance":
        assert cargo.vapour_pressure.high[-1] < 1.02 * 101325.0


# --- the tables ---------------------------------------------------------------------------------

GOOD = """
[sources]
"somebody" = { source = "somebody, from memory", status = "from memory", confidence = "low" }

[[liquid]]
name = "brine"
aliases = ["salt brine"]
family = "water"
kind = "substance"
static = "not sure"
density = "somebody"
sound_speed = "somebody"
viscosity = "somebody"
vapour_pressure = { source = "by hand", status = "read", confidence = "high" }
table = '''
 0.0   1100.0   1500.0   1.5    600.0
20.0   1090.0   1520.0   1.1   2300.0
'''
"""


def test_a_table_is_read_as_it_stands() -> None:
    (row,), shared = read(GOOD, where="mine.toml")
    assert (row.name, row.aliases, row.temperatures) == ("brine", ("salt brine",), (0.0, 20.0))
    assert row.viscosity.low == row.viscosity.high == (1.5, 1.1)
    assert row.density.provenance is shared["somebody"]
    assert row.vapour_pressure.provenance == ("by hand", "read", "high")
    assert (row.note, row.density_15, row.expansion, row.relation) == ("", None, "", False)


@pytest.mark.parametrize(
    ("right", "wrong", "told"),
    [
        ('kind = "substance"', 'kind = "mixture"', "kind 'mixture' is not one of substance"),
        ('kind = "substance"', 'kind = "range of products"', "9 figures each"),
        ('static = "not sure"', 'static = "yes"', "static 'yes'"),
        ('static = "not sure"', 'static = "not sure"\nrelaton = true', "relaton"),
        ('static = "not sure"', 'static = "not sure"\ntemperatures = [1.0]', "temperatures"),
        ('family = "water"\n', "", "family"),
        ('density = "somebody"', 'density = "nobody"', "nobody"),
        ('density = "somebody"\n', "", "density"),
        ('status = "read", ', "", "status"),
        ('status = "read"', 'status = "guessed"', "status 'guessed'"),
        ('confidence = "high"', 'confidence = "higher"', "confidence 'higher'"),
        ('source = "by hand"', 'source = ""', "a source is not empty"),
        ("1.1 ", "1,1 ", "1,1"),
        ("1.1 ", "1.1 7 ", "5 figures each"),
        ("20.0 ", "-20.0 ", "temperatures of a table rise"),
        ("20.0   1090.0   1520.0   1.1   2300.0\n", "", "two lines or more"),
    ],
)
def test_a_damaged_table_is_refused(right: str, wrong: str, told: str) -> None:
    assert GOOD.count(right) >= 1
    with pytest.raises(ValueError, match=r"^mine\.toml: brine: ") as caught:
        read(GOOD.replace(right, wrong, 1), where="mine.toml")
    assert told in str(caught.value)


def test_a_file_is_read_when_a_cargo_of_it_is_asked_for() -> None:
    """In a fresh interpreter: gasoline needs the first file only."""
    code = (
        "from surge.reference import liquid_rows, liquids\n"
        "assert liquid_rows.table.cache_info().currsize == 0\n"
        "assert liquids.find('gasoline').name == 'motor gasoline'\n"
        "assert liquid_rows.table.cache_info().currsize == 1\n"
        "assert liquids.find('benzol').name == 'benzene'\n"
        "assert liquid_rows.table.cache_info().currsize == 2\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@rows
def test_texts_are_texts_and_flags_are_flags(name: str) -> None:
    """TOML would take ``relation = "false"`` for a text, which counts as true."""
    cargo = CARGOES[name]
    texts = (
        name,
        *cargo.aliases,
        cargo.family,
        cargo.note,
        cargo.expansion,
        cargo.static_source,
        cargo.source,
    )
    assert all(isinstance(text, str) for text in texts)
    assert all(len(alias) > 1 for alias in cargo.aliases)
    assert isinstance(cargo.relation, bool)
    assert (cargo.expansion in ("crude", "products", "lubricating oils")) == (cargo.density_15 is not None)
    assert cargo.density_15 is not None or not cargo.relation


def test_every_shared_source_is_used() -> None:
    for file in FILES:
        liquids, shared = table(file)
        used = {
            c.provenance for r in liquids for c in (r.density, r.sound_speed, r.viscosity, r.vapour_pressure)
        }
        assert set(shared.values()) <= used


# --- interpolation ------------------------------------------------------------------------------


@given(st.sampled_from(ALL), st.floats(0.0, 1.0))
@settings(max_examples=100, deadline=None)
def test_between_neighbours_and_in_order(name: str, share: float) -> None:
    cargo = CARGOES[name]
    t = temperature_in(cargo, share)
    state = at(cargo, t)
    k = min(sum(p <= t for p in cargo.temperatures), len(cargo.temperatures) - 1)
    bands = (state.density, state.sound_speed, state.viscosity, state.vapour_pressure)
    for figures, band in zip(cargo.figures.values(), bands, strict=True):
        assert band.low <= band.typical <= band.high
        for value, points in ((band.low, figures.low), (band.high, figures.high)):
            ends = sorted(points[k - 1 : k + 1])
            assert ends[0] * (1 - 1e-12) <= value <= ends[1] * (1 + 1e-12)
        assert (band.source, band.status) == (figures.source, figures.status)


@given(st.sampled_from(ALL), st.floats(0.0, 1.0))
@settings(max_examples=100, deadline=None)
def test_the_check_takes_the_unfavourable_end(name: str, share: float) -> None:
    cargo = CARGOES[name]
    state = at(cargo, temperature_in(cargo, share))
    for band in (state.density, state.sound_speed, state.vapour_pressure):
        assert band.unfavourable == band.high
        assert band.cautious == pytest.approx(band.high * (1.0 + band.doubt), rel=1e-12)
    thin = state.viscosity
    assert thin.unfavourable == thin.low
    assert thin.cautious == pytest.approx(thin.low / (1.0 + thin.doubt), rel=1e-12)
    assert all(
        band.doubt == DOUBTS[prop][band.confidence] > 0.0
        for prop, band in zip(
            cargo.figures, (state.density, state.sound_speed, thin, state.vapour_pressure), strict=True
        )
    )


@pytest.mark.parametrize("levels", DOUBTS.values(), ids=list(DOUBTS))
def test_less_confidence_is_more_doubt(levels: dict[str, float]) -> None:
    assert levels["high"] < levels["medium"] < levels["low"]


@rows
def test_points_come_back(name: str) -> None:
    cargo = CARGOES[name]
    for k, t in enumerate(cargo.temperatures):
        state = at(cargo, t)
        for band, figures in zip(
            (state.density, state.sound_speed, state.viscosity, state.vapour_pressure),
            cargo.figures.values(),
            strict=True,
        ):
            assert (band.low, band.high) == pytest.approx((figures.low[k], figures.high[k]), rel=1e-12)


def test_straight_and_logarithmic_as_stated() -> None:
    """Half way from 0 to 20 C by hand, from the table of methanol itself."""
    cargo = CARGOES["methanol"]
    i = cargo.temperatures.index(ZERO)
    state = state_at("methanol", 10.0)
    for band, figures in ((state.density, cargo.density), (state.sound_speed, cargo.sound_speed)):
        assert band.typical == pytest.approx((figures.low[i] + figures.low[i + 1]) / 2.0)
    x = (1 / 283.15 - 1 / 273.15) / (1 / 293.15 - 1 / 273.15)
    for band, figures in ((state.viscosity, cargo.viscosity), (state.vapour_pressure, cargo.vapour_pressure)):
        cold, warm = math.log(figures.low[i]), math.log(figures.low[i + 1])
        assert math.log(band.typical) == pytest.approx(cold + (warm - cold) * x)


@rows
@pytest.mark.parametrize("beyond", [-40.0, -0.01, 0.01, 300.0])
def test_outside_the_range_is_refused(name: str, beyond: float) -> None:
    cargo = CARGOES[name]
    low, high = cargo.temperatures[0], cargo.temperatures[-1]
    with pytest.raises(OutsideRangeError) as caught:
        at(cargo, (low if beyond < 0 else high) + beyond)
    assert (caught.value.lowest, caught.value.highest) == (low, high)
    assert name in str(caught.value)
    assert isinstance(caught.value, ValueError)
    assert isinstance(caught.value, SurgeError)


@pytest.mark.parametrize("temperature", [math.nan, math.inf, -math.inf])
def test_no_number_is_refused(temperature: float) -> None:
    with pytest.raises(OutsideRangeError):
        at(CARGOES["water"], temperature)


def test_the_ends_of_the_range_bear_rounding() -> None:
    cargo = CARGOES["water"]
    assert at(cargo, cargo.temperatures[0] - 1e-9).density.typical == cargo.density.low[0]


# --- density at 15 C ----------------------------------------------------------------------------

OILS = [c.name for c in CARGOES.values() if c.density_15]


@given(st.sampled_from(OILS), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@settings(max_examples=100, deadline=None)
def test_a_known_density_narrows(name: str, share: float, place: float) -> None:
    cargo = CARGOES[name]
    assert cargo.density_15
    light, heavy = cargo.density_15
    d15, t = light + (heavy - light) * place, temperature_in(cargo, share)
    whole, parcel = at(cargo, t), at(cargo, t, density_15=d15)
    assert parcel.density.low == parcel.density.unfavourable == parcel.density.high
    assert whole.density.low * 0.999 <= parcel.density.typical <= whole.density.high * 1.001
    assert parcel.density.typical == petroleum_density(d15, temperature=t, group=cargo.expansion)
    if cargo.relation:
        typical = dead_oil_sound_speed(d15, temperature=t)
        assert parcel.sound_speed.typical == typical
        assert parcel.sound_speed.unfavourable == pytest.approx(COMPOSITION[1] * typical)
        assert parcel.sound_speed.high <= whole.sound_speed.high * 1.001
    else:
        assert parcel.sound_speed == whole.sound_speed
    assert (parcel.viscosity, parcel.vapour_pressure) == (whole.viscosity, whole.vapour_pressure)
    assert parcel.density_15 == d15


@pytest.mark.parametrize("density_15", [0.845, 700.0, 1000.0, math.nan])
def test_a_density_that_is_not_sold_under_the_name_is_refused(density_15: float) -> None:
    with pytest.raises(DensityError, match="815 to 865") as caught:
        state_at("gas oil", 15.0, density_15)
    assert caught.value.permitted == (815.0, 865.0)
    assert isinstance(caught.value, CargoError)


@pytest.mark.parametrize("name", ["methanol", "palm oil", "FAME"])
def test_a_density_of_what_is_no_petroleum_is_refused(name: str) -> None:
    with pytest.raises(DensityError, match="leave it out"):
        state_at(name, 50.0, 800.0)


# --- lookup --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("methanol", "methanol"),
        ("METHANOL", "methanol"),
        ("  Palm   Oil ", "palm oil"),
        ("n hexane", "n-hexane"),
        ("kerosene", "jet fuel / kerosene"),
        ("Jet A-1", "jet fuel / kerosene"),
        ("diesel", "gas oil"),
        ("petrol", "motor gasoline"),
        ("MEG", "monoethylene glycol"),
        ("caustic soda 50%", "caustic soda, 50 %"),
        ("HFO", "heavy fuel oil"),
        ("crude", "crude oil"),
        ("biodiesel", "FAME"),
    ],
)
def test_found_by_name_and_alias(asked: str, name: str) -> None:
    found = find(asked)
    assert found is not None
    assert found is CARGOES[name]


@pytest.mark.parametrize("asked", ["", " ", "unobtainium", "methano"])
def test_not_found(asked: str) -> None:
    assert find(asked) is None


def test_search() -> None:
    assert {c.name for c in search("gasoline")} >= {
        "motor gasoline",
        "motor gasoline, winter",
        "aviation gasoline",
    }
    assert {c.name for c in search("crude light")} >= {"light crude"}
    assert [c.name for c in search("isopropyl alcohol")] == ["isopropanol"]
    assert len(search("vegetable")) >= 6
    assert search("unobtainium") == []
    assert len(search("")) == len(CARGOES)


# --- figures that handbooks print ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "celsius", "speed", "tolerance"),
    [
        # Handbook table of sound speeds. Water is known to 0.1 %; tables of organic liquids differ among
        # themselves by about 1 %, and so from a reference equation.
        ("water", 10.0, 1447.0, 0.001),
        ("water", 20.0, 1482.0, 0.001),
        ("water", 30.0, 1509.0, 0.001),
        ("methanol", 20.0, 1121.0, 0.01),
        ("ethanol", 20.0, 1162.0, 0.01),
        ("acetone", 20.0, 1190.0, 0.01),
        ("acetone", 25.0, 1174.0, 0.01),
        ("benzene", 25.0, 1306.0, 0.01),
        ("monoethylene glycol", 25.0, 1658.0, 0.001),
    ],
)
def test_sound_speeds_of_a_handbook_table(name: str, celsius: float, speed: float, tolerance: float) -> None:
    assert state_at(name, celsius).sound_speed.typical == pytest.approx(speed, rel=tolerance)


@pytest.mark.parametrize(
    ("name", "celsius", "speed"),
    [
        # Handbook table of sound speeds; a product must have its figure inside its spread.
        ("jet fuel / kerosene", 25.0, 1315.0),
        ("sea water", 20.0, 1522.0),
        ("olive oil", 22.0, 1440.0),
        ("castor oil", 20.0, 1500.0),
        ("castor oil", 20.0, 1527.0),
        ("ethanol, hydrous", 25.0, 1207.0),
        ("sulphuric acid, 98 %", 20.0, 1278.0),  # from a bulk modulus of 3.0 GPa
    ],
)
def test_products_have_the_handbook_figure_inside(name: str, celsius: float, speed: float) -> None:
    band = state_at(name, celsius).sound_speed
    assert band.low <= speed <= band.high


def test_relation_at_the_handbook_figure_for_jet_fuel() -> None:
    """1315 m/s at 25 C (handbook table), at the usual density of 0.80: within the spread for composition."""
    band = state_at("jet fuel / kerosene", 25.0, 800.0).sound_speed
    assert band.typical == pytest.approx(1315.0, rel=0.01)
    assert band.low < 1315.0 < band.high


@pytest.mark.parametrize(
    ("name", "modulus", "tolerance"),
    [
        # Isentropic moduli of handbooks [Pa]. They scatter by 5 % (2.5 % of sound speed).
        ("water", 2.19e9, 0.01),
        ("sea water", 2.34e9, 0.03),
        ("ethanol", 1.06e9, 0.03),
        ("sulphuric acid, 98 %", 3.0e9, 0.05),
    ],
)
def test_bulk_moduli(name: str, modulus: float, tolerance: float) -> None:
    state = state_at(name, 20.0)
    assert state.density.typical * state.sound_speed.typical**2 == pytest.approx(modulus, rel=tolerance)


@pytest.mark.parametrize(("name", "isothermal"), [("acetone", 0.92e9), ("benzene", 1.05e9)])
def test_common_moduli_would_give_less_surge(name: str, isothermal: float) -> None:
    """Why sound speeds are stored: with the moduli of common tables 8 % less surge and more."""
    state = state_at(name, 20.0)
    density = state.density.typical
    assert math.sqrt(isothermal / density) * 1.08 < state.sound_speed.typical


@pytest.mark.parametrize(
    ("name", "celsius", "speed"),
    [
        # Wave speeds worked out beforehand from handbook sound speeds and densities at about 20 C.
        ("water", 20.0, 1296.0),
        ("sea water", 20.0, 1311.0),
        ("naphtha", 20.0, 1098.0),
        ("jet fuel / kerosene", 25.0, 1203.0),
        ("gas oil", 20.0, 1240.0),
        ("methanol", 20.0, 1050.0),
        ("ethanol", 20.0, 1084.0),
        ("acetone", 20.0, 1106.0),
        ("benzene", 25.0, 1187.0),
        ("toluene", 20.0, 1202.0),
        ("mixed xylenes", 20.0, 1214.0),
        ("styrene", 20.0, 1219.0),
        ("MTBE", 25.0, 982.0),
        ("palm oil", 50.0, 1240.0),
        ("soya bean oil", 22.0, 1280.0),
        ("heavy fuel oil", 50.0, 1280.0),
        ("sulphuric acid, 98 %", 20.0, 1072.0),
        ("monoethylene glycol", 25.0, 1386.0),
        ("caustic soda, 50 %", 20.0, 1600.0),
    ],
)
def test_wave_speed_in_12_inch_standard_pipe(name: str, celsius: float, speed: float) -> None:
    """Bore 304.8 mm, wall 9.53 mm, 207 GPa, c1 0.91: substances within 1.5 %, products inside their spread.

    1.5 % is what the 2 % of doubt in a sound speed from memory leaves in a steel pipe.
    """
    state = state_at(name, celsius)
    low, high = (
        wave_speed(density=d, sound_speed=c, diameter=0.3048, wall=0.00953, modulus=207e9, c1=0.91)
        for d, c in (
            (state.density.low, state.sound_speed.low),
            (state.density.high, state.sound_speed.high),
        )
    )
    assert low * 0.985 <= speed <= high * 1.015


@pytest.mark.parametrize(("celsius", "low", "high"), [(20.0, 1121.0, 1290.0)])
def test_wave_speed_of_gasoline_is_within_the_handbook_range(celsius: float, low: float, high: float) -> None:
    """What the check uses stays inside the range that handbook moduli of 1.07 to 1.49 GPa give."""
    state = state_at("motor gasoline", celsius)
    used = wave_speed(
        density=state.density.unfavourable,
        sound_speed=state.sound_speed.unfavourable,
        diameter=0.3048,
        wall=0.00953,
        modulus=207e9,
        c1=0.91,
    )
    assert low < used < high


@pytest.mark.parametrize(
    ("name", "reid", "celsius"),
    [
        # By definition close to the Reid pressure at 37.8 C; true vapour pressure is a few per cent above it.
        ("motor gasoline, summer", (45.0, 70.0), 37.8),
        ("motor gasoline, winter", (60.0, 105.0), 37.8),
        ("naphtha", (35.0, 90.0), 37.8),
        ("light naphtha", (60.0, 100.0), 37.8),
        ("aviation gasoline", (38.0, 49.0), 37.8),
    ],
)
def test_true_vapour_pressure_meets_the_reid_pressure(
    name: str, reid: tuple[float, float], celsius: float
) -> None:
    band = state_at(name, celsius).vapour_pressure
    assert 0.99 * reid[0] * 1e3 < band.low < 1.25 * reid[0] * 1e3
    assert 0.99 * reid[1] * 1e3 < band.high < 1.25 * reid[1] * 1e3


@pytest.mark.parametrize(
    ("name", "reid"),
    [("light crude", (20.0, 75.0)), ("medium crude", (15.0, 65.0)), ("crude oil", (5.0, 75.0))],
)
def test_true_vapour_pressure_of_crude_is_above_reid(name: str, reid: tuple[float, float]) -> None:
    """Light ends leave the liquid into the vapour space of the Reid test: 5 to 45 % more without one.

    The equation falls below the Reid pressure under about 15 kPa, where it is not meant for use: that is the
    low end, which the check does not take.
    """
    band = state_at(name, 37.8).vapour_pressure
    assert 0.75 * reid[0] * 1e3 < band.low < 1.45 * reid[0] * 1e3
    assert 1.05 * reid[1] * 1e3 < band.high < 1.45 * reid[1] * 1e3


@pytest.mark.parametrize(
    ("name", "reid", "rows_of_table"),
    [
        # US EPA AP-42, table 7.1-2 (from memory): Reid 10 psi at 60 and 80 F, scaled to the row's own RVP.
        ("motor gasoline, summer", 70e3, ((15.56, 5.2), (26.67, 7.4))),
    ],
)
def test_gasoline_vapour_pressure_table(
    name: str, reid: float, rows_of_table: tuple[tuple[float, float], ...]
) -> None:
    """70 kPa is 10.15 psi; the table for 10 psi must be met within 5 % (1.5 % for the RVP, rest the form)."""
    for celsius, psi in rows_of_table:
        high = state_at(name, celsius).vapour_pressure.high
        assert high == pytest.approx(psi * 6894.757 * reid / 68947.57, rel=0.05)


@pytest.mark.parametrize(
    ("name", "static"),
    [
        ("motor gasoline", True),
        ("jet fuel / kerosene", True),
        ("gas oil", True),
        ("toluene", True),
        ("methanol", False),
        ("crude oil", False),
        ("heavy fuel oil", False),
        ("water", False),
        ("low-sulphur fuel oil", None),
        ("palm oil", None),
    ],
)
def test_static_accumulators(name: str, static: bool | None) -> None:
    assert CARGOES[name].static_accumulator is static

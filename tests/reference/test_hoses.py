"""Hose types: complete, with their factors; wave speeds from swell."""

from __future__ import annotations

import pytest

from surge.errors import UnknownNameError
from surge.hydraulics.formulas import hose_wave_speed
from surge.reference.hoses import (
    HOSE_TEST_INTERVAL,
    HOSES,
    SWELL_BAND,
    WAVE_SPEED_BAND,
    hose_type,
    search,
    wave_speed_band,
)

SWELL_PRESSURE = 10e5  # [Pa gauge] at which the rows give the swell
GAS_OIL = {"density": 836.5, "sound_speed": 1370.0}  # bulk modulus 1.57 GPa, from memory
hoses = pytest.mark.parametrize("name", HOSES)


@hoses
def test_every_row_has_source_status_and_range(name: str) -> None:
    hose = HOSES[name]
    assert hose.name == name
    assert len(hose.source) > 20
    assert hose.status in ("read", "read in part", "from memory")
    assert hose.validity
    assert hose.wave_speed_source
    assert hose.includes_surge in (True, False, None)
    if hose.status == "read":
        assert "from memory" not in hose.source
    assert (hose.rating is None) == (hose.burst is None) == (hose.test_pressure is None)
    if hose.temperatures is not None:
        assert 220.0 < hose.temperatures[0] < hose.temperatures[1] < 400.0
    soft, stiff = hose.wave_speed
    assert 100.0 <= soft < (stiff or 1500.0)


@pytest.mark.parametrize(
    ("name", "bars", "burst"),
    [
        ("rubber dock hose", (10, 15), 4),
        ("composite hose", (4, 7, 10, 14), 4),
        ("floating or submarine hose", (15, 19, 21), 5),
        ("liquefied gas hose", (10,), 5),
    ],
)
def test_ratings_and_factors(name: str, bars: tuple[int, ...], burst: int) -> None:
    found = [hose for hose in HOSES.values() if hose.name.startswith(name)]
    assert [hose.name for hose in found] == [f"{name}, {p} bar" for p in bars]
    for hose, p in zip(found, bars, strict=True):
        assert hose.rating == p * 1e5
        assert hose.test_pressure == pytest.approx(1.5 * p * 1e5)
        assert hose.burst == burst * p * 1e5


def test_no_rating_counts_surge_in_without_a_source() -> None:
    assert {hose.includes_surge for hose in HOSES.values()} == {False, None}
    assert HOSES["rubber dock hose, 10 bar"].includes_surge is False


def test_a_gas_hose_is_tested_between_its_two_bounds() -> None:
    hose = HOSES["liquefied gas hose, 10 bar"]
    assert hose.burst is not None
    assert hose.rating is not None
    assert hose.test_pressure is not None
    assert hose.burst >= 50e5
    assert 1.5 * hose.rating <= hose.test_pressure <= 0.4 * hose.burst


def test_temperatures_of_rubber() -> None:
    assert HOSES["rubber dock hose, 15 bar"].temperatures == pytest.approx((253.15, 355.15))
    assert HOSES["rubber dock hose, 15 bar"].validity == "cargo from -20 to 82 C"


# Worked out beforehand for gas oil, whole m/s.
@pytest.mark.parametrize(("swell", "expected"), [(0.002, 674), (0.005, 461), (0.01, 336), (0.02, 241)])
def test_wave_speed_from_swell(swell: float, expected: float) -> None:
    speed = hose_wave_speed(swell=swell, pressure=SWELL_PRESSURE, **GAS_OIL)
    assert speed == pytest.approx(expected, abs=1.0)


def test_the_band_is_about_that_of_the_swells() -> None:
    stiff, soft = (hose_wave_speed(swell=s, pressure=SWELL_PRESSURE, **GAS_OIL) for s in SWELL_BAND)
    assert WAVE_SPEED_BAND == (250.0, 700.0)
    assert WAVE_SPEED_BAND[0] == pytest.approx(soft, rel=0.04)
    assert stiff < WAVE_SPEED_BAND[1]  # the end that makes the greater rise is not below the swell's


@hoses
@pytest.mark.parametrize("sound_speed", [200.0, 600.0, 1000.0, 1480.0])
def test_no_hose_is_stiffer_than_the_liquid(name: str, sound_speed: float) -> None:
    soft, stiff = wave_speed_band(HOSES[name], sound_speed=sound_speed)
    assert 0.0 < soft <= stiff <= sound_speed


def test_bands() -> None:
    assert wave_speed_band(HOSES["composite hose, 10 bar"], sound_speed=1250.0) == (250.0, 700.0)
    assert wave_speed_band(HOSES["braided metal hose"], sound_speed=1250.0) == (250.0, 1250.0)


def test_test_interval() -> None:
    assert HOSE_TEST_INTERVAL.months == 12
    assert "ISGOTT" in HOSE_TEST_INTERVAL.source
    assert HOSE_TEST_INTERVAL.status == "read"
    assert HOSE_TEST_INTERVAL.validity


def test_an_unknown_hose_is_told_what_there_is() -> None:
    with pytest.raises(UnknownNameError) as error:
        hose_type("rubber dock hose, 12 bar")
    assert error.value.known == tuple(HOSES)
    assert hose_type("braided metal hose").rating is None


def test_search() -> None:
    assert {hose.name for hose in search("rubber 15")} == {"rubber dock hose, 15 bar"}
    assert {hose.name for hose in search("GMPHOM")} == {hose.name for hose in search("floating")}
    assert len(search("hose")) == len(HOSES)

"""What the sheet says of gauges: compared or not; a case that does not fit them is no agreement."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.demos import Demo, Demos

from surge.model.gauge import GaugeReading
from surge.reports.words import Display
from surge.rules.findings import UNDECIDED, WITHIN
from surge.rules.gauge import FITS, FITS_NOT, Compared, GaugeCheck
from surge.sheet.data import Sheet, sheet_of
from surge.units import ShowUnits


def read(calculated: float) -> GaugeCheck:
    """A gauge that showed 3.0 bar(g), within 0.3, where so much is calculated [Pa gauge]."""
    reading = GaugeReading(point="manifold", pressure=3e5, rate=0.1, tolerance=3e4, tolerance_source="test")
    one = Compared(reading=reading, calculated=calculated)
    return GaugeCheck(outcome=FITS if one.fits else FITS_NOT, compared=(one,))


@pytest.fixture(scope="module")
def kept(demos: Demos) -> Demo:
    return demos["restart-into-a-shut-deck-line"]


def sheet(demo: Demo, check: GaugeCheck) -> Sheet:
    display = Display(units=ShowUnits(), density=demo.case.lineup.liquid.density)
    made = replace(demo.answer, gauge=check)
    return sheet_of(demo.case, made, None, display=display, version="0")


def test_the_sheet_says_whether_the_case_was_compared(kept: Demo) -> None:
    assert sheet(kept, GaugeCheck()).gauge == "Not compared with a gauge."
    assert sheet(kept, read(2.9e5)).gauge.startswith("Compared with the gauge: the reading fits")


def test_a_case_that_does_not_fit_is_no_agreement(kept: Demo) -> None:
    assert sheet(kept, read(2.9e5)).verdict == WITHIN
    made = sheet(kept, read(2.5e5))
    assert made.gauge.startswith("DOES NOT FIT THE GAUGE")
    assert not made.signable
    assert (made.verdict, made.exit_code) == (UNDECIDED, 4)
    assert any("DOES NOT FIT THE GAUGE" in said for said in made.objections)
    assert "find the figure with which the case fits the gauge" in " ".join(made.advice)


def test_a_reading_that_fits_makes_no_verdict_better(demos: Demos) -> None:
    assert sheet(demos["gasoline-through-cargo-pumps"], read(3e5)).exit_code == 3

"""A demo in other units, and one that boils; for pictures, films and comparisons."""

from __future__ import annotations

import functools

from support.answers import CASES
from surge.api.check import check
from surge.case.file import read_case
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.units import ShowUnits

CRUDE = CASES / "crude-sea-line.toml"


PSI, FEET = 6894.757293168, 0.3048  # [Pa], [m]: by definition


DISPLAY = Display(units=ShowUnits(pressure="psi", flow="L/s", length="ft"), density=865.0)


@functools.cache
def boiling() -> Assessment:
    """Crude so light that it boils behind the valve that shuts."""
    text = CRUDE.read_text(encoding="utf-8")
    old = 'vapour_pressure = "0.15 bar(a)"'
    assert old in text
    return check(read_case(text.replace(old, 'vapour_pressure = "0.45 bar(a)"'), filename="boiling.toml"))

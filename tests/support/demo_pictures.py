"""The reader's units in which pictures, films and comparisons are tried."""

from __future__ import annotations

from support.demos import CASES
from surge.reports.words import Display
from surge.units import ShowUnits

CRUDE = CASES / "crude-sea-line.toml"
PSI, FEET = 6894.757293168, 0.3048  # [Pa], [m]: by definition
DISPLAY = Display(units=ShowUnits(pressure="psi", flow="L/s", length="ft"), density=865.0)

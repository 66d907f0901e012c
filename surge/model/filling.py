"""A part of the line that is full of gas at first, and fills.

Units as in :mod:`surge.model.lineup`: pressures [Pa gauge] unless ``_abs``, lengths [m], temperatures [K].
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.errors import Origin
from surge.model.scenario import Scenario

OPEN, SHUT, HOLE = "open", "shut", "opening"
"""How the gas leaves: freely, not at all, or through an opening of a stated size."""
EXPONENTS = (1.0, 1.4)
"""Of air, nitrogen and inert gas: slow enough to keep its temperature, too quick to exchange any heat."""
COEFFICIENTS = (0.6, 1.0)
"""Of an opening for gas: sharp-edged, and rounded without a loss."""
GAS_CONSTANT = 287.05  # [J/(kg K)] of dry air; nitrogen has 3 % more, inert gas of a boiler some 4 % less
HEAT_RATIO = 1.4  # [-] of two-atomic gases
GAS_TEMPERATURE = 288.15  # [K]


@dataclass(frozen=True, kw_only=True)
class Filling:
    """Filling of a line from a point on to another, between which gas stands at first.

    Attributes
    ----------
    name, note : str
    scenario : Scenario
        What moves meanwhile, and how everything stands: rate, levels, openings, valves shut at first.
    start, end : str
        Points: between them is gas, but for the liquid of ``front``. At ``end`` the front arrives.
    front : float
        How far beyond ``start`` the liquid stands at first [m].
    gas_pressure : float
        At first; and outside, where gas leaves [Pa gauge].
    exponent : float
        n of p V**n constant, p absolute [-].
    exponent_range : (float, float) or None
        Where it is not given: judged at both ends and between them [-].
    vent : {"open", "shut", "opening"}
    vent_diameter : float
        Of the opening [m].
    vent_coefficient : float
        What flows over what would flow through that opening without losses [-].
    vent_coefficient_range : (float, float) or None
        Where it is not given: judged at both ends and between them [-].
    temperature : float
        Of the gas at first [K].
    """

    name: str
    scenario: Scenario
    start: str
    end: str
    gas_pressure: float
    note: str = ""
    front: float = 0.0
    exponent: float = 1.2
    exponent_range: tuple[float, float] | None = None
    vent: str = OPEN
    vent_diameter: float = 0.0
    vent_coefficient: float = 1.0
    vent_coefficient_range: tuple[float, float] | None = None
    temperature: float = GAS_TEMPERATURE
    origin: Origin = ()

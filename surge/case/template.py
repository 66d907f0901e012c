"""A commented case of any number of arms and tanks, for people to put their own figures into.

Decisions
---------
* Everything that is there several times is written several times, each with its own name: nobody has to copy
  and rename. The manifold valves are one group, since one order shuts them.
* All figures are invented, of a usual size for the number of arms and tanks, so that the case can be checked
  at once: a rate that arms, tanks and shore line take at usual velocities, and a pump that reaches it.
* Nobody knows the Kv of a stopped cargo pump. The template gives the rated point of the pump instead, which
  stands in the ship's pump curves; the program takes a range of Kv from it, with its source.
* A light cargo boils at the top of a drop line that hangs full from deck down to a low level: its tanks are
  taken half full.
* The cargo is taken at 15 C, or as near to it as its figures go and it is thin enough to be pumped.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING

import jinja2

from surge.choices import Through
from surge.model.lineup import GRAVITY
from surge.reference.liquids import at, cargoes, find
from surge.reference.rows import look_up
from surge.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from surge.reference.liquids import Cargo

MOST_ARMS, MOST_TANKS = 8, 24
USUAL_CARGO = "gas oil"
_PER_ARM = 700.0  # [m3/h] through a 10 inch arm: 3.8 m/s
_PER_TANK = {"drop lines": 300.0, "pumps": 200.0}  # [m3/h] down a 6 inch drop line, or through a stopped pump
_THIN, _THICK = 0.1, 0.3  # [Pa s] above the first the rate is halved; what is thicker is loaded warmer
_DENSE = 1000.0  # [kg/m3] what is denser is loaded at a lower rate: the pump makes a pressure
_LINES = ((400.0, 10), (650.0, 12), (1300.0, 16), (2200.0, 20), (3600.0, 24))  # up to a rate [m3/h], [inch]
_STEP = 5.0  # [K] between temperatures that are tried
_LIGHT = 10e3  # [Pa] vapour pressure from which the tanks are taken half full
_LEVELS = (3, 6)  # [m] surfaces of the tanks, of other cargoes and of light ones
_START = 40.0  # [m3/h] and tank: below 1 m/s in a 6 inch line, also where stopped pumps share it unevenly
_TOPPING = 120.0  # [m3/h] into the last tank
_CURVE = ((0.0, 7.5), (1.0, 6.5), (1.5, 5.5))  # of the shore pump: part of the rate, pressure [bar]


@dataclass(frozen=True, kw_only=True)
class Berth:
    """What the template is filled with; pressures of the pump as heads of the cargo [m]."""

    arms: tuple[str, ...]
    tanks: tuple[str, ...]
    through: Through
    cargo: str
    celsius: float
    density_15: tuple[float, float] | None
    rate: float
    start: float
    topping: float
    line: int
    level: int
    curve: tuple[tuple[int, float], ...]

    @property
    def pumps(self) -> bool:
        """Whether the cargo goes down through stopped pumps."""
        return self.through == "pumps"


def template_case(*, arms: int, tanks: int, through: Through, cargo: str) -> str:
    """Return the text of a commented case.

    Parameters
    ----------
    arms, tanks : int
        From 1 to ``MOST_ARMS`` and ``MOST_TANKS``.
    through : {"drop lines", "pumps"}
        How the cargo gets down into the tanks.
    cargo : str
        A cargo of the program's table.

    Raises
    ------
    UnknownNameError
        There is no such cargo; with the names that there are.
    """
    found = find(cargo) or look_up(cargoes(), cargo, kind="cargo")
    environment = jinja2.Environment(
        autoescape=False,  # a text in TOML, filled with words of the program's own
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    text = files("surge.case").joinpath("berth.toml.jinja").read_text(encoding="utf-8")
    return environment.from_string(text).render(b=_berth(found, arms=arms, tanks=tanks, through=through))


def _berth(cargo: Cargo, *, arms: int, tanks: int, through: Through) -> Berth:
    temperature = _temperature(cargo)
    state = at(cargo, temperature)
    slower = (0.5 if state.viscosity.high > _THIN else 1.0) * min(1.0, _DENSE / state.density.high)
    rate = min(arms * _PER_ARM, tanks * _PER_TANK[through], _LINES[-1][0]) * slower
    weight = state.density.high * GRAVITY
    return Berth(
        arms=tuple(str(i + 1) for i in range(arms)),
        tanks=tuple(f"{i // 2 + 1}{'PS'[i % 2]}" for i in range(tanks)),
        through=through,
        cargo=cargo.name,
        celsius=temperature - ZERO_CELSIUS,
        density_15=cargo.density_15,
        rate=round(rate, -1),
        start=min(tanks * _START, round(rate, -1)),
        topping=min(_TOPPING, round(rate, -1)),
        line=next(inch for most, inch in _LINES if rate <= most),
        level=_LEVELS[state.vapour_pressure.high > _LIGHT],
        curve=tuple((round(part * rate), round(bar * 1e5 / weight, 1)) for part, bar in _CURVE),
    )


def _temperature(cargo: Cargo) -> float:
    """15 C, or as near to it as the figures go and the cargo is thin enough [K]."""
    low, high = cargo.temperatures[0], cargo.temperatures[-1]
    found = min(max(ZERO_CELSIUS + 15.0, low), high)
    while found < high and at(cargo, found).viscosity.high > _THICK:
        found = min(found + _STEP, high)
    return found

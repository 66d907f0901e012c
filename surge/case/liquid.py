"""The cargo of a case: figures of its own, or from the program's table at its temperature.

Decisions
---------
* Where products under one name differ, density, sound speed and viscosity are ranges, and the worst over all
  of each counts: no end is the unfavourable one for every line (:mod:`surge.rules.spread`). Where one figure
  has to stand for them, it is the high density, the high sound speed and the low viscosity. The vapour
  pressure is the high one (:mod:`surge.model.ranges`). A single substance has its value.
* How far the table itself may be off is kept apart, for the search of windows
  (:mod:`surge.reference.liquids`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from surge.case import schema as spec
from surge.case.notes import Notes
from surge.errors import UnknownNameError
from surge.model.lineup import Liquid
from surge.toml.text import shown
from surge.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from surge.reference.liquids import CargoState

_SOME = {"density": (300.0, 3000.0), "sound_speed": (300.0, 3000.0), "viscosity": (1e-8, 0.1)}
_WITHOUT_CARGO = ("name", "density", "viscosity", "vapour_pressure")
FAR = 0.2  # our own bound: own figures farther than this from the table are a slip, or another liquid


@dataclass(frozen=True, kw_only=True)
class _Listed:
    """What the table says of the cargo."""

    name: str
    state: CargoState
    static_accumulator: bool | None

    def ends(self, quantity: str) -> tuple[float, float] | None:
        """Ends of a property [SI]; None where it is one figure."""
        band = getattr(self.state, quantity)
        return (band.low, band.high) if band.low < band.high else None


def liquid_of(liquid: spec.LiquidTable, notes: Notes) -> Liquid:
    """Return the liquid, and tell ``notes`` its density, sound speed and temperature."""
    notes.temperature = liquid.temperature.value if liquid.temperature else None
    if liquid.sound_speed is not None and liquid.bulk_modulus is not None:
        notes.exactly_one(("liquid",), sound_speed=liquid.sound_speed, bulk_modulus=liquid.bulk_modulus)
    listed = _listed(liquid, notes)
    if liquid.cargo is None:
        _all_given(liquid, notes)
    density = _density(liquid, listed, notes)
    notes.density = density
    notes.sound_speed = _sound_speed(liquid, listed, notes)
    if liquid.viscosity is not None:
        viscosity = liquid.viscosity.value
        if liquid.viscosity.kind == "dynamic viscosity":
            viscosity /= density
    elif listed:
        viscosity = listed.state.viscosity.unfavourable / density
    else:
        viscosity = _SOME["viscosity"][notes.pick]
    vapour = liquid.vapour_pressure.value if liquid.vapour_pressure else None
    if vapour is None and listed:
        vapour = listed.state.vapour_pressure.unfavourable
    static = liquid.static_accumulator
    own_speed = liquid.sound_speed is not None or liquid.bulk_modulus is not None
    return Liquid(
        name=liquid.name or (listed.name if listed else "liquid"),
        density=density,
        sound_speed=notes.sound_speed,
        viscosity=viscosity,
        vapour_pressure=vapour or 0.0,
        temperature=notes.temperature,
        static_accumulator=static if static is not None or listed is None else listed.static_accumulator,
        sound_speed_doubt=listed.state.sound_speed.doubt if listed and not own_speed else 0.0,
        density_range=listed.ends("density") if listed and liquid.density is None else None,
        sound_speed_range=listed.ends("sound_speed") if listed and not own_speed else None,
        viscosity_range=listed.ends("viscosity") if listed and liquid.viscosity is None else None,
        by_dynamic_viscosity=liquid.viscosity is None or liquid.viscosity.kind == "dynamic viscosity",
        by_modulus=liquid.bulk_modulus is not None,
    )


def _all_given(liquid: spec.LiquidTable, notes: Notes) -> None:
    """Without a cargo from the table every figure must stand in the case."""
    for key in _WITHOUT_CARGO:
        if getattr(liquid, key) is None:
            notes.missing(
                ("liquid", key),
                f"{key}, or a cargo of the program's table with its temperature",
                f'add the key {key}, or cargo = "motor gasoline" and temperature = "15 degC"',
            )
    if liquid.sound_speed is None and liquid.bulk_modulus is None:
        notes.exactly_one(("liquid",), sound_speed=None, bulk_modulus=None)
    if liquid.density_15 is not None:
        notes.needs(("liquid", "density_15"), "the cargo whose density at 15 C it is", "cargo")


def _density(liquid: spec.LiquidTable, listed: _Listed | None, notes: Notes) -> float:
    if liquid.density is not None:
        return liquid.density.value
    return listed.state.density.unfavourable if listed else _SOME["density"][notes.pick]


def _sound_speed(liquid: spec.LiquidTable, listed: _Listed | None, notes: Notes) -> float:
    if liquid.sound_speed is not None:
        return liquid.sound_speed.value
    if liquid.bulk_modulus is not None:
        return math.sqrt(liquid.bulk_modulus.value / notes.density)
    return listed.state.sound_speed.unfavourable if listed else _SOME["sound_speed"][notes.pick]


def _listed(liquid: spec.LiquidTable, notes: Notes) -> _Listed | None:
    """Look the cargo up at its temperature; note what is wrong, and what was taken."""
    if liquid.cargo is None:
        return None
    from surge.reference.liquids import DensityError, OutsideRangeError, at, cargoes, find

    cargo = find(liquid.cargo)
    if cargo is None:
        notes.unknown(("liquid", "cargo"), UnknownNameError("cargo", given=liquid.cargo, known=cargoes()))
        return None
    if notes.temperature is None:
        notes.missing(
            ("liquid", "temperature"),
            "the temperature at which the cargo is loaded",
            'add the key temperature, such as temperature = "15 degC"',
        )
        return None
    given = liquid.density_15.value if liquid.density_15 else None
    try:
        state = at(cargo, notes.temperature, density_15=given)
    except OutsideRangeError as error:
        low, high = error.lowest - ZERO_CELSIUS, error.highest - ZERO_CELSIUS
        notes.fault(
            ("liquid", "temperature"),
            shown(liquid.temperature.text if liquid.temperature else ""),
            f"{low:g} to {high:g} degC, the range of the program's figures for {cargo.name}",
            "check the temperature, or give density, sound_speed, viscosity and vapour_pressure yourself",
        )
        return None
    except DensityError as error:
        remedy = "check the density, or give density and sound_speed yourself"
        expected = str(error).partition(": ")[2]
        notes.fault(("liquid", "density_15"), f"{error.given:.5g} kg/m3", expected, remedy)
        return None
    _tell(liquid, state, notes)
    return _Listed(name=cargo.name, state=state, static_accumulator=cargo.static_accumulator)


_SHOWN = {  # property -> key of the case, unit, factor from SI, format
    "density": ("kg/m3", 1.0, ".1f"),
    "sound_speed": ("m/s", 1.0, ".0f"),
    "viscosity": ("mPa s", 1e3, ".3g"),
    "vapour_pressure": ("bar(a)", 1e-5, ".3g"),
}


def _tell(liquid: spec.LiquidTable, state: CargoState, notes: Notes) -> None:
    """Note the figures that are taken from the table, with the spread of what is sold under that name."""
    given = {key for key in _SHOWN if getattr(liquid, key) is not None}
    if liquid.bulk_modulus is not None:
        given.add("sound_speed")
    for key, (unit, factor, form) in _SHOWN.items():
        if key in given:
            continue
        band = getattr(state, key)
        low, high = f"{band.low * factor:{form}}", f"{band.high * factor:{form}}"
        if low == high:
            value = f"{band.unfavourable * factor:{form}} {unit}"
        elif key == "vapour_pressure":
            value = f"{high} {unit}, the high end of {low} to {high} that is sold under this name"
        else:
            value = f"{low} to {high} {unit}, all that is sold under this name, judged by the worst"
        source = f"{band.source} ({band.status}; confidence {band.confidence})"
        notes.assume("liquid", key.replace("_", " "), value, source, asked=True)
    cargo = state.cargo
    if liquid.static_accumulator is None and cargo.static_accumulator is not None:
        value = "yes" if cargo.static_accumulator else "no"
        notes.assume("liquid", "static accumulator", value, cargo.static_source, asked=True)
    _far_off(liquid, state, notes)


def _far_off(liquid: spec.LiquidTable, state: CargoState, notes: Notes) -> None:
    """Note own figures that cannot be those of the cargo named."""
    for key, given in (("density", liquid.density), ("sound_speed", liquid.sound_speed)):
        band = getattr(state, key)
        if given is not None and not band.low * (1 - FAR) <= given.value <= band.high * (1 + FAR):
            unit = _SHOWN[key][0]
            notes.fault(
                ("liquid", key),
                shown(given.text),
                f"{band.low:.0f} to {band.high:.0f} {unit} for {state.cargo.name}, or within a fifth of it",
                "check the figure and the cargo; for another liquid take cargo out and give all figures",
            )

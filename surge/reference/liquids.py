"""Liquids by name: density, sound speed, viscosity and vapour pressure against temperature.

**Spread and doubt are two things.** A *range of products* (motor gasoline, light crude) has a low and a high
end because different products are sold under one name; the check judges over all of it. Where one figure has
to stand for a range it is the one called unfavourable: density and sound speed high, viscosity low, vapour
pressure high. *Doubt* is how far the figures themselves may be off. It does not enter the check; the
closing-time window widens by it on the unfavourable side, see :attr:`CargoProperty.cautious`.

**What a confidence stands for**, in per cent either way (:data:`DOUBTS`; the levels are a choice of this
program, for these reasons):

* density: high 0.5 (reference equation, or a quantity that every shipper measures), medium 1 (handbook
  correlation), low 3 (figures from memory, extrapolated);
* sound speed: high 0.5 (reference equation fitted to sound speeds; it covers a line at 10 bar too), medium 2
  (ultrasonic tables from memory scatter by 1 to 2; the relation for petroleum does so), low 5 (no figure to
  hold it against);
* viscosity: high 5, medium 15, low 40: it only sets the damping and the loss;
* vapour pressure: high 3, medium 15, low 50.

**The sound speed is stored, never a bulk modulus**: the moduli of common tables are isothermal or of unknown
kind and give 8 to 14 % less surge for some light organic liquids (computed: acetone 0.92 GPa, benzene
1.05 GPa in such a table).

Between the points of a table density and sound speed run straight against temperature, the logarithms of
viscosity and vapour pressure straight against 1/temperature. Nothing is extrapolated.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from surge.errors import SurgeError
from surge.reference.liquid_rows import FILES, STATIC, STATUSES, LiquidRow, PropertyColumn, Provenance, table
from surge.reference.petroleum import COMPOSITION, dead_oil_sound_speed, petroleum_density
from surge.reference.rows import matching
from surge.units import ZERO_CELSIUS

DOUBTS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "density": {"high": 0.005, "medium": 0.01, "low": 0.03},
        "sound speed": {"high": 0.005, "medium": 0.02, "low": 0.05},
        "viscosity": {"high": 0.05, "medium": 0.15, "low": 0.4},
        "vapour pressure": {"high": 0.03, "medium": 0.15, "low": 0.5},
    }
)
_EDGE = 1e-6  # [K], [kg/m3] rounding of unit conversions at the ends of a range
_MEASURED = Provenance(
    "given density at 15 C, taken to temperature by ASTM D1250-80 / API MPMS 11.1 (factors from memory)",
    "computed",
    "high",
)  # the confidence is the row's own


class CargoError(SurgeError, ValueError):
    """Base of what can go wrong with a cargo of the table."""


class OutsideRangeError(CargoError):
    """A temperature outside the range of a cargo's figures.

    Parameters
    ----------
    cargo : str
    given, lowest, highest : float
        [K]
    """

    def __init__(self, cargo: str, *, given: float, lowest: float, highest: float) -> None:
        self.cargo, self.given, self.lowest, self.highest = cargo, given, lowest, highest
        super().__init__(
            f"{cargo} at {given - ZERO_CELSIUS:.4g} C: the figures hold from {lowest - ZERO_CELSIUS:.4g} "
            f"to {highest - ZERO_CELSIUS:.4g} C"
        )


class DensityError(CargoError):
    """A density at 15 C that does not go with the cargo.

    Parameters
    ----------
    cargo : str
    given : float
        [kg/m3]
    permitted : (float, float) or None
        [kg/m3]; None: the table takes none for this cargo.
    """

    def __init__(self, cargo: str, *, given: float, permitted: tuple[float, float] | None) -> None:
        self.cargo, self.given, self.permitted = cargo, given, permitted
        text = f"{cargo} with {given:.5g} kg/m3 at 15 C: "
        if permitted is None:
            text += "a density at 15 C is of use for petroleum and crude only; leave it out"
        else:
            text += f"what is sold under this name has {permitted[0]:.4g} to {permitted[1]:.4g} kg/m3"
        super().__init__(text)


class Figures(NamedTuple):
    """One property against temperature.

    Attributes
    ----------
    low, high : tuple of float, shape (n,)
        Ends of what is sold under the name, at ``Cargo.temperatures``; equal for a substance.
    source, status : str
        ``status`` is one of :data:`STATUSES`.
    confidence : str
        "high", "medium" or "low", see :data:`DOUBTS`.
    """

    low: tuple[float, ...]
    high: tuple[float, ...]
    source: str
    status: str
    confidence: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Cargo:
    """A row of the catalogue.

    Attributes
    ----------
    kind : str
        "substance" or "range of products".
    temperatures : tuple of float, shape (n,)
        Rising [K]; the figures hold from the first to the last.
    density, sound_speed, viscosity, vapour_pressure : Figures
        [kg/m3], [m/s], dynamic [Pa s], true [Pa absolute].
    static_accumulator : bool or None
        None is "not known".
    density_15 : (float, float) or None
        Spread of the density at 15 C [kg/m3] of a petroleum product or crude; None: not petroleum.
    expansion : str
        "crude", "products" or "lubricating oils", see :func:`surge.reference.petroleum.petroleum_density`; ""
        when not petroleum.
    relation : bool
        The sound speed follows from the density at 15 C, see
        :func:`surge.reference.petroleum.dead_oil_sound_speed`.
    """

    name: str
    aliases: tuple[str, ...]
    family: str
    kind: str
    temperatures: tuple[float, ...]
    density: Figures
    sound_speed: Figures
    viscosity: Figures
    vapour_pressure: Figures
    static_accumulator: bool | None
    static_source: str
    note: str
    density_15: tuple[float, float] | None
    expansion: str
    relation: bool

    @property
    def figures(self) -> Mapping[str, Figures]:
        """The four properties by name."""
        return {
            "density": self.density,
            "sound speed": self.sound_speed,
            "viscosity": self.viscosity,
            "vapour pressure": self.vapour_pressure,
        }

    @property
    def source(self) -> str:
        """Where the figures come from, property by property."""
        return "; ".join(f"{name}: {f.source}" for name, f in self.figures.items())

    @property
    def status(self) -> str:
        """The weakest status among the properties."""
        return max((f.status for f in self.figures.values()), key=STATUSES.index)

    @property
    def validity(self) -> str:
        """Range of temperature, in words."""
        low, high = (self.temperatures[i] - ZERO_CELSIUS for i in (0, -1))
        return f"{low:.4g} to {high:.4g} C"

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return " ".join((self.name, *self.aliases, self.family, self.note))


class CargoProperty(NamedTuple):
    """One property of a cargo at its temperature.

    Attributes
    ----------
    low, typical, high : float
        Of what is sold under the name; equal for a substance. Typical is the middle, geometric for
        viscosity and vapour pressure.
    unfavourable : float
        What stands for the range where one figure has to.
    doubt : float
        What the confidence stands for [-].
    cautious : float
        The unfavourable value with the doubt on top of it: for the closing-time window.
    source, status, confidence : str
    """

    low: float
    typical: float
    high: float
    unfavourable: float
    doubt: float
    cautious: float
    source: str
    status: str
    confidence: str


@dataclass(frozen=True, kw_only=True, eq=False)
class CargoState:
    """A cargo at its loading temperature.

    Attributes
    ----------
    temperature : float
        [K]
    density_15 : float or None
        The density at 15 C that was given [kg/m3].
    density, sound_speed, viscosity, vapour_pressure : CargoProperty
        [kg/m3], [m/s], dynamic [Pa s], true [Pa absolute].
    """

    cargo: Cargo
    temperature: float
    density_15: float | None
    density: CargoProperty
    sound_speed: CargoProperty
    viscosity: CargoProperty
    vapour_pressure: CargoProperty


def at(cargo: Cargo, temperature: float, *, density_15: float | None = None) -> CargoState:
    """Return what a cargo is like at its loading temperature.

    Parameters
    ----------
    cargo : Cargo
    temperature : float
        [K]
    density_15 : float, optional
        Density at 15 C of the parcel itself [kg/m3]: for petroleum and crude it narrows density and, where
        ``cargo.relation`` is set, sound speed.

    Returns
    -------
    CargoState

    Raises
    ------
    OutsideRangeError
        The temperature is outside the range of the figures.
    DensityError
        ``density_15`` is not within what is sold under the name, or the cargo is not petroleum.

    Examples
    --------
    Methanol has 809.7 kg/m3 at 0 C and 791.0 at 20 C in its table (de Reuck & Craven 1993): half way is
    800.35.

    >>> methanol = find("methyl alcohol")
    >>> round(at(methanol, 283.15).density.typical, 2)
    800.35
    """
    lowest, highest = cargo.temperatures[0], cargo.temperatures[-1]
    if not lowest - _EDGE <= temperature <= highest + _EDGE:
        raise OutsideRangeError(cargo.name, given=temperature, lowest=lowest, highest=highest)
    inside = min(max(temperature, lowest), highest)
    bands = {name: _between(cargo, name, inside) for name in cargo.figures}
    if density_15 is not None:
        bands.update(_of_parcel(cargo, inside, density_15))
    return CargoState(
        cargo=cargo,
        temperature=temperature,
        density_15=density_15,
        density=bands["density"],
        sound_speed=bands["sound speed"],
        viscosity=bands["viscosity"],
        vapour_pressure=bands["vapour pressure"],
    )


@cache
def cargoes() -> Mapping[str, Cargo]:
    """Return the whole catalogue by name, in the order in which it is listed."""
    return MappingProxyType({cargo.name: cargo for file in FILES for cargo in _read(file)})


@cache
def _read(file: str) -> tuple[Cargo, ...]:
    return tuple(_cargo(row) for row in table(file).rows)


@cache
def _by_key(file: str) -> Mapping[str, Cargo]:
    """Cargoes of one file: a file that nobody asks for is not read."""
    return {key_of(name): cargo for cargo in _read(file) for name in (cargo.name, *cargo.aliases)}


def find(name: str) -> Cargo | None:
    """Return the cargo of that name or alias; case, spaces and punctuation do not count."""
    key = key_of(name)
    return next((found[key] for found in map(_by_key, FILES) if key in found), None)


def search(text: str) -> list[Cargo]:
    """Return the cargoes whose name, aliases, family or note has every word of ``text``."""
    return matching(cargoes().values(), text)


def key_of(name: str) -> str:
    """Return a name without case, spaces and punctuation."""
    return "".join(c for c in name.casefold() if c.isalnum())


def _of_parcel(cargo: Cargo, temperature: float, density_15: float) -> dict[str, CargoProperty]:
    """Density, and sound speed where the relation holds, of a parcel whose density at 15 C is known."""
    permitted = cargo.density_15
    if permitted is None or not permitted[0] - _EDGE <= density_15 <= permitted[1] + _EDGE:
        raise DensityError(cargo.name, given=density_15, permitted=permitted)
    density = petroleum_density(density_15, temperature=temperature, group=cargo.expansion)
    provenance = _MEASURED._replace(confidence=cargo.density.confidence)
    bands = {"density": _band("density", density, density, provenance=provenance)}
    if cargo.relation:
        speed = dead_oil_sound_speed(density_15, temperature=temperature)
        low, high = (speed * factor for factor in COMPOSITION)
        provenance = _relation()._replace(confidence=cargo.sound_speed.confidence)
        bands["sound speed"] = _band("sound speed", low, high, provenance=provenance, typical=speed)
    return bands


def _between(cargo: Cargo, name: str, temperature: float) -> CargoProperty:
    figures = cargo.figures[name]
    points = cargo.temperatures
    right = min(max(bisect_right(points, temperature), 1), len(points) - 1)
    before, after = points[right - 1], points[right]
    share = (temperature - before) / (after - before)
    if name in _LOGARITHMIC:
        share *= after / temperature  # the same place on the axis of 1/temperature
        low, high = (v[right - 1] * (v[right] / v[right - 1]) ** share for v in (figures.low, figures.high))
    else:
        low, high = (v[right - 1] + (v[right] - v[right - 1]) * share for v in (figures.low, figures.high))
    return _band(name, low, high, provenance=Provenance(figures.source, figures.status, figures.confidence))


_LOGARITHMIC = ("viscosity", "vapour pressure")


def _band(
    name: str, low: float, high: float, *, provenance: Provenance, typical: float | None = None
) -> CargoProperty:
    if typical is None:
        middle = math.sqrt(low * high) if name in _LOGARITHMIC else (low + high) / 2.0
        typical = low if low == high else middle
    doubt = DOUBTS[name][provenance.confidence]
    if name == "viscosity":
        unfavourable, cautious = low, low / (1.0 + doubt)
    else:
        unfavourable, cautious = high, high * (1.0 + doubt)
    return CargoProperty(
        low=low,
        typical=typical,
        high=high,
        unfavourable=unfavourable,
        doubt=doubt,
        cautious=cautious,
        source=provenance.source,
        status=provenance.status,
        confidence=provenance.confidence,
    )


def _relation() -> Provenance:
    """Where :func:`surge.reference.petroleum.dead_oil_sound_speed` comes from, as the table of petroleum says
    it.
    """
    return table(FILES[0]).sources["Batzle & Wang, dead oil"]


def _cargo(row: LiquidRow) -> Cargo:
    def figures(column: PropertyColumn, factor: float = 1.0) -> Figures:
        low, high = (tuple(v * factor for v in end) for end in (column.low, column.high))
        return Figures(low, high, *column.provenance)

    static_accumulator, static_source = STATIC[row.static]
    return Cargo(
        name=row.name,
        aliases=row.aliases,
        family=row.family,
        kind=row.kind,
        temperatures=tuple(t + ZERO_CELSIUS for t in row.temperatures),
        density=figures(row.density),
        sound_speed=figures(row.sound_speed),
        viscosity=figures(row.viscosity, 1e-3),
        vapour_pressure=figures(row.vapour_pressure),
        static_accumulator=static_accumulator,
        static_source=static_source,
        note=row.note,
        density_15=row.density_15,
        expansion=row.expansion,
        relation=row.relation,
    )

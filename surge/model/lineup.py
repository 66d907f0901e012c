"""The line-up: what liquid goes through which elements between which points, in SI, frozen.

Units of every number here: lengths, diameters, elevations, levels and heads [m]; pressures
[Pa gauge] unless ``_abs``; flow [m3/s]; time [s]; density [kg/m3]; kinematic viscosity [m2/s];
openings, valve ratios, pump speeds and allowances [-]. Flow is positive from ``start`` to ``end``.
An element's ``origin`` is where it stands in the case file, so that a fault can point there.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

from surge.errors import Origin
from surge.model.attached import Attached, OpenVessel, ReliefValve, SurgeDrum
from surge.model.elements import (
    Element,
    Limits,
    Link,
    NonReturnValve,
    Passage,
    Pipe,
    Pump,
    Table,
    Turning,
    Valve,
    Wall,
)
from surge.model.filling import Filling
from surge.model.gauge import GaugeReading
from surge.model.scenario import PumpMove, Scenario, Stage, Trip, ValveMove
from surge.units import ATMOSPHERE

FREE_GAS = 1e-7  # [-] share of the volume at 101 325 Pa absolute; common practice, no source
# Less does nothing but cushion by less than one march rounds; more is no trace any more, and slows waves.
FREE_GAS_BOUNDS = (1e-9, 1e-4)
GAS_CONTENT_BOUNDS = (1e-5, 0.05)

# Other rooms find here all that a line-up is made of, but for what hangs on one point and gauges.
__all__ = [
    "FREE_GAS",
    "FREE_GAS_BOUNDS",
    "GAS_CONTENT_BOUNDS",
    "GRAVITY",
    "Assumed",
    "Berth",
    "Element",
    "Limits",
    "LineUp",
    "Link",
    "Liquid",
    "NonReturnValve",
    "Passage",
    "Pipe",
    "Point",
    "Pump",
    "PumpMove",
    "Rate",
    "Scenario",
    "Stage",
    "Supply",
    "Table",
    "Tank",
    "Trip",
    "Turning",
    "Valve",
    "ValveMove",
    "Wall",
]

GRAVITY = 9.80665  # [m/s2] standard gravity, CGPM 1901


@dataclass(frozen=True, kw_only=True)
class Liquid:
    """The cargo at loading temperature.

    Attributes
    ----------
    density : float
        [kg/m3]
    sound_speed : float
        Speed of sound in the free liquid [m/s]; the bulk modulus is density * sound_speed**2.
    viscosity : float
        Kinematic viscosity [m2/s]; 0 means without friction (tests only).
    vapour_pressure : float
        True vapour pressure at cargo temperature [Pa absolute].
    temperature : float or None
        Of the cargo [K]; None is "not given".
    static_accumulator : bool or None
        Whether the liquid gathers electrostatic charge; None is "not known".
    sound_speed_doubt : float
        How far the sound speed may be off, as a fraction, where it comes from the program's table [-].
    density_range, sound_speed_range, viscosity_range : (float, float) or None
        Where different products are sold under one name: judged over the whole range [kg/m3], [m/s], and of
        the dynamic viscosity [Pa s].
    by_dynamic_viscosity, by_modulus : bool
        The viscosity was given as a dynamic one, the sound speed by a bulk modulus: with another density they
        are others.
    """

    name: str
    density: float
    sound_speed: float
    viscosity: float
    vapour_pressure: float
    temperature: float | None = None
    static_accumulator: bool | None = None
    sound_speed_doubt: float = 0.0
    density_range: tuple[float, float] | None = None
    sound_speed_range: tuple[float, float] | None = None
    viscosity_range: tuple[float, float] | None = None
    by_dynamic_viscosity: bool = False
    by_modulus: bool = False
    origin: Origin = ("liquid",)


@dataclass(frozen=True, kw_only=True)
class Point:
    """A named place where elements meet.

    Attributes
    ----------
    elevation : float
        Height above the case datum [m].
    closed : bool
        A closed end (blank flange, shut line): the only place where one element may end alone.
    pump_top : bool
        The top of a cargo pump, where the limit ``LineUp.pump_top_limit`` holds.
    limit : float or None
        A limit of the place's own [Pa gauge], and ``limit_source`` says where it comes from.
    """

    name: str
    elevation: float
    closed: bool = False
    pump_top: bool = False
    limit: float | None = None
    limit_source: str = ""
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Tank:
    """A tank, acting straight on the pipe end.

    Attributes
    ----------
    side : str
        "shore" or "ship".
    level : float
        Elevation of the liquid surface above the case datum [m]. In a ship's tank a level below
        the pipe end means a free outfall.
    blanket : float
        Pressure on the surface [Pa gauge].
    ullage : float or None
        Volume between the level at which the stop is ordered and overflow [m3].
    """

    name: str
    point: str
    side: str
    level: float
    blanket: float = 0.0
    ullage: float | None = None
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Supply:
    """The far end of a shore line of which only the pressure is known.

    Attributes
    ----------
    pressure : float or None
        At the agreed rate [Pa gauge]; None when the rate decides it.
    shut_off : float or None
        At no flow [Pa gauge]; None is "not given", and then nothing can be decided.
    """

    name: str
    point: str
    pressure: float | None
    shut_off: float | None
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Rate:
    """The agreed rate and the means by which it is reached.

    Attributes
    ----------
    agreed : float
        [m3/s]
    means : str
        "throttle", "pump speed" or "supply pressure".
    at : str
        The valve or passage, the pump, or the supply that does it.
    through : str
        The element in which the rate is counted.
    by_mass : bool
        It was agreed as a mass flow: with another density it is another volume.
    """

    agreed: float
    means: str
    at: str
    through: str
    by_mass: bool = False
    origin: Origin = ("rate",)


@dataclass(frozen=True, kw_only=True)
class Berth:
    """Who loads what, where and when, and what the rules of the trade ask about it.

    Attributes
    ----------
    terminal, name, ship : str
        As they stand on the sheet, ``name`` being that of the berth; "" where the case does not say.
    parcel : float or None
        How much is to be loaded, at loading temperature [m3].
    parcel_by_mass : bool
        The case gives it as a weight.
    first_transfer : date or None
        When the facility first transferred this kind of cargo.
    hazardous : bool
        Hazardous material in bulk, not oil.
    transfer : date or None
        Day of this transfer, against which test dates are held.
    operation : str
        "loading", from shore to ship, or "discharge", from ship to shore.
    """

    terminal: str = ""
    name: str = ""
    ship: str = ""
    parcel: float | None = None
    parcel_by_mass: bool = False
    first_transfer: date | None = None
    hazardous: bool = False
    transfer: date | None = None
    operation: str = "loading"


@dataclass(frozen=True, kw_only=True)
class Assumed:
    """A figure that the case does not give: what was taken, and where it comes from.

    Attributes
    ----------
    subject : str
        Name of the element, or "liquid".
    quantity, value : str
        What, and how much, in words.
    source : str
    asked : bool
        The case names the row of the program's tables that the figure comes from; False: nothing
        in the case says so, and it is an assumption.
    """

    subject: str
    quantity: str
    value: str
    source: str
    asked: bool


@dataclass(frozen=True, kw_only=True)
class LineUp:
    """A whole line-up with its scenarios, in SI; :func:`surge.model.validation.checked` tells its faults.

    ``free_gas`` is the share of the volume at 101 325 Pa absolute that is free gas [-]; only marches with
    cavities look at it. ``unsteady_friction`` asks for every scenario once more with friction that remembers
    changes of flow; ``gas_content``, where it is not 0, once more with so much free gas throughout, as a
    share of the volume at 101 325 Pa absolute [-].
    """

    title: str
    liquid: Liquid
    points: tuple[Point, ...]
    pipes: tuple[Pipe, ...] = ()
    valves: tuple[Valve, ...] = ()
    passages: tuple[Passage, ...] = ()
    pumps: tuple[Pump, ...] = ()
    non_return_valves: tuple[NonReturnValve, ...] = ()
    tanks: tuple[Tank, ...] = ()
    supplies: tuple[Supply, ...] = ()
    relief_valves: tuple[ReliefValve, ...] = ()
    surge_drums: tuple[SurgeDrum, ...] = ()
    open_vessels: tuple[OpenVessel, ...] = ()
    rate: Rate | None = None
    stages: tuple[Stage, ...] = ()
    scenarios: tuple[Scenario, ...] = ()
    fillings: tuple[Filling, ...] = ()
    readings: tuple[GaugeReading, ...] = ()
    atmosphere: float = ATMOSPHERE
    gravity: float = GRAVITY
    pump_top_limit: float = 8e5
    pump_top_source: str = "common practice, no source; the ship's manual governs"
    frozen_friction: bool = False
    free_gas: float = FREE_GAS
    unsteady_friction: bool = False
    gas_content: float = 0.0
    note: str = ""
    berth: Berth = Berth()
    assumed: tuple[Assumed, ...] = ()
    points_by_name: dict[str, Point] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_by_name", {p.name: p for p in self.points})

    def pressure_at(self, point: str, head: float) -> float:
        """Return the pressure [Pa gauge] at a point in which a head [m] stands."""
        return self.liquid.density * self.gravity * (head - self.points_by_name[point].elevation)

    @property
    def discharges(self) -> bool:
        """Whether cargo goes ashore."""
        return self.berth.operation == "discharge"

    def receives(self, tank: Tank) -> bool:
        """Whether the cargo goes to a tank: one of the ship's, or at a discharge one of the shore's."""
        return (tank.side == "ship") is not self.discharges

    @property
    def giving(self) -> tuple[Tank, ...]:
        """Tanks that the cargo comes from."""
        return tuple(t for t in self.tanks if not self.receives(t))

    @property
    def receiving(self) -> tuple[Tank, ...]:
        """Tanks that the cargo goes to."""
        return tuple(t for t in self.tanks if self.receives(t))

    @property
    def sources(self) -> tuple[str, ...]:
        """Points that the cargo comes from: at those tanks and, loading, at supplies."""
        supplies = () if self.discharges else self.supplies
        return (*(t.point for t in self.giving), *(s.point for s in supplies))

    @property
    def elements(self) -> tuple[Element, ...]:
        """Every element, those with a length first."""
        return (*self.pipes, *self.links)

    @property
    def links(self) -> tuple[Link, ...]:
        """Elements without a length: valves, passages, pumps, non-return valves, in this order."""
        return (*self.valves, *self.passages, *self.pumps, *self.non_return_valves)

    @property
    def attached(self) -> tuple[Attached, ...]:
        """What hangs on one point each, and passes nothing while the line-up flows steadily."""
        return (*self.relief_valves, *self.surge_drums, *self.open_vessels)

    def openings(self, scenario: Scenario) -> dict[str, float | None]:
        """Opening of every valve before anything moves in a scenario [-]; None where the rate decides it."""
        found: dict[str, float | None] = {valve.name: valve.opening for valve in self.valves}
        found |= dict(scenario.openings)
        if self.rate is not None and self.rate.means == "throttle":
            found[self.rate.at] = None
        return found | dict.fromkeys(scenario.shut_at_start, 0.0)

    def pipe(self, name: str) -> Pipe:
        """Return the pipe, hose or arm of that name; KeyError where there is none."""
        for pipe in self.pipes:
            if pipe.name == name:
                return pipe
        raise KeyError(name)

    @property
    def relieving(self) -> tuple[ReliefValve | SurgeDrum, ...]:
        """What is there to take off a surge: relief valves and drums."""
        return (*self.relief_valves, *self.surge_drums)

    @property
    def vapour_gauge(self) -> float:
        """Gauge pressure at which the liquid boils [Pa gauge]."""
        return self.liquid.vapour_pressure - self.atmosphere

    def with_(self, **changes: object) -> LineUp:
        """Return a copy with the named fields changed."""
        return replace(self, **changes)  # type: ignore[arg-type]

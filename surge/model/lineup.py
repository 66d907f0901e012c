"""The line-up: what liquid goes through which elements between which points, in SI, frozen.

Units of every number here: lengths, diameters, elevations, levels and heads [m]; pressures
[Pa gauge] unless ``_abs``; flow [m3/s]; time [s]; density [kg/m3]; kinematic viscosity [m2/s];
openings, valve ratios, pump speeds and allowances [-]. Flow is positive from ``start`` to ``end``.
An element's ``origin`` is where it stands in the case file, so that a fault can point there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import date

from surge.errors import Origin
from surge.model.attached import Attached, OpenVessel, ReliefValve, SurgeDrum
from surge.model.gauge import GaugeReading
from surge.units import ATMOSPHERE

GRAVITY = 9.80665  # [m/s2] standard gravity, CGPM 1901

Table = tuple[tuple[float, float], ...]


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
class Limits:
    """What an element may bear.

    Attributes
    ----------
    rating : float or None
        Greatest working pressure [Pa gauge]; None is "not given", which decides nothing.
    test_pressure : float or None
        Never exceeded, whatever the allowance [Pa gauge].
    allowance : float
        Factor on the rating for a surge, 1.00 unless the case says otherwise.
    lowest : float or None
        Lowest pressure the element may take [Pa gauge]; None: only the vapour pressure counts.
    lowest_source : str
    rating_source : str
        Where the rating comes from.
    burst : float or None
        Burst pressure of the type [Pa gauge].
    includes_surge : bool or None
        Whether the rating is meant to include surge; None is "not known".
    tested : date or None
        Date of the last pressure test.
    """

    rating: float | None = None
    rating_source: str = "rating"
    test_pressure: float | None = None
    burst: float | None = None
    includes_surge: bool | None = None
    tested: date | None = None
    allowance: float = 1.0
    lowest: float | None = None
    lowest_source: str = ""


@dataclass(frozen=True, kw_only=True)
class Wall:
    """What the wave speed of a pipe goes by, beside its bore and the liquid.

    Attributes
    ----------
    thickness : float
        [m]
    stiffness : float or None
        Young's modulus over the restraint factor [Pa]; None where the wave speed was given.
    thickness_range, stiffness_range : (float, float) or None
        Where schedule, material or restraint are not known. A thicker wall leaves a smaller bore: the outside
        diameter stays.
    """

    thickness: float
    stiffness: float | None
    thickness_range: tuple[float, float] | None = None
    stiffness_range: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class Pipe:
    """A pipe, hose or loading arm: anything with a length.

    Attributes
    ----------
    kind : str
        "pipe", "hose" or "arm".
    length, diameter : float
        [m]
    wave_speed : float
        [m/s], used exactly as it is; ``wave_speed_source`` says how it was found.
    roughness : float
        Absolute wall roughness [m].
    minor_loss : float
        Sum of loss factors K on the pipe's own velocity head [-], spread over the length.
    friction_factor : float or None
        A fixed Darcy factor [-] instead of Colebrook-White: library use and tests only.
    length_range : (float, float) or None
        When the length is not known: judged by the worst in this range [m].
    wave_speed_range : (float, float) or None
        When the wave speed is not known: judged by the worst in this range [m/s].
    wall : Wall or None
        What the wave speed was worked out from; None where it was not.
    swell : (float, float) or None
        Of a hose, what its wave speed was worked out from: growth of its volume [-] at a pressure [Pa].
    roughness_range : (float, float) or None
        When the wall is known by its condition only [m].
    minor_loss_range : (float, float) or None
        Minor loss at either end of the roughness [-]: fittings lose more in a rough pipe.
    brittle : bool
        Cast iron and the like: no allowance above 1.
    """

    name: str
    start: str
    end: str
    length: float
    diameter: float
    wave_speed: float
    kind: str = "pipe"
    roughness: float = 0.0
    minor_loss: float = 0.0
    friction_factor: float | None = None
    length_range: tuple[float, float] | None = None
    wave_speed_range: tuple[float, float] | None = None
    wall: Wall | None = None
    swell: tuple[float, float] | None = None
    roughness_range: tuple[float, float] | None = None
    minor_loss_range: tuple[float, float] | None = None
    brittle: bool = False
    limits: Limits = Limits()
    wave_speed_source: str = "given"
    origin: Origin = ()

    @property
    def area(self) -> float:
        """Bore area [m2]."""
        return math.pi / 4 * self.diameter**2

    @property
    def travel_time(self) -> float:
        """Time of a pressure wave from one end to the other [s]."""
        return self.length / self.wave_speed


@dataclass(frozen=True, kw_only=True)
class Valve:
    """A valve: Q = kv/3600 * ratio(opening) * sqrt(dp/1e5 * 1000/rho).

    Attributes
    ----------
    kv : float
        Flow in m3/h of water at 1 bar, fully open.
    characteristic : tuple of (opening, ratio)
        Inherent characteristic from (0, 0) to (1, 1), straight between its points.
    opening : float
        Opening while loading, 0 shut to 1 open.
    adjustable : bool
        Its stroke time can be set: the search for its window begins here.
    group : str
        Valves of one group share their stroke, whenever each begins to close; "" for none.
    kv_range : (float, float) or None
        When type and size are known only: judged over the whole range [m3/h of water at 1 bar].
    """

    name: str
    start: str
    end: str
    kv: float
    characteristic: Table
    characteristic_source: str = "given"
    opening: float = 1.0
    adjustable: bool = False
    group: str = ""
    kv_range: tuple[float, float] | None = None
    limits: Limits = Limits()
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Passage:
    """A fixed loss without length: the stopped cargo pump, a strainer, an orifice.

    Attributes
    ----------
    kv : float
        Flow in m3/h of water at 1 bar.
    kind : str
        "cargo pump" or "fixed loss".
    kv_range : (float, float) or None
        When a stopped pump is known by its rated point only: judged over the whole range [m3/h].
    """

    name: str
    start: str
    end: str
    kv: float
    kind: str = "fixed loss"
    kv_range: tuple[float, float] | None = None
    limits: Limits = Limits()
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Turning:
    """What the speed of a pump goes by when it trips.

    Attributes
    ----------
    inertia : float
        Of everything that turns: pump, coupling, motor and the liquid in it [kg m2].
    rpm : float
        Full speed [1/min].
    efficiency, best_flow : float
        The best efficiency at full speed [-], and the flow at which it has it [m3/s].
    """

    inertia: float
    rpm: float
    efficiency: float
    best_flow: float


@dataclass(frozen=True, kw_only=True)
class Pump:
    """A shore pump: ``start`` is its suction, ``end`` its discharge.

    Attributes
    ----------
    curve : tuple of (flow, head)
        [m3/s], [m] at full speed, from zero flow up.
    non_return : bool
        A non-return valve stands in the discharge.
    speed : float
        Fraction of full speed, 0 < speed <= 1.
    by_mass : bool
        A flow of the curve was given as a mass flow: with another density it is another volume.
    turning : Turning or None
        What its speed goes by when it trips; None: not known.
    """

    name: str
    start: str
    end: str
    curve: Table
    non_return: bool
    speed: float = 1.0
    by_mass: bool = False
    turning: Turning | None = None
    limits: Limits = Limits()
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class NonReturnValve:
    """A non-return valve: flow passes from ``start`` to ``end`` only, but for what comes back while it shuts.

    Attributes
    ----------
    kv : float
        Of the open valve, m3/h of water at 1 bar; infinite: no loss.
    reverse_flow, delay, closing_time : float
        It begins to shut when so much flows back [m3/s] (0: when the flow turns), so much later [s], and
        takes so long [s], its opening falling in proportion. All 0: it shuts as the flow turns.
    """

    name: str
    start: str
    end: str
    kv: float = math.inf
    reverse_flow: float = 0.0
    delay: float = 0.0
    closing_time: float = 0.0
    limits: Limits = Limits()
    origin: Origin = ()

    @property
    def ideal(self) -> bool:
        """Whether it shuts in the instant in which the flow turns."""
        return self.reverse_flow == self.delay == self.closing_time == 0.0


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
class ValveMove:
    """A valve movement in a scenario.

    Attributes
    ----------
    start : float
        [s] from the beginning of the scenario.
    law : tuple of (time, opening)
        A whole stroke, time from its beginning [s]; the valve joins it where the law first
        passes the opening that the valve has. Two points at one time are a step.
    what : str
        What ordered it, for the output: "event", "shutdown".
    side : str
        "shore" or "ship" for a step of a shutdown, "" otherwise.
    after : str
        The valve or pump whose step of the shutdown has to be over first, "" for none.
    earliest, wait : float
        When it begins at the earliest without that, and how much later it begins on top [s].
    """

    valve: str
    start: float
    law: Table
    what: str = "event"
    side: str = ""
    after: str = ""
    earliest: float = 0.0
    wait: float = 0.0
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class PumpMove:
    """A change of a pump's speed: ``law`` is (time [s], fraction of the speed it had)."""

    pump: str
    start: float
    law: Table
    what: str = "event"
    side: str = ""
    after: str = ""
    earliest: float = 0.0
    wait: float = 0.0
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Trip:
    """A pump that loses its drive at an instant [s] of a scenario."""

    pump: str
    start: float
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One time line on the line-up.

    Attributes
    ----------
    rate : float or None
        Another agreed rate [m3/s] than the line-up's; ``by_mass`` as of :class:`Rate`.
    levels : tuple of (tank, level [m])
    openings : tuple of (valve, opening)
        Openings while loading at the rate.
    shut_at_start : tuple of str
        Valves shut at time 0 although the rate was set with them open (restart).
    trapped : tuple of (point, pressure [Pa gauge])
        Pressure in a part shut in on all sides.
    moves : tuple of ValveMove
    pump_moves : tuple of PumpMove
    trips : tuple of Trip
        Of pumps that run down by their own inertia.
    timing : tuple of (term, seconds)
        The terms of a shutdown chain (detection, signal ...) [s].
    ordered : float or None
        When the shutdown is ordered [s]; None: the scenario has no shutdown chain.
    stage : str
        "start", "bulk" or "topping off"; "" when not said.
    repeats : str
        The scenario whose shutdown this one repeats at another stage; "" where it stands in the case itself.
    not_at : tuple of (stage, reason)
        Stages at which the shutdown is not repeated, and why not.
    """

    name: str
    note: str = ""
    stage: str = ""
    repeats: str = ""
    not_at: tuple[tuple[str, str], ...] = ()
    ordered: float | None = None
    rate: float | None = None
    by_mass: bool = False
    levels: tuple[tuple[str, float], ...] = ()
    openings: tuple[tuple[str, float], ...] = ()
    shut_at_start: tuple[str, ...] = ()
    trapped: tuple[tuple[str, float], ...] = ()
    moves: tuple[ValveMove, ...] = ()
    pump_moves: tuple[PumpMove, ...] = ()
    trips: tuple[Trip, ...] = ()
    timing: tuple[tuple[str, float], ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, kw_only=True)
class Stage:
    """A stage of the loading, as the case describes it by itself.

    Attributes
    ----------
    name : str
        "start", "bulk" or "topping off".
    rate : float
        [m3/s]; ``by_mass`` as of :class:`Rate`.
    levels, openings : tuple of (name, value)
        As of :class:`Scenario`: where they differ from those of the case.
    """

    name: str
    rate: float
    by_mass: bool = False
    levels: tuple[tuple[str, float], ...] = ()
    openings: tuple[tuple[str, float], ...] = ()
    origin: Origin = ()


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
    """

    terminal: str = ""
    name: str = ""
    ship: str = ""
    parcel: float | None = None
    parcel_by_mass: bool = False
    first_transfer: date | None = None
    hazardous: bool = False
    transfer: date | None = None


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


Link = Valve | Passage | Pump | NonReturnValve
Element = Pipe | Link


@dataclass(frozen=True, kw_only=True)
class LineUp:
    """A whole line-up with its scenarios, in SI; :func:`surge.model.validation.checked` tells its faults."""

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
    readings: tuple[GaugeReading, ...] = ()
    atmosphere: float = ATMOSPHERE
    gravity: float = GRAVITY
    pump_top_limit: float = 8e5
    pump_top_source: str = "common practice, no source; the ship's manual governs"
    frozen_friction: bool = False
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

    @property
    def vapour_gauge(self) -> float:
        """Gauge pressure at which the liquid boils [Pa gauge]."""
        return self.liquid.vapour_pressure - self.atmosphere

    def with_(self, **changes: object) -> LineUp:
        """Return a copy with the named fields changed."""
        return replace(self, **changes)  # type: ignore[arg-type]

"""Elements: what joins two points of a line-up, with a length or without, and what it may bear.

Units as in :mod:`surge.model.lineup`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from surge.errors import Origin

Table = tuple[tuple[float, float], ...]


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
    bends : tuple of float
        Where the pipe turns, from its start [m]: between them it is straight. For forces only.
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
    bends: tuple[float, ...] = ()
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


Link = Valve | Passage | Pump | NonReturnValve
Element = Pipe | Link

"""Tables of a case file for parts of a line-up: points, tanks, supplies, elements, what hangs on points."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import ConfigDict, Field

from surge.case.schema_kinds import (
    ELEVATION,
    LEVEL,
    LISTED,
    NAME,
    RATE,
    RATING,
    SIDE,
    SOURCE,
    Elevation,
    Name,
    Opening,
)
from surge.reference.materials import MATERIALS, RESTRAINTS
from surge.reference.valve_curves import VALVE_CURVES
from surge.toml.lists import ListOf, OneOrList
from surge.toml.tables import FileTable, one_of
from surge.toml.values import Choice, Day, Flag, Number, Quantity, Text
from surge.units import Reading

_LENGTH = Quantity("length", "1 cm", "500 km")
_BENDS = ListOf(_LENGTH, "distances of bends from its start, rising", '["12 m", "30 m"]')
_DIAMETER = Quantity("diameter", "5 mm", "3 m")
_WALL = Quantity("diameter", "0.5 mm", "200 mm")
_ROUGHNESS = Quantity("diameter", "0 mm", "20 mm")
_HEAD = Quantity("length", "0 m", "5000 m")
_FLOW = Quantity("flow", "0 m3/h", "100000 m3/h")
_SPEED = Quantity("speed", "50 m/s", "3000 m/s")
_MODULUS = Quantity("modulus", "1 MPa", "1000 GPa")
_KV = Quantity("kv", "0.01 m3/h", "1000000 m3/h")
_CV = Quantity("cv", "0.01 gpm", "1000000 gpm")
_VESSEL = Quantity("volume", "0.0001 m3", "10000 m3", such_as="10 m3", where="the whole vessel, empty")
_GAS = Quantity(
    "volume",
    "0.0001 m3",
    "10000 m3",
    such_as="4 m3",
    where="what its level glass shows at the working pressure; without gas a drum takes nothing in",
)
_SHORT = Quantity("time", "0 s", "24 h", such_as="0.1 s", where="from its maker, or measured")
_SET = Quantity("level", "-1.2 bar(g)", "1000 bar(g)", such_as="9 bar(g)", where="from its nameplate")
_FULL_LIFT = Quantity(
    "level",
    "-1.2 bar(g)",
    "1000 bar(g)",
    such_as="10 bar(g)",
    where="from its maker, often 10 to 25 % above the set pressure",
)
_BACK = Quantity(
    "level",
    "-1.2 bar(g)",
    "1000 bar(g)",
    such_as="0 bar(g)",
    where="what stands in the vessel that it opens to, 0 bar(g) where that is open to the air",
)
_LIFT_TIME = Quantity(
    "time",
    "0 s",
    "24 h",
    such_as="0.2 s",
    where="the time of a whole lift, from its maker; 0 s only where it follows the pressure at once",
)
_RELIEF_KV = Quantity(
    "kv",
    "0.01 m3/h",
    "1000000 m3/h",
    such_as="300 m3/h",
    where="from its maker, at full lift; leave out a valve that lets nothing through",
)
_EXPONENT = Number("exponent n of the gas: 1 where it changes slowly", 1.0, 1.67)
_INERTIA = Number(
    "inertia of all that turns, kg m2",
    0.001,
    1e6,
    where="of pump, coupling and motor together, from their data sheets; a GD2 in kg m2 is four times it",
)
_MINOR = Number("sum of the loss factors K on the pipe's own velocity head", 0.0, 10000.0)
_RATIO = Number("share of Kv", 0.0, 1.0)
_GROUP = Text("a name for valves that take one stroke", 60)
_CHARACTERISTIC = OneOrList(
    Choice("characteristic", *VALVE_CURVES), list[tuple[Opening, Annotated[float, _RATIO]]]
)


class PointTable(FileTable):
    """A place where elements meet."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, json_schema_extra=one_of("elevation", "same_elevation_as")
    )

    elevation: Annotated[Reading | None, ELEVATION] = None
    same_elevation_as: Annotated[str | None, NAME] = None
    closed: Annotated[bool, Flag("a closed end")] = False
    cargo_pump_top: Annotated[bool, Flag("the top of a cargo pump")] = False
    limit: Annotated[Reading | None, RATING] = None
    limit_source: Annotated[str | None, SOURCE] = None


class TankTable(FileTable):
    """A tank; its level is the elevation of the liquid surface above the case datum."""

    name: Name
    at: Name
    side: Annotated[str, SIDE]
    level: Elevation
    blanket: Annotated[Reading | None, LEVEL] = None
    ullage: Annotated[Reading | None, Quantity("volume", "0.001 m3", "100000 m3")] = None


class SupplyTable(FileTable):
    """The far end of a shore line of which only the pressure is known."""

    name: Name
    at: Name
    pressure: Annotated[Reading | None, LEVEL] = None
    shut_off_pressure: Annotated[Reading | None, LEVEL] = None


class Element(FileTable):
    """What every element has: a name, two ends, what it may bear."""

    name: Name
    start: Name = Field(alias="from")
    end: Name = Field(alias="to")
    rating: Annotated[Reading | None, RATING] = None
    test_pressure: Annotated[Reading | None, RATING] = None
    allowance: Annotated[float, Number("factor on the rating in a surge", 0.1, 2.0)] = 1.0
    lowest_pressure: Annotated[Reading | None, LEVEL] = None


class PumpTable(Element):
    """A shore pump, from its suction to its discharge."""

    curve: list[tuple[Annotated[Reading, _FLOW], Annotated[Reading, _HEAD]]]
    non_return_valve: Annotated[bool, Flag("a non-return valve stands in the discharge")]
    speed: Annotated[float, Number("share of full speed", 0.05, 1.0)] = 1.0
    inertia_kg_m2: Annotated[float | None, _INERTIA] = None
    full_speed_rpm: Annotated[float | None, Number("full speed, turns in a minute", 10.0, 20000.0)] = None
    best_efficiency: Annotated[
        float | None, Number("best efficiency", 0.05, 0.98, where="it is a share, 0.79 for 79 %")
    ] = None
    best_flow: Annotated[Reading | None, RATE] = None


class LineTable(Element):
    """What pipe, hose and arm share."""

    length: Annotated[
        Reading | tuple[Reading, Reading],
        OneOrList(_LENGTH, tuple[Annotated[Reading, _LENGTH], Annotated[Reading, _LENGTH]]),
    ]
    inside_diameter: Annotated[Reading | None, _DIAMETER] = None
    roughness: Annotated[Reading | None, _ROUGHNESS] = None
    condition: Annotated[str | None, LISTED] = None
    minor_loss: Annotated[float, _MINOR] = 0.0
    fittings: dict[Name, Annotated[float, Number("how many", 0.0, 1000.0)]] = Field(default_factory=dict)
    brittle: Annotated[bool, Flag("bears no more than its rating")] = False
    wave_speed: Annotated[Reading | None, _SPEED] = None
    burst_pressure: Annotated[Reading | None, RATING] = None
    rating_includes_surge: Annotated[bool | None, Flag("the rating is meant to include surge")] = None
    tested: Annotated[date | None, Day("when it was last pressure-tested")] = None


class PipeTable(LineTable):
    """A pipe or a loading arm: wave speed given, or from wall, material and restraint."""

    size: Annotated[str | None, LISTED] = None
    schedule: Annotated[str | None, LISTED] = None
    flange: Annotated[str | None, LISTED] = None
    wall: Annotated[Reading | None, _WALL] = None
    material: Annotated[str | None, Choice("material", *MATERIALS)] = None
    modulus: Annotated[Reading | None, _MODULUS] = None
    poisson: Annotated[float | None, Number("Poisson's ratio", 0.0, 0.5)] = None
    restraint: Annotated[str | None, Choice("restraint", *RESTRAINTS)] = None
    restraint_factor: Annotated[float | None, Number("restraint factor", 0.5, 1.5)] = None
    bends_at: Annotated[list[Reading], _BENDS] = Field(default_factory=list)


class Hose(LineTable):
    """A cargo hose: wave speed given, from its swell in a pressure test, or from its type."""

    type: Annotated[str | None, LISTED] = None
    swell: Annotated[Reading | None, Quantity("fraction", "0.001 %", "50 %")] = None
    swell_at: Annotated[Reading | None, Quantity("difference", "0.1 bar", "300 bar")] = None


class ValveTable(Element):
    """A valve: Kv and characteristic given, or from its type and size."""

    type: Annotated[str | None, LISTED] = None
    size: Annotated[str | None, LISTED] = None
    kv: Annotated[Reading | None, _KV] = None
    cv: Annotated[Reading | None, _CV] = None
    characteristic: Annotated[str | list[tuple[float, float]] | None, _CHARACTERISTIC] = None
    opening: Opening = 1.0
    adjustable: Annotated[bool, Flag("its stroke time can be set")] = False
    group: Annotated[str, _GROUP] = ""


class PassageTable(Element):
    """A fixed loss without length."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, json_schema_extra=one_of("kv", "rated_flow", "loss_factor")
    )

    kind: Annotated[str, Choice("kind", "cargo pump", "fixed loss")]
    kv: Annotated[Reading | None, _KV] = None
    rated_flow: Annotated[Reading | None, Quantity("flow", "1 m3/h", "20000 m3/h")] = None
    rated_head: Annotated[Reading | None, Quantity("length", "1 m", "1000 m")] = None
    loss_factor: Annotated[float | None, Number("loss factor K", 0.001, 100000.0)] = None
    inside_diameter: Annotated[Reading | None, _DIAMETER] = None


class NonReturnTable(Element):
    """A non-return valve: without a word on how it shuts, it does so when the flow turns."""

    kv: Annotated[Reading | None, _KV] = None
    cv: Annotated[Reading | None, _CV] = None
    reverse_flow: Annotated[Reading | None, _FLOW] = None
    delay: Annotated[Reading | None, _SHORT] = None
    closing_time: Annotated[Reading | None, _SHORT] = None


class ReliefValveTable(FileTable):
    """A relief valve: it opens to the pressure at its point."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=one_of("kv", "cv"))

    name: Name
    at: Name
    set_pressure: Annotated[
        Reading | tuple[Reading, Reading],
        OneOrList(_SET, tuple[Annotated[Reading, _SET], Annotated[Reading, _SET]]),
    ]
    full_lift_pressure: Annotated[Reading, _FULL_LIFT]
    kv: Annotated[
        Reading | tuple[Reading, Reading] | None,
        OneOrList(_RELIEF_KV, tuple[Annotated[Reading, _RELIEF_KV], Annotated[Reading, _RELIEF_KV]]),
    ] = None
    cv: Annotated[Reading | None, _CV] = None
    opening_time: Annotated[Reading, _LIFT_TIME]
    back_pressure: Annotated[Reading, _BACK]


class SurgeDrumTable(FileTable):
    """A closed vessel with gas over the liquid."""

    name: Name
    at: Name
    volume: Annotated[Reading, _VESSEL]
    gas_volume: Annotated[
        Reading | tuple[Reading, Reading],
        OneOrList(_GAS, tuple[Annotated[Reading, _GAS], Annotated[Reading, _GAS]]),
    ]
    gas_exponent: Annotated[
        float | tuple[float, float],
        OneOrList(_EXPONENT, tuple[Annotated[float, _EXPONENT], Annotated[float, _EXPONENT]]),
    ]
    charge_pressure: Annotated[Reading | None, LEVEL] = None
    neck_kv: Annotated[Reading | None, _KV] = None
    neck_loss_factor: Annotated[float | None, Number("loss factor K of the neck", 0.001, 100000.0)] = None
    neck_diameter: Annotated[Reading | None, _DIAMETER] = None


class OpenVesselTable(FileTable):
    """A vessel open to the air, whose liquid stands on its point."""

    name: Name
    at: Name
    inside_diameter: Annotated[Reading, Quantity("length", "0.1 m", "100 m")]
    rim: Elevation

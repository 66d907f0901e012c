"""The shape of a case file, schema 1: which tables and keys there are, and what each may hold.

Only shape and single values are checked here; :mod:`surge.case.build` makes the line-up and checks what
belongs together. The published JSON Schema is generated from these models, so a key's words are written once.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import ConfigDict, Field

from surge.model.lineup import FREE_GAS, FREE_GAS_BOUNDS
from surge.reference.materials import MATERIALS, RESTRAINTS
from surge.reference.valve_curves import VALVE_CURVES
from surge.toml.lists import ListOf, OneOrList
from surge.toml.tables import FileTable, Header, one_of
from surge.toml.values import Choice, Day, FileBelow, Flag, Number, Quantity, Text
from surge.units import SHOWN, Reading

_DENSITY = Quantity("density", "300 kg/m3", "3000 kg/m3")
_BAND = Quantity("fraction", "0 %", "50 %")
_LENGTH = Quantity("length", "1 cm", "500 km")
_BENDS = ListOf(_LENGTH, "distances of bends from its start, rising", '["12 m", "30 m"]')
_DIAMETER = Quantity("diameter", "5 mm", "3 m")
_WALL = Quantity("diameter", "0.5 mm", "200 mm")
_ROUGHNESS = Quantity("diameter", "0 mm", "20 mm")
_ELEVATION = Quantity("length", "-500 m", "2000 m")
_HEAD = Quantity("length", "0 m", "5000 m")
_FLOW = Quantity("flow", "0 m3/h", "100000 m3/h")
_RATE = Quantity("flow", "0.1 m3/h", "100000 m3/h")
_LEVEL = Quantity("level", "-1.2 bar(g)", "1000 bar(g)")
_RATING = Quantity("level", "0.1 bar(g)", "1000 bar(g)")
_SPEED = Quantity("speed", "50 m/s", "3000 m/s")
_MODULUS = Quantity("modulus", "1 MPa", "1000 GPa")
_TEMPERATURE = Quantity("temperature", "-200 degC", "300 degC")
_TIME = Quantity("time", "0 s", "24 h")
_STROKE = Quantity("time", "0.01 s", "24 h")
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
_OPENING = Number("opening", 0.0, 1.0)
_BREAK = Number("opening at which the speed of the stroke changes", 0.001, 0.999)
_RATIO = Number("share of Kv", 0.0, 1.0)
_FREE_GAS = Number("share of free gas in the volume of the liquid at 1.01325 bar(a)", *FREE_GAS_BOUNDS)
_LAW = Choice("stroke law", "linear", "two-stage", "step", "table")
_SIDE = Choice("side", "shore", "ship")
_NAME = Text("a name", 60)
_LISTED = Text("a name from the program's tables (see `surge list`)", 60)
_SOURCE = Text("where the figure comes from", 300)
_GROUP = Text("a name for valves that take one stroke", 60)
_REASON = Text("why no shutdown comes at this stage", 300)
_STAGE = Choice("stage of the loading", "start", "bulk", "topping off")
_NOTE = Text("free text", 5000, lines=True)

Name = Annotated[str, _NAME]
Opening = Annotated[float, _OPENING]
Elevation = Annotated[Reading, _ELEVATION]
OpeningTable = list[tuple[Annotated[Reading, _TIME], Opening]]
Run = Reading | list[tuple[Reading, float]]
_RUN = OneOrList(_TIME, list[tuple[Annotated[Reading, _TIME], Annotated[float, Number("speed", 0.0, 1.0)]]])
_CHARACTERISTIC = OneOrList(
    Choice("characteristic", *VALVE_CURVES), list[tuple[Opening, Annotated[float, _RATIO]]]
)


class Show(FileTable):
    """Units of the output."""

    pressure: Annotated[str, Choice("unit of pressure", *SHOWN["pressure"])] = "bar"
    flow: Annotated[str, Choice("unit of flow", *SHOWN["flow"])] = "m3/h"
    length: Annotated[str, Choice("unit of length", *SHOWN["length"])] = "m"
    diameter: Annotated[str, Choice("unit of diameter", *SHOWN["diameter"])] = "mm"


class Site(FileTable):
    """The place."""

    barometer: Annotated[Reading | None, Quantity("absolute", "700 mbar(a)", "1100 mbar(a)")] = None


class Calculation(FileTable):
    """How to calculate."""

    friction: Annotated[str, Choice("friction", "local flow", "frozen")] = "local flow"
    free_gas: Annotated[float, _FREE_GAS] = FREE_GAS


class LiquidTable(FileTable):
    """The cargo at loading temperature: from the program's table, by its own figures, or both."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra={
            "anyOf": [
                {"required": ["cargo", "temperature"]},
                {
                    "required": ["name", "density", "viscosity", "vapour_pressure"],
                    **one_of("sound_speed", "bulk_modulus"),
                },
            ]
        },
    )

    cargo: Annotated[str | None, _LISTED] = None
    temperature: Annotated[Reading | None, _TEMPERATURE] = None
    density_15: Annotated[Reading | None, _DENSITY] = None
    name: Annotated[str | None, _NAME] = None
    density: Annotated[Reading | None, _DENSITY] = None
    sound_speed: Annotated[Reading | None, Quantity("speed", "300 m/s", "3000 m/s")] = None
    bulk_modulus: Annotated[Reading | None, Quantity("modulus", "50 MPa", "30 GPa")] = None
    viscosity: Annotated[Reading | None, Quantity("viscosity", "0.01 mm2/s", "0.1 m2/s")] = None
    vapour_pressure: Annotated[Reading | None, Quantity("absolute", "0 bar(a)", "100 bar(a)")] = None
    static_accumulator: Annotated[bool | None, Flag("the liquid gathers electrostatic charge")] = None


class BerthTable(FileTable):
    """Who loads what, where and when, for the head of the sheet and for the rules of the trade."""

    terminal: Annotated[str | None, _NAME] = None
    name: Annotated[str | None, _NAME] = None
    ship: Annotated[str | None, _NAME] = None
    parcel: Annotated[Reading | None, Quantity("quantity", "1 m3", "1000000 m3")] = None
    first_transfer: Annotated[date | None, Day("when the facility first transferred such cargo")] = None
    cargo: Annotated[str, Choice("kind of cargo", "oil", "hazardous material")] = "oil"
    transfer: Annotated[date | None, Day("the day of this transfer")] = None
    operation: Annotated[str, Choice("way of the cargo", "loading", "discharge")] = "loading"


class BandsTable(FileTable):
    """How far figures may be off, either way: for `surge window --bands`."""

    wave_speed: Annotated[Reading | None, _BAND] = None
    stroke: Annotated[Reading | None, _BAND] = None
    rate: Annotated[Reading | None, _BAND] = None
    characteristic: Annotated[Reading | None, _BAND] = None


class RulesTable(FileTable):
    """Rules that add to those of the program, or replace them."""

    file: Annotated[str | None, FileBelow("a file of rules, beside the case file", 300)] = None


class RateTable(FileTable):
    """The agreed rate and what it is reached by."""

    agreed: Annotated[Reading, _RATE]
    means: Annotated[str, Choice("means", "throttle", "pump speed", "supply pressure")]
    at: Name
    through: Annotated[str | None, _NAME] = None


class CaseLimits(FileTable):
    """Limits that hold for the whole line-up."""

    cargo_pump_top: Annotated[Reading | None, _RATING] = None
    cargo_pump_top_source: Annotated[str | None, _SOURCE] = None
    system_rating: Annotated[Reading | None, _RATING] = None


class PointTable(FileTable):
    """A place where elements meet."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, json_schema_extra=one_of("elevation", "same_elevation_as")
    )

    elevation: Annotated[Reading | None, _ELEVATION] = None
    same_elevation_as: Annotated[str | None, _NAME] = None
    closed: Annotated[bool, Flag("a closed end")] = False
    cargo_pump_top: Annotated[bool, Flag("the top of a cargo pump")] = False
    limit: Annotated[Reading | None, _RATING] = None
    limit_source: Annotated[str | None, _SOURCE] = None


class TankTable(FileTable):
    """A tank; its level is the elevation of the liquid surface above the case datum."""

    name: Name
    at: Name
    side: Annotated[str, _SIDE]
    level: Elevation
    blanket: Annotated[Reading | None, _LEVEL] = None
    ullage: Annotated[Reading | None, Quantity("volume", "0.001 m3", "100000 m3")] = None


class SupplyTable(FileTable):
    """The far end of a shore line of which only the pressure is known."""

    name: Name
    at: Name
    pressure: Annotated[Reading | None, _LEVEL] = None
    shut_off_pressure: Annotated[Reading | None, _LEVEL] = None


class Element(FileTable):
    """What every element has: a name, two ends, what it may bear."""

    name: Name
    start: Name = Field(alias="from")
    end: Name = Field(alias="to")
    rating: Annotated[Reading | None, _RATING] = None
    test_pressure: Annotated[Reading | None, _RATING] = None
    allowance: Annotated[float, Number("factor on the rating in a surge", 0.1, 2.0)] = 1.0
    lowest_pressure: Annotated[Reading | None, _LEVEL] = None


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
    best_flow: Annotated[Reading | None, _RATE] = None


class LineTable(Element):
    """What pipe, hose and arm share."""

    length: Annotated[
        Reading | tuple[Reading, Reading],
        OneOrList(_LENGTH, tuple[Annotated[Reading, _LENGTH], Annotated[Reading, _LENGTH]]),
    ]
    inside_diameter: Annotated[Reading | None, _DIAMETER] = None
    roughness: Annotated[Reading | None, _ROUGHNESS] = None
    condition: Annotated[str | None, _LISTED] = None
    minor_loss: Annotated[float, _MINOR] = 0.0
    fittings: dict[Name, Annotated[float, Number("how many", 0.0, 1000.0)]] = Field(default_factory=dict)
    brittle: Annotated[bool, Flag("bears no more than its rating")] = False
    wave_speed: Annotated[Reading | None, _SPEED] = None
    burst_pressure: Annotated[Reading | None, _RATING] = None
    rating_includes_surge: Annotated[bool | None, Flag("the rating is meant to include surge")] = None
    tested: Annotated[date | None, Day("when it was last pressure-tested")] = None


class PipeTable(LineTable):
    """A pipe or a loading arm: wave speed given, or from wall, material and restraint."""

    size: Annotated[str | None, _LISTED] = None
    schedule: Annotated[str | None, _LISTED] = None
    flange: Annotated[str | None, _LISTED] = None
    wall: Annotated[Reading | None, _WALL] = None
    material: Annotated[str | None, Choice("material", *MATERIALS)] = None
    modulus: Annotated[Reading | None, _MODULUS] = None
    poisson: Annotated[float | None, Number("Poisson's ratio", 0.0, 0.5)] = None
    restraint: Annotated[str | None, Choice("restraint", *RESTRAINTS)] = None
    restraint_factor: Annotated[float | None, Number("restraint factor", 0.5, 1.5)] = None
    bends_at: Annotated[list[Reading], _BENDS] = Field(default_factory=list)


class Hose(LineTable):
    """A cargo hose: wave speed given, from its swell in a pressure test, or from its type."""

    type: Annotated[str | None, _LISTED] = None
    swell: Annotated[Reading | None, Quantity("fraction", "0.001 %", "50 %")] = None
    swell_at: Annotated[Reading | None, Quantity("difference", "0.1 bar", "300 bar")] = None


class ValveTable(Element):
    """A valve: Kv and characteristic given, or from its type and size."""

    type: Annotated[str | None, _LISTED] = None
    size: Annotated[str | None, _LISTED] = None
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
    charge_pressure: Annotated[Reading | None, _LEVEL] = None
    neck_kv: Annotated[Reading | None, _KV] = None
    neck_loss_factor: Annotated[float | None, Number("loss factor K of the neck", 0.001, 100000.0)] = None
    neck_diameter: Annotated[Reading | None, _DIAMETER] = None


class OpenVesselTable(FileTable):
    """A vessel open to the air, whose liquid stands on its point."""

    name: Name
    at: Name
    inside_diameter: Annotated[Reading, Quantity("length", "0.1 m", "100 m")]
    rim: Elevation


class MovementTable(FileTable):
    """The keys of a valve's stroke and of a pump's run-down."""

    close: Annotated[str | None, _NAME] = None
    stop: Annotated[str | None, _NAME] = None
    law: Annotated[str | None, _LAW] = None
    stroke: Annotated[Reading | None, _STROKE] = None
    break_opening: Annotated[float | None, _BREAK] = None
    break_time: Annotated[Reading | None, _STROKE] = None
    table: OpeningTable = Field(default_factory=list)
    run_down: Annotated[Run | None, _RUN] = None


class EventTable(MovementTable):
    """One thing that happens at a stated time."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra=one_of("close", "open", "move", "stop", "start", "trip"),
    )

    at: Annotated[Reading, _TIME]
    open: Annotated[str | None, _NAME] = None
    move: Annotated[str | None, _NAME] = None
    start: Annotated[str | None, _NAME] = None
    trip: Annotated[str | None, _NAME] = None
    run_up: Annotated[Run | None, _RUN] = None


class StepTable(MovementTable):
    """One step of an emergency shutdown."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=one_of("close", "stop", "trip"))

    side: Annotated[str, _SIDE]
    trip: Annotated[str | None, _NAME] = None
    after: Annotated[str | None, _NAME] = None
    wait: Annotated[Reading | None, _TIME] = None


class Shutdown(FileTable):
    """An emergency shutdown: a chain from the detection to the last stroke."""

    at: Annotated[Reading, _TIME]
    detection: Annotated[Reading, _TIME]
    signal: Annotated[Reading, _TIME]
    given_by: Annotated[str, _SIDE]
    linked: Annotated[bool, Flag("the signal goes to both sides by itself")]
    voice_delay: Annotated[Reading | None, _TIME] = None
    not_at: dict[Name, Annotated[str, _REASON]] = Field(default_factory=dict)
    step: list[StepTable]


class StageTable(FileTable):
    """A stage of the loading: every shutdown is run at it, and scenarios of that stage begin with it."""

    name: Annotated[str, _STAGE]
    rate: Annotated[Reading, _RATE]
    levels: dict[Name, Elevation] = Field(default_factory=dict)
    openings: dict[Name, Opening] = Field(default_factory=dict)


class ScenarioTable(FileTable):
    """One time line on the line-up."""

    name: Name
    note: Annotated[str, _NOTE] = ""
    stage: Annotated[str, _STAGE] = ""
    rate: Annotated[Reading | None, _RATE] = None
    levels: dict[Name, Elevation] = Field(default_factory=dict)
    openings: dict[Name, Opening] = Field(default_factory=dict)
    shut_at_start: list[Name] = Field(default_factory=list)
    trapped_pressure: dict[Name, Annotated[Reading, _LEVEL]] = Field(default_factory=dict)
    event: list[EventTable] = Field(default_factory=list)
    shutdown: Shutdown | None = None


class ReadingTable(FileTable):
    """A pressure that was read on a gauge while loading at a steady rate."""

    at: Name
    pressure: Annotated[Reading, _LEVEL]
    rate: Annotated[Reading, _RATE]
    tolerance: Annotated[Reading | None, Quantity("difference", "0.001 bar", "20 bar")] = None
    temperature: Annotated[Reading | None, _TEMPERATURE] = None
    levels: dict[Name, Elevation] = Field(default_factory=dict)
    openings: dict[Name, Opening] = Field(default_factory=dict)
    day: Annotated[date | None, Day("when it was read")] = None
    note: Annotated[str, _NOTE] = ""


class CaseSpec(FileTable):
    """A whole case file."""

    version: Annotated[int, Choice("version of the case format", 1)] = Field(alias="schema")
    title: Annotated[str, Text("a title", 200)]
    note: Annotated[str, _NOTE] = ""
    show: Show = Show()
    site: Site = Site()
    calculation: Calculation = Calculation()
    liquid: LiquidTable
    berth: BerthTable = BerthTable()
    rules: RulesTable = RulesTable()
    bands: BandsTable = BandsTable()
    rate: RateTable | None = None
    limits: CaseLimits = CaseLimits()
    points: Annotated[dict[Name, PointTable], Header('[points."tank outlet"] for every point')]
    tank: list[TankTable] = Field(default_factory=list)
    supply: list[SupplyTable] = Field(default_factory=list)
    pump: list[PumpTable] = Field(default_factory=list)
    pipe: list[PipeTable] = Field(default_factory=list)
    hose: list[Hose] = Field(default_factory=list)
    arm: list[PipeTable] = Field(default_factory=list)
    valve: list[ValveTable] = Field(default_factory=list)
    passage: list[PassageTable] = Field(default_factory=list)
    non_return_valve: list[NonReturnTable] = Field(default_factory=list)
    relief_valve: list[ReliefValveTable] = Field(default_factory=list)
    surge_drum: list[SurgeDrumTable] = Field(default_factory=list)
    open_vessel: list[OpenVesselTable] = Field(default_factory=list)
    stage: list[StageTable] = Field(default_factory=list)
    scenario: list[ScenarioTable] = Field(default_factory=list)
    reading: list[ReadingTable] = Field(default_factory=list)

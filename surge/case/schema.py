"""The shape of a case file, schema 1: which tables and keys there are, and what each may hold.

Tables of the line-up's parts are in :mod:`surge.case.schema_parts`, those of what happens to it in
:mod:`surge.case.schema_scenarios`.

Only shape and single values are checked here; :mod:`surge.case.build` makes the line-up and checks what
belongs together. The published JSON Schema is generated from these models, so a key's words are written once.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import ConfigDict, Field

from surge.case.schema_kinds import LEVEL, LISTED, NAME, NOTE, RATE, RATING, SOURCE, Elevation, Name, Opening
from surge.case.schema_parts import (
    Hose,
    NonReturnTable,
    OpenVesselTable,
    PassageTable,
    PipeTable,
    PointTable,
    PumpTable,
    ReliefValveTable,
    SupplyTable,
    SurgeDrumTable,
    TankTable,
    ValveTable,
)
from surge.case.schema_scenarios import FillingTable, ScenarioTable, StageTable
from surge.model.lineup import FREE_GAS, FREE_GAS_BOUNDS, GAS_CONTENT_BOUNDS
from surge.toml.tables import FileTable, Header, one_of
from surge.toml.values import Choice, Day, FileBelow, Flag, Number, Quantity, Text
from surge.units import SHOWN, Reading

_DENSITY = Quantity("density", "300 kg/m3", "3000 kg/m3")
_BAND = Quantity("fraction", "0 %", "50 %")
_TEMPERATURE = Quantity("temperature", "-200 degC", "300 degC")
_FREE_GAS = Number("share of free gas in the volume of the liquid at 1.01325 bar(a)", *FREE_GAS_BOUNDS)
_CONTENT = Number("share of gas all through the liquid, by volume at 1.01325 bar(a)", *GAS_CONTENT_BOUNDS)


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
    gas_content: Annotated[float | None, _CONTENT] = None
    unsteady_friction: Annotated[bool, Flag("unsteady friction")] = False


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

    cargo: Annotated[str | None, LISTED] = None
    temperature: Annotated[Reading | None, _TEMPERATURE] = None
    density_15: Annotated[Reading | None, _DENSITY] = None
    name: Annotated[str | None, NAME] = None
    density: Annotated[Reading | None, _DENSITY] = None
    sound_speed: Annotated[Reading | None, Quantity("speed", "300 m/s", "3000 m/s")] = None
    bulk_modulus: Annotated[Reading | None, Quantity("modulus", "50 MPa", "30 GPa")] = None
    viscosity: Annotated[Reading | None, Quantity("viscosity", "0.01 mm2/s", "0.1 m2/s")] = None
    vapour_pressure: Annotated[Reading | None, Quantity("absolute", "0 bar(a)", "100 bar(a)")] = None
    static_accumulator: Annotated[bool | None, Flag("the liquid gathers electrostatic charge")] = None


class BerthTable(FileTable):
    """Who loads what, where and when, for the head of the sheet and for the rules of the trade."""

    terminal: Annotated[str | None, NAME] = None
    name: Annotated[str | None, NAME] = None
    ship: Annotated[str | None, NAME] = None
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

    agreed: Annotated[Reading, RATE]
    means: Annotated[str, Choice("means", "throttle", "pump speed", "supply pressure")]
    at: Name
    through: Annotated[str | None, NAME] = None


class CaseLimits(FileTable):
    """Limits that hold for the whole line-up."""

    cargo_pump_top: Annotated[Reading | None, RATING] = None
    cargo_pump_top_source: Annotated[str | None, SOURCE] = None
    system_rating: Annotated[Reading | None, RATING] = None


class ReadingTable(FileTable):
    """A pressure that was read on a gauge while loading at a steady rate."""

    at: Name
    pressure: Annotated[Reading, LEVEL]
    rate: Annotated[Reading, RATE]
    tolerance: Annotated[Reading | None, Quantity("difference", "0.001 bar", "20 bar")] = None
    temperature: Annotated[Reading | None, _TEMPERATURE] = None
    levels: dict[Name, Elevation] = Field(default_factory=dict)
    openings: dict[Name, Opening] = Field(default_factory=dict)
    day: Annotated[date | None, Day("when it was read")] = None
    note: Annotated[str, NOTE] = ""


class CaseSpec(FileTable):
    """A whole case file."""

    version: Annotated[int, Choice("version of the case format", 1)] = Field(alias="schema")
    title: Annotated[str, Text("a title", 200)]
    note: Annotated[str, NOTE] = ""
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
    filling: list[FillingTable] = Field(default_factory=list)
    reading: list[ReadingTable] = Field(default_factory=list)

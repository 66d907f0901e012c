"""Tables of a case file for what happens: movements, events, shutdowns, stages and scenarios."""

from __future__ import annotations

from typing import Annotated

from pydantic import ConfigDict, Field

from surge.case.schema_kinds import LEVEL, NAME, NOTE, RATE, SIDE, Elevation, Name, Opening
from surge.toml.lists import OneOrList
from surge.toml.tables import FileTable, one_of
from surge.toml.values import Choice, Flag, Number, Quantity, Text
from surge.units import Reading

_TIME = Quantity("time", "0 s", "24 h")
_STROKE = Quantity("time", "0.01 s", "24 h")
_BREAK = Number("opening at which the speed of the stroke changes", 0.001, 0.999)
_LAW = Choice("stroke law", "linear", "two-stage", "step", "table")
_REASON = Text("why no shutdown comes at this stage", 300)
_FRONT = Quantity("length", "0 m", "500 km", such_as="5 m", where="how far beyond from the liquid stands")
_EXPONENT = Number("exponent n of the gas, p V^n constant", 1.0, 1.67)
_VENT = Choice("way out of the gas", "open", "shut")
_OPENING = Quantity(
    "diameter", "0.1 mm", "1 m", such_as="25 mm", where="bore of the opening that lets gas out"
)
_COEFFICIENT = Number("flow through the opening over that without losses", 0.1, 1.0)
_STAGE = Choice("stage of the loading", "start", "bulk", "topping off")

OpeningTable = list[tuple[Annotated[Reading, _TIME], Opening]]
Run = Reading | list[tuple[Reading, float]]
_RUN = OneOrList(_TIME, list[tuple[Annotated[Reading, _TIME], Annotated[float, Number("speed", 0.0, 1.0)]]])


class MovementTable(FileTable):
    """The keys of a valve's stroke and of a pump's run-down."""

    close: Annotated[str | None, NAME] = None
    stop: Annotated[str | None, NAME] = None
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
    open: Annotated[str | None, NAME] = None
    move: Annotated[str | None, NAME] = None
    start: Annotated[str | None, NAME] = None
    trip: Annotated[str | None, NAME] = None
    run_up: Annotated[Run | None, _RUN] = None


class StepTable(MovementTable):
    """One step of an emergency shutdown."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=one_of("close", "stop", "trip"))

    side: Annotated[str, SIDE]
    trip: Annotated[str | None, NAME] = None
    after: Annotated[str | None, NAME] = None
    wait: Annotated[Reading | None, _TIME] = None


class Shutdown(FileTable):
    """An emergency shutdown: a chain from the detection to the last stroke."""

    at: Annotated[Reading, _TIME]
    detection: Annotated[Reading, _TIME]
    signal: Annotated[Reading, _TIME]
    given_by: Annotated[str, SIDE]
    linked: Annotated[bool, Flag("the signal goes to both sides by itself")]
    voice_delay: Annotated[Reading | None, _TIME] = None
    not_at: dict[Name, Annotated[str, _REASON]] = Field(default_factory=dict)
    step: list[StepTable]


class StageTable(FileTable):
    """A stage of the loading: every shutdown is run at it, and scenarios of that stage begin with it."""

    name: Annotated[str, _STAGE]
    rate: Annotated[Reading, RATE]
    levels: dict[Name, Elevation] = Field(default_factory=dict)
    openings: dict[Name, Opening] = Field(default_factory=dict)


class TimeLine(FileTable):
    """How everything stands at first, and what happens at stated times."""

    name: Name
    note: Annotated[str, NOTE] = ""
    stage: Annotated[str, _STAGE] = ""
    rate: Annotated[Reading | None, RATE] = None
    levels: dict[Name, Elevation] = Field(default_factory=dict)
    openings: dict[Name, Opening] = Field(default_factory=dict)
    shut_at_start: list[Name] = Field(default_factory=list)
    event: list[EventTable] = Field(default_factory=list)


class ScenarioTable(TimeLine):
    """One time line on the line-up."""

    trapped_pressure: dict[Name, Annotated[Reading, LEVEL]] = Field(default_factory=dict)
    shutdown: Shutdown | None = None


class FillingTable(TimeLine):
    """A line that holds gas from one point to another at first, and fills."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=one_of("vent", "vent_diameter"))

    start: Name = Field(alias="from")
    end: Name = Field(alias="to")
    front: Annotated[Reading | None, _FRONT] = None
    gas_pressure: Annotated[Reading, LEVEL]
    exponent: Annotated[float | None, _EXPONENT] = None
    vent: Annotated[str | None, _VENT] = None
    vent_diameter: Annotated[Reading | None, _OPENING] = None
    vent_coefficient: Annotated[float | None, _COEFFICIENT] = None

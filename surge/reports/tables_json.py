"""``surge list --json`` as types: one for each kind of row, and one for the table that holds such rows.

Keys carry unit and reference. Every row ends with its source, how far that was seen, and where it holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from surge.reference import liquid_rows
from surge.reports.document import Demand, JsonObject, Program
from surge.rules.book import COMPARES, REQUIREMENTS

KINDS = ("liquids", "pipes", "hoses", "valves", "rules")
Source = Annotated[str, Demand(description="Where the figures come from.")]
Status = Annotated[str, Demand(description="How far the source was seen.")]
Validity = Annotated[str, Demand(description="Range in which the figures hold.")]


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidFigure(JsonObject):
    """What is sold under the name, at the temperature shown."""

    low: float
    typical: float
    high: float
    unfavourable: float
    """What the check uses."""
    doubt: float
    """Part by which the figure may be off."""
    confidence: Annotated[str, Demand(enum=list(liquid_rows.CONFIDENCES))]
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedLiquid(JsonObject):
    """A cargo."""

    name: str
    aliases: tuple[str, ...]
    family: str
    kind: Annotated[str, Demand(enum=list(liquid_rows.KINDS))]
    temperature_k: float
    temperature_range_k: tuple[float, float]
    density_kg_per_m3: LiquidFigure
    sound_speed_m_per_s: LiquidFigure
    viscosity_pa_s: LiquidFigure
    vapour_pressure_pa_abs: LiquidFigure
    static_accumulator: bool | None
    """Null: not known."""
    static_accumulator_source: str
    note: str
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Liquids(JsonObject):
    """Cargoes."""

    name: Literal["liquids"] = "liquids"
    title: str
    rows: tuple[ListedLiquid, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRow(JsonObject):
    """A pipe of standard size and schedule."""

    size: str
    dn: int
    schedule: str
    outside_diameter_m: float
    wall_m: float
    inside_diameter_m: float
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes(JsonObject):
    """Pipe sizes."""

    name: Literal["sizes"] = "sizes"
    title: str
    rows: tuple[SizeRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialRow(JsonObject):
    """What a pipe wall is made of."""

    name: str
    modulus_pa: float
    poisson_ratio: float
    brittle: bool
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Materials(JsonObject):
    """Materials of walls."""

    name: Literal["materials"] = "materials"
    title: str
    rows: tuple[MaterialRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RestraintRow(JsonObject):
    """How a pipe is held along its axis."""

    name: str
    meaning: str
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Restraints(JsonObject):
    """Ways in which pipes are held."""

    name: Literal["restraints"] = "restraints"
    title: str
    rows: tuple[RestraintRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionRow(JsonObject):
    """Roughness of a wall in one condition."""

    name: str
    low_m: float
    high_m: float
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions(JsonObject):
    """Roughness of walls."""

    name: Literal["conditions"] = "conditions"
    title: str
    rows: tuple[ConditionRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RatingPoint(JsonObject):
    """The rating at one temperature; between two it runs straight."""

    temperature_k: float
    rating_pa_gauge: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlangeRow(JsonObject):
    """A flange of class 150."""

    name: str
    material: str
    rating: tuple[RatingPoint, ...]
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Flanges(JsonObject):
    """Ratings of flanges."""

    name: Literal["flanges"] = "flanges"
    title: str
    rows: tuple[FlangeRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingRow(JsonObject):
    """A fitting that takes pressure."""

    name: str
    typical_loss_factor: float
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Fittings(JsonObject):
    """Loss factors of fittings."""

    name: Literal["fittings"] = "fittings"
    title: str
    rows: tuple[FittingRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoseRow(JsonObject):
    """A type of hose."""

    name: str
    rating_pa_gauge: float | None
    """Null: only the certificate tells."""
    test_factor: float
    burst_factor: float
    rating_includes_surge: bool | None
    """Null: not known."""
    wave_speed_m_per_s: tuple[float, float | None]
    """Soft and stiff end; null: that of the liquid."""
    wave_speed_source: str
    temperature_k: tuple[float, float] | None
    """Lowest and highest at which the figures hold."""
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Hoses(JsonObject):
    """Types of hoses."""

    name: Literal["hoses"] = "hoses"
    title: str
    rows: tuple[HoseRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoseTestRow(JsonObject):
    """How often something of a hose is tested."""

    name: str
    months: int
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class HoseTests(JsonObject):
    """Intervals between tests of hoses."""

    name: Literal["hose-tests"] = "hose-tests"
    title: str
    rows: tuple[HoseTestRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CharacteristicRow(JsonObject):
    """How the Kv of a valve goes with its opening."""

    name: str
    opening_and_share_of_kv: tuple[tuple[float, float], ...]
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Characteristics(JsonObject):
    """Characteristics of valves."""

    name: Literal["characteristics"] = "characteristics"
    title: str
    rows: tuple[CharacteristicRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KvRow(JsonObject):
    """The Kv assumed for a valve of one type and size."""

    type: str
    size: str
    dn: int
    kv_low_m3_per_h: float
    kv_usual_m3_per_h: float
    kv_high_m3_per_h: float
    """What a check takes."""
    characteristic: str
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Kvs(JsonObject):
    """Kv by type and size."""

    name: Literal["kv"] = "kv"
    title: str
    rows: tuple[KvRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleRow(JsonObject):
    """A rule of the trade."""

    id: str
    name: str
    text: str
    authority: str
    edition: str
    clause: str
    measure: str
    figure: str
    """As written, with its unit."""
    compare: Annotated[str, Demand(enum=list(COMPARES))]
    counts: tuple[str, ...]
    """Terms of a shutdown that its time counts."""
    requirement: Annotated[str, Demand(enum=list(REQUIREMENTS))]
    applies: str
    conditions: tuple[str, ...]
    """What must hold besides, and no case tells."""
    note: str
    replaces: str
    """Rule of the program that it stands for; empty: none."""
    reason: str
    """Why it is off; empty otherwise."""
    source: Source
    status: Status
    validity: Validity


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules(JsonObject):
    """Rules of the trade."""

    name: Literal["rules"] = "rules"
    title: str
    rows: tuple[RuleRow, ...]


ListedRow = (
    ListedLiquid
    | SizeRow
    | MaterialRow
    | RestraintRow
    | ConditionRow
    | FlangeRow
    | FittingRow
    | HoseRow
    | HoseTestRow
    | CharacteristicRow
    | KvRow
    | RuleRow
)
Listed = (
    Liquids
    | Sizes
    | Materials
    | Restraints
    | Conditions
    | Flanges
    | Fittings
    | Hoses
    | HoseTests
    | Characteristics
    | Kvs
    | Rules
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ListDocument(JsonObject):
    """What the program knows by name."""

    schema_version: Literal[1] = 1
    program: Program
    kind: Annotated[str, Demand(enum=list(KINDS))]
    words: tuple[str, ...]
    """What was searched for."""
    sections: tuple[Listed, ...]

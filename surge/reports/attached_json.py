"""What tripped pumps, non-return valves and what hangs on a point did, as types and as what makes them."""

from __future__ import annotations

from dataclasses import dataclass

from surge.reports.document import JsonObject
from surge.transient.result import DrumResult, NonReturnResult, ReliefResult, TripResult, VesselResult


@dataclass(frozen=True, slots=True, kw_only=True)
class TripJson(JsonObject):
    """What a pump did that tripped."""

    name: str
    at_s: float
    speed_at_end: float
    """Share of full speed that is left at the end of the run."""
    speed_at_end_error: float
    unknown_from_s: float | None
    """When it left what is known of it; null where it never did."""
    started_again_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NonReturnJson(JsonObject):
    """What a non-return valve did in a scenario."""

    name: str
    closed_s: float | None
    """When it was first shut; null where it stayed open."""
    greatest_reverse_flow_m3_per_s: float
    stopped_m3_per_s: float
    """Greatest reverse flow that it stopped at once."""
    slam_pa: float
    """B times that."""
    slam_error_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliefJson(JsonObject):
    """What a relief valve did in a scenario."""

    name: str
    point: str
    set_pressure_pa_gauge: float
    opened_s: float | None
    """When it first opened; null where it stayed shut."""
    greatest_lift: float
    greatest_lift_error: float
    spilled_m3: float
    spilled_error_m3: float
    spilled_later_m3: float
    """How much more was spilled after the run, as far as a first march looked ahead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumJson(JsonObject):
    """What a surge drum did in a scenario."""

    name: str
    point: str
    gas_at_first_m3: float
    least_gas_m3: float
    least_gas_error_m3: float
    most_gas_m3: float
    most_gas_error_m3: float
    volume_m3: float
    emptied_s: float | None
    """When the gas first filled it; null where liquid always stood in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselJson(JsonObject):
    """What a vessel open to the air did in a scenario."""

    name: str
    point: str
    level_at_first_m: float
    lowest_level_m: float
    lowest_level_error_m: float
    highest_level_m: float
    highest_level_error_m: float


def trip_json(t: TripResult) -> TripJson:
    """What a tripped pump did."""
    return TripJson(
        name=t.name,
        at_s=t.at,
        speed_at_end=t.speed,
        speed_at_end_error=t.speed_error,
        unknown_from_s=t.unknown,
        started_again_s=t.again,
    )


def non_return_json(v: NonReturnResult) -> NonReturnJson:
    """What a non-return valve did."""
    return NonReturnJson(
        name=v.name,
        closed_s=v.closed,
        greatest_reverse_flow_m3_per_s=v.reverse,
        stopped_m3_per_s=v.stopped,
        slam_pa=v.slam,
        slam_error_pa=v.slam_error,
    )


def relief_json(r: ReliefResult) -> ReliefJson:
    """What a relief valve did."""
    return ReliefJson(
        name=r.name,
        point=r.point,
        set_pressure_pa_gauge=r.set_pressure,
        opened_s=r.opened,
        greatest_lift=r.lift,
        greatest_lift_error=r.lift_error,
        spilled_m3=r.passed,
        spilled_error_m3=r.passed_error,
        spilled_later_m3=r.later,
    )


def drum_json(d: DrumResult) -> DrumJson:
    """What a surge drum did."""
    return DrumJson(
        name=d.name,
        point=d.point,
        gas_at_first_m3=d.gas,
        least_gas_m3=d.least,
        least_gas_error_m3=d.least_error,
        most_gas_m3=d.most,
        most_gas_error_m3=d.most_error,
        volume_m3=d.volume,
        emptied_s=d.emptied,
    )


def vessel_json(v: VesselResult) -> VesselJson:
    """What an open vessel did."""
    return VesselJson(
        name=v.name,
        point=v.point,
        level_at_first_m=v.level,
        lowest_level_m=v.lowest,
        lowest_level_error_m=v.lowest_error,
        highest_level_m=v.highest,
        highest_level_error_m=v.highest_error,
    )

"""From the tables of a case to what hangs on one point: relief valves, surge drums, open vessels."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

from surge.case import schema_parts as spec
from surge.case.notes import Notes
from surge.errors import Origin
from surge.hydraulics.formulas import loss_factor_to_kv
from surge.model.attached import OpenVessel, ReliefValve, SurgeDrum
from surge.units import Reading


def relief_of(table: spec.ReliefValveTable, origin: Origin, notes: Notes) -> ReliefValve:
    """Return a relief valve; its faults stand in ``notes``.

    Parameters
    ----------
    table : ReliefValveTable
    origin : Origin
        Where it stands in the case file.
    notes : Notes
    """
    notes.exactly_one(origin, kv=table.kv, cv=table.cv)
    given = table.kv or table.cv
    kv, kv_range = (1.0, 1000.0)[notes.pick], None
    if given is not None:
        kv, kv_range = _either(given, (*origin, "kv"), notes, lambda reading, _: reading.value)

    def level(reading: Reading, path: Origin) -> float:
        return notes.pressure(reading, path) or 0.0

    opens, set_range = _either(table.set_pressure, (*origin, "set_pressure"), notes, level)
    return ReliefValve(
        name=table.name,
        point=table.at,
        set_pressure=opens,
        set_range=set_range,
        full_pressure=level(table.full_lift_pressure, (*origin, "full_lift_pressure")),
        kv=kv,
        kv_range=kv_range,
        opening_time=table.opening_time.value,
        back_pressure=level(table.back_pressure, (*origin, "back_pressure")),
        origin=origin,
    )


Given = TypeVar("Given", Reading, float)


def _either(
    given: Given | tuple[Given, Given], path: Origin, notes: Notes, read: Callable[[Given, Origin], float]
) -> tuple[float, tuple[float, float] | None]:
    """Return a figure and its range: of two values in brackets the middle stands for them."""
    if not isinstance(given, tuple):
        return read(given, path), None
    low, high = (read(one, (*path, k)) for k, one in enumerate(given))
    if low >= high:
        written = [one.text if isinstance(one, Reading) else f"{one:g}" for one in given]
        notes.fault(
            path,
            f'"{written[0]}" to "{written[1]}"',
            "a range, the smaller figure first",
            "put the smaller figure first, or write one without brackets",
        )
    return 0.5 * (low + high), (low, high)


def drum_of(table: spec.SurgeDrumTable, origin: Origin, notes: Notes) -> SurgeDrum:
    """Return a surge drum; its faults stand in ``notes``.

    Parameters
    ----------
    table : SurgeDrumTable
    origin : Origin
        Where it stands in the case file.
    notes : Notes
    """
    gas, gas_range = _either(
        table.gas_volume, (*origin, "gas_volume"), notes, lambda reading, _: reading.value
    )
    exponent, exponent_range = _either(
        table.gas_exponent, (*origin, "gas_exponent"), notes, lambda number, _: number
    )
    return SurgeDrum(
        name=table.name,
        point=table.at,
        volume=table.volume.value,
        gas_volume=gas,
        gas_range=gas_range,
        exponent=exponent,
        exponent_range=exponent_range,
        neck_kv=_neck(table, origin, notes),
        charge=notes.pressure(table.charge_pressure, (*origin, "charge_pressure")),
        origin=origin,
    )


def _neck(table: spec.SurgeDrumTable, origin: Origin, notes: Notes) -> float:
    """Kv of the neck [m3/h of water at 1 bar]; infinite where the case gives no loss, which is noted."""
    if table.neck_kv is not None and table.neck_loss_factor is not None:
        notes.exactly_one(origin, neck_kv=table.neck_kv, neck_loss_factor=table.neck_loss_factor)
    for one, other in (("neck_loss_factor", "neck_diameter"), ("neck_diameter", "neck_loss_factor")):
        if getattr(table, one) is not None and getattr(table, other) is None:
            notes.needs((*origin, one), "loss factor and bore of the neck together", other)
    if table.neck_kv is not None:
        return table.neck_kv.value
    if table.neck_loss_factor is not None and table.neck_diameter is not None:
        return loss_factor_to_kv(table.neck_loss_factor, diameter=table.neck_diameter.value)
    notes.assume(
        table.name, "loss of the neck", "none", "the case gives none; a neck that chokes protects less"
    )
    return math.inf


def vessel_of(table: spec.OpenVesselTable, origin: Origin) -> OpenVessel:
    """Return a vessel open to the air.

    Parameters
    ----------
    table : OpenVesselTable
    origin : Origin
        Where it stands in the case file.
    """
    return OpenVessel(
        name=table.name,
        point=table.at,
        area=math.pi / 4 * table.inside_diameter.value**2,
        rim=table.rim.value,
        origin=origin,
    )

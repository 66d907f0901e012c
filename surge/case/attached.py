"""From the tables of a case to what hangs on one point: relief valves, surge drums, open vessels."""

from __future__ import annotations

import math

from surge.case import schema as spec
from surge.case.notes import Notes
from surge.errors import Origin
from surge.hydraulics.formulas import loss_factor_to_kv
from surge.model.attached import OpenVessel, ReliefValve, SurgeDrum


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
    kv = table.kv or table.cv

    def level(key: str) -> float:
        return notes.pressure(getattr(table, key), (*origin, key)) or 0.0

    return ReliefValve(
        name=table.name,
        point=table.at,
        set_pressure=level("set_pressure"),
        full_pressure=level("full_lift_pressure"),
        kv=kv.value if kv else (1.0, 1000.0)[notes.pick],
        opening_time=table.opening_time.value,
        back_pressure=level("back_pressure"),
        origin=origin,
    )


def drum_of(table: spec.SurgeDrumTable, origin: Origin, notes: Notes) -> SurgeDrum:
    """Return a surge drum; its faults stand in ``notes``.

    Parameters
    ----------
    table : SurgeDrumTable
    origin : Origin
        Where it stands in the case file.
    notes : Notes
    """
    return SurgeDrum(
        name=table.name,
        point=table.at,
        volume=table.volume.value,
        gas_volume=table.gas_volume.value,
        exponent=table.gas_exponent,
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

"""From the tables of a case to what hangs on one point: relief valves."""

from __future__ import annotations

from surge.case import schema as spec
from surge.case.notes import Notes
from surge.errors import Origin
from surge.model.attached import ReliefValve


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

"""Histories of a scenario as a table for a spreadsheet: what a picture against time shows.

Decisions
---------
* A column for each place, valve, pump and flow, with its unit in the title; figures in the reader's units, to
  six digits and not rounded against anybody: the extremes with their errors stand in the answer.
* After the cargo boils a row says so: its pressures are of a march with cavities, or not valid.
"""

from __future__ import annotations

import numpy as np

from surge.arrays import Array
from surge.model.lineup import Table
from surge.reports.spreadsheet import Cell, table
from surge.reports.words import Display
from surge.units import from_si, quoted
from surge.views.time import PressureTrace, TimePicture

Column = tuple[str, Array]


def histories_csv(
    picture: TimePicture, display: Display, signature: str, *, span: tuple[float, float] | None = None
) -> str:
    """Return histories as the text of a CSV file.

    Parameters
    ----------
    picture : TimePicture
    display : Display
        Units of the columns.
    signature : str
        Which program and which case; it stands in every row.
    span : (float, float) or None
        From when to when [s]; by default the whole run.
    """
    time, until = picture.time, picture.subject.valid_until
    columns = [("time s", time), *_pressures(picture, display), *_moved(picture), *_flows(picture, display)]
    begin, end = span or (float(time[0]), float(time[-1]))
    rows: list[list[Cell]] = [[*(title for title, _ in columns), "valid", "scenario", "made by"]]
    after = "yes, with cavities" if picture.cavities else "no: the cargo has boiled"
    for k in np.flatnonzero((time >= begin - 1e-9) & (time <= end + 1e-9)).tolist():
        valid = "yes" if until is None or time[k] <= until else after
        figures = [float(f"{values[k]:.6g}") for _, values in columns]
        rows.append([*figures, valid, picture.subject.run.name, signature])
    return table(rows)


def _pressures(picture: TimePicture, display: Display) -> list[Column]:
    unit = display.units.pressure
    return [
        (f"pressure at {_place(trace, display)} {unit}(g)", trace.pressure * from_si(1.0, unit=unit))
        for trace in picture.traces
    ]


def _place(trace: PressureTrace, display: Display) -> str:
    away = f", {display.length(trace.distance)} from its start," if trace.distance is not None else ""
    return f"{quoted(trace.name)}{away}"


def _moved(picture: TimePicture) -> list[Column]:
    """Openings of valves and speeds of pumps that move [%]."""
    subject = picture.subject
    laws = [("opening", *one) for one in subject.openings.items()]
    laws += [("speed", *one) for one in subject.speeds.items()]
    return [(f"{what} of {quoted(name)} %", 100.0 * _law_at(law, picture.time)) for what, name, law in laws]


def _law_at(law: Table, time: Array) -> Array:
    """A law at instants [s]: straight between its points, and of two at one time the later one holds."""
    at, values = (np.array(v) for v in zip(*law, strict=True))
    after = np.clip(np.searchsorted(at, time, side="right"), 1, at.size - 1)
    begin, end = at[after - 1], at[after]
    width = np.where(end > begin, end - begin, 1.0)
    part = np.where(end > begin, np.clip((time - begin) / width, 0.0, 1.0), time >= end)
    found: Array = values[after - 1] + part * (values[after] - values[after - 1])
    return found


def _flows(picture: TimePicture, display: Display) -> list[Column]:
    unit, density = display.units.flow, display.density
    return [
        (f"flow through {quoted(name)} {unit}", q * from_si(1.0, unit=unit, density=density))
        for name, q in picture.flows.items()
    ]

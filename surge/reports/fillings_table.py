"""Histories of a filling as rows of a table."""

from __future__ import annotations

from surge.reports.fillings_json import elastic_rows, rigid_rows
from surge.reports.spreadsheet import Cell
from surge.reports.spreadsheet import table as spreadsheet
from surge.rules.fillings import FilledCase

HEAD = ["model", "time s", "front m", "velocity m/s", "gas Pa gauge", "end of the line Pa gauge"]


def filling_csv(one: FilledCase, signature: str) -> str:
    """Return the histories of a filling, with all figures as usual, as the text of a CSV file.

    Rows of the rigid column first, with the waves after its arrival, then those with an elastic line.
    """
    run = one.usual
    assert run is not None
    rows: list[list[Cell]] = [[*HEAD, "filling", "made by"]]
    for model, history in (("rigid", rigid_rows(run)), ("elastic", elastic_rows(run))):
        for r in history:
            figures = [r.time_s, r.front_m, r.velocity_m_s, r.gas_pa_gauge]
            end: Cell = "" if r.end_pa_gauge is None else float(f"{r.end_pa_gauge:.6g}")
            rows.append([model, *(float(f"{v:.7g}") for v in figures), end, one.name, signature])
    return spreadsheet(rows)

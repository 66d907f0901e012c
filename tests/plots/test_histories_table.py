"""Histories as a table: the figures of the run, units in the titles, nothing that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from support.demo_pictures import CRUDE, DISPLAY, PSI
from support.demos import Demos

from surge.choices import refuse_table
from surge.cli.main import main
from surge.errors import ArgumentError
from surge.reports.histories import histories_csv
from surge.rules.assess import Assessment
from surge.views.subject import subject_of
from surge.views.time import TimePicture, time_picture


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))


@pytest.fixture(scope="module")
def crude(demos: Demos) -> TimePicture:
    return time_picture(subject_of(demos["crude-sea-line"].answer), ["deck line inlet"])


def test_every_instant_and_figure_is_that_of_the_run(crude: TimePicture) -> None:
    rows = rows_of(histories_csv(crude, DISPLAY, "made by nobody"))
    history = crude.subject.run.history
    assert len(rows) == history.time.size

    def column(title: str) -> Any:
        return np.array([float(row[title]) for row in rows])

    assert np.allclose(column("time s"), history.time, rtol=1e-5)
    pressure = history.pressure["deck line inlet"] / PSI
    assert np.allclose(column('pressure at "deck line inlet" psi(g)'), pressure, rtol=1e-5, atol=1e-4)
    flow = history.flow["manifold valve"] * 1000.0
    assert np.allclose(column('flow through "manifold valve" L/s'), flow, rtol=1e-5, atol=1e-4)
    opening = 100.0 * np.interp(history.time, [5.0, 14.0], [1.0, 0.0])
    assert np.allclose(column('opening of "manifold valve" %'), opening, atol=1e-2)
    assert {row["valid"] for row in rows} == {"yes"}
    assert {row["made by"] for row in rows} == {"made by nobody"}
    assert {row["scenario"] for row in rows} == {crude.subject.run.name}


def test_a_step_has_its_later_opening_at_its_instant(crude: TimePicture) -> None:
    (move,) = crude.subject.scenario.moves
    instant = replace(move, law=((0.0, 1.0), (0.0, 0.0)))
    scenario = replace(crude.subject.scenario, moves=(instant,))
    stepped = replace(crude, subject=replace(crude.subject, scenario=scenario))
    for row in rows_of(histories_csv(stepped, DISPLAY, "s", span=(4.5, 5.5))):
        shut = float(row["time s"]) >= 5.0
        assert float(row['opening of "manifold valve" %']) == (0.0 if shut else 100.0)


def test_a_part_of_the_time_is_what_was_asked_for(crude: TimePicture) -> None:
    times = [float(r["time s"]) for r in rows_of(histories_csv(crude, DISPLAY, "s", span=(6.0, 7.0)))]
    assert times
    assert 6.0 <= times[0] <= times[-1] <= 7.0


def test_rows_after_the_cargo_boils_say_so(boiling: Assessment) -> None:
    subject = subject_of(boiling)
    assert subject.valid_until is not None
    for cavities, after in ((True, "yes, with cavities"), (False, "no: the cargo has boiled")):
        rows = rows_of(
            histories_csv(time_picture(subject, ["deck line inlet"], cavities=cavities), DISPLAY, "s")
        )
        for row in rows:
            boiled = float(row["time s"]) > subject.valid_until + 1e-4
            assert row["valid"] == (after if boiled else "yes")


def test_nothing_in_it_is_run_by_a_spreadsheet(crude: TimePicture) -> None:
    run = replace(crude.subject.run, name="=cmd()")
    text = histories_csv(replace(crude, subject=replace(crude.subject, run=run)), DISPLAY, "@made")
    row = next(csv.reader(io.StringIO(text.removeprefix("\ufeff").split("\r\n", 2)[1])))
    assert row[-2:] == ["'=cmd()", "'@made"]


def test_a_table_is_of_histories_only() -> None:
    with pytest.raises(ArgumentError, match="time"):
        refuse_table("map", ["csv"])
    result = CliRunner().invoke(main, ["picture", str(CRUDE), "--of", "line", "-o", "line.csv"])
    assert result.exit_code == 2
    assert '--of "line" as csv' in result.output
    assert not Path("line.csv").exists()

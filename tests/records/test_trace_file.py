"""Recorded pressures: titles, units, times, gaps; every fault with its row."""

from __future__ import annotations

import numpy as np
import pytest

from surge.errors import CaseError
from surge.inputs import input_of
from surge.records.text import RowFault, csv_of
from surge.records.trace_file import LEAST_READINGS, RecordedTrace, read_trace

POINTS = ("manifold", "jetty", "tank outlet")
ATMOSPHERE = 101_000.0


def read(text: str | bytes, **more: object) -> RecordedTrace:
    content = text.encode() if isinstance(text, str) else text
    source = csv_of(input_of(content, filename="record.csv"))
    return read_trace(source, points=POINTS, atmosphere=ATMOSPHERE, **more)  # type: ignore[arg-type]


def rows(n: int = 60, *, step: float = 0.1, separator: str = ",", comma: bool = False) -> list[str]:
    made = [f"{10 + k * step:.2f}{separator}{2 + 0.01 * k:.3f}" for k in range(n)]
    return [line.replace(".", ",") for line in made] if comma else made


def table(title: str, body: list[str]) -> str:
    return "\n".join([title, *body]) + "\n"


def fault_of(text: str, **more: object) -> RowFault:
    with pytest.raises(CaseError) as caught:
        read(text, **more)
    fault = caught.value.faults[0]
    assert isinstance(fault, RowFault)
    assert fault.found
    assert fault.expected
    assert fault.remedy
    assert caught.value.file is not None
    return fault


def test_a_plain_record() -> None:
    trace = read("Logger 7\n\n" + table("time [s],Manifold [bar(g)],note", [f"{r},x" for r in rows()]))
    (place,) = trace.places
    assert (place.place, place.title, trace.header) == ("manifold", "Manifold [bar(g)]", 3)
    assert place.rows[0] == 4
    assert np.allclose(place.time[:3], [10.0, 10.1, 10.2])
    assert np.allclose(place.pressure[:2], [200e3, 201e3])
    assert place.step == pytest.approx(0.1)
    assert place.gaps == ()


@pytest.mark.parametrize(
    ("unit", "pascal"),
    [
        ("bar(g)", 200e3),
        ("barg", 200e3),
        ("bar(a)", 200e3 - ATMOSPHERE),
        ("kPa(g)", 2e3),
        ("psig", 2 * 6894.757293168),  # NIST SP 811: the pound-force on a square inch
        ("MPa(a)", 2e6 - ATMOSPHERE),
    ],
)
def test_units_of_pressure(unit: str, pascal: float) -> None:
    trace = read(table(f"time [s],manifold [{unit}]", rows()))
    assert trace.places[0].pressure[0] == pytest.approx(pascal, rel=1e-9)


@pytest.mark.parametrize(
    ("title", "found", "remedy"),
    [
        ("time [s],manifold", "no unit", "[bar(g)]"),
        ("time [s],manifold [bar]", "neither gauge nor absolute", "[bar(a)]"),
        ("time [s],manifold [m]", "unknown unit of pressure", "one of these"),
        ("time [days],manifold [bar(g)]", "unknown unit of time", "time [s]"),
        ("time [s],time [ms],manifold [bar(g)]", "several columns of time", "rename"),
        ("time [s],manifold [bar(g)],manifold [bar(a)]", "a second column", "take one"),
        ("time [s],manifould [bar(g)]", "no place of the case", "manifould=manifold"),
    ],
)
def test_titles_that_are_refused(title: str, found: str, remedy: str) -> None:
    fault = fault_of(table(title, [f"{r},1" for r in rows()]))
    assert found in fault.found
    assert remedy in fault.remedy


def test_no_titles_at_all() -> None:
    assert "no titles" in fault_of("\n".join(rows())).found


def test_a_time_without_a_unit_is_refused_by_row_and_a_time_of_day_needs_none() -> None:
    fault = fault_of(table("time,manifold [bar(g)]", rows()))
    assert (fault.row, fault.column) == (2, "time")
    assert "time [s]" in fault.remedy
    of_day = [f"14:02:{k * 0.1:04.1f},2.0{k % 7}" for k in range(60)]
    trace = read(table("time,manifold [bar(g)]", of_day))
    assert trace.places[0].time[0] == pytest.approx(14 * 3600 + 120)
    assert trace.places[0].step == pytest.approx(0.1)


def test_decimal_commas() -> None:
    body = rows(separator=";", comma=True)
    trace = read(table("time [s];manifold [bar(g)]", body))
    assert trace.places[0].time[1] == pytest.approx(10.1)
    assert "decimal comma" in trace.notes[0]


def test_a_title_of_its_own_is_said_by_the_user() -> None:
    text = table("time [s],PT 101 [bar(g)]", rows())
    assert read(text, places={"PT 101": "jetty"}).places[0].place == "jetty"
    assert (
        "PT 102"
        in fault_of(table("time [s],manifold [bar(g)]", rows()), places={"PT 102": "jetty"}).found.upper()
    )


def test_a_gap_is_told_with_its_rows_and_empty_cells_are_no_readings() -> None:
    body = rows(90)
    del body[40:60]
    body[10] = body[10].split(",")[0] + ","
    trace = read(table("time [s],manifold [bar(g)]", body))
    (place,) = trace.places
    assert place.gaps == ((41, 42, pytest.approx(2.1)),)
    assert place.time.size == 69
    assert "1 cell without a reading" in trace.notes[1]


def test_times_that_stand_still_or_go_back() -> None:
    body = rows()
    body.insert(20, body[19])  # the same row twice is left out
    assert "1 row written twice" in read(table("time [s],manifold [bar(g)]", body)).notes[1]
    body[30] = "10.00,3.0"
    fault = fault_of(table("time [s],manifold [bar(g)]", body))
    assert fault.row == 32
    assert "rise" in fault.expected


def test_midnight() -> None:
    fault = fault_of(table("time,manifold [bar(g)]", ["23:59:59.9,2.0", *["00:00:00.0,2.0"] * 40]))
    assert "midnight" in fault.remedy


@pytest.mark.parametrize("cell", ["two", "2.0 bar", "1e400", "1e-400", "--3"])
def test_cells_that_are_no_numbers(cell: str) -> None:
    body = rows()
    body[7] = f"10.70,{cell}"
    fault = fault_of(table("time [s],manifold [bar(g)]", body))
    assert (fault.row, fault.column) == (9, "manifold [bar(g)]")


def test_many_faults_are_told_up_to_a_number_and_few_readings_are_refused() -> None:
    with pytest.raises(CaseError) as caught:
        read(table("time [s],manifold [bar(g)]", [f"{k},x" for k in range(100)]))
    assert len(caught.value.faults) == 41
    assert "60 more rows" in caught.value.faults[-1].found
    for few, found in ((1, "1 reading"), (12, "12 readings")):
        fault = fault_of(table("time [s],manifold [bar(g)]", rows(few)))
        assert (fault.found, fault.expected.split(",")[0]) == (found, f"{LEAST_READINGS} or more")


def test_three_decimals_everywhere() -> None:
    body = [f"{10 + 0.05 * k:.3f},{2 + 0.01 * k:.3f}" for k in range(60)]
    # 2.000 bar(g) as thousands would be 2000 bar: no line has that.
    assert read(table("time [s],manifold [bar(g)]", body)).places[0].time[1] == pytest.approx(10.05)
    fault = fault_of(table("time [s],manifold [kPa(g)]", body))
    assert "--decimal" in fault.remedy
    said = read(table("time [s],manifold [kPa(g)]", body), decimal="point")
    assert said.places[0].pressure[0] == pytest.approx(2e3)

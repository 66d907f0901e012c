"""Reading a measured curve: what spreadsheets and loggers write; every fault with row, column and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.inputs.measured_curves import demo_text

from surge.errors import CaseError
from surge.inputs import input_of
from surge.records.curve_file import MeasuredCurve, load_curve, read_curve
from surge.records.text import RowFault, csv_of

DEMO = Path(__file__).parents[2] / "cases" / "records" / "manifold-valve-stroke.csv"


def read(text: str, ends: tuple[float, float] | None = None, coding: str = "utf-8") -> MeasuredCurve:
    return read_curve(csv_of(input_of(text.encode(coding), filename="curve.csv")), ends=ends)


def faults(text: str, ends: tuple[float, float] | None = None) -> list[RowFault]:
    with pytest.raises(CaseError) as caught:
        read(text, ends)
    found = [f for f in caught.value.faults if isinstance(f, RowFault)]
    assert len(found) == len(caught.value.faults)
    assert all(f.found and f.expected and f.remedy for f in found)
    return found


def pairs(curve: MeasuredCurve) -> list[tuple[int, float, float]]:
    return [(s.row, round(s.time, 9), round(s.position, 9)) for s in curve.samples]


WANTED = [(2, 0.0, 1.0), (3, 0.5, 0.505), (4, 1.25, 0.0)]


@pytest.mark.parametrize(
    "text",
    [
        "time [s],position [%]\n0,100\n0.5,50.5\n1.25,0\n",
        "time [s];position [%]\n0;100\n0,5;50,5\n1,25;0\n",
        "\ufeffTime (s)\tOpening (%)\r\n0\t100\r\n0.5\t50.5\r\n1.25\t0\r\n",
        "t, s|Valve position, %\n0|100\n0.5|50.5\n1.25|0\n",
        "elapsed time [ms];note;position [-]\n0;a;1\n500;b;0.505\n1250;;0\n",
        "time;position\n0 s;100 %\n0,5 s;50,5 %\n1,25 s;0 %\n",
        'time [s],"angle [deg, 0 shut, 90 open]"\n0,90\n0.5,45.45\n1.25,0\n',
        "time [s];angle [deg, 90 shut, 0 open]\n0;0\n0,5;44,55\n1,25;90\n",
        "time [s];travel [mm 2 shut 202 open]\n0;202\n0,5;103\n1,25;2\n",
        "time [s];position [% closed]\n0;0\n0,5;49,5\n1,25;100\n",
        "clock;position [% open]\n23:10:00;100\n23:10:00.5;50.5\n23:10:01.25;0\n",
    ],
)
def test_what_people_write(text: str) -> None:
    found = pairs(read(text))
    start = found[0][1]
    assert [(row, round(t - start, 9), x) for row, t, x in found] == WANTED


def test_ends_as_an_option_go_before_the_title() -> None:
    text = "time [s];angle [deg, 0 shut, 90 open]\n0;88\n0,5;45,5\n1,25;2\n"
    assert [x for *_, x in pairs(read(text, ends=(2.0, 88.0)))] == [1.0, round(43.5 / 86, 9), 0.0]


def test_title_lines_blank_rows_and_missing_positions() -> None:
    text = "Valve 7;;\n;;\ntime [s];position [%];p\n0;100;1\n;;\n0,1;;1\n0,2;90;1\n0,2;90;1\n0,3;80;1\n"
    found = read(text)
    assert [s.row for s in found.samples] == [4, 7, 9]
    assert "1 row without a position, 1 row blank, 1 row written twice" in " ".join(found.notes)


def test_all_faulty_cells_in_one_go() -> None:
    text = "time [s];position [%]\n0;100\n0,1;open\n0,2 min;90\nx;80\n0,4;70 deg\n;60\n0,3;50\n0,25;40\n"
    found = faults(text)
    assert [(f.row, f.column) for f in found] == [
        (3, "position [%]"),
        (4, "time [s]"),
        (5, "time [s]"),
        (6, "position [%]"),
        (7, "time [s]"),
        (9, "time [s]"),
    ]
    assert "0.25 s after 0.3 s in row 8" in found[-1].found


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no titles"),
        ("time [s];pressure [bar]\n0;1\n", "only"),
        ("time [s];position\n0;1\n1;0\n", "without a unit: 1 can be fully open or one per cent"),
        ("time;position [%]\n0;100\n", "without one unit of time"),
        ("time [s];angle [deg]\n0;90\n", "ends of the travel are not stated"),
        ("time [s];position [furlong]\n0;90\n", "unknown unit of position"),
        ("time [fortnight];position [%]\n0;90\n", "unknown unit of time"),
        ("time [s];position [%];opening [%]\n0;90;90\n", "several columns of position"),
        ("time [s];position [%]\n0;100\n1,5;90\n2.5;80\n", "numbers with commas and numbers with points"),
        ("time [s];position [%]\n1,000;100\n1,500;90\n", "thousands or a decimal"),
        ("time [s];position [deg, 5 shut, 5 open]\n0;5\n", "both ends are 5"),
        ("time [s];position [%]\n0;100\n1;1e999\n", "1e999"),
    ],
)
def test_what_would_change_a_meaning_is_refused(text: str, words: str) -> None:
    assert words in " ".join(f.found for f in faults(text))


def test_many_faults_are_counted() -> None:
    found = faults("time [s];position [%]\n" + "x;1\n" * 100)
    assert len(found) == 41
    assert found[-1].found == "60 more rows with faults"


def test_three_decimals_with_a_comma_are_decimals_where_one_shows_it() -> None:
    text = "time [s];position [%]\n0,000;100,000\n0,500;50,500\n1,250;0,000\n"
    assert pairs(read(text)) == WANTED


def test_the_demo_curve() -> None:
    assert DEMO.read_text(encoding="utf-8") == demo_text()
    found = load_curve(DEMO)
    assert len(found.samples) == 194
    assert found.samples[0].row == 4
    with pytest.raises(CaseError):
        load_curve(DEMO.with_name("none.csv"))


cells = st.one_of(
    st.floats(-50, 150, width=32).map(lambda x: f"{x:.3f}"),
    st.sampled_from(
        ["", "-", "1,5", "100 %", "x", "1e5", "nan", "inf", "12:00:01", '"', "0 s", "٣", "\u00a0"]
    ),
    st.text(max_size=6),
)


@given(
    st.sampled_from(["time [s];position [%]", "time;angle [deg, 0 shut, 90 open]", "t,position", "x"]),
    st.lists(st.tuples(cells, cells), max_size=12),
    st.sampled_from([";", ",", "\t"]),
)
@settings(deadline=None, max_examples=150)
def test_a_curve_or_faults_never_a_traceback(head: str, body: list[tuple[str, str]], separator: str) -> None:
    text = "\n".join([head.replace(";", separator), *(separator.join(row) for row in body)])
    try:
        found = read(text)
    except CaseError as error:
        told = error.faults
    else:
        times = [s.time for s in found.samples]
        told = ()
        assert times == sorted(set(times))
    assert all(f.found and f.expected and f.remedy for f in told)

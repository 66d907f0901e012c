"""The reader of stroke-test records: forgiving of form, unforgiving of meaning, and no row is lost."""

from __future__ import annotations

import csv
import io
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import surge.records.read
import surge.records.text
from surge.errors import CaseError
from surge.records.columns import plain
from surge.records.read import ReadOptions, Records, load_records, read_records
from surge.records.stroke_tests import Direction, LostTest, StrokeTest, Timed
from surge.records.text import RowFault

TODAY = date(2026, 2, 20)
HEAD = "tag;date;direction;time [s]"


def read(text: str | bytes, **said: object) -> Records:
    content = text.encode() if isinstance(text, str) else text
    records = read_records(content, ReadOptions(**({"today": TODAY} | said)))  # type: ignore[arg-type]
    assert_none_lost(records)
    return records


def assert_none_lost(records: Records) -> None:
    rows = {t.row for t in records.tests}
    assert not rows & records.refused
    assert records.rows == len(rows) + len(records.refused) + records.blank
    assert records.refused == {f.row for f in records.faults}


def one(text: str | bytes, **said: object) -> StrokeTest:
    records = read(text, **said)
    assert records.faults == ()
    (test,) = records.tests
    return test


def fault(text: str, **said: object) -> RowFault:
    records = read(text, **said)
    (found,) = records.faults
    assert found.found
    assert found.expected
    assert found.remedy
    return found


def refusal(text: str | bytes, **said: object) -> RowFault:
    with pytest.raises(CaseError) as caught:
        read(text, **said)
    found = caught.value.faults[0]
    assert isinstance(found, RowFault)
    return found


# --- forms that all say the same ---

PLAIN = "tag;date;direction;time [s]\nM1;2025-03-14;closing;23.4\n"
ALIKE = {
    "semicolons": PLAIN,
    "commas": PLAIN.replace(";", ","),
    "tabs": PLAIN.replace(";", "\t"),
    "bars": PLAIN.replace(";", " | "),
    "decimal comma": PLAIN.replace("23.4", "23,4"),
    "decimal comma in quotes": PLAIN.replace(";", ",").replace("23.4", '"23,4"'),
    "unit in brackets": PLAIN.replace("[s]", "(sec)"),
    "unit behind a comma": PLAIN.replace("time [s]", "stroke time, s"),
    "unit in the cell": PLAIN.replace(" [s]", "").replace("23.4", "23.4 s"),
    "unit in both": PLAIN.replace("23.4", "23.4s"),
    "minutes": PLAIN.replace("[s]", "[min]").replace("23.4", "0.39"),
    "min:s": PLAIN.replace("[s]", "[min:s]").replace("23.4", "0:23.4"),
    "names": "Valve No.;Test Date;Direction;Measured time (s)\nM1;2025-03-14;Close;23.4\n",
    "order": "time [s];direction;tag;date\n23.4;shut;M1;2025-03-14\n",
    "closing time": "tag;date;closing time [s]\nM1;2025-03-14;23.4\n",
    "one column empty": "tag;date;closing time [s];opening time [s]\nM1;2025-03-14;23.4;n/a\n",
    "quotes": '"tag";"date";"direction";"time [s]"\n"M1";"2025-03-14";"closing";"23.4"\n',
    "titles and blanks": "MT Example;;;\n\n;;;\n" + PLAIN + ";;;\n\n",
    "old line ends": PLAIN.replace("\n", "\r"),
    "dates": PLAIN.replace("2025-03-14", "14/03/2025"),
    "dates with points": PLAIN.replace("2025-03-14", "14.03.2025"),
    "dates month first": PLAIN.replace("2025-03-14", "03/14/2025"),
    "dates with names": PLAIN.replace("2025-03-14", "14-Mar-2025"),
    "more names of dates": PLAIN.replace("2025-03-14", "March 14, 2025"),
    "dates without marks": PLAIN.replace("2025-03-14", "20250314"),
    "midnight": PLAIN.replace("2025-03-14", "2025-03-14 00:00:00"),
    "hard blanks": PLAIN.replace("23.4", "\u00a023.4\u00a0"),
    "sep line": "sep=;\n" + PLAIN,
    "a column of ours": "tag;date;direction;time [s];=SUM\nM1;2025-03-14;closing;23.4;x\n",
}


@pytest.mark.parametrize("text", ALIKE.values(), ids=ALIKE.keys())
def test_forms_that_say_the_same(text: str) -> None:
    test = one(text)
    assert (test.tag, test.direction, test.when) == ("M1", Direction.CLOSING, datetime(2025, 3, 14))
    assert test.time == pytest.approx(23.4, abs=1e-9)


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_codings(coding: str) -> None:
    text = "tag;date;direction;time [s];oil temp [°C];remark\nM1;2025-03-14;closing;23.4;31;geölt\n"
    test = one(text.encode(coding))
    assert (test.remark, test.temperature) == ("geölt", pytest.approx(304.15))


def test_everything_that_a_row_can_say() -> None:
    text = (
        "Valve;Date;Time;Direction;Stroke time [s];Timed from;Signal delay [s];Oil temp. (°F);"
        "Hydraulic pressure [bar];Together;With flow;Tested by;Remarks\n"
        "M1;2025-03-14;1:05 pm;o-c;24,6;command to indicator;1,2;86;118;yes;no;A. B.;ok\n"
    )
    assert one(text) == StrokeTest(
        row=2,
        tag="M1",
        direction=Direction.CLOSING,
        when=datetime(2025, 3, 14, 13, 5),
        time=24.6,
        timed=Timed.ORDER,
        delay=1.2,
        temperature=pytest.approx(303.15),
        hydraulic_pressure=pytest.approx(118e5),
        together=True,
        flowing=False,
        by="A. B.",
        remark="ok",
    )


def test_closing_and_opening_in_one_row_are_two_tests_of_one_row() -> None:
    records = read("tag;date;closing time [s];opening time [s]\nM1;2025-03-14;23.4;25\n")
    assert [(t.direction, t.time, t.row) for t in records.tests] == [
        (Direction.CLOSING, 23.4, 2),
        (Direction.OPENING, 25.0, 2),
    ]


def test_a_title_can_say_what_was_timed_and_a_row_can_contradict_it() -> None:
    head = "tag;date;closing time (order to indicator) [s];definition\n"
    assert one(head + "M1;2025-03-14;23.4;\n").timed is Timed.ORDER
    assert "spindle movement in the row" in fault(head + "M1;2025-03-14;23.4;spindle\n").found


@pytest.mark.parametrize(
    ("title", "cell", "together"),
    [
        ("alone", "yes", False),
        ("alone", "no", True),
        ("together", "x", True),
        ("alone or together", "Single", False),
        ("alone/together", "with others", True),
        ("together", "", None),
    ],
)
def test_alone_and_together(title: str, cell: str, together: bool | None) -> None:
    assert one(f"{HEAD};{title}\nM1;2025-03-14;closing;23.4;{cell}\n").together is together


def test_what_the_user_says_holds_where_cells_say_nothing() -> None:
    text = f"{HEAD};alone or together\nM1;2025-03-14;closing;23.4;\nM1;2025-03-15;closing;23.4;together\n"
    records = read(text, timed=Timed.MOVEMENT, together=False)
    assert [(t.timed, t.together) for t in records.tests] == [(Timed.MOVEMENT, False), (Timed.MOVEMENT, True)]


# --- dates ---


def test_an_ambiguous_date_is_asked_for() -> None:
    text = f"{HEAD}\nM1;03/04/2025;closing;23.4\n"
    assert "--dates" in fault(text).remedy
    assert one(text, dates="day-first").when == datetime(2025, 4, 3)
    assert one(text, dates="month-first").when == datetime(2025, 3, 4)


def test_the_whole_file_decides_unless_it_contradicts_itself() -> None:
    rows = [f"M1;{d};closing;23.4" for d in ("03/04/2025", "13/04/2025")]
    first, _ = read("\n".join([HEAD, *rows])).tests
    assert first.when == datetime(2025, 4, 3)
    records = read("\n".join([HEAD, *rows, "M1;04/13/2025;closing;23.5"]))
    (found,) = records.faults
    assert found.row == 2
    assert "13/04/2025 is day first and 04/13/2025 month first" in found.found
    assert len(records.tests) == 2  # those two can be read in one way only


def test_the_mark_between_numbers_is_a_form_of_its_own() -> None:
    records = read(f"{HEAD}\nM1;13.04.2025;closing;23.4\nM1;03/04/2025;closing;23.4\n")
    assert [f.row for f in records.faults] == [3]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("14.03.25", "--dates day-first"),
        ("03.14.2025", "check the month"),
        ("14 Mar 25", "four digits"),
        ("45730", "format date"),
        ("2025-02-30", "a day that there is"),
        ("1900-01-01", "1900"),
        ("2025-03-14 10:20+02:00", "without a time zone"),
        ("2025-03-14 25:10", "a time of day that there is"),
        ("2026-03-14", "later than 2026-02-20"),
        ("last May", "2025-03-14"),
        ("", "the day of the test"),
    ],
)
def test_dates_that_are_refused(text: str, words: str) -> None:
    found = fault(f"{HEAD}\nM1;{text};closing;23.4\n")
    assert words in f"{found.found} {found.expected} {found.remedy}"
    assert (found.row, found.column) == (2, "date")


@pytest.mark.parametrize(
    ("text", "dates", "day"),
    [
        ("14.03.25", "day-first", datetime(2025, 3, 14)),
        ("03/14/25", "month-first", datetime(2025, 3, 14)),
        ("3/4/25 2:05 PM", "month-first", datetime(2025, 3, 4, 14, 5)),
        ("14-Mar-25", "day-first", datetime(2025, 3, 14)),
        ("01.02.99", "day-first", datetime(1999, 2, 1)),
        ("14/03/2025", "day-first", datetime(2025, 3, 14)),
    ],
)
def test_two_digits_of_a_year_do_once_the_order_is_said(text: str, dates: str, day: datetime) -> None:
    assert one(f"{HEAD}\nM1;{text};closing;23.4\n", dates=dates).when == day


def test_a_single_slip_does_not_turn_the_dates_of_a_file() -> None:
    """One date with a 13th month among many that can be read both ways; and with points never."""
    days = ["03/04/2025", "04/05/2025", "05/06/2025", "06/07/2025"]
    rows = [f"M1;{d};closing;23.{k}" for k, d in enumerate(days)]
    records = read("\n".join([HEAD, *rows, "M1;04/13/2025;closing;24"]))
    assert [f.row for f in records.faults] == [2, 3, 4, 5]
    assert "may be a slip" in records.faults[0].found
    assert len(read("\n".join([HEAD, *rows[:3], "M1;04/13/2025;closing;24"])).tests) == 4
    points = "M1;14.03.2025;closing;23\nM1;03.14.2025;closing;24\nM1;04.05.2025;closing;25\n"
    records = read(f"{HEAD}\n{points}")
    assert [f.row for f in records.faults] == [3]
    assert records.tests[1].when == datetime(2025, 5, 4)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2025-03-14", date(2025, 3, 14)),
        ("14 Mar 2025", date(2025, 3, 14)),
        ("15.06.25", date(2025, 6, 15)),
        ("03/04/2025", date(2025, 4, 3)),  # the later of the two that it can be
        ("2026-03-14", None),
        ("last May", None),
    ],
)
def test_what_a_refused_row_tells(text: str, day: date | None) -> None:
    """It tells the valve, the way, and the latest day that it can be of."""
    records = read(f"{HEAD}\nM1;{text};closing;about 12\n")
    assert records.lost == (LostTest(row=2, tag="M1", directions=(Direction.CLOSING,), day=day),)


def test_what_a_refused_row_does_not_tell() -> None:
    records = read(f"{HEAD}\nM1;2025-03-14;sideways;12\nM1;2025-03-14;closing;12;more\n")
    assert [(t.directions, t.day) for t in records.lost] == [((), date(2025, 3, 14)), ((), None)]
    wide = read("tag;date;closing time [s];opening time [s]\nM1;2025-03-14;12;?\nM1;2025-03-15;;?\n")
    assert [t.directions for t in wide.lost] == [(Direction.CLOSING, Direction.OPENING), (Direction.OPENING,)]
    twice = "M1;2025-03-14;closing;23.4\n"
    assert read(f"{HEAD}\n{twice}{twice}").lost == ()


def test_a_heading_or_a_note_is_no_test_and_a_valve_without_figures_is_refused() -> None:
    rows = "PORT SIDE;;;\nM1;2025-03-14;closing;23.4\nM1;;;\n;;;\nSigned: Chief Officer;;;\n;;;23.4\n"
    records = read(f"{HEAD}\n{rows}")
    assert (records.rows, records.blank, records.refused) == (6, 3, {4, 7})
    assert any("Rows 2, 6: a single text" in note for note in records.notes)


def test_joined_cells_are_filled_when_the_user_says_so() -> None:
    rows = "M1;2025-03-14;closing;23.4\n;;opening;25.4\nM2;;closing;24.4\n;2025-03-15;closing;24.5\n;;;23\n"
    assert len(read(f"{HEAD}\n{rows}").tests) == 1
    records = read(f"{HEAD}\n{rows}", joined=True)
    assert [(t.tag, t.when.day, t.time) for t in records.tests] == [
        ("M1", 14, 23.4),
        ("M1", 14, 25.4),
        ("M2", 14, 24.4),
        ("M2", 15, 24.5),
    ]
    assert records.refused == {6}  # no direction either: perhaps totals
    assert any("--joined" in note for note in records.notes)


@pytest.mark.parametrize(
    ("cell", "unit", "time"),
    [
        ("23.4", "s", 23.4),
        ("0:00:23", "h:min:s", 23.0),
        ("0:23", "min:s", 23.0),
        ("00:01:05", "h:min:s", 65.0),
        ("0.5 min", "s", 30.0),  # what the cell says goes first
        ("23,400", "s", 23.4),  # 23400 s cannot be
    ],
)
def test_a_unit_that_is_said_holds_where_none_is_written(cell: str, unit: str, time: float) -> None:
    text = f"tag;date;direction;stroke time\nM1;2025-03-14;closing;{cell}\n"
    assert one(text, units={"time": unit}).time == pytest.approx(time)


@pytest.mark.parametrize("cell", ["23.400", "23,400"])
@pytest.mark.parametrize(
    ("others", "sign"),
    [
        (["950.5"], "."),
        (["0.950"], "."),
        (["950,5", "1000"], ","),
        (["23.400", "1400"], ""),
        (["9.5", "9,5"], ""),
    ],
)
def test_what_parts_thousands_is_decided_by_the_file_or_asked_for(
    cell: str, others: list[str], sign: str
) -> None:
    rows = [f"M{k};2025-03-14;closing;{other}" for k, other in enumerate(others)]
    text = "\n".join(["tag;date;direction;time [ms]", f"X;2025-03-14;closing;{cell}", *rows])
    found = next((t.time for t in read(text).tests if t.tag == "X"), None)
    decimal, thousands = pytest.approx(0.0234), pytest.approx(23.4)
    assert found == ((decimal if sign in cell else thousands) if sign else None)
    for name, mark in (("point", "."), ("comma", ",")):
        told = next(t.time for t in read(text, decimal=name).tests if t.tag == "X")
        assert told == (decimal if mark in cell else thousands)


@pytest.mark.parametrize(
    ("cell", "title", "words"),
    [
        ("0:05:00", "time [h:min:s]", "write 0:00:05 if 5 s were meant"),
        ("0:12:00", "time [h:min:s]", "write 0:00:12 if 12 s were meant"),
        ("0:00:12", "time [s]", "change the title to [h:min:s]"),
        ("0:00:12", "stroke time", "say --unit time=h:min:s"),
        (
            "23,400",
            "time [ms]",
            "write 23400 for thousands or 23.4 for a decimal, or say --decimal point or comma",
        ),
        ("12", "time [min]", "at most 10 min"),
    ],
)
def test_seconds_that_a_spreadsheet_took_for_minutes(cell: str, title: str, words: str) -> None:
    found = fault(f"tag;date;direction;{title}\nM1;2025-03-14;closing;{cell}\n")
    assert words in f"{found.expected} {found.remedy}"


def test_a_ship_east_of_the_computer_may_be_a_day_ahead() -> None:
    assert one(f"{HEAD}\nM1;2026-02-21;closing;23.4\n")


# --- what changes a meaning ---


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("M1;2025-03-14;closing;", "time [s]", "no time"),
        ("M1;2025-03-14;closing;-3", "time [s]", "above 0"),
        ("M1;2025-03-14;closing;0", "time [s]", "above 0"),
        ("M1;2025-03-14;closing;7200", "time [s]", "at most 10 min"),
        ("M1;2025-03-14;closing;> 30", "time [s]", "figure alone"),
        ("M1;2025-03-14;closing;ca. 24", "time [s]", "figure alone"),
        ("M1;2025-03-14;closing;1:05", "time [s]", "minutes and seconds"),
        ("M1;2025-03-14;closing;1.023,4", "time [s]", "a number and a unit"),
        ("M1;2025-03-14;closing;0.4 min", "time [s]", "header that says s"),
        ("M1;2025-03-14;closing;23.4 furlongs", "time [s]", "one of s, min"),
        ("M1;2025-03-14;;23.4", "direction", "no direction"),
        ("M1;2025-03-14;sideways;23.4", "direction", "closing or opening"),
        (";2025-03-14;closing;23.4", "tag", "--joined"),
        ("M1;2025-03-14;closing;23.4;more", "", "5 cells under 4 titles"),
        ("PORT SIDE;;;23.4", "date", "an empty cell"),
        ("M2;;;", "date", "an empty cell"),
        (";2025-03-14;;", "tag", "an empty cell"),
    ],
)
def test_rows_that_are_refused(row: str, column: str, words: str) -> None:
    records = read(f"{HEAD}\n{row}\nM2;2025-03-14;closing;23.4\n")
    assert [t.tag for t in records.tests] == ["M2"]  # the good row is still there
    found = records.faults[0]
    assert (found.row, found.column) == (2, column)
    assert words in f"{found.found} {found.expected} {found.remedy}"


@pytest.mark.parametrize(
    ("more", "cell", "words"),
    [
        ("temperature", "31", "without a unit"),
        ("temperature [C]", "400", "from -60 to 200"),
        ("temperature [C]", "88 F", "one unit"),
        ("hydraulic pressure [bar]", "-1", "from 0 to 1000"),
        ("signal delay [s]", "23.4", "shorter than the time"),
        ("timed", "from A to B", "order to indicator or spindle movement"),
        ("together", "partly", "alone or together"),
        ("flow", "wet", "dry or with flow"),
    ],
)
def test_further_cells_that_are_refused(more: str, cell: str, words: str) -> None:
    found = fault(f"{HEAD};{more}\nM1;2025-03-14;closing;23.4;{cell}\n")
    assert words in f"{found.found} {found.expected} {found.remedy}"


def test_a_time_without_any_unit_is_refused() -> None:
    assert "without a unit" in fault("tag;date;direction;stroke time\nM1;2025-03-14;closing;23.4\n").found


def test_all_faults_of_a_row_are_told() -> None:
    records = read(f"{HEAD}\nM1;14.03.25;sideways;-1\n")
    assert [f.column for f in records.faults] == ["date", "direction", "time [s]"]


def test_the_same_row_twice_is_a_fault_and_a_repeat_is_not() -> None:
    row = "M1;2025-03-14;closing;23.4"
    assert "the same as row 2" in fault(f"{HEAD}\n{row}\n{row}\n").found
    assert len(read(f"{HEAD}\n{row}\n{row.replace('23.4', '23.5')}\n").tests) == 2
    assert len(read(f"{HEAD};repeat\n{row};1\n{row};2\n").tests) == 2
    assert len(read(f"{HEAD};time of day\n{row};10:20\n{row};10:24\n").tests) == 2


def test_a_header_that_comes_again_is_blank() -> None:
    records = read(f"{HEAD}\nM1;2025-03-14;closing;23.4\n{HEAD}\n")
    assert (records.rows, records.blank, len(records.tests)) == (2, 1, 1)


def test_time_is_of_day_beside_a_measured_time() -> None:
    test = one("tag;date;time;closing time [s]\nM1;2025-03-14;0910;23.4\n")
    assert test.when == datetime(2025, 3, 14, 9, 10)
    found = fault("tag;date;time;direction\nM1;2025-03-14;09:10;closing\n")
    assert "time of day" in found.found


def test_two_columns_of_one_meaning_are_asked_about() -> None:
    found = refusal("tag;date;test date;closing time [s]\nM1;2025-03-14;2025-03-14;23.4\n")
    assert '"date" and "test date"' in found.found


def test_a_column_can_be_named_by_the_user() -> None:
    text = "tag;date;clos. t. of valve [s]\nM1;2025-03-14;23.4\n"
    assert "no column for time" in refusal(text).found
    assert one(text, columns={plain("clos. t. of valve [s]"): "closing time"}).time == 23.4
    near = refusal("tag;date;closng time [s]\nM1;2025-03-14;23.4\n")
    assert "--column 'closing time=closng time [s]'" in near.remedy


def test_of_two_columns_the_user_says_which_one_it_is() -> None:
    text = "valve no;valve name;date;closing time [s]\nM1;starboard;2025-03-14;23.4\n"
    assert "--column 'tag=valve no'" in refusal(text).remedy
    assert one(text, columns={"valve no": "tag"}).tag == "M1"
    assert one(text, columns={"valve name": "tag"}).tag == "starboard"


# --- files of which nothing can be read ---


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no titles"),
        (b"\n\n\n", "no titles"),
        (b"PK\x03\x04....", "workbook"),
        (b"\xd0\xcf\x11\xe0....", "workbook"),
        (b"tag;date\x00;closing time [s]\n", "null"),
        (b"\x81\x8d\x8f\x90", "neither in UTF-8"),
        (f'{HEAD}\nM1;2025-03-14;"closing;23.4\nM2;2025-03-14;closing;23.4\n'.encode(), "a quote is opened"),
        (f'{HEAD}\nM1;2025-03-14;closing;"{"9" * 140_000}\n'.encode(), "cannot be read"),
        (b'tag;date;closing time [s]\n"M1;2025-03-14;23\nM2;2025-03-14;23\n', "a quote is opened"),
    ],
)
def test_files_of_which_nothing_can_be_read(content: bytes, words: str) -> None:
    assert words in refusal(content).found


def test_a_remark_of_several_lines_may_hold_separators() -> None:
    more = ";".join(["together", "dry", "by", "temperature [C]"])
    test = one(f'{HEAD};{more};remarks\nM1;2025-03-14;closing;23.4;alone;dry;AB;31;"stiff\nsee a; b; c; d"\n')
    assert test.remark == "stiff see a; b; c; d"


def test_a_quote_that_swallows_a_row_is_never_passed_over() -> None:
    """Even where the cells add up: the time of M2 would become that of M1."""
    text = 'tag;remark;date;closing time [s]\nM1;"stiff;2025-03-14;12\nM2;"as new";2025-03-14;25\n'
    assert "in row 2 a quote is opened" in refusal(text).found


def test_a_remark_may_have_several_lines() -> None:
    test = one(f'{HEAD};remark\nM1;2025-03-14;closing;23.4;"stiff;\n see order 12"\n')
    assert test.remark == "stiff; see order 12"


def test_bounds_on_size(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    path = tmp_path / "records.csv"
    path.write_text(HEAD + "\n" + "".join(f"M1;2025-03-14;closing;{k + 20}\n" for k in range(20)))
    monkeypatch.setattr(surge.records.read, "MOST_ROWS", 20)
    assert len(load_records(path, ReadOptions(today=TODAY)).tests) == 20
    monkeypatch.setattr(surge.records.read, "MOST_ROWS", 19)
    with pytest.raises(CaseError, match="more than 19 rows"):
        load_records(path, ReadOptions(today=TODAY))
    monkeypatch.setattr(surge.records.text, "BIGGEST", 100)
    with pytest.raises(CaseError, match="more than"):
        load_records(path, ReadOptions(today=TODAY))
    with pytest.raises(CaseError, match="cannot be opened"):
        load_records(tmp_path / "no.csv", ReadOptions(today=TODAY))


# --- whatever comes ---

CELLS = st.one_of(
    st.sampled_from(
        [
            *(
                "",
                " ",
                "-",
                "M1",
                "m1",
                "2025-03-14",
                "14/03/2025",
                "03/04/2025",
                "14.03.25",
                "closing",
                "open",
            ),
            *(
                "23.4",
                "23,4",
                "23.4 s",
                "1:05",
                "-1",
                "0",
                "1e400",
                "nan",
                "together",
                "alone",
                "order",
                "=1+1",
            ),
            *(
                '"',
                '""',
                ";",
                ",",
                "\t",
                "\n",
                "\r",
                "tag",
                "date",
                "time [s]",
                "Time",
                "closing time (s)",
                "[",
                "((",
            ),
        ]
    ),
    st.text(max_size=8),
)
TITLES = st.sampled_from(
    [
        "tag",
        "date",
        "time [s]",
        "closing time [s]",
        "opening time (min)",
        "direction",
        "timed",
        "alone",
        "delay [s]",
    ]
    + ["remark", "temperature [C]", "hydraulic pressure [bar]", "repeat", "time of day", "what else", "", "x"]
)


def understood(content: bytes) -> Records | None:
    """The records, of which no row is lost; None where the file is refused with faults that tell why."""
    try:
        records = read_records(content, ReadOptions(today=TODAY))
    except CaseError as error:
        told = [f for f in error.faults if isinstance(f, RowFault) and f.found and f.expected and f.remedy]
        if not told or len(told) < len(error.faults):
            raise
        return None
    assert_none_lost(records)
    return records


@given(
    titles=st.lists(TITLES, max_size=9),
    rows=st.lists(st.lists(CELLS, max_size=10), max_size=12),
    separator=st.sampled_from(";,\t|"),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    quoted=st.booleans(),
    coding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
@settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
def test_no_table_makes_it_crash_and_no_row_is_lost(
    titles: list[str], rows: list[list[str]], separator: str, end: str, quoted: bool, coding: str
) -> None:
    out = io.StringIO(newline="")
    head = ["tag", "date", "closing time [s]", *titles] if len(titles) % 2 else titles
    if quoted:
        csv.writer(out, delimiter=separator, lineterminator=end, quoting=csv.QUOTE_ALL).writerows(
            [head, *rows]
        )
    else:
        out.write(end.join(separator.join(r) for r in [head, *rows]))
    content = out.getvalue().encode(coding, "surrogatepass")
    records = understood(content)
    if records is not None:
        if quoted and records.notes[0].startswith("Titles of columns found in row 1,"):
            used = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}[separator]
            if f"parted by {used}" in records.notes[0]:
                assert records.rows == len(rows)
        assert all(0.0 < t.time <= 3600.0 for t in records.tests)


@given(st.binary(max_size=400))
@settings(max_examples=150, deadline=None, derandomize=True)
def test_no_bytes_make_it_crash(content: bytes) -> None:
    for before in (b"", b"tag;date;closing time [s]\n"):
        understood(before + content)

"""Tables for spreadsheets: nothing in them is run, however a spreadsheet divides the lines."""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from surge.reports.spreadsheet import safe, table

NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?")
SIGNS = "=+-@"
ODD = "=+-@＝－\t\r\n,;|\"' \u200b\u200d\u202e\ufeffa1"
texts = st.text(st.one_of(st.sampled_from(ODD), st.characters()), max_size=12)


def run_by_a_spreadsheet(part: str) -> bool:
    """Whether a cell begins as a formula does, as far as anyone can see, and is no number."""
    seen = "".join(c for c in part if unicodedata.category(c) not in ("Cc", "Cf")).strip().lstrip('"')
    first = unicodedata.normalize("NFKC", seen[:1])[:1]
    return first != "" and first in SIGNS and NUMBER.fullmatch(part.strip()) is None


@given(st.lists(texts, min_size=1, max_size=4), st.floats(allow_nan=True))
@settings(max_examples=100, deadline=None)
@example(["=1+2", "a;=1+2", 'a";=1+2', "a\n=1+2", "\u202e=1+2", "\u200d=1", "'=1"], -1.5)
@example(["⁼1", "a|@SUM(A1)", "'-2+3+cmd|' /C calc'!A0", "\t+1"], 1e-300)
def test_no_part_of_a_line_is_run(cells: list[str], number: float) -> None:
    """Divided at any separator, with quotes or without."""
    made = table([[*cells, number, None]])
    for separator in ",;\t|":
        for line in made.removeprefix("\ufeff").splitlines():
            assert not [part for part in line.split(separator) if run_by_a_spreadsheet(part)]
        for row in csv.reader(io.StringIO(made.removeprefix("\ufeff")), delimiter=separator):
            assert not [part for part in row if run_by_a_spreadsheet(part)]


@given(st.lists(texts, min_size=1, max_size=4), st.floats(allow_nan=True))
@settings(max_examples=60, deadline=None)
def test_a_table_reads_back(cells: list[str], number: float) -> None:
    """Property: texts are whole and show all that they hold; a figure is the same to the last bit."""
    (row,) = csv.reader(io.StringIO(table([[*cells, number]]).removeprefix("\ufeff"), newline=""))
    assert table([[*cells, np.float64(number)]]) == table([[*cells, number]])
    assert row[:-1] == [safe(cell) for cell in cells]
    assert row[-1] == "" if not math.isfinite(number) else float(row[-1]) == number
    assert all(unicodedata.category(c) not in ("Cc", "Zl", "Zp", "Cs") for cell in row for c in cell)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("manifold valve", "manifold valve"),
        ("=1+2", "'=1+2"),
        ("a = b", "a = b"),
        ("shore-side valve", "shore-side valve"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("क्\u200dष", "क्\u200dष"),
        ("a\u202eb\u2066c\ufeff", "abc"),
        ("two\nlines\x1b[2J", "two lines [2J"),
        ("a; -2", "a; '-2"),
    ],
)
def test_what_stays_and_what_goes(text: str, shown: str) -> None:
    assert safe(text) == shown

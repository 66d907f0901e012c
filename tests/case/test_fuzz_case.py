"""No text may end in a traceback: only a Case or a CaseError whose faults can be printed."""

from __future__ import annotations

import json
import warnings
from dataclasses import asdict

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from surge.case.file import read_case, starter_case
from surge.errors import CaseError
from surge.toml.faults import describe, format_faults
from surge.toml.mend import MOST_FAULTS_LISTED
from surge.toml.text import FileError

LINES = starter_case().split("\n")
_ODD_VALUES = st.sampled_from(
    [
        '""',
        '" "',
        "nan",
        "-inf",
        "1e999",
        "-1",
        "0",
        "0.0",
        "true",
        "[]",
        "{}",
        "[[]]",
        "[[[[[[1]]]]]]",
        '["1 m"]',
        '["1 m", "2 m"]',
        '["2 m", "1 m", "3 m"]',
        '[["0 s", 1.0], ["5 s", 0.0]]',
        '[["0 m3/h", "85 m"]]',
        '{ "a" = { "b" = "1 m" } }',
        "{ name = [1, 2] }",
        "1979-05-27",
        "07:32:00",
        "9" * 400,
        "9" * 5000,
        '"1e400 m"',
        '"1e-400 m"',
        '"-0 m"',
        '"3,5 m"',
        '"nan bar(g)"',
        '"-5 s"',
        '"1e300 m"',
        '"0.0000001 s"',
        '"24 h"',
        '"0 m3/h"',
        '"-1.2 bar(g)"',
        '"0 bar(a)"',
        '"100000 m3/h"',
        '"x\\u0000\\u001b[2J"',
        '"manifold valve"',
        '"shore pump"',
        '"tank outlet"',
        '"manifold"',
        '"' + "long " * 3000 + '"',
        "'\x1b'",
        '"""\nmany\nlines"""',
        "[" * 60 + "]" * 60,
        "[" * 4000 + "]" * 4000,
        ".".join("a" * 50) + " = 1",
        "3,5",
        "12 m",
        "9**9**9",
    ]
)
_ODD_LINES = st.sampled_from(
    [
        "[pipe]",
        "[[pipe]]",
        "[[liquid]]",
        "[liquid]",
        "[points]",
        '[points.""]',
        "[[points]]",
        "[[scenario]]",
        "[[scenario.event]]",
        "[scenario.shutdown]",
        "[[scenario.shutdown.step]]",
        "[[filter]]",
        "[a.b.c.d.e.f.g.h.i.j]",
        "[" + ".".join("a" * 60) + "]",
        "[" + ".".join("a" * 9000) + "]",
        "]",
        "\x00",
        "\ufeff",
        "key",
        "= 1",
        "schema = 1",
        'levels = { "no. 3 port" = "1 m", x = 1 }',
        'openings = { "" = 0.5 }',
        'trapped_pressure = { "berth" = "0 bar(a)" }',
        'shut_at_start = ["manifold valve", 1, "manifold valve"]',
        "table = []",
        'law = "table"',
        "break_opening = 0.5",
        'run_up = "0 s"',
        'after = "after"',
    ]
)


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """Return the starter case with one to eight lines damaged."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 8))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.sampled_from(["delete", "double", "value", "value", "key", "insert", "swap", "cut"]))
        if kind == "delete":
            del lines[at : at + draw(st.integers(1, 6))]
        elif kind == "double":
            lines[at:at] = lines[at : at + draw(st.integers(1, 20))]
        elif kind == "value" and "=" in lines[at]:
            lines[at] = lines[at].split("=")[0] + "= " + draw(_ODD_VALUES)
        elif kind == "key" and "=" in lines[at]:
            lines[at] = draw(st.sampled_from(["x", "nme", '""', "from", "a.b", "to.to"])) + lines[at]
        elif kind == "insert":
            lines.insert(at, draw(_ODD_LINES))
        elif kind == "swap":
            lines[at], lines[0] = lines[0], lines[at]
        elif kind == "cut":
            lines[at] = lines[at][: draw(st.integers(0, 30))]
        if not lines:
            return ""
    return "\n".join(lines)


def check(text: str) -> bool:
    """Read a text; whatever it is, the answer is a case or a set of complete, printable faults."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            read_case(text, filename="case.toml")
    except FileError as error:
        refused, faults = error, error.faults
    else:
        return True
    assert faults
    assert refused.file.filename == "case.toml"
    records = describe(refused)
    assert len(records) == len(faults)
    for record in records:
        assert record.line >= 1
        assert record.column >= 1
        for words in (record.found, record.expected, record.remedy):
            assert words.strip()
            assert words.isprintable(), words
        assert record.key.isprintable()
    json.dumps([asdict(record) for record in records])
    printed = format_faults(refused)
    assert all(c.isprintable() or c in "\n\t" for c in printed)
    return False


@given(text=mutated())
@settings(max_examples=100, deadline=None)
def test_damaged_case(text: str) -> None:
    check(text)


@given(text=st.text(max_size=200))
@settings(max_examples=100, deadline=None)
@example(text="\ufeff")
@example(text="[" * 100_000)
@example(text="a." * 9_000 + "a = 1")
@example(text="{" * 500)
@example(text="a = '''" + "x" * 30_000)
def test_random_text(text: str) -> None:
    check(text)


@given(
    text=st.lists(
        st.sampled_from(
            [
                "[",
                "]",
                "[[",
                "]]",
                "{",
                "}",
                "=",
                ".",
                ",",
                '"',
                "'",
                '"""',
                "\n",
                " ",
                "#",
                "a",
                "pipe",
                "points",
            ]
            + [
                "name",
                "1",
                "1e9",
                "nan",
                '"1 m"',
                "schema = 1\n",
                "scenario",
                "liquid",
                "\\",
                "\r",
                "\t",
                "1979-05-27",
            ]
        ),
        max_size=40,
    ).map("".join)
)
@settings(max_examples=100, deadline=None)
def test_random_toml(text: str) -> None:
    check(text)


@given(data=st.binary(max_size=200))
@settings(max_examples=100, deadline=None)
def test_random_bytes(data: bytes) -> None:
    check(data.decode("utf-8", errors="surrogateescape"))


def test_damage_is_found_and_sound_cases_stay_sound() -> None:
    """The property above is worth nothing if every text is refused, or none."""
    assert check("\n".join(LINES))
    answers = []

    @given(text=mutated())
    @settings(max_examples=60, deadline=None, database=None, derandomize=True)
    def count(text: str) -> None:
        answers.append(check(text))

    count()
    assert 0.5 < answers.count(False) / len(answers) < 1


def test_very_many_faults_are_cut_short() -> None:
    text = "\n".join(LINES) + "".join(f"\nx{i} = 1" for i in range(3000))
    assert not check(text)
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="case.toml")
    assert len(caught.value.faults) == MOST_FAULTS_LISTED + 1
    assert "3000 faults" in caught.value.faults[0].found

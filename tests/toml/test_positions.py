"""The TOML locator: every stretch that it points at parses again to what tomllib gave for that path."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.case.file import starter_case
from surge.errors import Origin
from surge.toml.positions import DEEPEST_KEPT, Positions, locate

EXAMPLE = '''\
title = "x = 1 # no [comment]"
"quoted \\" key" = 1
a.b."c d" = 2024-05-01 07:32:00
empty = ""
multi = """
[not.a.table]
k = "v" \\
  on"""
raw = \'\'\'it's [[raw]]\'\'\'\'
curve = [
  ["0 m3/h", "85 m"], # zero flow
  ["1 m3/h", "80 m"],
]
inline = { x = 1, y = [ { z = "}" } ], w.v = true }

[points."tank outlet"]
elevation = "3 m"
[[pipe]]
name = "one"
[[pipe]]
name = "two"
  [pipe.extra]
  deep = -0.5e3
  [[pipe.more]]
  n = 1
  [[pipe.more]]
  n = 0x2F
[ spaced . "out" ]
k = inf'''


def nodes(data: Any, path: Origin = ()) -> Iterator[tuple[Origin, Any]]:
    """Yield every path with its value."""
    pairs = data.items() if isinstance(data, dict) else enumerate(data)
    for part, value in pairs:
        yield (*path, part), value
        if isinstance(value, dict | list):
            yield from nodes(value, (*path, part))


def check(text: str) -> int:
    """Check all positions of a text and return how many values were compared."""
    data = tomllib.loads(text)
    places = locate(text)
    compared = 0
    for path, value in nodes(data):
        if len(path) > DEEPEST_KEPT:
            continue
        key = places.keys.get(path)
        if isinstance(path[-1], str):
            assert key is not None, path
            assert list(tomllib.loads(f"{places.text[key.start : key.end]} = 1")) == [path[-1]]
        spot = places.values.get(path)
        if not isinstance(value, dict | list):
            assert spot is not None, path
        if spot is not None:
            part = places.text[spot.start : spot.end]
            assert repr(tomllib.loads(f"x = {part}")["x"]) == repr(value), path
            compared += 1
    return compared


def test_example() -> None:
    assert check(EXAMPLE) == 26  # counted by hand


def test_starter() -> None:
    assert check(starter_case()) > 100


@pytest.mark.parametrize(
    ("path", "key", "line", "column", "shown"),
    [
        (("title",), False, 1, 9, '"x = 1 # no [comment]"'),
        (("curve", 1, 0), False, 12, 4, '"1 m3/h"'),
        (("inline", "y", 0, "z"), True, 14, 27, "z"),
        (("points", "tank outlet"), False, 16, 9, '"tank outlet"'),
        (("points", "tank outlet", "elevation"), True, 17, 1, "elevation"),
        (("pipe", 1, "name"), False, 21, 8, '"two"'),
        (("pipe", 1, "length"), False, 20, 3, "pipe"),  # missing: the header of its own table
        (("pipe", 1, "more", 1, "n"), False, 27, 7, "0x2F"),
        (("pipe", 7), False, 18, 3, "pipe"),
        (("spaced", "out", "k"), False, 29, 5, "inf"),
    ],
)
def test_places(path: Origin, key: bool, line: int, column: int, shown: str) -> None:
    places = locate(EXAMPLE)
    spot = places.find(path, key=key)
    assert spot is not None
    assert places.line_column(spot.start) == (line, column)
    assert places.text[spot.start : spot.end] == shown
    assert places.source(line) == EXAMPLE.split("\n")[line - 1]


def test_nothing_to_find() -> None:
    assert locate("a = 1").find(("b",)) is None
    assert locate("").find(("b",)) is None
    assert Positions("").source(1) == ""
    assert Positions("a\nb").source(0) == Positions("a\nb").source(3) == ""


def test_windows_line_ends() -> None:
    places = locate('a = 1\r\nb = """x\r\ny"""\r\nc = 2\r\n')
    spot = places.find(("c",))
    assert spot is not None
    assert places.line_column(spot.start) == (4, 5)


def test_deep_paths_are_left_out() -> None:
    """A key of ten thousand parts must not fill the memory with its ten thousand paths."""
    places = locate(".".join(["a"] * 10_000) + " = 1")
    assert len(places.keys) == DEEPEST_KEPT


# Documents in every style of writing, built so that each name is used once.

_PLAIN = st.text(st.characters(exclude_characters="\x7f\\\"'", exclude_categories=["C"]), max_size=8)
_WILD = st.text("\"'\\\n\t #[]{}=,.aé漢", max_size=8)


def _basic(text: str) -> str:
    return '"' + "".join(c if c not in '"\\\n\t' else f"\\u{ord(c):04x}" for c in text) + '"'


def _multi(text: str) -> str:
    return (
        '"""'
        + text.replace("\\", "\\\\").replace('"""', '""\\"')
        + ('\\""""' if text.endswith('"') else '"""')
    )


_SCALARS = st.one_of(
    st.integers(-(10**20), 10**20).map(str),
    st.sampled_from(["0xBEEF", "1_000", "1e6", "-0.5", "+inf", "nan", "true", "false"]),
    st.sampled_from(["1979-05-27", "07:32:00", "1979-05-27 07:32:00", "1979-05-27T07:32:00.5-08:00"]),
    _WILD.map(_basic),
    _PLAIN.map(lambda t: f"'{t}'"),
    _PLAIN.map(lambda t: f"'''{t}\n'it'''"),
    _WILD.filter(lambda t: not t.endswith('"')).map(lambda t: _multi(t)),
    st.just('"""\n""two""" "'.replace(' "', "")),
)
_GAP = st.sampled_from(["", " ", "\n", '  # note ] } "\n', "\t"])


@st.composite
def _values(draw: st.DrawFn, depth: int = 0) -> str:
    kind = draw(st.integers(0, 3 if depth < 3 else 0))
    if kind < 2:
        scalar: str = draw(_SCALARS)
        return scalar
    count = draw(st.integers(0, 3))
    if kind == 2:
        items = [draw(_GAP) + draw(_values(depth + 1)) + draw(_GAP) for _ in range(count)]
        comma: bool = draw(st.booleans())
        tail = "," if items and comma else ""
        return f"[{','.join(items)}{tail}{draw(_GAP)}]"
    pairs = [f"{draw(_keys(n))} = {draw(_values(depth + 1))}" for n in range(count)]
    return "{ " + ", ".join(pairs) + " }"


@st.composite
def _keys(draw: st.DrawFn, number: int) -> str:
    """Return a key, dotted or not, whose first part no other number gives."""
    text = draw(_WILD) + str(number)
    quoted_free = text.replace("'", "").replace("\n", "").replace("\t", "") or "k"
    first = draw(st.sampled_from([f"k-{number}", _basic(text), f"'{quoted_free}!{number}'"]))
    rest: list[str] = draw(st.lists(st.sampled_from(["a", '"b.c"', "''"]), max_size=2, unique=True))
    joint: str = draw(st.sampled_from([".", " . "]))
    return joint.join([first, *rest])


@st.composite
def documents(draw: st.DrawFn) -> str:
    """Return a document of root pairs, tables, arrays of tables and tables inside these."""
    lines = [f"{draw(_keys(n))}={draw(_values())}" for n in range(draw(st.integers(0, 3)))]
    for number in range(draw(st.integers(0, 4))):
        head = f"t{number}"
        kind = draw(st.sampled_from(["table", "dotted", "array", "inside"]))
        if kind == "table":
            lines.append(f"[{head}] # [x]")
        elif kind == "dotted":
            lines.append(f'[ {head} . "a.b" ]')
        else:
            lines += [f"[[{head}]]", f"n = {draw(_values())}", f"[[ {head} ]]"]
        if kind == "inside":
            lines += [f"[{head}.sub]", f"m = {draw(_values())}", f"[[{head}.list]]", f"[[{head}.list]]"]
        lines += [f"{draw(_keys(n))} = {draw(_values())}" for n in range(draw(st.integers(0, 2)))]
    return "\n".join(lines)


def _valid(text: str) -> bool:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return True


@given(text=documents())
@settings(max_examples=100, deadline=None)
def test_every_stretch_parses_back(text: str) -> None:
    """Property: see the head of this file. Windows line ends give the same."""
    if not _valid(text):  # two keys that happen to be one
        return
    assert check(text) == check(text.replace("\n", "\r\n"))


def test_the_generator_makes_valid_documents() -> None:
    """The property above is worth nothing if most documents are thrown away."""
    kept = []

    @given(text=documents())
    @settings(max_examples=50, deadline=None, database=None, derandomize=True)
    def count(text: str) -> None:
        kept.append(_valid(text))

    count()
    assert sum(kept) > 0.9 * len(kept)

"""The sketch of the line-up: nothing lies on anything else, every part is named, names are text."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.demos import VERDICTS, Demos

from surge.model.lineup import LineUp, Liquid, Pipe, Point, Tank, Valve
from surge.sheet.layout import Layout, layout_of
from surge.sheet.sketch import LINES, Weak, gas_pipes, label, sketch

SVG = "{http://www.w3.org/2000/svg}"
LIQUID = Liquid(name="oil", density=800.0, sound_speed=1300.0, viscosity=0.0, vapour_pressure=0.0)


def pipe(name: str, start: str, end: str) -> Pipe:
    return Pipe(name=name, start=start, end=end, length=10.0, diameter=0.2, wave_speed=1200.0)


@st.composite
def networks(draw: st.DrawFn) -> LineUp:
    """Any tree of pipes, in any direction, with some more pipes that make loops."""
    n = draw(st.integers(2, 14))
    pairs = [(draw(st.integers(0, i - 1)), i) for i in range(1, n)]
    pairs += draw(
        st.lists(
            st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)).filter(lambda p: p[0] != p[1]), max_size=5
        )
    )
    turned = draw(st.lists(st.booleans(), min_size=len(pairs), max_size=len(pairs)))
    ends = [(b, a) if turn else (a, b) for (a, b), turn in zip(pairs, turned, strict=True)]
    return LineUp(
        title="any",
        liquid=LIQUID,
        points=tuple(Point(name=str(i), elevation=0.0) for i in range(n)),
        pipes=tuple(pipe(f"pipe {k}", str(a), str(b)) for k, (a, b) in enumerate(ends)),
        tanks=(Tank(name="shore", point="0", side="shore", level=1.0),),
    )


def spans(layout: Layout) -> Iterator[tuple[int, int, int, str]]:
    for e in layout.elements:
        a, b = sorted(layout.column[p] for p in (e.element.start, e.element.end))
        yield e.row, a, b, e.element.name


@given(networks())
@settings(deadline=None, max_examples=150, derandomize=True)
def test_no_two_elements_lie_on_one_another(lineup: LineUp) -> None:
    layout = layout_of(lineup)
    assert set(layout.row) == {p.name for p in lineup.points}
    assert len(layout.elements) == len(lineup.elements)
    laid = list(spans(layout))
    for i, (row, a, b, name) in enumerate(laid):
        for other_row, c, d, other in laid[i + 1 :]:
            if row == other_row:
                assert min(b, d) <= max(a, c), f"{name} and {other} share row {row}"


@given(networks())
@settings(deadline=None, max_examples=60, derandomize=True)
def test_a_point_stands_in_a_row_that_its_elements_reach(lineup: LineUp) -> None:
    layout = layout_of(lineup)
    for point in lineup.points:
        own = [e.row for e in layout.elements if point.name in (e.element.start, e.element.end)]
        assert own
        assert 0 <= layout.row[point.name] < layout.rows
        assert all(0 <= row < layout.rows for row in own)


def test_two_ways_in_a_loop_have_two_rows() -> None:
    points = tuple(Point(name=n, elevation=0.0) for n in ("tank", "split", "join", "ship"))
    pipes = (
        pipe("in", "tank", "split"),
        pipe("hose 1", "split", "join"),
        pipe("hose 2", "split", "join"),
        pipe("out", "join", "ship"),
    )
    tanks = (Tank(name="t", point="tank", side="shore", level=1.0),)
    layout = layout_of(LineUp(title="", liquid=LIQUID, points=points, pipes=pipes, tanks=tanks))
    row = {e.element.name: e.row for e in layout.elements}
    assert row["hose 1"] != row["hose 2"]
    assert [layout.column[p] for p in ("tank", "split", "join", "ship")] == [0, 1, 2, 3]


def test_a_second_shore_tank_stands_next_to_where_it_joins() -> None:
    names = ("tank A", "a", "b", "tee", "ship", "tank B")
    points = tuple(Point(name=n, elevation=0.0) for n in names)
    pipes = tuple(
        pipe(f"{a}-{b}", a, b)
        for a, b in (("tank A", "a"), ("a", "b"), ("b", "tee"), ("tank B", "tee"), ("tee", "ship"))
    )
    tanks = tuple(Tank(name=n, point=n, side="shore", level=1.0) for n in ("tank A", "tank B"))
    layout = layout_of(LineUp(title="", liquid=LIQUID, points=points, pipes=pipes, tanks=tanks))
    assert layout.column["tank B"] == layout.column["tee"] - 1 == 2


def test_the_three_drop_lines_of_the_demo_have_a_row_each_and_the_main_line_is_straight(demos: Demos) -> None:
    lineup = demos["gasoline-drop-lines"].case.lineup
    row = {e.element.name: e.row for e in layout_of(lineup).elements}
    assert sorted(row[f"{tank} drop line"] for tank in ("2P", "2S", "4P")) == [0, 1, 2]
    main = ("shore pump", "shore line", "cargo hose", "manifold valve", "deck line", "2S drop line")
    assert {row[name] for name in main} == {1}


@pytest.mark.parametrize("name", VERDICTS)
def test_every_part_of_a_demo_is_drawn_by_name(name: str, demos: Demos) -> None:
    lineup = demos[name].case.lineup
    root = ElementTree.fromstring(sketch(lineup, words="what it shows"))
    shown = "".join("".join(t.text or "" for t in root.iter(f"{SVG}text")).split())
    names = (
        [e.name for e in lineup.elements] + [t.name for t in lineup.tanks] + [s.name for s in lineup.supplies]
    )
    for name in names:
        assert "".join(name.split()) in shown
    assert root.attrib["role"] == "img"
    assert root.findtext(f"{SVG}title") == "what it shows"


def test_names_are_text_and_the_weakest_is_marked() -> None:
    bad = "</svg><script>\"&'x"
    lineup = LineUp(
        title="",
        liquid=LIQUID,
        points=(Point(name="a", elevation=0.0), Point(name="b", elevation=0.0)),
        valves=(Valve(name=bad, start="a", end="b", kv=1.0, characteristic=((0.0, 0.0), (1.0, 1.0))),),
    )
    svg = sketch(lineup, weak=Weak(subject="element", name=bad), words=bad)
    root = ElementTree.fromstring(svg)
    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert "WEAKEST" in texts
    assert "".join(t or "" for t in texts).replace("WEAKEST", "") == bad
    assert "<script" not in svg
    assert root.attrib["aria-label"] == bad


@given(st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=60), st.floats(20.0, 90.0))
@settings(deadline=None, derandomize=True)
def test_a_name_takes_three_lines_at_most_and_loses_nothing_in_silence(name: str, width: float) -> None:
    lines = label(name, width).lines
    assert 1 <= len(lines) <= LINES
    joined = "".join(lines)
    assert joined == name or joined.endswith("...")


def test_a_pipe_that_holds_gas_at_first_has_bubbles(demos: Demos) -> None:
    lineup = demos["gas-oil-first-fill"].case.lineup
    assert gas_pipes(lineup) == {"deck line"}
    bare = sketch(lineup.with_(fillings=()))
    assert sketch(lineup).count("<circle") == bare.count("<circle") + 3

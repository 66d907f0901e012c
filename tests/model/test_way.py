"""The way of the cargo through a line-up, and where its parts stand in a drawing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.demos import Demo, Demos
from support.lineups.lines import line_up, pipe, valve

from surge.model.lineup import LineUp, Valve
from surge.model.way import NARROWEST, Way, find_way, kind_of, source_of
from surge.transient.plan import plan


def flows(lineup: LineUp, scenario: int = 0) -> dict[str, float]:
    return dict(plan(lineup, lineup.scenarios[scenario]).steady.flow)


def way(demo: Demo, end: str) -> Way:
    lineup = demo.case.lineup
    q = flows(lineup)
    found = find_way(lineup, source_of(lineup, q), end, flows=q)
    assert found is not None
    return found


def test_parts_follow_one_another_and_say_what_is_left_out(demos: Demos) -> None:
    found = way(demos["gasoline-drop-lines"], "2P drop line foot")
    names = [p.name for p in found.parts]
    assert names[:4] == ["shore pump", "shore control valve", "shore line", "shore ESD valve"]
    assert names[-1] == "2P drop line"
    assert all(a.end == b.start for a, b in zip(found.parts, found.parts[1:], strict=False))
    elements = {e.name for e in demos["gasoline-drop-lines"].case.lineup.elements}
    assert set(found.left_out) == elements - set(names)
    assert found.length == pytest.approx(sum(p.length for p in found.parts))
    assert found.holds("place", "2P drop line foot")
    assert not found.holds("element", "4P drop line")


def test_an_element_may_be_passed_backward() -> None:
    lineup = line_up(
        [pipe("a", "tank", "mid", 100.0, 1000.0), pipe("b", "far", "mid", 50.0, 1000.0)], {"tank": 20.0}
    )
    found = find_way(lineup, "tank", "far", flows={"a": 0.0, "b": 0.0})
    assert found is not None
    assert [(p.name, p.backward, p.start, p.end) for p in found.parts] == [
        ("a", False, "tank", "mid"),
        ("b", True, "mid", "far"),
    ]


def test_it_keeps_to_what_flows() -> None:
    elements = [
        pipe("short", "tank", "end", 10.0, 1000.0),
        pipe("long", "tank", "mid", 500.0, 1000.0),
        pipe("longer", "mid", "end", 500.0, 1000.0),
    ]
    lineup = line_up(elements, {"tank": 20.0, "end": 10.0})
    at_rest = find_way(lineup, "tank", "end", flows=dict.fromkeys(("short", "long", "longer"), 0.0))
    flowing = find_way(lineup, "tank", "end", flows={"short": 0.0, "long": 0.1, "longer": 0.1})
    assert at_rest is not None
    assert flowing is not None
    assert [p.name for p in at_rest.parts] == ["short"]
    assert [p.name for p in flowing.parts] == ["long", "longer"]


def test_no_way_to_what_is_not_joined() -> None:
    lineup = line_up(
        [pipe("a", "tank", "mid", 10.0, 1000.0), pipe("b", "other", "end", 10.0, 1000.0)], {"tank": 1.0}
    )
    assert find_way(lineup, "tank", "end", flows={}) is None
    assert find_way(lineup, "tank", "tank", flows={}) is None


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.one_of(st.none(), st.floats(min_value=0.5, max_value=20_000.0)), min_size=1, max_size=14))
def test_places_in_a_drawing_rise_from_0_to_1(lengths: list[float | None]) -> None:
    elements = [
        valve(f"v{k}", f"p{k}", f"p{k + 1}", 0.1)
        if length is None
        else pipe(f"v{k}", f"p{k}", f"p{k + 1}", length, 1000.0)
        for k, length in enumerate(lengths)
    ]
    lineup = line_up(elements, {"p0": 10.0, f"p{len(lengths)}": 5.0})
    found = find_way(lineup, "p0", f"p{len(lengths)}", flows={})
    assert found is not None
    edges = np.array([found.parts[0].left, *(p.right for p in found.parts)])
    assert edges[0] == 0.0
    assert edges[-1] == pytest.approx(1.0)
    assert np.all(np.diff(edges) > 0.0)
    pipes = [p for p in found.parts if p.length > 0.0]
    # Longer is never drawn narrower, and nothing so narrow that it is not seen.
    by_length = sorted(pipes, key=lambda p: p.length)
    widths = [p.right - p.left for p in by_length]
    assert all(a <= b + 1e-9 for a, b in zip(widths, widths[1:], strict=False))
    assert all(w > 0.4 * NARROWEST for w in widths)
    assert [kind_of(e) for e in lineup.elements if isinstance(e, Valve)] == ["valve"] * lengths.count(None)

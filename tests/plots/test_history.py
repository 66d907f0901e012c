"""Pictures of histories: a page for a manifold, more pages for more, the same bytes for the same figures."""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from xml.etree import ElementTree as ET

import pytest

from surge.plots.frame import Heading
from surge.plots.history import draw_histories, panels_of
from surge.records.stroke_tests import Bound, Direction, Side, StrokeTest, Timed, ValveLimits
from surge.valves.history import histories
from surge.valves.history_types import HistoryGround, ValveHistory

GROUND = HistoryGround(today=date(2026, 1, 20))
HEADING = Heading(lines=("Stroke times $x$", "two lines"), foot=("foot",), signature="surge")


def manifold(valves: int) -> tuple[ValveHistory, ...]:
    draws = random.Random(1)
    tests, limits = [], {}
    for k in range(valves):
        tag = f"V{k:02d} <&> $a$"
        bounds = tuple(
            Bound(direction=way, side=side, value=value, timed=Timed.MOVEMENT, source="test")
            for way, side, value in (
                (Direction.CLOSING, Side.FASTEST, 16.0 if k != 5 else float("inf")),
                (Direction.CLOSING, Side.SLOWEST, 30.0 if k != 4 else 0.0),
                (Direction.OPENING, Side.SLOWEST, 300.0),
            )
        )
        limits[tag] = ValveLimits(tag=tag, bounds=bounds, required=True)
        for q in range(0 if k == 3 else 9):
            for way in Direction:
                when = datetime(2023, 2, 1) + timedelta(days=100 * q)
                tests.append(
                    StrokeTest(
                        row=2,
                        tag=tag,
                        direction=way,
                        when=when,
                        time=20.0 - 0.7 * q * (k == 2) + draws.random(),
                        timed=Timed.MOVEMENT,
                    )
                )
    return histories(tests, limits, ground=GROUND)


@pytest.mark.parametrize(("valves", "pages"), [(0, 1), (1, 1), (5, 1), (13, 1), (24, 1), (25, 2)])
def test_a_manifold_is_a_page(valves: int, pages: int) -> None:
    files = draw_histories(manifold(valves), GROUND, HEADING, kinds=("pdf", "svg"))
    assert len(files["svg"]) == pages
    assert len(files["pdf"]) == 1
    assert files["pdf"][0].count(b"/Type /Page ") == pages


def test_same_figures_same_bytes_and_every_kind() -> None:
    found = manifold(6)
    kinds = ("png", "svg", "pdf")
    first, again = (draw_histories(found, GROUND, HEADING, kinds=kinds) for _ in range(2))
    assert first == again
    assert first["png"][0].startswith(b"\x89PNG")
    ET.fromstring(first["svg"][0])


def test_worst_first_and_both_directions_in_one_panel() -> None:
    panels = panels_of(manifold(6))
    assert [len(p.histories) for p in panels] == [2] * 6
    # Fastest limit "no stroke is safe", then drift beyond the fastest, then slowest limit of no time at all.
    assert [p.tag[:3] for p in panels[:4]] == ["V05", "V02", "V04", "V03"]
    assert [p.worst.state for p in panels[:4]] == ["TOO FAST", "TOO FAST", "TOO SLOW", "NOT TESTED"]

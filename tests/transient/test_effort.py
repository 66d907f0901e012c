"""What is solved together, as the count of work has it, is what the grid solves together."""

from __future__ import annotations

from itertools import pairwise

import pytest
from support.lineups.laborious import laborious

from surge.kernel.columns import C_LINK, C_LINK_END, C_TREE, C_TREE_END
from surge.transient.effort import AT_TANK, Link, Together, step_effort, together
from surge.transient.grid import build_grid
from surge.transient.plan import eased, plan


def row(names: str, *, orifice: int = -1) -> list[Link]:
    """Links behind one another, of which one is a valve."""
    return [Link(a, z, one_way=False, orifice=k == orifice) for k, (a, z) in enumerate(pairwise(names))]


@pytest.mark.parametrize(
    ("links", "tanks", "expected"),
    [
        (row("ABCDE"), "", Together([], [], [4])),
        (row("ABCDE", orifice=1), "AE", Together([], [], [4])),
        (row("ABCDE", orifice=3), "AE", Together([], [4], [])),
        (row("ABCDE", orifice=0), "AE", Together([], [4], [])),
        (row("ABCDEA"), "", Together([10], [], [])),
        # A tank in the middle parts what it joins.
        (row("ABCDE"), "C", Together([], [], [2, 2])),
        ([*row("ABCD"), Link("B", "E", one_way=True, orifice=False)], "", Together([9], [], [])),
    ],
)
def test_what_is_solved_together(links: list[Link], tanks: str, expected: Together) -> None:
    assert together(links, frozenset(tanks)) == expected


def test_a_line_of_lumped_pieces_with_a_valve_at_its_tank_counts_what_it_takes() -> None:
    """Of seed 5505 a step takes some 180 microseconds, of which a pace of 4e8 a second makes 7e4."""
    lineup, _ = laborious(5505)
    work = eased(plan(lineup, lineup.scenarios[0]), 30.0)
    reaches = work.divide(work.step())
    assert not any(reaches.count)
    grid = build_grid(lineup, work.steady, reaches=reaches, laws=work.laws, tables=work.tables)
    (cluster,) = grid.net.ci
    assert cluster[C_TREE] == cluster[C_TREE_END], "it is a tree"
    assert cluster[C_LINK_END] - cluster[C_LINK] == 92
    assert step_effort(lineup, reaches) == pytest.approx(AT_TANK * 92**2, rel=0.05)

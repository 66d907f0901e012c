"""A shutdown stands once on the sheet, with what holds at every stage at which it was run."""

from __future__ import annotations

from support.demos import Demos

from surge.reports.words import Display
from surge.rules.findings import WITHIN
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows
from surge.sheet.moves import at_all_stages, chains, movements, stages
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=740.0)
SHUTDOWN = "bulk emergency shutdown"


def window(scenario: str, shortest: float | None, longest: float | None = None) -> StrokeLimits:
    return StrokeLimits(
        valve="manifold valve",
        scenario=scenario,
        period=2.0,
        stroke=14.0,
        shortest=shortest,
        from_=1.0,
        to=120.0,
        governs=None,
        run=None,
        looked=(),
        longest=longest,
        slow_rule=None,
        reason="",
        verdict=WITHIN,
    )


def test_the_window_of_a_shutdown_is_that_of_its_worst_stage() -> None:
    got = at_all_stages([window("bulk", 5.0, 15.0), window("start", 9.0, None), window("topping", 2.0, 12.0)])
    assert (got.scenario, got.shortest, got.longest) == ("start", 9.0, 12.0)
    assert at_all_stages([window("bulk", 5.0), window("start", None)]).shortest is None


def test_a_shutdown_stands_once_with_its_movements_and_its_chain(demos: Demos) -> None:
    answer = demos["gasoline-drop-lines"].answer
    parts = [
        window(s.name, shortest)
        for s, shortest in zip(
            (s for s in answer.lineup.scenarios if s.ordered is not None), (5.0, 9.0, 20.0), strict=True
        )
    ]
    moves = movements(answer, Windows(by_valve={"manifold valve": tuple(parts)}, rates=()), DISPLAY)
    own = [m for m in moves if m.scenario == SHUTDOWN]
    assert len(own) == 3
    assert not any(m.scenario.startswith(f"{SHUTDOWN},") for m in moves)
    (valve,) = [m for m in own if m.part == "manifold valve"]
    assert valve.shortest_safe_s == 20.0
    assert "14.00 s is faster" in valve.objection
    assert [c.scenario for c in chains(answer, DISPLAY)] == [SHUTDOWN]
    # Rates differ from stage to stage, and each has its row.
    assert len(stages(answer, None, DISPLAY)) == len(answer.lineup.scenarios) == 5

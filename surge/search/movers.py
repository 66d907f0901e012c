"""Which valves move, which of them one order moves together, and what stays as the case has it.

Decisions
---------
* Valves that the same order moves share one stroke in every search: those that begin to move at the same
  instant of a scenario, in a shutdown by steps of the same side, after the same step; and those of which the
  case says that they belong together (``group``), whenever they begin.
* Valves of ship and shore that begin at the same instant are set by two parties: they are searched apart, and
  then as a set.
* Only valves that are searched for are moved. All others keep the strokes of the case, and the answer names
  them.
"""

from __future__ import annotations

from collections.abc import Collection

from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.model.stroke import moves_so

SAME_INSTANT = 1e-6  # [s] instants nearer than this are one


def closing_valves(lineup: LineUp, scenario: Scenario) -> dict[str, float]:
    """Valves that close in a scenario, each with its stroke [s]."""
    return moving_valves(lineup, scenario, opens=False)


def moving_valves(lineup: LineUp, scenario: Scenario, *, opens: bool) -> dict[str, float]:
    """Valves that close, or open, in a scenario, each with its stroke [s]."""
    known = {v.name for v in lineup.valves}
    return {m.valve: m.law[-1][0] for m in scenario.moves if moves_so(m, opens=opens) and m.valve in known}


def moved_together(
    lineup: LineUp, scenario: Scenario, valve: str, among: Collection[str], *, opens: bool = False
) -> tuple[str, ...]:
    """Return the valves that share the stroke of one in a scenario.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    valve : str
        It moves in the scenario.
    among : collection of str
        Valves whose strokes may be changed.
    opens : bool
        Opening strokes are meant, not closing ones.

    Returns
    -------
    tuple of str
        In the order of the line-up, ``valve`` among them.
    """
    moves = [m for m in scenario.moves if moves_so(m, opens=opens)]
    own = [m for m in moves if m.valve == valve]
    group = {v.name: v.group for v in lineup.valves}
    together = {valve}
    for move in moves:
        named = group.get(move.valve, "") != "" and group[move.valve] == group.get(valve)
        if named or any(_same_order(move, one) for one in own):
            together.add(move.valve)
    wanted = together & {valve, *among}
    return tuple(v.name for v in lineup.valves if v.name in wanted)


def adjustable(lineup: LineUp) -> list[str]:
    """Valves that move and are marked as adjustable; if none is, all that close, or else all that open."""
    closing, opening = (
        {v for s in lineup.scenarios for v in moving_valves(lineup, s, opens=way)} for way in (False, True)
    )
    marked = {v.name for v in lineup.valves if v.adjustable} & (closing | opening)
    wanted = marked or closing or opening
    return [v.name for v in lineup.valves if v.name in wanted]


def held_beside(lineup: LineUp, scenario: Scenario, valves: Collection[str]) -> dict[str, float]:
    """Other valves that move in a scenario, each with the stroke that it keeps [s]."""
    moving = moving_valves(lineup, scenario, opens=True) | closing_valves(lineup, scenario)
    return {v: s for v, s in moving.items() if v not in valves}


def _same_order(a: ValveMove, b: ValveMove) -> bool:
    alike = (a.what, a.side, a.after) == (b.what, b.side, b.after)
    return alike and abs(a.start - b.start) <= SAME_INSTANT

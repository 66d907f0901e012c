"""How gentle each closure is: how long the flow takes to stop, and how much of it within one period."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from surge.model.lineup import Scenario, ValveMove
from surge.model.topology import PipelinePeriod
from surge.transient.result import Closure, History

BEGINS, ENDS = 0.95, 0.05  # of the first flow: the effective time lies between
LEAST_FLOW = 1e-6  # [m3/s] below this there is nothing to stop


def closures_of(
    scenario: Scenario, history: History, periods: Iterable[PipelinePeriod]
) -> tuple[Closure, ...]:
    """Return one :class:`~surge.transient.result.Closure` for every valve movement that closes against flow."""
    longest = {p.valve: p.longest for p in periods}
    found = (
        _closure(move, history, longest[move.valve])
        for move in sorted(scenario.moves, key=lambda m: m.start)
        if move.law[-1][1] < move.law[0][1]
    )
    return tuple(c for c in found if c is not None)


def _closure(move: ValveMove, history: History, period: float) -> Closure | None:
    time = history.time
    first = max(int(np.searchsorted(time, move.start)) - 1, 0)  # before a step at that instant
    t, flow = time[first:], history.flow[move.valve][first:]
    if abs(flow[0]) <= max(LEAST_FLOW, ENDS * float(np.max(np.abs(history.flow[move.valve])))):
        return None  # something else has stopped the flow before
    share = flow / flow[0]
    stopped = np.flatnonzero(share <= ENDS)
    effective = None
    if stopped.size:
        last = int(stopped[0])
        begun = int(np.flatnonzero(share[:last] >= BEGINS)[-1])
        effective = float(t[last] - t[begun])
    # One sample more than the period: what falls between two samples may fall within it.
    spacing = float(np.max(np.diff(t), initial=0.0))
    later = np.interp(t + period + spacing, t, share)
    return Closure(
        valve=move.valve,
        stroke=move.law[-1][0],
        period=period,
        effective=effective,
        greatest_fall=float(np.max(share - later)),
    )

"""Limits of stroke times from the window of a case: by surge, and by its rules on time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from surge.model.lineup import LineUp
from surge.records.limits import EVERY_STROKE_TOO_SLOW, NO_STROKE_IS_SAFE, Bound, Side, ValveLimits
from surge.records.tests import Direction, Timed
from surge.rules.findings import EXCEEDED, WITHIN
from surge.search.strokes import StrokeLimits, closing_valves
from surge.search.window import Windows


def closing_in(lineup: LineUp) -> set[str]:
    """Valves that close in some scenario: those that have a window."""
    return {name for scenario in lineup.scenarios for name in closing_valves(lineup, scenario)}


def with_windows(
    limits: Iterable[ValveLimits], windows: Windows, *, named: dict[str, str]
) -> list[ValveLimits]:
    """Add the window of a case's valve to the limits of every tag that stands for it.

    Parameters
    ----------
    limits : iterable of ValveLimits
    windows : Windows
    named : dict of str to str
        Tag -> name of the valve in the case.
    """
    return [
        _together(_added(one, windows.by_valve[name]), windows, name)
        if (name := named.get(one.tag, "")) in windows.by_valve
        else one
        for one in limits
    ]


def _together(limits: ValveLimits, windows: Windows, name: str) -> ValveLimits:
    """Add what comes of all valves together: the window of one valve does not prove the set."""
    strokes = windows.joint_strokes
    if windows.together is None or len(strokes) < 2:
        return limits
    listed = ", ".join(f'"{v}"' for v in strokes)
    source = f'window of "{name}" when {listed} close together'
    if windows.together.pressures == WITHIN:
        return replace(limits, bounds=(*limits.bounds, _bound(Side.FASTEST, strokes[name], source)))
    reason = f"{source}: {windows.together.pressures} at their shortest strokes; see surge window"
    return replace(limits, missing=(*limits.missing, (Direction.CLOSING, Side.FASTEST, reason)))


def _added(limits: ValveLimits, parts: Iterable[StrokeLimits]) -> ValveLimits:
    """Every scenario bounds the stroke: the strictest of each side holds."""
    bounds: list[Bound] = []
    missing = list(limits.missing)
    for part in parts:
        source = f'window of "{part.valve}" in "{part.scenario}"'
        if part.shortest is not None:
            bounds.append(_bound(Side.FASTEST, part.shortest, source))
        elif part.verdict == EXCEEDED:
            bounds.append(_bound(Side.FASTEST, NO_STROKE_IS_SAFE, f"{source}: {part.reason}"))
        else:
            missing.append((Direction.CLOSING, Side.FASTEST, f"{source}: {part.reason}"))
        if part.longest is not None and part.slow_rule is not None:
            longest = max(part.longest, EVERY_STROKE_TOO_SLOW)
            bounds.append(_bound(Side.SLOWEST, longest, f'{source} by the rule "{part.slow_rule.name}"'))
    return replace(limits, bounds=(*limits.bounds, *_strictest(bounds)), missing=tuple(missing))


def _strictest(bounds: Iterable[Bound]) -> list[Bound]:
    """Of bounds that all count the movement, the one of each side that holds."""
    bounds = list(bounds)
    fast = max((b for b in bounds if b.side is Side.FASTEST), key=lambda b: b.value, default=None)
    slow = min((b for b in bounds if b.side is Side.SLOWEST), key=lambda b: b.value, default=None)
    return [b for b in (fast, slow) if b is not None]


def _bound(side: Side, value: float, source: str) -> Bound:
    # The chain of the case's shutdown holds the signal already: what is left for the stroke is movement.
    return Bound(direction=Direction.CLOSING, side=side, value=value, timed=Timed.MOVEMENT, source=source)

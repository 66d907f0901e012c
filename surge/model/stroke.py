"""Stroke laws: opening against time, and what that means for the flow a valve passes.

A law is a table of (time [s], opening or speed fraction [-]), straight between its points; two points at one
time are a step, at whose instant the later value holds.

Decisions
---------
* A stroke time is that of a whole stroke. A valve that stands partly open joins the law where the law first
  passes its opening: at 40 % a linear stroke of 20 s takes 8 s. That is the unsafe side, and what a valve
  driven by power does.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Mapping
from dataclasses import replace

from surge.errors import ArgumentError, CaseError, Fault, Origin
from surge.model.lineup import PumpMove, Scenario, Table, Trip, ValveMove

LOOKED_AT = (0.05, 3600.0)  # [s] the shortest and the longest stroke that a search may look at
SAME_OPENING = 1e-6  # [-] openings nearer than this are the same


def join(law: Table, opening: float) -> Table | None:
    """Cut the law of a whole stroke where it first passes an opening; its time then begins at 0.

    Parameters
    ----------
    law : tuple of (time, opening)
        [s], [-]
    opening : float
        At which the valve stands [-].

    Returns
    -------
    tuple of (time, opening) or None
        [s], [-]; None when the law never passes there.

    Examples
    --------
    A valve that stands at 40 % and closes by a stroke of 20 s: it is shut after 0.4 * 20 = 8 s.

    >>> join(((0.0, 1.0), (20.0, 0.0)), 0.4)
    ((0.0, 0.4), (8.0, 0.0))
    """
    if abs(law[0][1] - opening) <= SAME_OPENING:
        waits = ((law[0][0], opening),) if law[0][0] > 0.0 else ()
        return ((0.0, opening), *waits, *law[1:])
    for i, ((t0, x0), (t1, x1)) in enumerate(zip(law, law[1:], strict=False)):
        if min(x0, x1) - SAME_OPENING <= opening <= max(x0, x1) + SAME_OPENING:
            share = 0.0 if x1 == x0 else (opening - x0) / (x1 - x0)
            start = t0 + min(max(share, 0.0), 1.0) * (t1 - t0)
            return ((0.0, opening), *((t - start, x) for t, x in law[i + 1 :]))
    return None


def opening_over_time(opening: float, moves: tuple[ValveMove, ...]) -> Table:
    """Return the opening of a valve over the whole scenario.

    Parameters
    ----------
    opening : float
        At time 0 [-].
    moves : tuple of ValveMove
        Of this one valve, not overlapping.

    Returns
    -------
    tuple of (time, opening)
        [s] from the beginning of the scenario, [-].

    Raises
    ------
    CaseError
        A law that does not pass the opening at which the valve stands.
    """
    points: list[tuple[float, float]] = [(0.0, opening)]
    for move in sorted(moves, key=lambda m: m.start):
        law = join(move.law, points[-1][1])
        if law is None:
            raise CaseError([_cannot_join(move.origin, move.valve, points[-1][1], move.law)])
        points += [(move.start + t, x) for t, x in law]
    return _tidy(points)


def speed_over_time(speed: float, moves: tuple[PumpMove, ...]) -> Table:
    """Return the speed of a pump over the whole scenario.

    Parameters
    ----------
    speed : float
        That it runs at when it runs, as a fraction of full speed [-].
    moves : tuple of PumpMove
        Of this one pump; their laws are fractions of ``speed`` [-].

    Returns
    -------
    tuple of (time, speed)
        [s] from the beginning of the scenario, fraction of full speed [-].
    """
    moves = tuple(sorted(moves, key=lambda m: m.start))
    points: list[tuple[float, float]] = [(0.0, speed * (moves[0].law[0][1] if moves else 1.0))]
    for move in moves:
        points.append((move.start, points[-1][1]))
        points += [(move.start + t, speed * x) for t, x in move.law]
    return _tidy(points)


def _tidy(points: list[tuple[float, float]]) -> Table:
    """Drop a point that repeats its neighbour."""
    return tuple(p for i, p in enumerate(points) if i == 0 or p != points[i - 1])


def _cannot_join(origin: Origin, valve: str, opening: float, law: Table) -> Fault:
    low, high = min(x for _, x in law), max(x for _, x in law)
    return Fault(
        path=origin,
        found=f'the law of "{valve}" runs from {low:.3g} to {high:.3g}; the valve stands at {opening:.3g}',
        expected="a law that passes the opening at which the valve stands",
        remedy=f"begin the table at {opening:.3g}, or set the valve's opening before",
    )


def kv_ratio_over_time(law: Table, characteristic: Table) -> Table:
    """Return the Kv ratio against time of a valve that follows a law: exact, a point at every knot passed.

    Parameters
    ----------
    law : tuple of (time, opening)
        [s], [-]
    characteristic : tuple of (opening, ratio)
        [-], Kv as a fraction of the fully open one.

    Returns
    -------
    tuple of (time, ratio)
        [s], [-]

    Examples
    --------
    Half open, this valve passes 20 % of its full Kv; a stroke of 10 s passes that opening at 5 s.

    >>> kv_ratio_over_time(((0.0, 1.0), (10.0, 0.0)), ((0.0, 0.0), (0.5, 0.2), (1.0, 1.0)))
    ((0.0, 1.0), (5.0, 0.2), (10.0, 0.0))
    """
    xs = [x for x, _ in characteristic]

    def ratio_at(x: float) -> float:
        """Kv over the fully open one at an opening [-]."""
        i = min(max(bisect.bisect_right(xs, x) - 1, 0), len(xs) - 2)
        (x0, y0), (x1, y1) = characteristic[i], characteristic[i + 1]
        return y0 + (y1 - y0) * (x - x0) / (x1 - x0)

    points = [(law[0][0], ratio_at(law[0][1]))]
    for (t0, a), (t1, b) in zip(law, law[1:], strict=False):
        if t1 > t0 and a != b:
            inside = sorted((x for x in xs if min(a, b) < x < max(a, b)), reverse=b < a)
            points += [(t0 + (x - a) / (b - a) * (t1 - t0), ratio_at(x)) for x in inside]
        points.append((t1, ratio_at(b)))
    return tuple(points)


def with_strokes(scenario: Scenario, strokes: Mapping[str, float], *, opens: bool = False) -> Scenario:
    """Return a scenario in which valves close, or open, in other times, their laws stretched.

    Parameters
    ----------
    scenario : Scenario
    strokes : dict of str to float
        Valve -> time of its whole stroke [s].
    opens : bool
        Opening strokes are changed and closing ones keep their times, instead of the other way round.

    Notes
    -----
    Steps of a shutdown that wait for a valve begin earlier or later with it. A step in no time
    becomes a straight stroke.
    """

    def law_of(move: ValveMove) -> Table:
        meant = move.valve in strokes and moves_so(move, opens=opens)
        return stretched(move.law, strokes[move.valve]) if meant else move.law

    return with_laws(scenario, law_of)


def moves_so(move: ValveMove, *, opens: bool) -> bool:
    """Whether a movement opens, or closes, its valve."""
    first, last = move.law[0][1], move.law[-1][1]
    return last > first if opens else last < first


def with_laws(scenario: Scenario, law_of: Callable[[ValveMove], Table]) -> Scenario:
    """Return a scenario in which valves move by other laws.

    Parameters
    ----------
    scenario : Scenario
    law_of : callable
        Gives the law of a move, another one or its own. Steps of a shutdown that wait for a valve begin
        earlier or later with it.
    """
    ends: dict[str, float] = {}
    moves: list[ValveMove] = []
    pumps: list[PumpMove] = []
    trips: list[Trip] = []
    # A step that waits comes after the one that it waits for, if need be by its place in the case.
    everything: list[ValveMove | PumpMove | Trip] = [*scenario.moves, *scenario.pump_moves, *scenario.trips]
    for move in sorted(everything, key=lambda m: (m.start, m.origin[-1:])):
        start = move.start
        if move.after in ends:
            start = max(move.earliest, ends[move.after]) + move.wait
        if isinstance(move, Trip):
            trips.append(replace(move, start=start))
            if move.side:
                ends[move.pump] = start
            continue
        law = move.law
        if isinstance(move, PumpMove):
            name = move.pump
            pumps.append(replace(move, start=start))
        else:
            name, law = move.valve, law_of(move)
            moves.append(replace(move, start=start, law=law))
        if move.side:
            ends[name] = start + law[-1][0]
    order = {m.origin: i for i, m in enumerate(scenario.moves)}
    pump_order = {m.origin: i for i, m in enumerate(scenario.pump_moves)}
    trip_order = {t.origin: i for i, t in enumerate(scenario.trips)}
    return replace(
        scenario,
        moves=tuple(sorted(moves, key=lambda m: order[m.origin])),
        pump_moves=tuple(sorted(pumps, key=lambda m: pump_order[m.origin])),
        trips=tuple(sorted(trips, key=lambda t: trip_order[t.origin])),
    )


def stretched(law: Table, time: float) -> Table:
    """Return a law of the same shape whose whole stroke takes another time.

    Parameters
    ----------
    law : tuple of (time, opening)
        [s], [-]
    time : float
        [s]

    Returns
    -------
    tuple of (time, opening)
        [s], [-]; a step becomes a straight stroke.
    """
    whole = law[-1][0]
    if whole <= 0.0:
        return ((0.0, law[0][1]), (time, law[-1][1]))
    return tuple((t * time / whole, x) for t, x in law)


def shortest_movement(laws: tuple[Table, ...]) -> float:
    """Return the shortest time in which any law moves without a step [s], infinite when all are steps.

    Parameters
    ----------
    laws : tuple of tuples of (time, value)
        [s], [-]
    """
    times = [
        _span(law)
        for law in laws
        if any(t1 > t0 and a != b for (t0, a), (t1, b) in zip(law, law[1:], strict=False))
    ]
    return min(times, default=float("inf"))


def has_steps(laws: tuple[Table, ...]) -> bool:
    """Return whether anything moves in no time; laws are pairs of (time [s], value [-])."""
    return any(t0 == t1 and a != b for law in laws for (t0, a), (t1, b) in zip(law, law[1:], strict=False))


def _span(law: Table) -> float:
    moving = [(t0, t1) for (t0, a), (t1, b) in zip(law, law[1:], strict=False) if t1 > t0 and a != b]
    return moving[-1][1] - moving[0][0]


def last_event(laws: tuple[Table, ...]) -> float:
    """Return when the last movement ends [s]; laws are pairs of (time [s], value [-])."""
    return max((law[-1][0] for law in laws), default=0.0)


def refuse_unordered(shortest: float, longest: float, *, stated: bool = True) -> None:
    """Raise ArgumentError where no stroke lies between the shortest and the longest to look at.

    Parameters
    ----------
    shortest, longest : float
        [s].
    stated : bool
        The longest was asked for; else it is what the program looks at by itself.
    """
    if shortest < longest:
        return
    low, high = LOOKED_AT
    if stated:
        found, remedy = (
            f"{shortest:g} s and {longest:g} s",
            f"write the shorter first, from {low:g} s to {high:g} s",
        )
        raise ArgumentError(("shortest", "longest"), found, remedy)
    remedy = f"the longest stroke looked at is {longest:g} s; write a shorter one, or give a longest above it"
    raise ArgumentError(("shortest",), f"{shortest:g} s", remedy)

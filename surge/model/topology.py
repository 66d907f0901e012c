"""How the line-up hangs together: what is joined to what, and how long a wave travels."""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from surge.model.lineup import LineUp, Pipe, Valve


@dataclass(frozen=True, kw_only=True)
class PipelinePeriod:
    """Twice the travel time from a valve to the end that reflects.

    Attributes
    ----------
    valve : str
    upstream, downstream : float or None
        Period on the side the flow comes from and on the other [s]; None where no tank or
        supply can be reached on that side.
    reflects_at : str
        Name of the tank or supply that reflects upstream, "" where there is none.
    """

    valve: str
    upstream: float | None
    downstream: float | None
    reflects_at: str

    @property
    def longest(self) -> float:
        """The longer side [s], 0 where neither side has a tank."""
        return max(self.upstream or 0.0, self.downstream or 0.0)


Adjacency = dict[str, list[tuple[str, str, float]]]


def neighbours(lineup: LineUp) -> Adjacency:
    """Return the points that elements join: point -> [(other point, element, travel time [s])]."""
    joined: Adjacency = {p.name: [] for p in lineup.points}
    for element in lineup.elements:
        time = element.travel_time if isinstance(element, Pipe) else 0.0
        joined[element.start].append((element.end, element.name, time))
        joined[element.end].append((element.start, element.name, time))
    return joined


def reached(joined: Adjacency, points: Iterable[str], *, without: Collection[str]) -> set[str]:
    """Return the points that are joined with some of ``points``, themselves among them.

    Parameters
    ----------
    joined : Adjacency
        As of :func:`neighbours`.
    points : iterable of str
    without : collection of str
        Names of elements that are left out.
    """
    found: set[str] = set()
    stack = list(points)
    while stack:
        point = stack.pop()
        if point not in found:
            found.add(point)
            stack.extend(other for other, element, _ in joined[point] if element not in without)
    return found


def components(lineup: LineUp, *, without: Collection[str] = ()) -> list[set[str]]:
    """Return the sets of points that are joined once the elements ``without`` are taken out."""
    joined = neighbours(lineup)
    found: list[set[str]] = []
    seen: set[str] = set()
    for point in joined:
        if point not in seen:
            found.append(reached(joined, [point], without=without))
            seen |= found[-1]
    return found


def sides(lineup: LineUp) -> dict[str, str]:
    """Return the side on which every element stands: "shore", "ship", or "" where hoses and arms do not tell.

    Hoses and arms part the two sides, and stand on neither themselves.
    """
    across = {p.name for p in lineup.pipes if p.kind in ("hose", "arm")}
    holders = {t.point: t.side for t in lineup.tanks} | {s.point: "shore" for s in lineup.supplies}
    side_of_point: dict[str, str] = {}
    for part in components(lineup, without=across):
        found = {holders[p] for p in part if p in holders}
        side_of_point |= dict.fromkeys(part, found.pop() if len(found) == 1 else "")
    return {e.name: "" if e.name in across else side_of_point[e.start] for e in lineup.elements}


def always_joined(lineup: LineUp) -> list[set[str]]:
    """Return the points that pipes and passages join, whatever valves and pumps do: sets of their names."""
    without = {p.name for p in lineup.pumps} | {v.name for v in lineup.valves}
    return components(lineup, without=without | {n.name for n in lineup.non_return_valves})


def fixed_head_points(lineup: LineUp) -> dict[str, str]:
    """Return the points where a tank or supply holds the head: point -> its name."""
    return {t.point: t.name for t in lineup.tanks} | {s.point: s.name for s in lineup.supplies}


def travel_times(
    lineup: LineUp, start: str, *, without: Collection[str] = (), joined: Adjacency | None = None
) -> dict[str, float]:
    """Return the shortest travel time of a wave from a point to every point it reaches [s] (Dijkstra).

    Parameters
    ----------
    lineup : LineUp
    start : str
        Name of a point.
    without : collection of str
        Names of elements that no wave passes.
    joined : dict, optional
        What :func:`neighbours` gives for the whole line-up, where that is at hand.

    Returns
    -------
    dict of str to float
        Point -> [s].
    """
    if joined is None:
        joined = neighbours(lineup)
    times: dict[str, float] = {}
    queue = [(0.0, start)]
    while queue:
        time, point = heapq.heappop(queue)
        if point in times:
            continue
        times[point] = time
        for other, element, step in joined[point]:
            if other not in times and element not in without:
                heapq.heappush(queue, (time + step, other))
    return times


def farthest(
    lineup: LineUp, element: str, *, without: Collection[str] = (), joined: Adjacency | None = None
) -> float:
    """Return how long a wave that starts at an element takes to the last point that it reaches [s].

    Parameters
    ----------
    lineup : LineUp
    element : str
        Name of a valve, a passage or a pump: waves leave from both its ends.
    without, joined
        As of :func:`travel_times`.

    Returns
    -------
    float
        By the shortest way to each point [s].
    """
    link = next(e for e in lineup.links if e.name == element)
    joined = neighbours(lineup) if joined is None else joined
    ways = [travel_times(lineup, p, without=without, joined=joined) for p in (link.start, link.end)]
    return max(min(way.get(p, math.inf) for way in ways) for p in {*ways[0], *ways[1]})


def _nearest(
    lineup: LineUp, point: str, valve: str, *, upstream: bool, joined: Adjacency
) -> tuple[float | None, str]:
    """Twice the travel time to the nearest fixed head of the wanted side, else of any [s]; its name."""
    holders = fixed_head_points(lineup)
    sources = set(lineup.sources)
    times = travel_times(lineup, point, without=(valve,), joined=joined)
    reached = sorted(
        ((p not in sources) == upstream, t, holders[p]) for p, t in times.items() if p in holders
    )
    if not reached:
        return None, ""
    _, time, name = reached[0]
    return 2 * time, name


def pipeline_period(
    lineup: LineUp, valve: Valve, *, flow: float = 0.0, joined: Adjacency | None = None
) -> PipelinePeriod:
    """Return the pipeline period of a valve: to the tank or supply that feeds it, and to one that receives.

    Parameters
    ----------
    lineup : LineUp
    valve : Valve
    flow : float
        Through the valve [m3/s]: it tells which side is upstream; at rest it is the ``start``.
    joined : dict, optional
        What :func:`neighbours` gives for the whole line-up, where that is at hand.

    Returns
    -------
    PipelinePeriod
        [s]

    Notes
    -----
    Twice the travel time from the valve to the end that reflects: the trade's word. Other open ship's tanks
    are nearer to a drop line valve, but send back only part of a wave, and none once they are shut; so they
    count only where no shore tank can be reached.

    Examples
    --------
    1200 m at 1000 m/s from the shore tank to the valve, 60 m from there to the ship's tank: 2.4 s and 0.12 s.

    >>> from surge.model.lineup import Liquid, Point, Tank
    >>> oil = Liquid(name="oil", density=850.0, sound_speed=1300.0, viscosity=5e-6, vapour_pressure=500.0)
    >>> names = ("shore", "before", "behind", "ship")
    >>> line = LineUp(
    ...     title="one line",
    ...     liquid=oil,
    ...     points=tuple(Point(name=name, elevation=0.0) for name in names),
    ...     pipes=(
    ...         Pipe(name="line", start="shore", end="before", length=1200, diameter=0.3, wave_speed=1000),
    ...         Pipe(name="drop", start="behind", end="ship", length=60, diameter=0.3, wave_speed=1000),
    ...     ),
    ...     valves=(
    ...         Valve(name="valve", start="before", end="behind", kv=2000.0, characteristic=((0, 0), (1, 1))),
    ...     ),
    ...     tanks=(
    ...         Tank(name="shore tank", point="shore", side="shore", level=20.0),
    ...         Tank(name="1C", point="ship", side="ship", level=5.0),
    ...     ),
    ... )
    >>> period = pipeline_period(line, line.valves[0])
    >>> period.upstream, period.downstream, period.reflects_at
    (2.4, 0.12, 'shore tank')
    """
    up, down = (valve.start, valve.end) if flow >= 0 else (valve.end, valve.start)
    if joined is None:
        joined = neighbours(lineup)
    above, name = _nearest(lineup, up, valve.name, upstream=True, joined=joined)
    below, _ = _nearest(lineup, down, valve.name, upstream=False, joined=joined)
    return PipelinePeriod(valve=valve.name, upstream=above, downstream=below, reflects_at=name)


def longest_period(lineup: LineUp, flows: Mapping[str, float]) -> float:
    """Return the longest pipeline period of the line-up [s].

    The greater of every valve's, and of twice the travel time between the two fixed heads farthest apart
    (what a pump stop goes by); without either, twice the whole length.

    Parameters
    ----------
    lineup : LineUp
    flows : mapping of str to float
        Steady flow of the elements [m3/s].
    """
    joined = neighbours(lineup)
    periods = (pipeline_period(lineup, v, flow=flows.get(v.name, 0.0), joined=joined) for v in lineup.valves)
    best = max((p.longest for p in periods), default=0.0)
    holders = fixed_head_points(lineup)
    for point in holders:
        times = travel_times(lineup, point, joined=joined)
        best = max(best, max((2 * t for p, t in times.items() if p in holders and p != point), default=0.0))
    return best or 2 * sum(p.travel_time for p in lineup.pipes)

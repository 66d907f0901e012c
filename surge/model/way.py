"""The way of the cargo: from a tank or supply ashore through one element after another to an end.

A line-up is a tree or a net, a picture along the line needs one way through it. Lengths [m].
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.model.lineup import Element, LineUp, NonReturnValve, Passage, Pipe, Pump, Valve

STILL = 1e-9  # [m3/s] less is no flow
DETOUR = 1e4  # [s] a wave's way through what stands still counts as so much longer
HOP = 1e-3  # [s] and every element as so much, so that fewer are preferred

# Widths of a drawing, as shares of the whole: short elements would not be seen to scale.
NARROWEST = 0.045  # of a pipe, hose or arm
LINK_WIDTH = 0.026  # of what has no length


@dataclass(frozen=True, kw_only=True)
class WayPart:
    """One element of a way.

    Attributes
    ----------
    name : str
    kind : str
        "pipe", "hose", "arm", "valve", "passage", "pump", "non-return valve".
    backward : bool
        The way goes from the element's end to its start.
    start, end : str
        Points, in the direction of the way.
    begin, length : float
        Distance of its start from the beginning of the way, and its length; 0 for links [m].
    left, right : float
        Where it stands in a drawing, 0 to 1.
    """

    name: str
    kind: str
    backward: bool
    start: str
    end: str
    begin: float
    length: float
    left: float
    right: float

    def drawn(self, share: Array) -> Array:
        """Return the places in a drawing, 0 to 1 [-], of shares of the way through this element [-]."""
        return self.left + (self.right - self.left) * share


@dataclass(frozen=True, kw_only=True)
class Way:
    """Elements behind one another.

    Attributes
    ----------
    parts : tuple of WayPart
    left_out : tuple of str
        Elements of the line-up that are not on it.
    """

    parts: tuple[WayPart, ...]
    left_out: tuple[str, ...]

    @property
    def points(self) -> tuple[str, ...]:
        """Points in order."""
        return (self.parts[0].start, *(p.end for p in self.parts))

    @property
    def pipes(self) -> tuple[WayPart, ...]:
        """Parts that have a length."""
        return tuple(p for p in self.parts if p.length > 0.0)

    @property
    def length(self) -> float:
        """Of all its parts [m]."""
        return self.parts[-1].begin + self.parts[-1].length

    def holds(self, subject: str, name: str) -> bool:
        """Whether an "element" or a "place" is on it."""
        return name in (self.points if subject == "place" else [p.name for p in self.parts])

    def drawn_at(self, point: str) -> float:
        """Return where a point stands in a drawing, 0 to 1 [-]."""
        return next(
            (p.left if point == p.start else p.right) for p in self.parts if point in (p.start, p.end)
        )


def kind_of(element: Element) -> str:
    """The trade's word for an element."""
    if isinstance(element, Pipe):
        return element.kind
    words = {Valve: "valve", Passage: "passage", Pump: "pump", NonReturnValve: "non-return valve"}
    return words[type(element)]


def source_of(lineup: LineUp, flows: Mapping[str, float]) -> str:
    """Return the point of the tank or supply out of which most flows; the first where nothing does.

    Parameters
    ----------
    lineup : LineUp
    flows : mapping of str to float
        Steady flow of the elements [m3/s].
    """
    ends = list(lineup.sources) or [t.point for t in lineup.tanks] or [lineup.points[0].name]
    return max(dict.fromkeys(ends), key=lambda point: outflow(lineup, flows, point))


def outflow(lineup: LineUp, flows: Mapping[str, float], point: str) -> float:
    """Return the flow from a point into the elements that meet there [m3/s].

    Parameters
    ----------
    lineup : LineUp
    flows : mapping of str to float
        Steady flow of the elements [m3/s].
    point : str
    """
    return sum(((e.start == point) - (e.end == point)) * flows.get(e.name, 0.0) for e in lineup.elements)


def find_way(
    lineup: LineUp, start: str, end: str, *, flows: Mapping[str, float], shunned: Collection[str] = ()
) -> Way | None:
    """Return the quickest way of a wave between two points that keeps to where something flows.

    Parameters
    ----------
    lineup : LineUp
        Every length a single one.
    start, end : str
        Names of points.
    flows : mapping of str to float
        Steady flow of the elements [m3/s].
    shunned : collection of str
        Elements that the way keeps away from where another way is left.

    Returns
    -------
    Way or None
        None where the two are not joined, or are the same.
    """
    steps = _steps(lineup, start, flows, shunned).get(end, ())
    if not steps:
        return None
    used = {e.name for e, _ in steps}
    edges = _edges([e for e, _ in steps])
    parts, begin = [], 0.0
    for (element, backward), left, right in zip(steps, edges, edges[1:], strict=False):
        length = element.length if isinstance(element, Pipe) else 0.0
        a, b = (element.end, element.start) if backward else (element.start, element.end)
        parts.append(
            WayPart(
                name=element.name,
                kind=kind_of(element),
                backward=backward,
                start=a,
                end=b,
                begin=begin,
                length=length,
                left=left,
                right=right,
            )
        )
        begin += length
    return Way(parts=tuple(parts), left_out=tuple(e.name for e in lineup.elements if e.name not in used))


def _steps(
    lineup: LineUp, start: str, flows: Mapping[str, float], shunned: Collection[str]
) -> dict[str, tuple[tuple[Element, bool], ...]]:
    """Cheapest way from ``start`` to every point, as (element, backward) (Dijkstra)."""
    joined: dict[str, list[tuple[str, Element, bool, float]]] = {p.name: [] for p in lineup.points}
    flowing = any(abs(q) > STILL for q in flows.values())
    for e in lineup.elements:
        cost = HOP + (e.travel_time if isinstance(e, Pipe) else 0.0)
        if flowing and abs(flows.get(e.name, 0.0)) <= STILL:
            cost += DETOUR
        cost += DETOUR if e.name in shunned else 0.0
        joined[e.start].append((e.end, e, False, cost))
        joined[e.end].append((e.start, e, True, cost))
    ways: dict[str, tuple[tuple[Element, bool], ...]] = {}
    queue: list[tuple[float, int, str, tuple[tuple[Element, bool], ...]]] = [(0.0, 0, start, ())]
    made = 0
    while queue:
        cost, _, point, way = heapq.heappop(queue)
        if point in ways:
            continue
        ways[point] = way
        for other, element, backward, more in joined[point]:
            if other not in ways:
                made += 1
                heapq.heappush(queue, (cost + more, made, other, (*way, (element, backward))))
    return ways


def _edges(elements: list[Element]) -> list[float]:
    """Left edges of elements in a drawing, and the last right one: by the root of their lengths."""
    roots = [math.sqrt(e.length) if isinstance(e, Pipe) else 0.0 for e in elements]
    whole = max(1.0 - LINK_WIDTH * roots.count(0.0), 0.3)
    least = NARROWEST / whole * sum(roots)
    widths = np.array([max(r, least) if r else 0.0 for r in roots])
    widths *= whole / max(float(widths.sum()), 1e-9)
    widths[np.array(roots) == 0.0] = (1.0 - whole if any(roots) else 1.0) / max(roots.count(0.0), 1)
    edges = np.concatenate([[0.0], np.cumsum(widths)])
    return list((edges / edges[-1]).tolist())

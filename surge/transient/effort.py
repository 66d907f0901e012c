"""What one step of a march costs, before it is made.

Decisions
---------
* Effort is counted in inner nodes of a pipe. Beside its nodes a step has a fixed cost, and one for each pipe
  and each link; links that close a loop, or a pump that branches, are solved by a general Newton whose
  cost grows with the cube of its size. The figures are fitted to marches of demo cases and of generated
  line-ups of 1 to 180 elements: with them all do 4e8 to 6e8 of it a second.
"""

from __future__ import annotations

from collections.abc import Iterable

from surge.model.lineup import LineUp, NonReturnValve, Pump
from surge.transient.reaches import Reaches

STEP, PIPE, LINK = 130.0, 14.0, 20.0
NEWTON = 1.0  # times the cube of the links and points that are solved together


def step_effort(lineup: LineUp, reaches: Reaches) -> float:
    """Return the effort of one step [-], in inner nodes."""
    lumped = [pipe for pipe, count in zip(lineup.pipes, reaches.count, strict=True) if not count]
    links = [(e.start, e.end, isinstance(e, Pump | NonReturnValve)) for e in lineup.links]
    # What hangs on a point is solved with the links that meet there, as a pump is.
    links += [(a.point, f"behind {a.name}", True) for a in lineup.attached]
    links += [(pipe.start, pipe.end, False) for pipe in lumped for _ in range(reaches.parts)]
    gridded = len(reaches.count) - len(lumped)
    newton = sum(size**3 for size in _general(links))
    return reaches.nodes + STEP + PIPE * gridded + LINK * len(links) + NEWTON * newton


def march_effort(lineup: LineUp, reaches: Reaches, duration: float) -> float:
    """Return the effort of a march of ``duration`` [s] [-]."""
    return step_effort(lineup, reaches) * duration / reaches.dt


def _general(links: Iterable[tuple[str, str, bool]]) -> list[int]:
    """Links and points of each group that the general Newton may have to solve."""
    group: dict[str, str] = {}

    def root(point: str) -> str:
        while group.setdefault(point, point) != point:
            point = group[point]
        return point

    found = list(links)
    for start, end, _ in found:
        group[root(start)] = root(end)
    members: dict[str, list[tuple[str, str, bool]]] = {}
    for link in found:
        members.setdefault(root(link[0]), []).append(link)
    sizes = []
    for own in members.values():
        points = {point for start, end, _ in own for point in (start, end)}
        branches = len(own) > 2 and any(pump for _, _, pump in own)
        if len(own) >= len(points) or branches:
            sizes.append(len(own) + len(points))
    return sizes

"""What one step of a march costs, before it is made.

Decisions
---------
* Effort is counted in inner nodes of a pipe. Beside its nodes a step has a fixed cost, and one for each pipe
  and each link; links that close a loop, or a pump that branches, are solved by a general Newton whose
  cost grows with the cube of its size. The figures are fitted to marches of demo cases and of generated
  line-ups of 1 to 180 elements: with them all do 4e8 to 6e8 of it a second.
* Lumped elements behind one another are passed along one by one in a single march, and cost more than in
  proportion from some ``FEW`` on; in a block they are one dense system for every lane. Fitted to chains of 2
  to 160 lumped pipes: 0.7 to 1.4 times what they take, where it was a hundredth for the longest.
"""

from __future__ import annotations

from collections.abc import Iterable

from surge.model.lineup import LineUp, NonReturnValve, Pump
from surge.transient.reaches import Reaches

Link = tuple[str, str, bool]
STEP, PIPE, LINK = 130.0, 14.0, 20.0
NEWTON = 1.0  # times the cube of the links and points that are solved together
FEW, CHAIN = 20, 0.6  # times the square of the links behind one another beyond the first few
# A step of a block costs as much as that of so many lanes by themselves, without and with frozen friction:
# measured on the demo cases (9 to 17 and 14 to 16); and so many times the cube of links behind one another.
BLOCK_COSTS = {False: 13.5, True: 15.0}
BLOCK_CHAIN = 1.35
UNSTEADY = 10.0  # of unsteady friction, some ten exponentials, for each node beside the node itself


def step_effort(lineup: LineUp, reaches: Reaches) -> float:
    """Return the effort of one step [-], in inner nodes."""
    gridded = sum(map(bool, reaches.count))
    links = _links(lineup, reaches)
    general, chains = _together(links)
    solved = NEWTON * sum(size**3 for size in general) + CHAIN * sum(max(n - FEW, 0) ** 2 for n in chains)
    return reaches.nodes + STEP + PIPE * gridded + LINK * len(links) + solved


def block_effort(lineup: LineUp, reaches: Reaches) -> float:
    """Return the effort of one step of a block of scenarios side by side [-], whatever its lanes do."""
    _, chains = _together(_links(lineup, reaches))
    side_by_side = BLOCK_COSTS[lineup.frozen_friction] * step_effort(lineup, reaches)
    return side_by_side + BLOCK_CHAIN * sum(n**3 for n in chains)


def _links(lineup: LineUp, reaches: Reaches) -> list[Link]:
    """What the march solves as links: their two points, and whether one lets flow one way only."""
    lumped = [pipe for pipe, count in zip(lineup.pipes, reaches.count, strict=True) if not count]
    links = [(e.start, e.end, isinstance(e, Pump | NonReturnValve)) for e in lineup.links]
    # What hangs on a point is solved with the links that meet there, as a pump is.
    links += [(a.point, f"behind {a.name}", True) for a in lineup.attached]
    return links + [(pipe.start, pipe.end, False) for pipe in lumped for _ in range(reaches.parts)]


def march_effort(lineup: LineUp, reaches: Reaches, duration: float) -> float:
    """Return the effort of a march of ``duration`` [s] [-]."""
    return step_effort(lineup, reaches) * duration / reaches.dt


def _together(links: Iterable[Link]) -> tuple[list[int], list[int]]:
    """Links and points of each group that the general Newton may have to solve; links of each other one."""
    group: dict[str, str] = {}

    def root(point: str) -> str:
        while group.setdefault(point, point) != point:
            point = group[point]
        return point

    found = list(links)
    for start, end, _ in found:
        group[root(start)] = root(end)
    members: dict[str, list[Link]] = {}
    for link in found:
        members.setdefault(root(link[0]), []).append(link)
    general, chains = [], []
    for own in members.values():
        points = {point for start, end, _ in own for point in (start, end)}
        branches = len(own) > 2 and any(pump for _, _, pump in own)
        if len(own) >= len(points) or branches:
            general.append(len(own) + len(points))
        else:
            chains.append(len(own))
    return general, chains

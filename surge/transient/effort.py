"""What one step of a march costs, before it is made.

Decisions
---------
* Effort is counted in inner nodes of a pipe. Beside its nodes a step has a fixed cost, and one for each pipe
  and each link; links that close a loop, or a pump that branches, are solved by a general Newton whose
  cost grows with the cube of its size. The figures are fitted to marches of demo cases and of generated
  line-ups of 1 to 180 elements: with them all do 4e8 to 6e8 of it a second.
* A valve or passage at a tank keeps what it is joined to from being swept as a tree: the general Newton
  solves it, at a cost that grows with the square where nothing closes a loop. Fitted to 92 to 262 links.
* Lumped elements behind one another are passed along one by one in a single march, and cost more than in
  proportion from some ``FEW`` on; in a block they are one dense system for every lane. Fitted to chains of 2
  to 160 lumped pipes: 0.7 to 1.4 times what they take, where it was a hundredth for the longest.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import NamedTuple

from surge.model.lineup import LineUp, NonReturnValve, Passage, Pump, Valve
from surge.transient.reaches import Reaches

STEP, PIPE, LINK = 130.0, 14.0, 20.0
NEWTON = 1.0  # times the cube of the links and points that are solved together
AT_TANK = 10.0  # times the square of the links that a valve or passage at a tank is solved together with
FEW, CHAIN = 20, 0.6  # times the square of the links behind one another beyond the first few
# A step of a block costs as much as that of so many lanes by themselves, without and with frozen friction:
# measured on the demo cases (9 to 17 and 14 to 16); and so many times the cube of links behind one another.
BLOCK_COSTS = {False: 13.5, True: 15.0}
BLOCK_CHAIN = 1.35
# At a tank more rounds are needed, by both: a block of 40 to 160 such links takes 2.4 to 4.7 times its lanes.
BLOCK_TANK = 12.0
UNSTEADY = 10.0  # of unsteady friction, some ten exponentials, for each node beside the node itself


class Link(NamedTuple):
    """What the march solves as a link: its two points, whether it lets flow one way only, and its law."""

    start: str
    end: str
    one_way: bool
    orifice: bool


class Together(NamedTuple):
    """Links and points of each group that may close a loop; links of each at a tank, of each other group."""

    general: list[int]
    at_tank: list[int]
    chains: list[int]


def step_effort(lineup: LineUp, reaches: Reaches) -> float:
    """Return the effort of one step [-], in inner nodes."""
    gridded = sum(map(bool, reaches.count))
    links = _links(lineup, reaches)
    own = together(links, _tanks(lineup))
    solved = NEWTON * sum(size**3 for size in own.general) + AT_TANK * sum(n**2 for n in own.at_tank)
    solved += CHAIN * sum(max(n - FEW, 0) ** 2 for n in own.chains)
    return reaches.nodes + STEP + PIPE * gridded + LINK * len(links) + solved


def block_effort(lineup: LineUp, reaches: Reaches) -> float:
    """Return the effort of one step of a block of scenarios side by side [-], whatever its lanes do."""
    own = together(_links(lineup, reaches), _tanks(lineup))
    side_by_side = BLOCK_COSTS[lineup.frozen_friction] * step_effort(lineup, reaches)
    dense = BLOCK_CHAIN * sum(n**3 for n in own.chains) + BLOCK_TANK * sum(n**3 for n in own.at_tank)
    return side_by_side + dense


def _tanks(lineup: LineUp) -> frozenset[str]:
    """Points of known head: what is solved on one side of them does not touch the other."""
    return frozenset(tank.point for tank in lineup.tanks)


def _links(lineup: LineUp, reaches: Reaches) -> list[Link]:
    """What the march solves as links, one for each part of what is lumped."""
    lumped = [pipe for pipe, count in zip(lineup.pipes, reaches.count, strict=True) if not count]
    links = [
        Link(e.start, e.end, isinstance(e, Pump | NonReturnValve), isinstance(e, Valve | Passage))
        for e in lineup.links
    ]
    # What hangs on a point is solved with the links that meet there, as a pump is.
    links += [Link(a.point, f"behind {a.name}", one_way=True, orifice=False) for a in lineup.attached]
    for pipe in lumped:
        joints = [pipe.start, *(f"{pipe.name} {k}" for k in range(1, reaches.parts)), pipe.end]
        links += [Link(a, z, one_way=False, orifice=False) for a, z in pairwise(joints)]
    return links


def march_effort(lineup: LineUp, reaches: Reaches, duration: float) -> float:
    """Return the effort of a march of ``duration`` [s] [-]."""
    return step_effort(lineup, reaches) * duration / reaches.dt


def together(links: Iterable[Link], tanks: frozenset[str]) -> Together:
    """Sort links into groups that are solved together."""
    group: dict[str, str] = {}

    def root(point: str) -> str:
        while group.setdefault(point, point) != point:
            point = group[point]
        return point

    found = list(links)
    for link in found:
        if link.start not in tanks and link.end not in tanks:
            group[root(link.start)] = root(link.end)
    members: dict[str, list[Link]] = {}
    for link in found:
        members.setdefault(root(link.end if link.start in tanks else link.start), []).append(link)
    sorted_ = Together([], [], [])
    for own in members.values():
        points = {point for link in own for point in (link.start, link.end)}
        branches = len(own) > 2 and any(link.one_way for link in own)
        if len(own) >= len(points) or branches:
            sorted_.general.append(len(own) + len(points))
        elif any(link.orifice and (link.start in tanks or link.end in tanks) for link in own):
            sorted_.at_tank.append(len(own))
        else:
            sorted_.chains.append(len(own))
    return sorted_

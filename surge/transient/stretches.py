"""Pipes behind one another that are one line for a wave, however many pieces they are drawn in.

Decisions
---------
* Pipes make one stretch where nothing else meets between them and their bore and wave speed are the same, so
  that nothing reflects there. They may differ in roughness, loss and rise.
* Fewer than ``LEAST_PIECES`` are left alone: each is then fitted by itself, which places their joints better
  and costs little. Our own choice: neither is nearer to the truth. Joining takes another step, and what
  stands on an edge may fall to the other side: with its two deck pipes joined the release demo finds that the
  coupling boils, which a march at a sixteenth of the step finds too, and does not look for what comes later.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from surge.model.lineup import LineUp, Pipe

LEAST_PIECES = 6  # of a stretch
ALIKE = 1e-9  # relative: bores and wave speeds as they are written


def stretches_of(lineup: LineUp) -> tuple[tuple[int, ...], ...]:
    """Return the stretches of a line-up, as numbers of its pipes in the order along each; all are in one.

    Parameters
    ----------
    lineup : LineUp
    """
    joints = _joints(lineup)
    found: list[tuple[int, ...]] = []
    seen = set[int]()
    for k in (*_ends(lineup, joints), *range(len(lineup.pipes))):  # a ring of pipes alone has no end
        if k not in seen:
            pieces = _along(k, lineup.pipes, joints, seen)
            found += [tuple(pieces)] if len(pieces) >= LEAST_PIECES else [(one,) for one in pieces]
    return tuple(found)


def _joints(lineup: LineUp) -> dict[str, tuple[int, int]]:
    """Points where two pipes that are alike meet and nothing else, with the two."""
    meet: dict[str, list[int]] = {p.name: [] for p in lineup.points}
    for k, pipe in enumerate(lineup.pipes):
        meet[pipe.start].append(k)
        meet[pipe.end].append(k)
    taken = {point for link in lineup.links for point in (link.start, link.end)}
    taken |= {t.point for t in lineup.tanks} | {s.point for s in lineup.supplies}
    taken |= {a.point for a in lineup.attached}
    return {
        point: (two[0], two[1])
        for point, two in meet.items()
        if point not in taken and len(two) == 2 and _alike(*(lineup.pipes[k] for k in two))
    }


def _alike(one: Pipe, two: Pipe) -> bool:
    return one is not two and all(
        math.isclose(getattr(one, what), getattr(two, what), rel_tol=ALIKE)
        for what in ("diameter", "wave_speed")
    )


def _ends(lineup: LineUp, joints: dict[str, tuple[int, int]]) -> Iterable[int]:
    """Pipes that are not between two others of their stretch."""
    return (k for k, p in enumerate(lineup.pipes) if p.start not in joints or p.end not in joints)


def _along(
    first: int, pipes: tuple[Pipe, ...], joints: dict[str, tuple[int, int]], seen: set[int]
) -> list[int]:
    """Numbers of the pipes from ``first`` on, one behind the other; they are added to ``seen``."""
    found = [first]
    seen.add(first)
    while True:
        here = pipes[found[-1]]
        further = (k for p in (here.start, here.end) for k in joints.get(p, ()) if k not in seen)
        k = next(further, None)
        if k is None:
            return found
        found.append(k)
        seen.add(k)

"""Which links must be solved together: alone, as a chain behind one another, or as a cluster.

Points and links are positions; shapes and columns are those of :mod:`surge.kernel.columns`.

Decisions
---------
* Links behind one another with nothing between (a pump, its throttle, a valve) are solved as one flow:
  orifices add up to one square law, the rest is linearised, so that Newton needs two or three rounds.
* Valves and lumped elements that branch without a loop are solved by sweeps from the leaves to the root and
  back (:mod:`surge.kernel.trees`).
* What is left (loops, points where only links meet, pumps that branch) goes to the general Newton.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Ints, Mask
from surge.kernel import columns

ChainRow = tuple[int, int, int, int]
TreeRow = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True, eq=False)
class Groups:
    """Every link in one group, for the kernel.

    Attributes
    ----------
    pairs : int array, shape (n,)
        Orifices that share their points with no other link: closed form.
    chains, chain : int arrays, shape (n, 2) and (links, CH_INTS)
        First row and end in ``chain`` of each run of links behind one another.
    ci, members, tree : int arrays, shape (n, C_INTS), (m,) and (k, T_INTS)
        Clusters of any other form; rows of those that are trees.
    plain : int array
        Points without a link.
    dry_place : int array, shape (points,)
        Place among the dry points of its group, -1 for others.
    """

    pairs: Ints
    chains: Ints
    chain: Ints
    ci: Ints
    members: Ints
    tree: Ints
    plain: Ints
    dry_place: Ints


def group_links(
    *,
    ends: Sequence[tuple[int, int]],
    orifice: Sequence[bool],
    branching: Sequence[bool],
    single: Sequence[bool],
    fixed: Mask,
    dry: Mask,
) -> Groups:
    """Sort links into groups that do not touch each other.

    Parameters
    ----------
    ends : sequence of (int, int)
        Start and end point of every link.
    orifice : sequence of bool
        Which links are valves or passages.
    branching : sequence of bool
        Which links the solver of trees knows: orifices and lumped elements.
    single : sequence of bool
        Which links a chain may hold only alone: those whose law comes in pieces.
    fixed, dry : bool arrays, shape (points,)
        Points of known head, and points where only links meet. A point of known head parts what
        it joins: nothing beyond it matters on this side.
    """
    touched: dict[int, list[int]] = {}
    for j, pair in enumerate(ends):
        for point in pair:
            touched.setdefault(point, []).append(j)
    dry_place = np.full(fixed.size, -1, dtype=np.int64)
    pairs: list[int] = []
    chains: list[list[ChainRow]] = []
    rows: list[tuple[int, ...]] = []
    members: list[int] = []
    tree: list[TreeRow] = []
    for links in _together(ends, fixed):
        points = sorted({p for j in links for p in ends[j]})
        shut_in = [p for p in points if dry[p]]
        dry_place[shut_in] = range(len(shut_in))
        if len(links) == 1 and not shut_in and orifice[links[0]]:
            pairs += links
        elif (
            all(len(touched[p]) == 2 for p in shut_in)
            and (len(links) == 1 or not any(single[j] for j in links))
            and (chain := _chain(links, points, shut_in, ends))
        ):
            chains.append(chain)
        else:
            first = len(members)
            members += [*links, *points]
            branches = _tree(links, points, ends, fixed) if all(branching[j] for j in links) else None
            if shut_in or any(orifice[j] and fixed[p] for j in links for p in ends[j]):
                branches = None  # an orifice at a known head has no slope where it turns
            rows.append(
                (first, first + len(links), first + len(links), len(members))
                + (len(tree), len(tree) + len(branches or ()))
            )
            tree += branches or ()
    stops = np.cumsum([0, *(len(c) for c in chains)])
    return Groups(
        pairs=np.array(pairs, dtype=np.int64),
        chains=np.column_stack([stops[:-1], stops[1:]]).astype(np.int64),
        chain=np.array([row for c in chains for row in c], dtype=np.int64).reshape(-1, columns.CH_INTS),
        ci=np.array(rows, dtype=np.int64).reshape(len(rows), columns.C_INTS),
        members=np.array(members, dtype=np.int64),
        tree=np.array(tree, dtype=np.int64).reshape(-1, columns.T_INTS),
        plain=np.array([i for i in range(fixed.size) if i not in touched], dtype=np.int64),
        dry_place=dry_place,
    )


def _together(ends: Sequence[tuple[int, int]], fixed: Mask) -> list[list[int]]:
    """Links that points of unknown head join."""
    group = list(range(fixed.size))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    for a, z in ends:
        if not (fixed[a] or fixed[z]):
            group[root(a)] = root(z)
    found: dict[int, list[int]] = {}
    for j, pair in enumerate(ends):
        free = [p for p in pair if not fixed[p]]
        found.setdefault(root(free[0]) if free else -1 - j, []).append(j)
    return list(found.values())


def _chain(
    links: list[int], points: list[int], dry: list[int], ends: Sequence[tuple[int, int]]
) -> list[ChainRow] | None:
    """Rows of a chain from one point that is not dry to another; None when the links branch."""
    wet = [p for p in points if p not in dry]
    if len(wet) != 2 or len(points) != len(links) + 1:
        return None
    at, rows, left = wet[0], [], list(links)
    while left:
        j = next(j for j in left if at in ends[j])
        a, z = ends[j]
        side, beyond = (1, z) if a == at else (-1, a)
        rows.append((j, side, at, beyond))
        left.remove(j)
        at = beyond
    return rows


def _tree(
    links: list[int], points: list[int], ends: Sequence[tuple[int, int]], fixed: Mask
) -> list[TreeRow] | None:
    """Rows of a tree, the farthest from its root first; None when the links close a loop.

    The root is the point at which most links meet, which keeps the tree low.
    """
    if len(points) != len(links) + 1:
        return None
    free = [p for p in points if not fixed[p]]
    root = max(free, key=lambda p: sum(p in ends[j] for j in links))
    rows: list[TreeRow] = []
    reached, left = [root], list(links)
    for parent in reached:
        for j in [j for j in left if parent in ends[j]]:
            a, z = ends[j]
            side, child = (1, z) if a == parent else (-1, a)
            rows.append((j, side, parent, child))
            left.remove(j)
            if not fixed[child]:
                reached.append(child)
    return rows[::-1]

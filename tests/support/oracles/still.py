"""The highest heads over all positions of valves and pumps, by solving every position: slow and plain.

A position is every valve open or shut and every pump running or standing. Each is solved as a steady flow in
a net of linear resistances, the same for every valve and pump and none for pipes, with a pump as a source of
head that lets liquid through. Of a non-return valve open and shut are tried, and what agrees with the flow is
taken. Heads [m].
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from surge.arrays import Array, Ints, Mask
from surge.model.lineup import LineUp, Passage, Pipe, Pump, Valve

LEAK = 1e-9  # of every point into nothing: what no source reaches falls to ``NOTHING``
NOTHING = -1e4  # [m]
SLACK = 1e-7  # [m] by which a non-return valve may be off


def highest_by_positions(lineup: LineUp, held: dict[str, float], lift: dict[str, float]) -> dict[str, float]:
    """Return the highest head of every point over all positions [m]; minus infinity where nothing brings one.

    Parameters
    ----------
    lineup : LineUp
    held : dict of str to float
        Heads of the points with a tank or supply [m].
    lift : dict of str to float
        Head of every pump that runs against a shut valve [m].

    Raises
    ------
    AssertionError
        When a position has no solution.
    """
    number = {p.name: k for k, p in enumerate(lineup.points)}
    joints = [(e.start, e.end) for e in lineup.elements if isinstance(e, Pipe | Passage)]
    while any(number[a] != number[b] for a, b in joints):
        for a, b in joints:
            number[a] = number[b] = min(number[a], number[b])
    elements = lineup.links
    start = np.array([number[e.start] for e in elements])
    end = np.array([number[e.end] for e in elements])
    head = np.full(len(number), np.nan)
    for name, value in held.items():
        head[number[name]] = np.fmax(head[number[name]], value)
    checked = np.array([isinstance(e, Pump) and e.non_return for e in elements])
    stands = [(0, 1) if isinstance(e, Valve | Pump) else (1,) for e in elements]
    lifts = np.array([lift.get(e.name, 0.0) for e in elements])
    best = np.full(len(number), -np.inf)
    for position in _blocks(stands):
        added = position * lifts
        # A pump lets through whether it runs or not; a non-return valve stands open or shut, both are tried.
        through = np.where([isinstance(e, Pump) for e in elements], 1, position)
        solved = np.zeros(len(position), dtype=bool)
        for opened in itertools.product((True, False), repeat=int(checked.sum())):
            conducts = through.astype(bool)
            conducts[:, checked] = opened
            heads = _solved(start, end, conducts, added, head)
            drive = (heads[:, start] + added - heads[:, end])[:, checked]
            right = np.where(opened, drive >= -SLACK, drive <= SLACK).all(axis=1)
            best = np.maximum(best, np.where(right[:, None], heads, -np.inf).max(axis=0))
            solved |= right
        assert solved.all(), "a position has no solution"
    return {name: float(best[k]) if best[k] > NOTHING / 2 else -np.inf for name, k in number.items()}


def _blocks(stands: Sequence[tuple[int, ...]], size: int = 2048) -> Iterator[Ints]:
    every = itertools.product(*stands)
    while block := list(itertools.islice(every, size)):
        yield np.array(block)


def _solved(start: Ints, end: Ints, conducts: Mask, added: Array, head: Array) -> Array:
    """Heads of every position, shape (positions, points) [m]; ``head`` is not a number where none is held."""
    n, lines = len(head), np.arange(len(start))
    fixed = ~np.isnan(head)
    incidence = np.zeros((len(start), n))
    incidence[lines, start] += 1.0
    incidence[lines, end] -= 1.0
    weighted = conducts[:, :, None] * incidence
    matrix = incidence.T @ weighted
    matrix[:, np.arange(n), np.arange(n)] += LEAK
    right = -(added[:, None, :] @ weighted)[:, 0, :] + LEAK * NOTHING
    matrix[:, fixed, :] = 0.0
    matrix[:, fixed, fixed] = 1.0
    right[:, fixed] = head[fixed]
    return np.asarray(np.linalg.solve(matrix, right[..., None])[..., 0], dtype=np.float64)

"""Generated berths that mean much work: what makes marches and searches take long, one kind after another."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from support.lineups.rated import rated
from surge.model.lineup import LineUp, Pipe, Point, ValveMove
from surge.rules.book import RuleBook

KINDS = ("short", "quick", "mesh", "pieces", "long", "slow", "many")
LONGEST = 500e3  # [m]


def laborious(seed: int, *, size: float = 0.3) -> tuple[LineUp, RuleBook]:
    """Return a berth of the kind ``KINDS[seed % 7]``, and the rules that hold at it."""
    lineup, book = rated(seed, size=size)
    lineup = lineup.with_(atmosphere=101325.0)  # in generated berths the air is heavy, so that nothing boils
    rng = np.random.default_rng([seed, 20])
    make = globals()[f"_{KINDS[seed % len(KINDS)]}"]
    return make(lineup, rng), book


def _short(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """Nothing is longer than some decimetres, and all lies on one level."""
    lineup = lineup.with_(points=tuple(replace(p, elevation=0.0) for p in lineup.points))
    return lineup.with_(pipes=tuple(replace(p, length=float(rng.uniform(0.1, 0.5))) for p in lineup.pipes))


def _quick(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """Another valve takes a twentieth of a second, or next to no time."""
    scenario = lineup.scenarios[0]
    moved = {m.valve for m in scenario.moves}
    still = [v.name for v in lineup.valves if v.name not in moved] or [lineup.valves[0].name]
    stroke = float(rng.choice([0.05, 0.01]))
    move = ValveMove(valve=still[0], start=30.0, law=((0.0, 1.0), (stroke, 0.9)))
    moves = tuple(m for m in scenario.moves if m.valve != still[0])
    return lineup.with_(scenarios=(replace(scenario, moves=(*moves, move)),))


def _mesh(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """A grid of valves without any pipe across the first valve."""
    first = lineup.valves[0]
    n = int(rng.integers(3, 9))
    names = {(i, j): f"mesh {i} {j}" for i in range(n) for j in range(n)}
    names[0, 0], names[n - 1, n - 1] = first.start, first.end
    elevation = lineup.points_by_name[first.start].elevation
    points = [Point(name=p, elevation=elevation) for p in names.values() if p.startswith("mesh")]
    ways = [((i, j), (i + 1, j)) for i in range(n - 1) for j in range(n)]
    ways += [((i, j), (i, j + 1)) for i in range(n) for j in range(n - 1)]
    valves = [
        replace(first, name=f"mesh valve {k}", start=names[a], end=names[b], adjustable=False)
        for k, (a, b) in enumerate(ways)
    ]
    return lineup.with_(points=(*lineup.points, *points), valves=(*lineup.valves, *valves))


def _pieces(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """Every pipe drawn as many."""
    parts = int(rng.integers(5, 40))
    pipes: list[Pipe] = []
    points = list(lineup.points)
    for p in lineup.pipes:
        a, z = (lineup.points_by_name[e].elevation for e in (p.start, p.end))
        ends = [p.start, *(f"{p.name} joint {k}" for k in range(1, parts)), p.end]
        shares = rng.dirichlet(np.full(parts, 3.0))
        points += [
            Point(name=name, elevation=a + (z - a) * float(share))
            for name, share in zip(ends[1:-1], np.cumsum(shares), strict=False)
        ]
        pipes += [
            replace(p, name=p.name if k == 0 else f"{p.name} part {k}", start=s, end=e,
                    length=p.length * float(share), minor_loss=p.minor_loss * float(share))
            for k, ((s, e), share) in enumerate(zip(pairwise(ends), shares, strict=True))
        ]  # fmt: skip
    return lineup.with_(points=tuple(points), pipes=tuple(pipes))


def _long(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """A closed branch of hundreds of kilometres."""
    end = Point(name="far end", closed=True, elevation=lineup.points_by_name[lineup.pipes[0].end].elevation)
    branch = replace(
        lineup.pipes[0],
        name="branch",
        start=lineup.pipes[0].end,
        end="far end",
        length=LONGEST * float(rng.uniform(0.1, 1.0)),
    )
    return lineup.with_(points=(*lineup.points, end), pipes=(*lineup.pipes, branch))


def _slow(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """Strokes of an hour beside one of a second."""
    scenario = lineup.scenarios[0]
    hour = float(rng.uniform(600, 3600))
    moves = tuple(
        replace(m, law=tuple((t * hour / m.law[-1][0], y) for t, y in m.law)) if k % 2 == 0 else m
        for k, m in enumerate(scenario.moves)
        if m.law[-1][0] > 0.0
    )
    return lineup.with_(scenarios=(replace(scenario, moves=moves),))


def _many(lineup: LineUp, rng: np.random.Generator) -> LineUp:
    """Dozens of scenarios."""
    scenario = lineup.scenarios[0]
    count = int(rng.integers(20, 60))
    return lineup.with_(scenarios=tuple(replace(scenario, name=f"scenario {k}") for k in range(count)))

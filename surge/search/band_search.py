"""Searches over points of the bands of what is uncertain.

A search over all points would march each of them at every stroke. Instead those that are worst at some stroke
near the plain answer are searched, and the others are held against what comes out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial

from surge.errors import CaseError
from surge.model.lineup import LineUp, Scenario
from surge.search.band_points import CENTRE, Bands, Point, alone, corners, lineup_at, mixed, scenario_at
from surge.search.smallest import first_look, smallest_safe
from surge.search.strokes import Family, StrokeLimits, resolution
from surge.workers import Progress, workers

NEARBY = 1.5  # times the stroke: so far up every point is held against it, at the spacing of a first look
THREADS = 2  # points marched at a time


@dataclass(frozen=True, kw_only=True)
class BandMoves:
    """What one band does alone, by the quick pass.

    Attributes
    ----------
    band : str
    width : float
        [-]
    moved : float
        By how much it makes the shortest safe stroke longer [s]; infinite: none is safe then.
    margin_moved : float
        By how much it takes the margin down at the plain shortest stroke [Pa].
    """

    band: str
    width: float
    moved: float
    margin_moved: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Member:
    """A point of the bands: one family, whose valve strokes ``factor`` times as long as it is told to."""

    point: Point
    family: Family
    factor: float

    def margin(self, stroke: float) -> float:
        """Margin at a stroke that has been looked at [Pa]."""
        return self.family.near[stroke * self.factor].margin


class Members:
    """All points of the bands; those that differ in the stroke only share a family."""

    def __init__(
        self, lineup: LineUp, scenario: Scenario, valve: str, bands: Bands, progress: Progress
    ) -> None:
        self.bands = bands
        self.left_out: list[tuple[Point, str]] = []
        self.families: dict[Point, Family] = {}
        self.members: list[Member] = []
        self.progress = progress
        points = [CENTRE, *(p for n in bands.open for p in alone(n)), *corners(bands), *mixed(bands)]
        for point in dict.fromkeys(points):
            key = point._replace(stroke=0.0)
            if key not in self.families:
                moved = lineup_at(lineup, bands, point)
                try:
                    timed = scenario_at(lineup, scenario, bands, point)
                    self.families[key] = Family(moved, timed, valve, progress)
                except CaseError as error:
                    if key == CENTRE:
                        raise
                    self.left_out.append((point, str(error)))
                    continue
            factor = 1.0 + point.stroke * bands.width("stroke")
            self.members.append(Member(point=point, family=self.families[key], factor=factor))
        self.centre = self.members[0]
        self.period = max(f.period for f in self.families.values())
        self.rise = max(f.rise for f in self.families.values())

    @property
    def marches(self) -> int:
        """Strokes looked at, over all points and ranges."""
        return sum(len(f.near) * len(f.scanners) for f in self.families.values())

    def of(self, points: Iterable[Point]) -> list[Member]:
        """The members at these points, as far as the line-up can flow there."""
        wanted = set(points)
        return [m for m in self.members if m.point in wanted]

    def fill(self, members: Sequence[Member], strokes: Iterable[float]) -> None:
        """Look at every stroke that is new at every member."""
        strokes = list(strokes)
        new: dict[int, tuple[Family, dict[float, None]]] = {}
        for m in members:
            _, wanted = new.setdefault(id(m.family), (m.family, {}))
            wanted.update((s * m.factor, None) for s in strokes if s * m.factor not in m.family.near)
        with workers(THREADS) as pool:
            for _ in pool.map(lambda pair: pair[0].margins(list(pair[1])) if pair[1] else [], new.values()):
                pass

    def worst(self, members: Sequence[Member], strokes: Sequence[float]) -> list[float]:
        """Least margin of every stroke over the members [Pa]."""
        self.fill(members, strokes)
        return [min(m.margin(s) for m in members) for s in strokes]

    def hidden(self, stroke: float) -> float:
        """As of a family, for the greatest rise and the longest period."""
        return self.rise * min(1.0, (self.period / stroke) ** 2)


class Search:
    """Searches over some of the points, the plain answer known."""

    def __init__(self, members: Members, plain: StrokeLimits) -> None:
        assert plain.shortest is not None
        self.all, self.plain, self.start = members, plain, plain.shortest
        every = first_look(plain.to, plain.from_)
        # What is shorter than the plain answer is not safe: two values below it are enough to refine from.
        below = [v for v in every if v < self.start][:2]
        self.values = [v for v in every if v >= self.start] + below

    def near(self, stroke: float) -> list[float]:
        """Values of the first look from a stroke up to some times it, and itself."""
        return [stroke, *(v for v in self.values if stroke < v <= NEARBY * stroke)]

    def shortest(self, members: Sequence[Member], need: float) -> float | None:
        """The smallest stroke from which on all members keep the need [s]."""
        ends = [m for m in members if all(abs(x) in (0.0, 1.0) for x in m.point)]
        screen = self.near(self.start)
        self.all.fill(ends, screen)
        worst = [min(ends, key=lambda m: m.margin(s)) for s in screen]
        active = [m for m in ends if m is self.all.centre or m in worst]
        while True:
            found = smallest_safe(
                partial(self.all.worst, active),
                self.values,
                need=need,
                resolution=resolution,
                spacing=self.all.period / 4,
                hidden=self.all.hidden,
            )
            if found is None:
                return None
            self.all.fill(members, self.near(found))
            # At the longest the flow follows the valve: what is worst lies at an end of the bands.
            self.all.fill(ends, [self.plain.to])
            late = [
                m
                for m in members
                if m not in active
                and not all(m.margin(s) >= need for s in [*self.near(found), *[self.plain.to] * (m in ends)])
            ]
            if not late:
                return found
            active += late

    def alone(self, need: float) -> tuple[BandMoves, ...]:
        """What each band does alone, that which matters most first."""
        centre = [self.all.centre]
        base = self.shortest(centre, need)
        plain_margin = self.all.worst(centre, [self.start])[0]
        found = []
        for band in self.all.bands.open:
            own = [*centre, *self.all.of(alone(band))]
            stroke = self.shortest(own, need)
            found.append(
                BandMoves(
                    band=band,
                    width=self.all.bands.width(band),
                    moved=math.inf if stroke is None or base is None else max(stroke - base, 0.0),
                    margin_moved=plain_margin - self.all.worst(own, [self.start])[0],
                )
            )
        return tuple(sorted(found, key=lambda b: (-b.moved, -b.margin_moved)))

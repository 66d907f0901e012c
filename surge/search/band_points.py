"""What a case is uncertain of, as bands about its figures, and the line-up at points within them.

A point is four shares between -1 and 1, one of each band: -1 is the figure less the whole band.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import NamedTuple

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Pipe, Scenario, Table
from surge.model.ranges import evenly_inside
from surge.rules.book import RuleBook
from surge.search.bounds import resolution
from surge.search.judge import Bench
from surge.search.smallest import first_look, smallest_safe
from surge.search.stroke_family import StrokeFamily
from surge.search.strokes import StrokeLimits
from surge.workers import Progress, workers

MOST_BAND = 0.5  # widest band [-]: beyond it a figure is not known at all
EACH_ALONE = (-1.0, -0.5, 0.5, 1.0)  # shares at which each band is looked at alone
MIXED = 6  # points in the interior of all bands together
KNOTS = 20  # a characteristic is bent at so many equal steps of opening, and at its own points


@dataclass(frozen=True, kw_only=True)
class Bands:
    """How far figures of a case may be off, as fractions either way; 0 is exact.

    Attributes
    ----------
    wave_speed : float or None
        Of every pipe, hose and arm together; None: not stated, then the doubt of the liquid's sound speed.
    stroke : float
        Of the stroke time of the valve.
    rate : float
        Of the rate.
    characteristic : float
        Of the exponent by which Kv ratios are bent: ratio**(1 + band), all valves together.
    """

    wave_speed: float | None = None
    stroke: float = 0.0
    rate: float = 0.0
    characteristic: float = 0.0

    def stated(self, sound_speed_doubt: float) -> Bands:
        """The bands with that of the wave speed by the doubt of the sound speed, where none is stated.

        By Korteweg's formula da/a = (a/c)^2 dc/c: a wave speed is never in more doubt than the sound speed.
        """
        return replace(self, wave_speed=sound_speed_doubt) if self.wave_speed is None else self

    def width(self, band: str) -> float:
        """One band by its name [-]."""
        return float(getattr(self, band) or 0.0)

    @property
    def open(self) -> tuple[str, ...]:
        """Names of the bands that are not 0."""
        return tuple(n for n in BandPoint._fields if self.width(n) > 0.0)

    def refuse(self) -> None:
        """Raise what cannot be.

        Raises
        ------
        CaseError
            A band below 0 or above ``MOST``.
        """
        faults = [
            Fault(
                path=("bands", name),
                found=f"{name} = {self.width(name):g}",
                expected=f"a fraction from 0 to {MOST_BAND:g}",
                remedy="write how far the figure may be off either way, such as 0.05 for 5 %",
            )
            for name in BandPoint._fields
            if not 0.0 <= self.width(name) <= MOST_BAND
        ]
        if faults:
            raise CaseError(faults)


class BandPoint(NamedTuple):
    """Shares of the bands, each from -1 to 1."""

    wave_speed: float = 0.0
    stroke: float = 0.0
    rate: float = 0.0
    characteristic: float = 0.0


CENTRE = BandPoint()


def alone(band: str) -> list[BandPoint]:
    """Points at which one band is looked at alone."""
    return [CENTRE._replace(**{band: share}) for share in EACH_ALONE]


def corners(bands: Bands) -> list[BandPoint]:
    """All bands at their ends together; none where fewer than two are open.

    Of the stroke band only the quick end: where every longer stroke is held as well, the slow end is.
    """
    names = bands.open
    if len(names) < 2:
        return []
    ends = [(-1.0,) if n == "stroke" else (-1.0, 1.0) for n in names]
    return [CENTRE._replace(**dict(zip(names, at, strict=True))) for at in product(*ends)]


def mixed(bands: Bands) -> list[BandPoint]:
    """Points in the interior of all open bands together; none where fewer than two are open."""
    names = bands.open
    if len(names) < 2:
        return []
    shares = ([2.0 * x - 1.0 for x in evenly_inside(i)] for i in range(1, MIXED + 1))
    return [CENTRE._replace(**dict(zip(names, row, strict=False))) for row in shares]


def bent(characteristic: Table, exponent: float) -> Table:
    """Return a characteristic with its ratios raised to a power, straight between enough points."""
    if exponent == 1.0:
        return characteristic
    steps = [k / KNOTS for k in range(KNOTS + 1)]
    found = []
    for (x0, y0), (x1, y1) in zip(characteristic, characteristic[1:], strict=False):
        inside = [x for x in steps if x0 < x < x1]
        found += [(x0, y0), *((x, y0 + (y1 - y0) * (x - x0) / (x1 - x0)) for x in inside)]
    found.append(characteristic[-1])
    return tuple((x, y**exponent) for x, y in found)


def lineup_at(lineup: LineUp, bands: Bands, point: BandPoint) -> LineUp:
    """Return the line-up with its wave speeds and characteristics at a point of the bands."""
    factor = 1.0 + point.wave_speed * bands.width("wave_speed")
    exponent = 1.0 + point.characteristic * bands.width("characteristic")

    def waves(pipe: Pipe) -> Pipe:
        ends = pipe.wave_speed_range
        return replace(
            pipe,
            wave_speed=pipe.wave_speed * factor,
            wave_speed_range=None if ends is None else (ends[0] * factor, ends[1] * factor),
        )

    return lineup.with_(
        pipes=tuple(waves(p) for p in lineup.pipes),
        valves=tuple(replace(v, characteristic=bent(v.characteristic, exponent)) for v in lineup.valves),
    )


def scenario_at(lineup: LineUp, scenario: Scenario, bands: Bands, point: BandPoint) -> Scenario:
    """Return the scenario with its rate at a point of the bands; where there is no rate, as it is."""
    factor = 1.0 + point.rate * bands.width("rate")
    if lineup.rate is None or factor == 1.0:
        return scenario
    return replace(scenario, rate=(scenario.rate or lineup.rate.agreed) * factor)


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

    point: BandPoint
    family: StrokeFamily
    factor: float

    def margin(self, stroke: float) -> float:
        """Margin at a stroke that has been looked at [Pa]."""
        return self.family.near[stroke * self.factor].margin


class Members:
    """All points of the bands; those that differ in the stroke only share a family."""

    def __init__(
        self,
        lineup: LineUp,
        scenario: Scenario,
        valves: Sequence[str],
        bands: Bands,
        progress: Progress,
        *,
        book: RuleBook,
    ) -> None:
        self.bands = bands
        self.left_out: list[tuple[BandPoint, str]] = []
        self.families: dict[BandPoint, StrokeFamily] = {}
        self.members: list[Member] = []
        self.progress = progress
        points = [CENTRE, *(p for n in bands.open for p in alone(n)), *corners(bands), *mixed(bands)]
        for point in dict.fromkeys(points):
            key = point._replace(stroke=0.0)
            if key not in self.families:
                moved = lineup_at(lineup, bands, point)
                try:
                    timed = scenario_at(lineup, scenario, bands, point)
                    self.families[key] = StrokeFamily(
                        moved, timed, valves, progress, bench=Bench(moved, book, progress)
                    )
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

    def of(self, points: Iterable[BandPoint]) -> list[Member]:
        """The members at these points, as far as the line-up can flow there."""
        wanted = set(points)
        return [m for m in self.members if m.point in wanted]

    def fill(self, members: Sequence[Member], strokes: Iterable[float]) -> None:
        """Look at every stroke that is new at every member."""
        strokes = list(strokes)
        new: dict[int, tuple[StrokeFamily, dict[float, None]]] = {}
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

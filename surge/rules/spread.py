"""A scenario over all that is known as a range only: where in the ranges it is worst, and by how much.

Decisions
---------
* No end of a range is the unfavourable one by decree. Each range is looked at alone first, at both ends and
  inside, everything else as usual.
* A figure that is judged, and that cannot come to its limit though all ranges did their worst together,
  times ``SURE``, is left at that: what it may move goes into its error.
* For every other one, and for the high and the low pressure nearest to a limit: the point that the looks
  foretell as its worst. For those that may come to their limits also points of a low-discrepancy sequence
  inside; then one range after the other from the worst point known, again as long as that finds worse; and
  between the samples of each until the extreme is bracketed.
* Where one limit is exceeded at every point looked at so far, nothing is followed: that is the answer.
* A range is left out of that where all that are left out together move the figure by less than half of the
  error aimed at. That goes into the error, and what may hide between samples: the top of a parabola that
  bends ``BENDS`` times as much as the samples beside it do.
* Full runs are made where the figures that come nearest to their limits are worst, up to ``MOST_RUNS``. What
  another point was seen to add to a figure goes into its error.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from surge.model.ranges import Shares, evenly_inside
from surge.rules.sights import SCALED, Key, Sight, Sights, moved

SURE = 1.5  # times the sum of what each range does alone
# Shares looked at inside a range: of lengths, of wave speeds, of all else.
INSIDE = {"length": tuple(k / 8 for k in range(1, 8)), "wave speed": (0.2, 0.5), "": (0.5,)}
FOLLOWED_INSIDE = (0.25, 0.5, 0.75)  # and from the worst point known
MOST_RUNS = 4  # points of full runs
MOST_FIGURES = 3  # judged figures that are followed to their worst point, after the foretold ones
ROUNDS = 3  # times through the ranges
BRACKET = 8  # looks between samples of one range
BENDS = 2.0  # times the bend seen beside a gap between samples
NAMED = 3  # ranges named with a figure
MIXED = 6  # points inside all ranges that matter


@dataclass(frozen=True, kw_only=True)
class Alone:
    """What one range does to one figure by itself, all else as usual.

    Attributes
    ----------
    worse : float
        By how much it gets worse at most [the unit of the figure].
    swing : float
        Between its best and its worst.
    at : float
        The share at which it is worst [-].
    """

    worse: float
    swing: float
    at: float


class Spread:
    """Follows what is judged in one scenario to its worst in the ranges."""

    def __init__(self, sights: Sights) -> None:
        self.sights = sights
        self.base = sights.base
        self.alone: list[dict[Key, Alone]] = []
        self.hidden: dict[Key, float] = {}  # what may lie between samples
        self._each_alone()
        self.near = self._near()
        sights.see(self._foretold(key) for key in self.followed)
        for key in [] if self.doomed else self._first(self.near)[:MOST_FIGURES]:
            self._follow(key)

    # One range alone

    def _each_alone(self) -> None:
        sights, wanted = self.sights, []
        for k, one in enumerate(sights.ranges):
            sights.find_ends(k)
            low, high = sights.ends[k]
            inside = [low + s * (high - low) for s in INSIDE.get(one.quantity, INSIDE[""])]
            wanted.append((low, high, *inside))
        sights.see(moved(sights.usual, k, share) for k, shares in enumerate(wanted) for share in shares)
        for k, shares in enumerate(wanted):
            looks = [(sights.usual[k], self.base)]
            for share in shares:
                sight = sights.at(moved(sights.usual, k, share))
                if sight is not None and share != sights.usual[k]:
                    looks.append((share, sight))
            self.alone.append({key: _alone(key, looks) for key in self.base.values})

    def reach(self, key: Key) -> float:
        """The worst that a figure can come to if all ranges did their worst together, and some more.

        Infinite for a rule that has a margin at some points only, and none at the usual figures: what a range
        does to it alone is not known.
        """
        if key not in self.base.values:
            return math.inf
        worse = sum(found[key].worse for found in self.alone)
        return max(self.base.values[key] + SURE * worse, self.worst(key).values[key])

    def _near(self) -> list[Key]:
        """Figures that may come to their limits."""
        s = self.sights
        return [
            key
            for key in self.base.values
            if key in s.limits and self.reach(key) + s.noise(key) + s.small(key) > s.limits[key]
        ]

    @property
    def doomed(self) -> bool:
        """Whether one limit is exceeded for certain at every point looked at."""
        s, looks = self.sights, self.sights.all
        return any(
            min(one.values.get(key, -math.inf) for one in looks) > s.limits[key] + s.small(key) + s.noise(key)
            for key in self.near
        )

    def load(self, key: Key, value: float) -> float:
        """How far a figure is beyond its limit [shares of a scale]; for ordering."""
        s = self.sights
        limit = s.limits[key]
        scale = s.scale.get(key, 1.0) if key[0] in SCALED else max(abs(limit), 1e5)
        return (value - limit) / scale

    def _first(self, keys: Iterable[Key]) -> list[Key]:
        """Those that come nearest to their limits first."""
        return sorted(keys, key=lambda k: -self.load(k, self.worst(k).values[k]))

    @property
    def followed(self) -> list[Key]:
        """Figures that are followed to their worst: those near their limits, and the nearest of each kind."""
        limits, nearest = self.sights.limits, []
        for way in ("high", "low"):
            nearest += self._first(k for k in self.base.values if k in limits and k[-1] == way)[:1]
        return self._first(dict.fromkeys([*self.near, *nearest]))

    def active(self, key: Key) -> list[int]:
        """Ranges that matter for a figure, the most important first."""
        order = sorted(range(len(self.alone)), key=lambda k: self.alone[k][key].swing)
        left, most = 0.0, self.sights.small(key)
        while order and left + self.alone[order[0]][key].swing <= most:
            left += self.alone[order.pop(0)][key].swing
        return order[::-1]

    def left_out(self, key: Key) -> float:
        """What the ranges that are left out may add to a figure."""
        active = set(self.active(key))
        return sum(found[key].worse for k, found in enumerate(self.alone) if k not in active)

    # Together

    def worst(self, key: Key) -> Sight:
        """The point at which a figure was seen at its worst; the first of equals."""
        return max(self.sights.all, key=lambda s: s.values.get(key, -math.inf))

    def _foretold(self, key: Key) -> Shares:
        shares = list(self.sights.usual)
        for k in self.active(key):
            shares[k] = self.alone[k][key].at
        return tuple(shares)

    def _follow(self, key: Key) -> None:
        """From the worst point known, one range after the other."""
        active = self.active(key)
        self.sights.see(self._inside(active))
        for _ in range(ROUNDS):
            before = self.worst(key)
            for k in active:
                self._along(key, k)
            if self.worst(key).values[key] <= before.values[key] + self.sights.small(key):
                break
        self.hidden[key] = sum(self._bracketed(key, k) for k in active)

    def _along(self, key: Key, k: int) -> None:
        at = self.worst(key).shares
        low, high = self.sights.ends[k]
        inside = [low + s * (high - low) for s in FOLLOWED_INSIDE]
        self.sights.see(moved(at, k, share) for share in (low, high, *inside))

    def _bracketed(self, key: Key, k: int) -> float:
        """Look between the samples of one range until what may hide there is small; what is left of it."""
        self._along(key, k)
        over = 0.0
        for _ in range(BRACKET):
            at = self.worst(key)
            line = sorted(
                (s.shares[k], s.values[key])
                for s in self.sights.all
                if key in s.values and moved(s.shares, k, 0.0) == moved(at.shares, k, 0.0)
            )
            hides, between = _may_hide(line)
            over = hides - at.values[key]
            if over <= self.sights.small(key):
                return max(over, 0.0)
            self.sights.at(moved(at.shares, k, between))
        return max(over, 0.0)

    def _inside(self, active: list[int]) -> list[Shares]:
        """Points inside the ranges that matter, spread evenly."""
        found = []
        for i in range(1, MIXED + 1):
            shares = list(self.sights.usual)
            for k, share in zip(active, evenly_inside(i), strict=False):
                low, high = self.sights.ends[k]
                shares[k] = low + share * (high - low)
            found.append(tuple(shares))
        return found if active else []

    # What comes of it

    def points(self) -> list[Shares]:
        """Where full runs are made: at the worst of the figures that come nearest to their limits.

        Before them, where a rule has a margin that has none at the usual figures: else no run would show it.
        """
        found: list[Sight] = []
        for key in dict.fromkeys([*self._appearing(), *self.followed]):
            worst = self.worst(key)
            near = worst.values[key] - 2.0 * self.sights.small(key)
            if any(s.values.get(key, -math.inf) >= near for s in found):
                continue
            found.append(worst)
            if len(found) == MOST_RUNS:
                break
        return [s.shares for s in found] or [self.base.shares]

    def _appearing(self) -> list[Key]:
        """Rules that have a margin at some points, and none at the usual figures."""
        return [k for s in self.sights.all for k in s.values if k not in self.base.values]

    def bound(self, key: Key) -> float:
        """The worst that a figure may come to anywhere in the ranges."""
        seen = self.worst(key).values[key]
        if key in self.near and key in self.hidden:
            return seen + self.left_out(key) + self.hidden[key]
        return max(seen, self.reach(key))

    def matter(self, key: Key) -> list[int]:
        """Ranges that are named with a figure: those that move it most, and visibly."""
        return [k for k in self.active(key) if self.alone[k][key].swing > self.sights.small(key)][:NAMED]


def _alone(key: Key, looks: list[tuple[float, Sight]]) -> Alone:
    seen = [(s.values[key], share) for share, s in looks if key in s.values]
    worst, at = max(seen, key=lambda pair: pair[0])
    return Alone(worse=worst - seen[0][0], swing=worst - min(v for v, _ in seen), at=at)


def _may_hide(line: list[tuple[float, float]]) -> tuple[float, float]:
    """The most that may lie between samples (share, value), and the share in the middle of that gap."""
    best, between = -math.inf, 0.5
    for i in range(len(line) - 1):
        (x0, y0), (x1, y1) = line[i], line[i + 1]
        curved = [
            abs(_second(line[j - 1 : j + 2])) * (x1 - x0) ** 2 for j in (i, i + 1) if 0 < j < len(line) - 1
        ]
        bend, rise = BENDS * max(curved, default=0.0) / 2.0, y1 - y0
        top = max(y0, y1)
        if bend > abs(rise):  # else the parabola through both has its top outside
            top = 0.5 * (y0 + y1) + bend / 4.0 + rise**2 / (4.0 * bend)
        if top > best:
            best, between = top, 0.5 * (x0 + x1)
    return best, between


def _second(three: list[tuple[float, float]]) -> float:
    """Second derivative through three points."""
    (x0, y0), (x1, y1), (x2, y2) = three
    return 2.0 * ((y2 - y1) / (x2 - x1) - (y1 - y0) / (x1 - x0)) / (x2 - x0)

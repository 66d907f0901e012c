"""Line-ups made at random that are harder than berths, for the hunt and its seeded part.

Trees, loops, arms side by side, very short and very long elements, slow hoses, pumps in pairs, throttles
right behind pumps.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from support.lineups.generated import Berth, manifold
from surge.model.lineup import LineUp, Pump, PumpMove, Scenario

KINDS = ("tree", "loop", "arms", "short", "long", "pumps", "hoses")


class Network(Berth):
    """One line-up of a kind; see :data:`KINDS`."""

    def __init__(self, rng: np.random.Generator, kind: str, *, size: float = 1.0) -> None:
        self.kind = kind
        super().__init__(rng, size=size)

    def _line(self) -> None:
        self.steel = float(self.rng.uniform(950, 1280))
        self.count = 0
        getattr(self, f"_{self.kind}")()

    def steel_pipe(self, name: str, start: str, end: str, low: float, high: float) -> None:
        speed = self.steel * float(self.rng.uniform(0.95, 1.05))
        self.pipe(name, start, end, self.between(low, high), speed)

    def shore(self, low: float, high: float, *, pumped: float = 0.5) -> None:
        """From the shore tank to the jetty."""
        here = "shore tank"
        if self.likely(pumped):
            self.pump("pump", here, "discharge")
            here = "discharge"
        self.steel_pipe("shore line", here, "jetty", self.size * low, self.size * high)

    def pump(self, name: str, start: str, end: str) -> None:
        top = float(self.rng.uniform(50, 110))
        rate = math.pi / 4 * self.bore**2 * float(self.rng.uniform(2, 4))
        curve = ((0.0, top), (rate, 0.85 * top), (1.5 * rate, 0.68 * top))
        self.elements.append(Pump(name=name, start=start, end=end, curve=curve, non_return=self.likely(0.7)))

    def arm(self, name: str, start: str, end: str, *, slow: bool = False) -> None:
        speed = self.between(120, 350) if slow else self.between(250, 900)
        self.pipe(name, start, end, self.between(6, 60), speed, "hose")

    def ends(self, start: str, count: int, low: float, high: float) -> None:
        """Drop lines with a valve or a passage into a tank each."""
        for _ in range(count):
            k = self.count = self.count + 1
            self.steel_pipe(f"drop {k}", start, f"bottom {k}", low, high)
            self._end(k)

    def dead(self, name: str, start: str, low: float, high: float) -> None:
        self.steel_pipe(name, start, f"blank of {name}", low, high)

    def _tree(self) -> None:
        """Tees behind tees, dead legs of all lengths, two to five tanks."""
        self.shore(300, 2500)
        self.arm("hose", "jetty", "manifold")
        self.valve("manifold valve", "manifold", "deck")
        here = "deck"
        for k in range(int(self.rng.integers(1, 4))):
            self.steel_pipe(f"deck line {k}", here, f"tee {k}", 15, 150)
            here = f"tee {k}"
            self.ends(here, 1, 10, 60)
            if self.likely(0.6):
                self.dead(f"dead leg {k}", here, 2, 150)
        self.steel_pipe("last", here, "end tee", 10, 60)
        self.ends("end tee", 2, 10, 40)

    def _loop(self) -> None:
        """A ring on deck with a valve in one half, fed at one side and drawn from the other."""
        self.shore(300, 2500)
        self.arm("hose", "jetty", "manifold")
        self.valve("manifold valve", "manifold", "deck")
        self.steel_pipe("feed", "deck", "ring a", 10, 60)
        self.steel_pipe("port side", "ring a", "ring b", 40, 250)
        self.steel_pipe("starboard fore", "ring a", "ring c", 20, 150)
        self.valve("ring valve", "ring c", "ring d")
        self.steel_pipe("starboard aft", "ring d", "ring b", 20, 150)
        self.ends("ring b", 1, 10, 50)
        if self.likely(0.5):
            self.ends("ring c", 1, 10, 50)
        if self.likely(0.5):
            self.dead("dead leg", "ring b", 3, 100)

    def _arms(self) -> None:
        """Two or three arms side by side, each with a valve of its own."""
        self.shore(300, 2500)
        self.steel_pipe("header", "jetty", "split", 5, 40)
        for k in range(int(self.rng.integers(2, 4))):
            self.arm(f"arm {k}", "split", f"flange {k}")
            name = "manifold valve" if k == 0 else f"manifold valve {k}"
            self.valve(name, f"flange {k}", f"behind {k}")
            self.steel_pipe(f"branch {k}", f"behind {k}", "deck tee", 5, 60)
        self.steel_pipe("deck line", "deck tee", "tee", 20, 150)
        self.ends("tee", 1 + self.likely(0.5), 10, 50)

    def _short(self) -> None:
        """Many elements of a few metres between elements of all lengths."""
        self.shore(200, 1500)
        here = "jetty"
        for k in range(int(self.rng.integers(2, 5))):
            self.steel_pipe(f"spool {k}", here, f"joint {k}", 0.5, 8)
            here = f"joint {k}"
            if self.likely(0.4):
                self.dead(f"stub {k}", here, 0.4, 6)
        self.arm("hose", here, "manifold")
        self.valve("manifold valve", "manifold", "deck")
        self.steel_pipe("deck line", "deck", "tee", 3, 60)
        self.dead("stub", "tee", 0.5, 12)
        self.ends("tee", 1 + self.likely(0.4), 3, 30)

    def _long(self) -> None:
        """Sea lines of kilometres beside parts of metres: line packing, strokes of many periods or few."""
        self.shore(3000, 9000)
        self.arm("hose", "jetty", "manifold", slow=self.likely(0.3))
        self.valve("manifold valve", "manifold", "deck")
        self.steel_pipe("deck line", "deck", "tee", 20, 200)
        if self.likely(0.5):
            self.dead("dead leg", "tee", 5, 150)
        self.ends("tee", 1 + self.likely(0.3), 10, 60)

    def _pumps(self) -> None:
        """Two pumps, side by side or with a throttle right behind; a booster on the way."""
        self.pump("pump", "shore tank", "header")
        if self.likely(0.5):
            self.pump("second pump", "shore tank", "header")
        here = "header"
        if self.likely(0.5):
            self.valve("throttle", "header", "behind throttle")
            here = "behind throttle"
        self.steel_pipe("shore line", here, "jetty", 200 * self.size, 2000 * self.size)
        here = "jetty"
        if self.likely(0.3):
            self.pump("booster", "jetty", "boosted")
            self.steel_pipe("berth line", "boosted", "arm foot", 30, 300)
            here = "arm foot"
        self.arm("hose", here, "manifold")
        self.valve("manifold valve", "manifold", "deck")
        self.steel_pipe("deck line", "deck", "tee", 20, 150)
        self.ends("tee", 1 + self.likely(0.4), 10, 50)

    def _hoses(self) -> None:
        """Strings of slow hoses of different speeds."""
        self.shore(200, 1500)
        here = "jetty"
        for k in range(int(self.rng.integers(1, 4))):
            self.arm(f"hose {k}", here, f"flange {k}", slow=True)
            here = f"flange {k}"
        self.valve("manifold valve", here, "deck")
        self.steel_pipe("deck line", "deck", "tee", 15, 120)
        if self.likely(0.5):
            self.arm("hanging hose", "tee", "blank of hose", slow=True)
        self.ends("tee", 1 + self.likely(0.3), 5, 40)

    def lineup(self) -> LineUp:
        """As it comes, with no pipe steeper than upright."""
        made = super().lineup()
        height = {p.name: p.elevation for p in made.points}
        for _ in range(20):
            for e in made.pipes:
                most = 0.9 * e.length
                height[e.end] = min(max(height[e.end], height[e.start] - most), height[e.start] + most)
        return made.with_(points=tuple(replace(p, elevation=height[p.name]) for p in made.points))

    def scenario(self, lineup: LineUp) -> Scenario:
        """Several valves close, in any order; pumps run down; every sixth opens the manifold instead."""
        main = manifold(lineup)
        others = [v for v in lineup.valves if v is not main]
        if self.likely(0.15) and not any(v.name.startswith("manifold valve ") for v in others):
            return Scenario(
                name="opening", shut_at_start=("manifold valve",), moves=(self._move(main, True),)
            )
        moves = [self._move(v, False) for v in (main, *others) if self.likely(0.5)]
        stops = self.stops(lineup, latest=4.0, share=0.35)
        if not moves and not stops:
            moves = [self._move(main, False)]
        return Scenario(name=self.kind, moves=tuple(moves), pump_moves=stops)

    def stops(self, lineup: LineUp, *, latest: float, share: float) -> tuple[PumpMove, ...]:
        """A ``share`` of the pumps run down, from some instant up to ``latest`` [s] on."""
        return tuple(
            PumpMove(
                pump=p.name,
                start=float(self.rng.uniform(0, latest)),
                law=((0.0, 1.0), (self.between(1.5, 12), 0.0)),
            )
            for p in lineup.pumps
            if self.likely(share)
        )


def network(seed: int, *, size: float = 1.0) -> tuple[LineUp, Scenario]:
    """The line-up and scenario of a seed; its kind goes round with the seed."""
    made = Network(np.random.default_rng((seed, 7)), KINDS[seed % len(KINDS)], size=size)
    lineup = made.lineup()
    return lineup, made.scenario(lineup)


def slow_can(lineup: LineUp) -> bool:
    """Whether the slow solver takes it: no point without a tank or a pipe, and none with two links.

    It solves links one after another, so two at one small storage (pumps side by side) upset each other.
    """
    tanks = {t.point for t in lineup.tanks}
    held = tanks | {p for e in lineup.pipes for p in (e.start, e.end)}
    ends = [p for e in lineup.links for p in (e.start, e.end) if p not in tanks]
    return all(p.name in held for p in lineup.points) and len(ends) == len(set(ends))

"""Line-ups made at random, of the kinds that loading berths are: for properties and for hunting."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from surge.model.lineup import (
    Element,
    LineUp,
    Liquid,
    Passage,
    Pipe,
    Point,
    Pump,
    PumpMove,
    Scenario,
    Table,
    Tank,
    Valve,
    ValveMove,
)

GATE: Table = ((0.0, 0.0), (0.25, 0.12), (0.5, 0.4), (0.75, 0.75), (1.0, 1.0))
STRAIGHT: Table = ((0.0, 0.0), (1.0, 1.0))


class Berth:
    """Collects the elements of one line-up from a shore tank to one or two ship's tanks.

    Attributes
    ----------
    rng : numpy.random.Generator
    size : float
        Length of the shore line between these two times ``size``: 200 and 3000 m.
    mouths : list of str
        Valves at the mouths of closed branches.
    """

    def __init__(self, rng: np.random.Generator, *, size: float = 1.0) -> None:
        self.rng, self.size = rng, size
        self.elements: list[Element] = []
        self.tanks: list[Tank] = []
        self.mouths: list[str] = []
        self.bore = float(rng.choice([0.2, 0.25, 0.3, 0.4]))
        self._line()

    def between(self, low: float, high: float) -> float:
        """A number between the two, its logarithm uniform."""
        return float(np.exp(self.rng.uniform(math.log(low), math.log(high))))

    def likely(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def pipe(self, name: str, start: str, end: str, length: float, speed: float, kind: str = "pipe") -> None:
        bore = self.bore * float(self.rng.choice([0.6, 0.8, 1.0, 1.0, 1.0]))
        rough = self.between(2e-5, 3e-4)
        self.elements.append(
            Pipe(
                name=name,
                start=start,
                end=end,
                length=length,
                diameter=bore,
                wave_speed=speed,
                kind=kind,
                roughness=rough,
            )
        )

    def valve(self, name: str, start: str, end: str) -> None:
        kv = 3600 * math.pi / 4 * self.bore**2 * self.between(1.5, 10.0)
        shape = GATE if self.likely(0.5) else STRAIGHT
        self.elements.append(Valve(name=name, start=start, end=end, kv=kv, characteristic=shape))

    def _line(self) -> None:
        rng = self.rng
        steel = float(rng.uniform(950, 1280))
        here = "shore tank"
        if self.likely(0.6):
            top = float(rng.uniform(50, 110))
            rate = math.pi / 4 * self.bore**2 * float(rng.uniform(2, 4))
            curve = ((0.0, top), (rate, 0.85 * top), (1.5 * rate, 0.68 * top))  # it must fall from no flow on
            check = self.likely(0.7)
            self.elements.append(
                Pump(name="pump", start=here, end="discharge", curve=curve, non_return=check)
            )
            here = "discharge"
        self.pipe("shore line", here, "jetty", self.size * self.between(200, 3000), steel)
        here = "jetty"
        if self.likely(0.5):
            self.valve("jetty valve", here, "arm foot")
            here = "arm foot"
        self.pipe("hose", here, "manifold", self.between(4, 40), self.between(250, 700), "hose")
        self.valve("manifold valve", "manifold", "deck")
        here = "deck"
        self.pipe("deck line", here, "tee", self.between(15, 200), steel * float(rng.uniform(0.9, 1.1)))
        for k in range(int(rng.integers(0, 3))):
            self.pipe(f"branch {k}", "tee", f"blank {k}", self.between(2, 120), steel)
        for k in range(1 + self.likely(0.4)):
            self.pipe(f"drop {k}", "tee", f"bottom {k}", self.between(10, 60), steel)
            self._end(k)

    def _end(self, k: int) -> None:
        here = f"bottom {k}"
        if self.likely(0.4):
            kv = 3600 * math.pi / 4 * self.bore**2 * self.between(1.5, 8.0)
            self.elements.append(Passage(name=f"stack {k}", start=here, end=f"inside {k}", kv=kv))
            here = f"inside {k}"
        elif self.likely(0.5):
            self.valve(f"tank valve {k}", here, f"inside {k}")
            here = f"inside {k}"
        self.receiver(f"ship {k}", here)

    def receiver(self, name: str, point: str) -> None:
        level = float(self.rng.uniform(0, 8))
        self.tanks.append(Tank(name=name, point=point, side="ship", level=level))

    def branch_foot(self, k: int) -> str:
        """Return where a closed branch begins; some begin behind a valve of their own."""
        at = ("jetty", "deck", "tee")[int(self.rng.integers(0, 3))]
        if self.likely(0.3):
            self.mouths.append(f"mouth {k}")
            self.valve(f"mouth {k}", at, f"inside mouth {k}")
            at = f"inside mouth {k}"
        return at

    def lineup(self) -> LineUp:
        """The line-up; it cannot boil, so that what is judged is the calculation and not the model."""
        rng = self.rng
        pumped = any(isinstance(e, Pump) for e in self.elements)
        level = float(rng.uniform(5, 20) if pumped else rng.uniform(15, 40))
        tanks = (Tank(name="shore", point="shore tank", side="shore", level=level), *self.tanks)
        ends = [p for e in self.elements for p in (e.start, e.end)]
        held = {t.point for t in tanks}
        points = tuple(
            Point(
                name=n,
                elevation=0.0 if n in held else float(rng.uniform(0, 12)),
                closed=ends.count(n) == 1 and n not in held,
            )
            for n in dict.fromkeys(ends)
        )
        liquid = Liquid(
            name="cargo",
            density=float(rng.uniform(680, 900)),
            sound_speed=1300.0,
            viscosity=self.between(5e-7, 2e-5),
            vapour_pressure=0.0,
        )
        return LineUp(
            title="generated",
            liquid=liquid,
            points=points,
            pipes=tuple(e for e in self.elements if isinstance(e, Pipe)),
            valves=tuple(e for e in self.elements if isinstance(e, Valve)),
            passages=tuple(e for e in self.elements if isinstance(e, Passage)),
            pumps=tuple(e for e in self.elements if isinstance(e, Pump)),
            tanks=tanks,
            atmosphere=1e9,
        )

    def _move(self, valve: Valve, opening: bool) -> ValveMove:
        start = float(self.rng.uniform(0.5, 4))
        stroke = self.between(0.8, 40)
        kind = self.rng.random()
        ends = (0.0, 1.0) if opening else (1.0, 0.0)
        law: Table = ((0.0, ends[0]), (stroke, ends[1]))
        if kind < 0.15:
            law = ((0.0, ends[0]), (0.0, ends[1]))
        elif kind < 0.4:
            law = ((0.0, ends[0]), (0.6 * stroke, 0.75 * ends[1] + 0.25 * ends[0]), (stroke, ends[1]))
        return ValveMove(valve=valve.name, start=start, law=law)

    def branch_moves(self, lineup: LineUp, name: str) -> Scenario:
        """Valves of the line close; those at mouths of branches open or close, or stay shut."""
        moves, shut = [], []
        for valve in lineup.valves:
            if valve.name in self.mouths:
                opens = self.likely(0.6)
                if opens:
                    shut.append(valve.name)
                if self.likely(0.7):
                    moves.append(self._move(valve, opens))
            elif self.likely(0.6):
                moves.append(self._move(valve, False))
        if not moves:
            moves.append(self._move(manifold(lineup), False))
        level = next(t.level for t in lineup.tanks if t.side == "shore")
        head = lineup.liquid.density * lineup.gravity * level
        return Scenario(
            name=name,
            moves=tuple(moves),
            shut_at_start=tuple(shut),
            trapped=tuple((f"inside {mouth}", head) for mouth in shut),
        )

    def scenario(self, lineup: LineUp) -> Scenario:
        """One to three movements; in every sixth the manifold valve opens into the ship's lines."""
        main = manifold(lineup)
        if self.likely(0.17):
            return Scenario(
                name="opening", shut_at_start=("manifold valve",), moves=(self._move(main, True),)
            )
        moves = [self._move(main, False)] if self.likely(0.8) else []
        moves += [self._move(v, False) for v in lineup.valves if v is not main and self.likely(0.35)]
        stops: tuple[PumpMove, ...] = ()
        if lineup.pumps and (self.likely(0.4) or not moves):
            down = self.between(1.5, 12)
            stops = (
                PumpMove(pump="pump", start=float(self.rng.uniform(0, 3)), law=((0.0, 1.0), (down, 0.0))),
            )
        if not moves and not stops:
            moves = [self._move(main, False)]
        return Scenario(name="generated", moves=tuple(moves), pump_moves=stops)


def manifold(lineup: LineUp) -> Valve:
    return next(v for v in lineup.valves if v.name == "manifold valve")


def levelled(lineup: LineUp) -> LineUp:
    """The same with every point at one height: no long branch rises out of the world."""
    return lineup.with_(points=tuple(replace(p, elevation=0.0) for p in lineup.points))


def generated(seed: int, *, size: float = 1.0) -> tuple[LineUp, Scenario]:
    """The line-up and scenario of a seed."""
    berth = Berth(np.random.default_rng(seed), size=size)
    lineup = berth.lineup()
    return lineup, berth.scenario(lineup)

"""Line-ups made at random with closed branches from much shorter to much longer than the way to the tank.

For how long a run lasts: several valves that move, also at the mouth of a branch, and some lines that hardly
lose anything, where waves of two pipes beat.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from support.lineups.generated import Berth
from surge.model.lineup import LineUp, Scenario, ValveMove


class Branched(Berth):
    """A short shore line to a ship's tank, with one to three closed branches.

    Attributes
    ----------
    smooth : bool
        Hardly any loss in the pipes.
    """

    def _line(self) -> None:
        steel = float(self.rng.uniform(950, 1280))
        self.smooth = self.likely(0.3)
        self.mouths: list[str] = []
        way = self.between(60, 600) * self.size
        self.pipe("shore line", "shore tank", "jetty", way, steel)
        self.valve("manifold valve", "jetty", "deck")
        self.pipe("deck line", "deck", "tee", self.between(10, 120), steel)
        for k in range(int(self.rng.integers(1, 4))):
            at = ("jetty", "deck", "tee")[int(self.rng.integers(0, 3))]
            if self.likely(0.3):
                self.mouths.append(f"mouth {k}")
                self.valve(f"mouth {k}", at, f"inside mouth {k}")
                at = f"inside mouth {k}"
            length = way * self.between(0.02, 25.0)
            self.pipe(f"branch {k}", at, f"blank {k}", length, steel * float(self.rng.uniform(0.9, 1.1)))
        for k in range(1 + self.likely(0.4)):
            self.pipe(f"drop {k}", "tee", f"bottom {k}", self.between(10, 60), steel)
            self._end(k)

    def lineup(self) -> LineUp:
        """Level, so that no long branch rises out of the world; some with hardly any friction."""
        made = super().lineup()
        points = tuple(replace(p, elevation=0.0) for p in made.points)
        pipes = made.pipes
        if self.smooth:
            factor = self.between(1e-5, 2e-3)
            pipes = tuple(replace(p, friction_factor=factor) for p in pipes)
        return made.with_(points=points, pipes=pipes)

    def scenario(self, lineup: LineUp) -> Scenario:
        """Main valves close, mouths open or close, or stay shut."""
        moves: list[ValveMove] = []
        shut: list[str] = []
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
            moves.append(self._move(next(v for v in lineup.valves if v.name == "manifold valve"), False))
        level = next(t.level for t in lineup.tanks if t.side == "shore")
        rho_g = lineup.liquid.density * lineup.gravity
        trapped = tuple((f"inside {name}", rho_g * level) for name in shut)
        return Scenario(name="branches", moves=tuple(moves), shut_at_start=tuple(shut), trapped=trapped)


def branched(seed: int, *, size: float = 1.0) -> tuple[LineUp, Scenario]:
    """The line-up and scenario of a seed."""
    made = Branched(np.random.default_rng((seed, 13)), size=size)
    lineup = made.lineup()
    return lineup, made.scenario(lineup)

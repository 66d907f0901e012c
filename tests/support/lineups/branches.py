"""Line-ups made at random with closed branches from much shorter to much longer than the way to the tank.

For how long a run lasts: several valves that move, also at the mouth of a branch, and some lines that hardly
lose anything, where waves of two pipes beat.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from support.lineups.generated import Berth, levelled
from surge.model.lineup import LineUp, Scenario


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
        way = self.between(60, 600) * self.size
        self.pipe("shore line", "shore tank", "jetty", way, steel)
        self.valve("manifold valve", "jetty", "deck")
        self.pipe("deck line", "deck", "tee", self.between(10, 120), steel)
        for k in range(int(self.rng.integers(1, 4))):
            at = self.branch_foot(k)
            length = way * self.between(0.02, 25.0)
            self.pipe(f"branch {k}", at, f"blank {k}", length, steel * float(self.rng.uniform(0.9, 1.1)))
        for k in range(1 + self.likely(0.4)):
            self.pipe(f"drop {k}", "tee", f"bottom {k}", self.between(10, 60), steel)
            self._end(k)

    def lineup(self) -> LineUp:
        """Level; some with hardly any friction."""
        made = levelled(super().lineup())
        if self.smooth:
            factor = self.between(1e-5, 2e-3)
            made = made.with_(pipes=tuple(replace(p, friction_factor=factor) for p in made.pipes))
        return made

    def scenario(self, lineup: LineUp) -> Scenario:
        return self.branch_moves(lineup, "branches")


def branched(seed: int, *, size: float = 1.0) -> tuple[LineUp, Scenario]:
    """The line-up and scenario of a seed."""
    made = Branched(np.random.default_rng((seed, 13)), size=size)
    lineup = made.lineup()
    return lineup, made.scenario(lineup)

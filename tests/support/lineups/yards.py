"""Line-ups made at random of every kind: networks, and more tanks, branches, hoses and movements.

Several shore tanks and pumps into one line; closed branches much shorter and much longer than the way to the
tank, also behind valves of their own; hoses as soft as they come, in the line and hanging from it; tanks
changed over, so that valves open while others close, half close, and open again.
"""

from __future__ import annotations

import numpy as np

from support.lineups.generated import levelled, manifold
from support.lineups.networks import KINDS as NETWORKS
from support.lineups.networks import Network
from surge.model.lineup import LineUp, Scenario, Table, Tank, Valve, ValveMove

KINDS = (*NETWORKS, "tanks", "branches", "soft", "valves")
LONGEST_BRANCH = 30.0  # times the way to the tank


class Yard(Network):
    """One line-up of a kind; see :data:`KINDS`."""

    def steel_pipe(self, name: str, start: str, end: str, low: float, high: float) -> None:
        """As in networks, but never faster than sound in the cargo; seeds of networks keep their line-ups."""
        speed = min(self.steel * float(self.rng.uniform(0.95, 1.05)), 1295.0)
        self.pipe(name, start, end, self.between(low, high), speed)

    def _tanks(self) -> None:
        """Two or three shore tanks, each with a pump or a valve, into one header; two to four ship's."""
        count = int(self.rng.integers(2, 4))
        pumped = self.likely(0.6)
        for k in range(count):
            here = "shore tank" if k == 0 else f"shore tank {k}"
            if k:
                level = float(self.rng.uniform(5, 20) if pumped else self.rng.uniform(15, 40))
                self.tanks.append(Tank(name=f"shore {k}", point=here, side="shore", level=level))
            if pumped:
                self.pump(f"pump {k}" if k else "pump", here, f"discharge {k}")
                here = f"discharge {k}"
            else:
                self.steel_pipe(f"suction {k}", here, f"outlet {k}", 5, 60)
                self.valve(f"outlet valve {k}", f"outlet {k}", f"behind outlet {k}")
                here = f"behind outlet {k}"
            self.steel_pipe(f"feed {k}", here, "header", 20, 20 + 400 * self.size)
        self.steel_pipe("shore line", "header", "jetty", 200 * self.size, 2000 * self.size)
        self.arm("hose", "jetty", "manifold")
        self.valve("manifold valve", "manifold", "deck")
        self.steel_pipe("deck line", "deck", "tee", 15, 150)
        self.ends("tee", int(self.rng.integers(2, 5)), 5, 60)

    def _branches(self) -> None:
        """One to three closed branches; every third has a valve at its mouth."""
        way = self.between(100, 600) * max(self.size, 0.3)
        self.steel_pipe("shore line", "shore tank", "jetty", way, way * 1.01)
        self.valve("manifold valve", "jetty", "deck")
        self.steel_pipe("deck line", "deck", "tee", 10, 120)
        for k in range(int(self.rng.integers(1, 4))):
            at = self.branch_foot(k)
            low, high = (3.0, LONGEST_BRANCH) if k == 0 and self.likely(0.6) else (0.02, 3.0)
            self.dead(f"branch {k}", at, low * way, high * way)
        self.ends("tee", 1 + self.likely(0.4), 10, 60)

    def _soft(self) -> None:
        """Hoses that swell, of very different lengths; some hang from the line, closed."""
        self.shore(200, 1500)
        here = "jetty"
        for k in range(int(self.rng.integers(1, 4))):
            self.pipe(f"hose {k}", here, f"flange {k}", self.between(3, 90), self.between(60, 250), "hose")
            here = f"flange {k}"
            if self.likely(0.3):
                blank = f"blank of tail {k}"
                self.pipe(f"tail {k}", here, blank, self.between(2, 40), self.between(60, 250), "hose")
        self.valve("manifold valve", here, "deck")
        self.steel_pipe("deck line", "deck", "tee", 15, 120)
        self.ends("tee", 1 + self.likely(0.3), 5, 40)

    def _valves(self) -> None:
        """A valve before every ship's tank, two arms with a valve at either end."""
        self.shore(200, 1500)
        for k in range(1 + self.likely(0.5)):
            self.valve(f"jetty valve {k}", "jetty", f"foot {k}")
            self.arm(f"arm {k}", f"foot {k}", f"flange {k}")
            name = "manifold valve" if k == 0 else f"manifold valve {k}"
            self.valve(name, f"flange {k}", f"behind {k}")
            self.steel_pipe(f"branch {k}", f"behind {k}", "deck", 5, 60)
        self.steel_pipe("deck line", "deck", "tee", 15, 150)
        for k in range(int(self.rng.integers(2, 5))):
            self.steel_pipe(f"drop {k}", "tee", f"bottom {k}", 5, 60)
            self.valve(f"tank valve {k}", f"bottom {k}", f"inside {k}")
            self.receiver(f"ship {k}", f"inside {k}")

    def lineup(self) -> LineUp:
        """As it comes; level where branches are longer than the world is high."""
        made = super().lineup()
        return levelled(made) if self.kind == "branches" else made

    def scenario(self, lineup: LineUp) -> Scenario:
        """Movements of its kind, else those of networks."""
        if self.kind == "branches":
            return self.branch_moves(lineup, self.kind)
        if self.kind in ("valves", "tanks"):
            return self._changed_over(lineup)
        return super().scenario(lineup)

    def _changed_over(self, lineup: LineUp) -> Scenario:
        """Valves before tanks open from shut while others close; some only in part, or to and fro."""
        moves, shut = [], []
        ends = [v for v in lineup.valves if v.name.startswith("tank valve")]
        for k, valve in enumerate(ends):
            if k and self.likely(0.4):
                shut.append(valve.name)
                moves.append(self._move(valve, True))
            elif self.likely(0.5):
                moves.append(self._move(valve, False))
        for valve in lineup.valves:
            if valve not in ends and self.likely(0.3):
                moves.append(self._to_and_fro(valve) if self.likely(0.3) else self._move(valve, False))
        stops = self.stops(lineup, latest=6.0, share=0.4)
        if not moves and not stops:
            moves.append(self._move(manifold(lineup), False))
        return Scenario(name=self.kind, moves=tuple(moves), shut_at_start=tuple(shut), pump_moves=stops)

    def _to_and_fro(self, valve: Valve) -> ValveMove:
        a, b, c = np.sort(self.rng.uniform(0.5, 25, 3))
        half, again = float(self.rng.uniform(0, 0.5)), float(self.rng.uniform(0.5, 1.0))
        law: Table = ((0.0, 1.0), (float(a), half), (float(b), again), (float(c), 0.0))
        return ValveMove(valve=valve.name, start=float(self.rng.uniform(0.5, 4)), law=law)


def yard(seed: int, *, size: float = 1.0) -> tuple[LineUp, Scenario]:
    """The line-up and scenario of a seed; its kind goes round with the seed."""
    made = Yard(np.random.default_rng((seed, 29)), KINDS[seed % len(KINDS)], size=size)
    lineup = made.lineup()
    return lineup, made.scenario(lineup)

"""Line-ups with relief valves, drums, open vessels: at the end of a line, anywhere in generated ones."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from support.lineups.generated import generated
from support.lineups.lines import line_up, pipe, valve
from surge.hydraulics.steady import steady_state
from surge.model.attached import OpenVessel, ReliefValve, SurgeDrum
from surge.model.lineup import GRAVITY, LineUp, Scenario

RHO_G = 1000.0 * GRAVITY  # of the liquid without friction of these lines


@dataclass(frozen=True, kw_only=True)
class EndLine:
    """1 km without friction from a tank to a valve that closes; what hangs there stands before the valve."""

    head: float = 50.0
    beyond: float = 10.0
    conductance: float = 0.05
    length: float = 1000.0
    wave_speed: float = 1000.0
    bore: float = 0.3

    @property
    def impedance(self) -> float:
        return self.wave_speed / (GRAVITY * math.pi / 4 * self.bore**2)

    @property
    def flow(self) -> float:
        return self.conductance * math.sqrt(self.head - self.beyond)

    def lineup(self, **attached: object) -> LineUp:
        line = pipe(
            "line", "tank", "end", self.length, self.wave_speed, diameter=self.bore, friction_factor=0.0
        )
        shut = valve("valve", "end", "out", self.conductance)
        return line_up([line, shut], {"tank": self.head, "out": self.beyond}).with_(**attached)


def relief(point: str = "end", **figures: float) -> ReliefValve:
    """Set at 8 bar, open at 10 bar, Kv 300."""
    given = {"set_pressure": 8e5, "full_pressure": 10e5, "kv": 300.0} | figures
    return ReliefValve(name=f"relief at {point}", point=point, **given)


def relieved(
    seed: int, *, size: float = 0.3, above: float = 0.2e5, kv: float = 150.0, slow: bool = True
) -> tuple[LineUp, Scenario]:
    """A generated line-up with relief valves at up to four points, set ``above`` [Pa] what is there first."""
    lineup, scenario = generated(seed, size=size)
    rng = np.random.default_rng(seed)
    held = {t.point for t in (*lineup.tanks, *lineup.supplies)}
    states = [steady_state(lineup, s).head for s in (scenario, Scenario(name="all open"))]
    heads = {p.name: max(state[p.name] for state in states) for p in lineup.points}
    rho_g = lineup.liquid.density * lineup.gravity
    places = [p for p in lineup.points if p.name not in held]
    chosen = rng.permutation(len(places))[:4]
    valves = []
    for i in chosen:
        p = places[i]
        pressure = rho_g * (heads[p.name] - p.elevation)
        back = min(0.0, pressure)
        opens = max(pressure, back) + above
        valves.append(
            relief(
                p.name,
                set_pressure=opens,
                full_pressure=opens + float(rng.uniform(0.2e5, 2e5)),
                kv=kv * float(rng.uniform(0.2, 1.0)),
                back_pressure=back - 0.1e5,
                opening_time=float(rng.choice([0.0, 0.2, 2.0])) if slow else 0.0,
            )
        )
    points = tuple(replace(p, closed=False) for p in lineup.points)
    return lineup.with_(relief_valves=tuple(valves), points=points), scenario


def cushioned(seed: int, *, size: float = 0.3) -> tuple[LineUp, Scenario]:
    """A generated line-up with two drums and an open vessel, and relief valves beside some of them."""
    lineup, scenario = relieved(seed, size=size)
    rng = np.random.default_rng(seed + 1)
    held = {t.point for t in (*lineup.tanks, *lineup.supplies)}
    places = [p.name for p in lineup.points if p.name not in held]
    bare = lineup.with_(relief_valves=())
    heads = steady_state(bare, scenario).head
    all_open = steady_state(bare, Scenario(name="all open")).head  # some tests begin so
    chosen = [places[i] for i in rng.permutation(len(places))[:3]]
    drums = tuple(
        SurgeDrum(
            name=f"drum {i}",
            point=point,
            volume=1e3,
            gas_volume=float(rng.choice([1e-3, 0.02, 0.5])),
            exponent=float(rng.uniform(1.0, 1.4)),
            neck_kv=float(rng.choice([50.0, 500.0, math.inf])),
        )
        for i, point in enumerate(chosen[:2])
    )
    foot = next(p.elevation for p in lineup.points if p.name == chosen[2])
    open_to_air = OpenVessel(name="vessel", point=chosen[2], area=0.3, rim=heads[chosen[2]] + 1e3)
    vessels = (open_to_air,) if min(heads[chosen[2]], all_open[chosen[2]]) > foot else ()
    return lineup.with_(surge_drums=drums, open_vessels=vessels), scenario

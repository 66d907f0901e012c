"""Invented records of pressure: the independent solver marches, a gauge with noise and a clock reads.

Nothing of the program computes here; line-ups and scenarios are read with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from support.oracles import independent_solver as slow

Array = NDArray[np.float64]
CELLS = 300  # in the longest pipe


@dataclass(frozen=True)
class TrueHistory:
    """What the places have without any gauge: time [s], pressures [Pa gauge] by place."""

    time: Array
    pressure: Mapping[str, Array]


def throttled(lineup: Any) -> tuple[dict[str, float], slow.Flow]:
    """The opening of the throttle with which the agreed rate flows, and that flow."""
    rate = lineup.rate
    valve = next(v for v in lineup.valves if v.name == rate.at)
    flow = slow.steady(lineup, free=valve.name, through=rate.through, rate=rate.agreed, guess=rate.agreed)
    drop = flow.head[valve.start] - flow.head[valve.end]
    wanted = flow.flow[valve.name] / np.sqrt(drop) / slow.orifice(valve.kv, lineup.gravity)
    opening = float(brentq(lambda x: slow.ratio(valve, x) - wanted, 0.0, 1.0, xtol=1e-14))
    return {valve.name: opening}, flow


def true_history(
    lineup: Any,
    scenario: Any,
    places: Sequence[str],
    *,
    until: float,
    cells: int = CELLS,
    courant: float = 0.7,
) -> TrueHistory:
    """The history of some places by the independent solver, from the beginning of a scenario.

    A valve has in a step of that solver the opening of the step's end: it is early by half a step.
    """
    opening, flow = throttled(lineup) if lineup.rate is not None else ({}, slow.steady(lineup))
    held = {name: (lambda _, x=x: x) for name, x in opening.items()}
    moves = {m.valve: _follow(m.law, m.start) for m in scenario.moves}
    speeds = {m.pump: _follow(m.law, m.start) for m in scenario.pump_moves}
    march = slow.March(lineup, flow, cells=cells, courant=courant, opening=held | moves, speed=speeds)
    at = [march.names.index(place) for place in places]
    rows = [march.head[at]]
    while march.time < until:
        march.step()
        rows.append(march.head[at])
    rho_g = lineup.liquid.density * lineup.gravity
    height = {p.name: p.elevation for p in lineup.points}
    heads = np.array(rows)
    return TrueHistory(
        time=np.arange(len(rows)) * march.dt,
        pressure={p: rho_g * (heads[:, k] - height[p]) for k, p in enumerate(places)},
    )


def _follow(law: Any, start: float) -> Any:
    t, x = zip(*law, strict=True)
    return lambda time: float(np.interp(time - start, t, x))


def read_off(
    true: TrueHistory,
    place: str,
    *,
    step: float,
    noise: float,
    seed: int,
    memory: float = 0.0,
    until: float | None = None,
) -> tuple[Array, Array]:
    """Readings of one place every ``step`` [s] with noise [Pa]: from the beginning on; times and pressures.

    With ``memory`` each noise has so much of the one before it (autoregressive, of the same size).
    """
    draw = np.random.default_rng(seed)
    end = true.time[-1] if until is None else until
    times = np.arange(0.0, end, step)
    own = draw.normal(size=times.size)
    for k in range(1, own.size):
        own[k] = memory * own[k - 1] + np.sqrt(1 - memory**2) * own[k]
    return times, np.interp(times, true.time, true.pressure[place]) + noise * own


def csv_text(
    columns: Mapping[str, Array], times: Array, *, decimals: int = 3, head: Sequence[str] = ()
) -> str:
    """A record as a logger writes it: times [s], pressures [Pa gauge] in bar(g)."""
    lines = [*head, ",".join(["time [s]", *(f"{name} [bar(g)]" for name in columns)])]
    for k, time in enumerate(times.tolist()):
        row = [f"{time:.3f}", *(f"{values[k] / 1e5:.{decimals}f}" for values in columns.values())]
        lines.append(",".join(row))
    return "\n".join(lines) + "\n"


# The demo record of cases/traces: what its line is in truth, and how it was read. All of it invented.
DEMO_TRUTH = {"wave speed": 1015.0, "roughness": 0.3e-3, "stroke": 13.4}  # [m/s], [m], [s]
DEMO_CLOCK, DEMO_STEP, DEMO_NOISE, DEMO_SEED = 41.6, 0.05, 3000.0, 7  # [s], [s], [Pa]
DEMO_HEAD = (
    "Invented record: no ship, berth or gauge has shown it. An independent solver made it for the demo case",
    "jet-fuel-berth.toml with a shore line of 1015 m/s and 0.3 mm, a stroke of 13.4 s and noise of 0.03 bar.",
    "",
)


def demo_line_up(lineup: Any) -> tuple[Any, Any]:
    """The demo case as its line is in truth, and its scenario."""
    from dataclasses import replace

    (scenario,) = lineup.scenarios
    (move,) = scenario.moves
    pipes = tuple(
        replace(p, wave_speed=DEMO_TRUTH["wave speed"], roughness=DEMO_TRUTH["roughness"])
        if p.name == "shore line"
        else p
        for p in lineup.pipes
    )
    law = tuple((t * DEMO_TRUTH["stroke"] / move.law[-1][0], x) for t, x in move.law)
    return lineup.with_(pipes=pipes), replace(scenario, moves=(replace(move, law=law),))


def demo_record(lineup: Any) -> str:
    """The text of cases/traces/manifold-trace.csv."""
    true = true_history(*demo_line_up(lineup), ["manifold"], until=36.0)
    times, pressures = read_off(
        true, "manifold", step=DEMO_STEP, noise=DEMO_NOISE, seed=DEMO_SEED, until=35.0
    )
    return csv_text({"manifold": pressures}, times + DEMO_CLOCK, head=DEMO_HEAD)

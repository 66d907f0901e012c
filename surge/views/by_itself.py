"""What moves by itself in a run: lift of relief valves, gas in drums, speed after a trip, non-return valves.

A run keeps flows and pressures. From them follows how far each of these was at any instant: for pictures, not
for figures; what the answer tells of them comes from the march itself.

Times [s], flows [m3/s], pressures [Pa gauge].
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.hydraulics.formulas import kv_loss
from surge.kernel.curves import head, pump_curve
from surge.model.lineup import LineUp, Pump
from surge.transient.attached import fall_of_speed
from surge.transient.result import ScenarioResult
from surge.views.subject import Subject

LIFT, GAS, SPEED, OPEN = "lift", "gas", "speed", "open"
LEAST_DROP = 1e3  # [Pa] with less over a relief valve its lift does not show in its flow
LEAST_MOVED = 2e-3  # [-] what moves less stays as it is
NO_FLOW = 1e-9  # [m3/s] through a non-return valve: it is shut
LEAST_SPEED = 1e-3  # [-] slower a pump has no head to speak of
MOST_RATIO = 1.95  # of flow over speed and best flow: beyond it no torque is known, as in the march


@dataclass(frozen=True, kw_only=True, eq=False)
class ByItself:
    """How far something was that moves by itself.

    Attributes
    ----------
    name : str
    kind : str
        "lift" of a relief valve, "gas" in a drum (a share of its volume), "speed" of a pump after a trip,
        "open" of a non-return valve.
    values : ndarray of shape (n,)
        At the instants of the run's history, 0 to 1 [-].
    """

    name: str
    kind: str
    values: Array


def moved_by_itself(subject: Subject) -> tuple[ByItself, ...]:
    """Return what moves by itself in a run, by so much that it can be seen."""
    lineup, run = subject.lineup, subject.run
    every = (
        *_speeds(subject),
        *_lifts(lineup, run),
        *_non_return(lineup, run),
        *_gas(lineup, run),
    )
    return tuple(one for one in every if np.ptp(one.values) > LEAST_MOVED)


def _lifts(lineup: LineUp, run: ScenarioResult) -> Iterator[ByItself]:
    rho_g = lineup.liquid.density * lineup.gravity
    for valve in lineup.relief_valves:
        over = run.history.pressure[valve.point] - valve.back_pressure
        full = np.sqrt(np.maximum(over, LEAST_DROP) / rho_g / kv_loss(valve.kv, gravity=lineup.gravity))
        lift = np.where(over > LEAST_DROP, np.abs(run.history.flow[valve.name]) / full, 0.0)
        yield ByItself(name=valve.name, kind=LIFT, values=np.clip(lift, 0.0, 1.0))


def _gas(lineup: LineUp, run: ScenarioResult) -> Iterator[ByItself]:
    first = {d.name: d.gas for d in run.surge_drums}
    time = run.history.time
    for drum in lineup.surge_drums:
        flow = run.history.flow[drum.name]
        taken = np.concatenate([[0.0], np.cumsum(0.5 * (flow[1:] + flow[:-1]) * np.diff(time))])
        yield ByItself(name=drum.name, kind=GAS, values=(first[drum.name] - taken) / drum.volume)


def _non_return(lineup: LineUp, run: ScenarioResult) -> Iterator[ByItself]:
    """Shut or open; one that takes its time to shut is drawn as shut when nothing flows any more."""
    for valve in lineup.non_return_valves:
        values = (np.abs(run.history.flow[valve.name]) > NO_FLOW).astype(float)
        yield ByItself(name=valve.name, kind=OPEN, values=values)


def _speeds(subject: Subject) -> Iterator[ByItself]:
    lineup, history = subject.lineup, subject.run.history
    pumps = {p.name: p for p in lineup.pumps}
    for trip in subject.scenario.trips:
        first = subject.work.steady.speed[trip.pump]
        table = subject.work.laws.speed.get(trip.pump, ((0.0, 0.0),))
        times, speeds = np.array(table).T
        driven = np.interp(history.time, times, speeds)
        values = _speed(
            pumps[trip.pump], lineup, first, history.time, history.flow[trip.pump], trip.start, driven
        )
        yield ByItself(name=trip.pump, kind=SPEED, values=values)


def _speed(
    pump: Pump, lineup: LineUp, first: float, time: Array, flow: Array, start: float, driven: Array
) -> Array:
    """Speed of a pump after its trip, by its law of the torque, from the flow that the march has found.

    ``driven`` is the speed to which a motor brings it that is started again [-].
    """
    assert pump.turning is not None
    curve = pump_curve(pump.curve)
    fall, best = fall_of_speed(pump.turning, lineup), pump.turning.best_flow

    def slope(n: float, q: float) -> float:
        made, _ = head(curve, q, speed=n)
        ratio = min(max(q / (n * best), 0.0), MOST_RATIO)
        return -fall * max(made, 0.0) / (2.0 - ratio)

    values = np.full_like(time, first)
    for k in range(1, time.size):
        n, dt = float(values[k - 1]), float(time[k] - max(time[k - 1], start))
        if dt > 0.0 and n > LEAST_SPEED:
            # Heun's rule: of second order, and the samples of a history lie close.
            now = slope(n, float(flow[k - 1]))
            then = slope(max(n + dt * now, LEAST_SPEED), float(flow[k]))
            n = max(n + 0.5 * dt * (now + then), 0.0)
        values[k] = max(n, float(driven[k]))
    return values

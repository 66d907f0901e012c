"""What moves by itself as columns of the kernel: what hangs on a point, and non-return valves."""

from __future__ import annotations

import math
from typing import Any

from surge.hydraulics.formulas import kv_loss
from surge.hydraulics.steady import Steady
from surge.kernel import columns
from surge.kernel.curves import pump_curve
from surge.model.attached import ReliefValve, SurgeDrum
from surge.model.lineup import LineUp, NonReturnValve, Pump, Scenario, Turning


def relief_item(relief: ReliefValve, lineup: LineUp, steady: Steady, dt: float) -> dict[str, Any]:
    """Return kind, conductance and state of a relief valve at a step of ``dt`` [s]."""
    rho_g = lineup.liquid.density * lineup.gravity
    rate = min(dt / relief.opening_time, 1.0) if relief.opening_time > 0.0 else 1.0
    over = lineup.pressure_at(relief.point, steady.head[relief.point]) - relief.back_pressure
    state = {
        columns.L_SET: (relief.set_pressure - relief.back_pressure) / rho_g,
        columns.L_SPAN: (relief.full_pressure - relief.set_pressure) / rho_g,
        columns.L_MOST: rate if rate >= 1.0 else 0.0,
        columns.L_RATE: rate,
        columns.L_OPENED: -1.0,
        columns.L_OVER: over / rho_g,
    }
    c = kv_loss(relief.kv, gravity=lineup.gravity) ** -0.5
    return {"kind": columns.RELIEF, "check": True, "c": c, "state": state}


def drum_item(drum: SurgeDrum, lineup: LineUp, steady: Steady, dt: float) -> dict[str, Any]:
    """Return kind and state of a surge drum at a step of ``dt`` [s]."""
    rho_g = lineup.liquid.density * lineup.gravity
    pressure = lineup.pressure_at(drum.point, steady.head[drum.point])
    gas = drum.gas_at(pressure, atmosphere=lineup.atmosphere)
    state = {
        columns.D_GAS: gas,
        columns.D_LAW: (pressure + lineup.atmosphere) / rho_g * gas**drum.exponent,
        columns.D_EXPONENT: drum.exponent,
        columns.D_HALF: dt / 2.0,
        columns.D_NECK: 0.0 if math.isinf(drum.neck_kv) else kv_loss(drum.neck_kv, gravity=lineup.gravity),
        columns.D_VESSEL: drum.volume,
        columns.D_SMALLEST: gas,
        columns.D_LARGEST: gas,
        columns.D_EMPTIED: -1.0,
    }
    return {"kind": columns.DRUM, "state": state}


def non_return_item(valve: NonReturnValve, steady: Steady) -> dict[str, Any]:
    """Return kind, conductance and state of a non-return valve; without flow it begins shut."""
    shut = steady.flow[valve.name] <= 0.0
    state = {
        columns.V_REVERSE: valve.reverse_flow,
        columns.V_DELAY: valve.delay,
        columns.V_CLOSING: valve.closing_time,
        columns.V_BEGINS: 0.0 if shut else -1.0,
        columns.V_RATIO: 0.0 if shut else 1.0,
        columns.V_CLOSED: 0.0 if shut else -1.0,
        columns.V_BEFORE: steady.flow[valve.name],
    }
    item = {"kind": columns.ORIFICE, "c": steady.conductance[valve.name], "state": state}
    if valve.delay == valve.closing_time == 0.0:
        # It stops the flow in the step in which that comes to its reverse flow; open when held by its check.
        state[columns.V_RATIO] = 1.0
        return item | {"check": True}
    return item | {"ratio": 0.0 if shut else 1.0}


def trip_state(pump: Pump, turning: Turning, lineup: LineUp, at: float) -> dict[int, float]:
    """Return the state of a pump that trips at an instant ``at`` [s]."""
    return {
        columns.T_AT: at,
        columns.T_K: fall_of_speed(turning, lineup),
        columns.T_BEST: turning.best_flow,
        columns.T_MOST: min(pump.curve[-1][0], 2.0 * turning.best_flow),
        columns.T_SHUT_OFF: float(pump_curve(pump.curve).coef[0, 0]),
        columns.T_FALL: -1.0,
        columns.T_UNKNOWN: -1.0,
    }


def pockets(lineup: LineUp, scenario: Scenario) -> frozenset[str]:
    """Return points that a pump shuts in with a non-return valve once it has tripped, and the links that do.

    Not of one that is started again.

    There the pressure goes on falling as the pump slows down, ever more slowly, towards that of its suction
    and never below: no wave gets in.
    """
    tripped = {t.pump for t in scenario.trips} - {m.pump for m in scenario.pump_moves}
    found = set()
    for pump in (p for p in lineup.pumps if p.name in tripped):
        beside = [e for e in lineup.elements if pump.end in (e.start, e.end) and e.name != pump.name]
        held = {t.point for t in (*lineup.tanks, *lineup.supplies, *lineup.attached)}
        if pump.end in held or any(not isinstance(e, NonReturnValve) or e.start != pump.end for e in beside):
            continue
        found |= {pump.end, pump.name, *(e.name for e in beside)}
    return frozenset(found)


def fall_of_speed(turning: Turning, lineup: LineUp) -> float:
    """Return K, by which a pump without drive slows down: dn/dt = -K H/(2 - r) [1/(m s)]."""
    full = 2.0 * math.pi * turning.rpm / 60.0
    weight = lineup.liquid.density * lineup.gravity * turning.best_flow
    return weight / (turning.efficiency * turning.inertia * full**2)


def slow_period(lineup: LineUp, steady: Steady) -> float:
    """Return the longest period of the slow swing between the line and what hangs on it [s]; 0 for nothing.

    Of all liquid in the line against all that drums and open vessels take in: no small swing is longer.
    """
    rho_g = lineup.liquid.density * lineup.gravity
    takes = sum(vessel.area for vessel in lineup.open_vessels)
    for drum in lineup.surge_drums:
        pressure = lineup.pressure_at(drum.point, steady.head[drum.point])
        gas = drum.gas_at(pressure, atmosphere=lineup.atmosphere)
        takes += rho_g * gas / (drum.exponent * (pressure + lineup.atmosphere))
    inertia = sum(p.length / (lineup.gravity * p.area) for p in lineup.pipes)
    return 2.0 * math.pi * math.sqrt(inertia * takes)

"""The flow before anything moves: the agreed rate reached by its means, or what the line-up gives.

When a rate is to be reached, the head that its means must make or take is one more unknown of the network;
the opening, speed or pressure that does it follows. Heads [m], flows [m3/s].

Decisions
---------
* The rate is set with the openings of the scenario. Then the valves in ``shut_at_start`` are shut, pumps
  whose first movement begins from rest stand still, and the flow is solved again with the means left as it
  is.
* A supply with a shut-off pressure is a source whose pressure falls with the square of the flow, through both
  pressures. Without one its pressure is constant, and the verdict cannot be decided. It sits at the point
  where the case puts it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from surge.errors import CaseError, Fault, SolveError
from surge.hydraulics.attached import refuse_misfits
from surge.hydraulics.formulas import kv_loss
from surge.hydraulics.network import FlowNet, Means, shut_valves, solve_flow
from surge.kernel.curves import PumpCurve, pump_curve
from surge.kernel.curves import head as head_of_pump
from surge.model.lineup import LineUp, Passage, Scenario, Supply, Tank, Valve
from surge.phrases import Phrase

RESIDUE = 1e-12  # [m3/s] a flow below this is none
NO_LOSS_KV = 1e7  # [m3/h] of what takes nothing: some 1e-7 m at a rate of 1000 m3/h
FLOWS_KEPT = 256  # of a search over ranges: points of several scenarios at several rates; some 10 kB each
_REST = 1e-9  # [m3/s] below this a pump does not load


@dataclass(frozen=True, kw_only=True)
class Steady:
    """Flow and head everywhere before the first event.

    Attributes
    ----------
    head : dict of str to float
        By point [m].
    flow : dict of str to float
        By element, positive from its start to its end [m3/s].
    fixed : dict of str to float
        Heads held by tanks (and by supplies without a shut-off pressure) [m].
    conductance : dict of str to float
        Fully open ``c`` of valves, passages and non-return valves, Q = c * ratio * sqrt(dH) [m2.5/s].
    opening : dict of str to float
        Opening of every valve at time 0 [-].
    speed, set_speed : dict of str to float
        Of every pump at time 0, and the one that it runs at when it runs [-].
    curve : dict of str to PumpCurve
    supply : dict of str to (float, float)
        Shut-off head [m] above the point's own and the loss coefficient [s2/m5] behind it.
    set_up : tuple of Phrase
        How the rate was reached, in words.
    """

    head: dict[str, float]
    flow: dict[str, float]
    fixed: dict[str, float]
    conductance: dict[str, float]
    opening: dict[str, float]
    speed: dict[str, float]
    set_speed: dict[str, float]
    curve: dict[str, PumpCurve]
    supply: dict[str, tuple[float, float]]
    set_up: tuple[Phrase, ...] = ()


def head_of_tank(lineup: LineUp, tank: Tank) -> float:
    """Return the head that a tank holds at its point [m].

    Parameters
    ----------
    lineup : LineUp
    tank : Tank

    Notes
    -----
    Level + blanket/(rho g). A tank that receives and is not yet covered is a free outfall: the height of the
    point takes the place of the level.
    """
    z = lineup.points_by_name[tank.point].elevation
    level = max(tank.level, z) if lineup.receives(tank) else tank.level
    return level + tank.blanket / (lineup.liquid.density * lineup.gravity)


def opening_for(valve: Valve, ratio: float) -> float:
    """Return the smallest opening [-] at which a valve has a share of its full Kv.

    Parameters
    ----------
    valve : Valve
    ratio : float
        Kv over the fully open one [-].
    """
    points = valve.characteristic
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if y1 >= ratio:
            return x1 if y1 == y0 else x0 + (x1 - x0) * (ratio - y0) / (y1 - y0)
    return 1.0


def _prepare(lineup: LineUp, scenario: Scenario) -> FlowNet:
    levels = dict(scenario.levels)
    openings = dict(scenario.openings)
    fixed = {
        t.point: head_of_tank(lineup, replace(t, level=levels.get(t.name, t.level))) for t in lineup.tanks
    }
    rho_g = lineup.liquid.density * lineup.gravity
    for s in lineup.supplies:
        if s.pressure is not None:
            fixed[s.point] = lineup.points_by_name[s.point].elevation + s.pressure / rho_g
    orifices: list[Valve | Passage] = [*lineup.valves, *lineup.passages]
    c = {e.name: kv_loss(e.kv, gravity=lineup.gravity) ** -0.5 for e in orifices}
    c |= {
        n.name: kv_loss(min(n.kv, NO_LOSS_KV), gravity=lineup.gravity) ** -0.5
        for n in lineup.non_return_valves
    }
    return FlowNet(
        lineup=lineup,
        opening={v.name: openings.get(v.name, v.opening) for v in lineup.valves},
        speed={p.name: p.speed for p in lineup.pumps},
        conductance=c,
        curve={p.name: pump_curve(p.curve) for p in lineup.pumps},
        fixed=fixed,
    )


def _natural_rate(net: FlowNet, scenario: Scenario, through: str) -> str:
    """The rate that the line-up gives with its means wide open, in words for a refusal."""
    try:
        _, flows, _ = solve_flow(net, scenario)
    except (SolveError, CaseError):
        return "unknown"
    return f"{flows[through] * 3600:.0f} m3/h"


def _refuse_rate(lineup: LineUp, scenario: Scenario, found: str, remedy: str) -> CaseError:
    rate = lineup.rate
    assert rate is not None
    path = (*scenario.origin, "rate") if scenario.rate is not None else (*rate.origin, "agreed")
    return CaseError(
        [Fault(path=path, found=found, expected="a rate that this line-up can reach", remedy=remedy)]
    )


def _no_way_for_rate(net: FlowNet, scenario: Scenario, asked: float) -> CaseError:
    rate = net.lineup.rate
    assert rate is not None
    shut = ", ".join(f'"{name}"' for name in sorted(shut_valves(net)))
    why = f"shut while loading: {shut}" if shut else "no way from source to ship lets it through"
    return _refuse_rate(
        net.lineup,
        scenario,
        f'{asked * 3600:.0f} m3/h through "{rate.through}" by "{rate.at}" has no solution ({why})',
        "open the valves that are in the way (a valve shut only at first goes into shut_at_start), and "
        "write from and to of every element in the direction in which it is loaded",
    )


def _set_throttle(net: FlowNet, scenario: Scenario, q: float, drop: float) -> Phrase:
    """Set the throttle so that it takes ``drop`` [m] at ``q`` [m3/s]; say how."""
    lineup, rate = net.lineup, net.lineup.rate
    assert rate is not None
    full = net.conductance[rate.at]
    if q <= 0 or drop < q * q / full**2 * (1 - 1e-9):
        natural = _natural_rate(net, scenario, rate.through)
        asked = (scenario.rate or rate.agreed) * 3600
        raise _refuse_rate(
            lineup,
            scenario,
            f"{asked:.0f} m3/h cannot be reached: with {rate.at} wide open the line gives {natural}",
            "agree a lower rate, or check the pump curve, the tank levels and the losses",
        )
    c = q / drop**0.5
    valve = next((v for v in lineup.valves if v.name == rate.at), None)
    if valve is None:
        net.conductance[rate.at] = min(c, full)
        return (f"rate set by throttling at {rate.at}: Kv {c / full * 100:.1f} % of its own",)
    opening = opening_for(valve, min(c / full, 1.0))
    net.opening[rate.at] = opening
    words = f"rate set by throttling at {rate.at}: {opening * 100:.1f} % open, taking "
    return words, ("length", drop), " of head"


def _set_speed(net: FlowNet, scenario: Scenario, q: float, rise: float) -> Phrase:
    """Find the pump speed that makes ``rise`` [m] at ``q`` [m3/s]; say what it is."""
    rate = net.lineup.rate
    assert rate is not None
    curve = net.curve[rate.at]

    def head_at(n: float) -> float:
        return head_of_pump(curve, q, speed=n)[0]

    top = next(p.speed for p in net.lineup.pumps if p.name == rate.at)
    if q <= 0 or head_at(top) < rise * (1 - 1e-12):
        natural = _natural_rate(net, scenario, rate.through)
        asked = (scenario.rate or rate.agreed) * 3600
        raise _refuse_rate(
            net.lineup,
            scenario,
            f"{asked:.0f} m3/h cannot be reached: at full speed {rate.at} gives {natural}",
            "agree a lower rate, or check the pump curve, the tank levels and the losses",
        )
    if head_at(0.0) > rise + 1e-9 * (1.0 + abs(rise)):
        asked = (scenario.rate or rate.agreed) * 3600
        raise _refuse_rate(
            net.lineup,
            scenario,
            f"{asked:.0f} m3/h cannot be reached by the speed of {rate.at}: more flows while it stands still",
            'agree a higher rate, or set the lower one by throttling: means = "throttle", at = the throttle',
        )
    low, high = 0.0, top
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if head_at(middle) < rise else (low, middle)
    net.speed[rate.at] = high
    return (f"rate set by the speed of {rate.at}: {high * 100:.1f} % of full speed",)


def _source_flow(lineup: LineUp, flows: dict[str, float], point: str) -> float:
    return sum((e.start == point) * flows[e.name] - (e.end == point) * flows[e.name] for e in lineup.elements)


def _set_supplies(net: FlowNet, heads: dict[str, float], flows: dict[str, float]) -> list[Phrase]:
    """Give each supply the curve through its shut-off pressure and what it does now."""
    lineup = net.lineup
    rho_g = lineup.liquid.density * lineup.gravity
    said: list[Phrase] = []
    for s in lineup.supplies:
        z = lineup.points_by_name[s.point].elevation
        q = _source_flow(lineup, flows, s.point)
        now = heads[s.point] - z
        said.append((f"supply {s.name}: ", ("pressure", now * rho_g), " at ", ("flow", q)))
        if s.shut_off is None:
            net.fixed[s.point] = heads[s.point]
            continue
        h0 = s.shut_off / rho_g
        if h0 < now * (1 - 1e-9):
            raise CaseError([_shut_off_too_low(s, now * rho_g)])
        net.supply[s.name] = (h0, (h0 - now) / (q * abs(q)) if abs(q) > _REST else 0.0)
        net.fixed.pop(s.point, None)
    return said


def _shut_off_too_low(supply: Supply, needed: float) -> Fault:
    return Fault(
        path=(*supply.origin, "shut_off_pressure"),
        found=f"{(supply.shut_off or 0.0) / 1e5:.2f} bar(g), but the flow needs {needed / 1e5:.2f} bar(g)",
        expected="a shut-off pressure not below the pressure at the agreed rate",
        remedy="ask the terminal for the shut-off pressure of its pump; it is the greater of the two",
    )


def _refuse_idle_pumps(net: FlowNet, flows: dict[str, float]) -> None:
    """A pump that lifts nothing although no valve is shut cannot cross the system."""
    lineup = net.lineup
    if shut_valves(net):
        return
    if any(flows[p.name] > _REST for p in lineup.pumps):
        return  # a weaker pump beside another may well be held shut by its non-return valve
    for pump in lineup.pumps:
        if flows[pump.name] <= _REST:
            h0 = net.curve[pump.name].coef[0, 0] * net.speed[pump.name] ** 2
            raise CaseError(
                [
                    Fault(
                        path=(*pump.origin, "curve"),
                        found=f"the curve cannot cross the system: shut-off head {h0:.1f} m lifts nothing",
                        expected="a pump that moves liquid from the shore tank to the ship's tank",
                        remedy="check the curve, the tank levels and the elevations (all above one datum)",
                    )
                ]
            )


def _reach_rate(net: FlowNet, scenario: Scenario) -> tuple[dict[str, float], dict[str, float], list[Phrase]]:
    """Heads, flows and words of the state in which the agreed rate is set."""
    lineup, rate = net.lineup, net.lineup.rate
    if rate is None:
        heads, flows, _ = solve_flow(net, scenario)
        return heads, flows, [("rate as the pump and the levels give it",)]
    if rate.means == "supply pressure":
        net.fixed.pop(next(s.point for s in lineup.supplies if s.name == rate.at), None)
    asked = scenario.rate if scenario.rate is not None else rate.agreed
    means = Means(element=rate.at, through=rate.through, rate=asked)
    try:
        heads, flows, u = solve_flow(net, scenario, means=means)
    except SolveError:
        raise _no_way_for_rate(net, scenario, asked) from None
    if rate.means == "throttle":
        said = _set_throttle(net, scenario, flows[rate.at], u)
    elif rate.means == "pump speed":
        said = _set_speed(net, scenario, flows[rate.at], -u)
    else:
        said = (f"rate set by the supply pressure of {rate.at}",)
    return heads, flows, [said]


def positions(lineup: LineUp, scenario: Scenario) -> Steady:
    """Return how everything stands in a scenario of a line-up without an agreed rate: no flow is solved.

    Parameters
    ----------
    lineup : LineUp
        Without a rate, and without supplies: of these the flow tells the curve.
    scenario : Scenario

    Returns
    -------
    Steady
        Without heads and flows.
    """
    net = _prepare(lineup, scenario)
    return Steady(
        head={},
        flow={},
        fixed=net.fixed,
        conductance=net.conductance,
        opening=net.opening,
        speed=net.speed,
        set_speed=dict(net.speed),
        curve=net.curve,
        supply={},
    )


def _first_speeds(net: FlowNet, scenario: Scenario) -> dict[str, float]:
    """Speeds at time 0: a pump whose first movement begins from rest is at rest until then."""
    speeds = dict(net.speed)
    tripping = {trip.pump for trip in scenario.trips}
    for move in sorted(scenario.pump_moves, key=lambda m: -m.start):
        if move.pump not in tripping:
            speeds[move.pump] = net.speed[move.pump] * move.law[0][1]
    return speeds


def steady_state(lineup: LineUp, scenario: Scenario) -> Steady:
    """Solve the flow at the beginning of a scenario.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario

    Returns
    -------
    Steady

    Raises
    ------
    CaseError
        The rate cannot be reached, a pump cannot cross the system, a shut-in part has no stated pressure, or
        what hangs on a point does not fit the working pressure; the fault points into the case file.
    SolveError
        No solution was found.

    Notes
    -----
    First the means of the agreed rate are set with the scenario's ``openings``; then the valves
    ``shut_at_start`` are shut, pumps that are only started later stand still, and the flow is solved again
    with the means left as they are.
    """
    net = _prepare(lineup, scenario)
    heads, flows, said = _reach_rate(net, scenario)
    said += _set_supplies(net, heads, flows)
    _refuse_idle_pumps(net, flows)
    set_speed = dict(net.speed)
    first_speed = _first_speeds(net, scenario)
    if scenario.shut_at_start or first_speed != set_speed:
        net.opening |= dict.fromkeys(scenario.shut_at_start, 0.0)
        net.speed = first_speed
        heads, flows, _ = solve_flow(net, scenario)
    refuse_misfits(lineup, heads)
    return Steady(
        head=heads,
        # A residue of the solution is no flow: it would give a branch at rest a friction factor.
        flow={name: q if abs(q) > RESIDUE else 0.0 for name, q in flows.items()},
        fixed=net.fixed,
        conductance=net.conductance,
        opening=net.opening,
        speed=net.speed,
        set_speed=set_speed,
        curve=net.curve,
        supply=net.supply,
        set_up=tuple(said),
    )


def steady_once(lineup: LineUp, scenario: Scenario) -> Steady:
    """As :func:`steady_state`, solved once for all scenarios that begin alike.

    Searches and looks ask for the same flow many times, with other strokes of the valves.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario

    Returns
    -------
    Steady
        Not to be changed: it is handed out again.

    Raises
    ------
    CaseError, SolveError
    """
    return _solved(_Asked(lineup, replace(scenario, moves=())))


class _Asked:
    """What a steady flow goes by: all of a line-up but its scenarios, and of a scenario how it begins."""

    def __init__(self, lineup: LineUp, scenario: Scenario) -> None:
        self.lineup, self.scenario = lineup, scenario
        self.key = (*(getattr(lineup, name) for name in _OF_LINEUP), scenario)
        self.hash = hash(self.key)

    def __hash__(self) -> int:
        return self.hash

    def __eq__(self, other: Any) -> bool:
        return isinstance(other, _Asked) and self.key == other.key


_OF_LINEUP = tuple(f.name for f in fields(LineUp) if f.compare and f.name != "scenarios")


@lru_cache(maxsize=FLOWS_KEPT)
def _solved(asked: _Asked) -> Steady:
    return steady_state(asked.lineup, asked.scenario)

"""The flow before anything moves: Newton's method on the whole network at once.

Unknown are the head of every point, the flow of every element and, when an agreed rate is to be
reached, the head that its means must make or take. Dense and small: a line-up has tens of
elements. Heads [m], flows [m3/s].
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surge.curves import PumpCurve, pump_curve
from surge.curves import head as head_of_pump
from surge.errors import CaseError, Fault, SolveError
from surge.formulas import friction_factor, fully_rough_factor, head_loss, kv_loss
from surge.lineup import LineUp, Passage, Pump, Scenario, Supply, Tank, Valve
from surge.topology import components, pressure_points

Array = NDArray[Any]

_EPS_FLOW = 1e-6  # [m3/s] keeps slopes off zero at rest; not part of any solution
_ROOT_HEAD = 1e-3  # [m0.5] of the head that does so for an orifice
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
        Fully open ``c`` of valves and passages, Q = c * ratio * sqrt(dH) [m2.5/s].
    opening : dict of str to float
        Opening of every valve at time 0; ``open_at_rate`` the one while loading at the rate.
    speed : dict of str to float
        Of every pump.
    supply : dict of str to (float, float)
        Shut-off head [m] above the point's own and the loss coefficient [s2/m5] behind it.
    set_up : tuple of str
        How the rate was reached, in words.
    """

    head: dict[str, float]
    flow: dict[str, float]
    fixed: dict[str, float]
    conductance: dict[str, float]
    opening: dict[str, float]
    open_at_rate: dict[str, float]
    speed: dict[str, float]
    curve: dict[str, PumpCurve]
    supply: dict[str, tuple[float, float]]
    set_up: tuple[str, ...] = ()


@dataclass(kw_only=True)
class _Means:
    """The one element whose head change is free so that the rate is met."""

    element: str
    through: str
    rate: float


@dataclass(kw_only=True)
class _Net:
    """Working state of one solution."""

    lineup: LineUp
    opening: dict[str, float]
    speed: dict[str, float]
    conductance: dict[str, float]
    curve: dict[str, PumpCurve]
    fixed: dict[str, float]
    supply: dict[str, tuple[float, float]] = field(default_factory=dict)


def head_of_tank(lineup: LineUp, tank: Tank) -> float:
    """Head that a tank holds at its point [m]; a ship's tank not yet covered is a free outfall."""
    z = lineup.points_by_name[tank.point].elevation
    level = max(tank.level, z) if tank.side == "ship" else tank.level
    return level + tank.blanket / (lineup.liquid.density * lineup.gravity)


def ratio_at(valve: Valve, opening: float) -> float:
    """Kv as a fraction of the fully open one at an opening [-]."""
    x, y = zip(*valve.characteristic, strict=True)
    return float(np.interp(opening, x, y))


def opening_for(valve: Valve, ratio: float) -> float:
    """Smallest opening at which the valve has ``ratio`` of its full Kv [-]."""
    points = valve.characteristic
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if y1 >= ratio:
            return x1 if y1 == y0 else x0 + (x1 - x0) * (ratio - y0) / (y1 - y0)
    return 1.0


class PipeLoss:
    """Friction and minor losses of all pipes, as a function of their flows.

    Parameters
    ----------
    lineup : LineUp
    """

    def __init__(self, lineup: LineUp) -> None:
        pipes = lineup.pipes
        self.area = np.array([p.area for p in pipes])
        self.diameter = np.array([p.diameter for p in pipes])
        self.length = np.array([p.length for p in pipes])
        self.rough = np.array([p.roughness for p in pipes]) / self.diameter
        self.minor = np.array([p.minor_loss for p in pipes])
        self.given = np.array([np.nan if p.friction_factor is None else p.friction_factor for p in pipes])
        self.viscosity = lineup.liquid.viscosity
        self.gravity = lineup.gravity

    def factor(self, flow: Array) -> Array:
        """Darcy factor at each flow [-]; a pipe at rest takes the fully rough one."""
        rough = np.asarray(fully_rough_factor(self.rough))
        moving = np.abs(flow) > 0
        if self.viscosity > 0:
            reynolds = np.abs(flow) / self.area * self.diameter / self.viscosity
            f = np.where(moving, friction_factor(np.maximum(reynolds, 1e-12), self.rough), rough)
        else:
            f = rough
        return np.where(np.isnan(self.given), f, self.given)

    def __call__(self, flow: Array) -> Array:
        """Head lost at each flow, signed [m]; the last axis of ``flow`` is the pipes."""
        loss = head_loss(
            flow,
            length=self.length,
            diameter=self.diameter,
            roughness=self.rough * self.diameter,
            viscosity=self.viscosity,
            minor_loss=self.minor,
            gravity=self.gravity,
        )
        square = flow * np.abs(flow) / (2 * self.gravity * self.area**2)
        fixed = (self.given * self.length / self.diameter + self.minor) * square
        return np.asarray(np.where(np.isnan(self.given), loss, fixed))

    def slope(self, flow: Array) -> Array:
        """d(loss)/d(flow) [s/m2], by a difference, never zero."""
        step = 1e-6 * np.abs(flow) + _EPS_FLOW
        return (self(flow + step) - self(flow - step)) / (2 * step) + 1e-9


def _orifice(c: float, q: float) -> tuple[float, float]:
    return q * abs(q) / c**2, 2 * (abs(q) / c + _ROOT_HEAD) / c


def _link_law(net: _Net, element: Valve | Passage | Pump, q: float) -> tuple[float, float] | None:
    """Head lost over a link at ``q`` and the slope; None when it is shut."""
    if isinstance(element, Pump):
        head, slope = head_of_pump(net.curve[element.name], q, speed=net.speed[element.name])
        return -head, -slope + 1e-9
    c = net.conductance[element.name]
    if isinstance(element, Valve):
        c *= ratio_at(element, net.opening[element.name])
    return _orifice(c, q) if c > 0 else None


class _Newton:
    """Newton's method on heads, flows and the means of the rate."""

    def __init__(self, net: _Net, *, means: _Means | None, held: set[str], free: set[str]) -> None:
        self.net, self.means, self.held, self.free = net, means, held, free
        lineup = net.lineup
        self.points = {p.name: i for i, p in enumerate(lineup.points)}
        self.pipes = lineup.pipes
        self.links = lineup.links
        self.loss = PipeLoss(lineup)
        self.n = len(self.points)
        self.elements = lineup.elements
        self.index = {e.name: i for i, e in enumerate(self.elements)}
        self.sources = [s for s in lineup.supplies if s.name in net.supply]
        self.size = self.n + len(self.elements) + len(self.sources) + (means is not None)

    def _constant_part(self) -> tuple[Array, Array]:
        n = self.n
        matrix = np.zeros((self.size, self.size))
        rhs = np.zeros(self.size)
        for k, element in enumerate(self.elements):
            a, b = self.points[element.start], self.points[element.end]
            matrix[a, n + k] -= 1
            matrix[b, n + k] += 1
            matrix[n + k, a] += 1
            matrix[n + k, b] -= 1
        base = n + len(self.elements)
        for k, supply in enumerate(self.sources):
            p = self.points[supply.point]
            matrix[p, base + k] += 1
            matrix[base + k, p] = -1
        for name, head in self.net.fixed.items():
            p = self.points[name]
            matrix[p, :] = 0
            matrix[p, p] = 1
            rhs[p] = head
        return matrix, rhs

    def _laws(self, matrix: Array, rhs: Array, q: Array) -> None:
        """Linearise every law about ``q``: H_a - H_b - slope*Q = law - slope*q."""
        n, m = self.n, len(self.pipes)
        loss, slope = self.loss(q[:m]), self.loss.slope(q[:m])
        rows = np.arange(n, n + m)
        matrix[rows, rows] = -slope
        rhs[rows] = loss - slope * q[:m]
        for k, link in enumerate(self.links, start=m):
            law = None if link.name in self.held else _link_law(self.net, link, q[k])
            row = n + k
            if self.means and self.means.element == link.name:
                matrix[row, -1] = -1
            elif law is None:
                matrix[row, :] = 0
                matrix[row, row] = 1
            else:
                matrix[row, row] = -law[1]
                rhs[row] = law[0] - law[1] * q[k]
        self._source_laws(matrix, rhs, q)

    def _source_laws(self, matrix: Array, rhs: Array, q: Array) -> None:
        base = self.n + len(self.elements)
        for k, supply in enumerate(self.sources):
            row, flow = base + k, q[len(self.elements) + k]
            h0, c = self.net.supply[supply.name]
            z = self.net.lineup.points_by_name[supply.point].elevation
            matrix[row, row] = -2 * c * abs(flow) - 1e-9
            rhs[row] = -(z + h0) + c * flow * abs(flow) - (2 * c * abs(flow) + 1e-9) * flow
        if self.means:
            matrix[-1, :] = 0
            matrix[-1, self.n + self.index[self.means.through]] = 1
            rhs[-1] = self.means.rate
            if self.means.element in self.free:
                supply = next(s for s in self.net.lineup.supplies if s.name == self.means.element)
                p = self.points[supply.point]
                matrix[p, :] = 0
                rhs[p] = 0
                matrix[p, p] = 1
                matrix[p, -1] = -1

    def solve(self) -> Array:
        """Return heads, flows, source flows and the means' head; SolveError if none is found."""
        q = np.array([0.5 * p.area for p in self.pipes] + [0.05] * (len(self.links) + len(self.sources)))
        n = self.n
        matrix, rhs = self._constant_part()
        for count in range(200):
            a, b = matrix.copy(), rhs.copy()
            self._laws(a, b, q)
            try:
                x = np.linalg.solve(a, b)
            except np.linalg.LinAlgError as error:
                raise SolveError("the steady flow of this line-up has no single solution") from error
            new = x[n : n + q.size]
            change = np.max(np.abs(new - q) / (1e-3 + np.abs(new)), initial=0.0)
            # Quadratic losses can make Newton swing between two flows: later steps are damped.
            q = new if count < 25 else 0.5 * (q + new)
            if change < 1e-13 or (change < 1e-11 and count > 30):
                return x
        if change < 1e-8:
            return x
        raise SolveError(f"the steady flow did not settle (last change {change:.1e})")


def _shut(net: _Net) -> set[str]:
    return {v.name for v in net.lineup.valves if ratio_at(v, net.opening[v.name]) <= 0}


def _trapped(net: _Net, scenario: Scenario, held: set[str]) -> dict[str, float]:
    """Heads of the parts shut in on all sides, from the pressures that the scenario states."""
    lineup = net.lineup
    holders = pressure_points(lineup)
    given = dict(scenario.trapped)
    heads: dict[str, float] = {}
    for part in components(lineup, without=_shut(net) | held):
        if part & holders.keys():
            continue
        stated = sorted(part & given.keys())
        if not stated:
            names = ", ".join(f'"{p.name}"' for p in lineup.points if p.name in part)
            raise CaseError(
                [
                    Fault(
                        path=(*scenario.origin, "trapped_pressure"),
                        found=f"at the start the part around {names} is shut in: nothing tells its pressure",
                        expected="a pressure for every part that is shut in on all sides",
                        remedy=f'write trapped_pressure = {{ {_first(part, lineup)} = "..." }} with it',
                    )
                ]
            )
        point = lineup.points_by_name[stated[0]]
        heads[point.name] = point.elevation + given[point.name] / (lineup.liquid.density * lineup.gravity)
    return heads


def _first(part: set[str], lineup: LineUp) -> str:
    return next(f'"{p.name}"' for p in lineup.points if p.name in part)


def _solve(
    net: _Net, scenario: Scenario, *, means: _Means | None = None
) -> tuple[dict[str, float], dict[str, float], float]:
    """Heads, flows and the means' head, with non-return valves shut where flow would turn."""
    held: set[str] = set()
    free = {s.name for s in net.lineup.supplies}
    tanks = dict(net.fixed)
    for _ in range(2 + len(net.lineup.pumps)):
        net.fixed = tanks | _trapped(net, scenario, held)
        newton = _Newton(net, means=means, held=held, free=free)
        x = newton.solve()
        flows = dict(zip(newton.index, x[newton.n :], strict=False))
        back = {p.name for p in net.lineup.pumps if p.non_return and flows[p.name] < 0} - held
        if not back:
            break
        held |= back
    net.fixed = tanks
    heads = {name: float(x[i]) for name, i in newton.points.items()}
    flows = {name: float(x[newton.n + i]) for name, i in newton.index.items()}
    for k, supply in enumerate(newton.sources):
        flows[supply.name] = float(x[newton.n + len(newton.elements) + k])
    for name in held | _shut(net):
        flows[name] = 0.0
    return heads, flows, float(x[-1]) if means else 0.0


def _prepare(lineup: LineUp, scenario: Scenario) -> _Net:
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
    return _Net(
        lineup=lineup,
        opening={v.name: openings.get(v.name, v.opening) for v in lineup.valves},
        speed={p.name: p.speed for p in lineup.pumps},
        conductance=c,
        curve={p.name: pump_curve(p.curve) for p in lineup.pumps},
        fixed=fixed,
    )


def _natural_rate(net: _Net, scenario: Scenario, through: str) -> str:
    """The rate that the line-up gives with its means wide open, in words for a refusal."""
    try:
        _, flows, _ = _solve(net, scenario)
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


def _set_throttle(net: _Net, scenario: Scenario, q: float, drop: float) -> str:
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
        return f"rate set by throttling at {rate.at}: Kv {c / full * 100:.1f} % of its own"
    opening = opening_for(valve, min(c / full, 1.0))
    net.opening[rate.at] = opening
    return f"rate set by throttling at {rate.at}: {opening * 100:.1f} % open, taking {drop:.2f} m of head"


def _set_speed(net: _Net, scenario: Scenario, q: float, rise: float) -> str:
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
    low, high = 0.0, top
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if head_at(middle) < rise else (low, middle)
    net.speed[rate.at] = high
    return f"rate set by the speed of {rate.at}: {high * 100:.1f} % of full speed"


def _source_flow(lineup: LineUp, flows: dict[str, float], point: str) -> float:
    return sum((e.start == point) * flows[e.name] - (e.end == point) * flows[e.name] for e in lineup.elements)


def _set_supplies(net: _Net, heads: dict[str, float], flows: dict[str, float]) -> list[str]:
    """Give each supply the curve through its shut-off pressure and what it does now."""
    lineup = net.lineup
    rho_g = lineup.liquid.density * lineup.gravity
    said = []
    for s in lineup.supplies:
        z = lineup.points_by_name[s.point].elevation
        q = _source_flow(lineup, flows, s.point)
        now = heads[s.point] - z
        said.append(f"supply {s.name}: {now * rho_g / 1e5:.2f} bar(g) at {q * 3600:.0f} m3/h")
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


def _refuse_idle_pumps(net: _Net, flows: dict[str, float]) -> None:
    """A pump that lifts nothing although no valve is shut cannot cross the system."""
    lineup = net.lineup
    if _shut(net):
        return
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


def _reach_rate(net: _Net, scenario: Scenario) -> tuple[dict[str, float], dict[str, float], list[str]]:
    """Heads, flows and words of the state in which the agreed rate is set."""
    lineup, rate = net.lineup, net.lineup.rate
    if rate is None:
        heads, flows, _ = _solve(net, scenario)
        return heads, flows, ["rate as the pump and the levels give it"]
    if rate.means == "supply pressure":
        net.fixed.pop(next(s.point for s in lineup.supplies if s.name == rate.at), None)
    asked = scenario.rate if scenario.rate is not None else rate.agreed
    means = _Means(element=rate.at, through=rate.through, rate=asked)
    heads, flows, u = _solve(net, scenario, means=means)
    if rate.means == "throttle":
        said = _set_throttle(net, scenario, flows[rate.at], u)
    elif rate.means == "pump speed":
        said = _set_speed(net, scenario, flows[rate.at], -u)
    else:
        said = f"rate set by the supply pressure of {rate.at}"
    return heads, flows, [said]


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
        The rate cannot be reached, a pump cannot cross the system, or a shut-in part has no
        stated pressure; the fault points into the case file.
    SolveError
        No solution was found.

    Notes
    -----
    First the means of the agreed rate are set with the scenario's ``openings``; then the valves
    ``shut_at_start`` are shut and the flow is solved again with the means left as they are.
    """
    net = _prepare(lineup, scenario)
    heads, flows, said = _reach_rate(net, scenario)
    said += _set_supplies(net, heads, flows)
    _refuse_idle_pumps(net, flows)
    at_rate = dict(net.opening)
    if scenario.shut_at_start:
        net.opening |= dict.fromkeys(scenario.shut_at_start, 0.0)
        heads, flows, _ = _solve(net, scenario)
    return Steady(
        head=heads,
        flow=flows,
        fixed=net.fixed,
        conductance=net.conductance,
        opening=net.opening,
        open_at_rate=at_rate,
        speed=net.speed,
        curve=net.curve,
        supply=net.supply,
        set_up=tuple(said),
    )

"""Newton's method on the flow of a whole network: heads, flows and, for a rate, its means.

Dense and small: a line-up has tens of elements. Heads [m], flows [m3/s].
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from surge.arrays import Array
from surge.errors import CaseError, Fault, SolveError
from surge.hydraulics.losses import PipeLoss
from surge.kernel.curves import PumpCurve
from surge.kernel.curves import head as head_of_pump
from surge.model.lineup import LineUp, Link, NonReturnValve, Pump, Scenario, Valve
from surge.model.topology import components, fixed_head_points

_ROOT_HEAD = 1e-3  # [m0.5] of the head that keeps an orifice's slope off zero; not in the solution


@dataclass(kw_only=True)
class Means:
    """The one element whose head change is free so that the rate is met.

    Attributes
    ----------
    element, through : str
        The element, and the one in which the rate is counted.
    rate : float
        [m3/s]
    """

    element: str
    through: str
    rate: float


@dataclass(kw_only=True)
class FlowNet:
    """Working state of one solution.

    Attributes
    ----------
    opening, speed : dict of str to float
        Of valves and of pumps, at this moment of the set-up [-].
    conductance : dict of str to float
        Fully open ``c`` of valves and passages, Q = c * ratio * sqrt(dH) [m2.5/s].
    curve : dict of str to PumpCurve
    fixed : dict of str to float
        Heads held at points [m].
    supply : dict of str to (float, float)
        Shut-off head above the supply's own point [m], and loss coefficient behind it [s2/m5].
    """

    lineup: LineUp
    opening: dict[str, float]
    speed: dict[str, float]
    conductance: dict[str, float]
    curve: dict[str, PumpCurve]
    fixed: dict[str, float]
    supply: dict[str, tuple[float, float]] = field(default_factory=dict)


def ratio_at(valve: Valve, opening: float) -> float:
    """Return Kv as a fraction of the fully open one [-], straight between the points of the characteristic.

    Parameters
    ----------
    valve : Valve
    opening : float
        [-]
    """
    x, y = zip(*valve.characteristic, strict=True)
    return float(np.interp(opening, x, y))


def _orifice(c: float, q: float) -> tuple[float, float]:
    return q * abs(q) / c**2, 2 * (abs(q) / c + _ROOT_HEAD) / c


def _link_law(net: FlowNet, element: Link, q: float) -> tuple[float, float] | None:
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

    def __init__(self, net: FlowNet, *, means: Means | None, held: set[str], free: set[str]) -> None:
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
        loss, slope = self.loss.with_slope(q[:m])
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
                x = np.asarray(np.linalg.solve(a, b), dtype=np.float64)
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


def shut_valves(net: FlowNet) -> set[str]:
    """Return the names of the valves that let nothing through."""
    return {v.name for v in net.lineup.valves if ratio_at(v, net.opening[v.name]) <= 0}


def _trapped(net: FlowNet, scenario: Scenario, held: set[str]) -> dict[str, float]:
    """Heads of the parts shut in on all sides, from the pressures that the scenario states."""
    lineup = net.lineup
    holders = fixed_head_points(lineup)
    given = dict(scenario.trapped)
    heads: dict[str, float] = {}
    for part in components(lineup, without=shut_valves(net) | held):
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


def solve_flow(
    net: FlowNet, scenario: Scenario, *, means: Means | None = None
) -> tuple[dict[str, float], dict[str, float], float]:
    """Solve the steady flow of the network, with non-return valves shut where flow would turn.

    Parameters
    ----------
    net : FlowNet
        ``fixed`` is as before when the function returns.
    scenario : Scenario
        Pressures of parts that are shut in come from it.
    means : Means, optional
        The element whose head change is one more unknown, so that the rate is met.

    Returns
    -------
    heads, flows, head : dict, dict, float
        By point [m]; by element and supply [m3/s]; head that the means takes [m], 0 without one.

    Raises
    ------
    SolveError
        No solution was found.
    CaseError
        A part that is shut in on all sides has no stated pressure.

    Notes
    -----
    Continuity at every point and the law of every element, by Newton's method on heads and flows together;
    classical.
    """
    held: set[str] = set()
    free = {s.name for s in net.lineup.supplies}
    tanks = dict(net.fixed)
    single: list[Pump | NonReturnValve] = [p for p in net.lineup.pumps if p.non_return]
    single += net.lineup.non_return_valves
    for _ in range(2 + len(single)):
        net.fixed = tanks | _trapped(net, scenario, held)
        newton = _Newton(net, means=means, held=held, free=free)
        x = newton.solve()
        flows = dict(zip(newton.index, x[newton.n :], strict=False))
        back = {e.name for e in single if flows[e.name] < 0} - held
        if not back:
            break
        held |= back
    net.fixed = tanks
    heads = {name: float(x[i]) for name, i in newton.points.items()}
    flows = {name: float(x[newton.n + i]) for name, i in newton.index.items()}
    for k, supply in enumerate(newton.sources):
        flows[supply.name] = float(x[newton.n + len(newton.elements) + k])
    for name in held | shut_valves(net):
        flows[name] = 0.0
    return heads, flows, float(x[-1]) if means else 0.0

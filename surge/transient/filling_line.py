"""The line of a filling as numbers: pipes behind one another, what stands between them, the gas.

Heads [m], flows [m3/s], lengths [m], volumes [m3], pressures of gas [Pa absolute].
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from surge.arrays import Array
from surge.errors import CaseError
from surge.hydraulics.losses import loss_tables
from surge.hydraulics.steady import Steady, positions, steady_state
from surge.kernel.curves import PumpCurve
from surge.kernel.filling_gas import leaves
from surge.kernel.filling_junctions import loss_per_metre
from surge.kernel.march import law_at
from surge.model.column import Column, ColumnError, column_of, filling_fault
from surge.model.filling import GAS_CONSTANT, HEAT_RATIO, HOLE, OPEN, SHUT, Filling
from surge.model.lineup import LineUp, NonReturnValve, Pump, Table, Valve
from surge.model.stroke import kv_ratio_over_time, opening_over_time, speed_over_time

LEAST_GAS = 1e-4  # [m] of the last pipe: less gas than that is none; our own choice
AS_GOOD_AS_SHUT = 1e-3  # [-] of its Kv: with less a valve stops a rigid column


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """Pipes behind one another, in the direction of the liquid; arrays of shape (pipes,).

    Attributes
    ----------
    length, area, wave_speed : ndarray
        [m], [m2], [m/s]
    z : ndarray, shape (pipes + 1,)
        Elevations of the ends [m].
    inertia : ndarray
        1/(g A): head per metre for each m3/s2 [s2/m3].
    factor : ndarray, shape (pipes, steps + 1)
        Loss per metre over Q|Q| at equal steps of flow [s2/m6].
    step : ndarray
        Those steps [m3/s].
    """

    length: Array
    area: Array
    wave_speed: Array
    z: Array
    inertia: Array
    factor: Array
    step: Array

    def loss(self, k: int, q: float) -> float:
        """Return the head lost over a metre of pipe ``k`` at ``q`` [m3/s], signed [-]."""
        step, row = self._rows[k]
        return float(loss_per_metre(q, step, row))

    @cached_property
    def _rows(self) -> list[tuple[float, list[float]]]:
        """Step [m3/s] and factors [s2/m6] of every pipe, as lists: from them Python reads faster."""
        return list(zip(self.step.tolist(), self.factor.tolist(), strict=True))


@dataclass(frozen=True, kw_only=True, eq=False)
class Between:
    """What stands at a junction, without a length.

    Attributes
    ----------
    name : str
    conductance : float
        Fully open, Q = c sqrt(dH) [m2.5/s]; 0 of a pump.
    curve : PumpCurve or None
    check : bool
        Nothing flows back.
    law : tuple of (time, value)
        Kv over the fully open one, or speed of the pump [s], [-].
    """

    name: str
    conductance: float
    curve: PumpCurve | None
    check: bool
    law: Table

    def at(self, time: float) -> float:
        """Return the value of its law at a time [s]; at a step the later one [-]."""
        times, values = self._points
        return float(law_at(time, 0, len(times), times, values))

    @cached_property
    def _points(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Times [s] and values [-] of its law."""
        return tuple(t for t, _ in self.law), tuple(v for _, v in self.law)


@dataclass(frozen=True, kw_only=True)
class Gas:
    """The gas before the front.

    Attributes
    ----------
    start, back : float
        Pressure at first, and outside [Pa absolute].
    volume : float
        At first [m3].
    exponent : float
        [-]
    vent : str
    rate : float
        Coefficient x area of the opening x sqrt(R T) / volume [1/s].
    least : float
        A volume below this is none [m3].
    """

    start: float
    back: float
    volume: float
    exponent: float
    vent: str
    rate: float
    least: float

    def leaves(self, p: float) -> float:
        """Return the share of the gas at first that leaves in a second at ``p`` [Pa absolute] [1/s].

        What comes in counts less than nought; see :func:`surge.kernel.filling_gas.leaves`.
        """
        return float(leaves(p, self.start, self.back, self.exponent, self.rate, HEAT_RATIO))

    def pressure(self, volume: float, mass: float) -> float:
        """Return its pressure [Pa absolute]: ``volume`` [m3], ``mass`` as a share of what there was [-]."""
        if self.vent == OPEN:
            return self.start
        return float(self.start * (mass * self.volume / max(volume, 1e-300)) ** self.exponent)


@dataclass(frozen=True, kw_only=True, eq=False)
class FillLine:
    """All that both models of a filling take.

    Attributes
    ----------
    column : Column
    line : Line
    between : tuple of tuple of Between
        At every junction: before each pipe, and at last where the front arrives.
    source, source_loss : float
        Head that the line begins at without flow [m], and the loss behind it [s2/m5].
    behind : float
        Head behind what stands where the front arrives, or of the tank there [m].
    first_pipe, first_length : int, float
        Where the front is at first: so far into that pipe [m].
    gas : Gas
    rho_g, atmosphere, vapour : float
        [Pa/m], [Pa], [Pa gauge]
    steady : Steady
    """

    column: Column
    line: Line
    between: tuple[tuple[Between, ...], ...]
    source: float
    source_loss: float
    behind: float
    first_pipe: int
    first_length: float
    gas: Gas
    rho_g: float
    atmosphere: float
    vapour: float
    steady: Steady

    @property
    def impedance(self) -> Array:
        """a/(g A) of every pipe [s/m2]."""
        return np.asarray(self.line.wave_speed * self.line.inertia)

    def head_of_gas(self, p: float, z: float) -> float:
        """Return the head of a front at elevation ``z`` [m] before gas of ``p`` [Pa absolute]."""
        return z + (p - self.atmosphere) / self.rho_g

    def place(self, pipe: int, length: float) -> float:
        """Return the elevation ``length`` [m] into a pipe [m]."""
        z = self.line.z
        return float(z[pipe] + (z[pipe + 1] - z[pipe]) * length / self.line.length[pipe])

    @property
    def last_event(self) -> float:
        """When the last movement is over [s]."""
        return max((one.law[-1][0] for each in self.between for one in each), default=0.0)

    @property
    def knots(self) -> list[float]:
        """Instants at which a movement changes its pace, and at which a valve is as good as shut [s]."""
        found = {t for each in self.between for one in each for t, _ in one.law}
        for one in (one for each in self.between for one in each if one.curve is None):
            for (t0, y0), (t1, y1) in pairwise(one.law):
                if min(y0, y1) < AS_GOOD_AS_SHUT < max(y0, y1) and t1 > t0:
                    found.add(t0 + (t1 - t0) * (AS_GOOD_AS_SHUT - y0) / (y1 - y0))
        return sorted(found)


def fill_line(lineup: LineUp, filling: Filling) -> FillLine:
    """Return the line of a filling.

    Parameters
    ----------
    lineup : LineUp
        Every figure a single one.
    filling : Filling

    Raises
    ------
    CaseError
        The way cannot be used; the rate cannot be reached.
    SolveError
        No steady flow was found by which the means of the rate are set.
    """
    try:
        column = column_of(lineup, filling)
    except ColumnError as error:
        raise CaseError([filling_fault(filling, error)]) from None
    scenario = replace(filling.scenario, shut_at_start=(), moves=(), pump_moves=(), trips=())
    by_rate = lineup.rate is not None or bool(lineup.supplies)
    steady = steady_state(lineup, scenario) if by_rate else positions(lineup, scenario)
    line = _line(lineup, column)
    first_pipe, first_length = _first(line, column, filling)
    rho_g = lineup.liquid.density * lineup.gravity
    source, loss = _source(lineup, column, steady)
    between = tuple(_between(filling, steady, column, j) for j in range(len(column.pipes) + 1))
    end = column.pipes[-1].last
    behind = steady.fixed[end] if column.tank else line.z[-1] + filling.gas_pressure / rho_g
    return FillLine(
        column=column,
        line=line,
        between=between,
        source=source,
        source_loss=loss,
        behind=float(behind),
        first_pipe=first_pipe,
        first_length=first_length,
        gas=_gas(lineup, filling, line, first_pipe, first_length),
        rho_g=rho_g,
        atmosphere=lineup.atmosphere,
        vapour=lineup.vapour_gauge,
        steady=steady,
    )


def _line(lineup: LineUp, column: Column) -> Line:
    names = [p.name for p in lineup.pipes]
    rows = [names.index(one.pipe.name) for one in column.pipes]
    tables = loss_tables(lineup, np.zeros(len(names)))
    length = np.array([one.pipe.length for one in column.pipes])
    step = tables.step[rows]
    q = step[:, None] * np.arange(tables.loss.shape[1])
    factor = np.empty_like(q)
    factor[:, 1:] = tables.loss[rows][:, 1:] / (q[:, 1:] ** 2 * length[:, None])
    factor[:, 0] = factor[:, 1]
    points = [column.pipes[0].first, *(one.last for one in column.pipes)]
    area = np.array([one.pipe.area for one in column.pipes])
    return Line(
        length=length,
        area=area,
        wave_speed=np.array([one.pipe.wave_speed for one in column.pipes]),
        z=np.array([lineup.points_by_name[p].elevation for p in points]),
        inertia=1.0 / (lineup.gravity * area),
        factor=np.ascontiguousarray(factor),
        step=np.ascontiguousarray(step),
    )


def _first(line: Line, column: Column, filling: Filling) -> tuple[int, float]:
    """Where the front is at first."""
    k, left = column.gas_from, filling.front
    while left >= line.length[k]:
        left -= line.length[k]
        k += 1
    return k, float(left)


def _source(lineup: LineUp, column: Column, steady: Steady) -> tuple[float, float]:
    if column.source in steady.fixed:
        return steady.fixed[column.source], 0.0
    supply = next(s for s in lineup.supplies if s.point == column.source)
    h0, loss = steady.supply[supply.name]
    return lineup.points_by_name[column.source].elevation + h0, loss


def _between(filling: Filling, steady: Steady, column: Column, j: int) -> tuple[Between, ...]:
    end = column.end
    links = column.links[j] if j < len(column.pipes) else (() if end is None else (end,))
    scenario, found = filling.scenario, []
    for link in links:
        curve, check = None, False
        law: Table = ((0.0, 1.0),)
        if isinstance(link, Pump):
            curve, check = steady.curve[link.name], link.non_return
            own = tuple(m for m in scenario.pump_moves if m.pump == link.name)
            law = speed_over_time(steady.set_speed[link.name], own)
        elif isinstance(link, NonReturnValve):
            check = True
        elif isinstance(link, Valve):
            opening = 0.0 if link.name in scenario.shut_at_start else steady.opening[link.name]
            moves = tuple(m for m in scenario.moves if m.valve == link.name)
            law = kv_ratio_over_time(opening_over_time(opening, moves), link.characteristic)
        conductance = 0.0 if isinstance(link, Pump) else steady.conductance[link.name]
        found.append(Between(name=link.name, conductance=conductance, curve=curve, check=check, law=law))
    return tuple(found)


def _gas(lineup: LineUp, filling: Filling, line: Line, first_pipe: int, first_length: float) -> Gas:
    volume = float((line.length * line.area)[first_pipe:].sum() - first_length * line.area[first_pipe])
    start = filling.gas_pressure + lineup.atmosphere
    hole = math.pi / 4.0 * filling.vent_diameter**2 * filling.vent_coefficient
    rate = hole * math.sqrt(GAS_CONSTANT * filling.temperature) / volume
    return Gas(
        start=start,
        back=start,
        volume=volume,
        exponent=filling.exponent,
        vent=filling.vent,
        rate=rate if filling.vent == HOLE else 0.0,
        least=0.0 if filling.vent == SHUT else LEAST_GAS * float(line.area[-1]),
    )

"""Filling of a line that is full of gas at first, by two models, each figure with its error.

Decisions
---------
* *Rigid*: the liquid behind the front moves as one (:mod:`surge.transient.filling_rigid`); where it arrives,
  waves begin in the full line with its velocity. *Elastic*: waves behind the front throughout
  (:mod:`surge.transient.filling_elastic`). Both are told; limits are held against the worse of both.
* The elastic marches are made with a step and its half; what a figure changes by, times ``SAFETY``, is its
  error: the scheme is of first order, so the rest to come is as much again. The error of a rigid figure is
  what a looser tolerance changes.
* An arrival at what stands there gives p = p_b + rho a (v_f - v_through), v_through from the valve's law: the
  figure of :attr:`Arrival.pressure`; p_b is what the gas has in that instant. The marches go on from there,
  and line packing adds to it.
* A front that passes a valve passes it in the state in which the valve stands then.
* Where liquid boils in some march, what comes after that is not valid: rejoining columns are not followed.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from surge.arguments import checked
from surge.hydraulics.fixed import at_figures, scenario_at
from surge.kernel.orifices import orifice_flow
from surge.model.filling import OPEN, Filling
from surge.model.lineup import LineUp, Pump
from surge.model.ranges import Taken
from surge.transient.filling_elastic import (
    ElasticFill,
    divided,
    elastic_fill,
    impact,
)
from surge.transient.filling_extremes import LEAST_ERROR, SAFETY, Extremes
from surge.transient.filling_line import FillLine, fill_line
from surge.transient.filling_result import ELASTIC, IMPACT, Arrival, Figure, FillingResult
from surge.transient.filling_rigid import LONGEST, LOOSER, TOLERANCE, RigidFill, rigid_fill

WORK = 4e6  # nodes times steps of the coarser of two marches, about
REACHES = (24.0, 320.0)  # of its whole line, at least and at most
LATER = 1.3  # an elastic march is followed so much longer than the rigid one
LAST_PART, STILL = 0.1, 0.02  # [-] of a march, of the rise: a pocket that rises so much there is not over
DIFFER = 0.05  # [-] of the rise: models that are apart by more are told to differ
# [-] of sqrt(g D): slower than this, liquid runs ahead along the bottom (Benjamin 1968, J. Fluid Mech. 31,
# 209-248; from memory).
SHARP = 0.54


@checked
def fill(lineup: LineUp, filling: Filling) -> FillingResult:
    """Fill a line by both models; what of the line-up is a range is taken as usual.

    Parameters
    ----------
    lineup : LineUp
        Checked.
    filling : Filling

    Returns
    -------
    FillingResult
        ``peak_gas_rigid``, ``peak_gas_elastic`` [Pa gauge], ``arrival_rigid``, ``arrival_elastic``, and
        histories.

    Raises
    ------
    CaseError, SolveError
        As :func:`fill_at`.
    """
    return fill_at(lineup, filling, ())


def fill_at(lineup: LineUp, filling: Filling, taken: tuple[Taken, ...]) -> FillingResult:
    """Fill a line by both models, at a point of what is a range.

    Parameters
    ----------
    lineup : LineUp
        Checked; figures in it may be ranges.
    filling : Filling
    taken : tuple of Taken
        Figures of what is a range; what is not among them is as usual.

    Raises
    ------
    CaseError
        The way cannot be used, or the rate that sets its throttle cannot be reached.
    SolveError
        The flow at the rate, or a march, has no solution that can be trusted.
    """
    fixed = at_figures(lineup, taken)
    filling = replace(filling, scenario=scenario_at(filling.scenario, lineup, fixed))
    return _Fill(fixed, filling, taken).result()


def duration_of(fill_: FillLine, rigid: RigidFill) -> float:
    """How long an elastic march lasts at most [s]."""
    whole = float((fill_.line.length / fill_.line.wave_speed).sum())
    return min(LATER * float(rigid.time[-1]) + 4.0 * whole + 0.1, 2.0 * LONGEST)


def reaches_for(fill_: FillLine, duration: float) -> float:
    """How many reaches the coarser march has over the whole line."""
    whole = float((fill_.line.length / fill_.line.wave_speed).sum())
    least, most = REACHES
    return min(max(math.sqrt(WORK * whole / max(duration, whole)), least), most)


class _Fill:
    """One filling at single figures."""

    def __init__(self, lineup: LineUp, filling: Filling, taken: tuple[Taken, ...]) -> None:
        self.lineup, self.filling, self.taken = lineup, filling, taken
        self.line = fill_line(lineup, filling)
        self.rho_g = self.line.rho_g
        self.rigid = rigid_fill(self.line)
        self.looser = rigid_fill(self.line, tolerance=LOOSER * TOLERANCE)
        duration = duration_of(self.line, self.rigid)
        n = reaches_for(self.line, duration)
        self.coarse, self.fine = (divided(self.line, k * n) for k in (1.0, 2.0))
        self.pairs: list[tuple[str, ElasticFill, ElasticFill]] = []
        both = [elastic_fill(self.line, r, duration=duration) for r in (self.fine, self.coarse)]
        self.pairs.append((ELASTIC, both[0], both[1]))
        self.impact: ElasticFill | None = None
        if self.rigid.arrival is not None:
            waves = [impact(self.line, r, self.rigid) for r in (self.fine, self.coarse)]
            self.impact = waves[0]
            self.pairs.append((IMPACT, waves[0], waves[1]))
        self.elastic = both[0]

    def result(self) -> FillingResult:
        rigid, elastic = self._peaks()
        extremes = Extremes(self.lineup, self.line, self.rigid, self.pairs, (rigid, elastic))
        arrivals = self._arrivals()
        boils = [e.boiled for _, e, _ in self.pairs if e.boiled is not None]
        low = self._rigid_boils()
        boils += [low] if low is not None else []
        return FillingResult(
            name=self.filling.name,
            filling=self.filling,
            taken=self.taken,
            line=self.line,
            rigid=self.rigid,
            elastic=self.elastic,
            impact=self.impact,
            peak_gas_rigid=rigid,
            peak_gas_elastic=elastic,
            arrival_rigid=arrivals[0],
            arrival_elastic=arrivals[1],
            highest=extremes.highest,
            lowest=extremes.lowest,
            velocity=self._velocities(),
            boils=min(boils, default=None),
            warnings=tuple(self._warnings(rigid, elastic)),
            undecided=self._undecided(),
        )

    # Figures

    def _gauge(self, p_abs: float) -> float:
        return p_abs - self.line.atmosphere

    def _peaks(self) -> tuple[Figure, Figure]:
        at = int(np.argmax(self.rigid.gas))
        rigid = Figure(
            value=self._gauge(self.rigid.peak_gas),
            error=abs(self.rigid.peak_gas - self.looser.peak_gas),
            time=float(self.rigid.time[at]),
        )
        _, fine, coarse = self.pairs[0]
        elastic = Figure(
            value=self._gauge(fine.peak_gas),
            error=SAFETY * abs(fine.peak_gas - coarse.peak_gas),
            time=fine.peak_gas_time,
        )
        return rigid, elastic

    def _arrivals(self) -> tuple[Arrival | None, Arrival | None]:
        rigid = elastic = None
        if self.rigid.arrival is not None:
            rigid = self._arrival(self.rigid, self.looser, 1.0)
        _, fine, coarse = self.pairs[0]
        if fine.arrival is not None:
            elastic = self._arrival(fine, coarse, SAFETY)
        return rigid, elastic

    def _arrival(
        self, made: RigidFill | ElasticFill, other: RigidFill | ElasticFill, safety: float
    ) -> Arrival:
        """An arrival, with what it differs by in another march, times ``safety``, as its error."""

        def figure(value: float, again: float) -> Figure:
            return Figure(value=float(value), error=float(safety * abs(value - again)))

        line = self.line
        area, b = float(line.line.area[-1]), float(line.impedance[-1])
        time = figure(made.arrival or 0.0, other.arrival or 0.0)
        velocity = figure(made.velocity, other.velocity)
        gas = figure(made.gas[-1], other.gas[-1])  # from then on it keeps the pressure that it had
        if line.column.tank:
            through = velocity.value
        else:
            through = float(self._through(velocity.value * area, b, time.value) / area)
        rise = self.rho_g * b * area  # rho a
        pressure = self._gauge(gas.value) + rise * (velocity.value - through)
        return Arrival(
            time=time,
            velocity=velocity,
            through=through,
            pressure=Figure(value=pressure, error=rise * velocity.error + gas.error, time=time.value),
        )

    def _through(self, flow: float, b: float, time: float) -> float:
        """Flow that what stands at the end lets pass on [m3/s]."""
        ends = self.line.between[-1]
        if not ends:
            return 0.0
        c = ends[0].conductance * ends[0].at(time)
        return float(orifice_flow.function(b * flow, b, c * c))

    def _velocities(self) -> dict[str, Figure]:
        found = {}
        line = self.line.line
        for k, one in enumerate(self.line.column.pipes):
            area = float(line.area[k])
            behind = self.rigid.pipe >= k
            rigid = float(np.abs(self.rigid.flow[behind]).max(initial=0.0)) / area
            tops = []
            for _, fine, coarse in self.pairs:
                pair = [
                    float(np.nanmax(np.abs(e.flows[:, k, :]), initial=0.0)) / area for e in (fine, coarse)
                ]
                at_front = [
                    float(np.abs(e.flow[e.pipe == k]).max(initial=0.0)) / area for e in (fine, coarse)
                ]
                tops.append(tuple(max(a, b) for a, b in zip(pair, at_front, strict=True)))
            tops.append((rigid, rigid))
            fine_top, coarse_top = max(tops)
            found[one.pipe.name] = Figure(
                value=fine_top, error=SAFETY * abs(fine_top - coarse_top) + 0.005 * fine_top
            )
        return found

    # What to mind

    def _rigid_boils(self) -> float | None:
        """When the rigid column is below vapour pressure somewhere [s]."""
        line = self.line.line
        for i, time in enumerate(self.rigid.time):
            k = int(self.rigid.pipe[i])
            for j in range(k + 1):
                ends = (line.z[j], self.line.place(j, self.rigid.length[i] if j == k else line.length[j]))
                p = self.rho_g * (self.rigid.heads[i, j] - np.array(ends))
                if float(np.min(p)) < self.line.vapour:
                    return float(time)
        return None

    def _undecided(self) -> str:
        if self.rigid.ended == "not ended":
            return f"the line is not full after {LONGEST / 60:.0f} minutes, and what comes then is not known"
        if self.rigid.ended == "not followed":
            return "the column swings so often on its gas that it is not followed to the end"
        if self.rigid.ended == "driven back":
            return "the gas drives the liquid back to where the line begins: nothing is known after that"
        if (self.rigid.arrival is None) is not (self.elastic.arrival is None):
            return (
                "by one model the front arrives and by the other it does not: nothing is known of its arrival"
            )
        if late := self._moves_later():
            return late
        if self._still_rises():
            return (
                "the gas comes to its highest pressure at the end of what was followed, and may come to more"
            )
        return ""

    def _moves_later(self) -> str:
        """What still moves when the filling is over: its surge is that of a full line."""
        scenario, over = self.filling.scenario, float(self.elastic.time[-1])
        ends = [(m.valve, m.start + m.law[-1][0]) for m in scenario.moves]
        ends += [(m.pump, m.start + m.law[-1][0]) for m in scenario.pump_moves]
        late = dict.fromkeys(f'"{name}"' for name, end in ends if end > over)
        if not late:
            return ""
        return (
            f"the filling is followed for {over:.0f} s, and {', '.join(late)} moves later: write that as a "
            "scenario, where the line is full"
        )

    def _still_rises(self) -> bool:
        """Whether the last part of a march on a pocket brings a pressure that none before it had."""
        made = self.elastic
        if made.arrival is not None or self.filling.vent == OPEN:
            return False
        early = made.time < (1.0 - LAST_PART) * made.time[-1]
        before = float(made.gas[early].max(initial=self.line.gas.start))
        rise = made.peak_gas - self.line.gas.start
        return made.peak_gas - before > STILL * rise + LEAST_ERROR

    def _warnings(self, rigid: Figure, elastic: Figure) -> list[str]:
        found = []
        rise = max(rigid.value, elastic.value) - self._gauge(self.line.gas.start)
        apart = abs(rigid.value - elastic.value)
        if self.filling.vent != OPEN and apart > DIFFER * rise:
            more = "rigid column" if rigid.value > elastic.value else "elastic line"
            found.append(
                f"the models differ by {apart / rise * 100:.0f} % of the rise of the gas: the {more} gives "
                "the higher pressure, and it is the one that is judged"
            )
        if self.rigid.ended == "rests" and self.rigid.arrival is None and self.filling.vent == OPEN:
            found.append(
                "the front comes to rest before it arrives: the source does not lift it further, or a valve "
                "has shut"
            )
        found += self._of_the_front()
        found += self._of_pumps()
        return found

    def _of_pumps(self) -> list[str]:
        """Pumps that deliver more than their curves tell."""
        found = []
        most = float(self.rigid.flow.max(initial=0.0))
        for links in self.line.column.links:
            for one in links:
                if isinstance(one, Pump) and most > one.curve[-1][0]:
                    found.append(
                        f'"{one.name}" delivers {most * 3600:.0f} m3/h while the line fills, beyond the end '
                        "of its curve: its head there, its motor and its suction are not known"
                    )
        return found

    def _of_the_front(self) -> list[str]:
        """Where the front is not plane."""
        found = []
        column, line = self.line.column, self.line.line
        first = column.gas_from
        falls = [
            column.pipes[k].pipe.name
            for k in range(first, len(column.pipes))
            if line.z[k + 1] < line.z[k] - 1e-6
        ]
        if falls:
            found.append(
                f'"{falls[0]}" falls towards where the front arrives: liquid runs ahead in it, and gas may '
                "stay behind; the front is taken to be plane"
            )
        moving = self.rigid.flow > 0.0
        slow = []
        for k in range(self.line.first_pipe, len(column.pipes)):
            here = moving & (self.rigid.pipe == k)
            if here.any() and k not in slow:
                speeds = self.rigid.flow[here] / line.area[k]
                if float(np.median(speeds)) < SHARP * math.sqrt(9.80665 * column.pipes[k].pipe.diameter):
                    slow.append(k)
        if slow:
            name = column.pipes[slow[0]].pipe.name
            found.append(
                f'in "{name}" the front is slower than a bubble that empties it: liquid runs ahead along the '
                "bottom, and gas may stay behind at the top"
            )
        return found

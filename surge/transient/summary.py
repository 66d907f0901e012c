"""From marches to the result of a scenario: heads become pressures, differences become errors.

Decisions
---------
* The error of an extreme is |half step - step| + 1.5 |other rounding of lengths - half step| + 1.5 |lumps in
  two parts - step| + 0.0004 of the greatest rise + 20 Pa. The factors are measured, not derived:
  ``tests/benchmarks/hunt.py`` compares runs with far finer ones.
* To that comes ``LATE_SAFETY`` times what the first march rose beyond the extreme after the run had ended
  (:mod:`surge.transient.run`): the late part. It is no numerical error and does not ask for a finer step.
* In a scenario whose worst error stays above what was aimed at, every extreme carries that worst error, after
  a sudden stop twice that (the farthest off that a hunt has seen): fronts may meet elsewhere than in any of
  the marches.
* How gentle a closure is goes by the flow through the valve itself, from the instant before it moves: the
  time from the last 95 % to the first 5 % of it, and the greatest part lost within one pipeline period
  (the longest) and one sample. A valve through which less than 5 % of its greatest flow goes when it begins
  stops nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from surge.hydraulics.formulas import joukowsky
from surge.model.lineup import LineUp, Link, Passage, Pipe, Pump, Scenario, Valve, ValveMove
from surge.model.topology import PipelinePeriod, pipeline_period
from surge.phrases import Phrase
from surge.transient.march import STEPS_KEPT, Marched
from surge.transient.peaks import Key, Peaks, along
from surge.transient.result import (
    Closure,
    ElementResult,
    Envelope,
    Extreme,
    History,
    Method,
    PlaceResult,
    PocketFigures,
    ScenarioResult,
    Vapour,
)

if TYPE_CHECKING:
    from surge.transient.plan import Plan


# A difference by rounding is a sample of the error, not a bound. With these the error bar
# covered the difference to a march at an eighth of the step in more than 99 % of the extremes of
# generated line-ups with strokes of 2 to 30 s (tests/benchmarks/hunt.py).
FIT_SAFETY = 1.5
LATE_SAFETY = 2.5  # what rises late at a coarse step rose by up to twice as much at a fine one
# After a sudden stop that does not settle an extreme was seen up to twice its greatest error off.
UNSETTLED = 2.0
LEAST_SHARE = 4e-4  # of the greatest rise
LEAST_ERROR = 20.0  # [Pa]
BACK_FLOW = 1e-4  # [m3/s] smaller reverse flows are not worth a word


class Summary(Peaks):
    """The extremes of a march that can be asked for more.

    Parameters
    ----------
    lineup : LineUp
    marched : Marched
    """

    def __init__(self, lineup: LineUp, marched: Marched) -> None:
        super().__init__(lineup, marched)
        self.marched = marched

    def probe_shares(self) -> dict[str, tuple[float, ...]]:
        """Return where in each pipe its highest and lowest pressure are, as shares of its length, 0 to 1 [-].

        A share at an end of the pipe is moved to the node beside it: ends are recorded as points anyway.
        """
        shares = {}
        for k, pipe in enumerate(self.lineup.pipes):
            n = self.marched.grid.reaches.count[k]
            edge = 1 / max(n, 2)
            high, low = (self.found["element", pipe.name, way].share for way in ("high", "low"))
            shares[pipe.name] = tuple(min(max(s, edge), 1 - edge) for s in (high, low))
        return shares

    @cached_property
    def greatest_rise(self) -> float:
        """Greatest rise of a place above its steady pressure [Pa]."""
        start = self.marched.heads[0][0]
        return float(np.max(self.marched.point_hi - start, initial=0.0)) * self.rho_g

    def tolerance(self, share: float, least: float) -> float:
        """Numerical error allowed [Pa]."""
        return max(share * self.greatest_rise, least)

    def later(self, longer: Summary) -> dict[Key, float]:
        """By how much the extremes of the same march lie further out when it has gone on [Pa]."""
        out = {"high": 1.0, "low": -1.0}
        return {
            key: max(out[key[2]] * (longer.found[key].pressure - one.pressure), 0.0)
            for key, one in self.found.items()
        }

    def difference(self, other: Summary, key: Key) -> float:
        """How far apart two marches are in one extreme [Pa]."""
        return abs(self.found[key].pressure - other.found[key].pressure)


@dataclass(frozen=True, kw_only=True)
class ErrorMarches:
    """The marches that tell the error of the one reported.

    Attributes
    ----------
    fine : Summary
        Reported; at about half the step of ``coarse``.
    coarse : Summary
    misfit : Summary
        At about the step of ``fine``, lengths rounded differently.
    lumping : Summary or None
        At the step of ``coarse``, every lump in two parts; None when nothing was lumped.
    late : mapping of Key to float
        By how much the first march rose beyond each extreme after the duration of these [Pa].
    """

    fine: Summary
    coarse: Summary
    misfit: Summary
    lumping: Summary | None
    late: Mapping[Key, float]

    def parts(self, key: Key) -> tuple[float, float, float]:
        """Step, misfit and lumping part of the error of one extreme [Pa]."""
        step, misfit = self.fine.difference(self.coarse, key), self.fine.difference(self.misfit, key)
        lumping = self.coarse.difference(self.lumping, key) if self.lumping else 0.0
        floor = LEAST_SHARE * self.fine.greatest_rise + LEAST_ERROR
        return step + floor, FIT_SAFETY * misfit, FIT_SAFETY * lumping

    @cached_property
    def worst(self) -> float:
        """Greatest error of any extreme [Pa]."""
        return max(sum(self.parts(key)) for key in self.fine.found)


def roles_of(lineup: LineUp, point: str) -> tuple[str, ...]:
    """What a point is, in the trade's words."""
    roles = []
    at = lineup.points_by_name[point]
    if at.pump_top:
        roles.append("top of the cargo pump")
    if at.closed:
        roles.append("dead end")
    roles += [f"tank {t.name}" for t in lineup.tanks if t.point == point]
    roles += [f"supply {s.name}" for s in lineup.supplies if s.point == point]
    for link in lineup.links:
        if point in (link.start, link.end):
            roles.append(f"{_side(link, point)} {link.name}")
    return tuple(roles)


def _side(link: Link, point: str) -> str:
    if isinstance(link, Pump):
        return "suction of" if point == link.start else "discharge of"
    return "before" if point == link.start else "after"


def _kind(element: Pipe | Link) -> str:
    if isinstance(element, Pipe):
        return element.kind
    return {Valve: "valve", Passage: "passage", Pump: "pump"}[type(element)]


class _Results:
    """Puts the parts of a scenario's result together."""

    def __init__(
        self,
        work: Plan,
        compared: ErrorMarches | None,
        fine: Summary,
        until: Summary | None,
        tolerance: float,
    ) -> None:
        self.work, self.compared, self.fine, self.until = work, compared, fine, until
        self.tolerance = tolerance
        self.lineup = work.lineup
        self.rho_g = fine.rho_g

    def extreme(self, key: Key, length: float = 0.0) -> Extreme:
        found = self.fine.found[key]
        step, misfit, lumping = self.compared.parts(key) if self.compared else (0.0, 0.0, 0.0)
        late = LATE_SAFETY * self.compared.late[key] if self.compared else 0.0
        error = step + misfit + lumping + late
        if self.compared and self.compared.worst > self.tolerance:
            # Not settled: fronts may still meet elsewhere than they did in any of these marches.
            error = self.compared.worst * (UNSETTLED if self.work.sudden else 1.0) + late
        return Extreme(
            pressure=found.pressure,
            time=found.time,
            distance=found.share * length,
            error=error,
            step_part=step,
            misfit_part=misfit,
            lumping_part=lumping,
            late_part=late,
            before_vapour=(self.until or self.fine).found[key].pressure,
        )

    def steady_at(self, point: str) -> float:
        return self.rho_g * (self.work.steady.head[point] - self.lineup.points_by_name[point].elevation)

    def element(self, k: int, element: Pipe | Link) -> ElementResult:
        ends = self.steady_at(element.start), self.steady_at(element.end)
        length, figures, reaches = 0.0, None, 0
        if isinstance(element, Pipe):
            length, reaches = element.length, self.fine.marched.grid.reaches.count[k]
            flow = self.work.steady.flow[element.name]
            velocity = flow / element.area
            figures = PocketFigures(
                flow=flow,
                velocity=velocity,
                wave_speed=element.wave_speed,
                travel_time=element.travel_time,
                instant_stop=joukowsky(
                    density=self.lineup.liquid.density, wave_speed=element.wave_speed, velocity=abs(velocity)
                ),
            )
        share = self.fine.found["element", element.name, "high"].share
        return ElementResult(
            name=element.name,
            kind=_kind(element),
            steady=ends[0] + (ends[1] - ends[0]) * share,
            steady_high=max(ends),
            steady_low=min(ends),
            highest=self.extreme(("element", element.name, "high"), length),
            lowest=self.extreme(("element", element.name, "low"), length),
            figures=figures,
            reaches=reaches,
            lumped=isinstance(element, Pipe) and reaches == 0,
        )

    def place(self, point: str) -> PlaceResult:
        return PlaceResult(
            name=point,
            roles=roles_of(self.lineup, point),
            steady=self.steady_at(point),
            highest=self.extreme(("place", point, "high")),
            lowest=self.extreme(("place", point, "low")),
        )

    def envelopes(self) -> dict[str, Envelope]:
        high, low = self.fine.marched.envelope()
        made = {}
        for k, pipe in enumerate(self.lineup.pipes):
            n = max(high[k].size, 2)
            z = along(self.lineup, pipe, n)
            index = [self.fine.index[p] for p in (pipe.start, pipe.end)]
            hi = high[k] if high[k].size else self.fine.marched.point_hi[index]
            lo = low[k] if low[k].size else self.fine.marched.point_lo[index]
            steady = np.linspace(self.work.steady.head[pipe.start], self.work.steady.head[pipe.end], n)
            made[pipe.name] = Envelope(
                distance=np.linspace(0, pipe.length, n),
                highest=self.rho_g * (hi - z),
                lowest=self.rho_g * (lo - z),
                steady=self.rho_g * (steady - z),
            )
        return made

    def history(self) -> History:
        m = self.fine.marched
        time, heads, flows = np.concatenate(m.time), np.vstack(m.heads), np.vstack(m.flows)
        every = slice(None, None, max(1, time.size // STEPS_KEPT))
        z = {p.name: p.elevation for p in self.lineup.points}
        pressure = {p: self.rho_g * (heads[every, i] - z[p]) for p, i in self.fine.index.items() if p in z}
        flow = {name: flows[every, i].copy() for i, name in enumerate(m.grid.links)}
        for i, (name, far) in enumerate(m.grid.ends):
            if not far:
                flow[name] = flows[every, len(m.grid.links) + i].copy()  # not all of them for a part
        return History(time=time[every].copy(), pressure=pressure, flow=flow)

    def method(self, duration: float, tolerance: float, runs: int) -> Method:
        reaches = self.fine.marched.grid.reaches
        shares = np.abs(reaches.misfit) / self.work.times
        at = int(np.argmax(shares))
        return Method(
            dt=reaches.dt,
            nodes=reaches.nodes,
            steps=self.fine.marched.done,
            duration=duration,
            largest_misfit=float(shares[at]),
            misfit_of=self.lineup.pipes[at].name,
            lumped=tuple(p.name for p, n in zip(self.lineup.pipes, reaches.count, strict=True) if n == 0),
            tolerance=tolerance,
            worst_error=self.compared.worst if self.compared else 0.0,
            runs=runs,
        )

    def accuracy(self, tolerance: float) -> list[Phrase]:
        """Words when the error allowed was not reached."""
        worst = self.compared.worst if self.compared else 0.0
        if worst <= tolerance:
            return []
        why = (
            " aimed at: quick changes in short elements cannot be told more exactly; every pressure of this "
            "scenario is given that error"
        )
        return [
            ("numerical error up to ", ("difference", worst), ", above the ", ("difference", tolerance), why)
        ]

    def back_flow(self, history: History) -> list[str]:
        """Words about flow out of a tank that a free outfall cannot give back."""
        levels = dict(self.work.scenario.levels)
        said = []
        for tank in self.lineup.tanks:
            z = self.lineup.points_by_name[tank.point].elevation
            if tank.side != "ship" or levels.get(tank.name, tank.level) >= z:
                continue
            into = sum(
                np.where(e.end == tank.point, 1.0, -1.0) * history.flow[e.name]
                for e in self.lineup.elements
                if tank.point in (e.start, e.end) and e.name in history.flow
            )
            if np.min(into) < -BACK_FLOW:
                said.append(
                    f"flow turns back out of the free outfall at {tank.point}: "
                    "in truth the line drains and air enters"
                )
        return said


def summarise(
    work: Plan,
    fine: Summary,
    compared: ErrorMarches | None,
    boiled: tuple[Vapour, Marched] | None,
    *,
    duration: float,
    ended: bool,
    tolerance: float,
    runs: int,
) -> ScenarioResult:
    """Return the result of a scenario from its marches.

    Parameters
    ----------
    work : Plan
    fine : Summary
        The march reported.
    compared : Comparison or None
        None when no error was asked for.
    boiled : (Vapour, Marched) or None
        Where the liquid first boils, and the march up to that instant.
    duration : float
        [s]
    ended : bool
        False when new extremes still appeared at the stated maximum of time.
    tolerance : float
        What the error was to stay below [Pa].
    runs : int
        Marches made.
    """
    until = Summary(work.lineup, boiled[1]) if boiled else None
    made = _Results(work, compared, fine, until, tolerance)
    history = made.history()
    back = made.back_flow(history)
    undecided = list(back)
    periods = tuple(
        pipeline_period(work.lineup, v, flow=work.steady.flow[v.name]) for v in work.lineup.valves
    )
    if not ended:
        undecided.append(f"new extremes still appeared when the run was ended at {duration:.0f} s")
    return ScenarioResult(
        name=work.scenario.name,
        note=work.scenario.note,
        lengths={},
        speeds={},
        elements=tuple(made.element(k, e) for k, e in enumerate(work.lineup.elements)),
        places=tuple(made.place(p.name) for p in work.lineup.points),
        periods=periods,
        closures=closures_of(work.scenario, history, periods),
        vapour=boiled[0] if boiled else None,
        undecided=tuple(undecided),
        notes=(*work.steady.set_up, *made.accuracy(tolerance)),
        timing=work.scenario.timing,
        last_event=work.last_event,
        opening=work.steady.opening,
        method=made.method(duration, tolerance, runs),
        envelopes=made.envelopes(),
        history=history,
    )


BEGINS, ENDS = 0.95, 0.05  # of the first flow: the effective time lies between


LEAST_FLOW = 1e-6  # [m3/s] below this there is nothing to stop


def closures_of(
    scenario: Scenario, history: History, periods: Iterable[PipelinePeriod]
) -> tuple[Closure, ...]:
    """Return one :class:`Closure` for every valve movement that closes against flow."""
    longest = {p.valve: p.longest for p in periods}
    found = (
        _closure(move, history, longest[move.valve])
        for move in sorted(scenario.moves, key=lambda m: m.start)
        if move.law[-1][1] < move.law[0][1]
    )
    return tuple(c for c in found if c is not None)


def _closure(move: ValveMove, history: History, period: float) -> Closure | None:
    time = history.time
    first = max(int(np.searchsorted(time, move.start)) - 1, 0)  # before a step at that instant
    t, flow = time[first:], history.flow[move.valve][first:]
    if abs(flow[0]) <= max(LEAST_FLOW, ENDS * float(np.max(np.abs(history.flow[move.valve])))):
        return None  # something else has stopped the flow before
    share = flow / flow[0]
    stopped = np.flatnonzero(share <= ENDS)
    effective = None
    if stopped.size:
        last = int(stopped[0])
        begun = int(np.flatnonzero(share[:last] >= BEGINS)[-1])
        effective = float(t[last] - t[begun])
    # One sample more than the period: what falls between two samples may fall within it.
    spacing = float(np.max(np.diff(t), initial=0.0))
    later = np.interp(t + period + spacing, t, share)
    return Closure(
        valve=move.valve,
        stroke=move.law[-1][0],
        period=period,
        effective=effective,
        greatest_fall=float(np.max(share - later)),
    )

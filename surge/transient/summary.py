"""From marches to the result of a scenario: heads become pressures, phrases and figures.

Decisions
---------
* How gentle a closure is goes by the flow through the valve itself, from the instant before it moves: the
  time from the last 95 % to the first 5 % of it, and the greatest part lost within one pipeline period
  (the longest) and one sample. A valve through which less than 5 % of its greatest flow goes when it begins
  stops nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from surge.hydraulics.formulas import joukowsky
from surge.model.lineup import LineUp, Link, Pipe, Pump, Scenario, Tank, ValveMove
from surge.model.topology import PipelinePeriod, pipeline_period
from surge.model.way import kind_of
from surge.phrases import Phrase
from surge.transient.attached_results import Figure, attached_results, attached_undecided
from surge.transient.errors import ErrorMarches, Summary
from surge.transient.history import History, history_of
from surge.transient.march import Marched
from surge.transient.peaks import Key, along
from surge.transient.result import (
    Closure,
    ElementResult,
    Elsewhere,
    Envelope,
    Extreme,
    Method,
    PlaceResult,
    PocketFigures,
    ScenarioResult,
    Vapour,
)

if TYPE_CHECKING:
    from surge.transient.plan import Plan


BACK_FLOW = 1e-4  # [m3/s] smaller reverse flows are not worth a word


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
    kinds = (("relief valve", lineup.relief_valves), ("surge drum", lineup.surge_drums))
    roles += [f"{kind} {x.name}" for kind, things in kinds for x in things if x.point == point]
    roles += [f"open vessel {v.name}" for v in lineup.open_vessels if v.point == point]
    for link in lineup.links:
        if point in (link.start, link.end):
            roles.append(f"{_side(link, point)} {link.name}")
    return tuple(roles)


def _side(link: Link, point: str) -> str:
    if isinstance(link, Pump):
        return "suction of" if point == link.start else "discharge of"
    return "before" if point == link.start else "after"


class _Results:
    """Puts the parts of a scenario's result together."""

    def __init__(
        self,
        work: Plan,
        compared: ErrorMarches | None,
        fine: Summary,
        until: Summary | None,
        tolerance: float,
        late: Mapping[Key, float],
        late_figures: Mapping[Figure, float],
    ) -> None:
        self.work, self.compared, self.fine, self.until, self.late = work, compared, fine, until, late
        self.late_figures = late_figures
        self.tolerance = tolerance
        self.lineup = work.lineup
        self.rho_g = fine.rho_g

    def extreme(self, key: Key, length: float = 0.0) -> Extreme:
        found = self.fine.found[key]
        step, lumping = self.compared.parts(key) if self.compared else (0.0, 0.0)
        return Extreme(
            pressure=found.pressure,
            time=found.time,
            distance=found.share * length,
            error=self.error(key),
            step_part=step,
            lumping_part=lumping,
            late_part=self.late.get(key, 0.0),
            before_vapour=(self.until or self.fine).found[key].pressure,
        )

    def error(self, key: Key) -> float:
        if self.compared is None:
            return 0.0
        return self.compared.told(key, self.tolerance) + self.late.get(key, 0.0)

    def figure_error(self, figure: Figure) -> float:
        if self.compared is None:
            return 0.0
        return self.compared.told_figure(figure, self.tolerance) + self.late_figures.get(figure, 0.0)

    def steady_at(self, point: str) -> float:
        return self.lineup.pressure_at(point, self.work.steady.head[point])

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
        high, low = (self.fine.found["element", element.name, way].share for way in ("high", "low"))
        return ElementResult(
            name=element.name,
            kind=kind_of(element),
            steady=ends[0] + (ends[1] - ends[0]) * high,
            steady_high=max(ends),
            steady_low=min(ends),
            steady_at_lowest=ends[0] + (ends[1] - ends[0]) * low,
            start=element.start,
            end=element.end,
            highest=self.extreme(("element", element.name, "high"), length),
            lowest=self.extreme(("element", element.name, "low"), length),
            figures=figures,
            reaches=reaches,
            lumped=isinstance(element, Pipe) and reaches == 0,
            ashore=self.lineup.discharges,
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
            places = self.fine.marched.grid.reaches.places(k)
            z = along(self.lineup, pipe, places)
            index = [self.fine.index[p] for p in (pipe.start, pipe.end)]
            hi = high[k] if high[k].size else self.fine.marched.point_hi[index]
            lo = low[k] if low[k].size else self.fine.marched.point_lo[index]
            first, last = self.work.steady.head[pipe.start], self.work.steady.head[pipe.end]
            steady = first + (last - first) * places
            made[pipe.name] = Envelope(
                distance=pipe.length * places,
                highest=self.rho_g * (hi - z),
                lowest=self.rho_g * (lo - z),
                steady=self.rho_g * (steady - z),
            )
        return made

    def method(self, duration: float, ahead: float, tolerance: float, runs: int) -> Method:
        reaches = self.fine.marched.grid.reaches
        return Method(
            dt=reaches.dt,
            nodes=reaches.nodes,
            steps=self.fine.marched.done,
            duration=duration,
            ahead=ahead,
            lumped=tuple(p.name for p, n in zip(self.lineup.pipes, reaches.count, strict=True) if n == 0),
            tolerance=tolerance,
            worst_error=self.compared.worst if self.compared else 0.0,
            runs=runs,
            weight_error=self.fine.marched.grid.weight_error,
        )

    def told(
        self, back: list[str], spilled_later: Mapping[str, float], *, ended: bool, duration: float
    ) -> dict[str, Any]:
        """The fields of a result that every march gives; ``back`` is what is said of flow that turns back."""
        work = self.work
        hung = attached_results(
            self.lineup,
            work.scenario,
            work.steady,
            self.fine.marched,
            self.figure_error,
            self.error,
            later=spilled_later,
        )
        undecided = [*back, *attached_undecided(self.lineup, hung)]
        if not ended:
            undecided.append(f"new extremes still appeared when the run was ended at {duration:.0f} s")
        return {
            "name": work.scenario.name,
            "note": work.scenario.note,
            "taken": (),
            "elsewhere": Elsewhere(),
            "elements": tuple(self.element(k, e) for k, e in enumerate(self.lineup.elements)),
            "places": tuple(self.place(p.name) for p in self.lineup.points),
            "undecided": tuple(undecided),
            "notes": (*work.steady.set_up, *self.accuracy(self.tolerance)),
            "timing": work.scenario.timing,
            "last_event": work.last_event,
            "opening": work.steady.opening,
            **hung,
        }

    def accuracy(self, tolerance: float) -> list[Phrase]:
        """Words when the error allowed was not reached."""
        worst = self.compared.worst if self.compared else 0.0
        if worst <= tolerance:
            return []
        why = " aimed at: quick changes in short elements cannot be told more exactly"
        return [
            ("numerical error up to ", ("difference", worst), ", above the ", ("difference", tolerance), why)
        ]


def free_outfalls(work: Plan) -> list[Tank]:
    """Tanks whose liquid stands below the end of the pipe in a scenario: nothing comes back out of them."""
    levels, points = dict(work.scenario.levels), work.lineup.points_by_name
    return [t for t in work.lineup.receiving if levels.get(t.name, t.level) < points[t.point].elevation]


def back_flow(work: Plan, history: History) -> list[str]:
    """Words about flow out of a tank that a free outfall cannot give back."""
    said = []
    for tank in free_outfalls(work):
        into = sum(
            np.where(e.end == tank.point, 1.0, -1.0) * history.flow[e.name]
            for e in work.lineup.elements
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
    ahead: float,
    ended: bool,
    tolerance: float,
    runs: int,
    late: Mapping[Key, float] = MappingProxyType({}),
    late_figures: Mapping[Figure, float] = MappingProxyType({}),
    spilled_later: Mapping[str, float] = MappingProxyType({}),
) -> ScenarioResult:
    """Return the result of a scenario from its marches.

    Parameters
    ----------
    work : Plan
    fine : Summary
        The march reported.
    compared : ErrorMarches or None
        None when no error was asked for.
    boiled : (Vapour, Marched) or None
        Where the liquid first boils, and the march up to that instant.
    duration, ahead : float
        Of the run, and of the look ahead [s].
    ended : bool
        False when new extremes still appeared at the stated maximum of time.
    tolerance : float
        What the error was to stay below [Pa].
    runs : int
        Marches made.
    late : mapping of Key to float
        What may come after the run, beyond each extreme [Pa].
    late_figures : mapping of Figure to float
        The same of figures of what hangs on points, each in its own unit.
    spilled_later : mapping of str to float
        What relief valves spilled after the run, as far as a first march looked ahead [m3].
    """
    until = Summary(work.lineup, boiled[1]) if boiled else None
    made = _Results(work, compared, fine, until, tolerance, late, late_figures)
    history = history_of(work.lineup, fine.marched)
    periods = tuple(
        pipeline_period(work.lineup, v, flow=work.steady.flow[v.name]) for v in work.lineup.valves
    )
    return ScenarioResult(
        periods=periods,
        closures=closures_of(work.scenario, history, periods),
        vapour=boiled[0] if boiled else None,
        envelopes=made.envelopes(),
        history=history,
        **made.told(back_flow(work, history), spilled_later, ended=ended, duration=duration),
        method=made.method(duration, ahead, tolerance, runs),
    )


def look_of(work: Plan, seen: Summary, *, duration: float, ended: bool) -> ScenarioResult:
    """Return what findings take of a single march: extremes without errors, and why it is not decided.

    Histories, envelopes, closures and periods are left out.

    Parameters
    ----------
    work : Plan
    seen : Summary
        The march.
    duration : float
        Of it [s].
    ended : bool
        False when new extremes still appeared at the stated maximum of time.
    """
    made = _Results(work, None, seen, None, 0.0, {}, {})
    back = back_flow(work, history_of(work.lineup, seen.marched)) if free_outfalls(work) else []
    return ScenarioResult(
        periods=(),
        closures=(),
        vapour=None,
        envelopes={},
        history=History(time=np.zeros(0), pressure={}, flow={}),
        **made.told(back, {}, ended=ended, duration=duration),
        method=made.method(duration, duration, 0.0, 1),
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

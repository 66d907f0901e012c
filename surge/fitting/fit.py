"""A case fitted to a record: from what is asked for to figures with intervals, doubts, and what is left over.

Decisions
---------
* Readings are used from before the first movement, as long as a usual run lasts after it, until where a check
  would end its first march: later waves are damped by more than steady friction, and would be taken for it.
  Whoever wants others says from when until when.
* The record tells how a line answers a movement that the case describes: rate, levels and what moves are
  taken as the scenario has them.
* Where the liquid boils with the figures found, there is no answer: marches here are liquid-filled.
* The bounds below are our own choice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from surge.arrays import Array, Ints
from surge.case.file import Case
from surge.errors import CaseError, RequestError, SolveError, about
from surge.fitting.doubts import Doubt, LeftOver, doubts_of, drift_of, left_over
from surge.fitting.estimate import Estimate, estimate, first_clock
from surge.fitting.figures import Figure, FittedText, figures_of
from surge.fitting.march import Pressures, Span, span_of
from surge.fitting.problem import Problem, cut, noise_of
from surge.model.lineup import Scenario
from surge.phrases import counted
from surge.records.text import row_fault
from surge.records.trace_file import LEAST_READINGS, PlaceTrace, RecordedTrace
from surge.units import quoted
from surge.workers import Progress

# By how much the clock may turn out to be other than it first looked: [s] at least, and of what moves. With a
# stroke that is off by a third, a record first looks as much earlier or later.
MARGIN, OF_MOVEMENT = 2.0, 0.6
# [-] correlations with the case of a record of another sign: the most there is, and the least against it.
ALIKE, OPPOSITE = 0.3, 0.7
SHAPES = 400  # clocks at which they are looked at
PARTS = 20.0  # of half an interval: to one of them a figure is rounded


@dataclass(frozen=True, kw_only=True)
class FittedFigure:
    """A figure as the record has it.

    Attributes
    ----------
    figure : Figure
    value : float
        As it fits best, rounded well within its interval; in SI, a Kv in m3/h, of all pipes a factor [-].
    low, high : float
        95 % interval.
    """

    figure: Figure
    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedPlace:
    """Readings of a place, and what the fitted case has there.

    Attributes
    ----------
    place : str
    time : ndarray, shape (n,)
        Of the scenario [s].
    measured, modelled : ndarray, shape (n,)
        [Pa gauge]; the case with what the gauge is off.
    unfitted : ndarray, shape (n,)
        The case with its own figures, at the same clock [Pa gauge].
    rows : ndarray of int, shape (n,)
    off : float
        By how much the gauge reads too much [Pa]; 0 where that was not fitted.
    gaps : tuple of (row, row, seconds)
    left : LeftOver
    """

    place: str
    time: Array
    measured: Array
    modelled: Array
    unfitted: Array
    rows: Ints
    off: float
    gaps: tuple[tuple[int, int, float], ...]
    left: LeftOver


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """What a record tells of a case.

    Attributes
    ----------
    scenario : str
    figures : tuple of FittedFigure
    places : tuple of FittedPlace
    doubts : tuple of Doubt
        Empty: the figures explain the record.
    clock, clock_half : float
        What the record's clock shows when the scenario begins [s], and half its 95 % interval, 0 if given.
    drift : (float, float)
        By what share the record's clock seems to run fast, and its standard deviation [-].
    alike : ndarray, shape (figures, figures)
        Correlations of what was found [-].
    memory : float
        How many readings count as one [-].
    starts, agreeing : int
        Searches, and how many of them came to this answer.
    step : float
        Of the marches [s].
    unsteady : bool
        Marched with unsteady friction, as the case asks.
    left_out : int
        Readings before and after those that were used.
    trace : RecordedTrace
    text : FittedText
    """

    scenario: str
    figures: tuple[FittedFigure, ...]
    places: tuple[FittedPlace, ...]
    doubts: tuple[Doubt, ...]
    clock: float
    clock_half: float
    drift: tuple[float, float]
    alike: Array
    memory: float
    starts: int
    agreeing: int
    step: float
    unsteady: bool
    left_out: int
    trace: RecordedTrace
    text: FittedText

    @property
    def values(self) -> tuple[float, ...]:
        """The figures in SI, in their order."""
        return tuple(f.value for f in self.figures)

    @property
    def apart(self) -> bool:
        """Whether the record tells every figure, and each from the others."""
        return not any(d.kind in ("apart", "untold", "end", "other") for d in self.doubts)


def fit_figures(
    case: Case,
    trace: RecordedTrace,
    *,
    scenario: str | None,
    asked: Mapping[str, Sequence[str]],
    clock: float | None = None,
    zeros: bool = False,
    span: tuple[float | None, float | None] = (None, None),
    progress: Progress | None = None,
) -> Fit:
    """Find figures of a case from a record of pressures.

    Parameters
    ----------
    case : Case
    trace : RecordedTrace
    scenario : str or None
        What moved; None where the case has one scenario only.
    asked : mapping of str to sequence of str
        Kind (:data:`surge.fitting.figures.KINDS`) to names of elements.
    clock : float, optional
        What the record's clock shows when the scenario begins [s]; by default it is fitted.
    zeros : bool
        Each gauge may be off by a constant, which is fitted.
    span : (float or None, float or None)
        Use the readings from and until, by the record's clock [s].
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    RequestError
        A name or a scenario that the case does not have, or readings of another time.
    CaseError
        The case cannot flow so, or the record has another sign.
    GridError, SolveError
        The case cannot be computed, or boils.
    """
    chosen = scenario_of(case, scenario)
    figures = figures_of(case, chosen, asked)
    text = FittedText(case, figures)
    about_it = span_of(*text.line_up([f.first for f in figures], chosen.name))
    problem = _posed(text, chosen.name, about_it, trace, clock=clock, zeros=zeros, span=span)
    found = estimate(problem, progress=progress)
    made = found.problem.pressures(found.sought)
    assert made is not None
    if made.boils:
        raise SolveError(
            "with the figures that fit best the liquid boils somewhere in the line, and marches of a fit are "
            "liquid-filled: fit a gentler closure, or only the readings before that (--until)"
        )
    return _fit(case, chosen.name, found, made, trace)


def scenario_of(case: Case, name: str | None) -> Scenario:
    """Return the scenario that was recorded.

    Raises
    ------
    RequestError
        There is none of that name, or it is left open which.
    """
    known = {s.name: s for s in case.lineup.scenarios}
    if name is None and len(known) == 1:
        return next(iter(known.values()))
    if name not in known:
        asked = "which scenario was recorded" if name is None else f"there is no scenario {quoted(name)}"
        raise RequestError(f"{asked}: say --scenario with one of {', '.join(map(quoted, known))}")
    return known[name]


def _posed(
    text: FittedText,
    scenario: str,
    span_: Span,
    trace: RecordedTrace,
    *,
    clock: float | None,
    zeros: bool,
    span: tuple[float | None, float | None],
) -> Problem:
    """The readings that are used, with a clock by which they are about the scenario."""
    margin = MARGIN + OF_MOVEMENT * (span_.last - span_.first)
    begin, end = (-math.inf if span[0] is None else span[0], math.inf if span[1] is None else span[1])
    places = tuple(cut(p, begin, end) for p in trace.places)
    _refuse_few(places, trace, "between the times asked for")
    whole = Problem(
        text=text,
        scenario=scenario,
        span=span_,
        places=places,
        noise=tuple(noise_of(p) for p in places),
        clock=clock,
        clocks=(0.0, 0.0),
        zeros=zeros,
        until=span_.usual + margin,
    )
    own = np.array([f.sought(f.first) for f in text.figures])
    _refuse_other_sign(whole, own, trace)
    at = clock if clock is not None else first_clock(whole, own)
    last = span_.usual if span[1] is None else max(span[1] - at, span_.first + 1.0)
    earliest = span_.first - (span_.usual - span_.first) if span[0] is None else span[0] - at
    used = tuple(cut(p, at + earliest, at + last) for p in places)
    _refuse_few(used, trace, "while things move in the scenario: look at its clock, and at --clock")
    return replace(whole, places=used, clocks=(at - margin, at + margin), until=last + margin, _last={})


def _refuse_few(places: Sequence[PlaceTrace], trace: RecordedTrace, where: str) -> None:
    for place in places:
        if place.time.size < LEAST_READINGS:
            with about(trace.file):
                raise CaseError(
                    [
                        row_fault(
                            trace.header,
                            place.title,
                            f"{counted(place.time.size, 'reading')} {where}",
                            f"{LEAST_READINGS} or more",
                            "use a record of the movement that the scenario describes",
                        )
                    ]
                )


def _refuse_other_sign(problem: Problem, own: Array, trace: RecordedTrace) -> None:
    """A record that falls where the case rises, whatever its clock, is of another sign or another place."""
    made = problem.pressures(own)
    if made is None:
        return  # whoever searches says so
    faults = []
    for k, place in enumerate(problem.places):
        most, least = _likeness(problem, made, k, place)
        if -least > OPPOSITE and most < ALIKE:
            faults.append(
                row_fault(
                    trace.header,
                    place.title,
                    "a pressure that falls where that of the case rises",
                    f"the pressure at {quoted(place.place)}, growing upwards",
                    "look at the sign of the column, and on which side of the valve the gauge stands",
                )
            )
    if faults:
        with about(trace.file):
            raise CaseError(list(faults))


def _likeness(problem: Problem, made: Pressures, k: int, place: PlaceTrace) -> tuple[float, float]:
    """The greatest and the least correlation of a record with the case, over all clocks [-]."""
    first = problem.span.first
    if problem.clock is not None:
        clocks = np.array([problem.clock])
    else:
        clocks = np.linspace(place.time[0] - first, place.time[-1] - problem.span.last, SHAPES)
    thin = slice(None, None, max(1, place.time.size // SHAPES))
    time, pressure = place.time[thin], place.pressure[thin]
    found = [0.0]
    for clock in clocks.tolist():
        model = made.at(k, time - clock)
        if np.ptp(model) > 0.5 * np.ptp(made.pressure[k]) and np.ptp(pressure) > 0.0:
            found.append(float(np.corrcoef(model, pressure)[0, 1]))
    return max(found), min(found)


# The answer


def _fit(case: Case, scenario: str, found: Estimate, made: Pressures, trace: RecordedTrace) -> Fit:
    problem, count = found.problem, len(found.problem.figures)
    left = left_over(found, made)
    clock, zeros = problem.clock_of(found.sought), problem.zeros_of(found.sought)
    own = found.sought.copy()
    own[:count] = [f.sought(f.first) for f in problem.figures]
    before = problem.pressures(own)
    unfitted = problem.modelled(own, before or made)
    fitted = problem.modelled(found.sought, made)
    pieces = zip(problem.places, fitted, unfitted, zeros.tolist(), left, strict=True)
    used = sum(p.time.size for p in problem.places)
    return Fit(
        scenario=scenario,
        figures=tuple(_figure(f, k, found) for k, f in enumerate(problem.figures)),
        places=tuple(
            FittedPlace(
                place=place.place,
                time=place.time - clock,
                measured=place.pressure,
                modelled=modelled,
                unfitted=was,
                rows=place.rows,
                off=off,
                gaps=place.gaps,
                left=one,
            )
            for place, modelled, was, off, one in pieces
        ),
        doubts=doubts_of(found, left),
        clock=clock,
        clock_half=float(found.half[count]) if problem.clock is None else 0.0,
        drift=drift_of(found),
        alike=found.alike[:count, :count],
        memory=found.memory,
        starts=found.starts,
        agreeing=found.agreeing,
        step=problem.span.dt,
        unsteady=case.lineup.unsteady_friction,
        left_out=sum(p.time.size for p in trace.places) - used,
        trace=trace,
        text=problem.text,
    )


def _figure(figure: Figure, k: int, found: Estimate) -> FittedFigure:
    at, half = float(found.sought[k]), float(found.half[k])
    ends = (figure.sought(figure.low), figure.sought(figure.high))
    low, high = (figure.value_of(min(max(at + side, ends[0]), ends[1])) for side in (-half, half))
    value = figure.value_of(at)
    return FittedFigure(figure=figure, value=rounded(value, 0.5 * (high - low) / PARTS), low=low, high=high)


def rounded(value: float, least: float) -> float:
    """Return a value rounded to the power of ten that is not above ``least``, both in one unit."""
    if not 0.0 < least < math.inf:
        return value
    return round(value, max(0, -math.floor(math.log10(least)))) if least < 1.0 else float(round(value))

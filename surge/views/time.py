"""What a picture against time shows: pressures at places, with their limits and extremes. Figures only.

Pressures [Pa gauge], times [s], distances [m], flows [m3/s].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surge.arrays import Array
from surge.errors import RequestError
from surge.model.lineup import Element, LineUp, Point
from surge.rules.limits import LOWEST_RULE, VAPOUR_RULE, Limit, place_limits, surge_limit
from surge.transient.cavity_result import Banded, Cavities
from surge.transient.profiles import watch
from surge.transient.result import ElementResult, Extreme, PlaceResult
from surge.views.by_itself import ByItself, moved_by_itself
from surge.views.subject import Subject, unknown

MOST_PLACES = 5  # curves that can still be told apart
MOST_FLOWS = 4
SAME_FLOW = 1e-6  # [m3/s]


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A highest or lowest pressure, to be marked in a picture.

    Attributes
    ----------
    time : float
        [s]; not a number where it is not known.
    pressure : float
        [Pa gauge]
    error : float
        Its numerical error, either way [Pa].
    """

    time: float
    pressure: float
    error: float


@dataclass(frozen=True, kw_only=True, eq=False)
class PressureTrace:
    """Pressure against time at one place.

    Attributes
    ----------
    name : str
        The point, or the element.
    element : bool
        Whether it is an element.
    distance : float or None
        Where in the element, from its start [m]; None at a point and in what has no length.
    pressure : ndarray of shape (n,)
        At the picture's instants [Pa gauge].
    steady : float
        Before anything moves [Pa gauge].
    upper : Limit or None
        The lowest limit for peaks that holds there.
    upper_of : str
        The element or place that ``upper`` is of; "" without one.
    lower : Limit
        The highest limit for falls that holds there.
    peak, trough : Mark or None
        Highest and lowest pressure as the run reports them, before the liquid boils. None where that pressure
        was reached elsewhere in the element.
    """

    name: str
    element: bool
    distance: float | None
    pressure: Array
    steady: float
    upper: Limit | None
    upper_of: str
    lower: Limit
    peak: Mark | None
    trough: Mark | None


@dataclass(frozen=True, kw_only=True, eq=False)
class TimePicture:
    """Pressures, strokes and flows on one time axis.

    Attributes
    ----------
    subject : Subject
    time : ndarray of shape (n,)
        Instants of all curves [s].
    traces : tuple of PressureTrace
        The weakest place first.
    flows : dict of str to ndarray of shape (n,)
        Through what moves, and where the rate is counted [m3/s].
    cavities : bool
        The liquid boils, and all curves are of a march with cavities: vapour and gas, on the finest grid.
    by_itself : tuple of ByItself
        What moves by itself: lifts, gas in drums, speeds after a trip, non-return valves.
    """

    subject: Subject
    time: Array
    traces: tuple[PressureTrace, ...]
    flows: dict[str, Array]
    cavities: bool = False
    by_itself: tuple[ByItself, ...] = ()


def upper_limit(lineup: LineUp, what: Element | Point) -> tuple[Limit | None, str]:
    """Return the lowest limit for peaks that holds at an element or point, and whose limit it is."""
    own: list[tuple[Limit, str]] = []
    if isinstance(what, Point):
        own += [(limit, what.name) for limit in place_limits(lineup, what)]
        beside: Sequence[Element] = [e for e in lineup.elements if what.name in (e.start, e.end)]
    else:
        beside = [what]
        if what not in lineup.pipes and surge_limit(what) is None:
            beside = [e for e in lineup.elements if {e.start, e.end} & {what.start, what.end}]
    own += [(limit, e.name) for e in beside if (limit := surge_limit(e)) is not None]
    return min(own, key=lambda pair: pair[0].value, default=(None, ""))


def lower_limit(lineup: LineUp, what: Element | Point) -> Limit:
    """Return the highest limit for falls that holds at an element or point; at least the vapour pressure."""
    beside = (
        [e for e in lineup.elements if what.name in (e.start, e.end)] if isinstance(what, Point) else [what]
    )
    limits = [Limit(value=lineup.vapour_gauge, source="the cargo boils", rule=VAPOUR_RULE)]
    limits += [
        Limit(value=e.limits.lowest, source=e.limits.lowest_source or f"lowest of {e.name}", rule=LOWEST_RULE)
        for e in beside
        if e.limits.lowest is not None
    ]
    return max(limits, key=lambda limit: limit.value)


def time_picture(subject: Subject, places: Sequence[str] = (), *, cavities: bool = True) -> TimePicture:
    """Return pressures against time at the weakest place, and at others that were asked for.

    Parameters
    ----------
    subject : Subject
    places : sequence of str
        Points and elements to show beside the weakest place. An element is shown where its pressure is
        highest, the weakest one where it comes nearest to its limit.
    cavities : bool
        Show a scenario that boils and was followed with cavities as a march with them tells it. An element is
        then shown at the end at which it goes further: nothing is kept inside.

    Returns
    -------
    TimePicture

    Raises
    ------
    RequestError
        A name that is not there, or more than ``MOST_PLACES`` in all.
    """
    lineup, time = subject.lineup, subject.run.history.time
    names = [p.name for p in lineup.points] + [e.name for e in lineup.elements]
    for place in places:
        if place not in names:
            raise RequestError(f"--place {unknown('point or element', place, names)}")
    wanted = dict.fromkeys([subject.finding.name] if subject.finding else [])
    wanted |= dict.fromkeys(places)
    if len(wanted) > MOST_PLACES:
        raise RequestError(
            f"{len(wanted)} places, the weakest among them: at most {MOST_PLACES} in a picture; "
            "leave out a --place"
        )
    if cavities and subject.run.cavities is not None and subject.run.followed:
        return _with_cavities(subject, subject.run.cavities, list(wanted))
    traces = traces_at(subject, list(wanted), low=subject.low)
    by_itself = moved_by_itself(subject)
    flows = _flows(subject, [one.name for one in by_itself])
    return TimePicture(subject=subject, time=time, traces=traces, flows=flows, by_itself=by_itself)


def _with_cavities(subject: Subject, cavities: Cavities, names: Sequence[str]) -> TimePicture:
    """The picture of a scenario that was followed with cavities."""
    history = cavities.finest[-1].history
    marched = replace(subject, run=replace(subject.run, history=history))
    by_itself = moved_by_itself(marched)
    return TimePicture(
        subject=subject,
        time=history.time,
        traces=tuple(
            _cavity_trace(subject, cavities, name, low=subject.low and k == 0) for k, name in enumerate(names)
        ),
        flows=_flows(marched, [one.name for one in by_itself]),
        by_itself=by_itself,
        cavities=True,
    )


def _cavity_trace(subject: Subject, cavities: Cavities, name: str, *, low: bool) -> PressureTrace:
    """Pressure at a point, or at the end of an element at which it goes further, with cavities."""
    lineup = subject.lineup
    what: Element | Point = lineup.points_by_name.get(name) or _element(lineup, name)
    element = not isinstance(what, Point)
    high, lowest = (
        cavities.extremes["element" if element else "place", name, way] for way in ("high", "low")
    )
    histories = cavities.finest[-1].history.pressure
    point, length, at_end = name, 0.0, False
    if not isinstance(what, Point):
        start, end = histories[what.start], histories[what.end]
        at_end = bool(end.min() < start.min() if low else end.max() > start.max())
        point, length = (what.end if at_end else what.start), float(getattr(what, "length", 0.0))
    pressure = histories[point]
    upper, whose = upper_limit(lineup, what)

    def mark(found: Banded) -> Mark | None:
        here = abs(found.furthest.share - float(at_end)) < 1e-9
        if not here or found.furthest.time is None:
            return None
        return Mark(time=found.furthest.time, pressure=found.pressure, error=found.band)

    return PressureTrace(
        name=name,
        element=element,
        distance=float(at_end) * length if length else None,
        pressure=pressure,
        steady=float(pressure[0]),
        upper=upper,
        upper_of=whose,
        lower=lower_limit(lineup, what),
        peak=mark(high),
        trough=mark(lowest),
    )


def traces_at(
    subject: Subject, names: Sequence[str], *, low: bool = False, share: float | None = None
) -> tuple[PressureTrace, ...]:
    """Return pressures at points and in elements, at the instants of the run's history.

    Parameters
    ----------
    subject : Subject
    names : sequence of str
        Points, and elements. An element is taken where its pressure is highest.
    low : bool
        Take the first element where its pressure is lowest.
    share : float or None
        Take the first element at this share of its length [-], wherever its extremes are.

    Returns
    -------
    tuple of PressureTrace
        One for each name.
    """
    time = subject.run.history.time
    places = [
        _TracePlace(subject, name, low=low and k == 0, share=share if k == 0 else None)
        for k, name in enumerate(names)
    ]
    inner = {s.element.name: np.array([s.share]) for s in places if s.element is not None and s.inside}
    dt = subject.run.method.dt
    seen = watch(subject.lineup, subject.scenario, dt=dt, times=time, shares=inner) if inner else None
    traces = []
    for place in places:
        if place.inside and seen is not None and place.element is not None:
            pressure = seen.pressure[place.element.name][:, 0]
        else:
            pressure = subject.run.history.pressure[place.point]
        traces.append(place.trace(time, pressure))
    return tuple(traces)


class _TracePlace:
    """Where exactly the pressure of a point or element is taken."""

    def __init__(self, subject: Subject, name: str, *, low: bool, share: float | None = None) -> None:
        self.subject, self.name = subject, name
        lineup = subject.lineup
        self.element = None if name in lineup.points_by_name else _element(lineup, name)
        self.places = {p.name: p for p in subject.run.places}
        owner: ElementResult | PlaceResult
        if self.element is None:
            owner = self.places[name]
            self.what: Element | Point = lineup.points_by_name[name]
            self.share, self.point, self.long = 0.0, name, False
        else:
            own = next(e for e in subject.run.elements if e.name == name)
            owner, self.what, self.long = own, self.element, own.figures is not None
            self.share = self._share(own, low=low) if share is None else share
            self.point = self.element.start if self.share < 0.5 else self.element.end
            if share is not None and not self.inside:
                owner = self.places[self.point]
        self.high, self.lowest = owner.highest, owner.lowest
        self.here = isinstance(owner, PlaceResult)  # the extremes are those of this very place

    @property
    def length(self) -> float:
        """Length of the element [m]; 0 for a point and for what has no length."""
        return float(getattr(self.element, "length", 0.0))

    def _share(self, owner: ElementResult, *, low: bool) -> float:
        """Share of the element's length at which its extreme is."""
        assert self.element is not None
        if self.long:
            return (owner.lowest if low else owner.highest).distance / self.length
        start, end = (
            (p.lowest if low else p.highest).pressure
            for p in (self.places[self.element.start], self.places[self.element.end])
        )
        return float(end < start if low else end > start)

    @property
    def inside(self) -> bool:
        """Whether it is neither end of its element."""
        return 1e-9 < self.share < 1.0 - 1e-9

    def trace(self, time: Array, pressure: Array) -> PressureTrace:
        """The pressure with its extremes and limits."""
        upper, whose = upper_limit(self.subject.lineup, self.what)
        return PressureTrace(
            name=self.name,
            element=self.element is not None,
            distance=self.share * self.length if self.long else None,
            pressure=pressure,
            steady=float(pressure[0]),
            upper=upper,
            upper_of=whose,
            lower=lower_limit(self.subject.lineup, self.what),
            peak=self._mark(self.high, time, pressure, high=True),
            trough=self._mark(self.lowest, time, pressure, high=False),
        )

    def _mark(self, extreme: Extreme, time: Array, pressure: Array, *, high: bool) -> Mark | None:
        """An extreme as reported, if this is the place in the element where it was reached."""
        if not self.here and abs(extreme.distance - self.share * self.length) > 1e-6 * self.length:
            return None
        when, until = extreme.time, self.subject.valid_until
        if until is not None and extreme.before_vapour != extreme.pressure:
            valid = pressure[time <= until]
            when = float(time[int(np.argmax(valid) if high else np.argmin(valid))])
        return Mark(time=when, pressure=extreme.before_vapour, error=extreme.error)


def share_of(subject: Subject, name: str, *, low: bool) -> float:
    """Return where in an element its highest, or lowest, pressure is: a share of its length, 0 to 1 [-]."""
    return _TracePlace(subject, name, low=low).share


def _element(lineup: LineUp, name: str) -> Element:
    return next(e for e in lineup.elements if e.name == name)


def _flows(subject: Subject, others: Sequence[str]) -> dict[str, Array]:
    """Flows through what moves, where the rate is counted, and through ``others`` that move by themselves."""
    rate = subject.lineup.rate
    names = [*subject.openings, *subject.speeds, *others[:1], *([rate.through] if rate else []), *others[1:]]
    if len(names) <= 1:
        names += [p.name for p in subject.lineup.pipes[:1]]
    history = subject.run.history.flow
    found: dict[str, Array] = {}
    for n in dict.fromkeys(names):
        # Of what stands behind one another one curve is enough.
        if n in history and not any(np.allclose(history[n], q, atol=SAME_FLOW) for q in found.values()):
            found[n] = history[n]
    return dict(list(found.items())[:MOST_FLOWS])

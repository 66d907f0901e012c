"""What a picture along the line shows: the way, highest and lowest pressures on it, limits and elevations.

Pressures [Pa gauge], times [s], distances and elevations [m]. A place in the drawing is a share of its width,
0 to 1 [-].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import RequestError
from surge.model.lineup import Tank
from surge.model.way import STILL, Way, WayPart, find_way, outflow, source_of
from surge.rules.limits import Limit, place_limits, surge_limit
from surge.rules.telling import valid
from surge.transient.profiles import watch
from surge.transient.result import ElementResult, PlaceResult
from surge.views.subject import LOW_CHECKS, Subject, unknown
from surge.views.time import Mark


@dataclass(frozen=True, kw_only=True)
class LimitStretch:
    """A limit, and over which stretch of the drawing it holds.

    Attributes
    ----------
    left, right : float
        Ends of the stretch in the drawing, 0 to 1 [-]; the same for a place.
    name : str
        The element or place that the limit is of.
    limit : Limit or None
        None where the case gives none.
    """

    left: float
    right: float
    name: str
    limit: Limit | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Along:
    """Pressures along a way, in its order.

    Attributes
    ----------
    x : ndarray of shape (n,)
        Where each value stands in the drawing, 0 to 1 [-].
    part : ndarray of int, shape (n,)
        Which part of the way each value belongs to.
    distance : ndarray of shape (n,)
        From the beginning of the way [m].
    steady : ndarray of shape (n,)
        Before anything moves [Pa gauge].
    highest, lowest : ndarray of shape (n,)
        Over the run, or until the cargo boils [Pa gauge].
    """

    x: Array
    part: Ints
    distance: Array
    steady: Array
    highest: Array
    lowest: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class LinePicture:
    """Highest and lowest pressures along a way.

    Attributes
    ----------
    subject : Subject
    way : Way
    along : Along
    upper, lower : tuple of LimitStretch
        Limits for peaks and for falls, of each part; those of places have no width.
    elevation : ndarray of shape (points,)
        Of the points of the way [m].
    tanks : tuple of (float, Tank, float)
        Tanks at the ends of the way: place in the drawing [-], tank, level in this scenario [m].
    peak, trough : (float, Mark)
        Highest and lowest pressure on the way, with its place in the drawing [-].
    until : float or None
        When the cargo boils [s]; the pressures are those of the time before. None if it never does.
    weak : (float, Mark) or None
        The weakest place, with its place in the drawing [-]; None when it is not on the way.
    """

    subject: Subject
    way: Way
    along: Along
    upper: tuple[LimitStretch, ...]
    lower: tuple[LimitStretch, ...]
    elevation: Array
    tanks: tuple[tuple[float, Tank, float], ...]
    peak: tuple[float, Mark]
    trough: tuple[float, Mark]
    until: float | None
    weak: tuple[float, Mark] | None


def way_of(subject: Subject, to: str | None = None, *, moves: bool = False) -> Way:
    """Return the way from the shore to a ship's tank, or to another point that was asked for.

    Parameters
    ----------
    subject : Subject
    to : str or None
        The tank or point at which the way ends. By default a ship's tank, or a dead end, to which the way
        leads by the weakest place; of several the one into which most flows.
    moves : bool
        Without ``to``: prefer the way with most of what moves, since there the waves begin.

    Returns
    -------
    Way

    Raises
    ------
    RequestError
        A name that is not there, or an end that is not joined to the shore.
    """
    lineup, flows = subject.lineup, subject.work.steady.flow
    start = source_of(lineup, flows)
    tanks = {t.name: t.point for t in lineup.tanks}
    if to is not None:
        point = tanks.get(to, to)
        if point not in lineup.points_by_name:
            known = [t.name for t in lineup.receiving] + list(lineup.points_by_name)
            raise RequestError(f"--to {unknown('tank or point', to, known)}")
        way = find_way(lineup, start, point, flows=flows)
        if way is None:
            raise RequestError(f'--to "{to}": no way leads there from "{start}"; write a tank that receives')
        return way
    tanks_to = [t.point for t in lineup.receiving]
    tanks_to.sort(key=lambda p: outflow(lineup, flows, p))
    ends = [*tanks_to, *(p.name for p in lineup.points if p.closed), *(e.end for e in lineup.elements)]
    shunned = _beside_those_that_move(subject) if moves else ()
    ways = (find_way(lineup, start, end, flows=flows, shunned=shunned) for end in dict.fromkeys(ends))
    found = [way for way in ways if way is not None]
    if not found:
        raise RequestError(f'nothing is joined to "{start}": there is no line to draw')
    weak = subject.finding

    ends_at = {name: law[-1][0] for name, law in {**subject.openings, **subject.speeds}.items()}
    ends_at |= {trip.pump: trip.start for trip in subject.scenario.trips}

    def merit(way: Way) -> tuple[int, bool, bool, float]:
        moving = [end for name, end in ends_at.items() if way.holds("element", name)]
        past = weak is not None and way.holds(weak.subject, weak.name)
        against = any(p.backward and flows.get(p.name, 0.0) > STILL for p in way.parts)
        # Of several that shut one after another it is the last that stops the flow.
        return len(moving) if moves else 0, not against, past, max(moving, default=0.0) if moves else 0.0

    return max(found, key=merit)


def _beside_those_that_move(subject: Subject) -> tuple[str, ...]:
    """Pumps that run on, where another one stops, starts or trips."""
    moving = {*subject.speeds, *(trip.pump for trip in subject.scenario.trips)}
    pumps = [p.name for p in subject.lineup.pumps]
    return tuple(p for p in pumps if p not in moving) if moving.intersection(pumps) else ()


def limits_on(subject: Subject, way: Way) -> tuple[tuple[LimitStretch, ...], tuple[LimitStretch, ...]]:
    """Return the limits for peaks, and those for falls, along a way."""
    lineup = subject.lineup
    elements = {e.name: e for e in lineup.elements}
    upper, lower = [], []
    for p in way.parts:
        element = elements[p.name]
        limit = surge_limit(element)
        if limit is not None or p.length > 0.0:
            upper.append(LimitStretch(left=p.left, right=p.right, name=p.name, limit=limit))
        if element.limits.lowest is not None:
            source = element.limits.lowest_source or "lowest pressure"
            least = Limit(value=element.limits.lowest, source=source, rule="lowest-pressure")
            lower.append(LimitStretch(left=p.left, right=p.right, name=p.name, limit=least))
    for name in way.points:
        x = way.drawn_at(name)
        upper += [
            LimitStretch(left=x, right=x, name=name, limit=limit)
            for limit in place_limits(lineup, lineup.points_by_name[name])
        ]
    return tuple(upper), tuple(lower)


def join(way: Way, pipes: dict[str, Array], points: dict[str, float]) -> Array:
    """Put values of pipes and points in the order of a way.

    Parameters
    ----------
    way : Way
    pipes : dict of str to ndarray of shape (m,)
        For each pipe its values, from its own start on [any unit].
    points : dict of str to float
        For each point its value [the same unit].

    Returns
    -------
    ndarray of shape (n,)
        The values of each part, one part after the other; of a part without length, those of its two points.
    """
    found = []
    for p in way.parts:
        values = pipes.get(p.name) if p.length > 0.0 else None
        if values is None:
            found.append(np.array([points[p.start], points[p.end]]))
        else:
            found.append(values[::-1] if p.backward else values)
    return np.concatenate(found)


def _shares(part: WayPart, distance: Array | None) -> Array:
    if distance is None:
        return np.array([0.0, 1.0])
    share = distance / part.length
    return 1.0 - share[::-1] if part.backward else share


def places_on(way: Way, distances: dict[str, Array]) -> tuple[Array, Ints, Array]:
    """Return where the values that :func:`join` puts in order stand.

    Parameters
    ----------
    way : Way
    distances : dict of str to ndarray of shape (m,)
        For each pipe the distances of its values from its own start [m].

    Returns
    -------
    ndarray of shape (n,)
        Place in the drawing, 0 to 1 [-].
    ndarray of int, shape (n,)
        Number of the part of the way.
    ndarray of shape (n,)
        Distance from the beginning of the way [m].
    """
    x, part, distance = [], [], []
    for k, p in enumerate(way.parts):
        share = _shares(p, distances.get(p.name) if p.length > 0.0 else None)
        x.append(p.drawn(share))
        part.append(np.full(share.size, k))
        distance.append(p.begin + p.length * share)
    return np.concatenate(x), np.concatenate(part), np.concatenate(distance)


def line_picture(subject: Subject, to: str | None = None) -> LinePicture:
    """Return the highest and lowest pressures along a way; see :func:`way_of` for ``to``.

    Where the liquid boils in the run, they are those of the time before.
    """
    way, run, until = way_of(subject, to), subject.run, subject.valid_until
    named = {p.name: p for p in way.pipes}
    distances = {n: run.envelopes[n].distance for n in named}
    high = {n: run.envelopes[n].highest for n in named}
    low = {n: run.envelopes[n].lowest for n in named}
    top = {p.name: p.highest.before_vapour for p in run.places}
    least = {p.name: p.lowest.before_vapour for p in run.places}
    if until is not None:
        seen = watch(
            subject.lineup,
            subject.scenario,
            dt=run.method.dt,
            times=np.array([until]),
            shares={n: d / d[-1] for n, d in distances.items()},
        )
        high = {n: seen.highest[n][-1] for n in named}
        low = {n: seen.lowest[n][-1] for n in named}
    x, part, distance = places_on(way, distances)
    steady = join(way, {n: run.envelopes[n].steady for n in named}, {p.name: p.steady for p in run.places})
    along = Along(
        x=x,
        part=part,
        distance=distance,
        steady=steady,
        highest=join(way, high, top),
        lowest=join(way, low, least),
    )
    upper, lower = limits_on(subject, way)
    return LinePicture(
        subject=subject,
        way=way,
        along=along,
        upper=upper,
        lower=lower,
        elevation=np.array([subject.lineup.points_by_name[p].elevation for p in way.points]),
        tanks=_tanks(subject, way),
        peak=_extreme(subject, way, along, high=True),
        trough=_extreme(subject, way, along, high=False),
        until=until,
        weak=weak_mark(subject, way),
    )


def _extreme(subject: Subject, way: Way, along: Along, *, high: bool) -> tuple[float, Mark]:
    """The highest or lowest pressure on the way, as the run reports it."""
    values = along.highest if high else along.lowest
    at = int(np.argmax(values) if high else np.argmin(values))
    run = subject.run
    owners: list[ElementResult | PlaceResult] = [e for e in run.elements if way.holds("element", e.name)]
    owners += [p for p in run.places if way.holds("place", p.name)]
    extremes = [o.highest if high else o.lowest for o in owners]
    best = (max if high else min)(extremes, key=lambda e: e.before_vapour)
    when = best.time if best.before_vapour == best.pressure else math.nan
    return float(along.x[at]), Mark(time=when, pressure=float(values[at]), error=best.error)


def weak_mark(subject: Subject, way: Way) -> tuple[float, Mark] | None:
    """Return the weakest place: where it is in the drawing [-], and its extreme before the cargo boils.

    None when it is not on the way, or has no pressure to show.
    """
    weak, at = subject.finding, weak_at(subject, way)
    if weak is None or at is None or weak.check not in ("peak", *LOW_CHECKS):
        return None
    seen = valid(weak, subject.run)
    if seen.value is None:
        return None
    when = math.nan if seen.when is None else seen.when.time
    return at, Mark(time=when, pressure=seen.value, error=weak.error)


def weak_at(subject: Subject, way: Way) -> float | None:
    """Return where in the drawing the weakest place is, 0 to 1 [-]; None when it is not on the way."""
    weak = subject.finding
    if weak is None or not way.holds(weak.subject, weak.name):
        return None
    return _drawn_at(way, weak.subject, weak.name, weak.distance)


def boil_mark(subject: Subject, way: Way) -> tuple[float, Mark] | None:
    """Return where in the drawing [-] and when the cargo first boils; None where it does not on this way."""
    first = subject.run.vapour
    if first is None:
        return None
    kind = next((k for k in ("element", "place") if way.holds(k, first.where)), None)
    if kind is None:
        return None
    boils = Mark(time=first.time, pressure=subject.lineup.vapour_gauge, error=0.0)
    return _drawn_at(way, kind, first.where, first.distance), boils


def _drawn_at(way: Way, kind: str, name: str, distance: float | None) -> float:
    """Where in the drawing a place is, or a distance from the start of an element [m]; 0 to 1 [-]."""
    if kind == "place":
        return way.drawn_at(name)
    part = next(p for p in way.parts if p.name == name)
    if part.length == 0.0 or distance is None:
        return 0.5 * (part.left + part.right)
    share = distance / part.length
    return float(part.drawn(np.array(1.0 - share if part.backward else share)))


def _tanks(subject: Subject, way: Way) -> tuple[tuple[float, Tank, float], ...]:
    levels = dict(subject.scenario.levels)
    ends = {way.points[0]: 0.0, way.points[-1]: 1.0}
    return tuple(
        (ends[t.point], t, levels.get(t.name, t.level)) for t in subject.lineup.tanks if t.point in ends
    )


def hung_on(subject: Subject, way: Way) -> tuple[tuple[float, str], ...]:
    """Return what hangs on a way: where it stands in the drawing, 0 to 1 [-], and its name."""
    hang = [thing for thing in subject.lineup.attached if thing.point in way.points]
    return tuple((way.drawn_at(thing.point), thing.name) for thing in hang)


def left_out(subject: Subject, way: Way, *, hung: bool = True) -> str:
    """Return in words what is not drawn of a way: what moves beside it, the weakest place, what is not on it,
    and what hangs on it, unless that is drawn (``hung`` False).
    """
    said = []
    moving = [n for n in (*subject.openings, *subject.speeds) if n in way.left_out]
    if moving:
        said.append(f"Moves, but is not on this way: {_listed(moving)}.")
    weak = subject.finding
    if weak is not None and not way.holds(weak.subject, weak.name):
        said.append(f'The weakest place, "{weak.name}", is not on this way.')
    rest = [n for n in way.left_out if n not in moving]
    if rest:
        said.append(f"Not shown, since not on this way: {_listed(rest)}.")
    hang = [name for _, name in hung_on(subject, way)]
    if hang and hung:
        said.append(f"Hanging on the line, and not drawn: {_listed(hang)}.")
    return " ".join(said)


def _listed(names: list[str]) -> str:
    return ", ".join(f'"{n}"' for n in names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")

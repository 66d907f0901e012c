"""What a map shows: pressures in place and time along a way, from marching a run again. Figures only.

Pressures [Pa gauge], times [s]. A place in the drawing is a share of its width, 0 to 1 [-].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.errors import RequestError
from surge.model.way import Way, WayPart
from surge.rules.limits import Limit, place_limits, surge_limit
from surge.transient.profiles import Profiles, instants, watch
from surge.views.line import boil_mark, way_of, weak_mark
from surge.views.subject import Subject
from surge.views.time import Mark

ROWS = 600  # instants of a map, at most
COLUMNS = 700  # nodes across a map, about
LEAST_COLUMNS = 12  # of one pipe
LEAST_STEPS = 10  # of the calculation in what is shown
AFTER_BOILING = 1.25  # times the valid part of a run is shown


@dataclass(frozen=True, kw_only=True, eq=False)
class Field:
    """Pressures of one pipe of a way.

    Attributes
    ----------
    part : WayPart
    pressure : ndarray of shape (instants, nodes)
        In the direction of the way [Pa gauge].
    limit : Limit or None
        Limit for peaks of the pipe.
    """

    part: WayPart
    pressure: Array
    limit: Limit | None


@dataclass(frozen=True, kw_only=True, eq=False)
class LimitedPoint:
    """Pressures of a point that has a limit of its own.

    Attributes
    ----------
    name : str
    x : float
        Place in the drawing, 0 to 1 [-].
    pressure : ndarray of shape (instants,)
        [Pa gauge]
    limit : Limit
    """

    name: str
    x: float
    pressure: Array
    limit: Limit


@dataclass(frozen=True, kw_only=True, eq=False)
class WavePicture:
    """Pressures in place and time.

    Attributes
    ----------
    subject : Subject
    way : Way
    time : ndarray of shape (instants,)
        [s]
    fields : tuple of Field
        The pipes of the way.
    limited_points : tuple of LimitedPoint
        The points of the way that have a limit of their own.
    weak : (float, Mark) or None
        The weakest place, as the run reports it, with its place in the drawing [-]; None when it is not on
        the way or not in the time shown.
    boils : (float, Mark) or None
        Where and when the cargo first boils; None when that is not on the way or not in the time shown.
    every : float
        Time between two instants [s].
    strokes : dict of str to (ndarray, ndarray)
        For what moves on the way: times [s] and openings of a valve, or speeds of a pump [-].
    """

    subject: Subject
    way: Way
    time: Array
    fields: tuple[Field, ...]
    limited_points: tuple[LimitedPoint, ...]
    weak: tuple[float, Mark] | None
    boils: tuple[float, Mark] | None
    every: float
    strokes: dict[str, tuple[Array, Array]]


def node_shares(way: Way, *, columns: int, counts: dict[str, int]) -> dict[str, Array]:
    """Return where in each pipe to look: shares of its length, 0 to 1 [-], shape (m,).

    Parameters
    ----------
    way : Way
    columns : int
        Places to look at in the whole drawing, of which a pipe gets as many as it is wide.
    counts : dict of str to int
        Nodes of each pipe; it never gets more places.
    """
    return {
        p.name: np.linspace(
            0.0, 1.0, min(counts[p.name], max(LEAST_COLUMNS, round(columns * (p.right - p.left))))
        )
        for p in way.pipes
    }


def seen_on(subject: Subject, way: Way, *, begin: float, end: float, rows: int, columns: int) -> Profiles:
    """March a run again and look at a way from ``begin`` to ``end`` [s]."""
    counts = {n: e.distance.size for n, e in subject.run.envelopes.items()}
    dt = subject.run.method.dt
    return watch(
        subject.lineup,
        subject.scenario,
        dt=dt,
        times=instants(begin, end, dt=dt, most=rows),
        shares=node_shares(way, columns=columns, counts=counts),
    )


def wave_picture(
    subject: Subject, to: str | None = None, *, span: tuple[float, float] | None = None
) -> WavePicture:
    """Return pressures in place and time along a way; see :func:`way_of` for ``to``.

    Parameters
    ----------
    subject : Subject
    to : str or None
    span : (float, float) or None
        From when to when [s]; by default the whole run, or until a little after the cargo boils.

    Returns
    -------
    WavePicture
    """
    way = way_of(subject, to, moves=True)
    begin, end = span or times_of(subject, None, None)
    seen = seen_on(subject, way, begin=begin, end=end, rows=ROWS, columns=COLUMNS)
    limits = {e.name: surge_limit(e) for e in subject.lineup.elements}
    fields = tuple(
        Field(
            part=p,
            pressure=seen.pressure[p.name][:, ::-1] if p.backward else seen.pressure[p.name],
            limit=limits[p.name],
        )
        for p in way.pipes
    )
    weak = weak_mark(subject, way)
    boils = boil_mark(subject, way)
    if weak is not None and not begin <= weak[1].time <= end:
        weak = None
    if boils is not None and not begin <= boils[1].time <= end:
        boils = None
    return WavePicture(
        subject=subject,
        way=way,
        time=seen.time,
        fields=fields,
        limited_points=tuple(
            LimitedPoint(name=name, x=way.drawn_at(name), pressure=seen.points[name], limit=limit)
            for name in way.points
            for limit in place_limits(subject.lineup, subject.lineup.points_by_name[name])
        ),
        weak=weak,
        boils=boils,
        every=float(seen.time[1] - seen.time[0]),
        strokes=strokes_on(subject, way),
    )


def strokes_on(subject: Subject, way: Way) -> dict[str, tuple[Array, Array]]:
    """Return what moves on a way: times [s], with openings of a valve or speeds of a pump [-]."""
    laws = {**subject.openings, **subject.speeds}
    found = {}
    for part in way.parts:
        if part.name in laws:
            times, values = (np.array(v) for v in zip(*laws[part.name], strict=True))
            found[part.name] = (times, values)
    return found


def times_of(
    subject: Subject, begin: float | None, end: float | None, *, cavities: bool = False
) -> tuple[float, float]:
    """Return from when to when a picture shows a run [s].

    Parameters
    ----------
    subject : Subject
    begin, end : float or None
        What was asked for [s]; by default the whole run, or until a little after the cargo boils.
    cavities : bool
        The picture goes on with cavities where the scenario was followed so.

    Raises
    ------
    RequestError
        The time is outside the run, ends before it begins, or is too short.
    """
    low = begin if begin is not None else 0.0
    last = subject.end
    goes_on = cavities and subject.run.followed
    if subject.valid_until is not None and low < subject.valid_until and not goes_on:
        last = min(last, low + AFTER_BOILING * (subject.valid_until - low) + 1.0)
    high = end if end is not None else last
    if not 0.0 <= low < high:
        raise RequestError(f"--from {low:g} s --until {high:g} s: write the earlier time first, from 0 s on")
    if low >= subject.end:
        raise RequestError(
            f"--from {low:g} s: the run of this scenario ends at {subject.end:.2f} s; write an earlier time"
        )
    high, least = min(high, subject.end), LEAST_STEPS * subject.run.method.dt
    if high - low < least:
        raise RequestError(f"from {low:g} s to {high:g} s is too short: show {least:.2g} s at least")
    return low, high

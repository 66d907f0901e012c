"""What an animation shows, frame by frame: pressures along the line while something moves. Figures only.

Pressures [Pa gauge], times [s], flows [m3/s], openings and speeds [-]; places in the drawing from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import RequestError
from surge.model.scenario import Trip
from surge.model.way import Way
from surge.views.line import LimitStretch, hung_on, join, limits_on, places_on, way_of
from surge.views.map import seen_on, times_of
from surge.views.subject import Subject
from surge.views.time import time_picture

FRAMES_A_SECOND = 20.0
MOST_FRAMES = 400
SECONDS = 12.0  # that an animation runs, unless asked otherwise
BEFORE = 0.06  # of the time shown: steady flow before anything moves
FILM_PERIODS_AFTER = 2.5  # pipeline periods shown after the last movement, and after the peak
COLUMNS = 260  # values along the line, about
ARROWS = 22  # arrows of the flow, along the line


@dataclass(frozen=True, kw_only=True, eq=False)
class Film:
    """An animation of n frames, with m values along the way and k arrows of the flow.

    Attributes
    ----------
    subject : Subject
    way : Way
    time : ndarray of shape (n,)
        Instant of each frame [s].
    x : ndarray of shape (m,)
        Where each value stands in the drawing, 0 to 1 [-].
    part : ndarray of int, shape (m,)
        Which part of the way each value belongs to.
    pressure : ndarray of shape (n, m)
        At the instant of the frame [Pa gauge].
    highest, lowest : ndarray of shape (n, m)
        Over every step of the run up to the frame [Pa gauge].
    steady : ndarray of shape (m,)
        Before anything moves [Pa gauge].
    upper, lower : tuple of LimitStretch
        Limits for peaks and for falls.
    arrow_x : ndarray of shape (k,)
        Where each arrow stands in the drawing, 0 to 1 [-].
    arrows : ndarray of shape (n, k)
        Flow at each arrow, as a share of the greatest flow of the film [-]; positive along the way.
    strokes : dict of str to ndarray of shape (n,)
        Opening of each valve of the way that moves, speed of each pump [-].
    others : dict of str to ndarray of shape (n,)
        The same of what moves elsewhere, and of what hangs on the line [-].
    kinds : dict of str to str
        Of what moves by itself: what the value is, see :class:`surge.views.by_itself.ByItself`.
    hung : tuple of (float, str)
        What hangs on the way: where it stands in the drawing, 0 to 1 [-], and its name.
    flows : dict of str to ndarray of shape (n,)
        Through what moves, and where the rate is counted [m3/s].
    playing : float
        Time that the film runs [s].
    until : float or None
        When the cargo boils, if that is where the film ends [s].
    """

    subject: Subject
    way: Way
    time: Array
    x: Array
    part: Ints
    pressure: Array
    highest: Array
    lowest: Array
    steady: Array
    upper: tuple[LimitStretch, ...]
    lower: tuple[LimitStretch, ...]
    arrow_x: Array
    arrows: Array
    strokes: dict[str, Array]
    others: dict[str, Array]
    flows: dict[str, Array]
    playing: float
    until: float | None
    kinds: dict[str, str] = field(default_factory=dict)
    hung: tuple[tuple[float, str], ...] = ()

    @property
    def slower(self) -> float:
        """How many times slower than the real thing the film runs [-]; below 1 it is faster."""
        return self.playing / float(self.time[-1] - self.time[0])

    @property
    def pace(self) -> str:
        """How fast the film runs, in words."""
        if abs(self.slower - 1.0) < 0.05:
            return "shown at its true speed"
        if self.slower > 1.0:
            return f"shown {self.slower:.2g} times slower"
        return f"shown {1 / self.slower:.2g} times faster"


def film_of(
    subject: Subject,
    *,
    to: str | None = None,
    begin: float | None = None,
    end: float | None = None,
    playing: float = SECONDS,
) -> Film:
    """Return an animation of a scenario.

    Parameters
    ----------
    subject : Subject
    to : str or None
        The tank or point at which the way ends; by default the way on which most of what moves stands, see
        :func:`surge.views.line.way_of`.
    begin, end : float or None
        From when to when [s]; by default from shortly before the first movement to some pipeline periods
        after the peak and the last movement. A film never goes on after the cargo boils.
    playing : float
        Time that the film runs [s]; see ``FILM_SECONDS`` of :mod:`surge.choices`.

    Returns
    -------
    Film

    Raises
    ------
    RequestError
        A time or a name that is not there.
    """
    low, high = shown_of(subject, begin, end)
    way = way_of(subject, to, moves=True)
    frames = int(min(round(playing * FRAMES_A_SECOND) + 1, MOST_FRAMES))
    seen = seen_on(subject, way, begin=low, end=high, rows=frames, columns=COLUMNS)
    n = seen.time.size
    x, part, _ = places_on(way, seen.distance)

    def joined(pipes: dict[str, Array], points: dict[str, Array]) -> Array:
        rows = ({k: v[i] for k, v in pipes.items()} for i in range(n))
        ends = ({k: float(v[i]) for k, v in points.items()} for i in range(n))
        return np.array([join(way, row, end) for row, end in zip(rows, ends, strict=True)])

    laws = {**subject.openings, **subject.speeds}
    steady = {p.name: p.steady for p in subject.run.places}
    upper, lower = limits_on(subject, way)
    arrow_x, arrows = _arrows(way, {p.name: seen.flow[p.name] for p in way.pipes})
    moving = {name: _at(np.array(law), seen.time) for name, law in laws.items()}
    history = time_picture(subject, cavities=False)
    moving |= {one.name: np.interp(seen.time, history.time, one.values) for one in history.by_itself}
    on_way = {p.name for p in way.parts}
    return Film(
        subject=subject,
        way=way,
        time=seen.time,
        x=x,
        part=part,
        pressure=joined(seen.pressure, seen.points),
        highest=joined(seen.highest, seen.point_highest),
        lowest=joined(seen.lowest, seen.point_lowest),
        steady=join(way, _steady(subject, seen.distance), steady),
        upper=upper,
        lower=lower,
        arrow_x=arrow_x,
        arrows=arrows,
        strokes={name: values for name, values in moving.items() if name in on_way},
        others={name: values for name, values in moving.items() if name not in on_way},
        flows={name: np.interp(seen.time, history.time, q) for name, q in history.flows.items()},
        playing=playing,
        until=subject.valid_until
        if subject.valid_until is not None and high >= subject.valid_until
        else None,
        kinds={one.name: one.kind for one in history.by_itself},
        hung=hung_on(subject, way),
    )


def shown_of(subject: Subject, begin: float | None, end: float | None) -> tuple[float, float]:
    """Return from when to when a run is shown [s]; parameters as of :func:`film_of`."""
    laws = [*subject.openings.values(), *subject.speeds.values()]
    changes = [c for law in laws if (c := _moving(law)) is not None]
    # Of a trip the first seconds are shown: after half of what it takes to stop, as it began, little happens.
    changes += [(t.start, _shown_until(subject, t)) for t in subject.scenario.trips]
    last = subject.end
    if changes:
        period = max((p.longest for p in subject.run.periods), default=0.0)
        weak = subject.finding.time if subject.finding and subject.finding.time is not None else 0.0
        last = max(*(c[1] for c in changes), weak) + FILM_PERIODS_AFTER * max(period, 0.2)
        last = min(last, subject.end)
    first = min((c[0] for c in changes), default=0.0)
    first = max(first - BEFORE * (last - first), 0.0)
    low = begin if begin is not None else first
    if subject.valid_until is not None:
        if low >= subject.valid_until:
            raise RequestError(
                f"--from {low:g} s: the cargo boils at {subject.valid_until:.2f} s, and nothing after it is "
                "valid; write an earlier time"
            )
        last = min(last, subject.valid_until)
        end = None if end is None else min(end, subject.valid_until)
    return times_of(subject, low, end if end is not None else last)


def _shown_until(subject: Subject, trip: Trip) -> float:
    """Until when a trip is shown [s]: half of its run-down, or until the pump runs again."""
    again = subject.work.laws.speed.get(trip.pump)
    return again[-1][0] if again else trip.start + 0.5 * (subject.work.last_event - trip.start)


def _moving(law: tuple[tuple[float, float], ...]) -> tuple[float, float] | None:
    """When a law begins to change, and when it has changed [s]; None if it never does."""
    at = [(t0, t1) for (t0, a), (t1, b) in zip(law, law[1:], strict=False) if a != b]
    return (at[0][0], at[-1][1]) if at else None


def _at(law: Array, time: Array) -> Array:
    """Values of a law at some instants; of two points at one time the later one holds."""
    t, v = law.T
    at = np.searchsorted(t, time, side="right") - 1
    after = np.minimum(at + 1, t.size - 1)
    span = np.where(t[after] > t[at], t[after] - t[at], 1.0)
    share = np.clip((time - t[at]) / span, 0.0, 1.0)
    found: Array = v[at] + (v[after] - v[at]) * np.where(after > at, share, 0.0)
    return found


def _steady(subject: Subject, distance: dict[str, Array]) -> dict[str, Array]:
    envelopes = subject.run.envelopes
    return {n: np.interp(d, envelopes[n].distance, envelopes[n].steady) for n, d in distance.items()}


def _arrows(way: Way, flow: dict[str, Array]) -> tuple[Array, Array]:
    """Places of arrows, evenly along pipes, and the flow there as a share of the greatest."""
    places, shown = [], []
    for p in way.pipes:
        count = max(round(ARROWS * (p.right - p.left)), 1)
        shares = (np.arange(count) + 0.5) / count
        q = flow[p.name][:, ::-1] * -1.0 if p.backward else flow[p.name]
        own = np.linspace(0.0, 1.0, q.shape[1])
        places.append(p.drawn(shares))
        shown.append(np.array([np.interp(shares, own, row) for row in q]))
    found = np.hstack(shown)
    return np.concatenate(places), found / max(float(np.abs(found).max()), 1e-9)

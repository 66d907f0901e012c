"""The time step, and how many reaches of it every pipe gets.

The step is chosen by the misfit that it leaves: what a common step cannot fit goes into the length of an
element and nowhere else. Wave speed, impedance, total loss and elevations stay exact.

Decisions
---------
* Pipes behind one another between which nothing reflects are one stretch (:mod:`surge.transient.stretches`),
  so that a line is marched alike in however many pieces it is drawn. The ends of its pieces fall on the
  nearest step of the stretch: what does not fit does not add up.
* The step leaves at least ``LEAST_REACHES`` reaches in the longest stretch and as many steps in the shortest
  stroke. It misses the travel time of every stretch by at most ``OWN_MISFIT`` of it; a short one may miss by
  the smaller of ``PERIOD_MISFIT`` of the longest pipeline period and ``STROKE_MISFIT`` of the shortest
  stroke. Of the steps near the largest that do so, the one that fits best is taken.
* Pieces of a stretch that are lumped are together no more than a reach of it may be: one of ``LEAST_REACHES``
  parts.
* The shortest pipeline period of a valve that moves has at least twice ``LEAST_REACHES`` steps. Where the
  longest stretch lies on the way to the tank this asks for nothing more; beside a closed branch many times
  longer than that way it keeps the way from being lumped.
* A change without duration is no stroke: it does not bound the step.
* Where a march by these rules is too much work they are eased, all by the same factor
  (:func:`surge.transient.plan.eased`). What that leaves out shows in the error.
* An element shorter than a reach is lumped, see :mod:`surge.transient.grid`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import GridError

OWN_MISFIT = 0.005  # of an element's own travel time
PERIOD_MISFIT = 0.001  # of the longest pipeline period, for short elements
STROKE_MISFIT = 0.005  # of the shortest stroke, for short elements
LEAST_REACHES = 100  # in the longest stretch, and steps in the shortest stroke
LOOK_FINER = 1.3  # a step up to so much below the largest allowed is taken when lengths fit it better
MOST_REACHES = 200_000  # in all: 1.6 MB an array
ROOM = 2**18  # steps times pipes that are looked at in one go: 2 MB an array

Stretches = tuple[tuple[int, ...], ...]
"""Numbers of pipes that are one line for a wave, in the order along it."""


@dataclass(frozen=True, kw_only=True)
class Reaches:
    """How the pipes of a line-up are divided.

    Attributes
    ----------
    dt : float
        Time step [s].
    count : tuple of int
        Reaches of each pipe; 0 is a lumped one.
    misfit : tuple of float
        Travel time on the grid less the true one [s], 0 for lumped ones; of a stretch of pipes, in parts as
        long as the pipes.
    parts : int
        Links in series that a lumped element is made of (2 only for the error estimate).
    """

    dt: float
    count: tuple[int, ...]
    misfit: tuple[float, ...]
    parts: int = 1

    @property
    def nodes(self) -> int:
        """Number of nodes on all pipes."""
        return sum(n + 1 for n in self.count if n)


def divide(times: Array, dt: float, stretches: Stretches = ()) -> Reaches:
    """Divide pipes of travel ``times`` [s], shape (n,), into reaches of ``dt`` [s].

    ``stretches`` are numbers of pipes in the order along each; pipes in none stand alone.
    """
    count = np.where(times < dt * (1 - 1e-9), 0, np.maximum(np.rint(times / dt), 1)).astype(int)
    misfit = np.where(count > 0, count * dt - times, 0.0)
    for pipes in (np.array(some) for some in stretches if len(some) > 1):
        own = pipes[count[pipes] > 0]
        if own.size:
            # Rounded so that a pipe as long as a step has at least one.
            ends = np.floor(np.cumsum(times[own]) / dt * (1 + 2e-9) + 0.5).astype(int)
            count[own] = np.diff(ends, prepend=0)
            total = float(times[own].sum())
            misfit[own] = (ends[-1] * dt - total) * times[own] / total
    return Reaches(dt=dt, count=tuple(count.tolist()), misfit=tuple(misfit.tolist()))


def fits(times: Array, dt: float, *, slack: float, ease: float = 1.0, stretches: Stretches = ()) -> bool:
    """Whether every stretch's misfit is within its own bound, eased, or the absolute ``slack`` [s]."""
    order, starts = _ordered(times, stretches)
    misfit, _, own = _misfits(times[order], starts, np.array([dt]))
    return bool(np.all(misfit <= np.maximum(ease * OWN_MISFIT * own, slack) * (1 + 1e-9)))


def choose_step(
    times: Array,
    *,
    period: float,
    stroke: float,
    way: float = np.inf,
    finest: float = 0.0,
    ease: float = 1.0,
    stretches: Stretches = (),
) -> float:
    """Return the time step [s]: of the allowed ones near the largest, the one that fits best.

    Parameters
    ----------
    times : ndarray of shape (n,)
        Travel times of the pipes [s].
    period : float
        Longest pipeline period [s].
    stroke : float
        Shortest stroke or run-down [s]; infinite when there are only steps.
    way : float
        Shortest pipeline period of a valve that moves [s]; infinite when none does.
    finest : float
        Only steps at or below this are considered [s]; 0 is no bound.
    ease : float
        How many times coarser the step may be, and how many times greater the misfits [-].
    stretches : tuple of tuple of int
        Numbers of pipes in the order along each; pipes in none stand alone.

    Raises
    ------
    GridError
        When it would take more than ``MOST_REACHES`` reaches.
    """
    order, starts = _ordered(times, stretches)
    longest = float(np.add.reduceat(times[order], starts).max())
    slack = ease * min(PERIOD_MISFIT * period, STROKE_MISFIT * stroke)
    cap = ease * min(longest, stroke, way / 2) / LEAST_REACHES
    cap = min(cap, coarsest(times, stretches, ease))
    if finest:
        cap = min(cap, finest)
    first = int(np.ceil(longest / cap * (1 - 1e-9)))
    last = max(first, int(np.ceil(longest / slack)) + 1)
    if first * times.sum() / longest > MOST_REACHES:
        raise GridError(_too_fine(first, longest, stroke))
    steps = longest / np.arange(first, min(last, first + 20_000) + 1)
    largest, best, found = 0.0, np.inf, 0.0
    for some in np.array_split(steps, -(-steps.size * times.size // ROOM)):
        misfit, lumped, own = _misfits(times[order], starts, some)
        bound = np.maximum(ease * OWN_MISFIT * own, slack) * (1 + 1e-9)
        allowed = np.all(misfit <= bound, axis=1)
        if not largest and allowed.any():
            largest = float(some[int(np.argmax(allowed))])
        near = allowed & (some >= largest / LOOK_FINER)
        if near.any():
            # A lumped element counts as misfit by its whole travel time: rather a reach than a lump.
            left = np.where(near, np.sum(misfit + lumped, axis=1), np.inf)
            if float(left.min()) < best:
                best, found = float(left.min()), float(some[int(np.argmin(left))])
        if largest and some[-1] < largest / LOOK_FINER:
            break
    if not found:
        raise GridError(_too_fine(last, longest, stroke))
    return found


def _ordered(times: Array, stretches: Stretches) -> tuple[Ints, Ints]:
    """Numbers of all pipes, stretch by stretch, and where in them each stretch begins."""
    told = {k for some in stretches for k in some}
    every = [*stretches, *((k,) for k in range(times.size) if k not in told)]
    starts = np.cumsum([0, *(len(some) for some in every[:-1])])
    return np.array([k for some in every for k in some], dtype=np.int64), starts.astype(np.int64)


def coarsest(times: Array, stretches: Stretches, ease: float = 1.0) -> float:
    """Largest step [s] at which no more is lumped of any stretch of several pipes than may be."""
    least = np.inf
    for some in stretches:
        if len(some) > 1:
            shortest = np.sort(times[list(some)])
            too_much = np.cumsum(shortest) > ease * shortest.sum() / LEAST_REACHES
            least = min(least, float(shortest[int(np.argmax(too_much))]) if too_much.any() else np.inf)
    return least


def _misfits(times: Array, starts: Ints, steps: Array) -> tuple[Array, Array, Array]:
    """Misfit, travel time of what is lumped, and of what is not [s], of every stretch at every step.

    times (pipes,) [s], stretch by stretch; starts (stretches,): where they begin. All that is returned has
    the shape (steps, stretches).
    """
    dt = steps[:, None]
    kept = np.where(times < dt * (1 - 1e-9), 0.0, times)
    own = np.add.reduceat(kept, starts, axis=1)
    lumped = np.add.reduceat(times - kept, starts, axis=1)
    count = np.maximum(np.rint(own / dt), 1)
    return np.where(own > 0.0, np.abs(count * dt - own), 0.0), lumped, own


def _too_fine(reaches: int, longest: float, stroke: float) -> str:
    quickest = f", shortest stroke {stroke:.3g} s" if np.isfinite(stroke) else ""
    return (
        f"this line-up would need {reaches} reaches in its longest line (travel time {longest:.3g} s"
        f"{quickest}); at most {MOST_REACHES} in all are possible. "
        'Write a stroke of no time as law = "step", or check the longest length.'
    )


def other_rounding(
    times: Array, dt: float, *, slack: float, ease: float = 1.0, stretches: Stretches = ()
) -> float:
    """A step near ``dt`` [s] whose misfits differ most from those of ``dt``, itself allowed."""
    base = np.array(divide(times, dt, stretches).misfit) / times
    best, found = -1.0, dt * 0.93
    for share in np.linspace(0.80, 0.985, 75):
        trial = dt * float(share)
        if fits(times, trial, slack=slack, ease=ease, stretches=stretches):
            misfit = np.array(divide(times, trial, stretches).misfit)
            score = float(np.abs(misfit / times - base).sum())
            if score > best:
                best, found = score, trial
    return found

"""The time step, and how many reaches of it every pipe gets.

The step is chosen by the misfit that it leaves: what a common step cannot fit goes into the length of an
element and nowhere else. Wave speed, impedance, total loss and elevations stay exact.

Decisions
---------
* The step leaves at least ``LEAST_REACHES`` reaches in the longest element and as many steps in the shortest
  stroke. It misses the travel time of every element by at most ``OWN_MISFIT`` of it; a short one may miss by
  the smaller of ``PERIOD_MISFIT`` of the longest pipeline period and ``STROKE_MISFIT`` of the shortest
  stroke. Of the steps near the largest that do so, the one that fits best is taken.
* The shortest pipeline period of a valve that moves has at least twice ``LEAST_REACHES`` steps. Where the
  longest element lies on the way to the tank this asks for nothing more; beside a closed branch many times
  longer than that way it keeps the way from being lumped.
* A change without duration is no stroke: it does not bound the step.
* Where a march by these rules is too much work they are eased, all by the same factor
  (:func:`surge.transient.plan.eased`). What that leaves out shows in the error.
* An element shorter than a reach is lumped, see :mod:`surge.transient.grid`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.errors import GridError

OWN_MISFIT = 0.005  # of an element's own travel time
PERIOD_MISFIT = 0.001  # of the longest pipeline period, for short elements
STROKE_MISFIT = 0.005  # of the shortest stroke, for short elements
LEAST_REACHES = 100  # in the longest element, and steps in the shortest stroke
LOOK_FINER = 1.3  # a step up to so much below the largest allowed is taken when lengths fit it better
MOST_REACHES = 200_000  # in all: 1.6 MB an array
ROOM = 2**18  # steps times pipes that are looked at in one go: 2 MB an array


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
        Travel time on the grid less the true one [s], 0 for lumped ones.
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


def divide(times: Array, dt: float) -> Reaches:
    """Divide pipes of travel ``times`` [s], shape (n,), into reaches of ``dt`` [s]."""
    count = np.where(times < dt * (1 - 1e-9), 0, np.maximum(np.rint(times / dt), 1)).astype(int)
    misfit = np.where(count > 0, count * dt - times, 0.0)
    return Reaches(dt=dt, count=tuple(count.tolist()), misfit=tuple(misfit.tolist()))


def fits(times: Array, dt: float, *, slack: float, ease: float = 1.0) -> bool:
    """Whether every pipe's misfit is within its own bound, eased, or the absolute ``slack`` [s]."""
    misfit = np.abs(np.array(divide(times, dt).misfit))
    return bool(np.all(misfit <= np.maximum(ease * OWN_MISFIT * times, slack) * (1 + 1e-9)))


def choose_step(
    times: Array,
    *,
    period: float,
    stroke: float,
    way: float = np.inf,
    finest: float = 0.0,
    ease: float = 1.0,
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

    Raises
    ------
    GridError
        When it would take more than ``MOST_REACHES`` reaches.
    """
    longest = float(times.max())
    slack = ease * min(PERIOD_MISFIT * period, STROKE_MISFIT * stroke)
    cap = ease * min(longest, stroke, way / 2) / LEAST_REACHES
    if finest:
        cap = min(cap, finest)
    first = int(np.ceil(longest / cap * (1 - 1e-9)))
    last = max(first, int(np.ceil(longest / slack)) + 1)
    if first * times.sum() / longest > MOST_REACHES:
        raise GridError(_too_fine(first, longest, stroke))
    steps = longest / np.arange(first, min(last, first + 20_000) + 1)
    bound = np.maximum(ease * OWN_MISFIT * times, slack) * (1 + 1e-9)
    largest, best, found = 0.0, np.inf, 0.0
    for some in np.array_split(steps, -(-steps.size * times.size // ROOM)):
        misfit, lumped = _misfits(times, some)
        allowed = np.all(misfit <= bound, axis=1)
        if not largest and allowed.any():
            largest = float(some[int(np.argmax(allowed))])
        near = allowed & (some >= largest / LOOK_FINER)
        if near.any():
            # A lumped element counts as misfit by its whole travel time: rather a reach than a lump.
            left = np.where(near, np.sum(misfit + lumped * times, axis=1), np.inf)
            if float(left.min()) < best:
                best, found = float(left.min()), float(some[int(np.argmin(left))])
        if largest and some[-1] < largest / LOOK_FINER:
            break
    if not found:
        raise GridError(_too_fine(last, longest, stroke))
    return found


def _misfits(times: Array, steps: Array) -> tuple[Array, Array]:
    """Misfit [s] and whether it is lumped (1 or 0), of every pipe at every step: shape (steps, pipes)."""
    dt = steps[:, None]
    lumped = times < dt * (1 - 1e-9)
    count = np.maximum(np.rint(times / dt), 1)
    return np.where(lumped, 0.0, np.abs(count * dt - times)), lumped.astype(float)


def _too_fine(reaches: int, longest: float, stroke: float) -> str:
    quickest = f", shortest stroke {stroke:.3g} s" if np.isfinite(stroke) else ""
    return (
        f"this line-up would need {reaches} reaches in its longest element (travel time {longest:.3g} s"
        f"{quickest}); at most {MOST_REACHES} in all are possible. "
        'Write a stroke of no time as law = "step", or check the longest length.'
    )


def other_rounding(times: Array, dt: float, *, slack: float, ease: float = 1.0) -> float:
    """A step near ``dt`` [s] whose misfits differ most from those of ``dt``, itself allowed."""
    base = np.array(divide(times, dt).misfit) / times
    best, found = -1.0, dt * 0.93
    for share in np.linspace(0.80, 0.985, 75):
        trial = dt * float(share)
        if fits(times, trial, slack=slack, ease=ease):
            score = float(np.abs(np.array(divide(times, trial).misfit) / times - base).sum())
            if score > best:
                best, found = score, trial
    return found

"""The time step, and how many reaches of it every pipe gets.

The way of a wave through a pipe is a whole number of steps and a fraction of one, which it takes at the
pipe's ends (:mod:`surge.kernel.pipes`). So lengths are exact, as wave speed, impedance, total loss and
elevations are.

Decisions
---------
* Pipes behind one another between which nothing reflects are one stretch (:mod:`surge.transient.stretches`),
  so that a line is marched alike in however many pieces it is drawn. The ends of its pieces fall on a step of
  the stretch, and its last piece takes the fraction: only where its pieces meet is off, by a step at most.
* The step leaves at least ``LEAST_REACHES`` reaches in the longest stretch and as many steps in the shortest
  stroke, and one reach in every stretch that takes a wave more than ``OF_PERIOD`` of the longest pipeline
  period, or ``OF_STROKE`` of the shortest stroke where that is less: what rings in a lump, or in a single
  reach with a fraction, is damped in all marches alike, and no difference of them shows it. A fraction
  spreads a front, most at half a step, so of the steps near the largest that leave this, the one is taken
  that spreads least and lumps least.
* Pieces of a stretch that are lumped are together no more than a reach of it may be: one of ``LEAST_REACHES``
  parts.
* The shortest pipeline period of a valve that moves has at least twice ``LEAST_REACHES`` steps. Where the
  longest stretch lies on the way to the tank this asks for nothing more; beside a closed branch many times
  longer than that way it keeps the way from being lumped.
* A change without duration is no stroke: it does not bound the step.
* Where a march by these rules is too much work they are eased, all by the same factor
  (:func:`surge.transient.plan.eased`). What that leaves out shows in the error.
* An element shorter than a reach is lumped, see :mod:`surge.transient.links`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import GridError

LEAST_REACHES = 100  # in the longest stretch, and steps in the shortest stroke
OF_PERIOD, OF_STROKE = 0.001, 0.005  # a stretch that is shorter for a wave may be lumped
LOOK_FINER = 1.3  # a step up to so much below the largest allowed is taken when it spreads and lumps less
MOST_REACHES = 200_000  # in all: 1.6 MB an array
ROOM = 16_384  # steps times pipes that are looked at in one go, 0.1 MB an array: our own choice
MOST_LOOKED_AT = 200  # steps among which the best is sought
WHOLE = 1e-9  # of a step: a fraction below it is none

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
    share : tuple of float
        Fraction of a step by which the way through each pipe is longer than its reaches, 0 to 1 [-].
    parts : int
        Links in series that a lumped element is made of (2 only for the error estimate).
    """

    dt: float
    count: tuple[int, ...]
    share: tuple[float, ...]
    parts: int = 1

    @property
    def nodes(self) -> int:
        """Number of nodes on all pipes."""
        return sum(n + 1 for n in self.count if n)

    def places(self, pipe: int) -> Array:
        """Where the nodes of a pipe stand, as shares of its length; the two ends of a lumped one [-].

        Inner nodes stand half the fraction further on, so that waves of both ways have as far to them.
        Not to be written to: every march on these reaches asks for them.
        """
        known = self._places.get(pipe)
        if known is None:
            count, share = self.count[pipe], self.share[pipe]
            known = (np.arange(max(count, 1) + 1, dtype=np.float64) + share / 2) / (max(count, 1) + share)
            known[[0, -1]] = 0.0, 1.0
            known.flags.writeable = False
            self._places[pipe] = known
        return known

    @cached_property
    def _places(self) -> dict[int, Array]:
        return {}


def divide(times: Array, dt: float, stretches: Stretches = ()) -> Reaches:
    """Divide pipes of travel ``times`` [s], shape (n,), into reaches of ``dt`` [s].

    ``stretches`` are numbers of pipes in the order along each; pipes in none stand alone.
    """
    whole, share = _parted(times / dt)
    count = whole.astype(int)
    for pipes in (np.array(some) for some in stretches if len(some) > 1):
        own = pipes[count[pipes] > 0]
        if own.size:
            ends = np.cumsum(times[own]) / dt
            share[own] = 0.0
            share[own[-1]] = _parted(ends[-1:])[1][0]
            # Rounded so that a piece as long as a step has at least one, and the last end is not rounded up.
            half = min(0.5, max(1.0 - share[own[-1]] - 1e-6, 0.0))
            count[own] = np.diff(np.floor(ends * (1 + WHOLE) + half).astype(int), prepend=0)
    return Reaches(dt=dt, count=tuple(count.tolist()), share=tuple(share.tolist()))


def rounded(times: Array, dt: float, stretches: Stretches = ()) -> Reaches:
    """Divide pipes as :func:`divide` does, their lengths changed to whole steps: nothing spreads a front."""
    return divide(times * _stretched(times, dt, stretches), dt, stretches)


def rounded_otherwise(times: Array, dt: float, stretches: Stretches = ()) -> Reaches:
    """Divide pipes as :func:`rounded`, at the step near ``dt`` [s] that changes lengths most differently."""
    base = _stretched(times, dt, stretches)
    steps: list[float] = (dt * np.linspace(0.80, 0.985, 75)).tolist()
    return rounded(
        times,
        max(steps, key=lambda t: float(np.abs(_stretched(times, t, stretches) - base).sum())),
        stretches,
    )


def _stretched(times: Array, dt: float, stretches: Stretches) -> Array:
    """By what pipes become as long as whole steps, each with its stretch [-]."""
    order, starts = _ordered(times, stretches)
    own = np.add.reduceat(np.where(times < dt * (1 - WHOLE), 0.0, times)[order], starts)
    factor = np.where(own > 0.0, np.maximum(np.rint(own / dt), 1.0) * dt / np.where(own > 0.0, own, 1.0), 1.0)
    found = np.empty(times.size)
    found[order] = np.repeat(factor, np.diff(np.append(starts, times.size)))
    return found


def _parted(ways: Array) -> tuple[Array, Array]:
    """Whole steps in ways [steps], and the fractions left; none of those shorter than a step."""
    whole = np.floor(ways + WHOLE * np.maximum(ways, 1.0))
    share = np.where(whole > 0.0, np.maximum(ways - whole, 0.0), 0.0)
    return whole, np.where(share < WHOLE * np.maximum(ways, 1.0), 0.0, share)


def choose_step(
    times: Array,
    *,
    stroke: float,
    way: float = np.inf,
    period: float = 0.0,
    ease: float = 1.0,
    stretches: Stretches = (),
) -> float:
    """Return the time step [s]: of those near the largest allowed, the one that spreads and lumps least.

    Parameters
    ----------
    times : ndarray of shape (n,)
        Travel times of the pipes [s].
    stroke : float
        Shortest stroke or run-down [s]; infinite when there are only steps.
    way : float
        Shortest pipeline period of a valve that moves [s]; infinite when none does.
    period : float
        Longest pipeline period [s].
    ease : float
        How many times coarser the step may be [-].
    stretches : tuple of tuple of int
        Numbers of pipes in the order along each; pipes in none stand alone.

    Raises
    ------
    GridError
        When it would take more than ``MOST_REACHES`` reaches.
    """
    order, starts = _ordered(times, stretches)
    ways = np.add.reduceat(times[order], starts)
    longest = float(ways.max())
    cap = ease * min(longest, stroke, way / 2) / LEAST_REACHES
    cap = min(cap, coarsest(times, stretches, ease))
    short = ease * min(OF_PERIOD * period, OF_STROKE * stroke)
    cap = min(cap, float(ways[ways >= short].min(initial=longest)))
    first = int(np.ceil(longest / cap * (1 - 1e-9)))
    if first * times.sum() / longest > MOST_REACHES:
        raise GridError(_too_fine(first, longest, stroke))
    last = int(first * LOOK_FINER)
    counts = np.arange(first, last + 1)
    if counts.size > MOST_LOOKED_AT:
        counts = np.unique(np.linspace(first, last, MOST_LOOKED_AT).astype(int))
    steps: Array = longest / counts
    # Some at a time: steps times pipes would be much memory.
    size = max(1, ROOM // times.size)
    left = [_left(times[order], starts, steps[k : k + size]) for k in range(0, steps.size, size)]
    return float(steps[np.argmin(np.concatenate(left))])


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


def _left(times: Array, starts: Ints, steps: Array) -> Array:
    """By how much fronts are spread in passing every stretch once, and what is lumped, at each step [s].

    times (pipes,) [s], stretch by stretch; starts (stretches,): where they begin; steps (n,) [s].
    """
    dt = steps[:, None]
    kept = np.where(times < dt * (1 - WHOLE), 0.0, times)
    _, share = _parted(np.add.reduceat(kept, starts, axis=1) / dt)
    spread = dt * np.sqrt(share * (1.0 - share))
    # A lumped element counts by its whole travel time: rather a reach than a lump.
    left: Array = spread.sum(axis=1) + (times - kept).sum(axis=1)
    return left


def _too_fine(reaches: int, longest: float, stroke: float) -> str:
    quickest = f", shortest stroke {stroke:.3g} s" if np.isfinite(stroke) else ""
    return (
        f"this line-up would need {reaches} reaches in its longest line (travel time {longest:.3g} s"
        f"{quickest}); at most {MOST_REACHES} in all are possible. "
        'Write a stroke of no time as law = "step", or check the longest length.'
    )

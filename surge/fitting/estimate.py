"""Least squares from several first guesses, and how sure the figures are that come of it.

Decisions
---------
* Of ``GUESSES`` first guesses, the case's own figures and others about them, those ``SEARCHED`` that fit best
  are searched from. The draws are the same in every run. Answers that fit as well as the best one and differ
  from it by more than its interval are told: then the record has two readings.
* A search first looks at the readings until shortly after the last movement (``EARLY`` of what follows), and
  then at all. Each wave that comes back later is off by more of a period, until a wrong wave speed fits as
  well as any near it, and friction is made up to damp what does not fit.
* What a figure does is seen by moving it about as much as it is uncertain. With more, the corners of waves
  that come back many times are smoothed away, and the figures lie beside those that fit best.
* Readings that follow one another are seldom independent: filters, slow gauges, what the model leaves out.
  Intervals are widened by the root of ``1 + 2 sum(r)``, r the correlations of what is left over with itself,
  one reading later, two, and so on, up to the first that is not positive. For noise without memory that is 1.
* Intervals are 95 % ones, by Student's t over as many readings as are independent. To each end is added what
  half the time step moves the figure by, twice: a march is off by about as much.
* Intervals hold where the model holds. What it cannot explain is told (:mod:`surge.fitting.doubts`), and then
  they are too narrow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surge.arrays import Array
from surge.effort import foresee, within
from surge.errors import RequestError
from surge.fitting.problem import FAILED, Problem
from surge.records.trace_file import LEAST_READINGS
from surge.workers import Progress, processors, workers

GUESSES, SEARCHED = 12, 3
EARLY = 0.1  # of the time from the last movement to the end of a usual run
ROUGH_TRIALS, ROUGH_TOLERANCE = 8, 1e-3  # of the search in the early readings
CONFIDENCE = 0.95
MOST_TRIALS = 30  # steps of one search
# Trials that a search, and all that comes after them, usually takes: only to foretell the work; our own
# estimate, from the demo record.
USUAL_TRIALS, SURE_TRIALS = 12, 7
TOLERANCE = 1e-6  # of the sum of squares: a hundredth of what noise moves
AT_REST = 1e-10  # of what is sought, the clock among it, which may be any number: never the reason to stop
OF_SPREAD, FINEST, COARSEST = 2.0, 2e-4, 0.02  # times the deviation of a figure, and bounds of that
COARSE = 800  # clocks that are looked at over a whole record
THINNED = 1500  # readings of a place that are looked at for that
SEED = 20260114  # of the guesses: any, but the same


@dataclass(frozen=True, kw_only=True, eq=False)
class Estimate:
    """What least squares found.

    Attributes
    ----------
    problem : Problem
    sought : ndarray, shape (size,)
    left : ndarray, shape (readings,)
        [times the noise]
    slopes : ndarray, shape (readings, size)
    scale : float
        Standard deviation of ``left`` [-].
    memory : float
        How many readings count as one [-].
    spread : ndarray, shape (size, size)
        Covariance of what is sought.
    numeric : ndarray, shape (size,)
        By how much the time step may have moved each.
    starts, agreeing : int
        Searches, and how many of them came to this answer.
    other : tuple of float
        Figures of another answer that fits as well; empty where there is none.
    """

    problem: Problem
    sought: Array
    left: Array
    slopes: Array
    scale: float
    memory: float
    spread: Array
    numeric: Array
    starts: int
    agreeing: int
    other: tuple[float, ...] = ()

    @property
    def half(self) -> Array:
        """Half of each 95 % interval, as it is sought."""
        from scipy.stats import t

        free = max(self.left.size / self.memory - self.sought.size, 1.0)
        factor = float(t.ppf(0.5 + CONFIDENCE / 2, free))
        return factor * np.sqrt(np.diag(self.spread)) + self.numeric

    @property
    def alike(self) -> Array:
        """Correlation of every two of what is sought."""
        size = np.sqrt(np.diag(self.spread))
        found: Array = self.spread / np.outer(size, size)
        return found


# The clock


def aligned(problem: Problem, sought: Array, clocks: Array) -> tuple[float, float]:
    """Return the clock at which a record fits a trial best, levels apart, and the squares left over."""
    made = problem.pressures(sought)
    if made is None:
        return float(clocks[0]), np.inf
    thin = [slice(None, None, max(1, p.time.size // THINNED)) for p in problem.places]
    best = (float(clocks[0]), np.inf)
    for clock in clocks.tolist():
        total = 0.0
        every = zip(problem.places, problem.noise, thin, strict=True)
        for k, (place, noise, part) in enumerate(every):
            off = made.at(k, place.time[part] - clock) - place.pressure[part]
            total += float(np.sum((off - off.mean()) ** 2)) / noise**2
        if total < best[1]:
            best = (clock, total)
    return best


def first_clock(problem: Problem, sought: Array) -> float:
    """Return where in a whole record the scenario begins, by its clock [s]."""
    begin = min(float(p.time[0]) for p in problem.places) - problem.span.first
    end = max(float(p.time[-1]) for p in problem.places) - problem.span.first
    clocks = np.linspace(begin, end, COARSE)
    best, _ = aligned(problem, sought, clocks)
    return _finer(problem, sought, best, float(clocks[1] - clocks[0]))[0]


def _finer(problem: Problem, sought: Array, clock: float, step: float) -> tuple[float, float]:
    found = (clock, np.inf)
    least = min(p.step for p in problem.places) / 4
    while step > least:
        found = aligned(problem, sought, found[0] + step * np.linspace(-1.0, 1.0, 21))
        step /= 8.0
    return found


# The search


def estimate(problem: Problem, *, progress: Progress | None = None) -> Estimate:
    """Find the figures with which a case fits a record best.

    Parameters
    ----------
    problem : Problem
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    RequestError
        No trial at all could be marched.
    """
    tell = progress or (lambda _: None)
    guesses, early = _guesses(problem), _early(problem)
    trial = 1 + 2 * len(problem.figures)  # marches: where it is, and about it
    marches = [1] * len(guesses) + [USUAL_TRIALS * trial] * SEARCHED + [SURE_TRIALS * trial]
    effort = problem.effort()
    parts = foresee(marches, lambda count: count * effort)
    with workers() as pool:

        def guessed(k: int) -> tuple[float, Array]:
            tell(f"first guess {k + 1} of {len(guesses)}")
            with within(parts[k]):
                return _settled(early, guesses[k])

        settled = list(pool.map(guessed, range(len(guesses))))
        chosen = [settled[0], *sorted(settled[1:], key=lambda pair: pair[0])[: SEARCHED - 1]]
        chosen = [pair for pair in chosen if np.isfinite(pair[0])]

        def searched(k: int) -> tuple[float, Array]:
            tell(f"search {k + 1} of {len(chosen)}")
            with within(parts[len(guesses) + k]):
                return _searched(problem, _searched(early, chosen[k][1], rough=True)[1])

        found = list(pool.map(searched, range(len(chosen))))
    found.sort(key=lambda pair: pair[0])
    if not found or not np.isfinite(found[0][0]):
        raise RequestError(
            "no march of the case could be made with figures near its own: run `surge check` on it first"
        )
    tell("how sure")
    with within(parts[-1]):
        weighed, best = _reweighed(problem, found[0][1])
        steps = _steps(weighed, best)
        _, best = _searched(weighed, best, steps=steps)
        return _with_others(_sure(weighed, best, steps, starts=len(found)), [x for _, x in found])


def _steps(problem: Problem, sought: Array) -> list[float]:
    """By how much to move each figure to see what it does: about as much as it is uncertain."""
    inverse = _pseudo_inverse(problem.slopes(sought, threads=processors()))
    size = np.sqrt(np.diag(inverse @ inverse.T))[: len(problem.figures)]
    least, most = FINEST, COARSEST
    return [float(np.clip(OF_SPREAD * s, least, most)) for s in size]


def _early(problem: Problem) -> Problem:
    """The readings until shortly after the last movement; all of them where those are too few."""
    span = problem.span
    part = problem.part(-np.inf, span.last + EARLY * (span.usual - span.last))
    return part if min(place.time.size for place in part.places) >= LEAST_READINGS else problem


def _guesses(problem: Problem) -> list[Array]:
    """The case's own figures, and others about them: in each of their ranges evenly (Latin hypercube)."""
    low, high = problem.bounds()
    own = np.array([f.sought(f.first) for f in problem.figures])
    spread = np.array([f.spread for f in problem.figures])
    draw = np.random.default_rng(SEED)
    rows = draw.permuted(np.tile(np.arange(GUESSES - 1), (len(own), 1)), axis=1).T
    drawn = (rows + draw.random(rows.shape)) / (GUESSES - 1)
    clock = [] if problem.clock is not None else [0.5 * sum(problem.clocks)]
    zeros = [0.0] * (len(problem.places) if problem.zeros else 0)
    every = [own, *(own + (2 * drawn - 1) * spread)]
    return [np.clip(np.array([*figures, *clock, *zeros]), low, high) for figures in every]


def _settled(problem: Problem, guess: Array) -> tuple[float, Array]:
    """A guess with its clock and levels set as they fit best, and the squares that it leaves over."""
    guess = guess.copy()
    made = problem.pressures(guess)
    if made is None:
        return np.inf, guess
    if problem.clock is None:
        at = len(problem.figures)
        middle, wide = 0.5 * sum(problem.clocks), 0.5 * (problem.clocks[1] - problem.clocks[0])
        clock, _ = _finer(problem, guess, middle, wide)
        guess[at] = min(max(clock, problem.clocks[0]), problem.clocks[1])
    if problem.zeros:
        off = [p.pressure - m for p, m in zip(problem.places, problem.modelled(guess, made), strict=True)]
        guess[-len(problem.places) :] += [float(o.mean()) for o in off]
    return float(np.sum(problem.left(guess) ** 2)), guess


def _searched(
    problem: Problem, guess: Array, *, rough: bool = False, steps: Sequence[float] | None = None
) -> tuple[float, Array]:
    from scipy.optimize import least_squares

    if problem.pressures(guess) is None:
        return np.inf, guess
    low, high = problem.bounds()
    room = 1e-9 * np.where(np.isfinite(high - low), high - low, 1.0)
    found = least_squares(
        problem.left,
        np.clip(guess, low + room, high - room),
        jac=lambda sought: problem.slopes(sought, steps),
        bounds=(low, high),
        x_scale="jac",
        ftol=ROUGH_TOLERANCE if rough else TOLERANCE,
        xtol=AT_REST,
        gtol=None,
        max_nfev=ROUGH_TRIALS if rough else MOST_TRIALS,
    )
    return float(2 * found.cost), np.asarray(found.x)


def _reweighed(problem: Problem, sought: Array) -> tuple[Problem, Array]:
    """The noise of each place as what is left over there has it, where there are several; searched again."""
    if len(problem.places) < 2:
        return problem, sought
    left = problem.left(sought)
    ends = np.cumsum([0, *(p.time.size for p in problem.places)])
    size = [float(np.sqrt(np.mean(left[a:b] ** 2))) for a, b in zip(ends, ends[1:], strict=False)]
    noise = tuple(n * max(s, 0.1) for n, s in zip(problem.noise, size, strict=True))
    weighed = replace(problem, noise=noise)
    return weighed, _searched(weighed, sought)[1]


# How sure


def _sure(problem: Problem, sought: Array, steps: Sequence[float], *, starts: int) -> Estimate:
    left = problem.left(sought)
    slopes = problem.slopes(sought, steps, threads=processors())
    free = max(left.size - sought.size, 1)
    scale = float(np.sqrt(np.sum(left**2) / free))
    memory = memory_of(problem, left)
    inverse = _pseudo_inverse(slopes)
    return Estimate(
        problem=problem,
        sought=sought,
        left=left,
        slopes=slopes,
        scale=scale,
        memory=memory,
        spread=scale**2 * memory * (inverse @ inverse.T),
        numeric=_numeric(problem, sought, inverse),
        starts=starts,
        agreeing=1,
    )


def _pseudo_inverse(slopes: Array) -> Array:
    """Inverse of the slopes; directions that leave nothing over stay, and are told as endless."""
    size = np.maximum(np.linalg.norm(slopes, axis=0), 1e-9)
    u, s, vt = np.linalg.svd(slopes / size, full_matrices=False)
    inverse: Array = (vt.T / np.maximum(s, 1e-9)) @ u.T / size[:, None]
    return inverse


def _numeric(problem: Problem, sought: Array, inverse: Array) -> Array:
    """By how much the time step may have moved what is sought: twice what half of it does."""
    finer = problem.pressures(sought, dt=problem.span.dt / 2)
    usual = problem.pressures(sought)
    if finer is None or usual is None:
        return np.zeros(sought.size)
    pairs = zip(problem.modelled(sought, finer), problem.modelled(sought, usual), problem.noise, strict=True)
    moved = np.concatenate([(f - u) / noise for f, u, noise in pairs])
    found: Array = 2.0 * np.abs(inverse @ moved)
    return found


def memory_of(problem: Problem, left: Array) -> float:
    """Return how many readings that follow one another count as one [-]."""
    ends = np.cumsum([0, *(p.time.size for p in problem.places)])
    parts = [left[a:b] for a, b in zip(ends, ends[1:], strict=False)]
    return max(memory_in(part) for part in parts)


def memory_in(series: Array) -> float:
    """Return ``1 + 2 sum(r)`` of a series, r its correlations up to the first that is not positive [-]."""
    centred = series - series.mean()
    size = float(np.sum(centred**2))
    if size <= 0.0 or series.size < 8:
        return 1.0
    length = 1 << (2 * series.size - 1).bit_length()
    power = np.abs(np.fft.rfft(centred, length)) ** 2
    r = np.fft.irfft(power, length)[1 : series.size // 3] / size
    ends = np.flatnonzero(r <= 0.0)
    return 1.0 + 2.0 * float(np.sum(r[: ends[0]] if ends.size else r))


def _with_others(best: Estimate, answers: Sequence[Array]) -> Estimate:
    """What the other searches came to: the same, another answer as good, or one that fits less well."""
    problem, count = best.problem, len(best.problem.figures)
    allowed = best.scale**2 * (best.left.size + 4.0 * best.memory * best.sought.size)
    half = best.half[:count]
    agreeing = 0
    other: tuple[float, ...] = ()
    for answer in answers:
        near = np.all(np.abs(answer[:count] - best.sought[:count]) <= np.maximum(half, 1e-3))
        agreeing += bool(near)
        left = problem.left(answer)
        as_good = not np.all(left == FAILED) and float(np.sum(left**2)) <= allowed
        if not near and as_good and not other:
            other = problem.values(answer)
    return replace(best, agreeing=agreeing, other=other)

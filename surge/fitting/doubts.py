"""What a record cannot tell, and what of it the figures cannot explain.

Decisions
---------
* Two figures are *not told apart* where their correlation is ``SAME`` or more, or ``ALIKE`` or more with an
  interval beyond ``WIDE`` of a figure: what one takes, the other gives.
* A figure is *not told* where its interval is wider than ``UNTOLD`` either way, or where it lies at an end of
  what is sought.
* The noise of a gauge is what it shows before anything moves, where there are ``LEAST_QUIET`` readings of
  that; else what its readings change by from one to the next.
* What is left over has a *structure* where its signs keep to themselves (runs test, beyond ``RUNS`` standard
  deviations, readings thinned by the memory of the noise). A *reading* is far off by more than ``FAR`` times
  the noise. Either is a doubt where it comes to more than ``MUCH``, or ``MUCH_AT_ONCE``, of the swing of the
  record at that place, and else only told: no model fits to the last hundredth.
* A clock that runs fast or slow is one more unknown, looked at after the others: it is a doubt beyond
  ``SURE`` times its own uncertainty and ``LEAST_DRIFT``.
* These bounds are our own choice; ``tests/benchmarks/fits.py`` counts how often they raise a doubt in vain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.fitting.estimate import Estimate, memory_in
from surge.fitting.figures import Figure
from surge.fitting.march import Pressures
from surge.phrases import Phrase, capital
from surge.records.trace_file import PlaceTrace
from surge.units import ATMOSPHERE, quoted

SAME, ALIKE, WIDE = 0.999, 0.95, 0.2
UNTOLD = 0.7  # of a logarithm: twice the figure, or half of it; of an instant, times its movement
AT_END = 1e-3  # of a logarithm, or [s]
LEAST_QUIET = 40
RUNS, FAR = 4.0, 6.0
MUCH, MUCH_AT_ONCE = 0.01, 0.05
SURE, LEAST_DRIFT = 4.0, 2e-4
NEAR_ATMOSPHERE = 0.12  # of it
MOST_TOLD = 3  # readings told one by one
KINDS = ("apart", "untold", "end", "other", "structure", "reading", "drift", "level", "gap")


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Why the figures are not to be relied on.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    phrase : Phrase
        In words, with a remedy.
    names : tuple of str
        Figures or places that it is about.
    """

    kind: str
    phrase: Phrase
    names: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LeftOver:
    """What is left over at one place.

    Attributes
    ----------
    place : str
    noise : float
        Of the gauge [Pa].
    quiet : bool
        The noise was seen before anything moved.
    rms : float
        Of what is left over while things move [Pa].
    swing : float
        Between the highest and the lowest that the case has there [Pa].
    runs : float
        How many standard deviations fewer runs of one sign than noise has [-].
    worst, worst_time : float
        The greatest left over, reading less case [Pa], and when [s of the scenario].
    worst_row : int
    far : tuple of (row, time, pressure)
        Readings that are far off, the farthest first: [s of the scenario], [Pa] by which they are off.
    """

    place: str
    noise: float
    quiet: bool
    rms: float
    swing: float
    runs: float
    worst: float
    worst_time: float
    worst_row: int
    far: tuple[tuple[int, float, float], ...]

    @property
    def unexplained(self) -> float:
        """What is more than noise [Pa]."""
        return float(np.sqrt(max(self.rms**2 - self.noise**2, 0.0)))

    @property
    def structured(self) -> bool:
        """Whether it is no noise."""
        return self.runs > RUNS or bool(self.far)


def whose(figure: Figure) -> str:
    """Return a figure in words: 'the wave speed of "shore line"'."""
    if figure.factor:
        return f"the {figure.kind} of all pipes"
    words = {"stroke": "the stroke of", "start": "the start of", "run-down": "the run-down of"}
    return f"{words.get(figure.kind, f'the {figure.kind} of')} {quoted(figure.name)}"


def left_over(found: Estimate, made: Pressures) -> tuple[LeftOver, ...]:
    """Return what is left over at every place."""
    problem = found.problem
    clock = problem.clock_of(found.sought)
    modelled = problem.modelled(found.sought, made)
    return tuple(
        _at_place(place, m, place.time - clock, problem.span.first)
        for place, m in zip(problem.places, modelled, strict=True)
    )


def _at_place(place: PlaceTrace, modelled: Array, time: Array, first: float) -> LeftOver:
    from surge.fitting.problem import noise_of

    off = place.pressure - modelled
    quiet, moving = time < first, time >= first
    enough = int(np.sum(quiet)) >= LEAST_QUIET
    noise = float(np.std(off[quiet])) if enough else noise_of(place)
    noise = max(noise, 1.0)
    thin = max(1, round(memory_in(off[quiet]))) if enough else 1
    part = off[moving] if np.any(moving) else off
    worst = int(np.argmax(np.abs(off)))
    order = np.argsort(-np.abs(off))
    far = [int(k) for k in order[: 10 * MOST_TOLD] if abs(off[k]) > FAR * noise]
    return LeftOver(
        place=place.place,
        noise=noise,
        quiet=enough,
        rms=float(np.sqrt(np.mean(part**2))),
        swing=float(np.ptp(modelled)),
        runs=fewer_runs(part[::thin]),
        worst=float(off[worst]),
        worst_time=float(time[worst]),
        worst_row=int(place.rows[worst]),
        far=tuple((int(place.rows[k]), float(time[k]), float(off[k])) for k in far),
    )


def fewer_runs(series: Array) -> float:
    """Return how many standard deviations fewer runs of one sign a series has than chance [-].

    Wald and Wolfowitz's test; from memory.
    """
    signs = series[series != 0.0] > 0.0
    up, down = float(np.sum(signs)), float(np.sum(~signs))
    n = up + down
    if n < 10:
        return 0.0
    if up == 0.0 or down == 0.0:
        return float(np.sqrt(n))
    runs = 1.0 + float(np.sum(signs[1:] != signs[:-1]))
    mean = 2.0 * up * down / n + 1.0
    variance = (mean - 1.0) * (mean - 2.0) / (n - 1.0)
    return (mean - runs) / float(np.sqrt(max(variance, 1e-12)))


# Doubts


def doubts_of(found: Estimate, left: tuple[LeftOver, ...]) -> tuple[Doubt, ...]:
    """Return all that speaks against relying on the figures."""
    apart = list(_not_apart(found))
    told = {name for doubt in apart for name in doubt.names}
    return (
        *apart,
        *_untold(found, told),
        *_clock_at_end(found),
        *_another_answer(found),
        *_structures(left),
        *_drifting(found),
        *_an_atmosphere_off(found),
    )


def _not_apart(found: Estimate) -> Iterator[Doubt]:
    figures = found.problem.figures
    alike, half = found.alike, found.half
    for i, one in enumerate(figures):
        for j in range(i + 1, len(figures)):
            if _same(alike[i, j], half[i] / _size(one), half[j] / _size(figures[j])):
                yield Doubt(
                    kind="apart",
                    phrase=(
                        f"The record cannot tell {whose(one)} from {whose(figures[j])}: other pairs fit as "
                        "well. Fit one of them and state the other, or add a record of another place.",
                    ),
                    names=(whose(one), whose(figures[j])),
                )
    if found.problem.clock is None:
        k = len(figures)
        for i, one in enumerate(figures):
            if _same(alike[i, k], half[i] / _size(one), 0.0):
                yield Doubt(
                    kind="apart",
                    phrase=(
                        f"The record cannot tell {whose(one)} from what its clock shows when the scenario "
                        "begins. Say it by --clock, if the recorder and the order went by one clock.",
                    ),
                    names=(whose(one),),
                )


def _size(figure: Figure) -> float:
    return 1.0 if figure.logarithmic else figure.scale


def _same(alike: float, *wide: float) -> bool:
    return abs(alike) >= SAME or (abs(alike) >= ALIKE and max(wide) > WIDE)


def _untold(found: Estimate, told: set[str]) -> Iterator[Doubt]:
    low, high = found.problem.bounds()
    for k, figure in enumerate(found.problem.figures):
        name, at = whose(figure), found.sought[k]
        if min(at - low[k], high[k] - at) <= AT_END:
            end = "most" if high[k] - at <= AT_END else "least"
            yield Doubt(
                kind="end",
                phrase=(
                    f"{capital(name)} comes to the {end} that is sought, so it is not what the "
                    "record asks for. Look at what else may differ from the case.",
                ),
                names=(name,),
            )
        elif found.half[k] / _size(figure) > UNTOLD and name not in told:
            yield Doubt(
                kind="untold",
                phrase=(
                    f"The record tells next to nothing of {name}: it changes too little at the places that "
                    "were recorded. State it in the case instead.",
                ),
                names=(name,),
            )


def _clock_at_end(found: Estimate) -> Iterator[Doubt]:
    problem = found.problem
    low, high = problem.clocks
    if (
        problem.clock is None
        and min(problem.clock_of(found.sought) - low, high - problem.clock_of(found.sought)) <= AT_END
    ):
        yield Doubt(
            kind="end",
            phrase=(
                "Where the record and the scenario begin to move cannot be brought together. Say by --from "
                "and --until which readings are about it, or by --clock when the scenario begins.",
            ),
            names=(),
        )


def _another_answer(found: Estimate) -> Iterator[Doubt]:
    if found.other:
        names = tuple(whose(f) for f in found.problem.figures)
        yield Doubt(
            kind="other",
            phrase=(
                "Another answer fits as well, with other figures. State one of the figures, or add a record "
                "of another place.",
            ),
            names=names,
        )


def _structures(left: tuple[LeftOver, ...]) -> Iterator[Doubt]:
    for one in left:
        if one.runs > RUNS and one.unexplained > MUCH * one.swing:
            yield Doubt(
                kind="structure",
                phrase=(
                    f"At {quoted(one.place)} readings and case differ by ",
                    ("difference", one.unexplained),
                    f" (root mean square) beyond the noise of the gauge, in a pattern, most at "
                    f"{one.worst_time:.2f} s (row {one.worst_row}). These figures alone do not explain the "
                    "record, and the intervals are too narrow. Look at the picture for when they part, and "
                    "for what else of the case may differ.",
                ),
                names=(one.place,),
            )
        elif one.far and abs(one.far[0][2]) > MUCH_AT_ONCE * one.swing:
            yield Doubt(
                kind="reading",
                phrase=(
                    f"At {quoted(one.place)} {_rows(one)} cannot be explained: off by up to ",
                    ("difference", abs(one.far[0][2])),
                    ". Look whether the recorder was disturbed, and take such rows out only if it was.",
                ),
                names=(one.place,),
            )


def _rows(one: LeftOver) -> str:
    rows = sorted(row for row, _, _ in one.far[:MOST_TOLD])
    listed = ", ".join(map(str, rows))
    if len(one.far) > MOST_TOLD:
        return f"{len(one.far)} readings or more (rows {listed} ...)"
    return f"the {'reading' if len(rows) == 1 else 'readings'} in row{'s' * (len(rows) > 1)} {listed}"


def _drifting(found: Estimate) -> Iterator[Doubt]:
    drift, error = drift_of(found)
    if abs(drift) > max(SURE * error, LEAST_DRIFT):
        way = "fast" if drift > 0.0 else "slow"
        yield Doubt(
            kind="drift",
            phrase=(
                f"The clock of the record seems to run {way}, by {abs(drift) * 100:.2f} %: the waves fit "
                "better so. Compare it with another clock over some minutes, and correct the times.",
            ),
            names=(),
        )


def drift_of(found: Estimate) -> tuple[float, float]:
    """Return by what share the record's clock seems to run fast, and its standard deviation [-]."""
    problem = found.problem
    made = problem.pressures(found.sought)
    if made is None:
        return 0.0, np.inf
    clock = problem.clock_of(found.sought)
    middle = 0.5 * (problem.span.first + problem.span.last)
    every = zip(problem.by_clock(found.sought, made), problem.places, strict=True)
    column = np.concatenate([by * (p.time - clock - middle) for by, p in every])
    size = np.maximum(np.linalg.norm(found.slopes, axis=0), 1e-9)
    known = np.linalg.qr(found.slopes / size)[0]
    own = column - known @ (known.T @ column)
    length = float(np.sum(own**2))
    if length < 1e-8 * float(np.sum(column**2)) or length == 0.0:
        return 0.0, np.inf
    return -float(own @ found.left) / length, found.scale * float(np.sqrt(found.memory / length))


def _an_atmosphere_off(found: Estimate) -> Iterator[Doubt]:
    """A record that stands an atmosphere above or below the case as it was, before anything moves."""
    problem = found.problem
    if problem.zeros:
        return
    own = np.array([f.sought(f.first) for f in problem.figures])
    made = problem.pressures(own)
    clock = problem.clock_of(found.sought)
    off = []
    for k, place in enumerate(problem.places):
        quiet = place.time - clock < problem.span.first
        if made is None or not np.any(quiet):
            return
        off.append(float(np.mean(place.pressure[quiet]) - made.pressure[k, 0]))
    level = float(np.mean(off)) / ATMOSPHERE
    if all(abs(abs(o) / ATMOSPHERE - 1.0) < NEAR_ATMOSPHERE for o in off):
        said, other = ("gauge", "(a)") if level > 0 else ("absolute", "(g)")
        yield Doubt(
            kind="level",
            phrase=(
                "Before anything moves the record stands ",
                ("difference", abs(level) * ATMOSPHERE),
                f" {'above' if level > 0 else 'below'} the case: one atmosphere. Its title says {said}; "
                f"look whether it should say {other}.",
            ),
            names=tuple(p.place for p in problem.places),
        )

"""A record held against marches of a case: what is sought, what is left over, and how that changes.

What is sought stands in one array: the figures, each as it is sought
(:class:`surge.fitting.figures.Figure`); then, unless it is known, what the record's clock shows when the
scenario begins [s]; then, where the gauges may be off, by how much each is [Pa]. What is left over is model
less reading, in times of the noise.

Decisions
---------
* The clock of a record is no measured figure: it is always fitted with the others, unless it is given.
* A trial that is no case, or cannot be marched, leaves ``FAILED`` over everywhere: the search turns back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from surge.arrays import Array
from surge.errors import CaseError, GridError, SolveError
from surge.fitting.figures import Figure, FittedText
from surge.fitting.march import Pressures, Span, effort_of, march
from surge.records.trace_file import PlaceTrace
from surge.workers import workers

FAILED = 1e3  # times the noise that a trial without pressures leaves over
OF_LOG, OF_START = 0.001, 0.01  # [-], [s] by which a figure is moved to see what it does, at first
KEPT = 12  # marches that are kept: a search asks for the last ones again
LEAST_NOISE = 20.0  # [Pa] no gauge of a ship or terminal is better


@dataclass(frozen=True, kw_only=True, eq=False)
class Problem:
    """A record and the case that it is held against.

    Attributes
    ----------
    text : FittedText
    scenario : str
    span : Span
    places : tuple of PlaceTrace
        Readings that are used.
    noise : tuple of float
        Of each place [Pa].
    clock : float or None
        What the record's clock shows when the scenario begins [s]; None: to be fitted.
    clocks : (float, float)
        Between which it is sought [s].
    zeros : bool
        Each gauge may be off by a constant.
    until : float
        How long is marched [s].
    """

    text: FittedText
    scenario: str
    span: Span
    places: tuple[PlaceTrace, ...]
    noise: tuple[float, ...]
    clock: float | None
    clocks: tuple[float, float]
    zeros: bool
    until: float
    _last: dict[bytes, Pressures] = field(default_factory=dict, repr=False)

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The figures that are sought."""
        return self.text.figures

    @property
    def readings(self) -> int:
        """How many there are."""
        return sum(place.time.size for place in self.places)

    @property
    def size(self) -> int:
        """How much is sought in all."""
        return len(self.figures) + (self.clock is None) + (len(self.places) if self.zeros else 0)

    def bounds(self) -> tuple[Array, Array]:
        """Between what all of it is sought."""
        ends = [(f.sought(f.low), f.sought(f.high)) for f in self.figures]
        if self.clock is None:
            ends.append(self.clocks)
        if self.zeros:
            ends += [(-np.inf, np.inf)] * len(self.places)
        low, high = np.array(ends, dtype=float).T
        return low, high

    def values(self, sought: Array) -> tuple[float, ...]:
        """Return the figures in SI."""
        return tuple(f.value_of(x) for f, x in zip(self.figures, sought.tolist(), strict=False))

    def clock_of(self, sought: Array) -> float:
        """Return what the record's clock shows when the scenario begins [s]."""
        return float(sought[len(self.figures)]) if self.clock is None else self.clock

    def zeros_of(self, sought: Array) -> Array:
        """Return by how much each gauge reads too much [Pa]."""
        if not self.zeros:
            return np.zeros(len(self.places))
        return sought[-len(self.places) :]

    def pressures(self, sought: Array, *, dt: float | None = None) -> Pressures | None:
        """Return the pressures of a trial, or None where it is no case or cannot be marched."""
        figures = sought[: len(self.figures)]
        key = figures.tobytes() + repr(dt).encode()
        kept = self._last.get(key)
        if kept is not None:
            return kept
        made = self._march(figures, dt or self.span.dt)
        if made is not None:
            if len(self._last) > KEPT:
                self._last.clear()
            self._last[key] = made
        return made

    def part(self, begin: float, end: float) -> Problem:
        """Return the same with the readings from one time of the scenario to another, about [s]."""
        clock = self.clock if self.clock is not None else 0.5 * sum(self.clocks)
        return replace(self, places=tuple(cut(p, begin + clock, end + clock) for p in self.places))

    def _march(self, figures: Array, dt: float) -> Pressures | None:
        try:
            lineup, scenario = self.text.line_up(self.values(figures), self.scenario)
            return march(lineup, scenario, [p.place for p in self.places], dt=dt, until=self.until)
        except (CaseError, GridError, SolveError):
            return None

    def effort(self) -> float:
        """Return the effort of a march with the case's own figures [-]; 0 where it cannot be computed."""
        try:
            lineup, scenario = self.text.line_up([f.first for f in self.figures], self.scenario)
            return effort_of(lineup, scenario, dt=self.span.dt, until=self.until)
        except (CaseError, GridError, SolveError):
            return 0.0  # who marches it says why

    def modelled(self, sought: Array, made: Pressures) -> list[Array]:
        """Return what each gauge would have shown at its readings [Pa gauge]."""
        clock, zeros = self.clock_of(sought), self.zeros_of(sought)
        return [made.at(k, p.time - clock) + zeros[k] for k, p in enumerate(self.places)]

    def left(self, sought: Array) -> Array:
        """Return what is left over of every reading [times its noise]."""
        made = self.pressures(sought)
        if made is None:
            return np.full(self.readings, FAILED)
        return self._weighed(self.modelled(sought, made))

    def _weighed(self, modelled: Sequence[Array]) -> Array:
        every = zip(modelled, self.places, self.noise, strict=True)
        return np.concatenate([(m - p.pressure) / noise for m, p, noise in every])

    def slopes(self, sought: Array, steps: Sequence[float] | None = None, *, threads: int = 1) -> Array:
        """Return how what is left over changes with what is sought, shape (readings, size).

        Parameters
        ----------
        sought : ndarray
        steps : sequence of float, optional
            By how much each figure is moved, as it is sought.
        threads : int
        """
        low, high = self.bounds()
        count = len(self.figures)
        usual = [OF_LOG if f.logarithmic else OF_START for f in self.figures]
        trials = []
        for j, step in enumerate(steps or usual):
            for sign in (1.0, -1.0):
                moved = sought.copy()
                moved[j] = min(max(moved[j] + sign * step, low[j]), high[j])
                trials.append(moved)
        if threads > 1:
            with workers(threads) as pool:
                left = list(pool.map(self.left, trials))
        else:
            left = [self.left(trial) for trial in trials]
        columns = []
        for j in range(count):
            up, down = left[2 * j : 2 * j + 2]
            moved = trials[2 * j][j] - trials[2 * j + 1][j]
            failed = bool(np.all(up == FAILED) or np.all(down == FAILED))
            columns.append(np.zeros(up.size) if failed or moved <= 0.0 else (up - down) / moved)
        return np.column_stack([*columns, *self._of_the_gauges(sought)])

    def _of_the_gauges(self, sought: Array) -> list[Array]:
        """The same for the clock and for what gauges are off: no march is needed."""
        columns: list[Array] = []
        made = self.pressures(sought)
        ends = np.cumsum([0, *(p.time.size for p in self.places)])
        if self.clock is None:
            columns.append(np.concatenate(self.by_clock(sought, made)) if made else np.zeros(self.readings))
        if self.zeros:
            for k, noise in enumerate(self.noise):
                one = np.zeros(self.readings)
                one[ends[k] : ends[k + 1]] = 1.0 / noise
                columns.append(one)
        return columns

    def by_clock(self, sought: Array, made: Pressures) -> list[Array]:
        """How what is left over of each place changes with the clock [times its noise, 1/s]."""
        clock, h = self.clock_of(sought), self.span.dt
        found = []
        for k, (place, noise) in enumerate(zip(self.places, self.noise, strict=True)):
            at = place.time - clock
            found.append((made.at(k, at - h) - made.at(k, at + h)) / (2 * h * noise))
        return found


def cut(place: PlaceTrace, begin: float, end: float) -> PlaceTrace:
    """Return the readings of a place from one time to another, by the record's clock [s]."""
    kept = (place.time >= begin) & (place.time <= end)
    rows = place.rows[kept]
    inside = tuple(g for g in place.gaps if rows.size and rows[0] <= g[0] and g[1] <= rows[-1])
    return replace(place, rows=rows, time=place.time[kept], pressure=place.pressure[kept], gaps=inside)


def noise_of(place: PlaceTrace) -> float:
    """Return the noise of a gauge from how its readings change from one to the next [Pa].

    A wave is smooth over three readings nearly everywhere, so that half of their second differences are
    noise; a gauge of few digits has that of its last one at least.
    """
    second = np.diff(place.pressure, 2)
    white = float(np.median(np.abs(second))) / 0.6745 / np.sqrt(6.0)
    jumps = np.abs(np.diff(place.pressure))
    digit = float(jumps[jumps > 0.0].min(initial=np.inf))
    coarse = digit / np.sqrt(12.0) if np.isfinite(digit) and np.mean(jumps == 0.0) > 0.2 else 0.0
    return float(max(white, coarse, LEAST_NOISE))

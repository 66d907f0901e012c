"""The numerical error of every extreme of a run, from marches that differ in step and rounding.

Decisions
---------
* Three parts, each seen in marches that differ in nothing else:

  - *step*: ``STEP_SAFETY`` times the larger of |half - step| and ``BEFORE`` times |step - twice the step|.
    Behind a front, and where one is spread at the ends of pipes, the order is one, else two. Steps are
    halved exactly, so that the fractions of a step at the ends of pipes belong together. Where a fraction is
    small, what it spreads goes down by no more than the root of two, and |half - step| is 0.41 of the error.
    At deeper levels the marches of the level before stand for the coarser ones. Two marches alone can agree
    by chance. To it comes what may lie *between* the steps (:func:`surge.transient.march.beyond`): marches at
    halved steps meet a corner of a history at the same instants, and agree on what all of them miss.
  - *lumping*: ``LUMP_SAFETY`` times |lumps in two parts - step|, as long as the finer march has lumps.
  - ``LEAST_SHARE`` of the greatest swing of any place, but no more than ``LEAST_TIMES`` the other parts, and
    ``LEAST_ERROR``. An extreme that no march moves (the pressure before anything happens) has this alone.

* After a sudden stop fronts meet anew at every step, and a pressure that lasts for one step is no less real
  at a finer one. Fractions of a step spread fronts, and the less damped a line is the more they spread before
  they meet: the marches above agree on too little. So two more are made at each step with lengths rounded to
  whole steps, each otherwise; those of the coarser step count too. None of these marches counts less for
  being coarser. An extreme has ``SUDDEN_OWN`` times the furthest that any of them is from it, and no less
  than ``SUDDEN_ANY`` times the furthest from any extreme of the line-up.
* Waves that go to and fro lose height at every end that spreads them, the more the coarser the step. What
  comes later may then be higher at a finer step than what was the highest, while all marches agree on that.
  So places have their extremes in spans of time too (:mod:`surge.transient.spans`), and one that
  ``STEP_SAFETY`` times what it rose from march to march would bring beyond the extreme has that as its error:
  but no more than the error aimed at, or ``BEYOND_MOST`` times the worst one. It asks for a finer step where
  it goes far beyond the other error (:mod:`surge.transient.run`). Elements have it from their ends. Marches
  of a sudden stop are compared with others, see above.
* In a run whose worst error stays above what was aimed at, every extreme has ``UNSETTLED`` of that worst
  error at least.
* What may come after the run is a part of its own and does not ask for a finer step: ``LATE_SAFETY`` times
  what a first march rose beyond the extreme. Where the finer march went on too it has it, and there remains
  ``LATE_SURE`` times the difference of what both rose, less by the step. Where it should have gone on and did
  not, every extreme has at least ``LATE_ANY`` times the furthest that any rose.

Where the factors come from
---------------------------
Measured, not derived: on 92 gradual line-ups with 3802 extremes, against marches at an eighth of the reported
step (or a fourth). They are networks, berths, yards and branches of ``tests/support/lineups`` with short
shore lines, of the seeds 30013 to 30060, 20001 to 20030, 40001 to 40030 and 50001 to 50024, such as could be
marched so finely. Each factor was changed alone, before the step left every stretch that takes a wave some
time a reach; since then 57 of them were marched again, and none is outside. Other seeds were then hunted with
all of them as they stand (``tests/benchmarks/hunt.py``, section 9 of ``notebooks/how-it-works.md``). All
gradual runs settle.

* ``STEP_SAFETY``: outside their error were 12 gradual extremes at 1, 9 at 1.5, 5 at 2 (by 1.25 times the
  error at most), none at 2.5. Of two marches whose fractions belong together 2.41 is the most that is needed.
* What lies between the steps: without it 29 outside, by up to 29 times the error; with half of it 10. They
  are corners, such as two slopes make that meet at a junction.
* ``BEFORE``: 7 instead of 5 outside without it, at a ``STEP_SAFETY`` of 2.
* ``LUMP_SAFETY``: made no difference here. It stays, since lumps are seen in nothing else.
* ``LEAST_SHARE``: 10 instead of 5 outside without it; ``LEAST_TIMES`` only keeps the share from extremes that
  hardly move. ``LEAST_ERROR``: ten times what the watch lets a steady line stray (some 2 Pa,
  :mod:`surge.transient.watch`); at half of it those outside are 1.6 times their error, not 1.25.
* ``SUDDEN_OWN``, ``SUDDEN_ANY``, ``UNSETTLED``: 36 sudden line-ups of those kinds with 1360 extremes, against
  marches at half the step, one with fractions and two rounded each otherwise. None is outside, the furthest
  at 0.73 of its error; one run settles. Without rounded marches at the step before 10 are outside (branches
  50008, by up to 6.9 times their error): there fronts meet late, and all marches with fractions agree on
  less. Against marches with fractions alone 39 of 848 were outside at a ``SUDDEN_OWN`` of 1 without the other
  two, 18 at 2.5, none with all three. Both of these stay: a sudden run may settle, and a gradual one may not.
* What comes at another time: 633 line-ups of ``tests/benchmarks/hunt.py`` (yards 70001 to 70633) without it
  had 27 of 28 668 extremes outside, at 11 of them; with ``STEP_SAFETY`` from one march to the next none of
  these 11. There 1.6 to 2.1 times was needed in most, 3.4 in one where another span was enough. 1000 others
  (71001 to 72000): 9 of 45 002 outside. ``BEYOND_MOST``: 1.2 times the worst error is the
  most that any of the 11 needed where that is above what was aimed at.
* ``LATE_SAFETY``, ``LATE_SURE``, ``LATE_ANY``: branches with the seeds 1 to 1841 and yards 1 to 2139, of both
  those whose first march is quick: 286, with lengths rounded to the step and two first marches. In 11
  anything came later by more than 100 Pa. At an eighth of the step it rose by up to 1.3 times as much as the
  first marches tell, but for three: two gradual ones with 3.3 and 4.5 times as much, and a sudden one where
  it came at places where they saw nothing. In two of the three the reported march goes on, and at half its
  step every extreme lies within its error. In the other (branches 1163) that is too much work: with 2.5 times
  its own rise alone an extreme lay 0.06 % of the rise beyond its error. It rose by two thirds of the furthest
  that first marches had of any extreme there; ``LATE_ANY`` is 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from surge.arrays import Array
from surge.model.lineup import LineUp
from surge.transient.attached_results import LIFT, SPILLED, Figure, attached_figures
from surge.transient.march import Marched
from surge.transient.peaks import Key, Peaks
from surge.transient.spans import SpanExtremes

# Where each has its value from stands above.
STEP_SAFETY = 2.5
BEFORE = 0.5
LUMP_SAFETY = 1.5
LEAST_SHARE = 2e-4  # of the greatest swing
LEAST_TIMES = 3.0  # the other parts
LEAST_ERROR = 20.0  # [Pa]
SUDDEN_OWN = 2.5
SUDDEN_ANY = 0.75
UNSETTLED = 0.5
BEYOND_MOST = 1.5  # times the worst error
FIGURE_SHARE = 1e-5  # of a figure that moves, however well marches agree
FIGURE_UNSETTLED = 2.0  # times, our own choice: figures of such a run have no error of another to lean on
LATE_SAFETY = 2.5
LATE_SURE = 1.5
LATE_ANY = 1.0

_OUT = {"high": 1.0, "low": -1.0}

Rises = Mapping[Key, float]
"""By how much something lies beyond each extreme [Pa]."""


class Summary(Peaks):
    """The extremes of a march that can be asked for more.

    Parameters
    ----------
    lineup : LineUp
    marched : Marched
    """

    def __init__(self, lineup: LineUp, marched: Marched) -> None:
        super().__init__(lineup, marched)
        self.marched = marched
        self.figures = attached_figures(lineup, marched)
        self.rows = {point.name: row for row, point in enumerate(lineup.points)}
        self.spans = marched.spans.extremes([self.index[p] for p in self.rows]) if marched.spans else None

    def probe_shares(self) -> dict[str, tuple[float, ...]]:
        """Return where in each pipe its highest and lowest pressure are, as shares of its length, 0 to 1 [-].

        A share at an end of the pipe is moved to the node beside it: ends are recorded as points anyway.
        """
        shares = {}
        for k, pipe in enumerate(self.lineup.pipes):
            n = self.marched.grid.reaches.count[k]
            edge = 1 / max(n, 2)
            high, low = (self.found["element", pipe.name, way].share for way in ("high", "low"))
            shares[pipe.name] = tuple(min(max(s, edge), 1 - edge) for s in (high, low))
        return shares

    @cached_property
    def greatest_rise(self) -> float:
        """Greatest rise of a place above its steady pressure [Pa]."""
        start = self.marched.heads[0][0]
        return float(np.max(self.marched.point_hi - start, initial=0.0)) * self.rho_g

    @cached_property
    def greatest_swing(self) -> float:
        """Greatest difference of the highest and the lowest pressure of a place [Pa]."""
        return float(np.max(self.marched.point_hi - self.marched.point_lo, initial=0.0)) * self.rho_g

    def tolerance(self, share: float, least: float) -> float:
        """Numerical error allowed [Pa]."""
        return max(share * self.greatest_rise, least)

    def later(self, longer: Summary) -> dict[Key, float]:
        """By how much the extremes of the same march lie further out when it has gone on [Pa]."""
        return {
            key: max(_OUT[key[2]] * (longer.found[key].pressure - one.pressure), 0.0)
            for key, one in self.found.items()
        }

    def between(self, key: Key) -> float:
        """By how much an extreme may lie beyond what the steps have of it [Pa]; in a pipe, as at its ends."""
        what, name, way = key
        at = [self.index[p] for p in (self.ends[name] if what == "element" else (name,))]
        return self.rho_g * float(self.marched.between[at, 0 if way == "high" else 1].max())

    @cached_property
    def ends(self) -> dict[str, tuple[str, str]]:
        """Elements with their two points."""
        return {e.name: (e.start, e.end) for e in self.lineup.elements}

    @cached_property
    def sample(self) -> Sample:
        """What the error needs of it, without the march."""
        return Sample(
            dt=self.marched.grid.reaches.dt,
            pressures={key: found.pressure for key, found in self.found.items()},
            figures=self.figures,
            spans=self.spans,
        )


@dataclass(frozen=True, kw_only=True)
class Sample:
    """Extremes of one march: its step [s], pressures [Pa gauge], and figures of what hangs on points.

    ``spans``: those of places in spans of time, of a march that keeps them.
    """

    dt: float
    pressures: Mapping[Key, float]
    figures: Mapping[Figure, float] = field(default_factory=dict)
    spans: SpanExtremes | None = None

    def apart(self, other: Sample, key: Key) -> float:
        """How far apart two marches are in one extreme [Pa]."""
        return abs(self.pressures[key] - other.pressures[key])

    def figures_apart(self, other: Sample, figure: Figure) -> float:
        """How far apart two marches are in one figure, in its own unit."""
        return abs(self.figures[figure] - other.figures[figure])


@dataclass(frozen=True, kw_only=True)
class ErrorMarches:
    """The marches that tell the error of the one reported.

    Attributes
    ----------
    fine : Summary
        Reported.
    coarser : tuple of Sample
        At twice its step, at twice that, and so on, two at least.
    lumping : Sample or None
        As the first of those, every lump in two parts; None when ``fine`` has no lumps.
    sharp : tuple of Sample
        Where anything moves in no time: marches with lengths of whole steps, that spread no front; two at
        the step of ``fine``, two at that before.
    """

    fine: Summary
    coarser: tuple[Sample, ...]
    lumping: Sample | None
    sharp: tuple[Sample, ...]

    def parts(self, key: Key) -> tuple[float, float]:
        """Step and lumping part of the error of one extreme [Pa]; what is least in the first."""
        fine = self.fine.sample
        first, second = self.coarser[:2]
        step = STEP_SAFETY * max(fine.apart(first, key), BEFORE * first.apart(second, key))
        step += self.fine.between(key)
        lumping = LUMP_SAFETY * first.apart(self.lumping, key) if self.lumping else 0.0
        share = LEAST_SHARE * self.fine.greatest_swing
        return step + min(share, LEAST_TIMES * (step + lumping)) + LEAST_ERROR, lumping

    @cached_property
    def errors(self) -> dict[Key, float]:
        """Error of every extreme [Pa], settled or not."""
        fine = self.fine.sample
        found = {key: sum(self.parts(key)) for key in self.fine.found}
        if self.sharp:
            witnesses = (*self.coarser[:2], *self.sharp)
            furthest = {key: max(one.apart(fine, key) for one in witnesses) for key in found}
            least = SUDDEN_ANY * max(furthest.values())
            found = {key: max(own, SUDDEN_OWN * furthest[key], least) for key, own in found.items()}
        return found

    @cached_property
    def _beyond(self) -> tuple[Array, Array]:
        """By how much places may lie beyond their extremes in any span [m], high and low, shape (points,)."""
        fine, first = self.fine.sample.spans, self.coarser[0].spans
        if self.sharp or fine is None or first is None:
            none = np.zeros(len(self.fine.rows))
            return none, none
        spans = min(fine.high.shape[0], first.high.shape[0])
        made = []
        for way, own, other in ((1.0, fine.high, first.wide_high), (-1.0, fine.low, first.wide_low)):
            here, there = way * own[:spans], way * other[:spans]
            reach = here + STEP_SAFETY * np.maximum(here - there, 0.0)
            made.append(reach.max(axis=0) - here.max(axis=0))
        return made[0], made[1]

    def beyond(self, key: Key) -> float:
        """By how much what comes at another time may lie beyond an extreme, at a finer step [Pa].

        Where it is inside an element, what its ends may reach counts.
        """
        what, name, way = key
        column, out = (0, 1.0) if way == "high" else (1, -1.0)
        fine = self.fine
        at = fine.ends[name] if what == "element" else (name,)
        reach = max(
            out * fine.found["place", point, way].pressure
            + fine.rho_g * float(self._beyond[column][fine.rows[point]])
            for point in at
        )
        return max(reach - out * fine.found[key].pressure, 0.0)

    @cached_property
    def worst(self) -> float:
        """Greatest error of any extreme [Pa]."""
        return max(self.errors.values())

    @cached_property
    def furthest(self) -> float:
        """By how much what comes at another time goes beyond the error of any extreme at most [Pa]."""
        return max(self.beyond(key) - error for key, error in self.errors.items())

    def told_figure(self, figure: Figure, tolerance: float) -> float:
        """Error of a figure of what hangs on a point, in its own unit, told as that of an extreme is."""
        fine = self.fine.sample
        first, second = self.coarser[:2]
        found = STEP_SAFETY * max(
            fine.figures_apart(first, figure), BEFORE * first.figures_apart(second, figure)
        )
        if self.lumping:
            found += LUMP_SAFETY * first.figures_apart(self.lumping, figure)
        for one in (*self.coarser[:2], *self.sharp) if self.sharp else ():
            found = max(found, SUDDEN_OWN * fine.figures_apart(one, figure))
        found *= FIGURE_UNSETTLED if self.worst > tolerance else 1.0
        if found > 0.0:  # one that no march moves is exact
            found += FIGURE_SHARE * abs(fine.figures[figure])
        return found + self._lift_part(figure, tolerance)

    def _lift_part(self, figure: Figure, tolerance: float) -> float:
        """By how much more a relief valve may have lifted between two steps [-]; 0 of every other figure.

        One that stays shut may have lifted by what the error of the pressure goes beyond its set pressure.
        """
        name, what = figure
        fine = self.fine
        valve = next((v for v in fine.lineup.relief_valves if v.name == name and what == LIFT), None)
        if valve is None:
            return 0.0
        key = ("place", valve.point, "high")
        over = fine.between(key)
        if fine.figures[figure] <= 0.0:
            over = max(fine.found[key].pressure + self.told(key, tolerance) - valve.set_pressure, 0.0)
        return over / (valve.full_pressure - valve.set_pressure)

    def told(self, key: Key, tolerance: float) -> float:
        """Error of one extreme in a run whose errors were to stay below ``tolerance`` [Pa]."""
        unsettled = UNSETTLED * self.worst if self.worst > tolerance else 0.0
        beyond = min(self.beyond(key), max(tolerance, BEYOND_MOST * self.worst))
        return max(self.errors[key], beyond, unsettled)


@dataclass(frozen=True, kw_only=True)
class Late:
    """What a first march had beyond the extremes when it had gone on.

    Attributes
    ----------
    dt : float
        Its step [s].
    rise : mapping of Key to float
        [Pa]
    until : float
        When the last of it that counts came [s].
    figures : mapping of Figure to float
        How much more it had of each figure of what hangs on a point, in its own unit.
    """

    dt: float
    rise: Rises
    until: float
    figures: Mapping[Figure, float] = field(default_factory=dict)

    def figure_part(self, grown: Mapping[Figure, float] | None = None) -> dict[Figure, float]:
        """The part of the errors of figures, in their own units; ``grown``: what the finer march had more."""
        extremes = {figure: more for figure, more in self.figures.items() if figure[1] != SPILLED}
        if grown is None:
            return {figure: LATE_SAFETY * abs(more) for figure, more in extremes.items()}
        return {figure: LATE_SURE * abs(grown[figure] - more) for figure, more in extremes.items()}

    def spilled_later(self, grown: Mapping[Figure, float] | None = None) -> dict[str, float]:
        """What relief valves spilled beyond what the finer march has, by name [m3]."""
        return {
            name: max(more - (grown[name, what] if grown else 0.0), 0.0)
            for (name, what), more in self.figures.items()
            if what == SPILLED
        }

    def part(self, *, wanted: bool) -> dict[Key, float]:
        """The part of the error where the finer march did not go on [Pa]; ``wanted``: it should have."""
        least = LATE_ANY * max(self.rise.values()) if wanted else 0.0
        return {key: max(LATE_SAFETY * rise, least) for key, rise in self.rise.items()}

    def part_after(self, fine: Rises, dt: float) -> dict[Key, float]:
        """The part of the error where the finer march, at ``dt`` [s], went on and rose by ``fine`` [Pa]."""
        weight = LATE_SURE * min(2.0 * dt / self.dt, 1.0)
        return {key: weight * abs(rise - self.rise[key]) for key, rise in fine.items()}

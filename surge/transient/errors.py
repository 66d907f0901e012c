"""The numerical error of every extreme of a run, from marches that differ in step and rounding.

Decisions
---------
* Four parts, each seen in marches that differ in nothing else, as far as that can be:

  - *step*: |half - step|. Behind a front the order is one, else two: no less than the error.
  - *misfit*, from lengths rounded to the step: ``FIT_SAFETY`` times the greatest difference of twins, two
    marches that are rounded differently. Roundings go down with the step, so twins at twice the step count
    half, those at four times a fourth. There are three: the finer march and one near it; the first march and
    one near it; the finer one and one at four times its step. At deeper levels the marches of the level
    before are the second and third. Two twins alone can agree by chance.
  - *lumping*: ``FIT_SAFETY`` times |lumps in two parts - step|, as long as the finer march has lumps.
  - ``LEAST_SHARE`` of the greatest swing of any place, but no more than ``LEAST_TIMES`` the other parts, and
    ``LEAST_ERROR``. An extreme that no march moves (the pressure before anything happens) has this alone.

* After a sudden stop fronts meet anew at every rounding, and a pressure that lasts for one step is no less
  real at a finer one. So none of these marches counts less for being coarser. An extreme has ``SUDDEN_OWN``
  times the furthest that any of them is from it, and no less than ``SUDDEN_ANY`` times the furthest from any
  extreme of the line-up.
* In a run whose worst error stays above what was aimed at, every extreme has ``UNSETTLED`` of that worst
  error at least.
* What may come after the run is a part of its own and does not ask for a finer step: ``LATE_SAFETY`` times
  what a first march rose beyond the extreme. Where the finer march went on too it has it, and there remains
  ``LATE_SURE`` times the greatest difference of what these marches rose, less by the step. Where it should
  have gone on and did not, every extreme has at least ``LATE_ANY`` times the furthest that any rose.

Where the factors come from
---------------------------
Measured, not derived: on 103 gradual line-ups with 4210 extremes and 36 sudden ones with 1478, against
marches at an eighth of the reported step (or a fourth). They are networks, berths, yards and branches of
``tests/support/lineups`` with short shore lines, of the seeds 20001 to 20014 and 30001 to 30084, such as
could be marched so finely. Each factor was changed alone; other seeds were then hunted with all of them as
they stand (``tests/benchmarks/hunt.py``, section 9 of ``notebooks/how-it-works.md``).

* ``FIT_SAFETY`` on the misfit: outside their error were 567 gradual extremes without it, 19 at 1, 9 at 1.25,
  7 at 1.5. Five of the 7 are told too far out. Two, one closed end, are too low (network 30083 at size 0.15):
  by 0.18 % of the rise where the error said 0.11 %. Covering that too would take 2.8 and nearly double the
  errors. Without the second twins there are 10. The third ones cover no more here, but turn 3 runs from
  settled to not.
* ``FIT_SAFETY`` on lumping: made no difference, whether 0, 1 or 1.5. It stays as a part of the misfit would.
* ``LEAST_SHARE``: 15 outside without it, 8 at half of it, 7 with it. ``LEAST_TIMES``: 1 and 3 are alike; it
  only keeps the share from extremes that hardly move. ``LEAST_ERROR``: 8 outside from 0 to 10 Pa, 7 at 20,
  ten times what the watch lets a steady line stray (some 2 Pa, :mod:`surge.transient.watch`).
* ``SUDDEN_OWN``: 3 sudden extremes outside at 1, one at 1.5 and 2 (at 2 by 1.06 times its error), none
  at 2.5.
* ``SUDDEN_ANY`` and ``UNSETTLED``: without both 7 are outside, by up to 14 times their error; with either
  none. Both stay: a sudden run may settle, and a gradual one may not.
* ``LATE_SAFETY``, ``LATE_SURE``, ``LATE_ANY``: branches with the seeds 1 to 1841 and yards 1 to 2139, of both
  those whose first march is quick: 286. In 11 anything came later by more than 100 Pa. At an eighth of the
  step it rose by up to 1.3 times as much as the first marches tell, but for three: two gradual ones with 3.3
  and 4.5 times as much, and a sudden one where it came at places where they saw nothing. In two of the three
  the reported march goes on, and at half its step every extreme lies within its error. In the other (branches
  1163) that is too much work: with 2.5 times its own rise alone an extreme lay 0.06 % of the rise beyond its
  error. It rose by two thirds of the furthest that first marches had of any extreme there; ``LATE_ANY`` is 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from surge.model.lineup import LineUp
from surge.transient.march import Marched
from surge.transient.peaks import Key, Peaks

# Where each has its value from stands above.
FIT_SAFETY = 1.5
LEAST_SHARE = 2e-4  # of the greatest swing
LEAST_TIMES = 3.0  # the other parts
LEAST_ERROR = 20.0  # [Pa]
SUDDEN_OWN = 2.5
SUDDEN_ANY = 0.75
UNSETTLED = 0.5
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

    @cached_property
    def sample(self) -> Sample:
        """What the error needs of it, without the march."""
        return Sample(
            dt=self.marched.grid.reaches.dt,
            pressures={key: found.pressure for key, found in self.found.items()},
        )


@dataclass(frozen=True, kw_only=True)
class Sample:
    """Extremes of one march: its step [s], pressures [Pa gauge]."""

    dt: float
    pressures: Mapping[Key, float]

    def apart(self, other: Sample, key: Key) -> float:
        """How far apart two marches are in one extreme [Pa]."""
        return abs(self.pressures[key] - other.pressures[key])


@dataclass(frozen=True, kw_only=True)
class ErrorMarches:
    """The marches that tell the error of the one reported.

    Attributes
    ----------
    fine : Summary
        Reported; at about half the step of ``coarse``.
    coarse : Sample
    twins : tuple of (Sample, Sample)
        Rounded differently.
    lumping : Sample or None
        As ``coarse``, every lump in two parts; None when ``fine`` has no lumps.
    sudden : bool
        Whether anything moves in no time.
    """

    fine: Summary
    coarse: Sample
    twins: tuple[tuple[Sample, Sample], ...]
    lumping: Sample | None
    sudden: bool

    def parts(self, key: Key) -> tuple[float, float, float]:
        """Step, misfit and lumping part of the error of one extreme [Pa]; what is least in the first."""
        fine = self.fine.sample
        step = fine.apart(self.coarse, key)
        misfit = FIT_SAFETY * max(
            a.apart(b, key) * min(fine.dt / max(a.dt, b.dt), 1.0) for a, b in self.twins
        )
        lumping = FIT_SAFETY * self.coarse.apart(self.lumping, key) if self.lumping else 0.0
        share = LEAST_SHARE * self.fine.greatest_swing
        return step + min(share, LEAST_TIMES * (step + misfit + lumping)) + LEAST_ERROR, misfit, lumping

    @cached_property
    def errors(self) -> dict[Key, float]:
        """Error of every extreme [Pa], settled or not."""
        fine = self.fine.sample
        found = {key: sum(self.parts(key)) for key in self.fine.found}
        if self.sudden:
            marches = (self.coarse, *(one for two in self.twins for one in two))
            furthest = {key: max(one.apart(fine, key) for one in marches) for key in found}
            least = SUDDEN_ANY * max(furthest.values())
            found = {key: max(own, SUDDEN_OWN * furthest[key], least) for key, own in found.items()}
        return found

    @cached_property
    def worst(self) -> float:
        """Greatest error of any extreme [Pa]."""
        return max(self.errors.values())

    def told(self, key: Key, tolerance: float) -> float:
        """Error of one extreme in a run whose errors were to stay below ``tolerance`` [Pa]."""
        return max(self.errors[key], UNSETTLED * self.worst if self.worst > tolerance else 0.0)


@dataclass(frozen=True, kw_only=True)
class Late:
    """What two first marches, rounded differently, had beyond the extremes when they had gone on.

    Attributes
    ----------
    dt : float
        Their step [s].
    rises : tuple of mapping of Key to float
        Of each march [Pa].
    until : float
        When the last of it that counts came [s].
    """

    dt: float
    rises: tuple[Rises, ...]
    until: float

    def part(self, *, wanted: bool) -> dict[Key, float]:
        """The part of the error where the finer march did not go on [Pa]; ``wanted``: it should have."""
        most = {key: max(rise[key] for rise in self.rises) for key in self.rises[0]}
        least = LATE_ANY * max(most.values()) if wanted else 0.0
        return {key: max(LATE_SAFETY * rise, least) for key, rise in most.items()}

    def part_after(self, fine: Rises, dt: float) -> dict[Key, float]:
        """The part of the error where the finer march, at ``dt`` [s], went on and rose by ``fine`` [Pa]."""
        weight = LATE_SURE * min(2.0 * dt / self.dt, 1.0)
        spans = {key: [rise, *(r[key] for r in self.rises)] for key, rise in fine.items()}
        return {key: weight * (max(span) - min(span)) for key, span in spans.items()}

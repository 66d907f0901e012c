"""A case held against pressures read on gauges: whether it fits, and what would explain a difference.

Decisions
---------
* A reading fits where the steady flow at its rate gives a pressure within the tolerance of the gauge. What is
  known as a range only is taken as usual first; where that does not fit, it is moved within its range, all of
  it together, towards what was read: one point at which all readings fit is enough, since the verdict goes by
  the worst over all of the range anyway.
* A reading never changes a verdict. Where the case does not fit, that stands beside the verdict.
* What would explain a difference is found by trial (:mod:`surge.rules.suspects`).
* Where the manifold stands below atmospheric pressure at the full rate, that is told: drop lines are taken to
  run full, and in such a line-up they may not. The manifold is where hoses and arms end towards the ship.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from surge.errors import CaseError, SolveError
from surge.hydraulics.fixed import at_shares
from surge.hydraulics.steady import steady_state
from surge.model.gauge import GaugeReading
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import ranges_of, usual_shares
from surge.rules.suspects import Explanation, explanations
from surge.transient.result import ScenarioResult

NOT_COMPARED = "not compared"
FITS = "fits"
FITS_WITHIN = "fits within ranges"
FITS_NOT = "does not fit"
STEPS = 16  # from the usual figures to the ends of their ranges
LEAST_BELOW = 1e3  # [Pa] less below the atmosphere than this is none


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One reading, and what is calculated there.

    Attributes
    ----------
    calculated : float or None
        [Pa gauge]; None where the line-up cannot be set to the rate, and ``why`` says so.
    """

    reading: GaugeReading
    calculated: float | None
    why: str = ""

    @property
    def off(self) -> float:
        """How far it is off, as a share of the gauge's tolerance [-]; above 1 it does not fit."""
        if self.calculated is None:
            return math.inf
        return abs(self.calculated - self.reading.pressure) / self.reading.tolerance

    @property
    def fits(self) -> bool:
        """Whether the difference is within the tolerance of the gauge."""
        return self.off <= 1.0


@dataclass(frozen=True, kw_only=True)
class Below:
    """A place of hose or arm that stands below atmospheric pressure at the full rate [Pa gauge], [m3/s]."""

    scenario: str
    point: str
    pressure: float
    rate: float


@dataclass(frozen=True, kw_only=True)
class GaugeCheck:
    """What gauges say of a case.

    Attributes
    ----------
    outcome : str
        "not compared", "fits", "fits within ranges" or "does not fit".
    compared : tuple of Compared
        At the usual figures; where it fits within ranges only, at figures within them.
    explained_by : tuple of Explanation
        Single figures, each of which would explain all readings; empty where all fit.
    below : tuple of Below
    """

    outcome: str = NOT_COMPARED
    compared: tuple[Compared, ...] = ()
    explained_by: tuple[Explanation, ...] = ()
    below: tuple[Below, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether nothing that was read speaks against the case."""
        return self.outcome != FITS_NOT

    @property
    def partly_empty(self) -> tuple[Compared, ...]:
        """Readings above a calculated pressure that is below the atmosphere: drop lines run partly empty."""
        return tuple(
            c
            for c in self.compared
            if not c.fits and c.calculated is not None and c.calculated < min(0.0, c.reading.pressure)
        )


def compare_with_gauges(lineup: LineUp, runs: Iterable[ScenarioResult] = ()) -> GaugeCheck:
    """Hold a case against its gauge readings.

    Parameters
    ----------
    lineup : LineUp
        Checked; figures in it may be ranges.
    runs : iterable of ScenarioResult
        Of its scenarios: what stands below the atmosphere before anything moves.

    Returns
    -------
    GaugeCheck
    """
    below = tuple(_below(lineup, runs))
    if not lineup.readings:
        return GaugeCheck(below=below)
    usual = compared_at(lineup, usual_shares(lineup))
    if all(c.fits for c in usual):
        return GaugeCheck(outcome=FITS, compared=usual, below=below)
    within = _within_ranges(lineup, usual)
    if within is not None:
        return GaugeCheck(outcome=FITS_WITHIN, compared=within, below=below)
    found = explanations(lineup, _worst_off)
    return GaugeCheck(outcome=FITS_NOT, compared=usual, explained_by=found, below=below)


def compared_at(lineup: LineUp, shares: Sequence[float] = ()) -> tuple[Compared, ...]:
    """Return every reading beside what is calculated, with figures at some shares of their ranges [-]."""
    fixed = at_shares(lineup, shares) if shares else lineup
    return tuple(_compared(fixed, reading, lineup.liquid.density) for reading in lineup.readings)


def _compared(lineup: LineUp, reading: GaugeReading, density: float) -> Compared:
    """One reading beside the steady flow at its rate; ``density`` [kg/m3] is that of its flow by mass."""
    if reading.liquid is not None:
        warm = lineup.with_(liquid=reading.liquid)
        lineup = at_shares(warm, usual_shares(warm)) if ranges_of(warm) else warm
    liquid = lineup.liquid
    state = Scenario(
        name="gauge reading",
        rate=reading.rate * (density / liquid.density if reading.by_mass else 1.0),
        levels=reading.levels,
        openings=reading.openings,
        origin=reading.origin,
    )
    try:
        steady = steady_state(lineup, state)
    except CaseError as error:
        return Compared(reading=reading, calculated=None, why=error.faults[0].found)
    except SolveError as error:
        return Compared(reading=reading, calculated=None, why=str(error))
    return Compared(reading=reading, calculated=lineup.pressure_at(reading.point, steady.head[reading.point]))


def _worst_off(lineup: LineUp) -> float:
    """How far the reading is off that fits worst, as a share of the gauge's tolerance [-]."""
    return max(c.off for c in compared_at(lineup))


def _within_ranges(lineup: LineUp, usual: Sequence[Compared]) -> tuple[Compared, ...] | None:
    """Readings at a point of the ranges at which all fit, if one is found on the way to their ends."""
    start = usual_shares(lineup)
    for end in _towards(lineup, start, usual) if start else ():
        for k in range(1, STEPS + 1):
            at = tuple(a + k / STEPS * (b - a) for a, b in zip(start, end, strict=True))
            made = compared_at(lineup, at)
            if all(c.fits for c in made):
                return made
    return None


def _towards(lineup: LineUp, start: Sequence[float], usual: Sequence[Compared]) -> list[tuple[float, ...]]:
    """For each reading that does not fit: of every range the end that brings it nearest, or where it was."""
    ends = [list(start) for _ in usual]
    for i, share in enumerate(start):
        for end in (0.0, 1.0):
            moved = compared_at(lineup, (*start[:i], end, *start[i + 1 :]))
            for k, (one, other) in enumerate(zip(usual, moved, strict=True)):
                if other.off < one.off and abs(end - share) > 0.0:
                    ends[k][i] = end
    return list(dict.fromkeys(tuple(end) for end, c in zip(ends, usual, strict=True) if not c.fits))


def _below(lineup: LineUp, runs: Iterable[ScenarioResult]) -> Iterator[Below]:
    """Ends of hoses and arms below the atmosphere at the full rate, each once."""
    if lineup.rate is None:
        return
    scenarios = {s.name: s for s in lineup.scenarios}
    manifold = {p.end for p in lineup.pipes if p.kind in ("hose", "arm")}
    told: set[str] = set()
    for run in runs:
        scenario = scenarios.get(run.name)
        if scenario is None or scenario.shut_at_start or (scenario.rate or math.inf) < lineup.rate.agreed:
            continue
        for place in run.places:
            if place.name in manifold - told and place.steady < -LEAST_BELOW:
                told.add(place.name)
                yield Below(
                    scenario=run.name, point=place.name, pressure=place.steady, rate=lineup.rate.agreed
                )

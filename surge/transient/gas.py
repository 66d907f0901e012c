"""A scenario with free gas all through the liquid: waves whose speed depends on the pressure.

Decisions
---------
* The gas stands at the nodes, as that of the second model of cavities does (:mod:`surge.kernel.cavities`), at
  the temperature of the liquid: (p - p_v) V is constant. Between the nodes waves are those of the liquid. So
  the speed of a wave is what gas and liquid together make it, at every pressure: 1/(rho a^2) of the mixture
  is that of the liquid in its pipe and the share of gas over p - p_v (:func:`mixture_speed`).
* None dissolves and none comes out. The steady flow is that of the liquid.
* After a stop in no time the first steps see the liquid between the nodes, and not yet its gas: the front is
  up to a quarter too high for some steps, at whatever step, and never above what the liquid alone would give.
* Waves are slower, so the run lasts longer: by as many times as they are slower in the slowest pipe.
* It is marched at a step, at half and at a fourth of it; the last is told. The error of an extreme is
  ``SAFETY`` times what the finer two differ by, or half of what the coarser two do; ``ANY`` times the most
  that marches differ by anywhere, since short pulses travel to where marches agree; and ``LEAST_ERROR``.
  It was tried on some ten generated line-ups only, those of the seeds 300 to 307, and 400 to 405 of a seventh
  of the length, that do not boil: of 332 extremes at 1e-3 and 1e-2 two were outside without ``ANY``, by up to
  ten times, against an eighth of the step; with it none. ``ANY`` was chosen by those same line-ups, so that
  this is no proof. What is told of gas says so.
"""

from __future__ import annotations

from dataclasses import replace

from surge.errors import GridError
from surge.hydraulics.formulas import mixture_speed
from surge.model.lineup import LineUp, Scenario
from surge.transient.cavity_march import CavityMarch, build_cavity_grid
from surge.transient.peaks import Found, Key, Peaks
from surge.transient.plan import Plan, eased, first_duration, plan
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult
from surge.workers import Progress, workers

PARTS = (1, 2, 4)  # of the step of a first march
WINDOWS = 100  # of the run: times of extremes inside pipes are told to one of them
SAFETY, ANY = 2.5, 0.5
LEAST_ERROR = 2e3  # [Pa]
GROWS = 2e3  # [Pa] by which an extreme of the last third makes the run longer
LONGER, MOST_TIMES = 1.5, 4.0
MOST_STEPS = 400_000  # of one march: they are all kept
THREADS = 2


def slowness(work: Plan, gas: float) -> float:
    """How many times slower waves are than in the liquid alone, where they are slowest.

    Parameters
    ----------
    work : Plan
    gas : float
        Share of the volume at 101 325 Pa absolute [-].
    """
    lineup, found = work.lineup, 1.0
    for pipe in lineup.pipes:
        for point in (pipe.start, pipe.end):
            speed = mixture_speed(
                wave_speed=pipe.wave_speed,
                density=lineup.liquid.density,
                gas=gas,
                pressure=lineup.pressure_at(point, work.steady.head[point]) + lineup.atmosphere,
                vapour=lineup.vapour_gauge + lineup.atmosphere,
            )
            found = max(found, pipe.wave_speed / speed)
    return found


def run_with_gas(
    lineup: LineUp,
    scenario: Scenario,
    usual: ScenarioResult,
    *,
    gas: float,
    progress: Progress | None = None,
) -> ScenarioResult:
    """Return a run with other pressures: those with free gas all through the liquid.

    Parameters
    ----------
    lineup : LineUp
        With one value for every figure.
    scenario : Scenario
    usual : ScenarioResult
        That of the scenario without gas.
    gas : float
        Share of the volume at 101 325 Pa absolute [-].
    progress : callable, optional
        Called with a word at every march; from several threads.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.transient.run.simulate`; also where the finest march would take too many steps.
    """
    tell = progress or (lambda _: None)
    tell("how long waves in gas last")
    work, duration, unended = _laid_out(lineup, scenario, gas)

    def one(part: int) -> tuple[CavityMarch, dict[Key, Found]]:
        tell(f"gas in the liquid, step {work.step() / part:.2g} s")
        return _extremes(work, gas, work.step() / part, duration)

    with workers(THREADS) as pool:
        coarse, middle, (march, fine) = (f.result() for f in [pool.submit(one, p) for p in PARTS])
    told = _Told(coarse[1], middle[1], fine)
    reaches = march.grid.reaches
    return replace(
        usual,
        elements=tuple(map(told.element, usual.elements)),
        places=tuple(map(told.place, usual.places)),
        undecided=(unended,) if unended else (),
        method=replace(
            usual.method,
            dt=reaches.dt,
            nodes=reaches.nodes,
            steps=march.done,
            duration=duration,
            worst_error=max(told.error(key) for key in fine),
            runs=len(PARTS) + 1,
        ),
        vapour=None,
        sensitivities=(),
        # Only pressures are of this run.
        trips=(),
        non_return_valves=(),
        relief_valves=(),
        surge_drums=(),
        open_vessels=(),
    )


def look_with_gas(lineup: LineUp, scenario: Scenario, *, gas: float) -> dict[Key, Found]:
    """Return extremes of one quick march with gas, without errors: for scanning, never for a verdict.

    Parameters and errors are those of :func:`run_with_gas`.
    """
    work, duration, _ = _laid_out(lineup, scenario, gas)
    return _extremes(work, gas, work.step(), duration, windows=1)[1]


def _laid_out(lineup: LineUp, scenario: Scenario, gas: float) -> tuple[Plan, float, str]:
    """What all marches have in common, how long they are [s], and why that is not long enough."""
    work = plan(lineup, scenario)
    first = work.last_event + (first_duration(work) - work.last_event) * slowness(work, gas)
    work = eased(work, first)
    if PARTS[-1] * first / work.step() > MOST_STEPS:
        raise GridError(f"marches with gas would take more than {MOST_STEPS} steps")
    return work, *_long_enough(work, gas, first)


def _begin(work: Plan, dt: float, gas: float) -> CavityMarch:
    grid = build_cavity_grid(
        work.lineup, work.steady, reaches=work.divide(dt), laws=work.laws, tables=work.tables, gas=gas
    )
    return CavityMarch(grid=grid, frozen=work.lineup.frozen_friction)


def _long_enough(work: Plan, gas: float, first: float) -> tuple[float, str]:
    """How long a march has to be [s], and why that is not long enough; "" where it is."""
    duration, march = first, _begin(work, work.step(), gas)
    march.advance_to(duration * 2 / 3)
    before = Peaks(work.lineup, march).found
    march.advance_to(duration)
    while True:
        now = Peaks(work.lineup, march).found
        grows = max(abs(now[key].pressure - one.pressure) for key, one in before.items()) > GROWS
        longer = LONGER * duration
        if not grows:
            return duration, ""
        if longer > MOST_TIMES * first or PARTS[-1] * longer / work.step() > MOST_STEPS:
            return duration, f"new extremes still appear when the run ends, at {duration:.0f} s"
        duration, before = longer, now
        march.advance_to(duration)


def _extremes(
    work: Plan, gas: float, dt: float, duration: float, *, windows: int = WINDOWS
) -> tuple[CavityMarch, dict[Key, Found]]:
    """March once; extremes, those inside pipes with the end of the window of time in which they came."""
    march, best = _begin(work, dt, gas), dict[Key, Found]()
    for k in range(windows):
        until = duration * (k + 1) / windows
        march.advance_to(until)
        for key, found in Peaks(work.lineup, march).found.items():
            inside = found.time == 0.0 and 0.0 < found.share < 1.0
            seen = found._replace(time=until) if inside else found
            out = 1.0 if key[2] == "high" else -1.0
            if key not in best or out * (seen.pressure - best[key].pressure) > 0.0:
                best[key] = seen
        march.begin_anew()
    return march, best


class _Told:
    """Extremes of the finest march with their errors, as elements and places have them."""

    def __init__(self, *marches: dict[Key, Found]) -> None:
        self.coarsest, self.middle, self.finest = marches
        self.pulses = ANY * max(self._spread(key) for key in self.finest)

    def _spread(self, key: Key) -> float:
        own = [march[key].pressure for march in (self.coarsest, self.middle, self.finest)]
        return max(own) - min(own)

    def error(self, key: Key) -> float:
        """Numerical error of an extreme [Pa]."""
        fine, middle, coarse = (own[key].pressure for own in (self.finest, self.middle, self.coarsest))
        steps = SAFETY * max(abs(fine - middle), 0.5 * abs(middle - coarse))
        return steps + self.pulses + LEAST_ERROR

    def extreme(self, key: Key, length: float = 0.0) -> Extreme:
        """An extreme as the usual run has it."""
        found, error = self.finest[key], self.error(key)
        return Extreme(
            pressure=found.pressure,
            time=found.time,
            distance=found.share * length,
            error=error,
            step_part=error,
            lumping_part=0.0,
            late_part=0.0,
            before_vapour=found.pressure,
        )

    def element(self, usual: ElementResult) -> ElementResult:
        """An element of the usual run with these extremes."""
        high, low = (self.extreme(("element", usual.name, way), usual.length) for way in ("high", "low"))
        return replace(usual, highest=high, lowest=low)

    def place(self, usual: PlaceResult) -> PlaceResult:
        """A place of the usual run with these extremes."""
        high, low = (self.extreme(("place", usual.name, way)) for way in ("high", "low"))
        return replace(usual, highest=high, lowest=low)

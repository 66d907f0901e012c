"""A scenario that boils, marched with cavities: with both models, on three grids, and a band around them.

Decisions
---------
* *Vapour*: cavities of vapour alone. *Gas*: free gas besides, at every node. Each is marched at a step, at
  half and at a fourth of it.
* At a place a cavity is open from the first instant at which the pressure is within ``NEAR`` of vapour
  pressure. It has rejoined at the first instant after that at which the pressure is more than ``AWAY`` above
  it, and then does not come near again for ``QUIET``, nor in the next step: in between models chatter. The
  three figures are our own choice.
* Pressures after that are medians over three steps: a spike of one step is no peak. So are the highest
  pressures of elements and places.
* Valves and pumps beside a cavity see vapour pressure (no choking).
* A march with cavities lasts as long as a first march without them, and goes on by half while an extreme
  still grows in its last third by ``GROWS``, or a cavity is ``OPEN`` of the largest so far: to ``MOST_TIMES``
  as long at most. Where that is not enough nothing is decided.

The band
--------
* No march converges: at every finer step small cavities open and close at other instants, and pulses of a few
  steps meet anew. A grid of half the step tells what that may do, not what it will. So the band is measured.
* Both models and all three grids count alike. Medians over three steps are compared; no peak counts less for
  being short. That pipes do not feel what is shorter than some milliseconds is not claimed: a bore of 400 mm
  rings in a fourth of one.
* The highest of a run can hide what comes below it: all marches agree on a first surge, and the pulses after
  it, which may add up otherwise, are no longer seen. So pressures are compared in *windows* of time, as long
  as the longest pipeline period (or a fortieth of the run from boiling on, ``MOST_WINDOWS``). What one march
  has in a window another may have in the next: each counts with those beside it.
* In each window a pressure may go beyond the furthest of all marches by ``WINDOW`` times their spread there;
  to that come ``ANY`` times the greatest spread of any extreme of the line-up, since pulses travel to where
  marches agree, and ``LEAST_BAND``.
* An extreme is reached for certain by the least of all marches, less the same two.
* Lowest pressures never fall below that at which the liquid boils.

Where the factors come from: generated line-ups that boil, of ``tests/support/lineups/generated.py``
(``tests/benchmarks/cavity_bands.py``), against both models at an eighth of the step. With the spread of the
whole run, half of any and 0.5 bar, none of 2570 highest pressures of 144 line-ups (seeds 1 to 199) was
beyond, but of 1978 of 112 others (200 to 359) two were, by up to 1.7 bar: a dead end whose first surge
hides the spread of what follows. With windows, on 1447 highest pressures of 79 of these line-ups, those two
among them, a ``WINDOW`` of 1 and 1.5 leaves them outside, and 2 none; it is 3. An ``ANY`` of 0.25 would do.
Then, on fresh ones (seeds 420 to 542, none of which had been seen): none of 1297 highest and 1297 lowest
pressures of 73 line-ups is beyond its band, the furthest at 0.68 and 0.73 of it, and none below what is
told as reached for certain. The band of a highest pressure is below 1.6 bar in half of them, below 3.4 in
three quarters, below 10 in nine tenths. After sudden stops marches with lengths rounded to whole steps, at
the finest step, are within 0.86 of the band (15 line-ups of the seeds 11 to 106).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from surge.arguments import Measure, checked
from surge.arrays import Array
from surge.errors import GridError
from surge.model.lineup import LineUp, Scenario
from surge.transient.cavity_march import CavityMarch, build_cavity_grid
from surge.transient.cavity_result import Banded, Cavity, CavityKey, CavityRun, Model, Reached, furthest
from surge.transient.history import history_of
from surge.transient.peaks import Found, Peaks
from surge.transient.plan import Plan, eased, first_duration, plan
from surge.workers import Progress, workers

NEAR = 1e3  # [Pa] above vapour pressure
AWAY = 50e3  # [Pa]
QUIET = 0.05  # [s]
PARTS = (1, 2, 4)  # of the step of a first march
GROWS = 2e3  # [Pa]
OPEN = 0.05  # of the largest volume
MOST_TIMES = 8.0
LOOKS = 1000  # in how many parts of the run the first boiling is looked for
MOST_STEPS = 400_000  # of one march: they are all kept
THREADS = 2
# Where the band has its figures from stands above.
WINDOW, ANY = 3.0, 0.5  # times the spread in a window of time, and the greatest spread of any extreme
MOST_WINDOWS = 40
LEAST_BAND = 5e4  # [Pa]


def medians(values: Array) -> Array:
    """Medians over three steps, shape (n,); the first and the last of them stand as they are."""
    found = values.copy()
    if values.size > 2:
        a, b, c = values[:-2], values[1:-1], values[2:]
        found[1:-1] = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return found


def first_cavity(time: Array, pressure: Array, volume: Array, vapour: float) -> Cavity | None:
    """Return the first cavity at a place; None when there is none.

    Parameters
    ----------
    time, pressure, volume : ndarray, shape (n,)
        Every step [s], [Pa gauge], [m3].
    vapour : float
        Vapour pressure [Pa gauge].
    """
    near = pressure <= vapour + NEAR
    if not near.any():
        return None
    first = int(np.argmax(near))
    when = np.append(np.flatnonzero(near), time.size)
    following = when[np.searchsorted(when, np.arange(time.size))]  # the next step at which it is near again
    later = np.append(time, np.inf)[following]
    # Quiet cannot be told of the last steps: what is not seen to stay is open.
    quiet = (later - time > QUIET) & (time[-1] - time >= QUIET) & (following > np.arange(time.size) + 1)
    whole = (pressure > vapour + AWAY) & quiet
    whole[:first] = False
    if not whole.any():
        return Cavity(
            opened=float(time[first]), rejoined=None, largest=float(volume.max()), first_pressure=None,
            highest_pressure=None,
        )  # fmt: skip
    at = int(np.argmax(whole))
    middle = medians(pressure)
    return Cavity(
        opened=float(time[first]),
        rejoined=float(time[at]),
        largest=float(volume.max()),
        first_pressure=float(middle[at + 1]),
        highest_pressure=float(middle[at + 1 : int(following[at])].max()),
    )


def first_boiling(work: Plan, until: float) -> float:
    """When the liquid first boils in a coarse march, or a little earlier [s]; ``until`` where it does not."""
    march = _begin(work, work.step(), 0.0)
    steps = math.ceil(until / work.step())
    few = max(1, steps // LOOKS)
    while march.done < steps:
        march.advance(few)
        if march.largest() > 0.0:
            return max(march.done - few - 2, 0) * work.step()
    return until


def window_ends(work: Plan, until: float) -> list[float]:
    """Ends of the windows of time in which extremes are compared [s]; the first is before it boils."""
    begin = first_boiling(work, until)
    length = max(work.period, (until - begin) / MOST_WINDOWS)
    count = max(1, math.ceil((until - begin) / length * (1.0 - 1e-9)))
    return [begin, *(min(begin + (k + 1) * length, until) for k in range(count))]


def _begin(work: Plan, dt: float, gas: float) -> CavityMarch:
    grid = build_cavity_grid(
        work.lineup, work.steady, reaches=work.divide(dt), laws=work.laws, tables=work.tables, gas=gas
    )
    return CavityMarch(grid=grid, frozen=work.lineup.frozen_friction)


def _grows(before: Mapping[CavityKey, Found], now: Mapping[CavityKey, Found]) -> float:
    """By how much the extreme that moved most lies further out now [Pa]."""
    return max(
        (now[key].pressure - one.pressure) * (1.0 if key[2] == "high" else -1.0)
        for key, one in before.items()
    )


def _long_enough(work: Plan, gas: float) -> tuple[float, str]:
    """How long a march has to be [s], and why that is not long enough; "" where it is."""
    first = duration = first_duration(work)
    march = _begin(work, work.step(), gas)
    march.advance_to(duration * 2 / 3)
    before = Peaks(work.lineup, march).found
    march.advance_to(duration)
    while True:
        now = Peaks(work.lineup, march).found
        grows = _grows(before, now) > GROWS
        # Free gas never fills a cavity to nothing.
        is_open = gas == 0.0 and march.volume() > OPEN * march.largest()
        if not grows and not is_open:
            return duration, ""
        if 1.5 * duration > MOST_TIMES * first:
            what = "new extremes still appear" if grows else "a cavity is still open"
            return duration, f"{what} when the marches with cavities end, at {duration:.0f} s"
        duration *= 1.5
        before = now
        march.advance_to(duration)


def march_once(
    work: Plan, model: Model, dt: float, gas: float, ends: Sequence[float]
) -> tuple[CavityRun, CavityMarch]:
    """March once with cavities.

    Parameters
    ----------
    work : Plan
    model : str
        What it is called.
    dt : float
        [s]
    gas : float
        Free gas as a share of the volume at 101 325 Pa absolute, 0 for vapour alone [-].
    ends : sequence of float
        Of windows of time, the first before the liquid boils [s].
    """
    march = _begin(work, dt, gas)
    windows = []
    for end in ends:
        march.advance_to(end)
        windows.append(_reached(work, march))
        march.begin_anew()
    grid = march.grid
    heads, volumes = np.vstack(march.heads), np.vstack(march.volumes)
    time: Array = np.arange(heads.shape[0], dtype=np.float64) * dt
    rho_g = work.lineup.liquid.density * work.lineup.gravity
    places = {}
    for point in work.lineup.points:
        at = grid.points.index(point.name)
        pressure: Array = rho_g * (heads[:, at] - point.elevation)
        if np.isfinite(grid.net.point_floor[at]) and march.holds[at]:
            found = first_cavity(time, pressure, volumes[:, at], work.lineup.vapour_gauge)
            if found:
                places[point.name] = found
    made = CavityRun(
        model=model,
        dt=dt,
        duration=march.done * dt,
        places=places,
        windows=tuple(windows),
        largest=march.largest(),
        history=history_of(work.lineup, march),
    )
    return made, march


def _reached(work: Plan, march: CavityMarch) -> dict[CavityKey, Reached]:
    """Extremes since they count."""
    return {
        key: Reached(
            pressure=found.pressure,
            time=None if found.time == 0.0 and 0.0 < found.share < 1.0 else found.time,
            share=found.share,
        )
        for key, found in Peaks(work.lineup, march).found.items()
    }


@dataclass(frozen=True, kw_only=True, eq=False)
class Followed:
    """A scenario marched with cavities.

    Attributes
    ----------
    work : Plan
    runs : tuple of CavityRun
        Vapour from the coarsest to the finest step, then gas.
    marches : tuple of CavityMarch
        Both models on the finest grid, at their ends.
    unended : str
        Why the marches were not long enough, "" where they were.
    """

    work: Plan
    runs: tuple[CavityRun, ...]
    marches: tuple[CavityMarch, ...]
    unended: str

    @property
    def finest(self) -> tuple[CavityRun, ...]:
        """The runs of ``marches``."""
        return tuple(run for run in self.runs if run.dt == self.marches[0].grid.reaches.dt)

    @property
    def pulses(self) -> float:
        """What pulses may bring to any place [Pa]."""
        return max(pulses(self.runs, "high"), pulses(self.runs, "low"))

    def extremes(self) -> dict[CavityKey, Banded]:
        """Every extreme over all marches, with its band."""
        low = {
            # Nothing falls lower than that at which the liquid boils.
            key: replace(one, band=min(one.band, max(one.pressure - self.work.lineup.vapour_gauge, NEAR)))
            for key, one in banded(self.runs, "low").items()
        }
        return banded(self.runs, "high") | low


def pulses(runs: Sequence[CavityRun], way: str) -> float:
    """Return what pulses may bring to any place, highest or lowest pressures [Pa].

    Parameters are those of :func:`banded`.
    """
    keys = [key for key in runs[0].extremes if key[2] == way]
    whole = np.array([[run.extremes[key].pressure for key in keys] for run in runs])
    return float(ANY * np.ptp(whole, axis=0).max() + LEAST_BAND)


def banded(runs: Sequence[CavityRun], way: str) -> dict[CavityKey, Banded]:
    """Return the furthest pressures of all runs with their bands.

    Parameters
    ----------
    runs : sequence of CavityRun
    way : {"high", "low"}
    """
    out = 1.0 if way == "high" else -1.0
    keys = [key for key in runs[0].windows[0] if key[2] == way]
    # (runs, windows, keys), lowest pressures with their sign turned
    seen = out * np.array([[[own[key].pressure for key in keys] for own in run.windows] for run in runs])
    whole = seen.max(axis=1)
    # What comes in one window here may come in the next one there.
    beside = seen.copy()
    beside[:, 1:-1] = np.maximum(beside[:, 1:-1], seen[:, 2:])
    beside[:, 2:] = np.maximum(beside[:, 2:], seen[:, 1:-1])
    least = pulses(runs, way)
    reach = (seen.max(axis=0) + WINDOW * np.ptp(beside, axis=0)).max(axis=0) + least
    sure = whole.min(axis=0) - least
    return {
        key: Banded(
            furthest=furthest(key, [run.extremes[key] for run in runs]),
            band=float(reach[k] - whole[:, k].max()),
            sure=float(out * sure[k]),
        )
        for k, key in enumerate(keys)
    }


@checked
def march_with_cavities(
    lineup: LineUp,
    scenario: Scenario,
    *,
    duration: Annotated[float | None, Measure(least=0.0)] = None,
    progress: Progress | None = None,
) -> Followed:
    """March a scenario with both models at a step, at half and at a fourth of it.

    Parameters
    ----------
    lineup : LineUp
        Its ``free_gas`` is that of the second model.
    scenario : Scenario
    duration : float, optional
        [s]; by default as long as extremes grow and cavities are open.
    progress : callable, optional
        Called with a word at every march; from several threads.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.transient.run.simulate`; also when the liquid boils before anything moves, and when
        the finest march would take too many steps.
    """
    work = plan(lineup, scenario)
    work = eased(work, first_duration(work))
    tell = progress or (lambda _: None)
    models: tuple[tuple[Model, float], ...] = (("vapour", 0.0), ("gas", lineup.free_gas))
    if duration is None:
        tell("how long cavities last")
        found = [_long_enough(work, share) for _, share in models]
        until = max(lasts for lasts, _ in found)
        unended = next((why for _, why in found if why), "")
    else:
        until, unended = duration, ""
    if PARTS[-1] * until / work.step() > MOST_STEPS:
        raise GridError(f"marches with cavities would take more than {MOST_STEPS} steps")

    ends = window_ends(work, until)

    def one(model: Model, share: float, part: int) -> tuple[CavityRun, CavityMarch]:
        tell(f"{model} cavities, step {work.step() / part:.2g} s")
        return march_once(work, model, work.step() / part, share, ends)

    with workers(THREADS) as pool:
        begun = [pool.submit(one, *model, part) for part in reversed(PARTS) for model in models]
        made = [future.result() for future in begun]
    ordered = [made[len(models) * k + i] for i in range(len(models)) for k in reversed(range(len(PARTS)))]
    return Followed(
        work=work,
        runs=tuple(run for run, _ in ordered),
        marches=tuple(march for _, march in made[: len(models)]),
        unended=unended,
    )

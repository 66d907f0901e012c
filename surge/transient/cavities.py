"""A scenario that boils, marched with cavities: with both models, on two grids.

Decisions
---------
* *Vapour*: cavities of vapour alone. *Gas*: free gas besides, at every node. Each is marched at a step and at
  half of it.
* At a place a cavity is open from the first instant at which the pressure is within ``NEAR`` of vapour
  pressure. It has rejoined at the first instant after that at which the pressure is more than ``AWAY`` above
  it, and then does not come near again for ``QUIET``, nor in the next step: in between models chatter. The
  three figures are our own choice.
* Pressures after that are medians over three steps: a spike of one step is no peak. So are the highest
  pressures of elements and places.
* Valves and pumps beside a cavity see vapour pressure (no choking).
* No verdict rests on these figures yet. That four marches agree does not bound a peak: of 73 generated
  line-ups that boil (``tests/benchmarks/cavity_bands.py``, 702 places) the higher of both models at an eighth
  of the step went beyond the highest median by more than the spread of the four and 0.2 bar at 11 places of 7
  line-ups, by up to 2.9 bar; beyond the highest pressure, spikes counted, by more than the spread and 0.5 bar
  at 3 places of 3. The worst is a spike of two or three steps that vapour alone makes where small cavities
  close one after another; gas does not have it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from surge.arguments import Measure, checked
from surge.arrays import Array
from surge.model.lineup import LineUp, Scenario
from surge.transient.cavity_march import GAS, CavityMarch, build_cavity_grid
from surge.transient.peaks import Key, Peaks
from surge.transient.plan import Plan, eased, first_duration, plan
from surge.workers import Progress

NEAR = 1e3  # [Pa] above vapour pressure
AWAY = 50e3  # [Pa]
QUIET = 0.05  # [s]

Model = Literal["vapour", "gas"]


@dataclass(frozen=True, kw_only=True)
class Cavity:
    """The first cavity at a place.

    Attributes
    ----------
    opened : float
        [s]
    rejoined : float or None
        [s]; None when it was open to the end of the run.
    largest : float
        Largest volume at any time [m3].
    first_pressure, highest_pressure : float or None
        First after it has rejoined, and highest until the next opens [Pa gauge].
    """

    opened: float
    rejoined: float | None
    largest: float
    first_pressure: float | None
    highest_pressure: float | None


@dataclass(frozen=True, kw_only=True)
class CavityRun:
    """One march with cavities.

    Attributes
    ----------
    model : str
        "vapour" or "gas".
    dt, duration : float
        [s]
    places : mapping of str to Cavity
        First cavity of every place that had one.
    highest : mapping of Key to float
        Highest pressure of every element and place [Pa gauge].
    largest : float
        Largest volume of a cavity at any place [m3].
    """

    model: Model
    dt: float
    duration: float
    places: Mapping[str, Cavity]
    highest: Mapping[Key, float]
    largest: float


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


def _run(work: Plan, model: Model, dt: float, duration: float, gas: float) -> CavityRun:
    grid = build_cavity_grid(
        work.lineup, work.steady, reaches=work.divide(dt), laws=work.laws, tables=work.tables, gas=gas
    )
    march = CavityMarch(grid=grid, frozen=work.lineup.frozen_friction)
    march.advance_to(duration)
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
    peaks = Peaks(work.lineup, march).found
    return CavityRun(
        model=model,
        dt=dt,
        duration=march.done * dt,
        places=places,
        highest={key: found.pressure for key, found in peaks.items() if key[2] == "high"},
        largest=march.largest(),
    )


@checked
def march_with_cavities(
    lineup: LineUp,
    scenario: Scenario,
    *,
    duration: Annotated[float | None, Measure(least=0.0)] = None,
    gas: Annotated[float, Measure(least=0.0, most=0.01)] = GAS,
    progress: Progress | None = None,
) -> tuple[CavityRun, ...]:
    """March a scenario with both models at a step and at half of it.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    duration : float, optional
        [s]; by default as long as the first march of :func:`surge.transient.run.simulate` at first.
    gas : float
        Free gas of the second model, a share of the volume at 101 325 Pa absolute [-].
    progress : callable, optional
        Called with a word at every march.

    Returns
    -------
    tuple of CavityRun
        Vapour at the step and at half of it, then gas.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.transient.run.simulate`; also when the liquid boils before anything moves.
    """
    work = plan(lineup, scenario)
    work = eased(work, first_duration(work))
    until = first_duration(work) if duration is None else duration
    tell = progress or (lambda _: None)
    found = []
    models: tuple[tuple[Model, float], ...] = (("vapour", 0.0), ("gas", gas))
    for model, share in models:
        for dt in (work.step(), work.step() / 2):
            tell(f"{model} cavities, step {dt:.2g} s")
            found.append(_run(work, model, dt, until, share))
    return tuple(found)

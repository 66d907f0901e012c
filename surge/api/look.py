"""A quick look at one scenario: one march at a coarse step, for a page that follows a hand on a slider.

Decisions
---------
* A look has no verdict and no error. Where a figure is a range, it takes the usual one. What is safe, a check
  tells, and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from surge.api.inputs import case_of, in_case
from surge.arguments import checked
from surge.arrays import Array
from surge.case.file import Case
from surge.errors import RequestError
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.ranges import usual_shares
from surge.transient.run import simulate
from surge.views.subject import unknown
from surge.views.time import upper_limit

NO_VERDICT = "quick look, no verdict"


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """What one quick march shows.

    Attributes
    ----------
    scenario, place : str
        ``place`` is the point whose history is given.
    words : str
        That it is no verdict.
    time, pressure : ndarray of shape (n,)
        At the place [s], [Pa gauge].
    peaks : tuple of (str, float, float or None)
        Every element with its highest pressure and its limit [Pa gauge]; None where it has none.
    lows : tuple of (str, float)
        Every element with its lowest pressure [Pa gauge].
    boils : float or None
        When the cargo boils somewhere [s].
    """

    scenario: str
    place: str
    words: str
    time: Array
    pressure: Array
    peaks: tuple[tuple[str, float, float | None], ...]
    lows: tuple[tuple[str, float], ...]
    boils: float | None


@checked
def look(case: Case | str | Path, *, scenario: str | None = None, place: str | None = None) -> Look:
    """March one scenario once, at a coarse step.

    Parameters
    ----------
    case : Case, str or Path
    scenario : str, optional
        By default the first.
    place : str, optional
        A point, or an element: the end of it at which the pressure gets higher. By default the element that
        uses most of its limit.

    Returns
    -------
    Look

    Raises
    ------
    RequestError
        No such scenario or place.
    CaseError, GridError, SolveError
        The case has faults, or cannot be computed.

    Examples
    --------
    >>> from surge.api.look import look
    >>> seen = look("cases/gas-oil-release-coupling.toml")
    >>> seen.words, seen.scenario
    ('quick look, no verdict', 'release at full rate')
    """
    loaded = case_of(case)
    lineup = loaded.lineup
    names = [s.name for s in lineup.scenarios]
    if scenario is not None and scenario not in names:
        raise RequestError(unknown("scenario", scenario, names))
    chosen = next(s for s in lineup.scenarios if scenario in (None, s.name))
    with in_case(loaded):
        fixed = at_shares(lineup, usual_shares(lineup))
        run = simulate(fixed, scenario_at(chosen, lineup, fixed), quick=True)
    limits = {e.name: upper_limit(fixed, e)[0] for e in fixed.elements}
    peaks = tuple(
        (e.name, e.highest.pressure, None if (limit := limits[e.name]) is None else limit.value)
        for e in run.elements
    )
    most = max(peaks, key=lambda p: -1.0 if p[2] is None else p[1] / max(p[2], 1.0))[0]
    wanted = place if place is not None else most
    points = {p.name: p for p in run.places}
    if wanted not in points:
        element = next((e for e in run.elements if e.name == wanted), None)
        if element is None:
            raise RequestError(unknown("point or element", wanted, [*points, *limits]))
        wanted = max((element.start, element.end), key=lambda p: points[p].highest.pressure)
    return Look(
        scenario=run.name,
        place=wanted,
        words=NO_VERDICT,
        time=run.history.time,
        pressure=run.history.pressure[wanted],
        peaks=peaks,
        lows=tuple((e.name, e.lowest.pressure) for e in run.elements),
        boils=None if run.vapour is None else run.vapour.time,
    )

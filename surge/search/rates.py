"""The greatest rate that is safe, with every lower one, at the strokes of a scenario."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import dropwhile

from surge.model.lineup import LineUp, Scenario
from surge.rules.findings import WITHIN, Finding, findings_of, weakest
from surge.search.scan import Scanner, plan_at
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.strokes import ATTEMPTS, CONFIRM_WORK, FIRST_NEED, SHARE, over_ranges, raised
from surge.transient.run import simulate
from surge.workers import Progress

MORE_RATE = 2.0  # times the agreed rate: as far as a greater one is looked for
LEAST_RATE = 0.05  # of the agreed rate
FALL = 1.2  # ratio of neighbouring rates of the first look: the margin falls steadily with the rate


@dataclass(frozen=True, kw_only=True, eq=False)
class RateLimit:
    """The greatest safe rate of a scenario at the strokes of the case.

    Attributes
    ----------
    scenario : str
    agreed : float
        [m3/s]
    greatest : float or None
        [m3/s], rounded down to a thousandth of the agreed rate; None: even the least looked at is unsafe.
    to : float
        Greatest rate looked at [m3/s]: beyond it the line-up may be unable to go.
    governs : Finding or None
        The nearest limit in the run that confirms it.
    unsafe_below : (float, float) or None
        Least and greatest unsafe rate below the agreed one, where that one itself is safe [m3/s].
    """

    scenario: str
    agreed: float
    greatest: float | None
    to: float
    governs: Finding | None
    unsafe_below: tuple[float, float] | None = None


def greatest_rate(
    lineup: LineUp, scenario: Scenario, *, progress: Progress | None = None
) -> RateLimit | None:
    """Search the greatest rate that is safe, with every lower one, at the strokes of the scenario.

    Returns None where the case has no agreed rate.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    if lineup.rate is None:
        return None
    agreed = scenario.rate or lineup.rate.agreed
    say = progress or (lambda _: None)
    lineups = over_ranges(lineup)
    scanners = [Scanner(one, scenario) for one in lineups]

    def margins(slowness: Sequence[float]) -> list[float]:
        say(f'"{scenario.name}": {len(slowness)} rates')
        rows = [s.at_rates([agreed / v for v in slowness]) for s in scanners]
        return [min(n.margin for n in column) for column in zip(*rows, strict=True)]

    # Rates below the least that flows (a pump standing still lets more through) are none to be safe at.
    look = first_look(1 / LEAST_RATE, 1 / MORE_RATE, fall=FALL)
    look = list(dropwhile(lambda v: any(plan_at(one, scenario, agreed / v) is None for one in lineups), look))
    if not look:
        return None
    samples = Samples()
    need = FIRST_NEED
    made = RateLimit(
        scenario=scenario.name, agreed=agreed, greatest=None, to=agreed * MORE_RATE, governs=None
    )
    for _ in range(ATTEMPTS):
        slowness = smallest_safe(
            margins,
            look,
            need=need,
            resolution=lambda v: SHARE * v,
            spacing=math.inf,
            hidden=lambda _: 0.0,
            samples=samples,
        )
        if slowness is None:
            return made
        rate = math.floor(1000 / slowness + 1e-9) / 1000 * agreed
        found: list[Finding] = []
        for one in lineups:
            run = simulate(one, replace(scenario, rate=rate), most_work=CONFIRM_WORK, progress=say)
            found += findings_of(one, run)
        unsafe = _unsafe_below(samples, need, agreed, slowness)
        made = replace(made, governs=weakest(found), unsafe_below=unsafe)
        if all(f.verdict == WITHIN for f in found):
            return replace(made, greatest=rate)
        more = raised(need, found)
        if more is None:
            return made
        need = more
    return made


def _unsafe_below(
    samples: Samples, need: float, agreed: float, slowness: float
) -> tuple[float, float] | None:
    """Least and greatest unsafe rate between the greatest safe one and the agreed one, if that is safe."""
    between = [v for v, m in samples.margins.items() if 1.0 < v < slowness and not m >= need]
    near_agreed = min(samples.margins, key=lambda v: abs(v - 1.0))
    if not between or not samples.margins[near_agreed] >= need:
        return None
    return agreed / max(between), agreed / min(between)

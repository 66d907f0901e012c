"""Quick looks at a scenario at single points of its ranges: everything that is judged, as plain numbers.

A *sight* holds a number for each figure that a limit or a required rule is held against, and for every
extreme besides: greater is worse. Looks are single marches at a coarse step, without errors of their own.

Decisions
---------
* A point at which the line-up cannot flow as the case says (an assumed Kv too small for the agreed rate) is
  no point of the berth: it does flow so. The range ends where it can, found by halving. One at which what
  hangs on a point does not fit the working pressure is refused: that figure stands in the case.
* Gas of drums, lifts and spilled volumes of relief valves, and whether a pump leaves its curve are looked at
  like pressures: a drum that is emptied somewhere in the ranges has a full run there.
* Looks that do not need one another are made at once, and count in the order in which they are asked for.
* They are marched one by one, not in blocks: nearly all of them differ in when waves arrive, so that they
  share no grid; a block pays from 22 lanes on (:mod:`surge.transient.batch`), and keeps no histories of flow.
* A look is a first march, at twice the step of the march that a run reports. What that does to the difference
  of two looks is taken as ``NOISE`` of the greatest rise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from surge.errors import CaseError, SolveError
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import Range, Shares, ranges_of, usual_shares
from surge.rules.book import RuleBook
from surge.rules.findings import findings_of
from surge.rules.flow import most_into_tank
from surge.rules.limits import held_limits, limits_at, steady_limit
from surge.rules.rulings import rule_on
from surge.transient.attached_results import NEARLY
from surge.transient.first_march import LEAST_TOLERANCE, RISE_TOLERANCE, look_with_curves
from surge.transient.plan import Plan, plan
from surge.transient.result import ScenarioResult
from surge.workers import Progress, each

# ("element", name, "high"), ("steady", "element", name), ("rule", id), ("inflow", tank)
Key = tuple[str, ...]

NOISE = 0.005  # of the greatest rise: what a coarse step may do to the difference of two looks
SCALED = ("rule", "inflow", "hung")  # figures that are no pressures, with a scale of their own
EDGE_STEPS = 6  # halvings to find where a line-up can just flow
# What a required rule may say of a run beside the pressures themselves.
_WITHOUT_RUNS = ("static pressure over rating", "rating", "not in the case")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sight:
    """What one look shows.

    Attributes
    ----------
    shares : tuple of float
        Where in the ranges [-].
    values : mapping of Key to float
        Greater is worse: pressures [Pa], lowest ones with the sign turned; of rules the margin with the sign
        turned; flows into tanks [m3/s].
    """

    shares: Shares
    values: Mapping[Key, float]


class Sights:
    """Looks at one scenario; each point is looked at once.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    book : RuleBook or None
    progress : callable
    """

    def __init__(self, lineup: LineUp, scenario: Scenario, book: RuleBook | None, progress: Progress) -> None:
        self.lineup, self.scenario, self.progress = lineup, scenario, progress
        self.ranges: tuple[Range, ...] = ranges_of(lineup)
        self.ends = [(0.0, 1.0)] * len(self.ranges)  # shares between which the line-up can flow
        self.usual = usual_shares(lineup)
        self.seen: dict[Shares, Sight | None] = {}
        self.plans: dict[Shares, Plan] = {}  # of points that were tried, and not looked at yet
        self.rules = [
            r for r in (book.rules if book else ()) if r.required and r.measure not in _WITHOUT_RUNS
        ]
        self.limits: dict[Key, float] = _limits(lineup)
        self.scale: dict[Key, float] = {}  # of rules: what a margin is measured by
        self.rise = 0.0

    @cached_property
    def base(self) -> Sight:
        """The look at the usual figures.

        Raises
        ------
        CaseError, GridError, SolveError
        """
        found = self._sight(self.usual, *self._run(self.usual))
        self.seen[self.usual] = found
        return found

    def at(self, shares: Shares) -> Sight | None:
        """The look at a point; None where the line-up cannot flow as the case says."""
        if shares == self.usual:
            return self.base
        self.see([shares])
        return self.seen[shares]

    def see(self, points: Iterable[Shares]) -> None:
        """Look at points that are new, several at once; they count in their order."""
        new = [s for s in dict.fromkeys(points) if s not in self.seen and s != self.usual]
        if not new:
            return
        self.progress(f"{len(self.seen) + len(new)} points within what is a range")
        for shares, made in zip(new, each(self._tried, new), strict=True):
            if isinstance(made, Exception):
                _refuse_misfit(made)
                self.seen[shares] = None
            else:
                self.seen[shares] = self._sight(shares, *made)

    @property
    def all(self) -> list[Sight]:
        """All looks so far, in order."""
        return [s for s in self.seen.values() if s is not None]

    def fixed(self, shares: Shares) -> tuple[LineUp, Scenario]:
        """Line-up and scenario at a point."""
        made = at_shares(self.lineup, shares)
        return made, scenario_at(self.scenario, self.lineup, made)

    def flows(self, shares: Shares) -> bool:
        """Whether the line-up can flow at a point as the case says."""
        try:
            self.plans[shares] = plan(*self.fixed(shares))
        except (CaseError, SolveError) as error:
            _refuse_misfit(error)
            return False
        return True

    def find_ends(self, k: int) -> None:
        """Bring the ends of a range in to where the line-up can flow, all else as usual."""
        found = []
        for end in (0.0, 1.0):
            bad, good = end, self.usual[k]
            if not self.flows(moved(self.usual, k, end)):
                for _ in range(EDGE_STEPS):
                    middle = 0.5 * (bad + good)
                    if self.flows(moved(self.usual, k, middle)):
                        good = middle
                    else:
                        bad = middle
                found.append(good)
            else:
                found.append(end)
        self.ends[k] = found[0], found[1]

    def small(self, key: Key) -> float:
        """What does not count in a figure: half of the error that is aimed at."""
        if key[0] in SCALED:
            return 0.5 * RISE_TOLERANCE * self.scale.get(key, 1.0)
        return 0.5 * max(RISE_TOLERANCE * self.rise, LEAST_TOLERANCE)

    def noise(self, key: Key) -> float:
        """What the coarse step may do to a difference of two looks."""
        if key[0] == "steady":
            return 0.0
        return NOISE * (self.scale.get(key, 1.0) if key[0] in SCALED else self.rise)

    def _run(self, shares: Shares) -> tuple[LineUp, ScenarioResult]:
        """A march at a point, in the line-up with nothing but this scenario."""
        lineup, scenario = self.fixed(shares)
        work = self.plans.pop(shares, None) or plan(lineup, scenario)
        return lineup.with_(scenarios=(scenario,)), look_with_curves(work)

    def _tried(self, shares: Shares) -> tuple[LineUp, ScenarioResult] | CaseError | SolveError:
        try:
            return self._run(shares)
        except (CaseError, SolveError) as error:
            return error

    def _sight(self, shares: Shares, lineup: LineUp, run: ScenarioResult) -> Sight:
        rise = max((p.highest.pressure - p.steady for p in run.places), default=0.0)
        self.rise = max(self.rise, rise)
        values = dict(_pressures(run))
        for tank in lineup.receiving:
            key: Key = ("inflow", tank.name)
            values[key] = most_into_tank(lineup, run, tank)
            self.scale[key] = max(self.scale.get(key, 1e-9), values[key])
        values |= self._hung(run)
        values |= self._ruled(lineup, run)
        return Sight(shares=shares, values=values)

    def _hung(self, run: ScenarioResult) -> dict[Key, float]:
        """Of drums the shares of gas, of relief valves lift and volume [m3], of trips 1 if not known."""
        found: dict[Key, float] = {}
        for drum in run.surge_drums:
            found["hung", drum.name, "most"] = drum.most / drum.volume
            found["hung", drum.name, "least"] = -drum.least / drum.volume
            self.limits["hung", drum.name, "most"] = 1.0 - NEARLY
            self.limits["hung", drum.name, "least"] = -NEARLY
        for relief in run.relief_valves:
            key: Key = ("hung", relief.name, "passed")
            found[key] = relief.passed
            found["hung", relief.name, "lift"] = relief.lift
            self.scale[key] = max(self.scale.get(key, 1e-9), relief.passed)
        for trip in run.trips:
            found["hung", trip.name, "unknown"] = float(trip.unknown is not None)
            self.limits["hung", trip.name, "unknown"] = 0.5
        return found

    def _ruled(self, lineup: LineUp, run: ScenarioResult) -> dict[Key, float]:
        """Margins of required rules with the sign turned, the worst of each."""
        if not self.rules:
            return {}
        findings = findings_of(lineup, run)
        found: dict[Key, float] = {}
        for ruling in rule_on(lineup, book=RuleBook(rules=tuple(self.rules)), runs=[run], findings=findings):
            if ruling.margin is None or ruling.limit is None or ruling.scenario != run.name:
                continue
            if not ruling.binding or not math.isfinite(ruling.margin):
                continue
            key: Key = ("rule", ruling.rule.id)
            found[key] = max(found.get(key, -math.inf), -ruling.margin)
            self.limits[key] = 0.0
            self.scale[key] = max(abs(ruling.limit), 1e-9)
        return found


def _refuse_misfit(error: CaseError | SolveError) -> None:
    """Raise a fault of what hangs on a point again: no range ends for it."""
    hung = ("relief_valve", "surge_drum", "open_vessel")
    if isinstance(error, CaseError) and any(f.path[:1] and f.path[0] in hung for f in error.faults):
        raise error


def moved(shares: Shares, k: int, share: float) -> Shares:
    """Return a point with one share changed."""
    return (*shares[:k], share, *shares[k + 1 :])


def extreme_key(subject: str, name: str, *, upper: bool) -> Key:
    """The key of an extreme."""
    return subject, name, "high" if upper else "low"


def _pressures(run: ScenarioResult) -> dict[Key, float]:
    found: dict[Key, float] = {}
    for subject, owners in (("element", run.elements), ("place", run.places)):
        for one in owners:
            found[extreme_key(subject, one.name, upper=True)] = one.highest.pressure
            found[extreme_key(subject, one.name, upper=False)] = -one.lowest.pressure
    for e in run.elements:
        found["steady", "element", e.name] = e.steady_high
    for p in run.places:
        found["steady", "place", p.name] = p.steady
    return found


def _limits(lineup: LineUp) -> dict[Key, float]:
    """The nearest limit of each figure that has one, signed as the values of a sight are."""
    found: dict[Key, float] = {}

    def hold(key: Key, limit: float) -> None:
        found[key] = min(found.get(key, math.inf), limit)

    for held in held_limits(lineup):
        key = extreme_key(held.subject, held.name, upper=held.upper)
        hold(key, held.limit.value if held.upper else -held.limit.value)
    for element in lineup.elements:
        if (rating := steady_limit(element)) is not None:
            hold(("steady", "element", element.name), rating.value)
    for point in lineup.points:
        for held in limits_at(lineup, point):
            hold(("steady", "place", point.name), held.limit.value)
    return found

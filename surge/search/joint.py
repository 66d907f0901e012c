"""All valves together: the set of strokes that ship and terminal agree on, run as such.

Decisions
---------
* Windows of one valve each do not prove the set: the shortest strokes are run together. Where they are not
  safe so, longer ones are searched in every direction that people use: all with one stroke, all longer in
  proportion, and one longer while the others stay short. None goes beyond its window.
* In each direction the set is told that is safe with every longer one of that direction, if a check confirms
  it; of these the one whose strokes add up to the least.
* The verdict of a check on the scenarios in which the valves close counts, pressures and required rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.model.stroke import with_strokes
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding, weakest, worst_of
from surge.rules.rulings import counts
from surge.search.bounds import SHARE, rounded_up
from surge.search.judge import Bench
from surge.search.judged import goes_by_runs, lacking_margin, slow_side
from surge.search.movers import moving_valves
from surge.search.scan import Scanner
from surge.search.smallest import first_look, smallest_safe
from surge.search.strokes import FIRST_NEED
from surge.workers import Progress

ATTEMPTS = 4  # full runs of a set in each direction
STEP = 1.1  # ratio of neighbouring sets of the first look, and to the next set where no margin tells
SHORTEST, COMMON, PROPORTION = "shortest", "one stroke", "in proportion"


@dataclass(frozen=True, kw_only=True, eq=False)
class JointSet:
    """Strokes run together.

    Attributes
    ----------
    strokes : dict of str to float
        Valve -> stroke [s].
    assessment : Assessment
        What came of them.
    way : str
        How they came about: each valve's own "shortest", all with "one stroke", all longer "in proportion",
        or the name of the one valve that takes longer while the others stay at their shortest.
    pressures : str
        Verdict on the pressures of the scenarios in which these valves close.
    verdict : str
        Verdict on these scenarios: pressures and required rules, as a check finds it.
    mendable : bool
        Whether something is not kept that longer strokes might mend.
    elsewhere : Finding or None
        What is not kept in the other scenarios, whatever these strokes are.
    """

    strokes: dict[str, float]
    assessment: Assessment
    pressures: str
    verdict: str
    way: str = SHORTEST
    mendable: bool = False
    elsewhere: Finding | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class _Direction:
    """Sets that grow with one figure."""

    way: str
    least: float
    most: float
    at: Callable[[float], dict[str, float]]


def joint_set(
    lineup: LineUp,
    shortest: Mapping[str, float],
    longest: Mapping[str, float | None],
    *,
    to: float,
    book: RuleBook,
    opens: bool = False,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> JointSet:
    """Run the shortest strokes together, and where they are not safe so, search longer ones.

    Parameters
    ----------
    lineup : LineUp
    shortest, longest : dict of str to float
        Window of every valve [s].
    to : float
        Longest stroke looked at [s].
    book : RuleBook
    opens : bool
        The strokes are those of opening.
    bench : Bench, optional
        Of this line-up and book: what was run on it is not run again.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    bench = bench or Bench(lineup, book, progress)
    first = _run(bench, dict(shortest), SHORTEST, opens=opens)
    if len(shortest) < 2 or not first.mendable:
        return first
    tell = progress or (lambda _: None)
    found: list[JointSet] = []
    for direction in _directions(shortest, longest, to):
        tell(f"all valves together, {direction.way}")
        best = min((sum(one.strokes.values()) for one in found), default=float("inf"))
        if sum(direction.at(direction.least).values()) < best:
            made = _along(bench, direction, opens=opens)
            found += [made] if made is not None else []
    return min(found, key=lambda one: sum(one.strokes.values()), default=first)


def with_all_strokes(lineup: LineUp, strokes: Mapping[str, float], *, opens: bool = False) -> LineUp:
    """Return the line-up with these strokes in every scenario."""
    return lineup.with_(scenarios=tuple(with_strokes(s, strokes, opens=opens) for s in lineup.scenarios))


def _directions(
    shortest: Mapping[str, float], longest: Mapping[str, float | None], to: float
) -> Iterator[_Direction]:
    """The ways in which a set may grow; none makes a stroke longer than its window or than ``to`` [s]."""

    def within(wanted: Mapping[str, float]) -> dict[str, float]:
        found = {}
        for valve, stroke in shortest.items():
            most = longest[valve]
            top = to if most is None else min(most, to)
            found[valve] = max(stroke, min(rounded_up(wanted[valve]), top))
        return found

    def common(stroke: float) -> dict[str, float]:
        return within(dict.fromkeys(shortest, stroke))

    def in_proportion(factor: float) -> dict[str, float]:
        return within({v: factor * s for v, s in shortest.items()})

    def one_longer(valve: str) -> Callable[[float], dict[str, float]]:
        return lambda stroke: within({**shortest, valve: stroke})

    yield _Direction(way=COMMON, least=max(shortest.values()), most=to, at=common)
    most = max(to / s for s in shortest.values())
    yield _Direction(way=PROPORTION, least=1.0, most=most, at=in_proportion)
    for valve, stroke in shortest.items():
        yield _Direction(way=valve, least=stroke, most=to, at=one_longer(valve))


def _along(bench: Bench, direction: _Direction, *, opens: bool) -> JointSet | None:
    """The least set of a direction that is safe with every longer one, if a check confirms it."""
    if direction.most <= direction.least:
        return None
    scanners = [
        (Scanner(one, scenario, limits=bench.limits(scenario)), scenario)
        for scenario in bench.lineup.scenarios
        for one in bench.over(scenario)
        if moving_valves(one, scenario, opens=opens).keys() & direction.at(direction.least).keys()
    ]

    def margins(values: Sequence[float]) -> list[float]:
        sets = [direction.at(v) for v in values]
        rows = [
            scanner.moved([with_strokes(scenario, one, opens=opens) for one in sets])
            for scanner, scenario in scanners
        ]
        return [min(n.margin for n in column) for column in zip(*rows, strict=True)]

    need, least = FIRST_NEED, direction.least
    for _ in range(ATTEMPTS):
        found = smallest_safe(
            margins,
            first_look(direction.most, least, fall=STEP),
            need=need,
            resolution=lambda v: SHARE * v,
            spacing=float("inf"),
            hidden=lambda _: 0.0,
        )
        if found is None:
            return None
        made = _run(bench, direction.at(found), direction.way, opens=opens)
        if made.verdict == WITHIN:
            return made
        if not made.mendable:
            return None
        lacking = 1.5 * lacking_margin(made.assessment.findings)
        need += max(0.0, lacking)
        if lacking <= 0.0:  # a rule is in the way, which has no margin
            least = STEP * found
            if least >= direction.most:
                return None
    return None


def _run(bench: Bench, strokes: dict[str, float], way: str, *, opens: bool) -> JointSet:
    lineup, book = bench.lineup, bench.book
    changed = with_all_strokes(lineup, strokes, opens=opens)
    made = assess(changed, book=book, known=bench.at_hand, progress=bench.progress)
    counting = [f for f in made.findings if counts(f, book)]
    moving = {s.name: moving_valves(lineup, s, opens=opens) for s in lineup.scenarios}
    moved = {name for name, own in moving.items() if strokes.keys() & own.keys()}
    pressures = worst_of(f.verdict for f in counting if f.scenario in {"", *moved})
    rules = [r for r in made.rulings if r.verdict != WITHIN and (r.scenario in moved or goes_by_runs(r))]
    return JointSet(
        strokes=strokes,
        assessment=made,
        way=way,
        pressures=pressures,
        verdict=worst_of([pressures, *(r.verdict for r in rules)]),
        mendable=pressures != WITHIN or any(not slow_side(r.rule) for r in rules),
        elsewhere=weakest(f for f in counting if f.scenario not in {"", *moved} and f.verdict != WITHIN),
    )

"""The set of strokes that goes on the sheet, run as such: windows of one valve do not prove it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN, Finding, weakest, worst_of
from surge.rules.margins import Near
from surge.rules.rulings import counts
from surge.search.scan import Scanner
from surge.search.smallest import first_look
from surge.search.strokes import FIRST_NEED, closing_valves, lacking_margin, over_ranges, rounded_up
from surge.transient.result import ScenarioResult
from surge.workers import Progress

MOST, STEP = 8.0, 1.1  # up to so many times the shortest strokes, in such steps (our own bounds)
ATTEMPTS = 4  # full runs of a set


@dataclass(frozen=True, kw_only=True, eq=False)
class JointSet:
    """Strokes run together.

    Attributes
    ----------
    strokes : dict of str to float
        Valve -> stroke [s].
    assessment : Assessment
        What came of them.
    longer : float
        How many times as long as each valve's own shortest they had to be; 1: these themselves.
    pressures : str
        Verdict on the pressures of the scenarios in which these valves close; rules on time are in the
        windows.
    elsewhere : Finding or None
        What is not kept in the other scenarios, whatever these strokes are.
    """

    strokes: dict[str, float]
    assessment: Assessment
    longer: float
    pressures: str
    elsewhere: Finding | None = None


def joint_set(
    lineup: LineUp,
    shortest: Mapping[str, float],
    longest: Mapping[str, float | None],
    *,
    book: RuleBook,
    known: Sequence[tuple[Scenario, ScenarioResult]] = (),
    progress: Progress | None = None,
) -> JointSet:
    """Run the shortest strokes together, and where they are not safe so, longer ones in proportion.

    Parameters
    ----------
    lineup : LineUp
    shortest, longest : dict of str to float
        Window of every valve [s].
    book : RuleBook
    known : sequence of (Scenario, ScenarioResult)
        Full runs that were made already.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    made = _run(lineup, dict(shortest), 1.0, book, known, progress)
    if made.pressures == WITHIN or len(shortest) < 2:
        return made
    first, need = made, FIRST_NEED
    for _ in range(ATTEMPTS):
        need += max(0.0, 1.5 * lacking_margin(made.assessment.findings))
        found = _safe_factor(lineup, shortest, longest, need)
        if found is None:
            break
        made = _run(lineup, _times(shortest, longest, found), found, book, known, progress)
        if made.pressures == WITHIN:
            return made
    return first


def with_all_strokes(lineup: LineUp, strokes: Mapping[str, float]) -> LineUp:
    """Return the line-up with these strokes in every scenario."""
    return lineup.with_(scenarios=tuple(with_strokes(s, strokes) for s in lineup.scenarios))


def _run(
    lineup: LineUp,
    strokes: dict[str, float],
    longer: float,
    book: RuleBook,
    known: Sequence[tuple[Scenario, ScenarioResult]],
    progress: Progress | None,
) -> JointSet:
    made = assess(with_all_strokes(lineup, strokes), book=book, known=known, progress=progress)
    counting = [f for f in made.findings if counts(f, book)]
    concerned = {"", *(s.name for s in lineup.scenarios if strokes.keys() & closing_valves(lineup, s).keys())}
    return JointSet(
        strokes=strokes,
        assessment=made,
        longer=longer,
        pressures=worst_of(f.verdict for f in counting if f.scenario in concerned),
        elsewhere=weakest(f for f in counting if f.scenario not in concerned and f.verdict != WITHIN),
    )


def _times(
    shortest: Mapping[str, float], longest: Mapping[str, float | None], factor: float
) -> dict[str, float]:
    """Every stroke so many times as long, none longer than it may be [s]."""
    found = {}
    for valve, stroke in shortest.items():
        most = longest[valve]
        longer = rounded_up(factor * stroke)
        found[valve] = longer if most is None else max(stroke, min(longer, most))
    return found


def _safe_factor(
    lineup: LineUp, shortest: Mapping[str, float], longest: Mapping[str, float | None], need: float
) -> float | None:
    """The least factor from which on every one looked at keeps a margin [Pa]."""
    factors = first_look(MOST, 1.0, fall=STEP)
    sets = [_times(shortest, longest, f) for f in factors]
    rows = [
        _margins(one, scenario, sets)
        for one in over_ranges(lineup)
        for scenario in lineup.scenarios
        if any(m.valve in shortest for m in scenario.moves)
    ]
    found = None
    for factor, column in zip(factors, zip(*rows, strict=True), strict=True):
        if not min(n.margin for n in column) >= need:
            break
        found = factor
    return found


def _margins(one: LineUp, scenario: Scenario, sets: Sequence[dict[str, float]]) -> list[Near]:
    return Scanner(one, scenario).moved([with_strokes(scenario, strokes) for strokes in sets])

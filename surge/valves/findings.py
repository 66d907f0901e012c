"""One finding for each valve and direction: limits, latest tests and history together, the worst first.

Decisions
---------
* The verdict comes from the judgement of the latest tests only. The history adds drift, scatter, sisters and
  dates.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from surge.records.stroke_tests import YEAR, Direction, Interval, LostTest, Side, StrokeTest, ValveLimits
from surge.rules.findings import EXCEEDED, EXIT_CODE, UNDECIDED, WITHIN, worst_of
from surge.valves.history import histories
from surge.valves.history_types import (
    IN_ORDER,
    NO_LIMIT,
    OVERDUE,
    SCATTERED,
    STATE_RANK,
    TOO_FAST,
    TOO_SLOW,
    UNKNOWN,
    UNTESTED,
    HistoryGround,
    ValveHistory,
)
from surge.valves.judge import NEVER, Judgement, SideState, judge

NOT_JUDGED = "no limit stated"
# States that follow from limits: the judgement of the latest tests says them, not the history.
_FROM_LIMITS = {TOO_FAST, TOO_SLOW, UNKNOWN, NO_LIMIT, UNTESTED, IN_ORDER}


@dataclass(frozen=True, kw_only=True)
class ValveFinding:
    """What one valve comes to in one direction.

    Attributes
    ----------
    tag : str
    direction : Direction
    verdict : str
        Limit kept, exceeded, cannot be decided, or :data:`NOT_JUDGED`.
    sides : tuple of SideState
        Those that have a limit.
    history : ValveHistory
        With the states that hold, judgement included.
    limits : ValveLimits
    """

    tag: str
    direction: Direction
    verdict: str
    sides: tuple[SideState, ...]
    history: ValveHistory
    limits: ValveLimits

    @property
    def state(self) -> str:
        """The most urgent state, in a word."""
        return self.history.state

    @property
    def worst(self) -> SideState | None:
        """The side that makes the verdict, or comes nearest to its limit."""
        alike = [s for s in self.sides if s.verdict == self.verdict]
        return min(alike or self.sides, key=used, default=None)

    @property
    def margin(self) -> float:
        """The least margin as a share of its limit [-]; 1 where nothing counts."""
        return min((used(s) for s in self.sides), default=1.0)


def used(state: SideState) -> float:
    """Margin of a side as a share of its limit [-], from -1 to 1; 1 where no test counts."""
    if state.decided is None:
        return 1.0
    limit = max(state.decided.bound.value, 1e-9)
    share = state.decided.margin / limit if limit < 1e9 else -1.0
    return min(max(share, -1.0), 1.0)


@dataclass(frozen=True, kw_only=True)
class Findings:
    """The answer on a file of records.

    Attributes
    ----------
    valves : tuple of ValveFinding
        The worst first.
    judgement : Judgement
    ground : HistoryGround
    limited : bool
        Whether any limit is stated at all.
    refused : int
        Rows that could not be used.
    """

    valves: tuple[ValveFinding, ...]
    judgement: Judgement
    ground: HistoryGround
    limited: bool
    refused: int

    @property
    def verdict(self) -> str:
        """Exceeded if any valve is outside; undecided if a row was refused or a limit is not proved."""
        verdicts = [v.verdict for v in self.valves if v.verdict != NOT_JUDGED]
        if self.refused or not self.limited:
            verdicts.append(UNDECIDED)
        return worst_of(verdicts)

    @property
    def exit_code(self) -> int:
        """0, 3 or 4."""
        return EXIT_CODE[self.verdict]

    def those(self, verdict: str) -> list[ValveFinding]:
        """Findings with one verdict, in order."""
        return [v for v in self.valves if v.verdict == verdict]


def findings_of_records(
    tests: Sequence[StrokeTest],
    limits: Mapping[str, ValveLimits],
    *,
    today: date,
    interval: Interval = YEAR,
    refused: int = 0,
    lost: Sequence[LostTest] = (),
) -> Findings:
    """Judge tests against limits and against the valves' own past.

    Parameters
    ----------
    tests : sequence of StrokeTest
    limits : mapping of str to ValveLimits
        By tag.
    today : date
        The day of the look.
    interval : Interval
        Between tests, where a valve states none.
    refused : int
        Rows of the file that could not be used.
    lost : sequence of LostTest
        What these rows tell; see :func:`surge.valves.judge.judge`.
    """
    ground = HistoryGround(today=today, interval=interval)
    judgement = judge(tests, limits, today=today, interval=interval, lost=lost)
    sides: dict[tuple[str, Direction], list[SideState]] = {}
    for state in judgement.sides:
        sides.setdefault((state.tag, state.direction), []).append(state)
    found = [
        _finding(h, sides.get((h.tag, h.direction), []), limits.get(h.tag) or ValveLimits(tag=h.tag), today)
        for h in histories(tests, limits, ground=ground)
    ]
    return Findings(
        valves=tuple(sorted(found, key=_urgency)),
        judgement=judgement,
        ground=ground,
        limited=any(x.bounds or x.missing for x in limits.values()),
        refused=refused,
    )


def _urgency(finding: ValveFinding) -> tuple[bool, int, float, float, str, str]:
    """What has limits goes first; among the others the history alone tells."""
    change = -abs(finding.history.change or 0.0)
    without = finding.verdict == NOT_JUDGED
    return without, STATE_RANK[finding.state], finding.margin, change, finding.tag, finding.direction.value


def _finding(
    history: ValveHistory, sides: Iterable[SideState], limits: ValveLimits, today: date
) -> ValveFinding:
    sides = tuple(_passed(_scattered(s, history), history, today) for s in sides)
    untested = limits.required and not history.tests
    verdict = worst_of(s.verdict for s in sides) if sides else UNDECIDED if untested else NOT_JUDGED
    return ValveFinding(
        tag=history.tag,
        direction=history.direction,
        verdict=verdict,
        sides=sides,
        history=replace(history, states=_states(history, sides)),
        limits=limits,
    )


def _scattered(side: SideState, history: ValveHistory) -> SideState:
    """A side undecided where a valve scatters by more than its margin: the next stroke may break it."""
    if side.verdict != WITHIN or SCATTERED not in history.states or history.baseline is None:
        return side
    share = max(history.furthest or 0.0, history.repeatability or 0.0)
    reach = share * history.baseline.time
    if side.margin is None or side.margin >= reach:
        return side
    reason = f"erratic: its times scatter by {reach:.1f} s, more than the margin of {side.margin:.1f} s"
    return replace(side, verdict=UNDECIDED, reason=reason, unsteady=True)


def _passed(side: SideState, history: ValveHistory, today: date) -> SideState:
    """A side undecided where the trend has met its limit since the last test, before the day of the look."""
    if side.verdict != WITHIN or not history.counted:
        return side
    last = history.counted[-1].day
    for limit in history.limits:
        met = limit.expected
        if limit.bound.side is side.side and met is not None and last < met <= today:
            reason = f"by its trend it met {limit.time:.1f} s on {met}, since its last test: time it again"
            return replace(side, verdict=UNDECIDED, reason=reason)
    return side


def _states(history: ValveHistory, sides: Sequence[SideState]) -> tuple[str, ...]:
    """All states that hold, the most urgent first: those of the history, and those of the judgement."""
    states = {s for s in history.states if s not in _FROM_LIMITS}
    for side in sides:
        if side.verdict == EXCEEDED:
            states.add(TOO_FAST if side.side is Side.FASTEST else TOO_SLOW)
        elif side.verdict == UNDECIDED:
            states.add(UNTESTED if side.reason == NEVER else OVERDUE if side.overdue else UNKNOWN)
        if side.overdue:
            states.add(OVERDUE)
        if side.unsteady:
            states.add(SCATTERED)
    if not sides:
        states.add(NO_LIMIT if history.tests else UNTESTED)
    if SCATTERED in states:
        states.discard(UNKNOWN)
    return tuple(sorted(states or {IN_ORDER}, key=STATE_RANK.__getitem__))

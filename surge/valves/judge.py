"""Tests held against limits: what each one proves, and what the latest ones say about every valve. Times [s].

A test proves a side only if it was made at normal temperature, if what was timed can be set against what the
limit counts, and if it was made in the way that is worst for that side: alone for surge, together with the
others for a shutdown. What breaks a limit for certain breaks it in any of these ways.

Decisions
---------
* A side is kept if the worse end of a test's span keeps it, and broken if the better end breaks it.
* Repeats that scatter by more than the margin make "kept" undecided.
* Times are compared to ``SAME_TIME``, so that 23.4 - 1.1 keeps a limit of 22.3.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from surge.records.stroke_tests import (
    YEAR,
    Bound,
    Direction,
    Interval,
    LostTest,
    Side,
    StrokeTest,
    Timed,
    ValveLimits,
    spans_of,
)
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, worst_of

SAME_TIME = 1e-9  # [s] rounding of floats, far below what anyone measures
LEAST_REPEATS = 2  # of which a spread is known; trade practice asks for three (from memory)
REPEATABLE = 0.10  # [-] spread of repeats over their mean; a rule of this program, no source

OFF_TEMPERATURE = "off normal temperature"
NO_TEMPERATURE = "no temperature recorded"
WITH_OTHERS = "timed together with others: alone it is faster"
TIMED_ALONE = "timed alone: together with others it is slower"
NOT_SAID_WITH = "not recorded whether alone or together with others"
NOT_SAID_TIMED = "not recorded what was timed"
DELAY_WITHIN = "timed from the order, and no signal delay is stated that could be taken off"
DELAY_LACKS = "timed without the signal delay, and none is stated"
NO_LIMIT_STATED = "no limit is stated for this valve and direction"
NEVER = "never tested"
SET_AGAIN = "new baseline"  # remark: adjusted, and timed again
REFUSED = "refused"
TEST_OVERDUE = "overdue"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One test against the limits of one side.

    Attributes
    ----------
    test : StrokeTest
    side : Side
    bound : Bound
        The one that governs: broken, else not decided, else the nearest.
    verdict : str
    time : float
        What was held against it [s]; infinite, or 0, where the record leaves it open.
    margin : float
        On the safe side of the limit [s].
    doubts : tuple of str
        Why it proves nothing; empty if it does.
    broken : bool
        Even the better end of what it may have been is beyond the limit.
    """

    test: StrokeTest
    side: Side
    bound: Bound
    verdict: str
    time: float
    margin: float
    doubts: tuple[str, ...] = ()
    broken: bool = False

    @property
    def proves(self) -> bool:
        """Whether the test decides this side."""
        return not self.doubts

    @property
    def looks_beyond(self) -> bool:
        """Whether it is beyond the limit for certain, or the time as it was written is."""
        off = self.test.time - self.bound.value
        return self.broken or (off < -SAME_TIME if self.side is Side.FASTEST else off > SAME_TIME)


@dataclass(frozen=True, slots=True, kw_only=True)
class SideState:
    """What the latest tests say about one side of one valve and direction.

    Attributes
    ----------
    tag, direction, side
    verdict : str
    reason : str
        Why it cannot be decided; "" otherwise.
    decided : Tried or None
        The test that governs; None when none counts.
    repeats : int
        Tests of that day that count.
    spread : float or None
        Between the fastest and slowest of them that are alike [s]; None for fewer than two.
    overdue : bool
        That day is longer ago than the interval between tests.
    unsteady : bool
        It is undecided since the repeats differ too much.
    """

    tag: str
    direction: Direction
    side: Side
    verdict: str
    reason: str = ""
    decided: Tried | None = None
    repeats: int = 0
    spread: float | None = None
    overdue: bool = False
    unsteady: bool = False

    @property
    def margin(self) -> float | None:
        """Of the governing test [s]."""
        return self.decided.margin if self.decided else None


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """All tests against all limits.

    Attributes
    ----------
    tried : tuple of Tried
        Every test against every side that has a limit.
    sides : tuple of SideState
        Every side that has a limit, or was to have one.
    judged : frozenset of int
        Rows of which at least one time decides at least one side.
    shown : dict of int to str
        The other rows with a test, and why they count as no proof.
    """

    tried: tuple[Tried, ...]
    sides: tuple[SideState, ...]
    judged: frozenset[int]
    shown: Mapping[int, str]


def judge(
    tests: Iterable[StrokeTest],
    limits: Mapping[str, ValveLimits],
    *,
    today: date,
    interval: Interval = YEAR,
    lost: Sequence[LostTest] = (),
) -> Judgement:
    """Hold tests against limits.

    Parameters
    ----------
    tests : iterable of StrokeTest
    limits : mapping of str to ValveLimits
        By tag; a tag that is not there has no limits.
    today : date
        The day of the look.
    interval : Interval
        Between tests, for valves that state none: an older test proves no more that a limit is kept.
    lost : sequence of LostTest
        Rows that were refused: a limit is not taken as kept while one of them may be a later test.
    """
    tests = list(tests)
    tried: dict[tuple[str, Direction, Side], list[Tried]] = {}
    judged: set[int] = set()
    shown: dict[int, str] = {}
    for test in tests:
        stated = limits.get(test.tag) or ValveLimits(tag=test.tag)
        found = [t for side in Side if (t := try_test(test, stated, side)) is not None]
        for one in found:
            tried.setdefault((test.tag, test.direction, one.side), []).append(one)
        if any(one.proves for one in found):
            judged.add(test.row)
        else:
            doubts = [d for one in found for d in one.doubts] or [NO_LIMIT_STATED]
            shown.setdefault(test.row, doubts[0])
    sides = [
        _aged(
            _unless_lost(_side(stated, direction, side, tried.get((tag, direction, side), [])), lost),
            (stated.interval or interval),
            today,
        )
        for tag, stated in limits.items()
        for direction in Direction
        for side in Side
        if stated.of(direction, side) or _lacks(stated, direction, side)
    ]
    return Judgement(
        tried=tuple(t for each in tried.values() for t in each),
        sides=tuple(sides),
        judged=frozenset(judged),
        shown={row: why for row, why in shown.items() if row not in judged},
    )


def try_test(test: StrokeTest, limits: ValveLimits, side: Side) -> Tried | None:
    """Hold one test against the limits of one side; None where there is none."""
    tried = [_against(test, limits, bound) for bound in limits.of(test.direction, side)]
    if not tried:
        return None
    worst = worst_of(t.verdict for t in tried)
    return min((t for t in tried if t.verdict == worst), key=lambda t: t.margin)


def _against(test: StrokeTest, limits: ValveLimits, bound: Bound) -> Tried:
    span = spans_of(test, limits.delay)[bound.timed]
    fast = bound.side is Side.FASTEST
    worst, best = (span.least, span.most) if fast else (span.most, span.least)
    sign = 1.0 if fast else -1.0
    broken = sign * (best - bound.value) < -SAME_TIME
    doubts = _temperature(test, limits)
    if not broken:
        doubts += _with_others(test, limits, bound.side)
        if sign * (worst - bound.value) < -SAME_TIME:
            doubts += _open(test)
    verdict = UNDECIDED if doubts else EXCEEDED if broken else WITHIN
    time = best if broken else worst
    return Tried(
        test=test,
        side=bound.side,
        bound=bound,
        verdict=verdict,
        time=time,
        margin=sign * (time - bound.value),
        doubts=doubts,
        broken=broken,
    )


def _temperature(test: StrokeTest, limits: ValveLimits) -> tuple[str, ...]:
    if limits.normal is None:
        return ()
    if test.temperature is None:
        return (NO_TEMPERATURE,)
    low, high = limits.normal
    return () if low - SAME_TIME <= test.temperature <= high + SAME_TIME else (OFF_TEMPERATURE,)


def _with_others(test: StrokeTest, limits: ValveLimits, side: Side) -> tuple[str, ...]:
    """Doubt from one power supply for several valves; none if the valve has one of its own."""
    if limits.shares_power is False or test.together is (side is Side.SLOWEST):
        return ()
    if test.together is None:
        return (NOT_SAID_WITH,)
    return (WITH_OTHERS,) if test.together else (TIMED_ALONE,)


def _open(test: StrokeTest) -> tuple[str, ...]:
    """Doubt from a signal delay that is not known."""
    if test.timed is None:
        return (NOT_SAID_TIMED,)
    return (DELAY_WITHIN,) if test.timed is Timed.ORDER else (DELAY_LACKS,)


# What the latest tests come to


def _lacks(limits: ValveLimits, direction: Direction, side: Side) -> str:
    """Why a limit that was asked for could not be found; "" if none was, or it was found."""
    return next((why for d, s, why in limits.missing if d is direction and s is side), "")


def _side(limits: ValveLimits, direction: Direction, side: Side, tried: Sequence[Tried]) -> SideState:
    """The state of one side: by the tests that count of the last day on which any counts."""
    proofs = [t for t in tried if t.proves]
    lacks = _lacks(limits, direction, side)
    bare = SideState(tag=limits.tag, direction=direction, side=side, verdict=UNDECIDED)
    if not proofs:
        last = max(tried, key=lambda t: (t.test.when, t.test.row), default=None)
        reason = lacks or (last.doubts[0] if last else NEVER)
        return replace(bare, reason=reason)
    day = max(_day(t) for t in proofs)
    set_again = min((t.test.when for t in tried if _day(t) == day and _set_again(t.test)), default=None)
    if set_again is not None:  # the valve was adjusted on that day: what it did before is history
        tried = [t for t in tried if t.test.when >= set_again]
    latest = [t for t in tried if t.proves and _day(t) == day]
    if not latest:
        reason = lacks or next(d for t in tried for d in t.doubts)
        return replace(bare, reason=reason)
    worst = worst_of(t.verdict for t in latest)
    decided = min((t for t in latest if t.verdict == worst), key=lambda t: t.margin)
    spread = _spread(latest)
    state = replace(bare, decided=decided, repeats=len(latest), spread=spread)
    if worst == EXCEEDED:
        return replace(state, verdict=EXCEEDED)
    unsteady = _unsteady(latest, spread, decided.margin)
    reason = lacks or _later(tried, day) or unsteady
    return replace(state, verdict=UNDECIDED if reason else WITHIN, reason=reason, unsteady=bool(unsteady))


def _unless_lost(state: SideState, lost: Iterable[LostTest]) -> SideState:
    """The state, undecided if a row that was refused may be a test of the deciding day or later."""
    if state.verdict != WITHIN and state.reason != NEVER:
        return state
    day = _day(state.decided) if state.decided else date.min
    for one in lost:
        if one.concerns(state.tag, state.direction) and (one.day is None or one.day >= day):
            known = "" if state.decided is None else f", and may be later than the last test ({day})"
            reason = f"row {one.row} of this valve was {REFUSED}{known}"
            return replace(state, verdict=UNDECIDED, reason=reason)
    return state


def _set_again(test: StrokeTest) -> bool:
    """Whether a remark, or a part of it, says that the valve was set anew."""
    return SET_AGAIN in {part.strip(" .").casefold() for part in test.remark.replace(";", ",").split(",")}


def _aged(state: SideState, interval: Interval, today: date) -> SideState:
    """The state, undecided if what decides it is too old to say that a limit is kept."""
    if state.decided is None or (due := interval.after(_day(state.decided))) >= today:
        return state
    if state.verdict == EXCEEDED:
        return replace(state, overdue=True)
    reason = f"{TEST_OVERDUE}: the last test that counts is of {_day(state.decided)}, and held until {due}"
    return replace(state, verdict=UNDECIDED, reason=reason, overdue=True)


def _day(tried: Tried) -> date:
    return tried.test.when.date()


def _later(tried: Iterable[Tried], day: date) -> str:
    """Whether a test that proves nothing, of that day or later, looks as if the limit were broken."""
    for t in tried:
        if not t.proves and _day(t) >= day and t.looks_beyond:
            return (
                f"row {t.test.row} of {_day(t)} looks beyond the limit, and counts for nothing: {t.doubts[0]}"
            )
    return ""


def _spread(latest: Sequence[Tried]) -> float | None:
    """Spread of repeats: of tests of the same kind, the greatest."""
    times: dict[object, list[float]] = {}
    for t in latest:
        times.setdefault((t.test.timed, t.test.together), []).append(t.test.time)
    return max((max(x) - min(x) for x in times.values() if len(x) > 1), default=None)


def _unsteady(latest: Sequence[Tried], spread: float | None, margin: float) -> str:
    """Whether repeats differ so much that the next one may break the limit."""
    if spread is None or len(latest) < LEAST_REPEATS:
        return ""
    mean = sum(t.test.time for t in latest) / len(latest)
    if spread <= REPEATABLE * mean + SAME_TIME or margin >= spread - SAME_TIME:
        return ""
    return f"the {len(latest)} repeats differ by {spread:.1f} s, more than the margin of {margin:.1f} s"

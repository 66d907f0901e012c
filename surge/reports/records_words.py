"""What is said of one valve: the test that decides a limit, why it is open, and what would decide it."""

from __future__ import annotations

import math

from surge.records.stroke_tests import NO_STROKE_IS_SAFE, Side, Timed
from surge.reports.history import why
from surge.reports.words import NOISE
from surge.rules.findings import EXCEEDED, UNDECIDED
from surge.valves.findings import Findings, ValveFinding
from surge.valves.history_types import DRIFTED, NEAR, OVERDUE, SCATTERED, UNLIKE, WATCH
from surge.valves.judge import (
    DELAY_LACKS,
    DELAY_WITHIN,
    NEVER,
    NO_TEMPERATURE,
    NOT_SAID_TIMED,
    NOT_SAID_WITH,
    OFF_TEMPERATURE,
    TEST_OVERDUE,
    TIMED_ALONE,
    WITH_OTHERS,
    SideState,
)
from surge.valves.sources import NOT_LOOKED_UP

FROM_HISTORY = (NEAR, SCATTERED, DRIFTED, OVERDUE, UNLIKE, WATCH)
WHAT = {Side.FASTEST: "surge allows no faster than", Side.SLOWEST: "the shutdown allows no slower than"}


def seconds(value: float, *, up: bool | None = None) -> str:
    """Return a time in words, without its unit.

    Parameters
    ----------
    value : float
        [s]; at most two decimals of it are told, and "-" where it is infinite.
    up : bool, optional
        Round up, or down; to the nearest without it.
    """
    if not math.isfinite(value):
        return "-"
    number = value * 100
    nearest = round(number)
    whole = (
        nearest if up is None or abs(number - nearest) < NOISE else (math.ceil if up else math.floor)(number)
    )
    text = f"{whole / 100:.2f}"
    return text.removesuffix("0")


def side_words(state: SideState) -> str:
    """Return what the deciding test says about one side, in a clause."""
    got = state.decided
    if got is None:
        return state.reason
    test, bound = got.test, got.bound
    what = "movement" if bound.timed is Timed.MOVEMENT else "from the order"
    how = {True: ", together with others", False: ", alone", None: ""}[test.together]
    count = "1 test" if state.repeats == 1 else f"{state.repeats} tests"
    took = (
        f"{seconds(got.time, up=state.side is Side.SLOWEST)} s ({what}{how}; {count} on {test.when.date()})"
    )
    return f"{took}; {bound_words(state)}"


def bound_words(state: SideState) -> str:
    """Return the limit that governs a side, and by how much it is kept or not."""
    got = state.decided
    if got is None:
        return state.reason
    bound = got.bound
    if bound.value >= NO_STROKE_IS_SAFE or bound.value <= 0.0:
        return f"no stroke time is {'slow' if state.side is Side.FASTEST else 'fast'} enough ({bound.source})"
    off = seconds(abs(got.margin), up=got.margin < 0)
    wrong = "fast" if state.side is Side.FASTEST else "slow"
    kept = f"{off} s too {wrong}" if got.margin < 0 else f"kept by {off} s"
    return f"{WHAT[state.side]} {seconds(bound.value)} s ({bound.source}): {kept}"


def reasons(finding: ValveFinding, findings: Findings) -> list[str]:
    """Return why a finding is what it is: limits first, then what the valve's own past says."""
    said: dict[str, None] = {}
    for side in finding.sides:
        if side.verdict == EXCEEDED:
            said[bound_words(side)] = None
    open_ = [s for s in finding.sides if s.verdict == UNDECIDED]
    for side in open_:
        alike = len({s.reason for s in open_}) == 1 and len(open_) == len(finding.sides)
        word = "" if alike else f"{'surge' if side.side is Side.FASTEST else 'shutdown'}: "
        said[f"{word}{side.reason}"] = None
    from_history = zip(finding.history.states, why(finding.history, findings.ground), strict=True)
    for state, words in from_history:
        if state in FROM_HISTORY and not (finding.verdict == EXCEEDED and state in (NEAR, WATCH)):
            said[words] = None
    return list(said) or ["in order"]


DECIDES = {  # why a side is open -> what would decide it
    NEVER: "Time it at normal temperature, alone and together with the others that move with it",
    NOT_SAID_WITH: "Write alone or together in a column of its own, or say --tested alone (or together) if "
    "it holds for the whole file; shares_power = false in the limits file says that it makes no difference",
    TIMED_ALONE: "Time it together with the others that move with it as well, or state shares_power = false "
    "in the limits file if it has a power supply of its own",
    WITH_OTHERS: "Time it alone as well, or state shares_power = false in the limits file if it has a power "
    "supply of its own",
    NOT_SAID_TIMED: "Write in a column from what to what it was timed, or say --timed order (or movement)",
    DELAY_WITHIN: "State its signal_delay in the limits file, or time the movement of the spindle",
    DELAY_LACKS: "State its signal_delay in the limits file, or time it from the order",
    NO_TEMPERATURE: "Write the oil temperature at the test in a column",
    OFF_TEMPERATURE: "Time it again at normal temperature",
    TEST_OVERDUE: "Time it again",
    NOT_LOOKED_UP: "Add --case with the case that in_case of the limits file is about",
    "row ": "Put the refused row right, and run it again",
}


STEADY = "Find out why the repeats differ so much, and time it again three times"


def would_decide(side: SideState) -> str:
    """Return what would decide a side that is open; "" where no one thing would."""
    if side.unsteady:
        return STEADY
    return next((action for known, action in DECIDES.items() if side.reason.startswith(known)), "")

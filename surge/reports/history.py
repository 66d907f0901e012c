"""What the test history of a valve says, in plain sentences: each of its states, and what it means."""

from __future__ import annotations

from collections.abc import Callable

from surge.records.stroke_tests import Direction, Side
from surge.valves.history_types import (
    DRIFTED,
    IN_ORDER,
    NEAR,
    NO_LIMIT,
    OVERDUE,
    SCATTERED,
    STATES,
    TOO_FAST,
    TOO_SLOW,
    UNKNOWN,
    UNLIKE,
    UNTESTED,
    WATCH,
    HistoryGround,
    ValveHistory,
)

YEAR_DAYS = 365.25
ALL_TIMES = 1e9  # [s] limits beyond stand for "no stroke time is safe"

# Trade practice from memory; no source.
MEANING = {
    ("faster", Direction.CLOSING): "a faster closing is commonly a throttle or orifice lost, or flow control "
    "set otherwise: it raises the surge",
    ("slower", Direction.CLOSING): "a slower closing is commonly low hydraulic pressure, sticking, a choked "
    "filter, or wear: the shutdown comes late, and a tank may overfill",
    ("faster", Direction.OPENING): "a faster opening is commonly a throttle or orifice lost, or flow control "
    "set otherwise: the flow starts more suddenly",
    ("slower", Direction.OPENING): "a slower opening is commonly low hydraulic pressure, sticking, a choked "
    "filter, or wear: when tanks are changed the next one is open late",
}


def why(history: ValveHistory, ground: HistoryGround) -> tuple[str, ...]:
    """One sentence for each state of a history, the most urgent first, without a full stop."""
    return tuple(_SAID[state](history, ground) for state in history.states)


def brief(history: ValveHistory, ground: HistoryGround) -> str:
    """The most urgent thing in a few words, for a small picture."""
    last = "no time" if history.last is None else f"{history.last:.1f} s"
    change = "" if history.change is None else f" ({100 * history.change:+.0f} %)"
    return f"{last}{change}; {in_short(history, ground)}"


def in_short(history: ValveHistory, ground: HistoryGround) -> str:
    """The most urgent state in a few words."""
    return _SHORT.get(history.state, _state_word)(history, ground)


def meaning(history: ValveHistory) -> str:
    """What it commonly means that a valve has become faster or slower; "" when it is near its baseline."""
    way = _way(history)
    return MEANING[way, history.direction] if way else ""


def trend_words(history: ValveHistory) -> str:
    """The trend with its band, or why there is none."""
    trend = history.trend
    if trend is None:
        return "no test that counts"
    if trend.slope is None:
        return trend.reason
    said = f"{_rate(trend.slope)} s/year"
    if trend.low is None or trend.high is None:
        return f"{said} ({trend.reason})"
    sure = "" if trend.sure else "; scatter alone may explain it"
    return f"{said}, {_rate(trend.low)} to {_rate(trend.high)} in its band{sure}"


def _rate(slope: float) -> str:
    return f"{slope * YEAR_DAYS:+.1f}"


def _way(history: ValveHistory) -> str:
    """Which way a valve that is not as it was has gone."""
    ours = set(history.states)
    if TOO_FAST in ours or TOO_SLOW in ours:
        return "faster" if TOO_FAST in ours else "slower"
    if DRIFTED in ours and history.change:
        return "faster" if history.change < 0.0 else "slower"
    if (NEAR in ours or WATCH in ours) and history.trend and history.trend.slope:
        return "faster" if history.trend.slope < 0.0 else "slower"
    return ""


def _outside(side: Side) -> Callable[[ValveHistory, HistoryGround], str]:
    def said(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
        fast = side is Side.FASTEST
        limits = [h for h in history.limits if h.bound.side is side]
        if not limits:
            return STATES[TOO_FAST if fast else TOO_SLOW]
        limit = max(limits, key=lambda h: h.time) if fast else min(limits, key=lambda h: h.time)
        if not 0.0 < limit.time < ALL_TIMES:
            return f"no stroke time is {'slow' if fast else 'fast'} enough ({limit.bound.source})"
        return f"{'faster' if fast else 'slower'} than the {limit.time:.1f} s allowed ({limit.bound.source})"

    return said


def _meets(which: str) -> Callable[[ValveHistory, HistoryGround], str]:
    def said(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
        dated = [(getattr(h, which), h) for h in history.limits]
        day, limit = min(((d, h) for d, h in dated if d is not None), key=lambda pair: pair[0])
        side = "fastest" if limit.bound.side is Side.FASTEST else "slowest"
        how = "by its trend" if which == "expected" else "at the earliest by its band"
        earliest = ""
        if which == "expected" and limit.earliest is not None and limit.earliest < day:
            earliest = f", at the earliest on {limit.earliest}"
        other = ""
        if limit.offset:
            kind = "together" if not history.counted[-1].test.together else "alone"
            other = f" (moved {kind}, which is {limit.offset:+.1f} s)"
        return f"{how} it meets the {side} time allowed, {limit.time:.1f} s, on {day}{earliest}{other}"

    return said


def _drifted(history: ValveHistory, ground: HistoryGround) -> str:
    base = history.baseline
    assert base is not None
    assert history.last is not None
    assert history.change is not None
    return (
        f"{history.last - base.time:+.1f} s ({100 * history.change:+.0f} %) from its baseline of "
        f"{base.time:.1f} s ({base.rule}); the action band is ±{100 * ground.action:.0f} % (common practice, "
        "no source)"
    )


def _scattered(history: ValveHistory, ground: HistoryGround) -> str:
    parts = []
    if history.scatter is not None:
        parts.append(f"scatter about its own line {100 * history.scatter:.0f} %")
    if history.furthest is not None and history.furthest > ground.action:
        parts.append(f"one date is {100 * history.furthest:.0f} % off it")
    if history.repeatability is not None:
        parts.append(f"repeats on one day differ by up to {100 * history.repeatability:.0f} %")
    return "erratic: " + ", ".join(parts)


def _overdue(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    return f"the test was due on {history.due}, {history.overdue} days ago"


def _untested(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    reasons = sorted({p.apart for p in history.tests if p.apart})
    return "tested, but no test counts: " + ", ".join(reasons) if reasons else "never tested on this record"


def _unlike(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    s = history.sisters
    assert s is not None
    return (
        f'{100 * (s.ratio - 1):+.0f} % from the median, {s.median:.1f} s, of {s.count} sisters ("{s.group}")'
    )


def _plain(state: str) -> Callable[[ValveHistory, HistoryGround], str]:
    return lambda _history, _ground: STATES[state]


_SAID: dict[str, Callable[[ValveHistory, HistoryGround], str]] = {
    TOO_FAST: _outside(Side.FASTEST),
    TOO_SLOW: _outside(Side.SLOWEST),
    NEAR: _meets("expected"),
    UNTESTED: _untested,
    SCATTERED: _scattered,
    DRIFTED: _drifted,
    OVERDUE: _overdue,
    UNLIKE: _unlike,
    WATCH: _meets("earliest"),
    UNKNOWN: _plain(UNKNOWN),
    NO_LIMIT: _plain(NO_LIMIT),
    IN_ORDER: _plain(IN_ORDER),
}


def _state_word(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    return history.state.lower()


def _limit_short(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    side = Side.FASTEST if history.state == TOO_FAST else Side.SLOWEST
    times = [h.time for h in history.limits if h.bound.side is side and 0.0 < h.time < ALL_TIMES]
    word = "faster than" if side is Side.FASTEST else "slower than"
    strictest = max if side is Side.FASTEST else min
    return f"{word} the {strictest(times):.1f} s allowed" if times else f"{word} any time allowed"


def _met_short(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    which = "expected" if history.state == NEAR else "earliest"
    day, limit = min(
        ((getattr(h, which), h) for h in history.limits if getattr(h, which) is not None), key=lambda p: p[0]
    )
    may = "meets" if which == "expected" else "may meet"
    return f"{may} {limit.bound.side.value} {limit.time:.1f} s on {day}"


def _scatter_short(history: ValveHistory, ground: HistoryGround) -> str:  # noqa: ARG001
    worst = max(history.scatter or 0.0, history.furthest or 0.0, history.repeatability or 0.0)
    return f"scatters by up to {100 * worst:.0f} %"


_SHORT: dict[str, Callable[[ValveHistory, HistoryGround], str]] = {
    TOO_FAST: _limit_short,
    TOO_SLOW: _limit_short,
    NEAR: _met_short,
    WATCH: _met_short,
    SCATTERED: _scatter_short,
    OVERDUE: lambda h, _: f"was due {h.due}",
    DRIFTED: lambda h, g: (
        f"beyond ±{100 * g.action:.0f} %" + (f" of {h.baseline.time:.1f} s" if h.baseline else "")
    ),
    UNTESTED: lambda h, _: "never tested" if not h.tests else "no test counts",
    UNLIKE: lambda h, _: f"sisters take {h.sisters.median:.1f} s" if h.sisters else "unlike sisters",
}

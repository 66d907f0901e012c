"""What the tests of a valve, taken together, say: baseline, drift, when a limit will be met, sisters.

One history for each (tag, direction). Times [s]. Only like is set against like: movement times with movement
times, valves moved alone with valves moved alone, at normal temperature. What is not comparable stays in the
history and is shown apart, with the reason.

Decisions
---------
* The baseline is the first date of the kind that is compared, or the last one that a remark marks, between
  commas and with no other word: ``MARKS``.
* A trend goes through the medians of each date: repeats on one day are no independent evidence of drift.
* The day on which a limit will be met starts from the nearer of line and last test, at the steepest slope of
  the band. Where the last tests of the other kind (alone, together) lie nearer to the limit, both dates are
  moved by that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from statistics import median

from surge.records.stroke_tests import (
    Bound,
    Direction,
    Interval,
    Side,
    StrokeTest,
    Timed,
    ValveLimits,
    spans_of,
)
from surge.valves.history_types import (
    DRIFTED,
    IN_ORDER,
    NEAR,
    NO_LIMIT,
    OVERDUE,
    SCATTERED,
    STATE_RANK,
    TOO_FAST,
    TOO_SLOW,
    UNKNOWN,
    UNLIKE,
    WATCH,
    Baseline,
    HistoryGround,
    HistoryTest,
    LimitInHistory,
    Sisters,
    ValveHistory,
)
from surge.valves.trend import Crossing, Trend, crossing, robust_trend

Key = tuple[str, Direction]

SISTERS = 2  # our own bound: other valves of a group, at least, before one is compared with them
LEAST_DATES = 4  # our own bound: about a line through three dates there is hardly any scatter to see
MAD_TO_SD = 1.4826  # median absolute deviation to standard deviation, for normal scatter
SAME_TIME = 1e-9  # [s], [-] differences below this are those of floats
FAR = 3652.5  # [days] ten years, our own bound: what is met later than that is not told
MARKS = ("baseline", "new baseline", "commissioning", "commissioning test")


def histories(
    tests: Iterable[StrokeTest], limits: Mapping[str, ValveLimits], *, ground: HistoryGround
) -> tuple[ValveHistory, ...]:
    """Return a history for every valve and direction that is tested, limited or required; the worst first.

    Parameters
    ----------
    tests : iterable of StrokeTest
    limits : dict of str to ValveLimits
        By tag: limits, normal temperature, delay, sisters, interval. A valve that is required and has no
        bound in either direction gets a history of its closing.
    ground : HistoryGround
        The day of the look, the interval between tests, the width of the action band.
    """
    by_valve: dict[Key, list[StrokeTest]] = {key: [] for key in _wanted(limits)}
    for test in tests:
        by_valve.setdefault((test.tag, test.direction), []).append(test)
    made = [
        _history(key, found, limits.get(key[0], ValveLimits(tag=key[0])), ground)
        for key, found in by_valve.items()
    ]
    return tuple(sorted(_with_sisters(made, ground), key=_urgency))


def _wanted(limits: Mapping[str, ValveLimits]) -> Iterator[Key]:
    """Valves and directions of which a test should be on record."""
    for tag, stated in limits.items():
        ways = {b.direction for b in stated.bounds} | {way for way, *_ in stated.missing}
        if stated.required and not ways:
            ways = {Direction.CLOSING}
        yield from ((tag, way) for way in Direction if way in ways)


def _urgency(history: ValveHistory) -> tuple[int, float, float, str, str]:
    margin = 1.0 if history.margin is None else history.margin
    return (
        STATE_RANK[history.state],
        margin,
        -abs(history.change or 0.0),
        history.tag,
        history.direction.value,
    )


def _history(
    key: Key, tests: Sequence[StrokeTest], limits: ValveLimits, ground: HistoryGround
) -> ValveHistory:
    """The history of one valve in one direction, without its sisters."""
    by_time = sorted(tests, key=lambda t: (t.when, t.row))
    compared, baseline = _chosen([_history_test(t, limits, ground) for t in by_time])
    bare = ValveHistory(tag=key[0], direction=key[1], group=limits.sisters, tests=tuple(compared))
    proofs = [t for t in compared if t.proof]
    if baseline is None:
        stated = (LimitInHistory(bound=b, time=b.value) for b in limits.bounds if b.direction is key[1])
        return replace(bare, limits=tuple(x for x in stated if x.bound.timed is Timed.MOVEMENT))
    interval = limits.interval or ground.interval
    due = interval.after(max(p.day for p in proofs))
    history = _with_trend(replace(bare, baseline=baseline, due=due), limits, ground)
    history = replace(history, overdue=max((ground.today - due).days, 0))
    said = _states(history, ground, interval.after(ground.today) if history.overdue else due)
    latest = _latest(proofs, interval, all_of_them=SCATTERED in said)
    margin, limit_states = _against(latest, key[1], limits)
    states = {*limit_states, *said} or {IN_ORDER}
    return replace(history, margin=margin, states=tuple(sorted(states, key=STATE_RANK.__getitem__)))


def _history_test(test: StrokeTest, limits: ValveLimits, ground: HistoryGround) -> HistoryTest:
    """A test with the time that can be compared, and whether it counts."""
    time, basis = test.time, test.timed
    delay = limits.delay if test.delay is None else test.delay
    if basis is Timed.ORDER and delay is not None:
        time, basis = time - delay, Timed.MOVEMENT
    apart = ""
    if test.when.date() > ground.today:
        apart = "after the day of this look"
    elif limits.normal and test.temperature is not None:
        low, high = limits.normal
        apart = "" if low <= test.temperature <= high else "off normal temperature"
    proof = not apart
    if time <= 0.0:
        apart = apart or "no longer than the delay in it"
    return HistoryTest(test=test, time=max(time, 0.0), basis=basis, apart=apart, proof=proof)


def _chosen(tests: Sequence[HistoryTest]) -> tuple[list[HistoryTest], Baseline | None]:
    """Choose the tests that are compared, all of one kind, and their baseline.

    They are of the kind of the latest test if that has three dates, otherwise of the kind with most dates.
    """
    proofs = [t for t in tests if not t.apart]
    if not proofs:
        return list(tests), None
    latest = proofs[-1].kind
    dates = {kind: len({p.day for p in proofs if p.kind == kind}) for kind in {p.kind for p in proofs}}
    kind = latest if dates[latest] >= 3 else max(dates, key=lambda k: (dates[k], k == latest))
    alike = [p for p in proofs if p.kind == kind]
    marked = [p.day for p in alike if _marks(p.test.remark)]
    day = max(marked, default=alike[0].day)
    rule = f"marked in a remark on {day}" if marked else f"first date on record, {day}"
    of_day = [p.time for p in alike if p.day == day]
    out = [replace(t, apart=t.apart or _why_apart(t, kind, day)) for t in tests]
    return out, Baseline(time=median(of_day), day=day, tests=len(of_day), rule=rule)


def _marks(remark: str) -> bool:
    """Whether a remark, or a part of it between commas or semicolons, is a mark of a baseline and no more."""
    parts = remark.replace(";", ",").split(",")
    return any(part.strip(" .").lower() in MARKS for part in parts)


def _why_apart(test: HistoryTest, kind: tuple[Timed | None, bool], day: date) -> str:
    if test.basis is not kind[0]:
        counts = "unknown what it counts" if test.basis is None else test.basis.value
        return f"not comparable: {counts}"
    if test.kind != kind:
        return "moved alone" if kind[1] else "moved together with others"
    return f"before the baseline of {day}" if test.day < day else ""


def _with_trend(history: ValveHistory, limits: ValveLimits, ground: HistoryGround) -> ValveHistory:
    """Add trend, scatter and the dates when limits are met."""
    assert history.baseline is not None
    counted = history.counted
    by_day: dict[date, list[float]] = {}
    for p in counted:
        by_day.setdefault(p.day, []).append(p.time)
    zero = min(by_day)
    days = [float((d - zero).days) for d in by_day]
    times = [median(t) for t in by_day.values()]
    trend = robust_trend(days, times, confidence=ground.confidence)
    base = history.baseline.time
    away = [abs(t - trend.value(d)) / base for d, t in zip(days, times, strict=True)] if base > 0.0 else []
    enough = len(away) >= LEAST_DATES
    ranges = [(max(t) - min(t)) / median(t) for t in by_day.values() if len(t) > 1 and median(t) > 0.0]
    others = _other_kinds(history.tests, counted, limits.interval or ground.interval)
    found = [_limit_in(b, counted, limits, trend, now=(zero, days[-1]), others=others) for b in limits.bounds]
    return replace(
        history,
        trend=trend,
        day_zero=zero,
        last=times[-1],
        change=times[-1] / base - 1.0 if base > 0.0 else None,
        scatter=MAD_TO_SD * median(away) if enough else None,
        furthest=max(away) if enough else None,
        repeatability=max(ranges, default=None),
        limits=tuple(x for x in found if x is not None and x.bound.direction is history.direction),
    )


def _other_kinds(
    tests: Sequence[HistoryTest], counted: Sequence[HistoryTest], interval: Interval
) -> list[float]:
    """How much longer than the trend's own the last times of the other kind are, alone or together [s].

    A valve that shares its power supply is faster alone, which is what surge goes by, and slower together,
    which is what the shutdown goes by. Old tests say nothing about today.
    """
    basis, own = counted[0].kind
    last_day = counted[-1].day
    other = [t for t in tests if t.proof and t.time > 0.0 and t.kind == (basis, not own)]
    day = max((p.day for p in other), default=None)
    if day is None or interval.after(day) < last_day:
        return []
    middle = median(p.time for p in counted if p.day == last_day)
    return [p.time - middle for p in other if p.day == day]


def _limit_in(
    bound: Bound,
    counted: Sequence[HistoryTest],
    limits: ValveLimits,
    trend: Trend,
    *,
    now: tuple[date, float],
    others: Sequence[float],
) -> LimitInHistory | None:
    """A limit among the times of a history; None if it counts something else and the delay is not known."""
    basis, time = counted[0].basis, bound.value
    if basis is not bound.timed:
        delay = limits.delay if counted[-1].test.delay is None else counted[-1].test.delay
        if basis is not Timed.MOVEMENT or delay is None:
            return None
        time -= delay
    last_day = counted[-1].day
    of_day = [p.time for p in counted if p.day == last_day]
    upper = bound.side is Side.SLOWEST
    worst = max if upper else min
    offset = worst([0.0, *others])
    met = crossing(trend, limit=time - offset, upper=upper, now=now[1], last=worst(of_day))
    return LimitInHistory(bound=bound, time=time, offset=offset, **_dates(met, *now))


def _dates(met: Crossing, zero: date, now: float) -> dict[str, date | None]:
    """Days as dates, rounded down: a limit is never met later than told."""
    return {
        name: zero + timedelta(days=int(day)) if day is not None and day - now <= FAR else None
        for name, day in (("expected", met.expected), ("earliest", met.earliest))
    }


def _latest(proofs: Sequence[HistoryTest], interval: Interval, *, all_of_them: bool) -> list[HistoryTest]:
    """The tests by which the valve is judged: of each kind those of its last date, unless that one is old.

    The next stroke of an erratic valve may be like any of them, so all that are not old count.
    """
    newest = max(p.day for p in proofs)
    last = {p.kind: p.day for p in proofs}
    holding = [p for p in proofs if interval.after(p.day) >= newest]
    return [p for p in holding if all_of_them or p.day == last[p.kind]]


def _against(
    latest: Sequence[HistoryTest], way: Direction, limits: ValveLimits
) -> tuple[float | None, set[str]]:
    """The least margin over all limits and latest tests, and what follows."""
    states: set[str] = set()
    margins: list[float] = []
    bounds = [b for b in limits.bounds if b.direction is way]
    for bound in bounds:
        for point in latest:
            span = spans_of(point.test, limits.delay)[bound.timed]
            fast = bound.side is Side.FASTEST
            worst, best = (span.least, span.most) if fast else (span.most, span.least)
            sign = 1.0 if fast else -1.0
            if sign * (best - bound.value) < -SAME_TIME:
                states.add(TOO_FAST if fast else TOO_SLOW)
            elif sign * (worst - bound.value) < -SAME_TIME:
                states.add(UNKNOWN)
            scale = max(bound.value, 1e-9)
            margins.append(min(max(sign * (worst - bound.value) / scale, -1.0), 1.0) if scale < 1e9 else -1.0)
    if any(w is way for w, *_ in limits.missing):
        states.add(UNKNOWN)
    elif not bounds:
        states.add(NO_LIMIT)
    return min(margins, default=None), states


def _states(history: ValveHistory, ground: HistoryGround, horizon: date) -> set[str]:
    """What the history says beside the limits themselves."""
    far = max(history.scatter or 0.0, (history.furthest or 0.0) * ground.erratic / ground.action)
    near = any(h.expected is not None and h.expected <= horizon for h in history.limits)
    may = any(h.earliest is not None and h.earliest <= horizon for h in history.limits)
    said = {
        NEAR: near,
        WATCH: may and not near,
        SCATTERED: far > ground.erratic + SAME_TIME
        or (history.repeatability or 0.0) > 2 * ground.erratic + SAME_TIME,
        DRIFTED: abs(history.change or 0.0) > ground.action + SAME_TIME,
        OVERDUE: history.overdue > 0,
    }
    return {state for state, holds in said.items() if holds}


def _with_sisters(made: Sequence[ValveHistory], ground: HistoryGround) -> list[ValveHistory]:
    """Add the comparison with the other valves of each group: same direction, same kind of time."""
    groups: dict[object, list[ValveHistory]] = {}
    for h in made:
        if h.group and h.last is not None:
            groups.setdefault((h.group, h.direction, h.counted[0].kind), []).append(h)
    found: dict[Key, Sisters] = {}
    for members in groups.values():
        for h in members:
            times = [o.last for o in members if o is not h and o.last is not None]
            if len(times) >= SISTERS and h.last is not None and median(times) > 0.0:
                middle = median(times)
                found[h.tag, h.direction] = Sisters(
                    group=h.group, count=len(times), median=middle, ratio=h.last / middle
                )
    return [_beside(h, found.get((h.tag, h.direction)), ground) for h in made]


def _beside(history: ValveHistory, sisters: Sisters | None, ground: HistoryGround) -> ValveHistory:
    if sisters is None:
        return history
    states = set(history.states)
    if abs(sisters.ratio - 1.0) > ground.action + SAME_TIME:
        states = (states | {UNLIKE}) - {IN_ORDER}
    return replace(history, sisters=sisters, states=tuple(sorted(states, key=STATE_RANK.__getitem__)))

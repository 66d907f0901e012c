"""What the two sides agree on, for the sheet: rates, order of closing, strokes, windows, shutdown chain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from surge.model.lineup import LineUp, PumpMove, Scenario, Trip, ValveMove
from surge.model.stroke import moves_so
from surge.model.topology import sides
from surge.model.way import outflow
from surge.reports.window import beside
from surge.reports.words import SHORT, Display, what_happens
from surge.rules.assess import Assessment
from surge.rules.book import MEASURES
from surge.rules.findings import EXCEEDED, worst_of
from surge.rules.ground import rank
from surge.rules.rulings import KEPT, NOT_DECIDED, NOT_KEPT, Ruling
from surge.search.rates import RateLimit
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows
from surge.sheet.rows import name_of
from surge.transient.result import ScenarioResult

NOT_SEARCHED = "not searched"
SAME_STROKE = 0.05  # [s] half the step to which strokes are told: a stroke this near to a bound is at it


@dataclass(frozen=True, slots=True, kw_only=True)
class ScenarioEntry:
    """One scenario: at what rate, how that is set, and what became of it.

    Attributes
    ----------
    stage : str
        "start", "bulk", "topping off", or "" when the case does not say.
    rate : str
        The agreed one; where none is agreed, what flows as pumps and levels give it.
    control : tuple of str
        How the rate is set: by throttling, pump speed or supply pressure.
    accuracy : tuple of str
        What the reader should know about the numerical error of this scenario.
    greatest : str
        Up to what rate every rate is safe; "" when it was not searched.
    lower_not_safe : str
        Unsafe rates between that and the agreed one, which is safe itself; "" when there are none.
    verdict : str
        "kept", "EXCEEDED", "undecided".
    """

    name: str
    note: str
    stage: str
    rate: str
    rate_m3_per_s: float | None
    control: tuple[str, ...]
    accuracy: tuple[str, ...]
    greatest: str
    greatest_m3_per_s: float | None
    lower_not_safe: str
    lower_not_safe_m3_per_s: tuple[float, float] | None
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """One valve or pump that moves, in the order of time.

    Attributes
    ----------
    part, side : str
        Its name; "shore", "ship" or "".
    what : str
        "closes", "opens", "moves to 40 %", "stops", "starts", "trips".
    begins, takes : str
        Seconds from the order, or from the first movement where there is none, and for the whole stroke or
        run-down, as printed; of a trip no seconds, since it is its inertia that tells.
    law : str
        Its points where the stroke is not one straight line.
    after : str
        What it waits for.
    not_faster, not_slower : str
        The window as printed; "not searched", or "-" for what has none.
    governs : str
        What bounds the window.
    objection : str
        Why the stroke does not fit into the window, "" if it does.
    """

    scenario: str
    part: str
    side: str
    what: str
    begins: str
    begins_s: float
    takes: str
    takes_s: float | None
    law: str
    after: str
    not_faster: str
    shortest_safe_s: float | None
    not_slower: str
    longest_allowed_s: float | None
    governs: str
    objection: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One term of a shutdown chain: what, from when to when after the order, as printed and in [s]."""

    what: str
    begins: str
    ends: str
    begins_s: float
    ends_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleLine:
    """One rule on time held against a chain: the sentence, its source, and whether it counts."""

    words: str
    source: str
    outcome: str
    counts: bool
    value_s: float | None
    limit_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The shutdown chain of one scenario, term by term, against the rules on time."""

    scenario: str
    terms: tuple[Term, ...]
    rules: tuple[RuleLine, ...]


def zeros(lineup: LineUp) -> dict[str, float]:
    """From when the times of each scenario are told [s]: the order, or the first movement without one."""
    return {s.name: _zero(s) for s in lineup.scenarios}


def _zero(scenario: Scenario) -> float:
    if scenario.ordered is not None:
        return scenario.ordered
    moves: list[ValveMove | PumpMove | Trip] = [*scenario.moves, *scenario.pump_moves, *scenario.trips]
    return min((m.start for m in moves), default=0.0)


# Stages


def stages(assessment: Assessment, windows: Windows | None, display: Display) -> tuple[ScenarioEntry, ...]:
    """One for each scenario, in the order of the case."""
    rates = {r.scenario: r for r in windows.rates} if windows else {}
    return tuple(_stage(assessment, s, rates.get(s.name), display) for s in assessment.lineup.scenarios)


def _stage(
    assessment: Assessment, scenario: Scenario, limit: RateLimit | None, display: Display
) -> ScenarioEntry:
    agreed = _agreed(assessment.lineup, scenario)
    runs = [run for run in assessment.scenarios if run.name == scenario.name]
    control, accuracy = _notes(runs, display)
    found = (f.verdict for f in assessment.findings if f.scenario == scenario.name)
    broken = (r.verdict for r in assessment.broken if r.scenario == scenario.name)
    return ScenarioEntry(
        name=scenario.name,
        note=scenario.note,
        stage=scenario.stage,
        rate=_rate(assessment.lineup, agreed, runs, display),
        rate_m3_per_s=agreed if agreed is not None else _flowing(assessment.lineup, runs),
        control=control,
        accuracy=accuracy,
        greatest=_greatest(limit, display) if limit else "",
        greatest_m3_per_s=limit.greatest if limit else None,
        lower_not_safe=_lower(limit, display) if limit else "",
        lower_not_safe_m3_per_s=limit.unsafe_below if limit else None,
        verdict=SHORT[worst_of([*found, *broken])],
    )


def _notes(runs: Sequence[ScenarioResult], display: Display) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """How the rate is set, in the worst run, and what the runs say of their numerical error.

    The words on the error are a run's last note, where it fell short of what was aimed at.
    """
    controls: list[tuple[str, ...]] = []
    accuracy: dict[str, None] = {}
    for run in runs:
        set_up = run.notes[:-1] if run.method.worst_error > run.method.tolerance else run.notes
        controls.append(tuple(display.phrase(note).removeprefix("rate set by ") for note in set_up))
        accuracy |= dict.fromkeys(display.phrase(note) for note in run.notes[len(set_up) :])
    differ = any(control != controls[0] for control in controls)
    taken = name_of(runs[0], display).removeprefix(f"{runs[0].name}, ")
    return (*controls[0], *([f"so with {taken}"] if differ else [])), tuple(accuracy)


def _agreed(lineup: LineUp, scenario: Scenario) -> float | None:
    if scenario.rate is not None:
        return scenario.rate
    return lineup.rate.agreed if lineup.rate else None


def _rate(lineup: LineUp, agreed: float | None, runs: Sequence[ScenarioResult], display: Display) -> str:
    """The rate as printed; where none is agreed, what flows."""
    if agreed is not None:
        return display.flow(agreed)
    return f"{display.flow(_flowing(lineup, runs))}, as pumps and levels give it"


def _flowing(lineup: LineUp, runs: Sequence[ScenarioResult]) -> float:
    """What flows out of where the cargo comes from before anything moves, the most of all runs [m3/s]."""
    flows = [{name: float(q[0]) for name, q in run.history.flow.items()} for run in runs]
    return max(sum(outflow(lineup, flow, point) for point in lineup.sources) for flow in flows)


def _greatest(limit: RateLimit, display: Display) -> str:
    if limit.greatest is None:
        named = f': rule "{limit.rule.rule.name}"' if limit.rule is not None else ""
        return f"none was found{named}"
    looked = ", the highest rate tried" if limit.greatest >= limit.to * 0.999 else ""
    if limit.rule is not None:
        looked = f', by the rule "{limit.rule.rule.name}"'
    return f"up to {display.flow_down(limit.greatest)}{looked}"


def _lower(limit: RateLimit, display: Display) -> str:
    if limit.unsafe_below is None:
        return ""
    low, high = limit.unsafe_below
    return f"between {display.flow_down(low)} and {display.flow_up(high)}"


# Movements


def movements(assessment: Assessment, windows: Windows | None, display: Display) -> tuple[Movement, ...]:
    """Everything that moves, scenario after scenario, each in the order of time.

    A shutdown stands once, with the window that holds at every stage at which it was run.
    """
    side = sides(assessment.lineup)
    limits = {(p.scenario, v): p for v, ps in (windows.by_valve if windows else {}).items() for p in ps}
    made = []
    for scenario in (s for s in assessment.lineup.scenarios if not s.repeats):
        again = _again(assessment, scenario)
        moves: list[ValveMove | PumpMove | Trip] = [*scenario.moves, *scenario.pump_moves, *scenario.trips]
        for move in sorted(moves, key=lambda m: (m.start, m.origin)):
            if isinstance(move, Trip):
                made.append(_tripped(scenario, move, side.get(move.pump, ""), display))
                continue
            name = move.valve if isinstance(move, ValveMove) else move.pump
            found = [part for s in again if (part := limits.get((s, name))) and _closes(move)]
            limit = at_all_stages(found) if found else None
            made.append(_movement(scenario, move, side.get(name, ""), limit, display))
    return tuple(made)


def _again(assessment: Assessment, scenario: Scenario) -> list[str]:
    """A scenario and those that repeat its shutdown at other stages, by name."""
    return [s.name for s in assessment.lineup.scenarios if scenario.name in (s.name, s.repeats)]


def at_all_stages(found: Sequence[StrokeLimits]) -> StrokeLimits:
    """The window that holds at every stage: the one with the longest shortest stroke, no longer than any."""
    worst = max(found, key=lambda part: math.inf if part.shortest is None else part.shortest)
    slowest = min(found, key=lambda part: math.inf if part.longest is None else part.longest)
    return replace(worst, longest=slowest.longest, slow_rule=slowest.slow_rule)


def _closes(move: ValveMove | PumpMove) -> bool:
    return isinstance(move, ValveMove) and moves_so(move, opens=False)


def _movement(
    scenario: Scenario, move: ValveMove | PumpMove, side: str, limit: StrokeLimits | None, display: Display
) -> Movement:
    takes = move.law[-1][0]
    fast, slow, governs = _window(limit, display)
    if limit is None and not _closes(move):
        fast = slow = "-"
    return Movement(
        scenario=scenario.name,
        part=move.valve if isinstance(move, ValveMove) else move.pump,
        side=move.side or side,
        what=_what(move),
        begins=f"{display.instant(scenario.name, move.start)} s",
        begins_s=move.start - display.zeros.get(scenario.name, 0.0),
        takes=f"{display.time(takes)} s" if takes > 0 else "at once",
        takes_s=takes,
        law=_law(move, display),
        after=move.after,
        not_faster=fast,
        shortest_safe_s=limit.shortest if limit else None,
        not_slower=slow,
        longest_allowed_s=limit.longest if limit else None,
        governs=governs,
        objection=_objection(limit, takes, display) if limit else "",
    )


def _tripped(scenario: Scenario, trip: Trip, side: str, display: Display) -> Movement:
    """A pump that trips: its run-down follows from its inertia."""
    return Movement(
        scenario=scenario.name,
        part=trip.pump,
        side=trip.side or side,
        what="trips",
        begins=f"{display.instant(scenario.name, trip.start)} s",
        begins_s=trip.start - display.zeros.get(scenario.name, 0.0),
        takes="by its inertia",
        takes_s=None,
        law="",
        after=trip.after,
        not_faster="-",
        shortest_safe_s=None,
        not_slower="-",
        longest_allowed_s=None,
        governs="",
        objection="",
    )


def _what(move: ValveMove | PumpMove) -> str:
    first, last = move.law[0][1], move.law[-1][1]
    if isinstance(move, PumpMove):
        return "stops" if last < first else "starts"
    if last == 0.0:
        return "closes"
    return "opens" if last == 1.0 else f"moves to {last * 100:.0f} %"


def _law(move: ValveMove | PumpMove, display: Display) -> str:
    if len(move.law) == 2:
        return ""
    share = "of its speed" if isinstance(move, PumpMove) else "open"
    points = ", ".join(f"{value * 100:.0f} % at {display.time(time)} s" for time, value in move.law)
    return f"{points} ({share}, from its beginning)"


def _window(limit: StrokeLimits | None, display: Display) -> tuple[str, str, str]:
    """Both bounds as printed, and what governs them."""
    if limit is None:
        return NOT_SEARCHED, NOT_SEARCHED, ""
    governs = [said] if (said := beside(limit.together, limit.held).strip(" ()")) else []
    if limit.shortest is None:
        fast = "no stroke is safe" if limit.verdict == EXCEEDED else "none shown to be safe"
        governs.append(limit.reason)
    else:
        at_end = limit.shortest <= limit.from_
        fast = f"any; {limit.shortest:g} s tried" if at_end else f"{limit.shortest:.1f} s"
        if limit.fast_rule is not None:
            rule = limit.fast_rule
            governs.append(f"not faster: {rule.name}, {rule.figure_text} [{rule.source}]")
        elif limit.governs is not None and not at_end:
            what = what_happens(limit.governs, limit.run, display)
            governs.append(f'surge: "{limit.governs.name}", {what}')
    if limit.longest is None:
        slow = "no upper limit"
    else:
        slow = f"{limit.longest:.1f} s" if limit.longest > 0 else "every stroke is too slow"
        slowest = limit.slow_rule
        governs.append(
            f"time: {slowest.name}, {slowest.figure_text} [{slowest.source}]" if slowest else "time"
        )
    return fast, slow, "; ".join(g for g in governs if g)


def _objection(limit: StrokeLimits, takes: float, display: Display) -> str:
    """Why the stroke of the case is not one of the window."""
    whose = f'"{limit.valve}" in "{limit.scenario}"'
    if limit.shortest is None:
        return f"{whose}: no stroke time is shown to be safe."
    if limit.longest is not None and limit.shortest > limit.longest:
        return f"{whose}: the window of stroke times is empty."
    if takes < limit.shortest - SAME_STROKE and limit.shortest > limit.from_:
        return (
            f"{whose}: {display.time(takes)} s is faster than the shortest stroke from which on every longer "
            f"one is safe, {limit.shortest:.1f} s."
        )
    if limit.longest is not None and takes > limit.longest + SAME_STROKE:
        return (
            f"{whose}: {display.time(takes)} s is slower than the rules on time allow, {limit.longest:.1f} s."
        )
    return ""


# Shutdown chains


def chains(assessment: Assessment, display: Display) -> tuple[Chain, ...]:
    """The chain of every shutdown; what the rules on time say of it at the stage at which they mind most."""
    return tuple(
        Chain(
            scenario=s.name,
            terms=_terms(s, s.ordered, display),
            rules=_rules(assessment.rulings, _again(assessment, s), display),
        )
        for s in assessment.lineup.scenarios
        if s.ordered is not None and not s.repeats
    )


def _terms(scenario: Scenario, ordered: float, display: Display) -> tuple[Term, ...]:
    """Detection and signal, then every step, each from when to when after the order."""
    timing, at, made = dict(scenario.timing), 0.0, []
    for what in ("detection", "signal"):
        seconds = timing.get(what, 0.0)
        made.append(_term(what, at, at + seconds, display))
        at += seconds
    if "voice" in timing:
        made.append(_term("call to the other side", at, at + timing["voice"], display))
    every: list[ValveMove | PumpMove] = [*scenario.moves, *scenario.pump_moves]
    steps: list[ValveMove | PumpMove | Trip] = [m for m in every if m.what == "shutdown"]
    steps += [t for t in scenario.trips if t.side]
    for move in sorted(steps, key=lambda m: (m.start, m.origin)):
        begins = move.start - ordered
        if isinstance(move, Trip):
            made.append(_term(f"{move.pump} trips", begins, begins, display))
            continue
        name = move.valve if isinstance(move, ValveMove) else move.pump
        made.append(_term(f"{name} {_what(move)}", begins, begins + move.law[-1][0], display))
    return tuple(made)


def _term(what: str, begins: float, ends: float, display: Display) -> Term:
    return Term(
        what=what,
        begins=f"{display.time(begins)} s",
        ends=f"{display.time(ends)} s",
        begins_s=begins,
        ends_s=ends,
    )


def _rules(rulings: Sequence[Ruling], scenarios: Sequence[str], display: Display) -> tuple[RuleLine, ...]:
    """Rulings on the times of a chain, those that count first; each rule at the stage where it minds most."""
    worst: dict[tuple[str, str], Ruling] = {}
    for name in scenarios:
        for r in (r for r in rulings if r.scenario == name and MEASURES[r.rule.measure].terms):
            known = worst.get((r.rule.id, r.subject))
            told = r.outcome in (KEPT, NOT_KEPT, NOT_DECIDED)
            if told and (known is None or rank(r) > rank(known)):
                worst[r.rule.id, r.subject] = r
    own = list(worst.values())
    return tuple(
        RuleLine(
            words=display.phrase(r.phrase),
            source=r.rule.source,
            outcome=r.outcome,
            counts=r.binding,
            value_s=r.value,
            limit_s=r.limit,
        )
        for r in sorted(own, key=lambda r: (not r.binding, r.outcome == KEPT))
    )

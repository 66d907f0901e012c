"""Rulings on times: how long a shutdown takes, term by term, and when the flow has stopped.

All from the laws of the valves and from what is joined to what; nothing is simulated. Times [s].
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from surge.model.lineup import LineUp, PumpMove, Scenario, Table, ValveMove
from surge.model.stroke import opening_over_time
from surge.model.topology import neighbours, reached
from surge.rules.book import Rule
from surge.rules.ground import (
    NO_SHUTDOWN,
    NOT_KEPT,
    RuledCase,
    Ruling,
    Unknown,
    judged,
    may_apply,
    not_checked,
    passed_over,
    rank,
    stated,
)
from surge.transient.result import ScenarioResult

SAME_INSTANT = 1e-6  # [s] instants nearer than this are one
WAITING = "waiting"  # a wait whose cause the case does not tell: always counted

Move = ValveMove | PumpMove


# The chain of a shutdown


@dataclass(frozen=True, kw_only=True)
class ShutdownStep:
    """One step of a shutdown.

    Attributes
    ----------
    move : ValveMove or PumpMove
    waits : dict of str to float
        Why it waited after the signal: "operator response", "pump stop", "earlier valves", "waiting" [s].
    stroke : float
        Whole stroke, or run-down [s].
    """

    move: Move
    waits: dict[str, float]
    stroke: float

    @property
    def name(self) -> str:
        """The valve or pump."""
        return self.move.valve if isinstance(self.move, ValveMove) else self.move.pump

    @property
    def end(self) -> float:
        """When its whole stroke is over [s]."""
        return self.move.start + self.stroke


def closes(law: Table) -> float | None:
    """When a law is shut for good [s] from its beginning; None if it does not end shut."""
    if law[-1][1] != 0.0:
        return None
    shut = len(law) - 1
    while shut > 0 and law[shut - 1][1] == 0.0:
        shut -= 1
    return law[shut][0]


def chain(scenario: Scenario) -> tuple[ShutdownStep, ...]:
    """Steps of a scenario's shutdown in their order, each with what it waited for.

    A step that begins when an earlier one is over waited for that one, and for all that it waited for.
    """
    assert scenario.ordered is not None
    timing = dict(scenario.timing)
    base = scenario.ordered + timing.get("detection", 0.0) + timing.get("signal", 0.0)
    voice = timing.get("voice", 0.0)
    every: tuple[Move, ...] = (*scenario.moves, *scenario.pump_moves)
    moves = [m for m in every if m.what == "shutdown"]
    steps: list[ShutdownStep] = []
    for move in sorted(moves, key=lambda m: m.start):
        wait = move.start - base
        stroke = move.law[-1][0]
        before = next((s for s in steps if s.stroke > 0 and abs(s.end - move.start) <= SAME_INSTANT), None)
        if wait <= SAME_INSTANT:
            waits = {}
        elif before is not None:
            kind = "earlier valves" if isinstance(before.move, ValveMove) else "pump stop"
            waits = before.waits | {kind: before.waits.get(kind, 0.0) + before.stroke}
        elif voice > 0 and abs(wait - voice) <= SAME_INSTANT:
            waits = {"operator response": wait}
        else:
            waits = {WAITING: wait}
        steps.append(ShutdownStep(move=move, waits=waits, stroke=stroke))
    return tuple(steps)


def uncounted(scenario: Scenario, rule: Rule, waits: dict[str, float]) -> float:
    """Terms of a step that a rule does not count [s]; a wait of unknown cause is counted."""
    timing = dict(scenario.timing)
    terms = {k: timing.get(k, 0.0) for k in ("detection", "signal")} | waits
    return sum(t for term, t in terms.items() if term != WAITING and term not in rule.counts)


# When the flow has stopped


def _shut_from(law: Table) -> list[tuple[float, float]]:
    """Stretches of time in which a valve is shut [s]; the last one may have no end."""
    spans = [(t0, t1) for (t0, a), (t1, b) in zip(law, law[1:], strict=False) if a == b == 0.0]
    if law[-1][1] == 0.0:
        spans.append((law[-1][0], math.inf))
    return spans


def laws_of(lineup: LineUp, scenario: Scenario, run: ScenarioResult) -> dict[str, Table]:
    """Opening of every valve against time, as the scenario moves it from where it stood."""
    return {
        v.name: opening_over_time(run.opening[v.name], tuple(m for m in scenario.moves if m.valve == v.name))
        for v in lineup.valves
    }


def ends_lacking(lineup: LineUp) -> Unknown | None:
    """What lacks for telling when shore and ship are parted; None where nothing does."""
    ashore = lineup.discharges
    lacking = [] if lineup.sources else ["no tank of the ship" if ashore else "no shore tank and no supply"]
    if not lineup.receiving:
        lacking.append("no shore tank" if ashore else "no tank of the ship")
    if not lacking:
        return None
    to = "ashore" if ashore else "to the ship"
    return Unknown(
        reason=f"the case has {' and '.join(lacking)}: nothing tells when the flow {to} has stopped",
        supply="write where the cargo comes from and the tank that it goes to, as [[tank]] with "
        'side = "shore" and side = "ship"',
    )


def open_ways(lineup: LineUp, laws: dict[str, Table]) -> tuple[tuple[float, frozenset[str]], ...]:
    """Return what shut valves leave joined with a source of liquid, stretch by stretch.

    Parameters
    ----------
    lineup : LineUp
    laws : dict of str to Table
        Opening of every valve against time.

    Returns
    -------
    tuple of (float, frozenset of str)
        When a stretch begins [s], and the points that liquid reaches in it. The last has no end. A pump that
        stands still parts nothing: liquid siphons on through it.
    """
    sources = lineup.sources
    spans = {name: _shut_from(law) for name, law in laws.items()}
    joined = neighbours(lineup)
    instants = sorted({0.0} | {t for each in spans.values() for span in each for t in span if t < math.inf})

    def reach(begin: float, end: float) -> frozenset[str]:
        shut = {
            name
            for name, each in spans.items()
            if any(a <= begin + SAME_INSTANT and end <= b + SAME_INSTANT for a, b in each)
        }
        return frozenset(reached(joined, sources, without=shut))

    return tuple((a, reach(a, b)) for a, b in zip(instants, [*instants[1:], math.inf], strict=True))


def stopped_at(ways: Sequence[tuple[float, frozenset[str]]], into: Iterable[str]) -> float | None:
    """When shut valves part every source from the points ``into``, and keep them parted.

    Parameters
    ----------
    ways : sequence of (float, frozenset of str)
        As of :func:`open_ways`.
    into : iterable of str
        Points of tanks that receive.

    Returns
    -------
    float or None
        [s]; None if a way stays open, or there is nothing to part.
    """
    into = set(into)
    since: float | None = None
    for begin, points in reversed(ways if into and any(points for _, points in ways) else ()):
        if not points.isdisjoint(into):
            break
        since = begin
    return since


def stops_at(ground: RuledCase, scenario: Scenario, run: ScenarioResult, into: Iterable[str]) -> float | None:
    """When the flow into some points has stopped for good in a run [s]; as :func:`stopped_at`."""
    lineup = ground.lineup
    ways = ground.once(
        ("ways", scenario.name, id(run)), lambda: open_ways(lineup, laws_of(lineup, scenario, run))
    )
    return stopped_at(ways, into)


# Rulings


def each_shutdown(
    rule: Rule, ground: RuledCase, rule_one: Callable[[Rule, RuledCase, Scenario], list[Ruling]]
) -> list[Ruling]:
    """Hold a rule against every scenario with a shutdown to which it applies."""
    answer = ground.applies(rule)
    if isinstance(answer, Unknown):
        return [may_apply(rule, answer)]
    if not answer:
        return [passed_over(rule, f"it is for: {rule.applies}")]
    if not ground.shutdowns:
        return [not_checked(rule, NO_SHUTDOWN.reason, supply=NO_SHUTDOWN.supply)]
    found: list[Ruling] = []
    for scenario in ground.shutdowns:
        if ground.applies(rule, scenario=scenario) is True:
            found += rule_one(rule, ground, scenario)
    return found or [passed_over(rule, f"it is for: {rule.applies}")]


def stop_flow(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """From the order to the instant from which shut valves part every source from every ship's tank."""
    return each_shutdown(rule, ground, _stop_flow)


def _stop_flow(rule: Rule, ground: RuledCase, scenario: Scenario) -> list[Ruling]:
    if (lacking := ends_lacking(ground.lineup)) is not None:
        return [not_checked(rule, lacking.reason, supply=lacking.supply, scenario=scenario.name)]
    into = {t.point for t in ground.lineup.receiving}
    time = counted_stop(rule, ground, scenario, into)
    if time is None:
        return [still_open(rule, scenario)]
    doubt = "; first_transfer is after the day of this transfer, and is taken as not stated"
    behind = " by shut valves" + doubt * ground.transfer_before_first
    clause = (f'In "{scenario.name}" the flow is stopped within ', behind)
    limit = rule.figure
    return [judged(rule, scenario=scenario.name, value=time, limit=limit, clause=clause)]


def counted_stop(rule: Rule, ground: RuledCase, scenario: Scenario, into: Iterable[str]) -> float | None:
    """Time that a rule counts until the flow into some points has stopped [s]; None if it never does."""
    times = [_counted(rule, ground, scenario, run, into) for run in ground.runs[scenario.name]]
    return None if None in times else max(t for t in times if t is not None)


def _counted(
    rule: Rule, ground: RuledCase, scenario: Scenario, run: ScenarioResult, into: Iterable[str]
) -> float | None:
    assert scenario.ordered is not None
    at = stops_at(ground, scenario, run, into)
    if at is None:
        return None
    if at <= scenario.ordered:
        return 0.0
    # Many tanks are parted at the same instant.
    saved = ground.once(
        ("saved", rule.id, scenario.name, id(run), at),
        lambda: _saved(rule, scenario, laws_of(ground.lineup, scenario, run), at),
    )
    return max(at - scenario.ordered - saved, 0.0)


def _saved(rule: Rule, scenario: Scenario, laws: dict[str, Table], at: float) -> float:
    """Terms that a rule does not count of the time until the valves that shut at ``at`` had shut [s].

    What shuts by an event waited for nothing: nothing is taken off, nor where other valves shut with it.
    """
    steps = [s for s in chain(scenario) if isinstance(s.move, ValveMove)]
    terms: list[float] = []
    for name, law in laws.items():
        if not any(abs(begin - at) <= SAME_INSTANT for begin, _ in _shut_from(law)):
            continue
        moved = [
            m
            for m in scenario.moves
            if m.valve == name and m.start - SAME_INSTANT <= at <= m.start + m.law[-1][0] + SAME_INSTANT
        ]
        own = [s for s in steps if s.move in moved]
        by_chain = bool(own) and len(own) == len(moved)
        terms.append(min(uncounted(scenario, rule, s.waits) for s in own) if by_chain else 0.0)
    return min(terms, default=0.0)


def still_open(rule: Rule, scenario: Scenario, *, tank: str = "") -> Ruling:
    """The ruling on a shutdown after which liquid can still flow to the ship."""
    whose = f'the tank "{tank}"' if tank else "a tank of the ship"
    words = (
        f'In "{scenario.name}" no shut valve parts {whose} from the shore: not kept; a stopped pump does not '
        "count, liquid siphons on through it."
    )
    return stated(rule, NOT_KEPT, words, scenario=scenario.name, subject=tank, limit=rule.figure)


def total_shutdown(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """The last valve of the shutdown to be shut, by its whole stroke."""
    return each_shutdown(rule, ground, _total_shutdown)


def _total_shutdown(rule: Rule, ground: RuledCase, scenario: Scenario) -> list[Ruling]:  # noqa: ARG001  as its kind
    assert scenario.ordered is not None
    found = []
    for step in chain(scenario):
        shut = closes(step.move.law) if isinstance(step.move, ValveMove) else None
        if shut is None:
            continue
        saved = uncounted(scenario, rule, step.waits)
        found.append(
            judged(
                rule,
                scenario=scenario.name,
                subject=step.name,
                value=step.move.start + shut - scenario.ordered - saved,
                limit=rule.figure,
                clause=(f'In "{scenario.name}" "{step.name}" is shut last, within ', f" ({_terms(rule)})"),
            )
        )
    if not found:
        return [
            not_checked(
                rule,
                f'the shutdown of "{scenario.name}" shuts no valve',
                supply="write a step that closes a valve",
                scenario=scenario.name,
            )
        ]
    return [max(found, key=rank)]


def _terms(rule: Rule) -> str:
    return "counted: " + ", ".join(rule.counts)


def shore_first(rule: Rule, ground: RuledCase) -> list[Ruling]:
    """From the stop of a pump or valve ashore to the ship's first valve beginning to shut."""
    return each_shutdown(rule, ground, _shore_first)


def _shore_first(rule: Rule, ground: RuledCase, scenario: Scenario) -> list[Ruling]:
    if ground.lineup.discharges:
        return [passed_over(rule, "it is for loading, and this is a discharge")]
    name, shore, ship = scenario.name, [], []
    for step in chain(scenario):
        side = step.move.side or ("shore" if isinstance(step.move, PumpMove) else ground.side[step.name])
        if not side:
            reason = f'the case does not tell on which side "{step.name}" stands'
            return [not_checked(rule, reason, supply="write side in each step", scenario=name)]
        if side == "shore" and step.move.law[-1][1] == 0.0:
            shore.append(step.end)
        if side == "ship" and isinstance(step.move, ValveMove):
            ship.append(step.move.start)
    if not ship:
        return [passed_over(rule, f'no valve of the ship shuts in "{name}"')]
    if not shore:
        words = f'In "{name}" a valve of the ship shuts and nothing stops ashore: not kept.'
        return [stated(rule, NOT_KEPT, words, scenario=name, limit=rule.figure)]
    lead = min(ship) - min(shore)
    clause = (f'In "{name}" from the stop ashore to the ship\'s first valve beginning to shut there are ',)
    return [judged(rule, scenario=name, value=lead, limit=rule.figure, clause=clause)]

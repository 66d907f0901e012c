"""The order question: every order in which the valves of a scenario can shut, or open, is run.

A stroke that is kind to one valve can be worse for another, and the valve that shuts last takes the whole
flow. So the peaks of each order stand side by side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from surge.model.lineup import LineUp, PumpMove, Scenario, ValveMove
from surge.model.stroke import moves_so
from surge.model.topology import sides
from surge.rules.findings import EXCEEDED, Finding, findings_of, weakest, worst_of
from surge.rules.static import static_over_densities
from surge.search.judge import NO_RULES, Bench
from surge.search.movers import SAME_INSTANT
from surge.search.scan import Scanner
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult
from surge.transient.sensitivities import full_run
from surge.workers import AT_ONCE, Progress, workers


@dataclass(frozen=True, kw_only=True)
class Pressures:
    """Highest and lowest pressure of an element or a place in one order.

    Attributes
    ----------
    subject : str
        "element" or "place".
    """

    subject: str
    name: str
    highest: Extreme
    lowest: Extreme


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderAnswer:
    """What came of one order.

    Attributes
    ----------
    order : Order
    runs : tuple of ScenarioResult
        Full runs: one, or where something is a range one at each place in it; only the worst one when that
        exceeds a limit already.
    findings : tuple of Finding
        Static ones first.
    pressures : tuple of Pressures
        The worst over the runs, elements before places.
    verdict : str
    governs : Finding or None
        The nearest limit.
    run : ScenarioResult
        The run that it is found in; where shut-off pressure governs, the worst one.
    """

    order: MovementOrder
    runs: tuple[ScenarioResult, ...]
    findings: tuple[Finding, ...]
    pressures: tuple[Pressures, ...]
    verdict: str
    governs: Finding | None
    run: ScenarioResult

    @property
    def boils(self) -> bool:
        """Whether the liquid boils: only pressures before that are valid."""
        return any(r.vapour is not None for r in self.runs)


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderQuestion:
    """The orders of one scenario, that of the case first.

    Attributes
    ----------
    kind : str
        "shutdown", "sequence" of valves that shut, or "opening".
    left_out : tuple of (str, str)
        Orders that cannot be, and why.
    """

    scenario: str
    kind: str
    answers: tuple[OrderAnswer, ...]
    left_out: tuple[tuple[str, str], ...] = ()

    @property
    def valid(self) -> tuple[OrderAnswer, ...]:
        """Orders in which the liquid never boils: their pressures can be compared."""
        return tuple(a for a in self.answers if not a.boils)

    def kindest(self, subject: str, name: str) -> str | None:
        """The order in which the highest pressure there is lowest; None where errors hide it.

        Only valid orders are compared, and one alone is not.
        """
        rows = [
            (p.highest, a.order.name)
            for a in self.valid
            for p in a.pressures
            if (p.subject, p.name) == (subject, name)
        ]
        rows.sort(key=lambda row: row[0].pressure)
        if len(rows) < 2:
            return None
        (least, order), others = rows[0], rows[1:]
        if all(x.pressure - x.error > least.pressure + least.error for x, _ in others):
            return order
        return None


def order_question(
    lineup: LineUp,
    scenario: Scenario,
    *,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> OrderQuestion | None:
    """Run every order of a scenario.

    Parameters
    ----------
    lineup : LineUp
        Checked, with the rule book's limit at the top of the cargo pump
        (:func:`surge.rules.pressure.with_pump_top`); lengths and wave speeds may be ranges.
    scenario : Scenario
    bench : Bench, optional
        Of this line-up: its book of rules counts for the verdicts; without one only pressures do.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    OrderQuestion or None
        None where the scenario has one order only.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    kind, orders, left_out = orders_of(lineup, scenario)
    if not kind:
        return None
    tell = progress or (lambda _: None)
    bench = bench or Bench(lineup, NO_RULES, progress)
    lineups = bench.over(scenario)
    # Where something is a range the quick pass tells at which figures each order is worst.
    ranged = len(lineups) > 1
    scans = [Scanner(one, scenario).moved([o.scenario for o in orders]) for one in lineups if ranged]
    static = static_over_densities(lineup)

    def answer(k: int) -> OrderAnswer:
        tell(f'"{scenario.name}": {orders[k].name}')
        worst_first = sorted(lineups, key=lambda one: scans[lineups.index(one)][k].margin if scans else 0.0)
        pairs = []
        for one in worst_first:
            run = full_run(one, orders[k].scenario, progress=progress)
            pairs.append((run, findings_of(one, run)))
            if worst_of(f.verdict for f in pairs[0][1]) == EXCEEDED:
                break  # other figures cannot make it safe
        if not ranged:
            bench.keep(orders[k].scenario, lineup, pairs[0][0])
        made = _answer(orders[k], static, pairs)
        if made.verdict == EXCEEDED:
            return made
        return replace(made, verdict=worst_of([made.verdict, bench.judge(orders[k].scenario).verdict]))

    with workers(AT_ONCE) as pool:
        answers = tuple(pool.map(answer, range(len(orders))))
    return OrderQuestion(scenario=scenario.name, kind=kind, answers=answers, left_out=tuple(left_out))


def _answer(
    order: MovementOrder,
    static: Sequence[Finding],
    pairs: Sequence[tuple[ScenarioResult, tuple[Finding, ...]]],
) -> OrderAnswer:
    found = [*static, *(f for _, own in pairs for f in own)]
    governs = weakest(found)
    return OrderAnswer(
        order=order,
        runs=tuple(run for run, _ in pairs),
        findings=tuple(found),
        pressures=_worst_pressures([run for run, _ in pairs]),
        verdict=worst_of(f.verdict for f in found),
        governs=governs,
        run=next((run for run, own in pairs if governs in own), pairs[0][0]),
    )


def _worst_pressures(runs: Sequence[ScenarioResult]) -> tuple[Pressures, ...]:
    """The worst over runs of one scenario on one line-up."""
    first = runs[0]
    found = [_worst("element", [r.elements[k] for r in runs]) for k in range(len(first.elements))]
    found += [_worst("place", [r.places[k] for r in runs]) for k in range(len(first.places))]
    return tuple(found)


def _worst(subject: str, same: Sequence[ElementResult | PlaceResult]) -> Pressures:
    return Pressures(
        subject=subject,
        name=same[0].name,
        highest=max((x.highest for x in same), key=lambda e: e.pressure),
        lowest=min((x.lowest for x in same), key=lambda e: e.pressure),
    )


MOST_ORDERS = 6  # orders


IN_CASE, REVERSED, TOGETHER = "as in the case", "reversed", "all together"


SHIP_FIRST, SHORE_FIRST, BOTH = "ship first", "shore first", "both together"


NO_ORDER = "a step would wait for itself: a pump stops after a valve that comes after it"


Move = ValveMove | PumpMove


@dataclass(frozen=True, kw_only=True, eq=False)
class MovementOrder:
    """One order of the movements of a scenario; strokes are those of the case.

    Attributes
    ----------
    name : str
        Of the order; several names where they come to the same.
    as_in_case : bool
    scenario : Scenario
    total : float
        From the order to stop, or the first movement, to the end of the last whole stroke [s].
    """

    name: str
    as_in_case: bool
    scenario: Scenario
    total: float

    @property
    def steps(self) -> tuple[tuple[str, float, float], ...]:
        """Valve or pump, when its movement begins and how long that takes [s], in order of time."""
        moves = sorted(_every(self.scenario), key=lambda m: (m.start, m.origin[-1:]))
        return tuple((_name(m), m.start, m.law[-1][0]) for m in moves)


def _every(scenario: Scenario) -> tuple[Move, ...]:
    return (*scenario.moves, *scenario.pump_moves)


def _name(move: Move) -> str:
    return move.valve if isinstance(move, ValveMove) else move.pump


def _closes(move: Move) -> bool:
    return isinstance(move, ValveMove) and moves_so(move, opens=False)


def _moved(scenario: Scenario, moves: Mapping[str, Move]) -> Scenario:
    """Return the scenario with some movements replaced, by their places in the case."""
    by_origin = {m.origin: m for m in moves.values()}
    valves = [by_origin.get(m.origin, m) for m in scenario.moves]
    pumps = [by_origin.get(m.origin, m) for m in scenario.pump_moves]
    ends = {_name(m): m.start + m.law[-1][0] for m in (*valves, *pumps)}
    trips = (
        replace(t, start=max(t.earliest, ends[t.after]) + t.wait) if t.after in ends else t
        for t in scenario.trips
    )
    return replace(
        scenario,
        moves=tuple(m for m in valves if isinstance(m, ValveMove)),
        pump_moves=tuple(m for m in pumps if isinstance(m, PumpMove)),
        trips=tuple(trips),
    )


class _Chain:
    """The steps of a shutdown, each with what it waits for."""

    def __init__(self, lineup: LineUp, scenario: Scenario) -> None:
        self.scenario = scenario
        ordered = [m for m in _every(scenario) if m.side or m.what == "shutdown"]
        self.steps = {_name(m): m for m in ordered}
        self.plain = len(self.steps) == len(ordered)
        standing = sides(lineup)
        self.side = {n: m.side or standing.get(n, "") for n, m in self.steps.items() if _closes(m)}

    @property
    def asks(self) -> bool:
        """Whether it shuts valves on both sides, each once."""
        return self.plain and {"ship", "shore"} <= set(self.side.values())

    def valves(self, side: str) -> set[str]:
        return {n for n, s in self.side.items() if s == side}

    def own(self, name: str) -> str:
        """What a step waits for on its own side, or the pump; valves of the other side are passed over."""
        after = self.steps[name].after
        while name in self.side and after in self.side and self.side[after] != self.side[name]:
            after = self.steps[after].after
        return after if after in self.steps else ""

    def base(self, name: str) -> float:
        """When a step begins at the earliest [s], its wait not counted."""
        move = self.steps[name]
        return move.earliest if move.after else move.start - move.wait

    def variant(self, first: str) -> Scenario | None:
        """The chain with the valves of a side first, or with both together for ""; None if none can be."""
        own = {n: {self.own(n)} - {""} for n in self.steps}
        leads = {n for n in self.side if not own[n] & set(self.side)}
        needs = {n: set(deps) for n, deps in own.items()}
        gates = {n: {n} for n in self.steps}
        for n in leads:
            if not first:
                gates[n] = leads
                needs[n] = set().union(*(own[other] for other in leads))
            elif self.side[n] != first:
                own[n] = own[n] | self.valves(first)
                needs[n] = own[n]
        return self._timed(own, needs, gates)

    def _timed(
        self, own: Mapping[str, set[str]], needs: Mapping[str, set[str]], gates: Mapping[str, set[str]]
    ) -> Scenario | None:
        """Begin every step when all that it needs is over; those of one gate begin at one time."""
        done: dict[str, Move] = {}
        ends: dict[str, float] = {}

        def ready(name: str) -> float:
            return max([self.base(name), *(ends[d] for d in own[name])])

        while len(done) < len(self.steps):
            name = next((n for n in self.steps if n not in done and needs[n] <= ends.keys()), None)
            if name is None:
                return None
            move = self.steps[name]
            start = max(ready(n) + self.steps[n].wait for n in gates[name])
            done[name] = replace(
                move,
                start=start,
                after=max(own[name], key=lambda d: (ends[d], d == move.after), default=""),
                earliest=self.base(name),
                wait=start - ready(name),
            )
            ends[name] = start + move.law[-1][0]
        return _moved(self.scenario, done)


class _Sequence:
    """Events that shut, or open, several valves one after another."""

    def __init__(self, scenario: Scenario, *, opens: bool = False) -> None:
        self.scenario = scenario
        names = [m.valve for m in scenario.moves]
        meant = [m for m in scenario.moves if moves_so(m, opens=opens)]
        moves = [m for m in meant if not m.side and m.what != "shutdown"]
        self.moves = {m.valve: m for m in sorted(moves, key=lambda m: m.start)}
        self.names = tuple(self.moves)
        self.starts = [m.start for m in self.moves.values()]
        strokes = [m.law[-1][0] for m in self.moves.values()]
        self.pauses = [
            b - a - t for a, b, t in zip(self.starts[:-1], self.starts[1:], strokes[:-1], strict=True)
        ]
        self.plain = all(names.count(n) == 1 for n in self.names)

    @property
    def asks(self) -> bool:
        """Whether several valves move so, each once, and not all at one time."""
        return self.plain and len(self.names) > 1 and self.starts[-1] - self.starts[0] > SAME_INSTANT

    def in_order(self, names: Sequence[str]) -> Scenario:
        """Move the valves in another order.

        One after another the pauses between two strokes are kept; where strokes overlap, the instants at
        which the first, the second and so on begins.
        """
        starts = list(self.starts)
        if all(p >= -SAME_INSTANT for p in self.pauses):
            for k, pause in enumerate(self.pauses):
                starts[k + 1] = starts[k] + self.moves[names[k]].law[-1][0] + pause
        return self._at(dict(zip(names, starts, strict=True)))

    def together(self) -> Scenario:
        return self._at(dict.fromkeys(self.names, self.starts[0]))

    def _at(self, starts: Mapping[str, float]) -> Scenario:
        return _moved(self.scenario, {n: replace(self.moves[n], start=s) for n, s in starts.items()})

    def variants(self) -> list[tuple[str, Scenario]]:
        """Reversed, all together, and each of the others last: the last takes the whole flow."""
        found = [(REVERSED, self.in_order(self.names[::-1])), (TOGETHER, self.together())]
        for n in self.names[1:-1]:
            found.append((f'"{n}" last', self.in_order([*(x for x in self.names if x != n), n])))
        return found


def total_of(scenario: Scenario) -> float:
    """Time from the order to stop, or the first movement, to the end of the last whole stroke [s]."""
    moves = _every(scenario)
    first = min(m.start for m in moves) if scenario.ordered is None else scenario.ordered
    return max(m.start + m.law[-1][0] for m in moves) - first


def orders_of(lineup: LineUp, scenario: Scenario) -> tuple[str, list[MovementOrder], list[tuple[str, str]]]:
    """Return the orders that a scenario can have.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario

    Returns
    -------
    kind : str
        "shutdown", "sequence", "opening", or "" where there is no question.
    orders : list of Order
        That of the case first, at most ``MOST``; those that come to the same are one.
    left_out : list of (str, str)
        Orders that cannot be, and why.
    """
    chain, sequence = _Chain(lineup, scenario), _Sequence(scenario)
    wanted: list[tuple[str, Scenario | None]]
    if chain.asks:
        kind = "shutdown"
        wanted = [
            (name, chain.variant(first))
            for name, first in ((SHIP_FIRST, "ship"), (SHORE_FIRST, "shore"), (BOTH, ""))
        ]
    elif sequence.asks:
        kind = "sequence"
        wanted = [*sequence.variants()]
    elif (opening := _Sequence(scenario, opens=True)).asks:
        kind = "opening"
        wanted = [*opening.variants()]
    else:
        return "", [], []
    made: list[tuple[list[str], Scenario]] = [([], scenario)]
    for name, variant in wanted:
        if variant is None:
            continue
        same = next((names for names, known in made if _same(known, variant)), None)
        if same is None:
            made.append(([name], variant))
        else:
            same.append(name)
    orders = [
        MovementOrder(
            name=", ".join([*([IN_CASE] if k == 0 else []), *names]),
            as_in_case=k == 0,
            scenario=variant,
            total=total_of(variant),
        )
        for k, (names, variant) in enumerate(made[:MOST_ORDERS])
    ]
    return kind, orders, [(name, NO_ORDER) for name, variant in wanted if variant is None]


def _same(one: Scenario, two: Scenario) -> bool:
    pairs = zip(_every(one), _every(two), strict=True)
    return all(abs(a.start - b.start) <= SAME_INSTANT for a, b in pairs)

"""The order question: every order in which the valves of a scenario can shut is run.

A stroke that is kind to one valve can be worse for another, and the valve that shuts last takes the whole
flow. So the peaks of each order stand side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surge.model.lineup import LineUp, Scenario
from surge.rules.findings import EXCEEDED, Finding, findings_of, weakest, worst_of
from surge.rules.static import static_findings
from surge.search.scan import Scanner
from surge.search.sequences import Order, orders_of
from surge.search.strokes import over_ranges
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult
from surge.transient.run import simulate
from surge.workers import Progress, workers

THREADS = 4  # orders run at a time; the marches let other threads run


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

    order: Order
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
        "shutdown" or "sequence".
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
    lineup: LineUp, scenario: Scenario, *, progress: Progress | None = None
) -> OrderQuestion | None:
    """Run every order of a scenario.

    Parameters
    ----------
    lineup : LineUp
        Checked, with the rule book's limit at the top of the cargo pump
        (:func:`surge.rules.pressure.with_pump_top`); lengths and wave speeds may be ranges.
    scenario : Scenario
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
    say = progress or (lambda _: None)
    lineups = over_ranges(lineup)
    # Where something is a range the quick pass tells at which figures each order is worst.
    ranged = len(lineups) > 1
    scans = [Scanner(one, scenario).moved([o.scenario for o in orders]) for one in lineups if ranged]
    static = static_findings(lineup)

    def answer(k: int) -> OrderAnswer:
        say(f'"{scenario.name}": {orders[k].name}')
        worst_first = sorted(lineups, key=lambda one: scans[lineups.index(one)][k].margin if scans else 0.0)
        pairs = []
        for one in worst_first:
            run = simulate(one, orders[k].scenario, progress=progress)
            pairs.append((run, findings_of(one, run)))
            if worst_of(f.verdict for f in pairs[0][1]) == EXCEEDED:
                break  # other figures cannot make it safe
        return _answer(orders[k], static, pairs)

    with workers(THREADS) as pool:
        answers = tuple(pool.map(answer, range(len(orders))))
    return OrderQuestion(scenario=scenario.name, kind=kind, answers=answers, left_out=tuple(left_out))


def _answer(
    order: Order,
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

"""Remedies that were told, applied to the case by other means than the program's, and checked."""

from __future__ import annotations

from dataclasses import replace

from surge.model.lineup import LineUp, Scenario
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN
from surge.rules.rulings import NOT_CHECKED, counts
from surge.search.changes import LATER, ORDER, RATE, RUN_DOWN, SPEED, STROKE, ULLAGE, Change
from surge.search.remedies import Remedies, Remedy


def checkable(lineup: LineUp, book: RuleBook) -> RuleBook:
    """The rules for which a line-up gives the facts: generated ones give no dates of tests, for example."""
    made = assess(lineup, book=book)
    lacking = {r.rule.id for r in made.rulings if r.outcome == NOT_CHECKED and r.verdict != WITHIN}
    return RuleBook(rules=tuple(r for r in book.rules if r.id not in lacking))


def not_kept(book: RuleBook, remedy: Remedy) -> str:
    """What a check of the changed case does not find kept; "" where all is."""
    made = assess(remedy.lineup, book=book)
    if made.exit_code == 0:
        return ""
    said = [
        f"{f.verdict}: {f.check} of {f.name} in {f.scenario}"
        for f in made.findings
        if counts(f, book) and f.verdict != WITHIN
    ]
    said += [f"{r.verdict}: {r.words}" for r in made.rulings if r.verdict != WITHIN]
    return f"{told(remedy)}: {'; '.join(said)}"


def told(remedy: Remedy) -> str:
    """A remedy in short."""
    return ", ".join(f"{c.kind} {' '.join(c.names)} {c.value:.4g}" for c in remedy.changes)


def misfits(lineup: LineUp, tried: Remedies) -> list[str]:
    """Remedies whose changed line-up is not the case with the figures that they tell."""
    return [told(r) for r in tried.found if not _fits(lineup, r)]


def _fits(lineup: LineUp, remedy: Remedy) -> bool:
    before = {s.name: s for s in lineup.scenarios}
    kinds = {c.kind for c in remedy.changes}
    if (remedy.lineup.pumps == lineup.pumps) is not (SPEED not in kinds):
        return False
    if (remedy.lineup.tanks == lineup.tanks) is not (ULLAGE not in kinds):
        return False
    same = remedy.lineup.with_(pumps=lineup.pumps, tanks=lineup.tanks, scenarios=lineup.scenarios)
    each = (_as_told(before[s.name], s, remedy.changes) for s in remedy.lineup.scenarios)
    return same == lineup and all(each)


def _as_told(before: Scenario, after: Scenario, changes: tuple[Change, ...]) -> bool:
    own = [c for c in changes if before.name in c.scenarios]
    if not own:
        return before == after
    rates = [c.value for c in own if c.kind == RATE]
    if after.rate != (rates[0] if rates else before.rate):
        return False
    strokes = {v: c.value for c in own if c.kind == STROKE for v in c.names}
    run_downs = {p: c.value for c in own if c.kind == RUN_DOWN for p in c.names}
    later = {n: c.value for c in own if c.kind == LATER for n in c.names}
    starts = dict(next((c.starts for c in own if c.kind == ORDER), ()))
    took = {m.valve: m.law[-1][0] for m in after.moves} | {m.pump: m.law[-1][0] for m in after.pump_moves}
    begun = {m.valve: m.start for m in after.moves} | {m.pump: m.start for m in after.pump_moves}
    was = {m.valve: m.start for m in before.moves} | {m.pump: m.start for m in before.pump_moves}
    return (
        all(abs(took[n] - t) < 1e-6 for n, t in (strokes | run_downs).items())
        and all(begun[n] >= was[n] + by - 1e-6 for n, by in later.items())
        and all(abs(begun[n] - t) < 1e-6 for n, t in starts.items())
        and replace(after, rate=None, moves=(), pump_moves=())
        == replace(before, rate=None, moves=(), pump_moves=())
    )

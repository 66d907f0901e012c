"""A remedy that was tried, as changes of the text of its case: for a page that offers to take it.

Decisions
---------
* The changes are made and the text is read again. Where rates and movements are then not those that were
  tried, at every stage, nothing is offered: a remedy that means more than one key of the case can say, such
  as a stroke that is given as a table, is written by hand.
* A rate is rounded down, to 0.1 m3/h.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from surge.api.check import CheckAnswer
from surge.api.edit import edited
from surge.api.outline import outline
from surge.api.timeline import Step, TimeLine, name_of, time_lines
from surge.arguments import checked
from surge.case.file import Case
from surge.errors import Origin, RequestError
from surge.model.lineup import LineUp, PumpMove, Scenario
from surge.model.scenario import Trip
from surge.search.changes import rate_of

Edit = dict[str, Any]
HOUR = 3600.0  # [s]
RATE_STEP = 10.0  # steps in 1 m3/h
NEAR = 1e-3  # as a share, or [s]
MOMENT = 0.01  # [s] that a written time may be off


class _NotOneKeyError(Exception):
    """What was tried cannot be said by changing single keys."""


@checked
def takes(answer: CheckAnswer, text: str) -> tuple[tuple[Mapping[str, object], ...], ...]:
    """Return for each remedy the changes that :func:`surge.api.edit.edited` makes of it.

    Parameters
    ----------
    answer : CheckAnswer
        With remedies.
    text : str
        Of its case.

    Returns
    -------
    tuple of tuple of mapping
        Empty where a remedy cannot be taken so.

    Examples
    --------
    >>> from pathlib import Path
    >>> import surge
    >>> from surge.api.takes import takes
    >>> path = Path("cases/gas-oil-release-coupling.toml")
    >>> found = takes(surge.check(path), path.read_text())
    >>> [one["value"] for one in found[0]]
    ['8.6 s']
    """
    found = answer.remedies.found if answer.remedies else ()
    return tuple(edits_for(one.lineup, answer.case, text) for one in found)


def edits_for(tried: LineUp, case: Case, text: str) -> tuple[Mapping[str, object], ...]:
    """Return the changes of a text after which a case flows and moves as a line-up that was tried; or none.

    Parameters
    ----------
    tried : LineUp
        That of the case with other rates, movements, speeds of pumps, or ullages.
    case : Case
    text : str
        Of the case.
    """
    name = case.filename
    data = outline(text, filename=name).data
    lines = time_lines(case, data)
    try:
        before = case.lineup
        edits = [*_parts(before, tried), *_rates(before, tried, lines), *_movements(before, tried, data)]
        edits.sort(key=lambda edit: edit["do"] == "chain")  # last: it puts steps in another order
        made = outline(edited(text, edits), filename=name).case
    except (_NotOneKeyError, RequestError):
        return ()
    return tuple(edits) if edits and made is not None and _same(tried, made.lineup) else ()


def _set(path: Origin, value: float, unit: str) -> Edit:
    return {"do": "set", "path": list(path), "value": f"{value:.6g} {unit}" if unit else value}


def _parts(before: LineUp, tried: LineUp) -> Iterator[Edit]:
    """Speeds of pumps, ullages of tanks."""
    for pump, other in zip(before.pumps, tried.pumps, strict=True):
        if pump.speed != other.speed:
            yield _set((*pump.origin, "speed"), other.speed, "")
    for tank, new in zip(before.tanks, tried.tanks, strict=True):
        if new.ullage is not None and tank.ullage != new.ullage:
            yield _set((*tank.origin, "ullage"), new.ullage, "m3")


def _rates(before: LineUp, tried: LineUp, lines: tuple[TimeLine, ...]) -> Iterator[Edit]:
    """One key for all scenarios that go by it, where all of them change; else a key of the scenario's own."""
    by_key: dict[Origin, list[tuple[Scenario, float | None, bool]]] = {}
    for line, old, new in zip(lines, before.scenarios, tried.scenarios, strict=True):
        was, rate = rate_of(before, old), rate_of(tried, new)
        by_key.setdefault(line.rate, []).append((old, rate, was != rate))
    for key, users in by_key.items():
        changed = [(s, rate) for s, rate, differs in users if differs]
        if len(changed) == len(users) and len({rate for _, rate in changed}) == 1:
            yield _set(key, _rate(changed[0][1]), "m3/h")
            continue
        for scenario, rate in changed:
            if not scenario.repeats:
                yield _set((*scenario.origin, "rate"), _rate(rate), "m3/h")


def _rate(rate: float | None) -> float:
    if rate is None:
        raise _NotOneKeyError
    return math.floor(rate * HOUR * RATE_STEP + 1e-6) / RATE_STEP


def _movements(before: LineUp, tried: LineUp, data: Any) -> Iterator[Edit]:
    """Strokes and run-downs, what begins later, what waits for another."""
    for old, new in zip(before.scenarios, tried.scenarios, strict=True):
        if old.repeats:
            continue
        others = {m.origin: m for m in _every(new)}
        for move in _every(old):
            yield from _movement(move, others[move.origin], data)


def _movement(move: Step, new: Step, data: Any) -> Iterator[Edit]:
    if not isinstance(move, Trip) and not isinstance(new, Trip) and _end(move) != _end(new):
        yield from _lengths(move.origin, isinstance(move, PumpMove), new.law, data)
    chained = "shutdown" in move.origin
    if chained and move.after != new.after:
        names = [name_of(move)]
        yield {"do": "chain", "path": list(move.origin[:-1]), "names": names, "after": new.after}
    if chained and abs(move.wait - new.wait) > NEAR:
        yield _set((*move.origin, "wait"), new.wait, "s")
    if not chained and abs(move.start - new.start) > NEAR:
        yield _set((*move.origin, "at"), new.start, "s")


def _lengths(path: Origin, pump: bool, law: Any, data: Any) -> Iterator[Edit]:
    """The time of a whole movement, and the time of its break."""
    table = data
    for part in path:
        table = table[part]
    key = "run_down" if pump else "stroke"
    if not isinstance(table.get(key), str):
        raise _NotOneKeyError
    yield _set((*path, key), law[-1][0], "s")
    if "break_time" in table:
        yield _set((*path, "break_time"), law[1][0], "s")


def _every(scenario: Scenario) -> list[Step]:
    return [*scenario.moves, *scenario.pump_moves, *scenario.trips]


def _end(move: Step) -> float:
    return 0.0 if isinstance(move, Trip) else move.law[-1][0]


def _same(tried: LineUp, made: LineUp) -> bool:
    """Whether two line-ups flow and move alike in every scenario."""
    figures = [p.speed for p in tried.pumps] + [t.ullage or 0.0 for t in tried.tanks]
    others = [p.speed for p in made.pumps] + [t.ullage or 0.0 for t in made.tanks]
    names = [s.name for s in tried.scenarios] == [s.name for s in made.scenarios]
    return (
        names
        and all(_close(a, b) for a, b in zip(figures, others, strict=True))
        and all(
            _rate_alike(rate_of(tried, a), rate_of(made, b)) and _moves_alike(a, b)
            for a, b in zip(tried.scenarios, made.scenarios, strict=True)
        )
    )


def _close(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=NEAR, abs_tol=NEAR)


def _rate_alike(tried: float | None, made: float | None) -> bool:
    if tried is None or made is None:
        return tried is made
    return tried - 1.01 / RATE_STEP / HOUR <= made <= tried * (1.0 + 1e-9)


def _moves_alike(tried: Scenario, made: Scenario) -> bool:
    """Whether the same things move, at the same times, by laws with as many points."""
    first, second = (sorted(_every(s), key=lambda m: (name_of(m), m.start)) for s in (tried, made))
    return len(first) == len(second) and all(
        name_of(a) == name_of(b)
        and abs(a.start - b.start) < MOMENT
        and abs(_end(a) - _end(b)) < MOMENT
        and (isinstance(a, Trip) or isinstance(b, Trip) or len(a.law) == len(b.law))
        for a, b in zip(first, second, strict=True)
    )

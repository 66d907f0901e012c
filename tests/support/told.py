"""Whatever a search tells as safe, held against what a check says of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from surge.errors import SurgeError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import WITHIN
from surge.rules.rulings import counts
from surge.search.movers import closing_valves
from surge.search.window import Windows


@dataclass(frozen=True, kw_only=True)
class Told:
    """One figure told as safe, as the scenario with it."""

    words: str
    scenario: Scenario


def told_by(lineup: LineUp, made: Windows, rng: np.random.Generator, *, between: int) -> list[Told]:
    """Every stroke, rate and set that is told as safe, and some figures between them."""
    return [
        *_strokes(lineup, made, rng, between),
        *_rates(lineup, made, rng, between),
        *_set(lineup, made),
        *_opened(lineup, made),
    ]


def _strokes(lineup: LineUp, made: Windows, rng: np.random.Generator, between: int) -> Iterator[Told]:
    scenarios = {s.name: s for s in lineup.scenarios}
    for part in (p for parts in (*made.by_valve.values(), *made.to_open.values()) for p in parts):
        if part.shortest is None or not part.open:
            continue
        high = part.to if part.longest is None else part.longest
        for stroke in (part.shortest, *_between(part.shortest, high, rng, between), part.longest):
            if stroke is not None:
                strokes = dict.fromkeys(part.together, stroke)
                scenario = with_strokes(scenarios[part.scenario], strokes, opens=part.opens)
                yield Told(words=f'"{part.valve}" in {stroke:.3f} s in "{part.scenario}"', scenario=scenario)


def _rates(lineup: LineUp, made: Windows, rng: np.random.Generator, between: int) -> Iterator[Told]:
    scenarios = {s.name: s for s in lineup.scenarios}
    for rate in made.rates:
        if rate.greatest is None:
            continue
        for flow in (rate.greatest, *_between(0.3 * rate.greatest, rate.greatest, rng, between)):
            if rate.unsafe_below and rate.unsafe_below[0] * 0.99 <= flow <= rate.unsafe_below[1] * 1.01:
                continue
            scenario = replace(scenarios[rate.scenario], rate=flow)
            yield Told(words=f'{flow * 3600:.2f} m3/h in "{rate.scenario}"', scenario=scenario)


def _set(lineup: LineUp, made: Windows) -> Iterator[Told]:
    if made.together is not None and made.verdict == WITHIN:
        for one in lineup.scenarios:
            if made.joint_strokes.keys() & closing_valves(lineup, one).keys():
                yield Told(words=f'the set in "{one.name}"', scenario=with_strokes(one, made.joint_strokes))


def _opened(lineup: LineUp, made: Windows) -> Iterator[Told]:
    for valve, opening in (made.opens_at | made.open_up_to).items():
        if opening.share is None or lineup.rate is None:
            continue
        scenarios = {s.name: s for s in lineup.scenarios}
        agreed = {
            scenarios[p.scenario].rate or lineup.rate.agreed
            for p in made.by_valve[valve]
            if not scenarios[p.scenario].repeats
        }
        for part in made.by_valve[valve]:
            scenario = scenarios[part.scenario]
            rate = scenario.rate or lineup.rate.agreed
            # Above an open window a stage with a rate of its own keeps it.
            keeps = valve in made.open_up_to and scenario.repeats and len(agreed) == 1 and rate not in agreed
            rate *= 1.0 if keeps else opening.share
            at = replace(with_strokes(scenario, dict.fromkeys(part.together, opening.stroke)), rate=rate)
            yield Told(words=f'"{valve}" in {opening.stroke:.1f} s at {rate * 3600:.2f} m3/h', scenario=at)


def _between(low: float, high: float, rng: np.random.Generator, count: int) -> list[float]:
    return (
        [low * math.exp(float(u) * math.log(high / low)) for u in rng.uniform(size=count)]
        if high > low
        else []
    )


def unsafe(lineup: LineUp, book: RuleBook, one: Told) -> str:
    """What a check does not find kept in the scenario of a figure; "" where all is."""
    changed = tuple(one.scenario if s.name == one.scenario.name else s for s in lineup.scenarios)
    try:
        made = assess(lineup.with_(scenarios=changed), book=book)
    except SurgeError:
        return ""  # a check refuses it: the line-up cannot be held to such a rate
    name = one.scenario.name
    said = [
        f"{f.verdict}: {f.check} of {f.name} by {(f.margin or 0) / 1e5:.3f} +- {f.error / 1e5:.3f} bar"
        for f in made.findings
        if f.verdict != WITHIN and f.scenario in ("", name) and counts(f, book)
    ]
    said += [f"{r.verdict}: {r.words}" for r in made.rulings if r.verdict != WITHIN and r.scenario == name]
    return f"{one.words}: {'; '.join(said)}" if said else ""

"""What the shortest safe stroke would be with what a case asks for beside the usual, by quick marches alone.

Decisions
---------
* It is told beside the bands, and no stroke is told as safe by it: what a search tells was confirmed without
  it and with it (:mod:`surge.transient.sensitivities`).
* A stroke is looked at by one quick march, over every length that the search looks at. Where that would take
  more than ``MOST_EFFORT`` nothing is told.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from surge.effort import at_most
from surge.errors import GridError, PatienceError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.rules.limits import LimitedExtreme
from surge.search.bounds import resolution
from surge.search.smallest import first_look, smallest_safe
from surge.search.stroke_family import StrokeFamily
from surge.search.strokes import StrokeLimits
from surge.transient.gas import look_with_gas
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.transient.sensitivities import TOO_MUCH, UNSTEADY_FRICTION, gas_words
from surge.workers import workers

MOST_EFFORT = 1.6e10  # of all quick marches with one of them: some forty seconds of one processor
THREADS = 2
Margin = Callable[[LineUp, Scenario, Sequence[LimitedExtreme]], float]


@dataclass(frozen=True, kw_only=True)
class BesideMoves:
    """What one thing that the case asks for beside the usual does alone, by quick marches.

    Attributes
    ----------
    words : str
        "unsteady friction", "0.5 % of gas".
    moved : float
        By how much it makes the shortest safe stroke longer, negative: shorter [s]; infinite: none is safe.
    margin_moved : float
        By how much it takes the margin down at the plain shortest stroke [Pa].
    missing : str
        Why that is not known, "" where it is.
    """

    words: str
    moved: float = 0.0
    margin_moved: float = 0.0
    missing: str = ""


def beside_moves(
    family: StrokeFamily, plain: StrokeLimits, *, need: float, base: float | None
) -> tuple[BesideMoves, ...]:
    """Return what each thing that the family's line-up asks for does to its shortest safe stroke.

    Parameters
    ----------
    family : StrokeFamily
        Without bands.
    plain : StrokeLimits
        What was told of it, with a shortest stroke.
    need : float
        Margin asked for [Pa].
    base : float or None
        The shortest stroke that keeps the need without any of them, by quick marches [s].
    """
    lineup = family.lineup
    asked: list[tuple[str, Margin]] = []
    if lineup.unsteady_friction:
        asked.append((UNSTEADY_FRICTION, _with_unsteady_friction))
    if lineup.gas_content > 0.0:
        asked.append((gas_words(lineup), _with_gas))
    return tuple(_moves(family, plain, words, margin, need, base) for words, margin in asked)


def _moves(
    family: StrokeFamily, plain: StrokeLimits, words: str, margin: Margin, need: float, base: float | None
) -> BesideMoves:
    assert plain.shortest is not None
    limits = family.bench.limits(family.scenario)

    def margins(strokes: Sequence[float]) -> list[float]:
        with workers(THREADS) as pool:
            return list(pool.map(partial(_worst, family, margin, limits), strokes))

    try:
        with at_most(MOST_EFFORT):
            there = margins([plain.shortest])[0]
            found = smallest_safe(
                margins,
                first_look(plain.to, plain.from_),
                need=need,
                resolution=resolution,
                spacing=family.period / 4,
                hidden=family.hidden,
            )
    except PatienceError:
        return BesideMoves(words=words, missing=TOO_MUCH)
    except (GridError, SolveError) as why:
        return BesideMoves(words=words, missing=str(why))
    return BesideMoves(
        words=words,
        moved=math.inf if found is None or base is None else found - base,
        margin_moved=family.near[plain.shortest].margin - there,
    )


def _worst(family: StrokeFamily, margin: Margin, limits: Sequence[LimitedExtreme], stroke: float) -> float:
    return min(margin(one, family.with_stroke(stroke), limits) for one in family.lineups)


def _with_unsteady_friction(lineup: LineUp, scenario: Scenario, limits: Sequence[LimitedExtreme]) -> float:
    run = simulate(lineup, scenario, quick=True, unsteady_friction=True)
    return min((held.margin(_pressure(run, held)) for held in limits), default=math.inf)


def _pressure(run: ScenarioResult, held: LimitedExtreme) -> float:
    owners = {("element", e.name): e.highest if held.upper else e.lowest for e in run.elements}
    owners |= {("place", p.name): p.highest if held.upper else p.lowest for p in run.places}
    return owners[held.subject, held.name].pressure


def _with_gas(lineup: LineUp, scenario: Scenario, limits: Sequence[LimitedExtreme]) -> float:
    found = look_with_gas(lineup, scenario, gas=lineup.gas_content)
    return min((held.margin(found[held.key].pressure) for held in limits), default=math.inf)

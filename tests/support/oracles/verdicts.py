"""Limits near what a run told, and every "limit kept" that a better figure lies beyond."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from support.oracles.missed import Missed
from surge.model.lineup import LineUp, Scenario
from surge.rules.assess import Assessment, AtHand, assess
from surge.rules.findings import WITHIN, Finding, findings_of
from surge.transient.result import ScenarioResult

CLASSES = 0.5e5  # [Pa] ratings and lowest pressures are whole multiples of this: the next ones outside


def rated(lineup: LineUp, scenario: Scenario, result: ScenarioResult) -> LineUp:
    """The line-up with this scenario, and limits for every pipe on a coarse scale, next to what was told.

    So how near a limit is has nothing to do with the error. Shut-off pressure is no subject here: where that
    is above a rating, the finding for the peak stands beside it.
    """
    told = {e.name: (e.highest.pressure, e.lowest.pressure) for e in result.elements}
    pipes = []
    for pipe in lineup.pipes:
        high, low = (np.array(told[pipe.name]) / CLASSES).tolist()
        limits = replace(
            pipe.limits, rating=CLASSES * float(np.ceil(high)), lowest=CLASSES * float(np.floor(low))
        )
        pipes.append(replace(pipe, limits=limits))
    return lineup.with_(pipes=tuple(pipes), scenarios=(scenario,))


def assessed(lineup: LineUp, scenario: Scenario, result: ScenarioResult) -> Assessment:
    """What ``surge check`` says of the rated line-up, with the run at hand."""
    held = rated(lineup, scenario, result)
    at_hand = AtHand()
    at_hand.keep(scenario, [(result, findings_of(held, result))])
    return assess(held, known=at_hand)


def wrongly_kept(answer: Assessment, found: Iterable[Missed]) -> list[tuple[Finding, Missed]]:
    """Findings that say "limit kept" though a better figure is beyond the limit, each with that figure."""
    better: dict[str, list[Missed]] = {}
    for one in found:
        better.setdefault(one.what, []).append(one)
    wrong = []
    for f in answer.findings:
        if f.verdict != WITHIN or f.margin is None or f.check in ("steady", "static"):
            continue
        way = "high" if f.check == "peak" else "low"
        for one in better.get(f"{f.subject} {f.name} {way}", ()):
            if one.unsafe - one.slack > f.margin:
                wrong.append((f, one))
    return wrong

"""Scans at the coarser step of slow strokes, against scans at a finer one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.networks import network

from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.search.movers import closing_valves
from surge.search.scan import COARSER, SLOW, Scanner, VariantMarches
from surge.search.strokes import FIRST_NEED
from surge.transient.plan import Plan, eased, first_duration

FINE = 8.0  # times the steps of a scan of slow strokes


class _Fine(VariantMarches):
    """Marches at a step that no search takes."""

    def step_of(self, p: Plan) -> float:
        return COARSER / FINE * eased(replace(p, ease=1.0), first_duration(p)).step()


def too_much(lineup: LineUp, scenario: Scenario) -> float:
    """Greatest margin that a scan of slow strokes promises more than one at a finer step [Pa]."""
    scan = Scanner(lineup, scenario)
    strokes = np.geomspace(SLOW * scan.base.period, 30 * scan.base.period, 15)
    valves = closing_valves(lineup, scenario)
    variants = [with_strokes(scenario, dict.fromkeys(valves, s)) for s in strokes]
    coarse = [n.margin for n in scan.moved(variants)]
    ordinary = eased(scan.base, first_duration(scan.base)).step()
    assert max(scan.marches.steps.values()) > 1.2 * ordinary
    scan.marches = _Fine(lineup, scan.marches.eye, limits=scan.marches.held)
    fine = [n.margin for n in scan.moved(variants)]
    return float(np.max(np.subtract(coarse, fine)))


@pytest.mark.parametrize("demo", ["gasoline-drop-lines", "gasoline-through-cargo-pumps"])
def test_a_scan_of_slow_strokes_promises_no_more_than_is_asked_for_at_first(demo: str, demos: Demos) -> None:
    lineup = demos[demo].case.lineup
    for scenario in (s for s in lineup.scenarios if not s.repeats and closing_valves(lineup, s)):
        assert too_much(lineup, scenario) < FIRST_NEED, scenario.name


@pytest.mark.parametrize("seed", [2, 3, 5, 6])
def test_it_does_not_in_generated_lines(seed: int) -> None:
    assert too_much(*network(seed)) < FIRST_NEED

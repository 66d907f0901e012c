"""Scans at the coarser step of slow strokes, against scans at a finer one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.networks import network

from surge.hydraulics.fixed import at_shares
from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.model.ranges import usual_shares
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


def test_every_stroke_has_the_trip_that_waits_for_it(demos: Demos) -> None:
    """A pump trips when the valve has shut: marched together, strokes give what each gives alone."""
    case = demos["gas-oil-two-pumps-one-trips"].case.lineup
    lineup = at_shares(case, usual_shares(case))
    one = next(s for s in lineup.scenarios if s.trips)
    shuts = ValveMove(valve="manifold valve", start=1.0, law=((0.0, 1.0), (10.0, 0.0)), side="ship")
    trip = replace(one.trips[0], side="shore", after=shuts.valve, start=11.0)
    waits = replace(one, moves=(shuts,), trips=(trip,))
    variants = [with_strokes(waits, {shuts.valve: stroke}) for stroke in (8.0, 12.0, 31.0, 40.0, 60.0)]
    assert [v.trips[0].start for v in variants] == [9.0, 13.0, 32.0, 41.0, 61.0]
    together = [n.margin for n in Scanner(lineup, variants[0]).moved(variants)]
    assert together == pytest.approx([Scanner(lineup, v).moved([v])[0].margin for v in variants], abs=1.0)

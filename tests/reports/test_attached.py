"""What hangs on a point and what moves by itself, in words and as JSON: each figure with its error."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import pytest
from support.demos import Demos

from surge.api.check import check
from surge.reports.advice import SIZES, advice
from surge.reports.attached import (
    attached_lines,
    attached_sentences,
    volume_down,
    volume_up,
    volume_with_error,
)
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED
from surge.search.remedies import Advised, Remedies


@pytest.mark.parametrize(
    ("volume", "error", "told"),
    [
        (0.24206, 1.3e-5, "0.2421 m3 ±0.0003"),
        (2.0, 0.0, "2.000 m3 ±0.002"),
        (2.0, 0.034, "2.00 m3 ±0.04"),
        (153.4, 12.0, "150 m3 ±20"),
        (0.0, 0.0, "0 m3"),
        (0.0, 0.02, "0.00 m3 ±0.02"),
    ],
)
def test_volumes_have_no_more_digits_than_their_errors(volume: float, error: float, told: str) -> None:
    assert volume_with_error(volume, error) == told


def test_volumes_alone_are_rounded_against_the_reader() -> None:
    assert volume_up(0.2411) == "0.25 m3"
    assert volume_down(0.2499) == "0.24 m3"
    assert volume_up(0.24) == volume_down(0.24) == "0.24 m3"


def _display(demos: Demos, name: str) -> Display:
    case = demos[name].case
    return Display(units=case.show, density=case.lineup.liquid.density)


def test_what_is_spilled_is_told_with_its_error(demos: Demos) -> None:
    name = "kerosene-relief-valve"
    display, answer = _display(demos, name), demos[name].answer
    (run,) = answer.scenarios
    (line,) = attached_lines(run, display)
    assert line.endswith("lifts to 81.4 % ±0.1 and spills 0.2421 m3 ±0.0003")
    (sentence,) = attached_sentences(answer, display)
    assert "lifts to 81 % and spills at most 0.25 m3" in sentence
    (relief,) = run.relief_valves
    # The error counts on the unsafe side of what is told; what comes later is told.
    wide = replace(run, relief_valves=(replace(relief, passed_error=0.02, later=0.3),))
    (sentence,) = attached_sentences(replace(answer, scenarios=(wide,)), display)
    assert "spills at most 0.27 m3 by the end of the run; it goes on, 0.30 m3 more by" in sentence
    (line,) = attached_lines(wide, display)
    assert "spills 0.24 m3 ±0.02 by the end of the run; it goes on, 0.30 m3 more by" in line


def test_gas_is_told_with_its_error(demos: Demos) -> None:
    name = "naphtha-surge-drum"
    display, answer = _display(demos, name), demos[name].answer
    (run,) = answer.scenarios
    (line,) = attached_lines(run, display)
    assert "at least 0.8395 m3 ±0.0009 and at most 2.000 m3 ±0.002 of 4 m3" in line
    (sentence,) = attached_sentences(answer, display)
    assert 'of 4 m3 at least 0.83 m3 and at most 2.0 m3 are gas ("emergency shutdown").' in sentence
    (drum,) = run.surge_drums
    wide = replace(run, surge_drums=(replace(drum, least_error=0.05, most_error=0.3),))
    (sentence,) = attached_sentences(replace(answer, scenarios=(wide,)), display)
    assert "at least 0.78 m3 and at most 2.3 m3 are gas" in sentence


def test_a_slam_is_told_with_its_error_and_what_flows_back_slowly_too(demos: Demos) -> None:
    name = "gas-oil-two-pumps-one-trips"
    display, answer = _display(demos, name), demos[name].answer
    said = attached_sentences(answer, display)
    assert any("slams" in s and "which is 3.37 bar ±0.06." in s for s in said)
    run = next(r for r in answer.scenarios if r.name == "pump 1 stops")
    swing, *rest = run.non_return_valves
    slow = replace(run, non_return_valves=(replace(swing, reverse=2.0 * swing.stopped), *rest))
    first = next(iter(attached_lines(slow, display)))
    assert "a slam of 3.37 bar ±0.06" in first
    assert first.endswith("116.4 m3/h flow back at most")


def test_errors_stand_in_json(demos: Demos) -> None:
    for name, kind, keys in (
        ("kerosene-relief-valve", "relief_valves", ("greatest_lift_error", "spilled_error_m3")),
        ("naphtha-surge-drum", "surge_drums", ("least_gas_error_m3",)),
        ("gas-oil-two-pumps-one-trips", "non_return_valves", ("slam_error_pa",)),
        ("gas-oil-two-pumps-one-trips", "trips", ("speed_at_end_error",)),
    ):
        document = json.loads(check(demos[name].case, remedies=False).json())
        found = [one for s in document["scenarios"] for one in s.get(kind, ())]
        for key in keys:
            assert max(one[key] for one in found) > 0.0


def test_a_case_with_too_small_a_relief_valve_is_told_where_to_search_for_its_size(demos: Demos) -> None:
    """A case without a relief valve or drum is told nothing of sizes."""
    for name, told in (("kerosene-relief-valve", True), ("gas-oil-release-coupling", False)):
        display, answer = _display(demos, name), demos[name].answer
        own = {f.name: getattr(answer, f.name) for f in fields(Assessment)}
        worse = replace(answer.counting[0], verdict=EXCEEDED)
        exceeded = Advised(**own | {"verdict": EXCEEDED, "counting": (worse,)}, remedies=Remedies())
        assert (SIZES in advice(exceeded, display)) == told


def test_a_restart_after_a_trip_is_told(demos: Demos) -> None:
    name = "gas-oil-two-pumps-one-trips"
    display, answer = _display(demos, name), demos[name].answer
    run = next(r for r in answer.scenarios if r.name == "pump 2 trips")
    again = replace(run, trips=tuple(replace(t, again=20.0) for t in run.trips))
    assert 'pump "pump 2" trips at 5.00 s and is started again at 20.00 s' in list(
        attached_lines(again, display)
    )
    said = attached_sentences(replace(answer, scenarios=(again,)), display)
    assert 'Pump "pump 2" trips, runs down by its inertia, and is started again ("pump 2 trips").' in said

"""Figures found from records by the independent solver: within their intervals, with doubts where due."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support import records
from support.oracles import recorder

from surge.case.file import read_case
from surge.effort import Meter, metered
from surge.errors import CaseError, RequestError
from surge.fitting.copy import fitted_text
from surge.fitting.figures import (
    ALL,
    INERTIA,
    KV,
    MINOR_LOSS,
    ROUGHNESS,
    RUN_DOWN,
    START,
    STROKE,
    WAVE_SPEED,
)
from surge.fitting.fit import Fit
from surge.fitting.march import march
from surge.records.text import RowFault

LINE = {WAVE_SPEED: ["shore line"], ROUGHNESS: ["shore line"], STROKE: ["manifold valve"]}
SPEED = {WAVE_SPEED: ["shore line"]}


def kinds(fit: Fit) -> set[str]:
    return {d.kind for d in fit.doubts}


def holds(fit: Fit, truth: tuple[float, ...]) -> list[bool]:
    return [f.low <= t <= f.high for f, t in zip(fit.figures, truth, strict=True)]


@pytest.mark.slow
@pytest.mark.usefixtures("one_search")
def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    """The whole of it, with 100 records of many lines, is ``tests/benchmarks/fits.py``.

    Of 8 records with 3 figures each, 24 intervals of 95 %: all but 4 hold the truth, or chance is below 2 %
    (binomial, 1 - 0.987). Correlated noise among them.
    """
    held = []
    for seed in range(8):
        times, read = records.record(seed=seed, memory=0.7 * (seed % 2))
        fit = records.fitted(records.trace_of(times, read), LINE)
        assert kinds(fit) == set()
        assert abs(fit.clock - 20.0) < 0.05
        held += holds(fit, records.TRUTH)
    assert sum(held) >= len(held) - 4


def test_the_demo_record_gives_its_figures_back() -> None:
    from support.oracles.recorder import DEMO_CLOCK, DEMO_TRUTH

    from surge.api.fit import fit_record

    with metered(Meter()) as meter:
        answer = fit_record(
            records.BERTH,
            records.RECORD,
            wave_speed=["shore line"],
            roughness=["shore line"],
            stroke=["manifold valve"],
        )
    # It was foretold how long that takes, within a factor of two.
    assert all(part.ended for part in meter.parts)
    assert 0.5 < sum(part.spent for part in meter.parts) / sum(part.weight for part in meter.parts) < 2.0
    assert (answer.verdict, answer.exit_code) == ("fitted", 0)
    for figure in answer.fit.figures:
        # Twice the half interval: one record of one seed.
        truth, half = DEMO_TRUTH[figure.figure.kind], 0.5 * (figure.high - figure.low)
        assert abs(figure.value - truth) < 2 * half
        assert half < 0.15 * truth
    assert answer.fit.clock == pytest.approx(DEMO_CLOCK, abs=0.03)
    assert (answer.fit.starts, answer.fit.agreeing) == (3, 3)


@pytest.mark.slow
def test_the_demo_record_is_what_the_other_solver_makes() -> None:
    """To renew it: write what ``recorder.demo_record`` returns into cases/traces/manifold-trace.csv."""
    made, kept = (
        records.read_text(text).places[0]
        for text in (recorder.demo_record(records.berth().lineup), records.RECORD.read_text(encoding="utf-8"))
    )
    assert np.array_equal(made.time, kept.time)
    # Three decimals of bar, of which another machine may round the last one otherwise.
    assert np.max(np.abs(made.pressure - kept.pressure)) < 200.0


@pytest.mark.slow
@pytest.mark.usefixtures("one_search")
def test_two_places_tell_more_than_one() -> None:
    one = records.fitted(records.trace_of(*records.record()), LINE)
    two = records.fitted(records.trace_of(*records.record(places=("manifold", "jetty"))), LINE)
    wide = [[np.log(f.high / f.low) for f in fit.figures] for fit in (one, two)]
    assert wide[1][1] < wide[0][1]
    assert len(two.places) == 2


@pytest.mark.usefixtures("one_search")
def test_a_factor_on_all_pipes() -> None:
    fit = records.fitted(records.trace_of(*records.record()), {WAVE_SPEED: [ALL], STROKE: ["manifold valve"]})
    factor = fit.figures[0]
    own = records.berth().lineup.pipe("shore line").wave_speed
    # The other pipes are short; the shore line's own ratio is what the record tells, within a hundredth.
    assert factor.value * own == pytest.approx(records.TRUTH[0], rel=0.01)
    assert fitted_text(fit).count("wave speed of all, as a factor") == len(records.berth().lineup.pipes)


# What the record cannot tell


@pytest.mark.usefixtures("one_search")
def test_roughness_and_minor_loss_of_one_pipe_are_one_loss() -> None:
    fit = records.fitted(
        records.trace_of(*records.record()), {ROUGHNESS: ["shore line"], MINOR_LOSS: ["shore line"], **SPEED}
    )
    (doubt,) = [d for d in fit.doubts if d.kind == "apart"]
    assert doubt.names == ('the roughness of "shore line"', 'the minor loss of "shore line"')
    with pytest.raises(RequestError, match="no copy of the case is written"):
        fitted_text(fit)


@pytest.mark.usefixtures("one_search")
def test_a_start_is_told_only_with_the_clock() -> None:
    trace = records.trace_of(*records.record())
    asked = {START: ["manifold valve"], **SPEED}
    blind = records.fitted(trace, asked)
    assert any("--clock" in str(d.phrase) for d in blind.doubts if d.kind == "apart")
    known = records.fitted(trace, asked, clock=20.0)
    assert known.apart
    assert known.figures[1 - 1].figure.kind == START
    assert known.figures[0].value == pytest.approx(5.0, abs=0.1)
    assert known.clock_half == 0.0


@pytest.mark.usefixtures("one_search")
def test_a_pipe_that_the_record_hardly_feels() -> None:
    fit = records.fitted(
        records.trace_of(*records.record()), {ROUGHNESS: ["drop line"], **SPEED, STROKE: ["manifold valve"]}
    )
    assert kinds(fit) & {"untold", "end"}
    assert not fit.apart


# What the figures cannot explain


@pytest.mark.usefixtures("one_search")
def test_another_stroke_than_the_case_says_is_no_wave_speed() -> None:
    """The record has a stroke of 15 s, and only a wave speed is fitted."""
    trace = records.trace_of(*records.record(truth=(1050.0, 2e-4, 15.0)))
    fit = records.fitted(trace, SPEED)
    assert "structure" in kinds(fit) or "end" in kinds(fit)


@pytest.mark.usefixtures("one_search")
def test_a_disturbed_reading_is_told_by_its_row() -> None:
    times, read = records.record()
    read["manifold"][400] += 3e5
    fit = records.fitted(records.trace_of(times, read), LINE)
    (doubt,) = fit.doubts
    assert doubt.kind == "reading"
    assert "row 402" in str(doubt.phrase)


@pytest.mark.usefixtures("one_search")
def test_a_clock_that_runs_fast_is_told() -> None:
    times, read = records.record()
    fit = records.fitted(records.trace_of(times * 1.02, read), {ROUGHNESS: ["shore line"], **SPEED})
    assert "drift" in kinds(fit)
    assert fit.drift[0] == pytest.approx(0.02, rel=0.5)


@pytest.mark.usefixtures("one_search")
def test_an_absolute_pressure_that_is_called_gauge_is_told() -> None:
    times, read = records.record()
    fit = records.fitted(records.trace_of(times, {"manifold": read["manifold"] + 101_325.0}), LINE)
    assert "level" in kinds(fit)
    off = records.fitted(
        records.trace_of(times, {"manifold": read["manifold"] + 30_000.0}),
        {WAVE_SPEED: ["shore line"], STROKE: ["manifold valve"]},
        zeros=True,
    )
    assert off.places[0].off == pytest.approx(30_000.0, abs=2_000.0)


@pytest.mark.parametrize("way", ["sign", "place"])
def test_a_pressure_that_falls_where_it_should_rise_is_refused(way: str) -> None:
    times, read = records.record(places=("manifold", "deck line inlet"))
    turned = -read["manifold"] if way == "sign" else read["deck line inlet"]
    with pytest.raises(CaseError) as caught:
        records.fitted(records.trace_of(times, {"manifold": turned}), SPEED)
    (fault,) = caught.value.faults
    assert isinstance(fault, RowFault)
    assert (fault.row, fault.column) == (1, "manifold [bar(g)]")
    assert "sign" in fault.remedy


# What is asked for


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "nothing is to be fitted"),
        ({WAVE_SPEED: ["shore lin"]}, 'did you mean "shore line"?'),
        ({KV: ["shore line"]}, "the case has no valve"),
        ({STROKE: ["shore control valve"]}, "no valve"),
        ({RUN_DOWN: ["shore pump"]}, "no pump"),
        ({INERTIA: ["shore pump"]}, "pump with inertia_kg_m2"),
        ({WAVE_SPEED: ["shore line", ALL]}, "asked for twice"),
    ],
)
def test_figures_that_are_not_there(asked: dict[str, list[str]], said: str) -> None:
    trace = records.read_text(records.RECORD.read_text(encoding="utf-8"))
    with pytest.raises(RequestError, match=said.replace("?", "[?]")):
        records.fitted(trace, asked)


def test_readings_of_another_time_are_refused() -> None:
    trace = records.trace_of(*records.record())
    with pytest.raises(CaseError) as caught:
        records.fitted(trace, SPEED, span=(500.0, 600.0))
    assert "0 readings" in caught.value.faults[0].found


@pytest.mark.usefixtures("one_search")
def test_no_readings_after_what_is_asked_for_are_used() -> None:
    trace = records.trace_of(*records.record())
    fit = records.fitted(trace, {**SPEED, STROKE: ["manifold valve"]}, span=(22.0, 45.0))
    assert fit.places[0].time[0] >= 22.0 - fit.clock
    assert fit.places[0].time[-1] <= 45.0 - fit.clock
    assert fit.left_out > 0


# Kv and run-down; inertia


def stopped(how: str) -> str:
    """The text of the demo berth with its pump stopped, and nothing else."""
    text = records.BERTH.read_text(encoding="utf-8")
    return text.replace('close = "manifold valve"\nstroke = "12 s"', how)


@pytest.mark.slow
@pytest.mark.usefixtures("one_search")
def test_a_run_down_and_a_kv() -> None:
    case = read_case(stopped('stop = "shore pump"\nrun_down = "6 s"'), filename="stopped.toml")
    lineup = case.lineup
    (scenario,) = lineup.scenarios
    (move,) = scenario.pump_moves
    truth = (1100.0, 8.5)  # Kv [m3/h], run-down [s]; the case says 1500 and 6
    valves = tuple(replace(v, kv=truth[0]) if v.name == "manifold valve" else v for v in lineup.valves)
    law = tuple((t * truth[1] / 6.0, x) for t, x in move.law)
    moved = replace(scenario, pump_moves=(replace(move, law=law),))
    places = ("manifold", "shore line inlet")
    true = recorder.true_history(lineup.with_(valves=valves), moved, places, until=31.0, cells=150)
    read = {}
    for k, place in enumerate(places):
        times, read[place] = recorder.read_off(true, place, step=0.05, noise=3000.0, seed=k, until=30.0)
    fit = records.fitted(
        records.trace_of(times, read), {KV: ["manifold valve"], RUN_DOWN: ["shore pump"]}, case
    )
    assert fit.doubts == ()
    for figure, true_value in zip(fit.figures, truth, strict=True):
        half = 0.5 * (figure.high - figure.low)
        assert abs(figure.value - true_value) < 2 * half
        assert half < 0.03 * true_value


def test_an_inertia_is_found_again_in_a_march_of_the_program_itself() -> None:
    """The independent solver knows no trips: this shows only that the figure is moved and written rightly."""
    text = stopped('trip = "shore pump"').replace(
        'non_return_valve = true\nrating = "16 bar(g)"',
        'non_return_valve = true\nrating = "16 bar(g)"\ninertia_kg_m2 = 4.0\nfull_speed_rpm = 2960\n'
        'best_efficiency = 0.78\nbest_flow = "500 m3/h"',
    )
    case = read_case(text, filename="trip.toml")
    heavier = read_case(text.replace("inertia_kg_m2 = 4.0", "inertia_kg_m2 = 5.5"), filename="x.toml").lineup
    made = march(heavier, heavier.scenarios[0], ["shore line inlet"], dt=0.005, until=30.0)
    noise = np.random.default_rng(2).normal(scale=3000.0, size=600)
    times = np.arange(600) * 0.05
    trace = records.trace_of(times, {"shore line inlet": made.at(0, times) + noise})
    fit = records.fitted(trace, {INERTIA: ["shore pump"]}, case)
    assert fit.figures[0].value == pytest.approx(5.5, rel=0.03)
    assert "inertia_kg_m2 = 5." in fitted_text(fit)

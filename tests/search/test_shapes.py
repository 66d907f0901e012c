"""The best two-stage law against an exhaustive grid of single runs, and where none is better."""

from __future__ import annotations

import functools
import json
from dataclasses import replace

import pytest
from support.demos import Demos
from support.inputs.case_text import case as starter
from support.lineups.one_line import closing, line

from surge.errors import CaseError
from surge.model.lineup import LineUp, Scenario, Valve
from surge.reports.document import as_json
from surge.reports.orders import shape_lines
from surge.reports.orders_json import shape_document
from surge.reports.words import Display
from surge.rules.findings import findings_of
from surge.search.shapes import (
    BETTER,
    COARSE,
    FINE,
    HIDDEN,
    NO_BETTER,
    TIE,
    Break,
    ShapeAnswer,
    best_shape,
    single_stage,
    two_stage,
    with_shape,
)
from surge.transient.run import simulate
from surge.units import ShowUnits

SHARES = [round(k * COARSE, 6) for k in range(1, 10)]
STROKE = 6.0


def margin(lineup: LineUp, scenario: Scenario) -> float:
    """Least margin by one march."""
    run = simulate(lineup, scenario, quick=True)
    return min(f.margin for f in findings_of(lineup, run) if f.margin is not None)


def stiff() -> LineUp:
    """A valve whose flow hardly changes until it is nearly shut: a straight stroke is bad for it."""
    lineup = line(rating=7e5)
    ends = [replace(v, kv=6 * v.kv) if v.name == "end valve" else v for v in lineup.valves]
    return lineup.with_(valves=tuple(ends))


def soft() -> LineUp:
    """A characteristic that falls steeply near open: a straight stroke is gentle at its end."""
    lineup = line(rating=7e5)
    curve = tuple((k / 10, (k / 10) ** 4) for k in range(11))

    def soften(valve: Valve) -> Valve:
        return replace(valve, characteristic=curve) if valve.name == "end valve" else valve

    return lineup.with_(valves=tuple(soften(v) for v in lineup.valves))


@functools.cache
def answer(which: str) -> ShapeAnswer:
    lineup = {"stiff": stiff, "soft": soft, "line": line}[which]()
    return best_shape(lineup, closing(STROKE), "end valve")


# The law


def test_laws_by_hand() -> None:
    whole = ((0.0, 1.0), (3.0, 0.2), (8.0, 0.0))
    assert two_stage(whole, Break(opening=0.3, time=0.25), stroke=20.0) == ((0, 1), (5, 0.3), (20, 0))
    assert single_stage(whole, stroke=20.0) == ((0.0, 1.0), (20.0, 0.0))
    part = ((0.0, 0.8), (5.0, 0.4))
    assert two_stage(part, Break(opening=0.5, time=0.5), stroke=10.0)[1] == pytest.approx((5.0, 0.6))


def test_what_waits_for_the_valve_moves_along() -> None:
    """Closed form: 8 s of signal, 8 s of run-down, then 30 s of the manifold valve."""
    shutdown = starter().lineup.scenarios[1]
    got = with_shape(shutdown, "manifold valve", at=Break(opening=0.5, time=0.2), stroke=30.0)
    manifold, control = got.moves
    assert manifold.law == ((0.0, 1.0), (6.0, 0.5), (30.0, 0.0))
    assert (manifold.start, control.start) == (16.0, 46.0)
    assert control.law == shutdown.moves[1].law


# The search


@pytest.mark.parametrize("which", ["stiff", "soft", "line"])
def test_never_worse_than_an_exhaustive_grid(which: str) -> None:
    """Every break of the coarse grid, each by a single run."""
    lineup = {"stiff": stiff, "soft": soft, "line": line}[which]()
    got = answer(which)
    every = {
        Break(opening=x, time=t): margin(
            lineup, with_shape(closing(STROKE), "end valve", at=Break(opening=x, time=t), stroke=STROKE)
        )
        for x in SHARES
        for t in SHARES
    }
    best = max(every.values())
    # Margins of two grids differ by less than the error that a full run tells; alike within TIE is alike.
    assert got.two_stage.margin >= best - got.two_stage.error - TIE
    looked = dict(got.looked)
    for at, one in every.items():
        assert looked[at] == pytest.approx(one, abs=0.02 * 7e5), at


def test_the_refinement_goes_around_the_best() -> None:
    got = answer("stiff")
    fine = [at for at, _ in got.looked if at.opening not in SHARES or at.time not in SHARES]
    coarse = max((m, at.opening, at.time) for at, m in got.looked if at not in fine)
    assert len(got.looked) > 81
    assert all(abs(at.opening - coarse[1]) < COARSE + FINE for at in fine)
    assert got.two_stage.near.margin >= coarse[0] - TIE


def test_the_best_law_is_better_here() -> None:
    got = answer("stiff")
    assert got.words == BETTER
    assert got.gain == got.two_stage.margin - got.single_stage.margin > 0.0
    # A quick first stage: the flow only falls when the valve is nearly shut.
    assert got.best_break.opening < 1.0 - got.best_break.time
    assert got.two_stage.closure is not None
    assert got.single_stage.closure is not None
    assert got.two_stage.closure.greatest_fall < got.single_stage.closure.greatest_fall


@pytest.mark.parametrize("which", ["stiff", "soft", "line"])
def test_breaking_off_too_near_to_shut_is_worse(which: str) -> None:
    got = answer(which)
    near = dict(got.looked)[Break(opening=0.1, time=0.9)]
    far = dict(got.looked)[Break(opening=0.9, time=0.9)]
    assert far < got.single_stage.near.margin
    assert min(near, far) < got.two_stage.near.margin


def test_no_better_is_said(demos: Demos) -> None:
    """The ship's valve shuts when the shore valve has stopped the flow: its law moves no margin."""
    lineup = demos["kerosene-shutdown-linked-and-not"].case.lineup
    got = best_shape(lineup, lineup.scenarios[0], "manifold valve")
    assert got.words == NO_BETTER
    assert got.two_stage.law == (
        (0.0, 1.0),
        (pytest.approx(20.0 * got.best_break.time), pytest.approx(1.0 - got.best_break.time)),
        (20.0, 0.0),
    )
    assert got.two_stage.closure is None
    assert got.two_stage.ratio is None


def test_a_gain_within_the_error_is_not_told_as_one() -> None:
    got = answer("stiff")
    small = replace(
        got, two_stage=replace(got.two_stage, margin=got.single_stage.margin + TIE + 1.0, error=2e3)
    )
    assert small.words == HIDDEN


def test_how_gentle_each_is_comes_from_the_full_runs() -> None:
    got = answer("line")
    lineup = line()
    for judged in (got.two_stage, got.single_stage):
        scenario = replace(closing(STROKE), moves=(replace(closing().moves[0], law=judged.law),))
        run = simulate(lineup, scenario)
        (closure,) = run.closures
        assert judged.closure == closure
        assert closure.effective is not None
        assert judged.ratio == pytest.approx(closure.effective / 1.8)
        margins = [f.margin for f in findings_of(lineup, run) if f.check in ("peak", "lowest", "vapour")]
        assert judged.margin == min(m for m in margins if m is not None)


def test_over_a_range_the_worst_length_counts() -> None:
    lineup = line()
    wide = lineup.with_(pipes=(replace(lineup.pipes[0], length_range=(600.0, 900.0)),))
    got = best_shape(wide, closing(STROKE), "end valve")
    each = []
    for length in (600.0, 675.0, 750.0, 825.0, 900.0):
        one = wide.with_(pipes=(replace(wide.pipes[0], length=length, length_range=None),))
        found = findings_of(one, simulate(one, closing(STROKE)))
        each += [f.margin for f in found if f.margin is not None and f.check in ("peak", "lowest")]
    assert got.single_stage.margin == pytest.approx(min(each))


@pytest.mark.parametrize(
    ("valve", "stroke", "words"),
    [("control valve", None, "does not close"), ("none", None, "does not close"), ("end valve", 0.0, "0 s")],
)
def test_what_cannot_be(valve: str, stroke: float | None, words: str) -> None:
    with pytest.raises(CaseError, match=words):
        best_shape(line(), closing(), valve, stroke=stroke)


def test_text_and_json_tell_the_same() -> None:
    got = answer("stiff")
    display = Display(units=ShowUnits(), density=1000.0)
    text = " ".join("\n".join(shape_lines(got, display)).split())
    document = json.loads(json.dumps(as_json(shape_document(got)), allow_nan=False))
    for law in ("two_stage", "single_stage"):
        assert display.margin(document[law]["margin_pa"]) in text
        assert f"{document[law]['effective_time_s']:.1f}" in text
    assert document["words"].lower() in text.lower()
    assert document["gain_pa"] == got.gain

"""What a case asks for beside the usual: it is judged too, and no verdict is better for it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated

import surge
from surge.hydraulics.fixed import at_shares
from surge.model.lineup import LineUp, Scenario
from surge.model.ranges import usual_shares
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, findings_of, weakest, worst_of
from surge.rules.telling import valid
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.transient.sensitivities import full_run

CASES = Path(__file__).parents[2] / "cases"
SEVERITY = {WITHIN: 0, UNDECIDED: 1, EXCEEDED: 2}


def asking(lineup: LineUp) -> LineUp:
    return lineup.with_(unsteady_friction=True)


def rated(lineup: LineUp, name: str, rating: float) -> LineUp:
    """The line-up with another rating of one pipe [Pa gauge]."""
    pipes = (
        replace(p, limits=replace(p.limits, rating=rating, allowance=1.0, test_pressure=None))
        if p.name == name
        else p
        for p in lineup.pipes
    )
    return lineup.with_(pipes=tuple(pipes))


def thick(seed: int) -> tuple[LineUp, Scenario]:
    """A generated berth with a viscous liquid that does not boil."""
    lineup, scenario = generated(seed)
    liquid = replace(lineup.liquid, viscosity=3e-4, vapour_pressure=0.0)
    return lineup.with_(liquid=liquid, atmosphere=1e7, scenarios=(scenario,)), scenario


def test_nothing_is_run_that_is_not_asked_for() -> None:
    lineup, scenario = thick(3)
    assert full_run(lineup, scenario).sensitivities == ()


@pytest.fixture(scope="module")
def both() -> tuple[LineUp, ScenarioResult]:
    lineup, scenario = thick(3)
    return lineup, full_run(asking(lineup), scenario)


def test_the_usual_run_stays_as_it_is(both: tuple[LineUp, ScenarioResult]) -> None:
    lineup, run = both
    usual = simulate(lineup, lineup.scenarios[0])
    assert run.elements == usual.elements
    assert run.places == usual.places
    (one,) = run.sensitivities
    assert one.run is not None
    assert one.run.elements == simulate(lineup, lineup.scenarios[0], unsteady_friction=True).elements
    assert 0.0 < one.fit < 0.01


def test_a_verdict_is_by_the_worse_of_both(both: tuple[LineUp, ScenarioResult]) -> None:
    """A rating between both peaks: what is higher decides, whichever run has it."""
    lineup, run = both
    other = run.sensitivities[0].run
    assert other is not None
    apart = 0
    for pipe, usual, own in zip(lineup.pipes, run.elements, other.elements, strict=False):
        low, high = sorted((usual.highest, own.highest), key=lambda x: x.pressure)
        if high.pressure - low.pressure <= 2.1 * (high.error + low.error):
            continue
        apart += 1
        between = rated(lineup, pipe.name, 0.5 * (low.pressure + low.error + high.pressure - high.error))
        found = [f for f in findings_of(between, run) if (f.name, f.check) == (pipe.name, "peak")]
        assert worst_of(f.verdict for f in found) == EXCEEDED
        by_it = own.highest.pressure > usual.highest.pressure
        assert [f.beside for f in found] == (["", "unsteady friction"] if by_it else [""])
        if by_it:
            assert [f.verdict for f in found] == [WITHIN, EXCEEDED]
            assert found[1].value == own.highest.pressure
            assert valid(found[1], run).value == own.highest.pressure
            assert weakest(found) is found[1]
        above = rated(lineup, pipe.name, high.pressure + high.error + 1.0)
        found = [f for f in findings_of(above, run) if (f.name, f.check) == (pipe.name, "peak")]
        assert [f.verdict for f in found] == [WITHIN]
    assert apart


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_no_verdict_is_better(seed: int) -> None:
    lineup, scenario = thick(seed)
    try:
        run = full_run(asking(lineup), scenario)
    except surge.SurgeError:
        return  # it cannot flow so, or boils before anything moves
    usual = findings_of(lineup, replace(run, sensitivities=()))
    found = findings_of(lineup, run)
    assert found[: len(usual)] == usual
    assert all(f.beside for f in found[len(usual) :])
    assert all(f.verdict != WITHIN for f in found[len(usual) :])
    assert SEVERITY[worst_of(f.verdict for f in found)] >= SEVERITY[worst_of(f.verdict for f in usual)]


def test_gas_may_be_worse() -> None:
    """A peak of 11.7 bar(g) is above 13 with 1 % of gas: with a rating between both that is what counts."""
    lineup = surge.load_case(CASES / "kerosene-shutdown-linked-and-not.toml").lineup
    lineup = at_shares(lineup, usual_shares(lineup)).with_(gas_content=0.01)
    scenario = next(s for s in lineup.scenarios if s.name == "not linked")
    run = full_run(rated(lineup, "shore line", 12.4e5), scenario)
    (one,) = run.sensitivities
    assert (one.kind, one.words, one.missing) == ("gas in the liquid", "1 % of gas", "")
    found = findings_of(rated(lineup, "shore line", 12.4e5), run)
    own = [f for f in found if (f.name, f.check) == ("shore line", "peak")]
    assert [(f.beside, f.verdict) for f in own] == [("", WITHIN), ("1 % of gas", EXCEEDED)]
    assert one.run is not None
    assert one.run.method.duration > 2.0 * run.method.duration


def test_what_cannot_be_run_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """The case asks for it: "kept" without it would say too much."""
    monkeypatch.setattr("surge.transient.gas.MOST_STEPS", 10)
    lineup, scenario = thick(3)
    lineup = lineup.with_(gas_content=1e-3)
    run = full_run(lineup, scenario)
    (found,) = (f for f in findings_of(lineup, run) if f.beside)
    assert (found.verdict, found.beside) == (UNDECIDED, "0.1 % of gas")
    assert found.reason == "there is no such run: marches with gas would take more than 10 steps"


def test_where_the_cargo_boils_there_is_none() -> None:
    case = surge.load_case(CASES / "gas-oil-release-coupling.toml")
    lineup = asking(case.lineup)
    run = full_run(lineup, lineup.scenarios[0])
    (one,) = run.sensitivities
    assert one.run is None
    assert "boils" in one.missing
    assert run.made_with(one.words) is run
    assert not [f for f in findings_of(lineup, run) if f.beside]


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> surge.CaseAnswer:
    """The crude's case, with its hose rated between both peaks: 18.01 and 18.38 bar(g)."""
    text = (CASES / "crude-sea-line.toml").read_text(encoding="utf-8")
    text = text.replace("[[hose]]", "[calculation]\nunsteady_friction = true\n\n[[hose]]", 1)
    assert 'rating = "15 bar(g)"' in text
    text = text.replace('rating = "15 bar(g)"', 'rating = "18.2 bar(g)"')
    path = tmp_path_factory.mktemp("asked") / "asked.toml"
    path.write_text(text, encoding="utf-8")
    return surge.check(path, remedies=False)


def test_it_is_told_wherever_a_verdict_stands(answer: surge.CaseAnswer) -> None:
    text, details = answer.text(), answer.text(details=True)
    said = 'With unsteady friction, in "manifold valve shut by mistake"'
    for words in (" ".join(text.split()), " ".join(details.split())):
        assert said in words
        assert "peaks at 18.38 bar(g) with unsteady friction" in words
        assert "Trust what unsteady friction" in words
    assert "The same with unsteady friction" in " ".join(details.split())
    assert answer.exit_code == 3


def test_it_is_in_the_document(answer: surge.CaseAnswer) -> None:
    document = json.loads(answer.json())
    shut = next(s for s in document["scenarios"] if s["name"] == "manifold valve shut by mistake")
    (one,) = shut["sensitivities"]
    assert (one["kind"], one["missing"], one["boils"]) == ("unsteady friction", "", False)
    hose = next(e for e in one["extremes"] if e["name"] == "hose string")
    usual = next(e for e in shut["elements"] if e["name"] == "hose string")
    assert hose["highest"]["pressure_pa_gauge"] > usual["highest"]["pressure_pa_gauge"] + 3e4
    beside = [f for f in document["findings"] if f.get("beside")]
    assert {(f["name"], f["verdict"]) for f in beside} >= {("hose string", EXCEEDED)}


def test_it_is_on_pictures_and_sheets(answer: surge.CaseAnswer) -> None:
    svg = answer.draw("time", kind="svg").content.decode()
    assert "Shown is the run without what follows." in svg
    sheet = surge.make_sheet(answer.case, window=False).document()
    assert sheet["beside"].startswith('With unsteady friction, in "manifold valve shut by mistake"')
    row = next(r for r in sheet["highest"] if r["name"] == "hose string")
    assert row["scenario"].endswith("with unsteady friction")

"""A measured stroke run in a line-up: the same as its law in the case; never gentler without saying so."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import jsonschema
import pytest
from click.testing import CliRunner
from support.demos import Demos
from support.documents import hold_to_schema
from support.inputs.measured_curves import sampled

from surge.cli.main import main
from surge.errors import CaseError, UnknownNameError
from surge.model.lineup import LineUp, ValveMove
from surge.model.stroke import with_laws
from surge.plots.measured import measured_picture
from surge.records.text import row_fault
from surge.reports.document import head_of
from surge.reports.measured import measured_document, measured_lines, nearer_by, told_of
from surge.reports.records_data import fault_document
from surge.reports.words import CAUTIONS, Display
from surge.rules.assess import assess
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.units import ShowUnits
from surge.valves.curve import stroke_of
from surge.valves.measured import run_measured

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "cases" / "records" / "manifold-valve-stroke.csv"
DEMO_CASE = ROOT / "cases" / "gasoline-drop-lines.toml"
SCHEMA = json.loads((ROOT / "surge" / "schema" / "measured.schema.json").read_text(encoding="utf-8"))
HEAD = head_of("1", "a.toml", "0" * 64)
MISTAKE = "manifold valve shut by mistake"
TABLE = ((0.0, 1.0), (6.0, 0.5), (14.0, 0.2), (20.0, 0.0))


def shape(u: float) -> float:
    """The table over its own time."""
    t = 20.0 * u
    i = max(k for k in range(3) if t >= TABLE[k][0])
    (t0, x0), (t1, x1) = TABLE[i], TABLE[i + 1]
    return x0 + (x1 - x0) * (t - t0) / (t1 - t0)


@pytest.fixture(scope="module")
def lineup(demos: Demos) -> LineUp:
    whole = demos["crude-sea-line"].case.lineup
    return whole.with_(scenarios=tuple(s for s in whole.scenarios if s.name == MISTAKE))


def peaks(findings: object) -> dict[tuple[str, str, str], float]:
    return {(f.name, f.check, f.limit_source): f.value for f in findings if f.value is not None}  # type: ignore[attr-defined]


def test_the_same_as_its_law_given_as_a_table(lineup: LineUp) -> None:
    found = run_measured(lineup, stroke_of(sampled(shape, 20.0, step=0.1)), valve="manifold valve")

    def law_of(move: ValveMove) -> tuple[tuple[float, float], ...]:
        return TABLE if move.valve == "manifold valve" else move.law

    by_table = assess(lineup.with_(scenarios=tuple(with_laws(s, law_of) for s in lineup.scenarios)))
    given, measured = peaks(by_table.findings), peaks(found.measured.findings)
    assert given.keys() == measured.keys()
    for key, value in given.items():
        assert measured[key] == pytest.approx(value, abs=1.0), key  # [Pa] of 10^6
    assert found.measured.verdict == by_table.verdict
    assert found.steep is None
    assert found.laws == {MISTAKE: ((0.0, 1.0), (9.0, 0.0))}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_noise_overshoot_and_offset_never_give_a_lower_peak_unsaid(lineup: LineUp, seed: int) -> None:
    """The last stage, 20 % of the travel within a period, makes the surge.

    How far the valve falls within any time is known to 4 sigma, 0.8 % of the travel: 4 % of that stage.
    """
    clean = run_measured(lineup, stroke_of(sampled(shape, 20.0, step=0.1)), valve="manifold valve")
    stroke = stroke_of(sampled(shape, 20.0, step=0.1, noise=0.002, rest=0.03, over=0.01, seed=seed))
    rough = run_measured(lineup, stroke, valve="manifold valve")
    assert rough.steep is not None
    rise = max(e.highest.pressure - e.steady_high for e in clean.measured.scenarios[0].elements)
    true = {(p.measured.name, p.measured.check): p.measured for p in clean.pressures}
    for compared in rough.pressures:
        if compared.measured.check != "peak":
            continue
        right = true[compared.measured.name, "peak"]
        assert compared.measured.value == pytest.approx(right.value, abs=0.04 * rise)
        assert compared.worse.value >= right.value - right.error
        assert compared.steep is not None


def test_what_only_the_steepest_exceeds_cannot_be_decided(lineup: LineUp) -> None:
    stroke = stroke_of(sampled(shape, 20.0, step=0.1))
    hard = replace(stroke, steep=((0.0, 1.0), (1.0, 0.0)))
    found = run_measured(lineup, hard, valve="manifold valve")
    assert (found.measured.verdict, found.verdict, found.exit_code) == (WITHIN, UNDECIDED, 4)
    assert found.hidden
    assert found.pressures[0].steep is found.pressures[0].worse
    display = Display(units=ShowUnits(), density=850.0)
    text = "\n".join(measured_lines(found, lineup, display))
    assert "CANNOT BE DECIDED" in text
    assert "measure again" in " ".join(text.split())
    fast = run_measured(lineup, replace(stroke, law=((0.0, 1.0), (1.0, 0.0))), valve="manifold valve")
    assert (fast.verdict, fast.exit_code) == (EXCEEDED, 3)


def test_steps_that_wait_wait_for_the_measured_end(demos: Demos) -> None:
    whole = demos[DEMO_CASE.stem].case.lineup
    stroke = stroke_of(sampled(lambda u: 1.0 - u, 20.0, step=0.1))
    found = run_measured(whole, stroke, valve="shore ESD valve")
    pairs = list(zip(found.measured.lineup.scenarios, found.assumed.lineup.scenarios, strict=True))
    assert {before.repeats for _, before in pairs} == {"", "bulk emergency shutdown"}
    for after, before in pairs:
        ends, began = ({m.valve: m.start for m in s.moves}["manifold valve"] for s in (after, before))
        assert ends - began == pytest.approx(6.0)


def test_what_cannot_be_run_is_refused(lineup: LineUp) -> None:
    stroke = stroke_of(sampled(lambda u: 1.0 - u, 20.0, step=0.1))
    with pytest.raises(UnknownNameError, match="manifold valve"):
        run_measured(lineup, stroke, valve="manifold")
    with pytest.raises(UnknownNameError, match="mistake"):
        run_measured(lineup, stroke, valve="manifold valve", scenario="x")
    with pytest.raises(CaseError, match="never closes"):
        run_measured(lineup, stroke, valve="drop line valve")
    opening = stroke_of(sampled(lambda u: u, 20.0, step=0.1))
    with pytest.raises(CaseError, match="never opens"):
        run_measured(lineup, opening, valve="manifold valve")
    partly = with_laws(lineup.scenarios[0], lambda m: ((0.0, 1.0), (5.0, 0.3)))
    with pytest.raises(CaseError, match="30 %"):
        run_measured(lineup.with_(scenarios=(partly,)), stroke, valve="manifold valve")


def test_after_boiling_no_gain_is_told(demos: Demos) -> None:
    whole = demos[DEMO_CASE.stem].case.lineup
    stroke = stroke_of(sampled(lambda u: 1.0 - u, 2.0))
    found = run_measured(whole, stroke, valve="manifold valve", scenario="start of loading")
    assert found.measured.scenarios[0].vapour is not None
    assert all(nearer_by(p, found) is None for p in found.pressures)
    shown = told_of(found.pressures[0], found)[1]
    assert (
        shown.value == found.measured.scenarios[0].elements[0].lowest.before_vapour or shown.value is not None
    )


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["records", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def test_the_command(tmp_path: Path) -> None:
    common = [str(DEMO), "--case", str(DEMO_CASE), "--curve", "manifold valve"]
    picture = tmp_path / "stroke.svg"
    code, out, err = run(*common, "--pictures", str(picture))
    assert code == 3
    assert "VERDICT: LIMIT EXCEEDED" in out
    assert "closes in 14.6 s as measured" in out
    assert "written" in err
    ET.parse(picture)
    code, out, _ = run(*common, "--scenario", "bulk emergency shutdown", "--json")
    answer = json.loads(out)
    jsonschema.validate(answer, SCHEMA)
    assert (code, answer["verdict"], answer["exit_code"]) == (0, "limit kept", 0)


def test_the_command_refuses(tmp_path: Path) -> None:
    common = [str(DEMO), "--case", str(DEMO_CASE)]
    assert run(str(DEMO), "--curve", "x")[0] == 2
    assert "no valve" in run(*common, "--curve", "x")[2]
    assert "no scenario" in run(*common, "--curve", "manifold valve", "--scenario", "x")[2]
    assert "add --curve" in run(*common, "--scenario", "x")[2]
    for useless in (
        ["--decimal", "comma"],
        ["--limits", "none.toml"],
        ["--interval", "12 months"],
        ["--joined"],
    ):
        code, _, err = run(*common, "--curve", "manifold valve", *useless)
        assert (code, err) == (2, f"surge: {useless[0]} is for stroke times: with --curve leave it out\n")
    bad = tmp_path / "bad.csv"
    bad.write_text("time [s];position [%]\n0;x\n", encoding="utf-8")
    code, out, err = run(str(bad), "--case", str(DEMO_CASE), "--curve", "manifold valve", "--json")
    assert code == 2
    assert 'row 2, column "position [%]"' in err
    assert json.loads(out)["refused"][0]["row"] == 2
    bad.write_text("time [s];position [%]\n0;100\n1;0\n", encoding="utf-8")
    assert "samples from 100 % to 0 % open" in run(str(bad), *common[1:], "--curve", "manifold valve")[2]


def test_a_damaged_answer_is_refused(lineup: LineUp) -> None:
    clean = run_measured(lineup, stroke_of(sampled(shape, 20.0, step=0.1)), valve="manifold valve")
    assert clean.steep is None
    hold_to_schema(measured_document(clean, HEAD, CAUTIONS), "measured")
    head = {"program": {"name": "surge", "version": "1"}, "curve": {"file": "a.csv", "sha256": "0" * 64}}
    fault = row_fault(2, "position [%]", '"x"', "a number", "write the position")
    hold_to_schema(fault_document([fault], head), "measured")


def test_document_and_picture_are_the_same_each_time(lineup: LineUp) -> None:
    stroke = stroke_of(sampled(shape, 20.0, step=0.1, noise=0.004))
    found = run_measured(lineup, stroke, valve="manifold valve")
    display = Display(units=ShowUnits(), density=850.0)
    hold_to_schema(measured_document(found, HEAD, CAUTIONS), "measured")
    kinds = ("png", "pdf")
    first, again = (measured_picture(found, lineup, display, kinds=kinds, signature="s") for _ in range(2))
    assert first == again

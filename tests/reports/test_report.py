"""The answer in words and in JSON: what it says, what it must not say, and that its figures agree."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.demos import Demos
from support.documents import as_read, hold_to_schema

from surge.case.file import CASE, Case, read_case, starter_case
from surge.errors import Fault
from surge.inputs import input_of
from surge.reports.advice import advice, gentleness, settled, unavoidable
from surge.reports.cavities import TRUST
from surge.reports.check_json import CheckDocument, answer
from surge.reports.document import no_answer, refusal
from surge.reports.gauge import gauge_sentences
from surge.reports.layout import LINE, table
from surge.reports.text import TextReport
from surge.reports.words import CAUTIONS, Display, sentence
from surge.rules.assess import Assessment, assess
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.telling import valid
from surge.schemas import path_of
from surge.search.remedies import Advised, Remedies
from surge.toml.faults import describe
from surge.toml.text import FileError
from surge.transient import followed
from surge.units import ShowUnits, from_si

ROOT = Path(__file__).parents[2]
RANGED, SLAM, COUPLING = (
    "shore-line-of-unknown-length",
    "methanol-closed-branches",
    "gas-oil-release-coupling",
)
Answered = Callable[..., tuple[Case, Assessment]]
Report = Callable[..., str]
RESTART, STACKS = "restart-into-a-shut-deck-line", "gasoline-through-cargo-pumps"


def text_of(name: str) -> str:
    return (ROOT / "cases" / f"{name}.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def answered(demos: Demos) -> Answered:
    """Gives a demo, or the starter case, with some of its text changed, and its answer."""

    @cache
    def made(name: str, *changes: tuple[str, str]) -> tuple[Case, Assessment]:
        if name in demos and not changes:
            return demos[name].case, demos[name].answer
        text = starter_case() if name == "starter" else text_of(name)
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        case = read_case(text, filename=f"{name}.toml")
        return case, assess(case.lineup)

    return made


def shown(case: Case, **units: str) -> Display:
    own = {"pressure": "bar", "flow": "m3/h", "length": "m", "diameter": "mm"}
    return Display(units=ShowUnits(**(own | units)), density=case.lineup.liquid.density)


@pytest.fixture(scope="module")
def report(answered: Answered) -> Report:
    """Gives the answer to the same in words."""

    def words(name: str, *changes: tuple[str, str], details: bool = False, **units: str) -> str:
        case, got = answered(name, *changes)
        return "\n".join(TextReport(got, shown(case, **units), details=details).lines())

    return words


def flat(text: str) -> str:
    return " ".join(text.split())


BOILING = (COUPLING, ('stroke = "5 s"', 'stroke = "0.5 s"'))


# --- rounding ---


@pytest.mark.parametrize(
    ("value", "high", "low", "margin"),
    [
        (10.00e5, "10.00", "10.00", "10.00"),
        (10.004e5, "10.01", "10.00", "10.00"),
        (9.996e5, "10.00", "9.99", "9.99"),
        (-0.004e5, "0.00", "-0.01", "-0.01"),
        (0.1e5 + 0.2e5, "0.30", "0.30", "0.30"),
        (0.0, "0.00", "0.00", "0.00"),
    ],
)
def test_rounding_to_the_unsafe_side(
    value: float, high: str, low: str, margin: str, answered: Answered
) -> None:
    display = shown(answered("starter")[0])
    assert (display.round_up(value), display.round_down(value), display.margin(value)) == (high, low, margin)


@given(
    value=st.floats(-2e5, 5e6), limit=st.floats(0, 5e6), unit=st.sampled_from(("bar", "psi", "kPa", "kg/cm2"))
)
@settings(max_examples=100, deadline=None)
def test_no_figure_looks_better_than_it_is(value: float, limit: float, unit: str) -> None:
    display = Display(
        units=ShowUnits(pressure=unit, flow="m3/h", length="m", diameter="mm"),
        density=800.0,
    )
    exact, noise = from_si(value, unit=unit), 1e-6
    assert float(display.round_up(value)) >= exact - noise
    assert float(display.round_down(value)) <= exact + noise
    assert float(display.error(value).removeprefix("±")) >= exact - noise
    margin = limit - value
    assert float(display.margin(margin)) <= from_si(margin, unit=unit) + noise
    if margin < -1.0:
        assert display.margin(margin).startswith("-")  # never "exceeded by 0.00"
        assert float(display.margin(margin)) < 0


# --- agreement of figures ---


@pytest.mark.parametrize("name", [RANGED, SLAM, STACKS, "starter"])
def test_pressure_and_margin_of_every_row_make_its_limit(name: str, answered: Answered) -> None:
    case, got = answered(name)
    text = TextReport(got, shown(case), details=True)
    rows = 0
    for run in got.scenarios:
        for what, sign in (("peak", 1.0), ("lowest", -1.0)):
            body = (text.highest if sign > 0 else text.lowest)(run)
            for line in body:
                if match := re.search(r"(-?\d+\.\d\d) ±.* (-?\d+\.\d\d) +(-?\d+\.\d\d) +(kept|EXC)", line):
                    pressure, limit, margin = (float(x) for x in match.groups()[:3])
                    assert pressure + sign * margin == pytest.approx(limit, abs=0.0151), (what, line)
                    rows += 1
    assert rows > 10


def test_with_a_range_of_lengths_the_worst_one_is_named(answered: Answered, report: Report) -> None:
    case, got = answered(RANGED)
    worst = got.weakest
    assert worst is not None
    run = got.run_of(worst)
    assert run is not None
    peaks = {
        t.value: next(e for e in r.elements if e.name == worst.name)
        for r in got.scenarios
        for t in r.taken
        if t.whose == 'length of "shore line"'
    }
    length = max(peaks, key=lambda m: peaks[m].highest.pressure)
    assert [t.value for t in run.taken] == [length]
    assert f'with length of "shore line" {length:.1f} m' in sentence(worst, run, shown(case))
    long = report(RANGED, details=True)
    assert long.count("Scenario: ") == len(got.scenarios)
    for other in peaks:
        assert f"{other:.1f} m" in long


# --- advice ---


def with_remedies(got: Assessment) -> Advised:
    """The same after trials in which nothing was found."""
    return Advised(**{f.name: getattr(got, f.name) for f in fields(Assessment)}, remedies=Remedies())


def test_a_surge_that_a_non_return_valve_shuts_in_is_no_reason_to_say_that_strokes_do_not_help(
    answered: Answered,
) -> None:
    # The same line-up with a slow stroke keeps every limit ("topping off"); so a slower one must be advised.
    case, got = answered(SLAM)
    worst = got.weakest
    assert worst is not None
    assert worst.limit is not None
    run = got.run_of(worst)
    assert run is not None
    rest, stands = settled(case.lineup, worst, run), unavoidable(case.lineup, worst, run)
    assert stands is not None
    assert stands < worst.limit < rest
    said = " ".join(advice(with_remedies(got), shown(case)))
    assert "No stroke time helps" not in said
    assert "shut in" in said


def test_shut_off_pressure_above_a_rating_is_not_blamed_on_the_stroke(
    answered: Answered, report: Report
) -> None:
    case, got = answered(SLAM, ('rating = "10 bar(g)"', 'rating = "5 bar(g)"'))
    assert any(f.verdict == EXCEEDED for f in got.static)
    said = " ".join(advice(with_remedies(got), shown(case)))
    assert "No stroke time helps" in said
    assert "Shut-off pressure, before any surge" in report(
        SLAM, ('rating = "10 bar(g)"', 'rating = "5 bar(g)"'), details=True
    )


@pytest.mark.parametrize("name", ["starter", SLAM, STACKS, RANGED, RESTART])
def test_nothing_is_promised(name: str, report: Report) -> None:
    text = flat(report(name, details=True)).lower()
    for word in (" safe ", "safely", "guarantee", "no risk", "permitted", "approved"):
        assert word not in text
    for caution in CAUTIONS:
        assert flat(caution).lower() in text


def test_a_valve_that_opens_is_said_to_open(answered: Answered) -> None:
    case, got = answered(RESTART)
    said = [line for run in got.scenarios for line in gentleness(case.lineup, run, shown(case))]
    assert any(" opens in " in line for line in said)
    moved = {m.valve: m.law[-1][1] > m.law[0][1] for s in case.lineup.scenarios for m in s.moves}
    for line in said:
        assert (" opens " in line) == moved[line.split('"')[1]]


# --- boiling ---


def test_after_boiling_no_impossible_pressure_is_told_as_a_result(answered: Answered, report: Report) -> None:
    case, got = answered(*BOILING)
    assert got.verdict == EXCEEDED
    assert any(r.vapour for r in got.scenarios)
    text = flat(report(*BOILING, details=True))
    assert "VAPOUR PRESSURE IS REACHED, first " in text
    assert "From then on cavities are in the line." in text
    assert "Cavities by place, with both models, each on two grids." in text
    assert text.count(TRUST) == sum(r.followed for r in got.scenarios)
    vapour = case.lineup.vapour_gauge
    # Rounded down, no pressure is below that at which the cargo boils.
    lowest = [float(x) for x in re.findall(r"(-\d+\.\d\d) ±", text)]
    assert min(lowest) == pytest.approx(vapour / 1e5, abs=0.01)
    assert min(f.value for f in got.findings if f.value is not None) >= vapour
    # There was something to hide.
    assert any(e.lowest.pressure < vapour - 1e5 for r in got.scenarios for e in r.elements)


def test_the_table_of_cavities_has_both_models_on_two_grids(answered: Answered, report: Report) -> None:
    _, got = answered(*BOILING)
    run = got.scenarios[0]
    assert run.cavities is not None
    told = run.cavities.told
    assert [(r.model, r.dt) for r in told] == [
        (m, run.cavities.runs[k].dt) for m in ("vapour", "gas") for k in (1, 2)
    ]
    lines = report(*BOILING, details=True).splitlines()
    name = next(iter(told[0].places))
    rows = [line for line in lines if line.startswith(name) and " vapour " in line][: len(told)]
    assert sum("vapour alone" in row for row in rows) == sum("vapour and gas" in row for row in rows) == 2
    shown = [f"{r.places[name].opened:.2f}" for r in told]
    assert all(time in row for time, row in zip(shown, rows, strict=True))


def test_without_cavities_a_peak_to_be_feared_is_told_as_a_warning(
    answered: Answered, report: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(followed, "MOST_EFFORT", 1e5)
    unfollowed = (*BOILING, ("# ", "#  "))  # another text: what was followed is kept at hand
    _, got = answered(*unfollowed)
    run = got.scenarios[0]
    beyond = [f for f in got.findings if f.scenario == run.name and f.check == "peak" and (f.margin or 0) < 0]
    assert beyond
    assert all(f.verdict == UNDECIDED for f in beyond)
    text = flat(report(*unfollowed, details=True))
    assert "AS A WARNING: run on as if no cavity opened" in text
    assert "Marches with cavities were not made: they would take too much work (--patient does it)." in text
    assert all(valid(f, run).value != f.value for f in beyond)


# --- undecided ---


def test_what_cannot_be_decided_is_never_folded_away(answered: Answered, report: Report) -> None:
    # The drop line has by far the most room; without a rating nothing can be said of it.
    source = text_of(STACKS)
    block = next(b for b in source.split("\n\n") if 'name = "4P pump stack"' in b)
    bare = "\n".join(line for line in block.splitlines() if not line.startswith("rating"))
    assert bare != block
    change = (block, bare)
    _, got = answered(STACKS, change)
    assert any(f.verdict == UNDECIDED and f.name == "4P pump stack" for f in got.findings)
    text = report(STACKS, change, details=True)
    for part in text.split("Scenario: ")[1:]:
        peaks = part.split("lowest")[0]
        assert re.search(r"4P pump stack .*undecided", peaks)


# --- layout ---


@pytest.mark.parametrize("name", ["starter", SLAM, STACKS, RANGED, RESTART, COUPLING])
@pytest.mark.parametrize(
    "units", [{}, {"pressure": "psi", "flow": "bbl/h", "length": "ft"}, {"pressure": "kPa"}]
)
def test_no_line_is_wider_than_a_screen(name: str, units: dict[str, str], report: Report) -> None:
    text = report(name, details=True, **units)
    assert max(map(len, text.splitlines())) <= LINE
    assert "…" not in text
    assert text.splitlines()[2].startswith("VERDICT: ")


def test_a_wide_table_is_broken_and_not_cut() -> None:
    names = [f"a rather long name of a closed branch no. {i}" for i in range(3)]
    rows = [(n, *["-10.00"] * 7, "a limit from a certificate of some length") for n in names]
    lines = table(("element", *["figure"] * 7, "source"), rows)
    assert max(map(len, lines)) <= LINE
    words = flat(" ".join(lines)).split()
    assert words.count("branch") == 3
    assert words.count("certificate") == 3


def test_the_overview_has_the_worst_scenario_first_and_counts(answered: Answered, report: Report) -> None:
    _, got = answered(SLAM)
    over = sum(f.verdict == EXCEEDED for f in got.findings)
    lines = report(SLAM, details=True).splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("Scenarios, the worst first"))
    first, second = lines[at + 3], lines[at + 4]
    assert re.match(rf"tank valve slams +EXCEEDED +{over} +0 ", first)
    assert re.match(r"topping off +kept +0 +0 ", second)
    assert "Figures to check by pocket calculator (scenario tank valve slams)" in report(SLAM, details=True)


def test_pocket_figures_are_what_a_calculator_gives(answered: Answered, report: Report) -> None:
    # Velocity = flow / bore area; travel time = length / wave speed; rise = density x wave speed x velocity.
    case, got = answered("starter")
    pipes = {p.name: p for p in case.lineup.pipes}
    rise = {}
    for e in got.scenarios[0].elements:
        if e.figures:
            pipe = pipes[e.name]
            velocity = e.figures.flow / (3.141592653589793 * pipe.diameter**2 / 4)
            rise[e.name] = case.lineup.liquid.density * pipe.wave_speed * abs(velocity)
    for line in report("starter", details=True).split("Figures to check")[1].splitlines():
        for name, pascal in rise.items():
            if line.startswith(name) and line.endswith(" bar"):
                assert float(line.split()[-2]) == pytest.approx(pascal / 1e5, abs=0.0051)
                rise[name] = 0.0
    assert set(rise.values()) == {0.0}


# --- JSON ---


def typed(case: Case, got: Assessment, *, histories: bool = False) -> CheckDocument:
    display = shown(case)
    assert got.weakest is not None
    return answer(
        case,
        got,
        version="0",
        sentence=sentence(got.weakest, got.run_of(got.weakest), display),
        advice=advice(got, display),
        gauge=gauge_sentences(got.gauge, display),
        remedies=None,
        cautions=CAUTIONS,
        histories=histories,
    )


@pytest.mark.parametrize("name", [("starter",), (RANGED,), BOILING])
@pytest.mark.parametrize("histories", [False, True])
def test_json_keeps_to_its_schema(name: tuple[Any, ...], histories: bool, answered: Answered) -> None:
    document = typed(*answered(*name), histories=histories)
    hold_to_schema(document, "result")
    jsonschema.Draft202012Validator(json.loads(path_of("result").read_text(encoding="utf-8"))).validate(
        as_read(document)
    )


@pytest.mark.parametrize("name", ["result", "window", "chart", "compare", "sheet"])
def test_json_of_a_refused_case_and_of_no_answer(name: str) -> None:
    source = {"version": "0", "filename": "x.toml", "sha256": "0" * 64}
    hold_to_schema(no_answer("too long", **source), name)
    fault = Fault(path=("title",), found="no key title", expected="a text", remedy='add title = "..."')
    error = FileError([fault], file=input_of(b"", filename="x.toml"), kind=CASE)
    hold_to_schema(refusal(describe(error), **source), name)


def test_json_and_text_say_the_same(answered: Answered, report: Report) -> None:
    for name in (("starter",), (SLAM,), BOILING):
        _, got = answered(*name)
        made, text = as_read(typed(*answered(*name))), flat(report(*name, details=True))
        assert flat(made["sentence"]) in text
        assert all(flat(step) in text for step in made["advice"])
        assert made["verdict"] == got.verdict
        assert {WITHIN: 0, EXCEEDED: 3, UNDECIDED: 4}[made["verdict"]] == made["exit_code"]


def test_the_demo_cases_load_from_disk_as_they_do_from_text(answered: Answered) -> None:
    again = read_case(text_of(SLAM), filename="x.toml")
    assert again.sha256 == answered(SLAM)[0].sha256

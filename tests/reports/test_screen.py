"""The first screen: thirty lines, the verdict at both ends, everything exceeded or undecided counted."""

from __future__ import annotations

import contextvars
import re
from dataclasses import fields, replace

import pytest
from support.demos import VERDICTS, Demos
from support.inputs.case_text import case as starter

from surge.api.check import check
from surge.model.lineup import LineUp, Scenario
from surge.reports.layout import fit
from surge.reports.room import MOST, Part, fitted, listed, tall
from surge.reports.screen import FLOORS, Screen, counted, judged, twins
from surge.reports.text import TextReport, unstyled
from surge.reports.words import HEADLINE, SHORT, Display, place_in, where_in
from surge.rules.assess import Assessment, assess
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.reading import built_in
from surge.search.remedies import Advised
from surge.transient.result import ElementResult, PocketFigures
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=800.0)
SIGNATURE = f"surge 0.0.0, case {'a' * 60}.toml, sha256 0123456789abcdef"
LONG = "a name of sixty letters, which is as long as a name can be, {:02}"


def screen(made: Assessment, *, columns: int = 80, details: bool = False) -> list[str]:
    def lines() -> list[str]:
        fit(columns)
        report = TextReport(made, DISPLAY, details=details, signature=SIGNATURE)
        return "\n".join(report.lines()).split("\n")

    return contextvars.copy_context().run(lines)


def rows(lines: list[str]) -> int:
    """Lines of a screen of 80 columns."""
    return sum(max(1, -(-len(line) // 80)) for line in lines)


def hold(made: Assessment) -> list[str]:
    """What every first screen keeps."""
    lines = screen(made)
    assert rows(lines) <= MOST
    verdicts = [line for line in lines if line.startswith("VERDICT: ")]
    assert verdicts == [f"VERDICT: {HEADLINE[made.verdict]}"] * 2
    assert lines[-1] == verdicts[0]
    assert SIGNATURE in lines
    return lines


@pytest.mark.parametrize("name", list(VERDICTS))
def test_every_demo_fits_one_screen(name: str, demos: Demos) -> None:
    made = demos[name].answer
    lines = hold(made)
    text = " ".join(" ".join(lines).split())
    each = judged(made)
    left = re.search(r"\.\.\. and (\d+) more[:,] [^:]*\(--details\)", text)
    shown = len(each) - (int(left[1]) if left else 0)
    assert len(each) == 1 or all(one.name in text for one in each[:shown])
    many = [f.verdict for f in made.counting] + [r.verdict for r in made.broken]
    for verdict in (EXCEEDED, UNDECIDED):
        if n := many.count(verdict):
            assert re.search(rf"Of the limits .*{n} {SHORT[verdict]}", text)


def test_a_screen_is_counted_in_lines_of_the_terminal() -> None:
    assert tall(["x" * 101, "", "x"]) == 4


@pytest.fixture(scope="module")
def crowded() -> Assessment:
    """The starter case with twelve scenarios, each with as long a name as can be, half of them too quick."""
    lineup = starter().lineup
    slow, quick = lineup.scenarios[0], _quicker(lineup.scenarios[0])
    many = tuple(
        replace(quick if i % 2 else slow, name=LONG.format(i), origin=("scenario", i)) for i in range(12)
    )
    return assess(lineup.with_(scenarios=many, title="t" + " title" * 32), book=built_in())


def _quicker(scenario: Scenario) -> Scenario:
    moves = tuple(
        replace(m, law=tuple((0.02 * time, opening) for time, opening in m.law)) for m in scenario.moves
    )
    return replace(scenario, moves=moves)


def test_twelve_scenarios_with_long_names_fit_too(crowded: Assessment) -> None:
    assert crowded.verdict == EXCEEDED
    text = " ".join(" ".join(hold(crowded)).split())
    assert "12 scenarios: 6 EXCEEDED, 6 kept." in text
    left = re.search(r"\.\.\. and (\d+) more: (\d) EXCEEDED, 6 kept", text)
    assert left
    assert int(left[1]) == int(left[2]) + 6
    shown = [one.name for one in judged(crowded)][: 12 - int(left[1])]
    assert all(name in text for name in shown)


def test_details_have_all_of_them_and_the_verdict_at_both_ends(crowded: Assessment) -> None:
    lines = screen(crowded, details=True)
    text = " ".join(" ".join(lines).split())
    assert lines[-1] == f"VERDICT: {HEADLINE[EXCEEDED]}"
    for i in range(12):
        assert f"Scenario: {LONG.format(i)}" in text


def test_nothing_is_hidden_by_leaving_it_out() -> None:
    parts = [Part(["head"], [[f"row {i}"] for i in range(9)], lambda n: f"{n} more") for _ in range(4)]
    made = fitted(parts, 12, floors=FLOORS)
    assert sum(map(len, made)) <= 12
    for lines in made:
        told = [line for line in lines if line.startswith("row")]
        assert f"{9 - len(told)} more" in lines
    assert fitted(parts[:1] + [Part([], [], str)] * 3, 40, floors=FLOORS)[0][-1] == "row 8"


def test_items_that_find_no_room_are_counted() -> None:
    assert listed("Rules: ", ["one", "two"], lines=1, end="; 3 met.") == ["- Rules: one; two; 3 met."]
    long = ["word " * 12 + str(i) for i in range(5)]
    made = " ".join(listed("Rules: ", long, lines=2))
    assert "more: --details" in made
    assert int(re.findall(r"(\d) more", made)[0]) == 5 - sum(f"word {i}" in made for i in range(5))


def test_rules_that_do_not_count_or_are_switched_off_are_counted(demos: Demos) -> None:
    text = " ".join(" ".join(screen(demos["kerosene-shutdown-linked-and-not"].answer)).split())
    assert re.search(r"Rules: \d+ met; 5 not met, for advice only; 1 switched off by a file of rules\.", text)


def test_twins_are_told_once() -> None:
    """Two arms side by side with the same figures; only one of them is named as the weakest."""
    lineup = two_arms()
    made = assess(lineup, book=None)
    worst = made.weakest
    assert worst is not None
    assert worst.name in ("arm 1", "arm 2")
    (other,) = twins(made, worst, DISPLAY)
    assert {worst.name, other} == {"arm 1", "arm 2"}
    text = " ".join(" ".join(screen(made)).split())
    assert f'Weakest is "{worst.name}" (and "{other}" alike)' in text


def two_arms() -> LineUp:
    lineup = starter().lineup
    hose = next(p for p in lineup.pipes if p.kind == "hose")
    arm = replace(hose, kind="arm", name="arm 1", limits=replace(hose.limits, rating=2e5, lowest=None))
    others = [p for p in lineup.pipes if p is not hose]
    other = replace(arm, name="arm 2", origin=("arm", 1))
    return lineup.with_(pipes=(*others, arm, other), scenarios=lineup.scenarios[:1])


def _element(velocity: float) -> ElementResult:
    figures = PocketFigures(
        flow=velocity, velocity=velocity, wave_speed=1000.0, travel_time=0.1, instant_stop=0.0
    )
    run = check(starter().lineup).scenarios[0]
    return replace(run.elements[0], figures=figures, start="tee", end="blank")


@pytest.mark.parametrize(
    ("velocity", "distance", "place", "where"),
    [
        (2.0, 0.0, "shore end", "at its shore end"),
        (2.0, 100.0, "ship end", "at its ship end"),
        (2.0, 99.95, "ship end", "at its ship end"),
        (2.0, 40.0, "40.0 m from shore end", "40.0 m from its shore end"),
        (-2.0, 0.0, "ship end", "at its ship end"),
        (-2.0, 40.0, "60.0 m from shore end", "60.0 m from its shore end"),
        (0.0, 0.0, 'end "tee"', 'at its end "tee"'),
        (0.0, 100.0, 'end "blank"', 'at its end "blank"'),
        (0.0, 25.0, '25.0 m from end "tee"', '25.0 m from its end "tee"'),
    ],
)
def test_a_place_in_words(velocity: float, distance: float, place: str, where: str) -> None:
    element = _element(velocity)
    assert place_in(element, distance, DISPLAY) == place
    assert where_in(element, distance, DISPLAY) == where


def test_the_count_agrees_with_the_verdict(demos: Demos) -> None:
    for name, verdict in VERDICTS.items():
        text = counted(demos[name].answer)
        assert ("every limit and every required rule is kept" in text) == (verdict == WITHIN)


@pytest.mark.parametrize("name", [n for n in VERDICTS if VERDICTS[n] == EXCEEDED])
def test_what_leads_to_remedies_never_stands_alone(name: str, demos: Demos) -> None:
    """The first remedy belongs to it: both are shown, or neither."""
    demo = demos[name]
    made = Advised(**{f.name: getattr(demo.answer, f.name) for f in fields(Assessment)}, remedies=demo.tried)
    items = Screen(made, DISPLAY, style=unstyled, signature="").steps().items
    assert items
    assert not any(item[-1].endswith(":") for item in items)
    leads = [item for item in items if any(line.endswith("required rule:") for line in item)]
    assert len(leads) == (len(demo.tried.found) > 1)

"""Two cases side by side: what differs, what that does, and how it is told."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result
from support.demo_pictures import DISPLAY, PSI
from support.demos import CASES, Demos
from support.documents import hold_to_schema
from support.drawn import axes_named, caught, curves, levels
from support.lineups.berth import berth

from surge.api.check import check
from surge.case.file import read_case
from surge.cli.main import main
from surge.errors import RequestError
from surge.model.lineup import LineUp
from surge.plots.compare import comparison_files, histories_of, lines_of, place_of
from surge.reports.compare import change_words, comparison_lines
from surge.reports.compare_json import comparison_document
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, WITHIN
from surge.units import ShowUnits
from surge.views.compare import Comparison, compare
from surge.views.facts import Change, Fact, changes, facts_of, scenario_facts

CRUDE, KEROSENE = CASES / "crude-sea-line.toml", CASES / "kerosene-shutdown-linked-and-not.toml"
SCHEMA = json.loads((CASES.parent / "surge" / "schema" / "compare.schema.json").read_text(encoding="utf-8"))
BAR = Display(units=ShowUnits(), density=865.0)
SLOWER = (('stroke = "9 s"', 'stroke = "30 s"'), ("900 m3/h", "800 m3/h"), ('"15 bar(g)"', '"16 bar(g)"'))


def slower_text() -> str:
    text = CRUDE.read_text(encoding="utf-8")
    for old, new in SLOWER:
        assert old in text
        text = text.replace(old, new)
    return text


@pytest.fixture(scope="module")
def slower() -> Assessment:
    return check(read_case(slower_text(), filename="slower.toml"), remedies=False)


@pytest.fixture(scope="module")
def both(slower: Assessment, demos: Demos) -> Comparison:
    return compare(demos["crude-sea-line"].answer, slower)


def run(*arguments: Any) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


# What differs


def test_a_case_does_not_differ_from_itself(demos: Demos) -> None:
    for name in ("methanol-closed-branches", "shore-line-of-unknown-length"):
        same = compare(demos[name].answer, demos[name].answer)
        assert same.changes == ()
        assert all(p.changes == () for p in same.pairs)
        assert all(r.difference == 0.0 for p in same.pairs for r in p.places)


def test_what_differs_is_told_once_and_in_words(both: Comparison) -> None:
    assert [change_words(c, BAR) for c in both.changes] == [
        "rate: agreed rate 900.0 m3/h before, 800.0 m3/h after",
        'hose "hose string": rating 15.00 bar(g) before, 16.00 bar(g) after',
    ]
    pair = next(p for p in both.pairs if p.before == "manifold valve shut by mistake")
    assert [change_words(c, BAR) for c in pair.changes] == [
        'valve "manifold valve": closing stroke 9.00 s before, 30.00 s after'
    ]


def test_another_order_is_told(demos: Demos) -> None:
    lineup = demos["kerosene-shutdown-linked-and-not"].case.lineup
    linked, not_linked = lineup.scenarios
    found = changes(scenario_facts(lineup, linked), scenario_facts(lineup, not_linked))
    said = [change_words(c, BAR) for c in found]
    assert said[0] == (
        "order of movements: shore pump, then shore valve, then manifold valve before; "
        "manifold valve, then shore pump, then shore valve after"
    )
    assert 'pump "shore pump": begins at 8.00 s before, 28.00 s after' in said


def test_every_figure_of_a_line_up_is_a_fact() -> None:
    """Each number and word of an element, point, tank or liquid, changed by itself, is seen."""
    lineup = berth()
    skipped = {"origin", "name", "start", "end", "point", "side", "adjustable", "brittle", "pump_top", "kind",
               "friction_factor", "static_accumulator", "sound_speed_doubt", "by_mass"}  # fmt: skip
    tried = 0

    def seen(other: LineUp, what: str) -> None:
        nonlocal tried
        tried += 1
        assert changes(facts_of(lineup), facts_of(other)), what

    for group in ("pipes", "valves", "passages", "pumps", "points", "tanks"):
        items = getattr(lineup, group)
        for f in fields(items[0]):
            value = getattr(items[0], f.name)
            if f.name in skipped or f.name.endswith("source") or not isinstance(value, int | float):
                continue
            new = (not value) if isinstance(value, bool) else value + 0.125
            seen(lineup.with_(**{group: (replace(items[0], **{f.name: new}), *items[1:])}), f.name)
    for f in fields(lineup.liquid):
        value = getattr(lineup.liquid, f.name)
        if f.name not in skipped and isinstance(value, float):
            seen(lineup.with_(liquid=replace(lineup.liquid, **{f.name: value * 1.01})), f.name)
    for key in ("rating", "test_pressure", "lowest"):
        pipe = lineup.pipes[0]
        limits = replace(pipe.limits, **{key: 1.25e5})
        seen(lineup.with_(pipes=(replace(pipe, limits=limits), *lineup.pipes[1:])), key)
    assert tried > 20


def test_a_part_that_only_one_case_has_is_told_as_such() -> None:
    lineup = berth()
    more = lineup.with_(pipes=lineup.pipes[:-1])
    found = changes(facts_of(lineup), facts_of(more))
    assert [change_words(c, BAR) for c in found] == ['hose "hose": only before']
    assert [change_words(c, BAR) for c in changes(facts_of(more), facts_of(lineup))] == [
        'hose "hose": only after'
    ]


def test_a_difference_too_small_for_the_figures_shown_is_still_told() -> None:
    lineup = berth()
    pipe = lineup.pipes[0]
    other = lineup.with_(pipes=(replace(pipe, length=pipe.length + 1e-4), *lineup.pipes[1:]))
    (change,) = changes(facts_of(lineup), facts_of(other))
    assert change_words(change, BAR) == 'pipe "shore line": length 1200.0 m before, 1200.0001 m after'


# What it does


def test_pressures_are_those_of_the_two_answers(both: Comparison, slower: Assessment, demos: Demos) -> None:
    assert both.exit_code == slower.exit_code
    for pair in both.pairs:
        for row in pair.places:
            for assessment, name, side in (
                (demos["crude-sea-line"].answer, pair.before, row.before),
                (slower, pair.after, row.after),
            ):
                own = next(r for r in assessment.scenarios if r.name == name)
                owners = own.elements if row.subject == "element" else own.places
                owner = next(o for o in owners if o.name == row.name)
                extreme = owner.highest if row.way == "high" else owner.lowest
                assert side.pressure == extreme.pressure
                assert side.error == extreme.error
            assert row.difference == row.after.pressure - row.before.pressure
    pair = next(p for p in both.pairs if p.before == "manifold valve shut by mistake")
    assert pair.verdicts == (EXCEEDED, WITHIN)
    hose = next(r for r in pair.places if (r.subject, r.name, r.way) == ("element", "hose string", "high"))
    assert (hose.before.verdict, hose.after.verdict) == (EXCEEDED, WITHIN)
    assert hose.before.limit is not None
    assert hose.after.limit is not None
    assert (hose.before.limit.value, hose.after.limit.value) == (15e5, 16e5)
    assert hose.after.margin == pytest.approx(16e5 - hose.after.pressure)
    assert both.governing is pair


def test_a_range_counts_with_its_worst(demos: Demos) -> None:
    name = "shore-line-of-unknown-length"
    pair = compare(demos[name].answer, demos[name].answer).pairs[0]
    runs = [r for r in demos[name].answer.scenarios if r.name == pair.before]
    row = next(r for r in pair.places if (r.name, r.way) == ("shore line", "high"))
    peaks = [next(e.highest.pressure for e in r.elements if e.name == "shore line") for r in runs]
    assert row.before.pressure == max(peaks)


def test_what_boils_counts_with_the_time_before(demos: Demos, boiling: Assessment) -> None:
    pair = next(p for p in compare(demos["crude-sea-line"].answer, boiling).pairs if "mistake" in p.before)
    row = next(r for r in pair.places if (r.name, r.way) == ("hose string", "high"))
    own = next(r for r in boiling.scenarios if r.name == pair.after)
    hose = next(e for e in own.elements if e.name == "hose string")
    assert row.after.pressure == hose.highest.before_vapour
    assert row.after.pressure < hose.highest.pressure
    said = "\n".join(comparison_lines(compare(demos["crude-sea-line"].answer, boiling), ("a", "b"), BAR))
    assert "The cargo boils after: what stands below is of the time before that." in said


def test_scenarios_are_paired_by_name_or_as_asked(demos: Demos) -> None:
    kerosene = demos["kerosene-shutdown-linked-and-not"].answer
    (pair,) = compare(kerosene, kerosene, ["not linked", "linked"]).pairs
    assert (pair.before, pair.after) == ("not linked", "linked")
    assert pair.verdicts == (EXCEEDED, WITHIN)
    with pytest.raises(RequestError, match="no scenario has the same name"):
        compare(kerosene, demos["crude-sea-line"].answer)
    with pytest.raises(RequestError, match="scenario in AFTER"):
        compare(kerosene, demos["crude-sea-line"].answer, ["linked"])
    with pytest.raises(RequestError, match="one name for both"):
        compare(kerosene, kerosene, ["linked"] * 3)
    partly = compare(demos["gasoline-drop-lines"].answer, demos["gasoline-through-cargo-pumps"].answer)
    assert [p.before for p in partly.pairs] == ["topping off"]
    assert partly.only_before == (
        "start of loading",
        "bulk emergency shutdown",
        "bulk emergency shutdown, at the start",
        "bulk emergency shutdown, while topping off",
    )
    assert partly.only_after == ("manifold valve at full rate", "change of tanks at full rate")


# How it is told


def test_the_text_has_verdicts_changes_and_a_row_for_each_element(both: Comparison, demos: Demos) -> None:
    text = "\n".join(comparison_lines(both, ("old.toml", "new.toml"), BAR))
    assert "VERDICT OF THE CASE: LIMIT EXCEEDED" in text
    before_and_after = "pressures: LIMIT EXCEEDED before, LIMITS KEPT after"
    assert f'Scenario "manifold valve shut by mistake", {before_and_after}' in text
    (row,) = (line for line in text.splitlines() if line.startswith("hose string") and "EXCEEDED" in line)
    assert "15.00 -> 16.00" in row
    assert row.endswith("EXCEEDED -> kept")
    for pipe in demos["crude-sea-line"].answer.lineup.pipes:
        assert sum(line.startswith(pipe.name + "  ") for line in text.splitlines()) == 4


def test_json_fits_its_schema(both: Comparison, tmp_path: Path) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    document = comparison_document(both, [("a", "0" * 64), ("b", "1" * 64)], version="0")
    hold_to_schema(document, "compare")
    path = tmp_path / "after.toml"
    path.write_text(slower_text(), encoding="utf-8")
    result = run("compare", CRUDE, path, "--json")
    printed = json.loads(result.stdout)
    jsonschema.validate(printed, SCHEMA)
    assert printed["exit_code"] == result.exit_code == 3
    refused = run("compare", CRUDE, tmp_path / "nothing.toml", "--json")
    assert refused.exit_code == 2
    jsonschema.validate(json.loads(refused.stdout), SCHEMA)
    assert json.loads(run("schema", "compare").stdout) == SCHEMA


def test_the_exit_code_is_that_of_the_case_after() -> None:
    kept = CASES / "restart-into-a-shut-deck-line.toml"
    assert run("compare", kept, kept).exit_code == 0
    args = ("--scenario", "linked", "--scenario", "right order, slow")
    assert run("compare", KEROSENE, kept, *args).exit_code == 0
    assert run("compare", kept, KEROSENE, *args[2:], *args[:2]).exit_code == 3


def test_the_picture_has_both_envelopes_histories_and_limits(
    both: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    with caught(monkeypatch) as sheets:
        files = comparison_files(both, DISPLAY, ["one", "other"], kinds=["png", "svg"])
    assert files["svg"] == comparison_files(both, DISPLAY, ["one", "other"], kinds=["svg"])["svg"]
    pair = both.governing
    lines = lines_of(pair)
    assert lines is not None
    top = axes_named(sheets[0], "highest pressure")
    for line in lines:
        drawn = [y for _, y in curves(top, size=line.along.x.size)]
        assert any(np.allclose(y, line.along.highest / PSI) for y in drawn)
    assert {round(v / PSI, 6) for v in (15e5, 16e5)} <= levels(top)
    name, low = place_of(pair)
    assert (name, low) == ("hose string", False)
    below = axes_named(sheets[0], "pressure")
    for time, curve in histories_of(pair):
        assert any(np.allclose(y, curve.pressure / PSI) for _, y in curves(below, size=time.size))
    styles = {line.get_linestyle() for line in top.get_lines() if len(line.get_xdata()) > 5}
    assert styles == {"-", "--"}  # told apart in grey


def test_both_histories_are_of_the_same_place(demos: Demos) -> None:
    kerosene = demos["kerosene-shutdown-linked-and-not"].answer
    (pair,) = compare(kerosene, kerosene, ["not linked", "linked"]).pairs
    before, after = (curve for _, curve in histories_of(pair))
    assert before.distance == after.distance
    for subject, curve in zip(pair.subjects, (before, after), strict=True):
        end = next(p for p in subject.lineup.pipes if p.name == curve.name).end
        assert np.allclose(curve.pressure, subject.run.history.pressure[end])
        assert curve.peak is not None
        assert curve.peak.pressure == next(p.highest.pressure for p in subject.run.places if p.name == end)


def test_without_a_common_way_only_the_histories_are_drawn(demos: Demos) -> None:
    other = compare(demos["gasoline-drop-lines"].answer, demos["gasoline-through-cargo-pumps"].answer)
    assert lines_of(other.governing) is None
    assert comparison_files(other, DISPLAY, ["", ""], kinds=["png"])["png"]


def test_what_is_not_given_is_told_as_such() -> None:
    change = Change(
        table="pipe", name="a", quantity="rating", before=None, after=Fact(kind="pressure", value=1e6)
    )
    assert change_words(change, BAR) == 'pipe "a": rating not given before, 10.00 bar(g) after'


def test_keys_that_change_a_pressure_or_a_verdict_are_told(demos: Demos) -> None:
    """Keys that were once missing: cases that differ in one of them alone do differ."""
    lineup = demos["gasoline-drop-lines"].case.lineup
    pipe, scenario = lineup.pipes[0], lineup.scenarios[0]
    changed = {
        "friction factor": lineup.with_(pipes=(replace(pipe, friction_factor=0.03), *lineup.pipes[1:])),
        "brittle": lineup.with_(pipes=(replace(pipe, brittle=True), *lineup.pipes[1:])),
        "gravity": replace(lineup, gravity=9.79),
        "side": lineup.with_(tanks=(replace(lineup.tanks[0], side="x"), *lineup.tanks[1:])),
        "burst": lineup.with_(
            pipes=(replace(pipe, limits=replace(pipe.limits, burst=4e6)), *lineup.pipes[1:])
        ),
    }
    for name, other in changed.items():
        differing = [k for k, v in facts_of(other).items() if facts_of(lineup)[k] != v]
        assert len(differing) == 1, name
        assert name in differing[0][2]
    trapped = replace(scenario, trapped=((lineup.points[0].name, 3e5),))
    assert scenario_facts(lineup, trapped).keys() - scenario_facts(lineup, scenario).keys()

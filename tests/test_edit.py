"""A case changed part by part: the line stays whole, names hold everywhere, the rest stays as written."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from support.demos import CASES, VERDICTS

import surge
from surge.api.edit import MOST_CHANGES, edited
from surge.api.look import NO_VERDICT, look
from surge.api.outline import outline
from surge.api.summary import summary
from surge.api.takes import edits_for
from surge.api.timeline import time_lines
from surge.case.file import read_case
from surge.errors import RequestError
from surge.model.lineup import Scenario
from surge.model.stroke import with_strokes
from surge.search.changes import later

TEXT = surge.new_case(arms=2, tanks=2)


def change(text: str, *changes: dict[str, Any]) -> tuple[str, list[str], list[str]]:
    """The text after changes, the lines that are gone, and those that are new."""
    after = edited(text, list(changes))
    diff = list(difflib.ndiff(text.splitlines(), after.splitlines()))
    return (
        after,
        [line[2:] for line in diff if line.startswith("- ") and line[2:].strip()],
        [line[2:] for line in diff if line.startswith("+ ") and line[2:].strip()],
    )


def faults(text: str) -> list[str]:
    return [fault.record.key for fault in outline(text, filename="berth.toml").faults]


@pytest.mark.parametrize("name", VERDICTS)
def test_a_change_and_the_change_back_leave_a_demo_as_it_was(name: str) -> None:
    text = (CASES / f"{name}.toml").read_text(encoding="utf-8")
    data = outline(text, filename="x.toml").data
    for kind, key in (("pipe", "length"), ("tank", "level")):
        path = [kind, len(data[kind]) - 1, key]
        there = edited(text, [{"do": "set", "path": path, "value": "12.5 m"}])
        assert there != text
        assert edited(there, [{"do": "set", "path": path, "value": data[kind][-1][key]}]) == text
    added = edited(text, [{"do": "add", "path": ["scenario"], "values": {"name": "new one"}}])
    last = [{"do": "remove", "path": ["scenario", len(data["scenario"])]}]
    assert outline(edited(added, last), filename="x.toml").data == data


def test_one_figure_changes_one_line() -> None:
    _, gone, new = change(
        TEXT, {"do": "set", "path": ["scenario", 0, "shutdown", "step", 2, "stroke"], "value": "31 s"}
    )
    assert gone == ['stroke = "26 s"              # as measured in its last test; the fastest']
    assert new == ['stroke = "31 s"              # as measured in its last test; the fastest']


def test_a_part_put_in_takes_over_the_end_of_the_one_before() -> None:
    values = {
        "length": "10 m",
        "size": "16 inch",
        "schedule": "standard",
        "material": "steel",
        "restraint": "expansion joints",
        "rating": "10 bar(g)",
        "roughness": "0.05 mm",
    }
    text, gone, _ = change(TEXT, {"do": "insert", "kind": "pipe", "values": values, "after": ["pipe", 1]})
    assert gone == ['to = "deck line branch"']
    assert faults(text) == []
    pipes = surge.read_case(text, filename="x.toml").lineup.pipes
    assert [(p.name, p.start, p.end) for p in pipes if "deck line branch" in (p.start, p.end)][:1] == [
        ("pipe", "pipe inlet", "deck line branch")
    ]


def test_a_part_taken_out_leaves_no_gap_and_no_movement() -> None:
    text, gone, new = change(TEXT, {"do": "remove", "path": ["valve", 1]})
    assert faults(text) == []
    case = surge.read_case(text, filename="x.toml").lineup
    assert "berth ESD valve" not in text
    assert "berth" not in case.points_by_name
    assert {p.start for p in case.pipes if p.kind == "arm"} == {"ESD valve inlet"}
    assert new == ['from = "ESD valve inlet"'] * 2
    assert 'close = "berth ESD valve"' in gone


def test_a_second_way_taken_out_leaves_the_first() -> None:
    twice = edited(TEXT, [{"do": "repeat", "path": ["arm", 0]}])
    assert faults(twice) == []
    assert [a["name"] for a in outline(twice, filename="x").data["arm"]] == [
        "loading arm 1",
        "loading arm 3",
        "loading arm 2",
    ]
    once = edited(twice, [{"do": "remove", "path": ["arm", 1]}])
    assert outline(once, filename="x").data == outline(TEXT, filename="x").data


@pytest.mark.parametrize(
    ("path", "new"),
    [
        (["valve", 2], 'port "valve"'),
        (["points", "berth"], "jetty"),
        (["tank", 1], "cot"),
        (["valve", 0], "scv"),
        (["pump", 0], "booster"),
        (["pipe", 0], "long line"),
        (["scenario", 1], "the start"),
    ],
)
def test_a_name_is_changed_everywhere(path: list[Any], new: str) -> None:
    data: Any = outline(TEXT, filename="x").data
    old = path[1] if path[0] == "points" else data[path[0]][path[1]]["name"]
    text = edited(TEXT, [{"do": "rename", "path": path, "new": new}])
    assert faults(text) == []
    assert f'"{old}"' not in "\n".join(line.split("#")[0] for line in text.splitlines())
    there = ["points", new] if path[0] == "points" else path
    back = edited(text, [{"do": "rename", "path": there, "new": old}])
    assert outline(back, filename="x").data == data


@pytest.mark.parametrize(
    "bad",
    [
        {"do": "fly"},
        {},
        {"do": "set", "path": [], "value": 1},
        {"do": "set", "path": "rate", "value": 1},
        {"do": "set", "path": ["rate", "agreed"], "value": None},
        {"do": "set", "path": ["rate", "agreed"], "value": "\ud800"},
        {"do": "set", "path": ["valve", 99, "kv"], "value": "1"},
        {"do": "set", "path": ["points", *"abcdefghijklm"], "value": 1},
        {"do": "unset", "path": ["rate", "none"]},
        {"do": "remove", "path": ["valve", -99]},
        {"do": "rename", "path": ["points", "berth"], "new": "manifold 1"},
        {"do": "rename", "path": ["points", "berth"], "new": ""},
        {"do": "insert", "kind": "tank", "after": ["pipe", 0], "values": {}},
        {"do": "insert", "kind": "pipe", "after": ["tank", 0], "values": {}},
        {"do": "repeat", "path": ["rate"]},
    ],
)
def test_what_cannot_be_changed_is_refused(bad: dict[str, Any]) -> None:
    with pytest.raises(RequestError):
        edited(TEXT, [bad])


def test_no_toml_and_too_many_changes_are_refused() -> None:
    with pytest.raises(RequestError, match="no TOML"):
        edited("[", [])
    with pytest.raises(RequestError, match="at most"):
        edited(TEXT, [{"do": "unset", "path": ["note"]}] * (MOST_CHANGES + 1))


# --- outline, look, summary -----------------------------------------------------------------------------


def test_an_outline_draws_what_has_faults() -> None:
    seen = outline(TEXT.replace('length = "800 m"', 'length = "800,5 m"'), filename="berth.toml")
    assert seen.case is None
    assert [fault.path for fault in seen.faults] == [("pipe", 0, "length")]
    assert len(seen.drawing.elements) == 15
    column = {name: place[0] for name, place in seen.drawing.points.items()}
    assert column["tank outlet"] < column["berth"] < column["deck line branch"] < column["1P foot"]
    assert seen.faults[0].record.as_text() in _printed(TEXT.replace('length = "800 m"', 'length = "800,5 m"'))


def _printed(text: str) -> str:
    from surge.api.refusals import refused

    try:
        surge.read_case(text, filename="berth.toml")
    except surge.CaseError as error:
        return refused(error, "berth.toml").text
    return ""


@pytest.mark.parametrize(
    "text", ["", "[", "points = 3", "pipe = 1", "[[pipe]]\nfrom = 1", '[[pipe]]\nfrom = "a"\nto = "a"']
)
def test_an_outline_of_next_to_nothing(text: str) -> None:
    seen = outline(text, filename="x.toml")
    assert seen.faults
    assert seen.drawing.elements == ()


@pytest.mark.parametrize("name", ["gas-oil-release-coupling", "shore-line-of-unknown-length"])
def test_a_look_is_near_the_check_and_says_that_it_is_none(demos: Any, name: str) -> None:
    demo = demos[name]
    seen = look(demo.case)
    assert seen.words == NO_VERDICT
    run = demo.run_of(seen.scenario)
    rise = max(p.highest.pressure - p.steady for p in run.places)
    found = {e.name: e.highest.pressure for e in run.elements}
    for part, peak, limit in seen.peaks:
        # A range is taken at its usual figure: up to a tenth of the rise from the worst of it.
        assert abs(peak - found[part]) < 0.1 * rise, part
        assert limit is not None or part
    assert seen.pressure.shape == seen.time.shape
    named = look(demo.case, scenario=seen.scenario, place=seen.place)
    assert named.place == seen.place


def test_a_look_refuses_what_is_not_there(demos: Any) -> None:
    case = demos["gas-oil-release-coupling"].case
    with pytest.raises(RequestError, match="no such scenario"):
        look(case, scenario="never")
    with pytest.raises(RequestError, match="no such point"):
        look(case, place="nowhere")


@pytest.mark.parametrize("name", ["gas-oil-release-coupling", "gasoline-drop-lines", "crude-sea-line"])
def test_a_summary_says_what_the_screen_says(demos: Any, name: str) -> None:
    answer = demos[name].answer
    told, screen = summary(answer), " ".join(answer.text().split())
    assert f"VERDICT: {told.headline}" in screen
    assert told.counted in screen
    assert told.sentence in screen
    for line in told.scenarios:
        assert " ".join((line.name, line.short)) in screen
    ranks = [RANKED[p.verdict] for p in told.parts]
    assert ranks == sorted(ranks)
    assert ranks[0] == RANKED[told.verdict] or told.rule
    assert told.weakest == (told.parts[0].subject, told.parts[0].name)


RANKED = {"limit exceeded": 0, "cannot be decided": 1, "limit kept": 2}


def test_a_way_back_between_two_points_keeps_them_apart() -> None:
    twice = edited(TEXT, [{"do": "repeat", "path": ["arm", 0]}])
    back = [
        {"do": "set", "path": ["arm", 1, "from"], "value": "manifold 1"},
        {"do": "set", "path": ["arm", 1, "to"], "value": "berth"},
        {"do": "remove", "path": ["arm", 0]},
    ]
    data = outline(edited(twice, back), filename="x").data
    assert {"berth", "manifold 1"} <= set(data["points"])
    assert (data["arm"][0]["from"], data["arm"][0]["to"]) == ("manifold 1", "berth")


def lines_of(text: str) -> dict[str, Any]:
    seen = outline(text, filename="berth.toml")
    assert seen.case is not None
    return {line.scenario: line for line in time_lines(seen.case, seen.data)}


def test_steps_of_a_shutdown_wait_for_another_one_and_no_longer() -> None:
    steps = ["scenario", 0, "shutdown", "step"]
    valves = ["manifold valve 1", "manifold valve 2"]
    first = lines_of(TEXT)["emergency shutdown"]
    assert {m.name: m.begin for m in first.movements} == dict.fromkeys(
        ["shore pump", "berth ESD valve", *valves], 8.0
    )
    # The pump is the first step; now it waits for valves that stand behind it.
    text = edited(TEXT, [{"do": "chain", "path": steps, "names": ["shore pump"], "after": valves[1]}])
    assert faults(text) == []
    assert sorted(text.splitlines()) == sorted([*TEXT.splitlines(), f'after = "{valves[1]}"'])
    chained = {m.name: m for m in lines_of(text)["emergency shutdown"].movements}
    assert (chained["shore pump"].begin, chained["shore pump"].earliest) == (34.0, 34.0)
    assert chained[valves[1]].others == ("berth ESD valve", valves[0])  # the pump waits for it
    back = {"do": "chain", "path": steps, "names": ["shore pump"], "after": ""}
    text = edited(text, [back, {"do": "chain", "path": steps, "names": valves, "after": "shore pump"}])
    assert {m.name: m.begin for m in lines_of(text)["emergency shutdown"].movements} == {
        "shore pump": 8.0,
        "berth ESD valve": 8.0,
        **dict.fromkeys(valves, 18.0),
    }
    with pytest.raises(RequestError, match="waits for that step itself"):
        edited(text, [{"do": "chain", "path": steps, "names": ["shore pump"], "after": valves[0]}])


def test_a_time_line_leads_to_the_keys_that_say_it() -> None:
    lines = lines_of(TEXT)
    at_start = lines["emergency shutdown, at the start"]
    data = outline(TEXT, filename="berth.toml").data
    assert at_start.own == 0  # its movements are those of the shutdown, its rate that of the stage
    assert data["scenario"][at_start.rate[1]]["name"] == "start of loading"
    assert lines["emergency shutdown"].rate == ("rate", "agreed")
    mistake = lines["manifold valves shut by mistake"].movements[0]
    later = edited(TEXT, [{"do": "set", "path": [*mistake.path, mistake.key], "value": "9 s"}])
    moved = lines_of(later)["manifold valves shut by mistake"].movements[1]
    assert (moved.name, moved.begin, moved.end, moved.verb) == (mistake.name, 9.0, 35.0, "close")
    staged = '[[stage]]\nname = "bulk"\nrate = "700 m3/h"\n\n'
    with_stage = TEXT.replace('[[scenario]]\nname = "emergency', f'{staged}[[scenario]]\nname = "emergency')
    assert lines_of(with_stage)["emergency shutdown"].rate == ("stage", 0, "rate")


def taken(text: str, vary: Callable[[Scenario], Scenario]) -> tuple[Any, Any]:
    """The changes for scenarios that were tried otherwise, and the line-up of the text that they make."""
    case = read_case(text, filename="berth.toml")
    tried = case.lineup.with_(scenarios=tuple(vary(s) for s in case.lineup.scenarios))
    edits = edits_for(tried, case, text)
    return edits, read_case(edited(text, edits), filename="berth.toml").lineup


def test_what_was_tried_at_every_stage_becomes_changes_of_the_case() -> None:
    valves = {"manifold valve 1": 40.0, "manifold valve 2": 40.0}
    edits, made = taken(TEXT, lambda s: with_strokes(s, valves))
    assert {e["value"] for e in edits} == {"40 s"}
    assert len(edits) == 4  # of the shutdown, and of the valves that are shut by mistake
    moves = [m for s in made.scenarios for m in s.moves if m.valve in valves]
    assert {m.law[-1][0] for m in moves} == {40.0}
    assert len(moves) == 8  # the shutdown at three stages

    slow = 100 / 3600
    edits, made = taken(TEXT, lambda s: replace(s, rate=slow) if s.stage == "start" else s)
    assert [(e["path"], e["value"]) for e in edits] == [(["scenario", 1, "rate"], "100 m3/h")]
    # A rate of its own would make of this scenario another stage, at which the shutdown is run too.
    assert taken(TEXT, lambda s: replace(s, rate=slow) if s.name.startswith("manifold") else s)[0] == ()
    edits, made = taken(TEXT, lambda s: replace(s, rate=slow) if s.stage == "bulk" else s)
    assert [(e["path"], e["value"]) for e in edits] == [(["rate", "agreed"], "100 m3/h")]

    edits, made = taken(TEXT, lambda s: later(s, ["berth ESD valve"], 3.0))
    assert [(e["path"][-1], e["value"]) for e in edits] == [("wait", "3 s")]
    assert [m.start for s in made.scenarios for m in s.moves if m.valve == "berth ESD valve"] == [11.0] * 3


def test_what_one_key_cannot_say_is_not_offered() -> None:
    stroke = {"berth ESD valve": 60.0}
    only_one = taken(TEXT, lambda s: with_strokes(s, stroke) if s.repeats else s)[0]
    assert only_one == ()  # the shutdown has one stroke at every stage
    assert taken(TEXT, lambda s: with_strokes(s, stroke) if not s.repeats else s)[0] == ()
    table = 'law = "table"\ntable = [["0 s", 1.0], ["10 s", 0.5], ["25 s", 0.0]]'
    text = TEXT.replace(
        'stroke = "25 s"\nlaw = "linear"               # or "two-stage", "table": the last quarter decides',
        table,
    )
    assert text != TEXT
    assert taken(text, lambda s: with_strokes(s, stroke))[0] == ()
    assert taken(TEXT, lambda s: s)[0] == ()

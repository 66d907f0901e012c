"""Every shutdown of a case is run at every stage that the case describes, or the case says why not."""

from __future__ import annotations

import pytest
from support.demos import CASES
from support.inputs.case_text import case as starter

from surge.case.file import Case, read_case
from surge.errors import CaseError
from surge.model.lineup import Scenario
from surge.reports.stages import stage_lines

GASOLINE = (CASES / "gasoline-drop-lines.toml").read_text(encoding="utf-8")
SHUTDOWN, LINKED = "bulk emergency shutdown", "linked = true\n"
STAGE = """
[[stage]]
name = "start"
rate = "120 m3/h"
levels = { "no. 2 port" = "-3 m" }
openings = { "4P drop line valve" = 0.0 }
"""


def gasoline(*changes: tuple[str, str]) -> Case:
    text = GASOLINE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read_case(text, filename="x.toml")


def repeated(case: Case) -> dict[str, Scenario]:
    return {s.name: s for s in case.lineup.scenarios if s.repeats}


def fault(*changes: tuple[str, str]) -> str:
    with pytest.raises(CaseError) as error:
        gasoline(*changes)
    assert len(error.value.faults) == 1, error.value.faults
    one = error.value.faults[0]
    return f"{'.'.join(map(str, one.path))}: {one.found}; {one.expected}; {one.remedy}"


def test_a_shutdown_is_run_at_the_rate_and_levels_of_every_other_stage() -> None:
    case = gasoline()
    own = next(s for s in case.lineup.scenarios if s.name == SHUTDOWN)
    again = repeated(case)
    assert list(again) == [f"{SHUTDOWN}, at the start", f"{SHUTDOWN}, while topping off"]
    for name, stage, rate, level in ((0, "start", 300, -2.9), (1, "topping off", 200, 3.5)):
        one = list(again.values())[name]
        assert (one.stage, one.repeats) == (stage, SHUTDOWN)
        assert one.rate == pytest.approx(rate / 3600)
        assert dict(one.levels)["no. 4 port"] == level
        assert (one.moves, one.pump_moves, one.timing) == (own.moves, own.pump_moves, own.timing)


def test_they_stand_behind_the_shutdown_that_they_repeat() -> None:
    names = [s.name for s in gasoline().lineup.scenarios]
    at = names.index(SHUTDOWN)
    assert [n.startswith(SHUTDOWN) for n in names[at : at + 3]] == [True] * 3


def test_one_state_is_one_stage_however_often_it_is_described() -> None:
    same = 'name = "again"\nstage = "start"\nrate = "300 m3/h"\n'
    levels = 'levels = { "no. 2 port" = "-2.9 m", "no. 2 starboard" = "-2.9 m", "no. 4 port" = "-2.9 m" }\n'
    event = '[[scenario.event]]\nat = "5 s"\nclose = "manifold valve"\nstroke = "40 s"\n'
    case = read_case(f"{GASOLINE}\n[[scenario]]\n{same}{levels}{event}", filename="x.toml")
    assert len(repeated(case)) == 2


def test_two_states_of_one_stage_are_told_apart_by_the_scenario_that_describes_them() -> None:
    other = 'name = "first foot"\nstage = "start"\nrate = "100 m3/h"\n'
    event = '[[scenario.event]]\nat = "5 s"\nclose = "manifold valve"\nstroke = "40 s"\n'
    case = read_case(f"{GASOLINE}\n[[scenario]]\n{other}{event}", filename="x.toml")
    assert f"{SHUTDOWN}, as in start of loading" in repeated(case)
    assert f"{SHUTDOWN}, as in first foot" in repeated(case)


def test_a_scenario_without_a_shutdown_is_not_repeated() -> None:
    assert {s.repeats for s in repeated(gasoline()).values()} == {SHUTDOWN}


def test_a_stage_of_its_own_needs_no_scenario() -> None:
    again = repeated(starter())
    assert list(again) == ["emergency shutdown, while topping off"]
    case = read_case(f"{GASOLINE}{STAGE}", filename="x.toml")
    one = repeated(case)[f"{SHUTDOWN}, at the start"]
    assert one.rate == pytest.approx(120 / 3600)
    assert dict(one.openings) == {"4P drop line valve": 0.0}


def test_a_scenario_begins_with_what_its_stage_says_where_it_says_nothing_else() -> None:
    case = read_case(f"{GASOLINE}{STAGE}", filename="x.toml")
    start = next(s for s in case.lineup.scenarios if s.name == "start of loading")
    assert start.rate == pytest.approx(300 / 3600)  # its own
    assert dict(start.levels)["no. 2 port"] == -2.9  # its own
    assert dict(start.openings) == {"4P drop line valve": 0.0}  # of the stage


def test_a_stage_is_left_out_with_a_reason_which_is_told() -> None:
    why = 'not_at = { "topping off" = "the shore stops on the ship\'s order by radio" }\n'
    case = gasoline((LINKED, LINKED + why))
    assert list(repeated(case)) == [f"{SHUTDOWN}, at the start"]
    told = " ".join(stage_lines(case.lineup))
    assert "was also run at the start" in told
    assert "was not run at topping off: the shore stops on the ship's order by radio." in told


def test_a_stage_that_the_case_does_not_describe_is_named() -> None:
    case = gasoline(('stage = "start"\n', ""))
    assert "The case describes no start: nothing is known" in " ".join(stage_lines(case.lineup))


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('not_at = { "toping off" = "why" }\n', 'did you mean "topping off"?'),
        ('not_at = { "bulk" = "why" }\n', 'another stage, or scenario, of the case: "start"'),
        ('not_at = { "start" = "" }\n', "why no shutdown comes at this stage"),
    ],
)
def test_what_cannot_be_left_out_is_refused(more: str, told: str) -> None:
    said = fault((LINKED, LINKED + more))
    assert "shutdown.not_at" in said
    assert told in said


@pytest.mark.parametrize(
    ("old", "new", "path", "told"),
    [
        ('rate = "120 m3/h"\n', "", "stage.0.rate", "no key rate"),
        ('"start"\nrate = "120', '"first"\nrate = "120', "stage.0.name", '"start", "bulk", "topping off"'),
        ("no. 2 port", "no. 9 port", "stage.0.levels.no. 9 port", "name of a tank"),
        ("4P drop line valve", "6P drop line valve", "stage.0.openings", "4P drop line valve"),
    ],
)
def test_a_stage_that_is_no_stage_is_refused(old: str, new: str, path: str, told: str) -> None:
    assert old in STAGE
    with pytest.raises(CaseError) as error:
        read_case(GASOLINE + STAGE.replace(old, new, 1), filename="x.toml")
    (one,) = error.value.faults
    assert ".".join(map(str, one.path)).startswith(path)
    assert told in f"{one.found} {one.expected} {one.remedy}"


def test_a_stage_is_described_once() -> None:
    with pytest.raises(CaseError) as error:
        read_case(GASOLINE + STAGE + STAGE, filename="x.toml")
    (one,) = error.value.faults
    assert one.path == ("stage", 1, "name")


def test_a_law_that_fits_one_stage_only_is_refused_with_the_stage() -> None:
    """A valve throttled to 0.6 in bulk only closes by a table from there: at the start it stands open."""
    opening = ('stage = "bulk"\n', 'stage = "bulk"\nopenings = { "manifold valve" = 0.6 }\n')
    old = 'close = "manifold valve"\nafter = "shore ESD valve"\nstroke = "14 s"'
    new = old.replace('stroke = "14 s"', 'law = "table"\ntable = [["0 s", 0.6], ["14 s", 0.0]]')
    said = fault(opening, (old, new))
    assert f'in "{SHUTDOWN}, at the start"' in said
    assert "not_at" in said


def test_more_scenarios_than_are_run_are_refused() -> None:
    event = '[[scenario.event]]\nat = "5 s"\nclose = "manifold valve"\nstroke = "40 s"\n'
    more = "".join(f'\n[[scenario]]\nname = "s{k}"\nrate = "{150 + k} m3/h"\n{event}' for k in range(60))
    with pytest.raises(CaseError) as error:
        read_case(GASOLINE + more, filename="x.toml")
    (one,) = error.value.faults
    assert "with every shutdown at every stage" in one.found
    assert "not_at" in one.remedy

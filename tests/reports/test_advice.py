"""Advice in words: the cause, remedies with what they cost, what was tried in vain, what the case lacks."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from support.demos import Demos
from support.inputs.case_text import case as starter

from surge.model.lineup import Berth, LineUp
from surge.reports.advice import LACKS, NOT_TRIED, RUN_WITHOUT, THE_ONE, WHEN_WRITTEN, advice, cause_words
from surge.reports.remedies import in_vain_words, remedy_words
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, WITHIN, worst_of
from surge.rules.rulings import KEPT, NOT_CHECKED
from surge.search.changes import (
    AT_LEAST,
    AT_MOST,
    EXACTLY,
    LATER,
    ORDER,
    RATE,
    RUN_DOWN,
    SPEED,
    STROKE,
    ULLAGE,
    Change,
)
from surge.search.remedies import Advised, Cause, Remedies, Remedy
from surge.search.trials import Trial
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=800.0)
KEROSENE = "kerosene-shutdown-linked-and-not"


@pytest.fixture
def lineup(demos: Demos) -> LineUp:
    return demos[KEROSENE].case.lineup


def change(kind: str, names: str, was: float, value: float, bound: str = EXACTLY, **more: object) -> Change:
    own = {"scenarios": ("not linked",)} | more
    return Change(kind=kind, names=(names,), was=was, value=value, bound=bound, **own)  # type: ignore[arg-type]


def words(lineup: LineUp, *changes: Change, later: float = 0.0, slower: float = 0.0) -> str:
    remedy = Remedy(changes=changes, lineup=lineup, ends_later=later, slower=slower)
    return remedy_words(remedy, lineup, DISPLAY)


@pytest.mark.parametrize(
    ("told", "one"),
    [
        (
            'In "not linked", close "manifold valve" in 27.2 s or more, not 20.0 s (up to 59.0 s: more than '
            "that is too slow for a rule on time).",
            change(STROKE, "manifold valve", 20.0, 27.2, AT_LEAST, to=59.0),
        ),
        (
            'In "not linked", close "manifold valve" in 12.0 s or less, not 20.0 s (and not faster than '
            "8.0 s, for the surge).",
            change(STROKE, "manifold valve", 20.0, 12.0, AT_MOST, to=8.0),
        ),
        (
            'In "not linked", open "manifold valve" in 27.2 s or more, not 20.0 s.',
            change(STROKE, "manifold valve", 20.0, 27.2, AT_LEAST, opens=True),
        ),
        (
            'In "not linked", let "shore pump" run down in 30.0 s or more, not 15.0 s.',
            change(RUN_DOWN, "shore pump", 15.0, 30.0, AT_LEAST),
        ),
        (
            'In "not linked", let "shore pump" run down in 30.0 s, not 15.0 s.',
            change(RUN_DOWN, "shore pump", 15.0, 30.0),
        ),
        (
            'In "not linked", load at 600.0 m3/h, not 1200.0 m3/h.',
            change(RATE, "shore control valve", 1 / 3, 1 / 6),
        ),
        (
            'In "not linked", let "shore valve" begin 5 s later.',
            change(LATER, "shore valve", 0.0, 5.0),
        ),
        (
            'Run "shore pump" at 92 % of its full speed, not 100 %.',
            change(SPEED, "shore pump", 1.0, 0.92, scenarios=()),
        ),
        (
            "Order the stop earlier, with an ullage of 34.0 m3 or more in "
            '"no. 4 port and starboard", not 30.0 m3.',
            change(ULLAGE, "no. 4 port and starboard", 30.0, 34.0, AT_LEAST, scenarios=()),
        ),
        (
            'In "not linked", move in another order: "shore pump" at 3.0 s, "manifold valve" at 18.0 s.',
            change(ORDER, "shore pump", 66.0, 60.0, starts=(("shore pump", 8.0), ("manifold valve", 23.0))),
        ),
    ],
)
def test_each_kind_of_change(told: str, one: Change, lineup: LineUp) -> None:
    assert words(lineup, one) == f"{told} It costs no time."


def test_a_rate_costs_time_by_the_parcel_or_by_a_thousand_cubic_metres(lineup: LineUp) -> None:
    """From 1200 to 600 m3/h: 1000 m3 take 50 min longer, a parcel of 30 000 m3 25 h."""
    both = tuple(s.name for s in lineup.scenarios)
    one = change(RATE, "shore control valve", 1 / 3, 1 / 6, AT_MOST, scenarios=both)
    said = words(lineup, one, slower=3.0)
    assert said == (
        "Load at 600.0 m3/h or less, not 1200.0 m3/h. Every 1000 m3 at that rate takes 50 min longer."
    )
    parcel = lineup.with_(berth=replace(lineup.berth, parcel=30000.0))
    assert words(parcel, one, slower=3.0).endswith("The parcel of 30000 m3 takes 25.0 h longer.")
    assert lineup.berth != Berth(parcel=30000.0)


def test_a_rate_of_one_stage_is_told_as_of_that_stage(demos: Demos) -> None:
    lineup = demos["gasoline-drop-lines"].case.lineup
    start = tuple(s.name for s in lineup.scenarios if s.stage == "start")
    one = change(RATE, "shore control valve", 300 / 3600, 240 / 3600, AT_MOST, scenarios=start)
    assert words(lineup, one, slower=3.0).startswith(
        "At the start, load at 240.0 m3/h or less, not 300.0 m3/h. Every 1000 m3"
    )


def test_a_rate_of_a_stage_without_a_name_is_told_by_the_scenario_that_has_it(demos: Demos) -> None:
    """Not by the shutdown that is run there too: at its other stages it has other rates."""
    lineup = demos["gasoline-drop-lines"].case.lineup
    unnamed = lineup.with_(scenarios=tuple(replace(s, stage="") for s in lineup.scenarios))
    start = tuple(s.name for s in lineup.scenarios if s.stage == "start")
    (own,) = (s.name for s in lineup.scenarios if s.stage == "start" and not s.repeats)
    one = change(RATE, "shore control valve", 300 / 3600, 240 / 3600, AT_MOST, scenarios=start)
    assert len(start) > 1
    assert words(unnamed, one, slower=3.0).startswith(f'In "{own}", load at 240.0 m3/h')


def test_a_slower_pump_costs_time_where_no_rate_is_agreed(lineup: LineUp) -> None:
    one = change(SPEED, "shore pump", 1.0, 0.92, scenarios=())
    assert words(lineup, one).endswith("It costs no time.")
    assert words(lineup.with_(rate=None), one).endswith("Less flows then: loading takes longer.")


def test_what_a_rate_costs_is_rounded_up(lineup: LineUp) -> None:
    one = change(RATE, "shore control valve", 1 / 3, 0.333, AT_MOST)
    assert "takes 1 min longer" in words(lineup, one, slower=0.01)
    assert "takes 2.1 h longer" in words(lineup, one, slower=7.26)


def test_what_ends_later_or_earlier_is_told(lineup: LineUp) -> None:
    one = change(LATER, "shore valve", 0.0, 5.0)
    assert words(lineup, one, later=7.2).endswith("; the last movement ends 7.2 s later.")
    assert words(lineup, one, later=-3.0).endswith("; the last movement ends 3.0 s earlier.")


def test_changes_that_belong_together_stand_in_one_sentence(lineup: LineUp) -> None:
    said = words(
        lineup,
        change(STROKE, "manifold valve", 20.0, 27.2, AT_LEAST),
        change(LATER, "shore valve", 0.0, 5.0),
    )
    assert '20.0 s; and in "not linked", let "shore valve" begin' in said


def test_the_cause_is_named_with_what_it_would_be_without(demos: Demos) -> None:
    worst = demos[KEROSENE].answer.weakest
    assert worst is not None
    cause = Cause(names=("manifold valve",), finding=worst, value=11.7e5, without=4.159e5, enough=True)
    assert cause_words(cause, DISPLAY) == (
        'The peak in "not linked" comes from "manifold valve": without this movement, and with all others, '
        'the pressure in "shore line" rises to 4.16 bar(g) only.'
    )
    still = replace(cause, without=10.5e5, enough=False)
    assert cause_words(still, DISPLAY).endswith("to 10.50 bar(g) only, which is still beyond the limit.")


def test_what_was_tried_in_vain_is_told_once() -> None:
    trials = [
        Trial(kind=kind, names=names, scenario="not linked", found=None)
        for kind, names in ((RATE, ()), (STROKE, ("shore valve",)), (STROKE, ("shore valve",)))
    ]
    assert in_vain_words(trials) == [
        'Tried in "not linked", and no help by itself: a lower rate; another stroke of "shore valve".'
    ]


def advised(got: Assessment, remedies: Remedies | None) -> Advised:
    return Advised(**{f.name: getattr(got, f.name) for f in fields(Assessment)}, remedies=remedies)


def test_nothing_is_advised_that_was_not_tried(demos: Demos) -> None:
    got = demos[KEROSENE].answer
    assert got.verdict == EXCEEDED
    assert advice(advised(got, None), DISPLAY) == [NOT_TRIED]
    for words in ("Lower the rate", "more slowly", "change the order"):
        assert words not in " ".join(advice(advised(got, Remedies()), DISPLAY))


@pytest.mark.slow
def test_an_ullage_without_a_shutdown_asks_for_a_shutdown() -> None:
    """More ullage would be no help: nothing says when the flow stops."""
    text = starter().file.text
    head = text[: text.index('[[scenario]]\nname = "emergency shutdown"')]
    from surge.api.check import check
    from surge.case.file import read_case

    steps = advice(check(read_case(head, filename="x.toml")), DISPLAY)
    assert "[scenario.shutdown]" in steps[0]
    assert steps[-1] == LACKS
    assert not any("ullage" in s and "more" in s for s in steps)


def remedied(got: Assessment) -> Assessment:
    """With one remedy found, and something that lacks in the case."""
    stroke = change(STROKE, "manifold valve", 20.0, 27.2, AT_LEAST)
    remedy = Remedy(changes=(stroke,), lineup=got.lineup, ends_later=0.0, slower=0.0)
    return advised(got, Remedies(found=(remedy,), lacking=True))


def lacking(got: Assessment, *names: str) -> Assessment:
    """The same, where so many parts lack a fact that a required rule asks for."""
    ruling = next(r for r in got.rulings if r.outcome == KEPT)
    supply = 'write test_pressure for "{}"'
    missing = [
        replace(ruling, subject=n, outcome=NOT_CHECKED, supply=supply.format(n), binding=True) for n in names
    ]
    rulings = (*(r for r in got.rulings if r.verdict == WITHIN), *missing)
    verdict = worst_of([*(f.verdict for f in got.counting), *(r.verdict for r in rulings)])
    return replace(got, rulings=rulings, verdict=verdict)


def test_where_no_pressure_is_exceeded_facts_that_lack_come_first(demos: Demos) -> None:
    got = demos["kerosene-relief-valve"].answer
    assert got.verdict == WITHIN
    steps = advice(lacking(remedied(got), "loading arm 1"), DISPLAY)
    assert steps[:2] == ['To check it, write test_pressure for "loading arm 1".', WHEN_WRITTEN]
    assert steps[2].startswith(THE_ONE)


def test_where_a_pressure_is_exceeded_what_brings_it_down_comes_first(demos: Demos) -> None:
    got = demos[KEROSENE].answer
    assert got.weakest.verdict == EXCEEDED
    steps = advice(lacking(remedied(got), "loading arm 1", "loading arm 2"), DISPLAY)
    at = steps.index(RUN_WITHOUT)
    assert steps[at + 1] == 'To check it, write test_pressure for "loading arm 1" and "loading arm 2".'
    assert steps[0].startswith(THE_ONE)

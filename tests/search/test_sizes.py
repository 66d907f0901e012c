"""The smallest relief valve and the smallest drum that do: against full runs at sizes around them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace

import pytest
from click.testing import CliRunner
from support.demos import CASES, Demos
from support.documents import hold_to_schema
from support.lineups.one_line import line
from support.lineups.relieved import relief

import surge
from surge.cli.main import main
from surge.errors import CaseError
from surge.model.attached import SurgeDrum
from surge.model.lineup import LineUp
from surge.model.stroke import with_strokes
from surge.reports.sizes import size_in_short, size_lines
from surge.reports.window_json import window_document
from surge.reports.words import Display
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, WITHIN
from surge.rules.reading import built_in
from surge.search.judge import NO_RULES, Bench
from surge.search.sizes import RESOLUTION, Confirmed, Goal, Search, SizeAnswer, Sized, Whole, sizes_of
from surge.search.window import windows_of

VALVE = relief("berth", set_pressure=6e5, full_pressure=6.6e5, kv=600.0, opening_time=0.2)
DRUM = SurgeDrum(name="drum", point="berth", volume=30.0, gas_volume=10.0, exponent=1.2, neck_kv=1500.0)


def within(most: float) -> RuleBook:
    """A terminal that wants every stroke to take no longer than so many seconds."""
    rule = built_in().rule("closing-about-30-s")
    assert rule is not None
    upper = replace(rule, id="own", figure=most, compare="at most", requirement="required", own=True)
    return RuleBook(rules=(upper,))


def sized(lineup: LineUp, size: float) -> LineUp:
    """The line-up with another size of what it has, made by hand."""
    if lineup.relief_valves:
        (valve,) = lineup.relief_valves
        return lineup.with_(relief_valves=(replace(valve, kv=size),))
    (drum,) = lineup.surge_drums
    return lineup.with_(
        surge_drums=(replace(drum, volume=size, gas_volume=size * drum.gas_volume / drum.volume),)
    )


def at_stroke(lineup: LineUp, stroke: float) -> LineUp:
    scenarios = tuple(with_strokes(s, {"end valve": stroke}) for s in lineup.scenarios)
    return lineup.with_(scenarios=scenarios)


def verdicts(lineup: LineUp, sizes: Sequence[float]) -> list[str]:
    return [assess(sized(lineup, size)).verdict for size in sizes]


def asked(lineup: LineUp, book: RuleBook = NO_RULES) -> list[SizeAnswer]:
    windows = windows_of(lineup, book=book, longest=40.0)
    return list(sizes_of(lineup, windows.by_valve, book=book))


@pytest.mark.slow
@pytest.mark.parametrize("stroke", [4.0, 7.0])
def test_the_smallest_relief_valve_is_kept_and_a_smaller_one_is_not(stroke: float) -> None:
    lineup = at_stroke(line(), stroke).with_(relief_valves=(VALVE,))
    (got,) = asked(lineup)
    assert got.valves == ()
    assert got.was == 600.0
    assert got.tried == (30.0, 6000.0)
    assert got.needed
    assert got.least is not None
    assert got.most is not None
    assert got.governs is not None
    assert verdicts(lineup, [got.least, got.most]) == [WITHIN, WITHIN]
    assert verdicts(lineup, [0.9 * got.least, 0.5 * got.least]) == [EXCEEDED, EXCEEDED]
    # No size between that full runs of another spacing find is unsafe, nor any much smaller one safe.
    assert set(verdicts(lineup, [got.least * (got.most / got.least) ** (k / 7) for k in range(1, 7)])) == {
        WITHIN
    }
    assert verdicts(lineup, [got.least * (1 - 3 * RESOLUTION)]) == [EXCEEDED]


@pytest.mark.slow
def test_a_drum_that_is_large_enough_is_told_with_its_gas() -> None:
    lineup = at_stroke(line(), 4.0).with_(surge_drums=(DRUM,))
    (got,) = asked(lineup)
    assert got.least is not None
    assert got.most is not None
    assert got.gas_share == pytest.approx(1 / 3)
    assert verdicts(lineup, [got.least, got.most]) == [WITHIN, WITHIN]
    assert verdicts(lineup, [0.9 * got.least, 0.3 * got.least]) == [EXCEEDED, EXCEEDED]
    words = size_in_short(got)
    assert f"volume {got.least:g} m3 or more keeps the case at its strokes" in words
    assert "tried from 1.5 to 300; the case has 30" in words


@pytest.mark.slow
def test_an_empty_window_opens_at_the_size_that_is_told() -> None:
    """Without a relief valve the shortest stroke is longer than the rule allows."""
    small = replace(VALVE, kv=40.0)
    book = within(6.0)
    lineup = at_stroke(line(), 5.0).with_(relief_valves=(small,))
    windows = windows_of(lineup, book=book, longest=40.0)
    assert windows.empty("end valve")
    whole, window = sizes_of(lineup, windows.by_valve, book=book)
    assert window.valves == ("end valve",)
    assert window.stroke == 6.0
    assert window.least is not None
    assert window.needed
    assert not windows_of(sized(lineup, window.least), book=book, longest=40.0).empty("end valve")
    assert windows_of(sized(lineup, 0.9 * window.least), book=book, longest=40.0).empty("end valve")
    # The stroke of the case is shorter: it asks for a larger valve.
    assert whole.least is not None
    assert whole.least > window.least
    assert 'gives "end valve" a window, at 6.0 s' in size_in_short(window)


def test_where_no_size_does_none_is_told(demos: Demos) -> None:
    late = replace(VALVE, set_pressure=9e5, full_pressure=9.9e5)  # above the rating
    lineup = at_stroke(line(), 4.0).with_(relief_valves=(late,))
    (got,) = asked(lineup)
    assert got.least is None
    assert got.most is None
    assert not got.needed
    assert got.best is not None
    assert got.governs is not None
    assert got.governs.verdict == EXCEEDED
    text = " ".join(
        " ".join(size_lines((got,), Display(units=demos["crude-sea-line"].case.show, density=1e3))).split()
    )
    assert "no Kv keeps the case at its strokes (tried from 30 to 6000; the case has 600 m3/h)" in text
    assert "the best tried," in text
    assert "exceeded by" in text


def test_a_case_that_needs_none_says_so() -> None:
    lineup = at_stroke(line(), 30.0).with_(relief_valves=(VALVE,))
    (got,) = asked(lineup)
    assert got.least == 30.0
    assert not got.needed
    assert "Perhaps none is needed" in size_in_short(got)


BANDS = [(100.0, 700.0), (45.0, 90.0), (900.0, 1e9), (1.0, 250.0), (333.0, 420.0)]


class Made(Goal):
    """A goal that is kept from one size to another, while single marches see a little more than that."""

    def __init__(self, low: float, high: float) -> None:
        super().__init__(Bench(line(), NO_RULES), ())
        self.low, self.high = low, high
        self.full: list[float] = []

    def confirm(self, lineup: LineUp) -> Confirmed:
        size = lineup.relief_valves[0].kv
        self.full.append(size)
        return Confirmed(kept=self.low <= size <= self.high, lacking=0.0, governs=None)


class Synthetic(Search):
    """A search by margins that are made up [Pa]."""

    goal: Made

    def _margin(self, size: float, *, closely: bool) -> float:
        return 1e5 * min(size / (0.95 * self.goal.low) - 1.0, (1.05 * self.goal.high) / size - 1.0)


@pytest.mark.parametrize(
    ("low", "high"), [(100.0, 700.0), (45.0, 90.0), (900.0, 1e9), (1.0, 250.0), (333.0, 420.0)]
)
def test_what_is_told_was_confirmed_and_ends_where_a_larger_one_does_not(low: float, high: float) -> None:
    goal = Made(low, high)
    got = Synthetic(Sized(line(relief_valves=(VALVE,)), VALVE.name), goal, lambda _: None).answer()
    assert got.least is not None
    assert got.most is not None
    assert max(low, 30.0) <= got.least <= max(1.2 * low, 30.0)
    assert 0.7 * min(high, 6000.0) <= got.most <= min(high, 6000.0)
    assert {got.least, got.most} <= set(goal.full)
    assert got.to_the_end == (high > 6000.0)
    assert got.needed == (low > 30.0)
    if not got.to_the_end:
        assert f"Kv {got.least:g} to {got.most:g} m3/h" in size_in_short(got)


def test_where_full_runs_confirm_none_none_is_told() -> None:
    goal = Made(200.0, 100.0)
    got = Synthetic(Sized(line(relief_valves=(VALVE,)), VALVE.name), goal, lambda _: None).answer()
    assert got.least is None
    assert got.best is not None
    assert "no Kv keeps the case" in size_in_short(got)


def test_without_anything_to_size_it_is_refused() -> None:
    with pytest.raises(CaseError) as refused:
        surge.find_windows(CASES / "crude-sea-line.toml", sizes=True)
    assert "[[relief_valve]]" in refused.value.faults[0].remedy
    got = CliRunner().invoke(main, ["window", str(CASES / "crude-sea-line.toml"), "--sizes"])
    assert got.exit_code == 2
    assert "[[surge_drum]]" in got.output


@pytest.mark.slow
def test_the_command_tells_sizes_in_words_and_as_json() -> None:
    path = CASES / "kerosene-relief-valve.toml"
    got = surge.find_windows(path, longest=40.0, sizes=True)
    assert [a.name for a in got.extras.sizes] == ["berth relief valve"] * 2
    whole = got.extras.sizes[0]
    assert whole.least is not None
    assert whole.least < whole.was
    hold_to_schema(window_document(got, got.head, (), got.extras), "window")
    document = json.loads(got.json())
    assert document["sizes"][0]["smallest"] == whole.least
    assert document["sizes"][0]["unit"] == "m3/h at 1 bar"
    text = " ".join(got.text().split())
    assert f"Kv {whole.least:g} m3/h or more keeps the case at its strokes" in text
    assert "Held: set pressure" in " ".join(got.text(details=True).split())
    assert len(got.text().splitlines()) <= 30


def test_a_rule_that_no_size_mends_is_named_and_nothing_is_told(demos: Demos) -> None:
    """Every pressure is kept at many sizes; a velocity that the terminal forbids is not."""
    rule = built_in().rule("bulk-velocity")
    assert rule is not None
    own = replace(rule, id="own", figure=0.5, requirement="required", own=True, applies="always")
    lineup = at_stroke(line(), 6.0).with_(relief_valves=(VALVE,))
    bench = Bench(lineup, RuleBook(rules=(own,)))
    got = Search(Sized(lineup, VALVE.name), Whole(bench), lambda _: None).answer()
    assert got.least is None
    assert own.name in got.reason
    display = Display(units=demos["crude-sea-line"].case.show, density=1e3)
    text = " ".join(" ".join(size_lines((got,), display)).split())
    assert f'it is not kept for certain: the rule "{own.name}" is not kept' in text
    free = Search(Sized(lineup, VALVE.name), Whole(Bench(lineup, NO_RULES)), lambda _: None).answer()
    assert free.least is not None


def test_a_drum_that_would_be_emptied_is_not_told() -> None:
    """Nearly all gas, it is emptied when the pressure falls: no pressure tells, but nothing is decided."""
    thin = replace(DRUM, gas_volume=29.8)
    lineup = at_stroke(line(), 4.0).with_(surge_drums=(thin,))
    assert assess(lineup).verdict != WITHIN
    got = Search(Sized(lineup, DRUM.name), Whole(Bench(lineup, NO_RULES)), lambda _: None).answer()
    assert got.least is None
    assert "is emptied" in got.reason

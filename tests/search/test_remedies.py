"""A remedy that is told was run: applied to the case, a check finds every limit and every rule kept."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.one_valve import ordered, rated_line
from support.lineups.rated import at_a_lower_rate_too, own_rules
from support.remedied import misfits, not_kept

from surge.api.inputs import rules_of_case
from surge.model.lineup import LineUp, PumpMove, Scenario, ValveMove
from surge.model.stroke import with_strokes
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.reading import built_in
from surge.search.changes import (
    AT_LEAST,
    AT_MOST,
    EXACTLY,
    RATE,
    RUN_DOWN,
    STROKE,
    ULLAGE,
    later,
    with_run_down,
    without,
)
from surge.search.judge import NO_RULES
from surge.search.rates import greatest_rate
from surge.search.remedies import Remedies, remedies_of, slower_pump
from surge.search.strokes import stroke_limits
from surge.search.trials import Trials, Unit
from surge.transient import followed


@pytest.fixture(scope="module")
def mended() -> tuple[LineUp, Remedies]:
    """A line whose valve shuts too fast for its rating, and what was tried."""
    lineup = rated_line(rating=4.2e5)
    return lineup, tried(lineup)


def tried(lineup: LineUp, book: RuleBook = NO_RULES, **bound: float) -> Remedies:
    made = assess(lineup, book=book)
    assert made.verdict != WITHIN
    found = remedies_of(made, book, **bound)
    assert found is not None
    return found


def test_who_waits_reads_the_verdict_meanwhile() -> None:
    """With the place that is not kept; where that is a rule, without one."""
    rule = built_in().rule("overfill-time")
    assert rule is not None
    full = ordered(rated_line(rating=30e5), ullage=0.1)
    cases = ((rated_line(rating=4.2e5), NO_RULES, ': "last"'), (full, RuleBook(rules=(rule,)), ""))
    for lineup, book, place in cases:
        said = list[str]()
        remedies_of(assess(lineup, book=book), book, progress=said.append)
        assert {words.split("remedies: ")[0] for words in said} == {f"LIMIT EXCEEDED{place}; "}
        assert max(words.count("remedies: ") for words in said) == 1


def hold(lineup: LineUp, book: RuleBook, found: Remedies) -> None:
    """Every remedy that is told is kept, and is the case with the figures that it tells."""
    assert [said for one in found.found if (said := not_kept(book, one))] == []
    assert misfits(lineup, found) == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "kinds", "cause"),
    [
        (
            "kerosene-shutdown-linked-and-not",
            {"stroke", "order", "later", "rate"},
            "manifold valve",
        ),
        ("gas-oil-release-coupling", {"stroke", "rate"}, "quick-release coupling"),
        ("crude-sea-line", {"stroke", "rate"}, "manifold valve"),
    ],
)
def test_remedies_of_a_demo(name: str, kinds: set[str], cause: str, demos: Demos) -> None:
    """Those that take longer: ``tests/benchmarks/remedies.py --demos``."""
    case, found = demos[name].case, demos[name].tried
    book = rules_of_case(case)
    assert found.complete
    assert {c.kind for r in found.found for c in r.changes} == kinds
    assert found.cause is not None
    assert found.cause.names == (cause,)
    assert found.cause.enough
    hold(demos[name].answer.lineup, book, found)


@pytest.mark.parametrize("seed", [0, 4, 6, 9])
def test_all_that_is_told_of_generated_berths_is_kept(seed: int) -> None:
    """With shutdowns, ullages, pumps and several tanks: ``tests/benchmarks/remedies.py``."""
    rng = np.random.default_rng(seed)
    lineup = rated_line(
        length=float(rng.uniform(200, 600)),
        velocity=float(rng.uniform(0.9, 2.0)),
        rating=3.2e5 + float(rng.uniform(1e5, 4e5)),
        branch=float(rng.choice([0.0, 40.0, 150.0])),
        second=float(rng.choice([0.0, 0.0, 1.5, 4.0])),
    )
    book = RuleBook(rules=tuple(own_rules(1.0, rng)))
    made = assess(lineup, book=book)
    found = remedies_of(made, book, most=2e8)
    if found is not None:
        hold(made.lineup, book, found)


def test_the_stroke_is_that_of_the_window(mended: tuple[LineUp, Remedies]) -> None:
    lineup, found = mended
    (stroke,) = [c for r in found.found for c in r.changes if c.kind == STROKE]
    window = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES)
    assert stroke.value == window.shortest
    assert (stroke.bound, stroke.to) == (AT_LEAST, window.longest)
    assert stroke.was == lineup.scenarios[0].moves[0].law[-1][0]
    hold(lineup, NO_RULES, found)


def test_a_rate_is_told_with_what_it_costs(mended: tuple[LineUp, Remedies]) -> None:
    (one,) = [r for r in mended[1].found if r.changes[0].kind == RATE]
    (rate,) = one.changes
    assert rate.bound == AT_MOST
    assert rate.value < rate.was == 0.07
    assert one.slower == pytest.approx(1 / rate.value - 1 / 0.07)
    assert one.ends_later == pytest.approx(0.0)


def test_a_stage_that_is_kept_bounds_the_stroke_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows of both stages: what is told lies in both, and nothing where they do not meet."""
    lineup = at_a_lower_rate_too(ordered(rated_line()))
    failing, kept = lineup.scenarios
    window = {failing.name: (12.2, 40.0), kept.name: (12.2, 20.0)}

    def limits(_: Trials, scenario: Scenario, *__: object, **___: object) -> SimpleNamespace:
        shortest, longest = window[scenario.name]
        return SimpleNamespace(shortest=shortest, longest=longest, run=True)

    monkeypatch.setattr(Trials, "_limits", limits)
    bench = SimpleNamespace(lineup=lineup, keeps=lambda _: True)
    trials = Trials(bench, Unit(scenarios=lineup.scenarios, failing=(failing,)))  # type: ignore[arg-type]
    found = next(trials._guarded(STROKE, trials._strokes)).found
    assert found is not None
    (stroke,) = found.changes
    assert (stroke.value, stroke.bound, stroke.to) == (12.2, AT_LEAST, 20.0)
    window[kept.name] = (12.2, 11.0)
    assert next(trials._guarded(STROKE, trials._strokes)).found is None
    assert len(trials.empty) == 1


def test_two_shutdowns_at_one_rate_get_one_figure() -> None:
    """Of the greatest rates of both the lower one; lower rates of one were not searched for the other."""
    lineup = rated_line(rating=4.2e5)
    slow = lineup.scenarios[0]
    quick = replace(with_strokes(slow, {"valve": 7.0}), name="quick")
    lineup = lineup.with_(scenarios=(slow, quick))
    found = tried(lineup)
    (rate,) = [c for r in found.found for c in r.changes if c.kind == RATE]
    each = [greatest_rate(lineup, s) for s in lineup.scenarios]
    assert rate.value == min(one.greatest for one in each if one is not None and one.greatest is not None)
    assert (rate.bound, rate.scenarios) == (EXACTLY, (slow.name, "quick"))
    hold(lineup, NO_RULES, found)


def test_nothing_is_tried_where_all_is_kept() -> None:
    lineup = rated_line(rating=30e5)
    assert remedies_of(assess(lineup), NO_RULES) is None


def test_nothing_is_tried_where_data_are_missing() -> None:
    lineup = rated_line()
    pipe = replace(lineup.pipes[0], limits=replace(lineup.pipes[0].limits, rating=None))
    lineup = lineup.with_(pipes=(pipe, *lineup.pipes[1:]))
    made = assess(lineup)
    assert made.verdict == UNDECIDED
    found = remedies_of(made, NO_RULES)
    assert found is not None
    assert (found.missing, found.found, found.in_vain) == (True, (), ())


def test_trials_end_when_they_take_too_much(mended: tuple[LineUp, Remedies]) -> None:
    """Work is counted, not time: one bound gives one answer, and less than all is said to be less."""
    lineup, every = mended
    none, again = (tried(lineup, most=most) for most in (1e3, 1e3))
    assert every.complete
    assert len(every.found) == 2
    assert not none.complete
    assert none.found == again.found == ()


def test_more_ullage_is_told_where_that_is_what_lacks() -> None:
    lineup = ordered(rated_line(rating=30e5), ullage=0.1)
    rule = built_in().rule("overfill-time")
    assert rule is not None
    book = RuleBook(rules=(rule,))
    found = tried(lineup, book)
    (more,) = [c for r in found.found for c in r.changes if c.kind == ULLAGE]
    assert more.was == 0.1
    hold(lineup, book, found)
    less = tuple(replace(t, ullage=0.9 * more.value if t.ullage else None) for t in lineup.tanks)
    assert assess(lineup.with_(tanks=less), book=book).verdict == EXCEEDED


# --- changes ---


def shutdown() -> Scenario:
    """A pump that runs down in 8 s, a shore valve after it, and the ship's valve after that."""
    at = {"what": "shutdown"}
    return Scenario(
        name="shutdown",
        ordered=5.0,
        pump_moves=(
            PumpMove(pump="pump", start=8.0, law=((0.0, 1.0), (8.0, 0.0)), side="shore", earliest=8.0, **at),
        ),
        moves=(
            _closing("shore", 16.0, after="pump"),
            _closing("ship", 26.0, after="shore"),
        ),
    )


def _closing(valve: str, start: float, *, after: str) -> ValveMove:
    return ValveMove(
        valve=valve,
        start=start,
        law=((0.0, 1.0), (10.0, 0.0)),
        what="shutdown",
        side="shore",
        after=after,
        earliest=8.0,
        origin=("step", start),  # type: ignore[arg-type]
    )


def test_what_waits_for_a_pump_begins_later_with_a_longer_run_down() -> None:
    got = with_run_down(shutdown(), "pump", 12.0)
    assert got.pump_moves[0].law[-1] == (12.0, 0.0)
    assert [m.start for m in got.moves] == [20.0, 30.0]


def test_what_waits_for_a_valve_begins_later_with_it() -> None:
    got = later(shutdown(), ("shore",), 5.0)
    assert got.pump_moves[0].start == 8.0
    assert [m.start for m in got.moves] == [21.0, 31.0]


def test_what_is_left_out_does_not_move_the_others() -> None:
    got = without(shutdown(), ("shore",))
    assert [(m.valve, m.start) for m in got.moves] == [("ship", 26.0)]
    assert got.pump_moves == shutdown().pump_moves


def test_a_pump_is_slowed_until_shut_off_pressure_is_within_every_rating(demos: Demos) -> None:
    """Shut-off head falls with the square of the speed: the next hundredth up is too much."""
    lineup = demos["gasoline-drop-lines"].case.lineup
    pipes = tuple(
        replace(p, limits=replace(p.limits, rating=4e5)) if p.name == "shore line" else p
        for p in lineup.pipes
    )
    lineup = lineup.with_(pipes=pipes)
    found = slower_pump(lineup)
    assert found is not None
    change, slower = found
    surface, head, low = 14.0, 48.0, 4.0  # [m] of the tank, of the pump at no flow, of the line's lower end

    def stands(speed: float) -> float:
        return 740 * 9.80665 * (surface + head * speed**2 - low)

    assert stands(change.value) <= 4e5 < stands(change.value + 0.01)
    assert slower.pumps[0].speed == change.value


# --- the issue's own: what was told and does not help ---


@pytest.mark.slow
def test_a_lower_rate_is_told_only_as_low_as_it_has_to_be(
    demos: Demos, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The gasoline demo with a pump that runs down in 8 s boils at the start; at 200 m3/h it boils too.

    With cavities it keeps every limit; where they are too much work, to boil is a limit exceeded.
    """
    lineup = demos["gasoline-drop-lines"].case.lineup
    start = next(s for s in lineup.scenarios if s.repeats and s.stage == "start")
    quick = with_run_down(start, "shore pump", 8.0)
    lineup = lineup.with_(scenarios=(quick,))
    book = built_in()
    assert assess(lineup, book=book).verdict == WITHIN
    monkeypatch.setattr(followed, "MOST_EFFORT", 1.0)
    found = tried(lineup, book)
    figures = {c.kind: c.value for r in found.found for c in r.changes}
    assert 8.0 < figures[RUN_DOWN] <= 14.0
    assert figures[RATE] < 200 / 3600
    hold(lineup, book, found)
    slower = lineup.with_(scenarios=(replace(quick, rate=200 / 3600),))
    assert assess(slower, book=book).verdict == EXCEEDED


def test_rules_that_lack_a_fact_are_set_aside(mended: tuple[LineUp, Remedies]) -> None:
    """A line that is too fast for its rating, and a hose of which nobody says when it was tested."""
    lineup, every = mended
    hose = replace(lineup.pipes[0], kind="hose")
    lineup = lineup.with_(pipes=(hose, *lineup.pipes[1:]))
    rule = built_in().rule("hose-test-interval")
    assert rule is not None
    found = tried(lineup, RuleBook(rules=(rule,)))
    assert found.lacking
    assert not found.missing
    assert [r.changes for r in found.found] == [r.changes for r in every.found]
    hold(lineup, NO_RULES, found)

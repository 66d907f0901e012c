"""Fillings held against limits and rules: verdicts, exit codes, ranges, what searches make of them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.lineups.filled import filling, one_bore

from surge.effort import Meter, metered
from surge.errors import PatienceError, SolveError
from surge.model.lineup import Limits, LineUp, Point, Pump, Scenario, Supply, Valve, ValveMove
from surge.reports.text import TextReport
from surge.reports.window import window_lines
from surge.reports.words import Display
from surge.rules import fillings as held
from surge.rules.assess import assess
from surge.rules.fillings import filled_case
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.ground import KEPT
from surge.rules.reading import built_in
from surge.search.remedies import remedies_of
from surge.search.window import windows_of
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=1000.0)


def rated(rating: float, **changes: float) -> LineUp:
    lineup = one_bore(**changes)  # type: ignore[arg-type]
    limits = Limits(rating=rating, rating_source="plate")
    return lineup.with_(
        pipes=tuple(replace(p, limits=limits) for p in lineup.pipes),
        liquid=replace(lineup.liquid, static_accumulator=False),
    )


def verdict(lineup: LineUp, **changes: object) -> str:
    return filled_case(lineup, filling(lineup, **changes), built_in()).verdict


@pytest.mark.slow
def test_a_pocket_below_the_rating_is_kept_and_one_above_is_not() -> None:
    assert verdict(rated(12e5), vent="shut") == WITHIN
    assert verdict(rated(8e5), vent="shut") == EXCEEDED


def test_the_worse_of_both_models_decides() -> None:
    """Rigid 82.98 bar, elastic 35.6 bar in a pocket of 2 m: between them the rigid one exceeds."""
    made = filled_case(rated(50e5), filling(rated(50e5), front=98.0, vent="shut"), built_in())
    peak = next(f for f in made.findings if f.check == "peak")
    assert peak.verdict == EXCEEDED
    assert peak.value == pytest.approx(82.98e5, rel=1e-3)


def test_an_arrival_at_a_shut_end_is_exceeded_and_boils_afterwards() -> None:
    lineup = rated(16e5)
    lineup = lineup.with_(liquid=replace(lineup.liquid, static_accumulator=True))
    made = filled_case(lineup, filling(lineup), built_in())
    assert made.rulings
    assert not [r.words for r in made.rulings if r.outcome == KEPT]
    by_check = {f.check: f for f in made.findings if f.name == "line"}
    assert by_check["peak"].verdict == EXCEEDED
    assert by_check["vapour"].verdict == UNDECIDED
    assert "rejoining columns" in by_check["vapour"].reason


@pytest.mark.parametrize(("at", "found"), [(300.0, UNDECIDED), (1.0, WITHIN)])
def test_what_moves_when_the_filling_is_over_is_never_kept(at: float, found: str) -> None:
    """A closure of the full line makes a surge of its own, which no march of the filling has seen."""
    end = Valve(name="end", start="end", end="beyond", kv=900.0, characteristic=((0.0, 0.0), (1.0, 1.0)))
    lineup = rated(90e5, valve=end)  # type: ignore[arg-type]
    move = ValveMove(valve="end", start=at, law=((0.0, 1.0), (2.0, 0.5)))
    scenario = Scenario(name="first fill", moves=(move,))
    made = filled_case(lineup, filling(lineup, scenario=scenario), None)
    late = [f.reason for f in made.findings if "moves later: write that as a scenario" in f.reason]
    assert bool(late) is (found == UNDECIDED)
    assert (made.verdict == UNDECIDED) is (found == UNDECIDED)


def test_what_boils_is_never_kept() -> None:
    """The rating is far above the blow; but the columns part when it comes back, and that is not followed."""
    assert verdict(rated(500e5)) == UNDECIDED


def test_no_rating_cannot_be_decided() -> None:
    lineup = one_bore()
    lineup = lineup.with_(liquid=replace(lineup.liquid, static_accumulator=False))
    made = filled_case(lineup, filling(lineup, vent="shut"), built_in())
    assert any(f.reason.startswith("no rating given") for f in made.findings)
    assert made.verdict == UNDECIDED


def test_a_supply_without_a_shut_off_pressure_cannot_be_decided() -> None:
    base = rated(12e5)
    supply = Supply(name="terminal", point="tank", pressure=5e5, shut_off=None)
    lineup = base.with_(tanks=(), supplies=(supply,))
    made = filled_case(lineup, filling(lineup, vent="shut"), built_in())
    assert made.verdict == UNDECIDED
    assert any("no shut_off_pressure" in f.reason for f in made.findings)


def test_a_place_between_pump_and_passage_is_held_at_its_own_height() -> None:
    """Shut-off head of 60 m, and 5 m of depth: hydrostatics."""
    base = one_bore(supply=0.0, loss=5000.0)  # so that the column does not swing
    pump = Pump(name="pump", start="tank", end="pit", curve=((0.0, 60.0), (0.1, 40.0)), non_return=True)
    pit = Point(name="pit", elevation=-5.0, limit=7e5)
    lineup = base.with_(
        points=(*base.points, pit),
        pumps=(pump,),
        passages=tuple(replace(p, start="pit") for p in base.passages),
    )
    made = filled_case(lineup, filling(lineup, vent="shut"), None)
    (held_at,) = [f for f in made.findings if f.subject == "place"]
    assert held_at.name == "pit"
    assert held_at.value == pytest.approx(65.0 * 1000.0 * lineup.gravity, rel=5e-3)  # waves are 0.3 %
    assert made.results[0].highest["element", "inlet"].pressure == pytest.approx(held_at.value)


def test_the_front_is_held_to_the_rule_of_the_start() -> None:
    lineup = rated(12e5)
    slow, fast = (
        filled_case(
            lineup.with_(liquid=replace(lineup.liquid, static_accumulator=charged)),
            filling(lineup, vent="shut", scenario=Scenario(name="first fill", stage="start")),
            built_in(),
        )
        for charged in (False, True)
    )
    assert slow.verdict == WITHIN
    assert fast.verdict == EXCEEDED
    assert {r.rule.id for r in fast.broken} == {"start-velocity", "bulk-velocity"}


@pytest.mark.slow
def test_an_exponent_that_is_not_given_is_judged_by_its_worst() -> None:
    lineup = rated(12e5)
    one = filling(lineup, vent="shut", exponent_range=(1.0, 1.4))
    made = filled_case(lineup, one, built_in())
    peak = next(f for f in made.findings if f.check == "peak")
    alone = [
        next(
            f
            for f in filled_case(lineup, filling(lineup, vent="shut", exponent=n), built_in()).findings
            if f.check == "peak"
        ).value
        for n in (1.0, 1.4)
    ]
    assert peak.value == pytest.approx(max(v for v in alone if v is not None))
    assert len(made.results) == 3
    assert peak.error > 0.2 * abs(alone[0] - alone[1])  # type: ignore[operator]


@pytest.mark.slow
def test_a_range_that_turns_a_verdict_leaves_it_undecided() -> None:
    lineup = rated(12e5)
    pipes = tuple(replace(p, length_range=(60.0, 140.0)) for p in lineup.pipes)
    one = filling(lineup, vent="shut", front=50.0)
    ends = [
        filled_case(rated(12e5, length=n), one, built_in()).results[0].peak_gas_rigid.value
        for n in (60.0, 140.0)
    ]
    middle = 0.5 * sum(ends)
    limits = Limits(rating=middle, rating_source="plate")
    made = filled_case(lineup.with_(pipes=tuple(replace(p, limits=limits) for p in pipes)), one, built_in())
    assert min(ends) < middle < max(ends)
    assert made.verdict == UNDECIDED
    assert any("range" in f.reason for f in made.findings)


def test_a_march_that_goes_astray_is_not_told_as_safe(monkeypatch: pytest.MonkeyPatch) -> None:
    def astray(*_: object) -> None:
        raise SolveError("the march went astray")

    monkeypatch.setattr(held, "fill_at", astray)
    lineup = rated(12e5)
    made = filled_case(lineup, filling(lineup), built_in())
    assert made.verdict == UNDECIDED
    assert made.trouble == "the march went astray"


def whole(rating: float) -> LineUp:
    """A line with a scenario of its own, and a filling beside it."""
    valve = Valve(
        name="valve",
        start="end",
        end="beyond",
        kv=60.0,
        characteristic=((0.0, 0.0), (1.0, 1.0)),
        limits=Limits(rating=rating, rating_source="plate"),
        adjustable=True,
    )
    base = one_bore(valve=valve)
    limits = Limits(rating=rating, rating_source="plate")
    close = Scenario(
        name="close", moves=(ValveMove(valve="valve", start=1.0, law=((0.0, 1.0), (20.0, 0.0))),)
    )
    lineup = base.with_(
        pipes=tuple(replace(p, limits=limits) for p in base.pipes),
        passages=tuple(replace(p, limits=limits) for p in base.passages),
        liquid=replace(base.liquid, static_accumulator=False),
        scenarios=(close,),
    )
    return lineup.with_(
        fillings=(
            filling(lineup, vent="open", scenario=Scenario(name="first fill", shut_at_start=("valve",))),
        )
    )


def test_a_check_counts_its_fillings() -> None:
    made = assess(whole(12e5))
    assert made.of_scenarios == WITHIN
    assert (made.verdict, made.exit_code) == (EXCEEDED, 3)
    assert [f.name for f in made.fillings] == ["first fill"]


def test_the_work_of_a_filling_is_counted_foretold_and_bounded() -> None:
    lineup = one_bore()
    lineup = lineup.with_(fillings=(filling(lineup),))
    meter = Meter(1e12)
    with metered(meter):
        held.filled_cases(lineup, built_in())
    (part,) = meter.parts
    assert part.weight == held.filling_effort(lineup, lineup.fillings[0])
    assert part.ended
    assert meter.spent == part.spent
    assert 0.1 * part.weight < part.spent < 3.0 * part.weight
    with metered(Meter(0.5 * meter.spent)), pytest.raises(PatienceError):
        held.filled_cases(lineup, built_in())


def test_no_remedy_is_searched_for_a_filling() -> None:
    book = built_in()
    made = assess(whole(12e5), book=book)
    if made.of_scenarios == WITHIN:
        assert remedies_of(made, book) is None


@pytest.mark.slow
def test_windows_tell_a_filling_that_is_not_kept() -> None:
    """No stroke is searched in it; but what is told with it is not an open window and exit code 0."""
    windows = windows_of(whole(12e5), book=built_in())
    if windows.together is not None:
        assert [f.verdict for f in windows.fillings] == [EXCEEDED]
        assert windows.verdict == EXCEEDED
    said = " ".join(window_lines(windows, whole(12e5), DISPLAY))
    assert "no stroke or rate is searched in them" in " ".join(said.split())


def test_a_filling_stands_on_the_first_screen_and_in_the_details() -> None:
    lineup = whole(12e5)
    made = assess(lineup, book=built_in())
    first = " ".join(" ".join(TextReport(made, DISPLAY, details=False).lines()).split())
    assert "VERDICT: LIMIT EXCEEDED" in first
    assert 'Filling "first fill": EXCEEDED. The front comes to "end"' in first
    assert "1 filling: 1 EXCEEDED" in first
    assert "A filling is mended by hand" in first
    details = " ".join(" ".join(TextReport(made, DISPLAY, details=True).lines()).split())
    assert "Filling: first fill: LIMIT EXCEEDED" in details
    assert "Rigid: the liquid behind the front moves as one" in details

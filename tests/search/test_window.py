"""Windows of closing times: against closed forms, dense scans, and full runs."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result
from support.demos import CASES, Demo, Demos
from support.documents import hold_to_schema
from support.lineups.one_valve import LINEAR, line, ordered

import surge
from surge.api.inputs import rules_of_case
from surge.case.file import read_case
from surge.cli.main import main
from surge.errors import CaseError
from surge.model.lineup import Limits, LineUp, Point, PumpMove, Rate, Scenario, Valve
from surge.model.stroke import with_strokes
from surge.reports.document import head_of
from surge.reports.window import opening_words, window_lines
from surge.reports.window_json import window_document
from surge.reports.words import Display
from surge.rules.assess import assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, WITHIN, findings_of
from surge.rules.reading import built_in
from surge.search.bounds import longest_allowed, resolution, rounded_down, rounded_up
from surge.search.joint import SHORTEST, with_all_strokes
from surge.search.judge import Bench
from surge.search.judged import VELOCITIES
from surge.search.movers import closing_valves
from surge.search.open_rates import OpenRate, _Seek, opening_rate
from surge.search.rates import RateLimit, greatest_rate
from surge.search.scan import Scanner
from surge.search.strokes import stroke_limits
from surge.search.window import Windows, windows_of
from surge.transient.run import simulate

SCHEMA = json.loads((CASES.parent / "surge" / "schema" / "window.schema.json").read_text(encoding="utf-8"))
NO_RULES = RuleBook(rules=())
TWO_VALVES = (CASES.parent / "tests" / "support" / "inputs" / "two_valves.toml").read_text(encoding="utf-8")
TOPPING_OFF = """
[[scenario]]
name = "topping off"
stage = "topping off"
rate = "800 m3/h"

[[scenario.event]]
at = "1 s"
close = "ship valve"
stroke = "30 s"
"""
# Lines of which some strokes are safe and some are not; of 3, 9 and 21 the margin rises and falls with them.
SEEDS = (2, 3, 4, 9, 10, 14, 21, 25)


def worst_margin(lineup: LineUp, strokes: list[float], valve: str = "valve") -> list[float]:
    scanner = Scanner(lineup, lineup.scenarios[0])
    return [n.margin for n in scanner.moved([with_strokes(lineup.scenarios[0], {valve: s}) for s in strokes])]


def test_rounding_goes_to_the_safe_side() -> None:
    assert rounded_up(12.01) == 12.1
    assert rounded_up(12.1) == 12.1
    assert rounded_down(24.99) == 24.9
    assert rounded_down(25.0) == 25.0
    assert resolution(5.0) == 0.1
    assert resolution(50.0) == 0.5


def test_minimum_closure_of_a_frictionless_line() -> None:
    """A single pipe with a linear valve: at the limit the stroke search gives back, a full run stands at it.

    The peak at the shortest stroke lies within the limit by no more than what a resolution of 0.1 s changes.
    """
    lineup = line(rating=7e5)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES)
    assert got.shortest is not None
    assert got.verdict == WITHIN
    at, below = worst_margin(lineup, [got.shortest, got.shortest - 0.6])
    assert at >= 0.0
    assert below < 0.0 + 0.02e5
    assert got.longest is None


def test_the_window_is_confirmed_by_a_full_run() -> None:
    lineup = line(rating=7e5)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES)
    assert got.shortest is not None
    run = simulate(lineup, with_strokes(lineup.scenarios[0], {"valve": got.shortest}))
    assert all(f.verdict == WITHIN for f in findings_of(lineup, run))
    assert got.run is not None
    assert got.run.method.worst_error < 0.1e5


def test_a_rating_below_shut_off_pressure_leaves_no_stroke() -> None:
    """The source tank alone stands 30 m above the line: 2.94 bar; a rating of 2.5 bar is below it."""
    lineup = line(rating=2.5e5)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES)
    assert got.shortest is None
    assert got.verdict == EXCEEDED
    assert "no stroke time is safe" in got.reason


@pytest.mark.parametrize("speed", [0.9, 1.1])
def test_a_stage_is_searched_from_the_stroke_on_that_is_safe_where_the_case_has_it(speed: float) -> None:
    """The window of a shutdown at all its stages is as if each had been searched from the shortest on."""
    lineup = line(rating=7e5)
    own = lineup.scenarios[0]
    levels = tuple((t.name, t.level * speed) for t in lineup.tanks if t.side == "shore")
    stage = replace(own, name=f"{own.name}, topping off", levels=levels, stage="topping off")
    each = windows_of(lineup.with_(scenarios=(own, stage)), book=NO_RULES)
    repeated = replace(stage, repeats=own.name)
    both = windows_of(lineup.with_(scenarios=(own, repeated)), book=NO_RULES)
    assert both.bounds("valve")[0] == pytest.approx(each.bounds("valve")[0], abs=0.1)
    first, second = both.by_valve["valve"]
    assert second.from_ == first.shortest
    alone, higher = (part.shortest for part in each.by_valve["valve"])
    assert alone is not None
    assert higher is not None
    assert (second.shortest == second.from_) == (higher <= alone)
    assert first.shortest is not None
    least = windows_of(lineup.with_(scenarios=(own, repeated)), book=NO_RULES, longest=first.shortest)
    at_end, whole = least.by_valve["valve"]  # none longer is looked at: the stage is searched as if alone
    assert (at_end.shortest, whole.from_) == (first.shortest, at_end.from_)
    assert {r.scenario for r in both.rates} <= {own.name}


def test_a_low_rate_needs_no_slow_stroke() -> None:
    lineup = line(velocity=0.05, rating=12e5)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES)
    assert got.shortest == got.from_ == 1.0


def test_minimum_closure_from_an_allowable_stress() -> None:
    """A textbook's shortest closure, found by search.

    Allowable wall stress 100 MPa in a 300 mm pipe of 3 mm wall under 160 m static head leaves a rise of
    715.6 kPa; an instant stop of 0.1 m3/s (1.41 m/s) makes 1053 kPa; a flow that falls evenly over 1000 m at
    912.6 m/s must take 1053/715.6 x 2 x 1000/912.6 = 3.23 s. K. Subramanya, 1000 Solved Problems in Fluid
    Mechanics, example 14.24 (figures of an open companion notebook; each is worked out again here, the
    velocity not rounded).

    So great a head stands behind the valve that what it lets through falls as its opening does.
    """
    density, bulk, modulus, diameter, wall = 0.82 * 998.0, 1e9, 214e9, 0.3, 0.003
    a = math.sqrt(bulk / density / (1.0 + bulk * diameter / (modulus * wall)))
    velocity = 0.1 / (math.pi / 4 * diameter**2)
    rise = 100e6 * 2 * wall / diameter - density * 9.80665 * 160.0
    assert (a, density * a * 1.41, rise) == pytest.approx((912.6, 1053e3, 715.6e3), rel=1e-3)
    behind = 50_000.0  # [m] so that the rise changes the flow by a thousandth at most
    lineup = line(length=1000.0, velocity=velocity, rating=density * 9.80665 * behind + rise)
    kv = 3600 * 0.1 / math.sqrt((behind - 10.0) * 9.80665 * density / 1e5 * 1000 / density)
    lineup = lineup.with_(
        liquid=replace(lineup.liquid, density=density, sound_speed=math.sqrt(bulk / density)),
        pipes=tuple(replace(p, wave_speed=a, friction_factor=0.0) for p in lineup.pipes),
        valves=(replace(lineup.valves[0], kv=kv),),
        tanks=tuple(replace(t, level=behind) if t.side == "shore" else t for t in lineup.tanks),
    )
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES, longest=30.0)
    assert got.shortest is not None
    expected = density * a * velocity / rise * 2 * 1000.0 / a
    assert expected == pytest.approx(3.23, abs=0.01)
    # Rounded up to a tenth, from a search that is told to a tenth, within the thousandth named above.
    assert expected * 0.999 <= got.shortest <= expected + 0.2


def drawn(seed: int) -> LineUp:
    """A line, every second one with a closed branch, every third with a second valve."""
    rng = np.random.default_rng(seed)
    return line(
        length=float(rng.uniform(400.0, 2500.0)),
        velocity=float(rng.uniform(0.8, 3.0)),
        rating=3.0e5 + float(rng.uniform(0.5e5, 8e5)),
        roughness=float(rng.choice([0.0, 1e-4, 1e-3])),
        branch=float(rng.uniform(40.0, 800.0)) if seed % 2 else 0.0,
        second=float(rng.uniform(0.5, 6.0)) if seed % 3 == 0 else 0.0,
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_a_scan_ten_times_as_dense_finds_nothing_unsafe_above(seed: int) -> None:
    """Generated line-ups: every longer stroke is safe, over some pipeline periods.

    The wave that a stroke leaves is the less the longer it is: what a scan misses lies near the shortest.
    """
    lineup = drawn(seed)
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES, longest=40.0)
    assert got.shortest is not None
    assert got.shortest > got.from_
    step = max(resolution(got.shortest), got.period / 4) / 10
    strokes = list(np.arange(got.shortest, min(40.0, got.shortest + 120 * step), step))
    with patch("surge.search.scan.COARSER", 1.0):
        margins = worst_margin(lineup, strokes)
    assert min(margins) >= 0.0, (got.shortest, strokes[int(np.argmin(margins))], min(margins))


# Longest strokes


def shutdown(demo: Demo, scenario: str) -> tuple[LineUp, Scenario]:
    lineup = demo.case.lineup
    return lineup, next(s for s in lineup.scenarios if s.name == scenario)


def test_the_longest_stroke_by_the_rule_of_thirty_seconds(demos: Demos) -> None:
    """Closed form: 30 s less 1 s of signal and 14 s of the shore valve before it: 15 s, inclusive."""
    lineup, scenario = shutdown(demos["gasoline-drop-lines"], "bulk emergency shutdown")
    run = simulate(lineup, scenario, quick=True)
    longest, rule = longest_allowed(
        lineup, scenario, ["manifold valve"], book=built_in(), run=run, shortest=1.0, longest=120.0
    )
    assert longest == 15.0
    assert rule is not None
    assert rule.id == "total-shutdown-time"


def test_no_rule_binds_a_stroke_outside_a_shutdown(demos: Demos) -> None:
    lineup, scenario = shutdown(demos["gasoline-drop-lines"], "start of loading")
    run = simulate(lineup, scenario, quick=True)
    assert longest_allowed(
        lineup, scenario, ["manifold valve"], book=built_in(), run=run, shortest=1.0, longest=120.0
    ) == (None, None)


def test_a_rule_on_time_is_told_though_only_slower_strokes_are_of_use() -> None:
    """Closed form: 30 s less 0.5 s of signal."""
    lineup = ordered(line(rating=30e5))
    rule = built_in().rule("total-shutdown-time")
    assert rule is not None
    book = RuleBook(rules=(rule,))
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=book, useful=40.0)
    assert (got.from_, got.shortest, got.longest) == (40.0, 40.0, 29.5)
    assert got.verdict == EXCEEDED


# Rates


def test_the_greatest_rate_stands_at_its_limit() -> None:
    lineup = line(rating=8e5)
    lineup = lineup.with_(rate=Rate(agreed=0.09, means="throttle", at="valve", through="first"))
    got = greatest_rate(lineup, lineup.scenarios[0])
    assert got is not None
    assert got.greatest is not None
    assert 0.0 < got.greatest <= got.to
    if got.greatest < got.to * 0.99:
        (beyond,) = [n.margin for n in Scanner(lineup, lineup.scenarios[0]).at_rates([got.greatest * 1.03])]
        assert beyond < 0.05e5


def test_without_a_rate_there_is_none_to_search() -> None:
    lineup = line()
    assert greatest_rate(lineup, lineup.scenarios[0]) is None


# The whole case


def test_the_set_is_run_as_such() -> None:
    lineup = line(rating=7e5, second=2.0)
    got = windows_of(lineup, book=NO_RULES, valves=["valve"])
    assert got.joint is not None
    alone = assess(with_all_strokes(lineup, got.joint_strokes), book=NO_RULES)
    assert alone.verdict == got.joint.verdict
    assert [f.value for f in alone.findings] == [f.value for f in got.joint.findings]


def test_a_set_that_is_not_safe_is_made_longer() -> None:
    """Each valve may shut fast while the other takes 30 s; both fast at once are too much for the line."""
    lineup = line(rating=5.3e5, second=0.01)
    slow = with_strokes(lineup.scenarios[0], {"valve": 30.0, "other": 30.0})
    lineup = lineup.with_(scenarios=(slow,))
    got = windows_of(lineup, book=NO_RULES, valves=["valve", "other"], longest=40.0)
    shortest = {v: got.bounds(v)[0] or math.inf for v in got.by_valve}
    assert assess(with_all_strokes(lineup, shortest), book=NO_RULES).verdict != WITHIN
    assert got.together is not None
    assert got.together.way != SHORTEST
    assert got.together.pressures == got.verdict == WITHIN
    for valve, stroke in got.joint_strokes.items():
        assert stroke >= shortest[valve]
    again = assess(with_all_strokes(lineup, got.joint_strokes), book=NO_RULES)
    assert again.verdict == WITHIN
    # Longer ones in the same direction stay safe: single runs at a tenth of the search's spacing.
    scanner = Scanner(lineup, slow)
    longer = {v for v, s in got.joint_strokes.items() if s > shortest[v]}
    factors = [1.01**k for k in range(60)]
    sets = [{v: (f if v in longer else 1.0) * t for v, t in got.joint_strokes.items()} for f in factors]
    assert min(n.margin for n in scanner.moved([with_strokes(slow, one) for one in sets])) > 0.0


@pytest.fixture(scope="module")
def kerosene(demos: Demos) -> tuple[LineUp, Windows]:
    demo = demos["kerosene-shutdown-linked-and-not"]
    return demo.case.lineup, demo.windows


@pytest.mark.slow
def test_the_rate_at_which_an_empty_window_opens(kerosene: tuple[LineUp, Windows]) -> None:
    lineup, got = kerosene
    opening = got.opens_at["manifold valve"]
    assert got.empty("manifold valve")
    assert opening.share is not None
    assert 0.9 < opening.share < 1.0
    assert opening.stroke == got.bounds("manifold valve")[1] == 26.0

    def margins(share: float, strokes: list[float]) -> list[float]:
        found = []
        for scenario in lineup.scenarios:
            one = replace(scenario, rate=share * opening.rate)
            changed = [with_strokes(one, {"manifold valve": s}) for s in strokes]
            found += [n.margin for n in Scanner(lineup, one).moved(changed)]
        return found

    assert min(margins(1.0, [26.0 * 1.02**k for k in range(75)])) > 0.0
    assert min(margins(0.9, [26.0])) > 0.0
    assert min(margins(1.04, [26.0])) < 0.0


def test_between_two_rates_with_one_longest_stroke_it_is_that(
    kerosene: tuple[LineUp, Windows], demos: Demos
) -> None:
    """The ullage of this demo fills the later the lower the rate: asked for one by one it is the same."""
    lineup, got = kerosene
    bench = Bench(lineup, rules_of_case(demos["kerosene-shutdown-linked-and-not"].case))
    parts = got.by_valve["manifold valve"]
    seek = _Seek(lineup, lineup.scenarios, parts, bench, lambda _: None, aside=())
    shares = [0.3, 0.55, 0.8]
    apart = [seek.longest(share) for share in shares]
    seek._see_ends(0.2, 1.0)
    assert seek.same == (0.2, 1.0, 26.0)
    assert [seek.longest(share) for share in shares] == apart


def test_an_empty_window_says_what_to_do(kerosene: tuple[LineUp, Windows], demos: Demos) -> None:
    lineup, got = kerosene
    display = Display(
        units=demos["kerosene-shutdown-linked-and-not"].case.show, density=lineup.liquid.density
    )
    text = " ".join(" ".join(window_lines(got, lineup, display)).split())
    assert "It opens at 1168.8 m3/h and below, where 26.0 s is safe." in text
    assert (
        'What to do - "manifold valve": agree a rate of 1168.8 m3/h or less, and a stroke of 26.0 s.' in text
    )
    assert "surge window CASE --shapes" in text
    document = window_document(got, head_of("0", "a", "0" * 64), ())
    hold_to_schema(document, "window")
    assert document.valves[0].opens_at.stroke_s == 26.0
    assert document.valves[0].empty


def test_a_rule_on_velocities_bounds_the_rate_of_an_open_window(demos: Demos) -> None:
    demo = demos["gasoline-drop-lines"]
    top = demo.windows.open_up_to["manifold valve"]
    assert top.rule is not None
    assert top.rule.rule.name == "Velocity at the start"
    assert top.share is not None
    assert top.ends
    lineup = demo.case.lineup
    display = Display(units=demo.case.show, density=lineup.liquid.density)
    text = " ".join(" ".join(window_lines(demo.windows, lineup, display)).split())
    assert 'beyond it the rule "Velocity at the start" governs' in text
    # The rate stands right below the one at which that rule begins to mind; rates are told in thousandths.
    start = next(s for s in lineup.scenarios if s.name == top.rule.scenario)
    bench = Bench(lineup, rules_of_case(demo.case))
    agreed = start.rate
    assert agreed is not None

    def broken(share: float) -> bool:
        one = replace(start, rate=share * agreed)
        return bool(bench.minding(one, bench.stands(one, [lineup]), VELOCITIES))

    assert not broken(top.share)
    assert broken(top.share + 0.002)


def test_what_is_told_of_rates_says_at_which_stages(demos: Demos) -> None:
    lineup = demos["gasoline-drop-lines"].case.lineup
    display = Display(units=demos["crude-sea-line"].case.show, density=1000.0)
    again = next(s for s in lineup.scenarios if s.repeats)
    greatest = RateLimit(scenario=again.repeats, agreed=0.3, greatest=0.4, to=0.6, governs=None)
    text = " ".join(window_lines(Windows(by_valve={}, rates=(greatest,)), lineup, display))
    assert f'Not searched: safe rates for "{again.name}"' in " ".join(text.split())
    opening = OpenRate(valve="manifold valve", share=0.8, rate=0.24, stroke=26.0, governs=None)
    assert opening_words(opening, display) == "864.0 m3/h"
    told = opening_words(replace(opening, several=True), display)
    assert told == "864.0 m3/h (every rate at 80.0 % of the agreed one)"


def test_no_rate_opens_what_shut_off_head_closes(demos: Demos) -> None:
    lineup = line(rating=2e5)
    got = windows_of(lineup, book=NO_RULES)
    assert got.empty("valve")
    assert not got.opens_at
    display = Display(units=demos["crude-sea-line"].case.show, density=1000.0)
    text = " ".join(" ".join(window_lines(got, lineup, display)).split())
    assert "no stroke time is safe" in text
    assert "no stroke helps against shut-off pressure" in text


def test_all_that_can_be_asked_keeps_to_the_schema() -> None:
    once = '[scenario.shutdown]\nnot_at = { "topping off" = "one stage is enough here" }\n'
    text = TWO_VALVES.replace("[scenario.shutdown]\n", once)
    assert once in text
    case = read_case(text + TOPPING_OFF, filename="case.toml")
    got = surge.find_windows(case, longest=60.0, orders=True, shapes=True, bands=True)
    assert got.extras.orders
    assert got.extras.shapes
    assert got.extras.bands
    hold_to_schema(window_document(got, got.head, (), got.extras), "window")


def test_unknown_and_idle_valves_are_refused() -> None:
    lineup = line()
    with pytest.raises(CaseError) as caught:
        windows_of(lineup, book=NO_RULES, valves=["vlave"])
    assert '"valve"' in caught.value.faults[0].expected
    stop = PumpMove(pump="pump", start=1.0, law=((0.0, 1.0), (5.0, 0.0)))
    idle = lineup.with_(scenarios=(replace(lineup.scenarios[0], moves=(), pump_moves=(stop,)),))
    with pytest.raises(CaseError):
        windows_of(idle, book=NO_RULES)


def test_marked_valves_are_searched_and_others_not() -> None:
    lineup = line(second=2.0)
    assert set(closing_valves(lineup, lineup.scenarios[0])) == {"valve", "other"}
    marked = lineup.with_(valves=tuple(replace(v, adjustable=v.name == "other") for v in lineup.valves))
    assert list(windows_of(marked, book=NO_RULES, longest=20.0).by_valve) == ["other"]


# The command


def run(*args: Any) -> Result:
    return CliRunner().invoke(main, ["window", *map(str, args)])


@pytest.fixture
def two_valves(tmp_path: Path) -> Path:
    path = tmp_path / "two_valves.toml"
    path.write_text(TWO_VALVES, encoding="utf-8")
    return path


def test_the_command_tells_the_window_its_proof_and_orders(two_valves: Path) -> None:
    got = run(two_valves, "--valve", "ship valve", "--longest", "60 s", "--orders", "--details")
    assert got.exit_code == 3
    text = " ".join(got.stdout.split())
    assert "close no faster than" in text
    assert "the window is empty" in text
    assert "strokes" in text
    assert 'Orders of shutting in "linked"' in text
    assert "shore first" in text
    assert "a calculation, not a permit" in text


def test_json_of_the_command_with_shapes_and_bands(two_valves: Path) -> None:
    got = run(two_valves, "--valve", "ship valve", "--longest", "60 s", "--shapes", "--bands", "--json")
    made = json.loads(got.stdout)
    jsonschema.validate(made, SCHEMA)
    (valve,) = made["valves"]
    assert valve["valve"] == "ship valve"
    assert made["exit_code"] == got.exit_code
    looked = valve["scenarios"][0]["looked_at"]
    assert len(looked) > 20
    assert all(x["stroke_s"] >= 1.0 for x in looked)
    assert made["orders"] == []
    assert len(made["shapes"]) == len(made["bands"]) == 2
    plain = {s["scenario"]: s["shortest_safe_stroke_s"] for s in valve["scenarios"]}
    for band in made["bands"]:
        # a valve may stroke a tenth faster than agreed: the agreed stroke has to be longer
        assert band["shortest_safe_stroke_s"] > plain[band["scenario"]]


@pytest.mark.parametrize(
    "args",
    [
        ("--valve", "no such valve"),
        ("--shortest", "30 s", "--longest", "2 s"),
        ("--shortest", "fast"),
        ("--longest", "120"),
    ],
)
def test_bad_arguments(args: tuple[str, ...]) -> None:
    got = run(CASES / "crude-sea-line.toml", *args)
    assert got.exit_code == 2
    assert "Traceback" not in got.output
    assert got.stdout == ""


def test_a_bad_case(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text("schema = 1\n", encoding="utf-8")
    assert run(path).exit_code == 2


# Published: the interlocking equations of Allievi, turned round

# Allievi's parameters rho = a V0 / (2 g H0) and theta = a T / (2 L) of a frictionless line with a valve that
# shuts uniformly into the open (L. Allievi, Teoria del colpo d'ariete, 1913; the equations from memory).
ALLIEVI = [(0.5, 4.0), (1.0, 4.0), (2.0, 8.0)]


def highest(rho: float, theta: float) -> float:
    """Highest head over H0 of Allievi's chain, over 400 phases between the whole ones."""
    best = 1.0
    for shift in np.linspace(0.0, 1.0, 400, endpoint=False):
        z, eta = 1.0, 1.0
        for i in range(int(theta) + 2):
            time = shift + i
            new_eta = max(0.0, 1.0 - time / theta)
            # z_i^2 + z_{i-1}^2 - 2 = 2 rho (eta_{i-1} z_{i-1} - eta_i z_i); before time 0 all is steady
            known = 2.0 - z * z + 2.0 * rho * eta * z
            z = -rho * new_eta + math.sqrt((rho * new_eta) ** 2 + known)
            eta = new_eta
            best = max(best, z * z)
    return best


@pytest.mark.parametrize(("rho", "theta"), ALLIEVI)
def test_the_search_turns_allievis_chain_round(rho: float, theta: float) -> None:
    """With the limit at the peak that the chain gives for theta, the shortest stroke is theta periods."""
    length, a, head = 5000.0, 1000.0, 100.0
    velocity = rho * 2 * 9.80665 * head / a
    lineup = line(length=length, velocity=velocity, rating=1e9)
    flow = velocity * lineup.pipes[0].area
    kv = 3600 * flow / math.sqrt(head * 9.80665 * 1000 / 1e5)
    rating = 1000 * 9.80665 * head * highest(rho, theta)
    lineup = lineup.with_(
        liquid=replace(lineup.liquid, viscosity=0.0),  # without friction
        valves=tuple(replace(v, kv=kv) for v in lineup.valves),
        pipes=tuple(replace(p, limits=Limits(rating=rating)) for p in lineup.pipes),
        tanks=(replace(lineup.tanks[0], level=head), replace(lineup.tanks[1], level=0.0)),
    )
    got = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES)
    exact = theta * 2 * length / a
    assert got.shortest is not None
    # never below; above by the resolution of 1 % and the margin of 0.02 bar and more that is asked for
    assert exact - 0.05 <= got.shortest <= exact * 1.03 + 0.1


@pytest.mark.parametrize("stroke", [2.43, 5.0, 9.0])
def test_a_scan_goes_on_as_long_as_a_single_run(stroke: float, demos: Demos) -> None:
    """At the reduced rate the shore line is packed long after the coupling has shut: 88 s, not 17 s.

    A slow stroke is scanned at a coarser step, which changes it by less than 0.001 bar.
    """
    lineup = demos["gas-oil-release-coupling"].case.lineup
    scenario = with_strokes(lineup.scenarios[1], {"quick-release coupling": stroke})
    (near,) = Scanner(lineup, lineup.scenarios[1]).moved([scenario])
    run = simulate(lineup, scenario, quick=True)
    element = next(e for e in run.elements if e.name == near.held.key[1])
    extreme = element.highest if near.held.key[2] == "high" else element.lowest
    step = 100.0 if stroke > 5.0 else 1.0
    assert near.margin == pytest.approx(near.held.margin(extreme.pressure), abs=step)


def test_other_scenarios_are_told_and_left_to_the_check(demos: Demos) -> None:
    """In the demo a change of tanks bursts the pump's top whatever the manifold valve does."""
    loaded, got = demos["gasoline-through-cargo-pumps"].case, demos["gasoline-through-cargo-pumps"].windows
    assert got.together is not None
    assert got.together.pressures == WITHIN
    assert got.together.elsewhere is not None
    assert got.together.elsewhere.scenario.startswith("change of tanks")
    assert got.exit_code == 0
    display = Display(units=loaded.show, density=loaded.lineup.liquid.density)
    text = " ".join(" ".join(window_lines(got, loaded.lineup, display)).split())
    assert "a limit is not kept elsewhere" in text
    assert "see surge check" in text


def test_the_rate_above_which_a_window_is_empty() -> None:
    """No stroke over 6 s: at the rate found 6 s is safe, a twentieth above it is not."""
    lineup = line(rating=14e5, velocity=1.0)
    flow = math.pi / 4 * 0.3**2 * 1.0
    valve = replace(lineup.valves[0], opening=1.0)
    points = (Point(name="tank", elevation=0.0), *lineup.points)
    throttle = Valve(name="throttle", start="tank", end="in", kv=9000.0, characteristic=LINEAR)
    tanks = tuple(replace(t, point="tank", level=100.0) if t.name == "source" else t for t in lineup.tanks)
    rate = Rate(agreed=flow, means="throttle", at="throttle", through="first")
    lineup = lineup.with_(points=points, valves=(valve, throttle), tanks=tanks, rate=rate)
    scenario = lineup.scenarios[0]
    parts = (stroke_limits(lineup, scenario, "valve", book=NO_RULES, longest=6.0),)
    assert parts[0].open
    top = opening_rate(lineup, [scenario], parts, empty=False, book=NO_RULES, progress=lambda _: None)
    assert top is not None
    assert top.share is not None
    assert top.ends
    assert 1.0 < top.share < 2.0
    longest = with_strokes(scenario, {"valve": 6.0})
    below, above = Scanner(lineup, longest).at_rates([top.rate, 1.05 * top.rate])
    assert below.margin > 0.0 > above.margin

"""Scenarios that boil, judged with cavities: kept, exceeded, undecided, and when nothing is decided."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.demos import Demos
from support.lineups.generated import generated

from surge.api.check import CheckAnswer, check
from surge.api.sheet import make_sheet
from surge.api.summary import summary
from surge.api.windows import find_windows
from surge.case.file import read_case
from surge.kernel import columns
from surge.model.attached import ReliefValve
from surge.model.lineup import LineUp, Scenario
from surge.rules import ranged
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.findings import APART, EXCEEDED, UNDECIDED, WITHIN, Finding, findings_of
from surge.rules.reading import built_in
from surge.rules.rulings import rule_on
from surge.rules.telling import steady_there, told
from surge.search.judge import NO_RULES, Bench
from surge.search.sizes import Whole
from surge.transient import cavities, followed
from surge.transient.cavities import march_once, march_with_cavities
from surge.transient.followed import with_cavities
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.transient.summary import closures_of

MISTAKE = "manifold valve shut by mistake"
# Seeds whose berths boil, quick ones of those that `tests/benchmarks/cavity_bands.py` goes through. A finer
# march uses up a third of a band of 31 and an eighth of one of 40, of others that are quick less.
BOIL = (31, 40, 53, 61)


def boiling_text(demos: Demos, *changes: tuple[str, str]) -> str:
    """The crude demo, so light that it boils behind the valve that shuts; of its scenarios the first only."""
    text = demos["crude-sea-line"].path.read_text(encoding="utf-8")
    for old, new in (('vapour_pressure = "0.15 bar(a)"', 'vapour_pressure = "0.45 bar(a)"'), *changes):
        assert old in text, old
        text = text.replace(old, new)
    text = text.replace('ullage = "60 m3"\n', "")  # it asks for a shutdown
    first, second = text.split("[[scenario]]")[:2]
    return f"{first}[[scenario]]{second}"


def rated(rating: float) -> tuple[tuple[str, str], ...]:
    """The hose at another rating [bar], tested and burst accordingly."""
    return (
        ('rating = "15 bar(g)"', f'rating = "{rating} bar(g)"'),
        ('test_pressure = "22.5 bar(g)"', f'test_pressure = "{1.5 * rating} bar(g)"'),
        ('burst_pressure = "75 bar(g)"', f'burst_pressure = "{5 * rating} bar(g)"'),
    )


def checked(demos: Demos, *changes: tuple[str, str]) -> CheckAnswer:
    return check(read_case(boiling_text(demos, *changes), filename="boiling.toml"), remedies=False)


def finding(answer: Assessment, name: str, what: str = "peak") -> Finding:
    return next(f for f in answer.findings if (f.name, f.check, f.scenario) == (name, what, MISTAKE))


# The verdict


def test_a_case_that_boils_is_kept_where_all_marches_stay_below(demos: Demos) -> None:
    answer = checked(demos, *rated(20))
    assert (answer.verdict, answer.exit_code) == (WITHIN, 0)
    run = answer.scenarios[0]
    assert run.vapour is not None
    assert run.followed
    assert run.cavities is not None
    hose = finding(answer, "hose string")
    assert hose.value is not None
    assert hose.margin is not None
    peaks = [r.extremes["element", "hose string", "high"].pressure for r in run.cavities.runs]
    assert hose.value == max(peaks)
    assert hose.margin > hose.error > 5e4
    # To boil is told, and no limit.
    boils = finding(answer, "deck line", "vapour")
    assert (boils.verdict, boils.boils) == (WITHIN, True)
    rule = next(r for r in answer.rulings if r.rule.id == "vapour-pressure")
    assert (rule.outcome, rule.subject) == ("kept", "deck line")
    assert "its cavities were followed" in rule.words


def test_a_case_that_boils_is_exceeded_where_all_marches_go_beyond(demos: Demos) -> None:
    answer = checked(demos)
    assert (answer.verdict, answer.exit_code) == (EXCEEDED, 3)
    assert answer.weakest is not None
    assert (answer.weakest.name, answer.weakest.check) == ("hose string", "peak")
    assert {f.name for f in answer.findings if f.verdict != WITHIN} == {"hose string"}


def test_a_limit_within_the_band_cannot_be_decided(demos: Demos) -> None:
    answer = checked(demos, *rated(18.5))
    assert (answer.verdict, answer.exit_code) == (UNDECIDED, 4)
    hose = finding(answer, "hose string")
    assert (hose.verdict, hose.reason) == (UNDECIDED, APART)
    # The figures of both models stand in the sentence.
    text = " ".join(answer.text().split())
    assert "with cavities in the line (band ±" in text
    assert "(18.01 with vapour alone; 18.01 with vapour and gas)" in text


def test_what_is_exceeded_before_it_boils_stays_so(demos: Demos) -> None:
    """The hose is beyond 4 bar before the deck line boils: no march with cavities changes that."""
    answer = checked(demos, *rated(4))
    run = answer.scenarios[0]
    hose = next(e for e in run.elements if e.name == "hose string")
    assert hose.highest.before_vapour > 4e5 + hose.highest.error
    assert run.cavities is not None
    low = {
        key: replace(one, furthest=replace(one.furthest, pressure=1e5))
        for key, one in run.cavities.extremes.items()
    }
    changed = replace(run, cavities=replace(run.cavities, extremes=low))
    found = next(
        f for f in findings_of(answer.lineup, changed) if (f.name, f.check) == ("hose string", "peak")
    )
    assert (found.verdict, found.value) == (EXCEEDED, hose.highest.before_vapour)


def test_a_rule_that_keeps_away_from_boiling_is_not_kept(demos: Demos) -> None:
    """A terminal may ask for more than that limits are kept."""
    answer = checked(demos, *rated(20))
    own = next(r.rule for r in answer.rulings if r.rule.id == "vapour-pressure")
    strict = replace(own, figure=1e4, figure_text="0.1 bar")
    rulings = rule_on(
        answer.lineup, book=RuleBook(rules=(strict,)), runs=answer.scenarios, findings=answer.findings
    )
    assert [(r.outcome, r.subject) for r in rulings] == [("not kept", "deck line")]


def test_a_strict_rule_on_steady_pressures_stays_strict_where_it_boils(demos: Demos) -> None:
    """What cavities decide is of extremes only: a steady pressure that equals a limit is not less than it."""
    answer = checked(demos, *rated(20))
    own = next(r.rule for r in answer.rulings if r.rule.measure == "steady pressure over rating")
    steady = finding(answer, "hose string", "steady")
    just = replace(steady, limit=steady.value, margin=0.0)
    outcomes = [
        rule_on(
            answer.lineup,
            book=RuleBook(rules=(replace(own, compare=compare),)),
            runs=answer.scenarios,
            findings=[just],
        )[0].outcome
        for compare in ("at most", "less than")
    ]
    assert outcomes == ["kept", "not kept"]


# When nothing is decided


def test_marches_that_cannot_be_made_decide_nothing(demos: Demos, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cavities, "MOST_STEPS", 100)
    answer = checked(demos, *rated(20))
    assert answer.verdict == EXCEEDED  # to boil is a limit exceeded then
    hose = finding(answer, "hose string")
    assert hose.verdict == UNDECIDED
    assert "no marches with cavities: " in hose.reason
    assert "more than 100 steps" in hose.reason
    assert finding(answer, "deck line", "vapour").verdict == EXCEEDED


def test_too_much_work_decides_nothing(demos: Demos, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(followed, "MOST_EFFORT", 1e5)
    assert "too much work" in finding(checked(demos, *rated(20)), "hose string").reason


def test_a_cavity_that_stays_open_decides_nothing(demos: Demos, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cavities, "OPEN", -1.0)
    answer = checked(demos, *rated(20))
    assert answer.verdict == UNDECIDED
    assert any("a cavity is still open" in f.reason for f in answer.findings)


def test_figures_that_are_ranges_are_named_and_nothing_is_kept(demos: Demos) -> None:
    """The nominal line keeps its limits with cavities; over the length nobody knows, that is not told."""
    answer = checked(demos, *rated(20), ('length = "70 m"', 'length = ["60 m", "80 m"]'))
    assert answer.verdict == UNDECIDED
    hose = finding(answer, "hose string")
    assert hose.verdict == UNDECIDED
    assert 'give the length of "deck line"' in hose.reason
    assert all(f.verdict != WITHIN for f in answer.findings if f.check in ("peak", "lowest", "vapour"))


# Searches, and plain cases


def test_a_search_does_not_tell_what_boils_as_safe(demos: Demos) -> None:
    answer = checked(demos, *rated(20))
    bench = Bench(answer.lineup, NO_RULES)
    judged = bench.judge(answer.lineup.scenarios[0])
    assert not judged.kept
    assert judged.governs is not None
    assert judged.governs.check == "vapour"
    assert judged.run.cavities is None


def test_what_a_window_tells_as_safe_a_check_keeps_without_boiling(demos: Demos) -> None:
    """The stroke of the case boils and keeps every limit; the window begins where nothing boils."""
    case = read_case(boiling_text(demos, *rated(20)), filename="boiling.toml")
    windows = find_windows(case)
    (part,) = windows.by_valve["manifold valve"]
    assert part.shortest is not None
    assert part.shortest > part.stroke == 9.0
    said = " ".join(windows.text().split())
    assert "No stroke and no rate at which the cargo boils is told as safe here" in said
    again = checked(demos, *rated(20), ('stroke = "9 s"', f'stroke = "{part.shortest:.1f} s"'))
    assert again.verdict == WITHIN
    assert again.scenarios[0].vapour is None


def test_a_size_at_which_the_cargo_boils_is_not_told(demos: Demos) -> None:
    """A check keeps the case with cavities; a search for the smallest relief valve does not."""
    lineup = checked(demos, *rated(20)).lineup
    shut = ReliefValve(name="relief", point="end manifold", set_pressure=30e5, full_pressure=33e5, kv=100.0)
    lineup = lineup.with_(relief_valves=(shut,))
    assert assess(lineup).verdict == WITHIN
    confirmed = Whole(Bench(lineup, NO_RULES)).confirm(lineup)
    assert not confirmed.kept
    assert confirmed.governs is not None
    assert (confirmed.governs.check, confirmed.governs.verdict) == ("vapour", EXCEEDED)


def test_the_sheet_says_why_a_stroke_that_boils_is_outside_its_window(demos: Demos) -> None:
    case = read_case(boiling_text(demos, *rated(20)), filename="boiling.toml")
    sheet = make_sheet(case, window=False)
    document = sheet.document()
    assert document["verdict"] == WITHIN
    assert "the cargo boils" in document["boils"]
    assert len(document["cavities"]) == len({c.split('"')[1] for c in document["cavities"]})
    assert all("vapour alone" in c and "vapour and gas" in c for c in document["cavities"])
    exceeded = make_sheet(read_case(boiling_text(demos), filename="boiling.toml"), window=False)
    assert not exceeded.document()["signable"]


def test_what_does_not_boil_is_not_marched_again(demos: Demos, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of a plain case goes by cavities: its findings are those of its run, to the bit."""

    def never(*_: object, **__: object) -> None:
        raise AssertionError("marched with cavities")

    monkeypatch.setattr(followed, "march_with_cavities", never)
    lineup = demos["gasoline-drop-lines"].answer.lineup
    made = assess(lineup)
    for run, scenario in zip(made.scenarios, lineup.scenarios, strict=True):
        assert run.cavities is None
        own = simulate(lineup, scenario)
        assert findings_of(lineup, run) == findings_of(lineup, own)
        assert run.histories == (run.history,)


# How good the band is


def boiling_berth(seed: int) -> tuple[LineUp, Scenario]:
    """A generated berth in the open air, with a liquid that boils in it."""
    lineup, scenario = generated(seed)
    vapour = float(np.random.default_rng(seed).uniform(1e3, 6e4))
    liquid = replace(lineup.liquid, vapour_pressure=vapour)
    return lineup.with_(atmosphere=101325.0, liquid=liquid), scenario


@pytest.mark.parametrize("seed", BOIL)
def test_nothing_kept_is_beaten_at_a_finer_step(seed: int) -> None:
    """Whatever the limit: at half the finest step both models stay below the furthest pressure plus band."""
    lineup, scenario = boiling_berth(seed)
    made = march_with_cavities(lineup, scenario)
    dt, until = made.runs[0].dt / 8, made.runs[0].duration
    bands = made.extremes()
    for model, gas in (("vapour", 0.0), ("gas", lineup.free_gas)):
        finer = march_once(made.work, model, dt, gas, [until])[0]  # type: ignore[arg-type]
        for key, found in finer.extremes.items():
            out = 1.0 if key[2] == "high" else -1.0
            assert out * (found.pressure - bands[key].pressure) < bands[key].band, (seed, key)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1000, 1015])
def test_no_velocity_that_is_kept_is_beaten_at_a_finer_step(seed: int) -> None:
    """In a branch that stands at first all marches may agree, and a pulse may bring more at the next step."""
    lineup, scenario = boiling_berth(seed)
    run = with_cavities(lineup, scenario, simulate(lineup, scenario))
    assert run.cavities is not None
    coarsest = run.cavities.runs[0]
    work = march_with_cavities(lineup, scenario, duration=coarsest.duration).work
    finer = [
        march_once(work, model, coarsest.dt / 8, gas, [coarsest.duration])[0].history  # type: ignore[arg-type]
        for model, gas in (("vapour", 0.0), ("gas", lineup.free_gas))
    ]
    rule = built_in().rule("bulk-velocity")
    assert rule is not None
    beaten = 0
    for pipe in lineup.pipes:
        tops = [np.abs(h.flow[pipe.name]).max() / pipe.area for h in (*run.histories, *finer)]
        if max(tops[-2:]) <= max(tops[:-2]):
            continue
        beaten += 1
        strict = replace(rule, applies="always", figure=max(tops[-2:]))
        alone = lineup.with_(pipes=(pipe,), scenarios=(scenario,))
        (ruling,) = rule_on(alone, book=RuleBook(rules=(strict,)), runs=[run], findings=())
        assert ruling.outcome == "not decided", pipe.name
    assert beaten


@pytest.mark.parametrize("seed", BOIL[:3])
def test_verdicts_follow_the_band(seed: int) -> None:
    """A rating just beyond the band is kept, one within it undecided, one on its near side exceeded."""
    lineup, scenario = boiling_berth(seed)
    run = with_cavities(lineup, scenario, simulate(lineup, scenario))
    assert run.cavities is not None
    pipe = lineup.pipes[-1]
    found = run.cavities.extremes["element", pipe.name, "high"]

    def verdict(rating: float) -> str:
        own = replace(pipe, limits=replace(pipe.limits, rating=rating, allowance=1.0, test_pressure=None))
        pipes = (*lineup.pipes[:-1], own)
        changed = lineup.with_(pipes=pipes)
        return next(f.verdict for f in findings_of(changed, run) if (f.name, f.check) == (pipe.name, "peak"))

    top, band = found.pressure, found.band
    before = next(e for e in run.elements if e.name == pipe.name).highest
    assert verdict(top + 1.01 * band) == WITHIN
    assert verdict(top + 0.99 * band) == UNDECIDED
    assert found.sure < top
    near = found.sure + 100.0
    assert verdict(near) == (EXCEEDED if before.before_vapour - before.error > near else UNDECIDED)
    assert verdict(found.sure - 100.0) == EXCEEDED


def test_ranges_are_followed_at_their_worst_points_only(
    demos: Demos, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the range turns the verdict, what is tried to explain that is not marched with cavities."""
    calls = []
    real = ranged.with_cavities

    def counted(lineup: LineUp, scenario: Scenario, run: ScenarioResult, **more: object) -> ScenarioResult:
        calls.append(scenario.name)
        return real(lineup, scenario, run, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(ranged, "with_cavities", counted)
    answer = checked(demos, *rated(20), ('length = "70 m"', 'length = ["60 m", "80 m"]'))
    assert len(calls) <= 4
    assert all(run.cavities is not None for run in answer.scenarios if run.vapour)


def test_an_ordinary_shutdown_boils_and_keeps_its_limits(demos: Demos) -> None:
    """The demo of a pipe bridge: what it says of itself."""
    answer = demos["condensate-over-a-bridge"].answer
    assert answer.verdict == WITHIN
    run = answer.scenarios[0]
    assert run.vapour is not None
    assert run.cavities is not None
    places = run.cavities.finest[-1].places
    assert places["bridge"].opened == pytest.approx(run.vapour.time, abs=0.05)
    behind = places["deck line inlet"]
    assert behind.rejoined is not None
    assert behind.rejoined - behind.opened == pytest.approx(18.0, abs=0.5)
    deck = run.cavities.extremes["element", "deck line", "high"]
    assert deck.furthest.time == pytest.approx(behind.rejoined, abs=0.5)
    assert answer.weakest is not None
    assert (answer.weakest.check, answer.weakest.verdict) == ("peak", WITHIN)


# What else is of the marches with cavities


def test_the_document_has_both_models_on_two_grids(demos: Demos) -> None:
    answer = demos["condensate-over-a-bridge"].answer
    assert isinstance(answer, CheckAnswer)
    (scenario,) = answer.document()["scenarios"]
    told = scenario["cavities"]
    cavities = answer.scenarios[0].cavities
    assert cavities is not None
    assert [(r["model"], r["time_step_s"]) for r in told["runs"]] == [(r.model, r.dt) for r in cavities.told]
    for run, own in zip(told["runs"], cavities.told, strict=True):
        for place in run["places"]:
            found = own.places[place["place"]]
            assert (place["opened_s"], place["rejoined_s"]) == (found.opened, found.rejoined)
            assert place["largest_volume_m3"] == found.largest
            assert place["first_pressure_pa_gauge"] == found.first_pressure
            assert place["peak_pa_gauge"] == own.extremes["place", place["place"], "high"].pressure
    deck = next(e for e in told["extremes"] if (e["subject"], e["name"]) == ("element", "deck line"))
    band = cavities.extremes["element", "deck line", "high"]
    assert (deck["highest_pa_gauge"], deck["highest_band_pa"]) == (band.pressure, band.band)
    assert (told["free_gas"], told["missing"]) == (1e-7, "")


def test_gas_in_the_case_is_that_of_the_second_model(demos: Demos) -> None:
    text = demos["condensate-over-a-bridge"].path.read_text(encoding="utf-8")
    more = text.replace("[rate]", "[calculation]\nfree_gas = 1e-5\n\n[rate]")
    runs = [
        check(read_case(t, filename="a.toml"), remedies=False).scenarios[0].cavities for t in (text, more)
    ]
    assert runs[0] is not None
    assert runs[1] is not None
    peaks = [[r.extremes["place", "bridge", "high"].pressure for r in c.finest] for c in runs if c]
    assert peaks[0][0] == peaks[1][0]  # vapour alone
    assert abs(peaks[0][1] - peaks[1][1]) > 1e3
    assert runs[1].gas == 1e-5


def test_closures_and_what_hangs_on_the_line_are_of_a_march_with_cavities() -> None:
    """A relief valve on a berth that boils: what it does is told by the march with gas on the finest grid."""
    lineup, scenario = boiling_berth(17)
    point = lineup.pipes[0].end
    steady = next(p.steady for p in simulate(lineup, scenario, quick=True).places if p.name == point)
    set_at = steady + 5e4
    relief = ReliefValve(name="relief", point=point, set_pressure=set_at, full_pressure=1.5 * set_at, kv=20.0)
    lineup = lineup.with_(relief_valves=(relief,))
    plain = simulate(lineup, scenario)
    assert plain.vapour is not None
    run = with_cavities(lineup, scenario, plain)
    made = march_with_cavities(lineup, scenario)
    passed = [r.passed for r in (*run.relief_valves, *plain.relief_valves)]
    gas = made.marches[-1]
    state = gas.grid.net.lf[gas.grid.links.index("relief")]
    assert passed[0] == pytest.approx(state[columns.L_PASSED])
    assert passed[0] != pytest.approx(passed[1])
    assert run.closures == closures_of(scenario, made.finest[-1].history, plain.periods)
    assert run.cavities is not None
    assert run.histories == tuple(r.history for r in run.cavities.runs)
    assert len(run.histories) == 6


def test_what_is_told_beside_an_extreme_with_cavities_is_of_its_own_place(demos: Demos) -> None:
    """The shore line is lowest at its inlet then; without cavities 1.4 km on."""
    answer = demos["condensate-over-a-bridge"].answer
    (run,) = answer.scenarios
    line = next(e for e in run.elements if e.name == "shore line")
    seen = told(run, ("element", line.name), line.lowest, upper=False)
    assert line.lowest.distance > 1400.0
    assert seen.share == 0.0
    inlet = next(p for p in run.places if p.name == line.start)
    assert steady_there(run, line, seen, upper=False) == inlet.steady != line.steady_at_lowest
    row = next(
        w for w in answer.text(details=True).splitlines() if w.startswith("shore line ") and "-0.3" in w
    )
    assert "0.0 m" in row
    part = next(p for p in summary(answer).parts if (p.name, p.check) == (line.name, "lowest"))
    assert (part.place, part.reason) == ("shore end", "boils, or nearly: see the cavities")

"""Velocities and what still runs into a tank, held against the rules on flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.lineups.berth import berth, spoilt
from support.rulings import (
    AREA,
    built_in_only,
    case,
    changed_book,
    charged,
    halt,
    pushed_into_a_supply,
    rule_all,
    run_of,
    shut,
    shutdown,
    the,
    two_drop_lines,
    ullage,
)

from surge.model.lineup import (
    LineUp,
    Pipe,
    Scenario,
)
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.reading import built_in
from surge.rules.rulings import (
    KEPT,
    NOT_APPLICABLE,
    NOT_CHECKED,
    NOT_DECIDED,
    NOT_KEPT,
    Ruling,
    rule_on,
)
from surge.transient.cavity_result import Cavities, CavityRun
from surge.transient.result import ScenarioResult, Vapour
from surge.transient.run import simulate

HOUR = 3600.0


# Overfill: IBC Code 15.19.8, 3600 U / LR


@pytest.mark.parametrize(("volume", "outcome"), [(5.0, KEPT), (4.999, NOT_KEPT), (5.001, KEPT)])
def test_5_m3_fill_in_30_s_at_600_m3_per_hour(volume: float, outcome: str) -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    ruling = the(rule_all(ullage(case(esd), volume), rate=600 / HOUR), "overfill-time")
    assert (ruling.outcome, ruling.subject) == (outcome, "no. 3 port")
    assert ruling.value == pytest.approx(30.0), "detection 2 s, signal 1 s, stroke 27 s: all terms"
    assert ruling.limit == pytest.approx(3600 * volume / 600)
    assert ruling.verdict == (WITHIN if outcome == KEPT else EXCEEDED)
    assert "600 m3/h" in ruling.words


def test_the_greatest_flow_into_the_tank_counts_and_has_an_error() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))

    def outcome(volume: float) -> tuple[str, float | None]:
        rulings = rule_all(ullage(case(esd), volume), inflow=(300 / HOUR, 600 / HOUR, 0.0))
        return the(rulings, "overfill-time").outcome, the(rulings, "overfill-time").limit

    assert outcome(5.0) == (NOT_DECIDED, pytest.approx(30.0))
    assert outcome(5.1)[0] == KEPT
    assert outcome(4.9)[0] == NOT_KEPT


def test_the_greatest_flow_may_be_in_another_scenario() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    diverted = Scenario(name="changeover", moves=(shut("manifold valve", 5.0, 60.0),))
    lineup = ullage(case(esd, diverted), 5.0)
    runs = [run_of(esd, rate=300 / HOUR), run_of(diverted, rate=900 / HOUR)]
    ruling = the(rule_on(lineup, book=built_in(), runs=runs, findings=()), "overfill-time")
    assert ruling.limit == pytest.approx(20.0)
    assert '"changeover"' in ruling.words


def test_a_shutdown_asks_for_the_ullage_of_the_tank_that_it_loads() -> None:
    lineup = ullage(case(shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))), None)
    ruling = the(rule_all(lineup), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
    assert 'write ullage for the tank "no. 3 port"' in ruling.supply


def test_without_shutdown_and_ullage_overfill_is_listed_and_does_not_count() -> None:
    ruling = the(rule_all(case()), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, WITHIN)
    assert "write ullage for the ship's tanks" in ruling.supply


def test_an_ullage_makes_it_required() -> None:
    # No shutdown: what is asked for cannot be told.
    ruling = the(rule_all(ullage(case(), 5.0)), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "[scenario.shutdown]" in ruling.supply
    # A second tank that is loaded needs one too.
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = ullage(two_drop_lines().with_(scenarios=(esd,)), 50.0)
    runs = [
        replace(
            run_of(esd),
            opening={v.name: 1.0 for v in lineup.valves},
            history=replace(run_of(esd).history, flow={e.name: np.full(3, 0.1) for e in lineup.elements}),
        )
    ]
    rulings = [
        r
        for r in rule_on(lineup, book=built_in_only("overfill-time"), runs=runs, findings=())
        if r.rule.id == "overfill-time"
    ]
    assert [(r.subject, r.outcome, r.verdict) for r in rulings] == [
        ("no. 3 port", KEPT, WITHIN),
        ("no. 4 port", NOT_CHECKED, UNDECIDED),
    ]


def test_a_shutdown_that_leaves_a_way_open_overfills() -> None:
    ruling = the(rule_all(ullage(case(shutdown(pumps=(halt(8.0),))), 500.0)), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_KEPT, EXCEEDED)


# Overfill: which shutdowns may tell the time


def both_tanks(*scenarios: Scenario, ullages: tuple[float | None, float | None] = (50.0, 50.0)) -> LineUp:
    """Two tanks of the ship, each behind its own valve."""
    lineup = two_drop_lines().with_(scenarios=scenarios)
    lineup = spoilt("tanks", 1, lineup, ullage=ullages[0])
    return spoilt("tanks", 2, lineup, ullage=ullages[1])


def run_with(
    lineup: LineUp, scenario: Scenario, *, first: float, second: float, **opening: float
) -> ScenarioResult:
    """A run with these flows into the two tanks [m3/s]."""
    flows = {e.name: first + second for e in lineup.elements}
    flows |= {"first valve": first, "deck line": first, "stack": first}
    flows |= {"second valve": second, "second drop": second}
    run = run_of(scenario)
    stands = {v.name: 1.0 for v in lineup.valves} | {k.replace("_", " "): x for k, x in opening.items()}
    history = replace(run.history, flow={name: np.full(3, q) for name, q in flows.items()})
    return replace(run, opening=stands, history=history)


def overfill(lineup: LineUp, *runs: ScenarioResult) -> dict[str, Ruling]:
    """The rulings on overfill of every tank, one each."""
    rulings = rule_on(lineup, book=built_in_only("overfill-time"), runs=runs, findings=())
    assert len({r.subject for r in rulings}) == len(rulings)
    return {r.subject: r for r in rulings}


def test_a_shutdown_that_does_not_load_a_tank_tells_nothing_about_it() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    plain = Scenario(name="no. 4 port alone", moves=(shut("second valve", 5.0, 40.0),))
    lineup = both_tanks(esd, plain)
    runs = (
        run_with(lineup, esd, first=0.1, second=0.0, second_valve=0.0),
        run_with(lineup, plain, first=0.0, second=0.1, first_valve=0.0),
    )
    got = overfill(lineup, *runs)
    assert got["no. 3 port"].outcome == KEPT
    assert got["no. 3 port"].value == pytest.approx(30.0)
    missing = got["no. 4 port"]
    assert (missing.outcome, missing.verdict, missing.value) == (NOT_CHECKED, UNDECIDED, None)
    assert '"no. 4 port" has an ullage' in missing.words
    assert "[scenario.shutdown]" in missing.supply
    assert "take out its ullage" not in missing.supply, "it is loaded"


def test_a_tank_that_was_shut_before_the_order_is_not_proved_either() -> None:
    esd = shutdown(shut("second valve", 1.0, 2.0), shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = both_tanks(esd)
    got = overfill(lineup, run_with(lineup, esd, first=0.1, second=0.1))
    assert got["no. 3 port"].outcome == KEPT
    assert (got["no. 4 port"].outcome, got["no. 4 port"].verdict) == (NOT_CHECKED, UNDECIDED)


def test_an_ullage_of_a_tank_that_nothing_loads_can_be_taken_out() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = both_tanks(esd)
    got = overfill(lineup, run_with(lineup, esd, first=0.1, second=0.0, second_valve=0.0))["no. 4 port"]
    assert (got.outcome, got.verdict) == (NOT_CHECKED, UNDECIDED)
    assert "take out its ullage" in got.supply


def test_a_tank_that_is_loaded_without_an_ullage_is_named_once() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    other = replace(esd, name="another shutdown")
    lineup = both_tanks(esd, other, ullages=(None, 5000.0))
    runs = [run_with(lineup, s, first=0.1, second=0.1) for s in (esd, other)]
    rulings = rule_on(lineup, book=built_in_only("overfill-time"), runs=runs, findings=())
    assert [(r.subject, r.outcome) for r in rulings] == [
        ("no. 3 port", NOT_CHECKED),
        ("no. 4 port", KEPT),
        ("no. 4 port", KEPT),
    ]


def test_a_terminal_that_asks_for_overfill_always_gets_no_pass_without_a_tank() -> None:
    esd = shutdown(shut("manifold valve", 8.0, 9.0, side="ship"))
    book = changed_book("overfill-time", applies="always")
    ruling = the(rule_all(pushed_into_a_supply(case(esd)), book=book), "overfill-time")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)


# Velocity: ISGOTT 5th ed. 11.1.7 and 18.2.5


@pytest.mark.parametrize(("speed", "outcome"), [(7.0, KEPT), (7.001, NOT_KEPT)])
def test_a_static_accumulator_flows_with_7_m_per_s(speed: float, outcome: str) -> None:
    ruling = the(rule_all(charged(case(), True), rate=speed * AREA), "bulk-velocity")
    assert ruling.outcome == outcome
    assert ruling.value == pytest.approx(speed)
    assert ruling.verdict == (WITHIN if outcome == KEPT else EXCEEDED)


@pytest.mark.parametrize(
    ("answer", "outcome", "verdict"), [(False, NOT_APPLICABLE, WITHIN), (None, NOT_KEPT, EXCEEDED)]
)
def test_other_cargoes_and_unknown_ones(answer: bool | None, outcome: str, verdict: str) -> None:
    rulings = rule_all(charged(case(), answer), rate=9.0 * AREA)
    for rule_id in ("bulk-velocity", "start-velocity"):
        ruling = the(rulings, rule_id)
        assert (ruling.outcome, ruling.verdict) == (outcome, verdict)
        assert ("write static_accumulator" in ruling.to_write) is (answer is None)


@pytest.mark.parametrize(
    ("stage", "speed", "outcome"),
    [
        ("start", 1.0, KEPT),
        ("start", 1.001, NOT_KEPT),
        ("bulk", 5.0, NOT_APPLICABLE),
        ("topping off", 5.0, NOT_APPLICABLE),
        ("", 0.5, KEPT),
        ("", 1.001, NOT_KEPT),
    ],
)
def test_at_the_start_1_m_per_s_at_the_inlet(stage: str, speed: float, outcome: str) -> None:
    # The berth's tank stands behind a cargo pump without a bore: the deck line before it counts.
    lineup = charged(case(replace(berth().scenarios[0], stage=stage)), True)
    ruling = the(rule_all(lineup, rate=speed * AREA), "start-velocity")
    assert ruling.outcome == outcome
    assert ruling.verdict == (EXCEEDED if outcome == NOT_KEPT else WITHIN)
    assert ("write stage" in ruling.supply) is (stage == "" and outcome == NOT_KEPT)
    assert ("Taken to apply: the scenario does not say" in ruling.words) is (stage == "")


@pytest.mark.parametrize(
    ("speed", "twelve", "fifteen"), [(12.0, KEPT, KEPT), (13.0, NOT_KEPT, KEPT), (15.1, NOT_KEPT, NOT_KEPT)]
)
def test_rates_of_hoses(speed: float, twelve: str, fifteen: str) -> None:
    rulings = rule_all(case(), rate=speed * AREA)
    assert the(rulings, "hose-velocity").outcome == twelve
    assert the(rulings, "hose-velocity-upper").outcome == fifteen
    assert the(rulings, "hose-velocity").subject == "hose"


def test_without_a_tank_of_the_ship_the_start_is_not_checked() -> None:
    lineup = charged(case(Scenario(name="start", stage="start")), True)
    ruling = the(rule_all(pushed_into_a_supply(lineup)), "start-velocity")
    assert (ruling.outcome, ruling.verdict) == (NOT_CHECKED, UNDECIDED)


# Velocities: the greatest of the run


def diverted(speeds: tuple[float, float, float], *, stage: str = "") -> Ruling:
    scenario = Scenario(name="one tank after the other", stage=stage)
    rule_id = "start-velocity" if stage else "bulk-velocity"
    rulings = rule_all(
        charged(case(scenario), True), inflow=tuple(v * AREA for v in speeds), rate=speeds[0] * AREA
    )
    return the(rulings, rule_id)


@pytest.mark.parametrize(("stage", "limit"), [("", 7.0), ("start", 1.0)])
def test_a_diversion_raises_the_velocity(stage: str, limit: float) -> None:
    low = 0.5 * limit
    broken = diverted((low, 1.2 * limit, low), stage=stage)
    assert (broken.outcome, broken.verdict) == (NOT_KEPT, EXCEEDED)
    assert broken.value == pytest.approx(1.2 * limit)
    assert "at 1 s" in broken.words
    assert diverted((low, 0.99 * limit, low), stage=stage).outcome == KEPT
    assert diverted((low, 0.999 * limit, low), stage=stage).outcome == NOT_DECIDED, "its error: 0.5 %"
    assert diverted((low, 1.001 * limit, low), stage=stage).outcome == NOT_DECIDED
    assert diverted((low, -1.2 * limit, low), stage=stage).outcome == NOT_KEPT, "either way"
    assert diverted((limit, low, low), stage=stage).outcome == KEPT, "a steady flow has no error"


def test_a_branch_that_shuts_drives_the_flow_into_the_other() -> None:
    scenario = Scenario(name="changeover", moves=(shut("second valve", 2.0, 6.0),))
    lineup = charged(two_drop_lines().with_(scenarios=(scenario,)), True)
    run = simulate(lineup, scenario, quick=True)
    assert run.vapour is None
    branches = ("deck line", "second drop")
    before = {e.name: abs(e.figures.velocity) for e in run.elements if e.name in branches and e.figures}
    book = built_in_only("bulk-velocity")
    only = lineup.with_(pipes=tuple(p for p in lineup.pipes if p.name == "deck line"))
    (ruling,) = rule_on(only, book=book, runs=[run], findings=())
    assert ruling.value is not None
    assert ruling.value > 1.2 * before["deck line"]
    flow = float(np.max(np.abs(run.history.flow["deck line"])))
    pipe: Pipe = only.pipes[0]
    assert ruling.value == pytest.approx(flow / pipe.area)


def test_after_boiling_no_velocity_is_kept() -> None:
    scenario = Scenario(name="s")
    lineup = charged(case(scenario), True)

    def outcome(*speeds: float) -> Ruling:
        run = run_of(scenario, inflow=tuple(v * AREA for v in speeds))
        boiled = replace(run, vapour=Vapour(time=1.5, where="hose", distance=None))
        rulings = rule_on(lineup, book=built_in_only("bulk-velocity"), runs=[boiled], findings=())
        return the(rulings, "bulk-velocity")

    assert outcome(2.0, 3.0, 2.0).outcome == NOT_DECIDED
    assert "kept" not in outcome(2.0, 3.0, 2.0).words
    assert outcome(2.0, 3.0, 20.0).outcome == NOT_DECIDED
    assert outcome(2.0, 8.0, 2.0).outcome == NOT_KEPT


def followed(
    run: ScenarioResult,
    scenario: Scenario,
    *models: tuple[float, ...],
    ranges: bool = False,
    pulses: float = 0.0,
) -> ScenarioResult:
    """A run that boils at 1.5 s, followed with cavities of two models, with velocities of their own."""
    marches = tuple(
        CavityRun(
            model="vapour" if k == 0 else "gas",
            dt=0.01,
            duration=3.0,
            places={},
            windows=(),
            largest=0.0,
            history=run_of(scenario, inflow=tuple(v * AREA for v in speeds)).history,
        )
        for k, speeds in enumerate(models)
    )
    cavities = Cavities(runs=marches, pulses=pulses, ranges=("the length",) if ranges else ())
    return replace(run, vapour=Vapour(time=1.5, where="hose", distance=None), cavities=cavities)


def test_with_cavities_a_velocity_is_that_of_the_faster_model() -> None:
    """7 m/s is the limit; three times the spread of all marches is an error; the plain run tells nothing."""
    scenario = Scenario(name="s")
    lineup = charged(case(scenario), True)
    plain = run_of(scenario, inflow=tuple(v * AREA for v in (2.0, 3.0, 20.0)))

    def outcome(*models: tuple[float, ...], ranges: bool = False, pulses: float = 0.0) -> Ruling:
        run = followed(plain, scenario, *models, ranges=ranges, pulses=pulses)
        rulings = rule_on(lineup, book=built_in_only("bulk-velocity"), runs=[run], findings=())
        return the(rulings, "bulk-velocity")

    near = (2.0, 3.0, 4.5), (2.0, 3.0, 5.0)
    kept = outcome(*near)
    assert (kept.outcome, kept.value) == (KEPT, pytest.approx(5.0))
    assert outcome((2.0, 3.0, 4.2), (2.0, 3.0, 5.0)).outcome == NOT_DECIDED  # 5 + 3 * 0.8 is beyond 7
    assert outcome((2.0, 3.0, 9.0), (2.0, 3.0, 9.1)).outcome == NOT_KEPT
    assert outcome(*near, ranges=True).outcome == NOT_DECIDED
    # A pulse brings dp/(rho a): 5 + 3 * 0.5 + 0.6 is beyond 7.
    hose = next(p for p in lineup.pipes if p.name == kept.subject)
    assert outcome(*near, pulses=0.6 * lineup.liquid.density * hose.wave_speed).outcome == NOT_DECIDED


@pytest.mark.parametrize(
    ("boils", "ranges", "wanted"),
    [
        (None, False, KEPT),
        ("left", False, NOT_DECIDED),
        ("followed", False, KEPT),
        ("followed", True, NOT_DECIDED),
    ],
)
def test_no_ullage_is_kept_by_flows_that_are_not_known(
    boils: str | None, *, ranges: bool, wanted: str
) -> None:
    """What flows after the liquid boils is known with cavities only, and at one point of the ranges only."""
    esd = shutdown(shut("manifold valve", 8.0, 27.0, side="ship"))
    lineup = ullage(case(esd), 10.0)
    run = run_of(esd, rate=600 / HOUR)
    speeds = tuple(np.full(run.history.time.size, 600 / HOUR / AREA))
    if boils == "left":
        run = replace(run, vapour=Vapour(time=1.5, where="hose", distance=None))
    elif boils == "followed":
        run = followed(run, esd, speeds, speeds, ranges=ranges)
    rulings = rule_on(lineup, book=built_in_only("overfill-time"), runs=[run], findings=())
    assert the(rulings, "overfill-time").outcome == wanted

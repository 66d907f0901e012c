"""The demo cases: each loads, has the verdict it says, and agrees with calculations that are not ours.

Independent: ``case_oracles`` (scipy, fluids, hand formulas). The waves are in ``test_case_waves``.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from support.demos import BY_FIGURES, CASES, VERDICTS, Demos, peak_at, steady_at, tables_of
from support.oracles.demo_cases import G

from surge.case import schema, schema_parts, schema_scenarios
from surge.case.file import read_case
from surge.hydraulics.fixed import at_shares
from surge.model.ranges import ranges_of
from surge.rules.assess import assess
from surge.rules.findings import EXCEEDED, EXIT_CODE, UNDECIDED, WITHIN
from surge.toml import tables
from surge.transient.plan import plan
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate

SCENARIO_VERDICTS = {
    ("crude-sea-line", "manifold valve shut by mistake"): EXCEEDED,
    ("crude-sea-line", "emergency shutdown"): WITHIN,
    ("gas-oil-release-coupling", "release at full rate"): EXCEEDED,
    ("gas-oil-release-coupling", "release at reduced rate"): WITHIN,
    ("gas-oil-two-pumps-one-trips", "pump 1 stops"): EXCEEDED,
    ("gas-oil-two-pumps-one-trips", "pump 2 trips"): WITHIN,
    ("gasoline-through-cargo-pumps", "manifold valve at full rate"): WITHIN,
    ("gasoline-through-cargo-pumps", "change of tanks at full rate"): EXCEEDED,
    ("gasoline-through-cargo-pumps", "topping off"): WITHIN,
    ("kerosene-shutdown-linked-and-not", "linked"): WITHIN,
    ("kerosene-shutdown-linked-and-not", "not linked"): EXCEEDED,
    ("methanol-closed-branches", "topping off"): WITHIN,
    ("methanol-closed-branches", "tank valve slams"): EXCEEDED,
}
SEVERITY = [WITHIN, UNDECIDED, EXCEEDED]


# --- verdicts -----------------------------------------------------------------------------------------


def test_every_case_has_its_verdict_here() -> None:
    assert sorted(p.stem for p in CASES.glob("*.toml")) == sorted(VERDICTS)


@pytest.mark.parametrize("name", VERDICTS)
def test_verdict_is_the_one_that_the_file_states(name: str, demos: Demos) -> None:
    verdict = VERDICTS[name]
    code = {WITHIN: 0, EXCEEDED: 3, UNDECIDED: 4}[verdict]
    assert (demos[name].answer.verdict, demos[name].answer.exit_code) == (verdict, code)
    comment = " ".join(
        line.lstrip("# ")
        for line in (CASES / f"{name}.toml").read_text(encoding="utf-8").split("schema = 1")[0].splitlines()
    )
    words = {WITHIN: "Verdict: every limit kept (exit 0)", EXCEEDED: "Verdict: a limit is exceeded (exit 3)"}
    assert words[verdict] in comment


@pytest.mark.parametrize(("name", "scenario"), SCENARIO_VERDICTS)
def test_verdict_of_each_scenario(name: str, scenario: str, demos: Demos) -> None:
    worst = max((f.verdict for f in demos[name].findings_in(scenario)), key=SEVERITY.index)
    assert worst == SCENARIO_VERDICTS[name, scenario]


@pytest.mark.parametrize("name", BY_FIGURES)
def test_case_is_realistic(name: str, demos: Demos) -> None:
    # ISGOTT 5th edition 11.1.7.8: 7 m/s for a static accumulator; a liquid that does not boil before
    # anything happens; shore lines and hoses that bear the shut-off pressure.
    lineup = demos[name].case.lineup
    assert all(f.verdict == WITHIN for f in demos[name].answer.static)
    for run in demos[name].answer.scenarios:
        for element in run.elements:
            assert element.figures is None or abs(element.figures.velocity) <= 7.0
            assert element.steady_low > lineup.vapour_gauge + 0.1e5


def test_start_of_loading_keeps_1_m_s_at_every_inlet(demos: Demos) -> None:
    # ISGOTT 5th edition 11.1.7: not more than 1 m/s at each tank inlet at the start
    run = demos["gasoline-drop-lines"].run_of("start of loading")
    inlets = [e.figures.velocity for e in run.elements if e.name.endswith("drop line") and e.figures]
    assert len(inlets) == 3
    assert max(inlets) <= 1.0


def test_without_a_shut_off_pressure_nothing_is_decided() -> None:
    path = CASES / "shore-line-of-unknown-length.toml"
    text = path.read_text(encoding="utf-8").replace('shut_off_pressure = "6.5 bar(g)"\n', "")
    lineup = read_case(text, filename="t").lineup
    pipes = tuple(replace(p, length_range=None) for p in lineup.pipes)
    assert assess(lineup.with_(pipes=pipes)).exit_code == 4


# --- steady flow against scipy and fluids -------------------------------------------------------------

STEADY = [(name, s["name"]) for name in BY_FIGURES for s in tables_of(name)["scenario"]]


@pytest.mark.parametrize(("name", "scenario"), STEADY)
def test_steady_pressures_against_scipy(name: str, scenario: str, demos: Demos) -> None:
    lineup = demos[name].case.lineup
    lineup = at_shares(lineup, [1.0] * len(ranges_of(lineup)))  # the oracle has the longest length too
    story = next(s for s in lineup.scenarios if s.name == scenario)
    steady = plan(lineup, replace(story, shut_at_start=(), trapped=())).steady
    heads, flows = demos[name].oracle.steady(scenario)
    made = {p: demos[name].oracle.pressure(h, p) for p, h in heads.items()}
    # Same equations, other library, other method: to rounding; 1 Pa is 0.000 01 bar.
    rho_g = lineup.liquid.density * G
    got = {p.name: rho_g * (steady.head[p.name] - p.elevation) for p in lineup.points}
    assert got == pytest.approx(made, abs=1.0)
    assert {n: steady.flow[n] for n in flows} == pytest.approx(flows, abs=1e-9)


# --- figures for the pocket calculator ----------------------------------------------------------------


@pytest.mark.parametrize("name", BY_FIGURES)
def test_wave_speeds_travel_times_and_instant_stop_rises(name: str, demos: Demos) -> None:
    hand = demos[name].oracle
    for run in demos[name].answer.scenarios:
        for element in run.elements:
            if element.figures is None:
                continue
            got = element.figures
            assert got.wave_speed == pytest.approx(hand.wave_speed(element.name), rel=1e-12)
            assert got.velocity == pytest.approx(got.flow / hand.area(element.name), rel=1e-12)
            assert got.instant_stop == pytest.approx(hand.instant_stop(element.name, got.flow), rel=1e-12)
            if element.name not in {t.subject for t in run.taken}:
                assert got.travel_time == pytest.approx(hand.travel_time(element.name), rel=1e-12)


@pytest.mark.parametrize(
    ("line", "by_hand"),
    [
        # 12 inch standard wall, gasoline K = 740 * 1250**2 = 1.15625 GPa:
        # 1250/sqrt(1 + 1.15625/207 * 0.91 * 304.8/9.53) = 1250/sqrt(1.16257) = 1159.3
        ("shore line", 1159.3),
        # swell 0.5 % at 10 bar: 1/sqrt(740 * (1/1.15625e9 + 0.005/1e6)) = 480.0
        ("cargo hose", 480.0),
    ],
)
def test_wave_speed_worked_by_hand(line: str, by_hand: float, demos: Demos) -> None:
    run = demos["gasoline-drop-lines"].run_of("topping off")
    figures = next(e.figures for e in run.elements if e.name == line)
    assert figures is not None
    assert figures.wave_speed == pytest.approx(by_hand, abs=0.05)


def test_pipeline_period_by_hand(demos: Demos) -> None:
    # 4000 m at 1194 m/s and 180 m at 650 m/s, there and back
    hand = demos["crude-sea-line"].oracle
    period = 2 * (4000 / hand.wave_speed("sea line") + 180 / 650)
    run = demos["crude-sea-line"].run_of("manifold valve shut by mistake")
    (got,) = (p for p in run.periods if p.valve == "manifold valve")
    assert got.upstream == pytest.approx(period, rel=1e-12)
    assert period == pytest.approx(7.254, abs=5e-4)


# --- shut-off -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [n for n in BY_FIGURES if "pump" in tables_of(n)])
def test_static_pressure_is_shut_off_head_on_the_lower_end(name: str, demos: Demos) -> None:
    hand = demos[name].oracle
    checked = 0
    for finding in demos[name].answer.static:
        if finding.subject == "element" and any(finding.name == e["name"] for e in hand.lines):
            line = hand.line(finding.name)
            lower = min((line["from"], line["to"]), key=hand.elevation)
            head = hand.shut_off_head(before_pump=line["to"] in {p["from"] for p in hand.pumps})
            assert finding.value == pytest.approx(hand.pressure(head, lower), abs=1.0)
            checked += 1
    assert checked >= 2


def test_slow_closure_ends_at_shut_off_pressure(demos: Demos) -> None:
    # Gasoline topping off, 4P shut for good at 80 s: 48 m of pump and 14 m of tank, on 4.6 m of
    # elevation, 740 * g * 57.4 m = 4.165 bar. A non-return valve keeps in the line what the surge put
    # there above it; without one the waves run to and fro about the shut-off pressure.
    name, scenario = "gasoline-drop-lines", "topping off"
    lineup = demos[name].case.lineup
    (pump,) = lineup.pumps
    (story,) = (s for s in lineup.scenarios if s.name == scenario)
    free = simulate(lineup.with_(pumps=(replace(pump, non_return=False),)), story, quick=True)
    shut_off = 740 * G * (48 + 14 - 4.6)
    # The mean over six full cycles of 4.46 s; the swing itself is 0.5 bar and dies away slowly.
    assert _late_mean(free, "4P valve inlet") == pytest.approx(shut_off, abs=0.03e5)
    kept = _late_mean(demos[name].run_of(scenario), "4P valve inlet")
    assert shut_off < kept < peak_at(demos[name].run_of(scenario), "4P valve inlet").pressure


def _late_mean(run: ScenarioResult, point: str) -> float:
    late = run.history.time > run.history.time[-1] - 6 * 4.46
    return float(np.mean(run.history.pressure[point][late]))


def test_restart_begins_at_shut_off_pressure_and_ends_at_the_agreed_rate(demos: Demos) -> None:
    run = demos["restart-into-a-shut-deck-line"].run_of("right order, slow")
    # 66 m of pump and 13 m of tank on 5 m: 845 * g * 74 m = 6.132 bar
    assert steady_at(run, "berth") == pytest.approx(845 * G * (66 + 13 - 5), abs=1.0)
    # The throttle still stands where it gives 400 m3/h; 1 % for what has not died away yet.
    assert run.history.flow["manifold valve"][-1] == pytest.approx(400 / 3600, rel=0.01)


def test_trapped_pressure_is_hydrostatic_in_the_shut_in_part(demos: Demos) -> None:
    # 0 bar(g) at 6.5 m, so 845 * g * 1 m at 5.5 m
    run = demos["restart-into-a-shut-deck-line"].run_of("wrong order, quick")
    assert steady_at(run, "deck line inlet") == pytest.approx(0.0, abs=1.0)
    assert steady_at(run, "drop valve inlet") == pytest.approx(845 * G, abs=1.0)


# --- shutdown times -----------------------------------------------------------------------------------


def test_shutdown_chain_adds_up(demos: Demos) -> None:
    # linked: 5 + 2 detection + 1 signal + 15 pump + 28 shore valve + 20 ship valve = 71 s
    linked = demos["kerosene-shutdown-linked-and-not"].run_of("linked")
    assert linked.last_event == pytest.approx(71.0)
    assert linked.timing == (("detection", 2.0), ("signal", 1.0))
    # not linked: ship valve 8 + 20 = 28 s; shore 8 + 20 voice + 15 + 28 = 71 s
    loose = demos["kerosene-shutdown-linked-and-not"].run_of("not linked")
    assert loose.last_event == pytest.approx(71.0)
    flow, time = loose.history.flow["manifold valve"], loose.history.time
    assert np.all(flow[time > 28.05] == 0.0)
    assert flow[np.searchsorted(time, 27.9)] > 0.0


# --- what the texts say -------------------------------------------------------------------------------


def test_readme_names_every_key_of_a_case() -> None:
    text = (CASES / "README.md").read_text(encoding="utf-8")
    named = vars(schema) | vars(schema_parts) | vars(schema_scenarios)
    models = [m for m in named.values() if isinstance(m, type) and issubclass(m, tables.FileTable)]
    keys = {key for model in models for key in tables.keys_of(model)}
    lists = {
        "points",
        "tank",
        "supply",
        "pump",
        "pipe",
        "hose",
        "arm",
        "valve",
        "passage",
        "relief_valve",
        "surge_drum",
        "open_vessel",
        "non_return_valve",
        "scenario",
        "filling",
        "event",
        "reading",
    }
    plain = (
        keys
        - lists
        - {
            *(
                "step",
                "shutdown",
                "show",
                "site",
                "calculation",
                "liquid",
                "limits",
                "rate",
                "berth",
                "rules",
                "bands",
            )
        }
    )
    assert len(plain) > 60
    assert sorted(key for key in plain if f"`{key}`" not in text) == []
    assert sorted(key for key in keys - plain if not re.search(rf"\[[a-z.]*{key}\b", text)) == []


def test_readme_of_the_cases_gives_every_file_and_its_exit_code() -> None:
    text = (CASES / "README.md").read_text(encoding="utf-8")
    told = {m[1]: int(m[2]) for m in re.finditer(r"^\| `(.+)\.toml` \|.*\| (\d) \|$", text, re.MULTILINE)}
    assert told == {name: EXIT_CODE[verdict] for name, verdict in VERDICTS.items()}

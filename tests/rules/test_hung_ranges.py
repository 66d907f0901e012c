"""Relief valves and drums whose figures are ranges: judged by the worst over all of them."""

from __future__ import annotations

import itertools

import pytest
from support.demos import CASES

from surge.case.file import read_case
from surge.errors import CaseError
from surge.hydraulics.fixed import at_shares
from surge.model.lineup import LineUp
from surge.model.ranges import narrowed, ranges_of
from surge.rules.assess import assess
from surge.rules.findings import UNDECIDED, WITHIN
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate

GRID = (0.0, 0.25, 0.5, 0.75, 1.0)


def demo(name: str, *changes: tuple[str, str]) -> LineUp:
    text = (CASES / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return read_case(text, filename="case.toml").lineup


def relieved(opens: str = '["7.3 bar(g)", "7.7 bar(g)"]', kv: str = '["100 m3/h", "130 m3/h"]') -> LineUp:
    return demo(
        "kerosene-relief-valve",
        ('set_pressure = "7.5 bar(g)"', f"set_pressure = {opens}"),
        ('kv = "120 m3/h"', f"kv = {kv}"),
    )


def cushioned(gas: str = '["1.5 m3", "2.2 m3"]', exponent: str = "[1.0, 1.4]") -> LineUp:
    return demo(
        "naphtha-surge-drum",
        ('gas_volume = "2 m3"', f"gas_volume = {gas}"),
        ("gas_exponent = 1.2", f"gas_exponent = {exponent}"),
    )


def over_grid(lineup: LineUp) -> list[ScenarioResult]:
    """Single marches all over the ranges."""
    points = itertools.product(GRID, repeat=len(ranges_of(lineup)))
    fixed = (at_shares(lineup, shares) for shares in points)
    return [simulate(one, one.scenarios[0], quick=True) for one in fixed]


def test_figures_in_brackets_are_ranges() -> None:
    (valve,) = relieved().relief_valves
    assert valve.set_range == pytest.approx((7.3e5, 7.7e5))
    assert valve.set_pressure == pytest.approx(7.5e5)
    assert valve.kv_range == (100.0, 130.0)
    (drum,) = cushioned().surge_drums
    assert drum.gas_range == (1.5, 2.2)
    assert drum.exponent_range == (1.0, 1.4)
    told = [(r.whose, r.words) for r in (*ranges_of(relieved()), *ranges_of(cushioned()))]
    assert told == [
        ('set pressure of "berth relief valve"', "7.30 to 7.70 bar(g)"),
        ('Kv of "berth relief valve"', "100 to 130 m3/h"),
        ('gas volume of "jetty drum"', "1.5 to 2.2 m3"),
        ('gas exponent of "jetty drum"', "1 to 1.4"),
    ]
    one = at_shares(relieved(), (0.0, 1.0)).relief_valves[0]
    assert (one.set_pressure, one.kv) == (pytest.approx(7.3e5), 130.0)
    assert one.set_range is None
    assert one.kv_range is None


@pytest.mark.parametrize("lineup", [relieved(), cushioned()], ids=["relief valve", "drum"])
def test_no_point_of_the_ranges_is_worse_than_what_is_told(lineup: LineUp) -> None:
    answer = assess(lineup)
    assert answer.verdict == WITHIN
    runs = over_grid(lineup)
    for k, element in enumerate(runs[0].elements):
        told = max(r.elements[k].highest.pressure + r.elements[k].highest.error for r in answer.scenarios)
        worst = max(run.elements[k].highest.pressure for run in runs)
        # Single marches are at twice the step: 1 kPa.
        assert worst <= told + 1e3, element.name


def test_what_is_spilled_and_what_gas_is_left_is_told_over_the_ranges() -> None:
    lineup = relieved()
    told = [r.relief_valves[0] for r in assess(lineup).scenarios]
    most = max(run.relief_valves[0].passed for run in over_grid(lineup))
    assert most > 1.02 * told[0].passed  # more than at the points of the full runs
    assert most <= max(r.passed + r.passed_error for r in told)
    lineup = cushioned()
    drums = [r.surge_drums[0] for r in assess(lineup).scenarios]
    runs = over_grid(lineup)
    assert min(run.surge_drums[0].least for run in runs) >= min(d.least - d.least_error for d in drums)
    assert max(run.surge_drums[0].most for run in runs) <= max(d.most + d.most_error for d in drums)


def test_a_drum_that_is_emptied_somewhere_in_the_range_cannot_be_decided() -> None:
    lineup = cushioned('["1.5 m3", "3.95 m3"]', "1.2")
    usual = at_shares(lineup, (0.5,))
    assert simulate(usual, usual.scenarios[0], quick=True).undecided == ()
    answer = assess(lineup)
    assert answer.verdict == UNDECIDED
    assert any("is emptied" in f.reason for f in answer.findings)


def test_what_does_not_fit_at_one_end_of_its_range_is_refused() -> None:
    lineup = relieved('["0.5 bar(g)", "7.7 bar(g)"]', '"120 m3/h"')
    with pytest.raises(CaseError) as refused:
        assess(lineup)
    assert refused.value.faults[0].path == ("relief_valve", 0, "set_pressure")
    assert "before anything moves" in refused.value.faults[0].found


@pytest.mark.parametrize(
    ("made", "found"),
    [
        (lambda: relieved('["7.7 bar(g)", "7.3 bar(g)"]'), '"7.7 bar(g)" to "7.3 bar(g)"'),
        (lambda: relieved('["7.3 bar(g)", "9 bar(g)"]'), "8.6 bar(g)"),
        (lambda: relieved('["0.1 bar(g)", "7.7 bar(g)"]'), "0.1 bar(g)"),
        (lambda: cushioned('["1.5 m3", "4.2 m3"]'), "4.2 m3"),
        (lambda: cushioned('["1.5 m3", "2 m3"]', "[1.4, 1.0]"), '"1.4" to "1"'),
    ],
)
def test_ranges_that_cannot_be_are_refused(made: object, found: str) -> None:
    assert callable(made)
    with pytest.raises(CaseError) as refused:
        made()
    assert any(found in fault.found for fault in refused.value.faults)
    assert all(fault.remedy for fault in refused.value.faults)


def test_a_range_can_be_narrowed() -> None:
    lineup = relieved()
    opens, kv = ranges_of(lineup)
    assert narrowed(lineup, opens, 7.4e5, 7.6e5).relief_valves[0].set_range == (7.4e5, 7.6e5)
    assert narrowed(lineup, kv, 110.0, 120.0).relief_valves[0].kv_range == (110.0, 120.0)
    gas, exponent = ranges_of(cushioned())
    assert narrowed(cushioned(), gas, 1.6, 1.8).surge_drums[0].gas_range == (1.6, 1.8)
    assert narrowed(cushioned(), exponent, 1.1, 1.2).surge_drums[0].exponent_range == (1.1, 1.2)

"""A discharge: what gives and what receives change places, and everything that goes by them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.demos import CASES, Demos
from support.rulings import the

import surge
from surge.api.outline import outline
from surge.errors import CaseError
from surge.hydraulics.steady import head_of_tank
from surge.model.lineup import LineUp, Supply
from surge.model.topology import pipeline_period
from surge.model.validation import checked
from surge.reports.words import from_shore_end
from surge.rules.ground import NOT_KEPT
from surge.sheet.layout import layout_of
from surge.views.facts import changes, facts_of
from surge.views.line import line_picture

NAME = "gas-oil-discharge-two-pumps"
TEXT = (CASES / f"{NAME}.toml").read_text(encoding="utf-8")


@pytest.fixture
def lineup(demos: Demos) -> LineUp:
    return demos[NAME].case.lineup


def as_loading(lineup: LineUp) -> LineUp:
    return lineup.with_(berth=replace(lineup.berth, operation="loading"))


def test_what_gives_and_what_receives_change_places(lineup: LineUp) -> None:
    loading = as_loading(lineup)
    assert lineup.discharges
    assert not loading.discharges
    assert [t.side for t in lineup.giving] == ["ship"]
    assert [t.side for t in lineup.receiving] == ["shore"]
    assert lineup.giving == loading.receiving
    assert lineup.receiving == loading.giving
    assert lineup.sources == ("tank bell",)
    assert loading.sources == ("tank inlet",)


def test_the_period_of_a_valve_goes_to_the_tank_that_feeds_it(lineup: LineUp) -> None:
    """The shore's tank valve stops liquid all the way from the ship's tank: by hand, twice every travel."""
    valve = next(v for v in lineup.valves if v.name == "shore tank valve")
    period = pipeline_period(lineup, valve, flow=0.4)
    way = ("shore line", "unloading arm", "deck line", "riser 1", "suction line")
    times = {p.name: p.travel_time for p in lineup.pipes}
    assert period.reflects_at == "centre tank 4"
    assert period.upstream == pytest.approx(2 * sum(times[name] for name in way), rel=1e-12)


def test_only_a_tank_that_receives_is_a_free_outfall(lineup: LineUp) -> None:
    shore = replace(lineup.receiving[0], level=1.0)  # below its inlet
    assert head_of_tank(lineup, shore) == pytest.approx(2.0, abs=1e-9)
    with pytest.raises(CaseError, match="below the outlet of the tank"):
        checked(lineup.with_(tanks=(replace(lineup.giving[0], level=-7.0), *lineup.receiving)))
    checked(lineup.with_(tanks=(shore, *lineup.giving)))


def test_head_that_the_shore_holds_against_the_ship_is_not_head_to_discharge_by(lineup: LineUp) -> None:
    """Beyond the shut-off head of the pumps nothing flows; a supply takes the cargo, and drives none."""
    shore, ship = lineup.receiving[0], lineup.giving[0]
    high = ship.level + 1.1 * sum(pump.curve[0][1] for pump in lineup.pumps)
    pressure = lineup.liquid.density * lineup.gravity * high
    supply = Supply(name="far end", point=shore.point, pressure=pressure, shut_off=None)
    for higher in (
        lineup.with_(tanks=(ship, replace(shore, level=high))),
        lineup.with_(tanks=(ship,), supplies=(supply,)),
    ):
        with pytest.raises(CaseError) as caught:
            checked(higher)
        (fault,) = caught.value.faults
        assert fault.expected.endswith("the lowest head at which the shore takes anything")


def test_rules_on_filling_are_for_the_shore_tank(demos: Demos) -> None:
    rulings = demos[NAME].answer.rulings
    filled = {r.subject for r in rulings if r.rule.id == "overfill-time" and r.subject}
    assert filled == {"shore tank 5"}
    small = TEXT.replace('ullage = "900 m3"', 'ullage = "5 m3"')
    assert small != TEXT
    answer = surge.check(surge.read_case(small, filename="small.toml"), remedies=False)
    over = [r for r in answer.rulings if r.subject == "shore tank 5" and r.outcome == NOT_KEPT]
    assert over
    assert all("shore tank 5" in r.words for r in over)
    assert answer.exit_code == 3


def test_the_shores_valves_alone_stop_the_flow(demos: Demos) -> None:
    """Closed form: detection does not count; a signal of 1 s and a stroke of 25 s."""
    answer = demos[NAME].answer
    ruling = the(tuple(r for r in answer.rulings if r.scenario == "emergency shutdown"), "stop-flow-time")
    assert ruling.value == pytest.approx(26.0)


def test_the_line_is_drawn_from_the_ship_to_the_shore(demos: Demos) -> None:
    answer = surge.check(CASES / f"{NAME}.toml", remedies=False)
    picture = line_picture(answer.subject("shore valve shuts"), None)
    assert (picture.way.points[0], picture.way.points[-1]) == ("tank bell", "tank inlet")
    assert "at its shore end" in " ".join(answer.text().split())  # where the valve that shuts stands
    run = answer.run_of(answer.weakest)
    assert run is not None
    line = next(e for e in run.elements if e.name == "shore line")
    assert from_shore_end(line, 1400.0) == pytest.approx(0.0, abs=1e-9)
    assert from_shore_end(line, 0.0) == pytest.approx(1400.0)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('operation = "discharge"', 'operation = "unloading"', "unloading"),
        ('side = "ship"', 'side = "shore"', "no tank of the ship that is discharged"),
        ('side = "shore"\nlevel', 'side = "ship"\nlevel', "no shore tank that receives"),
    ],
)
def test_a_discharge_that_is_none_is_refused(old: str, new: str, found: str) -> None:
    text = TEXT.replace(old, new, 1)
    assert text != TEXT
    with pytest.raises(CaseError) as caught:
        surge.read_case(text, filename="none.toml")
    assert any(found in fault.found for fault in caught.value.faults)
    assert all(fault.remedy for fault in caught.value.faults)


def test_the_sheet_says_discharge_and_a_comparison_that_it_differs(lineup: LineUp) -> None:
    sheet = surge.make_sheet(CASES / f"{NAME}.toml", window=False)
    assert sheet.document()["operation"] == "discharge"
    assert b"tanker discharge: pressure surge" in sheet.file("html")
    found = changes(facts_of(lineup), facts_of(as_loading(lineup)))
    told = [(c.quantity, c.before and c.before.value, c.after and c.after.value) for c in found]
    assert told == [("operation", "discharge", "loading")]


def test_the_shore_stays_on_the_left_on_the_sheet_and_on_the_page(lineup: LineUp) -> None:
    column = layout_of(lineup).column
    assert column["tank inlet"] == 0
    assert column["tank bell"] == max(column.values())
    assert {name: at[0] for name, at in outline(TEXT, filename="case.toml").drawing.points.items()} == column

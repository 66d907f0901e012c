"""What hangs on a point of a case: how it is read, and what is refused with line, key and remedy."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from support.inputs.case_text import STARTER, case, changed, line_of, records

from surge.case.file import read_case
from surge.case.stages import _acts
from surge.errors import CaseError
from surge.hydraulics.steady import steady_state
from surge.model.stroke import with_strokes

RELIEF = """[[relief_valve]]
name = "berth relief"
at = "berth"
set_pressure = "8 bar(g)"
full_lift_pressure = "9.5 bar(g)"
kv = "300 m3/h"
opening_time = "0.2 s"
back_pressure = "0.3 bar(g)"

"""
FIRST = "[[scenario]]\n"
WITH = (FIRST, RELIEF + FIRST)


def test_a_relief_valve_is_read() -> None:
    (relief,) = case(WITH).lineup.relief_valves
    assert (relief.name, relief.point) == ("berth relief", "berth")
    assert (relief.set_pressure, relief.full_pressure) == pytest.approx((8e5, 9.5e5))
    assert (relief.kv, relief.opening_time, relief.back_pressure) == pytest.approx((300.0, 0.2, 0.3e5))
    by_cv = case(WITH, ('kv = "300 m3/h"\nopening', 'cv = "346.83 gpm"\nopening')).lineup.relief_valves[0]
    assert by_cv.kv == pytest.approx(300.0, rel=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "key", "found"),
    [
        ('kv = "300 m3/h"\nopening', 'kv = "0 m3/h"\nopening', "kv", '"0 m3/h"'),
        ('kv = "300 m3/h"\nopening', "opening", "kv", "neither kv nor cv"),
        ('"9.5 bar(g)"', '"8 bar(g)"', "full_lift_pressure", "8 bar(g)"),
        ('"8 bar(g)"\nfull', '"0.2 bar(g)"\nfull', "set_pressure", "0.2 bar(g)"),
        ('at = "berth"\nset', 'at = "bert"\nset', "at", '"bert"'),
        ('"0.2 s"', '"-1 s"', "opening_time", '"-1 s"'),
    ],
)
def test_what_is_wrong_is_told_with_line_and_remedy(old: str, new: str, key: str, found: str) -> None:
    text = changed(WITH, (old, new))
    (fault,) = records(text)
    assert found in fault.found
    assert fault.remedy
    first = line_of(text, "[[relief_valve]]")
    lines = text.split("\n")[first - 1 : first + 8]
    at = next((i for i, line in enumerate(lines) if line.startswith(f"{key} ")), 0)
    assert fault.line == first + at


@pytest.mark.parametrize("key", ["opening_time", "back_pressure", "full_lift_pressure"])
def test_nothing_of_it_is_taken_for_granted(key: str) -> None:
    """A valve that follows at once, or opens to nothing, looks better than it is."""
    line = next(line for line in RELIEF.split("\n") if line.startswith(key))
    (fault,) = records(changed(WITH, (f"{line}\n", "")))
    assert key in fault.found + fault.expected


DRUM = """[[surge_drum]]
name = "berth drum"
at = "berth"
volume = "2 m3"
gas_volume = "0.5 m3"
gas_exponent = 1.2
neck_loss_factor = 1.5
neck_diameter = "150 mm"

[[open_vessel]]
name = "standpipe"
at = "tank outlet"
inside_diameter = "1.5 m"
rim = "25 m"

"""
CUSHIONED = (FIRST, DRUM.replace('at = "tank outlet"', 'at = "shore line inlet"') + FIRST)


def test_a_drum_and_an_open_vessel_are_read() -> None:
    lineup = case(CUSHIONED).lineup
    (drum,), (vessel,) = lineup.surge_drums, lineup.open_vessels
    assert (drum.volume, drum.gas_volume, drum.exponent, drum.charge) == (2.0, 0.5, 1.2, None)
    # K = 1.5 on 150 mm: dp = K rho v^2/2, so that 1 bar of water gives v = sqrt(200/1.5) m/s.
    assert drum.neck_kv == pytest.approx(3600 * math.pi / 4 * 0.15**2 * math.sqrt(200 / 1.5), rel=1e-6)
    assert vessel.area == pytest.approx(math.pi / 4 * 1.5**2)
    assert vessel.rim == 25.0
    bare = case(CUSHIONED, ('neck_loss_factor = 1.5\nneck_diameter = "150 mm"\n', "")).lineup
    assert math.isinf(bare.surge_drums[0].neck_kv)
    assert any(a.subject == "berth drum" and a.quantity == "loss of the neck" for a in bare.assumed)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('"0.5 m3"', '"0 m3"', '"0 m3"'),
        ('"0.5 m3"', '"2.5 m3"', "2.5 m3"),
        ("gas_exponent = 1.2", "gas_exponent = 0.5", "0.5"),
        ("neck_loss_factor = 1.5\n", "", "neck_diameter without neck_loss_factor"),
        ('rim = "25 m"', 'rim = "-20 m"', "-20 m"),
        ('name = "standpipe"\nat = "shore line inlet"', 'name = "standpipe"\nat = "berth"', "hangs already"),
    ],
)
def test_what_is_wrong_with_a_cushion_is_told(old: str, new: str, found: str) -> None:
    faults = records(changed(CUSHIONED, (old, new)))
    assert any(found in fault.found for fault in faults)
    assert all(fault.line and fault.remedy for fault in faults)


def test_a_drum_charged_above_the_working_pressure_is_refused() -> None:
    text = changed(CUSHIONED, ("gas_exponent", 'charge_pressure = "9 bar(g)"\ngas_exponent'))
    lineup = read_case(text, filename="case.toml").lineup
    with pytest.raises(CaseError) as caught:
        steady_state(lineup, lineup.scenarios[0])
    assert ("surge_drum", 0, "charge_pressure") in [fault.path for fault in caught.value.faults]


CHECK = """[[non_return_valve]]
name = "berth check"
from = "berth"
to = "berth, behind the check"
kv = "2000 m3/h"
reverse_flow = "20 m3/h"
delay = "0.1 s"
closing_time = "0.3 s"

[points."berth, behind the check"]
same_elevation_as = "berth"

"""


def _checked_case(*changes: tuple[str, str]) -> str:
    """The starter case with a non-return valve at the berth: what began there begins behind it."""
    text = changed((FIRST, CHECK + FIRST))
    at = text.index('from = "berth"')
    assert text.index("[[non_return_valve]]") > at
    text = text[:at] + 'from = "berth, behind the check"' + text[at + len('from = "berth"') :]
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def test_a_non_return_valve_is_read_and_flows() -> None:
    lineup = read_case(_checked_case(), filename="case.toml").lineup
    (check,) = lineup.non_return_valves
    assert (check.kv, check.delay, check.closing_time) == pytest.approx((2000.0, 0.1, 0.3))
    assert check.reverse_flow == pytest.approx(20 / 3600)
    steady = steady_state(lineup, lineup.scenarios[0])
    assert steady.flow["berth check"] > 0.01
    told = 'kv = "2000 m3/h"\nreverse_flow = "20 m3/h"\ndelay = "0.1 s"\nclosing_time = "0.3 s"\n'
    bare = read_case(_checked_case((told, "")), filename="case.toml").lineup
    assert bare.non_return_valves[0].ideal
    assert {"closing", "loss of the open valve"} <= {
        a.quantity for a in bare.assumed if a.subject == "berth check"
    }


def test_a_closing_time_needs_a_kv() -> None:
    (fault,) = records(_checked_case(('kv = "2000 m3/h"\nreverse', "reverse")))
    assert "closing_time without kv" in fault.found
    assert fault.line


TURNING = """inertia_kg_m2 = 30.0
full_speed_rpm = 1480.0
best_efficiency = 0.8
best_flow = "700 m3/h"
non_return_valve"""
TRIP = """[[scenario]]
name = "trip"

[[scenario.event]]
at = "2 s"
trip = "shore pump"

"""


def test_a_trip_is_read() -> None:
    lineup = case(("non_return_valve", TURNING), (FIRST, TRIP + FIRST)).lineup
    turning = lineup.pumps[0].turning
    assert turning is not None
    assert (turning.inertia, turning.rpm, turning.efficiency) == (30.0, 1480.0, 0.8)
    assert turning.best_flow == pytest.approx(700 / 3600)
    (trip,) = lineup.scenarios[0].trips
    assert (trip.pump, trip.start) == ("shore pump", 2.0)


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ([(FIRST, TRIP + FIRST)], "no inertia"),
        ([("non_return_valve", TURNING), (FIRST, TRIP + FIRST), ("_m2 = 30.0", "_m2 = 0.0")], "0"),
        ([("non_return_valve", TURNING.replace("full_speed_rpm = 1480.0\n", ""))], "no key full_speed_rpm"),
        (
            [("non_return_valve", TURNING), (FIRST, TRIP.replace("shore pump", "shore pmp") + FIRST)],
            "shore pmp",
        ),
        (
            [
                ("non_return_valve", TURNING),
                (FIRST, TRIP.replace('"shore pump"\n', '"shore pump"\nstroke = "3 s"\n') + FIRST),
            ],
            "stroke beside trip",
        ),
    ],
)
def test_what_is_wrong_with_a_trip_is_told(changes: list[tuple[str, str]], found: str) -> None:
    faults = records(changed(*changes))
    assert any(found in fault.found for fault in faults), [fault.found for fault in faults]
    assert all(fault.line and fault.remedy for fault in faults)


def test_no_two_things_have_one_name_and_none_hangs_on_a_tank() -> None:
    twice = records(changed((FIRST, RELIEF + RELIEF + FIRST)))
    assert any("for a second time" in fault.found for fault in twice)
    tank = case().lineup.tanks[0]
    (fault,) = records(changed(WITH, ('at = "berth"\nset', f'at = "{tank.point}"\nset')))
    assert "holds the pressure" in fault.found


def test_one_set_below_the_working_pressure_is_refused_with_its_line() -> None:
    text = changed(WITH, ('"8 bar(g)"\nfull', '"0.4 bar(g)"\nfull'))
    lineup = read_case(text, filename="case.toml").lineup
    with pytest.raises(CaseError) as caught:
        steady_state(lineup, lineup.scenarios[0])
    (fault,) = caught.value.faults
    assert fault.path == ("relief_valve", 0, "set_pressure")
    assert "before anything moves" in fault.found


def _tripping(*changes: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    """The starter case, whose shutdown trips its pump."""
    start = STARTER.index('stop = "shore pump"')
    end = STARTER.index("\n\n", start)
    stop = STARTER[start:end]
    return (("non_return_valve", TURNING), (stop, 'trip = "shore pump"'), *changes)


def test_a_shutdown_can_trip_a_pump() -> None:
    scenario = next(s for s in case(*_tripping()).lineup.scenarios if s.ordered is not None)
    (trip,) = scenario.trips
    timing = dict(scenario.timing)
    assert trip.side == "shore"
    assert trip.start == scenario.ordered + timing["detection"] + timing["signal"]
    assert not scenario.pump_moves
    # What waits for it begins with it, and by how much it waits.
    (move,) = [m for m in scenario.moves if m.after == "shore pump"]
    assert move.start == trip.start
    waits = _tripping(('after = "shore pump" ', 'wait = "3 s"\nafter = "shore pump" '))
    later = next(s for s in case(*waits).lineup.scenarios if s.ordered is not None)
    (move,) = [m for m in later.moves if m.after == "shore pump"]
    assert move.start == later.trips[0].start + 3.0


def test_a_trip_that_waits_for_a_valve_comes_later_with_a_longer_stroke() -> None:
    text = changed(*_tripping())
    first = text.index("[[scenario.shutdown.step]]")
    steps = """[[scenario.shutdown.step]]
side = "ship"
close = "manifold valve"
stroke = "13 s"

[[scenario.shutdown.step]]
side = "shore"
trip = "shore pump"
after = "manifold valve"
wait = "1 s"
"""
    end = text.index('stroke = "8 s"', first) + len('stroke = "8 s"')
    turned = text[:first] + steps + text[end:]
    scenario = next(s for s in read_case(turned, filename="c").lineup.scenarios if s.ordered is not None)
    (trip,) = scenario.trips
    (move,) = [m for m in scenario.moves if m.valve == "manifold valve"]
    assert trip.start == move.start + 13.0 + 1.0
    longer = with_strokes(scenario, {"manifold valve": 20.0})
    assert longer.trips[0].start == trip.start + 7.0


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ((('trip = "shore pump"', 'trip = "shore pump"\nrun_down = "3 s"'),), "run_down beside trip"),
        ((('trip = "shore pump"', 'trip = "shore pump"\nclose = "manifold valve"'),), "trip beside close"),
        ((('trip = "shore pump"', 'trip = "shore pmp"'),), "shore pmp"),
        ((('side = "shore"\ntrip', 'side = "ship"\ntrip'),), "stands on the shore's side"),
    ],
)
def test_what_is_wrong_with_a_trip_of_a_shutdown_is_told(
    changes: tuple[tuple[str, str], ...], found: str
) -> None:
    faults = records(changed(*_tripping(*changes)))
    assert any(found in fault.found for fault in faults), [fault.found for fault in faults]
    assert all(fault.line and fault.remedy for fault in faults)


def test_two_shutdowns_that_differ_in_a_trip_only_are_two() -> None:
    """What is done in a scenario counts its trips: neither stands for the other."""
    lineup = case(*_tripping()).lineup
    tripping = next(s for s in lineup.scenarios if s.ordered is not None)
    assert _acts(tripping) != _acts(replace(tripping, trips=()))
    other = tuple(replace(t, origin=("elsewhere",)) for t in tripping.trips)
    assert _acts(tripping) == _acts(replace(tripping, trips=other))


DRUM_ = """[[surge_drum]]
name = "drum"
at = "berth"
volume = "10 m3"
gas_volume = "4 m3"
gas_exponent = 1.2

"""


@pytest.mark.parametrize(
    ("table", "old", "new", "remedy"),
    [
        (RELIEF, 'kv = "300 m3/h"', 'kv = "0 m3/h"', "leave out a valve that lets nothing through"),
        (RELIEF, 'opening_time = "0.2 s"\n', "", 'opening_time = "0.2 s", with your own figure: the time of'),
        (RELIEF, 'back_pressure = "0.3 bar(g)"\n', "", "0 bar(g) where that is open to the air"),
        (RELIEF, 'set_pressure = "8 bar(g)"\n', "", "from its nameplate"),
        (RELIEF, 'full_lift_pressure = "9.5 bar(g)"\n', "", "10 to 25 % above the set pressure"),
        (DRUM_, 'gas_volume = "4 m3"', 'gas_volume = "0 m3"', "without gas a drum takes nothing in"),
        (
            DRUM_,
            'gas_volume = "4 m3"\n',
            "",
            'gas_volume = "4 m3", with your own figure: what its',
        ),
        (DRUM_, 'gas_volume = "4 m3"', "gas_volume = 4", 'such as "4 m3"'),
        (DRUM_, 'volume = "10 m3"\n', "", "the whole vessel, empty"),
    ],
)
def test_the_remedy_says_where_the_figure_is_found(table: str, old: str, new: str, remedy: str) -> None:
    assert old in table
    (fault,) = records(changed((FIRST, table.replace(old, new, 1) + FIRST)))
    assert remedy in fault.remedy
    assert fault.line


def test_an_efficiency_in_percent_and_no_inertia_are_told_what_to_write() -> None:
    for old, new, remedy in (
        ("best_efficiency = 0.8", "best_efficiency = 80", "it is a share, 0.79 for 79 %"),
        ("inertia_kg_m2 = 30.0", "inertia_kg_m2 = 0", "of pump, coupling and motor together"),
    ):
        (fault,) = records(changed(("non_return_valve", TURNING.replace(old, new))))
        assert remedy in fault.remedy
        assert fault.line

"""Case files: the starter case, every construct of the format, and one bad file per rule of the edge."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from surge.casefaults import label
from surge.casefile import (
    BIGGEST,
    Case,
    case_schema,
    describe,
    format_faults,
    load_case,
    read_case,
    starter_case,
)
from surge.casespec import CaseSpec, keys_of, table_at
from surge.errors import CaseError
from surge.formulas import hose_wave_speed, loss_factor_to_kv, restraint_factor, wave_speed
from surge.reference import MATERIALS, VALVE_CURVES

STARTER = starter_case()
SCHEMA = Path(__file__).parents[1] / "surge" / "schema" / "case.schema.json"


def changed(*changes: tuple[str, str]) -> str:
    """Return the starter case with texts replaced; each must stand there."""
    text = STARTER
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def case(*changes: tuple[str, str]) -> Case:
    """Read the changed starter case."""
    return read_case(changed(*changes), filename="case.toml")


def records(text: str) -> list[Any]:
    """Return the fault records of a faulty text."""
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="case.toml")
    return describe(caught.value.faults, filename="case.toml", text=text)


def line_of(text: str, part: str) -> int:
    """Return the number of the first line that contains ``part``."""
    return next(n for n, line in enumerate(text.split("\n"), start=1) if part in line)


# Good cases


def test_starter_is_valid_and_realistic() -> None:
    read = case()
    lineup = read.lineup
    assert read.sha256 == hashlib.sha256(STARTER.encode()).hexdigest()
    assert [s.name for s in lineup.scenarios] == ["topping off", "emergency shutdown"]
    assert len(lineup.pipes) == 4
    assert {p.kind for p in lineup.pipes} == {"pipe", "hose"}
    for pipe in lineup.pipes:
        assert 200 < pipe.wave_speed < 1300
        assert lineup.rate is not None
        assert lineup.rate.agreed / pipe.area < 7  # [m/s] the usual highest bulk rate of a static accumulator


def test_starter_explains_every_key_it_uses_and_fits_a_terminal() -> None:
    assert all(len(line) <= 120 for line in STARTER.split("\n"))
    assert STARTER.count("#") > 40


def test_units_go_to_si() -> None:
    lineup = case(
        ('agreed = "600 m3/h"', 'agreed = "444 t/h"'),
        ('viscosity = "0.6 mm2/s"', 'viscosity = "0.444 mPa s"'),
        ('level = "14 m"', 'level = "46 ft"'),
        ('inside_diameter = "304.8 mm"', 'inside_diameter = "12 inch"'),
        ('sound_speed = "1180 m/s"', 'bulk_modulus = "1.03 GPa"'),
        ('rating = "16 bar(g)"', 'rating = "17.01325 bar(a)"'),
        ("[show]", '[site]\nbarometer = "1013.25 mbar(a)"\n[show]'),
    ).lineup
    assert lineup.rate is not None
    assert lineup.rate.agreed == pytest.approx(600 / 3600)
    assert lineup.liquid.viscosity == pytest.approx(0.6e-6)
    assert lineup.tanks[0].level == pytest.approx(14.0208)
    assert lineup.pipes[0].diameter == pytest.approx(0.3048)
    assert lineup.liquid.sound_speed == pytest.approx(math.sqrt(1.03e9 / 740))
    assert lineup.valves[0].limits.rating == pytest.approx(16e5)


def test_barometer_moves_absolute_levels() -> None:
    changes = [('blanket = "0.05 bar(g)"', 'blanket = "1.05 bar(a)"')]
    assert case(*changes).lineup.tanks[1].blanket == pytest.approx(1.05e5 - 101325)
    changes.append(("[show]", '[site]\nbarometer = "980 mbar(a)"\n[show]'))
    lineup = case(*changes).lineup
    assert lineup.atmosphere == pytest.approx(98000)
    assert lineup.tanks[1].blanket == pytest.approx(7000)
    assert lineup.vapour_gauge == pytest.approx(35000 - 98000)


def test_defaults_say_where_they_come_from() -> None:
    lineup = case().lineup
    hose = next(p for p in lineup.pipes if p.kind == "hose")
    deck = next(p for p in lineup.pipes if p.name == "deck line")
    assert lineup.pump_top_limit == 8e5
    assert "common practice, no source" in lineup.pump_top_source
    assert deck.limits.lowest is None
    assert deck.limits.allowance == 1.0
    assert (hose.wave_speed_source, deck.roughness) == ("from a swell of 0.5 % at 10 bar", 5e-5)
    bare = case(("lowest_pressure", "# lowest_pressure")) if "\nlowest_pressure" in STARTER else case()
    hose = next(p for p in bare.lineup.pipes if p.kind == "hose")
    assert hose.limits.lowest == 0.0
    assert "may not take vacuum; common practice, no source" in hose.limits.lowest_source


def test_given_limits_say_so() -> None:
    lineup = case(
        ("[rate]", '[limits]\ncargo_pump_top = "6 bar(g)"\ncargo_pump_top_source = "pump manual"\n[rate]'),
        ('[points."berth"]', '[points."berth"]\nlimit = "7 bar(g)"\ncargo_pump_top = true'),
    ).lineup
    assert (lineup.pump_top_limit, lineup.pump_top_source) == (6e5, "pump manual")
    berth = lineup.points_by_name["berth"]
    assert (berth.limit, berth.limit_source, berth.pump_top) == (7e5, "given in the case", True)


def test_wave_speed_of_a_pipe_from_its_wall() -> None:
    """Closed form: the same formula, called by hand."""
    lineup = case().lineup
    steel = MATERIALS["steel"]
    c1 = restraint_factor("anchored throughout", poisson=steel.poisson)
    fields = {
        "density": 740.0,
        "sound_speed": 1180.0,
        "diameter": 0.3048,
        "wall": 9.53e-3,
        "modulus": steel.modulus,
    }
    assert lineup.pipes[0].wave_speed == pytest.approx(wave_speed(**fields, c1=c1), rel=1e-14)
    assert "9.53 mm" in lineup.pipes[0].wave_speed_source
    own = case(
        ('material = "steel"', 'modulus = "100 GPa"'),
        ('restraint = "anchored throughout"', "restraint_factor = 0.91"),
    ).lineup
    fields["modulus"] = 1e11
    assert own.pipes[0].wave_speed == pytest.approx(wave_speed(**fields, c1=0.91), rel=1e-14)
    hose = next(p for p in lineup.pipes if p.kind == "hose")
    by_hand = hose_wave_speed(density=740.0, sound_speed=1180.0, swell=0.005, pressure=1e6)
    assert hose.wave_speed == pytest.approx(by_hand, rel=1e-14)


def test_brittle_material_and_length_range() -> None:
    lineup = case(
        ('material = "steel"', 'material = "cast iron"'),
        ('length = "1200 m"', 'length = ["800 m", "1500 m"]'),
    ).lineup
    assert lineup.pipes[0].brittle
    assert lineup.pipes[0].length_range == (800, 1500)
    assert lineup.pipes[0].length == 1500


def test_arm_passage_supply_and_valve_table() -> None:
    """A line-up with the constructs that the starter case does not have."""
    lineup = case(
        ("[[hose]]", "[[arm]]"),
        ('swell = "0.5 %" ', 'wave_speed = "1000 m/s" #'),
        ("swell_at", "# swell_at"),
        (STARTER[STARTER.index("[[pump]]") : STARTER.index("[[valve]]")], ""),
        (STARTER[STARTER.index("[[tank]]") : STARTER.index('name = "no. 3 port"')], "[[tank]]\n"),
        ('at = "shore control valve"', 'at = "terminal supply"'),
        ('means = "throttle"', 'means = "supply pressure"'),
        (
            "# ---- Ship",
            '[[supply]]\nname = "terminal supply"\nat = "tank outlet"\nshut_off_pressure = "9 bar(g)"\n'
            '[[passage]]\nname = "strainer"\nfrom = "tank outlet"\nto = "pump discharge"\nkind = "fixed loss"\n'
            'loss_factor = 12\ninside_diameter = "250 mm"\n# ',
        ),
        ('characteristic = "butterfly"', "characteristic = [[0, 0], [0.5, 0.2], [1, 1]]"),
        (
            STARTER[STARTER.index('name = "emergency') : STARTER.index("[scenario.shutdown]")],
            'name = "stop"\n',
        ),
        (
            STARTER[STARTER.index("[scenario.shutdown]") :],
            '[[scenario.event]]\nat = "1 s"\nclose = "manifold valve"\nlaw = "step"\n',
        ),
    ).lineup
    assert next(p for p in lineup.pipes if p.kind == "arm").wave_speed_source == "given"
    supply = lineup.supplies[0]
    assert (supply.pressure, supply.shut_off) == (None, 9e5)
    assert lineup.passages[0].kv == pytest.approx(loss_factor_to_kv(12, diameter=0.25))
    valve = next(v for v in lineup.valves if v.name == "manifold valve")
    assert valve.characteristic == ((0, 0), (0.5, 0.2), (1, 1))
    assert lineup.rate is not None
    assert lineup.rate.through == "strainer"  # the only element at the supply that runs on


def test_cv_is_turned_into_kv() -> None:
    assert case(('kv = "2400 m3/h"', 'cv = "2775 gpm"')).lineup.valves[1].kv == pytest.approx(2400, rel=2e-3)


def test_elevations_are_inherited() -> None:
    points = case().lineup.points_by_name
    assert points["shore line inlet"].elevation == points["tank outlet"].elevation == 3.0
    chained = case(
        (
            '[points."shore line inlet"]\nsame_elevation_as = "tank outlet"',
            '[points."shore line inlet"]\nsame_elevation_as = "pump discharge"',
        )
    )
    assert chained.lineup.points_by_name["shore line inlet"].elevation == 3.0


def test_show_units() -> None:
    show = case(('pressure = "bar"', 'pressure = "psi"'), ('diameter = "mm"', 'diameter = "inch"')).show
    assert (show.pressure, show.flow, show.length, show.diameter) == ("psi", "m3/h", "m", "inch")


def test_frozen_friction() -> None:
    assert not case().lineup.frozen_friction
    assert case(("[show]", '[calculation]\nfriction = "frozen"\n[show]')).lineup.frozen_friction


# Scenarios

STROKE = 'stroke = "25 s"           # time of the whole stroke\nlaw = "linear"            # or "two-stage", "step", "table"'


@pytest.mark.parametrize(
    ("keys", "law"),
    [
        ('close = "manifold valve"\nstroke = "20 s"', ((0, 1), (20, 0))),
        ('open = "manifold valve"\nstroke = "20 s"', ((0, 0), (20, 1))),
        ('close = "manifold valve"\nlaw = "step"', ((0, 1), (0, 0))),
        ('open = "manifold valve"\nlaw = "step"', ((0, 0), (0, 1))),
        (
            'close = "manifold valve"\nlaw = "two-stage"\nstroke = "20 s"\nbreak_opening = 0.3\nbreak_time = "8 s"',
            ((0, 1), (8, 0.3), (20, 0)),
        ),
        (
            'open = "manifold valve"\nlaw = "two-stage"\nstroke = "20 s"\nbreak_opening = 0.3\nbreak_time = "8 s"',
            ((0, 0), (8, 0.3), (20, 1)),
        ),
        (
            'move = "manifold valve"\nlaw = "table"\ntable = [["0 s", 1.0], ["10 s", 0.2]]',
            ((0, 1), (10, 0.2)),
        ),
        ('close = "manifold valve"\nlaw = "table"\ntable = [["0 s", 1], ["9 s", 0]]', ((0, 1), (9, 0))),
    ],
)
def test_stroke_laws(keys: str, law: tuple[tuple[float, float], ...]) -> None:
    shut = (
        'shut_at_start = ["manifold valve"]\n\n[[scenario.event]]'
        if keys.startswith("open")
        else "\n[[scenario.event]]"
    )
    scenario = case(
        ('close = "manifold valve"  # close, open or move a valve; stop or start a pump', keys),
        (STROKE, ""),
        ("\n[[scenario.event]]", shut),
    ).lineup.scenarios[0]
    assert scenario.moves[0].law == law
    assert (scenario.moves[0].start, scenario.moves[0].what) == (5.0, "event")


@pytest.mark.parametrize(
    ("keys", "law"),
    [
        ('stop = "shore pump"\nrun_down = "8 s"', ((0, 1), (8, 0))),
        (
            'stop = "shore pump"\nrun_down = [["0 s", 1.0], ["3 s", 0.5], ["9 s", 0.0]]',
            ((0, 1), (3, 0.5), (9, 0)),
        ),
        ('start = "shore pump"\nrun_up = "6 s"', ((0, 0), (6, 1))),
    ],
)
def test_pump_laws(keys: str, law: tuple[tuple[float, float], ...]) -> None:
    scenario = case(
        ('close = "manifold valve"  # close, open or move a valve; stop or start a pump', keys), (STROKE, "")
    ).lineup.scenarios[0]
    assert scenario.pump_moves[0].law == law


def test_shutdown_chain_linked() -> None:
    """Closed form: 5 + 2 + 1 = 8 s; the valve after 8 s of run-down; the last after 25 s of stroke."""
    scenario = case().lineup.scenarios[1]
    assert [(m.pump, m.start, m.what) for m in scenario.pump_moves] == [("shore pump", 8.0, "shutdown")]
    assert [(m.valve, m.start) for m in scenario.moves] == [
        ("manifold valve", 16.0),
        ("shore control valve", 41.0),
    ]
    assert scenario.timing == (("detection", 2.0), ("signal", 1.0))


def test_shutdown_chain_by_voice() -> None:
    """Closed form: given by the ship, so the shore acts 20 s later; wait comes on top."""
    scenario = case(
        ("linked = true ", 'voice_delay = "20 s"\nlinked = false '),
        ('after = "shore pump"', 'wait = "2 s" #'),
        ('after = "manifold valve"', 'after = "manifold valve"\nwait = "3 s"'),
    ).lineup.scenarios[1]
    assert scenario.pump_moves[0].start == 28.0
    assert [(m.valve, m.start) for m in scenario.moves] == [
        ("manifold valve", 10.0),
        ("shore control valve", 38.0),
    ]
    assert scenario.timing == (("detection", 2.0), ("signal", 1.0), ("voice", 20.0))


# Bad cases: changes -> label of the key, text on the line, part of the remedy

BAD: list[tuple[str, list[tuple[str, str]], str, str, str]] = [
    ("decimal comma", [('level = "14 m"', 'level = "14,5 m"')], 'tank "shore tank 7": level', '"14,5 m"', '"14.5 m"'),
    ("no unit", [('level = "14 m"', 'level = "14"')], 'tank "shore tank 7": level', 'level = "14"', "add the unit"),
    ("number", [('level = "14 m"', "level = 14")], 'tank "shore tank 7": level', "level = 14", "in quotes"),
    ("nan", [('level = "14 m"', "level = nan")], 'tank "shore tank 7": level', "level = nan", "in quotes"),
    ("nan text", [('level = "14 m"', 'level = "nan m"')], 'tank "shore tank 7": level', "nan m", "no nan"),
    ("formula", [('level = "14 m"', 'level = "7*2 m"')], 'tank "shore tank 7": level', "7*2", "without spaces"),
    ("wrong unit", [('level = "14 m"', 'level = "14 bar"')], 'tank "shore tank 7": level', "14 bar", "unit of pressure"),
    ("bare bar", [('rating = "16 bar(g)"', 'rating = "16 bar"')], 'valve "shore control valve": rating', "16 bar", "(g)"),
    ("negative", [('length = "80 m"', 'length = "-80 m"')], 'pipe "deck line": length', "-80 m", "cannot be negative"),
    ("too long", [('length = "80 m"', 'length = "8e9 m"')], 'pipe "deck line": length', "8e9", "check the number"),
    ("below vacuum", [('blanket = "0.05 bar(g)"', 'blanket = "-1.1 bar(g)"')], 'tank "no. 3 port": blanket', "-1.1", "vacuum"),
    ("absolute rating", [('rating = "16 bar(g)"', 'rating = "1 bar(a)"')], 'valve "shore control valve": rating', "1 bar(a)", "meant as gauge"),
    ("unknown key", [('length = "80 m"', 'lenght = "80 m"')], 'pipe "deck line": lenght', "lenght", 'did you mean "length"'),
    ("odd key", [('length = "80 m"', 'length = "80 m"\ncolour = 1')], 'pipe "deck line": colour', "colour", "take it out"),
    ("missing key", [('length = "80 m"', "")], 'pipe "deck line": length', "[[pipe]]", 'add length = "'),
    ("missing flag", [("non_return_valve = true", "")], 'pump "shore pump": non_return_valve', "[[pump]]", "= true"),
    ("one bracket", [("[[pump]]", "[pump]")], "pump", "[pump]", "two brackets: [[pump]]"),
    ("two brackets", [("[liquid]", "[[liquid]]")], 'liquid "motor gasoline"', "[[liquid]]", "single brackets"),
    ("scalar for table", [("[show] ", "liquid = 1\n[show] "), ("[liquid]", "[liquit]")], "liquid", "liquid = 1", "under the header"),
    ("text for flag", [("linked = true ", 'linked = "yes" ')], 'scenario "emergency shutdown": shutdown: linked', "yes", "without quotes"),
    ("opening", [('opening = 0', "")] if "opening = 0" in STARTER else [('kv = "2400 m3/h"', 'kv = "2400 m3/h"\nopening = 1.5')], 'valve "manifold valve": opening', "1.5", "from 0 to 1"),
    ("quoted factor", [("minor_loss = 3", 'minor_loss = "3"')], 'pipe "deck line": minor_loss', '"3"', "without quotes"),
    ("nan factor", [("minor_loss = 3", "minor_loss = nan")], 'pipe "deck line": minor_loss', "nan", "nan and inf"),
    ("huge factor", [("minor_loss = 3", f"minor_loss = 1{'0' * 400}")], 'pipe "deck line": minor_loss', "minor_loss", "from 0 to"),
    ("bool factor", [("minor_loss = 3", "minor_loss = true")], 'pipe "deck line": minor_loss', "true", "plain number"),
    ("choice", [('characteristic = "globe"', 'characteristic = "glob"')], 'valve "shore control valve": characteristic', "glob", '"globe"'),
    ("material", [('material = "steel"', 'material = "steal"')], 'pipe "shore line": material', "steal", '"steel"'),
    ("version", [("schema = 1", "schema = 2")], "schema", "schema = 2", "write 1"),
    ("version type", [("schema = 1", "schema = true")], "schema", "schema = true", "write 1"),
    ("control character", [('name = "deck line"', 'name = "deck\\u001bline"')], 'pipe "deck\\x1bline": name', "u001b", "control characters"),
    ("empty name", [('name = "deck line"', 'name = ""')], 'pipe "": name', 'name = ""', "write it"),
    ("row of one", [('["400 m3/h", "64 m"]', '["400 m3/h"]')], 'pump "shore pump": curve, row 2', "400", "two values"),
    ("row of three", [('["400 m3/h", "64 m"]', '["400 m3/h", "64 m", 1]')], 'pump "shore pump": curve, row 2', "400", "two values"),
    ("cell", [('["400 m3/h", "64 m"]', '["400 m3/h", "64 bar"]')], 'pump "shore pump": curve, row 2, column 2', "64 bar", "a length"),
    ("table for list", [('curve = [["0 m3/h", "70 m"], ["400 m3/h", "64 m"], ["800 m3/h", "46 m"]]', 'curve = "70 m"')], 'pump "shore pump": curve', "70 m", "list in brackets"),
    ("no elevation", [('elevation = "8 m"', "")], 'point "drop line valve inlet": elevation', "drop line valve inlet", "add elevation"),
    ("two elevations", [('elevation = "8 m"', 'elevation = "8 m"\nsame_elevation_as = "berth"')], 'point "drop line valve inlet": same_elevation_as', "berth", "out"),
    ("elevation of none", [('same_elevation_as = "manifold"', 'same_elevation_as = "manifol"')], 'point "deck line inlet": same_elevation_as', "manifol", 'did you mean "manifold"'),
    ("elevation circle", [('elevation = "3 m"', 'same_elevation_as = "pump discharge"')], 'point "pump discharge": same_elevation_as', "same_elevation_as", "give one of these"),
    ("two sound speeds", [('sound_speed = "1180 m/s"', 'sound_speed = "1180 m/s"\nbulk_modulus = "1 GPa"')], 'liquid: bulk_modulus', "bulk_modulus", "out"),
    ("no sound speed", [('sound_speed = "1180 m/s"', "")], 'liquid: sound_speed', "[liquid]", "bulk_modulus"),
    ("two kv", [('kv = "2400 m3/h"', 'kv = "2400 m3/h"\ncv = "2775 gpm"')], 'valve "manifold valve": cv', "2775", "out"),
    ("range", [('length = "80 m"', 'length = ["90 m", "80 m"]')], 'pipe "deck line": length', "90 m", "shorter length first"),
    ("no wall", [('wall = "9.53 mm"', "#")], 'pipe "shore line": wall', "[[pipe]]", "add the key wall"),
    ("wall and speed", [('wall = "9.53 mm"', 'wave_speed = "1100 m/s"\nwall = "9.53 mm"')], 'pipe "shore line": wave_speed', "wave_speed =", "or wall and restraint"),
    ("no poisson", [('material = "steel"', 'modulus = "207 GPa"')], 'pipe "shore line": poisson', "[[pipe]]", "poisson = 0.3"),
    ("poisson twice", [('material = "steel"', 'material = "steel"\npoisson = 0.3')], 'pipe "shore line": poisson', "poisson", "take poisson out"),
    ("half a swell", [("swell_at =", "# swell_at =")], 'hose "cargo hose": swell', "swell", "add the key swell_at"),
    ("no speed", [("swell_at =", "# swell_at ="), ("swell =", "# swell =")], 'hose "cargo hose": wave_speed', "[[hose]]", "swell and swell_at"),
    ("law without keys", [('law = "linear"', 'law = "two-stage"\nbreak_time = "5 s"')], 'scenario "topping off": event 1: break_opening', "[[scenario.event]]", "add the key break_opening"),
    ("late break", [('law = "linear"', 'law = "two-stage"\nbreak_time = "50 s"\nbreak_opening = 0.2')], 'scenario "topping off": event 1: break_time', "50 s", "shorter one"),
    ("unused key", [('law = "linear"', 'law = "step"')], 'scenario "topping off": event 1: stroke', "stroke", "take stroke out"),
    ("pump with stroke", [('run_down = "8 s"', 'run_down = "8 s"\nstroke = "5 s"')], 'scenario "emergency shutdown": shutdown: step 1: stroke', "stroke", "take stroke out"),
    ("no run-down", [("run_down", "# run_down")], 'scenario "emergency shutdown": shutdown: step 1: run_down', "step]]", "run_down"),
    ("half run-down", [('run_down = "8 s"', 'run_down = [["0 s", 1.0], ["8 s", 0.5]]')], 'scenario "emergency shutdown": shutdown: step 1: run_down', "run_down", "end at 0.0"),
    ("half closed", [(STROKE, 'law = "table"\ntable = [["0 s", 1.0], ["9 s", 0.1]]')], 'scenario "topping off": event 1: table', "table", "write move"),
    ("move by stroke", [('close = "manifold valve"  #', 'move = "manifold valve" #')], 'scenario "topping off": event 1: law', "law", "table"),
    ("idle event", [('close = "manifold valve"  #', "#")], 'scenario "topping off": event 1: close', "[[scenario.event]]", "add one"),
    ("two verbs", [('close = "manifold valve"  #', 'close = "manifold valve"\nopen = "drop line valve" #')], 'scenario "topping off": event 1: open', "open", "one entry for close and one for open"),
    ("voice", [("linked = true ", "linked = false ")], 'scenario "emergency shutdown": shutdown: voice_delay', "[scenario.shutdown]", "voice_delay"),
    ("after", [('after = "shore pump"', 'after = "shore pum"')], 'scenario "emergency shutdown": shutdown: step 2: after', "shore pum", '"shore pump"'),
    ("after later", [('after = "shore pump"', 'after = "shore control valve"')], 'scenario "emergency shutdown": shutdown: step 2: after', "after", "earlier ones first"),
    ("source alone", [('[points."berth"]', '[points."berth"]\nlimit_source = "manual"')], 'point "berth": limit_source', "manual", "add the key limit"),
    ("bore alone", [('kv = "2400 m3/h"', 'kv = "2400 m3/h"\ninside_diameter = "1 m"')], 'valve "manifold valve": inside_diameter', "1 m", "take it out"),
    ("supply", [("# ---- Ship", '[[supply]]\nname = "s"\nat = "berth"\n# ')], 'supply "s": pressure', "[[supply]]", "add the key pressure"),
    ("barometer", [("[show]", '[site]\nbarometer = "1013 mbar"\n[show]')], "site: barometer", "1013 mbar", "mbar(a)"),
    ("show", [('pressure = "bar"', 'pressure = "atm"')], "show: pressure", "atm", '"bar"'),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "key", "on_line", "remedy"), [row[1:] for row in BAD], ids=[r[0] for r in BAD]
)
def test_bad(changes: list[tuple[str, str]], key: str, on_line: str, remedy: str) -> None:
    text = changed(*changes)
    matching = [r for r in records(text) if r.key == key]
    assert matching, [r.key for r in records(text)]
    record = matching[0]
    assert on_line in record.source
    assert record.source == text.split("\n")[record.line - 1]
    assert remedy in record.remedy
    assert record.found and record.expected


@pytest.mark.parametrize(("changes", "key"), [(row[1], row[2]) for row in BAD], ids=[r[0] for r in BAD])
def test_one_slip_gives_one_fault(changes: list[tuple[str, str]], key: str) -> None:
    """A single slip must not be buried under faults that follow from it."""
    several = {"scalar for table": 2, "supply": 3}  # these are more than one slip
    found = records(changed(*changes))
    allowed = next((n for row in BAD if row[1] == changes for k, n in several.items() if row[0] == k), 1)
    assert len(found) <= allowed, [(r.key, r.found) for r in found]


def test_all_kinds_of_fault_in_one_go() -> None:
    """Shape, value, alternatives and rules between elements, in one reading, in the order of the file."""
    text = changed(
        ('vapour_pressure = "0.35 bar(a)"', 'vapour_pressure = "0.35 bar"'),  # value
        ('elevation = "8 m"', ""),  # alternatives
        ('length = "1200 m"', 'lenght = "1,2 km"'),  # shape, and the value behind the misspelt key
        ('from = "manifold"', 'from = "manifld"'),  # a rule between elements
        ('name = "drop line valve"', 'name = "deck line"'),  # another
        ('law = "linear"', 'law = "two-stage"'),  # alternatives in a scenario
        ('after = "shore pump"', 'after = "pump"'),  # a chain
    )
    found = records(text)
    keys = [record.key for record in found]
    for key in (
        "liquid: vapour_pressure",
        'point "drop line valve inlet": elevation',
        'pipe "shore line": lenght',
        'valve "manifold valve": from',
        'scenario "topping off": event 1: break_time',
        'scenario "emergency shutdown": shutdown: step 2: after',
    ):
        assert key in keys
    assert keys.count('pipe "shore line": lenght') == 2
    assert any("deck line" in record.found for record in found)
    assert [r.line for r in found] == sorted(r.line for r in found)


def test_a_lost_connection_brings_no_guesses() -> None:
    """When it is unknown what an element connects, nothing is said about islands and open ends."""
    found = records(changed(('from = "deck line inlet"', "")))
    assert [(r.key, r.found) for r in found] == [('pipe "deck line": from', "no key from")]


def test_misspelt_table_is_followed() -> None:
    found = records(changed(("[liquid]", "[liqid]"), ('density = "740 kg/m3"', 'density = "740"')))
    assert [r.key for r in found] == ["liqid", "liqid: density"]
    assert "did you mean" in found[0].remedy
    assert "740" in found[1].source


# Text that is no case


@pytest.mark.parametrize(
    ("text", "line", "found", "remedy"),
    [
        ("a = \n", 1, "Invalid value", "missing quote"),
        ("x = 1\nlevel = 14 m\n", 2, "Expected newline", 'write level = "14 m"'),
        ("x = 1\nlevel = 3,5\n", 2, "Expected newline", 'write level = "3,5"'),
        ("a = 1\na = 2\n", 2, 'the key "a" for a second time', "take one of the two out"),
        ("[a]\nb = 1\n[a]\n", 3, "twice", "take one out"),
        ('a = "x', 1, "Unterminated string", "missing quote"),
        ('a = "\x00"', 1, "Illegal character", "missing quote"),
        ("a = '\x1b'", 1, "Found invalid character", "missing quote"),
        ("x = 1\na = " + "[" * 5000 + "]" * 5000, 2, "nested too deep", "brackets"),
        ("x = 1\n" + ".".join("a" * 60) + " = 1", 2, "nested too deep", "no key"),
        ("x = 1\na = " + "9" * 5000, 2, "number that cannot be read", "shorter"),
        ("x = 1\n# " + "9" * 25000, 2, "a line of 25002 characters", "line break"),
    ],
)
def test_no_toml(text: str, line: int, found: str, remedy: str) -> None:
    record = records(text)[0]
    assert record.line == line
    assert found in record.found
    assert remedy in record.remedy


def test_empty_text_names_what_a_case_needs() -> None:
    assert {r.key for r in records("")} >= {"schema", "title", "liquid", "points"}


def test_byte_order_mark_and_windows_line_ends_are_no_fault() -> None:
    text = "\ufeff" + STARTER.replace("\n", "\r\n")
    read = read_case(text, filename="x")
    assert read.lineup == case().lineup
    assert read.sha256 == hashlib.sha256(text.encode()).hexdigest()
    bad = records(text.replace('level = "14 m"', 'level = "14,5 m"'))[0]
    assert bad.line == line_of(STARTER, 'level = "14 m"')


def test_half_a_character() -> None:
    assert "not UTF-8" in records("a = '\ud800'")[0].found


def test_load(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(STARTER, encoding="utf-8")
    read = load_case(path)
    assert read.filename == str(path)
    assert read.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert read.lineup == case().lineup


def test_load_what_cannot_be_read(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b"a = 1\nb = '\xe9'\n")
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * (BIGGEST + 1))
    for path, found in [
        (tmp_path / "none.toml", "No such file"),
        (tmp_path, "directory"),
        ("bad\0name", "null byte"),
        (latin, "byte 0xe9 in line 2"),
        (big, "more than 5 MB"),
    ]:
        with pytest.raises(CaseError) as caught:
            load_case(path)
        assert len(caught.value.faults) == 1
        assert found in caught.value.faults[0].found
        record = describe(caught.value.faults, filename=str(path), text="")[0]
        assert record.line >= 1
        assert caught.value.exit_code == 2


# Output of faults


def test_printed_fault() -> None:
    text = changed(('level = "14 m"', 'level = "14,5 m"'))
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="case.toml")
    line = line_of(text, "14,5 m")
    printed = format_faults(caught.value.faults, filename="case.toml", text=text)
    assert printed.split("\n") == [
        "case.toml: 1 fault; nothing was calculated or written",
        "",
        f'case.toml:{line}:9: tank "shore tank 7": level',
        f'  {line} | level = "14,5 m"',
        "     |         ^^^^^^^^",
        '  found     "14,5 m"',
        '  expected  a length such as "1200 m" (units: m, mm, ft, inch, in, cm, km)',
        '  remedy    write "14.5 m": the decimal sign is a point',
    ]
    as_json = [r.as_dict() for r in describe(caught.value.faults, filename="case.toml", text=text)]
    assert json.loads(json.dumps(as_json))[0]["line"] == line


def test_printed_fault_is_safe_for_a_terminal() -> None:
    text = changed(('name = "deck line"', 'name = "a\\u001b[31mb"\t' + "# " + "x" * 300))
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="evil\x1b.toml")
    printed = format_faults(caught.value.faults, filename="evil\x1b.toml", text=text)
    assert all(c.isprintable() or c in "\n\t" for c in printed)
    assert max(map(len, printed.split("\n"))) < 200


def test_labels() -> None:
    data = {"pipe": [{"name": "x"}, {}], "points": {"a b": {}}, "pump": [{"name": "p", "curve": [[1, 2]]}]}
    assert label((), data) == ""
    assert label(("pipe", 0, "length"), data) == 'pipe "x": length'
    assert label(("pipe", 1, "length"), data) == "pipe 2: length"
    assert label(("points", "a b", "elevation"), data) == 'point "a b": elevation'
    assert label(("pump", 0, "curve", 0, 1), data) == 'pump "p": curve, row 1, column 2'


# Schema


def test_published_schema_is_the_generated_one() -> None:
    """To renew it: ``python -m surge.casefile > surge/schema/case.schema.json``."""
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == case_schema()


def test_schema_is_sound_and_accepts_the_starter() -> None:
    import tomllib

    schema = case_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert not list(validator.iter_errors(tomllib.loads(STARTER)))
    for name in (
        "decimal comma",
        "unknown key",
        "missing key",
        "no sound speed",
        "two verbs",
        "opening",
        "row of one",
    ):
        changes = next(row[1] for row in BAD if row[0] == name)
        assert list(validator.iter_errors(tomllib.loads(changed(*changes)))), name


def test_schema_names_the_reference_values() -> None:
    text = json.dumps(case_schema())
    for name in (*VALVE_CURVES, *MATERIALS):
        assert json.dumps(name) in text


def test_keys_and_tables() -> None:
    assert "from" in keys_of(CaseSpec.model_fields["pipe"].annotation.__args__[0])  # type: ignore[union-attr]
    assert table_at(()) is CaseSpec
    assert table_at(("pipe",)) is None
    assert table_at(("nothing", 0)) is None
    step = table_at(("scenario", 0, "shutdown", "step", 1))
    assert step is not None
    assert "after" in keys_of(step)

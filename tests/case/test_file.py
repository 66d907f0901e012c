"""Case files: the starter case, every construct of the format, texts that are no case, the JSON Schema."""

from __future__ import annotations

import hashlib
import json
import math
import tomllib
from pathlib import Path

import jsonschema
import pytest
from support.inputs.case_text import STARTER, STROKE, case, changed, line_of, records

from surge.case.file import case_schema, load_case, read_case
from surge.case.schema import CaseSpec
from surge.errors import CaseError
from surge.hydraulics.formulas import hose_wave_speed, loss_factor_to_kv, restraint_factor, wave_speed
from surge.reference.materials import MATERIALS
from surge.reference.valve_curves import VALVE_CURVES
from surge.toml.faults import describe
from surge.toml.tables import keys_of, table_at
from surge.toml.text import BIGGEST

TWO_STAGE = 'law = "two-stage"\nstroke = "20 s"\nbreak_opening = 0.3\nbreak_time = "8 s"'


# Good cases


def test_starter_is_valid_and_realistic() -> None:
    read = case()
    lineup = read.lineup
    assert read.sha256 == hashlib.sha256(STARTER.encode()).hexdigest()
    assert [s.name for s in lineup.scenarios] == [
        "topping off",
        "emergency shutdown",
        "emergency shutdown, while topping off",
    ]
    assert len(lineup.pipes) == 4
    assert {p.kind for p in lineup.pipes} == {"pipe", "hose"}
    for pipe in lineup.pipes:
        assert 200 < pipe.wave_speed < 1300
        assert lineup.rate is not None
        assert lineup.rate.agreed / pipe.area < 7  # [m/s] the usual highest bulk rate of a static accumulator


def test_starter_fits_a_terminal() -> None:
    assert all(len(line) <= 120 for line in STARTER.split("\n"))


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
    assert (hose.limits.lowest, hose.limits.lowest_source) == (-5e4, "given in the case")
    bare = case(("\nlowest_pressure", "\n# lowest_pressure")).lineup
    hose = next(p for p in bare.pipes if p.kind == "hose")
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
            '[[passage]]\nname = "strainer"\n'
            'from = "tank outlet"\nto = "pump discharge"\nkind = "fixed loss"\n'
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


def test_show_and_friction() -> None:
    show = case(('pressure = "bar"', 'pressure = "psi"'), ('diameter = "mm"', 'diameter = "inch"')).show
    assert (show.pressure, show.flow, show.length, show.diameter) == ("psi", "m3/h", "m", "inch")
    assert not case().lineup.frozen_friction
    assert case(("[show]", '[calculation]\nfriction = "frozen"\n[show]')).lineup.frozen_friction


def test_unsteady_friction() -> None:
    assert not case().lineup.unsteady_friction
    assert case(("[show]", "[calculation]\nunsteady_friction = true\n[show]")).lineup.unsteady_friction


def test_free_gas() -> None:
    assert case().lineup.free_gas == 1e-7
    assert case(("[show]", "[calculation]\nfree_gas = 2e-6\n[show]")).lineup.free_gas == 2e-6


# Scenarios


@pytest.mark.parametrize(
    ("keys", "law"),
    [
        ('close = "manifold valve"\nstroke = "20 s"', ((0, 1), (20, 0))),
        ('open = "manifold valve"\nstroke = "20 s"', ((0, 0), (20, 1))),
        ('close = "manifold valve"\nlaw = "step"', ((0, 1), (0, 0))),
        ('open = "manifold valve"\nlaw = "step"', ((0, 0), (0, 1))),
        (
            f'close = "manifold valve"\n{TWO_STAGE}',
            ((0, 1), (8, 0.3), (20, 0)),
        ),
        (
            f'open = "manifold valve"\n{TWO_STAGE}',
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
    """Closed form: 5 + 2 + 1 = 8 s; the valve after 8 s of run-down; the last after 13 s of stroke."""
    scenario = case().lineup.scenarios[1]
    assert [(m.pump, m.start, m.what) for m in scenario.pump_moves] == [("shore pump", 8.0, "shutdown")]
    assert [(m.valve, m.start) for m in scenario.moves] == [
        ("manifold valve", 16.0),
        ("shore control valve", 29.0),
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
        ("shore control valve", 31.0),
    ]
    assert scenario.timing == (("detection", 2.0), ("signal", 1.0), ("voice", 20.0))


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


def test_empty_text_names_what_it_needs() -> None:
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
    rows: list[tuple[str | Path, str]] = [
        (tmp_path / "none.toml", "No such file"),
        (tmp_path, "directory"),
        ("bad\0name", "null byte"),
        (latin, "byte 0xe9 in line 2"),
        (big, "more than 1 MB"),
    ]
    for path, found in rows:
        with pytest.raises(CaseError) as caught:
            load_case(path)
        assert len(caught.value.faults) == 1
        assert found in caught.value.faults[0].found
        record = describe(caught.value)[0]
        assert record.line >= 1
        assert caught.value.exit_code == 2


# Schema


def test_schema_is_sound_and_accepts_the_starter() -> None:
    schema = case_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    starter = json.loads(json.dumps(tomllib.loads(STARTER), default=str))  # dates as a schema knows them
    assert not list(jsonschema.Draft202012Validator(schema).iter_errors(starter))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('level = "14 m"', 'level = "14,5 m"'),
        ('length = "80 m"', 'lenght = "80 m"'),
        ('length = "80 m"', ""),
        ('sound_speed = "1180 m/s"', ""),
        ('close = "manifold valve"  #', 'close = "manifold valve"\nopen = "drop line valve" #'),
        ('kv = "2400 m3/h"', 'kv = "2400 m3/h"\nopening = 1.5'),
        ('["400 m3/h", "64 m"]', '["400 m3/h"]'),
        ('rating = "16 bar(g)"', 'rating = "16 bar"'),
    ],
)
def test_schema_refuses(old: str, new: str) -> None:
    """An editor that knows the schema marks these while they are typed."""
    data = tomllib.loads(changed((old, new)))
    assert list(jsonschema.Draft202012Validator(case_schema()).iter_errors(data))


def test_schema_names_the_reference_values() -> None:
    text = json.dumps(case_schema())
    for name in (*VALVE_CURVES, *MATERIALS):
        assert json.dumps(name) in text


def test_keys_and_tables() -> None:
    assert "from" in keys_of(CaseSpec.model_fields["pipe"].annotation.__args__[0])  # type: ignore[union-attr]
    assert table_at((), CaseSpec) is CaseSpec
    assert table_at(("pipe",), CaseSpec) is None
    assert table_at(("nothing", 0), CaseSpec) is None
    step = table_at(("scenario", 0, "shutdown", "step", 1), CaseSpec)
    assert step is not None
    assert "after" in keys_of(step)

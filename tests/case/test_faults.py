"""Faults of a case file: one bad file per rule of the edge, all faults in one go, and how they are printed."""
# ruff: noqa: E501

from __future__ import annotations

import json
from dataclasses import asdict

import pytest
from support.inputs.case_text import STROKE, changed, line_of, records

from surge.case.file import CASE, read_case
from surge.errors import CaseError
from surge.toml.faults import describe, format_faults, label

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
    ("opening", [('kv = "2400 m3/h"', 'kv = "2400 m3/h"\nopening = 1.5')], 'valve "manifold valve": opening', "1.5", "from 0 to 1"),
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
    ("voice beside a link", [("linked = true ", 'voice_delay = "20 s"\nlinked = true ')], 'scenario "emergency shutdown": shutdown: voice_delay', "voice_delay", "take voice_delay out"),
    ("after", [('after = "shore pump"', 'after = "shore pum"')], 'scenario "emergency shutdown": shutdown: step 2: after', "shore pum", '"shore pump"'),
    ("after later", [('after = "shore pump"', 'after = "shore control valve"')], 'scenario "emergency shutdown": shutdown: step 2: after', "after", "earlier ones first"),
    ("source alone", [('[points."berth"]', '[points."berth"]\nlimit_source = "manual"')], 'point "berth": limit_source', "manual", "add the key limit"),
    ("bore alone", [('kv = "2400 m3/h"', 'kv = "2400 m3/h"\ninside_diameter = "1 m"')], 'valve "manifold valve": inside_diameter', "1 m", "take it out"),
    ("supply", [("# ---- Ship", '[[supply]]\nname = "s"\nat = "berth"\n# ')], 'supply "s": pressure', "[[supply]]", "add the key pressure"),
    ("barometer", [("[show]", '[site]\nbarometer = "1013 mbar"\n[show]')], "site: barometer", "1013 mbar", "mbar(a)"),
    ("all gas", [("[show]", "[calculation]\nfree_gas = 1.0\n[show]")], "calculation: free_gas", "1.0", "from 1e-09 to 0.0001"),
    ("no gas", [("[show]", "[calculation]\nfree_gas = 0\n[show]")], "calculation: free_gas", "0", "from 1e-09 to 0.0001"),
    ("less than no gas", [("[show]", "[calculation]\nfree_gas = -1e-7\n[show]")], "calculation: free_gas", "-1e-7", "from 1e-09 to 0.0001"),
    ("gas in quotes", [("[show]", "[calculation]\nfree_gas = \"1e-7\"\n[show]")], "calculation: free_gas", "1e-7", "without quotes"),
    ("nothing but gas", [("[show]", "[calculation]\ngas_content = 1.0\n[show]")], "calculation: gas_content", "1.0", "from 1e-05 to 0.05"),
    ("less than no gas all through", [("[show]", "[calculation]\ngas_content = -0.005\n[show]")], "calculation: gas_content", "-0.005", "from 1e-05 to 0.05"),
    ("gas in per cent", [("[show]", "[calculation]\ngas_content = \"0.5 %\"\n[show]")], "calculation: gas_content", "0.5 %", "without quotes"),
    ("friction in words", [("[show]", "[calculation]\nunsteady_friction = \"on\"\n[show]")], "calculation: unsteady_friction", "on", "write true or false, without quotes"),
    ("parcel by the hour", [('parcel = "8000 m3"', 'parcel = "8000 m3/h"')], "berth: parcel", "8000 m3/h", "30000 t"),
    ("parcel of nothing", [('parcel = "8000 m3"', 'parcel = "0 t"')], "berth: parcel", "0 t", "check the number"),
    ("parcel either way", [('parcel = "8000 m3"', 'parcel = "8.000 t"')], "berth: parcel", "8.000 t", "8000 t"),
    ("two ships", [('ship = "MT Example"', 'ship = ["MT Example", "MT Other"]')], "berth: ship", "MT Other", "in quotes"),
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
    assert record.found
    assert record.expected


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


# Output of faults


def test_printed_fault() -> None:
    text = changed(('level = "14 m"', 'level = "14,5 m"'))
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="case.toml")
    line = line_of(text, "14,5 m")
    printed = format_faults(caught.value)
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
    as_json = [asdict(r) for r in describe(caught.value)]
    assert json.loads(json.dumps(as_json))[0]["line"] == line


def test_printed_fault_is_safe_for_a_terminal() -> None:
    text = changed(('name = "deck line"', 'name = "a\\u001b[31mb"\t' + "# " + "x" * 300))
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="evil\x1b.toml")
    printed = format_faults(caught.value)
    assert all(c.isprintable() or c in "\n\t" for c in printed)
    assert max(map(len, printed.split("\n"))) < 200


def test_labels() -> None:
    data = {"pipe": [{"name": "x"}, {}], "points": {"a b": {}}, "pump": [{"name": "p", "curve": [[1, 2]]}]}
    assert label((), data, named=CASE.named) == ""
    assert label(("pipe", 0, "length"), data, named=CASE.named) == 'pipe "x": length'
    assert label(("pipe", 1, "length"), data, named=CASE.named) == "pipe 2: length"
    assert label(("points", "a b", "elevation"), data, named=CASE.named) == 'point "a b": elevation'
    assert label(("pump", 0, "curve", 0, 1), data, named=CASE.named) == 'pump "p": curve, row 1, column 2'

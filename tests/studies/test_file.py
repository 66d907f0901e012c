"""Study files: what they make, and every refusal with line, key and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.studies import HEAD, RATE, SAMPLES, SPEED, STOP, loaded, refused, written

from surge.errors import CaseError
from surge.studies.file import load_study
from surge.studies.schema import VERDICT

WHOLE = HEAD + SAMPLES + RATE + SPEED


def test_a_study_as_it_was_written(tmp_path: Path) -> None:
    study = loaded(tmp_path, WHOLE)
    assert (study.cells, study.samples, study.runs) == (2, 12, 24)
    assert [o.name for o in study.axes[0].options] == ["280 m3/h", "300 m3/h"]
    assert study.axes[0].unit == "m3/s"
    assert study.axes[0].options[1].si == pytest.approx(300 / 3600)
    one = study.uncertain[0]
    assert (one.unit, one.written) == ("m/s", "m/s")
    assert [f.filename.rsplit("/", 1)[-1] for f in study.files] == ["study.toml", "stop.toml"]


def test_without_a_word_on_runs_each_is_a_verdict(tmp_path: Path) -> None:
    assert loaded(tmp_path, WHOLE.replace('run = "quick look"\n', "")).run == VERDICT


# text that is replaced, by what, line and key of the fault, and words of found, expected or remedy
BAD = {
    "axis-that-does-not-exist": (
        '"rate: agreed"',
        "'pipe \"lime\": length'",
        'axis "rate": key',
        ('no pipe "lime" in the case', 'did you mean "line"?'),
    ),
    "misspelt-key": (
        '"rate: agreed"',
        '"rate: agred"',
        'axis "rate": key',
        ('no key "agred"', 'did you mean "agreed"?'),
    ),
    "key-of-a-table": (
        '"rate: agreed"',
        "'pipe \"line\"'",
        'axis "rate": key',
        ("a key with a single value", "add one of its keys: name, from, to"),
    ),
    "unit-of-something-else": (
        '"300 m3/h"]',
        '"300 m"]',
        'axis "rate": values, row 2',
        ('"300 m"', "m is a unit of length: write a flow"),
    ),
    "units-by-mass-and-by-volume": (
        '"300 m3/h"]',
        '"300 t/h"]',
        'axis "rate": values',
        ("mass flow and by volume flow", "units of one kind"),
    ),
    "value-twice": (
        '"300 m3/h"]',
        '"280 m3/h"]',
        'axis "rate": values, row 2',
        ("second time", "take it out"),
    ),
    "value-twice-in-other-words": (
        '"300 m3/h"]',
        '"280.0 m3/h"]',
        'axis "rate": values, row 2',
        ('"280.0 m3/h", which is "280 m3/h" again', "take it out"),
    ),
    "value-twice-in-another-unit": (
        '"280 m3/h", "300 m3/h"]',
        '"360 m3/h", "100 L/s"]',
        'axis "rate": values, row 2',
        ('"100 L/s", which is "360 m3/h" again',),
    ),
    "out-of-bounds": (
        '"300 m3/h"]',
        '"0 m3/h"]',
        'axis "rate": values, row 2',
        ("a flow from 0.1 m3/h to 100000 m3/h",),
    ),
    "a-rate-that-cannot-flow": (
        '"300 m3/h"]',
        '"90000 m3/h"]',
        'axis "rate": values, row 2',
        ("rate: agreed",),
    ),
    "two-ways-to-name": (
        'key = "rate: agreed"',
        'key = "rate: agreed"\nstroke_of = "throttle"',
        'axis "rate"',
        ("key and stroke_of", "keep the one that is meant"),
    ),
    "no-stroke-to-set": (
        'key = "rate: agreed"',
        'stroke_of = "throttle"',
        'axis "rate": stroke_of',
        ('"throttle" has no stroke at scenario "stop": event 1',),
    ),
    "same-name": ('name = "wave speed"', 'name = "rate"', 'uncertain "rate": name', ("second time",)),
    "impossible-values": (
        '"60 m/s"',
        '"200 m/s"',
        'uncertain "wave speed": mean',
        ("a distribution that reaches -641.907 m/s", "write low = ...: nothing is drawn below it"),
    ),
    "deviation-in-another-unit": (
        '"60 m/s"',
        '"0.06 km/s"',
        'uncertain "wave speed": standard_deviation',
        ("a figure in m/s", "write all figures of one distribution in m/s"),
    ),
    "deviation-of-another-kind": (
        '"60 m/s"',
        '"60 m"',
        'uncertain "wave speed": standard_deviation',
        ("m is a unit of length",),
    ),
    "no-deviation": (
        '"60 m/s"',
        '"0 m/s"',
        'uncertain "wave speed": standard_deviation',
        ("a deviation above 0",),
    ),
    "parameter-of-another-distribution": (
        '"60 m/s"',
        '"60 m/s"\nmode = "1000 m/s"',
        'uncertain "wave speed": mode',
        ("mode, which has no use here", "take it out"),
    ),
    "parameter-missing": (
        'standard_deviation = "60 m/s"',
        "",
        'uncertain "wave speed": standard_deviation',
        ("no key standard_deviation", "add standard_deviation = ..."),
    ),
    "ends-exchanged": (
        '"60 m/s"',
        '"60 m/s"\nlow = "1100 m/s"\nhigh = "900 m/s"',
        'uncertain "wave speed": low',
        ("low not below high",),
    ),
    "nothing-left-between-the-ends": (
        '"60 m/s"',
        '"60 m/s"\nlow = "1250 m/s"',
        'uncertain "wave speed": distribution',
        ("leave 1.5e-05 of the distribution",),
    ),
    "factor-with-a-unit": (
        'distribution = "normal"',
        'factor = true\ndistribution = "normal"',
        'uncertain "wave speed": mean',
        ("a factor is a plain number",),
    ),
    "a-name-cannot-be-uncertain": (
        "'pipe \"line\": wave_speed'",
        "'liquid: name'",
        'uncertain "wave speed": key',
        ("a key that takes a figure", "make an axis"),
    ),
    "two-figures-for-one": (
        "'pipe \"line\": wave_speed'",
        "'liquid: bulk_modulus'",
        'uncertain "wave speed": mean',
        ("m/s is a unit of speed",),
    ),
    "count-of-sobol": (
        'design = "independent"',
        'design = "sobol"',
        "samples: count",
        ('a power of two for the design "sobol"', "write 8 or 16"),
    ),
    "too-few-for-indices": (
        'design = "independent"\ncount = 12',
        'design = "saltelli"\ncount = 4',
        "samples: count",
        ("8 or more for Sobol indices", "write 128"),
    ),
    "half-a-sample": ("count = 12", "count = 12.5", "samples: count", ("a whole number", "write 12")),
    "replicates": (
        "count = 12",
        "count = 12\nreplicates = 4",
        "samples: replicates",
        ("take replicates out",),
    ),
    "no-samples": (SAMPLES, "", "samples", ("no [samples]", 'design = "independent", count = 400')),
    "no-case": ('case = "stop.toml"\n', "", "case", ("no case", "cases = [...]")),
    "case-not-there": ('"stop.toml"', '"stopp.toml"', "case", ("which is not there",)),
    "case-in-another-folder": ('"stop.toml"', '"../stop.toml"', "case", ("copy the file beside this one",)),
    "place-not-there": (
        'run = "quick look"',
        'run = "quick look"\nplaces = ["lin"]',
        "places, row 1",
        ('"lin", which no case has', '"line"'),
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_every_refusal_has_line_key_and_remedy(tmp_path: Path, name: str) -> None:
    old, new, key, words = BAD[name]
    assert WHOLE.count(old) == 1
    text = WHOLE.replace(old, new)
    records = refused(tmp_path, text)
    record = next((r for r in records if r.key == key), None)
    assert record is not None, [(r.key, r.found, r.remedy) for r in records]
    said = f"{record.found} {record.expected} {record.remedy}"
    assert [w for w in words if w not in said] == [], said
    assert record.remedy
    assert 1 <= record.line <= len(text.splitlines()) + 1


def test_a_value_that_only_others_do_not_go_with_stays(tmp_path: Path) -> None:
    """Of a rate that one tank level allows and another does not, the study is sound."""
    level = '[[axis]]\nname = "level"\nkey = \'tank "shore tank": level\'\nvalues = ["75.5 m", "80 m"]\n'
    study = loaded(tmp_path, HEAD + RATE + level)
    assert study.cells == 4


def test_correlations_that_contradict_one_another_are_refused(tmp_path: Path) -> None:
    more = "".join(
        SPEED.replace('"wave speed"', f'"{name}"').replace('pipe "line": wave_speed', key)
        for name, key in (("b", 'pipe "spool": wave_speed'), ("c", "liquid: sound_speed"))
    )
    more = "2000 m/s".join(more.rsplit("1000 m/s", 1))  # sound is never slower than the wave
    pairs = (("wave speed", "b", 0.9), ("b", "c", 0.9), ("wave speed", "c", -0.9))
    text = "".join(f'[[correlation]]\nbetween = ["{a}", "{b}"]\ncoefficient = {c}\n' for a, b, c in pairs)
    record = refused(tmp_path, HEAD + SAMPLES + SPEED + more + text)[0]
    assert "contradict" in record.found
    assert loaded(tmp_path, HEAD + SAMPLES + SPEED + more + text.replace("-0.9", "0.9")).correlation


def test_correlated_figures_have_no_sobol_indices(tmp_path: Path) -> None:
    more = SPEED.replace('"wave speed"', '"b"').replace('pipe "line"', 'pipe "spool"')
    pair = '[[correlation]]\nbetween = ["wave speed", "b"]\ncoefficient = 0.5\n'
    design = SAMPLES.replace("independent", "saltelli").replace("12", "16")
    record = refused(tmp_path, HEAD + design + SPEED + more + pair)[0]
    assert record.key == "samples: design"
    assert "vary by themselves" in record.expected


def test_faults_of_the_case_are_told_of_the_case(tmp_path: Path) -> None:
    broken = STOP.replace('density = "1000 kg/m3"', 'density = "1000 m"')
    record = refused(tmp_path, WHOLE, case=broken)[0]
    assert record.file.endswith("stop.toml")
    assert record.key == "liquid: density"


def test_a_fault_of_a_figure_is_told_at_the_figure_and_nowhere_else(tmp_path: Path) -> None:
    wall = STOP.replace(
        'wave_speed = "1000 m/s"', 'wall = "10 mm"\nmaterial = "steel"\nrestraint = "anchored throughout"'
    )
    records = refused(tmp_path, WHOLE, case=wall)
    assert [r.key for r in records] == ['uncertain "wave speed": distribution']
    assert "one way to the wave speed" in records[0].expected


def test_a_part_with_an_unknown_table_is_refused_at_its_own_line(tmp_path: Path) -> None:
    (tmp_path / "ship.toml").write_text('\n[[pip]]\nname = "x"\n', encoding="utf-8")
    axis = '[[axis]]\nname = "ship"\n[[axis.option]]\nname = "small"\npart = "ship.toml"\n'
    record = refused(tmp_path, HEAD + axis)[0]
    assert record.file.endswith("ship.toml")
    assert (record.line, record.key) == (2, "pip")


def test_a_file_that_is_no_study_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "schema = 1\n[liquid]\n")
    with pytest.raises(CaseError) as caught:
        load_study(path, rules_of=lambda _: None)
    assert any("unknown key" in f.found for f in caught.value.faults)

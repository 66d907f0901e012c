"""From a study to the texts of cases: axes, options, parts, drawn figures."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from support.studies import HEAD, RATE, SAMPLES, SPEED, STOP, loaded

from surge.case.file import read_case
from surge.studies.keys import origin_of, strokes_of
from surge.studies.lineups import LineUpTexts, template
from surge.studies.types import Study
from surge.units import QuantityError


def data(study: Study, cell: int, values: tuple[float, ...] = ()) -> dict[str, Any]:
    text = template(study, cell).text(values)
    read_case(text, filename="made.toml")  # it is a case
    return tomllib.loads(text)


def test_axes_are_crossed_and_the_last_goes_fastest(tmp_path: Path) -> None:
    level = (
        '[[axis]]\nname = "level"\nkey = \'tank "shore tank": level\'\nvalues = ["78 m", "80 m", "82 m"]\n'
    )
    study = loaded(tmp_path, HEAD + RATE + level)
    seen = [(d["rate"]["agreed"], d["tank"][0]["level"]) for d in (data(study, c) for c in range(6))]
    assert seen == [(r, x) for r in ("280 m3/h", "300 m3/h") for x in ("78 m", "80 m", "82 m")]
    assert study.name_of(4) == "rate 300 m3/h, level 80 m"


def test_all_else_of_the_text_stays_as_it_was(tmp_path: Path) -> None:
    study = loaded(tmp_path, HEAD + RATE)
    assert template(study, 0).text(()) == STOP.replace('"300 m3/h"', '"280 m3/h"')


def test_a_figure_that_is_drawn_is_run_as_it_is_written(tmp_path: Path) -> None:
    study = loaded(tmp_path, HEAD + SAMPLES + SPEED)
    made = data(study, 0, (1012.5,))
    assert made["pipe"][0]["wave_speed"] == "1012.50000 m/s" or made["pipe"][0]["wave_speed"] == "1012.5 m/s"
    assert made["pipe"][1]["wave_speed"] == "1000 m/s"


def test_a_factor_multiplies_what_the_axis_has_set(tmp_path: Path) -> None:
    stroke = STOP.replace('law = "step"', 'stroke = "4 s"')
    axis = '[[axis]]\nname = "stroke"\nstroke_of = "throttle"\nvalues = ["4 s", "10 s"]\n'
    drift = (
        '[[uncertain]]\nname = "drift"\nstroke_of = "throttle"\nfactor = true\n'
        'distribution = "uniform"\nlow = 0.9\nhigh = 1.1\n'
    )
    study = loaded(tmp_path, HEAD + SAMPLES + axis + drift, case=stroke)
    strokes = [data(study, c, (1.05,))["scenario"][0]["event"][0]["stroke"] for c in (0, 1)]
    assert [float(s.split()[0]) for s in strokes] == pytest.approx([4.2, 10.5])


def test_options_set_remove_and_merge_parts(tmp_path: Path) -> None:
    part = """
[[pipe]]
name = "spool"
from = "valve inlet"
to = "ship"
length = "8 m"
inside_diameter = "300 mm"
wave_speed = "1100 m/s"
roughness = "0 mm"
rating = "16 bar(g)"

[[scenario]]
name = "slow stop"
stage = "bulk"
[[scenario.event]]
at = "1 s"
close = "throttle"
stroke = "8 s"

[site]
barometer = "1000 mbar(a)"
"""
    (tmp_path / "ship.toml").write_text(part, encoding="utf-8")
    axis = """
[[axis]]
name = "ship"
[[axis.option]]
name = "as it is"
set = { "liquid: viscosity" = "0.02 mm2/s" }
[[axis.option]]
name = "another"
part = "ship.toml"
remove = ['scenario "stop"']
"""
    study = loaded(tmp_path, HEAD + axis)
    plain, other = data(study, 0), data(study, 1)
    assert plain["liquid"]["viscosity"] == "0.02 mm2/s"
    assert [p["length"] for p in plain["pipe"]] == ["400 m", "4 m"]
    assert [(p["name"], p["length"]) for p in other["pipe"]] == [("line", "400 m"), ("spool", "8 m")]
    assert [s["name"] for s in other["scenario"]] == ["slow stop"]
    assert other["site"]["barometer"] == "1000 mbar(a)"
    # One after the other, in whatever order, they are as each by itself.
    level = '[[axis]]\nname = "level"\nkey = \'tank "shore tank": level\'\nvalues = ["79 m", "81 m"]\n'
    crossed = loaded(tmp_path, HEAD + RATE + axis + level)
    texts = LineUpTexts(crossed)
    for cell in (0, 1, 2, 3, 7, 4, 0, 6):
        assert texts.template(cell) == template(crossed, cell)


def test_a_list_of_a_case_is_an_axis_too(tmp_path: Path) -> None:
    """Which valves are shut, and so which tanks are open, is a list of names."""
    more = (
        STOP
        + '\n[[scenario]]\nname = "other"\nstage = "bulk"\n'
        + '[[scenario.event]]\nat = "1 s"\nclose = "throttle"\nstroke = "3 s"\n'
    )
    axis = '[[axis]]\nname = "shut"\nkey = \'scenario "other": shut_at_start\'\nvalues = [[]]\n'
    study = loaded(tmp_path, HEAD + axis + RATE, case=more)
    assert data(study, 0)["scenario"][1]["shut_at_start"] == []
    assert study.axes[0].options[0].name == "none"


def test_an_axis_of_cases(tmp_path: Path) -> None:
    (tmp_path / "longer.toml").write_text(STOP.replace("400 m", "500 m"), encoding="utf-8")
    axis = '[[axis]]\nname = "berth"\ncases = ["stop.toml", "longer.toml"]\n'
    study = loaded(tmp_path, HEAD.replace('case = "stop.toml"\n', "") + axis + RATE)
    assert [data(study, c)["pipe"][0]["length"] for c in range(4)] == ["400 m", "400 m", "500 m", "500 m"]
    assert study.name_of(2) == "berth longer, rate 280 m3/h"


KEYS = {
    "rate: agreed": ("rate", "agreed"),
    "pipe 'line': length": ("pipe", 0, "length"),
    'point "ship": elevation': ("points", "ship", "elevation"),
    'scenario "stop": levels: "ship tank"': ("scenario", 0, "levels", "ship tank"),
    'scenario "stop": event 1: at': ("scenario", 0, "event", 0, "at"),
}


@pytest.mark.parametrize("key", KEYS)
def test_a_key_is_written_as_refusals_print_it(key: str) -> None:
    assert origin_of(key, tomllib.loads(STOP)) == KEYS[key]


@pytest.mark.parametrize(
    "key", ["", ":", "rate", "rate agreed", 'pipe "line"', "pipe 9: length", "event: at"]
)
def test_what_is_no_key_is_refused(key: str) -> None:
    with pytest.raises(QuantityError):
        origin_of(key, tomllib.loads(STOP))


def test_a_valve_that_never_closes_has_no_stroke() -> None:
    with pytest.raises(QuantityError, match="no stroke at"):
        strokes_of("throttle", tomllib.loads(STOP))

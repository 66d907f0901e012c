"""A case held against gauge readings: which fit, what explains a difference, what never changes a verdict.

Independent: the steady flow of ``support.oracles.demo_cases`` (scipy, fluids, hand formulas).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.demos import CASES, Demos
from support.inputs.case_text import changed, line_of, records
from support.oracles.demo_cases import Oracle

from surge.case.file import Case, read_case
from surge.model.lineup import LineUp
from surge.reports.gauge import gauge_details, gauge_sentences
from surge.reports.words import Display
from surge.rules.gauge import FITS, FITS_NOT, FITS_WITHIN, NOT_COMPARED, GaugeCheck, compare_with_gauges
from surge.units import ShowUnits

DEMO = (CASES / "gasoline-through-cargo-pumps.toml").read_text(encoding="utf-8")
WITHOUT = DEMO[: DEMO.index("[[reading]]")]
FULL = "manifold valve at full rate"


def display(lineup: LineUp) -> Display:
    return Display(units=ShowUnits(), density=lineup.liquid.density)


def pump_case(*readings: str, changes: tuple[tuple[str, str], ...] = ()) -> Case:
    """The demo through cargo pumps with other readings, and with texts replaced."""
    text = WITHOUT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read_case("\n".join([text, *readings]), filename="case.toml")


def reading(bar: float, *more: str, at: str = "manifold", rate: str = "500 m3/h") -> str:
    lines = [f'at = "{at}"', f'pressure = "{bar:.4f} bar(g)"', f'rate = "{rate}"', *more]
    return "\n".join(["[[reading]]", *lines])


def oracle(tmp_path: Path, *changes: tuple[str, str]) -> dict[str, float]:
    """Steady pressures of the demo at 500 m3/h [bar(g)], calculated without the program."""
    text = WITHOUT.replace('agreed = "600 m3/h"', 'agreed = "500 m3/h"')
    for old, new in changes:
        text = text.replace(old, new)
    path = tmp_path / "oracle.toml"
    path.write_text(text, encoding="utf-8")
    made = Oracle(path)
    heads, _ = made.steady(FULL)
    return {point: made.pressure(head, point) / 1e5 for point, head in heads.items()}


def test_a_reading_from_outside_fits_to_rounding(tmp_path: Path) -> None:
    there = oracle(tmp_path)
    places = ("berth", "manifold", "2P pump top")
    check = compare_with_gauges(pump_case(*(reading(there[p], at=p) for p in places)).lineup)
    assert check.outcome == FITS
    assert not check.explained_by
    assert all(c.off < 0.01 for c in check.compared)


def test_what_fits_ends_at_the_tolerance_of_the_gauge(tmp_path: Path) -> None:
    there = oracle(tmp_path)["manifold"]
    for off, fits in ((0.29, True), (-0.29, True), (0.31, False), (-0.31, False)):
        case = pump_case(reading(there + off, 'tolerance = "0.3 bar"'))
        assert compare_with_gauges(case.lineup).fits is fits


@pytest.mark.parametrize(("bar", "tolerance"), [(5.0, 0.5), (0.4, 0.1), (-0.5, 0.1)])
def test_a_gauge_is_taken_to_be_within_a_tenth_and_no_closer_than_it_can_be_read(
    bar: float, tolerance: float
) -> None:
    (one,) = pump_case(reading(bar)).lineup.readings
    assert one.tolerance == pytest.approx(tolerance * 1e5)
    assert "33 CFR 156.170(c)(3)" in one.tolerance_source


# What a difference points to: the true line differs in one figure, and two gauges show it.
WRONG = {
    "Kv": (('kv = "104 m3/h"', 'kv = "90 m3/h"'), ("cargo pump 2P", "cargo pump 4P"), 90.0),
    "roughness": (('roughness = "0.1 mm"', 'roughness = "0.6 mm"'), ("shore line",), 0.6e-3),
}


@pytest.mark.parametrize("quantity", WRONG)
def test_a_wrong_figure_is_found_by_trial(quantity: str, tmp_path: Path) -> None:
    change, subjects, truth = WRONG[quantity]
    there = oracle(tmp_path, change)
    more = 'tolerance = "0.05 bar"'
    case = pump_case(
        reading(there["shore line inlet"], more, at="shore line inlet"), reading(there["manifold"], more)
    )
    check = compare_with_gauges(case.lineup)
    assert check.outcome == FITS_NOT
    found = {(e.quantity, e.subjects): e for e in check.explained_by}
    right = found[quantity, subjects]
    assert right.low <= truth <= right.high
    assert right.high < 1.5 * right.low  # a figure, not a guess
    assert check.explained_by[0].quantity == quantity
    # Each end that is told fits: the case with it does.
    for value in (right.low, right.high):
        new = f'kv = "{value:.6f} m3/h"' if quantity == "Kv" else f'roughness = "{value * 1e3:.6f} mm"'
        again = pump_case(
            reading(there["shore line inlet"], more, at="shore line inlet"),
            reading(there["manifold"], more),
            changes=((change[0], new),),
        )
        assert max(c.off for c in compare_with_gauges(again.lineup).compared) < 1.01


def test_what_no_single_figure_explains_is_said(tmp_path: Path) -> None:
    there = oracle(tmp_path)
    case = pump_case(
        reading(there["manifold"] + 2.0), reading(there["shore line inlet"] - 2.0, at="shore line inlet")
    )
    check = compare_with_gauges(case.lineup)
    assert check.outcome == FITS_NOT
    assert not check.explained_by
    (said,) = gauge_sentences(check, display(case.lineup))
    assert "No single figure" in said
    assert "not proven" in said


def test_a_rate_that_the_case_cannot_reach_does_not_fit() -> None:
    case = pump_case(reading(5.0, rate="900 m3/h"))
    check = compare_with_gauges(case.lineup)
    assert check.outcome == FITS_NOT
    assert "cannot be reached" in gauge_sentences(check, display(case.lineup))[0]


def test_a_range_of_the_case_may_hold_what_was_read(tmp_path: Path) -> None:
    condition = ('roughness = "0.1 mm"', 'condition = "old steel"')
    there = oracle(tmp_path, ('roughness = "0.1 mm"', 'roughness = "0.9 mm"'))
    more = 'tolerance = "0.1 bar"'
    line = pump_case(
        reading(there["shore line inlet"], more, at="shore line inlet"), changes=(condition,)
    ).lineup
    assert compare_with_gauges(line).outcome == FITS_WITHIN
    smooth = oracle(tmp_path)  # 0.1 mm is no old steel
    line = pump_case(
        reading(smooth["shore line inlet"], more, at="shore line inlet"), changes=(condition,)
    ).lineup
    assert compare_with_gauges(line).outcome == FITS_NOT


def test_levels_openings_and_temperature_are_those_of_the_reading() -> None:
    def calculated(*more: str) -> float:
        (made,) = compare_with_gauges(pump_case(reading(1.0, *more, rate="250 m3/h")).lineup).compared
        assert made.calculated is not None
        return made.calculated / 1e5

    plain = calculated()
    higher = calculated('levels = { "no. 2 port" = "3 m", "no. 4 port" = "3 m" }')
    assert higher - plain == pytest.approx(740 * 9.80665 * 2.0 / 1e5, abs=1e-3)
    assert calculated('openings = { "2P pump valve" = 0.0 }') > 3.0 * plain
    cargo = (
        'name = "motor gasoline"\ndensity = "740 kg/m3"\nsound_speed = "1250 m/s"\nviscosity = "0.6 mm2/s"\n'
        'vapour_pressure = "0.30 bar(a)"',
        'cargo = "motor gasoline"\ntemperature = "15 degC"\ndensity_15 = "740 kg/m3"',
    )
    (one,) = pump_case(reading(6.0, 'temperature = "30 degC"'), changes=(cargo,)).lineup.readings
    assert one.liquid is not None
    assert one.liquid.density < 730.0


def test_a_manifold_below_the_atmosphere_is_told_as_what_it_is(demos: Demos) -> None:
    answer = demos["gasoline-drop-lines"].answer
    check: GaugeCheck = answer.gauge
    assert check.outcome == NOT_COMPARED
    assert [b.point for b in check.below] == ["manifold"]
    said = gauge_sentences(check, display(answer.lineup))
    assert "drop lines are taken to run full" in said[1]
    assert "gauge" in said[1]


def test_a_gauge_above_a_calculated_vacuum_says_that_drop_lines_run_partly_empty() -> None:
    text = (CASES / "gasoline-drop-lines.toml").read_text(encoding="utf-8")
    case = read_case(f"{text}\n{reading(0.4)}", filename="case.toml")
    check = compare_with_gauges(case.lineup)
    (said,) = gauge_sentences(check, display(case.lineup))
    assert "DOES NOT FIT THE GAUGE" in said
    assert "run partly empty" in said


def test_no_reading_changes_a_verdict(demos: Demos) -> None:
    answer = demos["gasoline-through-cargo-pumps"].answer
    assert answer.gauge.outcome == FITS
    assert answer.exit_code == 3
    words = "\n".join(gauge_details(answer.gauge, display(answer.lineup)))
    assert words.count("fits") == 2
    assert "156.170" in words


# Bad input


def faults() -> Iterator[tuple[str, str, str]]:
    """A reading, the key that is told, a part of what is told."""
    good = 'at = "manifold"\npressure = "3 bar(g)"\nrate = "500 m3/h"\n'
    yield good.replace("manifold", "manifald"), "at", 'did you mean "manifold"?'
    yield good.replace('at = "manifold"\n', ""), "at", "add"
    yield good.replace("(g)", ""), "pressure", "(g)"
    yield good.replace("500 m3/h", "0 m3/h"), "rate", ""
    yield good + 'levels = { "no. 9" = "3 m" }\n', "no. 9", "tank"
    yield good + 'levels = { "shore tank 7" = "1 m" }\n', "shore tank 7", ""
    yield good + 'openings = { "shore gate" = 1.0 }\n', "shore gate", "valve"
    yield good + 'tolerance = "10 %"\n', "tolerance", ""
    yield good + 'tolerence = "0.2 bar"\n', "tolerence", "tolerance"


@pytest.mark.parametrize(("text", "key", "part"), list(faults()))
def test_readings_outside_the_line_up_are_refused_with_line_key_and_remedy(
    text: str, key: str, part: str
) -> None:
    whole = f"{changed()}\n[[reading]]\n{text}"
    (fault,) = records(whole)
    assert "reading" in fault.key
    assert key in fault.key
    assert fault.remedy
    assert part in f"{fault.expected} {fault.remedy}"
    lines = whole.split("\n")
    assert fault.line >= line_of(whole, "[[reading]]")
    assert key in lines[fault.line - 1] or lines[fault.line - 1] == "[[reading]]"


def test_a_reading_needs_means_by_which_its_rate_is_reached() -> None:
    start, text = changed().index("[rate]"), changed(('rate = "250 m3/h"\n', ""))
    whole = text[:start] + text[text.index("[berth]") :]
    (fault,) = records(f"{whole}\n{reading(3.0)}")
    assert fault.key.endswith("rate")
    assert "add [rate]" in fault.remedy


def test_a_temperature_outside_the_table_is_refused_at_the_reading() -> None:
    text = WITHOUT.replace(
        'name = "motor gasoline"\ndensity = "740 kg/m3"\nsound_speed = "1250 m/s"\nviscosity = "0.6 mm2/s"\n'
        'vapour_pressure = "0.30 bar(a)"',
        'cargo = "motor gasoline"\ntemperature = "15 degC"',
    )
    one = reading(3.0, 'temperature = "200 degC"')
    whole = f"{text}\n{one}"
    (fault,) = records(whole)
    assert fault.line == line_of(whole, "200 degC")

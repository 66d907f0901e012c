"""The cargo of a case: from the table, with figures of one's own, or refused."""

from __future__ import annotations

import pytest
from support.inputs.case_text import STARTER, case, changed, records

from surge.model.lineup import Liquid
from surge.reference.liquids import at, find

OWN = STARTER[STARTER.index('name = "motor gasoline"') : STARTER.index("[rate] ")]

BENZENE = 'cargo = "benzene"\ntemperature = "20 degC"\n'


def liquid(text: str) -> Liquid:
    return case((OWN, text + "\n\n")).lineup.liquid


def faults(text: str) -> list[tuple[str, str]]:
    return [(r.key, r.remedy) for r in records(changed((OWN, text + "\n\n")))]


def test_a_cargo_by_name_and_temperature() -> None:
    got = liquid('cargo = "methanol"\ntemperature = "20 degC"')
    state = at(find("methanol"), 293.15)
    assert got.name == "methanol"
    assert got.density == state.density.unfavourable
    assert got.sound_speed == state.sound_speed.unfavourable
    assert got.viscosity == pytest.approx(state.viscosity.unfavourable / got.density, rel=1e-12)
    assert got.vapour_pressure == state.vapour_pressure.unfavourable
    assert got.temperature == pytest.approx(293.15)
    # handbook table: 1121 m/s at 20 C, read; the reference equation lies 0.4 % below it
    assert got.sound_speed == pytest.approx(1121.0, rel=0.01)


def test_every_figure_taken_is_told_with_its_source() -> None:
    told = case((OWN, 'cargo = "methanol"\ntemperature = "68 degF"\n\n')).lineup.assumed
    got = {a.quantity: a for a in told if a.subject == "liquid"}
    assert set(got) == {"density", "sound speed", "viscosity", "vapour pressure", "static accumulator"}
    assert all(a.asked and a.source for a in got.values())


def test_products_take_the_unfavourable_end_and_say_the_spread() -> None:
    lineup = case((OWN, 'cargo = "motor gasoline"\ntemperature = "15 degC"\n\n')).lineup
    state = at(find("motor gasoline"), 288.15)
    assert lineup.liquid.density == state.density.high
    assert lineup.liquid.vapour_pressure == state.vapour_pressure.high
    words = next(a.value for a in lineup.assumed if a.quantity == "density")
    assert "sold under this name" in words


def test_the_density_of_the_parcel_narrows_it() -> None:
    wide = liquid('cargo = "gas oil"\ntemperature = "20 degC"')
    got = liquid('cargo = "gas oil"\ntemperature = "20 degC"\ndensity_15 = "0.845 t/m3"')
    assert got.density < wide.density
    assert got.density == pytest.approx(845.0 - 5 * 0.7, abs=0.5)  # about 0.7 kg/m3 per degree
    assert got.sound_speed < wide.sound_speed


def test_own_figures_go_before_the_table() -> None:
    got = liquid('cargo = "methanol"\ntemperature = "20 degC"\nname = "spirit"\nsound_speed = "1200 m/s"')
    assert (got.name, got.sound_speed) == ("spirit", 1200.0)
    assert got.density == at(find("methanol"), 293.15).density.unfavourable


@pytest.mark.parametrize(
    ("text", "key", "remedy"),
    [
        ('cargo = "methanl"\ntemperature = "20 degC"', "liquid: cargo", 'did you mean "methanol"?'),
        ('cargo = "methanol"', "liquid: temperature", "15 degC"),
        ('cargo = "methanol"\ntemperature = "95 degC"', "liquid: temperature", "give density"),
        ('cargo = "methanol"\ntemperature = "20"', "liquid: temperature", "add the unit"),
        (
            'cargo = "methanol"\ntemperature = "20 degC"\ndensity_15 = "800 kg/m3"',
            "liquid: density_15",
            "check",
        ),
        (
            'cargo = "gas oil"\ntemperature = "20 degC"\ndensity_15 = "700 kg/m3"',
            "liquid: density_15",
            "check",
        ),
        ('temperature = "20 degC"', "liquid: density", "cargo"),
        (OWN.replace("density =", "# density ="), "liquid: density", "cargo"),
        ('cargo = "benzene"\ntemperature = "20 degC"\ndensity = "400 kg/m3"', "liquid: density", "another"),
        (
            'cargo = "benzene"\ntemperature = "20 degC"\nsound_speed = "400 m/s"',
            "liquid: sound_speed",
            "another",
        ),
        (OWN + 'density_15 = "740 kg/m3"', "liquid: density_15", "cargo"),
    ],
)
def test_what_is_refused(text: str, key: str, remedy: str) -> None:
    found = faults(text)
    assert any(k == key and remedy in r for k, r in found), found

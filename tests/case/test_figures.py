"""A case that gives only names, sizes and lengths: what is taken, what is assumed, what is refused."""

from __future__ import annotations

import pytest
from support.inputs.case_text import case, changed, records

from surge.api.check import check
from surge.hydraulics.formulas import restraint_factor, wave_speed
from surge.model.lineup import Assumed, LineUp, Pipe, Valve
from surge.reference.fittings import loss_factor
from surge.reference.materials import MATERIALS
from surge.reference.valve_curves import VALVE_CURVES
from surge.reference.valves import assumed_kv

HOSE = 'length = "20 m"\ninside_diameter = "10 inch"\n'
SIZED = 'length = "1 km"\nsize = "12 inch"\n'


def _block(text: str, kind: str, name: str) -> str:
    """Return the text of one element."""
    start = text.index(f"[[{kind}]]", text.index(f'name = "{name}"') - 60)
    return text[start : text.index("\n\n", start)]


def with_block(kind: str, name: str, lines: str) -> tuple[str, str]:
    """Return a change: the element of that name gets these lines and its ends."""
    old = _block(changed(), kind, name)
    ends = "\n".join(x for x in old.split("\n") if x.startswith(("from", "to ")))
    return old, f'[[{kind}]]\nname = "{name}"\n{ends}\n{lines}'


def pipe(lineup: LineUp, name: str) -> Pipe:
    return next(p for p in lineup.pipes if p.name == name)


def valve(lineup: LineUp, name: str) -> Valve:
    return next(v for v in lineup.valves if v.name == name)


def assumed(lineup: LineUp, subject: str) -> dict[str, Assumed]:
    return {a.quantity: a for a in lineup.assumed if a.subject == subject}


def test_a_pipe_by_size_and_length_only() -> None:
    """Bore and wall of ASME B36.10M, 12 inch standard; steel; the restraint with the greatest wave speed."""
    lineup = case(with_block("pipe", "shore line", 'length = "1200 m"\nsize = "12 inch"')).lineup
    got = pipe(lineup, "shore line")
    assert got.diameter == pytest.approx(0.32385 - 2 * 0.00953, abs=1e-4)
    steel = MATERIALS["steel"]
    speeds = [
        wave_speed(
            density=lineup.liquid.density,
            sound_speed=lineup.liquid.sound_speed,
            diameter=got.diameter,
            wall=0.00953,
            modulus=steel.modulus,
            c1=restraint_factor(way, poisson=steel.poisson),
        )
        for way in ("anchored at one end", "anchored throughout", "expansion joints")
    ]
    assert got.wave_speed == pytest.approx(max(speeds), rel=1e-12)
    told = assumed(lineup, "shore line")
    assert {k for k, a in told.items() if not a.asked} == {
        *("schedule", "material", "restraint", "roughness", "minor losses")
    }
    assert all(a.source for a in told.values())
    assert got.roughness == pytest.approx(0.02e-3)
    assert got.limits.rating is None  # a rating is never assumed


def test_a_schedule_that_is_named_is_not_assumed() -> None:
    lines = 'length = "1200 m"\nsize = "DN 300"\nschedule = "80"\ncondition = "old steel"'
    lineup = case(with_block("pipe", "shore line", lines)).lineup
    told = assumed(lineup, "shore line")
    assert told["bore and wall"].asked
    assert told["roughness"].asked
    assert "schedule" not in told
    assert pipe(lineup, "shore line").roughness == pytest.approx(0.5e-3)


def test_stainless_schedules_are_of_stainless_steel() -> None:
    lines = 'length = "1200 m"\nsize = "12 inch"\nschedule = "10S"'
    lineup = case(with_block("pipe", "shore line", lines)).lineup
    assert assumed(lineup, "shore line")["material"].value.startswith("stainless steel 316L")


def test_one_rating_for_the_whole_system() -> None:
    lines = 'length = "1200 m"\nsize = "12 inch"'
    change = with_block("pipe", "shore line", lines)
    lineup = case(change, ("[rate] ", '[limits]\nsystem_rating = "10 bar(g)"\n[rate] ')).lineup
    limits = pipe(lineup, "shore line").limits
    assert (limits.rating, limits.rating_source) == (10e5, "rating of the system")
    # what an element gives itself goes before it
    assert valve(lineup, "manifold valve").limits.rating_source in ("rating", "rating of the system")


def test_flange_rating_at_the_temperature_of_the_cargo() -> None:
    """ASME B16.5, group 1.1: 17.7 bar at 100 C and 19.2 at 50 C; straight between, 18.63 at 69 C."""
    lines = 'length = "1200 m"\nsize = "12 inch"\nflange = "carbon steel"'
    change = with_block("pipe", "shore line", lines)
    hot = ("[liquid] ", '[liquid]\ntemperature = "69 degC"\n# ')
    assert pipe(case(change, hot).lineup, "shore line").limits.rating == pytest.approx(18.63e5, abs=1e3)
    (record,) = records(changed(change))
    assert "temperature" in record.remedy
    too_hot = ("[liquid] ", '[liquid]\ntemperature = "250 degC"\n# ')
    (record,) = records(changed(change, too_hot))
    assert "200" in record.found


def test_fittings_add_to_the_minor_loss() -> None:
    lines = (
        'length = "1200 m"\ninside_diameter = "300 mm"\nwave_speed = "1100 m/s"\nroughness = "0.05 mm"\n'
        'minor_loss = 2\nfittings = { "long-radius elbow" = 6, "sharp entrance" = 1 }'
    )
    lineup = case(with_block("pipe", "shore line", lines)).lineup
    want = 2 + 6 * loss_factor("long-radius elbow", diameter=0.3, roughness=5e-5)[0] + 0.5
    assert pipe(lineup, "shore line").minor_loss == pytest.approx(want, abs=0.08)
    assert len([k for k in assumed(lineup, "shore line") if "elbow" in k]) == 1


def test_a_hose_by_its_type() -> None:
    lines = (
        'length = "20 m"\ninside_diameter = "10 inch"\ntype = "rubber dock hose, 15 bar"\ntested = 2026-03-14'
    )
    lineup = case(with_block("hose", "cargo hose", lines)).lineup
    hose = pipe(lineup, "cargo hose")
    limits = hose.limits
    assert (limits.rating, limits.test_pressure, limits.burst) == (15e5, 22.5e5, 60e5)
    assert limits.includes_surge is False
    assert str(limits.tested) == "2026-03-14"
    assert limits.lowest == 0.0
    assert hose.wave_speed_range == (250.0, 700.0)  # judged by the worst of the band
    told = assumed(lineup, "cargo hose")
    assert "judged by the worst" in told["wave speed"].value
    assert {"rating", "test pressure", "burst pressure"} <= {k for k, a in told.items() if a.asked}


def test_a_hose_with_a_rating_of_its_own_keeps_it() -> None:
    lines = HOSE + 'type = "rubber dock hose, 15 bar"\nrating = "10 bar(g)"\nwave_speed = "450 m/s"'
    hose = pipe(case(with_block("hose", "cargo hose", lines)).lineup, "cargo hose")
    assert (hose.limits.rating, hose.limits.test_pressure, hose.wave_speed) == (10e5, None, 450.0)


def test_a_valve_by_type_and_size() -> None:
    lineup = case(with_block("valve", "manifold valve", 'type = "butterfly"\nsize = "10 inch"')).lineup
    got = valve(lineup, "manifold valve")
    assert got.kv == assumed_kv("butterfly", size="10 inch").high
    assert got.characteristic == VALVE_CURVES["butterfly"].table
    told = assumed(lineup, "manifold valve")
    assert not told["Kv"].asked
    assert not told["characteristic"].asked


@pytest.mark.parametrize(
    ("kind", "name", "lines", "key", "remedy"),
    [
        ("pipe", "shore line", 'length = "1 km"\nsize = "13 inch"', "size", "surge list"),
        (
            "pipe",
            "shore line",
            SIZED + 'schedule = "stadard"',
            "schedule",
            "standard",
        ),
        ("pipe", "shore line", 'length = "1 km"\nschedule = "standard"', "schedule", "size"),
        (
            "pipe",
            "shore line",
            SIZED + 'wall = "9 mm"',
            "wall",
            "take wall or size",
        ),
        (
            "pipe",
            "shore line",
            SIZED + 'condition = "new stel"',
            "condition",
            "new steel",
        ),
        (
            "pipe",
            "shore line",
            SIZED + 'fittings = { "elbo" = 1 }',
            "elbo",
            "surge list",
        ),
        (
            "pipe",
            "shore line",
            SIZED + 'flange = "carbon stel"\nrating = "10 bar(g)"',
            "flange",
            "",
        ),
        ("hose", "cargo hose", HOSE + 'type = "rubber"', "type", ""),
        ("hose", "cargo hose", 'length = "20 m"\nwave_speed = "400 m/s"', "inside_diameter", "add the key"),
        ("valve", "manifold valve", 'type = "buterfly"\nsize = "10 inch"', "type", "butterfly"),
        ("valve", "manifold valve", 'type = "butterfly"\nsize = "50 inch"', "size", ""),
        ("valve", "manifold valve", 'size = "10 inch"', "size", "type"),
        ("valve", "manifold valve", 'type = "butterfly"', "type", "size"),
        ("valve", "manifold valve", 'characteristic = "gate"', "kv", "type"),
        ("valve", "manifold valve", 'kv = "900 m3/h"', "characteristic", "type"),
        (
            "hose",
            "cargo hose",
            HOSE + 'tested = "2026"',
            "tested",
            "quotes",
        ),
    ],
)
def test_names_that_are_not_there(kind: str, name: str, lines: str, key: str, remedy: str) -> None:
    found = records(changed(with_block(kind, name, lines)))
    wanted = [r for r in found if r.key.endswith(key)]
    assert wanted, [(r.key, r.found) for r in found]
    assert any(remedy in r.remedy for r in wanted), [r.remedy for r in wanted]


def test_a_part_is_no_better_than_its_system() -> None:
    """A class 150 flange bears 19.6 bar cold; a system rated 10 bar has 10 bar there too."""
    lines = SIZED + 'flange = "carbon steel"'
    system = ("[rate] ", '[limits]\nsystem_rating = "10 bar(g)"\n[rate] ')
    warm = ("[liquid] ", '[liquid]\ntemperature = "15 degC"\n# ')
    lineup = case(with_block("pipe", "shore line", lines), system, warm).lineup
    limits = pipe(lineup, "shore line").limits
    assert (limits.rating, limits.rating_source) == (10e5, "rating of the system")
    assert "10 bar" in assumed(lineup, "shore line")["rating of its flanges"].source
    high = ("[rate] ", '[limits]\nsystem_rating = "25 bar(g)"\n[rate] ')
    lineup = case(with_block("pipe", "shore line", lines), high, warm).lineup
    assert pipe(lineup, "shore line").limits.rating == pytest.approx(19.6e5)


def test_a_hose_is_made_for_some_temperatures_and_rated_no_higher_than_its_type() -> None:
    change = with_block("hose", "cargo hose", HOSE + 'type = "rubber dock hose, 15 bar"')
    hot = ("[liquid] ", '[liquid]\ntemperature = "160 degC"\n# ')
    (record,) = records(changed(change, hot))
    assert record.key == 'hose "cargo hose": type'
    assert "82" in record.expected
    lines = HOSE + 'type = "composite hose, 4 bar"\nrating = "20 bar(g)"'
    (record,) = records(changed(with_block("hose", "cargo hose", lines)))
    assert record.key == 'hose "cargo hose": rating'
    assert "4 bar(g)" in record.expected


def test_an_assumed_wave_speed_is_judged_by_the_worst() -> None:
    """Soft end, stiff end and between are looked at; the findings are those of the worst.

    Looks end with the run: at 340 m/s waves beat, and 0.1 bar come on top after 129 s, five times as late as
    anything at the ends of the range. That is not seen (how-it-works, section 7)."""
    change = with_block("hose", "cargo hose", HOSE + 'type = "rubber dock hose, 10 bar"')
    made = check(case(change).lineup)
    peaks = {}
    for speed in (250.0, 350.0, 475.0, 700.0):
        lines = f'type = "rubber dock hose, 10 bar"\nwave_speed = "{speed} m/s"'
        given = with_block("hose", "cargo hose", HOSE + lines)
        lone = check(case(given).lineup)
        peaks[speed] = {(f.scenario, f.name): f for f in lone.findings if f.check == "peak"}
    until = {s.name: s.method.duration for s in made.scenarios}
    for f in made.findings:
        if f.check == "peak" and f.value is not None and f.subject == "element":
            alike = (p[f.scenario, f.name] for p in peaks.values())
            worst = max(p.value or 0.0 for p in alike if (p.time or 0.0) <= until[f.scenario])
            assert f.value >= worst - f.error - 500.0, (f.name, f.value, worst)
    assert any(t.quantity == "wave speed" for f in made.findings for t in f.taken)


def test_whether_a_rating_includes_surge_is_said() -> None:
    for flag, words in (("true", "meant to include surge"), ("false", "meant without surge")):
        lines = HOSE + f'wave_speed = "450 m/s"\nrating = "10 bar(g)"\nrating_includes_surge = {flag}'
        found = check(case(with_block("hose", "cargo hose", lines)).lineup).findings
        assert any(words in f.limit_source for f in found if f.check == "peak" and f.name == "cargo hose")


def test_glass_fibre_takes_no_allowance() -> None:
    lines = SIZED + 'material = "GRP"\nrating = "10 bar(g)"\nallowance = 1.33'
    assert any(r.key.endswith("allowance") for r in records(changed(with_block("pipe", "shore line", lines))))


def test_a_first_transfer_after_this_one_is_refused() -> None:
    dates = ("[berth]\n", "[berth]\nfirst_transfer = 2027-01-01\n")
    (record,) = records(changed(dates))
    assert record.key == "berth: first_transfer"


def test_a_parcel_by_weight_is_a_volume_at_loading_temperature() -> None:
    given = case().lineup.berth
    assert (given.terminal, given.name, given.ship) == ("Sandbank terminal", "berth 3", "MT Example")
    assert given.parcel == pytest.approx(8000.0)
    by_weight = case(('parcel = "8000 m3"', 'parcel = "5920 t"')).lineup
    assert by_weight.berth.parcel == pytest.approx(5920e3 / by_weight.liquid.density)
    assert case(('parcel = "8000 m3"', "")).lineup.berth.parcel is None


def test_a_day_that_is_none_has_its_remedy() -> None:
    (record,) = records(changed(("transfer = 2026-06-01", "transfer = 2026-02-31")))
    assert "without quotes" in record.remedy

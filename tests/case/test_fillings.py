"""Fillings in case files: what is built of them, and what is refused, each with its line, key and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from surge.case.file import read_case
from surge.errors import CaseError
from surge.model.column import column_of

CASE = Path(__file__).parents[2] / "cases" / "gas-oil-first-fill.toml"


def text() -> str:
    return CASE.read_text(encoding="utf-8")


def faults(changed: str) -> list[tuple[str, str, str]]:
    with pytest.raises(CaseError) as caught:
        read_case(changed, filename="t.toml")
    return [(".".join(map(str, f.path)), f.found, f.remedy) for f in caught.value.faults]


def in_first(old: str, new: str) -> str:
    """The case with a change in its first filling."""
    before, mark, after = text().partition("[[filling]]")
    assert old in after
    return before + mark + after.replace(old, new, 1)


def test_what_is_built() -> None:
    lineup = read_case(text(), filename="t").lineup
    first, second = lineup.fillings
    assert (first.start, first.end, first.vent) == ("deck line inlet", "drop valve inlet", "open")
    assert first.gas_pressure == pytest.approx(5e3)
    assert first.scenario.stage == "start"
    assert first.scenario.rate == pytest.approx(100 / 3600)
    assert (second.vent, second.vent_diameter, second.vent_coefficient) == ("opening", 0.025, 0.8)
    assert second.exponent_range == (1.0, 1.4)
    column = column_of(lineup, first)
    assert [p.pipe.name for p in column.pipes] == ["shore line", "cargo hose", "deck line"]
    assert [[e.name for e in links] for links in column.links] == [
        ["shore pump", "shore control valve"],
        [],
        ["manifold valve"],
    ]
    assert column.end is not None
    assert column.end.name == "drop line valve"
    assert column_of(lineup, second).end is None  # it stays shut
    assumed = [(a.subject, a.quantity) for a in lineup.assumed]
    assert ("drop line valve shut by mistake", "exponent of the gas") in assumed
    assert ("first fill of the deck line", "exponent of the gas") not in assumed  # its gas keeps its pressure


@pytest.mark.parametrize(
    ("old", "new", "path", "found", "remedy"),
    [
        ('from = "deck line inlet"', 'from = "deck line inlet"\nfront = "150 m"', "filling.0.front",
         "150 m beyond", "write how far the liquid stands"),
        ('vent = "open"', 'vent = "shut"', "filling.0.vent", '"drop line valve" is an open way out',
         'write vent = "open", or shut "drop line valve"'),
        ('vent = "open"', 'vent_diameter = "20 mm"', "filling.0.vent", "is an open way out",
         'write vent = "open"'),
        ('vent = "open"', "", "filling.0.vent", "neither vent nor vent_diameter",
         "add vent or vent_diameter"),
        ('vent = "open"', 'vent = "open"\nvent_diameter = "20 mm"', "filling.0.vent_diameter",
         "vent_diameter beside vent", "take vent or vent_diameter out"),
        ('vent = "open"', 'vent = "open"\nvent_coefficient = 0.8', "filling.0.vent_coefficient",
         "vent_coefficient without vent_diameter", "add the key vent_diameter"),
        ('to = "drop valve inlet"', 'to = "drop line foot"', "filling.0.from", "no way of pipes",
         "write the points"),
        ('to = "drop valve inlet"', 'to = "deck line inlet"', "filling.0.to", "where the gas begins already",
         "write the point at which the front arrives"),
        ('to = "drop valve inlet"', 'to = "drop inlet"', "filling.0.to", "drop inlet", "did you mean"),
        ('rate = "100 m3/h"', "", "filling.0.rate", "no key rate", "add the key rate"),
        ('gas_pressure = "0.05 bar(g)"', 'gas_pressure = "0.05 bar"', "filling.0.gas_pressure", "0.05 bar",
         ""),
        ('gas_pressure = "0.05 bar(g)"', "", "filling.0.gas_pressure", "no key gas_pressure", ""),
        ('"first fill of the deck line"', '"start of loading"', "filling.0.name",
         "for a second time", "rename one of the two"),
        ('open = "manifold valve"\nstroke = "25 s"', 'trip = "shore pump"', "filling.0.event.0", "trips",
         "run_down"),
        # Shut at first and only ever closed: nothing would flow, and every limit would be kept.
        ('open = "manifold valve"', 'close = "manifold valve"', "filling.0.from", "the way ends at",
         "open it in an event"),
    ],
)  # fmt: skip
def test_what_is_refused(old: str, new: str, path: str, found: str, remedy: str) -> None:
    told = faults(in_first(old, new))
    assert any(p.startswith(path) and found in f and remedy in r for p, f, r in told), told


def test_a_shut_way_and_a_branched_way_are_refused() -> None:
    shut = in_first('[[filling.event]]\nat = "5 s"\nopen = "manifold valve"\nstroke = "25 s"\n', "")
    assert any("open what stands between" in r for _, _, r in faults(shut))
    branch = """
[[pipe]]
name = "crossover"
from = "deck line inlet"
to = "blank"
length = "8 m"
inside_diameter = "202.7 mm"
wall = "8.18 mm"
material = "steel"
restraint = "expansion joints"
roughness = "0.05 mm"
minor_loss = 1
rating = "10 bar(g)"

"""
    changed = text().replace("[[scenario]]", branch + "[[scenario]]", 1)
    changed = changed.replace("[points]", '[points]\n"blank" = { elevation = "6 m", closed = true }', 1)
    told = faults(changed)
    assert any(p == "filling.0.to" and 'branches at "deck line inlet"' in f for p, f, _ in told), told


def test_what_hangs_on_the_way_is_refused() -> None:
    relief = """
[[relief_valve]]
name = "relief"
at = "berth"
set_pressure = "9 bar(g)"
full_lift_pressure = "10 bar(g)"
kv = "100 m3/h"
opening_time = "0.1 s"
back_pressure = "0 bar(g)"

"""
    told = faults(text().replace("[[scenario]]", relief + "[[scenario]]", 1))
    assert any('"relief" hangs on the way' in f and "a copy of the case" in r for _, f, r in told), told

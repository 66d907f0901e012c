"""What a relief valve and a surge drum gain in a window: a shorter safe stroke, which a full run confirms."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.demos import Demos
from support.lineups.one_line import closing, line
from support.lineups.relieved import relief

import surge
from surge.api.inputs import rules_of_case
from surge.model.attached import SurgeDrum
from surge.model.lineup import LineUp
from surge.reports.window import without_words
from surge.rules.findings import EXCEEDED, findings_of
from surge.search.judge import NO_RULES
from surge.search.strokes import stroke_limits
from surge.search.window import windows_of
from surge.transient.run import simulate


def _shortest(lineup: LineUp) -> float:
    got = stroke_limits(lineup, lineup.scenarios[0], "end valve", book=NO_RULES, longest=40.0)
    assert got.shortest is not None
    return got.shortest


@pytest.mark.slow
def test_a_relief_valve_and_a_drum_shorten_the_shortest_safe_stroke() -> None:
    bare = line()
    first = _shortest(bare)
    valve = relief("berth", set_pressure=6e5, full_pressure=6.6e5, kv=600.0, opening_time=0.2)
    drum = SurgeDrum(name="drum", point="berth", volume=30.0, gas_volume=10.0, exponent=1.2, neck_kv=1500.0)
    for made in (bare.with_(relief_valves=(valve,)), bare.with_(surge_drums=(drum,))):
        shortest = _shortest(made)
        assert shortest < 0.9 * first
        scenario = replace(closing(shortest), name="as told")
        checked = made.with_(scenarios=(scenario,))
        found = findings_of(checked, simulate(checked, scenario))
        assert not any(f.verdict == EXCEEDED for f in found)
    # A drum that is too small swings with the line: then the valve has to be slower than without one.
    small = bare.with_(surge_drums=(replace(drum, volume=5.0, gas_volume=0.6),))
    assert _shortest(small) > 1.1 * first
    # Without any of it the same stroke is too quick.
    quick = closing(shortest)
    assert any(f.verdict == EXCEEDED for f in findings_of(bare, simulate(bare, quick)))


@pytest.mark.slow
def test_a_window_and_a_chart_tell_what_a_relief_valve_gains(demos: Demos) -> None:
    """As the windows of the case without it are."""
    demo = demos["kerosene-relief-valve"]
    lineup, found = demo.case.lineup, demo.windows
    bare = windows_of(lineup.with_(relief_valves=()), book=rules_of_case(demo.case))
    shortest = bare.bounds("manifold valve")[0]
    assert shortest is not None
    assert found.without == {"manifold valve": shortest}
    assert bare.without == {}
    gained = found.bounds("manifold valve")[0]
    assert gained is not None
    assert gained < 0.7 * shortest
    told = f'Without "berth relief valve": "manifold valve" {shortest:.1f} s or more.'
    assert without_words(found, lineup) == told
    assert told in " ".join(found.text().split())
    assert found.document()["shortest_without_relief_or_drums_s"] == found.without
    chart = surge.survey(demo.case, points=3)
    assert f'Without "berth relief valve", at the agreed rate: {shortest:.1f} s or more.' in chart.notes

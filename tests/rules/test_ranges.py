"""Figures known as ranges only: judged by the worst over all of them, and what a verdict turns on."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from types import SimpleNamespace
from typing import ClassVar

import pytest
from support.lineups.assumed import PLACEHOLDER, assumed_text
from support.lineups.lines import THIN, line_up, pipe, valve
from support.lineups.one_line import QUADRATIC, closing
from support.oracles.raster import compared

from surge.case.file import read_case
from surge.hydraulics.fixed import at_figures, at_shares, scenario_at
from surge.hydraulics.formulas import hose_wave_speed, wave_speed
from surge.model.lineup import Limits, LineUp, Rate, Scenario, Wall
from surge.model.ranges import (
    Range,
    Taken,
    evenly_inside,
    figures_at,
    narrowed,
    ranges_of,
    rounded,
    usual_shares,
)
from surge.rules.assess import assess
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.rules.ranged import _RunsAtWorst
from surge.rules.sights import Sight
from surge.rules.spread import Spread, _may_hide

STEEL = 207e9


def line(**more: object) -> LineUp:
    """A tank at 50 m, 900 m of line, a valve that closes in 10 s, a tank at 20 m."""
    lineup = line_up(
        [
            valve("control valve", "tank", "inlet", 0.12),
            pipe("line", "inlet", "berth", 900.0, 1000.0),
            valve("end valve", "berth", "ship", 0.2, characteristic=QUADRATIC),
        ],
        {"tank": 50.0, "ship": 20.0},
        liquid=replace(THIN, vapour_pressure=-4e6, viscosity=1e-5),
        rate=Rate(agreed=0.2, means="throttle", at="control valve", through="line"),
        scenarios=(closing(),),
    )
    tanks = tuple(replace(t, side="ship" if t.point == "ship" else "shore") for t in lineup.tanks)
    return lineup.with_(tanks=tanks, **more)


def rated(lineup: LineUp, rating: float) -> LineUp:
    """The same with a rating for the pipe [Pa gauge]."""
    return lineup.with_(pipes=tuple(replace(p, limits=Limits(rating=rating)) for p in lineup.pipes))


def peak(lineup: LineUp) -> float:
    """Highest pressure at the usual figures [Pa gauge]."""
    return max(f.value or 0.0 for f in assess(rated(lineup, 1e8)).findings if f.check == "peak")


# The line-up at a point of its ranges


def test_what_hangs_together_moves_together() -> None:
    walled = replace(
        line().pipes[0],
        wall=Wall(thickness=0.01, stiffness=STEEL, thickness_range=(0.008, 0.012)),
        swell=None,
        wave_speed=1000.0,
    )
    hose = replace(walled, name="hose", wall=None, swell=(0.01, 1e6))
    lineup = line(
        pipes=(walled, hose),
        rate=Rate(agreed=0.2, means="throttle", at="control valve", through="line", by_mass=True),
    )
    liquid = lineup.liquid
    lineup = lineup.with_(liquid=replace(liquid, density_range=(700.0, 900.0), by_dynamic_viscosity=True))
    taken = [Taken("liquid", "density", 700.0), Taken("line", "wall", 0.008)]
    got = at_figures(lineup, taken)
    factor = liquid.density / 700.0
    assert got.rate is not None
    assert got.rate.agreed == pytest.approx(0.2 * factor)
    assert got.liquid.viscosity == pytest.approx(liquid.viscosity * factor)
    assert got.pipes[0].diameter == pytest.approx(walled.diameter + 0.004)

    def speed(density: float, diameter: float, wall: float) -> float:
        c = {"density": density, "sound_speed": liquid.sound_speed}
        return wave_speed(**c, diameter=diameter, wall=wall, modulus=STEEL, c1=1.0)

    want = speed(700.0, walled.diameter + 0.004, 0.008) / speed(liquid.density, walled.diameter, 0.01)
    assert got.pipes[0].wave_speed == pytest.approx(1000.0 * want)
    swells = [
        hose_wave_speed(density=d, sound_speed=liquid.sound_speed, swell=0.01, pressure=1e6)
        for d in (700.0, liquid.density)
    ]
    assert got.pipes[1].wave_speed == pytest.approx(1000.0 * swells[0] / swells[1])
    assert not ranges_of(got)


def test_a_rate_by_mass_is_another_volume_at_another_density() -> None:
    before = line().with_(liquid=replace(line().liquid, density=800.0))
    after = before.with_(liquid=replace(before.liquid, density=1000.0))
    by_mass = Scenario(name="s", rate=0.2, by_mass=True)
    assert scenario_at(by_mass, before, after).rate == pytest.approx(0.16)
    assert scenario_at(replace(by_mass, by_mass=False), before, after).rate == 0.2


def test_the_usual_point_is_the_line_up_itself() -> None:
    lineup = read_case(assumed_text(0).replace(PLACEHOLDER, "16 bar(g)"), filename="t").lineup
    fixed = at_shares(lineup, usual_shares(lineup))
    for one, two in zip(lineup.pipes, fixed.pipes, strict=True):
        assert (two.length, two.diameter) == (one.length, one.diameter)
        assert two.wave_speed == pytest.approx(one.wave_speed, rel=1e-12)
        assert two.roughness == pytest.approx(one.roughness, rel=1e-9)
    assert len(ranges_of(lineup)) > 5


@pytest.mark.parametrize(
    ("quantity", "value", "down", "up"),
    [
        ("viscosity", 0.041234, 0.0412, 0.0413),
        ("wave speed", 431.4, 431.0, 432.0),
        ("wall", 8.184e-3, 8.18e-3, 8.19e-3),
    ],
)
def test_the_value_at_which_a_verdict_turns_is_rounded_one_way(
    quantity: str, value: float, down: float, up: float
) -> None:
    assert rounded(quantity, value, up=False) == pytest.approx(down, rel=1e-9)
    assert rounded(quantity, value, up=True) == pytest.approx(up, rel=1e-9)


def test_points_inside_the_ranges_are_those_of_halton() -> None:
    assert [evenly_inside(i)[0] for i in range(1, 5)] == [1 / 2, 1 / 4, 3 / 4, 1 / 8]
    assert [evenly_inside(i)[1] for i in range(1, 5)] == pytest.approx([1 / 3, 2 / 3, 1 / 9, 4 / 9])


def test_a_narrowed_range_keeps_to_its_ends() -> None:
    lineup = line(valves=tuple(replace(v, kv_range=(2000.0, 9000.0)) for v in line().valves))
    one = ranges_of(lineup)[0]
    assert isinstance(one, Range)
    narrow = narrowed(lineup, one, 3000.0, 4000.0)
    assert next((r.low, r.high) for r in ranges_of(narrow)) == (3000.0, 4000.0)
    ends = [figures_at(narrow, [x, 0.0])[0].value for x in (0.0, 1.0)]
    assert ends == [3000.0, 4000.0]


def test_what_may_hide_between_samples() -> None:
    """A parabola sampled beside its top: what hides is not told as less than it is."""
    samples = [(x, -((x - 0.375) ** 2)) for x in (0.0, 0.25, 0.5, 0.75, 1.0)]
    hides, between = _may_hide(samples)
    assert hides >= 0.0
    assert between == 0.375


# The worst over the ranges, and what it turns on


def test_of_a_rule_that_one_run_does_not_show_the_other_run_answers() -> None:
    """Margins are negative where a rule is kept: a run without one is not the worst."""
    key = ("rule", "r")
    looks = [Sight(shares=(0.0,), values={}), Sight(shares=(1.0,), values={key: -2.0})]
    runs = _RunsAtWorst.__new__(_RunsAtWorst)
    runs.looks = looks
    runs.sights = SimpleNamespace(noise=lambda _: 0.0, all=looks)  # type: ignore[assignment]
    runs.spread = SimpleNamespace(bound=lambda _: 3.0, worst=lambda _: looks[1])  # type: ignore[assignment]
    assert runs._more(1, key) == 5.0


class _TwoPoints:
    """Looks at one range in which a rule has a margin at the high end only."""

    ranges = (Range(subject="v", quantity="Kv", low=1.0, high=2.0, usual=1.0),)
    usual = (0.0,)
    limits: ClassVar = {("rule", "r"): 0.0, ("element", "e", "high"): 1e6}
    scale: ClassVar = {("rule", "r"): 1.0}

    def __init__(self) -> None:
        self.ends = [(0.0, 1.0)]
        self.seen: dict[float, Sight] = {}
        self.base = self.at(self.usual)

    @property
    def all(self) -> list[Sight]:
        return list(self.seen.values())

    def at(self, shares: tuple[float, ...]) -> Sight:
        values = {("element", "e", "high"): 1e5}
        if shares[0] > 0.9:
            values["rule", "r"] = -2.0  # type: ignore[index]
        return self.seen.setdefault(shares[0], Sight(shares=shares, values=values))  # type: ignore[arg-type]

    def see(self, points: Iterable[tuple[float, ...]]) -> None:
        for shares in points:
            self.at(shares)

    def find_ends(self, _: int) -> None:
        pass

    def small(self, _: object) -> float:
        return 0.1

    noise = small


def test_of_a_rule_that_shows_at_some_points_only_nothing_is_known_elsewhere() -> None:
    spread = Spread(_TwoPoints())  # type: ignore[arg-type]
    assert spread.bound(("rule", "r")) == math.inf
    assert (1.0,) in spread.points(), "a full run shows the rule"
    assert spread.bound(("element", "e", "high")) == 1e5


def test_a_lower_wave_speed_can_be_the_worse_one() -> None:
    """The usual figure is the high end, and the peak at the low one is higher: it is found."""
    base = line(scenarios=(closing(1.5),))
    wide = base.with_(pipes=tuple(replace(p, wave_speed_range=(600.0, 1000.0)) for p in base.pipes))
    speeds = [600.0, 700.0, 800.0, 900.0, 1000.0]
    peaks = [peak(base.with_(pipes=(replace(base.pipes[0], wave_speed=a),))) for a in speeds]
    made = assess(rated(wide, 1e8))
    told = max((f.value or 0.0) + f.error for f in made.findings if f.check == "peak")
    assert told >= max(peaks) - 500.0


def test_a_range_that_turns_the_verdict_is_undecided_and_says_where() -> None:
    base = line()
    wide = base.with_(pipes=tuple(replace(p, wave_speed_range=(400.0, 1000.0)) for p in base.pipes))
    low = peak(base.with_(pipes=(replace(base.pipes[0], wave_speed=400.0),)))
    high = peak(base)
    made = assess(rated(wide, 0.5 * (low + high)))
    assert made.verdict == UNDECIDED
    assert made.weakest is not None
    assert made.weakest.reason.startswith('it depends on the wave speed of "line": kept')
    assert "(tried)" in made.weakest.reason
    assert len({t.value for run in made.scenarios for t in run.taken}) == 2, "the worst, and one that is kept"
    assert assess(rated(wide, 2.0 * max(low, high))).verdict == WITHIN
    assert assess(rated(wide, 0.9 * min(low, high))).verdict == EXCEEDED


def test_a_length_in_brackets_has_to_be_safe_all_through() -> None:
    base = line()
    wide = base.with_(pipes=tuple(replace(p, length_range=(300.0, 900.0)) for p in base.pipes))
    short = peak(base.with_(pipes=(replace(base.pipes[0], length=300.0),)))
    assert assess(rated(wide, 0.5 * (short + peak(base)))).verdict == EXCEEDED


@pytest.mark.parametrize("seed", [115, 117])
def test_no_raster_of_assumed_figures_is_worse_than_what_is_told(seed: int) -> None:
    text = assumed_text(seed, known=0.85).replace(PLACEHOLDER, "16 bar(g)")
    made = assess(read_case(text, filename="t").lineup)
    got = compared(made, points=16, seed=seed, slack=2000.0)
    assert got.points >= 12
    assert not got.wrong
    assert not got.outside

"""The window over bands: closed forms, brute force on a simple line, and what bands may never do."""

from __future__ import annotations

import functools
import json
import math
from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.inputs.case_text import case as starter
from support.lineups.one_line import QUADRATIC, closing, end_valve, line

from surge.errors import CaseError
from surge.model.lineup import LineUp, Rate
from surge.model.stroke import with_strokes
from surge.reports.document import as_json
from surge.reports.orders import band_lines
from surge.reports.orders_json import band_document
from surge.reports.words import Display
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, WITHIN, findings_of
from surge.rules.reading import built_in
from surge.search import bands
from surge.search.band_points import (
    CENTRE,
    BandPoint,
    Bands,
    Search,
    alone,
    bent,
    corners,
    lineup_at,
    mixed,
    scenario_at,
)
from surge.search.bands import BandLimits, band_limits
from surge.search.bounds import resolution, rounded_down
from surge.search.strokes import StrokeLimits, stroke_limits
from surge.transient.run import simulate
from surge.units import ShowUnits

NO_RULES = RuleBook(rules=())
NAMES = ("wave_speed", "stroke", "rate", "characteristic")


@functools.cache
def plain() -> StrokeLimits:
    return stroke_limits(line(), closing(), "end valve", book=NO_RULES)


@functools.cache
def over(spread: Bands) -> BandLimits:
    return band_limits(line(), closing(), plain(), bands=spread, book=NO_RULES)


def shortest(lineup: LineUp) -> float:
    found = stroke_limits(lineup, lineup.scenarios[0], "end valve", book=NO_RULES).shortest
    assert found is not None
    return found


@functools.cache
def shutdown() -> tuple[LineUp, StrokeLimits]:
    lineup = starter().lineup
    found = stroke_limits(lineup, lineup.scenarios[1], "manifold valve", book=built_in())
    return lineup, found


# Points


def test_points_of_the_bands() -> None:
    three = Bands(wave_speed=0.05, stroke=0.1, rate=0.02)
    assert [p.rate for p in alone("rate")] == [-1.0, -0.5, 0.5, 1.0]
    assert all(p._replace(rate=0.0) == CENTRE for p in alone("rate"))
    # Of the stroke only the quick end: 2 x 2 corners of the others.
    assert len(set(corners(three))) == 4
    assert {p.stroke for p in corners(three)} == {-1.0}
    assert {p.characteristic for p in [*corners(three), *mixed(three)]} == {0.0}
    assert corners(Bands(rate=0.1)) == mixed(Bands(rate=0.1)) == []
    inside = mixed(Bands(wave_speed=0.1, stroke=0.1, rate=0.1, characteristic=0.1))
    assert len(set(inside)) == 6
    assert all(-1.0 < x < 1.0 for p in inside for x in p)


def test_low_discrepancy_points_by_hand() -> None:
    """Digits behind the point: 1, 2, 3 in base 2 are 1/2, 1/4, 3/4; in base 3 they are 1/3, 2/3, 1/9."""
    got = mixed(Bands(wave_speed=0.1, rate=0.1))[:3]
    assert [p.wave_speed for p in got] == pytest.approx([0.0, -0.5, 0.5])
    assert [p.rate for p in got] == pytest.approx([2 / 3 - 1, 4 / 3 - 1, 2 / 9 - 1])


@settings(max_examples=60, deadline=None)
@given(st.floats(0.5, 1.5), st.integers(0, 20))
def test_a_straight_characteristic_is_bent(power: float, k: int) -> None:
    """Closed form at every twentieth: x**power; the ends stay."""
    straight = ((0.0, 0.0), (1.0, 1.0))
    got = bent(straight, power)
    assert got == straight if power == 1.0 else dict(got)[k / 20] == pytest.approx((k / 20) ** power)
    assert (got[0], got[-1]) == ((0.0, 0.0), (1.0, 1.0))


def test_a_characteristic_keeps_its_own_points() -> None:
    assert bent(QUADRATIC, 1.0) == QUADRATIC
    got = bent(((0.0, 0.0), (0.33, 0.1), (1.0, 1.0)), 2.0)
    assert len(got) == 22
    assert dict(got)[0.33] == pytest.approx(0.01)
    assert dict(got)[0.5] == pytest.approx((0.1 + 0.9 * 0.17 / 0.67) ** 2)


def test_the_line_up_at_a_point() -> None:
    bands = Bands(wave_speed=0.1, rate=0.2, characteristic=0.5)
    lineup, point = line(), BandPoint(wave_speed=-1.0, rate=0.5, characteristic=1.0)
    moved = lineup_at(lineup, bands, point)
    assert moved.pipes[0].wave_speed == pytest.approx(900.0)
    assert dict(end_valve(moved).characteristic)[0.5] == pytest.approx(0.25**1.5)
    assert scenario_at(lineup, closing(), bands, point).rate == pytest.approx(0.22)
    assert lineup_at(lineup, bands, CENTRE) == lineup
    assert scenario_at(lineup, closing(), bands, CENTRE) == closing()
    assert scenario_at(lineup.with_(rate=None), closing(), bands, point) == closing()


def test_the_doubt_of_the_sound_speed_stands_in() -> None:
    assert Bands().stated(0.02).wave_speed == 0.02
    assert Bands(wave_speed=0.0).stated(0.02).wave_speed == 0.0
    assert Bands(wave_speed=0.05).stated(0.02).wave_speed == 0.05


@pytest.mark.parametrize("bands", [Bands(stroke=-0.1), Bands(rate=0.6), Bands(wave_speed=math.nan)])
def test_a_band_that_cannot_be(bands: Bands) -> None:
    with pytest.raises(CaseError, match="bands"):
        band_limits(line(), closing(), plain(), bands=bands, book=NO_RULES)


# The window


def test_bands_of_nothing_give_the_plain_window() -> None:
    got = over(Bands())
    assert got.shortest == plain().shortest
    assert got.alone == ()
    assert got.points == got.confirmed == (CENTRE,)
    assert got.governs == plain().governs
    lineup, other = shutdown()
    none = band_limits(lineup, lineup.scenarios[1], other, bands=Bands(), book=built_in())
    assert (none.shortest, none.longest, none.slow_rule) == (other.shortest, other.longest, other.slow_rule)


@pytest.mark.parametrize("width", [0.1, 0.2])
def test_a_stroke_band_by_its_closed_form(width: float) -> None:
    """Told T, the valve takes T * (1 - band) at the least, and every longer stroke is safe."""
    start = plain().shortest
    got = over(Bands(stroke=width)).shortest
    assert start is not None
    assert got is not None
    assert got == pytest.approx(start / (1.0 - width), abs=resolution(start) + 0.1)
    assert got * (1.0 - width) >= start - resolution(start)


@pytest.mark.parametrize("name", NAMES)
def test_a_wider_band_never_gives_a_shorter_stroke(name: str) -> None:
    widths = (0.0, 0.1, 0.2)
    got = [over(Bands(**{name: w})).shortest for w in widths]
    assert all(s is not None for s in got)
    assert got == sorted(got, key=lambda s: s or 0.0)


def test_a_rate_band_against_the_plain_window_at_its_end() -> None:
    """On this line a greater rate is always worse: the end of the band decides."""
    lineup = line(rate=0.2 * 1.1)
    assert over(Bands(rate=0.1)).shortest == pytest.approx(shortest(lineup), abs=0.2)


@pytest.mark.parametrize(
    ("name", "share"), [("characteristic", 1.0), ("wave_speed", -1.0), ("wave_speed", 1.0)]
)
def test_never_better_than_a_line_up_within_the_bands(name: str, share: float) -> None:
    bands = Bands(**{name: 0.1})
    inside = lineup_at(line(), bands, CENTRE._replace(**{name: share}))
    got = over(bands).shortest
    assert got is not None
    assert got >= shortest(inside) - resolution(got)


def test_a_dense_scan_within_the_bands_finds_nothing_unsafe() -> None:
    """Points that the search did not look at, at the stroke that it told and above."""
    bands = Bands(wave_speed=0.1, rate=0.1)
    told = over(bands).shortest
    assert told is not None
    for k in range(16):
        point = BandPoint(wave_speed=-0.9 + (k % 4) * 0.6, rate=-0.7 + (k // 4) * 0.5)
        lineup = lineup_at(line(), bands, point)
        for stroke in (told, 1.13 * told):
            scenario = scenario_at(lineup, closing(stroke), bands, point)
            run = simulate(lineup, scenario, quick=True)
            assert min(f.margin for f in findings_of(lineup, run) if f.margin is not None) >= 0.0, point


def test_all_together_is_no_better_than_any_alone() -> None:
    both = over(Bands(wave_speed=0.1, rate=0.1))
    assert both.shortest is not None
    for one in (Bands(wave_speed=0.1), Bands(rate=0.1)):
        single = over(one).shortest
        assert single is not None
        assert both.shortest >= single - 0.1
    assert both.verdict == WITHIN


def test_which_band_matters_most() -> None:
    """By the plain windows at the ends of each band: the rate moves it by 0.7 s, the wave speed by 0.1 s."""
    got = over(Bands(wave_speed=0.1, rate=0.1)).alone
    assert [m.band for m in got] == ["rate", "wave_speed"]
    start = plain().shortest
    assert start is not None
    assert got[0].moved == pytest.approx(shortest(line(rate=0.22)) - start, abs=0.2)
    assert got[0].margin_moved > got[1].margin_moved >= 0.0


def test_a_rate_that_cannot_be_reached_is_left_out() -> None:
    lineup = line(rate=0.31)
    start = stroke_limits(lineup, closing(), "end valve", book=NO_RULES)
    got = band_limits(lineup, closing(), start, bands=Bands(rate=0.5), book=NO_RULES)
    ((point, why),) = got.left_out
    assert point == CENTRE._replace(rate=1.0)
    assert "reached" in why
    assert {p.rate for p in got.points} == {-1.0, -0.5, 0.0, 0.5}
    with pytest.raises(CaseError, match="reached"):
        simulate(lineup, scenario_at(lineup, closing(), Bands(rate=0.5), point), quick=True)


def test_no_safe_stroke_stays_so() -> None:
    lineup = line(rating=4e5)
    start = stroke_limits(lineup, closing(), "end valve", book=NO_RULES)
    got = band_limits(lineup, closing(), start, bands=Bands(rate=0.1), book=NO_RULES)
    assert (start.shortest, got.shortest, got.verdict) == (None, None, EXCEEDED)
    assert got.reason == start.reason


def test_a_band_over_which_no_stroke_is_safe() -> None:
    """Closed form: safe from T on, so over 20 % of the stroke from T / 0.8; none is looked at there."""
    assert plain().shortest is not None
    longest = 1.1 * plain().shortest
    start = stroke_limits(line(), closing(), "end valve", book=NO_RULES, longest=longest)
    got = band_limits(line(), closing(), start, bands=Bands(stroke=0.2), book=NO_RULES)
    assert start.shortest is not None
    assert got.shortest is None
    assert got.verdict != WITHIN
    assert "over the bands" in got.reason
    assert got.alone[0].moved == math.inf
    display = Display(units=ShowUnits(), density=1000.0)
    assert "No stroke time is safe" in "\n".join(band_lines(got, display))
    assert band_document(got).bands_alone[0].none_is_safe


class Made:
    """A point of the bands that is safe from a stroke on, by a formula."""

    def __init__(self, share: float, safe_from: float) -> None:
        self.point, self.safe_from = CENTRE._replace(rate=share), safe_from

    def margin(self, stroke: float) -> float:
        return 1e6 * (1.0 - self.safe_from / stroke)


@pytest.mark.parametrize(("share", "safe_from"), [(0.5, 14.0), (1.0, 14.0), (-1.0, 14.0), (0.5, 9.0)])
def test_a_point_that_was_not_searched_is_held_against_the_answer(share: float, safe_from: float) -> None:
    """Closed form: 1e6 * (1 - S / T) keeps 2000 Pa from T = S / 0.998 on; the worst point decides."""
    centre, other = Made(0.0, 10.0), Made(share, safe_from)
    every = SimpleNamespace(
        centre=centre,
        fill=lambda *_: None,
        worst=lambda members, strokes: [min(m.margin(x) for m in members) for x in strokes],
        hidden=lambda _: 0.0,
        period=2.0,
    )
    search = Search(every, SimpleNamespace(shortest=10.1, to=120.0, from_=1.0))  # type: ignore[arg-type]
    found = search.shortest([centre, other], 2000.0)  # type: ignore[list-item]
    assert found == pytest.approx(max(10.0, safe_from) / 0.998, abs=0.1)
    assert found >= max(10.0, safe_from) / 0.998


class Confirming:
    """Full runs that keep every limit from 12 s on, and are undecided for a reason below."""

    findings: tuple[object, ...] = ()
    lacking = 0.0

    def __init__(self, stroke: float, *, hopeless: bool) -> None:
        self.kept = stroke >= 12.0
        self.hopeless = hopeless


@pytest.mark.parametrize("hopeless", [False, True])
def test_what_is_undecided_at_quick_strokes_only(monkeypatch: pytest.MonkeyPatch, hopeless: bool) -> None:
    """Closed form: found at 8.04 s; then each a quarter longer, to the tenth above, until it is kept."""
    tried: list[float] = []

    def confirm(_: object, stroke: float, by: float) -> Confirming:
        tried.append(stroke)
        return Confirming(stroke, hopeless=hopeless)

    monkeypatch.setattr(bands, "_confirm", confirm)
    search = SimpleNamespace(start=8.0, plain=SimpleNamespace(to=120.0), shortest=lambda *_: 8.04)
    _, got = bands._searched(SimpleNamespace(members=()), search)  # type: ignore[arg-type]
    assert tried == ([8.1] if hopeless else [8.1, 10.2, 12.8])
    assert got == (None if hopeless else tried[-1])


def test_the_longest_stroke_allows_for_a_slow_valve() -> None:
    lineup, start = shutdown()
    got = band_limits(lineup, lineup.scenarios[1], start, bands=Bands(stroke=0.1), book=built_in())
    assert start.longest is not None
    assert got.longest == rounded_down(start.longest / 1.1)
    assert got.slow_rule == start.slow_rule


def test_without_a_rate_its_band_moves_nothing() -> None:
    lineup = line()
    assert isinstance(lineup.rate, Rate)
    free = lineup.with_(rate=None)
    start = stroke_limits(free, closing(), "end valve", book=NO_RULES)
    got = band_limits(free, closing(), start, bands=Bands(rate=0.1), book=NO_RULES)
    assert got.shortest == start.shortest


def test_text_and_json_tell_the_same() -> None:
    got = over(Bands(wave_speed=0.1, rate=0.1))
    display = Display(units=ShowUnits(), density=1000.0)
    text = " ".join("\n".join(band_lines(got, display)).split())
    document = json.loads(json.dumps(as_json(band_document(got)), allow_nan=False))
    assert f"no faster than {document['shortest_safe_stroke_s']:.1f} s" in text
    assert f"no faster than {document['without_bands']['shortest_safe_stroke_s']:.1f} s" in text
    assert [m["band"] for m in document["bands_alone"]] == ["rate", "wave_speed"]
    assert "The rate matters most" in text


# What the case asks for beside the usual


def thick() -> LineUp:
    return line().with_(liquid=replace(line().liquid, viscosity=2e-5))


@functools.cache
def asked() -> BandLimits:
    """A line with a viscous cargo, which asks for unsteady friction and a trace of gas."""
    lineup = thick().with_(unsteady_friction=True, gas_content=1e-5)
    found = stroke_limits(lineup, closing(), "end valve", book=NO_RULES)
    return band_limits(lineup, closing(), found, bands=Bands(wave_speed=0.02), book=NO_RULES)


def test_what_is_asked_for_is_told_alone() -> None:
    """The margin is that of a quick run with it; a trace of gas hardly changes anything."""
    made = asked()
    friction, gas = made.beside
    assert (friction.words, gas.words) == ("unsteady friction", "0.001 % of gas")
    assert (friction.missing, gas.missing) == ("", "")
    stroke = made.plain.shortest
    assert stroke is not None
    lineup, moved = thick(), with_strokes(closing(), {"end valve": stroke})
    runs = [simulate(lineup, moved, quick=True, unsteady_friction=on) for on in (False, True)]
    before, after = (min(f.margin for f in findings_of(lineup, r) if f.check == "peak") for r in runs)
    # Strokes that a scan marches side by side share a step.
    assert friction.margin_moved == pytest.approx(before - after, abs=100.0)
    assert abs(gas.moved) <= 2.0 * resolution(stroke)
    assert abs(gas.margin_moved) < 0.02 * before + 1e4


def test_no_stroke_is_told_as_safe_for_it() -> None:
    """Shorter by it alone or not: what is told was kept without it and with it."""
    made = asked()
    assert made.plain.shortest is not None
    assert made.shortest is not None
    assert made.shortest >= made.plain.shortest
    display = Display(units=ShowUnits(), density=line().liquid.density)
    words = " ".join(" ".join(band_lines(made, display)).split())
    assert "With unsteady friction alone, by quick marches, the shortest safe stroke would be" in words
    assert "No stroke is told as safe by that." in words
    document = as_json(band_document(made))
    assert [one["words"] for one in document["beside"]] == ["unsteady friction", "0.001 % of gas"]


def test_nothing_beside_is_told_that_is_not_asked_for() -> None:
    made = over(Bands(stroke=0.1))
    assert made.beside == ()
    assert "beside" not in as_json(band_document(made))

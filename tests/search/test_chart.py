"""Charts of rate against stroke time: against single runs, closed forms, and what the files are."""

from __future__ import annotations

import csv
import functools
import io
import json
import math
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result
from support.demos import CASES, Demos
from support.documents import hold_to_schema
from support.lineups.one_valve import LINEAR, line

from surge.cli.main import main
from surge.errors import CaseError
from surge.model.lineup import LineUp, Point, Rate, Scenario, Valve
from surge.model.stroke import with_strokes
from surge.plots.chart import _Chart, levels_of
from surge.plots.frame import SIZE, Heading, new_figure, our_settings
from surge.reports.chart import foot, heading_lines, limit_words, runs
from surge.reports.chart_json import chart_document
from surge.reports.document import head_of
from surge.reports.words import Display
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, WITHIN, findings_of
from surge.rules.limits import held_limits
from surge.rules.reading import built_in
from surge.search.chart import ChartData, _settle, chart_of
from surge.search.chart_subject import pick
from surge.search.chart_survey import NO_SAFE_STROKE, RateRow, Seen, Survey
from surge.search.judge import Bench
from surge.search.scan import Scanner
from surge.search.strokes import FIRST_NEED, stroke_limits
from surge.transient.run import simulate
from surge.units import ShowUnits

NO_RULES = RuleBook(rules=())
QUICK = ("--rates", "780 m3/h", "1000 m3/h")  # where runs settle soon
CRUDE, BENZENE = CASES / "crude-sea-line.toml", CASES / "benzene-by-names-and-sizes.toml"
SCHEMA = Path(__file__).parents[2] / "surge" / "schema" / "chart.schema.json"


def simple(*, rating: float = 8e5) -> LineUp:
    """A tank, a throttle, a pipe and a valve that is fully open at every rate."""
    one = line(rating=rating, velocity=1.5)
    points = (Point(name="tank", elevation=0.0), *one.points)
    throttle = Valve(name="throttle", start="tank", end="in", kv=5000.0, characteristic=LINEAR)
    tanks = tuple(replace(t, point="tank") if t.name == "source" else t for t in one.tanks)
    rate = Rate(agreed=0.08, means="throttle", at="throttle", through="first")
    return one.with_(points=points, valves=(*one.valves, throttle), tanks=tanks, rate=rate)


@pytest.fixture(scope="module")
def crude(demos: Demos) -> ChartData:
    return chart_of(demos["crude-sea-line"].case.lineup, book=built_in(), points=5)


@functools.cache
def plain() -> ChartData:
    return chart_of(simple(), book=NO_RULES, rates=(0.03, 0.1), strokes=(2.0, 30.0), points=6)


# Against single runs


def test_the_raster_is_what_single_runs_give(crude: ChartData, demos: Demos) -> None:
    """The share used at corners and inside, from one quick run each, held against the findings' own share."""
    lineup = demos["crude-sea-line"].case.lineup
    scenario = next(s for s in lineup.scenarios if s.name == crude.scenario)
    compared = 0
    for i, k in ((0, 1), (2, 0), (2, 3), (3, 2), (1, 4)):
        if not crude.reached[i]:
            continue
        one = with_strokes(
            replace(scenario, rate=float(crude.rates[i])), {crude.valve: float(crude.strokes[k])}
        )
        found = findings_of(lineup, simulate(lineup, one, quick=True))
        surge = [f for f in found if f.check in ("peak", "lowest", "vapour")]
        # A quick run has no numerical error, so that the load of a finding is the share used.
        assert crude.used[i, k] == pytest.approx(max(f.load for f in surge), abs=0.02)
        margin = min(f.margin for f in surge if f.margin is not None)
        if crude.margin[i, k] < 0.0:
            # A march that is over a limit already is not followed further: it can only get worse.
            assert margin <= crude.margin[i, k] + 1e2
        else:
            assert crude.margin[i, k] == pytest.approx(margin, abs=0.2e5)
        compared += 1
    assert compared >= 4


def test_the_share_is_peak_over_limit() -> None:
    chart = plain()
    high = [k for k, held in enumerate(chart.limits) if held.key[2] == "high" and held.limit.value == 8e5]
    i, k = np.argwhere(np.isin(chart.governs, high))[0]
    lineup = simple()
    one = with_strokes(
        replace(lineup.scenarios[0], rate=float(chart.rates[i])), {"valve": float(chart.strokes[k])}
    )
    peak = max(e.highest.pressure for e in simulate(lineup, one, quick=True).elements)
    assert chart.used[i, k] == pytest.approx(peak / 8e5, rel=0.01)


def test_margins_and_shares_tell_the_same_side_of_the_limit(crude: ChartData) -> None:
    for chart in (plain(), crude):
        known = np.isfinite(chart.margin)
        assert np.sum(known) > 15
        assert np.array_equal(chart.margin[known] < 0.0, chart.used[known] > 1.0)
        assert np.all(np.isnan(chart.used[~chart.reached]))
        assert np.all(chart.governs[~chart.reached] == -1)


def test_every_marked_stroke_is_safe_with_all_samples_above_it(crude: ChartData) -> None:
    for chart in (plain(), crude):
        for i, shortest in enumerate(chart.shortest):
            if not math.isnan(shortest):
                assert np.all(chart.margin[i, chart.strokes >= shortest] >= chart.need)


def test_a_full_run_keeps_every_limit_at_a_marked_stroke() -> None:
    lineup, chart = simple(), plain()
    i = int(np.flatnonzero(~np.isnan(chart.shortest))[-1])
    one = with_strokes(
        replace(lineup.scenarios[0], rate=float(chart.rates[i])), {"valve": float(chart.shortest[i])}
    )
    assert all(f.verdict == WITHIN for f in findings_of(lineup, simulate(lineup, one)))


def test_the_agreed_rate_is_confirmed_and_no_rate_is_left_without_its_neighbours_margin() -> None:
    chart = plain()
    assert chart.confirmed[list(chart.rates).index(chart.agreed.rate)]
    assert np.all(~np.isnan(chart.shortest[chart.confirmed]))
    low, mid, high = (
        RateRow(rate=r, scenario=simple().scenarios[0], valves=("valve",), need=n, least=s)
        for r, n, s in ((0.1, 2e3, 4.0), (0.2, 2e3, 0.0), (0.3, 9e3, 0.0))
    )
    limit = held_limits(simple())[0]
    for stroke, margin in ((3.95, 9e5), (4.0, 5e3), (4.05, 9.5e3), (4.1, 9.6e3)):
        mid.seen[stroke] = Seen(margin=margin, held=limit, used=0.5, most_used=0)
    Survey([], [], lambda _: None, bench=Bench(line(), NO_RULES)).follow([mid], [(low, high)], 4.1)
    assert mid.shortest == 4.1


def test_a_simple_line_asks_for_longer_strokes_at_greater_rates() -> None:
    chart = plain()
    reached = chart.reached
    # Faster than anything returns, a valve stops the whole flow: the peak grows with the rate.
    assert np.all(np.diff(chart.used[reached, 0]) > 0.0)
    shortest = chart.shortest[reached & ~np.isnan(chart.shortest)]
    assert shortest.size >= 3
    assert np.all(np.diff(shortest) >= -0.1)


def test_between_rates_the_boundary_goes_to_the_unsafe_side() -> None:
    chart = replace(
        plain(),
        shortest=np.array([3.0, 5.0, 4.0, math.nan, 2.0, 2.0]),
        longest=np.array([20.0, 10.0, 12.0, 9.0, math.inf, 1.0]),
    )
    assert chart.safe_from()[:2].tolist() == [5.0, 5.0]
    assert np.isnan(chart.safe_from()[2:4]).all()
    assert chart.allowed_to().tolist() == [10.0, 10.0, 9.0, 9.0, 1.0]
    assert chart.open.tolist() == [True, True, True, False, True, False]


def test_an_unsafe_pocket_counts_up_to_its_upper_end() -> None:
    """Strokes below a pocket are not the shortest safe one, however good they look."""
    limit = held_limits(simple())[0]
    row = RateRow(rate=0.1, scenario=simple().scenarios[0], valves=("valve",), period=100.0)
    for stroke, margin in ((2.0, 9e5), (4.0, 9e5), (6.0, -1.0), (8.0, 9e5), (10.0, 9e5)):
        row.seen[stroke] = Seen(margin=margin, held=limit, used=0.5, most_used=0)
    assert row.safe_from() == 8.0
    wanted = row.doubtful()
    assert wanted
    assert all(6.0 < s < 8.0 for s in wanted)
    row.lacks(0.0, 8.0, "why")
    assert row.safe_from() is None  # a longer one than any that was looked at is asked for
    row.least = 0.0
    row.seen[9.0] = Seen(margin=math.nan, held=limit, used=0.5, most_used=0)
    assert row.safe_from() == 10.0


def row_of(margins: dict[float, float], **more: Any) -> RateRow:
    """A rate at which marches have these margins [Pa] by stroke [s]."""
    row = RateRow(rate=0.1, scenario=simple().scenarios[0], valves=("valve",), **more)
    limit = held_limits(simple())[0]
    row.seen = {s: Seen(margin=m, held=limit, used=0.5, most_used=0) for s, m in margins.items()}
    return row


def test_a_stroke_that_lacks_margin_asks_for_more_of_it_or_for_a_longer_one() -> None:
    row = row_of({8.0: 5e3, 10.0: 9e5})
    row.lacks(1e3, 8.0, "why")
    assert row.need == 6300.0
    assert row.safe_from() == 10.0
    flat = row_of({8.0: 5e3, 10.0: 5.1e3, 12.0: 5.2e3})  # no stroke has 6300 Pa: the margin hardly follows it
    flat.lacks(1e3, 8.0, "why")
    assert flat.need == FIRST_NEED
    assert flat.safe_from() == 12.0, "a third longer"


def test_what_the_agreed_rate_needed_is_asked_for_only_where_a_stroke_has_it() -> None:
    row = row_of({8.0: 5e3, 10.0: 9e3})
    row.begin_with(6e3)
    assert row.safe_from() == 10.0
    row.begin_with(1e5)
    assert row.need == 6e3


def test_where_more_margin_is_wanted_than_there_is_a_longer_stroke_is_run_too() -> None:
    """The one of least margin above: a scan that was off at one stroke may be so at another."""
    row = row_of({8.0: 5e3, 10.0: 5.3e3, 12.0: 5.1e3, 14.0: 5.2e3})
    assert row.doubted(8.0) is None
    row.lacks(1e3, 8.0, "why")
    assert row.doubted(10.4) == 12.0
    assert row.doubted(14.0) is None


def test_what_a_rule_says_of_one_rate_it_does_not_say_of_another() -> None:
    ruled, other, mid = row_of({8.0: 4e3}), row_of({8.0: 4e3}), row_of({8.0: 1e3})
    ruled.shut("a velocity")
    other.least, other.why = math.inf, "cannot be decided"
    survey = Survey([], [], lambda _: None, bench=Bench(line(), NO_RULES))
    for beside, why in (((ruled, ruled), NO_SAFE_STROKE.format(8.0)), ((ruled, other), "cannot be decided")):
        survey.follow([mid], [beside], 8.0)
        assert mid.why == why


def test_a_rate_between_two_safe_ones_is_shut_only_by_full_runs() -> None:
    """Both beside it ask for more margin than any stroke has there: full runs tell whether that matters."""
    rich, poor = {8.0: 9e3, 10.0: 9e3}, {8.0: 4e3, 10.0: 4e3}
    rows = [row_of(poor if k in (1, 2) else rich, bases=[None]) for k in range(4)]
    rows[0].need = rows[3].need = 6e3
    asked: list[RateRow] = []

    class Stub(Survey):
        def minding(self, row: RateRow, stroke: float) -> None:
            pass

        def search(self, rows: Sequence[RateRow]) -> None:
            pass

        def confirm(self, rows: Sequence[RateRow], longest: float) -> list[RateRow]:
            asked.extend(rows)
            for row in rows:
                row.shortest = row.safe_from() if row is not poor_one else None
            return [row for row in rows if row.shortest is None]

    poor_one = rows[2]
    survey = Stub([], rows, lambda _: None, bench=Bench(line(), NO_RULES))
    _settle(survey, [8.0, 10.0], SimpleNamespace(rate=0.3, stroke=9.0))  # type: ignore[arg-type]
    assert asked[:2] == [rows[0], rows[3]]
    assert rows[1] in asked[2:]
    assert rows[1].shortest == 8.0
    assert rows[2].shortest is None
    assert rows[2].least == math.inf


def test_chart_and_window_tell_the_same_stroke() -> None:
    """At the agreed rate the one answers for the other."""
    lineup, chart = simple(), plain()
    at = int(np.argmin(np.abs(chart.rates - 0.08)))
    assert chart.rates[at] == pytest.approx(0.08)
    alone = stroke_limits(lineup, lineup.scenarios[0], "valve", book=NO_RULES, longest=30.0)
    assert alone.shortest is not None
    assert chart.shortest[at] == alone.shortest
    assert np.all(np.diff(chart.shortest[: at + 1]) >= 0.0)  # a lower rate may shut faster in this line


def test_words_never_hide_where_the_window_ends() -> None:
    """The agreed point moved to the boundary, where its box would cover it: the box goes elsewhere."""
    display = Display(units=ShowUnits(), density=1000.0)
    chart = plain()
    for row in np.flatnonzero(chart.shortest < chart.strokes[-1] - 1.0):
        stroke = float(chart.shortest[row])
        point = replace(chart.agreed, rate=float(chart.rates[row]), stroke=stroke + 0.3)
        moved = replace(chart, agreed=point)
        heading = Heading(lines=heading_lines(moved, "a title", display), foot=foot(moved), signature="s")
        with our_settings():
            drawn = _Chart(new_figure(SIZE), moved, display, heading)
            drawn.draw()
            (box,) = [t for t in drawn.axes.texts if t.get_text().startswith("agreed")]
            assert drawn.edges
            assert not any(box.get_window_extent().overlaps(edge) for edge in drawn.edges)


def test_what_was_held_is_never_cut() -> None:
    held = {f"valve with a long name number {k}": 12.5 for k in range(12)}
    chart = replace(plain(), held=held)
    display = Display(units=ShowUnits(), density=1000.0)
    heading = Heading(lines=heading_lines(chart, "a title", display), foot=foot(chart), signature="s")
    with our_settings():
        figure = new_figure(SIZE)
        drawn = _Chart(figure, chart, display, heading)
        drawn.draw()
        said = " ".join(t.get_text() for t in figure.texts)
        assert all(f'"{name}" at 12.5 s' in said or name in said for name in held)
        top = drawn.axes.get_window_extent().y1
        assert all(t.get_window_extent().y0 > top for t in figure.texts[1 : 1 + len(drawn.lines)])


# Bounds


def test_a_rate_that_breaks_a_rule_on_velocity_is_not_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """1.2 m/s in a bore of 0.3 m are 0.0848 m3/s: no rate above has a window, those below are as before."""
    rule = built_in().rule("bulk-velocity")
    assert rule is not None
    own = replace(rule, id="own", figure=1.2, requirement="required", own=True, applies="always")
    run: list[float] = []
    judge = Bench.judge

    def noted(self: Bench, scenario: Scenario) -> Any:
        run.append(scenario.rate or 0.0)
        return judge(self, scenario)

    monkeypatch.setattr(Bench, "judge", noted)
    ends: dict[str, Any] = {"rates": (0.05, 0.094), "strokes": (2.0, 30.0), "points": 12}
    ruled = chart_of(simple(), book=RuleBook(rules=(own,)), **ends)
    most = 1.2 * math.pi / 4 * 0.3**2
    above = ruled.rates > most
    assert above.sum() == 3
    assert all("velocity" in why.lower() for why in np.array(ruled.why)[above])
    assert np.isnan(ruled.shortest[above]).all()
    assert max(run) <= most
    free = chart_of(simple(), book=NO_RULES, **ends)
    assert not np.isnan(free.shortest[~above]).any()
    assert ruled.shortest[~above] == pytest.approx(free.shortest[~above], rel=0.04)


def test_the_overfill_bound_goes_by_the_rate(demos: Demos) -> None:
    """Closed form: detection 3 s, signal 1 s, pump stop 20 s and stroke within 3600 U / LR."""
    lineup = demos["crude-sea-line"].case.lineup
    tanks = tuple(replace(t, ullage=8.0) if t.side == "ship" else t for t in lineup.tanks)
    chart = chart_of(
        lineup.with_(tanks=tanks),
        book=built_in(),
        scenario="emergency shutdown",
        rates=(0.24, 0.26),
        strokes=(5.0, 40.0),
        points=3,
    )
    assert chart.rates == pytest.approx([0.24, 0.25, 0.26])
    # 8 m3 / 0.24 m3/s - 24 s = 9.3 s, but the flow has to be stopped within 30 s, which leaves 9.0 s. At the
    # agreed rate a window answers: 8 m3 / 0.25 m3/s - 24 s is 8.0 s to the last bit, which no check confirms.
    assert chart.longest.tolist() == [9.0, 7.8, 6.7]
    assert [rule.id for rule in chart.rules if rule] == [
        "stop-flow-time",
        "overfill-time",
        "overfill-time",
    ]
    assert not chart.notes


def test_a_case_over_its_limits_at_rest_has_no_window() -> None:
    lineup = line(rating=2.5e5).with_(rate=Rate(agreed=0.05, means="throttle", at="valve", through="first"))
    chart = chart_of(lineup, book=NO_RULES, points=3)
    assert "shut-off pressure" in chart.blocked
    assert np.all(np.isnan(chart.shortest))
    assert chart.agreed.verdict == EXCEEDED


def test_rates_out_of_reach(crude: ChartData, demos: Demos) -> None:
    assert not crude.reached[-1]
    assert "cannot be reached" in crude.why[-1]
    assert math.isnan(crude.shortest[-1])
    assert np.all(crude.reached[:-1])
    lineup = demos["crude-sea-line"].case.lineup
    with pytest.raises(CaseError) as caught:
        chart_of(lineup, book=built_in(), rates=(1.0, 2.0), points=3)
    assert "can be reached" in caught.value.faults[0].found


def test_what_is_chosen_when_nothing_is_asked(demos: Demos) -> None:
    lineup = demos["crude-sea-line"].case.lineup
    margins = {s.name: Scanner(lineup, s).moved([s])[0].margin for s in lineup.scenarios}
    picked = pick(lineup, valve=None, scenario=None)
    assert picked.scenario.name == min(margins, key=lambda name: margins[name])
    assert picked.chosen
    asked = pick(lineup, valve="manifold valve", scenario="emergency shutdown")
    assert (asked.stroke, asked.rate) == (40.0, pytest.approx(900 / 3600))


def test_the_agreed_point_is_a_sample(crude: ChartData) -> None:
    assert crude.agreed.rate in crude.rates
    assert crude.agreed.stroke in crude.strokes
    assert crude.agreed.verdict == EXCEEDED


def test_a_case_without_a_rate_or_a_closing_valve_is_refused(demos: Demos) -> None:
    with pytest.raises(CaseError) as caught:
        chart_of(line(), book=NO_RULES)
    assert "no rate" in caught.value.faults[0].found
    for asked in ({"valve": "vlave"}, {"scenario": "nothing"}):
        with pytest.raises(CaseError) as caught:
            chart_of(simple(), book=NO_RULES, **asked)
        assert "check the name" in caught.value.faults[0].remedy
    lineup = demos["benzene-by-names-and-sizes"].case.lineup
    with pytest.raises(CaseError) as caught:
        pick(lineup, valve="drop line valve", scenario="emergency shutdown")
    assert "does not close or open" in caught.value.faults[0].found


# Pictures


def test_levels_hold_the_limit_and_everything_drawn() -> None:
    for low, high in ((0.1, 0.4), (0.97, 1.02), (0.5, 2.0), (1.2, 1.9), (0.9, 0.9)):
        levels = levels_of(np.array([low, high]))
        assert levels == sorted(levels)
        assert 1.0 in levels
        assert levels[0] <= max(low, 1.0)
        assert levels[-1] >= min(high, 1.0)
        assert len(levels) <= 9
    assert runs(np.array([True, True, False, True])) == [(0, 2), (3, 4)]
    assert runs(np.array([False])) == []


def test_json_keeps_to_its_schema(crude: ChartData) -> None:
    head = head_of("0", "a", "0" * 64)
    for chart in (plain(), crude):
        hold_to_schema(chart_document(chart, head, "a title", ("a caution",)), "chart")


# The command


def run(*args: Any) -> Result:
    return CliRunner().invoke(main, ["chart", *map(str, args)])


def test_every_kind_of_file_and_the_same_bytes_twice(tmp_path: Path) -> None:
    kinds = ("png", "svg", "pdf", "csv", "json")
    for turn in ("one", "two"):
        outputs = [x for kind in kinds for x in ("--output", tmp_path / f"{turn}.{kind}")]
        got = run(CRUDE, *QUICK, "--points", 4, *outputs)
        assert got.exit_code == 3, got.output
    files = {kind: (tmp_path / f"one.{kind}").read_bytes() for kind in kinds}
    assert files == {kind: (tmp_path / f"two.{kind}").read_bytes() for kind in kinds}
    assert files["png"].startswith(b"\x89PNG\r\n\x1a\n")
    assert files["pdf"].startswith(b"%PDF-")
    assert files["pdf"].rstrip().endswith(b"%%EOF")
    assert ET.fromstring(files["svg"]).tag == "{http://www.w3.org/2000/svg}svg"
    rows = list(csv.DictReader(io.StringIO(files["csv"].decode("utf-8-sig"))))
    document = json.loads(files["json"])
    jsonschema.validate(document, json.loads(SCHEMA.read_text(encoding="utf-8")))
    assert len(rows) == 16
    for n, row in enumerate(rows):
        share = document["share_used"][n // 4][n % 4]
        assert (row["share used %"] == "") == (share is None)
        if share is not None:
            assert 0.0 <= float(row["share used %"]) / 100 - share < 0.0011
            assert float(row["rate m3/h"]) == pytest.approx(
                document["rates_m3_per_s"][n // 4] * 3600, rel=1e-5
            )
    assert "AGREED POINT: LIMIT EXCEEDED" in got.stdout
    assert "a calculation, not a permit" in " ".join(got.stdout.split())


def test_json_alone_writes_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    got = run(BENZENE, "--json", "--points", 3, "--scenario", "topping off")
    document = json.loads(got.stdout)
    jsonschema.validate(document, json.loads(SCHEMA.read_text(encoding="utf-8")))
    assert document["exit_code"] == got.exit_code
    assert list(tmp_path.iterdir()) == []
    assert run(BENZENE, "--json", "--valve", "x").exit_code == 2


def test_the_default_file_is_never_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("chart.png").write_text("mine", encoding="utf-8")
    got = run(CRUDE, *QUICK, "--points", 3)
    assert got.exit_code == 2
    assert "--force" in got.stderr
    assert Path("chart.png").read_text(encoding="utf-8") == "mine"
    assert run(CRUDE, *QUICK, "--points", 3, "--force").exit_code == 3
    assert Path("chart.png").read_bytes().startswith(b"\x89PNG")
    assert [p.name for p in tmp_path.iterdir()] == ["chart.png"]


@pytest.mark.parametrize(
    "args",
    [
        ("--rates", "900 m3/h", "200 m3/h"),
        ("--strokes", "60 s", "2 s"),
        ("--rates", "200", "900"),
        ("--strokes", "0 s", "20 s"),
        ("--points", "2"),
        ("--output", "chart.jpeg"),
        ("--output", "no/such/folder/chart.png"),
        ("--valve", "no such valve"),
        ("--scenario", "no such scenario"),
    ],
)
def test_bad_arguments(args: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    got = run(CRUDE, *args)
    assert got.exit_code == 2
    assert got.stdout == ""
    assert "Traceback" not in got.output
    assert list(tmp_path.iterdir()) == []


def test_names_that_are_formulas_or_markup_do_no_harm(tmp_path: Path) -> None:
    text = CRUDE.read_text(encoding="utf-8").replace('"manifold valve shut by mistake"', '"=1+1 $x$ <b>&"')
    text = text.replace('title = "Crude', 'title = "$\\\\frac{ <i>Crude 原油')
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    outputs = [x for kind in ("svg", "csv") for x in ("--output", tmp_path / f"c.{kind}")]
    assert run(path, *QUICK, "--points", 3, *outputs).exit_code == 3
    ET.fromstring((tmp_path / "c.svg").read_bytes())
    row = next(csv.DictReader(io.StringIO((tmp_path / "c.csv").read_text(encoding="utf-8-sig"))))
    assert row["scenario"] == "'=1+1 $x$ <b>&"


def test_the_readers_units_in_tables_and_pictures(tmp_path: Path) -> None:
    text = CRUDE.read_text(encoding="utf-8") + '\n[show]\nflow = "bbl/h"\npressure = "psi"\n'
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    out = tmp_path / "c.csv"
    got = run(path, "--points", 3, "--rates", "670 t/h", "900 t/h", "--output", out)
    assert got.exit_code == 3
    head = out.read_text(encoding="utf-8-sig").splitlines()[0]
    assert head.startswith('"rate bbl/h","stroke s",')
    assert "margin psi" in head
    assert "bbl/h" in got.stdout


def test_the_drawing_library_comes_only_with_the_command(tmp_path: Path) -> None:
    script = "import sys; from surge.cli.main import main\n"
    for kind in ("csv", "png"):
        words = ["chart", str(CRUDE), *QUICK, "--points", "3", "--output", str(tmp_path / f"c.{kind}")]
        script += f"try: main({words!r})\nexcept SystemExit: pass\n"
        script += "print('matplotlib' in sys.modules, 'matplotlib.pyplot' in sys.modules)\n"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=dict(os.environ), check=True
    )
    told = [x for x in done.stdout.splitlines() if x.startswith(("True", "False"))]
    assert told == ["False False", "True False"]


def test_limits_in_words(crude: ChartData) -> None:
    words = {limit_words(held) for held in crude.limits}
    assert {"hose string: highest pressure", "hose string: lowest pressure", "deck line: boiling"} <= words

"""Pictures compared by their data: what is drawn is what was computed, in the units of the reader."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from support.demo_pictures import CRUDE, DISPLAY, FEET, PSI
from support.demos import CASES, Demos
from support.drawn import axes_named, caught, curves, levels, words_in

from surge.api.check import check
from surge.case.file import read_case
from surge.cli.main import main
from surge.errors import RequestError
from surge.model.attached import OpenVessel
from surge.model.way import Way, WayPart
from surge.plots.captions import line_files, scenario_words, time_files, verdict_words, wave_files
from surge.plots.line import draw_names
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED
from surge.views.line import left_out, line_picture, way_of
from surge.views.map import times_of, wave_picture
from surge.views.subject import Subject, subject_of
from surge.views.time import lower_limit, time_picture, traces_at, upper_limit


@pytest.fixture(scope="module")
def crude(demos: Demos) -> Subject:
    return subject_of(demos["crude-sea-line"].answer)


def run(*arguments: Any) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


# What is chosen


def test_the_scenario_nearest_to_a_limit_is_taken_unless_one_is_asked_for(
    crude: Subject, demos: Demos
) -> None:
    assert crude.run.name == "manifold valve shut by mistake"
    assert crude.chosen
    assert crude.verdict == EXCEEDED
    assert crude.finding is not None
    assert crude.finding.name == "hose string"
    other = subject_of(demos["crude-sea-line"].answer, "emergency shutdown")
    assert (other.run.name, other.chosen) == ("emergency shutdown", False)


def test_a_range_is_drawn_at_its_worst(demos: Demos) -> None:
    assessment = demos["shore-line-of-unknown-length"].answer
    subject = subject_of(assessment)
    weakest = assessment.weakest
    assert weakest is not None
    assert subject.run.taken == weakest.taken
    pipe = next(p for p in subject.lineup.pipes if p.name == "shore line")
    assert [pipe.length] == [t.value for t in subject.run.taken]
    picture = line_picture(subject)
    assert picture.weak is not None
    assert picture.weak[1].pressure == weakest.value


def test_the_way_leads_past_the_weakest_place_or_past_what_moves(demos: Demos) -> None:
    last = subject_of(demos["gasoline-drop-lines"].answer, "topping off")
    assert way_of(last, moves=True).holds("element", "4P drop line valve")  # the last of three to shut
    slam = subject_of(demos["methanol-closed-branches"].answer)
    assert way_of(slam).points[-1] == "4P closed valve"
    moving = way_of(slam, moves=True)
    assert moving.holds("element", "3S tank valve")
    assert 'The weakest place, "closed branch to 4P", is not on this way.' in left_out(slam, moving)
    assert 'Moves, but is not on this way: "3S tank valve"' in left_out(slam, way_of(slam))
    assert "Hanging" not in left_out(slam, moving)
    vessels = tuple(
        OpenVessel(name=p, point=p, area=1.0, rim=50.0) for p in ("shore line inlet", "4P closed valve")
    )
    hung = replace(slam, lineup=slam.lineup.with_(open_vessels=vessels))
    assert "shore line inlet" in moving.points
    assert left_out(hung, moving).endswith('Hanging on the line, and not drawn: "shore line inlet".')
    assert way_of(slam, "3 port").points[-1] == "3P drop line foot"
    with pytest.raises(RequestError, match='did you mean "3 port"'):
        way_of(slam, "3 prot")
    with pytest.raises(RequestError, match="no way leads there"):
        way_of(slam, "tank outlet")


def test_limits_of_a_place_are_its_own_or_those_beside_it(demos: Demos) -> None:
    lineup = demos["gasoline-through-cargo-pumps"].answer.lineup
    limit, whose = upper_limit(lineup, lineup.points_by_name["4P pump top"])
    assert limit is not None
    assert (limit.value, whose) == (8e5, "4P pump top")
    beside, of = upper_limit(lineup, lineup.points_by_name["manifold"])
    assert beside is not None
    assert of in {e.name for e in lineup.elements if "manifold" in (e.start, e.end)}
    hose = next(p for p in lineup.pipes if p.kind == "hose")
    assert lower_limit(lineup, hose).value == max(lineup.vapour_gauge, hose.limits.lowest or -1e9)


# Against time


def test_drawn_pressures_limits_and_marks_are_those_of_the_run(
    crude: Subject, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = time_picture(crude, ["deck line inlet"])
    with caught(monkeypatch) as sheets:
        time_files(picture, DISPLAY, "signature", kinds=["png"], span=None)
    top = axes_named(sheets[0], "pressure")
    history = crude.run.history
    drawn = curves(top, size=history.time.size)
    hose = next(p for p in crude.lineup.pipes if p.name == "hose string")
    assert np.allclose(drawn[0][0], history.time)
    assert np.allclose(drawn[0][1], history.pressure[hose.start] / PSI)
    assert np.allclose(drawn[1][1], history.pressure["deck line inlet"] / PSI)
    assert round(15e5 / PSI, 6) in levels(top)
    peak = next(e.highest for e in crude.run.elements if e.name == "hose string")
    marks = [line.get_xydata()[0] for line in top.get_lines() if line.get_marker() == "o"]
    assert any(np.allclose(m, (peak.time, peak.pressure / PSI)) for m in marks)
    said = " ".join(words_in(sheets[0]))
    assert f"peak {DISPLAY.round_up(peak.pressure, unit=True)} at {peak.time:.2f} s" in said
    assert "limit 217.6 psi(g)" in said
    flows = axes_named(sheets[0], "flow")
    assert np.allclose(curves(flows, size=history.time.size)[0][1], history.flow["manifold valve"] * 1000)
    strokes = axes_named(sheets[0], "opening")
    t, x = next((t, x) for t, x in curves(strokes, size=4))
    assert np.allclose(t, [0.0, 5.0, 14.0, picture.time[-1]])
    assert np.allclose(x, [100.0, 100.0, 0.0, 0.0])


def test_every_curve_is_named_beside_its_line_with_its_own_peak(
    crude: Subject, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also in grey, and where all of them lie upon one another."""
    places = ["end manifold", "deck line inlet", "manifold valve", "drop line"]
    picture = time_picture(crude, places)
    with caught(monkeypatch) as sheets:
        time_files(picture, DISPLAY, "s", kinds=["png"], span=None)
    top = axes_named(sheets[0], "pressure")
    key = top.get_legend()
    assert len(key.get_texts()) == len(picture.traces) == 5
    drawn = [line for line in top.get_lines() if len(line.get_xdata()) == picture.time.size]
    for curve, line, sample, words in zip(
        picture.traces, drawn, key.get_lines(), key.get_texts(), strict=True
    ):
        assert np.allclose(line.get_ydata(), curve.pressure / PSI)
        assert (sample.get_linestyle(), sample.get_color()) == (line.get_linestyle(), line.get_color())
        assert words.get_text().startswith(f'"{curve.name}"')
        if curve.peak is not None and curve.peak.time > 0.0:
            assert f"peak {DISPLAY.round_up(curve.peak.pressure, unit=True)}" in words.get_text()
    styles = {str(line._dash_pattern) + str(line.get_linewidth()) for line in drawn}  # type: ignore[attr-defined]
    assert len(styles) == 5


def test_an_extreme_inside_an_element_is_drawn_there(demos: Demos) -> None:
    """The curve at an inner node reaches the peak that the run reports, as near as its samples tell."""
    seen = 0
    for name in ("methanol-closed-branches",):
        for run_ in demos[name].answer.scenarios:
            subject = subject_of(demos[name].answer, run_.name)
            for pipe in subject.lineup.pipes:
                own = next(e for e in subject.run.elements if e.name == pipe.name)
                if (
                    not 0.02 * pipe.length < own.highest.distance < 0.98 * pipe.length
                    or own.highest.time == 0.0
                ):
                    continue
                (curve,) = traces_at(subject, [pipe.name])
                assert curve.distance == pytest.approx(own.highest.distance)
                assert curve.pressure.max() <= own.highest.pressure + 1e-3
                rise = own.highest.pressure - curve.steady
                assert curve.pressure.max() == pytest.approx(own.highest.pressure, abs=0.02 * rise + 500)
                seen += 1
    assert seen


def test_places_that_are_not_there_are_refused_with_near_names(crude: Subject) -> None:
    with pytest.raises(RequestError, match='did you mean "end manifold", "manifold valve"'):
        time_picture(crude, ["manifold valv"])
    with pytest.raises(RequestError, match="at most 5"):
        time_picture(crude, [p.name for p in crude.lineup.points][:6])


# Along the line


def test_the_drawn_envelope_is_that_of_the_result(crude: Subject, monkeypatch: pytest.MonkeyPatch) -> None:
    picture = line_picture(crude)
    with caught(monkeypatch) as sheets:
        line_files(picture, DISPLAY, "signature", kinds=["svg"])
    top = axes_named(sheets[0], "pressure")
    high, low, steady = curves(top, size=picture.along.x.size)[:3]
    at = picture.along.part == [p.name for p in picture.way.parts].index("sea line")
    envelope = crude.run.envelopes["sea line"]
    assert np.allclose(high[1][at], envelope.highest / PSI)
    assert np.allclose(low[1][at], envelope.lowest / PSI)
    assert np.allclose(steady[1][at], envelope.steady / PSI)
    assert {round(v / PSI, 6) for v in (19.6e5, 15e5, 16e5)} <= levels(top)
    ground = axes_named(sheets[0], "elevation")
    z = [crude.lineup.points_by_name[p].elevation / FEET for p in picture.way.points]
    assert any(np.allclose(y, z) for _, y in curves(ground, size=len(z)))
    said = words_in(sheets[0])
    assert any("sea line" in t and "13123.4 ft" in t for t in said)


def test_ends_of_neighbours_meet_and_extremes_are_the_reported_ones(demos: Demos) -> None:
    for name in ("gasoline-drop-lines", "methanol-closed-branches", "gasoline-through-cargo-pumps"):
        picture = line_picture(subject_of(demos[name].answer))
        along = picture.along
        cuts = np.flatnonzero(np.diff(along.part))
        for values in (along.highest, along.lowest, along.steady):
            assert np.allclose(values[cuts], values[cuts + 1], atol=1e-3)
        assert np.all(np.diff(along.x) >= -1e-12)
        assert np.all(np.diff(along.distance) >= -1e-9)
        on_way = [e for e in picture.subject.run.elements if picture.way.holds("element", e.name)]
        assert picture.peak[1].pressure == pytest.approx(max(e.highest.pressure for e in on_way), abs=0.2)
        assert picture.trough[1].pressure == pytest.approx(min(e.lowest.pressure for e in on_way), abs=0.2)


# In place and time


def test_the_map_has_the_extremes_of_the_history_within_its_sampling(crude: Subject) -> None:
    picture = wave_picture(crude, span=(13.0, 17.0))  # every step, or nearly
    for field in picture.fields:
        envelope = crude.run.envelopes[field.part.name]
        assert np.all(field.pressure.max(axis=0) <= envelope.highest.max() + 1e-6)
    hose = next(f for f in picture.fields if f.part.name == "hose string")
    peak = next(e.highest for e in crude.run.elements if e.name == "hose string")
    assert hose.pressure.max() == pytest.approx(peak.pressure, abs=2000)
    row = int(np.argmin(np.abs(picture.time - peak.time)))
    assert hose.pressure[row, 0] == pytest.approx(peak.pressure, abs=2000)
    assert picture.every <= 4.0 / 599 + crude.run.method.dt
    assert picture.weak is not None
    assert picture.weak[1].time == peak.time
    assert wave_picture(crude, span=(20.0, 25.0)).weak is None


def test_the_drawn_map_is_the_field_and_its_limit_is_on_the_scale(
    crude: Subject, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = wave_picture(crude)
    with caught(monkeypatch) as sheets:
        wave_files(picture, DISPLAY, "signature", kinds=["png"])
    plot = axes_named(sheets[0], "time")
    for image, field in zip(plot.get_images(), picture.fields, strict=True):
        assert np.allclose(image.get_array(), field.pressure / PSI)
        assert image.get_extent() == [field.part.left, field.part.right, picture.time[0], picture.time[-1]]
    scale = axes_named(sheets[0], "pressure")
    assert round(15e5 / PSI, 6) in levels(scale)
    assert any(t.get_text() == "217.6 limit\nof some parts" for t in scale.get_yticklabels())


def test_the_colours_of_the_map_grow_lighter_all_along() -> None:
    """Seen in grey (ITU-R BT.601 luma), a higher pressure is never darker."""
    import matplotlib as mpl

    from surge.plots.map import RAMP

    red, green, blue, _ = mpl.colormaps[RAMP](np.linspace(0.0, 1.0, 256)).T
    assert np.all(np.diff(0.299 * red + 0.587 * green + 0.114 * blue) > 0.0)


# What is not valid


def test_a_map_has_a_ring_where_the_cargo_boils_first(
    boiling: Assessment, monkeypatch: pytest.MonkeyPatch
) -> None:
    subject = subject_of(boiling)
    first = subject.run.vapour
    assert first is not None
    picture = wave_picture(subject)
    assert picture.boils is not None
    x, mark = picture.boils
    assert mark.time == first.time
    part = next((p for p in picture.way.parts if p.name == first.where), None)
    if part is None:
        assert x == picture.way.drawn_at(first.where)
    else:
        assert part.left <= x <= part.right
    with caught(monkeypatch) as sheets:
        wave_files(picture, DISPLAY, "signature", kinds=["png"])
    field = axes_named(sheets[0], "time from")
    rings = [line.get_xydata()[0] for line in field.get_lines() if line.get_marker() == "o"]
    assert any(np.allclose(ring, (x, first.time)) for ring in rings)
    assert any(f"boils here first,\nat {first.time:.2f} s" in t.get_text() for t in field.texts)


def test_what_boils_is_drawn_until_it_does(boiling: Assessment) -> None:
    subject = subject_of(boiling)
    until = subject.valid_until
    assert until is not None
    line = line_picture(subject)
    assert line.until == until
    deck = next(e for e in subject.run.elements if e.name == "deck line")
    part = [p.name for p in line.way.parts].index("deck line")
    assert line.along.lowest[line.along.part == part].min() == pytest.approx(
        deck.lowest.before_vapour, abs=0.2
    )
    sea = next(e for e in subject.run.elements if e.name == "sea line")
    part = [p.name for p in line.way.parts].index("sea line")
    assert line.along.highest[line.along.part == part].max() == pytest.approx(
        sea.highest.before_vapour, abs=0.2
    )
    assert sea.highest.before_vapour < sea.highest.pressure  # what came later is not in it
    begin, end = times_of(subject, None, None)
    assert begin == 0.0
    assert until < end < 1.25 * until + 1.5
    for curve in time_picture(subject, ["sea line"], cavities=False).traces:
        assert curve.peak is None or curve.peak.time <= until


def test_a_picture_against_time_goes_on_with_cavities(
    monkeypatch: pytest.MonkeyPatch, boiling: Assessment
) -> None:
    subject = subject_of(boiling)
    cavities = subject.run.cavities
    assert cavities is not None
    picture = time_picture(subject, ["deck line inlet", "sea line"])
    assert picture.cavities
    begin, end = times_of(subject, None, None, cavities=True)
    assert (begin, end) == (0.0, subject.end)
    gas = cavities.finest[-1].history
    hose, deck, sea = picture.traces
    assert hose.pressure is gas.pressure["end manifold"]  # where its peak is
    assert deck.pressure is gas.pressure["deck line inlet"]
    assert deck.pressure.min() == pytest.approx(subject.lineup.vapour_gauge, abs=1.0)
    assert hose.peak is not None
    found = cavities.extremes["element", "hose string", "high"]
    assert (hose.peak.pressure, hose.peak.time, hose.peak.error) == (
        found.pressure,
        found.furthest.time,
        found.band,
    )
    assert sea.distance == pytest.approx(4000.0)
    with caught(monkeypatch) as sheets:
        time_files(picture, DISPLAY, "s", kinds=["png"], span=(begin, end))
    said = " ".join(words_in(sheets[0]))
    assert "from here on with cavities" in said
    assert "no pressure after it is valid" not in said


def test_the_picture_says_from_when_it_is_not_valid(
    monkeypatch: pytest.MonkeyPatch, boiling: Assessment
) -> None:
    subject = subject_of(boiling)
    words = f"the cargo boils at {subject.valid_until:.2f} s"
    with caught(monkeypatch) as sheets:
        picture = time_picture(subject, cavities=False)
        time_files(picture, DISPLAY, "s", kinds=["png"], span=times_of(subject, None, None))
        wave_files(wave_picture(subject), DISPLAY, "s", kinds=["png"])
        line_files(line_picture(subject), DISPLAY, "s", kinds=["png"])
    for sheet in sheets[:2]:
        assert any(words in t for t in words_in(sheet))
    foot = " ".join(words_in(sheets[2]))
    assert "shown is the time before that" in foot


# What cannot be decided


def test_what_is_undecided_before_any_scenario_counts_in_every_picture() -> None:
    """Without its shut-off pressure a supply leaves a scenario undecided, however low its peaks are."""
    text = (CASES / "shore-line-of-unknown-length.toml").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("shut_off_pressure")]
    subject = subject_of(check(read_case("\n".join(lines), filename="open.toml"), remedies=False))
    assert subject.verdict == UNDECIDED
    assert "CANNOT BE DECIDED" in scenario_words(subject, DISPLAY)
    assert 'Before any scenario: "terminal supply": no shut_off_pressure' in verdict_words(subject, DISPLAY)


def test_a_part_without_a_limit_is_marked_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    text = CRUDE.read_text(encoding="utf-8").replace('rating = "15 bar(g)"', "")
    assessment = check(read_case(text, filename="open.toml"), remedies=False)
    subject = subject_of(assessment, "manifold valve shut by mistake")
    assert subject.verdict == UNDECIDED
    line = line_picture(subject)
    assert [s.name for s in line.upper if s.limit is None] == ["hose string"]
    with caught(monkeypatch) as sheets:
        line_files(line, DISPLAY, "s", kinds=["png"])
        time_files(time_picture(subject, ["hose string"]), DISPLAY, "s", kinds=["png"], span=None)
    assert words_in(sheets[0]).count("no limit\ngiven") == 1
    assert any('no limit is given for "hose string"' in t for t in words_in(sheets[1]))


# Files


def test_files_have_the_same_bytes_again_and_words_for_those_who_do_not_see(crude: Subject) -> None:
    for kind in ("svg", "png", "pdf"):
        first, second = (line_files(line_picture(crude), DISPLAY, "s", kinds=[kind])[kind] for _ in range(2))
        assert first == second
    root = ET.fromstring(line_files(line_picture(crude), DISPLAY, "s", kinds=["svg"])["svg"])
    assert root.get("role") == "img"
    label = root.get("aria-label")
    assert label is not None
    assert "hose string" in label
    assert "LIMIT EXCEEDED" in label


def test_names_with_markup_are_text() -> None:
    text = CRUDE.read_text(encoding="utf-8").replace("hose string", "<b>$x_1$ & co")
    subject = subject_of(check(read_case(text, filename="markup.toml"), remedies=False))
    made = line_files(line_picture(subject), DISPLAY, "s", kinds=["svg"])["svg"]
    assert b"<b>" not in made
    label = ET.fromstring(made).get("aria-label")
    assert label is not None
    assert "<b>$x_1$ & co" in label


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--scenario", "emergency shutdwn"], 'did you mean "emergency shutdown"'),
        (["--place", "manifold valv"], "no such point or element"),
        (["--of", "line", "--to", "cargo tank 2"], 'did you mean "cargo tanks 2"'),
        (["--of", "line", "--place", "sea line"], '--place has no use in the picture "line"'),
        (["--of", "line", "--from", "1 s"], '--from has no use in the picture "line"'),
        (["--to", "cargo tanks 2"], '--to has no use in the picture "time"'),
        (["--from", "9 s", "--until", "3 s"], "write the earlier time first"),
        (["--from", "900 s", "--until", "950 s"], "the run of this scenario ends at"),
        (["--from", "9 s", "--until", "9.001 s"], "is too short"),
        (["--from", "9"], 'add the unit: "9 s"'),
        (["--pressure", "furlong"], "no such unit"),
        (["-o", "x.bmp"], "end the name with one of .png, .svg, .pdf"),
        (["-o", "no-folder/x.png"], "there is no folder no-folder"),
    ],
)
def test_bad_input_ends_with_2_and_says_why(options: list[str], words: str, tmp_path: Path) -> None:
    output = [] if "-o" in options else ["-o", tmp_path / "x.png"]
    result = run("picture", CRUDE, *options, *output)
    assert result.exit_code == 2
    assert words in result.stderr
    assert result.stdout == ""
    assert not list(tmp_path.iterdir())


def test_the_command_writes_and_never_over_an_existing_file(tmp_path: Path) -> None:
    for what in ("time", "line", "map"):
        out = tmp_path / f"{what}.svg"
        result = run("picture", CRUDE, "--of", what, "-o", out, "--pressure", "psi")
        assert result.exit_code == 3
        assert "LIMIT EXCEEDED" in result.stdout
        assert out.read_bytes().startswith(b"<?xml")
        again = run("picture", CRUDE, "--of", what, "-o", out)
        assert again.exit_code == 2
        assert "exists already" in again.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["line.svg", "map.svg", "time.svg"]


@pytest.mark.parametrize("count", [9, 20, 30, 32, 33, 34, 36])
def test_names_of_parts_do_not_touch_however_many_they_are(count: int) -> None:
    edges = np.linspace(0.0, 1.0, count + 1)
    parts = tuple(
        WayPart(
            name=f"short spool piece {k} of the branch",
            kind="pipe",
            backward=False,
            start=f"joint {k}",
            end=f"joint {k + 1}",
            begin=2.0 * k,
            length=2.0,
            left=left,
            right=right,
        )
        for k, (left, right) in enumerate(itertools.pairwise(edges.tolist()))
    )
    figure = Figure(figsize=(11.7, 8.3), dpi=150)
    axes = figure.add_axes((0.075, 0.18, 0.9, 0.11))
    axes.set_xlim(0.0, 1.0)
    draw_names(axes, Way(parts=parts, left_out=()), DISPLAY)
    FigureCanvasAgg(figure).draw()
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == count
    assert all(a.x1 + 2.0 < b.x0 for a, b in itertools.pairwise(boxes))


def test_with_cavities_an_element_is_shown_at_the_end_at_which_it_goes_further(demos: Demos) -> None:
    """Not at the foot of a drop line, where the tank holds the pressure."""
    demo = demos["condensate-over-a-bridge"]
    subject = subject_of(demo.answer, None)
    cavities = subject.run.cavities
    assert cavities is not None
    (trace,) = [t for t in time_picture(subject, ["drop line"]).traces if t.name == "drop line"]
    line = next(p for p in subject.lineup.pipes if p.name == "drop line")
    history = cavities.finest[-1].history.pressure
    assert trace.distance == 0.0
    assert trace.pressure.max() == history[line.start].max() > history[line.end].max() + 1e5

"""Animations: their data, their frames, and the files."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image
from support.demo_pictures import DISPLAY, PSI
from support.demos import CASES, Demos

import surge.plots.film_files
from surge.api.check import check
from surge.case.file import read_case
from surge.cli.main import main
from surge.errors import RequestError
from surge.plots.film import STYLES, Words, drawn_film
from surge.plots.film_files import HOLD, film_file, frame_time
from surge.reports.words import CAUTIONS
from surge.rules.assess import Assessment
from surge.views.film import BEFORE, MOST_FRAMES, Film, film_of
from surge.views.subject import subject_of

CRUDE = CASES / "crude-sea-line.toml"
WORDS = Words(title="title", line="line", signature="signature")


@pytest.fixture(scope="module")
def short(demos: Demos) -> Film:
    return film_of(subject_of(demos["crude-sea-line"].answer), playing=2.0)


@pytest.fixture(scope="module")
def page(short: Film) -> str:
    return film_file("html", short, DISPLAY, WORDS, alt="alt").decode()


def test_frames_span_what_is_shown_and_the_last_one_is_its_end(short: Film) -> None:
    assert short.time.size == 41  # 20 a second, and the first
    assert frame_time(short) == pytest.approx(0.05)
    period = max(p.longest for p in short.subject.run.periods)
    peak = short.subject.finding
    assert peak is not None
    assert peak.time is not None
    assert short.time[-1] == pytest.approx(peak.time + 2.5 * period, abs=0.01)
    assert short.time[0] == pytest.approx(5.0 - BEFORE * (short.time[-1] - 5.0), abs=0.01)
    asked = film_of(short.subject, begin=6.0, end=9.0, playing=3.0)
    assert (asked.time[0], asked.time[-1]) == (pytest.approx(6.0, abs=0.01), pytest.approx(9.0, abs=0.01))
    assert asked.pace == "shown at its true speed"
    assert film_of(short.subject, begin=6.0, end=7.0, playing=5.0).pace == "shown 5 times slower"
    assert film_of(short.subject, playing=60.0).time.size == MOST_FRAMES


def test_highest_and_lowest_so_far_hold_every_frame_and_end_with_those_of_the_run(demos: Demos) -> None:
    film = film_of(subject_of(demos["crude-sea-line"].answer), begin=0.0, end=1e9, playing=2.0)
    assert np.all(np.diff(film.highest, axis=0) >= 0.0)
    assert np.all(np.diff(film.lowest, axis=0) <= 0.0)
    assert np.all(film.pressure <= film.highest + 1e-6)
    assert np.all(film.pressure >= film.lowest - 1e-6)
    assert np.allclose(film.pressure[0], film.steady, atol=1e-3)
    hose = next(e for e in film.subject.run.elements if e.name == "hose string")
    at = film.part == [p.name for p in film.way.parts].index("hose string")
    assert film.highest[-1, at].max() == pytest.approx(hose.highest.pressure, abs=1.0)
    assert film.time[-1] == pytest.approx(film.subject.end)


def test_every_frame_carries_the_caution(short: Film) -> None:
    with drawn_film(short, DISPLAY, WORDS) as drawn:
        said = [t for t in drawn.figure.texts if t.get_text() == CAUTIONS[0]]
        assert len(said) == 1
        box = said[0].get_window_extent()
        assert 0.0 < box.x0 < box.x1 < drawn.figure.bbox.width
        others = [t for t in drawn.figure.texts if t is not said[0] and t.get_text()]
        others += [drawn.below.xaxis.label, *drawn.below.get_xticklabels()]
        assert not any(box.overlaps(t.get_window_extent()) for t in others)


def test_gates_and_arrows_follow_valve_and_flow(short: Film) -> None:
    opening = short.strokes["manifold valve"]
    assert np.allclose(opening, np.interp(short.time, [5.0, 14.0], [1.0, 0.0]))
    # One flow everywhere at first, in the way's direction.
    assert np.allclose(short.arrows[0], 1.0, atol=1e-3)
    assert np.abs(short.arrows).max() == pytest.approx(1.0)
    ship = short.arrow_x > next(p.right for p in short.way.parts if p.name == "manifold valve")
    assert np.all(np.abs(short.arrows[-1, ship]) < 0.02)


def test_a_pump_that_stops_and_valves_elsewhere_are_in_it(demos: Demos) -> None:
    film = film_of(subject_of(demos["kerosene-shutdown-linked-and-not"].answer), playing=2.0)
    assert film.strokes["shore pump"][0] == pytest.approx(1.0)
    assert film.strokes["shore pump"][-1] == 0.0
    slam = film_of(subject_of(demos["methanol-closed-branches"].answer), to="4P closed valve", playing=2.0)
    assert list(slam.strokes) == []
    assert list(slam.others) == ["3S tank valve"]


def test_nothing_is_shown_after_the_cargo_boils(boiling: Assessment) -> None:
    subject = subject_of(boiling)
    film = film_of(subject, playing=2.0)
    assert film.until == subject.valid_until
    assert film.time[-1] == pytest.approx(subject.valid_until, abs=subject.run.method.dt)
    assert film_of(subject, end=40.0, playing=2.0).time[-1] == film.time[-1]
    with pytest.raises(RequestError, match="the cargo boils at"):
        film_of(subject, begin=30.0)
    with drawn_film(film, DISPLAY, WORDS) as drawn:
        assert any("the cargo boils" in t.get_text() for t in drawn.top.texts)


def test_shapes_are_the_pressures_in_dots(short: Film) -> None:
    with drawn_film(short, DISPLAY, WORDS) as drawn:
        for k in (0, 20, 40):
            shapes = drawn.shapes(k)
            assert set(shapes) == set(STYLES)
            (line,) = shapes["profile"]
            back = drawn.top.transData.inverted().transform(line)
            assert np.allclose(back[:, 0], short.x)
            assert np.allclose(back[:, 1], short.pressure[k] / PSI, atol=0.05)
        low, high = drawn.top.get_ylim()
        assert low < short.lowest[-1].min() / PSI
        assert high > short.highest[-1].max() / PSI
        assert drawn.shapes(0)["over"] == []
        (over,) = drawn.shapes(40)["over"]  # the hose alone is beyond its limit
        x = drawn.top.transData.inverted().transform(over)[:, 0]
        hose = next(p for p in short.way.parts if p.name == "hose string")
        assert (x.min(), x.max()) == (pytest.approx(hose.left), pytest.approx(hose.right))


# Files


def test_a_gif_has_every_frame_holds_the_last_and_is_the_same_again(short: Film) -> None:
    made = film_file("gif", short, DISPLAY, WORDS, alt="a wave")
    assert made == film_file("gif", short, DISPLAY, WORDS, alt="a wave")
    with Image.open(io.BytesIO(made)) as gif:
        assert gif.n_frames == 41
        assert gif.info["comment"] == b"signature. a wave"
        times = []
        for k in range(41):
            gif.seek(k)
            times.append(gif.info["duration"])
        assert set(times[:-1]) == {50}
        assert times[-1] == HOLD * 1000
    assert len(made) < 1_000_000


def test_an_mp4_needs_ffmpeg_and_says_so(short: Film, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(RequestError, match="needs the program ffmpeg"):
        film_file("mp4", short, DISPLAY, WORDS, alt="")


def test_an_ffmpeg_that_fails_is_told(short: Film, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    broken = tmp_path / "ffmpeg"
    broken.write_text("#!/bin/sh\necho no such encoder >&2\nexit 1\n")
    broken.chmod(0o755)
    monkeypatch.setattr(shutil, "which", lambda _: str(broken))
    with pytest.raises(RequestError, match="no such encoder"):
        film_file("mp4", short, DISPLAY, WORDS, alt="")


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not here")
def test_an_mp4_has_every_frame(short: Film, tmp_path: Path) -> None:
    path = tmp_path / "film.mp4"
    path.write_bytes(film_file("mp4", short, DISPLAY, WORDS, alt=""))
    asked = ["ffprobe", "-v", "error", "-show_entries", "stream=nb_frames,pix_fmt", "-of", "json", str(path)]
    stream = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)["streams"][0]
    assert int(stream["nb_frames"]) == 41 + round(HOLD / 0.05)
    assert stream["pix_fmt"] == "yuv420p"


def test_too_large_a_file_is_refused(short: Film, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(surge.plots.film_files, "BIGGEST", 1000)
    with pytest.raises(RequestError, match="smaller --seconds"):
        film_file("html", short, DISPLAY, WORDS, alt="")


def test_the_page_asks_nobody_for_anything(page: str) -> None:
    script = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert len(script) == 1
    digest = base64.b64encode(hashlib.sha256(script[0].encode()).digest()).decode()
    assert f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'" in page
    assert not re.search(r"<(?:link|img|iframe|object|embed|base|form)\b", page)
    assert not re.search(r"\bsrc=|@import|url\(\s*['\"]?(?!#)|\bhref=\"(?!#)", page)
    assert "fetch(" not in script[0]
    assert "XMLHttpRequest" not in script[0]


def test_the_page_has_the_frames_and_shows_the_last_one_without_scripts(page: str, short: Film) -> None:
    data = json.loads(re.findall(r'<script type="application/json" id="data">(.*?)</script>', page)[0])
    assert len(data["frames"]) == 41
    assert data["rate"] == pytest.approx(20.0)
    assert data["shapes"] == list(STYLES)
    assert data["frames"][-1]["t"] == f"{short.time[-1]:.2f} s"
    profile = list(STYLES).index("profile")
    last = data["frames"][-1]["d"][profile]
    assert f'id="live-profile" d="{last}"' in page
    assert last != data["frames"][0]["d"][profile]
    assert page == film_file("html", short, DISPLAY, WORDS, alt="alt").decode()


def test_the_profile_of_the_page_is_that_of_the_pressures(page: str, short: Film) -> None:
    """Steps from point to point in tenths of points: back to psi, within their rounding."""
    data = json.loads(re.findall(r'id="data">(.*?)</script>', page)[0])
    with drawn_film(short, DISPLAY, WORDS) as drawn:
        d = data["frames"][30]["d"][list(STYLES).index("profile")]
        first, steps = re.fullmatch(r"M(-?\d+ -?\d+)l(.*)", d).groups()  # type: ignore[union-attr]
        at = np.cumsum(
            np.array([first.split(), *np.array(steps.split()).reshape(-1, 2)], dtype=float), axis=0
        )
        dots = at / 10 * drawn.figure.dpi / 72
        dots[:, 1] = drawn.figure.bbox.height - dots[:, 1]
        back = drawn.top.transData.inverted().transform(dots)
        low, high = drawn.top.get_ylim()
    assert np.allclose(back[:, 1], short.pressure[30] / PSI, atol=(high - low) / 1500)
    assert np.allclose(back[:, 0], short.x, atol=1e-3)


def test_names_with_markup_are_text() -> None:
    text = CRUDE.read_text(encoding="utf-8").replace("sea line", "</script><img src=x>")
    text = text.replace('title = "Crude', 'title = "<script>alert(1)</script>Crude')
    subject = subject_of(check(read_case(text, filename="markup.toml"), remedies=False))
    film = film_of(subject, playing=2.0, begin=5.0, end=6.0)
    words = Words(title=subject.lineup.title, line="a < b", signature="</script>")
    made = film_file("html", film, DISPLAY, words, alt='"><b>').decode()
    assert "<img" not in made
    assert "<script>alert" not in made
    assert "&lt;script&gt;alert(1)" in made
    assert made.count("</script>") == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["-o", "x.avi"], "end the name with one of .gif, .mp4, .html"),
        (["--seconds", "200"], "write a number from 2 to 60 s"),
        (["--scenario", "emergency shut"], "did you mean"),
        (["--to", "nowhere"], "no such tank or point"),
        (["--from", "8"], "add the unit"),
    ],
)
def test_bad_input_ends_with_2_and_says_why(options: list[str], words: str, tmp_path: Path) -> None:
    output = [] if "-o" in options else ["-o", str(tmp_path / "x.html")]
    result = CliRunner().invoke(main, ["animate", str(CRUDE), *options, *output])
    assert result.exit_code == 2
    assert words in result.stderr
    assert not list(tmp_path.iterdir())


def test_the_command_says_how_fast_and_how_large(tmp_path: Path) -> None:
    out = tmp_path / "film.html"
    span = ["--seconds", "2", "--from", "12 s", "--until", "16 s"]
    gif = tmp_path / "film.gif"
    result = CliRunner().invoke(main, ["animate", str(CRUDE), "-o", str(out), "-o", str(gif), *span])
    assert result.exit_code == 3
    assert gif.read_bytes().startswith(b"GIF89a")
    assert "41 frames, one every 50 ms" in result.stderr
    assert "from 12.00 s to 16.00 s, shown 2 times faster" in result.stderr
    assert "LIMIT EXCEEDED" in result.stdout
    assert out.stat().st_size < 1_000_000

"""An animation as a file: GIF, MP4 where ffmpeg is installed, or one page of HTML that needs no network."""

from __future__ import annotations

import base64
import hashlib
import html
import io
import json
import shutil
import subprocess
import tempfile
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any

import numpy as np

from surge.arrays import Array, Ints
from surge.errors import RequestError
from surge.plots.film import (
    DOTS,
    OPACITY,
    STYLES,
    DrawnFilm,
    Shape,
    Words,
    background_svg,
    drawn_film,
    pictures_of,
)
from surge.plots.frame import HIGH, INK
from surge.reports.words import CAUTIONS, Display
from surge.units import printable
from surge.views.film import Film
from surge.workers import Progress

BIGGEST = 10_000_000  # [bytes] of a file
COLOURS = 64  # of a GIF
HOLD = 1.5  # [s] that the last frame stays
HOW = (
    "Black: the pressure along the line now. Coloured lines: the highest and lowest so far, which come from "
    "every step of the calculation, those between two frames included. Filled: beyond the limit. Arrows: the "
    "flow. Black gates: how far a valve is shut. Across, each element is as wide as the root of its length, "
    "so that short ones can be seen."
)


def film_file(
    kind: str, film: Film, display: Display, words: Words, *, alt: str, progress: Progress | None = None
) -> bytes:
    """Return an animation as a file.

    Parameters
    ----------
    kind : {"gif", "mp4", "html"}
    film : Film
    display : Display
        Units of the words and axes.
    words : Words
    alt : str
        What it shows, for those who do not see it.
    progress : callable, optional
        Called with a word as frames are drawn.

    Returns
    -------
    bytes
        The whole file.

    Raises
    ------
    RequestError
        The file would be larger than ``BIGGEST``, or ffmpeg is not there or fails.
    """
    if kind == "mp4":
        _ffmpeg()
    with drawn_film(film, display, words) as drawn:
        made: bytes = {"gif": _gif, "mp4": _mp4, "html": _html}[kind](
            drawn, alt, progress or (lambda _: None)
        )
    if len(made) > BIGGEST:
        raise RequestError(
            f"the file would have {len(made) / 1e6:.1f} MB, at most {BIGGEST / 1e6:.0f} MB: "
            "write a smaller --seconds, or a shorter time with --from and --until"
        )
    return made


def _frames(drawn: DrawnFilm, progress: Progress) -> Any:
    for k, picture in enumerate(pictures_of(drawn)):
        progress(f"frame {k + 1} of {drawn.film.time.size}")
        yield picture


def frame_time(film: Film) -> float:
    """Return for how long each frame is shown [s]."""
    return film.playing / max(film.time.size - 1, 1)


def _gif(drawn: DrawnFilm, alt: str, progress: Progress) -> bytes:
    from PIL import Image

    frames = [Image.fromarray(picture) for picture in _frames(drawn, progress)]
    # One palette for all, from the last frame, which has every colour: no flicker, and the same bytes again.
    palette = frames[-1].quantize(COLOURS, dither=Image.Dither.NONE)
    small = [f.quantize(palette=palette, dither=Image.Dither.NONE) for f in frames]
    each = max(round(frame_time(drawn.film) * 100), 2) * 10
    out = io.BytesIO()
    durations = [each] * (len(small) - 1) + [round(HOLD * 1000)]
    small[0].save(
        out,
        format="GIF",
        save_all=True,
        append_images=small[1:],
        duration=durations,
        loop=0,
        disposal=1,
        comment=f"{drawn.words.signature}. {alt}".encode("ascii", "replace")[:250],
    )
    return out.getvalue()


def _ffmpeg() -> str:
    found = shutil.which("ffmpeg")
    if found is None:
        raise RequestError(
            "an MP4 needs the program ffmpeg, which is not on this machine: install it, or end the name with "
            ".gif or .html, which need nothing"
        )
    return found


def _mp4(drawn: DrawnFilm, alt: str, progress: Progress) -> bytes:  # noqa: ARG001  one signature for all kinds
    each = frame_time(drawn.film)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "film.mp4"
        first = next(pictures_of(drawn))
        height, width = first.shape[:2]
        command = [
            *(_ffmpeg(), "-hide_banner", "-loglevel", "error", "-f", "rawvideo", "-pix_fmt", "rgb24"),
            *("-s", f"{width}x{height}", "-r", f"{1 / each:.6g}", "-i", "-", "-an", "-c:v", "libx264"),
            *("-pix_fmt", "yuv420p", "-crf", "20", "-movflags", "+faststart", "-map_metadata", "-1"),
            # One thread: with several the bytes depend on how many processors there are.
            *("-threads", "1", "-metadata", f"comment={printable(drawn.words.signature)}"),
            *("-fflags", "+bitexact", "-flags:v", "+bitexact", str(path)),
        ]
        with tempfile.TemporaryFile() as said:
            process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=said, stderr=said)
            assert process.stdin is not None
            # When it ends early its own words say why.
            with suppress(BrokenPipeError), process.stdin as pipe:
                for picture in _frames(drawn, progress):
                    pipe.write(picture.tobytes())
                for _ in range(round(HOLD / each)):
                    pipe.write(picture.tobytes())
            code = process.wait()
            said.seek(0)
            why = said.read().decode(errors="replace").strip()
        if code != 0 or not path.exists():
            raise RequestError(
                f"ffmpeg could not write the animation: {why or f'it ended with {code}'}; end the name with "
                ".gif or .html instead"
            )
        return path.read_bytes()


# HTML


def _html(drawn: DrawnFilm, alt: str, progress: Progress) -> bytes:
    height = drawn.figure.bbox.height
    names = list(STYLES)
    data = {
        "rate": 1 / frame_time(drawn.film),
        "shapes": names,
        "frames": [],
    }
    frames: list[dict[str, Any]] = []
    for k in range(drawn.film.time.size):
        progress(f"frame {k + 1} of {drawn.film.time.size}")
        shapes = drawn.shapes(k)
        x, y, value = drawn.mark(k)
        frames.append(
            {
                "t": drawn.clock(k),
                "m": [*_tenths(np.array([(x, y + 4.0)]), height)[0].tolist(), value],
                "d": [_outline(shapes[n], height, closed=STYLES[n][0] != "none") for n in names],
            }
        )
    data["frames"] = frames
    page = files("surge.plots").joinpath("templates/film.html").read_text(encoding="utf-8")
    script = files("surge.plots").joinpath("templates/film.js").read_text(encoding="utf-8")
    svg = background_svg(drawn)
    live = _live(drawn, frames[-1], names)
    return (
        Template(page)
        .substitute(
            hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
            title=html.escape(drawn.words.title),
            line=html.escape(f"{drawn.words.line}; {drawn.film.pace}"),
            alt=html.escape(alt, quote=True),
            svg=svg.replace("</svg>", f"{live}</svg>"),
            how=html.escape(HOW),
            cautions=html.escape(" ".join(CAUTIONS)),
            signature=html.escape(drawn.words.signature),
            data=json.dumps(data, separators=(",", ":")).replace("<", "\\u003c"),
            script=script,
        )
        .encode()
    )


def _tenths(points: Array, height: float) -> Ints:
    """Dots from the lower left corner as tenths of points from the upper left one."""
    scaled = np.column_stack([points[:, 0], height - points[:, 1]]) * (720.0 / DOTS)
    return np.rint(scaled).astype(np.int64)


def _outline(shape: Shape, height: float, *, closed: bool) -> str:
    """Outlines as the data of an SVG path, in steps from point to point."""
    parts = []
    for points in shape:
        at = _tenths(points, height)
        steps = np.diff(at, axis=0)
        parts.append(f"M{at[0, 0]} {at[0, 1]}l" + " ".join(f"{x} {y}" for x, y in steps.tolist()))
        if len(at) < 2:
            parts[-1] += "0 0"
        parts[-1] += "z" if closed else ""
    return "".join(parts)


def _live(drawn: DrawnFilm, last: dict[str, Any], names: list[str]) -> str:
    """What moves, as the last frame has it: readers without scripts see that."""
    paths = []
    for name, d in zip(names, last["d"], strict=True):
        face, edge, width = STYLES[name]
        paths.append(
            f'<path id="live-{name}" d="{d}" fill="{face}" fill-opacity="{OPACITY.get(name, 1)}" '
            f'stroke="{edge}" stroke-width="{10 * width:g}" stroke-linejoin="round"/>'
        )
    corner = np.array(drawn.clock_at) * [drawn.figure.bbox.width, drawn.figure.bbox.height]
    x, y = _tenths(corner[None, :], drawn.figure.bbox.height)[0].tolist()
    font = 'font-family="DejaVu Sans, Verdana, sans-serif" font-weight="bold"'
    clock = (
        f'<text id="live-clock" x="{x}" y="{y + 50}" font-size="150" text-anchor="end" {font} fill="{INK}">'
        f"{last['t']}</text>"
    )
    mx, my, value = last["m"]
    mark = (
        f'<text id="live-mark" x="{mx}" y="{my}" font-size="95" text-anchor="middle" {font} fill="{HIGH}" '
        f'stroke="white" stroke-width="22" paint-order="stroke">{html.escape(value)}</text>'
    )
    return f'<g transform="scale(0.1)">{"".join(paths)}{clock}{mark}</g>'

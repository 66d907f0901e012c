"""``surge picture``: pressure against time, along the line, or in place and time."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from surge.cli.options import unit_options
from surge.cli.shared import (
    answering,
    fail,
    output_paths,
    print_text,
    signature,
    units_over,
    write_file,
)

if TYPE_CHECKING:
    from surge.reports.words import Display
    from surge.views.subject import Subject

KINDS = ("png", "svg", "pdf")


@click.command()
@click.argument("case", type=click.Path())
@click.option(
    "--of",
    "what",
    type=click.Choice(["time", "line", "map"]),
    default="time",
    help="time: pressure, strokes and flow against time; line: highest and lowest pressure along the line; "
    "map: pressure in place and time, in which waves are seen.",
)
@click.option(
    "-o",
    "--output",
    multiple=True,
    help="File to write: .png, .svg or .pdf; several allowed. Without it, the name of the picture as PNG.",
)
@click.option("--scenario", help="The scenario; the one that comes nearest to a limit without it.")
@click.option("--place", "places", multiple=True, help="With --of time: also this point or element; several.")
@click.option("--to", help="With line and map: the tank or point at the far end of the way shown.")
@click.option("--from", "begin", help='With time and map: shown from then on, such as "8 s".')
@click.option("--until", "end", help='With time and map: shown until then, such as "14 s".')
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@unit_options("pressure", "flow", "length")
def picture(
    case: str,
    what: str,
    output: tuple[str, ...],
    force: bool,
    scenario: str | None,
    pressure: str | None,
    flow: str | None,
    length: str | None,
    **asked: Any,
) -> None:
    """Draw pressures of one scenario of CASE.

    The exit code is that of the whole case, as of "surge check".
    """
    _refuse_useless(what, asked)
    span = seconds_of("--from", asked["begin"]), seconds_of("--until", asked["end"])
    show = units_over({"pressure": pressure, "flow": flow, "length": length})
    paths = output_paths(output or (f"{what}.png",), kinds=KINDS, force=force)
    with answering(case, as_json=False) as progress:
        from surge.api_check import check
        from surge.case.file import load_case
        from surge.plots.captions import picture_lines
        from surge.reports.words import Display
        from surge.views.subject import PictureError, subject_of

        loaded = load_case(case)
        assessment = check(loaded, progress=progress)
        display = Display(units=show(loaded.show), density=loaded.lineup.liquid.density)
        try:
            subject = subject_of(assessment, scenario)
            files = _drawn(what, subject, display, signature(loaded), list(paths.values()), span, asked)
        except PictureError as error:
            fail(str(error))
    for path, kind in paths.items():
        write_file(path, files[kind])
        click.echo(f"{path} written.", err=True)
    print_text("\n".join([*picture_lines(subject, display), signature(loaded)]))
    sys.exit(assessment.exit_code)


def _refuse_useless(what: str, asked: dict[str, Any]) -> None:
    """An option that the picture asked for has no use for is a mistake, not a wish to pass over."""
    for key, option, used in (
        ("places", "--place", ("time",)),
        ("to", "--to", ("line", "map")),
        ("begin", "--from", ("time", "map")),
        ("end", "--until", ("time", "map")),
    ):
        if asked[key] and what not in used:
            fail(f"{option} has no use with --of {what}: leave it out, or ask for --of {' or '.join(used)}")


def _drawn(
    what: str,
    subject: Subject,
    display: Display,
    words: str,
    kinds: list[str],
    span: tuple[float | None, float | None],
    asked: dict[str, Any],
) -> dict[str, bytes]:
    from surge.plots.captions import line_files, time_files, wave_files
    from surge.views.line import line_picture
    from surge.views.map import times_of, wave_picture
    from surge.views.time import time_picture

    if what == "line":
        return line_files(line_picture(subject, asked["to"]), display, words, kinds=kinds)
    shown = times_of(subject, *span)
    if what == "map":
        return wave_files(wave_picture(subject, asked["to"], span=shown), display, words, kinds=kinds)
    return time_files(time_picture(subject, asked["places"]), display, words, kinds=kinds, span=shown)


def seconds_of(option: str, text: str | None) -> float | None:
    """Read a time of an option [s]."""
    from surge.units import QuantityError, read

    if text is None:
        return None
    try:
        return read(text, dimension="time").value
    except QuantityError as error:
        fail(f"{option} {error}")

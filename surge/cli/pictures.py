"""``surge picture``, ``surge animate``, ``surge compare``: what is drawn of what a check found."""

from __future__ import annotations

import sys
from functools import partial
from typing import Any

import click

from surge.choices import DrawnKind, FilmKind, PictureKind, PictureOf, refuse_table, refuse_useless, words_of
from surge.cli.files import InputPath, bytes_of, contents_of, output_paths, write_file, write_files
from surge.cli.shared import (
    OneOf,
    answering,
    fail,
    patient_option,
    print_text,
    seconds_of,
    tell,
    unit_options,
    wanted_units,
)

KINDS = words_of(DrawnKind)
FILM_KINDS = words_of(FilmKind)


@click.command()
@click.argument("case", type=InputPath())
@click.option(
    "--of",
    "what",
    type=OneOf(PictureOf),
    default="time",
    help="time: pressure, strokes and flow against time; line: highest and lowest pressure along the line; "
    "map: pressure in place and time, in which waves are seen.",
)
@click.option(
    "-o",
    "--output",
    multiple=True,
    help="File to write: .png, .svg or .pdf, and with --of time .csv (the histories as a table); several "
    "allowed. Without it, the name of the picture as PNG.",
)
@click.option("--scenario", help="The scenario; the one that comes nearest to a limit without it.")
@click.option("--place", "places", multiple=True, help="With --of time: also this point or element; several.")
@click.option("--to", help="With line and map: the tank or point at the far end of the way shown.")
@click.option("--from", "begin", help='With time and map: shown from then on, such as "8 s".')
@click.option("--until", "end", help='With time and map: shown until then, such as "14 s".')
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@unit_options("pressure", "flow", "length")
@patient_option
def picture(
    case: str,
    what: Any,
    output: tuple[str, ...],
    force: bool,
    scenario: str | None,
    places: tuple[str, ...],
    to: str | None,
    begin: str | None,
    end: str | None,
    **units: str | None,
) -> None:
    """Draw pressures of one scenario of CASE.

    The exit code is that of the whole case, as of "surge check".
    """
    _refuse_useless(what, {"place": places, "to": to, "from": begin, "until": end})
    span = seconds_of("--from", begin), seconds_of("--until", end)
    wanted = wanted_units(units)
    paths = output_paths(output or (f"{what}.png",), kinds=KINDS, force=force)
    with answering(case) as progress:
        refuse_table(what, paths.values())
        from surge.api.check import check

        answer = check(case, units=wanted, remedies=False, progress=progress)
        draw = partial(answer.draw_all, what, scenario=scenario, places=places, to=to, span=span)
        files = contents_of(paths, lambda kinds: bytes_of(draw(kinds=kinds)))
    write_files(files)
    print_text(answer.picture_text(scenario))
    sys.exit(answer.exit_code)


def _refuse_useless(what: Any, given: dict[str, Any]) -> None:
    """Refuse what the picture has no use for, before anything is read."""
    from surge.errors import ArgumentError

    try:
        refuse_useless(what, given)
    except ArgumentError as error:
        fail(error.as_option)


@click.command()
@click.argument("case", type=InputPath())
@click.option(
    "-o",
    "--output",
    multiple=True,
    help="File to write: .gif, .mp4 (needs ffmpeg) or .html (one file, with controls); several allowed. "
    "animation.gif without it.",
)
@click.option("--scenario", help="The scenario; the one that comes nearest to a limit without it.")
@click.option("--to", help="The tank or point at the far end of the way shown.")
@click.option(
    "--from", "begin", help='Shown from then on, such as "8 s"; else from before the first movement.'
)
@click.option("--until", "end", help='Shown until then, such as "14 s"; else until the peak has passed.')
@click.option("--seconds", default=12.0, help="Time that the animation runs, 2 to 60.", show_default=True)
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
@unit_options("pressure", "flow", "length")
@patient_option
def animate(
    case: str,
    output: tuple[str, ...],
    scenario: str | None,
    to: str | None,
    begin: str | None,
    end: str | None,
    seconds: float,
    force: bool,
    **units: str | None,
) -> None:
    """Show how the pressure travels along the line in one scenario of CASE, for training.

    At most 400 frames and 10 MB. The exit code is that of the whole case, as of "surge check".
    """
    span = seconds_of("--from", begin), seconds_of("--until", end)
    wanted = wanted_units(units)
    paths = output_paths(output or ("animation.gif",), kinds=FILM_KINDS, force=force)
    with answering(case) as progress:
        from surge.api.check import check

        answer = check(case, units=wanted, remedies=False, progress=progress)
        film = answer.animate(scenario=scenario, to=to, span=span, seconds=seconds)
        files = contents_of(paths, lambda kinds: {kind: film.file(kind, progress=progress) for kind in kinds})
    for path, content in files.items():
        write_file(path, content)
        tell(f"{path} written: {film.told(len(content))}.")
    print_text(answer.picture_text(scenario))
    sys.exit(answer.exit_code)


@click.command(name="compare")
@click.argument("before", type=InputPath())
@click.argument("after", type=InputPath())
@click.option(
    "--scenario",
    "scenarios",
    multiple=True,
    help="Only this scenario; given twice, the first is of BEFORE and the second of AFTER.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("-o", "--output", multiple=True, help="Also a picture: .png, .svg or .pdf; several allowed.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@unit_options("pressure", "flow", "length", "diameter")
@patient_option
def compare_(
    before: str,
    after: str,
    scenarios: tuple[str, ...],
    as_json: bool,
    output: tuple[str, ...],
    force: bool,
    **units: str | None,
) -> None:
    """Tell what differs between the cases BEFORE and AFTER, and what that does to every pressure.

    Scenarios of the same name are held side by side. BEFORE and AFTER may be the same file with two
    scenarios. The exit code is that of AFTER, as of "surge check": whether the new way may be used is
    what is asked, and an old way that was not safe is no reason against it. It is 2 when either case
    cannot be used, and 4 when either cannot be computed.
    """
    wanted = wanted_units(units)
    paths = output_paths(output, kinds=words_of(PictureKind), force=force)
    with answering(after, as_json=as_json) as progress:
        from surge.api.compare import compare

        answer = compare(before, after, scenarios=scenarios, units=wanted, progress=progress)
        files = contents_of(paths, lambda kinds: bytes_of(answer.draw_all(kinds)))
    write_files(files)
    print_text(answer.json() if as_json else answer.text())
    sys.exit(answer.exit_code)

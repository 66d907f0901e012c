"""``surge animate``: pressure travelling along the line while valves move."""

from __future__ import annotations

import sys

import click

from surge.cli.options import unit_options
from surge.cli.pictures import seconds_of
from surge.cli.shared import answering, fail, output_paths, print_text, signature, units_over, write_file

KINDS = ("gif", "mp4", "html")


@click.command()
@click.argument("case", type=click.Path())
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
    show = units_over(units)
    paths = output_paths(output or ("animation.gif",), kinds=KINDS, force=force)
    with answering(case, as_json=False) as progress:
        from surge.api_check import check
        from surge.case.file import load_case
        from surge.plots.captions import film_words, picture_lines
        from surge.plots.film_files import film_file, frame_time
        from surge.reports.words import Display
        from surge.views.film import film_of
        from surge.views.subject import PictureError, subject_of

        loaded = load_case(case)
        assessment = check(loaded, progress=progress)
        display = Display(units=show(loaded.show), density=loaded.lineup.liquid.density)
        try:
            subject = subject_of(assessment, scenario)
            film = film_of(subject, to=to, begin=span[0], end=span[1], playing=seconds)
            words, alt = film_words(film, display, signature(loaded))
            made = {
                kind: film_file(kind, film, display, words, alt=alt, progress=progress)
                for kind in dict.fromkeys(paths.values())
            }
        except PictureError as error:
            fail(str(error))
    for path, kind in paths.items():
        write_file(path, made[kind])
        size = len(made[kind])
        large = f"{size / 1e6:.1f} MB" if size >= 1e5 else f"{size / 1e3:.0f} kB"
        click.echo(
            f"{path} written: {film.time.size} frames, one every {frame_time(film) * 1000:.0f} ms, {large}; "
            f"from {film.time[0]:.2f} s to {film.time[-1]:.2f} s, {film.pace}.",
            err=True,
        )
    print_text("\n".join([*picture_lines(subject, display), signature(loaded)]))
    sys.exit(assessment.exit_code)

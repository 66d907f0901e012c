"""``surge chart``: rate against stroke time."""

from __future__ import annotations

import sys
from typing import Any

import click

from surge.choices import ChartKind, words_of
from surge.cli.files import InputPath, contents_of, output_paths, write_files
from surge.cli.shared import answering, fail, patient_option, print_text

KINDS = words_of(ChartKind)


@click.command()
@click.argument("case", type=InputPath())
@click.option("--valve", help="The valve whose stroke varies; the one that matters most without it.")
@click.option("--scenario", help="The scenario; the one that comes nearest to a limit without it.")
@click.option("--rates", nargs=2, help='Least and greatest rate, such as "200 m3/h" "900 m3/h".')
@click.option("--strokes", nargs=2, help='Shortest and longest stroke, such as "2 s" "60 s".')
@click.option("--points", default=25, help="Rates, and strokes, to compute: 3 to 100.")
@click.option(
    "-o", "--output", multiple=True, help="File to write: .png, .svg, .pdf, .csv or .json; several allowed."
)
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@patient_option
def chart(case: str, output: tuple[str, ...], force: bool, as_json: bool, **asked: Any) -> None:
    """Draw how much of the nearest limit is used, for every rate and stroke time of one valve of CASE.

    Writes chart.png, or the files that --output names. The exit code is that of the agreed point.
    """
    paths = output_paths(output or (() if as_json else ("chart.png",)), kinds=KINDS, force=force)
    with answering(case, as_json=as_json) as progress:
        from surge.api.chart import survey
        from surge.case.file import load_case

        loaded = load_case(case)
        density = loaded.lineup.liquid.density
        for key in ("rates", "strokes"):
            asked[key] = _range(f"--{key}", asked[key], density)
        answer = survey(loaded, progress=progress, **asked)
        files = contents_of(paths, answer.files)
    write_files(files)
    print_text(answer.json() if as_json else answer.text())
    sys.exit(answer.exit_code)


def _range(option: str, texts: tuple[str, str] | None, density: float) -> tuple[float, float] | None:
    """Read the ends of a range of rates [m3/s] or strokes [s]."""
    from surge.api.chart import RATES, STROKES
    from surge.errors import ArgumentError
    from surge.units import QuantityError, read

    if texts is None:
        return None
    wanted = STROKES if option == "--strokes" else RATES
    ends = []
    for text in texts:
        try:
            reading = read(text, dimension=wanted.each.dimension)
        except QuantityError as error:
            fail(f"{option} {error}")
        ends.append(reading.value / density if reading.kind == "mass flow" else reading.value)
    low, high = ends
    try:
        wanted.hold(option, (low, high))
    except ArgumentError as error:  # in the units that were written
        fail(f'{option} "{texts[0]}" "{texts[1]}": {error.remedy}')
    return low, high

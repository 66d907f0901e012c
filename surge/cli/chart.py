"""``surge chart``: rate against stroke time."""

from __future__ import annotations

import sys
from typing import Any

import click

from surge import __version__
from surge.cli.shared import answering, fail, output_paths, print_document, print_text, signature, write_file

KINDS = ("png", "svg", "pdf", "csv", "json")


@click.command()
@click.argument("case", type=click.Path())
@click.option("--valve", help="The valve whose stroke varies; the one that matters most without it.")
@click.option("--scenario", help="The scenario; the one that comes nearest to a limit without it.")
@click.option("--rates", nargs=2, help='Least and greatest rate, such as "200 m3/h" "900 m3/h".')
@click.option("--strokes", nargs=2, help='Shortest and longest stroke, such as "2 s" "60 s".')
@click.option("--points", default=25, type=click.IntRange(3, 100), help="Rates, and strokes, to compute.")
@click.option(
    "-o", "--output", multiple=True, help="File to write: .png, .svg, .pdf, .csv or .json; several allowed."
)
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def chart(case: str, output: tuple[str, ...], force: bool, as_json: bool, **asked: Any) -> None:
    """Draw how much of the nearest limit is used, for every rate and stroke time of one valve of CASE.

    Writes chart.png, or the files that --output names. The exit code is that of the agreed point.
    """
    paths = output_paths(output or (() if as_json else ("chart.png",)), kinds=KINDS, force=force)
    with answering(case, as_json=as_json) as progress:
        from surge.api_check import rules_of_case
        from surge.case.file import load_case
        from surge.search.chart import chart_of

        loaded = load_case(case)
        density = loaded.lineup.liquid.density
        for key in ("rates", "strokes"):
            asked[key] = _range(f"--{key}", asked[key], density)
        found = chart_of(loaded.lineup, book=rules_of_case(loaded), progress=progress, **asked)
    from surge.plots.chart import chart_files
    from surge.reports.chart import chart_document, chart_lines
    from surge.reports.document import head_of
    from surge.reports.words import CAUTIONS, Display

    lineup, display = loaded.lineup, Display(units=loaded.show, density=density)
    head = head_of(__version__, loaded.filename, loaded.sha256)
    document = chart_document(found, head, lineup.title, CAUTIONS)
    files = chart_files(
        found, paths.values(), document=document, display=display, signature=signature(loaded)
    )
    for path, kind in paths.items():
        write_file(path, files[kind])
        click.echo(f"{path} written.", err=True)
    if as_json:
        print_document(document)
    else:
        print_text("\n".join([*chart_lines(found, lineup.title, display), "", signature(loaded)]))
    sys.exit(found.exit_code)


def _range(option: str, texts: tuple[str, str] | None, density: float) -> tuple[float, float] | None:
    """Read the ends of a range of rates [m3/s] or strokes [s]."""
    from surge.units import QuantityError, read

    if texts is None:
        return None
    dimension, least, most = ("time", 0.05, 3600.0) if option == "--strokes" else ("flow", 1e-6, 100.0)
    ends = []
    for text in texts:
        try:
            reading = read(text, dimension=dimension)
        except QuantityError as error:
            fail(f"{option} {error}")
        ends.append(reading.value / density if reading.kind == "mass flow" else reading.value)
    low, high = ends
    if not least <= low < high <= most:
        example = '"2 s" "60 s"' if dimension == "time" else '"200 m3/h" "900 m3/h"'
        fail(
            f'{option} "{texts[0]}" "{texts[1]}": write the smaller first, both above zero, such as {example}'
        )
    return low, high

"""``surge compare``: two cases side by side."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from surge import __version__
from surge.cli.options import unit_options
from surge.cli.shared import (
    answering,
    fail,
    output_paths,
    print_document,
    print_text,
    signature,
    units_over,
    write_file,
)

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.rules.assess import Assessment

KINDS = ("png", "svg", "pdf")


@click.command(name="compare")
@click.argument("before", type=click.Path())
@click.argument("after", type=click.Path())
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
    show = units_over(units)
    paths = output_paths(output, kinds=KINDS, force=force)
    cases = [_checked(path, as_json=as_json) for path in (before, after)]
    with answering(after, as_json=as_json):
        from surge.plots.compare import comparison_files
        from surge.reports.compare import comparison_document, comparison_lines
        from surge.reports.words import Display
        from surge.views.compare import compare
        from surge.views.subject import PictureError

        (first, _), (second, _) = cases
        display = Display(units=show(second.show), density=second.lineup.liquid.density)
        try:
            found = compare(cases[0][1], cases[1][1], scenarios)
            files = (
                comparison_files(found, display, [signature(c) for c, _ in cases], kinds=list(paths.values()))
                if paths
                else {}
            )
        except PictureError as error:
            fail(str(error))
    for path, kind in paths.items():
        write_file(path, files[kind])
        click.echo(f"{path} written.", err=True)
    if as_json:
        hashes = [(c.filename, c.sha256) for c, _ in cases]
        print_document(comparison_document(found, hashes, version=__version__))
    else:
        lines = comparison_lines(found, (first.filename, second.filename), display)
        print_text("\n".join([*lines, "", signature(first), signature(second)]))
    sys.exit(found.exit_code)


def _checked(path: str, *, as_json: bool) -> tuple[Case, Assessment]:
    """Read and check one of the cases; its faults are its own."""
    with answering(path, as_json=as_json) as progress:
        from surge.api_check import check
        from surge.case.file import load_case

        loaded = load_case(path)
        return loaded, check(loaded, progress=progress)

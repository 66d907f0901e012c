"""``surge filling``: lines that hold gas at first, and fill."""

from __future__ import annotations

import sys

import click

from surge.choices import FillingKind, words_of
from surge.cli.files import InputPath, contents_of, output_paths, write_files
from surge.cli.shared import answering, patient_option, print_text, unit_options, wanted_units

KINDS = words_of(FillingKind)


@click.command()
@click.argument("case", type=InputPath())
@click.option("--filling", "fillings", multiple=True, help="The filling; several allowed, all without it.")
@click.option(
    "-o",
    "--output",
    multiple=True,
    help="File to write, of the worst filling: .png, .svg or .pdf (picture), .gif (film), .csv (histories as "
    "a table); several allowed.",
)
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option(
    "--json", "as_json", is_flag=True, help="One JSON document, with histories, on standard output."
)
@unit_options("pressure", "flow", "length")
@patient_option
def filling(
    case: str,
    fillings: tuple[str, ...],
    output: tuple[str, ...],
    force: bool,
    as_json: bool,
    **units: str | None,
) -> None:
    """Tell what every [[filling]] of CASE gives, by a rigid column and with an elastic line.

    The exit code is that of these fillings; "surge check" counts them with all the rest.
    """
    wanted = wanted_units(units)
    paths = output_paths(output, kinds=KINDS, force=force)
    with answering(case, as_json=as_json) as progress:
        from surge.api.filling import fill_lines

        answer = fill_lines(case, fillings=fillings, units=wanted, progress=progress)
        files = contents_of(paths, answer.files)
    write_files(files)
    print_text(answer.json() if as_json else answer.text())
    sys.exit(answer.exit_code)

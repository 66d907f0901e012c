"""``surge check``: every scenario of a case against every limit."""

from __future__ import annotations

import os
import sys

import click

from surge.cli.files import InputPath
from surge.cli.shared import (
    answering,
    patient_option,
    print_pieces,
    print_text,
    unit_options,
    wanted_units,
)

COLOURS = {"limit kept": "cyan", "limit exceeded": "yellow", "cannot be decided": "magenta"}


@click.command()
@click.argument("case", type=InputPath())
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("--histories", is_flag=True, help="With --json: add histories and envelopes.")
@click.option("--details", is_flag=True, help="All places, sources, and how it was computed.")
@click.option("--no-remedies", is_flag=True, help="Do not try what mends a case that is not kept.")
@unit_options("pressure", "flow", "length", "diameter")
@patient_option
def check(
    case: str, as_json: bool, histories: bool, details: bool, no_remedies: bool, **units: str | None
) -> None:
    """Check every scenario of CASE and print the verdict.

    The answer goes to standard output, everything else to standard error. See "surge --help" for
    the exit codes.
    """
    wanted = wanted_units(units)
    with answering(case, as_json=as_json) as progress:
        from surge.api.check import check as check_case
        from surge.case.file import load_case

        loaded = load_case(case)
        answer = check_case(loaded, units=wanted, remedies=not no_remedies, progress=progress)
    if as_json:
        print_pieces(answer.json_pieces(histories=histories))
    else:
        bare = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb" or not sys.stdout.isatty()
        print_text(answer.text(details=details, style=None if bare else _coloured), coloured=not bare)
    sys.exit(answer.exit_code)


def _coloured(text: str, verdict: str) -> str:
    return click.style(text, fg=COLOURS[verdict], bold=True)

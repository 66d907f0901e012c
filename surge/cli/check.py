"""``surge check``: every scenario of a case against every limit."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from surge import __version__
from surge.cli.options import unit_options
from surge.cli.shared import ProgressLine, answering, print_document, print_text, signature, units_over

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.rules.assess import Assessment
    from surge.units import ShowUnits

COLOURS = {"limit kept": "cyan", "limit exceeded": "yellow", "cannot be decided": "magenta"}


@click.command()
@click.argument("case", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("--histories", is_flag=True, help="With --json: add histories and envelopes.")
@click.option("--details", is_flag=True, help="All places, sources, and how it was computed.")
@unit_options("pressure", "flow", "length", "diameter")
def check(case: str, as_json: bool, histories: bool, details: bool, **units: str | None) -> None:
    """Check every scenario of CASE and print the verdict.

    The answer goes to standard output, everything else to standard error. See "surge --help" for
    the exit codes.
    """
    show = units_over(units)
    with answering(case, as_json=as_json) as progress:
        from surge.case.file import load_case

        loaded = load_case(case)
        assessment = _assess(loaded, progress)
    _print(loaded, assessment, show(loaded.show), as_json, histories, details)
    sys.exit(assessment.exit_code)


def _assess(case: Case, progress: ProgressLine) -> Assessment:
    """Run the case, with a word on standard error when the solver must be compiled first."""
    from surge.api_check import check as check_case
    from surge.api_check import rules_of_case
    from surge.kernel.march import march

    book = rules_of_case(case)
    if not compiled_before(march):
        click.echo("surge: compiling the solver for this machine, once; some ten seconds ...", err=True)
    return check_case(case, book=book, progress=progress)


def compiled_before(function: Any) -> bool:
    """Whether the compiler's cache holds the march; when in doubt, no."""
    cache = getattr(getattr(function, "_cache", None), "cache_path", None)
    return cache is not None and any(Path(cache).glob("march.march*.nbi"))


def _print(
    case: Case, assessment: Assessment, units: ShowUnits, as_json: bool, histories: bool, details: bool
) -> None:
    """Print the answer."""
    from surge.reports.words import CAUTIONS, Display, sentence
    from surge.rules.assess import run_of

    display = Display(units=units, density=case.lineup.liquid.density)
    if as_json:
        from surge.reports.advice import advice
        from surge.reports.check_json import answer

        worst = assessment.weakest
        document = answer(
            case,
            assessment,
            version=__version__,
            sentence=sentence(worst, run_of(assessment, worst), display) if worst else "",
            advice=advice(assessment, display),
            cautions=CAUTIONS,
            histories=histories,
        )
        print_document(document)
        return
    from surge.reports.text import TextReport, plain

    bare = bool(os.environ.get("NO_COLOR")) or not sys.stdout.isatty()
    report = TextReport(assessment, display, details=details, style=plain if bare else _coloured)
    print_text("\n".join([*report.lines(), "", signature(case)]))


def _coloured(text: str, verdict: str) -> str:
    return click.style(text, fg=COLOURS[verdict], bold=True)

"""``surge forces``: what the supports of the pipework feel."""

from __future__ import annotations

import sys

import click

from surge.choices import ForcesKind, words_of
from surge.cli.files import InputPath, contents_of, output_paths, write_files
from surge.cli.shared import answering, patient_option, print_text, unit_options, wanted_units

KINDS = words_of(ForcesKind)


@click.command()
@click.argument("case", type=InputPath())
@click.option("--scenario", "scenarios", multiple=True, help="The scenario; several allowed, all without it.")
@click.option(
    "-o",
    "--output",
    multiple=True,
    help="File to write, of the scenario with the greatest force: .csv (histories as a table), .png, .svg or "
    ".pdf; several allowed.",
)
@click.option("--details", is_flag=True, help="Every scenario and every leg.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@unit_options("pressure", "flow", "length")
@patient_option
def forces(
    case: str,
    scenarios: tuple[str, ...],
    output: tuple[str, ...],
    details: bool,
    force: bool,
    as_json: bool,
    **units: str | None,
) -> None:
    """Tell the force along every straight leg of pipe of CASE, between two bends, as the wave passes.

    For whoever looks at the supports: loads, not stresses. The exit code is that of the whole case, as of
    "surge check": no limit is held against a force.
    """
    wanted = wanted_units(units)
    paths = output_paths(output, kinds=KINDS, force=force)
    with answering(case, as_json=as_json) as progress:
        from surge.api.forces import find_forces

        answer = find_forces(case, scenarios=scenarios, units=wanted, progress=progress)
        files = contents_of(paths, answer.files)
    write_files(files)
    print_text(answer.json() if as_json else answer.text(details=details))
    sys.exit(answer.exit_code)

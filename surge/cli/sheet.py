"""``surge sheet``: the page that ship and terminal sign."""

from __future__ import annotations

import sys

import click

from surge.choices import SheetKind, words_of
from surge.cli.files import InputPath, contents_of, output_paths, write_files
from surge.cli.shared import (
    answering,
    day_of,
    patient_option,
    print_text,
    tell,
    unit_options,
    wanted_units,
)


@click.command()
@click.argument("case", type=InputPath())
@click.option("-o", "--output", multiple=True, help="File to write: .pdf or .html; both allowed.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--no-window", is_flag=True, help="Leave out the search for windows, which takes its time.")
@click.option("--records", type=InputPath(), help="Stroke-time tests (CSV), as for surge records.")
@click.option("--limits", type=InputPath(), help="Limits file (TOML) of the records: which tag is which.")
@click.option("--today", help="Day on which records are looked at; the day of transfer, or today, without.")
@unit_options("pressure", "flow", "length")
@click.option("--json", "as_json", is_flag=True, help="What stands on the sheet, on standard output.")
@patient_option
def sheet(
    case: str,
    output: tuple[str, ...],
    force: bool,
    no_window: bool,
    records: str | None,
    limits: str | None,
    today: str | None,
    as_json: bool,
    **units: str | None,
) -> None:
    """Write the sheet that ship and terminal sign for CASE: one page, and one of details.

    Writes sheet.pdf, or the files that --output names. Where a limit is exceeded, or something cannot be
    decided, the sheet says that it is no agreement and has no place to sign; the exit code says so too.
    """
    paths = output_paths(
        output or (() if as_json else ("sheet.pdf",)), kinds=words_of(SheetKind), force=force
    )
    wanted = wanted_units(units)
    day = day_of(today)
    with answering(case, as_json=as_json) as progress:
        from surge.api.sheet import make_sheet

        answer = make_sheet(
            case,
            window=not no_window,
            records=records,
            limits=limits,
            today=day,
            units=wanted,
            progress=progress,
        )
        files = contents_of(paths, lambda kinds: {kind: answer.file(kind) for kind in kinds})
    write_files(files)
    if as_json:
        print_text(answer.json())
    else:
        tell(answer.text())
    sys.exit(answer.exit_code)

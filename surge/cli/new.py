"""``surge new``: a commented starter case."""

from __future__ import annotations

from pathlib import Path

import click

from surge.cli.shared import print_text, refuse_existing, write_file


@click.command()
@click.argument("file", default="case.toml", type=click.Path(dir_okay=False, allow_dash=True))
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def new(file: str, force: bool) -> None:
    """Write a commented starter case to FILE (default case.toml; - is standard output)."""
    from surge.case.file import starter_case

    text = starter_case()
    if file == "-":
        print_text(text, nl=False)
        return
    path = Path(file)
    refuse_existing(path, force=force)
    write_file(path, text)
    click.echo(f"{file} written. Put in your own figures, then: surge check {file}", err=True)

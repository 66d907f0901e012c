"""``surge schema``: the JSON Schemas of case files and answers."""

from __future__ import annotations

import click

from surge.cli.shared import print_text


@click.command()
@click.argument(
    "which",
    type=click.Choice(
        ["case", "result", "list", "window", "chart", "records", "measured", "verify", "compare", "sheet"]
    ),
)
def schema(which: str) -> None:
    """Print the JSON Schema of case files, of results, of lists or of charts."""
    from importlib.resources import files

    print_text((files("surge") / "schema" / f"{which}.schema.json").read_text(encoding="utf-8"), nl=False)

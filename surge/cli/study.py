"""``surge study``: many line-ups, uncertain figures, and how sure a number is."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

import click

from surge.choices import PictureKind
from surge.cli.files import InputPath, OutputPath, write_file
from surge.cli.shared import OneOf, answering, print_text, tell, unit_options, wanted_units


@click.command()
@click.argument("study", type=InputPath())
@click.option(
    "--into", type=OutputPath(), help='Folder of the results; without it that of the study, with "-results".'
)
@click.option("--workers", type=int, help="Processes of this computer; as many as processors without it.")
@click.option("--cluster", help='Run on a Dask cluster: the address of its scheduler, "tcp://...".')
@click.option(
    "--pictures",
    type=OneOf(PictureKind),
    default="png",
    help="Kind of the pictures that are written into the folder: png, svg or pdf.",
)
@click.option("--force", is_flag=True, help="Take away the results of another study in that folder.")
@click.option("--details", is_flag=True, help="Every line-up.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@unit_options("pressure", "flow")
def study(
    study: str,
    into: str | None,
    workers: int | None,
    cluster: str | None,
    pictures: PictureKind,
    force: bool,
    details: bool,
    as_json: bool,
    **units: str | None,
) -> None:
    """Run every line-up of STUDY, with what is uncertain drawn, and tell how sure the answer is.

    The runs are kept as Parquet files in a folder, chunk by chunk. Interrupted, the same command goes on. The
    exit code is that of the worst run.
    """
    wanted = wanted_units(units)
    with answering(study, as_json=as_json) as progress:
        from surge.api.study import run_study

        try:
            answer = run_study(
                study,
                into=into,
                workers=workers,
                cluster=cluster,
                afresh=force,
                units=wanted,
                progress=progress,
            )
        except KeyboardInterrupt:
            progress.done()
            tell("surge: what is written is kept; the same command goes on")
            raise
        drawn = {answer.into / f"{of}.{pictures}": answer.draw(of, kind=pictures) for of in answer.pictures}
        _write({path: picture.content for path, picture in drawn.items()})
    print_text(answer.json() if as_json else answer.text(details=details))
    told = "".join(f", {path.name}" for path in drawn)
    tell(f"Results in {answer.into}: study.json, runs, worst.toml{told}.")
    sys.exit(answer.exit_code)


def _write(contents: Mapping[Path, bytes]) -> None:
    """Write pictures into the folder of results, over those of an earlier end of the same study."""
    for path, content in contents.items():
        write_file(path, content)

"""``surge offline``: a folder for a computer without internet."""

from __future__ import annotations

from typing import Any

import click

from surge.choices import SystemOf
from surge.cli.files import OutputPath
from surge.cli.shared import OneOf, answering, print_text


@click.command()
@click.argument("folder", type=OutputPath())
@click.option(
    "--system", type=OneOf(SystemOf), required=True, help="Of the other computer: windows or linux."
)
@click.option("--python", help="Version of Python there, such as 3.11; that of this computer without it.")
def offline(folder: str, system: Any, python: str | None) -> None:
    """Make FOLDER, from which surge installs and starts on a computer without internet.

    Do it where there is internet: some 150 MB of packages are fetched by pip, for the system named. Then
    carry the folder over, and double click surge.bat in it (on Linux: surge.sh).
    """
    with answering(folder) as progress:
        from surge.api.offline import pack_offline

        made = pack_offline(folder, system=system, python=python, progress=progress)
    print_text(
        f"{folder} made: {len(made.wheels)} wheels, {made.size / 1e6:.0f} MB, for {system} with Python "
        f"{made.target.python}, 64 bit.\n"
        f"Carry the whole folder over and start {made.starter} in it: it installs the first time, without "
        "internet.\n"
        f"By hand, in that folder: {made.line}"
    )

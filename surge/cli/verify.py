"""``surge verify``: the program against figures from outside it, on the user's own machine."""

from __future__ import annotations

import sys

import click

from surge import __version__
from surge.cli.shared import (
    ProgressLine,
    fail,
    lighter_start,
    output_paths,
    print_document,
    print_text,
    write_whole,
)


@click.command()
@click.option(
    "--only", multiple=True, metavar="NAME", help="This check, or all that begin with NAME; may be repeated."
)
@click.option(
    "--details", is_flag=True, help="With inputs, working and source, to be redone on a pocket calculator."
)
@click.option(
    "--page", type=click.Path(dir_okay=False), help="Write the page of all checks: FILE.md or FILE.html."
)
@click.option("--force", is_flag=True, help="Overwrite an existing page.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
def verify(only: tuple[str, ...], details: bool, page: str | None, force: bool, as_json: bool) -> None:
    """Hold the program against published figures, worked examples and closed forms.

    Exit code 0: every figure within its tolerance; 3: at least one outside.
    """
    paths = output_paths([page] if page else [], kinds=("md", "html"), force=force)
    progress = ProgressLine()
    with lighter_start():
        from surge.cli.check import compiled_before
        from surge.kernel.march import march
        from surge.proof.checks import hold_all, named
        from surge.proof.every import CHECKS

        checks = named(CHECKS, only)
        for word in only:
            if not named(CHECKS, [word]):
                _unknown(word, [c.name for c in CHECKS])
        if not compiled_before(march):
            click.echo("surge: compiling the solver for this machine, once; some ten seconds ...", err=True)
        try:
            outcomes = [o for each in hold_all(checks, progress=progress) for o in each]
        finally:
            progress.done()
    from surge.reports.proof import proof_document, proof_lines, proof_page

    for path, kind in paths.items():
        try:
            write_whole(path, proof_page(outcomes, version=__version__, kind=kind))
        except OSError as error:
            fail(f"{path} cannot be written: {error.strerror}")
        click.echo(f"{path} written.", err=True)
    if as_json:
        print_document(proof_document(outcomes, version=__version__))
    else:
        print_text("\n".join(proof_lines(outcomes, details=details)))
    sys.exit(0 if all(o.within for o in outcomes) else 3)


def _unknown(word: str, names: list[str]) -> None:
    from surge.errors import likely

    near = likely(word, names)
    perhaps = f"perhaps {', '.join(near)}; " if near else ""
    fail(f'--only {word}: no such check; {perhaps}"surge verify" lists all')

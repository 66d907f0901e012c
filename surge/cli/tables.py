"""``surge new``, ``surge list``, ``surge verify``, ``surge schema``: what the program has at hand."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from surge.choices import KnownKind, PageKind, SchemaOf, Through, words_of
from surge.cli.files import InputPath, OutputPath, output_paths, refuse_existing, write_file, write_files
from surge.cli.shared import (
    OneOf,
    answering,
    fail,
    print_text,
    refuse,
    tell,
)


@click.command()
@click.argument("output", metavar="[FILE]", default="case.toml", type=OutputPath())
@click.option("--arms", type=int, help="Loading arms, each with its manifold valve: 1 to 8.")
@click.option("--tanks", type=int, help="Tanks that are loaded, each with its valve and line: 1 to 24.")
@click.option("--through", type=OneOf(Through), help="How the cargo gets down: 'drop lines' or 'pumps'.")
@click.option("--cargo", help="A cargo of `surge list liquids`, such as 'gas oil'.")
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def new(
    output: str, arms: int | None, tanks: int | None, through: Any, cargo: str | None, force: bool
) -> None:
    """Write a commented case to FILE (default case.toml; - is standard output).

    With --arms, --tanks, --through or --cargo a case of that many arms and tanks; else the starter case. All
    figures are invented: put in your own.
    """
    with answering(output):
        from surge.api.new import new_case

        text = new_case(arms=arms, tanks=tanks, through=through, cargo=cargo)
    if output == "-":
        print_text(text, nl=False)
        return
    path = Path(output)
    refuse_existing(path, force=force)
    write_file(path, text)
    tell(f"{output} written. Put in your own figures, then: surge check {output}")


@click.command(name="list")
@click.argument("kind", type=OneOf(KnownKind))
@click.argument("words", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("--temperature", default="15 degC", help="At which liquids are shown, such as '30 degC'.")
@click.option("--rules", "rules_file", type=InputPath(), help="A file of rules to list with the program's.")
def list_(kind: Any, words: tuple[str, ...], as_json: bool, temperature: str, rules_file: str | None) -> None:
    """List what the program knows by name, with sources; only rows that have all WORDS.

    KIND is liquids, pipes (sizes, walls, roughness, flanges, fittings), hoses, valves or rules.
    """
    from surge.api.known import CARRIED, list_known
    from surge.errors import ArgumentError, CaseError
    from surge.units import QuantityError, read

    try:
        kelvin = read(temperature, dimension="temperature").value
    except QuantityError as error:
        fail(f"--temperature {error}")
    try:
        CARRIED.hold("temperature", kelvin)
    except ArgumentError as error:  # in the unit that was written
        fail(f"--temperature {temperature}: {error.remedy}")
    try:
        known = list_known(kind, words, temperature=kelvin, rules=rules_file)
    except CaseError as error:
        refuse(error, str(rules_file), as_json=as_json)
    if as_json:
        print_text(known.json())
    elif known.sections:
        print_text(known.text())
    else:
        tell(f'surge: no {kind} with all of "{" ".join(words)}"')


@click.command()
@click.option(
    "--only", multiple=True, metavar="NAME", help="This check, or all that begin with NAME; may be repeated."
)
@click.option(
    "--details", is_flag=True, help="With inputs, working and source, to be redone on a pocket calculator."
)
@click.option("--page", type=OutputPath(), help="Write the page of all checks: FILE.md or FILE.html.")
@click.option("--force", is_flag=True, help="Overwrite an existing page.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
def verify(only: tuple[str, ...], details: bool, page: str | None, force: bool, as_json: bool) -> None:
    """Hold the program against published figures, worked examples and closed forms.

    Exit code 0: every figure within its tolerance; 3: at least one outside.
    """
    paths = output_paths([page] if page else [], kinds=words_of(PageKind), force=force)
    with answering("") as progress:
        from surge.api.proof import verify as held
        from surge.errors import UnknownNameError, likely

        try:
            proof = held(only, progress=progress)
        except UnknownNameError as error:
            near = likely(error.given, error.known)
            perhaps = f"perhaps {', '.join(near)}; " if near else ""
            fail(f'--only {error.given}: no such check; {perhaps}"surge verify" lists all')
    kinds: Any = paths
    write_files({path: proof.page(kind) for path, kind in kinds.items()})
    print_text(proof.json() if as_json else proof.text(details=details))
    sys.exit(proof.exit_code)


@click.command()
@click.argument("which", type=OneOf(SchemaOf))
def schema(which: str) -> None:
    """Print the JSON Schema of case files, of files of rules or limits, or of an answer."""
    from importlib.resources import files

    print_text((files("surge") / "schema" / f"{which}.schema.json").read_text(encoding="utf-8"), nl=False)

"""``surge list``: what the program knows by name."""

from __future__ import annotations

import click

from surge import __version__
from surge.cli.shared import fail, print_document, print_text, refuse

COLDEST, HOTTEST = 73.15, 573.15  # [K]


@click.command(name="list")
@click.argument("kind", type=click.Choice(["liquids", "pipes", "hoses", "valves", "rules"]))
@click.argument("words", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("--temperature", default="15 degC", help="At which liquids are shown, such as '30 degC'.")
@click.option("--rules", "rules_file", type=click.Path(), help="A file of rules to list with the program's.")
def list_(kind: str, words: tuple[str, ...], as_json: bool, temperature: str, rules_file: str | None) -> None:
    """List what the program knows by name, with sources; only rows that have all WORDS.

    KIND is liquids, pipes (sizes, walls, roughness, flanges, fittings), hoses, valves or rules.
    """
    from surge.errors import CaseError
    from surge.reports.tables import list_document, list_lines, searched, sections_of
    from surge.rules.reading import built_in, load_rules
    from surge.units import QuantityError, read

    try:
        kelvin = read(temperature, dimension="temperature").value
        book = built_in() if rules_file is None else load_rules(rules_file)
    except QuantityError as error:
        fail(f"--temperature {error}")
    except CaseError as error:
        refuse(str(rules_file), error, as_json=False)
    if not COLDEST <= kelvin <= HOTTEST:
        fail(f"--temperature {temperature}: no cargo is carried at that; write one from -200 to 300 degC")
    found = searched(sections_of(kind, book=book, temperature=kelvin), " ".join(words))
    if as_json:
        print_document(list_document(found, kind=kind, words=words, version=__version__))
    elif found:
        print_text("\n".join(list_lines(found)))
    else:
        click.echo(f'surge: no {kind} with all of "{" ".join(words)}"', err=True)

"""``surge window``: how fast and how slowly valves may close."""

from __future__ import annotations

import sys

import click

from surge.cli.files import InputPath
from surge.cli.shared import answering, patient_option, print_text, seconds_of


@click.command()
@click.argument("case", type=InputPath())
@click.option("--valve", "valves", multiple=True, help="Search for this valve; may be given several times.")
@click.option("--shortest", default="1 s", help="Shortest stroke looked at.")
@click.option("--longest", help="Longest stroke looked at; 120 s or 20 pipeline periods without it.")
@click.option("--orders", is_flag=True, help="Also other orders of shutting or opening.")
@click.option("--shapes", is_flag=True, help="Also the best two-stage stroke of each valve.")
@click.option("--bands", is_flag=True, help="Also the worst over [bands] of the case; takes its time.")
@click.option("--sizes", is_flag=True, help="Also the smallest relief valve and surge drum that do.")
@click.option("--details", is_flag=True, help="Each window with its proof, and all that was asked.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@patient_option
def window(
    case: str,
    valves: tuple[str, ...],
    shortest: str,
    longest: str | None,
    orders: bool,
    shapes: bool,
    bands: bool,
    sizes: bool,
    details: bool,
    as_json: bool,
) -> None:
    """Search how fast and how slowly the valves of CASE may close, and how fast it may load.

    Valves that the case marks with adjustable = true, or all that close.
    """
    low, high = seconds_of("--shortest", shortest), seconds_of("--longest", longest)
    with answering(case, as_json=as_json) as progress:
        from surge.api.windows import find_windows

        answer = find_windows(
            case,
            valves=valves,
            shortest=low,
            longest=high,
            orders=orders,
            shapes=shapes,
            bands=bands,
            sizes=sizes,
            progress=progress,
        )
    print_text(answer.json() if as_json else answer.text(details=details))
    sys.exit(answer.exit_code)

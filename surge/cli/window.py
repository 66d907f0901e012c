"""``surge window``: how fast and how slowly valves may close."""

from __future__ import annotations

import sys

import click

from surge import __version__
from surge.cli.shared import answering, fail, print_document, print_text, signature


@click.command()
@click.argument("case", type=click.Path())
@click.option("--valve", "valves", multiple=True, help="Search for this valve; may be given several times.")
@click.option("--shortest", default="1 s", help="Shortest stroke looked at.")
@click.option("--longest", help="Longest stroke looked at; 120 s or 20 pipeline periods without it.")
@click.option("--orders", is_flag=True, help="Also other orders of shutting.")
@click.option("--shapes", is_flag=True, help="Also the best two-stage stroke of each valve.")
@click.option("--bands", is_flag=True, help="Also the worst over [bands] of the case; takes its time.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
def window(
    case: str,
    valves: tuple[str, ...],
    shortest: str,
    longest: str | None,
    orders: bool,
    shapes: bool,
    bands: bool,
    as_json: bool,
) -> None:
    """Search how fast and how slowly the valves of CASE may close, and how fast it may load.

    Valves that the case marks with adjustable = true, or all that close.
    """
    ends = _strokes(shortest, longest)
    with answering(case, as_json=as_json) as progress:
        from surge.api_check import rules_of_case
        from surge.case.file import load_case
        from surge.search.window import asked, windows_of

        loaded = load_case(case)
        book = rules_of_case(loaded)
        found = windows_of(
            loaded.lineup, book=book, valves=valves, shortest=ends[0], longest=ends[1], progress=progress
        )
        more = asked(
            loaded.lineup,
            found,
            book=book,
            orders=orders,
            shapes=shapes,
            bands=loaded.bands if bands else None,
            progress=progress,
        )
    from surge.reports.document import head_of
    from surge.reports.orders import more_document, more_lines
    from surge.reports.window import window_document, window_lines
    from surge.reports.words import CAUTIONS, Display

    if as_json:
        head = head_of(__version__, loaded.filename, loaded.sha256)
        print_document(window_document(found, head, CAUTIONS) | more_document(more))
    else:
        display = Display(units=loaded.show, density=loaded.lineup.liquid.density)
        lines = window_lines(found, loaded.lineup, display, more=more_lines(more, display))
        print_text("\n".join([*lines, "", signature(loaded)]))
    sys.exit(found.exit_code)


def _strokes(shortest: str, longest: str | None) -> tuple[float, float | None]:
    """Read the ends of the strokes to look at [s]."""
    from surge.units import QuantityError, read

    found = []
    for option, text in (("--shortest", shortest), ("--longest", longest)):
        try:
            found.append(None if text is None else read(text, dimension="time").value)
        except QuantityError as error:
            fail(f"{option} {error}")
    low, high = found
    assert low is not None
    if not 0.05 <= low <= 3600.0 or (high is not None and not low < high <= 3600.0):
        fail(f"--shortest {shortest} --longest {longest}: write the shorter first, from 0.05 s to 3600 s")
    return low, high

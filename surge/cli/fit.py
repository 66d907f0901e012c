"""``surge fit``: figures of a case from a pressure that was recorded."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import click

from surge.choices import DecimalSign, FitKind, words_of
from surge.cli.files import InputPath, contents_of, output_paths, write_files
from surge.cli.shared import (
    Command,
    OneOf,
    answering,
    fail,
    leave,
    patient_option,
    print_text,
    seconds_of,
    tell,
    unit_options,
    wanted_units,
)

KINDS = words_of(FitKind)


def figure_option(name: str, words: str) -> Callable[[Command], Command]:
    """Return the option for one kind of figure, which may be given several times."""
    return click.option(f"--{name}", multiple=True, metavar="NAME", help=words)


@click.command()
@click.argument("case", type=InputPath())
@click.argument("trace", type=InputPath())
@click.option("--scenario", help="What was recorded; needed where the case has several.")
@figure_option("wave-speed", "Fit the wave speed of this pipe, hose or arm; all: a factor on every one's.")
@figure_option("roughness", "Fit the roughness of this pipe, hose or arm; all: a factor on every one's.")
@figure_option("minor-loss", "Fit the loss factor K of this pipe, hose or arm; all: a factor on every one's.")
@figure_option("kv", "Fit the Kv of this valve, passed pump or fixed loss.")
@figure_option("stroke", "Fit the stroke time of this valve.")
@figure_option("start", "Fit when this valve or pump begins to move; --clock has to be given then.")
@figure_option("run-down", "Fit how long this pump takes to stop.")
@figure_option("inertia", "Fit the inertia of this pump, which trips.")
@click.option(
    "--place",
    "places",
    multiple=True,
    metavar="TITLE=POINT",
    help="Which point of the case a column was recorded at, if its title is not the point's name.",
)
@click.option("--decimal", type=OneOf(DecimalSign), help="Decimal sign of the record: point or comma.")
@click.option("--clock", help="What the record's clock shows when the scenario begins; fitted without it.")
@click.option("--zero", "zeros", is_flag=True, help="Each gauge may be off by a constant: fit that too.")
@click.option("--from", "begin", help="Use readings from this time of the record's clock.")
@click.option("--until", "end", help="Use readings until this time of the record's clock.")
@click.option(
    "-o",
    "--output",
    multiple=True,
    help="File to write: .toml (the case with the fitted figures), .png, .svg or .pdf (what is left over), "
    ".csv (every reading); several allowed.",
)
@click.option("--details", is_flag=True, help="Clock, correlations, searches, and how the record was read.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@unit_options("pressure", "flow", "length")
@patient_option
def fit(
    case: str,
    trace: str,
    output: tuple[str, ...],
    details: bool,
    force: bool,
    as_json: bool,
    places: tuple[str, ...],
    clock: str | None,
    begin: str | None,
    end: str | None,
    **asked: Any,
) -> None:
    """Find figures of CASE from TRACE, a table (CSV) of pressures recorded during a known movement.

    Say which: --wave-speed "shore line" --stroke "manifold valve". Each comes with its 95 % interval, and
    with doubts where the record cannot tell it. Limits are not looked at: write the copy of the case
    (-o fitted.toml) and check that. Ends with 0 if the figures explain the record, with 4 if in doubt.
    """
    units = wanted_units({kind: asked.pop(kind) for kind in ("pressure", "flow", "length")})
    paths = output_paths(output, kinds=KINDS, force=force)
    span = (seconds_of("--from", begin), seconds_of("--until", end))
    columns, at = _places(places), seconds_of("--clock", clock)
    with answering(case, as_json=as_json) as progress:
        from surge.api.fit import UnusableTraceError, fit_record
        from surge.api.refusals import unusable_trace

        try:
            answer = fit_record(
                case, trace, places=columns, clock=at, span=span, units=units, progress=progress, **asked
            )
        except UnusableTraceError as error:
            progress.done()
            leave(unusable_trace(error), as_json=as_json)
        wanted = {path: kind for path, kind in paths.items() if kind != "toml" or answer.fit.apart}
        files = contents_of(wanted, answer.files)
    write_files(files)
    for path in paths:
        if path not in wanted:
            tell(f"surge: {path} is not written: the record does not tell every figure.")
    print_text(answer.json() if as_json else answer.text(details=details))
    sys.exit(answer.exit_code)


def _places(texts: tuple[str, ...]) -> dict[str, str]:
    """Titles of columns and points of the case, of options such as "PT 101=manifold"."""
    found = {}
    for text in texts:
        title, _, point = text.rpartition("=")
        if not title.strip() or not point.strip():
            fail(f"--place {text}: write TITLE=POINT, such as 'PT 101=manifold'")
        found[title.strip()] = point.strip()
    return found

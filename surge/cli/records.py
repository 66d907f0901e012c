"""``surge records``: stroke-time tests against limits and against the valves' own past; measured strokes."""

from __future__ import annotations

import sys
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NoReturn

import click

from surge.choices import Dates, DecimalSign, PictureKind, TimedFrom, words_of
from surge.cli.files import InputPath, bytes_of, contents_of, output_paths, write_files
from surge.cli.shared import (
    OneOf,
    answering,
    day_of,
    fail,
    leave,
    patient_option,
    print_pieces,
    print_text,
)

if TYPE_CHECKING:
    from surge.api.records import RecordsAnswer
    from surge.records.stroke_tests import Interval

# Options that say how stroke times are read and judged.
OF_TIMES = frozenset(
    {"limits", "dates", "timed", "tested", "columns", "units", "joined", "decimal", "interval", "today"}
)


@click.command()
@click.argument("file", type=InputPath())
@click.option("--case", type=InputPath(), help="A case whose windows are limits of closing times.")
@click.option(
    "--curve", help="FILE is the measured stroke of this valve of CASE, position against time: run it."
)
@click.option("--scenario", help="With --curve: only this scenario.")
@click.option("--ends", nargs=2, type=float, help="With --curve: position when shut and when open.")
@click.option("--limits", type=InputPath(), help="A limits file (TOML): limits and facts of each valve.")
@click.option("--dates", type=OneOf(Dates), help="What 03/04/2025 means.")
@click.option("--timed", type=OneOf(TimedFrom), help="What times count, if not written.")
@click.option("--tested", type=OneOf(Literal["alone", "together"]), help="How valves moved, if not written.")
@click.option("--column", "columns", multiple=True, help="What a column means: 'time=Stroke, s'; repeatable.")
@click.option("--unit", "units", multiple=True, help="A unit that is not written: time=s, time=h:min:s ...")
@click.option("--joined", is_flag=True, help="An empty tag or date is that of the row above.")
@click.option("--decimal", type=OneOf(DecimalSign), help="The decimal sign in 1.450 or 1,450.")
@click.option("--interval", default="12 months", help="Between tests, where a valve states none.")
@click.option("--today", help="The day of the look, such as 2026-02-20; today without it.")
@click.option(
    "-o", "--output", multiple=True, help="File of findings to write: .csv or .json; several allowed."
)
@click.option("--pictures", multiple=True, help="Picture to write: .png, .svg or .pdf; repeatable.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--details", is_flag=True, help="Every valve, its past, and how the file was read.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@patient_option
def records(
    file: str,
    case: str | None,
    curve: str | None,
    scenario: str | None,
    ends: tuple[float, float] | None,
    limits: str | None,
    interval: str,
    output: tuple[str, ...],
    pictures: tuple[str, ...],
    force: bool,
    details: bool,
    as_json: bool,
    **said: Any,
) -> None:
    """Judge the stroke-time tests in FILE, a spreadsheet's CSV: which valve to adjust first, and why.

    Columns: tag, date, direction and time [s] (or closing time [s], opening time [s]); also what was timed,
    alone or together, oil temperature, signal delay and others. Exit code 3 if a valve is outside its limits,
    else 4 if a row is refused or a limit is not proved to be kept.

    With --curve FILE holds time [s] and position [%] of one stroke instead, and CASE is run with it.
    """
    paths = output_paths(output, kinds=("csv", "json"), force=force)
    pages = output_paths(pictures, kinds=words_of(PictureKind), force=force)
    if curve is not None:
        if case is None:
            fail("--curve needs a case to run the measured stroke in: add --case CASE")
        if output:
            fail("--output is for stroke times: with --curve write --json, or --pictures FILE")
        _refuse_useless()
        _run_curve(file, case, curve, scenario, ends, pages, details=details, as_json=as_json)
    if scenario is not None or ends is not None:
        fail("--scenario and --ends say how a measured curve is run: add --curve VALVE")
    asked: dict[str, Any] = {
        "columns": _columns(said["columns"]),
        "units": dict(_unit(text) for text in said["units"]),
        "joined": said["joined"],
        "decimal": said["decimal"],
        "today": day_of(said["today"]),
        "dates": said["dates"],
        "timed": said["timed"],
        "together": {"alone": False, "together": True}.get(said["tested"]),
        "interval": _interval(interval),
    }
    answer = _judge(file, case, limits, asked, as_json=as_json)
    write_files(
        {
            path: answer.csv() if kind == "csv" else chain(answer.json_pieces(), ["\n"])
            for path, kind in paths.items()
        }
    )
    if pages:
        _draw(answer, pages, force=force)
    if as_json:
        print_pieces(answer.json_pieces())
    else:
        print_text(answer.text(details=details))
    sys.exit(answer.exit_code)


def _refuse_useless() -> None:
    """Refuse options on how stroke times are read and judged, which a measured stroke has no use for."""
    context = click.get_current_context()
    for parameter in context.command.params:
        given = context.get_parameter_source(parameter.name or "") is click.core.ParameterSource.COMMANDLINE
        if given and parameter.name in OF_TIMES:
            fail(f"{parameter.opts[0]} is for stroke times: with --curve leave it out")


def _columns(texts: tuple[str, ...]) -> dict[str, str]:
    """Titles of columns and what they mean, of options such as time=Stroke."""
    from surge.records.columns import NAMES

    columns = {}
    for text in texts:
        meaning, _, title = text.partition("=")
        if meaning.strip() not in NAMES or not title.strip():
            fail(f"--column {text}: write MEANING=TITLE with a meaning of {', '.join(NAMES)}")
        columns[title] = meaning.strip()
    return columns


def _unit(text: str) -> tuple[str, str]:
    """The kind of quantity and the unit of an option such as time=s."""
    from surge.api.records import units_of_cells
    from surge.errors import ArgumentError

    kind, _, unit = (part.strip() for part in text.partition("="))
    try:
        units_of_cells({kind: unit})
    except ArgumentError as error:
        fail(error.as_option)
    return kind, unit


def _interval(text: str) -> Interval:
    from surge.records.stroke_tests import read_interval
    from surge.units import QuantityError

    try:
        return read_interval(text)
    except QuantityError as error:
        fail(f"--interval {error}")


def _judge(
    file: str, case: str | None, limits: str | None, asked: dict[str, Any], *, as_json: bool
) -> RecordsAnswer:
    """Judge the records; a file of which nothing can be read has faults by row."""
    with answering(case or limits or file, as_json=as_json) as progress:
        from surge.api.records import UnreadableError, judge_records
        from surge.api.refusals import unreadable

        try:
            return judge_records(file, case=case, limits=limits, progress=progress, **asked)
        except UnreadableError as error:
            progress.done()
            leave(unreadable(error), as_json=as_json)


def _draw(answer: RecordsAnswer, pages: dict[Path, str], *, force: bool) -> None:
    """Write the pages of histories; further pages of a picture get a number."""
    kinds: Any = tuple(pages.values())
    with answering(""):
        drawn = answer.draw_all(kinds)
    found = {
        path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}"): page.content
        for path, kind in pages.items()
        for number, page in enumerate(drawn[kind], start=1)  # type: ignore[index]
    }
    if not force and (there := [str(path) for path in found if path.exists()]):
        fail(f"{', '.join(there)}: exists; give another name, or --force")
    write_files(found)


def _run_curve(
    file: str,
    case: str,
    valve: str,
    scenario: str | None,
    ends: tuple[float, float] | None,
    pages: dict[Path, str],
    *,
    details: bool,
    as_json: bool,
) -> NoReturn:
    """Run a case with a measured stroke, print the answer and leave with its exit code."""
    with answering(case, as_json=as_json) as progress:
        from surge.api.refusals import unused
        from surge.api.stroke import read_stroke, run_measured_stroke
        from surge.errors import CaseError, UnknownNameError

        try:
            stroke = read_stroke(file, ends=ends)
        except CaseError as error:
            leave(unused(error, file), as_json=as_json)
        try:
            answer = run_measured_stroke(stroke, case, valve, scenario=scenario, progress=progress)
        except UnknownNameError as error:
            progress.done()
            fail(f"--{'curve' if error.kind == 'valve' else 'scenario'}: {error}")
        files = contents_of(pages, lambda kinds: bytes_of(answer.draw_all(kinds)))
    write_files(files)
    print_text(answer.json() if as_json else answer.text(details=details))
    sys.exit(answer.exit_code)

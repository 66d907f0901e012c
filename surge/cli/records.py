"""``surge records``: stroke-time tests against limits and against the valves' own past."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from surge import __version__
from surge.cli.shared import answering, fail, output_paths, print_document, print_text, write_file

if TYPE_CHECKING:
    from surge.errors import CaseError
    from surge.records.read import ReadOptions
    from surge.records.stroke_tests import Interval
    from surge.reports.records import Answer


@click.command()
@click.argument("file", type=click.Path())
@click.option("--case", type=click.Path(), help="A case whose windows are limits of closing times.")
@click.option(
    "--curve", help="FILE is the measured stroke of this valve of CASE, position against time: run it."
)
@click.option("--scenario", help="With --curve: only this scenario.")
@click.option("--ends", nargs=2, type=float, help="With --curve: position when shut and when open.")
@click.option("--limits", type=click.Path(), help="A limits file (TOML): limits and facts of each valve.")
@click.option("--dates", type=click.Choice(["day-first", "month-first"]), help="What 03/04/2025 means.")
@click.option("--timed", type=click.Choice(["order", "movement"]), help="What times count, if not written.")
@click.option("--tested", type=click.Choice(["alone", "together"]), help="How valves moved, if not written.")
@click.option("--column", "columns", multiple=True, help="What a column means: 'time=Stroke, s'; repeatable.")
@click.option("--unit", "units", multiple=True, help="A unit that is not written: time=s, time=h:min:s ...")
@click.option("--joined", is_flag=True, help="An empty tag or date is that of the row above.")
@click.option("--interval", default="12 months", help="Between tests, where a valve states none.")
@click.option("--today", help="The day of the look, such as 2026-02-20; today without it.")
@click.option(
    "-o", "--output", multiple=True, help="File of findings to write: .csv or .json; several allowed."
)
@click.option("--pictures", multiple=True, help="Picture to write: .png, .svg or .pdf; repeatable.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--details", is_flag=True, help="Every valve in the table.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
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
    pages = output_paths(pictures, kinds=("png", "svg", "pdf"), force=force)
    if curve is not None:
        from surge.cli.curve import curve_command

        if case is None:
            fail("--curve needs a case to run the measured stroke in: add --case CASE")
        if output:
            fail("--output is for stroke times: with --curve write --json, or --pictures FILE")
        curve_command(
            file,
            case,
            curve,
            scenario=scenario,
            ends=ends,
            as_json=as_json,
            details=details,
            pictures=pages,
        )
    if scenario is not None or ends is not None:
        fail("--scenario and --ends say how a measured curve is run: add --curve VALVE")
    asked, between = _asked(said), _interval(interval)
    answer, head = _answer(file, case, limits, asked, between, as_json=as_json)
    _write(answer, head, paths, pages, force=force)
    if as_json:
        from surge.reports.records_data import records_document

        print_document(records_document(answer, head))
    else:
        from surge.reports.records import records_lines

        lines = records_lines(answer, details=details)
        print_text("\n".join([*lines, "", _signature(head)]))
    sys.exit(answer.findings.exit_code)


def _asked(said: dict[str, Any]) -> ReadOptions:
    """What the options say about the file."""
    from surge.records.columns import NAMES, plain
    from surge.records.read import ReadOptions
    from surge.records.stroke_tests import Timed

    columns = {}
    for text in said["columns"]:
        meaning, _, title = text.partition("=")
        if meaning.strip() not in NAMES or not title.strip():
            fail(f"--column {text}: write MEANING=TITLE with a meaning of {', '.join(NAMES)}")
        columns[plain(title)] = meaning.strip()
    return ReadOptions(
        units=dict(_unit(text) for text in said["units"]),
        joined=said["joined"],
        today=_today(said["today"]),
        dates=said["dates"],
        timed={"order": Timed.ORDER, "movement": Timed.MOVEMENT}.get(said["timed"]),
        together={"alone": False, "together": True}.get(said["tested"]),
        columns=columns,
    )


def _unit(text: str) -> tuple[str, str]:
    """The kind of quantity and the unit of an option such as time=s."""
    from surge.records.cells import SPELLINGS, unit_of

    kind, _, unit = (part.strip() for part in text.partition("="))
    found = unit_of(unit, kind) if kind in SPELLINGS else None
    if found is None:
        fail(f"--unit {text}: write time=s, time=min:s, time=h:min:s, temperature=degC, pressure=bar or so")
    return kind, found


def _today(text: str | None) -> date:
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        fail(f"--today {text}: write a day such as 2026-02-20")


def _interval(text: str) -> Interval:
    from surge.records.limits_file import read_interval
    from surge.units import QuantityError

    try:
        return read_interval(text)
    except QuantityError as error:
        fail(f"--interval {error}")


def _answer(
    file: str, case: str | None, limits: str | None, asked: ReadOptions, interval: Interval, *, as_json: bool
) -> tuple[Answer, dict[str, Any]]:
    """Read, find the limits, judge; and what says which program and files."""
    from surge.errors import CaseError
    from surge.records.limits_file import load_limits
    from surge.records.read import load_records
    from surge.valves.sources import held_against

    head: dict[str, Any] = {"program": {"name": "surge", "version": __version__}}
    head |= {"records": {"file": file, "sha256": ""}, "limits": None, "case": None}
    with answering(limits or file, as_json=as_json):
        stated = load_limits(limits) if limits else None
    with answering(case or limits or file, as_json=as_json) as progress:
        loaded = book = None
        if case:
            from surge.api_check import rules_of_case
            from surge.case.file import load_case

            loaded = load_case(case)
            book = rules_of_case(loaded)
        try:
            read = load_records(file, asked, progress=progress)
        except CaseError as error:
            _unreadable(file, error, head, as_json=as_json)
        lineup = loaded.lineup if loaded else None
        held = held_against(read, stated=stated, lineup=lineup, book=book, progress=progress)
    from surge.reports.records import Answer
    from surge.valves.findings import findings_of_records

    found = findings_of_records(
        held.records.tests,
        held.limits,
        today=asked.today,
        interval=interval,
        refused=len(held.records.refused),
        lost=held.records.lost,
    )
    head["records"]["sha256"] = read.sha256
    sources = []
    if stated is not None:
        head["limits"] = {"file": str(limits), "sha256": stated.sha256}
        sources.append(f"Limits and facts of valves from {limits}.")
    if loaded is not None:
        head["case"] = {"file": loaded.filename, "sha256": loaded.sha256}
        sources.append(f"Windows of closing times from {loaded.filename}, at its rates and stroke shapes.")
    return Answer(records=held.records, findings=found, sources=(*sources, *held.notes)), head


def _unreadable(file: str, error: CaseError, head: dict[str, Any], *, as_json: bool) -> NoReturn:
    """Say why nothing of the file could be read and leave with 2."""
    from surge.records.text import RowFault
    from surge.reports.records import fault_lines
    from surge.reports.records_data import fault_document
    from surge.units import printable

    faults = [f for f in error.faults if isinstance(f, RowFault)]
    lines = [f"{printable(file)}: nothing could be read"]
    for fault in faults:
        lines += fault_lines(fault, [fault.row])
    click.echo("\n".join(lines), err=True)
    if as_json:
        print_document(fault_document(faults, head))
    sys.exit(2)


def _write(
    answer: Answer, head: dict[str, Any], paths: dict[Path, str], pages: dict[Path, str], *, force: bool
) -> None:
    """Write the files that were asked for."""
    import json

    from surge.reports.records_data import findings_csv, records_document

    for path, kind in paths.items():
        if kind == "csv":
            # The mark tells spreadsheets that it is UTF-8.
            write_file(path, "\ufeff" + findings_csv(answer, _signature(head)))
        else:
            write_file(path, json.dumps(records_document(answer, head), allow_nan=False, indent=1) + "\n")
        click.echo(f"{path} written.", err=True)
    if pages:
        _draw(answer, head, pages, force=force)


def _draw(answer: Answer, head: dict[str, Any], pages: dict[Path, str], *, force: bool) -> None:
    """Write the pages of histories; further pages of a picture get a number."""
    from surge.plots.frame import Heading
    from surge.plots.history import draw_histories
    from surge.reports.records import RECORDS_CAUTIONS, first_sentence, title_of

    findings = answer.findings
    heading = Heading(
        lines=(f"Stroke times of valves, {Path(answer.records.filename).name}", title_of(answer)),
        foot=(first_sentence(findings), *RECORDS_CAUTIONS[:1]),
        signature=_signature(head),
    )
    histories = [v.history for v in findings.valves]
    drawn = draw_histories(histories, findings.ground, heading, kinds=tuple(dict.fromkeys(pages.values())))
    found = [
        (path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}"), page)
        for path, kind in pages.items()
        for number, page in enumerate(drawn[kind], start=1)
    ]
    if not force and (there := [str(path) for path, _ in found if path.exists()]):
        fail(f"{', '.join(there)}: exists; give another name, or --force")
    for path, page in found:
        write_file(path, page)
        click.echo(f"{path} written.", err=True)


def _signature(head: dict[str, Any]) -> str:
    files = [
        f"{kind} {head[kind]['file']}, sha256 {head[kind]['sha256'][:16]}" for kind in FILES if head[kind]
    ]
    return f"surge {__version__}, {'; '.join(files)}"


FILES = ("records", "limits", "case")

"""``surge sheet``: the page that ship and terminal sign."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from surge import __version__
from surge.cli.options import unit_options
from surge.cli.shared import answering, fail, output_paths, print_document, units_over, write_file

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.errors import CaseError
    from surge.records.limits_file import LimitFile
    from surge.rules.book import RuleBook
    from surge.search.window import Windows
    from surge.sheet.data import Sheet
    from surge.sheet.valve_tests import Files, Tests
    from surge.valves.sources import MatchedRecords

NO_WINDOWS = "Windows of stroke times were not searched: shorter or longer strokes may not be safe."
NONE_CLOSES = "No valve closes in this case: there are no windows of stroke times."


@click.command()
@click.argument("case", type=click.Path())
@click.option("-o", "--output", multiple=True, help="File to write: .pdf or .html; both allowed.")
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--no-window", is_flag=True, help="Leave out the search for windows, which takes its time.")
@click.option("--records", type=click.Path(), help="Stroke-time tests (CSV), as for surge records.")
@click.option("--limits", type=click.Path(), help="Limits file (TOML) of the records: which tag is which.")
@click.option("--today", help="Day on which records are looked at; the day of transfer, or today, without.")
@unit_options("pressure", "flow", "length")
@click.option("--json", "as_json", is_flag=True, help="What stands on the sheet, on standard output.")
def sheet(
    case: str,
    output: tuple[str, ...],
    force: bool,
    no_window: bool,
    records: str | None,
    limits: str | None,
    today: str | None,
    as_json: bool,
    **units: str | None,
) -> None:
    """Write the sheet that ship and terminal sign for CASE: one page, and one of details.

    Writes sheet.pdf, or the files that --output names. Where a limit is exceeded, or something cannot be
    decided, the sheet says that it is no agreement and has no place to sign; the exit code says so too.
    """
    paths = output_paths(output or (() if as_json else ("sheet.pdf",)), kinds=("pdf", "html"), force=force)
    show = units_over(units)
    if limits and not records:
        fail("--limits goes with --records: add the file of the tests")
    day = _day(today)
    with answering(case, as_json=as_json) as progress:
        from surge.api_check import check, rules_of_case
        from surge.case.file import load_case

        loaded = load_case(case)
        book = rules_of_case(loaded)
        on = day or loaded.lineup.berth.transfer or date.today()
        assessment = check(loaded, book=book, progress=progress)
        found = None if no_window else _windows(loaded, book, progress)
        held = _held(loaded, book, records, limits, on, progress, as_json=as_json) if records else None
    from surge.reports.words import Display
    from surge.sheet.data import sheet_of

    made = sheet_of(
        loaded,
        assessment,
        found,
        display=Display(units=show(loaded.show), density=loaded.lineup.liquid.density),
        version=__version__,
        no_windows=NO_WINDOWS if no_window else NONE_CLOSES,
        rules_sha256=_hash_of_rules(loaded),
        tests=_tests(loaded, held, on) if held else None,
    )
    document = made.document()
    _write(made, document, loaded, paths)
    if as_json:
        print_document(document)
    else:
        click.echo(f"{made.headline}: {made.standing}", err=True)
    sys.exit(made.exit_code)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        fail(f"--today {text}: write a day such as 2026-02-20")


def _windows(case: Case, book: RuleBook, progress: Any) -> Windows | None:
    """Windows of the adjustable valves that close; of all that close, if none is marked."""
    from surge.search.strokes import closing_valves
    from surge.search.window import windows_of

    closing = {name for s in case.lineup.scenarios for name in closing_valves(case.lineup, s)}
    marked = [v.name for v in case.lineup.valves if v.adjustable and v.name in closing]
    if not closing:
        return None
    return windows_of(case.lineup, book=book, valves=marked or sorted(closing), progress=progress)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    """Records with the limits of every tag, and the files that they come from."""

    held: MatchedRecords
    stated: LimitFile | None
    refused: int
    files: Files


def _held(
    case: Case, book: RuleBook, records: str, limits: str | None, today: date, progress: Any, *, as_json: bool
) -> _Held:
    """Read the records, and find the limits of every tag in the windows of the case."""
    from surge.errors import CaseError
    from surge.records.limits_file import load_limits
    from surge.records.read import ReadOptions, load_records
    from surge.sheet.valve_tests import Files
    from surge.valves.sources import held_against

    stated = load_limits(limits) if limits else None
    try:
        read = load_records(records, ReadOptions(today=today), progress=progress)
    except CaseError as error:
        _unreadable(records, error, as_json=as_json)
    files = Files(
        records=Path(records).name,
        records_sha256=read.sha256,
        limits=Path(limits).name if limits else "",
        limits_sha256=stated.sha256 if stated else "",
    )
    held = held_against(read, stated=stated, lineup=case.lineup, book=book, progress=progress)
    return _Held(held=held, stated=stated, refused=len(read.refused), files=files)


def _unreadable(file: str, error: CaseError, *, as_json: bool) -> NoReturn:
    """Say why nothing of the records could be read and leave with 2."""
    from surge.records.text import RowFault
    from surge.reports.records import fault_lines
    from surge.reports.records_data import fault_document
    from surge.units import printable

    faults = [f for f in error.faults if isinstance(f, RowFault)]
    told = [line for fault in faults for line in fault_lines(fault, [fault.row])]
    click.echo("\n".join([f"{printable(file)}: nothing could be read", *told]), err=True)
    if as_json:
        head = {"program": {"name": "surge", "version": __version__}}
        print_document(fault_document(faults, head | {"records": {"file": file, "sha256": ""}}))
    sys.exit(2)


def _tests(case: Case, own: _Held, today: date) -> Tests:
    """What the records say of the valves that close in the case."""
    from surge.sheet.valve_tests import tests_of
    from surge.valves.findings import findings_of_records
    from surge.valves.sources import closing_in

    limits, stated = own.held.limits, own.stated
    return tests_of(
        findings_of_records(
            own.held.records.tests, limits, today=today, refused=own.refused, lost=own.held.records.lost
        ),
        closing=sorted(closing_in(case.lineup)),
        valve_of={tag: (stated.limits_of(tag)[1] if stated else "") or tag for tag in limits},
        refused=own.refused,
        files=own.files,
    )


def _hash_of_rules(case: Case) -> str:
    """Hash of the file of rules that the case names."""
    import hashlib

    if case.rules_file is None:
        return ""
    return hashlib.sha256((Path(case.filename).parent / case.rules_file).read_bytes()).hexdigest()


def _write(made: Sheet, document: dict[str, Any], case: Case, paths: dict[Path, str]) -> None:
    """Write every file; all are made before the first is written."""
    from surge.sheet.sketch import Weak, sketch

    weak = Weak(subject=made.weak_subject, name=made.weak_name) if made.weak_name else None
    drawn = sketch(case.lineup, weak=weak, words=made.line_up)
    contents: dict[str, str | bytes] = {}
    if "pdf" in paths.values():
        from surge.sheet.typeset import sheet_pdf

        contents["pdf"] = sheet_pdf(document, drawn)
    if "html" in paths.values():
        from surge.sheet.typeset import sheet_html

        contents["html"] = sheet_html(document, drawn)
    for path, kind in paths.items():
        write_file(path, contents[kind])
        click.echo(f"{path} written.", err=True)

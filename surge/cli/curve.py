"""A measured curve run in a case: the part of ``surge records`` that takes a position against time."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from surge import __version__
from surge.cli.shared import answering, fail, print_document, print_text, signature, write_file

if TYPE_CHECKING:
    from surge.errors import CaseError
    from surge.valves.curve import MeasuredStroke


def curve_command(
    file: str,
    case: str,
    valve: str,
    *,
    scenario: str | None = None,
    ends: tuple[float, float] | None = None,
    as_json: bool = False,
    details: bool = False,
    pictures: Mapping[Path, str] | None = None,
) -> NoReturn:
    """Run a case with a measured stroke, print the answer and leave with its exit code.

    Parameters
    ----------
    file, case : str
        Paths of the curve (CSV) and of the case.
    valve : str
    scenario : str, optional
        Only this one.
    ends : (float, float), optional
        Position when shut and when open, in the unit of the file.
    as_json, details : bool
    pictures : dict of Path to str, optional
        Pictures to write, and the kind of each: "png", "svg", "pdf".
    """
    # Before the solver loads: that hides scipy for a while, and the curve needs it.
    stroke = _stroke(file, ends, as_json=as_json)
    with answering(case, as_json=as_json) as progress:
        from surge.api_check import rules_of_case
        from surge.case.file import load_case
        from surge.errors import UnknownNameError
        from surge.valves.measured import run_measured

        loaded = load_case(case)
        book = rules_of_case(loaded)
        try:
            found = run_measured(
                loaded.lineup, stroke, valve=valve, scenario=scenario, book=book, progress=progress
            )
        except UnknownNameError as error:
            progress.done()
            fail(f"--{'curve' if error.kind == 'valve' else 'scenario'}: {error}")
    from surge.plots.measured import measured_picture
    from surge.reports.document import head_of
    from surge.reports.measured import measured_document, measured_lines
    from surge.reports.words import CAUTIONS, Display

    display = Display(units=loaded.show, density=loaded.lineup.liquid.density)
    signed = f"{signature(loaded)}, curve {file}, sha256 {stroke.curve.sha256[:16]}"
    if pictures:
        kinds = tuple(dict.fromkeys(pictures.values()))
        drawn = measured_picture(found, loaded.lineup, display, kinds=kinds, signature=signed)
        for path, kind in pictures.items():
            write_file(path, drawn[kind])
            click.echo(f"{path} written.", err=True)
    if as_json:
        head = head_of(__version__, loaded.filename, loaded.sha256)
        print_document(measured_document(found, head, CAUTIONS))
    else:
        lines = measured_lines(found, loaded.lineup, display, details=details)
        print_text("\n".join([*lines, "", signed]))
    sys.exit(found.exit_code)


def _stroke(file: str, ends: tuple[float, float] | None, *, as_json: bool) -> MeasuredStroke:
    from surge.errors import CaseError
    from surge.records.curve_file import load_curve
    from surge.valves.curve import stroke_of

    try:
        return stroke_of(load_curve(file, ends=ends))
    except CaseError as error:
        _refuse(file, error, as_json=as_json)


def _refuse(file: str, error: CaseError, *, as_json: bool) -> NoReturn:
    """Say all that is wrong with a curve and leave with 2."""
    from surge.records.text import RowFault, row_fault
    from surge.reports.records import fault_lines
    from surge.reports.records_data import fault_document
    from surge.units import printable

    faults = [
        f if isinstance(f, RowFault) else row_fault(int(f.path[1]), "", f.found, f.expected, f.remedy)
        for f in error.faults
    ]
    lines = [f"{printable(file)}: the measured curve is not used, nothing was calculated"]
    for fault in faults:
        lines += fault_lines(fault, [fault.row])
    click.echo("\n".join(lines), err=True)
    if as_json:
        head = {"program": {"name": "surge", "version": __version__}}
        print_document(fault_document(faults, head | {"curve": {"file": file}}))
    sys.exit(2)

"""Why there is no answer, in words and as a document: a file with faults, a case that cannot be computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surge import __version__
from surge.api.answers import Json, data, written
from surge.api.fit import UnusableTraceError
from surge.api.records import UnreadableError, head_of
from surge.case.file import CASE
from surge.errors import CaseError, Fault, SurgeError
from surge.inputs import unread
from surge.records.text import RowFault, row_fault
from surge.reports.document import no_answer, refusal
from surge.reports.fit_json import trace_refused
from surge.reports.records import fault_lines
from surge.reports.records_data import fault_document
from surge.toml.faults import describe, format_faults
from surge.toml.text import FileError
from surge.units import printable


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """Why there is no answer.

    Attributes
    ----------
    text : str
        Every fault, with where it stands and what to write.
    document : dict
        The same as plain data (``surge schema result`` or ``surge schema records``).
    exit_code : int
        2 bad input, 4 cannot be decided.
    """

    text: str
    document: Json
    exit_code: int

    def json(self) -> str:
        """Return the document as JSON text."""
        return "".join(written(self.document))


def refused(error: CaseError, path: str) -> Refusal:
    """Return the refusal of a file in TOML (a case, rules, limits), fault by fault; or of records."""
    if isinstance(error, UnreadableError):
        return unreadable(error)
    if not isinstance(error, FileError):
        error = FileError(error.faults, file=error.file or unread(path), kind=CASE)
    file = error.file
    document = refusal(describe(error), version=__version__, filename=file.filename, sha256=file.sha256)
    return Refusal(text=format_faults(error), document=data(document), exit_code=2)


def undecided(error: SurgeError, path: str) -> Refusal:
    """Return why a case without faults could not be computed."""
    file = error.file or unread(path)
    document = no_answer(str(error), version=__version__, filename=file.filename, sha256=file.sha256)
    return Refusal(
        text=f"surge: {file.filename}: cannot be decided: {error}",
        document=data(document),
        exit_code=error.exit_code,
    )


def unreadable(error: UnreadableError) -> Refusal:
    """Return why nothing of a file of stroke times could be read, row by row."""
    faults = [f for f in error.faults if isinstance(f, RowFault)]
    sha256 = error.file.sha256 if error.file else ""
    return _of_rows(
        faults, f"{printable(error.filename)}: nothing could be read", head_of(error.filename, sha256)
    )


def unused(error: CaseError, path: str) -> Refusal:
    """Return why a measured curve cannot be used, row by row."""
    sha256 = error.file.sha256 if error.file else ""
    curve = {"file": path, "sha256": sha256}
    head = {"program": {"name": "surge", "version": __version__}, "curve": curve}
    title = f"{printable(path)}: the measured curve is not used, nothing was calculated"
    return _of_rows([_as_row(f) for f in error.faults], title, head)


def unusable_trace(error: UnusableTraceError) -> Refusal:
    """Return why a recorded pressure cannot be used, row by row."""
    faults = [_as_row(f) for f in error.faults]
    title = f"{printable(error.filename)}: the record is not used, nothing was calculated"
    lines = [line for fault in faults for line in fault_lines(fault, [fault.row])]
    sha256 = error.file.sha256 if error.file else ""
    made = trace_refused(faults, version=__version__, filename=error.filename, sha256=sha256)
    return Refusal(text="\n".join([title, *lines]), document=data(made), exit_code=2)


def _as_row(fault: Fault) -> RowFault:
    if isinstance(fault, RowFault):
        return fault
    return row_fault(int(fault.path[1]), "", fault.found, fault.expected, fault.remedy)


def _of_rows(faults: Sequence[RowFault], title: str, head: Json) -> Refusal:
    lines = [line for fault in faults for line in fault_lines(fault, [fault.row])]
    return Refusal(text="\n".join([title, *lines]), document=data(fault_document(faults, head)), exit_code=2)

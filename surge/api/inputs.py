"""What is handed in at the door: cases or paths, from when until when, units of the output.

Decisions
---------
* A case may come from anywhere, and names a file of rules. That is read only if it is a file beside the case
  or below, and of its contents a refusal tells places and keys alone.
"""

from __future__ import annotations

import stat
from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeAlias

from surge.arguments import Measure, Number, si
from surge.errors import CaseError, Fault
from surge.units import ShowUnits, offered, quoted

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.rules.book import RuleBook

FROM_ZERO = Measure(dimension="time", least=0.0)
Ends: TypeAlias = tuple[Annotated[Number | None, FROM_ZERO], Annotated[Number | None, FROM_ZERO]]
"""From and until [s]; None where the program may choose."""


def case_of(what: Case | str | Path) -> Case:
    """Return a case as it is, or read it from the file at a path; raises as :func:`surge.load_case`."""
    from surge.case.file import load_case

    return load_case(what) if isinstance(what, (str, Path)) else what


def in_case(case: Case) -> AbstractContextManager[None]:
    """Surround work on a case: faults that are found inside stand in its file."""
    from surge.case.file import CASE
    from surge.toml.text import faults_of_file

    return faults_of_file(case.file, CASE)


def rules_of_case(case: Case) -> RuleBook:
    """Return the rules that a case is held against: the program's, with those of the file that it names.

    Raises
    ------
    FileError
        Of the case, where the file is not one beside it or below; else of that file, with all of its faults.
    """
    from surge.rules.reading import built_in, load_rules

    path = case.rules_path
    if path is None:
        return built_in()
    if found := _elsewhere(path, below=Path(case.filename).parent):
        expected, remedy = "a file beside the case file, or in a folder below", "copy the rules there"
        with in_case(case):
            raise CaseError([Fault(path=("rules", "file"), found=found, expected=expected, remedy=remedy)])
    return load_rules(path, private=True)


def _elsewhere(path: Path, *, below: Path) -> str:
    """What stands at a path instead of a file below a folder; "" for such a file, or for nothing."""
    try:
        real, folder, mode = path.resolve(strict=True), below.resolve(strict=True), path.stat().st_mode
    except (OSError, RuntimeError, ValueError):
        return ""  # whoever opens it says why it cannot
    if not stat.S_ISREG(mode):
        return f"{quoted(str(path))}, which is no file"
    return "" if real.is_relative_to(folder) else f"{quoted(str(path))}, a link to another folder"


def units_of(case: Case, wanted: Mapping[str, str] | None) -> ShowUnits:
    """Return the units of the output: those of the case, and over them those that were asked for.

    Parameters
    ----------
    case : Case
    wanted : mapping of str to str, optional
        The unit for "pressure", "flow", "length" or "diameter": ``{"pressure": "psi"}``.

    Raises
    ------
    ArgumentError
        A unit that is not offered.
    """
    return replace(case.show, **offered(wanted or {}))


def pair_in_si(
    values: tuple[Number, Number] | None, name: str, *, dimension: str
) -> tuple[float, float] | None:
    """Return a pair of numbers in SI [s, m3/s or K], each as :func:`surge.arguments.si`; None stays None."""
    if values is None:
        return None
    return si(name, values[0], dimension=dimension), si(name, values[1], dimension=dimension)

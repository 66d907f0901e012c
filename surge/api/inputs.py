"""What is handed in at the door: cases or paths, numbers or quantities with a unit, units of the output.

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
from typing import TYPE_CHECKING, Any

from surge.errors import CaseError, Fault
from surge.units import ShowUnits, offered, quoted

if TYPE_CHECKING:
    from pint import Quantity

    from surge.case.file import Case
    from surge.rules.book import RuleBook

    Number = float | Quantity[Any]
    """A number in SI, or a quantity of the library pint."""
    Ends = tuple[Number | None, Number | None]
    """From and until [s]; None where the program may choose."""

UNIT = {"time": "s", "flow": "m**3/s", "temperature": "kelvin"}


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
    ValueError
        A unit that is not offered.
    """
    return replace(case.show, **offered(wanted or {}))


def si(name: str, value: Number, *, dimension: str) -> float:
    """Return a number in SI: a plain one as it is, a quantity of the library pint converted.

    Parameters
    ----------
    name : str
        Name of the parameter, for the message of a refusal.
    value : float or pint.Quantity
        A float is taken as SI.
    dimension : {"time", "flow", "temperature"}
        What the number is, and the SI unit of it: [s], [m3/s], [K].

    Returns
    -------
    float
        [s], [m3/s] or [K].

    Raises
    ------
    TypeError
        The value is neither a number nor a quantity of this dimension.
    """
    unit = UNIT[dimension]
    if isinstance(value, bool) or not (isinstance(value, (int, float)) or hasattr(value, "m_as")):
        raise TypeError(f"{name}: write a number [{unit}] or a pint quantity, not {value!r}")
    if isinstance(value, (int, float)):
        return float(value)
    if not value.is_compatible_with(unit):
        raise TypeError(f"{name}: a {dimension} is wanted, and {value:~} is none; write it in {unit}")
    return float(value.m_as(unit))


def si_or_none(name: str, value: Number | None, *, dimension: str) -> float | None:
    """Return a number in SI [s, m3/s or K] as :func:`si` does; None stays None."""
    return None if value is None else si(name, value, dimension=dimension)


def ends(name: str, values: tuple[Number, Number] | None, *, dimension: str) -> tuple[float, float] | None:
    """Return two rising numbers in SI [s, m3/s or K], each as :func:`si` does; None stays None.

    Raises
    ------
    TypeError
        As :func:`si`.
    ValueError
        The first is not the smaller one, or is not above zero.
    """
    if values is None:
        return None
    low, high = (si(name, value, dimension=dimension) for value in values)
    if not 0.0 < low < high:
        raise ValueError(f"{name}: write the smaller first, both above zero; found {low:g} and {high:g}")
    return low, high

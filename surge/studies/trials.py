"""Line-ups of a study that are read before anything is run: what no run could use is refused at its line.

Decisions
---------
* An option is refused where no line-up with it can be read, of ``MOST_OTHERS`` that are tried. One that only
  some others do not go with stays: such runs are told as refused, and count as not kept.
* Of each axis ``MOST_TRIED`` options are tried, the first ones. Values were held against their keys before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from surge.case.file import CASE, read_case
from surge.errors import CaseError
from surge.studies.lineups import template
from surge.studies.notes import Notes
from surge.studies.types import Axis, Study
from surge.toml.faults import label
from surge.toml.text import FileError
from surge.toml.text import parsed as parsed_toml
from surge.units import QuantityError

MOST_TRIED = 300
MOST_OTHERS = 24


def tried(study: Study, notes: Notes) -> None:
    """Read line-ups with each option of each axis, then with each uncertain figure at both of its ends."""
    bare = replace(study, uncertain=())
    for a, axis in enumerate(study.axes):
        for j in range(min(len(axis.options), MOST_TRIED)):
            refusals = (refusal(bare, cell) for cell in _cells(bare, a, j))
            first = next(refusals)
            if first is not None and all(one is not None for one in refusals):
                notes.refused(("axis", a, _key(axis), j), first)
    if notes.faults:
        return
    cells = range(min(study.cells, MOST_OTHERS))
    cell = next((c for c in cells if refusal(bare, c) is None), 0)
    for k, one in enumerate(study.uncertain):
        alone = replace(study, uncertain=(one,))
        for value in (one.distribution.middle, *one.distribution.ends):
            if (found := refusal(alone, cell, [value])) is not None:
                text = f"{value:.6g} {one.written}".strip()
                said = QuantityError(f"at {text}: {found.found}", found.expected, found.remedy)
                notes.refused(("uncertain", k, "distribution"), said)
                break


def _key(axis: Axis) -> str:
    if axis.options[0].case:
        return "cases"
    return "values" if axis.places.keys or axis.places.stroke_of else "option"


def _cells(study: Study, a: int, j: int) -> Iterator[int]:
    """Yield line-ups with one option: first with the first of every other axis, then with others."""
    sizes = [len(axis.options) for axis in study.axes]
    below = math.prod(sizes[a + 1 :])
    others = study.cells // sizes[a]
    for k in range(min(others, MOST_OTHERS)):
        above, rest = divmod(k, below)
        yield (above * sizes[a] + j) * below + rest


def refusal(study: Study, cell: int, values: Sequence[float] = ()) -> QuantityError | None:
    """Return why a line-up cannot be read, with drawn figures as written; None where it can."""
    try:
        text = template(study, cell).text(values)
        case = read_case(text, filename=study.filenames[study.case_of(cell)])
    except QuantityError as error:
        return error
    except CaseError as error:
        fault = error.faults[0]
        where = ""
        if isinstance(error, FileError) and fault.path:
            where = label(fault.path, parsed_toml(error.file, CASE), named=CASE.named)
        return QuantityError(
            f"{where}: {fault.found}" if where else fault.found, fault.expected, fault.remedy
        )
    rules = study.rules.get(study.case_of(cell))
    if case.rules_file is not None and (rules is None or rules[0] != case.rules_file):
        return QuantityError(
            f"a file of rules that its case does not name: {case.rules_file}",
            "the file of rules of the case",
            "name the file in the case itself; a study changes no rules",
        )
    return None

"""The starter case with changes, and the faults of what comes out; for the tests of case files."""

from __future__ import annotations

import pytest

from surge.case.file import Case, read_case, starter_case
from surge.errors import CaseError
from surge.toml.faults import FaultRecord, describe

STARTER = starter_case()
# The law of the first event: its stroke and law lines.
STROKE = STARTER[
    STARTER.index('stroke = "25 s"           #') : STARTER.index('\n\n[[scenario]]\nname = "emergency')
]


def changed(*changes: tuple[str, str]) -> str:
    """Return the starter case with texts replaced; each must stand there."""
    text = STARTER
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def case(*changes: tuple[str, str]) -> Case:
    """Read the changed starter case."""
    return read_case(changed(*changes), filename="case.toml")


def records(text: str) -> list[FaultRecord]:
    """Return the fault records of a faulty text."""
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="case.toml")
    return describe(caught.value)


def line_of(text: str, part: str) -> int:
    """Return the number of the first line that contains ``part``."""
    return next(n for n, line in enumerate(text.split("\n"), start=1) if part in line)

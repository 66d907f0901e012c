"""Faults of a study file, gathered as it is read."""

from __future__ import annotations

from surge.errors import CaseError, Fault, Origin
from surge.toml.text import FileKind
from surge.units import QuantityError

STUDY = FileKind(
    words="a study file: a text in TOML",
    too_big="a study takes a few kB: check that this is one",
    closed="check the path and the rights; cases/studies has some",
    lists="[[axis]]",
    named={"set": ""},
)


class Notes:
    """Faults so far."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def fault(self, path: Origin, found: str, expected: str, remedy: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(path=path, found=found, expected=expected, remedy=remedy))

    def refused(self, path: Origin, error: QuantityError) -> None:
        """Note what a value or a key was refused for."""
        self.fault(path, error.found, error.expected, error.remedy)

    def refuse(self) -> None:
        """Raise CaseError with all faults, if there are any."""
        if self.faults:
            raise CaseError(self.faults)

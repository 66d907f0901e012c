"""The program held against figures from outside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from surge import __version__
from surge.api.answers import Answer, Json, data
from surge.errors import UnknownNameError
from surge.proof.checks import Outcome, hold_all, named
from surge.proof.every import CHECKS
from surge.reports.proof import proof_document, proof_lines, proof_page
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class Proof(Answer):
    """What the program gives beside figures from outside it.

    Attributes
    ----------
    outcomes : tuple of Outcome
        One for each figure: expected, by hand, by the program, tolerance.
    """

    outcomes: tuple[Outcome, ...]

    @property
    def exit_code(self) -> int:
        """0 every figure within its tolerance, 3 at least one outside."""
        return 0 if all(o.within for o in self.outcomes) else 3

    def text(self, *, details: bool = False) -> str:
        """Return a table of the figures; with ``details`` also inputs, working and sources."""
        return "\n".join(proof_lines(self.outcomes, details=details))

    def document(self) -> Json:
        """Return the figures as plain data (``surge schema verify``)."""
        return data(proof_document(self.outcomes, version=__version__))

    def page(self, kind: Literal["md", "html"]) -> str:
        """Return a page of all checks, with the working of each."""
        return proof_page(self.outcomes, version=__version__, kind=kind)


def verify(only: Sequence[str] = (), *, progress: Progress | None = None) -> Proof:
    """Hold the program against published figures, worked examples and closed forms, as ``surge verify`` does.

    Parameters
    ----------
    only : sequence of str
        Names of checks, or beginnings of names; all checks without any.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    UnknownNameError
        A name with which no check begins.

    Examples
    --------
    >>> import surge
    >>> surge.verify(["steel-16-inch"]).exit_code
    0
    """
    for word in only:
        if not named(CHECKS, [word]):
            raise UnknownNameError("check", given=word, known=[c.name for c in CHECKS])
    held = hold_all(named(CHECKS, only), progress=progress or (lambda _: None))
    return Proof(outcomes=tuple(outcome for each in held for outcome in each))

"""The program held against figures from outside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surge import __version__
from surge.api.answers import Answer, Json, data
from surge.arguments import checked
from surge.choices import PageKind
from surge.errors import UnknownNameError
from surge.proof.checks import Outcome, hold_all, named
from surge.proof.every import CHECKS
from surge.reports.proof import proof_document, proof_lines, proof_page
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class Proof(Answer):
    """Figures that the program gives, each beside the same figure from a source outside the program.

    Attributes
    ----------
    outcomes : tuple of Outcome
        One for each figure: what is expected, by hand, by the program, and the tolerance.
    """

    outcomes: tuple[Outcome, ...]

    @property
    def exit_code(self) -> int:
        """0 when every figure is within its tolerance, 3 when at least one is outside."""
        return 0 if all(o.within for o in self.outcomes) else 3

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return a table of the figures; with ``details`` also the inputs, working and source of each."""
        return "\n".join(proof_lines(self.outcomes, details=details))

    def document(self) -> Json:
        """Return the figures as plain data (``surge schema verify``)."""
        return data(proof_document(self.outcomes, version=__version__))

    @checked
    def page(self, kind: PageKind) -> str:
        """Return a page of all checks, with the working of each, as Markdown or HTML."""
        return proof_page(self.outcomes, version=__version__, kind=kind)


@checked
def verify(only: Sequence[str] = (), *, progress: Progress | None = None) -> Proof:
    """Hold the program against published figures, worked examples and closed forms, as ``surge verify`` does.

    Parameters
    ----------
    only : sequence of str
        Names of checks, or how such names begin; by default all checks.
    progress : callable, optional
        Called with a word as work goes on.

    Returns
    -------
    Proof
        ``outcomes``, one for each figure, each in the unit of its source; ``exit_code``.

    Raises
    ------
    ArgumentError
        An argument that is not what it should be.
    UnknownNameError
        No check has a name that begins so.

    Examples
    --------
    The speed of the pressure wave in a steel pipe that is held in three ways [m/s]: worked by hand from
    Korteweg's formula, and as the program gives it.

    >>> import surge
    >>> proof = surge.verify(["steel-16-inch"])
    >>> [(one.figure.expected, round(one.got, 2)) for one in proof.outcomes]
    [(1268.16, 1268.16), (1256.34, 1256.34), (1239.2, 1239.2)]
    >>> proof.exit_code
    0
    """
    for word in only:
        if not named(CHECKS, [word]):
            raise UnknownNameError("check", given=word, known=[c.name for c in CHECKS])
    held = hold_all(named(CHECKS, only), progress=progress or (lambda _: None))
    return Proof(outcomes=tuple(outcome for each in held for outcome in each))

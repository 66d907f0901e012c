"""The error tree of the program: what can go wrong, and which exit code it stands for.

Exit codes (see ``surge --help``): 0 every limit kept, 2 bad input, 3 a limit exceeded,
4 cannot be decided. Code 1 is left to crashes, so a script never takes a crash for an answer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault of the input, complete enough to be mended without asking anybody.

    Attributes
    ----------
    path : tuple of str or int
        Where it is, as keys and list positions of the case file: ``("pipe", 2, "length")``.
    found : str
        What stands there.
    expected : str
        What should stand there.
    remedy : str
        What to write or do.
    """

    path: tuple[str | int, ...]
    found: str
    expected: str
    remedy: str


class SurgeError(Exception):
    """Base of every error that the program raises on purpose."""

    exit_code = 2


class CaseError(SurgeError):
    """A case that cannot be used: all of its faults, not only the first.

    Parameters
    ----------
    faults : list of Fault
    """

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{'.'.join(map(str, f.path))}: {f.found}" for f in faults))


class GridError(SurgeError):
    """A line-up that no grid within the stated bounds can carry: the answer is "cannot be decided"."""

    exit_code = 4


class SolveError(SurgeError):
    """A computation that could not be finished: the answer is "cannot be decided"."""

    exit_code = 4


class UnknownNameError(SurgeError):
    """A name that a table of reference values does not have.

    Parameters
    ----------
    kind : str
        What was looked for: "pipe size", "schedule of 12 inch pipe".
    given : str
    known : iterable of str
        Every name that there is.
    """

    def __init__(self, kind: str, *, given: str, known: Iterable[str]) -> None:
        self.kind, self.given, self.known = kind, given, tuple(known)
        super().__init__(f'no {kind} "{given}"; there are: {"; ".join(self.known)}')

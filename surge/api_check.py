"""A case held against its own rules: what the command line and the library call."""

from __future__ import annotations

from pathlib import Path

from surge.case.file import Case
from surge.errors import CaseError
from surge.model.lineup import LineUp
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.reading import built_in, load_rules
from surge.workers import Progress


class RuleFileError(CaseError):
    """Faults of a file of rules; ``filename`` says which."""

    def __init__(self, error: CaseError, *, filename: str) -> None:
        super().__init__(list(error.faults))
        self.filename = filename


def rules_of_case(case: Case) -> RuleBook:
    """Return the rules that a case is held against: the program's, with those of the file that it names.

    Raises
    ------
    RuleFileError
        With all faults of that file.
    """
    if case.rules_file is None:
        return built_in()
    path = Path(case.filename).parent / case.rules_file
    try:
        return load_rules(path)
    except CaseError as error:
        raise RuleFileError(error, filename=str(path)) from None


def check(
    what: Case | LineUp, *, book: RuleBook | None = None, progress: Progress | None = None
) -> Assessment:
    """Check a case, or a line-up, against every limit and every rule.

    Parameters
    ----------
    what : Case or LineUp
        As :func:`surge.load_case` gives it. A line-up alone does not know of the rules that its case names.
    book : RuleBook, optional
        Other rules: by default those of the case, or of the program.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.rules.assess.assess`.
    """
    lineup = what.lineup if isinstance(what, Case) else what
    if book is None:
        book = rules_of_case(what) if isinstance(what, Case) else built_in()
    return assess(lineup, book=book, progress=progress)

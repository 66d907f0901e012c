"""The error tree of the program: what can go wrong, and which exit code it stands for.

Exit codes (see ``surge --help``): 0 every limit kept, 2 bad input, 3 a limit exceeded,
4 cannot be decided. Code 1 is left to crashes, so a script never takes a crash for an answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from surge.inputs import InputFile

Origin = tuple[str | int, ...]
"""Where something stands in a file, as keys and positions in lists: ``("pipe", 2, "length")``."""
LIKE = 0.6  # [-] likeness from which one name may be meant by another
LONGEST_WORD = 60  # characters of a word that is looked for: the search grows with the square of its length


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault of the input, complete enough to be mended without asking anybody.

    Attributes
    ----------
    path : Origin
        Where it is; empty for the file as a whole.
    found : str
        What stands there.
    expected : str
        What should stand there.
    remedy : str
        What to write or do.
    """

    path: Origin
    found: str
    expected: str
    remedy: str


class SurgeError(Exception):
    """Base of every error that the program raises on purpose.

    Attributes
    ----------
    file : InputFile or None
        What was read of the file that it is about; None until that is known.
    """

    exit_code = 2
    file: InputFile | None = None


class CaseError(SurgeError):
    """A file that cannot be used: all of its faults, not only the first.

    Parameters
    ----------
    faults : list of Fault
    """

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{'.'.join(map(str, f.path))}: {f.found}" for f in faults))


@contextmanager
def about(file: InputFile) -> Iterator[None]:
    """Surround work on a file: an error that does not know its file yet is about this one."""
    try:
        yield
    except SurgeError as error:
        error.file = error.file or file
        raise


class GridError(SurgeError):
    """A line-up that no grid within the stated bounds can carry: the answer is "cannot be decided"."""

    exit_code = 4


class SolveError(SurgeError):
    """A computation that could not be finished: the answer is "cannot be decided"."""

    exit_code = 4


class PatienceError(SurgeError):
    """An answer that would take longer than anybody waits unasked: the answer is "cannot be decided".

    Parameters
    ----------
    takes, most : float
        What it would take, about, and what it may, of one processor [s].
    """

    exit_code = 4

    def __init__(self, takes: float, most: float) -> None:
        self.takes, self.most = takes, most
        super().__init__(
            f"this would take about {_minutes(takes)} of one processor, and more than {_minutes(most)} is "
            "done only when asked for: say --patient, or make the case smaller (fewer scenarios or ranges, "
            "slower movements, very short pipes joined)"
        )


def _minutes(seconds: float) -> str:
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} minutes" if seconds < 5400 else f"{seconds / 3600:.0f} hours"


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


class RequestError(SurgeError):
    """Something was asked for that the case does not have, or that cannot be made on this machine."""


class ArgumentError(RequestError, ValueError):
    """An argument of a function, or an option of a command, that is not what may stand there.

    Parameters
    ----------
    names : tuple of str
        The parameters that it is about.
    found : str
        What was given.
    remedy : str
        What to write.
    """

    def __init__(self, names: tuple[str, ...], found: str, remedy: str) -> None:
        self.names, self.found, self.remedy = names, found, remedy
        super().__init__(f"{', '.join(names)} {found}: {remedy}")

    @property
    def as_option(self) -> str:
        """The same words about options of the command line."""
        return f"{' '.join(f'--{name}' for name in self.names)} {self.found}: {self.remedy}"


def likely(word: str, known: Iterable[str], *, most: int = 3, like: float = LIKE) -> list[str]:
    """Return the known words that a misspelt one may have been meant to be, the likeliest first.

    Parameters
    ----------
    word : str
        As it was written. Small and large letters are one, and so are blank, hyphen and underscore.
    known : iterable of str
    most : int
        Words to return.
    like : float
        Least likeness [-], as ``difflib`` has it.
    """
    if len(word) > LONGEST_WORD:
        return []
    from difflib import get_close_matches  # only a refusal needs it

    by_fold: dict[str, str] = {}
    for each in known:
        by_fold.setdefault(_folded(each), each)
    return [by_fold[near] for near in get_close_matches(_folded(word), by_fold, n=most, cutoff=like)]


def meant(word: str, known: Iterable[str], *, like: float = LIKE) -> str | None:
    """Return the known word that a misspelt one was most likely meant to be; parameters as :func:`likely`."""
    return next(iter(likely(word, known, most=1, like=like)), None)


def _folded(word: str) -> str:
    return word.lower().replace(" ", "_").replace("-", "_")

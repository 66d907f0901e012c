"""Checks of the program against figures from outside it: what a check is, and how it is held.

Every check carries its source, its inputs and the working of the expected figure as lines that can be redone
on a pocket calculator. The lines printed are the lines computed: they are read here by a calculator of a few
functions, which knows nothing of the program. What the program gives is computed by the program alone.
Tests and the command ``surge verify`` hold the same checks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from types import CodeType

from surge.errors import SurgeError
from surge.workers import Progress

# How far the expected figure was seen.
READ = "read"  # the printed figure was seen in the source
PART = "read in part"  # the figure was seen, inputs are from memory; the check says which
MEMORY = "from memory"
COMPUTED = "computed here"  # worked out from the laws named, by the lines shown
HERE = "computed here, inputs from memory"
STATUSES = (READ, PART, MEMORY, COMPUTED, HERE)


def bessel_i0(x: float) -> float:
    """Modified Bessel function I0 by its series [-]."""
    return _series(x, 0)


def bessel_i1(x: float) -> float:
    """Modified Bessel function I1 by its series [-]."""
    return x / 2.0 * _series(x, 1)


def _series(x: float, order: int) -> float:
    term, total, k = 1.0, 1.0, 0
    while term > 1e-17 * total:
        k += 1
        term *= (x / 2.0) ** 2 / (k * (k + order))
        total += term
    return total


FUNCTIONS: dict[str, object] = {
    "sqrt": math.sqrt,
    "log": math.log,
    "log10": math.log10,
    "exp": math.exp,
    "tan": math.tan,
    "tanh": math.tanh,
    "abs": abs,
    "min": min,
    "max": max,
    "pi": math.pi,
    "inf": math.inf,
    "I0": bessel_i0,
    "I1": bessel_i1,
}


@dataclass(frozen=True, kw_only=True)
class Given:
    """One input of a check: its letter in the working, value, unit and what it is."""

    symbol: str
    value: float
    unit: str
    what: str


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure of a check.

    Attributes
    ----------
    what : str
    unit : str
    expected : float
        Printed in the source, or the digits that the working gives.
    tolerance : float
        Either way, in the same unit.
    step : str
        Letter of the working's line that gives it; empty where the working is not for a pocket calculator.
    """

    what: str
    unit: str
    expected: float
    tolerance: float
    step: str = ""


@dataclass(frozen=True, kw_only=True)
class Check:
    """What the program is held against in one case.

    Attributes
    ----------
    name : str
        Short, for ``--only``.
    group : str
    title : str
        The case, in one line.
    source : str
        In full, so that it can be found.
    status : str
        How far it was seen, one of :data:`STATUSES`.
    given : tuple of Given
    working : tuple of str
        Lines ``letter = expression``, perhaps ``; words`` behind; computed in their order.
    figures : tuple of Figure
    why : str
        Why the tolerance is what it is.
    program : str
        What of the program gives the figures.
    compute : callable
        Gives what the program says, in the order of ``figures``.
    """

    name: str
    group: str
    title: str
    source: str
    status: str
    given: tuple[Given, ...] = ()
    working: tuple[str, ...] = ()
    figures: tuple[Figure, ...]
    why: str
    program: str
    compute: Callable[[], Sequence[float]]


@dataclass(frozen=True, kw_only=True)
class WorkingLine:
    """One line of a working with its value."""

    text: str
    words: str
    symbol: str
    value: float


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A figure of a check beside what the program gives.

    Attributes
    ----------
    by_hand : float or None
        What the working gives; None where it has no line for the figure.
    got : float
        What the program gives; not a number when it refused.
    refused : str
        What the program said then.
    """

    check: Check
    figure: Figure
    by_hand: float | None
    got: float
    refused: str = ""

    @property
    def within(self) -> bool:
        """Whether the program, and the working, are within the tolerance."""
        hand = self.by_hand is None or _near(self.by_hand, self.figure)
        return hand and _near(self.got, self.figure)


def _near(value: float, figure: Figure) -> bool:
    return abs(value - figure.expected) <= figure.tolerance  # false for what is no number


def given(*items: tuple[str, float, str, str]) -> tuple[Given, ...]:
    """Inputs from (letter, value, unit, what)."""
    return tuple(Given(symbol=s, value=v, unit=u, what=w) for s, v, u, w in items)


def _compiled(expression: str) -> CodeType:
    return compile(expression.strip(), "<working>", "eval")


def work(check: Check) -> tuple[WorkingLine, ...]:
    """Compute the working of a check, line by line."""
    known: dict[str, object] = {g.symbol: g.value for g in check.given}
    lines = []
    for text in check.working:
        formula, _, words = text.partition(";")
        symbol, _, expression = formula.partition("=")
        # The lines are literals of our own modules; nothing of a user's gets here.
        value = eval(_compiled(expression), {"__builtins__": {}}, FUNCTIONS | known)
        known[symbol.strip()] = value
        lines.append(
            WorkingLine(text=formula.strip(), words=words.strip(), symbol=symbol.strip(), value=float(value))
        )
    return tuple(lines)


def hold(check: Check) -> tuple[Outcome, ...]:
    """Hold the program against one check. Where it refuses to answer, every figure is outside."""
    by_hand = {line.symbol: line.value for line in work(check)}
    refused = ""
    try:
        found = check.compute()
    except SurgeError as error:
        refused, found = str(error), [math.nan] * len(check.figures)
    return tuple(
        Outcome(
            check=check,
            figure=figure,
            by_hand=by_hand[figure.step] if figure.step else None,
            got=float(got),
            refused=refused,
        )
        for figure, got in zip(check.figures, found, strict=True)
    )


def hold_all(
    checks: Iterable[Check], *, progress: Progress = lambda _: None
) -> Iterator[tuple[Outcome, ...]]:
    """Hold the program against checks, one after another; ``progress`` is told the name of each."""
    for check in checks:
        progress(check.name)
        yield hold(check)


def named(checks: Sequence[Check], words: Sequence[str]) -> tuple[Check, ...]:
    """Checks whose name is one of ``words``, or begins with one; all of them without any."""
    if not words:
        return tuple(checks)
    return tuple(c for c in checks if any(c.name == w or c.name.startswith(f"{w}-") for w in words))

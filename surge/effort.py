"""How much work marches are: counted before each begins, foretold, and bounded for one answer.

Decisions
---------
* Work is counted as *effort*, not as seconds: the same case counts the same on every machine, however busy.
  A march counts before it begins, with its steps times what one step does
  (:func:`surge.transient.effort.step_effort`). Processors of some years ago do 4e8 to 6e8 of it a second.
* One answer may take ``PATIENCE``, two minutes of two processors, unless asked for more (``--patient``).
  What would take more is refused before it begins where that is certain, or as soon as the count says so.
* How much work an answer is follows from what is found on the way: how often a step has to be halved, how
  many strokes have to be confirmed. So an answer foretells its *parts*, each with what such a part takes on
  average; parts that are through correct it for those that are left.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

from surge.errors import PatienceError

PACE = 4e8  # effort that a processor does in a second, about
PATIENCE = 240.0 * PACE  # effort that one answer may take unless asked for more
T = TypeVar("T")
# So much of what is foretold it takes at least, as good as always: berths of tests/benchmarks/work.py took
# 0.28 of it and more.
SURE = 0.25


class Part:
    """A part of an answer that is foretold, with the effort that it is expected to take [-]."""

    def __init__(self, weight: float) -> None:
        self.weight, self.begun, self.ended = weight, math.inf, False
        self.spent = 0.0

    def share(self, rate: float) -> float:
        """How much of it is done, 0 to 1 [-], where parts take ``rate`` times what was expected."""
        return 1.0 if self.ended else min(self.spent / max(rate * self.weight, 1.0), 0.9)


class Meter:
    """What one answer has cost so far, what it will cost, and how much it may.

    Parameters
    ----------
    most : float
        Effort that it may take [-].

    Attributes
    ----------
    spent, granted : float
        Effort that was asked for, and that which was not refused [-].
    """

    def __init__(self, most: float = math.inf) -> None:
        self.most, self.spent, self.granted = most, 0.0, 0.0
        self.parts: list[Part] = []
        self.began = time.monotonic()
        self.at_compiling: Callable[[], None] = lambda: None  # called before a part of the solver is compiled
        self._lock = threading.Lock()

    def add(self, effort: float, part: Part | None) -> None:
        """Count what is about to begin.

        Raises
        ------
        PatienceError
            It would be more than the answer may take.
        """
        with self._lock:
            self.spent += effort
            if part is not None:
                part.spent += effort
        if self.spent > self.most:
            raise self._refusal(self.foretold())
        with self._lock:
            self.granted += effort

    def foresee(self, weights: Sequence[float]) -> list[Part]:
        """Enter parts with the effort that each is expected to take [-].

        Raises
        ------
        PatienceError
            All together would certainly be more than the answer may take.
        """
        made = [Part(weight) for weight in weights]
        with self._lock:
            if not self.parts:
                self.began = time.monotonic()  # what was read or compiled before tells nothing of the pace
            self.parts += made
        if SURE * self.foretold() > self.most:
            raise self._refusal(self.foretold())
        return made

    def foretold(self) -> float:
        """Effort of the whole answer as it looks now [-]."""
        with self._lock:
            rate, spent = self._rate(), self.spent
            left = sum(rate * part.weight * (1.0 - part.share(rate)) for part in self.parts)
        return spent + left

    def _rate(self) -> float:
        """What parts take, in times of what was expected: as those that are through did.

        What was expected counts as one of them, so that a small part says little of large ones.
        """
        if not self.parts:
            return 1.0
        ended = [part for part in self.parts if part.ended]
        usual = sum(part.weight for part in self.parts) / len(self.parts)
        spent, expected = (usual + sum(getattr(p, what) for p in ended) for what in ("spent", "weight"))
        return spent / expected if expected else 1.0

    def left(self) -> float | None:
        """Seconds that are left at the pace so far, about [s]; None: nothing is foretold."""
        if not self.parts:
            return None
        passed = time.monotonic() - self.began
        # The usual pace counts as the first second or two: what goes before a first march is no pace.
        pace = (self.spent + PACE) / (passed + 2.0)
        return (self.foretold() - self.spent) / pace

    def leave_out(self, seconds: float) -> None:
        """Let time that has passed be no part of the pace [s]."""
        with self._lock:
            self.began += seconds

    def _refusal(self, effort: float) -> PatienceError:
        return PatienceError(max(effort, self.spent) / PACE, self.most / PACE)


_METER: ContextVar[Meter | None] = ContextVar("meter", default=None)
_PART: ContextVar[Part | None] = ContextVar("part", default=None)


@contextmanager
def metered(meter: Meter) -> Iterator[Meter]:
    """Count all work inside, that of pools of threads too (:mod:`surge.workers`), with a meter."""
    token = _METER.set(meter)
    try:
        yield meter
    finally:
        _METER.reset(token)


class _Share(Meter):
    """What a part of an answer may take; all of it counts for the answer as well."""

    def __init__(self, most: float, outer: Meter | None) -> None:
        super().__init__(most)
        self.outer = outer
        if outer is not None:
            self.at_compiling = outer.at_compiling

    def leave_out(self, seconds: float) -> None:
        """Of the answer too."""
        if self.outer is not None:
            self.outer.leave_out(seconds)
        super().leave_out(seconds)

    def add(self, effort: float, part: Part | None) -> None:
        """Count here and for the answer."""
        if self.outer is not None:
            self.outer.add(effort, part)
        super().add(effort, None)


@contextmanager
def compiling() -> Iterator[None]:
    """While a part of the solver is compiled: the meter of the answer hears of it, its pace does not."""
    meter, began = _METER.get(), time.monotonic()
    if meter is not None:
        meter.at_compiling()
    try:
        yield
    finally:
        if meter is not None:
            meter.leave_out(time.monotonic() - began)


@contextmanager
def at_most(most: float) -> Iterator[Meter]:
    """Bound the work inside [-]; in an answer that has a meter, by what that has left too, and by that alone
    where the answer may take any.

    Work beyond the bound raises PatienceError: whoever bounds it is to catch that.
    """
    outer = _METER.get()
    if outer is not None:
        most = min(most, outer.most - outer.spent) if math.isfinite(outer.most) else outer.most
    with metered(_Share(most, outer)) as made, within(Part(0.0)):
        yield made


def spend(effort: float) -> None:
    """Count work that is about to begin [-].

    Raises
    ------
    PatienceError
        It would be more than the answer may take.
    """
    meter = _METER.get()
    if meter is not None:
        meter.add(effort, _PART.get())


def foresee(items: Sequence[T], weigh: Callable[[T], float]) -> list[Part]:
    """Foretell the parts of an answer; inside another part they are its own matter.

    Parameters
    ----------
    items : sequence
        What the parts are about.
    weigh : callable
        Tells the effort that the part of an item is expected to take [-]; asked only where it counts.

    Raises
    ------
    PatienceError
        They would certainly be more than the answer may take.
    """
    meter = _METER.get()
    if meter is None or _PART.get() is not None:
        return [Part(0.0) for _ in items]
    return meter.foresee([weigh(item) for item in items])


@contextmanager
def within(part: Part) -> Iterator[None]:
    """Surround the work of a part."""
    token = _PART.set(_PART.get() or part)
    try:
        yield
    finally:
        part.ended = True
        _PART.reset(token)

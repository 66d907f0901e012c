"""The least value of one figure of the movements from which on a shutdown keeps all, at every stage at once.

Strokes and rates have searches of their own (:mod:`surge.search.strokes`, :mod:`surge.search.rates`), which
windows tell; this one is for what windows do not ask: run-downs, delays, several strokes at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from surge.model.lineup import Scenario
from surge.search.bounds import resolution, rounded_up
from surge.search.judge import Bench, refuted
from surge.search.scan import Scanner
from surge.search.smallest import Samples, first_look, smallest_safe
from surge.search.strokes import FIRST_NEED, raised

Vary = Callable[[Scenario, float], Scenario]

ATTEMPTS = 3  # full runs of a value, each with a margin raised by what was lacking


class Seek:
    """Scenarios that share their movements, with one figure of them free.

    Parameters
    ----------
    bench : Bench
    scenarios : sequence of Scenario
        A shutdown at all its stages, or one scenario.
    vary : callable
        Scenario, value -> the scenario with it; only times differ.
    """

    def __init__(self, bench: Bench, scenarios: Sequence[Scenario], vary: Vary) -> None:
        self.bench, self.scenarios, self.vary = bench, scenarios, vary
        self.samples = Samples()
        self._scanners: list[tuple[Scenario, Scanner]] = []

    def margins(self, values: Sequence[float]) -> list[float]:
        """The least margin of every value over all scenarios and what is a range [Pa]."""
        if not self._scanners:
            self._scanners = [
                (s, Scanner(one, s, limits=self.bench.limits(s)))
                for s in self.scenarios
                for one in self.bench.over(s)
            ]
        if self.bench.progress:
            self.bench.progress(f"remedies: {len(values)} figures looked at")
        rows = [scanner.moved([self.vary(s, v) for v in values]) for s, scanner in self._scanners]
        return [min(n.margin for n in column) for column in zip(*rows, strict=True)]

    def kept(self, value: float) -> bool:
        """Whether a check finds everything kept with a value, in every scenario."""
        return all(self.bench.judge(self.vary(s, value)).kept for s in self.scenarios)

    def _shown(self, value: float) -> bool:
        return all(self.bench.keeps(self.vary(s, value)) for s in self.scenarios)

    def least(self, low: float, high: float) -> float | None:
        """The least value from which on everything is kept, up to ``high``; None where it is not found."""
        need = FIRST_NEED
        for _ in range(ATTEMPTS):
            found = smallest_safe(
                self.margins,
                first_look(high, low),
                need=need,
                resolution=resolution,
                spacing=math.inf,
                hidden=lambda _: 0.0,
                samples=self.samples,
            )
            if found is None:
                return None
            value = min(rounded_up(found), high)
            lacking = [j for s in self.scenarios if not (j := self.bench.judge(self.vary(s, value))).kept]
            if not lacking:
                return value
            more = [raised(need, j) for j in lacking]
            if any(m is None for m in more):  # a rule is in the way: greater values only take longer
                return None
            for judged in lacking:
                refuted(self.samples, value, judged)
            need = max(m for m in more if m is not None)
        return None

    def first(self, values: Sequence[float]) -> float | None:
        """The first of some values that is kept; what lies between them is not asked."""
        margins = self.margins(values)
        promising = [v for v, m in zip(values, margins, strict=True) if m >= FIRST_NEED]
        return next((v for v in promising[:ATTEMPTS] if self._shown(v)), None)

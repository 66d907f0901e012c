"""One scenario with its valves moving in other strokes: its margins by scan, and as a check judges it.

Decisions
---------
* A wave that returns is taken to swing the margin by the instant-stop rise times (period/stroke) squared. On
  the demo cases, from 3 to 48 periods, it was 0.17 of that at most.
"""

from __future__ import annotations

from collections.abc import Sequence

from surge.hydraulics.formulas import joukowsky
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.model.topology import pipeline_period
from surge.rules.rulings import Ruling
from surge.search.judge import Bench
from surge.search.judged import Judged
from surge.search.scan import NearestLimit, Scanner
from surge.workers import Progress


class StrokeFamily:
    """A scenario with one stroke free, that of one valve or of several together, over every length."""

    def __init__(
        self,
        lineup: LineUp,
        scenario: Scenario,
        valves: Sequence[str],
        progress: Progress,
        *,
        bench: Bench,
        opens: bool = False,
    ) -> None:
        self.lineup, self.scenario, self.valves, self.bench = lineup, scenario, tuple(valves), bench
        self.opens = opens
        self.lineups = bench.over(scenario)
        limits = bench.limits(scenario)
        self.scanners = [Scanner(one, scenario, limits=limits) for one in self.lineups]
        self.progress = progress
        self.near: dict[float, NearestLimit] = {}
        self.minded: dict[float, Ruling] = {}
        first = self.scanners[0]
        self.period = max(
            pipeline_period(s.lineup, v, flow=s.base.steady.flow[v.name]).longest
            for s in self.scanners
            for v in lineup.valves
            if v.name in self.valves
        )
        liquid = lineup.liquid
        self.rise = max(
            joukowsky(
                density=liquid.density,
                wave_speed=p.wave_speed,
                velocity=abs(first.base.steady.flow[p.name]) / p.area,
            )
            for p in lineup.pipes
        )

    def with_stroke(self, stroke: float) -> Scenario:
        """The scenario with the valves moving in ``stroke`` [s]."""
        return with_strokes(self.scenario, dict.fromkeys(self.valves, stroke), opens=self.opens)

    def margins(self, strokes: Sequence[float]) -> list[float]:
        """Margin of every stroke at its worst length [Pa]."""
        named = " and ".join(f'"{v}"' for v in self.valves)
        self.progress(f'{named} in "{self.scenario.name}": {len(self.near)} strokes looked at')
        variants = {s: self.with_stroke(s) for s in strokes}
        rows = [scanner.moved(list(variants.values())) for scanner in self.scanners]
        for stroke, column in zip(strokes, zip(*rows, strict=True), strict=True):
            self.near[stroke] = min(column, key=lambda n: n.margin)
        margins = [self.near[s].margin for s in strokes]
        return self.bench.by_march(variants, margins, self.lineups, self.minded)

    def hidden(self, stroke: float) -> float:
        """How far waves that return may make the margin swing with the stroke [Pa].

        It falls with the square of periods in the stroke: on the demo cases, from 3 to 48 periods, the
        swing about a smooth curve was 0.17 of this at most.
        """
        return self.rise * min(1.0, (self.period / stroke) ** 2)

    def judge(self, stroke: float) -> Judged:
        """The scenario with a stroke, as a check judges it."""
        return self.bench.judge(self.with_stroke(stroke))

    def margin(self, stroke: float) -> float:
        """What the scan has at a stroke [Pa]."""
        if stroke not in self.near:
            self.margins([stroke])
        return self.near[stroke].margin

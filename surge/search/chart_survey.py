"""Strokes at many rates marched together: the samples of a chart, the shortest safe stroke of each rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from surge.errors import CaseError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.model.topology import pipeline_period
from surge.rules.findings import WITHIN
from surge.rules.limits import LimitedExtreme
from surge.rules.rulings import Ruling
from surge.search.bounds import rounded_up
from surge.search.chart_subject import Picked
from surge.search.judge import Bench
from surge.search.judged import VELOCITIES
from surge.search.scan import NearestLimit, VariantMarches
from surge.search.strokes import FIRST_NEED, StrokeLimits
from surge.transient.peaks import Peaks
from surge.transient.plan import Plan, first_duration, moved_otherwise, plan
from surge.transient.result import ScenarioResult
from surge.workers import Progress, workers

INSIDE = 5  # strokes looked at in a gap between an unsafe and a safe one
NEAR_THE_LIMIT, CLOSE = (
    1.3,
    0.08,
)  # up to so many times it neighbours are a quarter period apart, or this share
SHARE, FINEST = 0.03, 0.1  # the shortest safe stroke is told to this share, or time [s], whichever is more
LOOKS = 2  # batches to search by, at most
LEAST_SCALE = 1e5  # [Pa] shares of a limit nearer to the atmosphere than this are of this
LATER = 1.3  # where a run cannot be decided, a stroke so many times longer is tried
NO_SAFE_STROKE = "even {:g} s is not shown to be safe"
LEAST_TOGETHER, MOST_TOGETHER = 64, 640  # marches in one call: many fill the blocks of a batch better
EVERY = 16  # every so many marches are looked at to tell the work
MOST_NODES = 4_000_000  # of them all: bounds the memory of their envelopes


@dataclass(frozen=True, kw_only=True)
class Seen(NearestLimit):
    """A march: beside the nearest limit the most used one.

    Attributes
    ----------
    used : float
        Greatest share used of any limit [-]; ``most_used`` says of which.
    variant : int
        Which line-up of a range it was.
    """

    used: float
    most_used: int
    variant: int = 0


def see_most_used(held: Sequence[LimitedExtreme], peaks: Peaks | None) -> Seen:
    """The nearest limit, and the one of which the greatest share is used."""
    if peaks is None:
        return Seen(margin=-math.inf, held=held[0], used=math.inf, most_used=-1)
    margins = np.array([h.margin(peaks.found[h.key].pressure) for h in held])
    shares = 1.0 - margins / np.array([max(abs(h.limit.value), LEAST_SCALE) for h in held])
    nearest, most = int(np.argmin(margins)), int(np.argmax(shares))
    return Seen(margin=float(margins[nearest]), held=held[nearest], used=float(shares[most]), most_used=most)


@dataclass(kw_only=True, eq=False)
class RateRow:
    """One rate and what is known about it.

    Attributes
    ----------
    bases : list of Plan
        At this rate, one for every line-up of a range; none where it cannot be reached.
    period : float
        Longest pipeline period of the valve [s].
    need, least : float
        Margin [Pa] that a safe stroke must have, and a stroke [s] that it must not be below.
    seen : dict of float to Seen
        By stroke [s].
    shortest, run
        The shortest safe stroke [s] and the full run that confirms it; None without.
    why : str
        Why there is none.
    window : StrokeLimits or None
        What the search of a window tells at this rate, where it was asked.
    is_shut : bool
        No stroke is looked for, since the rate itself breaks a rule.
    flat : bool
        A full run lacked more margin than any stroke has.
    """

    rate: float
    scenario: Scenario
    valves: tuple[str, ...]
    opens: bool = False
    bases: list[Plan] = field(default_factory=list)
    period: float = 0.0
    need: float = FIRST_NEED
    least: float = 0.0
    seen: dict[float, Seen] = field(default_factory=dict)
    shortest: float | None = None
    run: ScenarioResult | None = None
    why: str = ""
    window: StrokeLimits | None = None
    is_shut: bool = False
    flat: bool = False

    def with_stroke(self, stroke: float) -> Scenario:
        """The scenario at this rate with another stroke [s]."""
        return with_strokes(self.scenario, dict.fromkeys(self.valves, stroke), opens=self.opens)

    def safe_from(self) -> float | None:
        """Shortest stroke looked at that is safe with every longer one [s]."""
        found = None
        for stroke in sorted(self.seen, reverse=True):
            if stroke < self.least or not self.seen[stroke].margin >= self.need:  # not a number is not safe
                break
            found = stroke
        return found

    def doubtful(self) -> list[float]:
        """Strokes to look at next: in the gap below the shortest safe one, and in wide gaps just above it."""
        start = self.safe_from()
        if start is None:
            return []
        order = sorted(self.seen)
        at = order.index(start)
        wanted: list[float] = []
        if at and order[at - 1] >= self.least and start - order[at - 1] > 1.001 * _fine(start):
            # Several at once, since a batch costs about the same.
            inside = np.linspace(order[at - 1], start, INSIDE + 2)[1:-1]
            wanted += sorted({rounded_up(s) for s in inside} - {start})
        for low, high in zip(order[at:], order[at + 1 :], strict=False):
            if low < NEAR_THE_LIMIT * start and high - low > max(self.period / 4, CLOSE * low):
                wanted.append(0.5 * (low + high))
        return wanted

    def take(self, window: StrokeLimits, ends: tuple[float, float]) -> None:
        """Let the search of a window answer, for strokes between two [s].

        Neighbours then ask for as much margin as it does: more than any shorter stroke here has.
        """
        self.window, self.run = window, window.run
        told = window.shortest
        self.shortest = None if told is None or told > ends[1] else max(told, ends[0])
        self.why = "" if self.shortest is not None else window.reason or NO_SAFE_STROKE.format(ends[1])
        if self.shortest is None:
            self.least = math.inf  # nor does any stroke count at the rates beside it
        if told is not None and window.fast_rule is None:
            shorter = [s.margin for stroke, s in self.seen.items() if self.least <= stroke < told]
            held = [m for m in shorter if math.isfinite(m) and m >= self.need]
            self.need = max(held, default=self.need)

    def shut(self, why: str) -> None:
        """Let no stroke count: the rate itself breaks a rule."""
        self.is_shut, self.why, self.least = True, why, math.inf

    def begin_with(self, need: float) -> None:
        """Ask for a margin from the first full run on [Pa], where any stroke has as much."""
        before, self.need = self.need, need
        if self.safe_from() is None:
            self.need = before

    def lacks(self, lacking: float, start: float, why: str) -> None:
        """Ask for more margin [Pa] than a stroke had, or for a longer stroke.

        The latter where no margin tells, and where no stroke at all has that much: then the margin is small
        whatever the stroke, and the next ones are tried.
        """
        self.why = why
        if lacking > 0.0:
            before = self.need
            self.need = max(self.need, self.seen[start].margin) + 1.1 * lacking + 200.0
            if self.safe_from() is not None:
                return
            self.need, self.flat = before, True
        self.least = LATER * start

    def doubted(self, told: float) -> float | None:
        """The longer stroke of least margin, where a full run asked for more than any stroke has [s]."""
        above = [stroke for stroke in self.seen if stroke > told]
        return min(above, key=lambda s: self.seen[s].margin) if self.flat and above else None


def _fine(stroke: float) -> float:
    """How finely strokes are told [s]."""
    return max(SHARE * stroke, FINEST)


def row_at(lineups: Sequence[LineUp], picked: Picked, rate: float) -> RateRow:
    """Solve the flow at a rate; a row without plans cannot be reached."""
    valves, scenario = picked.together, replace(picked.scenario, rate=rate)
    row = RateRow(rate=rate, scenario=scenario, valves=valves, opens=picked.opens)
    try:
        bases = [plan(one, row.scenario) for one in lineups]
    except CaseError as error:
        row.why = error.faults[0].found
        return row
    except SolveError as error:
        row.why = str(error)
        return row
    elements = [v for v in lineups[0].valves if v.name in valves]
    row.bases = bases
    row.period = max(
        pipeline_period(b.lineup, v, flow=b.steady.flow[v.name]).longest for b in bases for v in elements
    )
    return row


class Survey:
    """All rates of a chart, marched together."""

    def __init__(
        self, lineups: list[LineUp], rows: list[RateRow], progress: Progress, *, bench: Bench
    ) -> None:
        self.lineups, self.progress, self.bench = lineups, progress, bench
        self.rows = [r for r in rows if r.bases]
        limits = bench.limits(rows[0].scenario) if rows else ()
        self.fields = [
            VariantMarches(one, see_most_used, settled=0.0, limits=limits, progress=progress)
            for one in lineups
        ]

    @property
    def marches(self) -> int:
        """How many there were."""
        return sum(f.marches for f in self.fields)

    def minding(self, row: RateRow, stroke: float) -> Ruling | None:
        """A required rule that the flow at a rate breaks before anything moves, whatever the stroke."""
        return self.bench.minded_still(row.with_stroke(stroke), self.lineups, VELOCITIES)

    def march(self, wanted: Sequence[tuple[RateRow, Sequence[float]]]) -> None:
        """March strokes of rows, the worst of every variant counts."""
        pairs = sorted(((s, i) for i, (_, strokes) in enumerate(wanted) for s in strokes))
        together = self._together(wanted[pairs[0][1]][0], pairs[0][0]) if pairs else 1
        for begin in range(0, len(pairs), together):
            piece = pairs[begin : begin + together]
            variants = [
                [moved_otherwise(b, wanted[i][0].with_stroke(s)) for b in wanted[i][0].bases]
                for s, i in piece
            ]
            columns = [f.look([v[k] for v in variants]) for k, f in enumerate(self.fields)]
            for (stroke, i), seen in zip(piece, zip(*columns, strict=True), strict=True):
                row = wanted[i][0]
                row.seen[stroke] = _worst(seen)

    def effort(self, strokes: Sequence[float]) -> float:
        """Effort of marching strokes of all rows [-], told from every so many of them."""
        pairs = [(row, stroke) for stroke in sorted(strokes) for row in self.rows][::EVERY]
        return len(self.fields) * EVERY * sum(self._effort(row, stroke) for row, stroke in pairs)

    def _effort(self, row: RateRow, stroke: float) -> float:
        base = moved_otherwise(row.bases[0], row.with_stroke(stroke))
        return base.effort(base.divide(self.fields[0].step_of(base)), first_duration(base))

    def _together(self, row: RateRow, stroke: float) -> int:
        """How many marches go into one call, by the nodes of the shortest stroke."""
        base = moved_otherwise(row.bases[0], row.with_stroke(stroke))
        nodes = base.divide(self.fields[0].step_of(base)).nodes
        return max(LEAST_TOGETHER, min(MOST_TOGETHER, MOST_NODES // max(nodes, 1)))

    def search(self, rows: Sequence[RateRow]) -> None:
        """Find the shortest safe stroke of every row, between the samples of the raster too."""
        for _ in range(LOOKS):
            wanted = [(row, strokes) for row in rows if (strokes := row.doubtful())]
            if not wanted:
                return
            self.march(wanted)

    def confirm(self, rows: Sequence[RateRow], longest: float) -> list[RateRow]:
        """Run the shortest strokes found in full; return the rows that must find another one first."""
        with workers() as pool:
            settled = list(pool.map(lambda row: self._confirm(row, longest), rows))
        return [row for row, done in zip(rows, settled, strict=True) if not done]

    def follow(
        self, rows: Sequence[RateRow], neighbours: Sequence[Sequence[RateRow]], longest: float
    ) -> None:
        """Let rows ask for as much as the confirmed ones beside them had to, and take what they then find."""
        for row, beside in zip(rows, neighbours, strict=True):
            row.need, row.least = max(r.need for r in beside), max(r.least for r in beside)
            # What a rule on the rate, or a whole window, says of one rate it does not say of another.
            shut = (r for r in beside if r.shortest is None and not r.is_shut and r.window is None)
            row.why = next((r.why for r in shut), "")
        self.search(rows)
        for row in rows:
            start = row.safe_from()
            if start is None:
                row.why = row.why or NO_SAFE_STROKE.format(longest)
            else:
                row.shortest, row.why = min(rounded_up(start), longest), ""

    def _confirm(self, row: RateRow, longest: float) -> bool:
        start = row.safe_from()
        if start is None:
            row.why = row.why or NO_SAFE_STROKE.format(longest)
            return True
        told = min(rounded_up(start), longest)
        self.progress(f"{row.rate * 3600:.0f} m3/h in full")
        run = self._run(row, told, start)
        if run is None:
            return False
        doubted = row.doubted(told)
        if doubted is not None and self._run(row, doubted, doubted) is None:
            return False
        row.shortest, row.run, row.why = told, run, ""
        return True

    def _run(self, row: RateRow, stroke: float, seen: float) -> ScenarioResult | None:
        """A full run that keeps all but what a shorter stroke would mend; None: the row asks for more."""
        try:
            judged = self.bench.judge(row.with_stroke(stroke))
        except SolveError as error:
            row.lacks(0.0, seen, str(error))
            return None
        if judged.kept_by_surge:
            return judged.run
        by_pressure = any(f.verdict != WITHIN for f in judged.findings)
        reason = judged.but_for_time().reason or "a full run does not keep every limit"
        row.lacks(judged.lacking if by_pressure else 0.0, seen, reason)
        return None


def _worst(seen: Sequence[Seen]) -> Seen:
    """Smallest margin and greatest share of several line-ups; the variant is that of the margin."""
    k = min(range(len(seen)), key=lambda i: seen[i].margin)
    most = max(seen, key=lambda s: s.used)
    return replace(seen[k], used=most.used, most_used=most.most_used, variant=k)
